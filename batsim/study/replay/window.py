"""A window of a record: what is under way in it, and what its things spend their time with."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import pairwise
from math import inf, isnan
from typing import NamedTuple

import numpy as np

from batsim.measures.windows import queue_causes, stays
from batsim.record.record import Record
from batsim.record.words import EXCHANGE, NOTHING, TURNED_AWAY

TRUCK, BATTERY, STATION, CHARGER, DEVICE, QUEUE = "truck", "battery", "station", "charger", "device", "queue"
"""Kinds of thing, beside people; what a station or a charger has."""
WORK, WAY, BAY, AREA, FROM_TRUCK, TO_TRUCK = "work", "way", "bay", "area", "from truck", "to truck"
"""Where something may be, beside the queue and a station: the last two are batteries in transfer at a station."""


class Step(NamedTuple):
    """What a thing does from an instant on, up to its next step."""

    from_min: float
    """[min]"""
    state: str
    at: str = ""
    """Where it is; of a station, a charger, a queue or a person what it has: a truck, a battery, an area to work in."""
    number: int = -1
    """Which one, from 0; -1 where there is none. In the queue its position, of a queue how many trucks wait."""


class Thing(NamedTuple):
    """One thing in the room, and all that it does in the window."""

    kind: str
    """Truck, battery, station, charger, device, attendant, driver, queue."""
    name: str
    """Truck group, battery type, charger type, kind of device; empty for the others."""
    number: int
    """Of a truck and a battery in the layout; of the others among those of its kind, name and area. From 0."""
    area: int
    """Number of its area; -1 for people, whom areas may share."""
    steps: tuple[Step, ...]
    """The first one at the start of the window."""

    def at(self, time_min: float) -> Step:
        """What it does at a time in the window; at an instant, what begins then. [min]"""
        return self.steps[max(0, bisect_right(self.steps, time_min, key=lambda step: step.from_min) - 1)]


class Stay(NamedTuple):
    """A stretch of time in one state at one place. [min]"""

    from_min: float
    to_min: float
    state: str
    at: str = ""
    number: int = -1

    def within(self, other: "Stay") -> "Stay":
        """Its part in the time of another, which has no length where there is none."""
        return self._replace(from_min=max(self.from_min, other.from_min), to_min=min(self.to_min, other.to_min))


class Spot(NamedTuple):
    """A stretch of time in which a battery, in its truck, has a charging spot. [min]"""

    from_min: float
    to_min: float
    battery: int
    """-1 where the spot is out of use."""
    number: int


class Waiting(NamedTuple):
    """Who waits in an area from one instant to another, between which nothing of that changes. [min]"""

    from_min: float
    to_min: float
    area: int
    trucks: tuple[int, ...]
    """First come first."""
    causes: tuple[int, ...]
    """Code of what the queue of each of them lacks."""


Row = dict[str, float]
Spans = Sequence[tuple[float, float]]


def numbered(spans: Spans) -> list[int]:
    """Give each of some stretches of time the lowest number that is free when it begins.

    Examples
    --------
    >>> numbered([(0.0, 5.0), (2.0, 4.0), (4.0, 9.0), (5.0, 6.0)])
    [0, 1, 1, 0]
    """
    until: list[float] = []
    numbers = [0] * len(spans)
    for which in sorted(range(len(spans)), key=lambda which: spans[which][0]):
        begin, end = spans[which]
        number = next((number for number, time in enumerate(until) if time <= begin), len(until))
        until[number : number + 1] = [end]
        numbers[which] = number
    return numbers


def in_all(limit: float, used: Iterable[int]) -> int:
    """How many there are: as many as the limit says, or as are used where there is none."""
    return max([int(limit) if limit < inf else 0, *(number + 1 for number in used)])


class Window:
    """One window of a record."""

    def __init__(self, record: Record, from_min: float, to_min: float) -> None:
        self.record, self.facts = record, record.facts
        self.from_min, self.to_min = from_min, to_min
        self.visits = self.rows("exchanges", "left_min", "back_min")
        self.exchanges = [
            row | {"truck_free_min": inf if isnan(row["truck_free_min"]) else row["truck_free_min"]}
            for row in self.rows("exchanges", "start_min", "end_min")
            if row["kind"] == EXCHANGE
        ]

    def rows(self, table: str, since: str, until: str) -> list[Row]:
        """Rows of a table that are under way in the window; what has no end goes on for ever."""
        columns = self.record.columns(table)
        columns[until] = np.where(np.isnan(columns[until]), inf, columns[until])
        chosen = (columns[since] < self.to_min) & (columns[until] > self.from_min)
        found = {name: column[chosen].tolist() for name, column in columns.items()}
        return [dict(zip(found, row, strict=True)) for row in zip(*found.values(), strict=True)]

    def thing(self, kind: str, name: str, number: int, area: int, spent: Sequence[Stay]) -> Thing:
        """Make a thing of what it spends its time with; what stands later in the list lies over what stands before."""
        steps: list[Step] = []
        for time in self.instants(time for stay in spent for time in stay[:2])[:-1]:
            stay = next(stay for stay in reversed(spent) if stay.from_min <= time < stay.to_min)
            if not steps or steps[-1][1:] != stay[2:]:
                steps.append(Step(time, *stay[2:]))
        return Thing(kind, name, number, area, tuple(steps))

    def instants(self, times: Iterable[float]) -> list[float]:
        """Instants within the window, in order, between its start and its end. [min]"""
        return [self.from_min, *sorted({time for time in times if self.from_min < time < self.to_min}), self.to_min]

    def shows(self, stay: Stay) -> bool:
        """Whether something takes time, some of it in the window."""
        return stay.from_min < stay.to_min and stay.from_min < self.to_min and stay.to_min > self.from_min

    # --- batteries ---

    def queue_of(self, battery: int) -> int:
        """Queue of a battery."""
        return self.facts.type_numbers[battery]

    def area_of_battery(self, battery: int) -> int:
        """Number of the area of a battery."""
        return self.facts.queue_areas[self.queue_of(battery)]

    @cached_property
    def states(self) -> dict[int, list[tuple[int, float, float]]]:
        """By battery: its states in the window, each with its start and its end. [min]"""
        battery, state, since, until = stays(self.record)
        near = (since < self.to_min) & (until > self.from_min) & (until > since)
        found: dict[int, list[tuple[int, float, float]]] = {number: [] for number in range(self.facts.batteries)}
        rows = (each[near].tolist() for each in (battery, state, since, until))
        for number, code, begin, end in zip(*rows, strict=True):
            found[number].append((code, begin, end))
        return found

    @cached_property
    def truck_of(self) -> dict[int, int]:
        """Truck that keeps a battery, where batteries are charged in the truck."""
        rows, areas = self.record.columns("discharges"), self.facts.area_of_queue
        pairs = zip(rows["battery"].astype(int).tolist(), rows["truck"].astype(int).tolist(), strict=True)
        return {battery: truck for battery, truck in pairs if areas[self.queue_of(battery)].in_truck}

    @cached_property
    def _stood(self) -> dict[int, tuple[list[float], list[int]]]:
        """By battery: since when it stood in which bay, in the order of time. [min]"""
        rows = self.record.columns("charges")
        found: dict[int, tuple[list[float], list[int]]] = {}
        for row in np.lexsort((rows["discharged_min"], rows["battery"])).tolist():
            times, bays = found.setdefault(int(rows["battery"][row]), ([], []))
            times.append(float(rows["discharged_min"][row]))
            bays.append(int(rows["bay"][row]))
        return found

    def bay_of(self, battery: int, time_min: float) -> int:
        """Bay in which a battery stands at a time; -1 where the record does not tell."""
        times, bays = self._stood.get(battery, ([], []))
        last = bisect_right(times, time_min) - 1
        return bays[last] if last >= 0 else -1

    # --- stations and charging spots ---

    @cached_property
    def station_numbers(self) -> list[int]:
        """Number of the station of each exchange; without a limit the lowest that is free."""
        found = [int(row["station"]) for row in self.exchanges]
        for area in range(len(self.facts.areas)):
            own = [
                which
                for which, row in enumerate(self.exchanges)
                if found[which] < 0 and self.facts.queue_areas[int(row["queue"])] == area
            ]
            spans = [(self.exchanges[which]["start_min"], self.exchanges[which]["truck_free_min"]) for which in own]
            for which, number in zip(own, numbered(spans), strict=True):
                found[which] = number
        return found

    def out(self, thing: int) -> list[Row]:
        """Outages of a kind of thing, by its number among all of `RunFacts.things`."""
        return [row for row in self.rows("outages", "from_min", "to_min") if row["thing"] == thing]

    @cached_property
    def spots(self) -> dict[int, list[Spot]]:
        """By area in which batteries are charged in the truck: who has which charging spot."""
        return {number: self._spots(number) for number, area in enumerate(self.facts.areas) if area.in_truck}

    def _spots(self, area: int) -> list[Spot]:
        """Charging spots of an area: a truck has one as long as its battery has a charger."""
        taken = [
            row
            for row in self.rows("chargers", "from_min", "to_min")
            if self.area_of_battery(int(row["battery"])) == area
        ]
        rows = [*taken, *self.out(area)]
        spans = [(row["from_min"], row["to_min"]) for row in rows]
        return [
            Spot(*span, int(row.get("battery", -1)), number)
            for row, span, number in zip(rows, spans, numbered(spans), strict=True)
        ]

    # --- queues ---

    @cached_property
    def waits(self) -> list[tuple[Row, float, float]]:
        """Visits that wait, from when to when, first come first. [min]"""
        horizon_min = self.facts.horizon_min
        waits = [
            (row, row["joined_min"], horizon_min if isnan(row["start_min"]) else row["start_min"])
            for row in self.visits
            if row["kind"] != TURNED_AWAY and not isnan(row["ready_found"])
        ]
        return sorted((wait for wait in waits if self.shows(Stay(*wait[1:], ""))), key=lambda wait: wait[1])

    @cached_property
    def waiting(self) -> list[Waiting]:
        """Who waits in each area, from each change to the next."""
        edges = {time for wait in self.waits for time in wait[1:]}
        edges |= set(self.record.columns("queues")["from_min"].tolist())
        spans = pairwise(self.instants(edges))
        return [self._waiting(area, *span) for span in spans for area in range(len(self.facts.areas))]

    def _waiting(self, area: int, since: float, until: float) -> Waiting:
        """Who waits in an area from an instant on."""
        rows = [
            row
            for row, begin, end in self.waits
            if begin <= since < end and self.facts.queue_areas[int(row["queue"])] == area
        ]
        trucks = tuple(int(row["truck"]) for row in rows)
        return Waiting(since, until, area, trucks, tuple(self._cause(int(row["queue"]), since) for row in rows))

    @cached_property
    def _causes(self) -> list[tuple[list[float], list[int]]]:
        """By queue: from when on it lacks what."""
        return [(since.tolist(), codes.tolist()) for since, codes in queue_causes(self.record)]

    def _cause(self, queue: int, time_min: float) -> int:
        """Code of what a queue lacks from an instant on."""
        times, codes = self._causes[queue]
        last = bisect_right(times, time_min) - 1
        return codes[last] if last >= 0 else NOTHING
