"""Rows of solid bars for charts that say one thing: parts with their words in them, totals behind, a target."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from batsim.statistics.intervals import Interval
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

ROW_IN, AROUND_IN = 0.36, 1.75
"""Height of a row, and what stands above and below. [in]"""
LEGEND_PT = 34.0
"""How far under the axis the legend lies. [pt]"""
LETTERS = 22
"""Letters in a line of the name of a row."""
HEIGHT = 0.74
"""Of a bar, in rows."""
UNDER = 0.27
"""How far under the middle of a row its whisker lies, so that it crosses no letters. [rows]"""
ABOVE, ABOVE_ALL = 0.6, 1.05
"""What is kept free above the first row: for nothing, and for the word on the target. [rows]"""


class Part(NamedTuple):
    """One part of every row."""

    look: palette.Look
    """Its words are those of the legend."""
    values: Sequence[float]
    """One for each row; what is not a number is not drawn."""
    words: tuple[str, ...] = ()
    """What is written into it: the first that fits; those of its look where none are given.

    The first says what the look means, shorter ones do not.
    """


class Row(NamedTuple):
    """What stands beside a row."""

    name: str
    total: Interval
    text: str
    """Behind its end."""
    today: bool = False
    """Whether it is what is there today."""


def draw_rows(
    ax: style.Axes, rows: Sequence[Row], parts: Sequence[Part], target: float | None = None, columns: int = 5
) -> None:
    """Draw rows of parts behind one another, with what each comes to.

    A part is named where it is wide enough; what is wide enough nowhere stands in the legend.
    """
    style.frame(ax, "x")
    starts = _limits(ax, rows, target)
    legend = _bars(ax, parts, len(rows))
    style.whiskers(ax, [number + UNDER for number in range(len(rows))], [row.total for row in rows], capsize=3.0)
    _ends(ax, rows, starts)
    style.names_at(ax, [row.name for row in rows], LETTERS)
    for label, row in zip(ax.get_yticklabels(), rows, strict=True):
        label.set_fontweight("bold" if row.today else "normal")
    ax.set_ylim(len(rows) - 0.4, -ABOVE if target is None else -ABOVE_ALL)
    if target is not None:
        _mark_target(ax, target)
    style.legend_row(ax, legend, LEGEND_PT, columns)


def _limits(ax: style.Axes, rows: Sequence[Row], target: float | None) -> list[float]:
    """Axis from nothing on, with room for the texts behind their rows; where each begins: none stands on the target."""
    ends = [_end(row) for row in rows]
    most = max([*ends, target or 0.0]) or 1.0
    ax.set_xlim(0.0, most)
    shares = [style.text_width(ax, row.text) / most for row in rows]
    lasts = [end / (1.0 - share) for end, share in zip(ends, shares, strict=True)]
    limit = max([*lasts, 1.02 * (target or 0.0)])
    if target is not None:
        widths = [share * limit for share in shares]
        ends = [target if end <= target <= end + width else end for end, width in zip(ends, widths, strict=True)]
        limit = max([limit, *(end / (1.0 - share) for end, share in zip(ends, shares, strict=True))])
    ax.set_xlim(0.0, limit or 1.0)
    return ends


def _end(row: Row) -> float:
    """Where a row ends, whisker and all; 0 where it has no value."""
    return max((end for end in (row.total.mean, row.total.high) if math.isfinite(end)), default=0.0)


def _bars(ax: style.Axes, parts: Sequence[Part], count: int) -> style.Legend:
    """Draw the parts that are not nothing; what is named in no bar, with what stands for it."""
    left = [0.0] * count
    legend: style.Legend = {}
    named: set[str] = set()
    for part in parts:
        widths = [value if math.isfinite(value) else 0.0 for value in part.values]
        if any(width > 0.0 for width in widths):
            colour, hatch, meaning = part.look
            drawn = ax.barh(range(count), widths, HEIGHT, left, label=meaning, **palette.solid_of(colour, hatch))
            legend[meaning] = drawn  # type: ignore[assignment]
            if _name_bars(ax, part, left, widths):
                named.add(meaning)
            left = [before + width for before, width in zip(left, widths, strict=True)]
    return {meaning: drawn for meaning, drawn in legend.items() if meaning not in named}


def _name_bars(ax: style.Axes, part: Part, left: list[float], widths: list[float]) -> bool:
    """Write into the bars of a part what they are, where there is room; whether one has the words that mean most."""
    texts = ["", *reversed(part.words or part.look[2:])]
    wide = {text: style.text_width(ax, text) for text in texts}
    named = False
    for row, (begin, width) in enumerate(zip(left, widths, strict=True)):
        *_, text = (text for text in texts if not text or wide[text] <= width)
        if text:
            style.write_on(ax, begin + width / 2.0, row, text, part.look[0], HEIGHT)
            named = named or text == texts[-1]
    return named


def _ends(ax: style.Axes, rows: Sequence[Row], starts: Sequence[float]) -> None:
    """Write what each row comes to behind its end."""
    for number, (row, start) in enumerate(zip(rows, starts, strict=True)):
        ax.annotate(
            row.text, (start, number), xytext=(5.0, 0.0), textcoords="offset points", va="center",
            fontsize=style.WORD_PT, fontweight="bold" if row.today else "normal", zorder=6.0, parse_math=False,
            bbox={"facecolor": palette.WHITE, "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip


def _mark_target(ax: style.Axes, target: float) -> None:
    """Draw the target with its word above the first row."""
    ax.axvline(target, color=palette.BLACK, linewidth=1.4, linestyle="--", zorder=4.5)
    left, right = ax.get_xlim()
    beyond = target > (left + right) / 2.0
    ax.annotate(
        f"target {target:g}", (target, -ABOVE_ALL), xytext=(-4.0 if beyond else 4.0, -3.0),
        textcoords="offset points", ha="right" if beyond else "left", va="top", fontsize=style.WORD_PT, zorder=6.0,
    )  # fmt: skip
