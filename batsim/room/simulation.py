"""One replication of one layout: builds the room, runs it to its horizon, returns the record.

A run is a pure function of scenario, layout, replication and seed. The scenario is only read.
"""

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from batsim.record.record import Record
from batsim.record.words import IN_TRUCK
from batsim.room.area import Area
from batsim.room.battery import Battery
from batsim.room.chance.streams import Streams
from batsim.room.duty import duty
from batsim.room.on_charge.sharing import SharedPower
from batsim.room.outages import start_outages
from batsim.room.people.service import services_of
from batsim.room.plans.blueprint import Blueprint, blueprint_of
from batsim.room.plans.run_facts import facts_of
from batsim.room.plugged_in.in_truck import duty_in_truck
from batsim.room.queue import Queue
from batsim.room.timing.clock import Clock
from batsim.room.truck import Truck
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.scenario.site import SameScenario

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario


MOVE_EVERY_MIN = 40 * WEEK_MIN
"""Time of one truck after which what has been written is moved: of many trucks together as much sooner. [min]"""


class Room:
    """What all areas share during one replication: the clock, the streams, the record, power and people."""

    def __init__(self, blueprint: Blueprint, seed: int, replication: int) -> None:
        self.blueprint = blueprint
        self.env = Clock()
        self.streams = Streams(seed, replication)
        self.record = Record(facts_of(blueprint, seed, replication))
        self._write_state = self.record.write.battery_states
        self._air_degc = blueprint.room_air_degc
        self.batteries = 0
        self.starts: list[float] = []
        """Starts of charges that are settled, in order, for staggered starts. [min]"""
        limit_kw = blueprint.charging.power_limit_kw
        self.sharing = None if limit_kw is None else SharedPower(self, limit_kw)
        self.areas = [Area(self, plan) for plan in blueprint.areas]
        services = services_of(self)
        for area in self.areas:
            area.open_desks()
        for service in services:
            service.open()
        self.trucks = self._make_trucks()
        for area in self.areas:
            area.put_out_spares()
        self._begin_work()
        for area in self.areas:
            start_outages(area)

    def _begin_work(self) -> None:
        """Let every truck begin its work."""
        for truck in self.trucks:
            if truck.area.plan.exchange is None:
                self.env.process(duty_in_truck(truck.area, truck))
            else:
                truck.ask_exchanges()
                self.env.process(duty(truck.area, truck))
        for truck in self.trucks:
            truck.draw_start()
            truck.write_shifts()

    def run(self) -> Record:
        """Run to the horizon and write down what is still under way; what falls on the horizon is not run."""
        horizon = self.blueprint.horizon_min
        while self.env.now < horizon:
            self.env.run_to(min(horizon, self.env.now + MOVE_EVERY_MIN / len(self.trucks)))
            self.record.move()
        for area in self.areas:
            area.write_unfinished_visits()
        if self.sharing is not None:
            self.sharing.write_under_way(horizon)
        for area in self.areas:
            area.write_unfinished_charges()
        self._take_apart()
        return self.record

    def _take_apart(self) -> None:
        """Part what refers to each other, so that it goes without the garbage collector."""
        for area in self.areas:
            area.take_apart()
        self.areas.clear()
        self.trucks.clear()
        self.sharing = None
        self.env.__dict__.clear()

    def air_degc(self, time_min: float) -> float:
        """Air of the room at a time, the same all week; long after the run as at its end. [degC]"""
        return self._air_degc[min(int(time_min // WEEK_MIN), len(self._air_degc) - 1)]

    def state(self, battery: Battery, state: int, from_min: float | None = None) -> None:
        """Write down a battery's state from now on, or from a time not far ahead."""
        self._write_state(battery=battery.number, state=state, from_min=self.env.now if from_min is None else from_min)

    def number_batteries(self, queue: Queue) -> list[Battery]:
        """Make the batteries of a queue; their numbers go on from those before."""
        first = self.batteries
        self.batteries += queue.plan.batteries
        return [Battery(number, queue) for number in range(first, self.batteries)]

    def _make_trucks(self) -> list[Truck]:
        """Put the first batteries of each type into its trucks, group by group by their names."""
        trucks: list[Truck] = []
        area_of = {number: area for area in self.areas for number in area.plan.group_numbers}
        charged = {queue.number: iter(queue.batteries) for area in self.areas for queue in area.queues}
        by_name = sorted(self.blueprint.groups, key=lambda group: group.truck.group)
        first = {group.number: [next(charged[queue]) for queue in group.queues] for group in by_name}
        for group in self.blueprint.groups:
            area = area_of[group.number]
            for position, battery in enumerate(first[group.number]):
                self.state(battery, IN_TRUCK)
                truck = Truck(area, len(trucks), group, position, battery)
                trucks.append(truck)
                area.trucks.append(truck)
        return trucks


@lru_cache(maxsize=32)
def _blueprint(key: SameScenario, layout: str, length_min: float, warm_up_min: float) -> Blueprint:
    """Work a layout out once for all its replications."""
    return blueprint_of(key.scenario, layout, length_min, warm_up_min)


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
    scenario: "Scenario", layout: str, *, seed: int, replication: int, length_min: float, warm_up_min: float
) -> Record:
    """Do the same for any length of the measured time and of the warm-up before it, unchecked. [min]"""
    return Room(_blueprint(SameScenario(scenario), layout, length_min, warm_up_min), seed, replication).run()
