"""What all charts share: sizes of type, axes, frames, headings, legends, whiskers, time axes and notes."""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

from batsim.measures.windows import Floats, Whole
from batsim.scenario.parts.week import moment_text
from batsim.statistics.intervals import Interval
from batsim.views.charts.names_fit import NAME_LETTERS, in_lines, names_fit
from batsim.views.charts.palette import BLACK, fill_of, ink_on

if TYPE_CHECKING:
    from matplotlib import artist, axes, figure

Artist: TypeAlias = "artist.Artist"
Axes: TypeAlias = "axes.Axes"
AxesOrNew: TypeAlias = "axes.Axes | None"
"""Axes to draw on; none for those of a new figure."""
Figure: TypeAlias = "figure.Figure"
Legend = dict[str, Artist]
"""What has been drawn, by its words."""
Counts = TypeVar("Counts", Floats, Whole)
MOST_TICKS = 9
DAY = 1440
TICKS_MIN = (
    *(1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720),
    *(DAY, 2 * DAY, 7 * DAY, 14 * DAY, 28 * DAY, 56 * DAY, 91 * DAY, 182 * DAY, 364 * DAY),
)
"""Steps that the time axis may have; all begin at Monday 00:00. [min]"""

TITLE_PT, FINDING_PT, WORD_PT, NOTE_PT = 12.0, 10.5, 9.0, 8.0
"""Sizes of type: a title, a title that is a sentence, words and numbers, and notes. [pt]"""
COLUMN_IN = 6.3
"""Width of charts whose title is a sentence: a printed column of 160 mm. [in]"""
LETTER = 0.55
"""Width of a letter over the size of its type, about. [-]"""
LEAST_ROWS = 2
"""Rows for which a new figure has room at least."""
DRAWN_SHARE = 0.58
"""Part of its figure's width that axes take at least, about. [-]"""
PATCH = 0.86
"""Height of what is under letters, over that of its bar: the bar's edge stays. [-]"""
WHISKER: dict[str, Any] = {"color": BLACK, "linewidth": 1.3, "capsize": 4.0, "capthick": 1.3, "zorder": 5.0}


Inches = tuple[float, float]
"""Width and height of a chart. [in]"""


def new_figure(size: Inches, *, constrained: bool = True) -> Figure:
    """Figure of no window and no session; constrained, it makes room for whatever stands around its axes."""
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    from batsim.views.charts.pictures import Chart

    return Chart(figsize=size, layout=ConstrainedLayoutEngine(w_pad=0.12, h_pad=0.12) if constrained else None)


def axes_for(ax: AxesOrNew, size: Inches) -> Axes:
    """Axes to draw on: the given ones, or those of a new figure of a size."""
    from batsim.views.charts.pictures import ChartAxes

    return new_figure(size).add_subplot(axes_class=ChartAxes) if ax is None else ax


def axes_for_rows(ax: AxesOrNew, rows: int, width: float, row_height: float, around: float) -> Axes:
    """Axes to draw on: the given ones, or those of a new figure as high as its rows and what stands around them."""
    return axes_for(ax, (width, around + row_height * max(LEAST_ROWS, rows)))


def frame(ax: Axes, grid: str = "y", colour: str = "0.82") -> None:
    """Light lines behind everything, no box around; thousands of plain numbers beside it apart."""
    from matplotlib.ticker import ScalarFormatter

    from batsim.views.charts.pictures import Thousands

    for axis in (ax.xaxis, ax.yaxis):
        if type(axis.get_major_formatter()) is ScalarFormatter:
            axis.set_major_formatter(Thousands())
    ax.grid(visible=True, axis=grid, color=colour, linewidth=0.5)  # type: ignore[arg-type]
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    ax.tick_params(labelsize=WORD_PT)


def heading(ax: Axes, title: str, note: str = "", size_pt: float = TITLE_PT) -> None:
    """Title and a smaller note above axes, long names in them cut, both wrapped; never read as a formula."""
    width_pt = 72.0 * ax.get_position().width * ax.get_figure(root=True).get_figwidth()  # type: ignore[union-attr]
    lines = in_lines(note, max(24, int(width_pt / (LETTER * NOTE_PT))))
    pad = 6.0 + (5.0 + 1.25 * NOTE_PT * (lines.count("\n") + 1) if note else 0.0)
    wide = max(16, int(width_pt / (1.15 * LETTER * size_pt)))
    ax.set_title(in_lines(title, wide), loc="left", fontsize=size_pt, fontweight="bold", pad=pad, parse_math=False)
    if note:
        _small_above(ax, lines, 0.0, 6.0)


