"""What a report shows of runs looked at once more: the room over a week, the worst hour and its replay, lost hours."""

import dataclasses
import math
from dataclasses import dataclass

from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.study.lost_by_hour import LostByHour, lost_by_hour
from batsim.study.replay.replay import Replay, replay
from batsim.study.room_over import RoomOver, room_over
from batsim.study.running.executors import run_schedule
from batsim.study.worst_hour import WorstHour, worst_hour

ROOM_REPLICATIONS = 5
"""Replications that a picture of the room needs at most."""


@dataclass(frozen=True)
class Seen:
    """Runs looked at once more."""

    room: RoomOver | None
    """Of the recommended layout; None where less than a week is measured."""
    worst: WorstHour
    """Of the first replication of the layout that is there today, else of the recommended one."""
    replay: Replay
    """What everything in the room does in that hour."""
    lost: LostByHour | None
    """By hour of the week, of the same layout; None where less than a week is measured."""


def seen(schedule: Schedule, layout: str, workers: int | None = None) -> Seen:
    """Simulate layouts once more, a few replications of whole weeks.

    Parameters
    ----------
    schedule
        What was simulated.
    layout
        The recommended layout.
    workers
        Processes; None for one on each core.
    """
    scenario, explained = schedule.scenario, schedule.scenario.present or layout
    weeks = math.floor(schedule.length_min / WEEK_MIN)
    once = dataclasses.replace(schedule, layouts=(explained,), replications=1)
    ((worst, moves),) = run_schedule(once, Settings(workers=1), take=_worst_hour)[explained]
    if weeks < 1:
        return Seen(None, worst, moves, None)
    settings = Settings(
        replications=min(schedule.replications, ROOM_REPLICATIONS),
        weeks=weeks,
        warm_up_weeks=schedule.warm_up_weeks,
        seed=schedule.seed,
        workers=workers,
    )
    return Seen(room_over(scenario, layout, settings), worst, moves, lost_by_hour(scenario, explained, settings))


def _worst_hour(record: Record, _: Scenario) -> tuple[WorstHour, Replay]:
    """What is taken of the run that is looked at closely."""
    worst = worst_hour(record)
    return worst, replay(record, worst.from_min, worst.to_min)
