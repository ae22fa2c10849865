"""The exchange desk: lets trucks into the stations when all that an exchange needs is free.

An exchange starts as soon as everything that its steps need is free: a ready battery, a station, an empty place
for the spent one, attendants, devices. It takes all of it or nothing, so no two exchanges can ever wait for each
other. Each thing is given back after the last step that needs it, see `exchange_job`.
"""

from heapq import heappop, heappush
from math import inf
from typing import TYPE_CHECKING

from batsim.record import BATTERY, CREW, DEVICE, NOTHING, PLACE, SPENT, STATION
from batsim.room.clock import Moment
from batsim.room.devices import Devices
from batsim.room.exchange_job import ExchangeJob
from batsim.room.exchange_plan import routes

if TYPE_CHECKING:
    from collections.abc import Container

    from batsim.room.battery import Battery
    from batsim.room.duty import Truck
    from batsim.room.exchange_job import Held
    from batsim.room.exchange_plan import ExchangePlan, Route
    from batsim.room.floor_plan import Ways
    from batsim.room.queue import Line
    from batsim.room.simulation import Room


class Means:
    """One way to exchange: its steps and its devices; the layout's own, or what stands by."""

    __slots__ = ("devices", "in_steps", "number", "plan", "routes", "starts_at_place", "ways")

    def __init__(self, room: "Room", number: int, plan: "ExchangePlan", counts: dict[str, float]) -> None:
        floor = room.plan.floor
        first_kind = len(room.plan.devices) * number
        point = floor.places if floor is not None else 0
        self.number = number
        """0 for the layout's own, 1 for what stands by."""
        self.plan = plan
        self.devices = [
            Devices(first_kind + kind, count, plan.devices[name], point)
            for kind, (name, count) in enumerate(counts.items())
        ]
        self.ways: tuple[Ways, ...] = ()
        if floor is not None:
            self.ways = floor.standby_ways if number else floor.ways
        self.in_steps = plan.has_legs or room.crew.stops_in_breaks or room.crew.hands_over
        """Whether the times of an exchange are worked out step by step."""
        self.routes: list[Route] = routes(plan, self.ways)
        """Ways of an exchange, one after the other."""
        first = {leg.device: leg.to_point for legs in reversed(plan.legs) for leg in reversed(legs)}
        self.starts_at_place = [first.get(kind) == "spent_place" for kind in range(len(self.devices))]
        """By kind of device: whether the first way goes to the place of the spent battery, not to the station."""

    def can_work(self) -> bool:
        """Tell whether enough devices of each kind are not out of use, be they free or not."""
        return all(devices.in_use() for devices in self.devices)


