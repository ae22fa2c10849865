"""Duty: a truck works its shifts on a battery until it must go for another one.

One stint is one event: when the state of charge will have fallen to the exchange level follows in closed form, and
the calendar turns working minutes into clock time.
"""

from collections.abc import Generator, Iterator
from math import exp, inf, nan
from typing import TYPE_CHECKING

from batsim.formulas.discharge import discharge
from batsim.record import TURNED_AWAY
from batsim.room.clock import ASKS, Moment, ticked
from batsim.room.recovery import drawn_for, run_down, scaled, soc_of
from batsim.room.streams import exchange_times
from batsim.scenario.week import WEEK_MIN

if TYPE_CHECKING:
    import numpy as np
    from simpy.events import Event

    from batsim.formulas.kibam import Wells
    from batsim.room.battery import Battery
    from batsim.room.blueprint import GroupPlan
    from batsim.room.exchange import Line
    from batsim.room.simulation import Room


CLOSE = 5e-3
"""The capacity factor of a stint is found when it moves by less than this: what is left is ten times less. [-]"""
MOST_PASSES = 8

Taken = tuple[float, float, float, float]
"""State of charge before and after, ampere-hours, energy. [-, -, Ah, kWh]"""


class Truck:
    """One truck and what is going on with it."""

    __slots__ = (
        "amps",
        "arrival_soc",
        "back_min",
        "battery",
        "below_cut_out",
        "cell",
        "drift_k",
        "entity",
        "exchange_times",
        "factor",
        "first_min",
        "fresh",
        "group",
        "in_line",
        "joined_min",
        "left_min",
        "line",
        "number",
        "plugged_min",
        "position",
        "ready_found",
        "room",
        "run_times",
        "served",
        "start_soc",
        "stint_factors",
        "trip_min",
        "usable_ah",
        "warmth",
        "wells",
    )

    def __init__(self, room: "Room", number: int, group: "GroupPlan", position: int, battery: "Battery") -> None:
        self.room = room
        self.number = number
        self.group = group
        self.battery = battery
        self.fresh = battery
        self.line: Line = battery.line
        self.trip_min = group.trip_min
        streams, truck = room.streams, group.truck
        # Streams go by group and position, so that a truck more in one group shifts nobody in another.
        self.entity, self.position = f"truck of group {group.number}", position
        self.factor = 1.0
        self.stint_factors: Iterator[float] | None = None
        self.run_times: Iterator[float] | None = None
        if truck.run_time_min is not None:
            self.run_times = streams.durations(truck.run_time_min, self.entity, position, "run")
        elif truck.draws is not None:
            self.factor = next(streams.factors(truck.draws.between_trucks_share, self.entity, position, "factor"))
            self.stint_factors = streams.factors(truck.draws.between_stints_share, self.entity, position, "stint")
        self.first_min = _first_run(truck.first_run_min, position)
        """Working time until it first asks; None for a random start. [min]"""
        self.start_soc = 1.0
        if self.first_min is None:
            level = truck.exchange_at_share
            self.start_soc = level + (1.0 - level) * float(streams.generator(self.entity, position, "start").random())
        self.exchange_times: Iterator[tuple[float, ...]] = iter(())
        self.served: Moment
        self.in_line = False
        self.plugged_min = nan
        """Since when it has been plugged in within scheduled time. [min]"""
        self.left_min = self.joined_min = self.back_min = 0.0
        self.arrival_soc, self.below_cut_out, self.ready_found = 1.0, 0, 0
        self.usable_ah = 0.0
        self.wells: Wells | None = None
        self.warmth = (0.0, 0.0, 0.0)
        """Start, mean and end temperature of its battery in the stint worked out last. [degC]"""
        self.drift_k = 0.0
        """Mean less start temperature of its last stint, a first guess for the next. [K]"""
        self.amps = 0.0
        """Two wells and mean current of the present stint, when it is charged in the truck. [A]"""
        self.cell = group.cell
        """Its battery at the temperature of the present stint, when it is charged in the truck."""

    def draw_exchanges(self, weights: "np.ndarray[tuple[int, int], np.dtype[np.float64]]") -> None:
        """Prepare the times of its exchanges."""
        plan = self.room.plan.exchange
        if plan is not None:
            self.exchange_times = exchange_times(
                self.room.streams, list(plan.laws), self.entity, self.position, weights
            )

    def leaves_with(self, fresh: "Battery", free_min: float) -> None:
        """Take the battery that it will leave with, and when it will be back at work."""
        self.fresh = fresh
        self.back_min = free_min + self.trip_min

    def first_stint(self, level: float) -> bool:
        """Plan the first stint: of stated length, or from a random state of charge; see `work`."""
        if self.first_min is not None:
            return self._go(0.0, self.first_min, (1.0, level, *self.taken(1.0, level)), heats=False)
        start = self.start_soc
        used, all_of_it = 1.0 - start, 1.0 - level
        if self.run_times is not None:
            minutes = ticked(next(self.run_times) * (start - level) / all_of_it)
            self.battery.missing_ah = self.taken(1.0, start)[0]
            return self._go(0.0, minutes, (start, level, *self.taken(start, level)), heats=False)
        power_w = self.power_w()
        rated_h, rated_ah = discharge(1.0, level, power_w, self.line.plan.rated_cell)
        self.battery.missing_ah = rated_ah * self.capacity_factor(0.0, rated_h, rated_ah) * used / all_of_it
        return self._go_on_power(0.0, start, level, power_w, 0.0)

    def work(self, start_min: float, level: float) -> bool:
        """Plan the stint on a full battery from a start to the next visit to the room.

        Fills in when the truck leaves its work, when it joins the line and what is left in its battery then. The
        ways from and to the room are drawn at the mean rate of the stint. Returns False when it never comes.
        """
        if self.run_times is not None:
            return self._go(start_min, next(self.run_times), (1.0, level, *self.taken(1.0, level)), heats=False)
        return self._go_on_power(start_min, 1.0, level, self.power_w(), self.trip_min)

    def carry_on(self, start_min: float, cut_out: float) -> bool:
        """Plan on with what is left, so that the truck comes to the room at its cut-out; see `work`.

        A run time says nothing of what is left: the truck then works for another one, and nothing more is drawn.
        """
        soc = self.arrival_soc
        if self.run_times is not None:
            return self._go(start_min, next(self.run_times), (soc, soc, 0.0, 0.0), heats=False)
        power_w = self.power_w()
        if self.line.plan.wells is not None:
            return self._go_on_wells(start_min, soc, cut_out, power_w, (0.0, 2.0 * self.trip_min))
        hours, ah = self.lasts(start_min, soc, cut_out, power_w)
        minutes = max(0.0, ticked(60.0 * hours - 2.0 * self.trip_min))
        return self._go(start_min, minutes, (soc, cut_out, ah, power_w * hours / 1000.0), heats=True)

    def power_w(self) -> float:
        """Mean power of the next stint. [W]"""
        assert self.stint_factors is not None  # there are run times or draws
        return self.group.power_w * self.factor * next(self.stint_factors)

    def taken(self, soc_from: float, soc_to: float) -> tuple[float, float]:
        """Ampere-hours and energy between two states of charge, at no particular power. [Ah, kWh]"""
        cell = self.line.plan.cell
        ah = (soc_from - soc_to) * cell.capacity_ah
        return ah, ah * cell.cells * (cell.empty_v + cell.slope_v * (soc_from + soc_to) / 2.0) / 1000.0

    def _go_on_power(
        self, start_min: float, soc_from: float, level: float, power_w: float, trip_back_min: float
    ) -> bool:
        """Work at a mean power until a level, then drive to the room."""
        if self.line.plan.wells is not None:
            return self._go_on_wells(start_min, soc_from, level, power_w, (self.trip_min, trip_back_min))
        hours, ah = self.lasts(start_min, soc_from, level, power_w)
        minutes = max(0.0, ticked(60.0 * hours - trip_back_min))
        with_trip = 1.0 + self.trip_min / (60.0 * hours) if hours else 1.0
        arrival = soc_from - (soc_from - level) * with_trip
        kwh = power_w * hours * with_trip / 1000.0
        return self._go(start_min, minutes, (soc_from, arrival, ah * with_trip, kwh), heats=True)

    def _go_on_wells(
        self, start_min: float, soc_from: float, level: float, power_w: float, trips: tuple[float, float]
    ) -> bool:
        """Work at a mean power until a level, recovering in breaks, then drive to the room.

        Trips: minutes driven beyond the level, and minutes of the run that are not work. [min]
        """
        battery, plan = self.battery, self.line.plan
        rated_h, rated_ah = discharge(soc_from, level, power_w, plan.rated_cell)
        if plan.wells is None or not 0.0 < rated_h < inf:
            return self._go(start_min, 0.0 if rated_h == 0.0 else inf, (soc_from, soc_from, 0.0, 0.0), heats=False)
        wells = scaled(plan.wells, self.capacity_factor(start_min, rated_h, rated_ah))
        amps, (beyond_min, not_work_min) = rated_ah / rated_h, trips
        state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
        worked_min, state = run_down(wells, self.group.timetable, start_min, state, amps, level)
        if worked_min == inf:
            return self._go(
                start_min, inf, (soc_from, level, wells.most_ah - battery.missing_ah - state[0], 0.0), heats=False
            )
        held_ah, battery.surplus_ah = drawn_for(*state, amps, beyond_min / 60.0, wells)
        hours = (worked_min + beyond_min) / 60.0
        arrival = soc_of(held_ah, battery.surplus_ah, wells)
        minutes = max(0.0, ticked(worked_min - not_work_min))
        return self._go(start_min, minutes, (soc_from, arrival, amps * hours, power_w * hours / 1000.0), heats=True)

    def lasts(self, start_min: float, soc_from: float, soc_to: float, power_w: float) -> tuple[float, float]:
        """Working hours and ampere-hours between two states of charge, at the temperature that the work brings."""
        rated_h, rated_ah = discharge(soc_from, soc_to, power_w, self.line.plan.rated_cell)
        factor = self.capacity_factor(start_min, rated_h, rated_ah)
        return rated_h * factor, rated_ah * factor

    def capacity_factor(self, start_min: float, rated_h: float, rated_ah: float) -> float:
        """Capacity of its battery in a stint over the rated one.

        The colder the battery gets, the shorter the stint, and the less it cools: a fixed point. The last stint's
        drift is a good first guess, so one pass is mostly enough.
        """
        battery, group, plan = self.battery, self.group, self.line.plan
        capacity_at, health = plan.capacity_at, battery.health
        stated = group.truck.temperature_degc
        if stated is not None:
            self.warmth = (stated, stated, stated)
            return capacity_at(stated) * health
        start_degc = self._start_degc(start_min)
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

    def _start_degc(self, start_min: float) -> float:
        """Temperature of its battery when work begins. [degC]"""
        return self.battery.degc_after_rest(start_min, self.room.air_degc(start_min))

    def _warmed(
        self, start_min: float, start_degc: float, amps: float, worked_min: float, span_min: float
    ) -> tuple[float, float, float]:
        """Start, mean and end temperature over a stint, its heat spread over its breaks: `formulas.heat`. [degC]"""
        plan = self.line.plan
        rise_k = plan.kelvin_per_a2 * amps * amps * worked_min / span_min
        top_degc = self.group.air_degc[int(start_min // WEEK_MIN)] + rise_k
        spans = span_min / plan.truck_tau_min
        decay = exp(-spans)
        excess = start_degc - top_degc
        return start_degc, top_degc + excess * (1.0 - decay) / spans, top_degc + excess * decay

    def _go(self, start_min: float, minutes: float, taken: Taken, *, heats: bool) -> bool:
        """Put the stint into the calendar and write its row; its warmth has been worked out if it heats."""
        battery, arrival = self.battery, taken[1]
        battery.soc_share = arrival
        battery.missing_ah += taken[2]
        self.arrival_soc = arrival
        self.below_cut_out = int(arrival < self.line.plan.battery.discharge_to_share)
        left = self.group.timetable.advance(start_min, minutes)
        self.left_min = left
        self.joined_min = left + self.trip_min
        if not heats:
            self.warm_up(start_min, left, minutes, 0.0)
        self.write_stint(start_min, left, taken)
        return left < inf

    def warm_up(self, start_min: float, end_min: float, worked_min: float, ah: float) -> None:
        """Work out the warmth of a stint of known length, from the ampere-hours that heat; 0 where unknown."""
        stated = self.group.truck.temperature_degc
        start_degc = self._start_degc(start_min) if stated is None else stated
        self.warmth = (start_degc, start_degc, start_degc)
        if stated is None and worked_min > 0.0 and end_min < inf:
            amps = 60.0 * ah / worked_min
            self.warmth = self._warmed(start_min, start_degc, amps, worked_min, end_min - start_min)

    def write_stint(self, start_min: float, end_min: float, taken: Taken) -> None:
        """Warm and wear the battery, and write the row of a stint."""
        battery = self.battery
        start_degc, mean_degc, end_degc = self.warmth
        battery.degc, battery.degc_min = end_degc, end_min
        soc_from, soc_to, ah, kwh = taken
        self.room.write_stint((
            self.number, self.group.number, battery.number, start_min, end_min, soc_from, soc_to, ah, kwh,
            start_degc, mean_degc, end_degc, battery.wear(ah, mean_degc),
        ))  # fmt: skip


def _first_run(stated: "tuple[float, ...] | tuple[tuple[float, float]] | None", position: int) -> float | None:
    """Working time until a truck of a group first asks, where the scenario says so. [min]"""
    if stated is None:
        return None
    first = stated[0]
    if isinstance(first, tuple):
        return ticked(first[0] + position * first[1])
    return ticked(stated[position])  # type: ignore[arg-type]


def duty(room: "Room", truck: Truck) -> "Generator[Event, None, None]":
    """Life of a truck whose batteries are exchanged."""
    env, desk = room.env, room.exchange
    level = truck.group.truck.exchange_at_share
    cut_out = truck.line.plan.battery.discharge_to_share
    may_carry_on = room.plan.rules.if_none_ready == "carry_on"
    goes_on = truck.first_stint(level)
    while goes_on:
        yield Moment(env).after(truck.joined_min - env.now, ASKS)
        if may_carry_on and not truck.line.ready and (truck.run_times or truck.arrival_soc > cut_out):
            _turn_away(room, truck)
            goes_on = truck.carry_on(truck.back_min, cut_out)
            continue
        yield desk.ask(truck)
        truck.battery = truck.fresh
        goes_on = truck.work(truck.back_min, level)


def _turn_away(room: "Room", truck: Truck) -> None:
    """Send a truck that found no ready battery back to work."""
    now, battery = room.env.now, truck.battery.number
    truck.back_min = now + truck.trip_min
    who = (truck.number, truck.group.number, truck.line.number, TURNED_AWAY, battery, battery)
    came = (truck.arrival_soc, truck.below_cut_out, 0, truck.left_min, truck.joined_min)
    room.record.write["exchanges"]((*who, *came, now, now, now, truck.back_min, 0.0))
