"""Hydrogen in the room over the simulated week that comes nearest to the limit, well mixed."""

from typing import NamedTuple

import numpy as np

from batsim.formulas.room_hydrogen import hydrogen_over_time
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.measures.windows import Floats
from batsim.plan.evidence import Evidence
from batsim.plan.ventilation import Ventilation, free_m3, space_of
from batsim.scenario.parts.week import WEEK_MIN


class HydrogenWeek(NamedTuple):
    """One week, Monday to Monday, as far as it was measured."""

    replication: int
    """Which, from 0."""
    week: int
    """Which of its calendar weeks, from 0: that in which the measured time begins."""
    time_min: Floats
    """Ends of quarters of an hour, from Monday 00:00 on. (n) [min]"""
    share: Floats
    """Hydrogen in the air of the room. (n) [-]"""
    peak_share: float
    peak_min: float
    """When. [min]"""
    limit_share: float
    """Share that must not be reached. [-]"""
    air_m3_per_h: float
    """Air that was taken. [m3/h]"""
    by_rule: bool
    """Whether that is the air that the rule asks for, because nobody says what the room has."""


def hydrogen_week(evidence: Evidence, asked: Ventilation) -> HydrogenWeek | None:
    """Follow hydrogen over all replications and pick the week with most of it.

    Parameters
    ----------
    evidence
        What the replications of a layout say.
    asked
        The layout's ventilation.

    Returns
    -------
    HydrogenWeek or None
        None when the size of the room is not known, or there is no air to reckon with.
    """
    scenario = evidence.runs.scenario
    free = free_m3(space_of(scenario, evidence.layout), scenario.figures)
    air = asked.air_m3_per_h if asked.air_m3_per_h is not None else asked.flow_m3_per_h
    if free is None or not air > 0.0:
        return None
    courses: list[Floats] = [
        hydrogen_over_time(run.gas_m3_per_h, QUARTER_MIN / 60.0, air, free) for run in evidence.replications
    ]
    replication = int(np.argmax([np.max(course) for course in courses]))
    course = courses[replication]
    ends: Floats = evidence.runs.schedule.warm_up_min % WEEK_MIN + QUARTER_MIN * np.arange(1.0, course.size + 1.0)
    week = int((ends[np.argmax(course)] - QUARTER_MIN) // WEEK_MIN)
    mine = (ends > week * WEEK_MIN) & (ends <= (week + 1) * WEEK_MIN)
    times, share = ends[mine] - week * WEEK_MIN, course[mine]
    at = int(np.argmax(share))
    limit = scenario.figures["ventilation.limit"].value / 100.0
    return HydrogenWeek(
        replication, week, times, share, float(share[at]), float(times[at]), limit, air, asked.air_m3_per_h is None
    )
