"""Rules for positions, standby method, breakdowns and the reserve of a layout."""

from collections.abc import Iterator

from batsim.errors import Problem
from batsim.scenario.checks.checked_layout import CheckedLayout
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.floor import Floor, Spot, bay_spots, station_spots
from batsim.scenario.parts.kinds import UNLIMITED

MOST_WAYS = 1_000_000
"""Ways from stations to bays that are worked out: thousands of times what a room has."""


def room_problems(checked: CheckedLayout) -> Iterator[Problem]:
    """Find every broken rule of what a layout says beyond its counts."""
    yield from _floor(checked)
    yield from _standby(checked)
    yield from _outages(checked)
    yield from _reserve(checked)


def device_problems(
    checked: CheckedLayout, keys: tuple[str, ...], handling: str, counts: dict[str, float], held: dict[str, int]
) -> Iterator[Problem]:
    """Find devices that an arrangement does not know, and too few of those that it does."""
    for device, count in counts.items():
        if device not in held:
            rule = f"{handling} uses no such device{did_you_mean(device, list(held))}"
            yield checked.problem(*keys, device, rule=rule, of_key=True)
        elif count < held[device]:
            rule = f"would deadlock: one exchange holds {held[device]}; have at least {held[device]}"
            yield checked.problem(*keys, device, rule=rule, got=f"{count:g}")


def _bays_of(checked: CheckedLayout) -> int:
    """Bays of a layout with positions: as stated, or spares and the empty ones that exchanges at all stations need."""
    layout, batteries, trucks = checked.layout, sum(checked.batteries.values()), sum(checked.trucks.values())
    if layout.bays is not None and layout.bays != UNLIMITED:
        return int(layout.bays)
    empty = min(int(layout.stations or 1), trucks) * checked.arrangement.empty_bays
    out_of_trucks = batteries if layout.bays == UNLIMITED or checked.pulled_out_at_arrival else batteries - trucks
    return out_of_trucks + empty


def _floor(checked: CheckedLayout) -> Iterator[Problem]:
    """Positions for all bays and stations, that devices can reach, for an arrangement that knows its ways."""
    layout = checked.layout
    if layout.floor is None:
        return
    if not checked.arrangement.has_ways:
        rule = f"{layout.handling} states no ways; give its steps 'ways' and 'at_ends', or leave positions out"
        yield checked.problem("floor", rule=rule)
        return
    if layout.exchange_time_min is not None:
        rule = "does not go with 'exchange_time', a time for the whole exchange; keep one of the two"
        yield checked.problem("floor", rule=rule)
    if checked.arrangement.timed_on_site and layout.exchange_time_min is None:
        rule = f"does not go with times on site of {layout.handling}, which hold the ways; keep one of the two"
        yield checked.problem("floor", rule=rule)
    if layout.stations == UNLIMITED:
        yield checked.problem("stations", rule="positions need a number of stations", got="unlimited")
        return
    number, station_count = _bays_of(checked), int(layout.stations or 1)
    if number * station_count > MOST_WAYS:
        rule = f"too large: {number:,} bays for each of {station_count:,} stations; at most {MOST_WAYS:,} ways in all"
        yield checked.problem("floor", rule=rule)
        return
    bays = bay_spots(layout.floor, number)
    if len(bays) < number:
        rule = f"the rows hold {len(bays)} of {number} bays; leave 'bays' out of the last row to let it take the rest"
        yield checked.problem("floor", "rows", rule=rule)
        return
    stations = station_spots(layout.floor, station_count)
    yield from _zones(checked, layout.floor, bays, stations)
    yield from _reach(checked, bays, stations)


def _zones(checked: CheckedLayout, floor: Floor, bays: list[Spot], stations: list[Spot]) -> Iterator[Problem]:
    """Every bay and station within the zone of each device."""
    titled = [(f"bay {number}", spot) for number, spot in enumerate(bays, start=1)]
    titled += [(f"station {number}", spot) for number, spot in enumerate(stations, start=1)]
    devices = list(checked.arrangement.devices)
    for device, zone in floor.zones.items():
        outside = [title for title, spot in titled if not zone.holds(spot.x_m, spot.y_m)]
        if device not in devices:
            rule = f"{checked.layout.handling} uses no such device{did_you_mean(device, devices)}"
            yield checked.problem("floor", "zones", device, rule=rule, of_key=True)
        elif outside:
            more = f" and {len(outside) - 1} more" if len(outside) > 1 else ""
            yield checked.problem("floor", "zones", device, rule=f"does not hold {outside[0]}{more}")


