"""Where a logger was silent: stretches without any event in whose hours something usually begins."""

from math import log

import numpy as np

from batsim.calibration.log import Gap
from batsim.measures.windows import Floats, Whole
from batsim.scenario.parts.week import WEEK_MIN

HOUR_MIN = 60.0
HOURS = 24
WEEK_HOURS = 7 * HOURS
CHANCE = 0.001
"""Chance with which a log of this length without any gap has a stretch that is taken for one."""
WEEKS_OF_A_PATTERN = 4
"""Weeks from which each hour of the week has a pace of its own; before, each hour of the day on
weekdays of which one was a whole day."""
WHOLE_DAY = 0.75
"""Busy hours of a whole day, over those that are usual. [-]"""
LEAST_EVENTS = 20
"""Events below which nothing is usual."""


def gaps_in(start_min: Floats, lines: Whole) -> tuple[Gap, ...]:
    """Stretches without any event that are much longer than usual.

    Parameters
    ----------
    start_min
        When each event began, not a number where that is not known. [min since the first Monday]
    lines
        Their lines in the file.

    Returns
    -------
    tuple of Gap
        In order. A stretch is a gap when it has so many whole hours in which something usually begins, at that time of
        the week, that one as empty as this has a chance of `CHANCE` in the whole log.
    """
    known = np.flatnonzero(np.isfinite(start_min))
    if known.size < LEAST_EVENTS:
        return ()
    order = known[np.argsort(start_min[known], kind="stable")]
    times = start_min[order]
    share, first_week = _usual_share(times)
    hours = times / HOUR_MIN - first_week * WEEK_HOURS
    begin = np.ceil(hours[:-1]).astype(int)
    end = np.maximum(begin, np.floor(hours[1:]).astype(int))
    usual, doubt = (np.concatenate([[0.0], np.cumsum(each)]) for each in (share, -np.log1p(-share)))
    silent = np.flatnonzero(doubt[end] - doubt[begin] > log(times.size / CHANCE))
    return tuple(
        Gap(
            from_min=float(times[at]),
            to_min=float(times[at + 1]),
            usual_h=float(usual[end[at]] - usual[begin[at]]),
            after_line=int(lines[order[at]]),
        )
        for at in silent
    )


def _usual_share(times: Floats) -> tuple[Floats, int]:
    """Of each hour of the log, with which share something usually begins in it; number of its first week."""
    first, last = np.floor(times[[0, -1]] / WEEK_MIN).astype(int).tolist()
    weeks = last - first + 1
    hours = np.floor(times / HOUR_MIN).astype(int) - first * WEEK_HOURS
    busy = (np.bincount(hours, minlength=weeks * WEEK_HOURS) > 0).reshape(weeks, 7, HOURS)
    share = busy.sum(axis=0) / (weeks + 1.0)
    if weeks < WEEKS_OF_A_PATTERN:
        hours_of_days = busy.sum(axis=2)
        whole = hours_of_days >= WHOLE_DAY * np.median(hours_of_days[hours_of_days > 0])
        of_whole_days = busy[whole].sum(axis=0) / (whole.sum() + 1.0)
        share = np.where(whole.any(axis=0)[:, np.newaxis], of_whole_days, share)
    return np.tile(share.reshape(-1), weeks), first
