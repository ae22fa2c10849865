"""A draft of a layout's plan: its checks, equipment list and yearly cost, before it is held against other layouts."""

from typing import NamedTuple

from batsim.plan.checks import Check
from batsim.plan.equipment import equipment_list
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.evidence import Evidence
from batsim.plan.fit import strength_checks
from batsim.plan.money import YearlyCost, money
from batsim.plan.possible import checks_at_once
from batsim.plan.temperatures import temperature_checks
from batsim.plan.ventilation import Ventilation, ventilation
from batsim.scenario.site import Scenario


class Draft(NamedTuple):
    """What a layout needs and costs, before it is held against the others."""

    checks: tuple[Check, ...]
    """All but that of the supply, each once."""
    equipment: tuple[EquipmentLine, ...]
    ventilations: tuple[Ventilation, ...]
    money: YearlyCost


def draft_of(scenario: Scenario, evidence: Evidence) -> Draft:
    """Check a layout, list its equipment, add up its cost."""
    layout = evidence.layout
    scenario = scenario.in_layout(layout)
    spaces = ventilation(scenario, layout, evidence)
    at_once = checks_at_once(scenario, layout)
    simulated = (*temperature_checks(scenario, layout, evidence), *strength_checks(scenario, evidence))
    checks = tuple(dict.fromkeys([*simulated, *at_once, *(check for space in spaces for check in space.checks)]))
    flows = {space.space_name: space.flow_to_order_m3_per_h for space in spaces}
    lines = equipment_list(scenario, layout, checks, flows)
    return Draft(checks, lines, spaces, money(scenario, layout, evidence, lines))


def cost_per_year(scenario: Scenario, evidence: Evidence) -> float:
    """What a layout costs in a year at equal work, people and standing trucks included. [currency/year]"""
    return draft_of(scenario, evidence).money.at_equal_work.value
