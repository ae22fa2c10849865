"""The room over an hour, thing by thing: what each truck, battery, charger, person and so on does, and where."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from batsim.display import Frame, frame_of
from batsim.errors import require
from batsim.measures.event_trace import event_trace
from batsim.measures.events import Event
from batsim.measures.windows import Worked, check_window
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import TURNED_AWAY
from batsim.study.replay.people import people
from batsim.study.replay.room import batteries, chargers, devices, stations
from batsim.study.replay.trucks import queues, trucks
from batsim.study.replay.window import QUEUE, Step, Thing, Window


class Wait(NamedTuple):
    """How long a truck waited from its arrival to the start of its exchange or charge."""

    truck: int
    from_min: float
    """When it came. [min]"""
    minutes: float
    """Working time of its group in the whole wait, also what of it lies outside the window. [min]"""


@dataclass(frozen=True)
class Replay:
    """A window of a run, thing by thing."""

    facts: RunFacts
    from_min: float
    """Start of the window. [min]"""
    to_min: float
    """End of the window. [min]"""
    things: tuple[Thing, ...]
    events: tuple[Event, ...]
    """What happened, as `event_trace` tells it."""
    came: int
    """Trucks that joined the queue, or took what they came for at once."""
    turned_away: int
    """Trucks that found no battery or no charging spot, and went back to work."""
    longest_wait: Wait | None
    """Longest wait of those that waited, if only for a part of the window; None where nobody did."""

    def of(self, kind: str) -> Iterator[Thing]:
        """Things of a kind: truck, battery, station, charger, device, attendant, driver, queue."""
        return (thing for thing in self.things if thing.kind == kind)

    @property
    def most_waiting(self) -> tuple[int, float]:
        """Most trucks that waited at once, in all areas together, and since when. [-, min]"""
        lines = list(self.of(QUEUE))
        instants = sorted({step.from_min for queue in lines for step in queue.steps})
        counts = [sum(queue.at(time).number for queue in lines) for time in instants]
        most = max(counts)
        return most, instants[counts.index(most)]

    @property
    def frame(self) -> Frame:
        """Everything as a table, a row for each step of each thing; numbers count from 0."""
        columns = ["kind", "name", "number", "area", *Step._fields[:3], "at_number"]
        return frame_of([(*thing[:4], *step) for thing in self.things for step in thing.steps], columns=columns)


def replay(record: Record, from_min: float, to_min: float) -> Replay:
    """Follow everything in the room over a window of a run.

    Parameters
    ----------
    record
        What the run left behind, or a part of it, see `batsim.of_area`. The warm-up may be looked at too.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]

    Returns
    -------
    Replay
        For each truck, battery, station, charger, device and person what it does when, and where.

    Raises
    ------
    ValueError
        If the window is empty or endless, or lies outside the run.

    Notes
    -----
    The record tells apart trucks, batteries, bays, stations and devices. Chargers of a type, charging spots, stations
    without a limit and people it only counts: each job takes the lowest number that is free. A battery whose bay it
    does not tell stands in one that no other is told to use.
    """
    check_window(from_min, to_min)
    horizon_min = record.facts.horizon_min
    begin, end = max(from_min, 0.0), min(to_min, horizon_min)
    require(
        begin < end, f"a window must overlap the run, 0 to {horizon_min:g} min (got {from_min:g} to {to_min:g} min)"
    )
    window = Window(record, begin, end)
    came = [row for row in window.visits if begin <= row["joined_min"] < end]
    turned_away = sum(row["kind"] == TURNED_AWAY for row in came)
    works = [Worked(windows) for windows in record.facts.group_windows]
    waits = [
        Wait(int(row["truck"]), since, works[int(row["group"])].between(since, until))
        for row, since, until in window.waits
    ]
    makers = (trucks, batteries, stations, chargers, devices, people, queues)
    return Replay(
        record.facts,
        begin,
        end,
        things=tuple(thing for maker in makers for thing in maker(window)),
        events=tuple(event_trace(record, begin, end)),
        came=len(came) - turned_away,
        turned_away=turned_away,
        longest_wait=max(waits, key=lambda wait: wait.minutes, default=None),
    )
