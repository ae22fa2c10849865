"""The connecting desk: a battery that has its charger waits for whoever connects it.

Attendants or drivers, by the shift of the instant; a driver who has just exchanged a battery plugs it in, be it after
the end of the shift.
"""

from functools import partial
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import ATTENDANT, BEING_CONNECTED, CONNECTING, DRIVER, WAITS_FOR_CONNECTING
from batsim.room.people.solo_job import SoloJob

if TYPE_CHECKING:
    from batsim.room.area import Area
    from batsim.room.battery import Battery


class ConnectingDesk:
    """Connects batteries to their chargers; who exchanges them in a shift does that too."""

    def __init__(self, area: "Area") -> None:
        plan = area.plan
        self.area, self.write_state = area, area.record.write.battery_states
        self.instant = plan.arrangement.connect_time_min.always_zero
        """Whether connecting takes no time, and so nobody."""
        self.drivers = plan.drivers.connect
        """When drivers who connect batteries are at work; None when they never do."""
        self.by_attendants = plan.attendants_limited
        """Whether attendants, who are few, connect batteries while such drivers are away."""
        self.driver_stays = False
        """Whether the driver who has just exchanged the battery plugs it in."""
        self.waiting: list[Battery] = []
        """Batteries that have a charger and wait for a person, first come first."""
        self.laid_down: dict[Battery, None] = {}
        """Batteries whose connecting others must take over."""

    def driver_brings(self, battery: "Battery", begun_min: float) -> None:
        """Note that the driver who brings a battery, whose exchange began at some time, may plug it in. [min]"""
        self.driver_stays = self.drivers is not None

    def connect_first(self) -> bool:
        """Connect the battery that has waited longest for a person; False when nobody can."""
        person = self.connects_now(self.waiting[0])
        if person is not None:
            self._connect(self.waiting.pop(0), person)
        return person is not None

    def connects_now(self, battery: "Battery") -> int | None:
        """Who may connect a battery now: an attendant or a driver; None when nobody can."""
        attendants, drivers, now = self.area.attendants, self.drivers, self.area.env.now
        if drivers is not None and (self.driver_stays or drivers.window(now)[0] <= now):
            return DRIVER
        if self.by_attendants or drivers is None:
            return ATTENDANT if attendants.can_spare(1) else None
        attendants.look_again(drivers.next_start(now))
        return None

    def take_in(self, battery: "Battery", now: float) -> None:
        """Connect a battery that has got its charger now, or have it wait for a person. [min]"""
        person, service = self.connects_now(battery), self.area.service
        by_attendant = person == ATTENDANT and self.by_attendants
        in_turn = not service.usual_order or (by_attendant and service.others_wait())
        if person is not None and not (by_attendant and in_turn):
            self._connect(battery, person)
            return
        self.write_state(battery=battery.number, state=WAITS_FOR_CONNECTING, from_min=now)
        battery.turn = next(service.turns)
        self.waiting.append(battery)
        if in_turn:
            self.area.serve()

    def _connect(self, battery: "Battery", person: int) -> None:
        """Connect a battery; the person is held meanwhile, the charge starts after."""
        area = self.area
        now, minutes = area.env.now, next(area.connect_times[battery.number])
        if person == ATTENDANT and self.by_attendants:
            job = SoloJob(area, battery, person, CONNECTING, minutes, partial(self._connected, battery, now))
            if job.work_with(area.attendants.take(1)) == inf:
                self.laid_down[battery] = None
        else:
            end_min, write = now + minutes, area.record.write.work
            self.write_state(battery=battery.number, state=BEING_CONNECTED, from_min=now)
            write(
                area=area.number, person=person, task=CONNECTING, start_min=now, end_min=end_min, hands_on_min=minutes
            )
            area.charging.charge(battery, now, end_min)

    def _connected(self, battery: "Battery", since_min: float) -> None:
        """Let the current on."""
        self.laid_down.pop(battery, None)
        self.area.charging.charge(battery, since_min, self.area.env.now)


class ConnectingByShift(ConnectingDesk):
    """Connects batteries by whom the layout names for it, by battery type and shift."""

    def __init__(self, area: "Area") -> None:
        super().__init__(area)
        self.usual = self.drivers
        self.drivers_of = area.plan.drivers.connect_of
        """By queue, when drivers who connect its batteries are at work, where they are named."""

    def driver_brings(self, battery: "Battery", begun_min: float) -> None:
        """Have the driver plug the battery in, where drivers do so in the shift in which its exchange began."""
        drivers = self.drivers_of.get(battery.queue.number, self.usual)
        self.driver_stays = drivers is not None and drivers.window(begun_min)[0] <= begun_min

    def connects_now(self, battery: "Battery") -> int | None:
        """Who may connect this battery now: a driver by the shift of this instant, else an attendant."""
        self.drivers = drivers = self.drivers_of.get(battery.queue.number, self.usual)
        person = super().connects_now(battery)
        if person is None and drivers is not None:
            self.area.attendants.look_again(drivers.next_start(self.area.env.now))
        return person

    def connect_first(self) -> bool:
        """Connect the battery that has waited longest, of those that somebody may connect now."""
        for place, battery in enumerate(self.waiting):
            person = self.connects_now(battery)
            if person is not None:
                self._connect(self.waiting.pop(place), person)
                return True
        return False
