"""Charts of the room over a mean week and a mean day: what is usual, and how far it goes up and down."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from batsim.display import counted
from batsim.measures.room_course import CHARGER_STATES, CHARGERS
from batsim.measures.windows import Floats
from batsim.record.words import STATES
from batsim.scenario.parts.week import DAYS, moment_text
from batsim.study.room_over import HOUR_MIN, Band, RoomOver
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit
from batsim.views.text.numbers import short_number

HEIGHTS_IN = {
    "trucks": 0.9, "ready": 0.85, "batteries": 1.5, "chargers": 1.02, "stations": 0.58, "devices": 0.58,
    "attendants": 0.7,
}  # fmt: skip
"""Heights of the panels. [in]"""
AROUND_IN, BETWEEN_IN = 1.1, 0.22
"""What stands above and below all panels, and above each. [in]"""
HEADROOM = 1.1
BAND = "5 % to 95 %"
LETTERS = 26
"""Letters of the name of a battery type."""
IN_STEP = {True: "an hour", False: "a quarter of an hour"}
"""What one step of the lines is a mean of, by whether they go by hour."""
TOLD = {
    "trucks waiting": "trucks waiting", "trucks away": "trucks away from work", "ready": "ready batteries",
    CHARGERS["giving current"]: "chargers giving current",
    CHARGERS["held after the charge"]: "chargers held after the charge",
    "stations": "stations in use", "devices": "devices in use", "attendants busy": "attendants busy",
}  # fmt: skip
"""Counts that are told in words."""
NO_DAY = "No working day in the week."

Of = Callable[[str], "Band"]
"""Band of a count by its name."""


class Span(NamedTuple):
    """What is looked at: a mean week by hours, or a mean day by quarters of an hour."""

    of: Of
    edges: Floats
    """Edges of the steps. [min]"""
    idle: list[tuple[float, float]]
    """Where no truck works. [min]"""
    title: str
    means_of: str
    """What the means are of, such as `4 weeks`."""
    axis: str

    @property
    def by_hour(self) -> bool:
        """Whether a step is an hour."""
        return bool(self.edges[1] - self.edges[0] == HOUR_MIN)

    def moment(self, step: int) -> str:
        """When a step begins, such as `Tue 14:00`, of a day `14:00`."""
        text = moment_text(float(self.edges[step]))
        return text if self.by_hour else text[4:]


def week_chart(over: RoomOver, *, title: str = "") -> style.Figure:
    """Draw the room over the mean week, hour by hour.

    Parameters
    ----------
    over
        What `batsim.room_over` returns.
    title
        Stands above; what the chart shows when not given.

    Returns
    -------
    matplotlib.figure.Figure
        A figure and not one axes, because its panels share the time axis: trucks, ready batteries (each type where
        there are several), batteries by state, chargers by what they do, stations, devices, attendants. Lines are
        means of an hour, bands go from 5 % to 95 % of the weeks of all replications. With charging in the truck there
        is no stock of ready batteries; there is no panel of devices or attendants where there are none.
    """
    return _drawn(over, _week(over), title)


def week_text(over: RoomOver) -> str:
    """Say in words what `week_chart` draws, with its numbers."""
    return _told(over, _week(over))


def day_chart(over: RoomOver, days: tuple[str, ...] = ()) -> style.Figure:
    """Draw the room over a mean day, midnight to midnight.

    Parameters
    ----------
    over
        What `batsim.room_over` returns.
    days
        Weekdays such as `("Mon", "Tue")`; all working days when none are named.

    Returns
    -------
    matplotlib.figure.Figure
        As `week_chart`, by quarters of an hour; bands go from 5 % to 95 % of those days of all weeks and replications.

    Raises
    ------
    ValueError
        If there is no such weekday.
    """
    return _drawn(over, _day(over, days))


def day_text(over: RoomOver, days: tuple[str, ...] = ()) -> str:
    """Say in words what `day_chart` draws, with its numbers."""
    return _told(over, _day(over, days))


def _week(over: RoomOver) -> Span:
    """The mean week; breaks shorter than an hour are not marked in it."""
    idle = [(begin, end) for begin, end in over.idle_week if end - begin >= HOUR_MIN]
    weeks = counted(over.replications * over.weeks, "week")
    return Span(over.week_by_hour, over.hour_min, idle, "a mean week", weeks, "Weekday")


def _day(over: RoomOver, days: tuple[str, ...]) -> Span:
    """The mean of some weekdays."""
    unknown = [day for day in days if day not in DAYS]
    if unknown:
        msg = f"days must be among {', '.join(DAYS)} (got {', '.join(map(str, unknown))})"
        raise ValueError(msg)
    wanted = days or over.working_days
    count = counted(over.replications * over.weeks * len(wanted), "day")
    title = f"a mean {'day' if len(wanted) != 1 else wanted[0]}"
    return Span(
        lambda name: over.day(name, wanted), over.day_min, over.idle_day(wanted), title,
        f"{count} ({', '.join(wanted)})" if wanted else count, "Time of day",
    )  # fmt: skip


def _drawn(over: RoomOver, span: Span, title: str = "") -> style.Figure:
    """Draw the panels that the layout has."""
    panels = _panels(over)
    heights = [HEIGHTS_IN[name] for name in panels]
    figure = style.new_figure((style.COLUMN_IN, sum(heights) + BETWEEN_IN * len(heights) + AROUND_IN))
    axes: list[style.Axes] = list(figure.subplots(len(panels), 1, sharex=True, height_ratios=heights))
    if math.isnan(span.of("ready").mean[0]):
        for ax in axes:
            style.nothing(ax, "" if ax is not axes[0] else NO_DAY)
    else:
        for ax, draw in zip(axes, panels.values(), strict=True):
            style.frame(ax)
            draw(ax, over, span)
            style.shade(ax, span.idle, 0.10)
            ax.yaxis.label.set_fontsize(style.WORD_PT)
        style.week_axis(axes[-1], float(span.edges[0]), float(span.edges[-1]))
        axes[-1].set_xlabel(span.axis, fontsize=style.WORD_PT)
        figure.align_ylabels(axes)
    style.head_of_all(figure, title or f"{over.title}: {span.title}")
    style.under_all(figure, _note(span))
    return figure


def _note(span: Span) -> str:
    """What lines, bands and strips are."""
    step = IN_STEP[span.by_hour]
    note = f"Lines and areas: means of {span.means_of}. Bands: {BAND} of them, each the mean of {step}."
    return note + (" Grey strips: no truck works, and none is counted." if span.idle else "")


def _panels(over: RoomOver) -> Mapping[str, Callable[[style.Axes, RoomOver, Span], None]]:
    """What is drawn of a layout, from the top."""
    panels = {"trucks": _trucks} | ({} if over.in_truck else {"ready": _ready})
    panels |= {"batteries": _batteries, "chargers": _chargers, "stations": _stations}
    if over.devices:
        panels["devices"] = _devices
    if any(over.counts[f"attendants {what}"].any() for what in ("busy", "on duty", "in overtime")):
        panels["attendants"] = _attendants
    return panels


def _line(ax: style.Axes, span: Span, name: str, colour: str, hatch: str, word: str) -> style.Legend:
    """Draw the mean of a count and its band, with its word for the legend."""
    band = span.of(name)
    style.band(ax, span.edges, band.low, band.high, colour, hatch)
    return {f"{word}, mean": _mean(ax, span, band, palette.BLACK, 1.3)}


def _mean(ax: style.Axes, span: Span, band: Band, colour: str, width: float, dashes: str = "-") -> style.Artist:
    """Draw the mean of a count."""
    return ax.stairs(band.mean, span.edges, baseline=None, color=colour, linewidth=width, linestyle=dashes, zorder=4.0)


def _finish(ax: style.Axes, legend: style.Legend, unit: str, most: float) -> None:
    """Legend, name and limits of a panel that begins at 0."""
    from matplotlib.ticker import MaxNLocator

    style.legend_above(ax, legend)
    ax.set_ylabel(unit)
    ax.yaxis.set_major_locator(MaxNLocator(nbins=3, steps=[1, 2, 5, 10]))
    ax.set_ylim(0.0, HEADROOM * most if most > 0.0 else 1.0)


def _most(*counts: Floats) -> float:
    """Most that any of some counts reaches; 0 where none is a number."""
    return max((float(value) for count in counts for value in count if math.isfinite(value)), default=0.0)


def _stack(ax: style.Axes, span: Span, parts: Sequence[tuple[str, str, palette.Look]]) -> style.Legend:
    """Draw means on top of each other: of counts by name, each with its word and look; what is nothing is left out."""
    below = 0.0 * span.edges
    legend: style.Legend = {}
    for name, word, look in parts:
        mean = span.of(name).mean
        if mean.any():
            above = style.ended(mean) + below
            filled = palette.fill_of(*look[:2]) | {"linewidth": 0.4}
            legend[word] = ax.fill_between(span.edges, below, above, step="post", **filled)
            below = above
    return dict(reversed(legend.items()))


def _in_all(ax: style.Axes, legend: style.Legend, number: float) -> float:
    """Mark how many there are in all, where that is limited; returns what the axis has to show."""
    if not math.isfinite(number):
        return 0.0
    legend[f"in all: {number:g}"] = ax.axhline(number, color=palette.BLACK, linewidth=1.1, linestyle="--")
    return number


def _trucks(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Trucks waiting, and all that are away from their work."""
    waiting, away = span.of("trucks waiting"), span.of("trucks away")
    legend = _line(ax, span, "trucks waiting", palette.ORANGE, "////", "waiting")
    legend["away from work, mean"] = _mean(ax, span, away, palette.BLUE, 1.2)
    _finish(ax, legend, "Trucks", _most(waiting.high, away.mean))


