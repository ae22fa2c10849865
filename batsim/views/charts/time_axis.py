"""Time of a run on charts: an axis of weekdays and clock times, and a window in words."""

from typing import TYPE_CHECKING

from batsim.scenario.parts.week import DAY_MIN
from batsim.views.charts.chart_style import MOST_TICKS, TICKS_MIN
from batsim.views.text.trace_text import clock, moment

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from batsim.record import Facts


def clock_axis(ax: "Axes", facts: "Facts", from_min: float, to_min: float) -> None:
    """Weekday and time of day at even steps; the week too where there is more than one."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator  # noqa: PLC0415 - heavy, and only charts need it

    weeks = moment(facts, from_min)[0] != moment(facts, to_min - 1.0)[0]
    span = to_min - from_min
    ax.set_xlim(from_min, to_min)
    ax.xaxis.set_major_locator(MultipleLocator(next((step for step in TICKS_MIN if span / step <= MOST_TICKS), span)))

    def label(time_min: float, _: object) -> str:
        text = clock(facts, time_min)
        return text + f"\nweek {moment(facts, time_min)[0]}" if weeks else text

    ax.xaxis.set_major_formatter(FuncFormatter(label))
    ax.set_xlabel("Weekday and time of day")


def span_text(facts: "Facts", from_min: float, to_min: float) -> str:
    """Write a window of a run, such as `week 1 Tue`, or from when to when."""
    week, day = moment(facts, from_min)
    if from_min % DAY_MIN == 0.0 and to_min - from_min == DAY_MIN:
        return f"week {week} {day}"
    return f"{clock(facts, from_min, weeks=True)} to {clock(facts, to_min, weeks=True)}"
