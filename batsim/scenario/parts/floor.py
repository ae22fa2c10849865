"""Where things stand in the room: bays in rows, stations, and what a device can reach."""

from itertools import islice
from typing import Annotated, NamedTuple

from pydantic import Field

from batsim.scenario.parts.faults import Fault, each_entry, wrong
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Quantity, Words, by_default, reads
from batsim.scenario.parts.quantities import Metres
from batsim.scenario.parts.schemas import TEXTS


class Point(NamedTuple):
    """A point of the floor. [m]"""

    x_m: float
    y_m: float


@reads(TEXTS | {"minItems": 2, "maxItems": 2, "examples": [["2 m", "4.5 m"]]})
def read_point(value: object) -> Point:
    """A point of the floor: metres along the room and across it, such as `[2 m, 4.5 m]`."""
    if not isinstance(value, list) or len(value) != 2:
        wrong("needs two distances from a corner of the room, such as [2 m, 4.5 m]")
    return Point(*each_entry(enumerate(value), Quantity("distance").read))


class BayRow(Frozen):
    """A row of bays, or of stations, one beside the other."""

    row: NameText = "row"
    """Its name on site."""
    at: Annotated[Point, read_point]
    """Its first bay. [m]"""
    pitch_m: Annotated[float, Quantity("distance", above=0.0)] = Field(alias="pitch")
    """From the middle of one bay to that of the next. [m]"""
    along: Annotated[str, Words("x", "y")] = "x"
    """Whether it runs along the first or the second distance."""
    bays: Annotated[int, Count(least=1)] | None = None
    """Bays on each of its levels; in the last row: what is left when not stated."""
    levels: Annotated[int, Count(least=1, most=10)] = 1
    """Levels one above the other."""
    level_height_m: Metres = Field("0 m", alias="level_height")  # type: ignore[assignment]
    """From one level to the next. [m]"""


class StationRow(Frozen):
    """Where the stations are: one beside the other."""

    at: Annotated[Point, read_point]
    """The first station. [m]"""
    pitch_m: Annotated[float, Quantity("distance", above=0.0)] = by_default("floor.station_pitch", "pitch")
    """From one station to the next. [m]"""
    along: Annotated[str, Words("x", "y")] = "x"
    """Whether they stand along the first or the second distance."""


class Zone(Frozen):
    """A rectangle of the floor, such as what a hoist can reach."""

    from_point: Annotated[Point, read_point] = Field(alias="from")
    """One corner. [m]"""
    to_point: Annotated[Point, read_point] = Field(alias="to")
    """The corner opposite. [m]"""

    def holds(self, x_m: float, y_m: float) -> bool:
        """Whether a point lies in it, its edges included."""
        (x0, y0), (x1, y1) = self.from_point, self.to_point
        return min(x0, x1) <= x_m <= max(x0, x1) and min(y0, y1) <= y_m <= max(y0, y1)


class Floor(Frozen):
    """Positions in the room; ways of devices then follow from them."""

    rows: tuple[BayRow, ...] = Field(min_length=1)
    """Rows of bays."""
    stations: StationRow
    """Stations; how many there are, the layout says."""
    zones: dict[NameText, Zone] = Field(default_factory=dict)
    """What a device can reach, by its name; all the floor when not stated."""

    def _faults(self) -> list[Fault]:
        """Only the last row may take what is left."""
        rule = "missing: every row but the last says how many bays it has"
        return [Fault(("rows", number, "bays"), rule) for number, row in enumerate(self.rows[:-1]) if not row.bays]


class Spot(NamedTuple):
    """A position in the room. [m]"""

    x_m: float
    y_m: float
    height_m: float


def bay_spots(floor: Floor, bays: int) -> list[Spot]:
    """Positions of so many bays, row by row and level by level; fewer where the rows hold no more."""
    spots: list[Spot] = []
    for row in floor.rows:
        left = bays - len(spots)
        # The last row may leave its number to what is left.
        columns = -(-left // row.levels) if row.bays is None else row.bays
        places = ((column, level) for level in range(row.levels) for column in range(columns))
        spots += [_along(row, column, level * row.level_height_m) for column, level in islice(places, left)]
    return spots


def station_spots(floor: Floor, stations: int) -> list[Spot]:
    """Positions of so many stations."""
    return [_along(floor.stations, number, 0.0) for number in range(stations)]


def _along(row: BayRow | StationRow, number: int, height_m: float) -> Spot:
    """Position of one bay or station of a row."""
    step = number * row.pitch_m
    return Spot(row.at.x_m + step * (row.along == "x"), row.at.y_m + step * (row.along == "y"), height_m)
