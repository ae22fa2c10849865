"""Chart of what was decided: what targets cost, every plan that was looked at, and the best at each level of each."""

import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from batsim.decision.answer import MEETS, MISSES, NOT_THE_MARGIN, Answer
from batsim.decision.trials import Trial
from batsim.display import counted
from batsim.study.limits import Limit
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.text.numbers import is_share, measure_of, unit_of

COLUMNS = 2
"""Panels beside one another."""
PANEL_IN, AROUND_IN, NOTHING_IN = 2.5, 1.3, 2.0
"""Height of a row of panels, of what stands around them all, and of a chart without any. [in]"""
DEAREST = 1.6
"""Plans dearer than so many times the best are left out, to keep the rest apart."""
MARKS = {
    MEETS: (palette.BLUE, "o", palette.BLUE, "meets all targets"),
    NOT_THE_MARGIN: (palette.ORANGE, "D", palette.WHITE, "meets them, by too little"),
    MISSES: (palette.VERMILION, "X", palette.VERMILION, "misses a target"),
}
"""Colour, mark, what fills it, and word of what can be said of a plan."""
CHEAPER = {
    MISSES: "{} a target",
    NOT_THE_MARGIN: "{} them by too little",
    MEETS: "{} them in the search, but not for sure",
}
VERBS = {MISSES: ("misses", "miss"), NOT_THE_MARGIN: ("meets", "meet"), MEETS: ("met", "met")}
"""What cheaper plans do, and the verbs of one and of several."""
RING_PT = 15.0
"""Size of the ring about the best plan. [pt]"""
BEST = "best plan"
FRONTIER = "cheapest at each level"
NONE = "No plan meets the targets, so there is no frontier."


class Seen(NamedTuple):
    """What is drawn of an answer."""

    answer: Answer
    best: Trial
    """The best plan as the search saw it."""
    shown: list[Trial]

    @property
    def unit(self) -> str:
        """What cost is in."""
        return f"{self.answer.schedule.scenario.site.currency} per year"


def frontier_chart(answer: Answer, *, target: str | None = None) -> style.Figure:
    """Draw what targets cost in a layout: the cost of every plan that was looked at over what each target is about.

    Parameters
    ----------
    answer
        What was decided for a layout: `batsim.decide(...)["its name"]`.
    target
        Label of a target (`downtime`, `waits`, `waits of docks`) to draw it alone; all of them when not given.

    Returns
    -------
    matplotlib.figure.Figure
        A figure and not one axes: a panel for each target. Yearly cost over downtime, or over the share of waits
        within the target; a step line through the cheapest plans that are as good or better in this, the best plan in
        a ring, the target and what is tested lines. What meets the targets but not what is tested has a mark of its
        own. The title says how cheaper plans do.

    Raises
    ------
    KeyError
        When there is no such target.
    """
    limits = _limits(answer, target)
    if answer.chosen is None:
        figure = style.new_figure((style.COLUMN_IN, NOTHING_IN))
        style.empty(figure.add_subplot(), f"{answer.layout}: what targets cost", NONE, style.FINDING_PT)
        return figure
    seen = _seen(answer)
    columns = min(COLUMNS, len(limits))
    rows = math.ceil(len(limits) / columns)
    figure = style.new_figure((style.COLUMN_IN, PANEL_IN * rows + AROUND_IN))
    legend: style.Legend = {}
    axes = figure.subplots(rows, columns, sharey=True, squeeze=False).ravel()
    for number, (ax, limit) in enumerate(zip(axes, limits, strict=False)):
        legend |= _panel(ax, seen, limit)
        if number % columns == 0:
            ax.set_ylabel(f"Cost [{seen.unit}]", fontsize=style.WORD_PT)
    for ax in axes[len(limits) :]:
        ax.set_axis_off()
    style.head_of_all(figure, _finding(seen))
    style.under_all(figure, _note(answer), legend)
    return figure


