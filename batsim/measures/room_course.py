"""The room over time: trucks waiting, batteries by state, chargers, stations and attendants as step functions."""

from dataclasses import dataclass, field
from itertools import chain
from typing import Any, NamedTuple

import numpy as np

from batsim.display import Frame, frame_of
from batsim.errors import require
from batsim.measures.occupancy import at_stations
from batsim.measures.windows import Floats, Whole, check_window, queue_causes, stays
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, CAUSES, CONNECTED, ON_CHARGE, PAUSED, READY, STATES, TURNED_AWAY

CHARGER_STATES = ("giving current", "paused", "battery waits", "held after the charge", "out of use", "free")
"""What a charger does: its charge is without current for a time; its battery waits to be connected or for current; it
is kept by a battery that cools, is in maintenance, ready or on its way."""


COUNTED = (
    "stations_busy", "devices_busy", "attendants_on_duty", "attendants_busy", "attendants_in_overtime", "trucks_away",
)  # fmt: skip
"""Counts that are of one kind."""


@dataclass(frozen=True)
class RoomCourse:
    """Counts that hold from each instant to the next, and from the last one to the end of the window."""

    layout: str
    from_min: float
    to_min: float
    time_min: Floats
    """Instants, the first at the start of the window: something changes at each of them. (n) [min]"""
    waiting: dict[str, Whole]
    """Trucks waiting, by what they wait for, a word of `CAUSES`; `nothing` when one is about to go. (n)"""
    batteries: dict[str, Whole]
    """Batteries by state, a word of `batsim.record.words.STATES`; they add up to all batteries. (n)"""
    chargers: dict[str, Whole]
    """Chargers by what they do, a word of `CHARGER_STATES`; they add up to all of them, without a limit none is free.
    (n)"""
    chargers_in_all: float
    """Chargers in all; infinite without a limit."""
    stations_busy: Whole
    """Stations, or charging spots, with a truck in them. (n)"""
    stations: float
    """Stations in all; infinite without a limit."""
    devices_busy: Whole
    """Devices of all kinds that jobs hold. (n)"""
    devices: float
    """Devices in all; 0 where there are none."""
    attendants_on_duty: Whole
    """Attendants on duty; 0 where their number is not limited or drivers do it all. (n)"""
    attendants_busy: Whole
    """Attendants on duty whom jobs keep. (n)"""
    attendants_in_overtime: Whole
    """Attendants at a job after the end of their shift, or in their break. (n)"""
    trucks_away: Whole
    """Trucks that have left their work for the room and are not back. (n)"""
    ready: dict[str, Whole] = field(default_factory=dict)
    """Ready batteries by battery type; types that are charged in the truck have none. (n)"""
    idle: list[tuple[float, float]] = field(default_factory=list)
    """Stretches of the window in which no truck of any group works: breaks and hours without a shift. [min]"""

    def frame(self) -> Frame:
        """Everything as a table, a row for each instant; `waiting_…` by cause, the others by what they do."""
        columns: dict[str, Any] = {"time_min": self.time_min}
        for start in ("waiting", "batteries", "chargers"):
            columns |= {f"{start}_{word.replace(' ', '_')}": count for word, count in getattr(self, start).items()}
        for name in COUNTED:
            columns[name] = getattr(self, name)
        return frame_of(columns)


