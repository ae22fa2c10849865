"""Force to push or pull a battery by hand, against published guidance."""

from collections.abc import Iterator
from math import floor
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import figure
from batsim.formulas.push_force import largest_mass_kg, ramp_force_n, rolling_force_n
from batsim.plan.checks import FAILS, OK, ROUNDING, TO_CHECK, Check, cited, missing
from batsim.plan.survey import Trucks, drawn_out, equipment_of, trucks_alike, words

if TYPE_CHECKING:
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


class Limits(NamedTuple):
    """Forces that a table allows one person. [N]"""

    start_n: float
    rolling_n: float
    rule: str


def limits_of(table: str) -> Limits:
    """Limits of a table; one that has none for keeping a load moving has that of its start."""
    start, rolling = figure(f"push.limit.{table}.start"), figure(f"push.limit.{table}.rolling")
    return Limits(start.value, rolling.value, f"{cited(start)} ({TABLES[table]})")


def push_checks(scenario: "Scenario", layout: str) -> Iterator[Check]:
    """Check what is pushed with a battery on it, for each kind of truck."""
    arrangement = scenario.arrangement(layout)
    for trucks in trucks_alike(scenario):
        for push in arrangement.needs.pushes if drawn_out(trucks, arrangement) else ():
            yield _push(scenario, arrangement, trucks, push)


def _push(scenario: "Scenario", arrangement: "Arrangement", trucks: Trucks, push: "Push") -> Check:
    """Force to start and to keep something moving."""
    subject, name = push.what, "push and pull by hand"
    moved = equipment_of(scenario, arrangement, push.equipment[0])
    table = limits_of(scenario.standards.push)
    limit = f"{table.start_n:.0f} N to start, {table.rolling_n:.0f} N to keep moving, one person"
    if moved.moved == "powered":
        sentence = f"A motor moves the {words(push.equipment[0])}; stopping distance and people in its way stay."
        return Check(subject, name, OK, "powered", limit, table.rule, sentence)
    mass = trucks.battery.mass_kg
    if mass is None:
        ask = f"read the mass on the plate of battery '{trucks.battery_name}'"
        path, changes = trucks.battery_path("mass"), "whether people can move it by hand"
        return missing(subject, name, limit, table.rule, ask, path, changes)
    beside = sum(equipment_of(scenario, arrangement, each).own_mass_kg or 0.0 for each in push.equipment)
    share, of = _resistance(scenario, push, moved.resistance_share)
    slope = scenario.room.slope_share or 0.0
    force = rolling_force_n(mass + beside, share) + (ramp_force_n(mass + beside, slope) if push.on == "floor" else 0.0)
    people = moved.people or 1
    together = 1.0 if people == 1 else people * figure("push.people_together").value
    value = f"{force:.0f} N for {mass + beside:.0f} kg at {100 * share:.3g} % {of}"
    value += f" and {100 * slope:.3g} % slope" if slope and push.on == "floor" else ""
    value += f", {people} people" if people > 1 else ""
    most = largest_mass_kg(min(table.start_n, table.rolling_n) * together, share + slope * (push.on == "floor"))
    cure = (
        "use a powered pedestrian pallet truck or a powered carriage"
        + (", or two people on hard, level floor" if people == 1 else "")
        + f"; by hand at most {floor(most)} kg in all would keep within the guidance"
    )
    if arrangement.in_truck:
        cure += "; with single-point watering it rarely has to come out at all"
    stop_n = min(figure("push.stop.start").value, figure("push.stop.rolling").value)
    if force <= min(table.start_n, table.rolling_n) * together + ROUNDING:
        sentence = "Within the guidance on this floor, with good wheels and for short ways."
        return Check(subject, name, OK, value, limit, table.rule, sentence)
    if force <= stop_n * together + ROUNDING:
        sentence = "Above the guidance: it asks for a full assessment before people move it by hand."
        return Check(subject, name, TO_CHECK, value, limit, table.rule, sentence, cure)
    sentence = (
        "Far above what one person can start, keep moving and stop." if people == 1 else "Too heavy even for these."
    )
    return Check(subject, name, FAILS, value, limit, table.rule, sentence, cure)


def _resistance(scenario: "Scenario", push: "Push", measured: float | None) -> tuple[float, str]:
    """Force over weight, and what it stands for."""
    if measured is not None:
        return measured, "as measured"
    if push.on == "rollers":
        return figure("push.resistance.roller_bed").value / 100.0, "on rollers"
    if scenario.room.floor == "uneven":
        return figure("push.resistance.uneven").value / 100.0, "on uneven floor"
    known = "on good floor" if scenario.room.floor == "good" else "on good floor, which nobody has confirmed"
    return figure("push.resistance.good").value / 100.0, known
