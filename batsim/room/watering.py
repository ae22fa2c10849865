"""Watering: a charged and cooled battery whose turn it is gets water before it counts as ready."""

from collections import deque
from functools import partial
from math import inf
from typing import TYPE_CHECKING

from batsim.formulas.gassing import water_deficit_g
from batsim.record import ATTENDANT, DRIVER, WATERED, WATERING
from batsim.room.clock import Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.crew import Person
    from batsim.room.simulation import Room


class WateringRound:
    """Waters batteries one by one when attendants have nothing else to do."""

    def __init__(self, room: "Room") -> None:
        self.room = room
        self.every = [
            line.battery.watering.every.charges if line.battery.watering is not None else inf
            for line in room.plan.lines
        ]
        self.due_ah = [line.gassing.due_ah for line in room.plan.lines]
        self.person = DRIVER if room.plan.drivers_only else ATTENDANT
        self.due: deque[Battery] = deque()
        self.due_since: dict[int, float] = {}

    def is_due(self, battery: "Battery") -> bool:
        """Tell whether a battery has had its number of charges, or of ampere-hours of gassing, since the last one."""
        number = battery.line.number
        return battery.charges >= self.every[number] or battery.gas_ah >= self.due_ah[number]

    def write(self, battery: "Battery", due_min: float, start_min: float, end_min: float) -> None:
        """Write the row of a watering, which gives back what gassing has taken."""
        water_kg = water_deficit_g(battery.gas_ah, battery.line.plan.battery.cells) / 1000.0
        self.room.record.write["waterings"]((battery.number, due_min, start_min, end_min, water_kg))
        battery.charges = battery.gas_ah = 0.0

    def receive(self, battery: "Battery") -> None:
        """Put a battery in turn; water goes in after a charge, never before."""
        self.room.state(battery, WATERED)
        self.due_since[battery.number] = self.room.env.now
        self.due.append(battery)

    def serve(self) -> None:
        """Water what is due while an attendant is free and no exchange waits for one."""
        while self.due and self.room.crew.can_spare(1):
            self._water(self.due.popleft(), self.room.crew.take(1))

    def _water(self, battery: "Battery", people: "list[Person]") -> None:
        """Water one battery."""
        room, now = self.room, self.room.env.now
        minutes = busy = next(room.watering_times[battery.number])
        if people and room.plan.rules.crew_break == "pause":
            busy = people[0].crossing.end_of(now, minutes) - now
        self.write(battery, self.due_since.pop(battery.number), now, now + busy)
        room.record.write["work"]((self.person, WATERING, now, now + busy, minutes, 1))
        Moment(room.env, partial(self._watered, battery, people)).after(busy)

    def _watered(self, battery: "Battery", people: "list[Person]", _: "Event") -> None:
        """End a watering: the battery is ready."""
        self.room.crew.give_back(people)
        self.room.charging.make_ready(battery)
        self.room.serve()
