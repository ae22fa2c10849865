"""Charts of which inputs matter: swings as a tornado, indices as bars."""

import math
from itertools import groupby

from batsim.display import counted
from batsim.statistics.intervals import Interval
from batsim.study.sweeps.sensitivity import Index, Sensitivity
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.text.numbers import measure_of

WIDTH_IN, ROW_IN, AROUND_IN = 9.0, 0.5, 2.2
LETTERS = 34
FILLED = 0.78
"""Part of a row that its bars fill."""
TORNADO, INDICES = palette.looks_of("swing"), palette.looks_of("index")
SHARES, RANKS = ("first order", "total"), "rank correlation"
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
        For each input two bars from the scenario as stated: the measure with the input at its low and at its high end,
        each with the input's value behind it.
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
    sensitivity: Sensitivity, looks: dict[str, palette.Look], title: str, other_chart: str, more: str,
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
    rows = _rows(sensitivity, paths, kinds)
    legend = _all_bars(ax, rows, {kind: looks[kind] for kind in kinds})
    ax.axvline(0.0, color=palette.BLACK, linewidth=1.0)
    if kinds == [RANKS]:
        ax.set_xlim(-1.05, 1.05)
    else:
        ax.margins(x=0.06)
        _name_ends(ax, sensitivity, rows)
    style.names_at(ax, [sensitivity.words_of(path) for path in paths], LETTERS)
    ax.set_xlabel(_unit(sensitivity, kinds, more), fontsize=10.0)
    style.legend_below(ax, legend)
    return ax


def _rows(sensitivity: Sensitivity, paths: list[str], kinds: list[str]) -> dict[str, dict[float, Index]]:
    """Indices by kind and by their places, side by side for each input."""
    found = {}
    for number, kind in enumerate(kinds):
        above = FILLED * ((number + 0.5) / len(kinds) - 0.5)
        found[kind] = {paths.index(row.path) + above: row for row in sensitivity.rows if row.kind == kind}
    return found


def _all_bars(ax: style.Axes, rows: dict[str, dict[float, Index]], looks: dict[str, palette.Look]) -> style.Legend:
    """Draw the bars of each kind of index."""
    return {look[2]: _bars(ax, rows[kind], FILLED / len(looks), look) for kind, look in looks.items()}


def _name_ends(ax: style.Axes, sensitivity: Sensitivity, rows: dict[str, dict[float, Index]]) -> None:
    """Write the value of the input behind the bar of each of its ends, where the study has such."""
    ends = [
        (place, row, text)
        for of_kind in rows.values()
        for place, row in of_kind.items()
        if (text := sensitivity.value_at(row)) and math.isfinite(row.value)
    ]
    left, right = ax.get_xlim()
    below, above = (
        max((style.text_width(ax, text) for _, row, text in ends if (row.value < 0.0) == side), default=0.0)
        for side in (True, False)
    )
    ax.set_xlim(left - below, right + above)
    for place, row, text in ends:
        _name_end(ax, place, row, text)


def _name_end(ax: style.Axes, place: float, row: Index, text: str) -> None:
    """Write a value behind a bar and its whisker."""
    below = row.value < 0.0
    limit = row.low if below else row.high
    ax.annotate(
        text, (limit if math.isfinite(limit) else row.value, place), xytext=(-4.0 if below else 4.0, 0.0),
        textcoords="offset points", ha="right" if below else "left", va="center", fontsize=style.NOTE_PT,
        parse_math=False, zorder=6.0,
    )  # fmt: skip


def _note(sensitivity: Sensitivity, kinds: list[str]) -> str:
    """Say what a whisker is, and what was left out."""
    notes = []
    if any(math.isfinite(row.low) for row in sensitivity.rows if row.kind in kinds):
        notes.append(f"Whiskers: {100.0 * sensitivity.confidence:g} % intervals.")
    if sensitivity.left_out:
        notes.append(f"{counted(sensitivity.left_out, 'point')} without a result left out.")
    return " ".join(notes)


def _bars(ax: style.Axes, rows: dict[float, Index], height: float, look: palette.Look) -> style.Artist:
    """Draw one index of all inputs at their places; returns what stands for it in the legend."""
    from matplotlib.patches import Patch

    drawn = palette.fill_of(*look[:2])
    known = {middle: row for middle, row in rows.items() if math.isfinite(row.value)}
    if known:
        ax.barh(list(known), [row.value for row in known.values()], height, **drawn)
    intervals = [Interval(row.value, row.low, row.high) for row in known.values()]
    style.whiskers(ax, known, intervals, linewidth=1.1, capsize=2.5)
    return Patch(**drawn)


def _unit(sensitivity: Sensitivity, kinds: list[str], more: str) -> str:
    """Words under the axis."""
    if kinds == [RANKS]:
        return "Spearman's rank correlation [-]"
    if kinds[0] in SHARES:
        return "Share of the variance [-]"
    label = measure_of(sensitivity.measure).label
    return f"Change of {label} {more} [{_unit_text(sensitivity)}]".replace("  ", " ")


def _unit_text(sensitivity: Sensitivity) -> str:
    """Unit of the measure, in brackets."""
    return "-" if sensitivity.unit == "1" else sensitivity.unit


def sensitivity_text(sensitivity: Sensitivity) -> str:
    """Say in words what `tornado_chart` or `indices_chart` draws, with its numbers."""
    title = f"{sensitivity.layout}: {measure_of(sensitivity.measure).label}, what matters most first"
    if not sensitivity.rows:
        return f"{title}. {NONE}"
    told = [
        f"{sensitivity.words_of(path)} {', '.join(_index_text(sensitivity, row) for row in rows)}"
        for path, rows in groupby(sensitivity.rows, lambda row: row.path)
    ]
    unit = "" if {row.kind for row in sensitivity.rows} & {*SHARES, RANKS} else f" [{_unit_text(sensitivity)}]"
    return f"{title}{unit}: {'; '.join(told)}."


def _index_text(sensitivity: Sensitivity, row: Index) -> str:
    """An index with its limits, such as `at low end (100 m) -4 (-4.5 to -3.5)`."""
    value = sensitivity.value_at(row)
    limits = f" ({row.low:.3g} to {row.high:.3g})" if math.isfinite(row.low) and math.isfinite(row.high) else ""
    number = f"{row.value:.3g}" if math.isfinite(row.value) else "-"
    return f"{row.kind}{f' ({value})' if value else ''} {number}{limits}"
