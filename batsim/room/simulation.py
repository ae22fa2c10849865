"""One replication of one layout: builds the room, runs it to its horizon, returns the record.

A run is a pure function of scenario, layout, replication and seed. The scenario is only read.
"""

from dataclasses import replace
from functools import lru_cache
from math import isnan, nan
from typing import TYPE_CHECKING

from batsim.record.record import Record
from batsim.record.tables import standing
from batsim.record.words import CHARGE_IN_TRUCK, CONNECTING, EXCHANGE, EXCHANGING, IN_TRUCK, TASKS
from batsim.room.attendants import Attendants
from batsim.room.battery import Battery
from batsim.room.blueprint import Blueprint, blueprint_of
from batsim.room.charging import ChargingDesk
from batsim.room.charging_spots import SpotDesk
from batsim.room.clock import Clock
from batsim.room.discharges import leave_at
from batsim.room.duty import duty
from batsim.room.exchange import ExchangeDesk
from batsim.room.floor_plan import in_turn
from batsim.room.in_truck import duty_in_truck
from batsim.room.initial_state import spread_ages, spread_maintenance
from batsim.room.maintenance import NO_TIME, MaintenanceDesk
from batsim.room.maintenance_in_truck import serve_trucks
from batsim.room.outages import start_outages
from batsim.room.queue import Queue
from batsim.room.run_facts import facts_of
from batsim.room.streams import Streams
from batsim.room.truck import Truck
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from batsim.room.battery_plan import BatteryPlan
    from batsim.scenario.parts.laws import DurationLaw
    from batsim.scenario.site import Scenario


PACK_EVERY_MIN = 4 * WEEK_MIN
"""Simulated time after which a record is packed, so that a long run stays small in memory. [min]"""


