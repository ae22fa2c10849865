"""Charts of which inputs matter: swings as a tornado, indices as bars."""

import math

from batsim.statistics.intervals import Interval
from batsim.study.sweeps.sensitivity import Index, Sensitivity
from batsim.views.charts import chart_style as style
from batsim.views.text.numbers import counted, measure_of

WIDTH_IN, ROW_IN, AROUND_IN = 9.0, 0.5, 2.2
LETTERS = 34
FILLED = 0.78
"""Part of a row that its bars fill."""
TORNADO, INDICES = style.looks_of("swing"), style.looks_of("index")
SHARES = ("first order", "total")
NONE = "The study varies nothing, so nothing can matter."
OTHER_CHART = "This study is not one-at-a-time: it has indices and no swings. Draw it with indices_chart."
SWINGS_ONLY = "This study is one-at-a-time: it has swings and no indices. Draw it with tornado_chart."


def tornado_chart(sensitivity: Sensitivity, ax: style.AxesOrNew = None) -> style.Axes:
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


def indices_chart(sensitivity: Sensitivity, ax: style.AxesOrNew = None) -> style.Axes:
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
    sensitivity: Sensitivity, looks: dict[str, style.Look], title: str, other_chart: str, more: str,
    ax: style.AxesOrNew,
) -> style.Axes:  # fmt: skip
    """Draw the bars of the indices that are there."""
    paths = list(dict.fromkeys(row.path for row in sensitivity.rows))
    there = {row.kind for row in sensitivity.rows}
    kinds = [kind for kind in looks if kind in there]
    ax = style.axes_for_rows(ax, len(paths), WIDTH_IN, ROW_IN, AROUND_IN)
    title = f"{sensitivity.layout}: {title}, {measure_of(sensitivity.measure).label}"
    if not kinds:
        return style.empty(ax, title, other_chart if paths else NONE)
    style.heading(ax, title, _note(sensitivity, kinds))
    style.frame(ax, "x")
    legend = _all_bars(ax, sensitivity, paths, {kind: looks[kind] for kind in kinds})
    ax.axvline(0.0, color=style.BLACK, linewidth=1.0)
    if kinds == ["rank correlation"]:
        ax.set_xlim(-1.05, 1.05)
    else:
        ax.margins(x=0.06)
    style.names_at(ax, paths, LETTERS, paths=True)
    ax.set_xlabel(_unit(sensitivity, kinds, more), fontsize=10.0)
    style.legend_below(ax, legend)
    return ax


def _all_bars(ax: style.Axes, sensitivity: Sensitivity, paths: list[str], looks: dict[str, style.Look]) -> style.Legend:
    """Draw the bars of each kind of index, side by side for each input."""
    legend: style.Legend = {}
    for number, (kind, look) in enumerate(looks.items()):
        above = FILLED * ((number + 0.5) / len(looks) - 0.5)
        rows = {paths.index(row.path) + above: row for row in sensitivity.rows if row.kind == kind}
        legend[look[2]] = _bars(ax, rows, FILLED / len(looks), look)
    return legend


def _note(sensitivity: Sensitivity, kinds: list[str]) -> str:
    """Say what a whisker is, and what was left out."""
    notes = []
    if any(math.isfinite(row.low) for row in sensitivity.rows if row.kind in kinds):
        notes.append(f"Whiskers: {100.0 * sensitivity.confidence:g} % intervals.")
    if sensitivity.left_out:
        notes.append(f"{counted(sensitivity.left_out, 'point')} without a result left out.")
    return " ".join(notes)


def _bars(ax: style.Axes, rows: dict[float, Index], height: float, look: style.Look) -> style.Artist:
    """Draw one index of all inputs at their places; returns what stands for it in the legend."""
    from matplotlib.patches import Patch

    drawn = style.fill_of(*look[:2])
    known = {middle: row for middle, row in rows.items() if math.isfinite(row.value)}
    if known:
        ax.barh(list(known), [row.value for row in known.values()], height, **drawn)
    intervals = [Interval(row.value, row.low, row.high) for row in known.values()]
    style.whiskers(ax, known, intervals, linewidth=1.1, capsize=2.5)
    return Patch(**drawn)


def _unit(sensitivity: Sensitivity, kinds: list[str], more: str) -> str:
    """Words under the axis."""
    if kinds == ["rank correlation"]:
        return "Spearman's rank correlation [-]"
    if kinds[0] in SHARES:
        return "Share of the variance [-]"
    unit = "-" if sensitivity.unit == "1" else sensitivity.unit
    return f"Change of {measure_of(sensitivity.measure).label} {more} [{unit}]".replace("  ", " ")
