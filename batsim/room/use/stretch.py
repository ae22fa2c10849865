"""How a truck's work uses up its battery, within one shift and so at one power."""

from math import inf
from typing import Any, NamedTuple, Protocol

from batsim.formulas.discharge import Cell, discharge_at_power, lowest_soc, rates, soc_after
from batsim.room.timing.clock import ticked
from batsim.room.timing.timetable import Timetable

new: Any = tuple.__new__


class Stretch(NamedTuple):
    """Part of a discharge within one shift."""

    begin_min: float
    end_min: float
    """When its level is reached, the next shift begins or the truck leaves; infinite when never. [min]"""
    before: Any
    after: Any
    """State of the battery before and after: its state of charge, or what its two wells hold."""
    soc_share: float
    """State of charge at the end. [-]"""
    power_w: float
    used_min: float
    """Minutes of use: of work, and of the way from the room. [min]"""
    ah: float


class Source(Protocol):
    """What gives the power of a truck's work: a battery at one capacity, or a run time."""

    full: Any
    """State of a charged battery."""

    def soc(self, state: Any) -> float:  # noqa: ANN401 - of this kind of source
        """State of charge of a state. [-]"""

    def used(self, state: Any, power_w: float, minutes: float) -> tuple[Any, float]:  # noqa: ANN401
        """State after some minutes of driving, at most until it is empty, and ampere-hours drawn."""

    def part(
        self,
        table: Timetable,
        begin_min: float,
        stop_min: float,
        state: Any,  # noqa: ANN401
        level: float,
        power_w: float,
        driven_min: float,
    ) -> Stretch:
        """Work at a power down to a level, or until a time; see `AtPower.part`."""

    def upto(self, table: Timetable, stretch: Stretch, stop_min: float, driven_min: float) -> Stretch:
        """Work until a time before the end of a stretch. [min]"""


class AtPower:
    """Gives a power as Peukert's law allows, see `batsim.formulas.discharge`; its state is the state of charge."""

    full = 1.0
    """State of a charged battery."""

    def __init__(self, cell: Cell) -> None:
        self.cell = cell
        self.most_a = 0.0
        """Strongest current down to the levels that it was asked for. [A]"""
        self._at = (0.0, 0.0, 0.0, 0.0)
        """State of charge and power that it was last asked for, and the rates there."""

    def soc(self, state: float) -> float:
        """State of charge of a state. [-]"""
        return state

    def part(
        self,
        table: Timetable,
        begin_min: float,
        stop_min: float,
        state: float,
        level: float,
        power_w: float,
        driven_min: float,
    ) -> Stretch:
        """Work at a power down to a level, or until a time.

        Parameters
        ----------
        table
            When the truck works.
        begin_min, stop_min
            From when on, and until when at the latest. [min]
        state, level
            State of charge before, and at which work ends. [-]
        power_w
            The power. [W]
        driven_min
            Minutes on the way from the room, before work begins, in which the battery is used too. [min]
        """
        cell = self.cell
        level = level if level < state else state
        amps, share_per_h = rates(level, power_w, cell)
        self._at = (level, power_w, amps, share_per_h)
        if amps > self.most_a:  # noqa: PLR1730 - `max` takes twice as long
            self.most_a = amps
        if stop_min < inf:
            use_min = table.worked(begin_min, stop_min) + driven_min
            # Nowhere does it fall faster than at the level: most often that tells that it is not reached.
            if state - use_min / 60.0 * share_per_h > level:
                return self._used(begin_min, stop_min, state, power_w, use_min)
        hours, ah = discharge_at_power(state, level, power_w, cell)
        used_min = 60.0 * hours
        if hours < inf:
            if used_min < driven_min:  # the way from the room alone takes more than there is
                used_min = min(driven_min, 60.0 * discharge_at_power(state, 0.0, power_w, cell)[0])
                level, ah = soc_after(state, used_min / 60.0, power_w, cell)
            elif power_w * 4.0 * cell[4] > cell[1] * cell[0] * (cell[2] + cell[3] * level) ** 2:  # it fails before
                level = min(state, max(level, lowest_soc(power_w, cell)))
            end_min = table.advance(begin_min, max(0.0, ticked(used_min - driven_min)))
            if end_min <= stop_min and end_min < inf:
                stretch: Stretch = new(Stretch, (begin_min, end_min, state, level, level, power_w, used_min, ah))
                return stretch
        if stop_min < inf:
            return self._used(begin_min, stop_min, state, power_w, use_min)
        return Stretch(begin_min, inf, state, state, state, power_w, 0.0, 0.0)

    def upto(self, table: Timetable, stretch: Stretch, stop_min: float, driven_min: float) -> Stretch:
        """Work until a time before the end of a stretch."""
        begin_min, _, state, _, _, power_w, _, _ = stretch
        return self._used(begin_min, stop_min, state, power_w, table.worked(begin_min, stop_min) + driven_min)

    def _used(self, begin_min: float, stop_min: float, state: float, power_w: float, use_min: float) -> Stretch:
        """Work at a power until a time, so many minutes of use."""
        soc, ah = soc_after(state, use_min / 60.0, power_w, self.cell)
        stretch: Stretch = new(Stretch, (begin_min, stop_min, state, soc, soc, power_w, use_min, ah))
        return stretch

    def used(self, state: float, power_w: float, minutes: float) -> tuple[float, float]:
        """State of charge after some minutes of driving, at most until it is empty, and ampere-hours drawn.

        At the current with which they begin: ways are short.
        """
        at_soc, at_w, amps, share_per_h = self._at
        if state != at_soc or power_w != at_w:
            amps, share_per_h = rates(state, power_w, self.cell)
        if share_per_h == inf:
            return state, 0.0
        hours = minutes / 60.0
        if share_per_h * hours > state:
            hours = state / share_per_h
        return state - share_per_h * hours, amps * hours


class AtPace:
    """Falls evenly to a level in a run time, whatever the power; its state is the state of charge."""

    full = 1.0

    def __init__(self, minutes: float, soc_from: float, level: float, capacity_ah: float) -> None:
        self.minutes, self.soc_from, self.level, self.capacity_ah = minutes, soc_from, level, capacity_ah

    def soc(self, state: float) -> float:
        """State of charge of a state. [-]"""
        return state

    def used(self, state: float, power_w: float, minutes: float) -> tuple[float, float]:
        """State of charge after some minutes of driving: ways do not count, run times are of work."""
        return state, 0.0

    def part(
        self,
        table: Timetable,
        begin_min: float,
        stop_min: float,
        state: float,
        level: float,
        power_w: float,
        driven_min: float,
    ) -> Stretch:
        """Work down to a level, or until a time; see `AtPower.part`."""
        span = self.soc_from - self.level
        used_min = self.minutes
        if span and (state, level) != (self.soc_from, self.level):
            used_min = ticked(self.minutes * max(0.0, state - level) / span)
        end_min = table.advance(begin_min, used_min)
        soc = level
        if end_min > stop_min:
            end_min, used_min = stop_min, table.worked(begin_min, stop_min)
            soc = max(0.0, state - span * used_min / self.minutes)
        return Stretch(begin_min, end_min, state, soc, soc, power_w, used_min, (state - soc) * self.capacity_ah)

    def upto(self, table: Timetable, stretch: Stretch, stop_min: float, driven_min: float) -> Stretch:
        """Work until a time before the end of a stretch. [min]"""
        return self.part(table, stretch.begin_min, stop_min, stretch.before, 0.0, stretch.power_w, driven_min)
