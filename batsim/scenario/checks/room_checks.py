"""Rules for positions, standby method, breakdowns and the reserve of a layout."""

from collections.abc import Iterator
from itertools import chain

from batsim.errors import Problem
from batsim.scenario.parts.base import UNLIMITED, did_you_mean
from batsim.scenario.parts.floor import Floor, bay_spots, station_spots
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path
from batsim.scenario.text.problems import problem


def room_problems(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Find every broken rule of what a layout says beyond its counts."""
    return chain(
        _floor(scenario, name, source),
        _standby(scenario, name, source),
        _outages(scenario, name, source),
        _reserve(scenario, name, source),
    )


def bays_of(scenario: Scenario, name: str) -> float:
    """Bays of a layout: as stated, or spares and the empty ones that exchanges at all stations need."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    batteries = sum(scenario.batteries_of(name).values())
    trucks = sum(group.count for group in scenario.trucks)
    stations = min(1 if layout.stations is None else layout.stations, trucks)
    if layout.bays == UNLIMITED or (layout.bays is None and scenario.rules.discharged_on_charge == "at_arrival"):
        return batteries + stations * arrangement.empty_bays
    if layout.bays is None:
        return batteries - trucks + stations * arrangement.empty_bays
    return layout.bays


def _floor(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Positions for all bays and stations, that devices can reach, for an arrangement that knows its ways."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    path: Path = ("layouts", name, "floor")
    if layout.floor is None:
        return
    if not arrangement.has_ways:
        rule = f"{layout.handling} states no ways; give its steps 'ways' and 'at_ends', or leave positions out"
        yield problem(source, path, rule)
        return
    if layout.exchange_time_min is not None:
        yield problem(
            source, path, "does not go with 'exchange_time', a time for the whole exchange; keep one of the two"
        )
    if layout.stations == UNLIMITED:
        yield problem(source, ("layouts", name, "stations"), "positions need a number of stations", got="unlimited")
        return
    bays = int(bays_of(scenario, name))
    spots = bay_spots(layout.floor, bays)
    if len(spots) < bays:
        rule = f"the rows hold {len(spots)} of {bays} bays; leave 'bays' out of the last row to let it take the rest"
        yield problem(source, (*path, "rows"), rule)
        return
    yield from _zones(scenario, name, layout.floor, bays, source)


def _zones(scenario: Scenario, name: str, floor: Floor, bays: int, source: LocatedData) -> Iterator[Problem]:
    """Every bay and station within the zone of each device, and a bay in reach of each station."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    path: Path = ("layouts", name, "floor")
    stations = station_spots(floor, int(layout.stations or 1))
    spots = bay_spots(floor, bays)
    named = [(f"bay {number + 1}", spot) for number, spot in enumerate(spots)]
    named += [(f"station {number + 1}", spot) for number, spot in enumerate(stations)]
    for device, zone in floor.zones.items():
        here: Path = (*path, "zones", device)
        if device not in arrangement.devices:
            rule = f"{layout.handling} uses no such device{did_you_mean(device, list(arrangement.devices))}"
            yield problem(source, here, rule, of_key=True)
            continue
        outside = [title for title, spot in named if not zone.holds(spot.x_m, spot.y_m)]
        if outside:
            more = f" and {len(outside) - 1} more" if len(outside) > 1 else ""
            yield problem(source, here, f"does not hold {outside[0]}{more}")
    for device, kind in arrangement.devices.items():
        for number, station in enumerate(stations):
            ways = [abs(spot.x_m - station.x_m) + abs(spot.y_m - station.y_m) for spot in spots]
            near = sum(way <= (UNLIMITED if kind.reach_m is None else kind.reach_m) for way in ways)
            if near <= arrangement.empty_bays:
                rule = (
                    f"{device} reaches only {near} of {len(spots)} bays from station {number + 1}; it needs ready "
                    "batteries and an empty bay in reach"
                )
                yield problem(source, path, rule)


def _standby(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """What stands by must be a way to exchange, with enough devices."""
    layout, standby = scenario.layouts[name], scenario.layouts[name].standby
    path: Path = ("layouts", name, "standby")
    if standby is None:
        return
    arrangement = scenario.handling[standby.handling]
    if arrangement.in_truck or scenario.arrangement(name).in_truck:
        yield problem(source, path, "stands by for exchanges; charging in the truck has none")
        return
    held = {device: kind.held for device, kind in arrangement.devices.items()}
    for device, count in standby.devices.items():
        if device not in held:
            rule = f"{standby.handling} uses no such device{did_you_mean(device, list(held))}"
            yield problem(source, (*path, "devices", device), rule, of_key=True)
        elif count < held[device]:
            rule = f"would deadlock: one exchange holds {held[device]}; have at least {held[device]}"
            yield problem(source, (*path, "devices", device), rule, got=f"{count:g}")
    if layout.floor is not None and not arrangement.has_ways:
        rule = f"{standby.handling} states no ways, which positions need"
        yield problem(source, (*path, "handling"), rule)


def _counts(scenario: Scenario, name: str) -> dict[str, float]:
    """How many there are of everything that may be out of use."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    standby, chargers = scenario.standby(name), sum(count.number for count in layout.chargers)
    counts: dict[str, float] = {"station": 1.0 if layout.stations is None else layout.stations}
    if arrangement.in_truck:
        counts["station"] = chargers if layout.stations is None else layout.stations
        counts |= {device: float(held) for device, held in arrangement.watering_devices.items()}
    counts |= {device: float(kind.held) for device, kind in arrangement.devices.items()}
    counts |= layout.devices
    if standby is not None and layout.standby is not None:
        counts |= {device: float(kind.held) for device, kind in standby.devices.items()}
        counts |= layout.standby.devices
    for count in layout.chargers:
        counts[count.charger] = counts.get(count.charger, 0.0) + count.number
    return counts


def _outages(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """What breaks down or is out must be there, in a number that has a limit."""
    layout, counts = scenario.layouts[name], _counts(scenario, name)
    counts["charger"] = sum(count.number for count in layout.chargers)
    for thing in layout.breakdowns:
        yield from _missed(source, ("layouts", name, "breakdowns", thing), thing, counts)
    del counts["charger"]
    for number, outage in enumerate(layout.out):
        path: Path = ("layouts", name, "out", number)
        found = list(_missed(source, (*path, "thing"), outage.thing, counts))
        yield from found
        if not found and outage.units > counts[outage.thing]:
            rule = f"there are {counts[outage.thing]:g} of them"
            yield problem(source, (*path, "units"), rule, got=str(outage.units))


def _missed(source: LocatedData, path: Path, thing: str, counts: dict[str, float]) -> Iterator[Problem]:
    """Find something that is not there, or that nobody would miss."""
    is_key = path[-1] == thing
    got = None if is_key else f"'{thing}'"
    if thing not in counts:
        rule = f"nothing of this name here{did_you_mean(thing, list(counts))}"
        yield problem(source, path, rule, got=got, of_key=is_key)
    elif counts[thing] == UNLIMITED:
        yield problem(source, path, "there is no limit to them; nobody would miss one", got=got, of_key=is_key)


def _reserve(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """A reserve leaves spares for others, and somebody comes for the shift change."""
    reserve = scenario.layouts[name].reserve_for_shift_change
    path: Path = ("layouts", name, "reserve_for_shift_change")
    if not reserve or scenario.arrangement(name).in_truck:
        return
    counts = scenario.batteries_of(name)
    for battery in counts:
        groups = [group for group in scenario.trucks if group.battery == battery]
        trucks = sum(group.count for group in groups)
        spares, whose = counts[battery] - trucks, f"the spare batteries of type '{battery}'"
        if groups[0].own_batteries:
            spares = spares // trucks
            whose = f"the spare batteries that each truck with '{battery}' keeps of its own"
        if reserve >= spares:
            rule = f"must be below {spares}, {whose}"
            yield problem(source, path, rule, got=str(reserve))
        elif all(group.exchange_when.shift_change == "never" for group in groups):
            rule = f"no truck with '{battery}' comes for the shift change; see trucks, exchange_when, shift_change"
            yield problem(source, path, rule, got=str(reserve))
