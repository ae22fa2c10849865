"""How batteries are at the start: of different age and capacity, and each somewhere between two waterings."""

from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import TASKS, WATERING

if TYPE_CHECKING:
    from numpy.random import Generator

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.battery_plan import MaintenancePlan


def spread_maintenance(area: "Area") -> None:
    """Start each battery somewhere between two cares; else all would fall due on the same day."""
    asked, first = [], 0
    for queue in area.plan.battery_plans:
        for index, maintenance in enumerate(queue.maintenance):
            for number, battery in enumerate(area.batteries[first : first + queue.batteries]):
                purpose = f"since {TASKS[maintenance.task]}"
                stream = area.streams.ask(queue.entity, number, purpose)
                asked.append((battery, index, maintenance, stream))
        first += queue.batteries
    for battery, index, maintenance, stream in asked:
        _start(battery, index, maintenance, stream.generator())


def _start(battery: "Battery", index: int, maintenance: "MaintenancePlan", generator: "Generator") -> None:
    """Set charges, time and gassing since the last maintenance, evenly over its interval."""
    if maintenance.charges < inf:
        battery.maintenance_charges[index] = float(generator.integers(int(maintenance.charges)))
    if maintenance.task == WATERING and maintenance.gas_ah < inf:
        battery.gas_ah = maintenance.gas_ah * float(generator.random())
    if maintenance.minutes < inf:
        battery.maintenance_min[index] = -maintenance.minutes * float(generator.random())


def spread_ages(area: "Area") -> None:
    """Give each battery its capacity and age, and a start somewhere between two equalising charges."""
    air_degc, streams = area.air_degc(0.0), area.streams
    asked, first = [], 0
    for queue in area.plan.battery_plans:
        entity, spread = queue.entity, queue.battery.capacity_spread_share
        least, most = queue.battery.life_used
        for number, battery in enumerate(area.batteries[first : first + queue.batteries]):
            factors = streams.factors(spread, entity, number, "capacity")
            used = streams.ask(entity, number, "life used") if most > least else None
            since = streams.ask(entity, number, "since equalising") if queue.equalising is not None else None
            asked.append((battery, factors, used, since))
        first += queue.batteries
    for battery, factors, used, since in asked:
        plan = battery.queue.plan
        least, most = plan.battery.life_used
        battery.degc = battery.stay_degc = air_degc
        battery.capacity_share = next(factors)
        battery.damage = least
        if used is not None:
            battery.damage += (most - least) * float(used.generator().random())
        if since is not None and plan.equalising is not None:
            battery.equalised_min = -float(since.generator().random()) * plan.equalising.every_min
