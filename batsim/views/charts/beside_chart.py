"""Charts of a layout beside its logs: hour by hour over the day, and all numbers that decide."""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from batsim.calibration.beside import Beside
from batsim.calibration.compared import INSIDE, Compared
from batsim.calibration.course import HOUR, HOURS_A_DAY
from batsim.display import counted, listed
from batsim.measures.windows import Floats
from batsim.plan.survey import sentence_of
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

BY_HOUR = {
    "exchanges_per_day": "Exchanges\nin the hour", "wait_min": "Mean wait\n[min]",
    "chargers_in_use": "Chargers\nin use", "charged_batteries": "Charged\nbatteries",
}  # fmt: skip
"""Measures that are drawn over the day, from the top, with the words of their axis."""
PANEL_IN, AROUND_IN = 1.25, 1.6
"""Height of a panel, and of what stands above and below all of them. [in]"""
HEADROOM, MOST_BAND = 1.08, 3.0
"""End of an axis over what is drawn in it, and the most that a band takes over means and dots. [-]"""
MODEL, MEASURED, OUTSIDE = "model, mean and limits", "measured", "measured, outside the limits"
SAYS = (
    "Each dot is the mean of its hour over {weeks}. One stretch of so many weeks lies inside the limits in all hours "
    "of a measure with {confidence:g} %; limits may lie beyond a panel."
)
NO_HOURS = "The logs tell nothing by the hour of the day."
NOTHING = "The logs and the runs have nothing in common that would carry a verdict."
ROW_IN, AROUND_ROWS_IN = 0.34, 2.15
"""Height of a row of numbers, and of what stands above and below all of them. [in]"""
MOST_HALF_WIDTHS = 3.0
"""How far from the middle the axis goes; what lies further is drawn at its end."""
AXIS = (
    "Where the measured number lies between the limits of the model: -1 at the lower one, +1 at the upper one. One "
    "stretch of so many weeks has all numbers inside with {confidence:g} %."
)
HEADS, AWAY_PT = ("measured", "in the model"), (8.0, 84.0)
"""Heads of the numbers beside the rows, and how far they are from the axes. [pt]"""
HEAD_ROWS, HEAD_AT = 1.2, -0.85
"""What is kept free above the first row, and where the heads stand in it. [rows]"""
LETTERS, NARROW = 34, 0.95
"""Letters in a line of the name of a number, and how close its lines are. [-, -]"""


class Day(NamedTuple):
    """A measure hour by hour; not numbers in hours without any."""

    name: str
    hours: dict[int, Compared]

    def of(self, what: str) -> Floats:
        """A number of every hour: `measured`, or `mean`, `low` and `high` of the model."""
        values = np.full(HOURS_A_DAY, np.nan)
        for hour, each in self.hours.items():
            values[hour] = each.measured if what == MEASURED else getattr(each.simulated, what)
        return values

    @property
    def outside(self) -> list[int]:
        """Hours in which the measured number lies outside."""
        return [hour for hour, each in self.hours.items() if each.verdict != INSIDE]


def beside_chart(beside: Beside) -> style.Figure:
    """Draw what was measured and what the model gives over the hours of the day.

    Parameters
    ----------
    beside
        A layout beside its logs, see `batsim.calibrate`.

    Returns
    -------
    matplotlib.figure.Figure
        A panel for each of exchanges, mean wait, chargers in use and charged batteries, as far as the logs tell them:
        lines are means of the model, bands its limits, dots what was measured. The title says how many hours lie
        outside.
    """
    days = _days(beside)
    figure = style.new_figure((style.COLUMN_IN, AROUND_IN + PANEL_IN * max(1, len(days))))
    style.head_of_all(figure, _finding(beside, days))
    if not days:
        style.nothing(figure.subplots(), NO_HOURS)
        return figure
    panels: list[style.Axes] = list(figure.subplots(len(days), 1, sharex=True, squeeze=False)[:, 0])
    legend: style.Legend = {}
    for ax, day in zip(panels, days, strict=True):
        legend |= _draw(ax, day)
    panels[-1].set_xticks(range(0, HOURS_A_DAY + 1, 3), [f"{hour:02}:00" for hour in range(0, HOURS_A_DAY + 1, 3)])
    panels[-1].set_xlim(0.0, HOURS_A_DAY)
    panels[-1].set_xlabel("Time of day", fontsize=style.WORD_PT)
    figure.align_ylabels(panels)
    ordered = {word: legend[word] for word in (MEASURED, OUTSIDE, MODEL) if word in legend}
    style.under_all(figure, _in_all(SAYS, beside), ordered)
    return figure


