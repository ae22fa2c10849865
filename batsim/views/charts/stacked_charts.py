"""Charts of downtime and labour: stacked bars for each layout, with the interval of the total."""

import math
from typing import NamedTuple

from batsim.display import counted
from batsim.record.words import PERSONS
from batsim.statistics.written import number_text
from batsim.study.compare import Comparison
from batsim.study.running.runs import DOWNTIME, Runs
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.text.numbers import short_number

WIDTH_IN, ROW_IN, AROUND_IN = 9.0, 0.46, 2.3
"""Width of the figure, height of a row, and what stands above and below. [in]"""
HEADROOM = 1.06


class Stack(NamedTuple):
    """One part of every bar."""

    word: str
    colour: str
    hatch: str
    values: list[float]
    """One for each row."""
    height: float = 0.72
    """Of a bar, in rows."""
    named: str = ""
    """What stands in the legend where several parts look alike; its own word where nothing is stated."""


class BarTexts(NamedTuple):
    """What is written on a chart of stacked rows."""

    title: str
    axis: str
    empty: str
    """In place of the bars where there are none."""
    note: str = ""


DOWNTIME_WORDS = BarTexts(
    "Downtime by cause",
    "Downtime [min per truck-shift]",
    "No layout has a value of downtime: no truck is scheduled in the measured time.",
)
LABOUR_WORDS = BarTexts(
    "Labour by person and task",
    "Hands-on work [people-minutes per working day]",
    "No layout has a value of labour: there is no working day in the measured time.",
    "High: attendants. Low: drivers; their waiting is left out. No allowance for rest is added.",
)
LABOUR = "labour_min_per_day"
HEIGHTS = dict(zip(PERSONS, (0.72, 0.36), strict=True))
"""Height of what attendants do and of what drivers do, in rows."""


def downtime_chart(comparison: Comparison, ax: style.AxesOrNew = None, *, title: str = "") -> style.Axes:
    """Draw the downtime of each layout, cause by cause.

    Parameters
    ----------
    comparison
        What `batsim.compare` returns; one layout is enough. Its `by_area` shows each area of each layout.
    ax
        Axes to draw on; those of a new figure when not given.
    title
        Stands above; what the chart shows and of which site when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout in the order of the ranking, the whisker an interval of the total, the line the target.
    """
    target = comparison.runs.scenario.targets.downtime_min_per_truck_shift
    return _stacked_rows(
        comparison, DOWNTIME, _causes(comparison), _titled(DOWNTIME_WORDS, comparison, title), ax, target
    )


def downtime_text(comparison: Comparison) -> str:
    """Say in words what `downtime_chart` draws, with its numbers."""
    target = comparison.runs.scenario.targets.downtime_min_per_truck_shift
    told = _rows_text(comparison, DOWNTIME, _causes(comparison), DOWNTIME_WORDS)
    return told if target is None else f"{told} Target: at most {target:g}."


def _titled(words: BarTexts, comparison: Comparison, title: str) -> BarTexts:
    """What is written on a chart of a comparison: under its own title, or under that of the site."""
    return words._replace(title=title or f"{comparison.runs.scenario.site.name}: {words.title.lower()}")


def _causes(comparison: Comparison) -> list[Stack]:
    """Downtime by cause."""
    runs = comparison.runs
    return [
        Stack(
            word, colour, hatch,
            [runs.interval(layout, f"{part}_min_per_truck_shift").mean for layout in comparison.ranking],
        )
        for part, (colour, hatch, word) in palette.PART_LOOKS.items()
    ]  # fmt: skip


def labour_chart(comparison: Comparison, ax: style.AxesOrNew = None, *, title: str = "") -> style.Axes:
    """Draw the labour of a working day in each layout, by person and task.

    Parameters
    ----------
    comparison
        What `batsim.compare` returns; one layout is enough.
    ax
        Axes to draw on; those of a new figure when not given.
    title
        Stands above; what the chart shows and of which site when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout in the order of the ranking: high where attendants work, low where drivers do; the legend
        names a task once. The
        whisker is an interval of the total. A driver's waiting is no labour and is left out.
    """
    return _stacked_rows(comparison, LABOUR, _tasks(comparison), _titled(LABOUR_WORDS, comparison, title), ax)


