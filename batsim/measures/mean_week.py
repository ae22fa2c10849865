"""Something over the mean week: its mean and range in each quarter of an hour, and where its peak lies."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from batsim.measures.profile import QUARTER_HOUR_MIN
from batsim.measures.windows import Floats
from batsim.scenario.parts.week import WEEK_MIN

QUARTERS = round(WEEK_MIN / QUARTER_HOUR_MIN)
"""Quarters of an hour in a week."""
LOW_SHARE, HIGH_SHARE = 0.05, 0.95
"""Ends of a band: so many weeks or days lie below."""


class Extremes(NamedTuple):
    """What a mean course comes to; not a number where it has none."""

    mean: float
    least: float
    least_at: int
    """First step in which it is that."""
    most: float
    most_at: int


def extremes(course: Floats) -> Extremes:
    """Mean, least and most of a course, where it is a number."""
    known = np.flatnonzero(np.isfinite(course))
    if not known.size:
        return Extremes(np.nan, np.nan, 0, np.nan, 0)
    low, high = known[course[known].argmin()], known[course[known].argmax()]
    return Extremes(float(course[known].mean()), float(course[low]), int(low), float(course[high]), int(high))


class MeanWeek(NamedTuple):
    """A course laid over one week, from Monday 00:00 on; not a number in quarters that were never measured."""

    mean: Floats
    """In each quarter of an hour. (672)"""
    low: Floats
    """What 5 % of the weeks stay below. (672)"""
    high: Floats
    """What 95 % of the weeks do not exceed. (672)"""
    most: Floats
    """The most of any week. (672)"""
    peak: float
    """The most of all."""
    peak_min: float
    """Start of its quarter. [min]"""
    weeks: float
    """Weeks that were measured."""

    @property
    def extremes(self) -> Extremes:
        """Of the mean course."""
        return extremes(self.mean)

    @property
    def edges_min(self) -> Floats:
        """Edges of the quarters. (673) [min]"""
        return QUARTER_HOUR_MIN * np.arange(QUARTERS + 1, dtype=np.float64)


def mean_week(courses: Sequence[Floats], start_min: float) -> MeanWeek:
    """Lay courses over one week.

    Parameters
    ----------
    courses
        Of each replication: a value for each quarter of an hour of its measured time.
    start_min
        When that begins, from Monday 00:00 of the first week. [min]

    Returns
    -------
    MeanWeek
        Mean, range and peak, in the unit of the courses.
    """
    first = round(start_min / QUARTER_HOUR_MIN) % QUARTERS
    rows = []
    for course in courses:
        weeks = -(-(first + course.size) // QUARTERS)
        laid = np.full(weeks * QUARTERS, np.nan)
        laid[first : first + course.size] = course
        rows.append(laid.reshape(weeks, QUARTERS))
    table = np.concatenate(rows) if rows else np.full((1, QUARTERS), np.nan)
    found = np.full((4, QUARTERS), np.nan)
    for quarter in np.flatnonzero(np.isfinite(table).any(axis=0)):
        seen = table[np.isfinite(table[:, quarter]), quarter]
        found[:, quarter] = seen.mean(), *np.quantile(seen, [LOW_SHARE, HIGH_SHARE]), seen.max()
    measured = bool(np.isfinite(found[3]).any())
    at = int(np.nanargmax(found[3])) if measured else 0
    peak = float(found[3, at])
    mean, low, high, most = found
    measured_weeks = float(np.isfinite(table).sum()) / QUARTERS
    return MeanWeek(mean, low, high, most, peak, at * QUARTER_HOUR_MIN, measured_weeks)
