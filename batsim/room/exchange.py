"""The exchange desk: one line of trucks for each battery type, and all an exchange needs taken at once.

An exchange starts as soon as everything that its steps need is free: a ready battery, a station, an empty place
for the spent one, attendants, devices. It takes all of it or nothing, so no two exchanges can ever wait for each
other. Each thing is given back after the last step that needs it.
"""

from collections import deque
from heapq import heappop, heappush
from typing import TYPE_CHECKING

from batsim.record import (
    ATTENDANT,
    BATTERY,
    CREW,
    DEVICE,
    DRIVER,
    EXCHANGE,
    EXCHANGING,
    IN_TRANSFER,
    IN_TRUCK,
    NOTHING,
    PLACE,
    SPENT,
    STATION,
)
from batsim.room.clock import Moment

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.blueprint import ExchangePlan
    from batsim.room.crew import Person
    from batsim.room.duty import Truck
    from batsim.room.line_plan import LinePlan
    from batsim.room.simulation import Room


class Line:
    """Trucks that wait for a battery of one type, and the ready batteries of that type."""

    __slots__ = ("cause", "number", "picking", "plan", "ready", "spent", "waiting")

    def __init__(self, plan: "LinePlan", picking: str) -> None:
        self.plan = plan
        self.number = plan.number
        self.picking = picking
        self.waiting: deque[Truck] = deque()
        self.ready: list[tuple[float, int, Battery]] = []
        self.spent: deque[Battery] = deque()
        """Spent batteries that wait for a charger, first come first."""
        self.cause = NOTHING
        """What the first truck waits for."""

    def put_ready(self, battery: "Battery") -> None:
        """Add a ready battery where the picking rule will look for it."""
        if self.picking == "longest_rested":
            rank = battery.charged_min
        elif self.picking == "nearest":
            rank = float(battery.place)
        else:
            rank = -battery.soc_share
        heappush(self.ready, (rank, battery.number, battery))

    def take_ready(self) -> "Battery":
        """Pick the ready battery that the rule names."""
        return heappop(self.ready)[2]


class Devices:
    """Devices of one kind: how many, how many an exchange needs, and until when the others are held."""

    __slots__ = ("busy", "count", "needed")

    def __init__(self, count: float, needed: int) -> None:
        self.count = count
        self.needed = needed
        self.busy: list[float] = []
        """When each device in use will be free, soonest first. [min]"""

    def free_at(self, now: float) -> float:
        """Devices that are free now."""
        busy = self.busy
        while busy and busy[0] <= now:
            heappop(busy)
        return self.count - len(busy)

    def hold(self, until_min: float) -> None:
        """Hold what one exchange needs."""
        for _ in range(self.needed):
            heappush(self.busy, until_min)


