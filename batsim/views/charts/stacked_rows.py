"""Rows of stacked bars, one for each layout of a comparison, with the interval of their total."""

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from batsim.views.charts.chart_style import (
    BLACK,
    WHISKER,
    Size,
    axes_for,
    beside_rows,
    fill_of,
    frame,
    heading,
    legend_below,
    names_at,
    nothing,
)
from batsim.views.text.tables import counted, number_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.container import BarContainer
    from matplotlib.lines import Line2D

    from batsim.statistics.intervals import Interval
    from batsim.study.compare import Comparison
    from batsim.study.running.replications import Runs

WIDTH_IN, ROW_IN, AROUND_IN = 9.0, 0.46, 2.3
"""Width of the figure, height of a row, and what stands above and below. [in]"""
LEAST_ROWS = 2
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


def stacked_rows(
    comparison: "Comparison",
    stacks: list[Stack],
    totals: "list[Interval]",
    title: str,
    unit: str,
    empty: str,
    ax: "Axes | None" = None,
    more: str = "",
    target: float | None = None,
) -> "Axes":
    """Draw a bar for each layout in the order of its ranking, its parts behind one another."""
    rows = max(LEAST_ROWS, len(totals))
    ax = axes_for(ax, Size(WIDTH_IN, AROUND_IN + ROW_IN * rows))
    runs = comparison.runs
    if not any(math.isfinite(total.mean) for total in totals):
        heading(ax, f"{runs.scenario.site.name}: {title.lower()}")
        nothing(ax, empty)
        return ax
    frame(ax, "x")
    left = [0.0] * len(totals)
    drawn: dict[str, BarContainer | Line2D] = {}
    for stack in stacks:
        values = [value if math.isfinite(value) else 0.0 for value in stack.values]
        if any(value > 0.0 for value in values):
            look: dict[str, Any] = fill_of(stack.colour, stack.hatch)
            drawn[stack.word] = ax.barh(range(len(values)), values, stack.height, left, label=stack.word, **look)
            left = [before + value for before, value in zip(left, values, strict=True)]
    for row, total in enumerate(totals):
        if math.isfinite(total.low) and math.isfinite(total.high):
            ends = [[total.mean - total.low], [total.high - total.mean]]
            ax.errorbar([total.mean], [row], xerr=ends, fmt="none", zorder=5.0, **WHISKER)
    names_at(ax, list(comparison.ranking))
    ends_at = [each for total in totals for each in (total.mean, total.high) if math.isfinite(each)]
    if target is not None:
        drawn[f"target: at most {target:g}"] = ax.axvline(
            target, color=BLACK, linewidth=1.4, linestyle="--", zorder=4.0
        )
        ends_at.append(target)
    ax.set_xlim(0.0, HEADROOM * max(ends_at) or 1.0)
    ax.set_xlabel(unit, fontsize=10.0)
    beside_rows(ax, [number_text(total) for total in totals], "in all")
    legend_below(ax, list(drawn.values()), list(drawn))  # type: ignore[arg-type]
    heading(ax, f"{runs.scenario.site.name}: {title.lower()}", f"{told(runs)} {more}".rstrip())
    return ax


def told(runs: "Runs") -> str:
    """Say what the means are taken over, and what a whisker is."""
    weeks = counted(runs.weeks, "week")
    if runs.replications < 2:
        return f"One replication of {weeks}: no intervals."
    ends = f"whiskers: {100.0 * runs.confidence:g} % intervals of the total"
    return f"Means of {runs.replications} replications of {weeks}; {ends}."