def _reach(checked: CheckedLayout, bays: list[Spot], stations: list[Spot]) -> Iterator[Problem]:
    """Enough bays in reach of each station."""
    for device, kind in checked.arrangement.devices.items():
        reach_m = UNLIMITED if kind.reach_m is None else kind.reach_m
        for number, station in enumerate(stations, start=1):
            near = sum(abs(bay.x_m - station.x_m) + abs(bay.y_m - station.y_m) <= reach_m for bay in bays)
            if near <= checked.arrangement.empty_bays:
                rule = f"{device} reaches only {near} of {len(bays)} bays from station {number}"
                yield checked.problem("floor", rule=f"{rule}; it needs ready batteries and an empty bay in reach")


def _standby(checked: CheckedLayout) -> Iterator[Problem]:
    """What stands by must be a way to exchange, with enough devices."""
    standby, arrangement = checked.layout.standby, checked.scenario.standby(checked.name)
    if standby is None or arrangement is None:
        return
    if arrangement.in_truck or checked.arrangement.in_truck:
        yield checked.problem("standby", rule="stands by for exchanges; charging in the truck has none")
        return
    keys = ("standby", "devices")
    yield from device_problems(checked, keys, standby.handling, standby.devices, arrangement.devices_held)
    if checked.layout.floor is not None and not arrangement.has_ways:
        yield checked.problem("standby", "handling", rule=f"{standby.handling} states no ways, which positions need")


def _counts(checked: CheckedLayout) -> dict[str, float]:
    """How many there are of everything that may be out of use."""
    layout, arrangement, standby = checked.layout, checked.arrangement, checked.scenario.standby(checked.name)
    spots = sum(count.number for count in layout.chargers) if arrangement.in_truck else 1.0
    stations = spots if layout.stations is None else layout.stations
    counts: dict[str, float] = {"station": stations, **arrangement.devices_held, **layout.devices}
    if standby is not None and layout.standby is not None:
        counts |= {**standby.devices_held, **layout.standby.devices}
    for charger, number in layout.chargers_by_type.items():
        counts[charger] = counts.get(charger, 0.0) + number
    return counts


def _outages(checked: CheckedLayout) -> Iterator[Problem]:
    """What breaks down or is out must be there, in a number that has a limit."""
    layout, counts = checked.layout, _counts(checked)
    counts_of_all = counts | {"charger": sum(count.number for count in layout.chargers)}
    for thing in layout.breakdowns:
        if rule := _not_missed(thing, counts_of_all):
            yield checked.problem("breakdowns", thing, rule=rule, of_key=True)
    for number, outage in enumerate(layout.out):
        if rule := _not_missed(outage.thing, counts):
            yield checked.problem("out", number, "thing", rule=rule, got=f"'{outage.thing}'")
        elif outage.units > counts[outage.thing]:
            rule = f"there are {counts[outage.thing]:g} of them"
            yield checked.problem("out", number, "units", rule=rule, got=str(outage.units))


def _not_missed(thing: str, counts: dict[str, float]) -> str:
    """Rule that something breaks which is not there, or which nobody would miss; empty where it breaks none."""
    if thing not in counts:
        return f"nothing of this name here{did_you_mean(thing, list(counts))}"
    return "there is no limit to them; nobody would miss one" if counts[thing] == UNLIMITED else ""


def _reserve(checked: CheckedLayout) -> Iterator[Problem]:
    """A reserve leaves spares for others, and somebody comes for the shift change."""
    reserve = checked.layout.reserve_for_shift_change
    if not reserve or checked.arrangement.in_truck:
        return
    for battery, trucks in checked.trucks.items():
        groups = [group for group in checked.scenario.trucks if group.battery == battery]
        spares, whose = checked.batteries[battery] - trucks, f"the spare batteries of type '{battery}'"
        if groups[0].own_batteries:
            spares //= trucks
            whose = f"the spare batteries that each truck with '{battery}' keeps of its own"
        if reserve >= spares:
            rule = f"must be below {spares}, {whose}"
        elif all(group.exchange_when.shift_change == "never" for group in groups):
            rule = f"no truck with '{battery}' comes for the shift change; see trucks, exchange_when, shift_change"
        else:
            continue
        yield checked.problem("reserve_for_shift_change", rule=rule, got=str(reserve))
