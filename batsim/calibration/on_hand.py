"""How many things there are at a time, from when each comes and goes; and what comes next of the same thing."""

import numpy as np
import pandas as pd

from batsim.measures.windows import Floats, Whole

Names = np.ndarray[tuple[int], np.dtype[np.object_]]


DECIMALS = 6
"""Decimals of a minute that times are told apart by: what goes and what comes at once are never there together."""


class Level:
    """A number of things over time.

    Parameters
    ----------
    come_min, go_min
        When each comes and goes. [min]
    """

    def __init__(self, come_min: Floats, go_min: Floats) -> None:
        self._sides = [np.sort(np.round(times_min, DECIMALS)) for times_min in (come_min, go_min)]
        self._sums = [np.concatenate([[0.0], np.cumsum(side)]) for side in self._sides]

    def __call__(self, times_min: Floats) -> Whole:
        """How many there are from each time on."""
        come, gone = (np.searchsorted(side, times_min, side="right") for side in self._sides)
        number: Whole = come - gone
        return number

    def before(self, times_min: Floats) -> Floats:
        """Minutes that all of them together have been there, before each time. [min]"""
        minutes = np.zeros_like(times_min)
        for side, sums, sign in zip(self._sides, self._sums, (1.0, -1.0), strict=True):
            number = np.searchsorted(side, times_min)
            minutes = minutes + sign * (number * times_min - sums[number])
        return minutes

    def mean(self, from_min: Floats, to_min: Floats) -> float:
        """Mean over some stretches of time; not a number without any."""
        span = float(np.sum(to_min - from_min))
        return float(np.sum(self.before(to_min) - self.before(from_min))) / span if span else float("nan")

    def changes(self, from_min: float, to_min: float) -> Whole:
        """How many there are at the begin of a stretch, and after each change in it."""
        times = np.unique(np.concatenate([[from_min], *self._sides]))
        return self(times[(times >= from_min) & (times < to_min)])


def next_of(things: Names, times_min: Floats, others: Names, other_times_min: Floats) -> Whole:
    """For each thing at a time, which of the others is the same one's next, later than that; -1 where there is none.

    A thing that is None is no other's.

    Examples
    --------
    >>> these, others = np.array(["a", "b"], dtype=object), np.array(["b", "a", "a"], dtype=object)
    >>> next_of(these, np.array([1.0, 1.0]), others, np.array([0.5, 1.0, 3.0])).tolist()
    [2, -1]
    """
    codes = pd.factorize(pd.Series(np.concatenate([things, others]), dtype=object))[0]
    times = np.concatenate([times_min, other_times_min])
    known = (codes >= 0) & np.isfinite(times)
    span = float(np.ptp(times[known])) + 1.0 if known.any() else 1.0
    keys = np.where(known, 2.0 * span * codes + times - np.min(times[known], initial=np.inf), np.inf)
    mine, theirs = keys[: things.size], keys[things.size :]
    order = np.argsort(theirs, kind="stable")
    at = np.searchsorted(theirs[order], mine, side="right")
    following = np.append(order, -1)[at]
    same = np.isfinite(mine) & (np.append(codes[things.size :], -2)[following] == codes[: things.size])
    same &= np.isfinite(np.append(theirs, np.inf)[following])
    return np.where(same, following, -1)


def first_of(things: Names, times_min: Floats) -> Floats:
    """For each thing at a time, when the same one is seen first; not a number for what has no name. [min]

    Examples
    --------
    >>> first_of(np.array(["a", "b", "a"], dtype=object), np.array([3.0, 2.0, 1.0])).tolist()
    [1.0, 2.0, 1.0]
    """
    codes = pd.factorize(pd.Series(things, dtype=object))[0]
    first = pd.Series(times_min).groupby(codes).transform("min").to_numpy()
    return np.where(codes >= 0, first, np.nan)


def at(times_min: Floats, numbers: Whole) -> Floats:
    """Times by number; endless where it is -1. [min]"""
    return np.append(times_min, np.inf)[numbers]
