"""Devices that move batteries: each with where it was left, until when it is held, and whether it is out of use."""

from math import inf
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.room.plans.floor_plan import Table
    from batsim.room.timing.clock import Moment


class Unit:
    """One device."""

    def __init__(self, number: int, point: int) -> None:
        self.number = number
        self.free_min = 0.0
        """When what it does now is over. [min]"""
        self.out = 0
        """How many reasons keep it out of use."""
        self.point = point
        """Where it was left."""
        self.told: list[Moment] = []
        """What is to be told as soon as the end of what it does is known."""

    def hold_until(self, time_min: float) -> None:
        """Settle when what it does is over; infinite while that is not known. [min]"""
        self.free_min = time_min
        if self.told and time_min < inf:
            for moment in self.told:
                moment.after(0.0)
            self.told.clear()


class Devices:
    """Devices of one kind: how many there are, and how many an exchange needs."""

    def __init__(self, kind: int, count: float, needed: int, point: int) -> None:
        self.kind = kind
        self.needed = needed
        self.units = [Unit(number, point) for number in range(int(count))] if count < inf else []
        """All of them; none where there is no limit."""

    def can_serve(self, now: float) -> bool:
        """Whether enough are free now."""
        units = self.units
        if not units:
            return True
        free = 0
        for unit in units:
            if unit.free_min <= now and not unit.out:
                free += 1
                if free >= self.needed:
                    return True
        return False

    def in_use(self) -> bool:
        """Whether enough are not out of use, be they free or not."""
        return not self.units or sum(not unit.out for unit in self.units) >= self.needed

    def next_free_min(self, now: float) -> float:
        """When the next one that is held will be free. [min]"""
        return min((unit.free_min for unit in self.units if unit.free_min > now and not unit.out), default=inf)

    def choose(self, now: float, way: "Table | None" = None, to_point: int = 0) -> list[Unit]:
        """Pick free ones: those with the shortest way to a point, else the first by number."""
        free = []
        for unit in self.units:
            if unit.free_min <= now and not unit.out:
                free.append(unit)
                if way is None and len(free) == self.needed:
                    break
        if way is not None and len(free) > 1:
            free.sort(key=lambda unit: way[unit.point][to_point])
        return free[: self.needed]
