"""Over the hours of a week: when trucks lose their minutes to the battery, as a mean of the measured weeks."""

from collections.abc import Callable

import numpy as np

from batsim.errors import require
from batsim.measures.windows import Floats, Measured
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN

QUARTER_HOUR_MIN = 15.0
"""Width of a bin: about one exchange with its ways, and a whole part of every usual shift. [min]"""


def stayed_before(starts: Floats, ends: Floats, times: Floats, weights: Floats | None = None) -> Floats:
    """Minutes of stays up to each time, summed over the stays.

    Parameters
    ----------
    starts, ends
        When each stay begins and ends. [min]
    times
        Up to when. [min]
    weights
        How often each stay counts; once when not given. [-]

    Returns
    -------
    array
        Sum of weight x (min(time, end) - min(time, start)) for each time. [min]

    Examples
    --------
    >>> stayed_before(np.array([0.0, 5.0]), np.array([10.0, 6.0]), np.array([5.5, 20.0])).tolist()
    [6.0, 11.0]
    """
    weights = np.ones_like(starts) if weights is None else weights
    return _reached(ends, times, weights) - _reached(starts, times, weights)


def _reached(points: Floats, times: Floats, weights: Floats) -> Floats:
    """Sum of weight x min(time, point) for each time. [min]"""
    order = np.argsort(points, kind="stable")
    points, weights = points[order], weights[order]
    passed = np.searchsorted(points, times, side="right")
    behind = np.concatenate([[0.0], np.cumsum(weights * points)])
    counted = np.concatenate([[0.0], np.cumsum(weights)])
    reached: Floats = behind[passed] + times * (counted[-1] - counted[passed])
    return reached


def lost_before(measured: Measured, times: Floats) -> Floats:
    """Scheduled truck minutes lost because of the battery from the warm-up's end to each time, all groups. [min]

    A truck is away from the moment it leaves its work until it is back; only its group's working time counts.
    """
    rows = measured.columns("exchanges")
    lost = np.zeros_like(times)
    until = measured.clip(times)
    for number, worked in enumerate(measured.groups):
        mine = rows["group"] == number
        left, back = (worked(measured.clip(rows[name][mine])) for name in ("left_min", "back_min"))
        lost += stayed_before(left, back, worked(until))
        stands = measured.columns("stands")
        helping = stands["group"] == number
        begin, end = (worked(measured.clip(stands[name][helping])) for name in ("start_min", "end_min"))
        lost += stayed_before(begin, end, worked(until))
    return lost


def by_week(measured: Measured, before: Callable[[Floats], Floats], bin_min: float) -> Floats:
    """Lay an amount that adds up over the measured time over one week.

    Parameters
    ----------
    measured
        The record.
    before
        The amount up to each time. Any unit.
    bin_min
        Width of a bin; a whole number of them makes a week. [min]

    Returns
    -------
    array, one entry for each bin from Monday 00:00 on
        What falls into the bin, over the measured weeks; not a number where no time is measured.

    Raises
    ------
    ValueError
        When a week is no whole number of bins.
    """
    bins = round(WEEK_MIN / bin_min) if bin_min > 0.0 else 0
    rule = f"a week needs a whole number of bins: bin_min must divide {WEEK_MIN:g}"
    require(bins and abs(bins * bin_min - WEEK_MIN) <= 1e-6, f"{rule} (got {bin_min:g})")
    if measured.minutes <= 0.0:
        return np.full(bins, np.nan)
    first, last = int(measured.start // bin_min), int(-(-measured.end // bin_min))
    edges = measured.clip(bin_min * np.arange(first, last + 1, dtype=np.float64))
    found: Floats = np.zeros(bins)
    np.add.at(found, np.arange(first, last) % bins, np.diff(before(edges)))
    return found * (WEEK_MIN / measured.minutes)


def away_profile(record: Record, bin_min: float = QUARTER_HOUR_MIN) -> Floats:
    """Scheduled truck minutes lost because of the battery in each bin of a week, from Monday 00:00 on.

    Parameters
    ----------
    record
        What the run left behind.
    bin_min
        Width of a bin; a whole number of them makes a week. [min]

    Returns
    -------
    array, shape (week / bin_min,)
        Truck minutes in a mean week of the measured time; times the measured weeks they add up to all downtime. [min]

    Raises
    ------
    ValueError
        When a week is no whole number of bins.
    """
    measured = Measured(record)
    return by_week(measured, lambda times: lost_before(measured, times), bin_min)
