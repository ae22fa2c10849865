"""Where a logger was silent: stretches without any event in which, at that time of the week, many usually come."""

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
"""Weeks from which each hour of the week has a pace of its own; before, each hour of a day on which something comes."""
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
        In order. A stretch is a gap when so many events usually come in it, by the pace of its hours and the spread of
        their number from week to week, that one as empty as this has a chance of `CHANCE` in the whole log.
    """
    known = np.flatnonzero(np.isfinite(start_min))
    if known.size < LEAST_EVENTS:
        return ()
    order = known[np.argsort(start_min[known], kind="stable")]
    times = start_min[order]
    pace, spread = _pace(times)
    come = _come_until(times, pace)
    expected = np.diff(come)
    silent = np.flatnonzero(expected / spread > log(times.size / CHANCE))
    return tuple(
        Gap(float(times[at]), float(times[at + 1]), float(expected[at]), int(lines[order[at]])) for at in silent
    )


def _pace(times: Floats) -> tuple[Floats, float]:
    """Events that usually come in each hour of the week, and how much more they vary than by pure chance."""
    first, last = np.floor(times[[0, -1]] / WEEK_MIN)
    weeks = int(last - first) + 1
    hours = np.floor(times / HOUR_MIN).astype(int) - int(first) * WEEK_HOURS
    counts = np.bincount(hours, minlength=weeks * WEEK_HOURS).reshape(weeks, WEEK_HOURS)
    if weeks >= WEEKS_OF_A_PATTERN:
        mean = counts.mean(axis=0)
        spread = float(counts.var(axis=0, ddof=1).sum() / mean.sum())
        return mean, max(1.0, spread)
    by_day = counts.reshape(weeks * 7, HOURS)
    busy = by_day.sum(axis=1) > 0
    works = busy.reshape(weeks, 7).any(axis=0)
    return np.outer(works, by_day[busy].mean(axis=0)).reshape(-1), 1.0


def _come_until(times: Floats, pace: Floats) -> Floats:
    """Events that usually come until each time, counted from the first Monday."""
    edges = np.arange(WEEK_HOURS + 1) * HOUR_MIN
    week, rest = np.divmod(times, WEEK_MIN)
    come: Floats = week * pace.sum() + np.interp(rest, edges, np.concatenate([[0.0], np.cumsum(pace)]))
    return come
