"""Duty: a truck works its shifts on a battery until it must go for another one.

One stint is one event: when the state of charge will have fallen to the exchange level follows in closed form, and
the calendar turns working minutes into clock time.
"""

from collections.abc import Generator, Iterator
from math import inf
from typing import TYPE_CHECKING

from batsim.formulas.discharge import discharge
from batsim.record import TURNED_AWAY
from batsim.room.clock import ASKS, Moment, ticked
from batsim.room.streams import exchange_times

if TYPE_CHECKING:
    import numpy as np
    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.blueprint import GroupPlan
    from batsim.room.exchange import Line
    from batsim.room.simulation import Room


class Truck:
    """One truck and what is going on with it."""

    __slots__ = (
        "arrival_soc",
        "back_min",
        "battery",
        "below_cut_out",
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
        "ready_found",
        "room",
        "run_times",
        "served",
        "start_soc",
        "stint_factors",
        "trip_min",
        "usable_ah",
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
        self.factor = 1.0
        self.stint_factors: Iterator[float] | None = None
        self.run_times: Iterator[float] | None = None
        if truck.run_time_min is not None:
            self.run_times = streams.durations(truck.run_time_min, "truck", number, "run")
        elif truck.draws is not None:
            self.factor = next(streams.factors(truck.draws.between_trucks_share, "truck", number, "factor"))
            self.stint_factors = streams.factors(truck.draws.between_stints_share, "truck", number, "stint")
        self.first_min = _first_run(truck.first_run_min, position)
        """Working time until it first asks; None for a random start. [min]"""
        self.start_soc = 1.0
        if self.first_min is None:
            level = truck.exchange_at_share
            self.start_soc = level + (1.0 - level) * float(streams.generator("truck", number, "start").random())
        self.exchange_times: Iterator[tuple[float, ...]] = iter(())
        self.served = Moment(room.env)
        self.in_line = False
        self.left_min = self.joined_min = self.back_min = 0.0
        self.arrival_soc, self.below_cut_out, self.ready_found = 1.0, 0, 0
        self.usable_ah = 0.0

    def draw_exchanges(self, weights: "np.ndarray[tuple[int, int], np.dtype[np.float64]]") -> None:
        """Prepare the times of its exchanges."""
        plan = self.room.plan.exchange
        if plan is not None:
            self.exchange_times = exchange_times(self.room.streams, list(plan.laws), self.number, weights)

    def leaves_with(self, fresh: "Battery", free_min: float) -> None:
        """Take the battery that it will leave with, and when it will be back at work."""
        self.fresh = fresh
        self.back_min = free_min + self.trip_min

    def work(self, start_min: float, soc_from: float, soc_to: float, trip_back_min: float) -> bool:
        """Plan the stint from a start to the next visit to the room; False when it never comes.

        Fills in when the truck leaves its work, when it joins the line and what is left in its battery then. The
        ways from and to the room are drawn at the mean rate of the stint.
        """
        group = self.group
        cell = group.cell
        if self.run_times is not None:
            minutes = next(self.run_times)
            if self.first_min is None:
                minutes = ticked(minutes * (self.start_soc - soc_to) / (soc_from - soc_to))
                self.first_min = minutes
            cell = self.line.plan.cell
            arrival = soc_to
            ah = (soc_from - soc_to) * cell.capacity_ah
            kwh = ah * cell.cells * (cell.empty_v + cell.slope_v * (soc_from + soc_to) / 2.0) / 1000.0
        else:
            assert self.stint_factors is not None  # either run times or draws
            power_w = group.power_w * self.factor * next(self.stint_factors)
            if self.first_min is None:
                soc_from = self.start_soc
                self.first_min = 0.0
            hours, ah = discharge(soc_from, soc_to, power_w, cell)
            rate = (soc_from - soc_to) / hours if hours else 0.0
            trip_h = self.trip_min / 60.0
            arrival = soc_to - rate * trip_h
            minutes = max(0.0, ticked(hours * 60.0 - trip_back_min))
            share = (soc_from - arrival) / (soc_from - soc_to) if soc_from > soc_to else 1.0
            ah *= share
            kwh = power_w * hours * share / 1000.0
        return self._go(start_min, minutes, soc_from, arrival, ah, kwh)

    def _go(self, start_min: float, minutes: float, soc_from: float, arrival: float, ah: float, kwh: float) -> bool:
        """Put the stint into the calendar and write its row."""
        battery = self.battery
        battery.soc_share = arrival
        battery.missing_ah += ah
        self.arrival_soc = arrival
        self.below_cut_out = int(arrival < self.line.plan.battery.discharge_to_share)
        left = self.group.timetable.advance(start_min, minutes)
        self.left_min = left
        self.joined_min = left + self.trip_min
        self.room.record.rows["stints"].append(
            (self.number, self.group.number, battery.number, start_min, left, soc_from, arrival, ah, kwh)
        )
        return left < inf


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
    carry_on = room.plan.rules.if_none_ready == "carry_on"
    start, soc, trip_back = 0.0, 1.0, 0.0
    if truck.first_min is not None:
        goes_on = truck._go(0.0, truck.first_min, 1.0, *_spent(truck, level))
    else:
        goes_on = truck.work(start, soc, level, trip_back)
    while goes_on:
        yield Moment(env).after(truck.joined_min - env.now, ASKS)
        if carry_on and not truck.line.ready and (truck.run_times is not None or truck.arrival_soc > cut_out):
            goes_on = _turn_away(room, truck, cut_out)
            continue
        truck.in_line = True
        yield desk.ask(truck)
        truck.in_line = False
        truck.battery = truck.fresh
        goes_on = truck.work(truck.back_min, 1.0, level, truck.trip_min)


def _spent(truck: Truck, level: float) -> tuple[float, float, float]:
    """State of charge, ampere-hours and energy of a first stint of stated length."""
    cell = truck.line.plan.cell
    ah = (1.0 - level) * cell.capacity_ah
    return level, ah, ah * cell.cells * (cell.empty_v + cell.slope_v * (1.0 + level) / 2.0) / 1000.0


def _turn_away(room: "Room", truck: Truck, cut_out: float) -> bool:
    """Send a truck that found no ready battery back to work with what it has left."""
    now = room.env.now
    back = now + truck.trip_min
    room.record.rows["exchanges"].append(
        (
            truck.number,
            truck.group.number,
            truck.line.number,
            TURNED_AWAY,
            truck.battery.number,
            truck.battery.number,
            truck.arrival_soc,
            truck.below_cut_out,
            0,
            truck.left_min,
            truck.joined_min,
            now,
            now,
            now,
            back,
            0.0,
        )
    )
    truck.back_min = back
    soc = truck.arrival_soc if truck.run_times is None else 1.0
    return truck.work(back, soc, cut_out if truck.run_times is None else truck.arrival_soc, truck.trip_min)
