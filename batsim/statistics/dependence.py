"""Whether values hang on something: on one another, on who and which shift, on the time of day, on the weeks."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc
from scipy.stats import rankdata

from batsim.errors import require
from batsim.statistics.intervals import Floats

PERMUTATIONS = 999
"""Orders drawn to test whether steps go together."""
DAY_H = 24.0
WAVES = 2
"""Waves in a day by which values may rise and fall: one high and one low, and two of each."""
SURE = 0.01
"""Share of independent values that look as dependent, below which dependence is told. [-]"""


class Dependence(NamedTuple):
    """What values hang on, as far as it can be told from chance."""

    on: str
    """What was looked at."""
    statistic: float
    """Rank correlation, from -1 to 1, or the share of the variance of the ranks that it makes up. [-]"""
    p: float
    """Share of independent values that would look as dependent; not a number where it cannot be told. [-]"""
    rows: int
    """Values behind it. [-]"""
    sentence: str
    """What it comes to."""

    @property
    def is_clear(self) -> bool:
        """Whether chance would hardly make it."""
        return self.p < SURE


def differs_between(values: ArrayLike, labels: ArrayLike, what: str = "values", on: str = "groups") -> Dependence:
    """Test whether values differ between groups, shifts or weekdays.

    Parameters
    ----------
    values
        Values; those that are not numbers are left out. Any unit.
    labels
        Group of each.
    what, on
        What they are and what parts them, for the sentence.

    Returns
    -------
    Dependence
        Its statistic is the share of the variance of the ranks that lies between groups.

    References
    ----------
    Kruskal, W. H. & Wallis, W. A. (1952) Journal of the American Statistical Association 47, 583-621; Iman, R. L. &
    Davenport, J. M. (1976) Communications in Statistics A5, 1335-1348, its F form (both from memory).

    Examples
    --------
    >>> times, shifts = [1.0, 2.0, 3.0, 4.0, 11.0, 12.0, 13.0, 14.0], list("aaaabbbb")
    >>> differs_between(times, shifts, "exchanges", "shifts").sentence
    'exchanges hang on shifts: the middle one is 2.5 (a) to 12.5 (b), p 0.0047'
    """
    kept, names = _with_numbers(values, labels)
    groups, number = np.unique(names, return_inverse=True)
    columns = (number[:, None] == np.arange(1, groups.size)).astype(np.float64)
    share, p, _ = _explained(kept, columns)
    if np.isnan(p):
        return _not_told(on, share, kept.size, what)
    middles = np.array([np.median(kept[number == group]) for group in range(groups.size)])
    least, most = (f"{middles[end]:.3g} ({groups[end]})" for end in (int(middles.argmin()), int(middles.argmax())))
    found = f"{what} hang on {on}: the middle one is {least} to {most}, {_p_text(p)}"
    return Dependence(on, share, p, kept.size, found if p < SURE else _none(what, on, p))


def differs_over_day(values: ArrayLike, at_h: ArrayLike, what: str = "values") -> Dependence:
    """Test whether values rise and fall over the day.

    Parameters
    ----------
    values
        Values; those that are not numbers are left out. Any unit.
    at_h
        When each began, after midnight. [h]
    what
        What they are, for the sentence.

    Returns
    -------
    Dependence
        Its statistic is the share of the variance of the ranks that two waves of the day make up.

    References
    ----------
    Mardia, K. V. (1976) Applied Statistics 25, 144-150, ranks on the circle (from memory); the second wave and the F
    form worked out here.
    """
    kept, times = _with_numbers(values, at_h)
    hours = times.astype(np.float64) % DAY_H
    share, p, weights = _explained(kept, _waves(hours))
    on = "time of day"
    if np.isnan(p):
        return _not_told(on, share, kept.size, what)
    seen = np.unique(np.floor(hours))
    course = _waves(seen + 0.5) @ weights
    longest, shortest = (f"{seen[int(end)]:02.0f}:00" for end in (course.argmax(), course.argmin()))
    found = f"{what} hang on the {on}: greatest about {longest}, least about {shortest}, {_p_text(p)}"
    return Dependence(on, share, p, kept.size, found if p < SURE else _none(what, f"the {on}", p))


def differs_over_weeks(values: ArrayLike, at_weeks: ArrayLike, what: str = "values") -> Dependence:
    """Test whether values rise or fall over the weeks.

    Parameters
    ----------
    values
        Values; those that are not numbers are left out. Any unit.
    at_weeks
        When each began. [weeks]
    what
        What they are, for the sentence.

    Returns
    -------
    Dependence
        Its statistic is Spearman's rank correlation.
    """
    kept, times = _with_numbers(values, at_weeks)
    when = rankdata(times.astype(np.float64))
    share, p, weights = _explained(kept, when[:, None])
    on = "weeks"
    if np.isnan(p):
        return Dependence(
            on, share, p, kept.size, f"whether {what} change over the weeks cannot be told from these rows"
        )
    correlation = float(np.sign(weights[0]) * np.sqrt(share))
    found = f"{what} {'rise' if correlation > 0.0 else 'fall'} over the weeks: rank correlation {correlation:+.2f}"
    sentence = (
        f"{found}, {_p_text(p)}" if p < SURE else f"{what} do not change over the weeks that can be told: {_p_text(p)}"
    )
    return Dependence(on, correlation, p, kept.size, sentence)


def like_the_one_before(values: ArrayLike, what: str = "values") -> Dependence:
    """Test whether values in the order of time are like the one before: a long one after a long one.

    Parameters
    ----------
    values
        Values in the order in which they began; those that are not numbers are left out. Any unit.
    what
        What they are, for the sentence.

    Returns
    -------
    Dependence
        Its statistic is the rank correlation with the one before. Where it is clear, intervals are too narrow.

    References
    ----------
    Wald, A. & Wolfowitz, J. (1943) Annals of Mathematical Statistics 14, 378-388, serial correlation of ranks (from
    memory).
    """
    given = np.asarray(values, dtype=np.float64)
    kept = given[np.isfinite(given)]
    share, p, weights = _explained(kept[1:], rankdata(kept[:-1])[:, None]) if kept.size > 3 else (np.nan, np.nan, kept)
    on = "the one before"
    if np.isnan(p):
        return _not_told(on, share, kept.size, what)
    correlation = float(np.sign(weights[0]) * np.sqrt(share))
    found = f"{what} hang on {on}: rank correlation {correlation:+.2f}, {_p_text(p)}; intervals are too narrow"
    return Dependence(on, correlation, p, kept.size, found if p < SURE else _none(what, on, p))


def steps_together(table: ArrayLike, what: str = "steps of an exchange", seed: int = 0) -> Dependence:
    """Test whether the steps of one exchange take long or short together.

    Parameters
    ----------
    table
        One row for each exchange, one column for each step; what is not a number was not timed. Any unit.
    what
        What they are, for the sentence.
    seed
        Seed of the orders that are drawn.

    Returns
    -------
    Dependence
        Its statistic is the mean rank correlation over all pairs of steps, its p that of 999 random orders of each
        step's times, counted on both sides. Its rows are exchanges with two steps timed or more.

    Raises
    ------
    ValueError
        When it is not a table.

    References
    ----------
    Mean rank correlation of several rankings: Kendall, M. G. & Babington Smith, B. (1939) Annals of Mathematical
    Statistics 10, 275-287 (from memory); the orders where some are missing worked out here.
    """
    times = np.asarray(table, dtype=np.float64)
    require(times.ndim == 2, f"steps must be a table, exchanges by steps (got shape {times.shape})")
    timed = np.isfinite(times)
    rows = int(np.sum(timed.sum(axis=1) > 1))
    scores = np.column_stack([_scores(column) for column in times.T]) if times.shape[1] else times
    own, on = _mean_correlation(scores, timed), "one another"
    if rows < 4 or not np.isfinite(own):
        return _not_told(on, own, rows, what)
    random = np.random.default_rng(seed)
    places = [np.flatnonzero(column) for column in timed.T]
    as_far, drawn = 1, scores.copy()
    for _ in range(PERMUTATIONS):
        for step, where in enumerate(places):
            drawn[where, step] = scores[random.permutation(where), step]
        as_far += abs(_mean_correlation(drawn, timed)) >= abs(own) - 1e-12
    p = as_far / (PERMUTATIONS + 1.0)
    way = "take long or short together" if own > 0.0 else "make up for one another"
    found = f"{what} {way}: mean rank correlation {own:+.2f}, {_p_text(p)}"
    return Dependence(on, own, p, rows, found if p < SURE else _none(what, on, p))


def _with_numbers(
    values: ArrayLike, beside: ArrayLike
) -> "tuple[Floats, np.ndarray[tuple[int], np.dtype[np.generic]]]":
    """Values that are numbers, and what stands beside them."""
    given, other = np.asarray(values, dtype=np.float64), np.asarray(beside)
    require(given.size == other.size, f"there must be one for each value (got {other.size} for {given.size})")
    kept = np.isfinite(given)
    return given[kept], other[kept]


def _explained(
    values: Floats, columns: "np.ndarray[tuple[int, int], np.dtype[np.float64]]"
) -> tuple[float, float, Floats]:
    """Share of the variance of the ranks that columns make up, its p by Fisher's F, and the weights of the columns."""
    nothing = np.nan, np.nan, np.zeros(columns.shape[1])
    free = values.size - 1 - columns.shape[1]
    if free < 1 or not columns.shape[1] or np.ptp(values) == 0.0:
        return nothing
    ranks = rankdata(values)
    ranks -= ranks.mean()
    centred = columns - columns.mean(axis=0)
    weights, _, rank, _ = np.linalg.lstsq(centred, ranks, rcond=None)
    if not rank:
        return nothing
    share = min(1.0, float(np.sum((centred @ weights) ** 2) / np.sum(ranks**2)))
    free = values.size - 1 - int(rank)
    p = float(fdtrc(rank, free, share / (1.0 - share) * free / rank)) if share < 1.0 - 1e-12 else 0.0
    return share, p, weights