def beside_text(beside: Beside) -> str:
    """Say in words what `beside_chart` draws, with its numbers."""
    days = _days(beside)
    if not days:
        return f"{_finding(beside, days)}. {NO_HOURS}"
    return f"{_finding(beside, days)}. {' '.join(map(_told_of, days))}"


def _told_of(day: Day) -> str:
    """What a measure is over the day, with the hours that lie outside."""
    first = next(iter(day.hours.values()))

    def span(what: str) -> str:
        values = day.of(what)
        return f"{first.amount(float(np.nanmin(values)))} to {first.amount(float(np.nanmax(values)))}"

    outside = [day.hours[hour].sentence for hour in day.outside]
    says = f"{sentence_of(first.about.label)} by hour: {span(MEASURED)} measured, {span('mean')} in the model"
    out = f"{len(outside)} of {counted(len(day.hours), 'hour')} outside{': ' if outside else ''}{'; '.join(outside)}"
    return f"{says}, {out}."


def compared_chart(beside: Beside) -> style.Figure:
    """Draw where each measured number lies in what the model gives.

    Parameters
    ----------
    beside
        A layout beside its logs, see `batsim.calibrate`.

    Returns
    -------
    matplotlib.figure.Figure
        A row for each number that decides the verdict, those outside first: a dot from -1 to 1, the limits of the
        model, is inside. Beside it stand what was measured and the mean of the model. A figure and not one axes,
        because its title goes across names and numbers.
    """
    rows = beside.gaps_first
    figure = style.new_figure((style.COLUMN_IN, AROUND_ROWS_IN + ROW_IN * max(1, len(rows))))
    style.head_of_all(figure, _told_of_all(beside))
    ax = figure.subplots()
    if not rows:
        style.nothing(ax, NOTHING)
        return figure
    style.frame(ax, "x")
    band = ax.axvspan(-1.0, 1.0, **palette.fill_of(palette.SKY, "") | {"linewidth": 0.0})
    ax.axvline(0.0, color=palette.BLACK, linewidth=0.8)
    legend: style.Legend = {}
    for number, each in enumerate(rows):
        legend |= _dot(ax, number, each)
    style.names_at(ax, [sentence_of(each.title) for each in rows], LETTERS)
    ax.set_ylim(len(rows) - 0.4, -HEAD_ROWS)
    for label, each in zip(ax.get_yticklabels(), rows, strict=True):
        label.set(fontweight="normal" if each.verdict == INSIDE else "bold", linespacing=NARROW)
    _words_beside(ax, rows)
    ends = range(-int(MOST_HALF_WIDTHS), int(MOST_HALF_WIDTHS) + 1)
    ax.set_xticks(ends, [f"{end:+d}" if end else "0" for end in ends])
    ax.set_xlim(-1.08 * MOST_HALF_WIDTHS, 1.08 * MOST_HALF_WIDTHS)
    ax.set_xlabel("Half-widths", fontsize=style.WORD_PT)
    ordered = {word: legend[word] for word in (MEASURED, OUTSIDE) if word in legend}
    style.under_all(figure, _in_all(AXIS, beside), ordered | {"limits of the model": band})
    return figure


def compared_text(beside: Beside) -> str:
    """Say in words what `compared_chart` draws, with its numbers."""
    rows = beside.gaps_first
    if not rows:
        return f"{_name(beside)}. {NOTHING}"
    numbers = "; ".join(f"{sentence_of(each.sentence)}{'' if each.verdict == INSIDE else ', outside'}" for each in rows)
    return f"{_told_of_all(beside)}. {numbers}."


def _in_all(note: str, beside: Beside) -> str:
    """A note with its weeks and its confidence."""
    return note.format(weeks=beside.weeks_in_words, confidence=100.0 * beside.schedule.confidence)


def _name(beside: Beside) -> str:
    """Layout and weeks."""
    return f"Layout '{beside.layout}' beside its logs, {beside.weeks_in_words}"


def _days(beside: Beside) -> list[Day]:
    """Measures that are there by the hour."""
    found = []
    for name in BY_HOUR:
        those = [each for each in beside.compared if each.measure == name and each.where.cut == HOUR]
        if those:
            found.append(Day(name, {int(each.where.name[:2]): each for each in those}))
    return found


