"""Means as people read them: to the digits that their intervals carry, the same wherever a mean stands."""

import math

from batsim.statistics.intervals import Interval

ROUNDING = 1e-12
"""Half width of an interval over its mean that is rounding alone."""


def number_text(interval: Interval, *, share: bool = False) -> str:
    """Write a mean with the way to the further end of its interval, to the digits that carries; a dash for nothing.

    Where that would say less than none or more than all, the limits are written. A half width is never written as none.

    Examples
    --------
    >>> number_text(Interval(10800.4, 10639.4, 10961.4)), number_text(Interval(0.238, 0.236, 0.240))
    ('10,800 ± 161', '0.24 ± 0.01')
    """
    part, unit = (100.0, " %") if share else (1.0, "")
    mean, low, high = (part * value for value in interval)
    half = max(mean - low, high - mean)
    if not math.isfinite(mean):
        return "-"
    if not math.isfinite(half):
        return f"{mean:,.{1 if mean % 1 else 0}f}{unit}"
    if half <= ROUNDING * abs(mean):
        return f"{mean:,.{0 if mean % 1 == 0 else 2}f}{unit}"
    digits = _digits(mean, half)
    if share and not half <= mean <= 100.0 - half:
        return f"{mean:.{digits}f} ({low:.{digits}f} to {high:.{digits}f}){unit}"
    half = max(half, 10.0**-digits)
    return f"{mean:,.{digits}f} ± {half:,.{digits}f}{unit}"


def mean_text(interval: Interval, *, share: bool = False) -> str:
    """Write a mean alone, to the digits that it has in `number_text`.

    Examples
    --------
    >>> mean_text(Interval(8.468, 8.39, 8.55))
    '8.47'
    >>> mean_text(Interval(0.9712, 0.96, 0.98), share=True)
    '97.1 %'
    """
    mean = number_text(interval, share=share).partition(" ± ")[0].partition(" (")[0]
    return f"{mean.removesuffix(' %')} %" if share and mean != "-" else mean


def _digits(mean: float, half_width: float) -> int:
    """Digits behind the point that a half width carries."""
    if abs(mean) >= 100.0:
        return 0 if half_width >= 0.5 else 1
    return 0 if half_width >= 9.5 else 1 if half_width >= 0.095 else 2
