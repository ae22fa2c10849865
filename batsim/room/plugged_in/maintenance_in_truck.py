"""Maintenance of a battery that stays in its truck: in the time that work leaves after a charge, or before a shift.

For watering by hand the battery is pulled out part of the way, which needs a device; one connection for all cells does
without. An attendant, where there are any, and the device may have to be waited for; a driver is there.

Drivers whom the layout names do it before the work of a shift that follows rest, for which the truck stands, and after
a charge in scheduled time; attendants, where there are any, in the time that work leaves.
"""

from bisect import bisect_right
from collections.abc import Generator
from typing import TYPE_CHECKING

from batsim.record.words import DRIVER, IN_TRUCK, TASK_STATES, WATERING
from batsim.room.people.trucks_served import Waiting, done_by, ends_in_time, wait
from batsim.room.timing.clock import Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.truck import Truck


def before_shift(area: "Area", truck: "Truck", start_min: float, end_min: float) -> "Generator[Event, None, float]":
    """Do what is due before the work of a shift, where its drivers are named for that; when work begins. [min]

    A truck does not stand for a device that is in use: it goes to work, and its turn comes at the next shift.
    """
    if not by_driver(truck, start_min) or start_min not in truck.group.shift_starts:
        return start_min
    if start_min > area.env.now:
        yield Moment(area.env).after(start_min - area.env.now)
    taken_min = yield from maintenance_in_truck(area, truck, start_min, end_min, waits=False)
    return start_min + taken_min


def by_driver(truck: "Truck", time_min: float) -> bool:
    """Whether drivers are named to maintain the battery of a truck in its shift of some time. [min]"""
    shift = bisect_right(truck.group.shift_starts, time_min) - 1
    at_work = shift >= 0 and time_min < truck.group.shift_ends[shift]
    return at_work and truck.group.by_shift[shift].drivers_maintain


def maintenance_in_truck(
    area: "Area", truck: "Truck", since_min: float, latest_min: float, *, waits: bool = True
) -> "Generator[Event, None, float]":
    """Do what is due on a charged battery from some time on, as far as there is time; minutes it took. [min]"""
    battery, desk, time = truck.battery, area.maintenance, since_min
    with_driver = by_driver(truck, since_min)
    if not with_driver and area.plan.drivers_only and truck.queue.number in area.plan.drivers.maintain_of:
        return 0.0
    for index, maintenance in enumerate(truck.queue.plan.maintenance):
        if not desk.is_due(battery, index, time) or not desk.in_round(truck.queue.number, index, time):
            continue
        waiting, minutes = _next(area, truck, maintenance.task, with_driver=with_driver)
        if time + minutes > latest_min:
            continue
        done = yield from _do(area, battery, waiting, minutes, (time, latest_min if waits else time + minutes))
        if done is None:
            continue
        start_min, time = done
        desk.write(battery, index, (since_min, start_min, time))
        area.state(battery, IN_TRUCK, time)
        if not waits:
            write, number, group = area.record.write.stands, truck.number, truck.group.number
            write(truck=number, group=group, start_min=start_min, end_min=time, task=maintenance.task)
    return time - since_min


def _next(area: "Area", truck: "Truck", task: int, *, with_driver: bool) -> tuple[Waiting, float]:
    """What one thing that is due on the battery of a truck waits for, and how long it takes. [min]"""
    number = truck.battery.number
    minutes = next(area.maintenance.times[task][number])
    pulled_out = task == WATERING and truck.queue.plan.watered_by_hand
    if pulled_out:
        minutes += next(area.spots.draw_out[number])
    needs_devices = pulled_out and any(devices.units for devices in area.spots.devices)
    return Waiting(area, task, by_driver=with_driver, needs_devices=needs_devices), minutes


def _do(
    area: "Area", battery: "Battery", waiting: Waiting, minutes: float, span_min: tuple[float, float]
) -> "Generator[Event, None, tuple[float, float] | None]":
    """Do one thing within a span of time; when it began and ended, None where nobody came in time. [min]"""
    since_min, latest_min = span_min
    needs_nobody = waiting.by_driver or not area.attendants.limited
    person = DRIVER if waiting.by_driver else area.maintenance.person
    if needs_nobody and not waiting.needs_devices:
        end_min, write = since_min + minutes, area.record.write.work
        write(
            area=area.number,
            person=person,
            task=waiting.task,
            start_min=since_min,
            end_min=end_min,
            hands_on_min=minutes,
        )
        area.state(battery, TASK_STATES[waiting.task][1], since_min)
        return since_min, end_min
    yield from wait(area, waiting, since_min, latest_min - minutes)
    start_min = area.env.now
    if not waiting.called.triggered or not ends_in_time(area, waiting, minutes, latest_min):
        return None
    yield from done_by(area, battery, waiting, person, minutes)
    return start_min, area.env.now
