"""Chart of what sizing found: fewer and more batteries against downtime and cost, with the answer."""

import math
from typing import TYPE_CHECKING

from batsim.decision.answer import DECIDING, MEETS, MISSES, TOO_NEAR
from batsim.views.charts.chart_style import (
    BLACK,
    BLUE,
    ORANGE,
    VERMILION,
    axes_for,
    frame,
    heading,
    legend_below,
    nothing,
)
from batsim.views.charts.chart_style import Size as Inches

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from batsim.decision.answer import Answer

SIZE_IN = Inches(8.0, 4.8)
BELOW_PT = 58.0
"""Where the legend begins below the axis: under ticks of two lines and their word. [pt]"""
HEADROOM = 1.12
MARKS = {
    MEETS: (BLUE, "o", "meets the targets"),
    MISSES: (VERMILION, "X", "misses a target"),
    TOO_NEAR: (ORANGE, "D", "too near to tell"),
}
"""Colour, mark and word of what can be said of a count."""
NONE = "No counts within the ranges meet the targets, so there is no frontier."


def frontier_chart(size: "Answer", ax: "Axes | None" = None) -> "Axes":
    """Draw the frontier of a layout: what fewer batteries would cost in downtime, and more in money.

    Parameters
    ----------
    size
        What sizing found for a layout: `batsim.decide(...)["its name"]`.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Downtime with its interval over the number of batteries (chargers where there are no spare batteries), all else
        as in the answer; the cost of a year under each number; the target a line and the answer a ring.
    """
    ax = axes_for(ax, SIZE_IN)
    scenario, stated = size.settings.scenario, size.settings
    title = f"{size.layout}: fewer and more {_label(size)}"
    if size.chosen is None or not size.frontier:
        heading(ax, title)
        nothing(ax, NONE)
        return ax
    share = f"{100.0 * size.confidence:g} %"
    others = [
        f"{each.label}\N{NO-BREAK SPACE}{number}"
        for position, (each, number) in enumerate(zip(size.dimensions, size.chosen.cell, strict=True))
        if position != size.frontier_dimension
    ]
    kept = f" Kept: {', '.join(others)}." if others else ""
    heading(ax, title, f"{scenario.site.name}, seed {stated.seed}; whiskers: {share} intervals of the mean.{kept}")
    frame(ax)
    ticks, most, told = {}, [0.0], {}
    for cell in size.frontier:
        number, downtime = cell.cell[size.frontier_dimension], cell.interval(DECIDING, size.confidence)
        ticks[number] = f"{number}\n{cell.cost_per_year:,.0f}"
        if math.isfinite(downtime.low) and math.isfinite(downtime.high):
            ends = [[downtime.mean - downtime.low], [downtime.high - downtime.mean]]
            ax.errorbar(
                [number], [downtime.mean], yerr=ends, fmt="none", color=BLACK, linewidth=1.3, capsize=4.0, zorder=3.0
            )
        colour, marker, word = MARKS[size.verdict(cell)]
        (told[word],) = ax.plot(
            [number], [downtime.mean], color=colour, marker=marker, markersize=9.0, markeredgecolor="white",
            linestyle="", zorder=4.0,
        )  # fmt: skip
        most += [each for each in (downtime.mean, downtime.high) if math.isfinite(each)]
        if cell.cell == size.chosen.cell:
            (told["answer"],) = ax.plot(
                [number], [downtime.mean], marker="o", markersize=18.0, markerfacecolor="none", markeredgecolor=BLACK,
                markeredgewidth=1.4, linestyle="", zorder=5.0,
            )  # fmt: skip
    target = scenario.targets.downtime_min_per_truck_shift
    if target is not None:
        told[f"target: at most {target:g}"] = ax.axhline(target, color=BLACK, linewidth=1.3, linestyle="--", zorder=2.0)
        most.append(target)
    ax.set_xticks(list(ticks), list(ticks.values()))
    ax.set_xlim(min(ticks) - 0.6, max(ticks) + 0.6)
    ax.set_ylim(0.0, HEADROOM * max(most) or 1.0)
    unit = _label(size)
    ax.set_xlabel(f"{unit[0].upper()}{unit[1:]}, and cost [{scenario.site.currency} per year]", fontsize=10.0)
    ax.set_ylabel("Downtime [min per truck-shift]", fontsize=10.0)
    legend_below(ax, list(told.values()), list(told), 4, BELOW_PT)
    return ax


def _label(size: "Answer") -> str:
    """What changes along the frontier."""
    return size.dimensions[size.frontier_dimension].label
