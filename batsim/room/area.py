"""One area of a layout: its queues and its desks, and the trucks that it serves."""

from collections.abc import Callable, Iterator
from math import isnan, nan
from typing import TYPE_CHECKING

from batsim.record.tables import standing
from batsim.record.words import CHARGE_IN_TRUCK, EXCHANGE
from batsim.room.battery import Battery
from batsim.room.exchanging.exchange import ExchangeDesk
from batsim.room.initial_state import spread_ages, spread_maintenance
from batsim.room.maintaining.maintenance import NO_TIME, MaintenanceDesk
from batsim.room.maintaining.maintenance_by_shift import MaintenanceByShift
from batsim.room.on_charge.charging import ChargingDesk
from batsim.room.on_charge.connecting import ConnectingByShift, ConnectingDesk
from batsim.room.plugged_in.charging_spots import SpotDesk
from batsim.room.queue import Queue
from batsim.room.use.discharges import leave_at

if TYPE_CHECKING:
    from batsim.room.people.attendants import Attendants
    from batsim.room.people.service import Service
    from batsim.room.people.trucks_served import Waiting
    from batsim.room.plans.area_plan import AreaPlan
    from batsim.room.plans.battery_plan import BatteryPlan
    from batsim.room.simulation import Room
    from batsim.room.truck import Truck
    from batsim.scenario.parts.laws import DurationLaw


