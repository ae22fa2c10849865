"""What is there already: what a layout states as owned, and what the layout of today has a number of."""

from collections import defaultdict
from collections.abc import Mapping

from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.site import Scenario
from batsim.study.running.counts import ATTENDANTS, BATTERIES, BAYS, SET_DOWN_BAYS, STATIONS, counts_of, week_plan

Stock = dict[tuple[str, str], float]
"""Number by name and lot; the lot '' where lots are not told apart. For bays and stations what they are is the lot."""


def kind_of(name: str, arrangement: Arrangement) -> str:
    """What a bay or a station of an arrangement is; others can use no other as they are. Empty for all other things."""
    station = "charging spot" if arrangement.in_truck else "exchange station"
    return {BAYS: arrangement.bay, STATIONS: station}.get(name, "")


def stock_of(scenario: Scenario, layout: str) -> Stock:
    """How many of what a layout finds there, for all of its areas together.

    What a layout states under `owned` holds, and of bays and stations whatever they are; for the rest the numbers of
    today's layout and its standby devices. Parts and what a room needs for safety are there only where they are stated.
    """
    found: Stock = {}
    if scenario.present is not None:
        found = _and_owned(_counted(scenario, scenario.present), scenario.layouts[scenario.present].owned)
        arrangements = [site.arrangement(scenario.present) for site in scenario.areas_of(scenario.present).values()]
        for name in (BAYS, STATIONS):
            kinds = {kind_of(name, arrangement) for arrangement in arrangements}
            if (name, "") in found and len(kinds) == 1:
                found[name, kinds.pop()] = found.pop((name, ""))
    return _and_owned(found, scenario.layouts[layout].owned)


def names_of(stock: Stock) -> set[str]:
    """Names of what there is any of."""
    return {name for (name, _), number in stock.items() if number > 0.0}


def _and_owned(stock: Stock, owned: Mapping[str, BatteryCount]) -> Stock:
    """Stock in which what is stated as owned takes the place of what is counted."""
    return {key: number for key, number in stock.items() if key[0] not in owned} | _by_lot(owned)


def _by_lot(counts: Mapping[str, BatteryCount]) -> Stock:
    """Numbers by name and lot."""
    return {
        (name, lot): float(number)
        for name, count in counts.items()
        for lot, number in (count.lots or {"": count}).items()
    }


def _counted(scenario: Scenario, layout: str) -> Stock:
    """What all areas of a layout have a number of, people and set-down bays left out."""
    numbers: Stock = defaultdict(float)
    for site in scenario.areas_of(layout).values():
        for counted, number in counts_of(site, layout).items():
            if counted.kind not in (ATTENDANTS, SET_DOWN_BAYS, BATTERIES) and number < UNLIMITED:
                numbers[counted.name or counted.kind, kind_of(counted.kind, site.arrangement(layout))] += number
        for name, number in week_plan(site, layout).standby_devices.items():
            numbers[name, ""] += number
    return numbers | _by_lot(scenario.batteries_of(layout))