def _finding(beside: Beside, days: Sequence[Day]) -> str:
    """How many hours lie outside, as a sentence without its full stop."""
    outside = [day for day in days if day.outside]
    if not days or beside.schedule.replications < 2:
        return _name(beside)
    if not outside:
        return f"{_name(beside)}: all hours of the day lie inside the limits of the model"
    hours = sum(len(day.outside) for day in outside)
    labels = listed([day.hours[day.outside[0]].about.label for day in outside])
    of = sum(len(day.hours) for day in days)
    lie = "lies" if hours == 1 else "lie"
    return f"{_name(beside)}: {hours} of {of} numbers by the hour {lie} outside, of {labels}"


def _draw(ax: style.Axes, day: Day) -> style.Legend:
    """Draw a measure over the day."""
    style.frame(ax)
    edges = np.arange(HOURS_A_DAY + 1.0)
    mean, low, high, measured = (day.of(what) for what in ("mean", "low", "high", MEASURED))
    band = style.band(ax, edges, low, high, palette.SKY, "")
    ax.stairs(mean, edges, baseline=None, color=palette.BLUE, linewidth=1.5, zorder=4.0)
    legend: style.Legend = {MODEL: band}
    outside = np.isin(np.arange(HOURS_A_DAY), day.outside)
    for word, those in ((MEASURED, ~outside), (OUTSIDE, outside)):
        if those.any() and np.isfinite(measured[those]).any():
            (legend[word],) = ax.plot(edges[:-1][those] + 0.5, measured[those], **LOOKS[word])
    ax.set_ylabel(BY_HOUR[day.name], fontsize=style.WORD_PT)
    most = max(float(np.nanmax(mean)), float(np.nanmax(measured)))
    ax.set_ylim(0.0, HEADROOM * max(most, min(float(np.nanmax(high)), MOST_BAND * most)) or 1.0)
    return legend


LOOKS: dict[str, dict[str, Any]] = {
    MEASURED: {
        "color": palette.BLACK, "marker": "o", "markersize": 4.5, "linestyle": "", "zorder": 5.0,
        "markeredgecolor": palette.WHITE,
    },
    OUTSIDE: {
        "color": palette.VERMILION, "marker": "D", "markersize": 6.0, "linestyle": "", "zorder": 6.0,
        "markeredgecolor": palette.BLACK,
    },
}  # fmt: skip
"""How what was measured is drawn."""


def _told_of_all(beside: Beside) -> str:
    """How many numbers lie outside, as a sentence without its full stop."""
    count = len(beside.deciding)
    if beside.holds:
        return f"Layout '{beside.layout}': the model gives all {counted(count, 'number')} of {beside.weeks_in_words}"
    first = beside.gaps[0]
    lie = "lies" if len(beside.gaps) == 1 else "lie"
    of = f"{len(beside.gaps)} of {count} numbers of {beside.weeks_in_words} {lie} outside"
    return f"Layout '{beside.layout}': {of}; {first.title} is {first.verdict} what the model gives"


def _dot(ax: style.Axes, row: int, each: Compared) -> style.Legend:
    """Draw where a number lies; at the end of the axis what lies beyond it, as an arrow."""
    place, word = each.gap_in_half_widths, MEASURED if each.verdict == INSIDE else OUTSIDE
    look = dict(LOOKS[word])
    if abs(place) > MOST_HALF_WIDTHS:
        look["marker"] = ">" if place > 0.0 else "<"
        look["markersize"] = 8.0
        place = np.copysign(MOST_HALF_WIDTHS, place)
    (drawn,) = ax.plot([place], [row], **look)
    return {word: drawn}


def _words_beside(ax: style.Axes, rows: Sequence[Compared]) -> None:
    """Measured and simulated numbers beside the rows, under their heads."""
    measured = [each.amount(each.measured) for each in rows]
    simulated = [each.amount(each.simulated.mean) for each in rows]
    for away_pt, head, numbers in zip(AWAY_PT, HEADS, (measured, simulated), strict=True):
        for row, text in enumerate((head, *numbers), -1):
            ax.annotate(
                text, (1.0, row if row >= 0 else HEAD_AT), xycoords=ax.get_yaxis_transform(), xytext=(away_pt, 0.0),
                textcoords="offset points", va="center", fontsize=style.WORD_PT if row >= 0 else style.NOTE_PT,
                annotation_clip=False,
            )  # fmt: skip
