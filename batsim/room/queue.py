"""Queues: trucks that wait for a battery of one type, and the ready batteries of that type."""

from collections import deque
from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING

from batsim.record.words import NOTHING, SHIFT_CHANGE

if TYPE_CHECKING:
    from collections.abc import Container

    from batsim.room.battery import Battery
    from batsim.room.exchanging.exchange import ExchangeDesk
    from batsim.room.plans.battery_plan import BatteryPlan
    from batsim.room.truck import Truck


class Queue:
    """One queue: all trucks of a battery type, or one truck that keeps its own batteries."""

    def __init__(self, plan: "BatteryPlan", picking: str, reserve: int = 0) -> None:
        self.plan = plan
        self.number = plan.number
        self.picking = picking
        self.reserve = reserve
        """Ready batteries kept for trucks that come for the shift change."""
        self.waiting: deque[Truck] = deque()
        self.ready: list[tuple[float, int, Battery]] = []
        self.discharged: deque[Battery] = deque()
        """Discharged batteries that wait for a charger, first come first."""
        self.batteries: list[Battery] = []
        """All batteries of its type."""
        self.cause = NOTHING
        """What the first truck waits for."""
        self.desk: ExchangeDesk
        """Where its trucks come for an exchange; none where batteries are charged in the truck."""

    def join(self, truck: "Truck") -> None:
        """Join behind those of the same priority, or of a higher one."""
        waiting = self.waiting
        waiting.append(truck)
        priority = truck.group.truck.priority
        position = len(waiting) - 1
        while position and waiting[position - 1].group.truck.priority > priority:
            waiting[position] = waiting[position - 1]
            position -= 1
        waiting[position] = truck

    def first(self) -> "Truck | None":
        """First truck that may have one of the ready batteries; nobody when none is ready."""
        if not self.ready or not self.waiting:
            return None
        if not self.reserve or len(self.ready) > self.reserve:
            return self.waiting[0]
        return next((truck for truck in self.waiting if truck.reason == SHIFT_CHANGE), None)

    def may_have_one(self, truck: "Truck") -> bool:
        """Whether a truck may have one of the ready batteries."""
        return len(self.ready) > (0 if truck.reason == SHIFT_CHANGE else self.reserve)

    def has_one_for(self, truck: "Truck", by_min: float = 0.0) -> bool:
        """Whether a battery is left for a truck behind those that wait: ready, or sure to be by a time. [min]"""
        priority = truck.group.truck.priority
        ahead = sum(waiting.group.truck.priority <= priority for waiting in self.waiting)
        count = len(self.ready) - ahead - (0 if truck.reason == SHIFT_CHANGE else self.reserve)
        if count > 0 or not by_min:
            return count > 0
        now = truck.area.env.now
        return count + sum(now < battery.ready_min <= by_min for battery in self.batteries) > 0

    def put_ready(self, battery: "Battery") -> None:
        """Add a ready battery where the picking rule will look for it."""
        if self.picking == "longest_rested":
            rank = battery.charged_min
        elif self.picking == "nearest":
            rank = float(battery.bay)
        elif self.picking == "fullest":
            rank = -battery.soc_share
        else:
            rank = battery.damage if self.picking == "least_worn" else -battery.damage
        heappush(self.ready, (rank, battery.number, battery))

    def take_ready(self) -> "Battery":
        """Pick the ready battery that the rule names."""
        return heappop(self.ready)[2]

    def take_ready_from(self, rank: tuple[int, ...], bays: "Container[int]") -> "Battery":
        """Pick the ready battery that the rule names, of those in reach; the nearest by the ranks of a station."""
        entries = [entry for entry in self.ready if entry[2].bay in bays]
        if self.picking == "nearest":
            chosen = min(entries, key=lambda entry: (rank[entry[2].bay], entry[1]))
        else:
            chosen = min(entries)
        self.remove(chosen)
        return chosen[2]

    def remove(self, entry: "tuple[float, int, Battery]") -> None:
        """Take one entry out of the ready stock."""
        self.ready.remove(entry)
        heapify(self.ready)
