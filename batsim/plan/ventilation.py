"""Ventilation: what the rule asks for, what the simulated gas makes of it, what happens when a fan fails."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.catalogue import Figure, figure, has_figure
from batsim.formulas.gassing import hydrogen_l
from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from batsim.formulas.ventilation import (
    area_flow_m3_per_h,
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_cm2,
    rule_flow_m3_per_h,
    rule_gas_current_a,
)
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.measures.gas import HYDROGEN_DEGC, HYDROGEN_PA
from batsim.plan.checks import FAILS, OK, ROUNDING, TO_CHECK, Check, cited, missing
from batsim.scenario.parts.building import VENTILATION_RULES

if TYPE_CHECKING:
    from batsim.plan.evidence import Evidence
    from batsim.scenario.parts.batteries import BatteryType, ChargerType
    from batsim.scenario.parts.building import Space
    from batsim.scenario.site import Scenario

AIR = "air of the room"
"""Name of the check that puts a fan on the equipment list."""
HYDROGEN_M3_PER_AH = hydrogen_l(1.0, 1, HYDROGEN_DEGC, HYDROGEN_PA) / 1000.0
"""Hydrogen of an ampere-hour in one cell, at 25 degC and one atmosphere. [m3]"""


class Gassing(NamedTuple):
    """Batteries of one type that chargers of one type may charge at once, by the rule."""

    chargers: float
    charger: str
    battery: str
    cells: int
    gas_a: float
    """Gas-producing current of one of them. [A]"""
    charger_a: float
    """Whole current of the charger. [A]"""
    basis: str
    """Where the gas current comes from."""
    flow_m3_per_h: float
    """Air that all of them ask for. [m3/h]"""


@dataclass(frozen=True)
class Ventilation:
    """What a layout asks for."""

    edition: str
    coefficient: float
    """Air for each cell and ampere of gas current. [m3/(h A)]"""
    space_name: str
    """Room or hall."""
    gassing: tuple[Gassing, ...]
    lithium: bool
    """Whether there are lithium-ion batteries, which make no gas in normal charging."""
    opening_cm2: float
    """Free area of the inlet, and of the outlet. [cm2]"""
    free_volume_m3: float
    """Room volume, contents left out, that counts as well ventilated. [m3]"""
    full_current_m3_per_h: float
    """Air if every charger gave its whole current into gas. [m3/h]"""
    one_faulty_m3_per_h: float
    """Air with one charger, the largest, that does so. [m3/h]"""
    one_percent_m3_per_h: float
    """Air for 1 % of hydrogen from the rule's gas current, no factor of safety. [m3/h]"""
    area_flow_m3_per_h: float | None
    """Air by floor area as US rules for stationary batteries have it. [m3/h]"""
    simulated_gas_m3_per_h: float
    """Highest simulated flow of hydrogen over a quarter of an hour. [m3/h]"""
    rule_gas_m3_per_h: float
    """Flow of hydrogen that the rule's gas currents stand for. [m3/h]"""
    air_m3_per_h: float | None
    """Air that the room has, by fan or openings. [m3/h]"""
    peak_share: float | None
    """Highest simulated share of hydrogen in the room. [-]"""
    peak_share_at_rule: float | None
    """The same with the air that the rule asks for. [-]"""
    hours_to_limit: float | None
    """Hours from a failed fan to 1 %, at the highest simulated gassing. [h]"""
    hours_to_lower: float | None
    """Hours to the lower flammable limit, 4 %. [h]"""
    checks: tuple[Check, ...]

    @property
    def flow_m3_per_h(self) -> float:
        """Air that the rule asks for. [m3/h]"""
        return sum(each.flow_m3_per_h for each in self.gassing)


def coefficient_of(edition: str) -> Figure:
    """Coefficient of an edition of the rule. [m3/(h A)]"""
    return figure("ventilation.coefficient" if edition == VENTILATION_RULES[0] else "ventilation.coefficient_2002")