class ExchangeDesk:
    """Lets trucks into the stations."""

    def __init__(self, room: "Room", plan: "ExchangePlan") -> None:
        self.room = room
        write = room.record.write
        self.write, self.write_state = write["exchanges"], write["battery_states"]
        self.write_work, self.write_device = write["work"], write["devices"]
        self.lines = room.lines
        stations = room.plan.stations
        self.stations: list[int] | None = list(range(int(stations))) if stations < inf else None
        """Free stations by number; None without a limit."""
        self.station_out = [0] * len(self.stations or ())
        """How many reasons keep each station out of use."""
        self.going_out: dict[int, list[Moment]] = {}
        """Stations that go out of use when their truck has left, and what is to be told then."""
        self.set_down = room.plan.set_down_places
        self.means = [Means(room, 0, plan, room.plan.devices)]
        if room.plan.standby is not None:
            self.means.append(Means(room, 1, room.plan.standby, room.plan.standby_devices))
        self.present = self.means[0]
        """The layout's own means, or what stands by while its devices are out of use."""
        self.waits_for_crew = False
        """True when an exchange lacks nothing but people; lesser jobs then let them go to it."""
        self.wake_min = 0.0
        """When a line that waits for a device looks again. [min]"""
        self.empty: list[int] = []
        """Empty places, nearest first."""
        self.at_arrival = room.plan.rules.spent_release == "at_arrival"
        self.places_needed = 0 if self.at_arrival else plan.empty_places
        self.floor = room.plan.floor
        self.limited_reach = self.floor is not None and any(
            len(places) < self.floor.places for places in self.floor.in_reach
        )
        self.sorted_lines = bool(room.plan.reserve) or any(group.truck.priority > 1 for group in room.plan.groups)
        """Whether a truck may pass others in its line."""
        self.early: list[Truck] = []
        """Trucks at work that go as soon as nobody is in line and an exchange could start."""
        self.coming = 0
        """Trucks on their way that were called early."""
        self.unsettled: dict[ExchangeJob, None] = {}
        """Exchanges whose end is not known yet."""

    def ask(self, truck: "Truck") -> Moment:
        """Join the line; the moment returned is the truck's leaving of the station."""
        line = truck.line
        truck.ready_found = len(line.ready)
        if self.at_arrival:
            self._draw_out(truck)
        done = Moment(self.room.env)
        if not line.waiting and not self.sorted_lines and self.lacks(line) == NOTHING:
            self._start(truck, line, done)
            if self.limited_reach:  # what others could not use may have been the last of its kind
                self.note_causes()
            return done
        truck.served, truck.in_line = done, True
        line.join(truck)
        self.room.in_line += 1
        if self.sorted_lines:
            self.serve()
        else:
            self.note_cause(line)
        return done

    def serve(self) -> None:
        """Start every exchange that can start: the longest waiting truck first, of those that can."""
        room, lines = self.room, self.lines
        while room.in_line:
            best: Truck | None = None
            causes = []
            for line in lines:
                truck, cause = None, NOTHING
                if line.waiting:
                    truck, cause = line.first(), BATTERY
                if truck is not None and (best is None or _before(truck, best)):
                    cause = self.lacks(line)
                    if cause == NOTHING:
                        best = truck
                causes.append(cause)
            if best is None:  # so every line has been asked
                for line, cause in zip(lines, causes, strict=True):
                    if line.waiting or line.cause:
                        self._note(line, cause)
                return
            best.line.waiting.remove(best)
            best.in_line = False
            room.in_line -= 1
            self._start(best, best.line, best.served)
        self.note_causes()

    def call_early(self) -> None:
        """Send word to a truck at work that an exchange could start at once."""
        now = self.room.env.now
        for truck in self.early if not self.room.in_line and not self.coming else ():
            if self.could_start(truck) and truck.group.timetable.window(now)[0] <= now:
                self.early.remove(truck)
                truck.call.after(0.0)
                return

    def could_start(self, truck: "Truck") -> bool:
        """Tell whether an exchange of a truck that need not come yet could start now, nobody being in line."""
        line = truck.line
        nobody = not self.room.in_line and not self.coming
        return nobody and len(line.ready) > line.reserve and self.lacks(line) == NOTHING

    def note_causes(self) -> None:
        """Write down for every line what its first truck waits for now."""
        for line in self.lines:
            if line.waiting or line.cause:
                self.note_cause(line)

    def note_cause(self, line: "Line") -> None:
        """Write down what a line waits for, when that has changed."""
        cause = NOTHING
        if line.waiting:
            cause = BATTERY if line.first() is None else self.lacks(line)
        self._note(line, cause)

    def _note(self, line: "Line", cause: int) -> None:
        """Write down what a line waits for, when that has changed."""
        if cause == DEVICE:
            self._look_again()
        if cause != line.cause:
            line.cause = cause
            if cause == CREW:
                self.waits_for_crew = True
            elif self.waits_for_crew:
                self.waits_for_crew = any(each.cause == CREW for each in self.lines)
            self.room.record.write["lines"]((line.number, cause, self.room.env.now))

    def choose_means(self) -> None:
        """Go over to what stands by, or back to the layout's own, after a device has gone out or come back."""
        self.present = self.means[0 if self.means[0].can_work() else -1]

    def lacks(self, line: "Line") -> int:
        """First thing that an exchange of this line lacks: battery, station, place, crew, device."""
        if not line.ready:
            return BATTERY
        if self.stations is not None and not self.stations:
            return STATION
        if len(self.empty) < self.places_needed:
            return PLACE
        if self.limited_reach and self._in_reach(line) is None:
            return PLACE
        means = self.present
        plan = means.plan
        if plan.attendants and not self.room.crew.can_spare(plan.attendants, plan.skilled):
            return CREW
        now = self.room.env.now
        for devices in means.devices:
            if not devices.can_serve(now):
                return DEVICE
        return PLACE if self.set_down < plan.set_down_places else NOTHING

    def _in_reach(self, line: "Line") -> int | None:
        """First free station from which a ready battery and an empty place are in reach; None when there is none."""
        assert self.floor is not None  # only then reach is limited
        for station in sorted(self.stations or ()):
            near = self.floor.in_reach[station]
            enough = not self.places_needed or any(place in near for place in self.empty)
            if enough and any(entry[2].place in near for entry in line.ready):
                return station
        return None

    def _look_again(self) -> None:
        """Have the lines looked at when the next device is free: nothing else would happen then."""
        now = self.room.env.now
        waited = [devices for devices in self.present.devices if not devices.can_serve(now)]
        next_min = min((devices.next_free_min(now) for devices in waited), default=inf)
        if next_min < inf and not now < self.wake_min <= next_min:
            self.wake_min = next_min
            Moment(self.room.env, lambda _: self.room.serve()).after(next_min - now)

    def _draw_out(self, truck: "Truck") -> None:
        """Take the spent battery out on arrival; it goes to an empty place and may go on charge at once."""
        battery = truck.battery
        battery.place = heappop(self.empty)
        self.room.state(battery, SPENT)
        self.room.charging.receive(battery)

    def _start(self, truck: "Truck", line: "Line", done: Moment) -> None:
        """Take everything and begin."""
        means = self.present
        plan, spent, now = means.plan, truck.battery, self.room.env.now
        station = -1
        if self.floor is None:
            if self.stations is not None:
                station = heappop(self.stations)
            fresh = line.take_ready()
            if not self.at_arrival:
                spent.place = heappop(self.empty) if self.places_needed else fresh.place
            held = [(kind, unit) for kind, devices in enumerate(means.devices) for unit in devices.choose(now)]
        else:
            station, fresh = self._take_near(line, spent)
            held = self._nearest_units(means, station, spent.place)
        self.set_down -= plan.set_down_places
        people = self.room.crew.take(plan.attendants, plan.skilled)
        ExchangeJob(self, means, truck, fresh, station, people, held, done).begin()

    def _take_near(self, line: "Line", spent: "Battery") -> "tuple[int, Battery]":
        """Take a station, the battery that the rule names of those in reach, and the nearest empty place."""
        floor = self.floor
        assert floor is not None and self.stations is not None  # noqa: PT018 - positions need both
        station = self._in_reach(line) if self.limited_reach else min(self.stations)
        assert station is not None  # asked before
        self.stations.remove(station)
        rank, near = floor.rank[station], floor.in_reach[station]
        fresh = (
            line.take_ready_from(rank, near) if self.limited_reach or line.picking == "nearest" else line.take_ready()
        )
        if not self.at_arrival:
            spent.place = self._take_empty(rank, near) if self.places_needed else fresh.place
        return station, fresh

    def _take_empty(self, rank: tuple[int, ...], near: "Container[int]") -> int:
        """Take the nearest empty place in reach."""
        empty = [each for each in self.empty if each in near] if self.limited_reach else self.empty
        place = empty[0] if len(empty) == 1 else min(empty, key=rank.__getitem__)
        self.empty.remove(place)
        return place

    def _nearest_units(self, means: Means, station: int, spent_place: int) -> "Held":
        """Take the devices with the shortest way to where their first step begins."""
        assert self.floor is not None  # asked before
        now, at_station = self.room.env.now, self.floor.places + station
        held: Held = []
        for number, devices in enumerate(means.devices):
            to_point = spent_place if means.starts_at_place[number] else at_station
            held += [(number, unit) for unit in devices.choose(now, means.ways[number].metres, to_point)]
        return held

    def free_place(self, place: int) -> None:
        """Give an empty place back."""
        heappush(self.empty, place)

    def free_station(self, station: int) -> None:
        """Give a station back; one that has broken down meanwhile goes out of use."""
        if self.stations is None:
            return
        if not self.station_out[station]:
            heappush(self.stations, station)
        elif station in self.going_out:
            for told in self.going_out.pop(station):
                told.after(0.0)


def _before(truck: "Truck", other: "Truck") -> bool:
    """Tell whether a truck goes before one of another line."""
    mine, theirs = truck.group.truck.priority, other.group.truck.priority
    return mine < theirs or (mine == theirs and truck.joined_min < other.joined_min)
