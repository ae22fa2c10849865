"""Chart of a room over a day or any window: trucks waiting, batteries, chargers, stations, devices, attendants."""

from collections.abc import Callable, Mapping
from textwrap import fill
from typing import Any

import numpy as np

from batsim.measures.room_course import RoomCourse, room_course
from batsim.measures.windows import Floats, Whole
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import CAUSES, STATES
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit
from batsim.views.charts.time_axis import clock_axis, one_run_note, span_text
from batsim.views.text.trace_text import clock

WIDTH_IN = 11.0
HEIGHTS_IN = {
    "queue": 1.6, "ready": 1.3, "batteries": 3.2, "chargers": 1.5, "stations": 0.8, "devices": 0.8, "attendants": 1.2,
}  # fmt: skip
"""Heights of the panels. [in]"""
AROUND_IN = {"left": 0.8, "right": 2.3, "top": 0.85, "bottom": 0.85, "between": 0.16}
"""What is kept free around and between the panels. [in]"""
TITLE_LETTERS = 84
"""Letters in a line of the title."""
LETTERS = 22
"""Letters of the name of a battery type."""
HEADROOM = 1.12
"""Upper end of an axis over the most that is shown."""


def room_chart(record: Record, from_min: float, to_min: float) -> style.Figure:
    """Draw what goes on in the room over a window of a run.

    Parameters
    ----------
    record
        What a run left behind, see `batsim.simulate`; of one area of the layout, what `batsim.of_area` takes out of it.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]

    Returns
    -------
    matplotlib.figure.Figure
        A figure and not one axes, because its panels share the time axis: trucks waiting, by what they wait for,
        ready batteries by type where there are several, batteries by state, chargers, stations, and devices and
        attendants where there are any. A notebook shows it.

    Raises
    ------
    ValueError
        If the window is empty or endless, or lies outside the run.
    """
    from matplotlib.ticker import MaxNLocator

    course = room_course(record, from_min, to_min)
    drawn = _panels(course)
    figure, panels = _empty(list(drawn))
    for panel, draw in zip(panels, drawn.values(), strict=True):
        style.frame(panel)
        panel.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=True, min_n_ticks=1))
        draw(panel, course, record.facts)
        style.shade(panel, course.idle, 0.12)
    clock_axis(panels[-1], record.facts, course.from_min, course.to_min)
    _words(figure, record.facts, course)
    figure.align_ylabels(panels)
    return figure


def room_text(record: Record, from_min: float, to_min: float) -> str:
    """Say in words what `room_chart` draws, with its numbers."""
    course, facts = room_course(record, from_min, to_min), record.facts
    waiting = sum(course.waiting.values(), 0 * course.trucks_away)
    counts = {"trucks waiting": waiting, "trucks away from work": course.trucks_away}
    counts |= {"chargers giving current": course.chargers["giving current"], "stations in use": course.stations_busy}
    counts |= {"devices in use": course.devices_busy, "attendants busy": course.attendants_busy}
    told = [f"{name} {_when(course, facts, count, count.max())}" for name, count in counts.items()]
    least = [f"{name} {_when(course, facts, count, count.min())}" for name, count in course.ready.items()]
    ready = f" Fewest ready batteries: {'; '.join(least)}." if least else ""
    span = span_text(facts, course.from_min, course.to_min)
    return f"{facts.title}: {span}. At most: {'; '.join(told)}.{ready} {one_run_note(facts)}"


def _when(course: RoomCourse, facts: RunFacts, count: Whole, value: int) -> str:
    """A value of a count with the first time at which it is that; without it where that is the beginning."""
    at = int(np.argmax(count == value))
    return f"{value} ({clock(facts, float(course.time_min[at]))})" if at else f"{value}"


def _panels(course: RoomCourse) -> Mapping[str, Callable[[style.Axes, RoomCourse, RunFacts], None]]:
    """What is drawn, from the top."""
    panels = {"queue": _queue} | ({"ready": _ready} if len(course.ready) > 1 else {})
    panels |= {"batteries": _batteries, "chargers": _chargers, "stations": _stations}
    if course.devices:
        panels["devices"] = _devices
    if any(
        counts.any() for counts in (course.attendants_on_duty, course.attendants_busy, course.attendants_in_overtime)
    ):
        panels["attendants"] = _attendants
    return panels


def _empty(names: list[str]) -> tuple[style.Figure, list[style.Axes]]:
    """Figure with room for its panels, from the top."""
    heights = [HEIGHTS_IN[name] for name in names]
    height = AROUND_IN["top"] + sum(heights) + AROUND_IN["between"] * (len(names) - 1) + AROUND_IN["bottom"]
    figure = style.new_figure((WIDTH_IN, height), constrained=False)
    where = {
        "left": AROUND_IN["left"] / WIDTH_IN,
        "right": 1.0 - AROUND_IN["right"] / WIDTH_IN,
        "top": 1.0 - AROUND_IN["top"] / height,
        "bottom": AROUND_IN["bottom"] / height,
        "hspace": AROUND_IN["between"] * len(names) / sum(heights),
        "height_ratios": heights,
    }
    return figure, list(figure.subplots(len(names), 1, sharex=True, gridspec_kw=where))


