"""What is there already: what a layout states as owned, and what the layout of today has a number of."""

from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.site import Scenario
from batsim.study.running.counts import ATTENDANTS, BAYS, SET_DOWN_BAYS, STATIONS, counts_of, week_plan

Stock = dict[str, float | BatteryCount]
"""Number by name; of batteries with their lots."""


def stock_of(scenario: Scenario, layout: str) -> Stock:
    """How many of what a layout finds there, by name; `bays` and `stations` are those that it can use as they are.

    What a layout states under `owned` holds; for the rest the numbers of today's layout and its standby devices. Parts
    and what a room needs for safety are there only where they are stated.
    """
    found: Stock = {}
    if scenario.present is not None:
        found = _counted(scenario, scenario.present) | scenario.layouts[scenario.present].owned
        today, this = scenario.arrangement(scenario.present), scenario.arrangement(layout)
        if today.bay != this.bay:
            found.pop(BAYS, None)
        if today.in_truck != this.in_truck:
            found.pop(STATIONS, None)
    return found | scenario.layouts[layout].owned


def by_lot(stock: Stock) -> dict[tuple[str, str], float]:
    """The same by name and lot; the lot '' where lots are not told apart."""
    return {(name, lot): count for name, number in stock.items() for lot, count in _lots(number)}


def _lots(number: float | BatteryCount) -> list[tuple[str, float]]:
    """Number by lot, or all of it in one."""
    lots = number.lots if isinstance(number, BatteryCount) else {}
    return [*lots.items()] or [("", number)]


def _counted(scenario: Scenario, layout: str) -> Stock:
    """What a layout has a number of, people and set-down bays left out."""
    numbers: Stock = {
        counted.name or counted.kind: number
        for counted, number in counts_of(scenario, layout).items()
        if counted.kind not in (ATTENDANTS, SET_DOWN_BAYS) and number < UNLIMITED
    }
    for name, number in week_plan(scenario, layout).standby_devices.items():
        numbers[name] = numbers.get(name, 0.0) + number
    return numbers | scenario.batteries_of(layout)
