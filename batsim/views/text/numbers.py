"""Numbers, counts and measures as people read them."""

import math

from batsim.display import counted
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import RARE, Measure
from batsim.statistics.intervals import Interval
from batsim.statistics.rare_events import Count
from batsim.statistics.written import number_text
from batsim.study.running.runs import Runs

NO_INTERVALS = "One replication has no intervals; take more to know how sure this is."
"""In place of what an interval is, where there is none."""


def estimate_text(interval: Interval, found: tuple[Count, bool] | None, *, share: bool = False) -> str:
    """Write a mean with its half width; where too few events carry one, with their number, such as `0.3 (7 times)`."""
    if found is None or not found[0].events:
        return number_text(interval, share=share)
    text = f"{100.0 * interval.mean:.3g} %" if share else f"{interval.mean:.2g}"
    count, misses = found
    return f"{text} (all but {count.events:,})" if misses else f"{text} ({counted(count.events, 'time')})"


def count_text(found: tuple[Count, bool], measure: str) -> str:
    """Write a count, such as `7 of 4,812 asks, in 3 of 20 runs (3 to 38 % of runs)`."""
    (events, of, runs_with, runs, chance), misses = found
    whole = f"{of:,} {RARE[measure].of.partition('_')[0]}"
    in_all = counted(runs, "run")
    if not events:
        return f"{'all' if misses else 'none of'} {whole} in {in_all}" if of else f"never in {in_all}"
    low, high = (f"{100.0 * end:.0f}" for end in (chance.low, chance.high))
    first = f"all but {events:,}" if misses else f"{events:,}"
    first = f"{first} of {whole}" if of else counted(events, "time")
    return f"{first}, in {runs_with} of {in_all} ({low} to {high} % of runs)"


def plain_number(value: float, *, share: bool = False) -> str:
    """Write a number without an interval; a dash for nothing."""
    if not math.isfinite(value):
        return "-"
    return f"{100.0 * value:.1f} %" if share else f"{value:.1f}" if abs(value) < 100.0 else f"{value:.0f}"


def short_number(value: float) -> str:
    """Write a number that stands without an interval: whole from 100 on, else with one digit behind the point.

    What is whole has none, and a dash stands for nothing.
    """
    if not math.isfinite(value):
        return "-"
    tenth = round(value, 1) + 0.0
    return f"{value:,.0f}" if abs(value) >= 99.95 or tenth == value or not tenth else f"{tenth:.1f}"


def are(count: int, thing: str, which: str = "") -> str:
    """Such as `3 cases are`."""
    return f"{counted(count, thing)}{which} {'is' if count == 1 else 'are'}"


def measure_of(name: str) -> Measure:
    """What a measure is, by its name."""
    return MEASURES.get(name, WITHIN_TARGET)


def is_share(name: str) -> bool:
    """Whether a measure is shown in per cent."""
    return name.endswith("_share")


def unit_of(name: str) -> str:
    """Unit that stands behind a number of a measure; nothing for shares, which have a percent sign, and counts."""
    unit = measure_of(name).unit
    return "" if is_share(name) or unit == "1" else unit


def label_with_unit(name: str) -> str:
    """Label of a measure with its unit."""
    unit = unit_of(name)
    return f"{measure_of(name).label}, {unit}" if unit else measure_of(name).label


def value_text(runs: Runs, layout: str, measure: str) -> str:
    """Mean of a measure with its half width, or with the number of its events where they are few."""
    interval, count = runs.interval(layout, measure), runs.count(layout, measure)
    return estimate_text(interval, count, share=is_share(measure))
