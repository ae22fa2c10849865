"""What replications say of a measure: pooled where it is a ratio, an interval, or a count where events are few."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from batsim.measures.names import POOLED, RARE
from batsim.statistics.intervals import Floats, Interval, student_interval
from batsim.statistics.rare_events import (
    FEWEST_EVENTS,
    Count,
    count_of,
    events_interval,
    independent_events,
    pooled_values,
    skewed_interval,
)

Table = Mapping[str, Floats]
"""By measure: one value for each replication."""


class _Events(NamedTuple):
    """What is counted behind a measure, in each replication; of a share the rarer side."""

    events: Floats
    of: Floats
    misses: bool
    """Counted is how often it did not happen, because that is rarer."""
    few: bool


def pooled(values: Table, measure: str) -> Floats:
    """Values of a measure whose mean is, for a ratio, the ratio of sums over the replications."""
    weights = values.get(POOLED.get(measure, ""))
    return values[measure] if weights is None else pooled_values(values[measure], np.nan_to_num(weights))


def estimate(values: Table, measure: str, confidence: float) -> Interval:
    """Mean of a measure and its interval; limits are not numbers where too few events carry one.

    What is counted or lasts is not below zero, and a share not above one; neither are their limits.

    Parameters
    ----------
    values
        By measure, one value for each replication; what the measure is counted by is looked up there too.
    measure
        Its name.
    confidence
        Probability that the interval holds the true mean. [-]
    """
    series = pooled(values, measure)
    found = _events(values, measure)
    if found is None:
        return student_interval(series, confidence)
    if found.few:
        return Interval(float(np.mean(series)), np.nan, np.nan)
    mean, low, high = skewed_interval(series, confidence)
    return Interval(mean, max(0.0, low), min(high, 1.0) if measure.endswith("_share") else high)


def judged(values: Table, measure: str, confidence: float) -> Interval:
    """Interval by which a target is judged: the same, but with limits where events are few and it is their number."""
    found, rare = _events(values, measure), RARE.get(measure)
    if found is None or rare is None or not found.few or rare.events != measure:
        return estimate(values, measure, confidence)
    number = events_interval(found.events, confidence)
    if measure not in POOLED:
        return number
    each = max(1.0, float(np.mean(found.of)))
    mean, low, high = (min(1.0, end / each) for end in number)
    return Interval(1.0 - mean, 1.0 - high, 1.0 - low) if found.misses else Interval(mean, low, high)


def few_events(values: Table, measure: str, confidence: float) -> tuple[Count, bool] | None:
    """Count that is told of a measure, and whether of misses; None where events are enough for an interval."""
    found = _events(values, measure)
    return (count_of(found.events, found.of, confidence), found.misses) if found is not None and found.few else None


def counted(found: tuple[Count, bool] | None) -> tuple[float, float]:
    """Events told in place of an interval, and of how many; not numbers where there is one."""
    return (np.nan, np.nan) if found is None else (float(found[0].events), float(found[0].of))


def _events(values: Table, measure: str) -> _Events | None:
    """Events behind a measure; None where none are counted, or one replication tells nothing of their spread."""
    rare = RARE.get(measure)
    if rare is None or not {rare.events, rare.of} - {""} <= values.keys() or values[measure].size < 2:
        return None
    series = pooled(values, measure)
    of = np.nan_to_num(values[rare.of]) if rare.of else np.zeros_like(series)
    if np.isnan(series).any():
        return None
    events = np.nan_to_num(values[rare.events]) * (of if rare.events in POOLED else 1.0)
    misses = measure in POOLED and measure == rare.events and bool(np.sum(of) < 2.0 * np.sum(events))
    if misses:
        events, series = of - events, 1.0 - series
    few = min(float(np.sum(events)), independent_events(series)) < FEWEST_EVENTS
    return _Events(events, of, misses, few)
