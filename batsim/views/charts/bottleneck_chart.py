"""Chart of what one more of each thing would save."""

import math
from typing import TYPE_CHECKING

from batsim.study.compare import signed
from batsim.views.charts.chart_style import (
    BLACK,
    GREEN,
    VERMILION,
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
from batsim.views.text.tables import number_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.container import BarContainer

    from batsim.study.bottleneck.bottleneck import Bottleneck, Gain

WIDTH_IN, ROW_IN, AROUND_IN, LEAST_ROWS = 9.0, 0.44, 2.2, 2
HEIGHT, LETTERS = 0.66, 36
CLEAR, HARM, OPEN = "clearly saves", "clearly costs", "cannot be told from nothing"
LOOKS = {CLEAR: (GREEN, "||"), HARM: (VERMILION, "xxxx"), OPEN: ("#FFFFFF", "")}
NONE = "There is nothing with a limit of which one more could be tried."


def bottleneck_chart(bottleneck: "Bottleneck", ax: "Axes | None" = None) -> "Axes":
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
        A bar for each thing, the greatest gain first, with intervals that hold together.
    """
    gains, stated = bottleneck.gains, bottleneck.settings
    ax = axes_for(ax, Size(WIDTH_IN, AROUND_IN + ROW_IN * max(LEAST_ROWS, len(gains))))
    title = f"{bottleneck.layout}: what one more would save"
    if not gains:
        heading(ax, title)
        nothing(ax, NONE)
        return ax
    downtime = f"As it is, {number_text(bottleneck.downtime)} min per truck-shift are lost."
    ends = (
        f"Whiskers: {100.0 * stated.confidence:g} % intervals that hold together, {stated.replications} replications."
    )
    heading(ax, title, f"{downtime} {ends if stated.replications > 1 else 'One replication: no intervals.'}")
    frame(ax, "x")
    drawn: dict[str, BarContainer] = {}
    for row, gain in enumerate(gains):
        word = _word(gain)
        drawn[word] = ax.barh([row], [gain.interval.mean], HEIGHT, **fill_of(*LOOKS[word]))
        if math.isfinite(gain.interval.low) and math.isfinite(gain.interval.high):
            sides = [[gain.interval.mean - gain.interval.low], [gain.interval.high - gain.interval.mean]]
            ax.errorbar([gain.interval.mean], [row], xerr=sides, fmt="none", zorder=5.0, **WHISKER)
    ax.axvline(0.0, color=BLACK, linewidth=1.0)
    ax.margins(x=0.06)
    names_at(ax, [gain.what for gain in gains], LETTERS)
    beside_rows(ax, [_number(gain) for gain in gains])
    ax.set_xlabel("Downtime saved [min per truck-shift]", fontsize=10.0)
    legend_below(ax, [drawn[word] for word in LOOKS if word in drawn], [word for word in LOOKS if word in drawn])  # type: ignore[misc]
    return ax


def _word(gain: "Gain") -> str:
    """Say how sure a gain is."""
    if gain.interval.low > 0.0:
        return CLEAR
    return HARM if gain.interval.high < 0.0 else OPEN


def _number(gain: "Gain") -> str:
    """Gain with its half width."""
    if gain.interval.low == gain.interval.high == 0.0:
        return "0"
    return signed(gain.interval) if math.isfinite(gain.interval.low) else f"{gain.interval.mean:+.1f}"
