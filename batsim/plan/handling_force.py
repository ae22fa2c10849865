"""Force to push or pull a battery by hand, against published guidance."""

from collections.abc import Iterator
from math import floor
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.formulas.push_force import largest_mass_kg, ramp_force_n, rolling_force_n
from batsim.plan.checks import ROUNDING, Check, Requirement, cited
from batsim.plan.survey import Trucks, equipment_of, pulled_out, trucks_alike
from batsim.scenario.parts.fit import Equipment
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.needs import Push
from batsim.scenario.site import Scenario

TABLES = {
    "hse_l23_men": "men",
    "hse_l23_women": "women",
    "ccohs": "whole body, standing",
    "insurers": "waist height, dry floor",
    "snook_men_90": "men, acceptable to 90 %",
    "snook_women_90": "women, acceptable to 90 %",
    "en_1005_3": "15th percentile of users at work",
}
"""Whom each table is for."""


class ForceLimits(NamedTuple):
    """Forces that a table allows one person. [N]"""

    start_n: float
    rolling_n: float
    rule: str

    @property
    def least_n(self) -> float:
        """Force that is neither too much to start nor to keep moving. [N]"""
        return min(self.start_n, self.rolling_n)


def limits_of(table: str, figures: Figures) -> ForceLimits:
    """Limits of a table; one that has none for keeping a load moving has that of its start."""
    start, rolling = figures[f"push.limit.{table}.start"], figures[f"push.limit.{table}.rolling"]
    return ForceLimits(start.value, rolling.value, f"{cited(start)} ({TABLES[table]})")