def _waves(hours: Floats) -> "np.ndarray[tuple[int, int], np.dtype[np.float64]]":
    """Sine and cosine of each wave of the day."""
    turns = 2.0 * np.pi * hours[:, None] / DAY_H * np.arange(1, WAVES + 1)
    return np.hstack([np.sin(turns), np.cos(turns)])


def _scores(column: Floats) -> Floats:
    """Ranks of a step's times with mean 0 and mean square 1; 0 where it was not timed."""
    scores, timed = np.zeros(column.size), np.isfinite(column)
    if timed.any():
        ranks = rankdata(column[timed])
        ranks -= ranks.mean()
        spread = float(np.sqrt(np.mean(ranks**2)))
        scores[timed] = ranks / spread if spread else 0.0
    return scores


def _mean_correlation(scores: Floats, timed: "np.ndarray[tuple[int, int], np.dtype[np.bool_]]") -> float:
    """Mean product of the scores of two steps of one exchange."""
    pairs = float(np.sum(timed.sum(axis=1) ** 2 - timed.sum(axis=1)))
    return float(np.sum(scores.sum(axis=1) ** 2) - np.sum(scores**2)) / pairs if pairs else np.nan


def _not_told(on: str, statistic: float, rows: int, what: str) -> Dependence:
    """What is found where the rows say nothing."""
    return Dependence(on, statistic, np.nan, rows, f"whether {what} hang on {on} cannot be told from these rows")


def _none(what: str, on: str, p: float) -> str:
    """Say that chance would do as well."""
    return f"{what} do not hang on {on} that can be told: {_p_text(p)}"


def _p_text(p: float) -> str:
    """Write a p-value."""
    return "p below 0.001" if p < 0.001 else f"p {p:.2g}"
