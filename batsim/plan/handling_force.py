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
        return f"{self.force_n:.0f} N for {self.mass_kg:.0f} kg at {surface}{slope}{people}"


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
    alone = effort.people == 1
    together = 1.0 if alone else effort.people * figures["push.people_together"].value
    if effort.force_n <= table.least_n * together + ROUNDING:
        return by_hand.case("ok", effort=effort)
    most_kg = largest_mass_kg(table.least_n * together, effort.share + effort.slope)
    cure = _cure(effort.people, most_kg, in_truck=arrangement.in_truck)
    stop_n = min(figures[f"push.stop.{name}"].value for name in ("start", "rolling"))
    too_heavy = "too heavy alone" if alone else "too heavy together"
    above = effort.force_n <= stop_n * together + ROUNDING
    return by_hand.case("above" if above else too_heavy, effort=effort, cure=cure)


def _cure(people: int, most_kg: float, *, in_truck: bool) -> str:
    """What helps where the force is above the guidance."""
    return (
        "use a powered pedestrian pallet truck or a powered carriage"
        + (", or two people on hard, level floor" if people == 1 else "")
        + f"; by hand at most {floor(most_kg)} kg in all would keep within the guidance"
        + ("; with single-point watering it rarely has to come out at all" if in_truck else "")
    )


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
