"""How batteries are at the start: of different age and capacity, and each somewhere between two waterings."""

from math import inf
from typing import TYPE_CHECKING

from batsim.record import TASKS, WATERING

if TYPE_CHECKING:
    from numpy.random import Generator

    from batsim.room.battery import Battery
    from batsim.room.battery_plan import CarePlan
    from batsim.room.simulation import Room


def spread_care(room: "Room") -> None:
    """Start each battery somewhere between two cares; else all would fall due on the same day."""
    asked, first = [], 0
    for line in room.plan.lines:
        for index, care in enumerate(line.care):
            for number, battery in enumerate(room.batteries[first : first + line.batteries]):
                purpose = f"since {TASKS[care.task]}"
                stream = room.streams.ask(f"battery of type {line.number}", number, purpose)
                asked.append((battery, index, care, stream))
        first += line.batteries
    for battery, index, care, stream in asked:
        _start(battery, index, care, stream.generator())


def _start(battery: "Battery", index: int, care: "CarePlan", generator: "Generator") -> None:
    """Set charges, time and gassing since the last care, evenly over its interval."""
    if care.charges < inf:
        battery.care_charges[index] = float(generator.integers(int(care.charges)))
    if care.task == WATERING and care.gas_ah < inf:
        battery.gas_ah = care.gas_ah * float(generator.random())
    if care.minutes < inf:
        battery.care_min[index] = -care.minutes * float(generator.random())


def spread_ages(room: "Room") -> None:
    """Give each battery its capacity and age, and a start somewhere between two equalising charges."""
    air_degc, streams = room.air_degc(0.0), room.streams
    asked, first = [], 0
    for line in room.plan.lines:
        entity, spread = f"battery of type {line.number}", line.battery.capacity_spread_share
        least, most = line.battery.life_used
        for number, battery in enumerate(room.batteries[first : first + line.batteries]):
            factors = streams.factors(spread, entity, number, "capacity")
            used = streams.ask(entity, number, "life used") if most > least else None
            since = streams.ask(entity, number, "since equalising") if line.equalising is not None else None
            asked.append((battery, factors, used, since))
        first += line.batteries
    for battery, factors, used, since in asked:
        plan = battery.line.plan
        least, most = plan.battery.life_used
        battery.degc = air_degc
        battery.capacity_share = next(factors)
        battery.damage = least
        if used is not None:
            battery.damage += (most - least) * float(used.generator().random())
        if since is not None and plan.equalising is not None:
            battery.equalised_min = -float(since.generator().random()) * plan.equalising.every_min
