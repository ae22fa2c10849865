"""The charging desk: a spent battery waits in its place for a charger and for whoever connects it.

The end of a charge follows in closed form from the battery's real state, so a charge costs one event, and a
cool-down one more. A charger on loose leads is free when the charge ends; one bound to its place is taken until
the battery leaves that place.
"""

from functools import partial
from typing import TYPE_CHECKING

from batsim.formulas.charging import Phase, charge_phases, phases_totals
from batsim.record import ATTENDANT, CONNECTING, COOLING, DRIVER, ON_CHARGE, READY, WAITING
from batsim.room.clock import Moment, ticked

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.crew import Person
    from batsim.room.exchange import Line
    from batsim.room.simulation import Room


class ChargerPool:
    """Chargers of one type."""

    __slots__ = ("free", "number")

    def __init__(self, number: int, count: float) -> None:
        self.number = number
        self.free = count


class ChargingDesk:
    """Brings spent batteries to ready."""

    def __init__(self, room: "Room") -> None:
        plan = room.plan
        self.room = room
        self.pools = [ChargerPool(number, count) for number, count in enumerate(plan.charger_counts)]
        self.pools_of = [[self.pools[number] for number in line.chargers] for line in plan.lines]
        self.bound = plan.bound_chargers
        self.connect_time = plan.arrangement.connect_time_min
        self.instant_connect = self.connect_time.always_zero
        self.needs_person = plan.crew_limited and not plan.connect_by_driver and not self.instant_connect
        self.connector = DRIVER if plan.connect_by_driver else ATTENDANT
        self.to_connect: list[Battery] = []
        """Batteries that have a charger and wait for a person, first come first."""

    def receive(self, battery: "Battery") -> None:
        """Take in a spent battery that stands in its place."""
        battery.spent_min = self.room.env.now
        for pool in self.pools_of[battery.line.number]:
            if pool.free >= 1:
                self._assign(battery, pool)
                return
        self.room.state(battery, WAITING)
        battery.line.spent.append(battery)

    def release(self, battery: "Battery") -> None:
        """Free a battery's charger for the one that has waited longest, of those it fits."""
        pool, battery.pool = battery.pool, None
        if pool is None:
            return
        pool.free += 1
        longest: Line | None = None
        for line in self.room.lines:
            fits = line.spent and pool in self.pools_of[line.number]
            if fits and (longest is None or line.spent[0].spent_min < longest.spent[0].spent_min):
                longest = line
        if longest is not None:
            self._assign(longest.spent.popleft(), pool)

    def serve(self) -> None:
        """Connect what waits for a person, while there is one."""
        while self.to_connect and self.room.crew.can_spare(1):
            self._connect(self.to_connect.pop(0))

    def _assign(self, battery: "Battery", pool: ChargerPool) -> None:
        """Give a battery its charger and have it connected."""
        pool.free -= 1
        battery.pool = pool
        if self.instant_connect:
            self._charge(battery, self.room.env.now, self.room.env.now)
            return
        self.room.state(battery, WAITING)
        if not self.needs_person or (self.room.crew.can_spare(1) and not self.room.exchange.waits_for_crew):
            self._connect(battery)
        else:
            self.to_connect.append(battery)

    def _connect(self, battery: "Battery") -> None:
        """Connect a battery; the person is held meanwhile, the charge starts after."""
        room, now = self.room, self.room.env.now
        minutes = next(room.connect_times[battery.number])
        people: list[Person] = []
        busy = minutes
        if self.needs_person:
            people = room.crew.take(1)
            if room.plan.rules.crew_break == "pause":
                busy = people[0].crossing.end_of(now, minutes) - now
            Moment(room.env, partial(self._connected, battery, people, now)).after(busy)
        room.record.write["work"]((self.connector, CONNECTING, now, now + busy, minutes, 1))
        if not people:
            self._charge(battery, now, now + minutes)

    def _connected(self, battery: "Battery", people: "list[Person]", since_min: float, _: "Event") -> None:
        """Let the person go and the current on."""
        self.room.crew.give_back(people)
        self._charge(battery, since_min, self.room.env.now)
        self.room.serve()

    def _charge(self, battery: "Battery", connected_min: float, start_min: float) -> None:
        """Settle the whole charge and cool-down, and write its row."""
        room, line, pool = self.room, battery.line, battery.pool
        assert pool is not None  # a battery is connected to a charger
        law: Iterator[float] | None = room.charge_times[battery.number]
        phases = self.phases_of(battery, None if law is None else next(law))
        hours, ah, kwh = phases_totals(phases, line.plan.battery.cells)
        end_min = start_min + ticked(60.0 * hours)
        cooled_min = end_min + next(room.cool_downs[battery.number])
        capacity_ah = line.plan.cell.capacity_ah
        left_ah = line.plan.left_ah[pool.number] if law is None else 0.0
        soc_from, soc_to = 1.0 - battery.missing_ah / capacity_ah, 1.0 - left_ah / capacity_ah
        battery.missing_ah, battery.owed_ah = left_ah, 0.0
        place = (battery.number, line.number, pool.number, battery.place)
        times = (battery.spent_min, connected_min, start_min, end_min, cooled_min)
        write_charge(room, place, times, (soc_from, soc_to, ah, kwh), phases)
        room.state_at(battery, ON_CHARGE, start_min)
        battery.charged_min = end_min
        if cooled_min > end_min:
            room.state_at(battery, COOLING, end_min)
        now = room.env.now
        if self.bound or cooled_min == end_min:
            # Nobody has to be told when the charge ends: the charger stays taken, or there is no cool-down.
            Moment(room.env, partial(self._cooled, battery)).after(cooled_min - now)
        else:
            Moment(room.env, partial(self._charged, battery, cooled_min)).after(end_min - now)

    def phases_of(self, battery: "Battery", minutes: float | None) -> tuple[Phase, ...]:
        """Phases of a full charge; one of stated length returns the same ampere-hours at an even current."""
        plan, pool = battery.line.plan, battery.pool
        profile = plan.profiles[pool.number if pool is not None else plan.chargers[0]]
        capacity_ah = plan.cell.capacity_ah
        if minutes is not None:
            hours = minutes / 60.0
            amps = profile.factor * battery.missing_ah / hours if hours else 0.0
            soc = 1.0 - battery.missing_ah / capacity_ah
            return (Phase(hours, amps, 0.0, profile.absorption_v, soc, 1.0),)
        owed_ah = battery.owed_ah or profile.factor * battery.missing_ah
        return charge_phases(profile, capacity_ah, battery.missing_ah, owed_ah)

    def _charged(self, battery: "Battery", cooled_min: float, _: "Event") -> None:
        """Free the charger at the end of a charge; the battery goes on to cool down."""
        self.release(battery)
        Moment(self.room.env, partial(self._cooled, battery)).after(cooled_min - self.room.env.now)

    def _cooled(self, battery: "Battery", _: "Event") -> None:
        """End a cool-down: the battery is full, and gets water if that is due, else it is ready."""
        battery.soc_share = 1.0
        battery.charges += 1.0
        if not self.bound and battery.pool is not None:
            self.release(battery)
        if self.room.watering.is_due(battery):
            self.room.watering.receive(battery)
        else:
            self.make_ready(battery)
        self.room.serve()

    def make_ready(self, battery: "Battery") -> None:
        """Let a battery into the ready stock."""
        self.room.state(battery, READY)
        battery.line.put_ready(battery)


def write_charge(
    room: "Room",
    place: tuple[int, int, int, int],
    times: tuple[float, float, float, float, float],
    charge: tuple[float, float, float, float],
    phases: tuple[Phase, ...],
) -> None:
    """Write the row of a charge and those of its phases.

    Parameters
    ----------
    place
        Numbers of battery, battery type, charger type and place.
    times
        Spent, connected, current on, current off, cooled down. [min]
    charge
        State of charge before and after, ampere-hours and energy put in. [-, -, Ah, kWh]
    phases
        Phases of the charge, in order.
    """
    write = room.record.write
    write["charges"]((*place, *times, *charge))
    write_phase, start, line, charger = write["charge_phases"], times[2], place[1], place[2]
    for phase in phases:
        write_phase((line, charger, start, *phase[:4]))
        start += 60.0 * phase[0]
