"""What stations, devices and attendants do in a window of a run: each in a lane of its own."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from batsim.measures.truck_lanes import LEAST_MIN, OTHER, SERVED, Stretch
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, EXCHANGE, EXCHANGING, TASKS

OUT = "out of use"
STATION = "station"


class Lane(NamedTuple):
    """A station, a device or an attendant."""

    kind: str
    """station, kind of device, or attendant."""
    number: int
    """Which of its kind, from 0; attendants are not told apart: the next job goes to the first who is free."""
    stretches: tuple[Stretch, ...]
    area: str = ""
    """Area that it belongs to; empty where the layout is one area, and for attendants."""


class _Begun:
    """Trucks by area and instant at which their exchange began, to tell whom something is busy with."""

    def __init__(self, record: Record) -> None:
        rows, areas = record.columns("exchanges"), record.facts.queue_areas
        self._trucks: dict[tuple[int, float], list[int]] = defaultdict(list)
        for number in np.flatnonzero((rows["kind"] == EXCHANGE) & ~np.isnan(rows["start_min"])):
            key = areas[int(rows["queue"][number])], float(rows["start_min"][number])
            self._trucks[key].append(int(rows["truck"][number]))

    def trucks(self, keys: list[tuple[int, float]]) -> list[int]:
        """Truck of each area and instant; of several at one instant in the order of their rows, -1 where in doubt."""
        often, seen, found = Counter(keys), Counter[tuple[int, float]](), []
        for key in keys:
            trucks = self._trucks.get(key, [])
            found.append(trucks[seen[key]] if len(trucks) == often[key] else -1)
            seen[key] += 1
        return found


def station_lanes(record: Record, from_min: float, to_min: float) -> list[Lane]:
    """Lanes of the exchange stations of all areas that have a number of them, with the trucks in them.

    Parameters
    ----------
    record
        What a run left behind.
    from_min, to_min
        The window; what reaches into it is shown whole. [min]
    """
    facts, rows = record.facts, record.columns("exchanges")
    areas = np.array(facts.queue_areas)[rows["queue"].astype(int)]
    free_min = np.fmin(rows["truck_free_min"], facts.horizon_min)  # not a number where that is not known yet
    lanes = []
    for number, area in enumerate(facts.areas):
        out = _outages(record, number)
        for station in range(0 if area.in_truck or area.stations == np.inf else int(area.stations)):
            mine = (areas == number) & (rows["station"] == station)
            times = zip(rows["start_min"][mine].tolist(), free_min[mine].tolist(), rows["truck"][mine], strict=True)
            busy = [Stretch(start, free, SERVED, "exchange", int(truck)) for start, free, truck in times]
            lanes.append(Lane(STATION, station, _within((*busy, *out[station]), from_min, to_min), area.name))
    return lanes


def device_lanes(record: Record, from_min: float, to_min: float) -> list[Lane]:
    """Lanes of all devices of the kinds that are held or out of use in a window, with the trucks they serve."""
    facts, begun = record.facts, _Begun(record)
    lanes: list[Lane] = []
    for kind, name in enumerate(facts.devices):
        area = facts.area_of_thing[len(facts.areas) + kind]
        held = _held(record, begun, kind, area)
        shown = {unit: _within(stretches, from_min, to_min) for unit, stretches in held.items()}
        busy = [unit for unit, stretches in sorted(shown.items()) if stretches]
        count = facts.device_counts[kind]
        there = range(int(count)) if busy and count < np.inf else busy
        lanes += [Lane(name, unit, shown.get(unit, ()), facts.areas[area].name) for unit in there]
    return lanes


def _held(record: Record, begun: _Begun, kind: int, area: int) -> dict[int, list[Stretch]]:
    """When each unit of a kind of device of an area is held or out of use, by unit."""
    rows, held = record.columns("devices"), _outages(record, len(record.facts.areas) + kind)
    mine = np.flatnonzero(rows["device"] == kind)
    starts, ends, units = (rows[column][mine].tolist() for column in ("start_min", "end_min", "unit"))
    trucks = begun.trucks([(area, start) for start in starts])
    for start, end, unit, truck in zip(starts, ends, units, trucks, strict=True):
        held[int(unit)].append(Stretch(start, end, SERVED if truck >= 0 else OTHER, "", truck))
    return held


def attendant_lanes(record: Record, from_min: float, to_min: float) -> list[Lane]:
    """Lanes of as many attendants as are on duty or at work in a window, with what they do and for which truck."""
    lanes: list[list[Stretch]] = [[] for _ in range(_on_duty(record, from_min, to_min))]
    for stretch, people in _attended(record, from_min, to_min):
        for _ in range(people):
            free = next((lane for lane in lanes if _is_free(lane, stretch.from_min)), None)
            if free is None:
                lanes.append(free := [])
            free.append(stretch)
    return [Lane("attendant", number, tuple(stretches)) for number, stretches in enumerate(lanes)]


def _is_free(lane: list[Stretch], time_min: float) -> bool:
    """Whether an attendant has ended his last job at a time."""
    return not lane or lane[-1].to_min <= time_min + LEAST_MIN


def _attended(record: Record, from_min: float, to_min: float) -> Iterator[tuple[Stretch, int]]:
    """Jobs of attendants that reach into a window, in the order in which they begin, and how many people each keeps."""
    rows = record.columns("work")
    mine = (rows["person"] == ATTENDANT) & (rows["start_min"] < to_min) & (rows["end_min"] > from_min)
    order = np.flatnonzero(mine)[np.argsort(rows["start_min"][mine], kind="stable")]
    exchanging = rows["task"][order] == EXCHANGING
    at = order[exchanging]
    found = _Begun(record).trucks(list(zip(rows["area"][at].astype(int).tolist(), rows["start_min"][at], strict=True)))
    trucks = np.full(order.size, -1)
    trucks[exchanging] = found
    for row, truck in zip(order, trucks.tolist(), strict=True):
        task = int(rows["task"][row])
        what = SERVED if task == EXCHANGING else OTHER
        stretch = Stretch(float(rows["start_min"][row]), float(rows["end_min"][row]), what, TASKS[task], truck)
        yield stretch, int(rows["people"][row])


def _on_duty(record: Record, from_min: float, to_min: float) -> int:
    """Most attendants on duty at an instant of a window."""
    windows = [window for window in record.facts.attendant_windows if window[0] < to_min and window[1] > from_min]
    instants = {max(from_min, start) for start, _, _ in windows}
    return max((attendants_at(record, instant) for instant in instants), default=0)


def attendants_at(record: Record, time_min: float) -> int:
    """Attendants on duty at an instant."""
    return sum(count for start, end, count in record.facts.attendant_windows if start <= time_min < end)


def _outages(record: Record, thing: int) -> dict[int, list[Stretch]]:
    """Outages of a kind of thing whose units are told apart, by unit."""
    rows = record.columns("outages")
    found: dict[int, list[Stretch]] = defaultdict(list)
    for row in np.flatnonzero((rows["thing"] == thing) & (rows["unit"] >= 0)):
        found[int(rows["unit"][row])].append(Stretch(float(rows["from_min"][row]), float(rows["to_min"][row]), OUT))
    return found


def _within(stretches: Iterable[Stretch], from_min: float, to_min: float) -> tuple[Stretch, ...]:
    """Stretches that reach into a window, in order."""
    return tuple(sorted(each for each in stretches if each.from_min < to_min and each.to_min > from_min))
