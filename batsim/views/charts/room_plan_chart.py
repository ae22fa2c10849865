"""Plan of the room of a layout, to scale: bays, stations, aisles, ways of devices."""

import math
from collections import Counter

from batsim.display import counted
from batsim.scenario.site import Scenario
from batsim.study.room_plan import Box, RoomPlan, room_plan
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.names_fit import names_fit

WIDTH_IN, AROUND_IN, LEAST_IN, MOST_IN = 10.7, 2.4, 3.6, 9.0
DRAWN_IN = 9.3
"""Width of the axes in a new figure, about. [in]"""
EDGE_M = 1.0
"""What is shown around everything. [m]"""
ROW_LETTERS = 12
"""Letters of the name of a row that are shown."""
STATION_M = 1.2
"""Side of the square that stands for a station. [m]"""
SAME_M = 1e-6
"""Distance below which two points are one. [m]"""
MOST_NUMBERS = 40
"""Bays in a row up to which every one is numbered; of more, every fifth."""
NO_FLOOR = (
    "This layout states no positions. Add 'floor' to it, with rows of bays and stations, and it is drawn to scale."
)


def room_plan_chart(
    scenario: Scenario, layout: str, ax: style.AxesOrNew = None, *, area: str = "", title: str = ""
) -> style.Axes:
    """Draw the room of a layout, or of one of its areas, to scale.

    Parameters
    ----------
    scenario
        The site, as `batsim.read` returns it.
    layout
        Name of one of its layouts.
    ax
        Axes to draw on; those of a new figure when not given.
    area
        Name of one of its areas; a layout of one area needs none.
    title
        Stands above; what the chart shows when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Bays with their rows and numbers, stations, aisles to be kept clear, the way of the device to the farthest
        bay of each station, zones, walls where positions are counted from a corner; a sentence in place of all that
        where the layout states no floor.

    Raises
    ------
    ValueError
        When the layout has no such area.
    """
    plan = room_plan(scenario, layout, area)
    title = title or _title(layout, area)
    if plan is None:
        ax = style.axes_for(ax, (WIDTH_IN, LEAST_IN))
        return style.empty(ax, title, NO_FLOOR)
    left, bottom, right, top = _limits(plan)
    tall = DRAWN_IN * (top - bottom) / (right - left) + AROUND_IN
    ax = style.axes_for(ax, (WIDTH_IN, min(max(tall, LEAST_IN), MOST_IN)))
    legend: style.Legend = {}
    _grounds(ax, plan, legend)
    _bays(ax, plan, legend)
    _stations(ax, plan, legend)
    _ways(ax, plan, legend)
    ax.set_xlim(left, right)
    ax.set_ylim(bottom, top)
    ax.set_aspect("equal")
    ax.spines[["top", "right"]].set_visible(False)
    style.axis_words(ax, "Along the room [m]", "Across [m]")
    style.heading(ax, title, _note(plan))
    style.legend_below(ax, legend)
    return ax


def room_plan_text(scenario: Scenario, layout: str, *, area: str = "") -> str:
    """Say in words what `room_plan_chart` draws, with its numbers."""
    plan, title = room_plan(scenario, layout, area), _title(layout, area)
    if plan is None:
        return f"{title}. {NO_FLOOR}"
    rows = Counter(bay.row for bay in plan.bays)
    told = [
        ", ".join(f"row {row} of {counted(count, 'bay')}" for row, count in rows.items()),
        counted(len(plan.stations), "station"),
        f"aisle of {plan.aisle_m:g} m" if plan.aisles else "",
        _farthest(plan) if plan.ways else "",
    ]
    return f"{title}: {'; '.join(filter(None, told))}. {_note(plan)}"


def _title(layout: str, area: str) -> str:
    return f"{f'{layout}, {area}' if area else layout}: plan of the room"