def _edges(course: RoomCourse) -> Floats:
    """Instants, and the end of the window."""
    return np.append(course.time_min, course.to_min)


def _stack(panel: style.Axes, course: RoomCourse, parts: list[tuple[Whole, str, str, str]]) -> float:
    """Draw counts on top of each other with their words; returns the most in all."""
    below = 0 * course.trucks_away
    for counts, colour, hatch, word in parts:
        above = below + counts
        look = palette.fill_of(colour, hatch) | {"edgecolor": "0.35", "linewidth": 0.4}
        panel.fill_between(_edges(course), style.ended(below), style.ended(above), step="post", label=word, **look)
        below = above
    return float(below.max())


def _finish(panel: style.Axes, unit: str, most: float) -> None:
    """Name and limits of a panel that begins at 0, and its words beside it, in the order of the stack."""
    panel.set_ylabel(unit)
    panel.set_ylim(0.0, HEADROOM * max(1.0, most))
    handles, words = panel.get_legend_handles_labels()
    style.legend_beside(panel, dict(zip(words[::-1], handles[::-1], strict=True)))


def _queue(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Trucks waiting, by what they wait for, and all that are away from work."""
    parts = [(course.waiting[word], *palette.CAUSE_LOOKS[word]) for word in CAUSES]
    most = _stack(panel, course, [part for part in parts if part[0].any()])
    away = style.ended(course.trucks_away)
    panel.step(_edges(course), away, where="post", color=palette.BLACK, linewidth=1.1, label="away from work, in all")
    _finish(panel, "Trucks", max(most, float(course.trucks_away.max())))


def _batteries(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Batteries by state."""
    parts = [(course.batteries[state], *palette.STATE_LOOKS[state][:2], state) for state in STATES]
    _stack(panel, course, [part for part in parts if part[0].any()])
    _finish(panel, "Batteries", 1.0)
    panel.set_ylim(0.0, float(facts.batteries))


def _chargers(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Chargers by what they do, and how many there are."""
    parts = [(course.chargers[state], *look, state) for state, look in palette.CHARGER_LOOKS.items()]
    most = _stack(panel, course, [part for part in parts if part[0].any()] or parts[:1])
    _finish(panel, "Chargers", max(most, _in_all(panel, course.chargers_in_all)))


def _in_all(panel: style.Axes, number: float) -> float:
    """Mark how many there are in all, where that is limited; returns what the axis has to show."""
    if number == float("inf"):
        return 0.0
    panel.axhline(number, color=palette.BLACK, linewidth=1.1, linestyle="--", label="in all")
    return number


def _ready(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Ready batteries of each type."""
    named = zip(names_fit(course.ready, LETTERS, 1), course.ready.values(), palette.LINES, strict=False)
    for name, count, (colour, dashes) in named:
        look: dict[str, Any] = {"color": colour, "linestyle": dashes, "linewidth": 1.5, "label": name}
        panel.step(_edges(course), style.ended(count), where="post", **look)
    _finish(panel, "Ready\nbatteries", float(max(count.max() for count in course.ready.values())))


def _stations(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Stations, or charging spots, with a truck in them."""
    most = _stack(panel, course, [(course.stations_busy, palette.BLUE, "---", "in use")])
    _finish(panel, "Charging\nspots" if facts.in_truck else "Stations", max(most, _in_all(panel, course.stations)))


def _devices(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Devices that jobs hold."""
    most = _stack(panel, course, [(course.devices_busy, palette.GREY, "\\\\\\\\", "in use")])
    _finish(panel, "Devices", max(most, _in_all(panel, course.devices)))


def _attendants(panel: style.Axes, course: RoomCourse, facts: RunFacts) -> None:
    """Attendants at a job, on duty and in overtime, and how many are on duty."""
    parts = [(course.attendants_busy, palette.SKY, "////", "busy")]
    if course.attendants_in_overtime.any():
        parts.append((course.attendants_in_overtime, palette.VERMILION, "++", "in overtime"))
    most = _stack(panel, course, parts)
    if facts.attendant_windows:
        look: dict[str, Any] = {"color": palette.BLACK, "linewidth": 1.4, "linestyle": "--", "label": "on duty"}
        panel.step(_edges(course), style.ended(course.attendants_on_duty), where="post", **look)
        most = max(most, float(course.attendants_on_duty.max()))
    _finish(panel, "Attendants", most)


def _words(figure: style.Figure, facts: RunFacts, course: RoomCourse) -> None:
    """Title and notes."""
    height = figure.get_size_inches()[1]
    left = AROUND_IN["left"] / WIDTH_IN
    span = span_text(facts, course.from_min, course.to_min)
    title = fill(f"{facts.title}: {span}", TITLE_LETTERS)
    figure.text(left, 1.0 - 0.62 / height, title, fontsize=12, fontweight="bold", va="bottom", parse_math=False)
    note: dict[str, Any] = {"fontsize": style.NOTE_PT, "color": "0.3"}
    figure.text(left, 1.0 - 0.72 / height, one_run_note(facts), va="center", **note)
    if course.idle:
        figure.text(left, 0.14 / height, "Grey strips: no truck works (breaks, hours without a shift).", **note)
