"""A layout with one more of each thing: which variants there are, each checked."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.levers import LOOSE_LEADS, Lever, levers_of
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    SET_DOWN_BAYS,
    STATIONS,
    Counted,
    Counts,
    area_in_words,
    can_grow,
    counts_of,
    week_plan,
    with_counts,
)

Numbers = Mapping[Counted, float]


class Variant(NamedTuple):
    """One more of a thing, or something that is done otherwise."""

    label: str
    """Such as `one more station`."""
    thing: str
    """What it is one more of, such as `the station`; empty of what is done otherwise."""
    kind: str
    """station, device, attendants, charger, leads, battery, bay, set-down bay or spot; or lever."""
    more: Numbers
    """How many there are with it, of each thing of which there are more."""
    parts: tuple[str, ...] = ()
    """Labels of what it is made of, where it is more than one: attendants on all shifts, a station with its devices."""
    levers: tuple[Lever, ...] = ()
    """What is done otherwise, in place of one more of something."""
    area: str = ""
    """Area that has it; empty where the layout is one area, and for attendants whom areas share."""

    def counts(self, layout: str) -> Counts:
        """Counts of a layout with it."""
        return Counts(layout, tuple(self.more.items()), self.levers)


class LeftOut(NamedTuple):
    """What was not tried, and why."""

    label: str
    why: str


def variants(scenario: Scenario, layout: str) -> tuple[list[Variant], list[LeftOut]]:
    """Find every variant of a layout with one more of something that has a limit.

    Parameters
    ----------
    scenario
        The site.
    layout
        Name of one of its layouts.

    Returns
    -------
    variants, left out
        Additions that keep the rules of a scenario; those that break one, with the rule.
    """
    made, left_out = [], []
    for variant in _things(scenario, layout):
        if not all(can_grow(scenario, counted) for counted in variant.more):
            left_out.append(LeftOut(variant.label, "no more of it can be had"))
            continue
        try:
            with_counts(scenario, variant.counts(layout))
        except ScenarioError as error:
            left_out.append(LeftOut(variant.label, "; ".join(_rule(problem) for problem in error.problems)))
        else:
            made.append(variant)
    return made, left_out


def lever_variants(scenario: Scenario, layout: str) -> list[Variant]:
    """Find what a layout may do otherwise with nothing bought; leads cost something, and are among what it may have."""
    levers = [lever for lever in levers_of(scenario, layout) if lever.kind != LOOSE_LEADS]
    return [Variant(lever.label(scenario), "", "lever", {}, levers=(lever,)) for lever in levers]


def _rule(problem: Problem) -> str:
    """Say a broken rule without its place: the variant stands in no file."""
    return problem.rule if problem.got is None else f"{problem.rule} (got {problem.got})"


def _things(scenario: Scenario, layout: str) -> Iterator[Variant]:
    """One more of everything of which there is a limited number: area by area, then of attendants whom areas share."""
    numbers = {counted: number for counted, number in counts_of(scenario, layout).items() if number < UNLIMITED}
    areas = {area: _Things(site, layout, area, numbers) for area, site in scenario.areas_of(layout).items()}
    for area in areas.values():
        yield from area.all()
    if scenario.layouts[layout].areas and not all(area.plan.arrangement.in_truck for area in areas.values()):
        yield from _attendants(_of_kind(_in(numbers, ""), ATTENDANTS), "")


class _Things:
    """One more of everything that an area has a limited number of; the scenario is that of it alone."""

    def __init__(self, site: Scenario, layout: str, area: str, numbers: Numbers) -> None:
        self.layout, self.plan, self.area, self.of = site.layouts[layout], week_plan(site, layout), area, _of(area)
        self.numbers = _in(numbers, area)
        self.attended = not all(
            self.layout.exchanged_by_drivers(shift, group.group) for group in site.trucks for shift in group.shifts
        )
        """Whether attendants exchange here, in some shift at least."""
        self.attendants = _of_kind(self.numbers, ATTENDANTS) or _of_kind(_in(numbers, ""), ATTENDANTS)
        """Its own, or those whom it shares."""

    def all(self) -> Iterator[Variant]:
        """Every variant, those of a station first."""
        if self.plan.arrangement.in_truck:
            yield from self._devices()
            yield from self._spots()
            return
        yield from self._stations()
        yield from self._devices()
        yield from _attendants(_of_kind(self.numbers, ATTENDANTS), self.area)
        yield from self._types(CHARGERS, "charger", "chargers")
        if self.plan.bound_chargers:
            thing = f"the chargers{self.of} bound to their bays"
            levers = (Lever(LOOSE_LEADS, self.area),)
            yield Variant(f"loose charger leads{self.of}", thing, "leads", {}, levers=levers, area=self.area)
        yield from self._types(BATTERIES, "battery", "batteries")
        if self._counted(BAYS) in self.numbers:
            word = self.plan.arrangement.bay
            yield self._variant(f"one more {word}{self.of}", f"the {word}s{self.of}", "bay", self._more(BAYS))
        if self.numbers.get(self._counted(SET_DOWN_BAYS)):
            thing, more = f"the set-down bays{self.of}", self._more(SET_DOWN_BAYS)
            yield self._variant(f"one more set-down bay{self.of}", thing, "set-down bay", more)

    def _counted(self, kind: str, name: str = "") -> Counted:
        """What the area has a number of."""
        return Counted(kind, name, area=self.area)

    def _variant(self, label: str, thing: str, kind: str, more: Numbers, parts: tuple[str, ...] = ()) -> Variant:
        """One more of something of the area."""
        return Variant(label, thing, kind, more, parts, area=self.area)

    def _more(self, kind: str, name: str = "", by: int = 1) -> dict[Counted, float]:
        """So many more of a thing."""
        counted = self._counted(kind, name)
        return {counted: self.numbers[counted] + by}

    def _stations(self) -> Iterator[Variant]:
        """One more station, alone and with all that one exchange holds there."""
        if self._counted(STATIONS) not in self.numbers:
            return
        alone = self.numbers[self._counted(STATIONS)] == 1
        thing, its = (f"the station{self.of}", "its") if alone else (f"the stations{self.of}", "their")
        yield self._variant(f"one more station{self.of}", thing, "station", self._more(STATIONS))
        exchange = self.plan.exchange
        held = exchange.attendants.devices if exchange else {}
        if scarce := {name: number for name, number in held.items() if self._counted(DEVICES, name) in self.numbers}:
            yield from self._stations_with(scarce, thing, its)

    def _stations_with(self, scarce: Mapping[str, int], thing: str, its: str) -> Iterator[Variant]:
        """One more station with the devices that an exchange holds there, and with attendants too."""
        more = self._more(STATIONS)
        for name, held in scarce.items():
            more |= self._more(DEVICES, name, by=held)
        if self.layout.set_down_bays not in (None, UNLIMITED):
            more |= self._more(SET_DOWN_BAYS, by=self.plan.arrangement.set_down_bays)
        words = " and ".join(_word(name) for name in scarce)
        one_more = ("station", *(_word(name) for name in scarce), "set-down bay")
        parts = tuple(f"one more {word}{self.of}" for word in one_more)
        label, thing = f"one more station{self.of} with its {words}", f"{thing} with {its} {words}"
        yield self._variant(label, thing, "station", more, parts)
        exchange = self.plan.exchange
        if self.attendants and self.attended and exchange is not None and exchange.attendants:
            *_, attendants = _attendants(self.attendants, next(iter(self.attendants)).area)
            both = f"{thing} and attendants"
            parts = (*parts, label, attendants.label)
            yield self._variant(f"{label} and attendants", both, "station", more | dict(attendants.more), parts)

    def _devices(self) -> Iterator[Variant]:
        """One more of each kind of device; where none is stated there are as many as one exchange holds."""
        for counted, number in _of_kind(self.numbers, DEVICES).items():
            word = _word(counted.name)
            thing = f"the {word}{'s' * (number != 1)}{self.of}"
            yield self._variant(f"one more {word}{self.of}", thing, "device", self._more(DEVICES, counted.name))

    def _types(self, kind: str, word: str, words: str) -> Iterator[Variant]:
        """One more charger, or battery that trucks use, of each type that has a limit."""
        for name, which in self._named(kind):
            for counted in self.numbers:
                if (counted.kind, counted.name) == (kind, name):
                    lot = f" of lot {counted.lot}" if counted.lot else ""
                    more = {counted: self.numbers[counted] + 1}
                    label, thing = f"one more {word}{lot}{which}{self.of}", f"the {words}{lot}{which}{self.of}"
                    yield self._variant(label, thing, word, more)

    def _named(self, kind: str) -> list[tuple[str, str]]:
        """Types of chargers or batteries, limited or not, each with how it is told from the others."""
        of_kind = dict.fromkeys(counted.name for counted in _of_kind(self.numbers, kind))
        names = self.plan.charger_counts if kind == CHARGERS else of_kind
        return [(name, f" ({name})" if len(names) > 1 else "") for name in names]

    def _spots(self) -> Iterator[Variant]:
        """One more charging spot with its charger; the spots that are not stated follow from the chargers."""
        spots = self._more(STATIONS) if self.layout.stations not in (None, UNLIMITED) else {}
        for name, which in self._named(CHARGERS):
            limited = self._counted(CHARGERS, name) in self.numbers
            more = spots | self._more(CHARGERS, name) if limited else spots
            if more:
                label = f"one more charging spot{self.of}{f' with its charger{which}' if limited else ''}"
                yield self._variant(label, f"the charging spots{which}{self.of}", "spot", more)


def _attendants(on_duty: Numbers, area: str) -> Iterator[Variant]:
    """One more attendant on each shift, qualified as somebody there is, and one on every shift."""
    of = _of(area)
    parts = []
    for counted, number in on_duty.items():
        label = f"one more attendant{of}, {_shift(counted.name)}"
        thing = f"the attendants of {_shift(counted.name, 'the ')}{of and f' in{of[3:]}'}"
        yield Variant(label, thing, "attendants", {counted: number + 1}, area=area)
        parts.append(label)
    if len(parts) > 1:
        more = {counted: number + 1 for counted, number in on_duty.items()}
        label = f"one more attendant{of} on every shift"
        yield Variant(label, f"the attendants{of}", "attendants", more, tuple(parts), area=area)


def _in(numbers: Numbers, area: str) -> dict[Counted, float]:
    """Numbers of an area, or of what areas share."""
    return {counted: number for counted, number in numbers.items() if counted.area == area}


def _of_kind(numbers: Numbers, kind: str) -> dict[Counted, float]:
    """Numbers of a kind."""
    return {counted: number for counted, number in numbers.items() if counted.kind == kind}


def _of(area: str) -> str:
    """Words that tell the area; none where the layout is one area."""
    return f" of {area_in_words(area)}" if area else ""


def _shift(name: str, article: str = "") -> str:
    """Name of a shift with the word; with an article where the name is not a name by itself, such as `shift 1`."""
    return name if "shift" in name.lower() else f"{article}{name} shift"


def _word(device: str) -> str:
    """Kind of device in words."""
    return device.replace("_", " ")
