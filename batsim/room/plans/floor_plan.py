"""Ways in the room: how far and how long a device goes between bays and stations."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.room.timing.clock import TICKS_PER_MIN
from batsim.scenario.parts.floor import bay_spots, station_spots

if TYPE_CHECKING:
    from batsim.scenario.parts.floor import Floor
    from batsim.scenario.parts.handling import Device

Matrix = np.ndarray[Any, np.dtype[np.float64]]
HEIGHT = 2
"""Place of the height in a position."""
MOST_KEPT = 1_000_000
"""Numbers of one table that are kept at a time; what is asked for again after that is worked out again."""


class Table(dict[int, list[float]]):
    """Numbers from each point to every point, worked out when a point is first asked for.

    It grows with the points, not with their square: in a room of some hundred all is kept.
    """

    def __init__(self, points: int, row: Callable[[int], Matrix]) -> None:
        super().__init__()
        self._most, self._row = max(1, MOST_KEPT // points), row

    def __missing__(self, point: int) -> list[float]:
        """Work out the numbers from a point."""
        if len(self) >= self._most:
            self.clear()
        numbers: list[float] = self._row(point).tolist()
        self[point] = numbers
        return numbers


@dataclass(frozen=True)
class Ways:
    """Ways of one kind of device between all points: bays first, then stations."""

    metres: Table
    """Horizontal way. [m]"""
    loaded_min: Table
    """Time with a battery, up and down included. [min]"""
    empty_min: Table
    """Time without. [min]"""


@dataclass(frozen=True)
class FloorPlan:
    """All ways of a layout; points are numbered, bays first, then stations."""

    bays: int
    stations: int
    ways: tuple[Ways, ...]
    """By the kinds of device of the arrangement."""
    standby_ways: tuple[Ways, ...]
    """By those of the standby method."""
    nearest: tuple[tuple[int, ...], ...]
    """For each station, the bays in reach, nearest first."""
    in_reach: tuple[frozenset[int], ...]
    """For each station, the bays in reach."""
    rank: tuple[tuple[int, ...], ...]
    """For each station, the rank of every bay by its way."""

    @property
    def nearest_first(self) -> list[int]:
        """Bays by their mean way from all stations."""
        return sorted(range(self.bays), key=lambda bay: (sum(rank[bay] for rank in self.rank), bay))

    def shared_out(self, batteries: int, empty: int) -> list[int]:
        """Bays for so many batteries, the nearest of each station in turn, that leave each one an empty bay.

        What a station cannot reach never comes to it, so each needs ready batteries and empty bays of its own.
        """
        reached = frozenset[int]().union(*self.in_reach)
        free, bays = dict.fromkeys(self.nearest_first), []
        for number in range(batteries):
            turn = number % self.stations
            nearest = (
                next((bay for bay in near if bay in free), None)
                for near in (*self.nearest[turn:], *self.nearest[:turn])
            )
            choices = (bay for bay in nearest if bay is not None and self._can_spare(bay, free, empty))
            beyond = (bay for bay in free if bay not in reached)
            bay = next(chain(choices, beyond, free))
            del free[bay]
            bays.append(bay)
        return bays

    def _can_spare(self, bay: int, free: dict[int, None], empty: int) -> bool:
        """Whether so many empty bays are left in reach of every station when one is taken."""
        left = free.keys() - {bay}
        return all(len(near & left) >= empty for near in self.in_reach)


def floor_plan(floor: "Floor", bays: int, stations: int, devices: "list[Device]", standby: "list[Device]") -> FloorPlan:
    """Work out the ways between so many bays and stations."""
    spots = np.array([*bay_spots(floor, bays), *station_spots(floor, stations)])
    at_bays, path = spots[:bays], devices[0].path if devices else "aisles"
    reach = _reach_m(devices)
    to_bays = np.array([_metres(station, at_bays, path) for station in spots[bays:]])
    orders = np.argsort(to_bays + at_bays[:, HEIGHT], axis=1, kind="stable")
    nearest = [
        tuple(int(bay) for bay in order if way[bay] <= reach) for order, way in zip(orders, to_bays, strict=True)
    ]
    return FloorPlan(
        bays=bays,
        stations=stations,
        ways=tuple(_ways(spots, device) for device in devices),
        standby_ways=tuple(_ways(spots, device) for device in standby),
        nearest=tuple(nearest),
        in_reach=tuple(map(frozenset, nearest)),
        rank=tuple(tuple(ranks) for ranks in np.argsort(orders, axis=1).tolist()),
    )


def _reach_m(devices: "list[Device]") -> float:
    """How far the devices reach that an exchange takes together; infinite where none has an end. [m]"""
    return min([device.reach_m for device in devices if device.reach_m is not None], default=np.inf)


def _metres(spot: Matrix, spots: Matrix, path: str) -> Matrix:
    """Horizontal way from a point: along aisles one distance after the other, overhead both at once. [m]"""
    across, along = np.abs(spots[:, :HEIGHT] - spot[:HEIGHT]).T
    way: Matrix = across + along if path == "aisles" else np.maximum(across, along)
    return way


def _ways(spots: Matrix, device: "Device") -> Ways:
    """Ways of one kind of device, times in whole ticks."""

    def metres(point: int) -> Matrix:
        return _metres(spots[point], spots, device.path)

    def minutes(speed: float | None, point: int) -> Matrix:
        rise_min = np.abs(spots[:, HEIGHT] - spots[point, HEIGHT]) / (device.lift_m_per_min or np.inf)
        ticks: Matrix = np.rint((metres(point) / (speed or np.inf) + rise_min) * TICKS_PER_MIN)
        return ticks / TICKS_PER_MIN

    rows = (metres, partial(minutes, device.loaded_m_per_min), partial(minutes, device.empty_m_per_min))
    return Ways(*(Table(len(spots), row) for row in rows))
