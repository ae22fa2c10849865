"""Dimensions that parts, devices and bays must have, computed from the survey's measures with a tolerance."""

import csv
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from math import inf
from pathlib import Path
from typing import NamedTuple

from batsim.catalogue import Figure
from batsim.display import words
from batsim.plan.checks import ROUNDING, Check, Requirement, filled, mm
from batsim.plan.survey import Trucks, equipment_of, has_rollers, is_there, listed, pulled_out, trucks_alike
from batsim.scenario.parts.fit import BEAM, Window
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.site import Scenario

TEXTS = ("words", "rule", "too_small", "too_large", "cure", "changes")
"""Columns of `dimensions.csv` that are texts."""


class Measure(NamedTuple):
    """What a tape measure tells, or would tell."""

    value: Window | None
    """One length is both ends. [mm]"""
    ask: str
    path: str
    """Where the scenario states it."""


@cache
def _rows(table: str) -> dict[str, dict[str, str]]:
    """Rows of a table beside this file, by their first column."""
    with Path(__file__).with_name(table).open(newline="", encoding="utf-8") as lines:
        return {next(iter(row.values())): row for row in csv.DictReader(lines)}


@dataclass(frozen=True)
class Dimension:
    """A dimension of a part, a device or a bay for one kind of trucks: between what it must lie, and what it is.

    A row of `dimensions.csv` says how: terms of measures for its least and its most, with a tolerance inside of these
    two, or about them where they are the same; and where the scenario states it.
    """

    scenario: Scenario
    arrangement: Arrangement
    trucks: Trucks
    equipment: str
    """Name of the part, device or bay."""
    key: str
    """In `dimensions.csv`."""

    @property
    def row(self) -> dict[str, str]:
        """Its row of the table."""
        return _rows("dimensions.csv")[self.key]

    @cached_property
    def stated(self) -> Measure:
        """What it is."""
        return self._measure(self.row["stated"])

    @property
    def on_site(self) -> bool:
        """Whether it is the truck's or the room's, so that a survey can always measure it."""
        return not self.row["stated"].startswith("this.")

    @property
    def tolerance(self) -> Figure:
        """How exactly it must be met, or what room is left. [mm]"""
        return self.scenario.figures[self.row["tolerance"]]

    @cached_property
    def window(self) -> Window | Measure:
        """Between what it must lie, minus infinity and infinity where it is free; or the first measure missing. [mm]"""
        least, most = (self._sum(self.row[end]) for end in ("least", "most"))
        for end in (least, most):
            if isinstance(end, Measure):
                return end
        assert not isinstance(least, Measure)
        assert not isinstance(most, Measure)
        room = -self.tolerance.value if self.row["least"] == self.row["most"] else self.tolerance.value
        return Window(-inf if least is None else least + room, inf if most is None else most - room)

    @property
    def limit(self) -> str:
        """The same in words; empty where a measure is missing."""
        if isinstance(self.window, Measure):
            return ""
        least, most = self.window
        if self.row["least"] == self.row["most"]:
            return f"{mm((least + most) / 2.0)} ± {self.tolerance.value:g} mm"
        if least == -inf or most == inf:
            return f"at most {mm(most)}" if least == -inf else f"at least {mm(least)}"
        return f"{mm(least)} to {mm(most)}" if least <= most else f"at least {mm(least)} and at most {mm(most)}"

    @property
    def fits(self) -> bool:
        """Whether it is known and as it must be."""
        if isinstance(self.window, Measure) or self.stated.value is None:
            return False
        (least, most), found = self.window, self.stated.value
        return least - ROUNDING <= found.most and found.least <= most + ROUNDING

    def check(self, layout: str) -> Check:
        """Fits, does not fit, or not known with the measure that is missing."""
        (least, most), missing = (
            ((-inf, inf), self.window) if isinstance(self.window, Measure) else (self.window, self.stated)
        )
        found, texts = self.stated.value or Window(least, most), self._texts
        fit = Requirement(
            "dimension", words(self.equipment), trucks=self.trucks, equipment=self.equipment, words=texts["words"],
            rule=texts["rule"], limit=self.limit or "-", too_small=texts["too_small"], too_large=texts["too_large"],
            cure=texts["cure"], changes=texts["changes"], ask=missing.ask, path=missing.path,
        )  # fmt: skip
        return fit.case(self._case(layout), found=found, short=least - found.most, beyond=found.least - most)

    def _case(self, layout: str) -> str:
        """Case of the check."""
        if isinstance(self.window, Measure):
            return "not measured"
        if self.window.most <= 0.0 or self.window.least > self.window.most:
            return "impossible"
        found = self.stated.value
        if found is None:
            asked = self.on_site or is_there(self.scenario, layout, self.equipment)
            return "not stated" if asked else "to be ordered"
        if self.fits:
            return "ok"
        return "too small" if found.most < self.window.least else "too large"

    @property
    def _texts(self) -> dict[str, str]:
        """Texts of its row with their facts."""
        facts = {
            "limit": self.limit,
            "tolerance": self.tolerance.text,
            "share": self.scenario.figures["fit.carried_share"].text,
            "under": self.arrangement.needs.forks_under or "",
            "equipment": self.equipment,
        }
        return {text: filled(self.row[text], **facts) for text in TEXTS}

    def _sum(self, terms: str) -> float | Measure | None:
        """Add up terms of measures, or find the first that is missing; None for no terms. [mm]"""
        if not terms:
            return None
        total = 0.0
        for term in terms.replace(" - ", " + -1 * ").split(" + "):
            product = 1.0
            for factor in term.split(" * "):
                value = self._factor(factor)
                if isinstance(value, Measure):
                    return value
                product *= value
            total += product
        return total

    def _factor(self, factor: str) -> float | Measure:
        """A number, a share of the catalogue, or a measure: its value where there is one."""
        if factor.lstrip("-").replace(".", "").isdigit():
            return float(factor)
        if factor in self.scenario.figures:
            return self.scenario.figures[factor].value / 100.0
        measure = self._measure(factor)
        return measure if measure.value is None else measure.value.most

    def _measure(self, name: str) -> Measure:
        """A measure by the name that it has in the tables."""
        needs = self.arrangement.needs
        holder, _, key = name.partition(".")
        held_by = {"this": self.equipment, "rolls_on": needs.rolls_on, "forks_under": needs.forks_under, "beam": BEAM}
        equipment, row = held_by.get(holder), _rows("measures_asked.csv")[key if holder in held_by else name]
        if holder == "rolls_on" and (equipment is None or has_rollers(self.trucks)):
            return Measure(Window(0.0, 0.0), "", "")
        ask, path = (filled(row[text], trucks=self.trucks, equipment=equipment) for text in ("ask", "path"))
        value = self._on_site(holder, key) if equipment is None else self._of(equipment, key)
        return Measure(Window(value, value) if isinstance(value, float | int) else value, ask, path)

    def _of(self, equipment: str, key: str) -> float | Window | None:
        """A size of equipment. [mm]"""
        value: float | Window | None = getattr(equipment_of(self.scenario, self.arrangement, equipment), f"{key}_mm")
        return value

    def _on_site(self, holder: str, key: str) -> float | None:
        """A measure of truck, battery or room. [mm]"""
        compartment, battery = self.trucks.compartment, self.trucks.battery
        if holder == "room":
            metres = self.scenario.room.beside_truck_m
            return None if metres is None else 1000.0 * metres
        holders: dict[str, object] = {"compartment": compartment, "opening": compartment.opening,
                                      "battery": battery if key == "lifting_eyes" else battery.size}  # fmt: skip
        value: float | None = getattr(holders[holder], f"{key}_mm", None)
        return value


