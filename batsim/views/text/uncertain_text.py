"""A comparison over what is not known, for the terminal."""

import math

from batsim.display import counted
from batsim.statistics.intervals import Interval
from batsim.study.uncertain import UncertainComparison
from batsim.views.text.lines import columns, hung, sentence
from batsim.views.text.numbers import label_with_unit, plain_number
from batsim.views.text.sweep_text import input_name
from batsim.views.text.tables import impossible_sentences

NOTE = (
    "The rest of the variance is chance between replications: more draws or weeks reduce it. What is not known stays "
    "until it is found out on site."
)


def uncertain_text(comparison: UncertainComparison, width: int = 100) -> str:
    """Tables with the verdict below."""
    schedule = comparison.schedule
    head = (
        f"{schedule.scenario.site.name}: {counted(comparison.draws, 'draw')} of what is not known, "
        f"{counted(len(comparison.layouts), 'layout')}, {counted(schedule.replications, 'replication')} of "
        f"{counted(schedule.weeks, 'week')} at each, seed {schedule.seed}"
    )
    lines = [sentence(head, width), "Not known:"]
    lines += [hung(f"{factor.path}: {factor.text}", width, 2) for factor in comparison.points.factors]
    lines += ["", *columns(_rows(comparison), width), ""]
    lines += [
        sentence(text, width) for text in (comparison.verdict, *impossible_sentences(comparison.impossible)) if text
    ]
    if comparison.swayed_by:
        best, other = comparison.possible[:2]
        lines.append(sentence(f"What sways the lead of '{best}' over '{other}' (rank correlation, -1 to 1):", width))
        lines += [
            hung(f"{input_name(path)}: {_correlation(correlation)}", width, 2)
            for path, correlation in comparison.swayed_by
        ]
    return "\n".join([*lines, sentence(NOTE, width)])


def _rows(comparison: UncertainComparison) -> list[list[str]]:
    """How often each layout is best, and the mean, spread and causes of spread of each measure."""
    layouts = comparison.layouts
    rows = [["", *layouts], ["best in so many draws", *(_share(comparison, layout) for layout in layouts)]]
    for measure in comparison.measures:
        spreads = [comparison.spread(layout, measure) for layout in layouts]
        shares = [comparison.split(layout, measure).input_share.mean for layout in layouts]
        rows += [
            [label_with_unit(measure), *(plain_number(spread.mean) for spread in spreads)],
            ["  5 % to 95 % of draws", *(f"{plain_number(it.low)} to {plain_number(it.high)}" for it in spreads)],
            ["  of its variance, not known", *(_percent(share) for share in shares)],
        ]
    return rows


def _share(comparison: UncertainComparison, layout: str) -> str:
    chance = comparison.chance_best[layout]
    return f"{100 * chance.mean:.0f} % ({100 * chance.low:.0f} to {100 * chance.high:.0f})"


def _correlation(interval: Interval) -> str:
    if not math.isfinite(interval.mean):
        return "-"
    limits = f" ({interval.low:+.2f} to {interval.high:+.2f})" if math.isfinite(interval.half_width) else ""
    return f"{interval.mean:+.2f}{limits}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if math.isfinite(share) else "-"