class Area:
    """Everything in one area during one replication."""

    attendants: "Attendants"
    service: "Service"
    serve: "Callable[[], None]"
    """Lets everyone who waits have what is free, here and where the same people work."""
    __deletable__ = ("attendants", "charging", "connecting", "exchange", "maintenance", "serve", "service", "spots")
    """What `take_apart` lets go of."""

    def __init__(self, room: "Room", plan: "AreaPlan") -> None:
        self.room, self.plan, self.number = room, plan, plan.number
        self.env, self.streams, self.record = room.env, room.streams, room.record
        self.rules, self.horizon_min = room.blueprint.rules, room.blueprint.horizon_min
        self.state, self.air_degc = room.state, room.air_degc
        self.trucks: list[Truck] = []
        """Trucks that it serves."""
        self.trucks_waiting = 0
        """Those that wait for an exchange, in all its queues."""
        self.trucks_served: list[Waiting] = []
        """Those that keep their battery and wait to be plugged in, or for maintenance of it, first come first."""
        self.groups = [room.blueprint.groups[number] for number in plan.group_numbers]
        self.early = plan.exchange is not None and any(
            group.truck.exchange_when.early_below_share is not None for group in self.groups
        )
        """Whether trucks may come early when no truck waits."""
        self.queues = [Queue(queue, plan.picking, plan.reserve) for queue in plan.battery_plans]
        self.batteries: list[Battery] = []
        for queue in self.queues:
            queue.batteries = room.number_batteries(queue)
            self.batteries += queue.batteries
        self._draw_for_batteries()

    def open_desks(self) -> None:
        """Set up its desks, when it is known who works there."""
        plan = self.plan
        self.connecting = ConnectingByShift(self) if plan.drivers.connect_of else ConnectingDesk(self)
        self.charging = ChargingDesk(self)
        by_shift = plan.exchange is not None and plan.drivers.maintain_of
        self.maintenance = MaintenanceByShift(self) if by_shift else MaintenanceDesk(self)
        if plan.exchange is None:
            self.spots = SpotDesk(self)
        else:
            self.exchange = ExchangeDesk(self, plan.exchange)
            for queue in self.queues:
                queue.desk = self.exchange

    def _draw_for_batteries(self) -> None:
        """Give each battery its own streams for what is done with it.

        Streams go by the name of the type and its lot, and the number within: a battery more of one shifts no other.
        """
        connect = self.plan.arrangement.connect_time_min
        self.connect_times = self.durations("connect", lambda _: connect)
        self.cool_downs = self.durations("cool-down", lambda queue: queue.battery.cool_down_min)
        spread_maintenance(self)
        spread_ages(self)
        charge_times = self.durations("charge", lambda queue: queue.battery.charge_time_min or NO_TIME)
        self.charge_times = {
            battery.number: charge_times[battery.number]
            for battery in self.batteries
            if battery.queue.plan.battery.charge_time_min is not None
        }
        """Times of timed charges, by the number of the battery; of others none."""

    def durations(self, purpose: str, law: "Callable[[BatteryPlan], DurationLaw]") -> "dict[int, Iterator[float]]":
        """Endless durations for each battery, by its number."""
        found: list[Iterator[float]] = []
        for queue in self.plan.battery_plans:
            for lot in queue.lots:
                found += self.streams.durations_of_all(law(queue), lot.entity, range(lot.batteries), purpose)
        return {battery.number: times for battery, times in zip(self.batteries, found, strict=True)}

    def put_out_spares(self) -> None:
        """Stand the spare batteries, ready, in the nearest bays, by the names of their types; in the truck are none."""
        floor = self.plan.floor
        if self.plan.exchange is None:
            return
        desk, spares = self.exchange, self._spares()
        bays = list(range(int(self.plan.bays))) if floor is None else floor.nearest_first
        taken = bays[: len(spares)]
        if floor is not None and desk.limited_reach:
            taken, spares = floor.shared_out(len(spares), desk.bays_needed), _in_turn(spares)
        for battery, bay in zip(spares, taken, strict=True):
            self.charging.put_out(battery, bay)
        in_use = frozenset(taken)
        desk.empty = [bay for bay in bays if bay not in in_use]

    def _spares(self) -> list[Battery]:
        """Batteries that are in no truck, by the names of their types."""
        in_trucks = {truck.battery.number for truck in self.trucks}
        by_name = sorted(self.queues, key=lambda queue: queue.plan.name)
        return [battery for queue in by_name for battery in queue.batteries if battery.number not in in_trucks]

    def write_unfinished_visits(self) -> None:
        """Write rows for exchanges whose end is not known, and for trucks on their way or waiting."""
        if self.plan.exchange is not None:
            for job in self.exchange.unsettled:
                job.write()
        for truck in self.trucks:
            self._write_unfinished_visit(truck)

    def write_unfinished_charges(self) -> None:
        """Write rows for batteries that still wait."""
        for battery in self.charging.unfinished():
            number, queue, since_min = battery.number, battery.queue.number, battery.discharged_min
            waiting = standing(battery=number, queue=queue, charger=nan, bay=battery.bay, discharged_min=since_min)
            self.record.write.charges(standing=waiting)
        for battery in self.batteries:
            if not isnan(battery.charger_min):
                self.charging.write_charger(battery, nan)
        self.maintenance.write_unfinished()

    def take_apart(self) -> None:
        """Let go, after the run, of all that refers to the area."""
        del self.attendants, self.charging, self.connecting, self.maintenance, self.serve, self.service
        if self.plan.exchange is None:
            del self.spots
        else:
            del self.exchange
        for queue in self.queues:
            queue.batteries.clear()
        self.batteries.clear()
        self.trucks.clear()

    def _write_unfinished_visit(self, truck: "Truck") -> None:
        """Write the visit of a truck that is on its way, waits, or is plugged in."""
        kind = EXCHANGE if self.plan.exchange is not None else CHARGE_IN_TRUCK
        if truck.discharge is not None:
            leave_at(truck, truck.left_min)
        horizon_min, write = self.horizon_min, self.record.write.exchanges
        if truck.left_min < horizon_min and (truck.waits or truck.joined_min >= horizon_min):
            write(came=truck.came(kind, truck.ready_found if truck.waits else nan), charged=-1)
        elif not isnan(truck.plugged_min):
            write(came=truck.came(kind, 0), charged=-1, start_min=truck.plugged_min)


def _in_turn(batteries: list[Battery]) -> list[Battery]:
    """One battery of each queue, then another of each, and so on."""
    seen: dict[int, int] = {}
    turns = []
    for battery in batteries:
        turn = seen[battery.queue.number] = seen.get(battery.queue.number, 0) + 1
        turns.append((turn, battery.number, battery))
    return [battery for _, _, battery in sorted(turns, key=lambda turn: turn[:2])]
