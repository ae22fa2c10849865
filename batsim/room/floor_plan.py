"""Ways in the room: how far and how long a device goes between places and stations."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.room.clock import TICKS_PER_MIN
from batsim.scenario.floor import Spot, place_spots, station_spots

if TYPE_CHECKING:
    from batsim.scenario.floor import Floor
    from batsim.scenario.handling import Device

Matrix = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True)
class Ways:
    """Ways of one kind of device between all points: places first, then stations."""

    metres: list[list[float]]
    """Horizontal way. [m]"""
    loaded_min: list[list[float]]
    """Time with a battery, up and down included. [min]"""
    empty_min: list[list[float]]
    """Time without. [min]"""


@dataclass(frozen=True)
class FloorPlan:
    """All ways of a layout; points are numbered, places first, then stations."""

    places: int
    stations: int
    ways: tuple[Ways, ...]
    """By the kinds of device of the arrangement."""
    standby_ways: tuple[Ways, ...]
    """By those of the standby means."""
    nearest: tuple[tuple[int, ...], ...]
    """For each station, the places in reach, nearest first."""
    in_reach: tuple[frozenset[int], ...]
    """For each station, the places in reach."""
    rank: tuple[tuple[int, ...], ...]
    """For each station, the rank of every place by its way."""

    @property
    def nearest_first(self) -> list[int]:
        """Places by their mean way from all stations."""
        return sorted(range(self.places), key=lambda place: (sum(rank[place] for rank in self.rank), place))


def floor_plan(
    floor: "Floor", places: int, stations: int, devices: "list[Device]", standby: "list[Device]"
) -> FloorPlan:
    """Work out the ways between so many places and stations."""
    spots = [*place_spots(floor, places), *station_spots(floor, stations)]
    path = devices[0].path if devices else "aisles"
    metres = _metres(spots, path)
    heights = np.array([spot.height_m for spot in spots])
    reach = min((device.reach_m for device in devices if device.reach_m is not None), default=np.inf)
    nearest, in_reach, rank = [], [], []
    for station in range(places, places + stations):
        way = metres[station, :places] + heights[:places]
        order = [int(place) for place in np.argsort(way, kind="stable")]
        position = {place: number for number, place in enumerate(order)}
        near = [place for place in order if metres[station, place] <= reach]
        nearest.append(tuple(near))
        in_reach.append(frozenset(near))
        rank.append(tuple(position[place] for place in range(places)))
    return FloorPlan(
        places=places,
        stations=stations,
        ways=tuple(_ways(spots, device) for device in devices),
        standby_ways=tuple(_ways(spots, device) for device in standby),
        nearest=tuple(nearest),
        in_reach=tuple(in_reach),
        rank=tuple(rank),
    )


def _metres(spots: list[Spot], path: str) -> Matrix:
    """Horizontal way between all points: along aisles one distance after the other, overhead both at once. [m]"""
    x, y = (np.array([spot[axis] for spot in spots]) for axis in (0, 1))
    across, along = np.abs(x[:, None] - x), np.abs(y[:, None] - y)
    way: Matrix = across + along if path == "aisles" else np.maximum(across, along)
    return way


def _ways(spots: list[Spot], device: "Device") -> Ways:
    """Ways of one kind of device, times in whole ticks."""
    metres = _metres(spots, device.path)
    heights = np.array([spot.height_m for spot in spots])
    rise_min = np.abs(heights[:, None] - heights) / (device.lift_m_per_min or np.inf)
    loaded, empty = (
        np.rint((metres / (speed or np.inf) + rise_min) * TICKS_PER_MIN) / TICKS_PER_MIN
        for speed in (device.loaded_m_per_min, device.empty_m_per_min)
    )
    return Ways(metres.tolist(), loaded.tolist(), empty.tolist())
