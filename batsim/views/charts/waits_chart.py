"""Chart of waits by layout: the share of exchanges that wait no longer than so many minutes."""

import math
from itertools import cycle
from typing import Any

from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.waits import Waits
from batsim.views.charts import chart_style as style
from batsim.views.text.numbers import counted, number_text

SIZE_IN = (10.0, 4.6)
AROUND_IN, EACH_IN, LETTERS = 1.2, 0.37, 30
"""What stands above and below the legend, what a layout takes in it, and the letters of its name. [in, in, -]"""
SHOWN_SHARE = 0.99
"""Waits that are shown: those that so many exchanges do not exceed in any layout."""
ROOM, LEAST_MIN = 1.35, 5.0
"""Right end over the target, and the least. [-, min]"""
NONE = "No exchange started in the measured time."


def waits_chart(waits: Waits, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw how long exchanges wait in each layout.

    Parameters
    ----------
    waits
        What `batsim.waits_over` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A line for each layout: the share of exchanges that wait no longer than the minutes below. Where the scenario
        states a target, a cross marks it: a line that passes above it meets the target.
    """
    width, height = SIZE_IN
    ax = style.axes_for(ax, (width, max(height, AROUND_IN + EACH_IN * (len(waits.layouts) + 1))))
    settings = waits.schedule
    runs = f"{counted(settings.replications, 'replication')} of {counted(settings.length_min / WEEK_MIN, 'week')}"
    note = f"All exchanges of {runs}; in the truck: of charges in scheduled time."
    style.heading(ax, f"{settings.scenario.site.name}: waits", note)
    curves = {layout: waits.curve(layout) for layout in waits.layouts}
    if not any(curve.minutes.size for curve in curves.values()):
        return style.nothing(ax, NONE)
    style.frame(ax, "both")
    most = max(waits.not_exceeded(SHOWN_SHARE), LEAST_MIN, ROOM * (waits.target[0] if waits.target else 0.0))
    legend: style.Legend = {}
    named = zip(curves.items(), style.names_fit(curves, LETTERS, 1), cycle(style.LINES), strict=False)
    for (layout, curve), name, (colour, dashes) in named:
        if curve.minutes.size:
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


def _cross(ax: style.Axes, minutes: float, share: float) -> style.Artist:
    """Mark the target."""
    dashed: dict[str, Any] = {"color": style.BLACK, "linewidth": 1.0, "linestyle": (0, (2, 2))}
    ax.hlines(share, 0.0, minutes, **dashed)
    ax.vlines(minutes, 0.0, share, **dashed)
    (cross,) = ax.plot(
        [minutes], [share], color=style.BLACK, marker="X", markersize=9.0, linestyle="", zorder=5.0,
        markeredgecolor="white",
    )  # fmt: skip
    return cross


def _within(waits: Waits, layout: str) -> str:
    """Share within the target, in words."""
    if waits.target is None:
        return ""
    share = waits.share_within(layout, waits.target[0])
    return f"\n{number_text(share, share=True)} in time" if math.isfinite(share.mean) else ""
