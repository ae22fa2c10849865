"""Discharges: how a truck uses up its battery from one visit to the room to the next.

One discharge is one event: when the state of charge will have fallen to a level follows in closed form, and the calendar
turns working minutes into clock time.
"""

from collections.abc import Iterator
from itertools import repeat
from math import exp, inf
from typing import TYPE_CHECKING

from batsim.formulas.discharge import at_factor, discharge_at_power
from batsim.record import LEVEL
from batsim.room.clock import ticked
from batsim.room.recovery import drawn_for, run_down, scaled, soc_of
from batsim.room.visits import Discharge, Taken, next_visit, part_of
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.room.battery import Battery
    from batsim.room.group_plan import GroupPlan
    from batsim.room.queue import Queue
    from batsim.room.simulation import Room


CLOSE = 5e-3
"""The capacity factor of a discharge is found when it moves by less than this: what is left is ten times less. [-]"""
MOST_PASSES = 8
DISCHARGED = 1e-6
"""Less than this above the cut-out lasts for some ticks of the clock at most: nothing is left to carry on with."""


class Worker:
    """A truck at work: what it draws from its battery, and when it goes for another one."""

    __slots__ = (
        "arrival_soc",
        "battery",
        "below_cut_out",
        "capacity_at_work",
        "discharge_factors",
        "drift_k",
        "entity",
        "factor",
        "factors",
        "group",
        "joined_min",
        "lead_min",
        "left_min",
        "number",
        "planned",
        "position",
        "queue",
        "reason",
        "room",
        "run_times",
        "trip_min",
        "warmth",
        "watchful",
    )

    def __init__(self, room: "Room", number: int, group: "GroupPlan", position: int, battery: "Battery") -> None:
        self.room, self.number, self.group = room, number, group
        self.battery = battery
        self.queue: Queue = battery.queue
        self.trip_min = group.trip_min
        streams, truck = room.streams, group.truck
        # Streams go by group and position, so that a truck more in one group shifts nobody in another.
        self.entity, self.position = f"truck of group {group.number}", position
        self.factor = 1.0
        self.factors: Iterator[float] = repeat(1.0)
        """Factors on its power beside that of others; the first one is its own."""
        self.discharge_factors: Iterator[float] | None = None
        self.run_times: Iterator[float] | None = None
        if truck.run_time_min is not None:
            self.run_times = streams.durations(truck.run_time_min, self.entity, position, "run")
        elif truck.duty is not None:
            self.factors = streams.factors(truck.duty.between_trucks_share, self.entity, position, "factor")
            self.discharge_factors = streams.factors(truck.duty.between_shifts_share, self.entity, position, "stint")
        when = truck.exchange_when
        self.watchful = (
            when.shift_change != "never" or when.in_breaks_below_share is not None or when.early_below_share is not None
        )
        """Whether it may go for another battery before its level is reached."""
        self.lead_min = ticked(when.before_shift_end_min + when.spread_min * position / truck.count)
        """How long before the end of its shift it goes. [min]"""
        self.planned: tuple[Discharge, float] | None = None
        """Its discharge, while it may still be called early, and from when on. [-, min]"""
        self.left_min = self.joined_min = 0.0
        self.arrival_soc, self.below_cut_out, self.reason = 1.0, 0, LEVEL
        self.warmth = (0.0, 0.0, 0.0)
        """Start, mean and end temperature of its battery in the discharge worked out last. [degC]"""
        self.drift_k = 0.0
        """Mean less start temperature of its last discharge, a first guess for the next. [K]"""
        self.capacity_at_work = 1.0
        """Capacity of its battery in the discharge worked out last, over the rated one. [-]"""

    def power_w(self) -> float:
        """Mean power of the next discharge, by the demand of the week in which it is planned. [W]"""
        assert self.discharge_factors is not None  # there are run times or draws
        demand = self.group.demand[int(self.room.env.now // WEEK_MIN)]
        return demand * self.group.power_w * self.factor * next(self.discharge_factors)

    def run_min(self) -> float:
        """Run time of the next discharge, by the demand of the week in which it is planned. [min]"""
        assert self.run_times is not None  # asked before
        demand = self.group.demand[int(self.room.env.now // WEEK_MIN)]
        minutes = next(self.run_times)
        return minutes if demand == 1.0 else ticked(minutes / demand)

    def taken(self, soc_from: float, soc_to: float) -> tuple[float, float]:
        """Ampere-hours and energy between two states of charge, at no particular power. [Ah, kWh]"""
        cell = self.queue.plan.cell
        ah = (soc_from - soc_to) * cell.capacity_ah
        return ah, ah * cell.cells * (cell.empty_v + cell.slope_v * (soc_from + soc_to) / 2.0) / 1000.0

    def go_on_time(self, start_min: float, minutes: float, soc_from: float, level: float) -> bool:
        """Work for a run time that brings the battery to a level."""
        if self.watchful:
            return self._watch(Discharge(start_min, minutes, soc_from, level, 0.0, 0.0, None, 0.0, 1.0))
        return self.go(start_min, minutes, (soc_from, level, *self.taken(soc_from, level)), heats=False)

    def go_on_power(
        self, start_min: float, soc_from: float, level: float, power_w: float, trip_back_min: float
    ) -> bool:
        """Work at a mean power until a level, then drive to the room."""
        if self.queue.plan.wells is not None:
            return self.go_on_wells(start_min, soc_from, level, power_w, (self.trip_min, trip_back_min))
        hours, ah = self.lasts(start_min, soc_from, level, power_w)
        minutes = max(0.0, ticked(60.0 * hours - trip_back_min))
        if self.watchful:
            factor = self.capacity_at_work
            return self._watch(
                Discharge(start_min, minutes, soc_from, level, power_w, 0.0, None, trip_back_min, factor)
            )
        with_trip = 1.0 + self.trip_min / (60.0 * hours) if hours else 1.0
        arrival = soc_from - (soc_from - level) * with_trip
        kwh = power_w * hours * with_trip / 1000.0
        return self.go(start_min, minutes, (soc_from, arrival, ah * with_trip, kwh), heats=True)

    def go_on_wells(
        self,
        start_min: float,
        soc_from: float,
        level: float,
        power_w: float,
        trips: tuple[float, float],
        *,
        watched: bool = True,
    ) -> bool:
        """Work at a mean power until a level, recovering in breaks, then drive to the room.

        Trips: minutes driven beyond the level, and minutes of the run that are not work. [min]
        """
        battery, plan = self.battery, self.queue.plan
        rated_h, rated_ah = discharge_at_power(soc_from, level, power_w, plan.rated_cell)
        if plan.wells is None or not 0.0 < rated_h < inf:
            return self.go(start_min, 0.0 if rated_h == 0.0 else inf, (soc_from, soc_from, 0.0, 0.0), heats=False)
        wells = scaled(plan.wells, self.capacity_factor(start_min, rated_h, rated_ah))
        amps, (beyond_min, not_work_min) = rated_ah / rated_h, trips
        if self.watchful and watched:
            worked_min = run_down(
                wells,
                self.group.timetable,
                start_min,
                (wells.most_ah - battery.missing_ah, battery.surplus_ah),
                amps,
                level,
            )[0]
            minutes = max(0.0, ticked(worked_min - not_work_min)) if worked_min < inf else inf
            return self._watch(Discharge(start_min, minutes, soc_from, level, power_w, amps, wells, not_work_min, 1.0))
        state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
        worked_min, state = run_down(wells, self.group.timetable, start_min, state, amps, level)
        if worked_min == inf:
            return self.go(
                start_min, inf, (soc_from, level, wells.most_ah - battery.missing_ah - state[0], 0.0), heats=False
            )
        held_ah, battery.surplus_ah = drawn_for(*state, amps, beyond_min / 60.0, wells)
        hours = (worked_min + beyond_min) / 60.0
        arrival = soc_of(held_ah, battery.surplus_ah, wells)
        minutes = max(0.0, ticked(worked_min - not_work_min))
        return self.go(start_min, minutes, (soc_from, arrival, amps * hours, power_w * hours / 1000.0), heats=True)

    def lasts(self, start_min: float, soc_from: float, soc_to: float, power_w: float) -> tuple[float, float]:
        """Working hours and ampere-hours between two states of charge, at the temperature that the work brings."""
        rated_h, rated_ah = discharge_at_power(soc_from, soc_to, power_w, self.queue.plan.rated_cell)
        factor = self.capacity_at_work = self.capacity_factor(start_min, rated_h, rated_ah)
        return rated_h * factor, rated_ah * factor

    def capacity_factor(self, start_min: float, rated_h: float, rated_ah: float) -> float:
        """Capacity of its battery in a discharge over the rated one.

        The colder the battery gets, the shorter the discharge, and the less it cools: a fixed point. The last discharge's
        drift is a good first guess, so one pass is mostly enough.
        """
        battery, group, plan = self.battery, self.group, self.queue.plan
        capacity_at, health = plan.capacity_at, battery.health
        stated = group.truck.temperature_degc
        if stated is not None:
            self.warmth = (stated, stated, stated)
            return capacity_at(stated) * health
        start_degc = battery.degc_after_rest(start_min, self.room.air_degc(start_min))
        self.warmth = (start_degc, start_degc, start_degc)
        factor = capacity_at(start_degc + self.drift_k) * health
        if not 0.0 < rated_h < inf:
            return factor
        amps, rated_min, advance = rated_ah / rated_h, 60.0 * rated_h, group.timetable.advance
        for _ in range(MOST_PASSES):
            minutes = rated_min * factor
            span_min = advance(start_min, minutes) - start_min
            if not 0.0 < span_min < inf:
                break
            self.warmth = warmth = self._warmed(start_min, start_degc, amps, minutes, span_min)
            before, factor = factor, capacity_at(warmth[1]) * health
            if -CLOSE < factor - before < CLOSE:
                break
        self.drift_k = self.warmth[1] - start_degc
        return factor

    def _warmed(
        self, start_min: float, start_degc: float, amps: float, worked_min: float, span_min: float
    ) -> tuple[float, float, float]:
        """Start, mean and end temperature over a discharge, its heat spread over its breaks: `formulas.heat`. [degC]"""
        plan = self.queue.plan
        rise_k = plan.kelvin_per_a2 * amps * amps * worked_min / span_min
        top_degc = self.group.air_degc[int(start_min // WEEK_MIN)] + rise_k
        spans = span_min / plan.truck_tau_min
        decay = exp(-spans)
        excess = start_degc - top_degc
        return start_degc, top_degc + excess * (1.0 - decay) / spans, top_degc + excess * decay

    def _watch(self, discharge: Discharge) -> bool:
        """Plan a discharge that may end before its level is reached: at a shift change, in a break, or when called."""
        when, table, start_min = self.group.truck.exchange_when, self.group.timetable, discharge.start_min
        left_min = table.advance(start_min, discharge.minutes) if discharge.minutes < inf else inf
        break_after_min = early_min = inf
        if when.in_breaks_below_share is not None:
            break_after_min = table.advance(start_min, self._minutes_to(discharge, when.in_breaks_below_share))
        if when.early_below_share is not None:
            early_min = table.advance(start_min, self._minutes_to(discharge, when.early_below_share))
        self.left_min, self.reason = next_visit(self, discharge, left_min, break_after_min)
        if early_min < self.left_min and early_min < inf:
            self.planned = discharge, max(early_min, self.room.env.now)
            self.joined_min = self.left_min + self.trip_min
            return True
        return self._cut(discharge)

    def _minutes_to(self, discharge: Discharge, level: float) -> float:
        """Working minutes of a discharge until the state of charge is at a level. [min]"""
        if level >= discharge.soc_from:
            return 0.0
        if not discharge.power_w:
            return ticked(discharge.minutes * (discharge.soc_from - level) / (discharge.soc_from - discharge.level))
        if discharge.wells is not None:
            battery, wells = self.battery, discharge.wells
            state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
            minutes = run_down(wells, self.group.timetable, discharge.start_min, state, discharge.amps, level)[0]
        else:
            cell = at_factor(self.queue.plan.rated_cell, discharge.factor)
            minutes = 60.0 * discharge_at_power(discharge.soc_from, level, discharge.power_w, cell)[0]
        return max(0.0, ticked(minutes - discharge.driven_min)) if minutes < inf else inf

    def settle(self, visit_min: float) -> None:
        """Settle a discharge that was open to a call: the truck leaves its work at a time."""
        assert self.planned is not None  # there is a discharge to settle
        discharge, self.planned = self.planned[0], None
        self.left_min = visit_min
        self._cut(discharge)

    def _cut(self, discharge: Discharge) -> bool:
        """Write a discharge that ends when the truck leaves for the room; see `work`."""
        left_min, battery = self.left_min, self.battery
        worked_min, taken = part_of(self, discharge, left_min)
        battery.soc_share = self.arrival_soc = taken[1]
        battery.missing_ah += taken[2]
        self.below_cut_out = int(taken[1] < self.queue.plan.battery.discharge_to_share)
        self.joined_min = left_min + self.trip_min
        self.warm_up(discharge.start_min, left_min, worked_min, taken[2] if discharge.power_w else 0.0)
        self.write_discharge(discharge.start_min, left_min, taken)
        return left_min < inf

    def go(self, start_min: float, minutes: float, taken: Taken, *, heats: bool) -> bool:
        """Put the discharge into the calendar and write its row; its warmth has been worked out if it heats."""
        battery, arrival = self.battery, taken[1]
        self.reason = LEVEL
        battery.soc_share = arrival
        battery.missing_ah += taken[2]
        self.arrival_soc = arrival
        self.below_cut_out = int(arrival < self.queue.plan.battery.discharge_to_share)
        left = self.group.timetable.advance(start_min, minutes)
        self.left_min = left
        self.joined_min = left + self.trip_min
        if not heats:
            self.warm_up(start_min, left, minutes, 0.0)
        self.write_discharge(start_min, left, taken)
        return left < inf

    def warm_up(self, start_min: float, end_min: float, worked_min: float, ah: float) -> None:
        """Work out the warmth of a discharge of known length, from the ampere-hours that heat; 0 where unknown."""
        stated = self.group.truck.temperature_degc
        start_degc = stated
        if start_degc is None:
            start_degc = self.battery.degc_after_rest(start_min, self.room.air_degc(start_min))
        self.warmth = (start_degc, start_degc, start_degc)
        if stated is None and worked_min > 0.0 and end_min < inf:
            amps = 60.0 * ah / worked_min
            self.warmth = self._warmed(start_min, start_degc, amps, worked_min, end_min - start_min)

    def write_discharge(self, start_min: float, end_min: float, taken: Taken) -> None:
        """Warm and wear the battery, and write the row of a discharge."""
        battery = self.battery
        start_degc, mean_degc, end_degc = self.warmth
        battery.degc, battery.degc_min = end_degc, end_min
        soc_from, soc_to, ah, kwh = taken
        self.room.record.write.discharges(
            truck=self.number,
            group=self.group.number,
            battery=battery.number,
            start_min=start_min,
            end_min=end_min,
            soc_from_share=soc_from,
            soc_to_share=soc_to,
            drawn_ah=ah,
            drawn_kwh=kwh,
            start_degc=start_degc,
            mean_degc=mean_degc,
            end_degc=end_degc,
            damage=battery.wear(ah, mean_degc),
        )
