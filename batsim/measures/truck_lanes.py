"""What trucks do that are away from their work in a window of a run: each in a lane of its own."""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from batsim.measures.windows import Floats, Worked, queue_causes
from batsim.record.record import Record
from batsim.record.words import CAUSES, CHARGE_IN_TRUCK, EXCHANGING, NOTHING, TASKS, TURNED_AWAY

WAY, WAITING, SERVED, OTHER = "way", "waiting", "exchanging or charging", "other"
"""What a stretch goes to, in the words of `batsim.measures.names.LOST_TO`."""
TIMES = ("left_min", "joined_min", "start_min", "truck_free_min", "back_min")
"""Times of a visit, in order."""
LEAST_MIN = 1e-6
"""What is shorter is rounding. [min]"""


class Stretch(NamedTuple):
    """Some time in a lane."""

    from_min: float
    to_min: float
    what: str
    """A word of `batsim.measures.names.LOST_TO`; of a thing also `out of use`."""
    detail: str = ""
    """What a truck waits for (a word of `batsim.record.words.CAUSES`), or what is done."""
    truck: int = -1
    """Number of the truck that a thing or a person is busy with; -1 where that is not known."""


class TruckLane(NamedTuple):
    """A truck that is away from its work, or stands."""

    truck: int
    """Its number."""
    group: str
    area: int
    """Number of the area that serves it."""
    stretches: tuple[Stretch, ...]
    """Of all its visits that reach into the window, from when it leaves its work until it is back."""
    waited_min: float
    """Scheduled minutes that it waits in these visits. [min]"""
    away_min: float
    """Scheduled minutes that these visits take. [min]"""


def truck_lanes(record: Record, from_min: float, to_min: float) -> list[TruckLane]:
    """Lanes of all trucks that lose scheduled minutes in a window to their battery.

    Parameters
    ----------
    record
        What a run left behind.
    from_min, to_min
        The window. [min]

    Returns
    -------
    list
        In the order in which trucks are served; those that nobody serves come last.
    """
    facts = record.facts
    calendars = [Worked(windows) for windows in facts.group_windows]
    by_truck: dict[int, tuple[int, list[Stretch]]] = {}
    for truck, group, stretches in (*_visits(record, from_min, to_min), *_stands(record, from_min, to_min)):
        begin, end = max(from_min, stretches[0].from_min), min(to_min, stretches[-1].to_min)
        if calendars[group].between(begin, end) > LEAST_MIN:
            by_truck.setdefault(truck, (group, []))[1].extend(stretches)
    lanes = []
    for truck, (group, of_truck) in by_truck.items():
        lost = [(each.what, calendars[group].between(each.from_min, each.to_min)) for each in of_truck]
        waited = sum(minutes for what, minutes in lost if what == WAITING)
        away = sum(minutes for _, minutes in lost)
        lanes.append(
            TruckLane(truck, facts.groups[group], facts.group_areas[group], tuple(sorted(of_truck)), waited, away)
        )
    return sorted(lanes, key=lambda lane: (_served_min(lane), lane.stretches[0].from_min, lane.truck))


def _served_min(lane: TruckLane) -> float:
    """When a truck is first served; infinite where nobody serves it. [min]"""
    return next((each.from_min for each in lane.stretches if each.what == SERVED), np.inf)


def _visits(record: Record, from_min: float, to_min: float) -> Iterator[tuple[int, int, tuple[Stretch, ...]]]:
    """Truck, group and stretches of each visit that reaches into a window."""
    rows, causes, end = record.columns("exchanges"), _causes(record), record.facts.horizon_min
    back = np.where(np.isnan(rows["back_min"]), end, rows["back_min"])
    for number in np.flatnonzero((rows["left_min"] < to_min) & (back > from_min)):
        row = {name: float(column[number]) for name, column in rows.items()}
        times = [end if np.isnan(row[name]) else min(end, row[name]) for name in TIMES]
        if stretches := tuple(_joined(_of_visit(row, times, causes[int(row["queue"])]))):
            yield int(row["truck"]), int(row["group"]), stretches


def _of_visit(row: dict[str, float], times: list[float], causes: tuple[Floats, list[str]]) -> Iterator[Stretch]:
    """What a truck does in a visit, one after the other."""
    left, joined, start, free, back = times
    stops = max(left, joined - row["fetched_min"])
    yield Stretch(left, stops, WAY)
    yield Stretch(stops, joined, OTHER, "stands empty")
    yield from _waits(joined, start, *causes)
    if row["kind"] == CHARGE_IN_TRUCK:
        watered = max(start, free - row["watering_min"])
        yield Stretch(start, watered, SERVED, "charge")
        yield Stretch(watered, free, OTHER, "watering")
    elif row["kind"] != TURNED_AWAY:
        yield Stretch(start, free, SERVED, "exchange")
    yield Stretch(free, back, WAY)


def _causes(record: Record) -> list[tuple[Floats, list[str]]]:
    """Of each queue: since when, from before the run on, it waits for what."""
    return [
        (np.concatenate([[-np.inf], since]), [CAUSES[code] for code in (NOTHING, *codes.tolist())])
        for since, codes in queue_causes(record)
    ]


def _waits(joined: float, start: float, since: Floats, words: list[str]) -> Iterator[Stretch]:
    """A wait, by what its queue lacks."""
    first, last = np.searchsorted(since, [joined, start], side="right") - 1
    edges = [joined, *since[first + 1 : last + 1].tolist(), start]
    for (begin, end), word in zip(pairwise(edges), words[first : last + 1], strict=True):
        yield Stretch(begin, end, WAITING, word)


def _stands(record: Record, from_min: float, to_min: float) -> Iterator[tuple[int, int, tuple[Stretch, ...]]]:
    """Truck, group and stretch of each stand of a truck whose driver is called away."""
    rows = record.columns("stands")
    for number in np.flatnonzero((rows["start_min"] < to_min) & (rows["end_min"] > from_min)):
        truck, group, task = (int(rows[name][number]) for name in ("truck", "group", "task"))
        detail = "lends a hand" if task == EXCHANGING else TASKS[task]
        yield truck, group, (Stretch(rows["start_min"][number], rows["end_min"][number], OTHER, detail),)


def _joined(stretches: Iterable[Stretch]) -> Iterator[Stretch]:
    """Those that last, neighbours of a kind as one."""
    before: Stretch | None = None
    for stretch in stretches:
        if stretch.to_min - stretch.from_min <= LEAST_MIN:
            continue
        if before is not None and before[2:] == stretch[2:]:
            before = before._replace(to_min=stretch.to_min)
            continue
        if before is not None:
            yield before
        before = stretch
    if before is not None:
        yield before
