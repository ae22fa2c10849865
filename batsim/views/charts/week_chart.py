"""Charts of the room over a mean week and a mean day: what is usual, and how far it goes up and down."""

import math
from collections.abc import Callable, Mapping

from batsim.measures.room_course import CHARGER_STATES, CHARGERS
from batsim.measures.windows import Floats
from batsim.record.words import STATES
from batsim.scenario.parts.week import DAYS
from batsim.study.room_over import Band, RoomOver
from batsim.views.charts import chart_style as style
from batsim.views.text.numbers import counted

WIDTH_IN = 11.0
HEIGHTS_IN = {"trucks": 1.7, "ready": 1.7, "batteries": 2.8, "chargers": 1.5, "attendants": 1.3}
"""Heights of the panels. [in]"""
AROUND_IN = 1.4
HEADROOM = 1.1
BAND = "5 % to 95 %"
LETTERS = 26
"""Letters of the name of a battery type."""
WITH_BATTERY = CHARGER_STATES[:4]
"""What chargers do that a battery keeps."""

Of = Callable[[str], "Band"]
"""Band of a count by its name."""


def week_chart(over: RoomOver) -> style.Figure:
    """Draw the room over the mean week.

    Parameters
    ----------
    over
        What `batsim.room_over` returns.

    Returns
    -------
    matplotlib.figure.Figure
        A figure and not one axes, because its panels share the time axis: trucks, ready batteries, batteries by state,
        chargers, attendants. Lines are means, bands go from 5 % to 95 % of the weeks of all replications. With
        charging in the truck there is no stock of ready batteries, and without attendants no panel of them.
    """
    weeks = counted(over.replications * over.weeks, "week")
    return _drawn(over, over.week, over.week_min, over.idle_week, "a mean week", weeks, "Weekday")


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
        As `week_chart`; bands go from 5 % to 95 % of those days of all weeks and replications.

    Raises
    ------
    ValueError
        If there is no such weekday.
    """
    unknown = [day for day in days if day not in DAYS]
    if unknown:
        msg = f"days must be among {', '.join(DAYS)} (got {', '.join(map(str, unknown))})"
        raise ValueError(msg)
    wanted = days or over.working_days
    count = counted(over.replications * over.weeks * len(wanted), "day")
    title = f"a mean {'day' if len(wanted) != 1 else wanted[0]}"
    note = f"{count} ({', '.join(wanted)})" if wanted else count
    return _drawn(
        over, lambda name: over.day(name, wanted), over.day_min, over.idle_day(wanted), title, note, "Time of day"
    )


def _drawn(
    over: RoomOver, of: Of, edges: Floats, idle: list[tuple[float, float]], title: str, count: str, time: str
) -> style.Figure:
    """Draw the panels that the layout has."""
    panels = _panels(over)
    heights = [HEIGHTS_IN[name] for name in panels]
    figure = style.new_figure((WIDTH_IN, sum(heights) + AROUND_IN))
    axes: list[style.Axes] = list(figure.subplots(len(panels), 1, sharex=True, height_ratios=heights))
    note = f"Lines: means of {count}. Bands: {BAND} of them, each the mean of a quarter of an hour."
    if idle:
        note += " Grey strips: no truck works, and none is counted."
    style.heading(axes[0], f"{over.title}: {title}", note)
    if math.isnan(of("ready").mean[0]):
        for ax in axes:
            style.nothing(ax, "" if ax is not axes[0] else "No working day in the week.")
        return figure
    for ax, draw in zip(axes, panels.values(), strict=True):
        style.frame(ax)
        draw(ax, over, of, edges)
        style.shade(ax, idle, 0.10)
    style.week_axis(axes[-1], float(edges[0]), float(edges[-1]))
    axes[-1].set_xlabel(time)
    figure.align_ylabels(axes)
    return figure


def _panels(over: RoomOver) -> Mapping[str, Callable[[style.Axes, RoomOver, Of, Floats], None]]:
    """What is drawn of a layout, from the top."""
    panels = {"trucks": _trucks} | ({} if over.in_truck else {"ready": _ready})
    panels |= {"batteries": _batteries, "chargers": _chargers}
    if any(over.counts[f"attendants {what}"].any() for what in ("busy", "on duty", "in overtime")):
        panels["attendants"] = _attendants
    return panels


def _line(ax: style.Axes, edges: Floats, band: Band, colour: str, hatch: str, word: str) -> style.Legend:
    """Draw a mean and its band; each with its words for the legend."""
    filled = style.band(ax, edges, band.low, band.high, colour, hatch)
    line = _mean(ax, edges, band, style.BLACK, 1.5)
    return {f"{word}, mean": line, f"{word}, {BAND}": filled}


def _finish(ax: style.Axes, legend: style.Legend, unit: str, most: float) -> None:
    """Legend, name and limits of a panel that begins at 0."""
    style.legend_beside(ax, legend)
    ax.set_ylabel(unit)
    ax.set_ylim(0.0, HEADROOM * most if most > 0.0 else 1.0)


def _most(*counts: Floats) -> float:
    """Most that any of some counts reaches; 0 where none is a number."""
    return max((float(value) for count in counts for value in count if math.isfinite(value)), default=0.0)


def _mean(ax: style.Axes, edges: Floats, band: Band, colour: str, width: float, dashes: str = "-") -> style.Artist:
    """Draw the mean of a count."""
    return ax.stairs(band.mean, edges, baseline=None, color=colour, linewidth=width, linestyle=dashes, zorder=4.0)


def _trucks(ax: style.Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Trucks waiting, and all that are away from their work."""
    waiting, away = of("trucks waiting"), of("trucks away")
    legend = _line(ax, edges, waiting, style.ORANGE, "////", "waiting")
    legend["away from work, mean"] = _mean(ax, edges, away, style.BLUE, 1.3, ":")
    _finish(ax, legend, "Trucks", _most(waiting.high, away.mean))


