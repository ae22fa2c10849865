"""What stands in the room in a window: batteries, stations, chargers, devices."""

from collections.abc import Iterator, Sequence
from itertools import count
from math import inf

from batsim.measures.room_course import CHARGER_STATES
from batsim.record.words import CONNECTED, IN_TRANSFER, IN_TRUCK, LAID_DOWN, ON_CHARGE, PAUSED, STATES
from batsim.study.replay.window import (
    BATTERY,
    BAY,
    CHARGER,
    DEVICE,
    FROM_TRUCK,
    STATION,
    TO_TRUCK,
    TRUCK,
    Row,
    Stay,
    Thing,
    Window,
    in_all,
    numbered,
)

GIVING, PAUSE, BATTERY_WAITS, HELD, OUT_OF_USE, FREE = CHARGER_STATES
TAKEN = "in use"
CHARGER_DOES = {ON_CHARGE: GIVING, PAUSED: PAUSE, **dict.fromkeys(CONNECTED, BATTERY_WAITS)}
"""What a charger does by the state of the battery that has it; in all others it is held."""
Used = list[tuple[int, Stay]]
"""Number of a thing of a kind, and what it is used for."""


def batteries(window: Window) -> Iterator[Thing]:
    """Batteries in trucks, in transfer at a station, in their bays."""
    at_stations = _at_stations(window)
    known = (battery for battery, states in window.states.items() if states)
    spent = {battery: list(_spent(window, battery, at_stations.get(battery, []))) for battery in known}
    told = {(window.area_of_battery(number), stay.number) for number, each in spent.items() for stay in _in_bay(each)}
    free = {area: (bay for bay in count() if (area, bay) not in told) for area in range(len(window.facts.areas))}
    for battery, each in spent.items():
        area, name = window.area_of_battery(battery), window.facts.battery_types[window.queue_of(battery)].name
        yield window.thing(BATTERY, name, battery, area, _placed(each, free[area]))


def _at_stations(window: Window) -> dict[int, list[Stay]]:
    """By battery: when it lies at a station with its truck."""
    found: dict[int, list[Stay]] = {}
    for row, station in zip(window.exchanges, window.station_numbers, strict=True):
        for name, at in (("discharged", FROM_TRUCK), ("charged", TO_TRUCK)):
            stay = Stay(row["start_min"], row["truck_free_min"], "", at, station)
            found.setdefault(int(row[name]), []).append(stay)
    return found


def _placed(spent: list[Stay], free: Iterator[int]) -> list[Stay]:
    """What a battery spends its time with, in a bay that is free where the record does not tell in which."""
    if all(stay.number >= 0 for stay in _in_bay(spent)):
        return spent
    bay = next(free)
    return [stay._replace(number=bay) if stay.at == BAY and stay.number < 0 else stay for stay in spent]


def _in_bay(spent: Sequence[Stay]) -> Iterator[Stay]:
    """What of it is spent in a bay."""
    return (stay for stay in spent if stay.at == BAY)


def _spent(window: Window, battery: int, at_stations: Sequence[Stay]) -> Iterator[Stay]:
    """States of a battery, each with its place: with its truck at the station, before that and after in its bay."""
    for code, begin, end in window.states[battery]:
        moved = code in (IN_TRANSFER, LAID_DOWN)
        if code == IN_TRUCK or battery in window.truck_of:
            yield Stay(begin, end, STATES[code], TRUCK, window.truck_of.get(battery, -1))
        else:
            yield Stay(begin, end, STATES[code], BAY, window.bay_of(battery, end if moved else begin))
        if moved:
            stay = Stay(begin, end, STATES[code])
            yield from (stay.within(other)._replace(at=other.at, number=other.number) for other in at_stations)


def stations(window: Window) -> Iterator[Thing]:
    """Stations, or charging spots: free, with a truck, out of use."""
    for number, area in enumerate(window.facts.areas):
        used: Used = [
            (spot.number, Stay(spot.from_min, spot.to_min, TAKEN, TRUCK, window.truck_of.get(spot.battery, -1)))
            if spot.battery >= 0
            else (spot.number, Stay(spot.from_min, spot.to_min, OUT_OF_USE))
            for spot in window.spots.get(number, [])
        ]
        if not area.in_truck:
            used += [
                (station, Stay(row["start_min"], row["truck_free_min"], TAKEN, TRUCK, int(row["truck"])))
                for row, station in zip(window.exchanges, window.station_numbers, strict=True)
                if window.facts.queue_areas[int(row["queue"])] == number
            ]
            used += _out_of_use(window.out(number))
        yield from _things(window, STATION, "", number, area.stations, used)


def _out_of_use(rows: list[Row]) -> Used:
    """Outages of things that are told apart."""
    return [(int(row["unit"]), Stay(row["from_min"], row["to_min"], OUT_OF_USE)) for row in rows]


def _things(window: Window, kind: str, name: str, area: int, limit: float, used: Used) -> Iterator[Thing]:
    """All things of a kind: free, but for what they are used for."""
    for number in range(in_all(limit, (each for each, _ in used))):
        own = [stay for each, stay in used if each == number]
        yield window.thing(kind, name, number, area, [Stay(-inf, inf, FREE), *own])


def devices(window: Window) -> Iterator[Thing]:
    """Devices: free, in use for an exchange or for watering, out of use."""
    facts, rows = window.facts, window.rows("devices", "start_min", "end_min")
    for device, name in enumerate(facts.devices):
        used: Used = [
            (int(row["unit"]), Stay(row["start_min"], row["end_min"], TAKEN)) for row in rows if row["device"] == device
        ]
        used += _out_of_use(window.out(len(facts.areas) + device))
        yield from _things(
            window, DEVICE, name, facts.area_of_thing[len(facts.areas) + device], facts.device_counts[device], used
        )


def chargers(window: Window) -> Iterator[Thing]:
    """Chargers of each type: what they do, and for which battery."""
    facts, rows = window.facts, window.rows("chargers", "from_min", "to_min")
    for charger, name in enumerate(facts.chargers):
        taken = [row for row in rows if row["charger"] == charger]
        own = [*taken, *window.out(facts.first_charger + charger)]
        spans = [(row["from_min"], row["to_min"]) for row in own]
        used: Used = []
        for row, span, number in zip(own, spans, numbered(spans), strict=True):
            used += [(number, stay) for stay in _charging(window, row, span)]
        yield from _things(
            window,
            CHARGER,
            name,
            facts.area_of_thing[facts.first_charger + charger],
            facts.charger_counts[charger],
            used,
        )


def _charging(window: Window, row: Row, span: tuple[float, float]) -> Iterator[Stay]:
    """What a charger does for a battery that has it, or that it is out of use."""
    battery = int(row.get("battery", -1))
    if battery < 0:
        yield Stay(*span, OUT_OF_USE)
        return
    held = Stay(*span, HELD, BATTERY, battery)
    yield held
    for code, begin, end in window.states[battery]:
        if code in CHARGER_DOES:
            yield Stay(begin, end, CHARGER_DOES[code], BATTERY, battery).within(held)
