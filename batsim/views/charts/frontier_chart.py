"""Chart of what was decided: fewer and more batteries against downtime and cost, with the answer."""

import math

from batsim.decision.answer import DECIDING, MEETS, MISSES, TOO_NEAR, Answer
from batsim.statistics.intervals import Interval
from batsim.views.charts import chart_style as style

SIZE_IN = (8.0, 4.8)
BELOW_PT = 58.0
"""Where the legend begins below the axis: under ticks of two lines and their word. [pt]"""
HEADROOM = 1.12
MARKS = {
    MEETS: (style.BLUE, "o", "meets the targets"),
    MISSES: (style.VERMILION, "X", "misses a target"),
    TOO_NEAR: (style.ORANGE, "D", "too near to tell"),
}
"""Colour, mark and word of what can be said of a count."""
NONE = "No counts within the ranges meet the targets, so there is no frontier."


def frontier_chart(answer: Answer, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw the frontier of a layout: what fewer batteries would cost in downtime, and more in money.

    Parameters
    ----------
    answer
        What was decided for a layout: `batsim.decide(...)["its name"]`.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Downtime with its interval over the number of batteries (chargers where there are no spare batteries), all else
        as in the answer; the cost of a year under each number; the target a line and the answer a ring.
    """
    ax = style.axes_for(ax, SIZE_IN)
    label = answer.ranges[answer.frontier_column].label
    title = f"{answer.layout}: fewer and more {label}"
    if answer.chosen is None or not answer.frontier:
        return style.empty(ax, title, NONE)
    style.heading(ax, title, _note(answer))
    style.frame(ax)
    counts = [tested.counts[answer.frontier_column] for tested in answer.frontier]
    downtimes = [tested.interval(DECIDING, answer.confidence) for tested in answer.frontier]
    style.whiskers(ax, counts, downtimes, across=False, zorder=3.0)
    legend = _marks(ax, answer, counts, downtimes)
    scenario = answer.schedule.scenario
    target = scenario.targets.downtime_min_per_truck_shift
    if target is not None:
        line = ax.axhline(target, color=style.BLACK, linewidth=1.3, linestyle="--", zorder=2.0)
        legend[f"target: at most {target:g}"] = line
    costs = [f"{count}\n{tested.cost_per_year:,.0f}" for count, tested in zip(counts, answer.frontier, strict=True)]
    ax.set_xticks(counts, costs)
    ax.set_xlim(min(counts) - 0.6, max(counts) + 0.6)
    ax.set_ylim(0.0, HEADROOM * _highest(downtimes, target or 0.0) or 1.0)
    across = f"{label[0].upper()}{label[1:]}, and cost [{scenario.site.currency} per year]"
    style.axis_words(ax, across, "Downtime [min per truck-shift]")
    style.legend_below(ax, legend, 4, BELOW_PT)
    return ax


def _highest(downtimes: list[Interval], target_min: float) -> float:
    """Highest of what is drawn: ends of intervals and the target. [min per truck-shift]"""
    ends = [end for downtime in downtimes for end in (downtime.mean, downtime.high)]
    return max([target_min, *filter(math.isfinite, ends)])


def _marks(ax: style.Axes, answer: Answer, counts: list[int], downtimes: list[Interval]) -> style.Legend:
    """Mark what can be said of each count, and the answer with a ring; each mark with its word for the legend."""
    legend: style.Legend = {}
    chosen = answer.chosen.counts if answer.chosen is not None else None
    for tested, count, downtime in zip(answer.frontier, counts, downtimes, strict=True):
        colour, marker, word = MARKS[answer.verdict(tested)]
        (legend[word],) = ax.plot(
            [count], [downtime.mean], color=colour, marker=marker, markersize=9.0, markeredgecolor="white",
            linestyle="", zorder=4.0,
        )  # fmt: skip
        if tested.counts == chosen:
            (legend["answer"],) = ax.plot(
                [count], [downtime.mean], marker="o", markersize=18.0, markerfacecolor="none",
                markeredgecolor=style.BLACK, markeredgewidth=1.4, linestyle="", zorder=5.0,
            )  # fmt: skip
    return legend


def _note(answer: Answer) -> str:
    """Say where the frontier was drawn, what a whisker is, and which counts stay as in the answer."""
    assert answer.chosen is not None  # else there is no frontier
    kept = [
        f"{count_range.label}\N{NO-BREAK SPACE}{count}"
        for position, (count_range, count) in enumerate(zip(answer.ranges, answer.chosen.counts, strict=True))
        if position != answer.frontier_column
    ]
    note = (
        f"{answer.schedule.scenario.site.name}, seed {answer.schedule.seed}; "
        f"whiskers: {100.0 * answer.confidence:g} % intervals of the mean."
    )
    return f"{note} Kept: {', '.join(kept)}." if kept else note