def head_of_all(figure: Figure, title: str) -> None:
    """Title above all panels of a figure."""
    figure.suptitle(
        wrapped(title, _within_pt(figure), 1.12 * FINDING_PT), x=0.02, ha="left", fontsize=FINDING_PT,
        fontweight="bold", parse_math=False,
    )  # fmt: skip


def under_all(figure: Figure, note: str, legend: Legend | None = None) -> None:
    """A small note under all panels of a figure, and below it a legend of them all."""
    drawn = figure.legend(
        list((legend or {}).values()), list(legend or {}), loc="outside lower left", ncols=2, frameon=False,
        fontsize=WORD_PT, columnspacing=1.4, title=wrapped(note, _within_pt(figure), NOTE_PT), alignment="left",
        title_fontsize=NOTE_PT, borderpad=0.0, borderaxespad=0.6,
    )  # fmt: skip
    drawn.get_title().set(color="0.3", parse_math=False)


def _within_pt(figure: Figure) -> float:
    """Width of a figure within its edges. [pt]"""
    return 0.96 * 72.0 * figure.get_figwidth()


def wrapped(text: str, width_pt: float, size_pt: float) -> str:
    """A text in lines of a width, long names in it cut. [pt]"""
    return in_lines(text, max(24, int(width_pt / (LETTER * size_pt))))


def _small_above(ax: Axes, text: str, across: float, up_pt: float) -> None:
    """Write something small above axes, at a share of their width."""
    ax.annotate(
        text, (across, 1.0), xycoords="axes fraction", xytext=(0.0, up_pt), textcoords="offset points", va="bottom",
        fontsize=NOTE_PT, color="0.3", parse_math=False, annotation_clip=False,
    )  # fmt: skip


def legend_row(ax: Axes, legend: Legend, below_pt: float, columns: int = 5, *, lines: bool = False) -> None:
    """Legend of few words under the axis, small; samples of lines are long enough to show their dashes."""
    look = {"fontsize": NOTE_PT, "handlelength": 1.9 if lines else 1.2, "columnspacing": 1.0}
    legend_below(ax, legend, columns, below_pt, **look)


def legend_below(ax: Axes, legend: Legend, columns: int = 3, below_pt: float = 42.0, **look: float) -> None:
    """Legend under the words of the time or number axis."""
    from matplotlib.transforms import ScaledTranslation

    figure = ax.get_figure(root=True)
    assert figure is not None
    down = ScaledTranslation(0.0, -below_pt / 72.0, figure.dpi_scale_trans)
    _legend(
        ax, legend, bbox_to_anchor=(0.0, 0.0), bbox_transform=ax.transAxes + down, ncols=min(columns, len(legend)),
        borderpad=0.0, **{"columnspacing": 1.4, **look},
    )  # fmt: skip


def legend_above(ax: Axes, legend: Legend, columns: int = 4) -> None:
    """Legend of few words over axes, small."""
    _legend(
        ax, legend, loc="lower left", bbox_to_anchor=(0.0, 1.02), ncols=min(columns, len(legend)), fontsize=NOTE_PT,
        borderpad=0.0, handlelength=1.6, columnspacing=1.1, labelspacing=0.25,
    )  # fmt: skip


def legend_beside(ax: Axes, legend: Legend) -> None:
    """Legend to the right of axes, from their top."""
    _legend(ax, legend, bbox_to_anchor=(1.015, 1.02))


def _legend(ax: Axes, legend: Legend, **place: Any) -> None:  # noqa: ANN401 - what a legend takes
    """Legend at a place, its words taken as they are: a dollar sign in a name begins no formula."""
    if legend:
        drawn = ax.legend(
            list(legend.values()), list(legend), frameon=False, borderaxespad=0.0, handleheight=1.2,
            **{"loc": "upper left", "fontsize": WORD_PT, "handlelength": 2.4, **place},
        )  # fmt: skip
        for text in drawn.get_texts():
            text.set_parse_math(False)


def write_on(ax: Axes, x: float, y: float, text: str, colour: str, height: float) -> None:
    """Write in the middle of a bar of a colour and a height, on a part of it without a hatch across the letters."""
    wide = text_width(ax, text)
    ax.barh([y], [wide], PATCH * height, [x - wide / 2.0], facecolor=colour, linewidth=0.0, zorder=4.6)
    ax.text(
        x,
        y,
        text,
        ha="center",
        va="center_baseline",
        fontsize=NOTE_PT,
        color=ink_on(colour),
        zorder=4.7,
        parse_math=False,
        clip_on=True,
    )


