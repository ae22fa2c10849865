"""Duty: a truck works its shifts on a battery until it must go for another one."""

from collections.abc import Generator, Iterator
from math import nan
from typing import TYPE_CHECKING

from batsim.formulas.discharge import discharge_at_power
from batsim.record import EARLY, TURNED_AWAY, coming
from batsim.room.clock import ASKS, Moment, Timed, ticked
from batsim.room.discharges import DISCHARGED, Worker
from batsim.room.visits import wait_for_call

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.formulas.kibam import Wells
    from batsim.record import Coming
    from batsim.room.battery import Battery
    from batsim.room.group_plan import GroupPlan
    from batsim.room.simulation import Room


class Truck(Worker):
    """One truck and what is going on with it."""

    __slots__ = (
        "amps",
        "back_min",
        "call",
        "cell",
        "charged",
        "exchange_times",
        "first_min",
        "plugged_min",
        "ready_found",
        "served",
        "start",
        "start_soc",
        "turned_away",
        "usable_ah",
        "waits",
        "wells",
    )

    def __init__(self, room: "Room", number: int, group: "GroupPlan", position: int, battery: "Battery") -> None:
        super().__init__(room, number, group, position, battery)
        self.charged = battery
        self.first_min = _first_run(group.truck.first_run_min, position)
        """Working time until it first asks; None for a random start. [min]"""
        self.start_soc = 1.0
        self.start = room.streams.ask(self.entity, position, "start")
        self.exchange_times: list[Iterator[tuple[float, ...]]] = []
        """Times of its exchanges, by each method."""
        self.call: Moment
        self.served: Moment
        self.waits = False
        self.turned_away = False
        """Whether it found no charging spot when it last asked for one."""
        self.plugged_min = nan
        """Since when it has been plugged in within scheduled time. [min]"""
        self.back_min = 0.0
        self.ready_found = 0
        self.usable_ah = 0.0
        self.wells: Wells | None = None
        self.amps = 0.0
        """Two wells and mean current of the present discharge, when it is charged in the truck. [A]"""
        self.cell = group.cell
        """Its battery at the temperature of the present discharge, when it is charged in the truck."""

    def ask_exchanges(self) -> None:
        """Ask for the times of its exchanges, by each method."""
        for method in self.room.exchange.methods:
            plan = method.plan
            entity = f"{self.entity} by standby" if method.number else self.entity
            times = plan.step_times if method.in_steps else plan.times
            self.exchange_times.append(times.of(self.room.streams, entity, self.position))

    def draw_start(self) -> None:
        """Draw what is settled at the start: how it differs from other trucks, and how full its battery is."""
        self.factor = next(self.factors)
        if self.first_min is None:
            level = self.group.truck.exchange_at_share
            self.start_soc = level + (1.0 - level) * float(self.start.generator().random())

    def came(self, kind: int, ready_found: float) -> "Coming":
        """How it came to the room, for the record."""
        return coming(
            truck=self.number,
            group=self.group.number,
            queue=self.queue.number,
            kind=kind,
            discharged=self.battery.number,
            soc_share=self.arrival_soc,
            below_cut_out=self.below_cut_out,
            ready_found=ready_found,
            left_min=self.left_min,
            joined_min=self.joined_min,
            reason=self.reason,
        )

    def turn_away(self) -> None:
        """Go back to work, for no battery is ready or no charging spot is free."""
        now = self.room.env.now
        self.back_min, self.turned_away = now + self.trip_min, True
        self.room.record.write.exchanges(
            came=self.came(TURNED_AWAY, 0),
            charged=self.battery.number,
            start_min=now,
            truck_free_min=now,
            end_min=now,
            back_min=self.back_min,
        )

    def leaves_with(self, charged: "Battery", free_min: float) -> None:
        """Take the battery that it will leave with, and when it will be back at work."""
        self.charged = charged
        self.back_min = free_min + self.trip_min

    def first_discharge(self, level: float) -> bool:
        """Plan the first discharge: of stated length, or from a random state of charge; see `work`."""
        if self.first_min is not None:
            return self.go(0.0, self.first_min, (1.0, level, *self.taken(1.0, level)), heats=False)
        start = self.start_soc
        used, all_of_it = 1.0 - start, 1.0 - level
        if self.run_times is not None:
            minutes = ticked(self.run_min() * (start - level) / all_of_it)
            self.battery.missing_ah = self.taken(1.0, start)[0]
            return self.go_on_time(0.0, minutes, start, level)
        power_w = self.power_w()
        rated_h, rated_ah = discharge_at_power(1.0, level, power_w, self.queue.plan.rated_cell)
        self.battery.missing_ah = rated_ah * self.capacity_factor(0.0, rated_h, rated_ah) * used / all_of_it
        return self.go_on_power(0.0, start, level, power_w, 0.0)

    def work(self, start_min: float, level: float) -> bool:
        """Plan the discharge on a full battery from a start to the next visit to the room.

        Fills in when the truck leaves its work, when it joins the queue and what is left in its battery then. The
        ways from and to the room are drawn at the mean rate of the discharge. Returns False when it never comes.
        """
        if self.run_times is not None:
            return self.go_on_time(start_min, self.run_min(), 1.0, level)
        return self.go_on_power(start_min, 1.0, level, self.power_w(), self.trip_min)

    def carry_on(self, start_min: float, cut_out: float) -> bool:
        """Plan on with what is left, so that the truck comes to the room at its cut-out; see `work`.

        A run time says nothing of what is left: the truck then works for another one, and nothing more is drawn.
        """
        soc = self.arrival_soc
        if self.run_times is not None:
            return self.go(start_min, self.run_min(), (soc, soc, 0.0, 0.0), heats=False)
        power_w = self.power_w()
        if self.queue.plan.wells is not None:
            return self.go_on_wells(start_min, soc, cut_out, power_w, (0.0, 2.0 * self.trip_min), watched=False)
        hours, ah = self.lasts(start_min, soc, cut_out, power_w)
        minutes = max(0.0, ticked(60.0 * hours - 2.0 * self.trip_min))
        return self.go(start_min, minutes, (soc, cut_out, ah, power_w * hours / 1000.0), heats=True)


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
    cut_out = truck.queue.plan.battery.discharge_to_share
    may_carry_on = room.blueprint.rules.if_none_ready == "carry_on"
    goes_on = truck.first_discharge(level)
    while goes_on:
        if truck.planned is not None:
            yield from wait_for_call(room, truck, truck.planned[1])
        else:
            yield Timed(env, truck.joined_min - env.now, [], ASKS)
        may_go = may_carry_on and (truck.run_times or truck.arrival_soc > cut_out + DISCHARGED)
        if may_go and not truck.queue.has_one_for(truck):
            truck.turn_away()
            goes_on = truck.carry_on(truck.back_min, cut_out)
            continue
        served = desk.ask(truck)
        if truck.reason == EARLY:  # the next one may be called
            desk.call_early()
        yield served
        truck.battery = truck.charged
        goes_on = truck.work(truck.back_min, level)
