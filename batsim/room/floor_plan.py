"""Ways in the room: how far and how long a device goes between places and stations."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.room.clock import TICKS_PER_MIN
from batsim.scenario.parts.floor import Spot, place_spots, station_spots

if TYPE_CHECKING:
    from batsim.room.battery import Battery
    from batsim.scenario.parts.floor import Floor
    from batsim.scenario.parts.handling import Device

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

    def shared_out(self, batteries: int, empty: int) -> list[int]:
        """Places for so many batteries, the nearest of each station in turn, that leave each one an empty place.

        What a station cannot reach never comes to it, so each needs ready batteries and empty places of its own.
        """
        free, found = set(range(self.places)), []
        for number in range(batteries):
            stations = [(number + each) % self.stations for each in range(self.stations)]
            near = ([place for place in self.nearest[station] if place in free] for station in stations)
            choices = [place for places in near for place in places[:1] if self._leaves(free - {place}, empty)]
            others = [place for place in self.nearest_first if place in free]
            beyond = [place for place in others if all(place not in near for near in self.in_reach)]
            place = (choices or beyond or others)[0]
            free.remove(place)
            found.append(place)
        return found

    def _leaves(self, free: set[int], empty: int) -> bool:
        """Tell whether so many empty places are left in reach of every station."""
        return all(len(near & free) >= empty for near in self.in_reach)


def in_turn(batteries: "list[Battery]") -> "list[Battery]":
    """One battery of each line, then another of each, and so on."""
    seen: dict[int, int] = {}
    turns = []
    for battery in batteries:
        turn = seen[battery.line.number] = seen.get(battery.line.number, 0) + 1
        turns.append((turn, battery.number, battery))
    return [battery for _, _, battery in sorted(turns, key=lambda each: each[:2])]


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
