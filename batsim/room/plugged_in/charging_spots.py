"""Charging spots: where trucks that keep their battery are plugged in, first come, first served."""

from collections import deque
from typing import TYPE_CHECKING

from batsim.record.words import IN_TRUCK, NO_ATTENDANT, NO_STATION, NOTHING, WAITS_FOR_CHARGER
from batsim.room.exchanging.devices import Devices
from batsim.room.timing.clock import Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.on_charge.charging import ChargerPool
    from batsim.room.truck import Truck


class SpotDesk:
    """Charging spots and their chargers: first come, first served."""

    def __init__(self, area: "Area") -> None:
        self.area = area
        self.spots = area.plan.stations
        self.waiting: deque[tuple[Truck, Moment]] = deque()
        self.in_shift = {NO_STATION: 0, NO_ATTENDANT: 0}
        """Trucks that wait in shift time, by what they miss."""
        self.cause = NOTHING
        plan, devices, first = area.plan.arrangement, area.plan.devices, area.plan.first_device
        self.going_out: list[Moment] = []
        """Spots that go out of use when their truck has left: what is to be told then."""
        self.devices = [
            Devices(kind, count, plan.watering_devices[name], 0)
            for kind, (name, count) in enumerate(devices.items(), start=first)
        ]
        """What pulls a battery out to water it by hand."""
        self.draw_out = area.durations("draw out", lambda _: plan.pull_out_time_min)
        self.plug = area.durations("plug", lambda _: plan.plug_time_min)
        self.unplug = area.durations("unplug", lambda _: plan.unplug_time_min)

    def take(self, truck: "Truck") -> bool:
        """Take a spot with a charger that fits, if there is one."""
        if self.spots < 1:
            return False
        for pool in self.area.charging.pools_of[truck.queue.number]:
            if pool.free >= 1:
                pool.free -= 1
                self.spots -= 1
                truck.battery.pool, truck.battery.charger_min = pool, self.area.env.now
                truck.battery.owes_to(truck.queue.plan.profiles[pool.number].factor)
                return True
        return False

    def give_back(self, pool: "ChargerPool", _: "Event") -> None:
        """Free a spot and its charger, unless they go out of use now."""
        if pool.going_out:
            pool.going_out.pop(0).after(0.0)
        else:
            pool.free += 1
        if self.going_out:
            self.going_out.pop(0).after(0.0)
        else:
            self.spots += 1
        self.call()

    def call(self) -> None:
        """Call the first truck that can use what is free."""
        for entry in self.waiting:
            if self.take(entry[0]):
                self.waiting.remove(entry)
                entry[1].after(0.0)
                break

    def wait(self, truck: "Truck") -> Moment:
        """Join the queue; the moment comes when a spot has been taken for the truck."""
        called = Moment(self.area.env)
        self.waiting.append((truck, called))
        self.area.state(truck.battery, WAITS_FOR_CHARGER)
        return called

    def leave_queue(self, truck: "Truck") -> None:
        """Give up waiting, because work begins again."""
        self.waiting = deque(entry for entry in self.waiting if entry[0] is not truck)
        self.area.state(truck.battery, IN_TRUCK)

    def note(self, change: int, missing: int = NO_STATION) -> None:
        """Write down when trucks begin or cease to wait in shift time; what they miss is a spot, or an attendant."""
        self.in_shift[missing] += change
        cause = next((each for each, trucks in self.in_shift.items() if trucks), NOTHING)
        if cause != self.cause:
            self.cause = cause
            for queue in self.area.queues:
                self.area.record.write.queues(queue=queue.number, cause=cause, from_min=self.area.env.now)
