"""Chart of what one more of each thing would save."""

import math
from itertools import filterfalse

from batsim.statistics.written import number_text
from batsim.study.bottleneck.bottleneck import Bottleneck, Gain
from batsim.study.differences import signed
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

WIDTH_IN, ROW_IN, AROUND_IN = 9.0, 0.44, 2.2
HEIGHT, LETTERS = 0.66, 42
CLEAR, HARM, OPEN = "clearly saves", "clearly costs", "cannot be told from nothing"
FILLS = {CLEAR: (palette.GREEN, "||"), HARM: (palette.VERMILION, "xxxx"), OPEN: (palette.WHITE, "")}
NONE = "There is nothing with a limit of which one more could be tried."


def bottleneck_chart(bottleneck: Bottleneck, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw what one more of each thing would save.

    Parameters
    ----------
    bottleneck
        What `batsim.bottleneck` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each thing, then for each lever that does not clearly cost time, the greatest gain first, with
        intervals that hold together.
    """
    levers = list(filterfalse(_costs, bottleneck.lever_gains))
    gains = (*bottleneck.gains, *levers)
    ax = style.axes_for_rows(ax, len(gains), WIDTH_IN, ROW_IN, AROUND_IN)
    title = f"{bottleneck.layout}: what {'one more or a lever' if levers else 'one more'} would save"
    if not gains:
        return style.empty(ax, title, NONE)
    downtime = f"As it is, {number_text(bottleneck.downtime)} min per truck-shift are lost."
    style.heading(ax, title, f"{downtime} {_whiskers(bottleneck)}")
    style.frame(ax, "x")
    legend: style.Legend = {}
    for row, gain in enumerate(gains):
        word = _word(gain)
        legend[word] = ax.barh([row], [gain.interval.mean], HEIGHT, **palette.fill_of(*FILLS[word]))  # type: ignore[assignment]
    style.whiskers(ax, range(len(gains)), [gain.interval for gain in gains])
    ax.axvline(0.0, color=palette.BLACK, linewidth=1.0)
    _part(ax, len(bottleneck.gains), len(levers))
    ax.margins(x=0.06)
    style.names_at(ax, [gain.what for gain in gains], LETTERS)
    style.beside_rows(ax, [_number(gain) for gain in gains])
    ax.set_xlabel("Downtime saved [min per truck-shift]", fontsize=10.0)
    style.legend_below(ax, {word: legend[word] for word in FILLS if word in legend})
    return ax


def _part(ax: style.Axes, things: int, levers: int) -> None:
    """Part levers from things by a line, where there are both."""
    if things and levers:
        ax.axhline(things - 0.5, color=palette.GREY, linewidth=1.0, linestyle="--")


def _whiskers(bottleneck: Bottleneck) -> str:
    """Say what a whisker is."""
    replications, confidence = bottleneck.schedule.replications, bottleneck.schedule.confidence
    if replications < 2:
        return "One replication: no intervals."
    return f"Whiskers: {100.0 * confidence:g} % intervals that hold together, {replications} replications."


def _costs(gain: Gain) -> bool:
    """Whether it clearly costs time."""
    return _word(gain) == HARM


def _word(gain: Gain) -> str:
    """Say how sure a gain is."""
    if gain.interval.low > 0.0:
        return CLEAR
    return HARM if gain.interval.high < 0.0 else OPEN


def _number(gain: Gain) -> str:
    """Gain with its half width."""
    if gain.interval.low == gain.interval.high == 0.0:
        return "0"
    return signed(gain.interval) if math.isfinite(gain.interval.low) else f"{gain.interval.mean:+.1f}"
