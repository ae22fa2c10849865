"""How batteries are at the start: of different age and capacity, and each somewhere between two waterings."""

from collections.abc import Iterator
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import TASKS, WATERING

if TYPE_CHECKING:
    from numpy.random import Generator

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.plans.battery_plan import BatteryPlan, LotPlan, MaintenancePlan


def _by_lot(area: "Area") -> "Iterator[tuple[BatteryPlan, LotPlan, int, Battery]]":
    """All batteries in order: the plan of their queue, that of their lot, their number within it."""
    batteries = iter(area.batteries)
    for queue in area.plan.battery_plans:
        for lot in queue.lots:
            for number in range(lot.batteries):
                yield queue, lot, number, next(batteries)


def spread_maintenance(area: "Area") -> None:
    """Start each battery somewhere between two cares; else all would fall due on the same day."""
    asked = []
    for queue, lot, number, battery in _by_lot(area):
        for index, maintenance in enumerate(queue.maintenance):
            stream = area.streams.ask(lot.entity, number, f"since {TASKS[maintenance.task]}")
            asked.append((battery, index, maintenance, stream))
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
    air_degc, streams, asked = area.air_degc(0.0), area.streams, []
    for queue, lot, number, battery in _by_lot(area):
        least, most = lot.life_used
        factors = streams.factors(queue.battery.capacity_spread_share, lot.entity, number, "capacity")
        used = streams.ask(lot.entity, number, "life used") if most > least else None
        since = streams.ask(lot.entity, number, "since equalising") if queue.equalising is not None else None
        asked.append((battery, queue, lot, factors, used, since))
    for battery, queue, lot, factors, used, since in asked:
        least, most = lot.life_used
        battery.degc = battery.stay_degc = air_degc
        battery.damage = least
        if used is not None:
            battery.damage += (most - least) * float(used.generator().random())
        battery.capacity_share = next(factors)
        worn_share = 1.0 - battery.lost_share * battery.damage
        if lot.capacity_left_share is not None:
            battery.capacity_share *= lot.capacity_left_share / worn_share
        if since is not None and queue.equalising is not None:
            battery.equalised_min = -float(since.generator().random()) * queue.equalising.every_min
        area.record.write.batteries(
            battery=battery.number,
            queue=queue.number,
            lot=queue.lots.index(lot),
            capacity_share=battery.capacity_share * worn_share,
            life_used_share=battery.damage,
            age_years=lot.age_years,
        )
