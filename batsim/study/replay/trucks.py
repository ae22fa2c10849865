"""What trucks do in a window: work, the way, the queue, their exchange or their charge."""

from collections.abc import Iterator
from math import inf

from batsim.measures.room_course import CHARGER_STATES
from batsim.record.words import CAUSES, IN_TRUCK, NOTHING, STATES, TURNED_AWAY
from batsim.study.replay.window import QUEUE, STATION, TRUCK, WAY, WORK, Stay, Thing, Window, numbered

AT_WORK, NOT_AT_WORK, STANDS, TO_BE_FETCHED = "at work", "not at work", "stands", "waits to be fetched"
ON_THE_WAY, ON_THE_WAY_BACK, IN_EXCHANGE, PLUGGED_IN = "on the way", "on the way back", "in exchange", "plugged in"
WAITS = tuple("waits its turn" if code == NOTHING else f"waits for {cause}" for code, cause in enumerate(CAUSES))
"""What a truck in the queue does, by the code of what its queue lacks."""
TRUCK_STATES = (
    AT_WORK, NOT_AT_WORK, STANDS, TO_BE_FETCHED, ON_THE_WAY, *WAITS, IN_EXCHANGE, PLUGGED_IN, ON_THE_WAY_BACK,
)  # fmt: skip
"""States of a truck; one that is charged, or whose battery is maintained in it, has that of its battery."""
FREE = CHARGER_STATES[-1]
Spent = Iterator[tuple[int, Stay]]
"""Number of a truck, and something that it spends time with."""


def trucks(window: Window) -> Iterator[Thing]:
    """Trucks at work, on their way, in the queue, at their exchange or charge."""
    facts = window.facts
    groups = [group for group, number in enumerate(facts.group_trucks) for _ in range(number)]
    spent: dict[int, list[Stay]] = {truck: [] for truck in range(len(groups))}
    parts = (_at_work(window, groups), _standing(window), _maintained(window), _on_the_way(window))
    for part in (*parts, _in_queue(window), _in_exchange(window), _at_spot(window)):
        for truck, stay in part:
            spent[truck].append(stay)
    for truck, group in enumerate(groups):
        yield window.thing(TRUCK, facts.groups[group], truck, facts.group_areas[group], spent[truck])


def queues(window: Window) -> Iterator[Thing]:
    """The queue of each area: how many trucks wait, and what the first of them waits for."""
    for area in range(len(window.facts.areas)):
        spent = [
            Stay(each.from_min, each.to_min, WAITS[each.causes[0]] if each.trucks else FREE, TRUCK, len(each.trucks))
            for each in window.waiting
            if each.area == area
        ]
        yield window.thing(QUEUE, "", 0, area, spent)


def _at_work(window: Window, groups: list[int]) -> Spent:
    """Working time of each truck, by the calendar of its group."""
    for truck, group in enumerate(groups):
        yield truck, Stay(-inf, inf, NOT_AT_WORK, WORK)
        for begin, end in window.facts.group_windows[group]:
            if begin < window.to_min and end > window.from_min:
                yield truck, Stay(begin, end, AT_WORK, WORK)


def _standing(window: Window) -> Spent:
    """Trucks that stand because their driver is called away."""
    for row in window.rows("stands", "start_min", "end_min"):
        yield int(row["truck"]), Stay(row["start_min"], row["end_min"], STANDS, WORK)


def _maintained(window: Window) -> Spent:
    """What happens to batteries in trucks that stand at no charging spot."""
    for battery, truck in window.truck_of.items():
        for code, begin, end in window.states[battery]:
            if code != IN_TRUCK:
                yield truck, Stay(begin, end, STATES[code], WORK)


def _on_the_way(window: Window) -> Spent:
    """Ways to the room and back; a truck that is empty stops on the way until it is fetched."""
    ways: dict[int, list[tuple[int, Stay, float]]] = {area: [] for area in range(len(window.facts.areas))}
    for row in window.visits:
        truck, joined = int(row["truck"]), row["joined_min"]
        free = joined if row["kind"] == TURNED_AWAY else row["truck_free_min"]
        there = Stay(row["left_min"], joined, ON_THE_WAY, WAY)
        back = Stay(free, row["back_min"], ON_THE_WAY_BACK, WAY)
        own = ways[window.facts.queue_areas[int(row["queue"])]]
        own += [(truck, way, end) for way, end in ((there, row["fetched_min"]), (back, 0.0)) if window.shows(way)]
    for own in ways.values():
        for (truck, way, stands_min), number in zip(own, numbered([way[:2] for _, way, _ in own]), strict=True):
            yield truck, way._replace(number=number)
            stops = max(way.from_min, way.to_min - stands_min)
            yield truck, Stay(stops, way.to_min, TO_BE_FETCHED, WAY, number)


def _in_queue(window: Window) -> Spent:
    """Trucks in the queue of their area, each by what the queue of its battery type lacks."""
    for each in window.waiting:
        for position, (truck, cause) in enumerate(zip(each.trucks, each.causes, strict=True)):
            yield truck, Stay(each.from_min, each.to_min, WAITS[cause], QUEUE, position)


def _in_exchange(window: Window) -> Spent:
    """Trucks at a station."""
    for row, number in zip(window.exchanges, window.station_numbers, strict=True):
        yield int(row["truck"]), Stay(row["start_min"], row["truck_free_min"], IN_EXCHANGE, STATION, number)


def _at_spot(window: Window) -> Spent:
    """Trucks at a charging spot, with what their battery does there."""
    for spot in (spot for spots in window.spots.values() for spot in spots):
        truck = window.truck_of.get(spot.battery, -1)
        if truck < 0:
            continue
        plugged = Stay(spot.from_min, spot.to_min, PLUGGED_IN, STATION, spot.number)
        yield truck, plugged
        for code, begin, end in window.states[spot.battery]:
            if code != IN_TRUCK:
                yield truck, Stay(begin, end, STATES[code], STATION, spot.number).within(plugged)
