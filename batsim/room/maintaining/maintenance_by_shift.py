"""Maintenance by those whom a layout names for it: drivers or attendants, by battery type and the shift of the instant.

A driver who maintains a battery is of a truck that waits, else of the truck at work that may go on longest, which
stands meanwhile. While those drivers are away, attendants do it where there are any.
"""

from bisect import bisect_right
from functools import partial
from typing import TYPE_CHECKING

from batsim.record.words import DRIVER, TASK_STATES
from batsim.room.maintaining.maintenance import MaintenanceDesk
from batsim.room.timing.clock import Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.timing.timetable import Timetable
    from batsim.room.truck import Truck


class MaintenanceByShift(MaintenanceDesk):
    """Maintains batteries one by one, by whom the layout names."""

    def __init__(self, area: "Area") -> None:
        super().__init__(area)
        self.drivers_of = area.plan.drivers.maintain_of

    def begin_first(self, task: int) -> bool:
        """Begin a task on the battery that has waited longest, of those that somebody may maintain now."""
        queue = self.queues[task]
        for place, (battery, index) in enumerate(queue):
            truck = self._driver(battery.queue.number)
            if truck is not None or self._attendant(battery.queue.number):
                del queue[place]
                if truck is None:
                    self._begin(battery, index)
                else:
                    self._begin_by_driver(battery, index, truck)
                return True
        return False

    def _drivers_now(self, queue: int) -> "Timetable | None":
        """When drivers are at work who maintain batteries of a queue, if some are now."""
        drivers, now = self.drivers_of.get(queue), self.area.env.now
        return drivers if drivers is not None and drivers.window(now)[0] <= now else None

    def _driver(self, queue: int) -> "Truck | None":
        """Truck whose driver may maintain a battery of a queue now; None where attendants do, or none is to be had."""
        drivers = self._drivers_now(queue)
        if drivers is None:
            return None
        area, now = self.area, self.area.env.now
        for truck in area.exchange.helpers(None):
            if truck.group.by_shift[bisect_right(truck.group.shift_starts, now) - 1].drivers_maintain:
                return truck
        area.exchange.wait_for_drivers()
        area.attendants.look_again(drivers.window(now)[1])
        return None

    def _attendant(self, queue: int) -> bool:
        """Whether an attendant may maintain a battery of a queue now: no drivers are named, or they are away."""
        if self._drivers_now(queue) is not None:
            return False
        drivers, attendants = self.drivers_of.get(queue), self.area.attendants
        if drivers is None:
            return attendants.can_spare(1)
        attendants.look_again(drivers.next_start(self.area.env.now))
        return not self.area.plan.drivers_only and attendants.can_spare(1)

    def _begin_by_driver(self, battery: "Battery", index: int, truck: "Truck") -> None:
        """Have a driver do one maintenance of one battery; in breaks it lies still where that is the rule."""
        area, task, now = self.area, battery.queue.plan.maintenance[index].task, self.area.env.now
        minutes = next(self.times[task][battery.number])
        waits, being = TASK_STATES[task]
        end_min, breaks = now + minutes, list[tuple[float, float]]()
        if area.attendants.stops_in_breaks:
            crossing = truck.group.crossing
            end_min = crossing.end_of(now, minutes, again=area.attendants.again_after_break)
            breaks = crossing.gaps_in(now, end_min)
        starts, stops = [now, *(end for _, end in breaks)], [*(begin for begin, _ in breaks), end_min]
        for start, stop in zip(starts, stops, strict=True):
            area.state(battery, being, start)
            area.record.write.work(
                area=area.number, person=DRIVER, task=task, start_min=start, end_min=stop, hands_on_min=stop - start
            )
            if stop < end_min:
                area.state(battery, waits, stop)
        area.exchange.keep_driver(truck, end_min, task)
        self.write(battery, index, (self.due_since.pop(battery.number), now, end_min))
        Moment(area.env, partial(self._done_by_driver, battery, index, now)).after(end_min - now)

    def _done_by_driver(self, battery: "Battery", index: int, start_min: float, _: "Event") -> None:
        """Let the battery go on, and let everyone have what is free."""
        self._done(battery, index, start_min)
        self.area.serve()
