"""Charts of which inputs matter: swings as a tornado, indices as bars."""

import math
from typing import TYPE_CHECKING, Any

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.views.charts.chart_style import (
    BLACK,
    BLUE,
    GREEN,
    ORANGE,
    SKY,
    Size,
    axes_for,
    fill_of,
    frame,
    heading,
    legend_below,
    names_at,
    nothing,
)
from batsim.views.text.tables import counted

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

    from batsim.study.sweeps.sensitivity import Row, Sensitivity

WIDTH_IN, ROW_IN, AROUND_IN, LEAST_ROWS = 9.0, 0.5, 2.2, 2
LETTERS = 34
FILLED = 0.78
"""Part of a row that its bars fill."""
TORNADO = {"at low end": (SKY, "////", "input at its low end"), "at high end": (BLUE, "", "input at its high end")}
INDICES = {
    "mean size of effect": (BLUE, "", "mean size of effect"),
    "mean effect": (SKY, "////", "mean effect with its sign"),
    "spread of effect": (ORANGE, "....", "spread of effect"),
    "first order": (SKY, "////", "first order: the input by itself"),
    "total": (BLUE, "", "total: with interactions"),
    "rank correlation": (GREEN, "||", "rank correlation"),
}
"""Colour, hatch and words of each index."""
WHISKER: dict[str, Any] = {"color": BLACK, "linewidth": 1.1, "capsize": 2.5, "fmt": "none", "zorder": 5.0}
SHARES = ("first order", "total")
NONE = "The study varies nothing, so nothing can matter."
OTHER_CHART = "This study is not one-at-a-time: it has indices and no swings. Draw it with indices_chart."
SWINGS_ONLY = "This study is one-at-a-time: it has swings and no indices. Draw it with tornado_chart."


def tornado_chart(sensitivity: "Sensitivity", ax: "Axes | None" = None) -> "Axes":
    """Draw how far each input swings a measure, the greatest swing first.

    Parameters
    ----------
    sensitivity
        What `batsim.sensitivity` returns of a one-at-a-time study.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        For each input two bars from the scenario as stated: the measure with the input at its low and at its high end.
    """
    return _drawn(sensitivity, TORNADO, "swings", OTHER_CHART, "from all inputs as stated", ax)


def indices_chart(sensitivity: "Sensitivity", ax: "Axes | None" = None) -> "Axes":
    """Draw how much each input matters, what matters most first.

    Parameters
    ----------
    sensitivity
        What `batsim.sensitivity` returns of a study of any design but one-at-a-time.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each index of each input: of Morris effects, Sobol's first order and total, or rank correlation.
    """
    return _drawn(sensitivity, INDICES, "which inputs matter", SWINGS_ONLY, "", ax)


def _drawn(
    found: "Sensitivity", looks: dict[str, tuple[str, str, str]], title: str, other: str, more: str, ax: "Axes | None"
) -> "Axes":
    """Draw the bars of the indices that are there."""
    paths = list(dict.fromkeys(row.path for row in found.rows))
    rows = {(row.path, row.kind): row for row in found.rows}
    kinds = [kind for kind in looks if any((path, kind) in rows for path in paths)]
    ax = axes_for(ax, Size(WIDTH_IN, AROUND_IN + ROW_IN * max(LEAST_ROWS, len(paths))))
    title = f"{found.layout}: {title}, {_label(found)}"
    if not kinds:
        heading(ax, title)
        nothing(ax, other if paths else NONE)
        return ax
    whiskers = any(math.isfinite(row.low) for row in rows.values() if row.kind in kinds)
    note = f"Whiskers: {100.0 * found.confidence:g} % intervals." if whiskers else ""
    if found.left_out:
        note += f" {counted(found.left_out, 'point')} without a result left out."
    heading(ax, title, note.strip())
    frame(ax, "x")
    height, told = FILLED / len(kinds), []
    for number, kind in enumerate(kinds):
        mine = [rows.get((path, kind)) for path in paths]
        at = [row - FILLED / 2.0 + (number + 0.5) * height for row in range(len(paths))]
        told.append(_bars(ax, mine, at, height, looks[kind]))
    ax.axvline(0.0, color=BLACK, linewidth=1.0)
    if kinds == ["rank correlation"]:
        ax.set_xlim(-1.05, 1.05)
    else:
        ax.margins(x=0.06)
    names_at(ax, paths, LETTERS, paths=True)
    ax.set_xlabel(_unit(found, kinds, more), fontsize=10.0)
    legend_below(ax, told, [looks[kind][2] for kind in kinds])
    return ax


def _bars(ax: "Axes", rows: "list[Row | None]", at: list[float], height: float, look: tuple[str, str, str]) -> "Artist":
    """Draw one index of all inputs; returns what stands for it in the legend."""
    from matplotlib.patches import Patch  # noqa: PLC0415 - heavy, and only charts need it

    drawn = fill_of(look[0], look[1])
    for row, middle in zip(rows, at, strict=True):
        if row is not None and math.isfinite(row.value):
            ax.barh([middle], [row.value], height, **drawn)
            if math.isfinite(row.low) and math.isfinite(row.high):
                ends = [[max(0.0, row.value - row.low)], [max(0.0, row.high - row.value)]]
                ax.errorbar([row.value], [middle], xerr=ends, **WHISKER)
    return Patch(**drawn)


def _label(found: "Sensitivity") -> str:
    """Measure in words."""
    return MEASURES.get(found.measure, WITHIN_TARGET).label


def _unit(found: "Sensitivity", kinds: list[str], more: str) -> str:
    """Words under the axis."""
    if kinds == ["rank correlation"]:
        return "Spearman's rank correlation [-]"
    if kinds[0] in SHARES:
        return "Share of the variance [-]"
    label = _label(found)
    unit = "-" if found.unit == "1" else found.unit
    return f"Change of {label} {more} [{unit}]".replace("  ", " ")
