"""Whether a fitted law agrees with what was measured: Anderson and Darling's distance, judged by draws of the law."""

from typing import NamedTuple

import numpy as np

from batsim.statistics.empirical import Steps, empirical, quantiles_of
from batsim.statistics.intervals import Floats
from batsim.statistics.laws import Law
from batsim.statistics.likelihood import Parameters
from batsim.statistics.samples import Sample

EDGE = 1e-15
"""Share nearer to none or all than which no share is told apart. [-]"""


class Tested(NamedTuple):
    """A law beside what was measured, and beside draws of itself."""

    distance: float
    """Anderson and Darling's: the weighted squared distance of the two curves, times the number of values. [-]"""
    p: float
    """Share of the draws of the law that lie as far off. [-]"""
    parameters: Parameters
    """What was tested."""
    drawn: "np.ndarray[tuple[int, int], np.dtype[np.float64]]"
    """Parameters fitted to each draw."""


def anderson_darling(below: Floats, share: Floats, count: int, last: float = 1.0) -> float:
    """Distance of a law from a curve of shares: n times the integral of (share - u)²/(u (1 - u)) over u up to the last.

    Parameters
    ----------
    below
        Share of the law below each value, in rising order. [-]
    share
        Share of what was measured at or below each value. [-]
    count
        Number of values. [-]
    last
        Share of the law up to which was measured: below 1 where the longest values were cut off. [-]

    References
    ----------
    Anderson, T. W. & Darling, D. A. (1954) Journal of the American Statistical Association 49, 765-769; the integral
    piece by piece, so that values that are cut off and ties need no formula of their own, worked out here.

    Examples
    --------
    >>> round(anderson_darling(np.array([0.25, 0.75]), np.array([0.5, 1.0]), 2), 4)
    0.2493
    """
    edges = np.clip(np.concatenate([[0.0], below, [max(last, EDGE)]]), 0.0, 1.0)
    held = np.concatenate([[0.0], share])
    inner = np.clip(edges, EDGE, 1.0 - EDGE)
    rise, fall, width = np.diff(np.log(inner)), np.diff(np.log1p(-inner)), np.diff(edges)
    return float(count * np.sum(held**2 * rise - (1.0 - held) ** 2 * fall - width))


def distance(law: Law, parameters: Parameters, sample: Sample) -> float:
    """Anderson and Darling's distance of a law from a sample."""
    if sample.grid is not None and not sample.cut.size:
        return _distance_of_cells(law, parameters, sample)
    if not sample.cut.size:
        steps = np.arange(1, sample.events + 1) / sample.events
        return anderson_darling(law.below(sample.seen, parameters), steps, sample.events)
    values, marks = joined(sample)
    curve = empirical(values, marks, 0.95)
    ends = law.below(np.array([max(values)]), parameters)
    last = 1.0 if curve.share[-1] >= 1.0 else float(ends[0])
    return anderson_darling(law.below(curve.at, parameters), curve.share, values.size, last)


def _distance_of_cells(law: Law, parameters: Parameters, sample: Sample) -> float:
    """Anderson and Darling's distance of rounded values, at the edges between what is rounded up and down.

    References
    ----------
    Choulakian, V., Lockhart, R. A. & Stephens, M. A. (1994) Canadian Journal of Statistics 22, 125-137 (from memory).
    """
    _, high, count = sample.cells
    below = law.below(high, parameters)
    apart = np.cumsum(count) / sample.events - below
    weight = np.diff(below, prepend=0.0) / np.maximum(below * (1.0 - below), EDGE)
    return float(sample.events * np.sum(apart[:-1] ** 2 * weight[:-1]))


def joined(sample: Sample) -> "tuple[Floats, np.ndarray[tuple[int], np.dtype[np.bool_]]]":
    """All values of a sample, and which of them were cut off."""
    marks = np.repeat([False, True], [sample.events, sample.cut.size])
    return np.concatenate([sample.seen, sample.cut]), marks


def tested(law: Law, parameters: Parameters, sample: Sample, draws: int, seed: int) -> Tested:
    """Test a law by draws of itself, each cut off and rounded as the sample is, and fitted anew.

    Parameters
    ----------
    law, parameters
        What was fitted to the sample.
    sample
        The values.
    draws
        Samples drawn. [-]
    seed
        Whole number from 0 on; the same seed gives the same answer.

    References
    ----------
    Stute, W., Gonzáles Manteiga, W. & Presedo Quindimil, M. (1993) Metrika 40, 243-256, parametric bootstrap of such
    distances; Davison, A. C. & Hinkley, D. V., Bootstrap Methods and their Application, 1997, section 3.5, drawing how
    long values could be seen from Kaplan and Meier's curve of that (both from memory).
    """
    random = np.random.default_rng(seed)
    own = distance(law, parameters, sample)
    ends = _ends_of(sample)
    distances, drawn = np.full(draws, np.nan), np.full((draws, len(parameters)), np.nan)
    for draw in range(draws):
        again = _drawn(law, parameters, sample, ends, random)
        if again.events > 1 and again.seen[0] < again.seen[-1] and law.takes(again):
            drawn[draw] = law.fitted(again)
            distances[draw] = distance(law, tuple(drawn[draw].tolist()), again)
    known = np.isfinite(distances)
    return Tested(own, float((1.0 + np.sum(distances[known] >= own)) / (1.0 + np.sum(known))), parameters, drawn[known])


def rounded(values: Floats, grid: float) -> Floats:
    """Values rounded to a grid; what would be nothing is a quarter of it, the middle of what is rounded down."""
    return np.maximum(np.rint(values / grid) * grid, grid / 4.0)


def _ends_of(sample: Sample) -> Steps | None:
    """How long values could be seen; none where nothing was cut off."""
    if not sample.cut.size:
        return None
    values, marks = joined(sample)
    return empirical(values, ~marks, 0.95)


def _drawn(
    law: Law,
    parameters: Parameters,
    sample: Sample,
    ends: Steps | None,
    random: np.random.Generator,
) -> Sample:
    """Draw a sample of a law as large as a given one, cut off and rounded alike."""
    size = sample.events + sample.cut.size
    values, cut = law.quantile(random.random(size), *parameters), np.full(size, np.inf)
    if ends is not None:
        shares = random.random(size)
        cut = np.where(shares < ends.share[-1], quantiles_of(ends, shares), np.inf)
    shown = np.minimum(values, cut)
    if sample.grid is not None:
        shown = rounded(shown, sample.grid.width)
    return Sample(np.sort(shown[values <= cut]), np.sort(shown[values > cut]), sample.grid)
