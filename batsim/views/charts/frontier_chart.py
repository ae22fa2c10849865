"""Chart of what was decided: what a target costs, every plan that was looked at, and the best at each level of it."""

import numpy as np

from batsim.decision.answer import MEETS, MISSES, NOT_THE_MARGIN, Answer
from batsim.decision.trials import Trial
from batsim.study.limits import Limit
from batsim.views.charts import chart_style as style
from batsim.views.text.numbers import is_share, measure_of, unit_of

SIZE_IN = (8.0, 4.8)
BELOW_PT = 46.0
"""Where the legend begins below the axis: under ticks and their word. [pt]"""
DEAREST = 1.6
"""Plans dearer than so many times the best are left out, to keep the rest apart."""
MARKS = {
    MEETS: (style.BLUE, "o", "meets all targets"),
    NOT_THE_MARGIN: (style.ORANGE, "D", "meets the target, not the margin"),
    MISSES: (style.VERMILION, "X", "misses a target"),
}
"""Colour, mark and word of what can be said of a plan."""
NONE = "No plan meets the targets, so there is no frontier."


def frontier_chart(answer: Answer, ax: style.AxesOrNew = None, *, target: str | None = None) -> style.Axes:
    """Draw what a target costs in a layout: the cost of every plan that was looked at over what the target is about.

    Parameters
    ----------
    answer
        What was decided for a layout: `batsim.decide(...)["its name"]`.
    ax
        Axes to draw on; those of a new figure when not given.
    target
        Label of a target (`downtime`, `waits`, `waits of docks`); the first when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Yearly cost over downtime, or over the share of waits within the target; a step line through the cheapest plans
        that are as good or better in this, the answer a ring, the target and what is tested lines.

    Raises
    ------
    KeyError
        When there is no such target.
    """
    ax = style.axes_for(ax, SIZE_IN)
    limit = _limit(answer, target)
    title = f"{answer.layout}: what '{limit.title}' costs"
    if answer.chosen is None:
        return style.empty(ax, title, NONE)
    style.heading(ax, title, _note(answer))
    style.frame(ax)
    best = answer.searched.get(answer.chosen.point, answer.chosen)
    shown = [
        trial
        for trial in answer.searched.values()
        if trial.replications > 1 and trial.cost() <= DEAREST * best.cost() and np.isfinite(_across(trial, limit))
    ]
    legend = _marks(ax, answer, shown, limit)
    _frontier(ax, shown, limit)
    (legend["the best plan"],) = ax.plot(
        [_across(best, limit)], [best.cost()], marker="o", markersize=18.0, markerfacecolor="none",
        markeredgecolor=style.BLACK, markeredgewidth=1.4, linestyle="", zorder=5.0,
    )  # fmt: skip
    scale = 100.0 if is_share(limit.measure) else 1.0
    wanted, tested = scale * limit.sign * limit.most, scale * limit.sign * limit.tested
    unit = "%" if is_share(limit.measure) else unit_of(limit.measure)
    line = ax.axvline(wanted, color=style.BLACK, linewidth=1.3, linestyle="--", zorder=2.0)
    legend[f"target: {wanted:g} {unit}"] = line
    legend[f"tested: {tested:.4g} {unit}"] = ax.axvline(
        tested, color=style.BLACK, linewidth=1.0, linestyle=":", zorder=2.0
    )
    label = measure_of(limit.measure).label.removesuffix(" per truck-shift")
    across = f"{label[:1].upper()}{label[1:]} [{unit}{' per truck-shift' if unit == 'min' else ''}]"
    style.axis_words(ax, across, f"Cost [{answer.schedule.scenario.site.currency} per year]")
    ax.yaxis.set_major_formatter("{x:,.0f}")
    style.legend_below(ax, legend, 3, BELOW_PT)
    return ax


def _limit(answer: Answer, target: str | None) -> Limit:
    """The target that is drawn."""
    by_label = {limit.label: limit for limit in answer.limits}
    return answer.limits[0] if target is None else by_label[target]


def _across(trial: Trial, limit: Limit) -> float:
    """What the target is about, in per cent where it is a share."""
    return (100.0 if is_share(limit.measure) else 1.0) * limit.sign * trial.signed_mean(limit)


def _marks(ax: style.Axes, answer: Answer, shown: list[Trial], limit: Limit) -> style.Legend:
    """Mark what can be said of each plan; each mark with its word for the legend."""
    legend: style.Legend = {}
    for verdict, (colour, marker, word) in MARKS.items():
        mine = [trial for trial in shown if answer.verdict(trial) == verdict]
        if mine:
            (legend[word],) = ax.plot(
                [_across(trial, limit) for trial in mine], [trial.cost() for trial in mine], color=colour,
                marker=marker, markersize=6.5, markeredgecolor="white", linestyle="", zorder=3.0,
            )  # fmt: skip
    return legend


def _frontier(ax: style.Axes, shown: list[Trial], limit: Limit) -> None:
    """Draw a step line through the plans of which none is both as good in this and cheaper."""
    rising = sorted(shown, key=lambda trial: (trial.signed_mean(limit), trial.cost()))
    least, across, costs = np.inf, [], []
    for trial in rising:
        if trial.cost() < least:
            least = trial.cost()
            across.append(_across(trial, limit))
            costs.append(least)
    ax.plot(across, costs, color=style.GREY, linewidth=1.2, drawstyle="steps-post", zorder=2.5)


def _note(answer: Answer) -> str:
    """Say what is drawn."""
    return (
        f"{answer.schedule.scenario.site.name}, seed {answer.schedule.seed}; plans as the search saw them, means of "
        f"few replications; grey: the cheapest at each level."
    )