def _ready(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Ready batteries; where there are several types, also those of each."""
    types = over.ready_by_type
    legend = _line(ax, span, "ready", palette.GREEN, "||", "ready")
    if len(types) > 1:
        for name, count, look in zip(names_fit(types, LETTERS, 1), types.values(), palette.LINES, strict=False):
            legend[name] = _mean(ax, span, span.of(count), look[0], 1.3, look[1])
    _finish(ax, legend, "Ready\nbatteries", _most(span.of("ready").high))


def _batteries(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Mean number of batteries in each state, on top of each other."""
    legend = _stack(ax, span, [(state, state, palette.STATE_LOOKS[state]) for state in STATES])
    _finish(ax, legend, "Batteries, mean", over.batteries)
    ax.set_ylim(0.0, over.batteries)


def _chargers(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Mean number of chargers by what they do, on top of each other; free ones are left out."""
    used = [state for state in CHARGER_STATES if state in palette.CHARGER_LOOKS]
    legend = _stack(ax, span, [(CHARGERS[state], state, (*palette.CHARGER_LOOKS[state], state)) for state in used])
    taken = sum((span.of(CHARGERS[state]).mean for state in used), 0.0 * span.edges[:-1])
    most = max(_most(taken), _in_all(ax, legend, over.chargers))
    _finish(ax, legend, "Chargers, mean", most)


def _stations(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Stations, or charging spots, with a truck in them."""
    legend = _line(ax, span, "stations", palette.BLUE, "---", "in use")
    most = max(_most(span.of("stations").high), _in_all(ax, legend, over.stations))
    _finish(ax, legend, "Charging\nspots" if over.in_truck else "Stations", most)


def _devices(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Devices that jobs hold, all kinds together."""
    legend = _line(ax, span, "devices", palette.GREY, "\\\\\\\\", "in use")
    most = max(_most(span.of("devices").high), _in_all(ax, legend, over.devices))
    _finish(ax, legend, "Devices", most)


def _attendants(ax: style.Axes, over: RoomOver, span: Span) -> None:
    """Attendants at a job, on duty and in overtime."""
    busy, duty, overtime = (span.of(f"attendants {what}") for what in ("busy", "on duty", "in overtime"))
    legend = _line(ax, span, "attendants busy", palette.PURPLE, "xxxx", "busy")
    if overtime.mean.any():
        legend["in overtime, mean"] = _mean(ax, span, overtime, palette.VERMILION, 1.3)
    if duty.mean.any():
        legend["on duty"] = _mean(ax, span, duty, palette.BLACK, 1.1, "--")
    _finish(ax, legend, "Attendants", _most(busy.high, duty.mean, overtime.mean))


def _told(over: RoomOver, span: Span) -> str:
    """Say what each count comes to."""
    told = list(_sentences(over, span))
    says = f"{over.title}, {span.title}, means of {span.means_of}, each of {IN_STEP[span.by_hour]}"
    return f"{says}. {' '.join(told)}" if told else f"{says}. {NO_DAY}"


def _sentences(over: RoomOver, span: Span) -> Iterator[str]:
    """A sentence for each count that is there."""
    of_types = {count: f"ready batteries of type '{name}'" for name, count in over.ready_by_type.items()}
    in_all = {"stations": over.stations, "devices": over.devices, CHARGERS["giving current"]: over.chargers}
    for name, words in (TOLD | (of_types if len(of_types) > 1 else {})).items():
        found = span.of(name).extremes
        if found.most > 0.0:
            of = f" of {in_all[name]:g}" if math.isfinite(in_all.get(name, math.inf)) else ""
            least = f"least {_number(found.least)} ({span.moment(found.least_at)})" if found.least > 0.0 else "least 0"
            yield (
                f"{words[:1].upper()}{words[1:]}{of}: on average {_number(found.mean)}, {least}, "
                f"most {_number(found.most)} ({span.moment(found.most_at)})."
            )


def _number(value: float) -> str:
    """A count to the digits that tell it from none."""
    return short_number(value) if value >= 0.95 else f"{value:.2g}"
