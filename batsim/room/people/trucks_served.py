"""Trucks that keep their battery and wait for somebody: to be plugged in, or for maintenance of the battery."""

from collections.abc import Generator, Sequence
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import DRIVER, PLUGGING
from batsim.room.people.solo_job import SoloJob
from batsim.room.timing.clock import ASKS, Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.exchanging.devices import Unit
    from batsim.room.people.attendants import Person


class Waiting:
    """A truck that waits for an attendant, unless its driver does it, and for what pulls its battery out."""

    def __init__(self, area: "Area", task: int, *, by_driver: bool = False, needs_devices: bool = False) -> None:
        self.called = Moment(area.env)
        self.turn = (task != PLUGGING, 0)
        """When it is called among those that wait: to be plugged in goes first."""
        self.task, self.by_driver, self.needs_devices = task, by_driver, needs_devices
        self.people: list[Person] = []
        self.held: list[tuple[int, Unit]] = []

    def take(self, area: "Area") -> bool:
        """Take what it waits for, if all of it is free."""
        now, kinds = area.env.now, area.spots.devices if self.needs_devices else []
        there = self.by_driver or (area.attendants.can_spare(1) and area.service.spares_one(area))
        if not there or not all(devices.can_serve(now) for devices in kinds):
            return False
        self.people = [] if self.by_driver else area.attendants.take(1)
        self.held = [(devices.kind, unit) for devices in kinds for unit in devices.choose(now)]
        for _, unit in self.held:
            unit.free_min = inf
        return True


def serve_trucks(areas: "Sequence[Area]") -> None:
    """Call trucks, the longest waiting first, as far as people and devices go; one with its driver may pass others.

    Over all areas where the same people work; where the first one of an area cannot be served, others there wait too.
    """
    for by_driver in (False, True):
        left = set()
        waiting = [
            (each.turn, each, area) for area in areas for each in area.trucks_served if each.by_driver is by_driver
        ]
        for _, each, area in sorted(waiting, key=lambda entry: entry[0]):
            if area in left or not each.take(area):
                left.add(area)
                continue
            area.trucks_served.remove(each)
            each.called.after(0.0)


def wait(area: "Area", waiting: Waiting, time_min: float, until_min: float) -> "Generator[Event, None, None]":
    """Wait from a time on for people and devices, at the longest until another; to be plugged in goes first. [min]"""
    if time_min > area.env.now:
        yield Moment(area.env).after(time_min - area.env.now)
    queue = area.trucks_served
    waiting.turn = (waiting.task != PLUGGING, next(area.service.turns))
    queue.append(waiting)
    serve_trucks((area,))
    if until_min < inf:
        yield area.env.any_of([waiting.called, Moment(area.env).after(max(0.0, until_min - area.env.now), ASKS)])
    else:
        yield waiting.called
    if not waiting.called.triggered:
        queue.remove(waiting)


def ends_in_time(area: "Area", waiting: Waiting, minutes: float, latest_min: float) -> bool:
    """Whether work that begins now ends before the truck leaves; else give everything back."""
    now, attendants = area.env.now, area.attendants
    end_min = attendants.end_of(waiting.people, now, minutes)
    if latest_min == inf or (end_min <= latest_min and end_min <= attendants.stop_of(waiting.people)):
        return True
    attendants.give_back(waiting.people)
    for _, unit in waiting.held:
        unit.hold_until(now)
    area.serve()
    return False


def done_by(
    area: "Area", battery: "Battery", waiting: Waiting, person: int, minutes: float
) -> "Generator[Event, None, None]":
    """Have the work done, and the devices given back."""
    start_min, done = area.env.now, Moment(area.env)

    def finished() -> None:
        done.after(0.0)

    person = DRIVER if waiting.by_driver else person
    SoloJob(area, battery, person, waiting.task, minutes, finished).work_with(waiting.people)
    yield done
    for kind, unit in waiting.held:
        unit.hold_until(area.env.now)
        area.record.write.devices(device=kind, unit=unit.number, start_min=start_min, end_min=area.env.now, metres=0.0)
    area.serve()