def gas_current(battery: "BatteryType", charger: "ChargerType") -> tuple[float, str]:
    """Gas current of a battery on a charger by the rule, and where it comes from. [A]"""
    if battery.chemistry == "lithium_ion":
        return 0.0, "none in normal charging"
    ah = battery.capacity.ah
    name = f"ventilation.gas_current.{charger.profile}.{battery.chemistry}"
    if has_figure(name):
        found = figure(name)
        return rule_gas_current_a(
            found.value, ah
        ), f"{found.value:g} A per 100 Ah for {charger.profile}: {cited(found)}"
    quarter = figure("ventilation.charger_quarter")
    whole = charger.main_current.of(ah)
    return whole * quarter.value / 100.0, f"a quarter of the charger's {whole:.0f} A: {cited(quarter)}"


def ventilation(scenario: "Scenario", layout: str, found: "Evidence") -> Ventilation:
    """Work out the ventilation of a layout."""
    in_truck = scenario.arrangement(layout).in_truck
    space = space_of(scenario, layout)
    edition = scenario.standards.ventilation
    coefficient = coefficient_of(edition)
    gassing = tuple(_gassing(scenario, layout, coefficient.value))
    flow = sum(each.flow_m3_per_h for each in gassing)
    rule_gas = sum(each.chargers * each.cells * each.gas_a for each in gassing) * HYDROGEN_M3_PER_AH
    gas_makers = [each for each in gassing if each.gas_a > 0.0]
    whole = [rule_flow_m3_per_h(each.cells, each.charger_a, coefficient.value) for each in gas_makers]
    one = max(
        (air - each.flow_m3_per_h / each.chargers for each, air in zip(gas_makers, whole, strict=True)), default=0.0
    )
    gas = np.concatenate([each.gas_m3_per_h for each in found.taken])
    free = free_m3(space)
    air = _air(space)
    opening = opening_cm2(flow, figure("ventilation.opening").value)
    peak = None if air is None or free is None else _peak(found, air, free)
    limit, lower = (figure(f"ventilation.{name}").value / 100.0 for name in ("limit", "lower_flammable"))
    highest = float(np.max(gas, initial=0.0))
    result = Ventilation(
        edition,
        coefficient.value,
        "building" if in_truck else "battery room",
        gassing,
        any(scenario.batteries[name].chemistry == "lithium_ion" for name in scenario.batteries_of(layout)),
        opening,
        free_volume_m3(flow, figure("ventilation.free_volume").value),
        sum(each.chargers * air_of_one for each, air_of_one in zip(gas_makers, whole, strict=True)),
        flow + one,
        flow_for_share_m3_per_h(rule_gas, limit),
        None
        if space.area_m2 is None
        else area_flow_m3_per_h(space.area_m2, figure("ventilation.area_flow").value / 3600.0),
        highest,
        rule_gas,
        air,
        peak,
        None if free is None or not flow else _peak(found, flow, free),
        None if free is None else hours_to_share(highest, 0.0, free, limit),
        None if free is None else hours_to_share(highest, 0.0, free, lower),
        (),
    )
    return result if not flow else _checked(result, scenario, space, in_truck=in_truck)


def _gassing(scenario: "Scenario", layout: str, coefficient: float) -> "list[Gassing]":
    """Chargers at work on the batteries that together ask for most air; no more than there are of either."""
    counts = scenario.batteries_of(layout)
    pairs = [
        (count, name)
        for count in scenario.layouts[layout].chargers
        for name in counts
        if scenario.chargers[count.charger].fits(name, scenario.batteries[name])
    ]
    found = []
    for count, name in pairs:
        battery, charger = scenario.batteries[name], scenario.chargers[count.charger]
        gas_a, basis = gas_current(battery, charger)
        whole = charger.main_current.of(battery.capacity.ah)
        one = rule_flow_m3_per_h(battery.cells, gas_a, coefficient)
        found.append(Gassing(0.0, count.charger, name, battery.cells, gas_a, whole, basis, one))
    chargers = {count.charger: count.number for count, _ in pairs}
    numbers = _at_once(found, chargers, {name: float(number) for name, number in counts.items()})
    return [
        each._replace(chargers=number, flow_m3_per_h=number * each.flow_m3_per_h)
        for each, number in zip(found, numbers, strict=True)
        if number > 0.0
    ]


