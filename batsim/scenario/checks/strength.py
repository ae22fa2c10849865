"""Whether a battery is strong enough for what its truck draws."""

from batsim.formulas.discharge import discharge_at_power
from batsim.scenario.chemistry import cell_of
from batsim.scenario.site import Scenario

SHORTEST_RUN_MIN = 20.0
"""Work on one full battery below which a power is more than it can give. [min]"""
CLOSE_KW = 1e-3


def full_run_min(scenario: Scenario, number: int, kw: float) -> float:
    """Work at a power on a full battery of a truck group, down to the level at which it is exchanged. [min]"""
    group, figures = scenario.trucks[number], scenario.figures
    degc = group.temperature_degc
    if degc is None:
        air = group.air or scenario.site.room_air
        degc = air.in_week(scenario.simulation.start_week, figures["site.coldest_week"].value)
    cell = cell_of(scenario.batteries[group.battery], figures, degc)
    return 60.0 * discharge_at_power(1.0, group.exchange_at_share, kw * 1000.0, cell)[0]


def greatest_kw(scenario: Scenario, number: int) -> float:
    """Greatest power that a full battery of a truck group gives for long enough to work with. [kW]"""
    low_kw, high_kw = 0.0, 1.0
    while full_run_min(scenario, number, high_kw) >= SHORTEST_RUN_MIN:
        low_kw, high_kw = high_kw, 2.0 * high_kw
    while high_kw - low_kw > CLOSE_KW:
        middle_kw = (low_kw + high_kw) / 2.0
        if full_run_min(scenario, number, middle_kw) >= SHORTEST_RUN_MIN:
            low_kw = middle_kw
        else:
            high_kw = middle_kw
    return low_kw