def dimensions_of(scenario: Scenario, arrangement: Arrangement, trucks: Trucks, name: str) -> Iterator[Dimension]:
    """Dimensions of a part, device or bay for one kind of trucks; none where these trucks do not need it."""
    if _needed(arrangement, trucks, name):
        for key in arrangement.needs.dimensions.get(name, ()):
            yield Dimension(scenario, arrangement, trucks, name, key)


def _needed(arrangement: Arrangement, trucks: Trucks, name: str) -> bool:
    """Whether a kind of trucks needs a part, device or bay."""
    part = next((part for part in arrangement.needs.parts if part.part == name), None)
    if part is not None and part.fitted == "rollers" and has_rollers(trucks):
        return False
    if part is not None and part.removal is not None and trucks.removal not in (part.removal, "either"):
        return False
    return name in (arrangement.needs.lifts, BEAM) or pulled_out(trucks, arrangement)


def has_fitting(scenario: Scenario, arrangement: Arrangement, trucks: Trucks, name: str) -> bool:
    """Whether the survey found that a part is there and large enough in all its dimensions."""
    measured = [each.fits for each in dimensions_of(scenario, arrangement, trucks, name) if each.on_site]
    return bool(measured) and all(measured)


def size_text(scenario: Scenario, arrangement: Arrangement, name: str, batteries: Collection[str]) -> str:
    """Dimensions to order for trucks with batteries of some types, for each kind of trucks where these differ.

    What is not known yet stands there by its name.
    """
    kinds: dict[str, list[str]] = {}
    for trucks in (each for each in trucks_alike(scenario) if each.battery_name in batteries):
        text = _sizes(dimensions_of(scenario, arrangement, trucks, name))
        if text:
            kinds.setdefault(text, []).append(trucks.name)
    if len(kinds) == 1:
        return next(iter(kinds))
    return "; ".join(f"{text} ({', '.join(names)})" for text, names in kinds.items())


def _sizes(dimensions: Iterable[Dimension]) -> str:
    """Dimensions in words, without those of the room."""
    ordered = [each for each in dimensions if not each.row["stated"].startswith("room.")]
    unknown = [each.row["words"] for each in ordered if not each.limit]
    known = [f"{each.row['words']} {each.limit}" for each in ordered if each.limit]
    return ", ".join([*known, *([f"not known yet: {listed(unknown)}"] if unknown else [])])