class ExchangeDesk:
    """Lets trucks into the stations and sees their exchanges through."""

    def __init__(self, room: "Room", plan: "ExchangePlan") -> None:
        self.room = room
        self.plan = plan
        self.lines = room.lines
        self.stations = room.plan.stations
        self.waits_for_crew = False
        """True when an exchange lacks nothing but people; lesser jobs then let them go to it."""
        self.devices = [Devices(count, plan.devices[name]) for name, count in room.plan.devices.items()]
        self.wake_min = 0.0
        """When a line that waits for a device looks again. [min]"""
        self.empty: list[int] = []
        """Empty places, nearest first."""
        self.at_arrival = room.plan.rules.spent_release == "at_arrival"
        self.pausing = room.plan.rules.crew_break == "pause" and room.plan.crew_limited
        self.write = room.record.write["exchanges"]
        self.write_state = room.record.write["battery_states"]
        self.write_work = room.record.write["work"]
        # A straight swap takes the ready battery's place, which counts as empty.
        self.places_needed = 0 if self.at_arrival else plan.empty_places

    def ask(self, truck: "Truck") -> Moment:
        """Join the line; the moment that comes back is when the truck may leave again."""
        line = truck.line
        truck.ready_found = len(line.ready)
        if self.at_arrival:
            self._draw_out(truck)
        done = Moment(self.room.env)
        if not line.waiting and self._missing(line) == NOTHING:
            self._start(truck, line, done)
            return done
        truck.served, truck.in_line = done, True
        line.waiting.append(truck)
        self.room.in_line += 1
        self.note_cause(line)
        return done

    def serve(self) -> None:
        """Start every exchange that can start: the longest waiting truck first, of those that can."""
        while self.room.in_line:
            best = None
            for line in self.lines:
                if (
                    line.waiting
                    and (best is None or line.waiting[0].joined_min < best.waiting[0].joined_min)
                    and self._missing(line) == NOTHING
                ):
                    best = line
            if best is None:
                break
            truck = best.waiting.popleft()
            truck.in_line = False
            self.room.in_line -= 1
            self._start(truck, best, truck.served)
        self.note_causes()

    def note_causes(self) -> None:
        """Write down for every line what its first truck waits for now."""
        for line in self.lines:
            if line.waiting or line.cause:
                self.note_cause(line)

    def note_cause(self, line: Line) -> None:
        """Write down what a line waits for, when that has changed."""
        cause = self._missing(line) if line.waiting else NOTHING
        if cause == DEVICE:
            self._look_again()
        if cause != line.cause:
            line.cause = cause
            self.waits_for_crew = any(each.cause == CREW for each in self.lines)
            self.room.record.write["lines"]((line.number, cause, self.room.env.now))

    def _missing(self, line: Line) -> int:
        """First thing that an exchange of this line lacks: battery, station, place, crew, device."""
        if not line.ready:
            return BATTERY
        if self.stations < 1:
            return STATION
        if len(self.empty) < self.places_needed:
            return PLACE
        plan = self.plan
        if plan.attendants and not self.room.crew.can_spare(plan.attendants):
            return CREW
        for devices in self.devices:
            if devices.free_at(self.room.env.now) < devices.needed:
                return DEVICE
        return NOTHING

    def _look_again(self) -> None:
        """Have the lines looked at when the next device is free: nothing else would happen then."""
        now = self.room.env.now
        next_min = min(devices.busy[0] for devices in self.devices if devices.free_at(now) < devices.needed)
        if not now < self.wake_min <= next_min:
            self.wake_min = next_min
            Moment(self.room.env, lambda _: self.room.serve()).after(next_min - now)

    def _draw_out(self, truck: "Truck") -> None:
        """Take the spent battery out on arrival; it goes to an empty place and may go on charge at once."""
        battery = truck.battery
        battery.place = heappop(self.empty)
        self.room.state(battery, SPENT)
        self.room.charging.receive(battery)

    def _start(self, truck: "Truck", line: Line, done: Moment) -> None:
        """Take everything, write the rows, and settle every instant at which something is given back."""
        room, plan, now = self.room, self.plan, self.room.env.now
        fresh, spent = line.take_ready(), truck.battery
        self.stations -= 1
        if not self.at_arrival:
            spent.place = heappop(self.empty) if self.places_needed else fresh.place
            self.write_state((spent.number, IN_TRANSFER, now))
        self.write_state((fresh.number, IN_TRANSFER, now))
        people = room.crew.take(plan.attendants)
        times = next(truck.exchange_times)
        if self.pausing:
            times = self._with_breaks(times, people, now)
        job = _Job(self, spent, fresh, people)
        give_back = job.give_back
        free_min = end_min = people_min = now
        position = 2
        for _, is_truck, _, is_people in plan.instants:
            delay = times[position]
            position += 1
            end_min = now + delay
            if is_truck:
                free_min = end_min
                done.callbacks.insert(0, give_back)
                done.after(delay)
            else:
                Moment(room.env, give_back).after(delay)
            if is_people:
                people_min = end_min
        for devices in self.devices:
            devices.hold(now + times[position])
            position += 1
        truck.leaves_with(fresh, free_min)
        self.write((
            truck.number, truck.group.number, line.number, EXCHANGE, spent.number, fresh.number, truck.arrival_soc,
            truck.below_cut_out, truck.ready_found, truck.left_min, truck.joined_min, now, free_min, end_min,
            truck.back_min, 0.0,
        ))  # fmt: skip
        work = self.write_work
        if plan.attendants:
            work((ATTENDANT, EXCHANGING, now, people_min, times[0], plan.attendants))
        if times[1]:
            work((DRIVER, EXCHANGING, now, free_min, times[1], 1))

    def _with_breaks(self, steps: tuple[float, ...], people: "list[Person]", now: float) -> tuple[float, ...]:
        """Turn step times into the times of an exchange whose attendants lay their work down in breaks."""
        plan, ends, time = self.plan, [], now
        for minutes, hands in zip(steps, plan.hands, strict=True):
            time = people[0].crossing.end_of(time, minutes) if hands.attendants and people else time + minutes
            ends.append(time - now)
        return (
            sum(minutes * hands.attendants for minutes, hands in zip(steps, plan.hands, strict=True)),
            sum(minutes * hands.drivers for minutes, hands in zip(steps, plan.hands, strict=True)),
            *(ends[last] for last in plan.ends),
        )


class _Job:
    """One exchange under way: what it holds, and what it gives back when."""

    __slots__ = ("desk", "fresh", "instants", "people", "place", "spent")

    def __init__(self, desk: ExchangeDesk, spent: "Battery", fresh: "Battery", people: "list[Person]") -> None:
        self.desk = desk
        self.spent = spent
        self.fresh = fresh
        self.people = people
        self.place = fresh.place
        self.instants = iter(desk.plan.instants)
        """Instants still to come; they come in this order."""

    def give_back(self, _: "Event") -> None:
        """Give back what is not needed after the next instant, then see who can use it."""
        desk = self.desk
        room = desk.room
        is_truck, is_end, is_people = next(self.instants)[1:]
        if is_people:
            room.crew.give_back(self.people)
        if is_truck:
            desk.stations += 1
            fresh = self.fresh
            if desk.places_needed or desk.at_arrival:
                heappush(desk.empty, self.place)
            fresh.place = -1
            desk.write_state((fresh.number, IN_TRUCK, room.env.now))
            if fresh.pool is not None:
                room.charging.release(fresh)
        if is_end and not desk.at_arrival:
            room.state(self.spent, SPENT)
            room.charging.receive(self.spent)
        room.serve()