def _at_once(pairs: "list[Gassing]", chargers: dict[str, float], batteries: dict[str, float]) -> list[float]:
    """How many of each pair of charger and battery there are at once when they ask for most air together."""
    if not pairs:
        return []
    from scipy.optimize import linprog  # noqa: PLC0415 - slow to import

    things = [*(("charger", name) for name in chargers), *(("battery", name) for name in batteries)]
    uses = np.array([[float(getattr(pair, kind) == name) for pair in pairs] for kind, name in things])
    most = [*(min(number, sum(batteries.values())) for number in chargers.values()), *batteries.values()]
    # Every charger that can work does; a little more than nothing for pairs that make no gas.
    worth = np.array([pair.flow_m3_per_h for pair in pairs])
    worth = worth + 1e-6 * max(1.0, float(np.max(worth)))
    solved = linprog(-worth, A_ub=uses, b_ub=most).x
    assert solved is not None  # none at work is always possible, and there are no more than there are batteries
    return [float(round(number)) for number in solved]


def space_of(scenario: "Scenario", layout: str) -> "Space":
    """Where batteries give off their gas: the building when they are charged in the truck, else the battery room."""
    return scenario.building if scenario.arrangement(layout).in_truck else scenario.room


def free_m3(space: "Space") -> float | None:
    """Volume of the room without its contents; contents are taken as a fifth when nobody says. [m3]"""
    if space.volume_m3 is None:
        return None
    share = figure("ventilation.contents").value / 100.0 if space.contents_share is None else space.contents_share
    return space.volume_m3 * (1.0 - share)


def _air(space: "Space") -> float | None:
    """Air by fan, or through openings at the air speed of the rule; None when nobody says. [m3/h]"""
    if space.fan_m3_per_h is None and space.openings_m2 is None:
        return None
    through = 0.0
    if space.openings_m2 is not None:
        through = space.openings_m2 * 1e4 / figure("ventilation.opening").value
    return max(space.fan_m3_per_h or 0.0, through)


def _peak(found: "Evidence", air: float, volume: float) -> float:
    """Highest share of hydrogen over all replications, well mixed. [-]"""
    step_h = QUARTER_MIN / 60.0
    return max(float(np.max(hydrogen_over_time(each.gas_m3_per_h, step_h, air, volume))) for each in found.taken)


def _checked(asked: Ventilation, scenario: "Scenario", space: "Space", *, in_truck: bool) -> Ventilation:
    """Add the checks."""
    rule = f"{asked.edition}, {asked.coefficient:g} m3/h for each cell and ampere of gas current"
    path = "building" if in_truck else "room"
    checks = [_enough_air(asked, rule, path), _well_ventilated(asked, space, rule, path), _mixed(asked, space, path)]
    room = scenario.site.room_air
    low, high = figure("room.temperature_low"), figure("room.temperature_high")
    aim = figure("site.room_temperature").value
    coldest, warmest = sorted((room.winter_degc, room.summer_degc))
    verdict = OK if low.value <= coldest and warmest <= high.value else TO_CHECK
    checks.append(
        Check(
            asked.space_name,
            "room temperature",
            verdict,
            f"{coldest:g} to {warmest:g} degC" if coldest != warmest else f"{coldest:g} degC",
            f"{low.value:g} to {high.value:g} degC, aim at {aim:g}",
            cited(low),
            "Batteries charge and age as their data say." if verdict == OK else "Charging and life suffer outside.",
            "" if verdict == OK else "heat or cool the room, or count with other capacities",
        )
    )
    return replace(asked, checks=tuple(checks))


