"""What a report shows beside a plan: waits of every layout, and the recommended layout's room over a week."""

import math
from typing import TYPE_CHECKING, NamedTuple

from batsim.scenario.week import WEEK_MIN
from batsim.study.room_over import RoomOver, room_over
from batsim.study.waits import Waits, waits_over

if TYPE_CHECKING:
    from batsim.plan.plan import Plan

MOST_REPLICATIONS = 5
"""Replications that a picture needs at most."""


class Looked(NamedTuple):
    """Data of pictures."""

    waits: Waits
    room: RoomOver | None
    """None where less than a week is measured."""


def look(found: "Plan", workers: int | None = None) -> Looked:
    """Simulate what the pictures of a report need, from the same seed as the plan.

    Parameters
    ----------
    found
        The plan.
    workers
        As in `run`.
    """
    stated = found.settings
    count = min(stated.replications, MOST_REPLICATIONS)
    weeks, warm_up = stated.length_min / WEEK_MIN, stated.warm_up_min / WEEK_MIN
    given = {"replications": count, "warm_up_weeks": warm_up, "seed": stated.seed, "workers": workers}
    waits = waits_over(stated.scenario, tuple(found.layouts), weeks=weeks, **given)  # type: ignore[arg-type]
    name, whole = found.recommendation.layout, math.floor(weeks)
    room = None
    if name is not None and whole >= 1:
        room = room_over(stated.scenario, name, weeks=whole, **given)  # type: ignore[arg-type]
    return Looked(waits, room)
