"""Chart of where the minutes of a truck-shift go: from its start to its end, down to the minutes of work."""

import math
from collections.abc import Iterator
from typing import Any, NamedTuple

from batsim.measures.names import LOST_TO, PART_LABELS
from batsim.study.running.runs import Runs
from batsim.study.truck_shift import TruckShift, truck_shift
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.stacked_charts import DOWNTIME_WORDS, mean_of
from batsim.views.text.numbers import short_number

ROW_IN, AROUND_IN, HEIGHT, LETTERS = 0.25, 1.2, 0.72, 30
"""Height of a row, what stands above and below, height of a bar, letters of a name. [in, in, rows, -]"""
WHOLE, BREAKS, SCHEDULED, WORK = "the shift", "breaks and handover", "scheduled time", "work"
BESIDE_SHARE, ROUND_MIN = 0.25, 10.0
"""What the axis shows of the work, over what is taken from the shift; it begins at so many minutes. [-, min]"""
ROOM_SHARE = 1.14
"""Length of the axis over that of the steps, for the numbers beside them. [-]"""
LEVEL: dict[str, Any] = {"facecolor": palette.WHITE, "edgecolor": palette.BLACK, "linewidth": 0.9}
"""How what is left is drawn."""


class Step(NamedTuple):
    """A row: what is left, from the start of the axis, or what is taken from it."""

    word: str
    minutes: float
    end_min: float
    """Where it ends on the axis. [min]"""
    look: dict[str, Any]
    taken: bool
    """Whether it is taken from what is left."""


def truck_shift_chart(runs: Runs, layout: str, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw where the minutes of the mean truck-shift of a layout go.

    Parameters
    ----------
    runs
        What `batsim.run` returns, or the `runs` of a comparison.
    layout
        Name of one of their layouts.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A row for each step down: the shift, its breaks, the scheduled time, what is lost by cause, and the work that
        is left. What is lost has the colour of what it is lost to. The note says where the axis begins.
    """
    shift = truck_shift(runs, layout)
    steps = list(_steps(shift))
    ax = style.axes_for_rows(ax, len(steps), style.COLUMN_IN, ROW_IN, AROUND_IN)
    if not math.isfinite(shift.working_min) or shift.whole_min <= 0.0:
        return style.empty(ax, _finding(shift), DOWNTIME_WORDS.empty, style.FINDING_PT)
    taken_min = shift.whole_min - shift.working_min
    begin = ROUND_MIN * ((shift.working_min - BESIDE_SHARE * taken_min) // ROUND_MIN)
    begin = max(0.0, min(begin, shift.whole_min - ROUND_MIN))  # where nothing is lost, some work is shown
    style.frame(ax, "x")
    for row, step in enumerate(steps):
        left = step.end_min - step.minutes if step.taken else begin
        ax.barh([row], [step.end_min - left], HEIGHT, [left], **step.look)
        ax.annotate(
            _number(step), (step.end_min, row), xytext=(4.0, 0.0), textcoords="offset points", va="center",
            fontsize=style.WORD_PT, fontweight="normal" if step.taken else "bold",
        )  # fmt: skip
    ax.set_xlim(begin, begin + ROOM_SHARE * (shift.whole_min - begin))
    style.names_at(ax, [step.word for step in steps], LETTERS)
    ax.set_xlabel("Minutes of a truck-shift [min]", fontsize=style.WORD_PT)
    from_where = f" The axis begins at {begin:g} min." if begin else ""
    style.heading(ax, _finding(shift), _note(runs, layout) + from_where, style.FINDING_PT)
    return ax


def truck_shift_text(runs: Runs, layout: str) -> str:
    """Say in words what `truck_shift_chart` draws, with its numbers."""
    shift = truck_shift(runs, layout)
    if not math.isfinite(shift.working_min) or shift.whole_min <= 0.0:
        return f"{_finding(shift)}."
    steps = "; ".join(f"{step.word} {_number(step)}" for step in _steps(shift))
    return f"{_finding(shift)}. Minutes: {steps}. {_note(runs, layout)}"


def _steps(shift: TruckShift) -> Iterator[Step]:
    """Steps down from the shift to the work; what takes nothing is left out."""
    yield Step(WHOLE, shift.whole_min, shift.whole_min, LEVEL, taken=False)
    left = shift.whole_min
    if shift.breaks_min > 0.0:
        yield Step(BREAKS, shift.breaks_min, left, {**LEVEL, "hatch": "...."}, taken=True)
    left -= shift.breaks_min
    yield Step(SCHEDULED, shift.scheduled_min, left, LEVEL, taken=False)
    for word, parts in LOST_TO.items():
        for part in (part for part in parts if shift.lost[part] > 0.0):
            look = palette.solid_of(*palette.LOST_LOOKS[word][:2])
            yield Step(PART_LABELS[part], shift.lost[part], left, look, taken=True)
            left -= shift.lost[part]
    yield Step(WORK, shift.working_min, left, LEVEL, taken=False)


def _number(step: Step) -> str:
    """Minutes of a step."""
    minutes = short_number(step.minutes)
    return f"\N{MINUS SIGN}{minutes}" if step.taken and minutes != "0" else minutes


def _finding(shift: TruckShift) -> str:
    """What the steps say, as a sentence without its full stop."""
    if not math.isfinite(shift.working_min) or shift.whole_min <= 0.0:
        return f"No truck of layout '{shift.layout}' has a shift in the measured time"
    share = 100.0 * shift.working_min / shift.scheduled_min
    digits = 1 if 99.5 <= share < 99.95 else 0  # what is lost is not rounded away
    minutes = f"{short_number(shift.working_min)} of {short_number(shift.scheduled_min)} scheduled minutes"
    return f"Layout '{shift.layout}' leaves {minutes} of a truck-shift for work, {share:.{digits}f} %"


def _note(runs: Runs, layout: str) -> str:
    """What is drawn, and over what it is a mean."""
    return f"The mean truck-shift of layout '{layout}'. Means of {mean_of(runs)}."