def text_width(ax: Axes, text: str, size_pt: float = NOTE_PT) -> float:
    """Width that a text takes along the axis of axes whose limits are set, about; in units of that axis."""
    left, right = ax.get_xlim()
    axes_pt = 72.0 * DRAWN_SHARE * ax.get_figure(root=True).get_figwidth()  # type: ignore[union-attr]
    return (right - left) * LETTER * size_pt * (len(text) + 1) / axes_pt


def names_at(ax: Axes, names: Sequence[str], letters: int = NAME_LETTERS, *, paths: bool = False) -> None:
    """Names beside rows, the first at the top."""
    ax.set_yticks(range(len(names)), names_fit(names, letters, paths=paths), parse_math=False)
    ax.tick_params(axis="y", length=0.0)
    ax.set_ylim(max(len(names), 1) - 0.4, -0.6)


def beside_rows(ax: Axes, words: Sequence[str], head: str = "") -> None:
    """Numbers in words to the right of rows, under a head."""
    where = ax.get_yaxis_transform()
    for row, word in enumerate(words):
        ax.text(1.02, row, word, transform=where, va="center", fontsize=WORD_PT)
    if head and words:
        _small_above(ax, head, 1.02, 3.0)


def whiskers(
    ax: Axes, at: Iterable[float], intervals: Iterable[Interval], *, across: bool = True, **look: object
) -> None:
    """Draw intervals that have limits, along rows or along columns at their places."""
    for where, interval in zip(at, intervals, strict=True):
        if math.isfinite(interval.low) and math.isfinite(interval.high):
            ends = [[max(0.0, interval.mean - interval.low)], [max(0.0, interval.high - interval.mean)]]
            x, y, side = (interval.mean, where, "xerr") if across else (where, interval.mean, "yerr")
            drawn: dict[str, Any] = WHISKER | {side: ends} | look
            ax.errorbar([x], [y], fmt="none", **drawn)


def axis_words(ax: Axes, across: str, up: str) -> None:
    """What is drawn along both axes, with units."""
    ax.set_xlabel(across, fontsize=10.0)
    ax.set_ylabel(up, fontsize=10.0)


def band(ax: Axes, edges: Floats, low: Floats, high: Floats, colour: str, hatch: str) -> Artist:
    """Fill between two rows of values, each of which holds from one edge to the next."""
    look = fill_of(colour, hatch) | {"linewidth": 0.0}
    return ax.fill_between(edges, ended(low), ended(high), step="post", **look)


def ended(values: Counts) -> Counts:
    """Values with the last one once more, for the last edge."""
    return values[[*range(values.size), -1]]


def percent_ticks(ax: Axes) -> None:
    """Shares from none to all in per cent."""
    ax.set_yticks([0.0, 0.2, 0.4, 0.6, 0.8, 1.0], ["0", "20", "40", "60", "80", "100"])


def mark_peak(ax: Axes, at_min: float, peak: float, colour: str) -> Artist:
    """Mark the highest value."""
    (mark,) = ax.plot([at_min], [peak], "v", color=colour, markersize=8.0, markeredgecolor="white", zorder=5.0)
    return mark


def shade(ax: Axes, spans: Iterable[tuple[float, float]], alpha: float) -> None:
    """Shade breaks and hours without a shift over everything."""
    for begin, end in spans:
        ax.axvspan(begin, end, facecolor=BLACK, alpha=alpha, linewidth=0.0, zorder=3.0)


def nothing(ax: Axes, why: str) -> Axes:
    """Say why there is nothing to see."""
    ax.set_axis_off()
    ax.text(
        0.5, 0.5, in_lines(why, 60), transform=ax.transAxes, ha="center", va="center", fontsize=WORD_PT + 1.0,
        color="0.3", parse_math=False,
    )  # fmt: skip
    return ax


def empty(ax: Axes, title: str, why: str, size_pt: float = TITLE_PT) -> Axes:
    """Say under a title why there is nothing to see."""
    heading(ax, title, size_pt=size_pt)
    return nothing(ax, why)


def week_axis(ax: Axes, from_min: float, to_min: float) -> None:
    """Time axis of a week or a day: weekday and time of day at even steps."""
    one_day = to_min - from_min <= DAY
    time_ticks(
        ax, from_min, to_min,
        lambda time_min: moment_text(time_min)[4:] if one_day else moment_text(time_min).removesuffix(" 00:00"),
    )  # fmt: skip


def time_ticks(ax: Axes, from_min: float, to_min: float, label: Callable[[float], str]) -> None:
    """Ticks of a time axis at even steps from Monday 00:00, each with its label."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    ax.set_xlim(from_min, to_min)
    step = next((step for step in TICKS_MIN if (to_min - from_min) / step <= MOST_TICKS), TICKS_MIN[-1])
    ax.xaxis.set_major_locator(MultipleLocator(step))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda time_min, _: label(time_min)))
