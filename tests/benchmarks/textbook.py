"""A battery room as a textbook would write it in SimPy: nothing in it but queues, for its time to be compared.

Trucks take a station and a ready battery; the discharged one gets a process of its own that takes a charger and puts it
back when it has cooled down. Twelve kernel events an exchange, no physics, no calendar, no people, no record.
"""

import random
from collections.abc import Generator
from typing import NamedTuple

from simpy import Environment, Event, Resource, Store

YEAR_MIN = 365 * 1440.0
TRUCKS, BATTERIES, STATIONS, CHARGERS = 40, 120, 2, 80
RUN_MIN, RUN_CV, EXCHANGE_MIN, EXCHANGE_CV, COOL_MIN = 450.0, 0.2, 4.0, 0.5, 420.0


class Outcome(NamedTuple):
    """What the loop counts."""

    exchanges: int
    wait_min: float
    """Mean wait of an exchange. [min]"""


class TextbookRoom:
    """The room and its totals."""

    def __init__(self, seed: int) -> None:
        self.env = Environment()
        self.draw = random.Random(seed)
        self.stations = Resource(self.env, STATIONS)
        self.chargers = Resource(self.env, CHARGERS)
        self.ready = Store(self.env)
        self.ready.items.extend(range(TRUCKS, BATTERIES))
        self.exchanges, self.waited_min = 0, 0.0
        for battery in range(TRUCKS):
            self.env.process(self.truck(battery))

    def gamma(self, mean: float, cv: float) -> float:
        """Draw a duration. [min]"""
        return self.draw.gammavariate(1.0 / (cv * cv), mean * cv * cv)

    def truck(self, battery: int) -> Generator[Event, None, None]:
        """Work, ask, exchange, for ever."""
        env = self.env
        run_min = self.gamma(RUN_MIN, RUN_CV) * self.draw.random()
        while True:
            yield env.timeout(run_min)
            asked = env.now
            with self.stations.request() as station:
                yield station
                fresh = yield self.ready.get()
                self.waited_min += env.now - asked
                yield env.timeout(self.gamma(EXCHANGE_MIN, EXCHANGE_CV))
            self.exchanges += 1
            env.process(self.charge(battery, 60.0 + 0.8 * run_min))
            battery = fresh
            run_min = self.gamma(RUN_MIN, RUN_CV)

    def charge(self, battery: int, minutes: float) -> Generator[Event, None, None]:
        """Charge and cool one battery."""
        with self.chargers.request() as charger:
            yield charger
            yield self.env.timeout(minutes)
        yield self.env.timeout(COOL_MIN)
        yield self.ready.put(battery)


def simulate(seed: int, length_min: float = YEAR_MIN) -> Outcome:
    """Run the loop for a time and return its totals."""
    room = TextbookRoom(seed)
    room.env.run(until=length_min)
    return Outcome(room.exchanges, room.waited_min / room.exchanges)
