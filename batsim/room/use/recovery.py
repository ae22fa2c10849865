"""Use of a battery that recovers in breaks: the two-well model over the windows of a calendar.

Its state is what it holds and its surplus: available ampere-hours above level, below 0 after strong currents. The
discharge indicator reads the available well, and never more than what is left of the rated ampere-hours.
"""

from math import exp, inf

from batsim.formulas.discharge import Cell, discharge_at_power
from batsim.formulas.kibam import Wells, hours_to_empty, wells_after
from batsim.room.timing.clock import ticked
from batsim.room.timing.timetable import Timetable
from batsim.room.use.stretch import Stretch

HeldAndSurplus = tuple[float, float]


class FromWells:
    """Gives a power out of two wells that even out in breaks."""

    def __init__(self, wells: Wells, cell: Cell, factor: float) -> None:
        self.wells = wells._replace(most_ah=wells.most_ah * factor)
        self.cell = cell
        self.full: HeldAndSurplus = (self.wells.most_ah, 0.0)
        """State of a charged battery."""

    def state(self, missing_ah: float, surplus_ah: float) -> HeldAndSurplus:
        """What a battery holds that lacks so many ampere-hours, and its surplus. [Ah]"""
        return self.wells.most_ah - missing_ah, surplus_ah

    def soc(self, state: HeldAndSurplus) -> float:
        """State of charge: the lesser of the available well's filling and 1 less ampere-hours over rated ones. [-]"""
        held_ah, surplus_ah = state
        share, most_ah = self.wells.available_share, self.wells.most_ah
        filling = (share * held_ah + surplus_ah) / (share * most_ah)
        return max(0.0, min(filling, 1.0 - (most_ah - held_ah) / self.cell.capacity_ah))

    def rested(self, state: HeldAndSurplus, hours: float) -> HeldAndSurplus:
        """State after a rest, in which the wells even out."""
        return (state[0], state[1] * exp(-self.wells.rate_per_h * hours)) if hours > 0.0 else state

    def used(self, state: HeldAndSurplus, power_w: float, minutes: float) -> tuple[HeldAndSurplus, float]:
        """State after some minutes of driving, at most until it is empty, and ampere-hours drawn."""
        amps = self.amps(power_w)
        hours = min(minutes / 60.0, self.hours_to(state, amps, 0.0))
        return self._drawn(state, amps, hours), amps * hours

    def _drawn(self, state: HeldAndSurplus, amps: float, hours: float) -> HeldAndSurplus:
        """State after some hours at a current."""
        held_ah, surplus_ah = state
        share = self.wells.available_share
        available_ah = share * held_ah + surplus_ah
        available_ah, bound_ah = wells_after(available_ah, held_ah - available_ah, amps, hours, self.wells)
        left_ah = available_ah + bound_ah
        return left_ah, available_ah - share * left_ah

    def amps(self, power_w: float) -> float:
        """Mean current of a power over a full discharge; 0 where the battery cannot give it. [A]"""
        hours, ah = discharge_at_power(1.0, 0.0, power_w, self.cell)
        return ah / hours if 0.0 < hours < inf else 0.0

    def hours_to(self, state: HeldAndSurplus, amps: float, level: float) -> float:
        """Hours of use without a break until the state of charge is at a level. [h]

        What stays in both wells at that level does not count: taking it out of both leaves their difference.
        """
        held_ah, surplus_ah = state
        share, most_ah = self.wells.available_share, self.wells.most_ah
        kept_ah = level * most_ah
        available_ah = share * (held_ah - kept_ah) + surplus_ah
        left_ah = held_ah - most_ah + (1.0 - level) * self.cell.capacity_ah
        if available_ah <= 0.0 or left_ah <= 0.0:
            return 0.0
        if not amps:
            return inf
        return min(left_ah / amps, hours_to_empty(available_ah, (held_ah - kept_ah) - available_ah, amps, self.wells))

    def part(
        self,
        table: Timetable,
        begin_min: float,
        stop_min: float,
        state: HeldAndSurplus,
        level: float,
        power_w: float,
        driven_min: float,
    ) -> Stretch:
        """Work at a power down to a level, or until a time, recovering in every gap; see `AtPower.part`."""
        amps, before, time, used_min = self.amps(power_w), state, begin_min, driven_min
        state = self._drawn(state, amps, driven_min / 60.0)
        while time < stop_min:
            start_min, end_min = table.window(time)
            state = self.rested(state, (min(start_min, stop_min) - time) / 60.0) if start_min < inf else state
            if start_min >= stop_min:
                time = stop_min
                break
            time = max(time, start_min)
            until_min = min(end_min, stop_min)
            hours = self.hours_to(state, amps, level) if amps or not power_w else 0.0
            if time + 60.0 * hours <= until_min and hours < inf:
                minutes = ticked(60.0 * hours)
                state = self._drawn(state, amps, hours)
                used_min += 60.0 * hours
                return Stretch(
                    begin_min, time + minutes, before, state, self.soc(state), power_w, used_min, amps * used_min / 60.0
                )
            if until_min == inf:
                return Stretch(begin_min, inf, before, state, self.soc(state), power_w, 0.0, 0.0)
            state = self._drawn(state, amps, (until_min - time) / 60.0)
            used_min += until_min - time
            time = until_min
        return Stretch(begin_min, time, before, state, self.soc(state), power_w, used_min, amps * used_min / 60.0)

    def upto(self, table: Timetable, stretch: Stretch, stop_min: float, driven_min: float) -> Stretch:
        """Work until a time before the end of a stretch. [min]"""
        return self.part(table, stretch.begin_min, stop_min, stretch.before, 0.0, stretch.power_w, driven_min)
