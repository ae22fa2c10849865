"""Force to push or pull a battery by hand, against published guidance."""

from collections.abc import Iterator
from math import floor
from typing import TYPE_CHECKING, NamedTuple

from batsim.formulas.push_force import largest_mass_kg, ramp_force_n, rolling_force_n
from batsim.plan.checks import ROUNDING, Check, Requirement, cited
from batsim.plan.survey import Trucks, equipment_of, pulled_out, trucks_alike, words

if TYPE_CHECKING:
    from batsim.catalogue import Figures
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


def limits_of(table: str, figures: "Figures") -> ForceLimits:
    """Limits of a table; one that has none for keeping a load moving has that of its start."""
    start, rolling = figures[f"push.limit.{table}.start"], figures[f"push.limit.{table}.rolling"]
    return ForceLimits(start.value, rolling.value, f"{cited(start)} ({TABLES[table]})")


def push_checks(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Check what is pushed with a battery on it, for each kind of truck."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        for push in arrangement.needs.pushes if pulled_out(trucks, arrangement) else ():
            yield _push(scenario, arrangement, trucks, push)


def _push(scenario: "Scenario", arrangement: "Arrangement", trucks: Trucks, push: "Push") -> Check:
    """Force to start and to keep something moving."""
    moved = equipment_of(scenario, arrangement, push.equipment[0])
    table = limits_of(scenario.standards.push, scenario.figures)
    limit = f"{table.start_n:.0f} N to start, {table.rolling_n:.0f} N to keep moving, one person"
    by_hand = Requirement(push.what, "push and pull by hand", table.rule, "whether people can move it by hand", limit)
    if moved.moved == "powered":
        sentence = f"A motor moves the {words(push.equipment[0])}; stopping distance and people in its way stay."
        return by_hand.ok("powered", sentence)
    if trucks.battery.mass_kg is None:
        return by_hand.not_known(*trucks.ask_mass)
    beside_kg = sum(equipment_of(scenario, arrangement, name).own_mass_kg or 0.0 for name in push.equipment)
    mass_kg = trucks.battery.mass_kg + beside_kg
    share, surface = _resistance(scenario, push, moved.resistance_share)
    slope = (scenario.room.slope_share or 0.0) if push.on == "floor" else 0.0
    force_n = rolling_force_n(mass_kg, share) + ramp_force_n(mass_kg, slope)
    people = moved.people or 1
    together = 1.0 if people == 1 else people * scenario.figures["push.people_together"].value
    value = f"{force_n:.0f} N for {mass_kg:.0f} kg at {100 * share:.3g} % {surface}"
    value += f" and {100 * slope:.3g} % slope" if slope else ""
    value += f", {people} people" if people > 1 else ""
    if force_n <= table.least_n * together + ROUNDING:
        return by_hand.ok(value, "Within the guidance on this floor, with good wheels and for short ways.")
    most_kg = largest_mass_kg(table.least_n * together, share + slope)
    cure = _cure(people, most_kg, in_truck=arrangement.in_truck)
    stop_n = min(scenario.figures[f"push.stop.{name}"].value for name in ("start", "rolling"))
    if force_n <= stop_n * together + ROUNDING:
        sentence = "Above the guidance: it asks for a full assessment before people move it by hand."
        return by_hand.to_check(value, sentence, cure)
    alone = "Far above what one person can start, keep moving and stop."
    return by_hand.fails(value, alone if people == 1 else "Too heavy even for these.", cure)


def _cure(people: int, most_kg: float, *, in_truck: bool) -> str:
    """What helps where the force is above the guidance."""
    return (
        "use a powered pedestrian pallet truck or a powered carriage"
        + (", or two people on hard, level floor" if people == 1 else "")
        + f"; by hand at most {floor(most_kg)} kg in all would keep within the guidance"
        + ("; with single-point watering it rarely has to come out at all" if in_truck else "")
    )


def _resistance(scenario: "Scenario", push: "Push", measured: float | None) -> tuple[float, str]:
    """Force over weight, and what it stands for."""
    if measured is not None:
        return measured, "as measured"
    if push.on == "rollers":
        name, surface = "roller_bed", "on rollers"
    elif scenario.room.floor == "uneven":
        name, surface = "uneven", "on uneven floor"
    elif scenario.room.floor == "good":
        name, surface = "good", "on good floor"
    else:
        name, surface = "good", "on good floor, which nobody has confirmed"
    return scenario.figures[f"push.resistance.{name}"].value / 100.0, surface