def room_course(record: Record, from_min: float, to_min: float) -> RoomCourse:
    """Count what goes on in the room over a window of a run.

    Parameters
    ----------
    record
        What the run left behind. The warm-up may be looked at too.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]

    Returns
    -------
    RoomCourse
        Step functions on common instants.

    Raises
    ------
    ValueError
        If the window is empty or endless, or lies outside the run.

    Notes
    -----
    What ends at an instant no longer counts there, what begins does. With charging in the truck a truck that does not
    work is in no queue, and a charging spot is busy from plugging in to the end of the charge.
    """
    facts, exchanges = record.facts, record.columns("exchanges")
    check_window(from_min, to_min)
    begin, end = max(from_min, 0.0), min(to_min, facts.horizon_min)
    rule = f"a window must overlap the run, 0 to {facts.horizon_min:g} min"
    require(begin < end, f"{rule} (got {from_min:g} to {to_min:g} min)")
    queues, states = _queues(record), _states(record)
    taken, out = _chargers(record)
    counts = {
        "stations_busy": _stations(record),
        "devices_busy": _under_way(*(record.columns("devices")[edge] for edge in ("start_min", "end_min"))),
        "attendants_on_duty": _under_way(*np.array(facts.attendant_windows, dtype=float).reshape(-1, 3).T),
        "attendants_busy": _attendants(record, overtime=False),
        "attendants_in_overtime": _attendants(record, overtime=True),
        "trucks_away": _under_way(exchanges["left_min"], exchanges["back_min"]),
    }
    every = [*chain(*queues), *states.values(), taken, out, *counts.values()]
    changes = np.concatenate([[begin], *(steps.since for steps in every)])
    times: Floats = np.unique(changes[(changes >= begin) & (changes < end)])
    trucks_waiting = {word: np.zeros(times.size, dtype=np.intp) for word in CAUSES}
    for trucks, cause in queues:
        number, code = trucks.at(times), cause.at(times)
        for position, word in enumerate(CAUSES):
            trucks_waiting[word] += np.where(code == position, number, 0)
    batteries = {word: steps.at(times) for word, steps in states.items()}
    chargers_in_all = float(sum(facts.charger_counts))
    return RoomCourse(
        layout=facts.layout,
        from_min=begin,
        to_min=end,
        time_min=times,
        waiting=trucks_waiting,
        batteries=batteries,
        chargers=_by_state(batteries, taken.at(times), out.at(times), chargers_in_all),
        chargers_in_all=chargers_in_all,
        stations=float(facts.stations),
        devices=float(sum(facts.device_counts)),
        ready={name: steps.at(times) for name, steps in _ready(record).items()},
        idle=gaps(facts.site_windows, begin, end),
        **{name: steps.at(times) for name, steps in counts.items()},
    )


class _Steps(NamedTuple):
    """A whole number that holds from each instant to the next; 0 before the first."""

    since: Floats
    value: Whole

    def at(self, times: Floats) -> Whole:
        """Values at given times; of several at the same instant the last one holds."""
        padded = np.concatenate([[0], self.value]).astype(np.intp)
        found: Whole = padded[np.searchsorted(self.since, times, side="right")]
        return found


def _under_way(starts: Floats, ends: Floats, weights: Floats | None = None) -> _Steps:
    """How many stays are under way; a stay without a start never comes, one without an end goes on."""
    came = ~np.isnan(starts)
    starts, ends = starts[came], np.where(np.isnan(ends[came]), np.inf, ends[came])
    each = np.ones(starts.size) if weights is None else weights[came]
    since = np.concatenate([starts, ends])
    order = np.argsort(since, kind="stable")
    return _Steps(since[order], np.cumsum(np.concatenate([each, -each])[order]).round().astype(np.intp))


def _queues(record: Record) -> list[tuple[_Steps, _Steps]]:
    """Trucks in each queue, and the code of what its first truck waits for."""
    rows = record.columns("exchanges")
    waits = (rows["kind"] != TURNED_AWAY) & ~np.isnan(rows["ready_found"])
    queues = []
    for queue, causes in enumerate(queue_causes(record)):
        mine = waits & (rows["queue"] == queue)
        queues.append((_under_way(rows["joined_min"][mine], rows["start_min"][mine]), _Steps(*causes)))
    return queues


def _states(record: Record) -> dict[str, _Steps]:
    """Batteries in each state; of a battery's rows at the same instant the last one holds."""
    _, state, since, until = stays(record)
    return {word: _under_way(since[state == code], until[state == code]) for code, word in enumerate(STATES)}


