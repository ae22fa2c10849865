"""Gas that chargers make in batteries: by the standard, of all that may be on charge at once, and with one fault."""

from operator import itemgetter
from typing import NamedTuple

import numpy as np

from batsim.catalogue import Figure, Figures
from batsim.formulas.ventilation import (
    rule_flow_m3_per_h,
    rule_gas_current_a,
)
from batsim.plan.checks import cited
from batsim.scenario.parts.batteries import BatteryType, ChargerType
from batsim.scenario.parts.building import VENTILATION_RULES
from batsim.scenario.site import Scenario


class GasRelease(NamedTuple):
    """Batteries of one type that chargers of one type may charge at once in an area, by the rule."""

    chargers: float
    charger: str
    battery: str
    cells: int
    gas_a: float
    """Gas current of one of them that is planned for. [A]"""
    charger_a: float
    """Whole current of the charger. [A]"""
    basis: str
    """Where the gas current comes from."""
    flow_m3_per_h: float
    """Air that all of them ask for. [m3/h]"""
    area: str
    """Empty where the layout is one area."""


def coefficient_of(edition: str, figures: Figures) -> Figure:
    """Coefficient of an edition of the rule. [m3/(h A)]"""
    return figures["ventilation.coefficient" if edition == VENTILATION_RULES[0] else "ventilation.coefficient_2002"]


def gas_current(battery: BatteryType, charger: ChargerType, figures: Figures) -> tuple[float, str]:
    """Gas current to plan for, and where it comes from. [A]

    The greatest of the rule's table, the current of the charger's end stage and that of equalising charges: gassing
    begins where all current makes gas. IU has no end stage; its end current is where it stops.
    """
    if battery.chemistry == "lithium_ion":
        return 0.0, "none in normal charging"
    ah, table = battery.capacity.ah, figures[f"ventilation.gas_current.{charger.profile}.{battery.chemistry}"]
    of_table = f"{table.value:g} A per 100 Ah"
    currents = [(rule_gas_current_a(table.value, ah), f"{of_table} for {charger.profile}: {cited(table)}")]
    end = None if charger.profile == "IU" else charger.end_current
    equalising = None if battery.equalising is None else battery.equalising.current
    for whose, current in (("the charger's end stage", end), ("its equalising charges", equalising)):
        if current is not None:
            basis = f"{current.text}, the current of {whose}; more than the {of_table} of the rule's table"
            currents.append((current.of(ah), basis))
    return max(currents, key=itemgetter(0))


def gas_releases(scenario: Scenario, layout: str, area: str, coefficient: float) -> list[GasRelease]:
    """Chargers of an area at work on the batteries that together ask for most air; no more than there are of either."""
    counts = scenario.batteries_of(layout)
    chargers, releases = {}, []
    for count in scenario.layouts[layout].chargers:
        charger = scenario.chargers[count.charger]
        for name in counts:
            battery = scenario.batteries[name]
            if charger.fits(name, battery, scenario.figures):
                chargers[count.charger] = count.number
                gas_a, basis = gas_current(battery, charger, scenario.figures)
                whole_a = charger.main_current.of(battery.capacity.ah)
                flow = rule_flow_m3_per_h(battery.cells, gas_a, coefficient)
                release = GasRelease(1.0, count.charger, name, battery.cells, gas_a, whole_a, basis, flow, area)
                releases.append(release)
    numbers = on_charge_at_once(releases, chargers, {name: float(number) for name, number in counts.items()})
    return [
        release._replace(chargers=number, flow_m3_per_h=number * release.flow_m3_per_h)
        for release, number in zip(releases, numbers, strict=True)
        if number > 0.0
    ]


def on_charge_at_once(pairs: list[GasRelease], chargers: dict[str, float], batteries: dict[str, float]) -> list[float]:
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


def with_a_fault(gassing: tuple[GasRelease, ...], coefficient: float) -> tuple[float, float]:
    """Air if all chargers gave their whole current into gas, and what the worst one alone adds. [m3/h]"""
    makers = [release for release in gassing if release.gas_a > 0.0]
    flows = [rule_flow_m3_per_h(release.cells, release.charger_a, coefficient) for release in makers]
    pairs = list(zip(makers, flows, strict=True))
    worst = max((flow - release.flow_m3_per_h / release.chargers for release, flow in pairs), default=0.0)
    return sum(release.chargers * flow for release, flow in pairs), worst