def frontier_text(answer: Answer, *, target: str | None = None) -> str:
    """Say in words what `frontier_chart` draws, with its numbers."""
    limits = _limits(answer, target)
    if answer.chosen is None:
        return f"{answer.layout}: {NONE}"
    seen = _seen(answer)
    told = [f"{_finding(seen)}.", *(_told(seen, limit) for limit in limits), _note(answer)]
    return " ".join(told)


def _limits(answer: Answer, target: str | None) -> Sequence[Limit]:
    """The targets that are drawn."""
    return answer.limits if target is None else [{limit.label: limit for limit in answer.limits}[target]]


def _seen(answer: Answer) -> Seen:
    """Plans that were looked at more than once and are not far too dear."""
    assert answer.chosen is not None  # who asks has made sure
    best = answer.searched.get(answer.chosen.point, answer.chosen)
    most = DEAREST * best.cost()
    return Seen(
        answer, best, [each for each in answer.searched.values() if each.replications > 1 and each.cost() <= most]
    )


def _finding(seen: Seen) -> str:
    """How plans do that are cheaper than the best, as a sentence without its full stop."""
    best, layout = seen.best, seen.answer.layout
    found = Counter(seen.answer.verdict(each) for each in seen.shown if each.cost() < best.cost())
    if not found:
        return f"No plan of '{layout}' that was looked at is cheaper than the best"
    does = [f"{found[each]} {CHEAPER[each].format(VERBS[each][found[each] > 1])}" for each in CHEAPER if found[each]]
    return f"Of {counted(found.total(), 'plan')} of '{layout}' cheaper than the best, {', '.join(does)}"


def _across(trial: Trial, limit: Limit) -> float:
    """What the target is about, in per cent where it is a share."""
    return _number(limit, trial.signed_mean(limit))


def _number(limit: Limit, signed: float) -> float:
    """A number of a target as it is drawn."""
    return (100.0 if is_share(limit.measure) else 1.0) * limit.sign * signed


def _unit(limit: Limit) -> str:
    """What it is drawn in."""
    return "%" if is_share(limit.measure) else unit_of(limit.measure)


def _panel(ax: style.Axes, seen: Seen, limit: Limit) -> style.Legend:
    """Draw one target; returns what stands in the legend."""
    style.frame(ax)
    shown = [trial for trial in seen.shown if np.isfinite(_across(trial, limit))]
    legend = _marks(ax, seen.answer, shown, limit)
    legend[FRONTIER] = _frontier(ax, shown, limit)
    at = _across(seen.best, limit), seen.best.cost()
    ax.plot(
        *([each] for each in at), marker="o", markersize=RING_PT, markerfacecolor="none", markeredgecolor=palette.BLACK,
        markeredgewidth=1.4, linestyle="", zorder=5.0,
    )  # fmt: skip
    for signed, dashes, word in ((limit.most, "--", "target"), (limit.tested, ":", "tested")):
        ax.axvline(_number(limit, signed), color=palette.BLACK, linewidth=1.2, linestyle=dashes, zorder=2.0)
        _name_line(ax, limit, signed, word)
    ax.margins(x=0.12, y=0.25)
    _name_best(ax, *at)
    label, unit = measure_of(limit.measure).label.removesuffix(" per truck-shift"), _unit(limit)
    across = f"{label[:1].upper()}{label[1:]}" if limit.measure else ""
    ax.set_xlabel(f"{across} [{unit}{' per truck-shift' if unit == 'min' else ''}]", fontsize=style.WORD_PT)
    ax.set_title(
        style.wrapped(limit.label, 150.0, style.WORD_PT), loc="left", fontsize=style.WORD_PT, fontweight="bold",
        parse_math=False,
    )  # fmt: skip
    ax.yaxis.set_major_formatter("{x:,.0f}")
    return legend


