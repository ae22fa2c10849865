"""How batteries are at the start: of different age and capacity, and each somewhere between two waterings."""

from math import inf
from typing import TYPE_CHECKING

from batsim.record import TASKS, WATERING

if TYPE_CHECKING:
    from numpy.random import Generator

    from batsim.room.battery import Battery
    from batsim.room.line_plan import CarePlan
    from batsim.room.simulation import Room


def spread_care(room: "Room") -> None:
    """Start each battery somewhere between two cares; else all would fall due on the same day."""
    first = 0
    for line in room.plan.lines:
        for index, care in enumerate(line.care):
            for number, battery in enumerate(room.batteries[first : first + line.batteries]):
                purpose = f"since {TASKS[care.task]}"
                generator = room.streams.generator(f"battery of type {line.number}", number, purpose)
                _start(battery, index, care, generator)
        first += line.batteries


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
    air_degc = room.air_degc(0.0)
    first = 0
    for line in room.plan.lines:
        entity, spread = f"battery of type {line.number}", line.battery.capacity_spread_share
        least, most = line.battery.life_used
        for number, battery in enumerate(room.batteries[first : first + line.batteries]):
            battery.degc = air_degc
            battery.capacity_share = next(room.streams.factors(spread, entity, number, "capacity"))
            battery.damage = least
            if most > least:
                used = float(room.streams.generator(entity, number, "life used").random())
                battery.damage += (most - least) * used
            if line.equalising is not None:
                since = float(room.streams.generator(entity, number, "since equalising").random())
                battery.equalised_min = -since * line.equalising.every_min
        first += line.batteries