class Room:
    """Everything in the room during one replication."""

    def __init__(self, blueprint: Blueprint, seed: int, replication: int) -> None:
        self.blueprint = blueprint
        self.env = Clock()
        self.streams = Streams(seed, replication)
        self.record = Record(facts_of(blueprint, seed, replication))
        self._write_state = self.record.write.battery_states
        self._air_degc = blueprint.room_air_degc
        self.trucks_waiting = 0
        """Trucks that wait for an exchange, in all queues."""
        self.early = blueprint.exchange is not None and any(
            group.truck.exchange_when.early_below_share is not None for group in blueprint.groups
        )
        """Whether trucks may come early when no truck waits."""
        self.queues = [Queue(queue, blueprint.picking, blueprint.reserve) for queue in blueprint.battery_plans]
        self.batteries = self._make_batteries()
        self._draw_for_batteries()
        self.attendants = Attendants(self)
        self.charging = ChargingDesk(self)
        self.maintenance = MaintenanceDesk(self)
        order = [TASKS.index(task) for task in blueprint.rules.priorities]
        self.usual_order = order[:2] == [EXCHANGING, CONNECTING]
        """Whether exchanges go before connecting, and connecting before all else."""
        self.order = [task for task in order if task in self.maintenance.queues or task in (EXCHANGING, CONNECTING)]
        """Tasks by their priority; of maintenance only what there is."""
        self.maintenance_queues = [
            (self.maintenance.queues[task], task) for task in self.order if task in self.maintenance.queues
        ]
        self.trucks = self._make_trucks()
        if blueprint.exchange is None:
            self.spots = SpotDesk(self)
        else:
            self.exchange = ExchangeDesk(self, blueprint.exchange)
            self._put_out_spares()
        for truck in self.trucks:
            if blueprint.exchange is None:
                self.env.process(duty_in_truck(self, truck))
            else:
                truck.ask_exchanges()
                self.env.process(duty(self, truck))
        for truck in self.trucks:
            truck.draw_start()
            truck.write_shifts()
        start_outages(self)

    def run(self) -> Record:
        """Run to the horizon and write down what is still under way; what falls on the horizon is not run."""
        horizon = self.blueprint.horizon_min
        while self.env.now < horizon:
            self.env.run_to(min(horizon, self.env.now + PACK_EVERY_MIN))
            if self.env.now < horizon:
                self.record.pack()
        self._write_unfinished()
        record = self.record
        # The parts of a room refer to each other: take them apart, so that they go without the garbage collector.
        for part in (self.env, self):
            part.__dict__.clear()
        return record

    def air_degc(self, time_min: float) -> float:
        """Air of the room at a time, the same all week; long after the run as at its end. [degC]"""
        return self._air_degc[min(int(time_min // WEEK_MIN), len(self._air_degc) - 1)]

    def state(self, battery: Battery, state: int, from_min: float | None = None) -> None:
        """Write down a battery's state from now on, or from a time not far ahead."""
        self._write_state(battery=battery.number, state=state, from_min=self.env.now if from_min is None else from_min)

    def serve(self) -> None:
        """Let everyone who waits have what is free: work laid down first, then by the order of priorities."""
        if self.attendants.unmanned:
            self.attendants.serve()
        if not self.usual_order:
            if not all(map(self._serve, self.order)):
                return
        else:  # the same in the usual order, without a call for what nobody waits for
            if self.trucks_waiting and not self._serve_exchanges():
                return
            if self.charging.to_connect:
                self.charging.serve()
            for queue, task in self.maintenance_queues:
                if queue:
                    self.maintenance.serve(task)
        if self.early:
            self.exchange.call_early()
        if self.maintenance.trucks:
            serve_trucks(self)

    def _serve(self, task: int) -> bool:
        """Let those who wait for one task have what is free; False where lesser tasks must leave people to it."""
        if task == EXCHANGING:
            return not self.trucks_waiting or self._serve_exchanges()
        if task == CONNECTING:
            self.charging.serve()
        else:
            self.maintenance.serve(task)
        return True

    def _serve_exchanges(self) -> bool:
        """Begin what exchanges can begin; False where they wait for people, whom lesser tasks must leave to them."""
        self.exchange.serve()
        return not self.exchange.waits_for_attendant or self.attendants.others_are_free()

    def can_spare_one(self) -> bool:
        """Whether an attendant is free for a job that must leave people to the exchanges."""
        if not self.attendants.can_spare(1):
            return False
        return not self.exchange.waits_for_attendant or self.attendants.others_are_free()

    def note_causes(self) -> None:
        """Write down anew what the queues wait for, after somebody has gone off duty."""
        if self.trucks_waiting:
            self.exchange.note_causes()

    def _make_batteries(self) -> list[Battery]:
        """Number the batteries through, type by type."""
        batteries: list[Battery] = []
        for queue in self.queues:
            queue.batteries = [Battery(len(batteries) + n, queue) for n in range(queue.plan.batteries)]
            batteries += queue.batteries
        return batteries

    def _draw_for_batteries(self) -> None:
        """Give each battery its own streams for what is done with it.

        Streams go by the name of the type and the number within it: a battery more of one type shifts no other type.
        """
        connect = self.blueprint.arrangement.connect_time_min
        self.connect_times = self.durations("connect", lambda _: connect)
        self.cool_downs = self.durations("cool-down", lambda queue: queue.battery.cool_down_min)
        spread_maintenance(self)
        spread_ages(self)
        charge_times = self.durations("charge", lambda queue: queue.battery.charge_time_min or NO_TIME)
        self.charge_times = [
            times if battery.queue.plan.battery.charge_time_min is not None else None
            for battery, times in zip(self.batteries, charge_times, strict=True)
        ]

    def durations(self, purpose: str, law: "Callable[[BatteryPlan], DurationLaw]") -> "list[Iterator[float]]":
        """Endless durations for each battery."""
        found: list[Iterator[float]] = []
        for queue in self.blueprint.battery_plans:
            entity, numbers = f"battery of type {queue.name}", range(queue.batteries)
            found += self.streams.durations_of_all(law(queue), entity, numbers, purpose)
        return found

    def _make_trucks(self) -> list[Truck]:
        """Put the first batteries of each type into its trucks."""
        trucks: list[Truck] = []
        charged = {
            queue.number: iter([each for each in self.batteries if each.queue is queue]) for queue in self.queues
        }
        for group in self.blueprint.groups:
            for position, queue in enumerate(group.queues):
                battery = next(charged[queue])
                self.state(battery, IN_TRUCK)
                trucks.append(Truck(self, len(trucks), group, position, battery))
        return trucks

    def _put_out_spares(self) -> None:
        """Stand the spare batteries, ready, in the nearest bays."""
        desk, floor = self.exchange, self.blueprint.floor
        bays = list(range(int(self.blueprint.bays))) if floor is None else floor.nearest_first
        in_trucks = {truck.battery.number for truck in self.trucks}
        spares = [battery for battery in self.batteries if battery.number not in in_trucks]
        taken = bays[: len(spares)]
        if floor is not None and desk.limited_reach:
            taken, spares = floor.shared_out(len(spares), desk.bays_needed), in_turn(spares)
        for battery, bay in zip(spares, taken, strict=True):
            battery.bay = bay
            self.charging.make_ready(battery)
            if self.charging.bound:
                self.charging.bind(battery)
        in_use = frozenset(taken)
        desk.empty = [bay for bay in bays if bay not in in_use]

    def _write_unfinished(self) -> None:
        """Write rows for trucks on their way or waiting, and for batteries that still wait."""
        horizon_min = self.blueprint.horizon_min
        if self.blueprint.exchange is not None:
            for job in self.exchange.unsettled:
                job.write()
        for truck in self.trucks:
            self._write_unfinished_visit(truck)
        if self.charging.sharing is not None:
            self.charging.sharing.write_under_way(horizon_min)
        for battery in self.charging.unfinished():
            number, queue, since_min = battery.number, battery.queue.number, battery.discharged_min
            waiting = standing(battery=number, queue=queue, charger=nan, bay=battery.bay, discharged_min=since_min)
            self.record.write.charges(standing=waiting)
        for battery in self.batteries:
            if not isnan(battery.charger_min):
                self.charging.write_charger(battery, nan)
        self.maintenance.write_unfinished()

    def _write_unfinished_visit(self, truck: Truck) -> None:
        """Write the visit of a truck that is on its way, waits, or is plugged in."""
        kind = EXCHANGE if self.blueprint.exchange is not None else CHARGE_IN_TRUCK
        if truck.discharge is not None:
            leave_at(truck, truck.left_min)
        horizon_min, write = self.blueprint.horizon_min, self.record.write.exchanges
        if truck.left_min < horizon_min and (truck.waits or truck.joined_min >= horizon_min):
            write(came=truck.came(kind, truck.ready_found if truck.waits else nan), charged=-1)
        elif not isnan(truck.plugged_min):
            write(came=truck.came(kind, 0), charged=-1, start_min=truck.plugged_min)


@lru_cache(maxsize=32)
def _blueprint(key: "SameScenario", layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work a layout out once for all its replications."""
    return blueprint_of(key.scenario, layout, length_min, warm_up_min)


class SameScenario:
    """A scenario as a key of a cache: by identity, kept alive by the cache."""

    def __init__(self, scenario: "Scenario") -> None:
        self.scenario = scenario

    def __hash__(self) -> int:
        return id(self.scenario)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameScenario) and self.scenario is other.scenario


def simulate(scenario: "Scenario", layout: str, replication: int = 0, settings: Settings = Settings()) -> Record:
    """Simulate one replication of one layout.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layout
        Name of one of its layouts.
    replication
        Number of the replication, from 0. With the seed it settles every random stream, the same for all layouts.
    settings
        Weeks, weeks of warm-up and seed, in place of what the scenario says; the rest is for many runs.

    Returns
    -------
    Record
        The tables of the run, warm-up included.

    Raises
    ------
    ScenarioError
        When the layout is not in the scenario, or a number is out of range.
    """
    schedule = replace(settings, layouts=layout).schedule(scenario)
    length_min, warm_up_min = schedule.length_min, schedule.warm_up_min
    return replicate(
        scenario, layout, seed=schedule.seed, replication=replication, length_min=length_min, warm_up_min=warm_up_min
    )


def replicate(
    scenario: "Scenario", layout: str, *, seed: int, replication: int = 0, length_min: float, warm_up_min: float
) -> Record:
    """Do the same for any length of the measured time and of the warm-up before it, unchecked. [min]"""
    return Room(_blueprint(SameScenario(scenario), layout, length_min, warm_up_min), seed, replication).run()