def _limits(plan: RoomPlan) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of what is shown. [m]"""
    boxes = [*(bay.box for bay in plan.bays), *plan.aisles, *plan.zones.values(), *map(_mark, plan.stations)]
    if plan.room is not None:
        boxes.append(plan.room)
    left, bottom = min(box.x_m for box in boxes), min(box.y_m for box in boxes)
    right, top = max(box.x_m + box.width_m for box in boxes), max(box.y_m + box.height_m for box in boxes)
    return left - EDGE_M, bottom - EDGE_M, right + EDGE_M, top + EDGE_M


def _mark(station: tuple[float, float]) -> Box:
    """Square that stands for a station."""
    x_m, y_m = station
    return Box(x_m - STATION_M / 2.0, y_m - STATION_M / 2.0, STATION_M, STATION_M)


def _rectangle(ax: style.Axes, box: Box, **look: object) -> style.Artist:
    """Draw a rectangle."""
    from matplotlib.patches import Rectangle

    return ax.add_patch(Rectangle((box.x_m, box.y_m), box.width_m, box.height_m, **look))  # type: ignore[arg-type]


def _grounds(ax: style.Axes, plan: RoomPlan, legend: style.Legend) -> None:
    """Walls, aisles and zones."""
    if plan.room is not None:
        legend["walls"] = _rectangle(ax, plan.room, facecolor="none", edgecolor=palette.BLACK, linewidth=2.4)
    for number, box in enumerate(plan.aisles):
        look = {"facecolor": palette.pale(palette.YELLOW), "edgecolor": palette.GREY, "linewidth": 0.8}
        drawn = _rectangle(ax, box, **look, alpha=0.6, zorder=0.5)
        if not number:
            legend[f"aisle, keep clear ({plan.aisle_m:g} m)"] = drawn
    for name, box in plan.zones.items():
        legend[f"reach of {name.replace('_', ' ')}"] = _rectangle(
            ax, box, facecolor="none", edgecolor=palette.GREEN, linewidth=1.6, linestyle="-.", zorder=1.5
        )


def _bays(ax: style.Axes, plan: RoomPlan, legend: style.Legend) -> None:
    """Bays with their numbers, rows with their names."""
    rows: dict[str, list[int]] = {}
    drawn = None
    for bay in plan.bays:
        drawn = _rectangle(ax, bay.box, **palette.fill_of(palette.BLUE, ""), zorder=2.0)
        rows.setdefault(bay.row, []).append(bay.number)
    if drawn is not None:
        levels = max(bay.levels for bay in plan.bays)
        legend["bay of a battery" if levels == 1 else f"bays, up to {levels} above each other"] = drawn
    for bay in plan.bays:
        count = len(rows[bay.row])
        x_m, y_m = _middle(bay.box)
        if count <= MOST_NUMBERS or bay.number == 1 or bay.number % 5 == 0:
            ax.text(
                x_m, y_m, f"{bay.number}", ha="center", va="center", fontsize=style.NOTE_PT, zorder=4.0, clip_on=True
            )
        if bay.number == 1:
            (name,) = names_fit([bay.row], ROW_LETTERS, 1)
            ax.annotate(
                name, (bay.box.x_m, y_m), xytext=(-5.0, 0.0), textcoords="offset points", ha="right", va="center",
                fontsize=9.0, fontweight="bold", zorder=4.0, parse_math=False,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
            )  # fmt: skip


def _stations(ax: style.Axes, plan: RoomPlan, legend: style.Legend) -> None:
    """Stations with their numbers."""
    for number, station in enumerate(plan.stations, 1):
        drawn = _rectangle(ax, _mark(station), **palette.fill_of(palette.ORANGE, "////"), zorder=2.5)
        legend["station, where a truck stops"] = drawn
        ax.text(
            *station, f"{number}", ha="center", va="center", fontsize=9.0, fontweight="bold", zorder=4.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip


def _ways(ax: style.Axes, plan: RoomPlan, legend: style.Legend) -> None:
    """Way of the device to the farthest bay of each station, under the bays; that bay in a frame."""
    for number, way in enumerate(plan.ways):
        xs, ys = zip(*way.points, strict=True)
        (line,) = ax.plot(xs, ys, color=palette.VERMILION, linewidth=1.6, linestyle="--", zorder=1.8)
        for bay in plan.bays:
            if math.dist(_middle(bay.box), way.points[-1]) < SAME_M:
                _rectangle(ax, bay.box, facecolor="none", edgecolor=palette.VERMILION, linewidth=1.8, zorder=3.0)
        if not number:
            legend[_farthest(plan)] = line


def _middle(box: Box) -> tuple[float, float]:
    """Middle of a rectangle. [m]"""
    return box.x_m + box.width_m / 2.0, box.y_m + box.height_m / 2.0


def _farthest(plan: RoomPlan) -> str:
    """The longest way of a device, in words."""
    kind = "overhead" if plan.overhead else "along aisles"
    return f"farthest way, {kind}: {max((way.metres for way in plan.ways), default=0.0):.1f} m"


def _note(plan: RoomPlan) -> str:
    """What the plan leaves out."""
    words = ["To scale; positions are those of middles, a station is a mark and no truck."]
    if plan.size_m is None:
        words.append("The room is not measured, so no walls are drawn.")
    elif plan.room is None:
        length, width = plan.size_m
        words.append(f"Room {length:g} m by {width:g} m; its walls are not drawn, since bays would lie across them.")
    if plan.wash_m is not None:
        words.append(f"Eyewash and shower: {plan.wash_m:g} m from the acid work; its place is not stated.")
    return " ".join(words)