def _enough_air(asked: Ventilation, rule: str, path: str) -> Check:
    """Air that there is against what the rule asks for."""
    limit = f"at least {asked.flow_m3_per_h:.0f} m3/h, or {asked.opening_cm2:.0f} cm2 free inlet and as much outlet"
    name = AIR
    if asked.air_m3_per_h is None:
        ask = "measure the free area of inlet and outlet, or read the fan's flow"
        changes = "whether a fan has to be ordered; nothing is charged without air"
        return missing(asked.space_name, name, limit, rule, ask, f"{path}.fan", changes)
    value = f"{asked.air_m3_per_h:.0f} m3/h"
    if asked.air_m3_per_h >= asked.flow_m3_per_h - ROUNDING:
        sentence = "Enough for all chargers at once by the rule; show that openings stay free and doors count shut."
        return Check(asked.space_name, name, OK, value, limit, rule, sentence)
    run_on = figure("ventilation.run_on")
    cure = (
        f"a fan for at least {asked.flow_m3_per_h:.0f} m3/h to the outside, not over the chargers, interlocked with "
        f"them and running on for {run_on.text}; or larger openings on opposite walls"
    )
    sentence = f"{asked.flow_m3_per_h - asked.air_m3_per_h:.0f} m3/h are missing."
    return Check(asked.space_name, name, FAILS, value, limit, rule, sentence, cure)


def _well_ventilated(asked: Ventilation, space: "Space", rule: str, path: str) -> Check:
    """Free volume for natural ventilation."""
    least = figure("ventilation.free_volume")
    free, limit = free_m3(space), f"at least {asked.free_volume_m3:.0f} m3, contents left out"
    name = "free volume for natural ventilation"
    if free is None:
        ask = f"measure length, width and height of the {asked.space_name}"
        changes = "whether openings are enough or a fan is needed, and how fast gas builds up when it fails"
        return missing(asked.space_name, name, limit, cited(least), ask, _unmeasured(space, path), changes)
    value = f"{free:.0f} m3"
    if (space.fan_m3_per_h or 0.0) >= asked.flow_m3_per_h - ROUNDING:
        sentence = "The fan makes up for it, as long as it runs."
        return Check(asked.space_name, name, OK, value, limit, cited(least), sentence)
    if free >= asked.free_volume_m3 - ROUNDING:
        return Check(asked.space_name, name, OK, value, limit, cited(least), "Large enough for openings alone.")
    sentence = "Too small to count as well ventilated by openings alone."
    return Check(
        asked.space_name,
        name,
        TO_CHECK,
        value,
        limit,
        cited(least),
        sentence,
        "use a fan, interlocked with the chargers",
    )


def _unmeasured(space: "Space", path: str) -> str:
    """Path of the first size of a room that is not known."""
    sides = ("length", "width", "height")
    return next((f"{path}.{side}" for side in sides if getattr(space, f"{side}_m") is None), f"{path}.fan")


def _mixed(asked: Ventilation, space: "Space", path: str) -> Check:
    """Simulated hydrogen in the room."""
    limit = figure("ventilation.limit")
    name, rule = "simulated hydrogen", f"a quarter of the lower flammable limit; {cited(limit)}"
    if asked.peak_share is None:
        ask = f"find out size and air of the {asked.space_name}"
        where = _unmeasured(space, path)
        return missing(asked.space_name, name, limit.text, rule, ask, where, "how near the room comes to it")
    value = f"{100.0 * asked.peak_share:.2f} %"
    if 100.0 * asked.peak_share <= limit.value:
        sentence = "Well mixed; near the cells and under covers there is more."
        return Check(asked.space_name, name, OK, value, limit.text, rule, sentence)
    return Check(
        asked.space_name, name, FAILS, value, limit.text, rule, "Too much hydrogen even if well mixed.", "more air"
    )