def push_checks(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Check what is pushed with a battery on it, for each kind of truck."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        for push in arrangement.needs.pushes if pulled_out(trucks, arrangement) else ():
            yield _push(scenario, arrangement, trucks, push)


class Effort(NamedTuple):
    """What it takes to move a battery and what carries it."""

    mass_kg: float
    share: float
    """Force over weight on the level. [-]"""
    surface: str
    slope: float
    """Rise over way; 0 on rollers. [-]"""
    people: int

    @property
    def force_n(self) -> float:
        """Force to keep it moving, uphill where there is a slope. [N]"""
        return rolling_force_n(self.mass_kg, self.share) + ramp_force_n(self.mass_kg, self.slope)

    @property
    def text(self) -> str:
        """The same with the numbers that it rests on."""
        slope = f" and {100 * self.slope:.3g} % slope" if self.slope else ""
        people = f", {self.people} people" if self.people > 1 else ""
        surface = f"{100 * self.share:.3g} % {self.surface}"
        return f"{self.force_n:,.0f} N for {self.mass_kg:,.0f} kg at {surface}{slope}{people}"


def _effort(scenario: Scenario, arrangement: Arrangement, battery_kg: float, push: Push, moved: Equipment) -> Effort:
    """What it takes to push something with a battery on it."""
    beside_kg = sum(equipment_of(scenario, arrangement, name).own_mass_kg or 0.0 for name in push.equipment)
    slope = (scenario.room.slope_share or 0.0) if push.on == "floor" else 0.0
    share, surface = _resistance(scenario, push, moved.resistance_share)
    return Effort(battery_kg + beside_kg, share, surface, slope, moved.people or 1)


def _push(scenario: Scenario, arrangement: Arrangement, trucks: Trucks, push: Push) -> Check:
    """Force to start and to keep something moving."""
    moved, figures = equipment_of(scenario, arrangement, push.equipment[0]), scenario.figures
    table = limits_of(scenario.standards.push, figures)
    by_hand = Requirement("push", push.what, trucks=trucks, table=table, moved=push.equipment[0])
    if moved.moved == "powered":
        return by_hand.case("powered")
    if trucks.battery.mass_kg is None:
        return by_hand.case("no mass")
    effort = _effort(scenario, arrangement, trucks.battery.mass_kg, push, moved)
    within_n = table.least_n * together(effort.people, figures)
    if effort.force_n <= within_n + ROUNDING:
        return by_hand.case("ok", effort=effort)
    beside_kg, window = effort.mass_kg - trucks.battery.mass_kg, trucks.compartment.battery_mass_kg
    battery_kg = largest_mass_kg(within_n, effort.share + effort.slope) - beside_kg
    if window is not None and battery_kg < window.least:
        battery_kg = 0.0  # the truck must not have one so light
    cure = _cure(scenario, push, effort, battery_kg, in_truck=arrangement.in_truck)
    stop_n = min(figures[f"push.stop.{name}"].value for name in ("start", "rolling"))
    if effort.force_n <= stop_n * together(effort.people, figures) + ROUNDING:
        return by_hand.case("above", effort=effort, cure=cure)
    if effort.people > 1:
        return by_hand.case("too heavy together", effort=effort, cure=cure)
    far = effort.force_n >= table.start_n * figures["push.far_above"].value
    return by_hand.case("far too heavy alone" if far else "too heavy alone", effort=effort, cure=cure)


def together(people: int, figures: Figures) -> float:
    """Force of people together over that of one. [-]"""
    return 1.0 if people == 1 else people * figures["push.people_together"].value


def _cure(scenario: Scenario, push: Push, effort: Effort, battery_kg: float, *, in_truck: bool) -> str:
    """What helps where the force is above the guidance; nothing that would leave it above."""
    figures, limit = scenario.figures, limits_of(scenario.standards.push, scenario.figures)
    cures = ["a powered pedestrian pallet truck or a powered carriage"]
    if effort.people == 1 and effort.force_n <= limit.least_n * together(2, figures) + ROUNDING:
        cures.append("two people")
    level_n = rolling_force_n(effort.mass_kg, figures["push.resistance.good"].value / 100.0)
    spoilt = push.on == "floor" and (effort.slope or scenario.room.floor == "uneven")
    if spoilt and level_n <= limit.least_n * together(effort.people, figures) + ROUNDING:
        cures.append("a level way over hard, even floor")
    cure = f"use {', or '.join(cures)}"
    if battery_kg >= 1.0:
        cure += f"; by hand a battery of at most {floor(battery_kg):,} kg would keep within the guidance"
    return cure + ("; with single-point watering it rarely has to come out at all" if in_truck else "")


def for_two(scenario: Scenario, layout: str) -> Iterator[str]:
    """What takes two people to push, pull, lift or carry where the arrangement has one do it, with the load."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        for push in arrangement.needs.pushes if pulled_out(trucks, arrangement) else ():
            yield from _pushed_by_two(scenario, arrangement, trucks, push)
    yield from _lifts_alone(arrangement)
    frame, most_kg = arrangement.needs.rolls_on, scenario.figures["carry.limit"].value
    own_kg = 0.0 if frame is None else equipment_of(scenario, arrangement, frame).own_mass_kg or 0.0
    if own_kg > most_kg + ROUNDING:
        both_kg = most_kg * together(2, scenario.figures)
        yield f"{frame} ({own_kg:,.0f} kg to lift or carry; one person at most {most_kg:.1f} kg, two {both_kg:.1f} kg)"


def _lifts_alone(arrangement: Arrangement) -> Iterator[str]:
    """Steps in which one person lifts a battery and nobody watches."""
    for step in arrangement.steps:
        lifted = step.device == arrangement.needs.lifts and any(way.carrying for way in step.ways)
        if lifted and sum(step.by) == 1:
            yield f"{step.step} (a lift that nobody else watches)"


def _pushed_by_two(scenario: Scenario, arrangement: Arrangement, trucks: Trucks, push: Push) -> Iterator[str]:
    """A push by hand that is too much for the one person who does it, and not for two."""
    moved, battery_kg = equipment_of(scenario, arrangement, push.equipment[0]), trucks.battery.mass_kg
    if moved.moved == "powered" or battery_kg is None or _hands(arrangement, push) > 1:
        return
    one_n = limits_of(scenario.standards.push, scenario.figures).least_n
    force_n = _effort(scenario, arrangement, battery_kg, push, moved).force_n
    if one_n + ROUNDING < force_n <= one_n * together(2, scenario.figures) + ROUNDING:
        yield f"{push.what} ({force_n:,.0f} N to push or pull)"


def _hands(arrangement: Arrangement, push: Push) -> int:
    """Fewest people at a step that holds what is pushed; at any where no step does; one in the truck."""
    holding = [step.by for step in arrangement.steps if step.device in push.equipment]
    return min((sum(hands) for hands in holding or [step.by for step in arrangement.steps]), default=1)


def _resistance(scenario: Scenario, push: Push, measured: float | None) -> tuple[float, str]:
    """Force over weight, and what it stands for."""
    if measured is not None:
        return measured, "as measured"
    floors = {
        "uneven": ("uneven", "on uneven floor"),
        "good": ("good", "on good floor"),
        None: ("good", "on good floor, which nobody has confirmed"),
    }
    name, surface = ("roller_bed", "on rollers") if push.on == "rollers" else floors[scenario.room.floor]
    return scenario.figures[f"push.resistance.{name}"].value / 100.0, surface
