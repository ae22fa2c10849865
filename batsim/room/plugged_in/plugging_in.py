"""Who plugs a truck in that stands at its charging spot: its driver, or an attendant who may have to be waited for.

It goes by the shift in which the truck left its work. Its driver unplugs it.
"""

from bisect import bisect_left
from collections.abc import Generator
from math import inf
from typing import TYPE_CHECKING, NamedTuple

from batsim.record.words import (
    ATTENDANT,
    DRIVER,
    IN_TRUCK,
    NO_ATTENDANT,
    PLUGGING,
    WAITS_FOR_CONNECTING,
)
from batsim.room.people.trucks_served import Waiting, done_by, ends_in_time, wait

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.truck import Truck


class Plugged(NamedTuple):
    """When a truck is plugged in, and by whom."""

    start_min: float
    end_min: float
    person: int
    written: bool = False
    """Whether the work is written down already."""


def plug_in(
    area: "Area", truck: "Truck", minutes: float, left_min: float, latest_min: float = inf
) -> "Generator[Event, None, Plugged | None]":
    """Have a truck plugged in that left its work at a time; None where nobody came. [min]

    At the latest it has to be done by some time; without one the truck stands in scheduled time.
    """
    env, battery = area.env, truck.battery
    shift = bisect_left(truck.group.shift_starts, left_min) - 1
    if shift < 0 or not truck.group.by_shift[shift].attendants_plug_in:
        return Plugged(env.now, env.now + minutes, DRIVER)
    if not area.attendants.limited:
        return Plugged(env.now, env.now + minutes, ATTENDANT)
    waiting = Waiting(area, PLUGGING)
    area.state(battery, WAITS_FOR_CONNECTING)
    if latest_min == inf:
        truck.waits = True
        area.spots.note(1, NO_ATTENDANT)
    yield from wait(area, waiting, env.now, latest_min - minutes)
    if latest_min == inf:
        area.spots.note(-1, NO_ATTENDANT)
        truck.waits = False
    start_min = env.now
    if not waiting.called.triggered or not ends_in_time(area, waiting, minutes, latest_min):
        area.state(battery, IN_TRUCK)
        return None
    truck.plugged_min = start_min if latest_min == inf else truck.plugged_min
    yield from done_by(area, battery, waiting, ATTENDANT, minutes)
    return Plugged(start_min, env.now, ATTENDANT, written=True)


def write_plugging(area: "Area", plugged: Plugged, unplugged: tuple[float, float]) -> None:
    """Write the rows of who has plugged a truck in, and of its driver, who unplugs it: from when on, how long. [min]"""
    begun = [] if plugged.written else [(plugged.person, plugged.start_min, plugged.end_min - plugged.start_min)]
    for person, start_min, minutes in [*begun, (DRIVER, *unplugged)]:
        area.record.write.work(
            area=area.number,
            person=person,
            task=PLUGGING,
            start_min=start_min,
            end_min=start_min + minutes,
            hands_on_min=minutes,
        )
