"""Chart of waits by layout: the share of exchanges that wait no longer than so many minutes."""

import math
from itertools import cycle
from typing import Any

from batsim.display import counted
from batsim.scenario.parts.week import WEEK_MIN
from batsim.statistics.written import number_text
from batsim.study.waits import Curve, Waits
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit
from batsim.views.text.numbers import plain_number

SIZE_IN = (10.0, 4.6)
AROUND_IN, EACH_IN, LETTERS = 1.2, 0.37, 30
"""What stands above and below the legend, what a layout takes in it, and the letters of its name. [in, in, -]"""
SHOWN_SHARE = 0.99
"""Waits that are shown: those that so many exchanges do not exceed in any layout."""
ROOM, LEAST_MIN = 1.35, 5.0
"""Right end over the target, and the least. [-, min]"""
ALL_BUT_FEW = 0.95
"""Part of the exchanges whose longest wait is told in words."""
NONE = "No exchange started in the measured time."


def waits_chart(waits: Waits, ax: style.AxesOrNew = None, *, title: str = "") -> style.Axes:
    """Draw how long exchanges wait in each layout.

    Parameters
    ----------
    waits
        What `batsim.waits_over` returns.
    ax
        Axes to draw on; those of a new figure when not given.
    title
        Stands above; what the chart shows when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A line for each layout that exchanges: the share of exchanges that wait no longer than the minutes below; the
        note says which layouts are left out. Where the scenario states a target, a cross marks it: a line that passes
        above it meets the target.
    """
    width, height = SIZE_IN
    ax = style.axes_for(ax, (width, max(height, AROUND_IN + EACH_IN * (len(waits.layouts) + 1))))
    settings = waits.schedule
    style.heading(ax, title or f"{settings.scenario.site.name}: waits", _note(waits))
    curves = _curves(waits)
    if not curves:
        return style.nothing(ax, NONE)
    style.frame(ax, "both")
    most = max(waits.not_exceeded(SHOWN_SHARE), LEAST_MIN, ROOM * (waits.target[0] if waits.target else 0.0))
    legend: style.Legend = {}
    named = zip(curves.items(), names_fit(curves, LETTERS, 1), cycle(palette.LINES), strict=False)
    for (layout, curve), name, (colour, dashes) in named:
        x, y = [*curve.minutes, max(most, curve.minutes[-1])], [*curve.share, 1.0]
        (line,) = ax.step(x, y, where="post", color=colour, linestyle=dashes, linewidth=1.9)
        legend[name + _within(waits, layout)] = line
    if waits.target is not None:
        minutes, share = waits.target
        legend[f"target: {100.0 * share:g} %\nwithin {minutes:g} min"] = _cross(ax, minutes, share)
    ax.set_xlim(0.0, most)
    ax.set_ylim(0.0, 1.02)
    style.percent_ticks(ax)
    style.axis_words(ax, "Wait [scheduled min]", "Exchanges that wait no longer [%]")
    style.legend_beside(ax, legend)
    return ax


def waits_text(waits: Waits) -> str:
    """Say in words what `waits_chart` draws, with its numbers."""
    told = []
    for layout, curve in _curves(waits).items():
        at_once = float(curve.share[0]) if curve.minutes[0] <= 0.0 else 0.0
        within = _within(waits, layout).strip().replace(" in time", "")
        says = f"within {waits.target[0]:g} min {within}, " if waits.target and within else ""
        longest = plain_number(curve.within(ALL_BUT_FEW))
        told.append(f"'{layout}' {says}at once {100.0 * at_once:.0f} %, {100.0 * ALL_BUT_FEW:g} % within {longest} min")
    wanted = f" Target: {100.0 * waits.target[1]:g} % within {waits.target[0]:g} min." if waits.target else ""
    return f"Share of exchanges that wait no longer: {'; '.join(told)}.{wanted} {_note(waits)}" if told else NONE


def _curves(waits: Waits) -> dict[str, Curve]:
    """Distributions of the layouts that exchange."""
    return {layout: waits.curve(layout) for layout in waits.layouts if layout not in waits.without_exchanges}


def _note(waits: Waits) -> str:
    """What is drawn, and what is left out."""
    settings, without = waits.schedule, ", ".join(f"'{name}'" for name in waits.without_exchanges)
    runs = f"{counted(settings.replications, 'replication')} of {counted(settings.length_min / WEEK_MIN, 'week')}"
    note = f"All exchanges of {runs}; where an area charges in the truck, its charges in scheduled time."
    return f"{note} Left out, since nothing is exchanged: {without}." if without else note


def _cross(ax: style.Axes, minutes: float, share: float) -> style.Artist:
    """Mark the target."""
    dashed: dict[str, Any] = {"color": palette.BLACK, "linewidth": 1.0, "linestyle": (0, (2, 2))}
    ax.hlines(share, 0.0, minutes, **dashed)
    ax.vlines(minutes, 0.0, share, **dashed)
    (cross,) = ax.plot(
        [minutes], [share], color=palette.BLACK, marker="X", markersize=9.0, linestyle="", zorder=5.0,
        markeredgecolor="white",
    )  # fmt: skip
    return cross


def _within(waits: Waits, layout: str) -> str:
    """Share within the target, in words."""
    if waits.target is None:
        return ""
    share = waits.share_within(layout, waits.target[0])
    return f"\n{number_text(share, share=True)} in time" if math.isfinite(share.mean) else ""
