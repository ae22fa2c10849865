"""Ways in the room: how far and how long a device goes between bays and stations."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.room.clock import TICKS_PER_MIN
from batsim.scenario.parts.floor import Spot, bay_spots, station_spots

if TYPE_CHECKING:
    from batsim.room.battery import Battery
    from batsim.scenario.parts.floor import Floor
    from batsim.scenario.parts.handling import Device

Matrix = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True)
class Ways:
    """Ways of one kind of device between all points: bays first, then stations."""

    metres: list[list[float]]
    """Horizontal way. [m]"""
    loaded_min: list[list[float]]
    """Time with a battery, up and down included. [min]"""
    empty_min: list[list[float]]
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
        free, found = set(range(self.bays)), []
        for number in range(batteries):
            stations = [(number + each) % self.stations for each in range(self.stations)]
            near = ([bay for bay in self.nearest[station] if bay in free] for station in stations)
            choices = [bay for bays in near for bay in bays[:1] if self._leaves(free - {bay}, empty)]
            others = [bay for bay in self.nearest_first if bay in free]
            beyond = [bay for bay in others if all(bay not in near for near in self.in_reach)]
            bay = (choices or beyond or others)[0]
            free.remove(bay)
            found.append(bay)
        return found

    def _leaves(self, free: set[int], empty: int) -> bool:
        """Tell whether so many empty bays are left in reach of every station."""
        return all(len(near & free) >= empty for near in self.in_reach)


def in_turn(batteries: "list[Battery]") -> "list[Battery]":
    """One battery of each queue, then another of each, and so on."""
    seen: dict[int, int] = {}
    turns = []
    for battery in batteries:
        turn = seen[battery.queue.number] = seen.get(battery.queue.number, 0) + 1
        turns.append((turn, battery.number, battery))
    return [battery for _, _, battery in sorted(turns, key=lambda each: each[:2])]


def floor_plan(floor: "Floor", bays: int, stations: int, devices: "list[Device]", standby: "list[Device]") -> FloorPlan:
    """Work out the ways between so many bays and stations."""
    spots = [*bay_spots(floor, bays), *station_spots(floor, stations)]
    path = devices[0].path if devices else "aisles"
    metres = _metres(spots, path)
    heights = np.array([spot.height_m for spot in spots])
    reach = min((device.reach_m for device in devices if device.reach_m is not None), default=np.inf)
    nearest, in_reach, rank = [], [], []
    for station in range(bays, bays + stations):
        way = metres[station, :bays] + heights[:bays]
        order = [int(bay) for bay in np.argsort(way, kind="stable")]
        position = {bay: number for number, bay in enumerate(order)}
        near = [bay for bay in order if metres[station, bay] <= reach]
        nearest.append(tuple(near))
        in_reach.append(frozenset(near))
        rank.append(tuple(position[bay] for bay in range(bays)))
    return FloorPlan(
        bays=bays,
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