def _ready(ax: style.Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Ready batteries; where several areas are shown, also those of each type."""
    band, types = of("ready"), over.ready_by_type
    legend = _line(ax, edges, band, style.GREEN, "||", "ready")
    if len(over.areas) > 1 and len(types) > 1:
        for name, count, look in zip(style.names_fit(types, LETTERS, 1), types.values(), style.LINES, strict=False):
            legend[name] = _mean(ax, edges, of(count), look[0], 1.3, look[1])
    _finish(ax, legend, "Ready batteries", _most(band.high))


def _batteries(ax: style.Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Mean number of batteries in each state, on top of each other."""
    below = 0.0 * edges
    legend: style.Legend = {}
    for state in STATES:
        mean = of(state).mean
        if mean.any():
            above = style.ended(mean) + below
            look = style.fill_of(*style.STATE_LOOKS[state][:2]) | {"linewidth": 0.4}
            legend[state] = ax.fill_between(edges, below, above, step="post", **look)
            below = above
    _finish(ax, dict(reversed(legend.items())), "Batteries, mean", 1.0)
    ax.set_ylim(0.0, over.batteries)


def _chargers(ax: style.Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Chargers that give current, and all that a battery keeps."""
    band = of(CHARGERS["giving current"])
    taken = sum((of(CHARGERS[state]).mean for state in WITH_BATTERY), 0.0 * edges[:-1])
    legend = _line(ax, edges, band, *style.CHARGER_LOOKS["giving current"], "giving current")
    legend["with a battery, mean"] = ax.stairs(
        taken, edges, baseline=None, color=style.BLUE, linewidth=1.3, linestyle=":"
    )
    most = _most(band.high, taken)
    if over.chargers < float("inf"):
        legend["in all"] = ax.axhline(over.chargers, color=style.BLACK, linewidth=1.1, linestyle="--")
        most = max(most, over.chargers)
    _finish(ax, legend, "Chargers", most)


def _attendants(ax: style.Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Attendants at a job, on duty and in overtime."""
    busy, duty, overtime = (of(f"attendants {what}") for what in ("busy", "on duty", "in overtime"))
    legend = _line(ax, edges, busy, style.PURPLE, "xxxx", "busy")
    if overtime.mean.any():
        legend["in overtime, mean"] = _mean(ax, edges, overtime, style.VERMILION, 1.3, "-")
    if duty.mean.any():
        legend["on duty"] = _mean(ax, edges, duty, style.BLACK, 1.3, "--")
    _finish(ax, legend, "Attendants", _most(busy.high, duty.mean, overtime.mean))
