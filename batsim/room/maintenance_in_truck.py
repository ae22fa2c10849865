"""Maintenance of a battery that stays in its truck: in the time that work leaves after a charge.

For watering by hand the battery is pulled out part of the way, which needs a device; one connection for all cells does
without. An attendant, where there are any, and the device may have to be waited for; a driver is there.
"""

from collections.abc import Generator
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import IN_TRUCK, TASK_STATES, WATERING
from batsim.room.attendants import SoloJob
from batsim.room.clock import ASKS, Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.attendants import Person
    from batsim.room.battery import Battery
    from batsim.room.devices import Unit
    from batsim.room.truck import Truck


class Waiting:
    """A truck that waits for an attendant, and for what pulls its battery out."""

    def __init__(self, area: "Area", *, needs_devices: bool) -> None:
        self.called = Moment(area.env)
        self.needs_devices = needs_devices
        self.people: list[Person] = []
        self.held: list[tuple[int, Unit]] = []

    def take(self, area: "Area") -> bool:
        """Take what it waits for, if all of it is free."""
        now, kinds = area.env.now, area.spots.devices if self.needs_devices else []
        if not area.attendants.can_spare(1) or not all(devices.can_serve(now) for devices in kinds):
            return False
        self.people = area.attendants.take(1)
        self.held = [(devices.kind, unit) for devices in kinds for unit in devices.choose(now)]
        for _, unit in self.held:
            unit.free_min = inf
        return True


def serve_trucks(area: "Area") -> None:
    """Call the trucks that have waited longest for maintenance, as far as people and devices go."""
    waiting = area.maintenance.trucks
    while waiting and waiting[0].take(area):
        waiting.popleft().called.after(0.0)


def maintenance_in_truck(
    area: "Area", truck: "Truck", since_min: float, latest_min: float
) -> "Generator[Event, None, float]":
    """Do what is due on a charged battery from some time on, as far as there is time; minutes it took. [min]"""
    battery, desk, time = truck.battery, area.maintenance, since_min
    for index, maintenance in enumerate(truck.queue.plan.maintenance):
        if not desk.is_due(battery, index, time) or not desk.in_round(truck.queue.number, index, time):
            continue
        minutes = next(desk.times[maintenance.task][battery.number])
        pulled_out = maintenance.task == WATERING and truck.queue.plan.watered_by_hand
        if pulled_out:
            minutes += next(area.spots.draw_out[battery.number])
        if time + minutes > latest_min:
            continue
        done = yield from _do(area, battery, maintenance.task, minutes, (time, latest_min), pulled_out=pulled_out)
        if done is None:
            continue
        start_min, time = done
        desk.write(battery, index, (since_min, start_min, time))
        area.state(battery, IN_TRUCK, time)
    return time - since_min


def _do(
    area: "Area", battery: "Battery", task: int, minutes: float, span_min: tuple[float, float], *, pulled_out: bool
) -> "Generator[Event, None, tuple[float, float] | None]":
    """Do one thing within a span of time; when it began and ended, None where nobody came in time. [min]"""
    since_min, latest_min = span_min
    needs_devices = pulled_out and any(devices.units for devices in area.spots.devices)
    if not area.attendants.limited and not needs_devices:
        end_min = since_min + minutes
        person, write = area.maintenance.person, area.record.write.work
        write(area=area.number, person=person, task=task, start_min=since_min, end_min=end_min, hands_on_min=minutes)
        area.state(battery, TASK_STATES[task][1], since_min)
        return since_min, end_min
    waiting = Waiting(area, needs_devices=needs_devices)
    yield from _wait(area, waiting, since_min, latest_min - minutes)
    start_min = area.env.now
    if not waiting.called.triggered or not _ends_in_time(area, waiting, minutes, latest_min):
        return None
    yield from _done_by(area, battery, waiting, task, minutes)
    return start_min, area.env.now


def _wait(area: "Area", waiting: Waiting, time_min: float, until_min: float) -> "Generator[Event, None, None]":
    """Wait from a time on for people and devices, at the longest until another."""
    if time_min > area.env.now:
        yield Moment(area.env).after(time_min - area.env.now)
    area.maintenance.trucks.append(waiting)
    serve_trucks(area)
    if until_min < inf:
        yield area.env.any_of([waiting.called, Moment(area.env).after(max(0.0, until_min - area.env.now), ASKS)])
    else:
        yield waiting.called
    if not waiting.called.triggered:
        area.maintenance.trucks.remove(waiting)


def _ends_in_time(area: "Area", waiting: Waiting, minutes: float, latest_min: float) -> bool:
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


def _done_by(
    area: "Area", battery: "Battery", waiting: Waiting, task: int, minutes: float
) -> "Generator[Event, None, None]":
    """Have the work done, and the devices given back."""
    start_min, done = area.env.now, Moment(area.env)

    def finished() -> None:
        done.after(0.0)

    SoloJob(area, battery, area.maintenance.person, task, minutes, finished).work_with(waiting.people)
    yield done
    for kind, unit in waiting.held:
        unit.hold_until(area.env.now)
        area.record.write.devices(device=kind, unit=unit.number, start_min=start_min, end_min=area.env.now, metres=0.0)
    area.serve()
