"""Charts of the room over a mean week and a mean day: what is usual, and how far it goes up and down."""

import math
from collections.abc import Callable, Mapping

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from batsim.measures.room_course import CHARGER_STATES, CHARGERS
from batsim.measures.windows import Floats
from batsim.record import STATES
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
WITH_BATTERY = CHARGER_STATES[:4]
"""What chargers do that a battery keeps."""

Of = Callable[[str], "Band"]
"""Band of a count by its name."""


def week_chart(over: RoomOver) -> Figure:
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


def day_chart(over: RoomOver, days: tuple[str, ...] = ()) -> Figure:
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
) -> Figure:
    """Draw the panels that the layout has."""
    panels = _panels(over)
    heights = [HEIGHTS_IN[name] for name in panels]
    figure = style.new_figure((WIDTH_IN, sum(heights) + AROUND_IN))
    axes: list[Axes] = list(figure.subplots(len(panels), 1, sharex=True, height_ratios=heights))
    note = f"Lines: means of {count}. Bands: {BAND} of them, each the mean of a quarter of an hour."
    if idle:
        note += " Grey strips: no truck works, and none is counted."
    style.heading(axes[0], f"{over.layout}: {title}", note)
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


def _panels(over: RoomOver) -> Mapping[str, Callable[[Axes, RoomOver, Of, Floats], None]]:
    """What is drawn of a layout, from the top."""
    panels = {"trucks": _trucks} | ({} if over.in_truck else {"ready": _ready})
    panels |= {"batteries": _batteries, "chargers": _chargers}
    if any(over.counts[f"attendants {what}"].any() for what in ("busy", "on duty", "in overtime")):
        panels["attendants"] = _attendants
    return panels


def _ended(values: Floats) -> Floats:
    """Values with the last one once more, for the end of its quarter."""
    return values[[*range(values.size), -1]]


def _line(ax: Axes, edges: Floats, band: Band, colour: str, hatch: str, word: str) -> list[tuple[Artist, str]]:
    """Draw a mean and its band; returns handles and words."""
    low, high = _ended(band.low), _ended(band.high)
    filled = ax.fill_between(edges, low, high, step="post", **style.fill_of(colour, hatch) | {"linewidth": 0.0})
    line = ax.stairs(band.mean, edges, baseline=None, color=style.BLACK, linewidth=1.5, zorder=4.0)
    return [(line, f"{word}, mean"), (filled, f"{word}, {BAND}")]


def _finish(ax: Axes, drawn: list[tuple[Artist, str]], unit: str, most: float) -> None:
    """Legend, name and limits of a panel that begins at 0."""
    style.legend_beside(ax, [handle for handle, _ in drawn], [word for _, word in drawn])
    ax.set_ylabel(unit)
    ax.set_ylim(0.0, HEADROOM * most if most > 0.0 else 1.0)


def _most(*counts: Floats) -> float:
    """Most that any of some counts reaches; 0 where none is a number."""
    return max((float(value) for count in counts for value in count if math.isfinite(value)), default=0.0)


def _all(ax: Axes, number: float, drawn: list[tuple[Artist, str]]) -> float:
    """Draw how many there are in all, where there is a limit; returns that, or 0."""
    if not number < float("inf"):
        return 0.0
    drawn.append((ax.axhline(number, color=style.BLACK, linewidth=1.1, linestyle="--"), "in all"))
    return number


def _trucks(ax: Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Trucks waiting, and all that are away from their work."""
    waiting, away = of("trucks waiting"), of("trucks away")
    drawn = _line(ax, edges, waiting, style.ORANGE, "////", "waiting")
    line = ax.stairs(away.mean, edges, baseline=None, color=style.BLUE, linewidth=1.3, linestyle=":", zorder=4.0)
    drawn.append((line, "away from work, mean"))
    _finish(ax, drawn, "Trucks", _most(waiting.high, away.mean))


def _ready(ax: Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Ready batteries."""
    band = of("ready")
    _finish(ax, _line(ax, edges, band, style.GREEN, "||", "ready"), "Ready batteries", _most(band.high))


def _batteries(ax: Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Mean number of batteries in each state, on top of each other."""
    below = 0.0 * edges
    drawn: list[tuple[Artist, str]] = []
    for state in STATES:
        mean = of(state).mean
        if mean.any():
            above = _ended(mean) + below
            look = style.fill_of(*style.STATE_LOOKS[state][:2]) | {"linewidth": 0.4}
            drawn.append((ax.fill_between(edges, below, above, step="post", **look), state))
            below = above
    _finish(ax, drawn[::-1], "Batteries, mean", 1.0)
    ax.set_ylim(0.0, over.batteries)


def _chargers(ax: Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Chargers that give current, and all that a battery keeps."""
    band, taken = (
        of(CHARGERS["giving current"]),
        sum((of(CHARGERS[state]).mean for state in WITH_BATTERY), 0.0 * edges[:-1]),
    )
    drawn = _line(ax, edges, band, *style.CHARGER_LOOKS["giving current"], "giving current")
    line = ax.stairs(taken, edges, baseline=None, color=style.BLUE, linewidth=1.3, linestyle=":", zorder=4.0)
    drawn.append((line, "with a battery, mean"))
    _finish(ax, drawn, "Chargers", max(_most(band.high, taken), _all(ax, over.chargers, drawn)))


def _attendants(ax: Axes, over: RoomOver, of: Of, edges: Floats) -> None:
    """Attendants at a job, on duty and in overtime."""
    busy, duty, overtime = (of(f"attendants {what}") for what in ("busy", "on duty", "in overtime"))
    drawn = _line(ax, edges, busy, style.PURPLE, "xxxx", "busy")
    if overtime.mean.any():
        line = ax.stairs(overtime.mean, edges, baseline=None, color=style.VERMILION, linewidth=1.3, zorder=4.0)
        drawn.append((line, "in overtime, mean"))
    if duty.mean.any():
        line = ax.stairs(duty.mean, edges, baseline=None, color=style.BLACK, linewidth=1.3, linestyle="--", zorder=4.0)
        drawn.append((line, "on duty"))
    _finish(ax, drawn, "Attendants", _most(busy.high, duty.mean, overtime.mean))
