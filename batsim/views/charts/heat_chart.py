"""Chart of the minutes that trucks lose in each hour of the week: darker is more."""

from typing import TYPE_CHECKING

import numpy as np

from batsim.display import counted
from batsim.scenario.parts.week import DAYS, WEEK_MIN
from batsim.study.lost_by_hour import HOURS, LostByHour
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

if TYPE_CHECKING:
    from matplotlib.image import AxesImage

HEIGHT_IN = 2.9
EVERY = 3
"""Hours from one that is named to the next."""
CELL_LETTERS = 3
"""Letters that stand in a field; longer minutes of the worst hour have a ground of their own under them."""
NOTHING_LOST = "No truck loses a minute to its battery in the measured time."


def heat_chart(lost: LostByHour, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw what trucks lose in each hour of the week.

    Parameters
    ----------
    lost
        What `batsim.lost_by_hour` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A field for each hour, a row for each weekday: the darker the more is lost, with a cross where no truck works;
        the worst hour in a frame, with its minutes. The title names it.
    """
    ax = style.axes_for(ax, (style.COLUMN_IN, HEIGHT_IN))
    if not lost.worst_min > 0.0:
        return style.empty(ax, _finding(lost), NOTHING_LOST, style.FINDING_PT)
    shown = ax.imshow(
        lost.mean_min, cmap="Greys", vmin=0.0, vmax=lost.worst_min, aspect="auto", extent=(0.0, HOURS, len(DAYS), 0.0)
    )
    _no_work(ax, lost)
    _mark_worst(ax, lost)
    ax.set_xticks(range(0, HOURS + 1, EVERY), [f"{hour:02d}:00" for hour in range(0, HOURS + 1, EVERY)])
    ax.set_yticks([number + 0.5 for number in range(len(DAYS))], DAYS)
    ax.tick_params(length=0.0, labelsize=style.WORD_PT)
    ax.spines[:].set_visible(False)
    _scale(ax, shown)
    style.heading(ax, _finding(lost), _note(lost), style.FINDING_PT)
    return ax


def heat_text(lost: LostByHour) -> str:
    """Say in words what `heat_chart` draws, with its numbers."""
    if not lost.worst_min > 0.0:
        return f"{_finding(lost)}. {NOTHING_LOST}"
    by_day = zip(DAYS, lost.mean_min.sum(axis=1).tolist(), strict=True)
    days = ", ".join(f"{day} {minutes:,.0f}" for day, minutes in by_day if minutes > 0.0)
    share = 100.0 * lost.worst_min / lost.week_min
    return (
        f"{_finding(lost)}, {share:.0f} % of the {lost.week_min:,.0f} of a mean week. "
        f"By weekday, in truck-minutes: {days}. {_note(lost)}"
    )


def _no_work(ax: style.Axes, lost: LostByHour) -> None:
    """Mark the hours in which no truck works."""
    days, hours = np.nonzero(lost.working_min.reshape(len(DAYS), HOURS) <= 0.0)
    ax.plot(hours + 0.5, days + 0.5, "x", color=palette.GREY, markersize=3.0, markeredgewidth=0.7)


def _mark_worst(ax: style.Axes, lost: LostByHour) -> None:
    """Frame the worst hour and write its minutes into it."""
    from matplotlib.patches import Rectangle

    day, hour = lost.worst
    ax.add_patch(Rectangle((hour, day), 1.0, 1.0, fill=False, edgecolor=palette.VERMILION, linewidth=2.2, zorder=4.0))
    minutes = f"{lost.worst_min:,.0f}"
    ground = {"facecolor": palette.BLACK, "edgecolor": "none", "pad": 0.6} if len(minutes) > CELL_LETTERS else None
    ax.text(
        hour + 0.5, day + 0.5, minutes, ha="center", va="center", fontsize=style.NOTE_PT,
        color=palette.WHITE, zorder=5.0, bbox=ground,
    )  # fmt: skip


def _scale(ax: style.Axes, shown: "AxesImage") -> None:
    """What the shades mean."""
    figure = ax.get_figure(root=True)
    assert figure is not None
    bar = figure.colorbar(shown, ax=ax, fraction=0.04, pad=0.02)
    bar.ax.tick_params(labelsize=style.NOTE_PT)
    bar.ax.yaxis.set_major_formatter("{x:,g}")
    bar.set_label("Lost in the hour [truck-min]", fontsize=style.NOTE_PT)
    bar.ax.spines[:].set_visible(False)


def _finding(lost: LostByHour) -> str:
    """What the fields say, as a sentence without its full stop."""
    if not lost.worst_min > 0.0:
        return f"No time is lost in layout '{lost.layout}'"
    return f"Most time is lost on {lost.worst_text}: {lost.worst_min:,.0f} truck-minutes"


def _note(lost: LostByHour) -> str:
    """What is drawn, and over what it is a mean."""
    schedule = lost.schedule
    runs = f"{counted(schedule.replications, 'replication')} of {counted(schedule.length_min / WEEK_MIN, 'week')}"
    cross = " Cross: no truck works." if bool(np.any(lost.working_min <= 0.0)) else ""
    return f"Minutes that trucks of layout '{lost.layout}' lose to their battery in each hour; means of {runs}.{cross}"
