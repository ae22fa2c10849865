"""Where things stand in the room of a layout, ready to be drawn to scale: bays, stations, aisles, ways."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

from batsim.errors import require
from batsim.scenario.parts.floor import BayRow, Floor, Spot, bay_spots, station_spots
from batsim.scenario.site import Scenario
from batsim.study.running.counts import week_plan

FULL = 0.96
"""Part of the pitch that a bay takes up where no battery is measured. [-]"""


class Box(NamedTuple):
    """A rectangle of the floor. [m]"""

    x_m: float
    y_m: float
    width_m: float
    height_m: float


class Bay(NamedTuple):
    """Bays one above the other."""

    row: str
    number: int
    """In its row, from 1."""
    levels: int
    box: Box


class DrawnWay(NamedTuple):
    """Way of a device from a station to the farthest bay that it serves from there."""

    station: int
    """From 1."""
    points: tuple[tuple[float, float], ...]
    metres: float


@dataclass(frozen=True)
class RoomPlan:
    """What stands where."""

    layout: str
    bays: tuple[Bay, ...]
    stations: tuple[tuple[float, float], ...]
    """Middles of the stations. [m]"""
    ways: tuple[DrawnWay, ...]
    overhead: bool
    """Whether the device goes overhead, both distances at once."""
    aisles: tuple[Box, ...]
    """What is to be kept clear in front of the rows; empty when the room states no aisle."""
    zones: dict[str, Box]
    """What devices can reach, by name."""
    size_m: tuple[float, float] | None
    """Length and width of the room; None where it is not measured. [m]"""
    aisle_m: float | None
    wash_m: float | None
    """Way to the eyewash and shower; where it stands nobody says. [m]"""

    @property
    def room(self) -> Box | None:
        """Walls; None where the room is not measured, or positions are not counted from its corner."""
        walls = None if self.size_m is None else Box(0.0, 0.0, *self.size_m)
        return walls if walls is not None and all(_holds(walls, bay.box) for bay in self.bays) else None


def room_plan(scenario: Scenario, layout: str, area: str = "") -> RoomPlan | None:
    """Work out what stands where in an area of a layout.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layout
        Name of one of its layouts.
    area
        Name of one of its areas; a layout of one area needs none.

    Returns
    -------
    RoomPlan or None
        None when the area states no floor.

    Raises
    ------
    ValueError
        When the layout has no such area.

    Notes
    -----
    Positions are those of middles. A bay is as large as the largest battery, along its row no more than the pitch.
    Rows whose bays run to the side on which most stations stand have their aisle there.
    """
    areas = scenario.areas_of(layout)
    require(area in areas, f"layout '{layout}' has areas of its own: name one of {', '.join(areas)} (got '{area}')")
    scenario = areas[area]
    floor = scenario.layouts[layout].floor
    if floor is None:
        return None
    planned, measured = week_plan(scenario, layout).floor, scenario.room
    assert planned is not None  # the layout states one
    spots, stations = bay_spots(floor, planned.bays), station_spots(floor, planned.stations)
    path = next((device.path for device in scenario.arrangement(layout).devices.values()), "aisles")
    overhead, largest, aisle_m = path == "overhead", _largest_battery(scenario, layout), measured.aisle_m
    rows = [(row, _bays(row, row_spots, largest)) for row, row_spots in _by_row(floor, spots)]
    return RoomPlan(
        layout=layout,
        bays=tuple(bay for _, bays in rows for bay in bays),
        stations=tuple((spot.x_m, spot.y_m) for spot in stations),
        ways=_ways(stations, spots, planned.nearest, overhead=overhead),
        overhead=overhead,
        aisles=_aisles(rows, stations, aisle_m),
        zones={name: _box(*zone.from_point, *zone.to_point) for name, zone in floor.zones.items()},
        size_m=_measured(scenario),
        aisle_m=aisle_m,
        wash_m=measured.wash_m,
    )


def _largest_battery(scenario: Scenario, layout: str) -> tuple[float, float] | None:
    """Length and width that every battery of a layout keeps; None where none is measured. [m]"""
    sizes = [size for name in scenario.batteries_of(layout) if (size := scenario.batteries[name].size) is not None]
    if not sizes:
        return None
    return max(size.length_mm for size in sizes) / 1000.0, max(size.width_mm for size in sizes) / 1000.0


def _measured(scenario: Scenario) -> tuple[float, float] | None:
    """Length and width of the room; None where it is not measured. [m]"""
    length_m, width_m = scenario.room.length_m, scenario.room.width_m
    return None if length_m is None or width_m is None else (length_m, width_m)


def _by_row(floor: Floor, spots: list[Spot]) -> list[tuple[BayRow, list[Spot]]]:
    """Positions of each row, in the order of `bay_spots`."""
    left = iter(spots)
    return [(row, list(islice(left, None if row.bays is None else row.bays * row.levels))) for row in floor.rows]


def _bays(row: BayRow, spots: list[Spot], size: tuple[float, float] | None) -> list[Bay]:
    """Bays of a row, those above each other as one."""
    stacks: dict[tuple[float, float], int] = {}
    for spot in spots:
        stacks[spot.x_m, spot.y_m] = stacks.get((spot.x_m, spot.y_m), 0) + 1
    along = FULL * row.pitch_m if size is None else min(size[0], FULL * row.pitch_m)
    across = along if size is None else size[1]
    wide, high = (along, across) if row.along == "x" else (across, along)
    return [
        Bay(row.row, number, levels, Box(x_m - wide / 2.0, y_m - high / 2.0, wide, high))
        for number, ((x_m, y_m), levels) in enumerate(stacks.items(), 1)
    ]


def _aisles(rows: list[tuple[BayRow, list[Bay]]], stations: list[Spot], aisle_m: float | None) -> tuple[Box, ...]:
    """What is kept clear in front of the rows; nothing where the room states no aisle."""
    if aisle_m is None:
        return ()
    return tuple(_aisle(row, bays, stations, aisle_m) for row, bays in rows if bays)


def _aisle(row: BayRow, bays: list[Bay], stations: list[Spot], aisle_m: float) -> Box:
    """What is kept clear in front of a row, on the side of the stations. [m]"""
    first, last = bays[0].box, bays[-1].box
    if row.along == "x":
        ahead = sum(spot.y_m - row.at.y_m for spot in stations) >= 0.0
        y_m = first.y_m + first.height_m if ahead else first.y_m - aisle_m
        return _box(first.x_m, y_m, last.x_m + last.width_m, y_m + aisle_m)
    ahead = sum(spot.x_m - row.at.x_m for spot in stations) >= 0.0
    x_m = first.x_m + first.width_m if ahead else first.x_m - aisle_m
    return _box(x_m, first.y_m, x_m + aisle_m, last.y_m + last.height_m)


def _ways(
    stations: list[Spot], spots: list[Spot], nearest: Sequence[Sequence[int]], *, overhead: bool
) -> tuple[DrawnWay, ...]:
    """Way from each station to the farthest bay that it serves; none where it serves no bay."""
    return tuple(
        _way(number, station, [spots[bay] for bay in bays], overhead=overhead)
        for number, (station, bays) in enumerate(zip(stations, nearest, strict=True), 1)
        if bays
    )


def _way(number: int, station: Spot, near: list[Spot], *, overhead: bool) -> DrawnWay:
    """Way to the farthest of some bays: along the row and then across, or straight. [m]"""

    def metres(spot: Spot) -> float:
        x_m, y_m = abs(spot.x_m - station.x_m), abs(spot.y_m - station.y_m)
        return max(x_m, y_m) if overhead else x_m + y_m

    far = max(near, key=metres)
    corner = () if overhead else ((far.x_m, station.y_m),)
    return DrawnWay(number, ((station.x_m, station.y_m), *corner, (far.x_m, far.y_m)), metres(far))


def _box(x0: float, y0: float, x1: float, y1: float) -> Box:
    """Rectangle between two corners."""
    return Box(min(x0, x1), min(y0, y1), abs(x1 - x0), abs(y1 - y0))


def _holds(outer: Box, inner: Box) -> bool:
    """Whether a rectangle lies in another, its edges included."""
    along = outer.x_m <= inner.x_m and inner.x_m + inner.width_m <= outer.x_m + outer.width_m
    across = outer.y_m <= inner.y_m and inner.y_m + inner.height_m <= outer.y_m + outer.height_m
    return along and across