def labour_text(comparison: Comparison) -> str:
    """Say in words what `labour_chart` draws, with its numbers."""
    return _rows_text(comparison, LABOUR, _tasks(comparison), LABOUR_WORDS)


def _tasks(comparison: Comparison) -> list[Stack]:
    """Labour by person and task."""
    runs = comparison.runs
    return [
        Stack(
            f"{word} by {person}s", colour, hatch,
            [runs.interval(layout, f"labour_{person}_{task}_min_per_day").mean for layout in comparison.ranking],
            HEIGHTS[person],
            word,
        )
        for person in PERSONS
        for task, (colour, hatch, word) in palette.TASK_LOOKS.items()
    ]  # fmt: skip


def _rows_text(comparison: Comparison, measure: str, stacks: list[Stack], words: BarTexts) -> str:
    """Say of each layout what a measure comes to, and of what parts."""
    runs, told = comparison.runs, []
    for row, layout in enumerate(comparison.ranking):
        total = runs.interval(layout, measure)
        if math.isfinite(total.mean):
            parts = ", ".join(
                f"{each.word} {short_number(each.values[row])}" for each in stacks if each.values[row] > 0.0
            )
            told.append(f"'{layout}' {number_text(total)}{f' ({parts})' * bool(parts)}")
    return f"{words.axis}: {'; '.join(told)}. {premises(runs)}" if told else words.empty


def _stacked_rows(
    comparison: Comparison,
    measure: str,
    stacks: list[Stack],
    words: BarTexts,
    ax: style.AxesOrNew,
    target: float | None = None,
) -> style.Axes:
    """Draw a bar for each layout in the order of its ranking, its parts behind one another, with a measure in all."""
    runs = comparison.runs
    totals = [runs.interval(layout, measure) for layout in comparison.ranking]
    rows = range(len(totals))
    ax = style.axes_for_rows(ax, len(totals), WIDTH_IN, ROW_IN, AROUND_IN)
    if not any(math.isfinite(total.mean) for total in totals):
        return style.empty(ax, words.title, words.empty)
    style.frame(ax, "x")
    legend = _bars(ax, stacks, rows)
    style.whiskers(ax, rows, totals)
    style.names_at(ax, comparison.ranking)
    ends = [end for total in totals for end in (total.mean, total.high) if math.isfinite(end)]
    if target is not None:
        legend[f"target: at most {target:g}"] = ax.axvline(
            target, color=palette.BLACK, linewidth=1.4, linestyle="--", zorder=4.0
        )
        ends.append(target)
    ax.set_xlim(0.0, HEADROOM * max(ends) or 1.0)
    ax.set_xlabel(words.axis, fontsize=10.0)
    style.beside_rows(ax, [number_text(total) for total in totals], "in all")
    style.legend_below(ax, legend)
    style.heading(ax, words.title, f"{premises(runs)} {words.note}".rstrip())
    return ax


def _bars(ax: style.Axes, stacks: list[Stack], rows: range) -> style.Legend:
    """Draw the parts that are not nothing behind one another; each with its word for the legend."""
    legend: style.Legend = {}
    left = [0.0 for _ in rows]
    for stack in stacks:
        values = [value if math.isfinite(value) else 0.0 for value in stack.values]
        if any(value > 0.0 for value in values):
            look = palette.fill_of(stack.colour, stack.hatch)
            drawn = ax.barh(rows, values, stack.height, left, label=stack.word, **look)
            legend.setdefault(stack.named or stack.word, drawn)  # type: ignore[arg-type]
            left = [before + value for before, value in zip(left, values, strict=True)]
    return legend


def premises(runs: Runs) -> str:
    """Say what the means are taken over, and what a whisker is."""
    if runs.replications < 2:
        return f"{mean_of(runs).capitalize()}: no intervals."
    return f"Means of {mean_of(runs)}; whiskers: {100.0 * runs.confidence:g} % intervals of the total."


def mean_of(runs: Runs) -> str:
    """Say what means are taken over, such as `20 replications of 4 weeks`."""
    number = "one replication" if runs.replications < 2 else f"{runs.replications} replications"
    return f"{number} of {counted(runs.schedule.weeks, 'week')}"
