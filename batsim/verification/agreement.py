"""Whether a number agrees with the one expected: within what is allowed, or as an interval that is narrow, too."""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from scipy.special import stdtrit

from batsim.statistics.intervals import Interval, student_interval
from batsim.verification.check import SHARE, Check

Floats = np.ndarray[Any, np.dtype[np.float64]]

CONFIDENCE = 0.999
"""Of intervals of what is simulated. Seeds are fixed: where the random streams change, all are drawn anew."""
NARROW, NARROW_SHARE = 0.02, 0.005
"""Half width of an interval that is narrow: part of the value, or for a share itself."""
HOLDS, FAILS = "OK", "fails"
"""Verdicts."""
ROUNDING = 1e-9
"""Part of a number that is rounding alone."""


class Replicated(NamedTuple):
    """A number from independent replications."""

    values: Floats
    """One for each."""
    controls: tuple[Floats, ...] = ()
    """By replication, how far realised mean times were off the stated ones: each zero in the mean."""


class Outcome(NamedTuple):
    """A check and what came out."""

    check: Check
    got: float
    half_width: float
    """Of its interval at `CONFIDENCE`; not a number where nothing is left to chance."""
    holds: bool

    @property
    def verdict(self) -> str:
        """In a word."""
        return HOLDS if self.holds else FAILS


def judged(check: Check, got: "float | Replicated") -> Outcome:
    """Compare what came out with what is expected."""
    if isinstance(got, Replicated):
        interval, holds = agreed(check.expected, check.within, got, is_share=check.unit == SHARE)
        return Outcome(check, interval.mean, interval.half_width, holds)
    off = abs(got - check.expected)
    return Outcome(check, float(got), float("nan"), bool(off <= check.within * 1.002 + ROUNDING * abs(check.expected)))


def agreed(expected: float, within: float, got: Replicated, *, is_share: bool) -> tuple[Interval, bool]:
    """Interval of a simulated number, and whether it holds the expected one and is narrow.

    Where the plain interval is too wide, controls narrow it; both must hold the value then. Mean times are as they are
    stated, or nothing holds.

    Parameters
    ----------
    expected
        Exact value.
    within
        How far it may be off by rounding.
    got
        What was simulated.
    is_share
        Whether it is a probability or a share.
    """
    limit = max(NARROW * abs(expected), NARROW_SHARE if is_share else 0.0)
    intervals = [student_interval(got.values, CONFIDENCE)]
    honest = all(_holds(student_interval(control, CONFIDENCE), 0.0, 0.0) for control in got.controls)
    if intervals[0].half_width > limit and got.controls:
        intervals.append(narrowed(got.values, got.controls))
    near = within + ROUNDING * abs(expected)
    holds = all(_holds(interval, expected, near) for interval in intervals)
    return intervals[-1], honest and holds and intervals[-1].half_width <= limit


def _holds(interval: Interval, value: float, near: float) -> bool:
    """Whether an interval holds a value, or comes so near."""
    return interval.low - near <= value <= interval.high + near


def narrowed(values: Floats, controls: Sequence[Floats]) -> Interval:
    """Interval of the mean at the point where all controls have their known mean, zero.

    Regression on control variates: Lavenberg, Moeller & Welch, Operations Research 30 (1982) 182-202 (from memory),
    where the controls are the realised mean times of a queueing network, as here.
    """
    design = np.column_stack([np.ones(values.size), *controls])
    freedom = values.size - design.shape[1]
    found, *_ = np.linalg.lstsq(design, values, rcond=None)
    variance = np.sum((values - design @ found) ** 2) / freedom
    spread = float(np.sqrt(variance * np.linalg.inv(design.T @ design)[0, 0]))
    mean, half = float(found[0]), float(stdtrit(freedom, (1.0 + CONFIDENCE) / 2.0)) * spread
    return Interval(mean, mean - half, mean + half)