def _name_line(ax: style.Axes, limit: Limit, signed: float, word: str) -> None:
    """Write what a line is along it: the target on its outer side, what is tested on its inner."""
    x = _number(limit, signed)
    right = (word == "target") == (limit.sign > 0.0) if limit.allowed else word == "tested"
    ax.annotate(
        f"{word} {x:.4g}", (x, 1.0), xycoords=("data", "axes fraction"), xytext=(2.0 if right else -2.0, -2.0),
        textcoords="offset points", rotation=90.0, ha="left" if right else "right", va="top", fontsize=style.NOTE_PT,
        zorder=6.0, bbox={"facecolor": palette.WHITE, "edgecolor": "none", "alpha": 0.7, "pad": 0.5},
    )  # fmt: skip


def _name_best(ax: style.Axes, x: float, y: float) -> None:
    """Write beside the ring what it is, on the side where there is more room."""
    left, right = ax.get_xlim()
    beyond = x > (left + right) / 2.0
    ax.annotate(
        BEST, (x, y), xytext=(-11.0 if beyond else 11.0, -13.0), textcoords="offset points",
        ha="right" if beyond else "left", va="center", fontsize=style.WORD_PT, fontweight="bold", zorder=7.0,
        bbox={"facecolor": palette.WHITE, "edgecolor": "none", "alpha": 0.8, "pad": 0.8},
    )  # fmt: skip


def _marks(ax: style.Axes, answer: Answer, shown: list[Trial], limit: Limit) -> style.Legend:
    """Mark what can be said of each plan; each mark with its word for the legend."""
    legend: style.Legend = {}
    for verdict, (colour, marker, inside, word) in MARKS.items():
        mine = [trial for trial in shown if answer.verdict(trial) == verdict]
        if mine:
            (legend[word],) = ax.plot(
                [_across(trial, limit) for trial in mine], [trial.cost() for trial in mine], color=colour,
                marker=marker, markersize=7.0, markerfacecolor=inside, linestyle="", zorder=3.0,
                markeredgecolor=colour if inside == palette.WHITE else palette.WHITE,
                markeredgewidth=1.4 if inside == palette.WHITE else 0.8,
            )  # fmt: skip
    return legend


def _cheapest(shown: list[Trial], limit: Limit) -> list[Trial]:
    """Plans of which none is both as good in this and cheaper, the best in this first."""
    found: list[Trial] = []
    for trial in sorted(shown, key=lambda each: (each.signed_mean(limit), each.cost())):
        if not found or trial.cost() < found[-1].cost():
            found.append(trial)
    return found


def _frontier(ax: style.Axes, shown: list[Trial], limit: Limit) -> style.Artist:
    """Draw a step line through the cheapest plans at each level."""
    points = [(_across(trial, limit), trial.cost()) for trial in _cheapest(shown, limit)]
    (line,) = ax.plot(*zip(*points, strict=True), color=palette.GREY, linewidth=1.4, drawstyle="steps-post", zorder=2.5)
    return line


def _told(seen: Seen, limit: Limit) -> str:
    """Say of a target what the best plan and the cheapest at each level come to."""
    shown = [trial for trial in seen.shown if np.isfinite(_across(trial, limit))]
    unit = _unit(limit)
    levels = ", ".join(f"{_across(each, limit):.3g} {unit} {each.cost():,.0f}" for each in _cheapest(shown, limit))
    wanted, tested = (f"{_number(limit, signed):.4g} {unit}" for signed in (limit.most, limit.tested))
    return (
        f"{limit.label}: target {wanted}, tested {tested}; the best plan {_across(seen.best, limit):.3g} {unit} at "
        f"{seen.best.cost():,.0f} {seen.unit}; {FRONTIER}: {levels}."
    )


def _note(answer: Answer) -> str:
    """Say what is drawn."""
    schedule = answer.schedule
    return (
        f"{schedule.scenario.site.name}, seed {schedule.seed}; plans as the search saw them, means of few runs. "
        "Tested is what keeps a margin; by too little: the target is met, the margin is not."
    )