def _ready(record: Record) -> dict[str, _Steps]:
    """Ready batteries of each type that is exchanged."""
    facts = record.facts
    battery, state, since, until = stays(record)
    of_queue = np.array(facts.type_numbers)[battery]
    found = {}
    for queue, area in enumerate(facts.area_of_queue):
        name = facts.battery_types[queue].battery_type
        if not area.in_truck and name not in found:
            own = [number for number, kind in enumerate(facts.battery_types) if kind.battery_type == name]
            here = (state == READY) & np.isin(of_queue, own)
            found[name] = _under_way(since[here], until[here])
    return found


def _chargers(record: Record) -> tuple[_Steps, _Steps]:
    """Chargers that batteries keep, and chargers that are out of use."""
    taken, outages = record.columns("chargers"), record.columns("outages")
    out = outages["thing"] >= record.facts.first_charger
    return _under_way(taken["from_min"], taken["to_min"]), _under_way(outages["from_min"][out], outages["to_min"][out])


def _by_state(batteries: dict[str, Whole], taken: Whole, out: Whole, in_all: float) -> dict[str, Whole]:
    """Chargers by what they do: what their batteries do says it, as long as these keep them."""
    giving, paused = batteries[STATES[ON_CHARGE]], batteries[STATES[PAUSED]]
    waits: Whole = np.sum([batteries[STATES[state]] for state in CONNECTED], axis=0)
    free = int(in_all) - taken - out if in_all < np.inf else 0 * taken
    return dict(zip(CHARGER_STATES, (giving, paused, waits, taken - giving - paused - waits, out, free), strict=True))


def _stations(record: Record) -> _Steps:
    """Stations or charging spots that are taken."""
    return _under_way(*at_stations(record.facts, record.columns))


def _attendants(record: Record, *, overtime: bool) -> _Steps:
    """Attendants whom jobs keep, on duty or in overtime."""
    rows = record.columns("work")
    mine = (rows["person"] == ATTENDANT) & (rows["overtime"] == overtime)
    return _under_way(rows["start_min"][mine], rows["end_min"][mine], rows["people"][mine])


def gaps(windows: tuple[tuple[float, float], ...], begin: float, end: float) -> list[tuple[float, float]]:
    """Stretches between two times that no window covers. [min]"""
    edges = [begin, *(edge for window in windows for edge in window), end]
    pairs = zip(edges[::2], edges[1::2], strict=True)
    cut = [(max(since, begin), min(until, end)) for since, until in pairs]
    return [(since, until) for since, until in cut if since < until]


CHARGERS = {state: f"chargers: {state}" for state in CHARGER_STATES}
"""How `quarter_means` calls chargers by what they do."""
READY_OF = "ready {}"
"""How it calls the ready batteries of a type."""


def quarter_means(record: Record, edges: Floats) -> dict[str, Floats]:
    """Mean counts between even or uneven instants, exact.

    Parameters
    ----------
    record
        What the run left behind.
    edges
        Rising instants in the run. (n + 1) [min]

    Returns
    -------
    dict
        By what is counted (trucks waiting and away, stations, devices, attendants, `CHARGERS`), a state of batteries,
        or `READY_OF` a battery type: the mean between each instant and the next. (n)
    """
    course = room_course(record, float(edges[0]), float(edges[-1]))
    counts = {
        "trucks waiting": np.sum(list(course.waiting.values()), axis=0),
        "trucks away": course.trucks_away,
        **{CHARGERS[state]: count for state, count in course.chargers.items()},
        "stations": course.stations_busy,
        "devices": course.devices_busy,
        "attendants busy": course.attendants_busy,
        "attendants in overtime": course.attendants_in_overtime,
        "attendants on duty": course.attendants_on_duty,
        **course.batteries,
        **{READY_OF.format(name): count for name, count in course.ready.items()},
    }
    ends = np.append(course.time_min, course.to_min)
    lengths = np.diff(ends)
    return {
        name: np.diff(np.interp(edges, ends, np.concatenate([[0.0], np.cumsum(count * lengths)]))) / np.diff(edges)
        for name, count in counts.items()
    }
