"""A mixed site written a second time, from the words of the guide: a plain event loop on `heapq`.

It shares no code with the package and draws no random numbers: times, powers and how things are at the start come from
whatever source it is given. At one instant people go first, then what ends, then people come, then trucks ask. Rules:

* A truck that asks joins the queue of its battery type, by priority, and first come first served among equals. Of the
  heads of all queues for which a charged battery, a station of their area and as many attendants as an exchange there
  needs are free, the one of the highest priority begins, then the one that has waited longest; who cannot is passed.
* A battery that has its charger waits to be connected, one that has cooled down and is due waits to be watered; who has
  waited longest goes first. Who could do something more pressing that waits for people alone begins nothing else.
* People of one area go before those of all areas there; who comes at one instant comes together.
* What attendants have begun they finish, also beyond their shift. In the middle of it a break is lost to that extent,
  or taken as a whole afterwards, or kept, and the steps that need attendants lie still.
* A charger on loose leads is free when the charge ends; one bound to its bay when the battery has left for good.
"""

import heapq
from collections import deque
from collections.abc import Callable, Sequence
from functools import partial

from tests.behaviour.mixed_site import DRIVE_IN_MIN, WEEK_MIN, Site, ticked
from tests.behaviour.site_twin_battery import Calendar, charge, drain, work
from tests.behaviour.site_twin_rows import (
    Battery,
    Charged,
    Discharge,
    Exchange,
    Held,
    Job,
    Person,
    Queue,
    Source,
    Truck,
    Watering,
)

GO, ENDS, COME, ASKS = range(4)
NOTHING, BATTERY, STATION, PEOPLE = 0, 1, 2, 4
"""What the head of a queue lacks, asked in this order; numbers as in the causes of a record."""
WEEKS_BEYOND = 3


class SiteTwin:
    """Trucks, batteries, areas, and attendants, of one area or of all."""

    def __init__(self, site: Site, source: Source, until_min: float) -> None:
        """Make all that there is, batteries numbered queue by queue, the first of them in trucks by group names."""
        self.site, self.until_min = site, until_min
        self.weeks = int(until_min // WEEK_MIN) + WEEKS_BEYOND
        self.agenda: list[tuple[float, int, int, Callable[[], None]]] = []
        self.planned, self.now = 0, 0.0
        self.exchanges: list[Exchange] = []
        self.discharges: list[Discharge] = []
        self.charges: list[Charged] = []
        self.waterings: list[Watering] = []
        self.jobs: list[Job] = []
        self.held: list[Held] = []
        self.stock: list[tuple[float, int, int]] = []
        """When the ready batteries of a queue have changed, its place, and how many there are then."""
        self.lacked: list[tuple[float, int, int]] = []
        """When what the head of a queue lacks has changed, the queue's place, and to what."""
        self.stations = {name: area.stations for name, area in site.areas.items()}
        self.queues = [
            Queue(place, area, kind, site.areas[area].chargers[kind]) for place, (area, kind) in enumerate(site.queues)
        ]
        self.lacks = [NOTHING] * len(self.queues)
        self.unconnected: list[Battery] = []
        self.unwatered: list[Battery] = []
        self.begins = {"exchange": self.exchange_all, "connect": self.connect_all, "watering": self.water_all}
        self.people: list[Person] = []
        """Those of an area before those of all areas, for they are taken first there."""
        self.reserved: set[str | None] = set()
        """Of what areas people are kept for something more pressing; None for those of all areas."""
        of_areas = [(name, area.attendants) for name, area in site.areas.items()]
        for place, attendants in [*of_areas, (None, site.attendants)]:
            self.people += [
                Person(place, shift, Calendar([site.shifts[shift]], self.weeks))
                for shift, count in attendants.items()
                for _ in range(count)
            ]
        for shift, calendar in {person.shift: person.calendar for person in self.people}.items():
            for begin, end, number in calendar.windows:
                self.plan(begin, COME, partial(self.come, shift))
                self.plan(end, GO, partial(self.go, shift, end < calendar.spans[number][1]))
        self.batteries = self.make_batteries(source)
        self.trucks = self.make_trucks(source)

    def make_batteries(self, source: Source) -> list[Battery]:
        """All batteries, queue by queue."""
        batteries: list[Battery] = []
        for queue in self.queues:
            area, kind = self.site.areas[queue.area], self.site.kinds[queue.kind]
            laws = {"connect": area.connecting, "cool-down": kind.cool_down, "watering": kind.watering}
            for _ in range(area.batteries[queue.kind]):
                number = len(batteries)
                since = source.charges_since_watering(number, kind.watering_every)
                times = {what: source.times(what, number, law) for what, law in laws.items()}
                batteries.append(Battery(number, queue, since, times))
        return batteries

    def make_trucks(self, source: Source) -> list[Truck]:
        """All trucks; batteries that are left over stand ready, with bound leads on chargers while there are any."""
        left = {queue.place: deque(each for each in self.batteries if each.queue is queue) for queue in self.queues}
        queue_of = {(queue.area, queue.kind): queue for queue in self.queues}
        of_group = {
            name: [left[queue_of[group.area, group.battery].place].popleft() for _ in range(group.trucks)]
            for name, group in sorted(self.site.groups.items())
        }
        trucks: list[Truck] = []
        for name, group in self.site.groups.items():
            calendar = Calendar([self.site.shifts[shift] for shift in group.shifts], self.weeks)
            middles = [(start + end) / 2.0 for start, end in calendar.spans]
            means_w = [1000.0 * group.power_kw * self.site.factor(int(middle // WEEK_MIN)) for middle in middles]
            area = self.site.areas[group.area]
            for battery in of_group[name]:
                number = len(trucks)
                laws = {"exchange": area.exchange, "put away": area.put_away}
                truck = Truck(
                    number,
                    group,
                    battery.queue,
                    calendar,
                    source.powers_w(number, means_w, group.spread),
                    {what: source.times(what, number, law) for what, law in laws.items()},
                    battery,
                )
                trucks.append(truck)
                battery.missing_ah = (1.0 - source.start_soc(number)) * self.capacity_ah(battery)
                self.go_to_work(truck, 0.0, 0.0)
        for queue in self.queues:
            for battery in left[queue.place]:
                if self.site.areas[queue.area].bound and queue.chargers:
                    self.take_charger(battery)
                self.add_ready(battery)
        return trucks

    def capacity_ah(self, battery: Battery) -> float:
        """Rated capacity. [Ah]"""
        return self.site.kinds[battery.queue.kind].capacity_ah

    def plan(self, time_min: float, rank: int, then: Callable[[], None]) -> None:
        """Put something on the agenda."""
        self.planned += 1
        heapq.heappush(self.agenda, (time_min, rank, self.planned, then))

    def play(self) -> "SiteTwin":
        """Run to the horizon, what falls on it left out."""
        while self.agenda[0][0] < self.until_min:
            self.now, _, _, then = heapq.heappop(self.agenda)
            then()
        return self

    def come(self, shift: str) -> None:
        """People come on duty, or back from their break."""
        for person in self.people:
            person.on_duty |= person.shift == shift
        self.serve()

    def go(self, shift: str, to_break: bool) -> None:
        """People go, those who are at a job when they have finished it, or in the middle of it."""
        for person in self.people:
            if person.shift == shift:
                person.on_duty = False
                person.break_due = to_break and person.busy and self.site.at_break == "finish_then_full_break"
        self.note()

    def free(self, area: str) -> list[Person]:
        """Attendants who could begin something in an area."""
        return [
            person
            for person in self.people
            if person.on_duty
            and not person.busy
            and (person.area is None or person.area == area)
            and person.area not in self.reserved
        ]

    def take(
        self, area: str, task: str, people: int, steps: Sequence[tuple[int, float]]
    ) -> tuple[list[Person], list[float]]:
        """Keep so many attendants for steps, each so many people long so many minutes; returns when each step ends."""
        taken = self.free(area)[:people]
        ends: list[float] = []
        time_min = self.now
        for hands, minutes in steps:
            if hands and self.site.at_break == "pause":
                time_min = taken[0].calendar.after_breaks(time_min, minutes)
            else:
                time_min += minutes
            ends.append(time_min)
        for person in taken:
            person.busy = True
        hands_on_min = sum(hands * minutes for hands, minutes in steps)
        self.jobs.append(Job(task, taken[0].shift, people, self.now, time_min, hands_on_min))
        return taken, ends

    def release(self, people: list[Person]) -> None:
        """Let attendants go, to their break where that is due."""
        for person in people:
            if person.break_due:
                person.break_due = False
                self.plan(self.now + self.site.shifts[person.shift].break_min, COME, partial(self.end_break, person))
            else:
                person.busy = False

    def end_break(self, person: Person) -> None:
        """Somebody has taken the whole of a delayed break."""
        person.busy = False
        self.serve()

    def go_to_work(self, truck: Truck, free_min: float, way_min: float) -> None:
        """Work on a battery from its way back on, down to the level, and come to the room."""
        battery, capacity_ah = truck.battery, self.capacity_ah(truck.battery)
        back_min = free_min + way_min
        soc = 1.0 - battery.missing_ah / capacity_ah
        ah = kwh = 0.0
        if way_min:
            power_w = truck.powers_w[truck.calendar.shift_at(back_min)]
            amps, soc_per_h = drain(power_w, capacity_ah)
            ah, kwh, soc = amps * way_min / 60.0, power_w * way_min / 60_000.0, soc - soc_per_h * way_min / 60.0
        done = work(truck.calendar, truck.powers_w, back_min, soc, capacity_ah)
        trip_min, left_min = truck.group.way_min, ticked(done.left_min)
        power_w = truck.powers_w[truck.calendar.shift_at(left_min)]
        ah += done.ah + drain(power_w, capacity_ah).amps * trip_min / 60.0
        kwh += done.kwh + power_w * trip_min / 60_000.0
        truck.left_min, truck.joined_min = left_min, left_min + trip_min
        self.discharges.append(Discharge(truck.number, battery.number, back_min, left_min, kwh, ah))
        battery.missing_ah += ah
        self.plan(truck.joined_min, ASKS, partial(self.ask, truck))

    def ask(self, truck: Truck) -> None:
        """A truck comes with a discharged battery."""
        truck.ready_found = len(truck.queue.ready)
        self.planned += 1
        truck.queue.waiting.append((truck.group.priority, self.now, self.planned, truck.number))
        truck.queue.waiting.sort()
        self.serve()

    def missing(self, queue: Queue) -> int:
        """What the head of a queue lacks."""
        if not queue.waiting:
            return NOTHING
        if not queue.ready:
            return BATTERY
        if not self.stations[queue.area]:
            return STATION
        return PEOPLE if len(self.free(queue.area)) < self.site.areas[queue.area].people else NOTHING

    def serve(self) -> None:
        """Begin all that can begin now, the most pressing first."""
        for task in self.site.priorities:
            waits_in = self.begins[task]()
            self.reserved |= {*waits_in, None} if waits_in else set()
        self.reserved.clear()
        self.note()

    def note(self) -> None:
        """Write down what each queue lacks, where that has changed."""
        for queue in self.queues:
            lacks = self.missing(queue)
            if lacks != self.lacks[queue.place]:
                self.lacks[queue.place] = lacks
                self.lacked.append((self.now, queue.place, lacks))

    def exchange_all(self) -> set[str]:
        """Begin exchanges; in which areas one is left that lacks people alone."""
        while heads := [queue for queue in self.queues if queue.waiting and not self.missing(queue)]:
            self.begin_exchange(min(heads, key=lambda queue: queue.waiting[0]))
        return {queue.area for queue in self.queues if self.missing(queue) == PEOPLE}

    def begin_exchange(self, queue: Queue) -> None:
        """Begin the exchange of the head of a queue."""
        _, joined_min, _, number = queue.waiting.pop(0)
        _, _, charged = heapq.heappop(queue.ready)
        self.note_stock(queue)
        truck, area = self.trucks[number], self.site.areas[queue.area]
        exchange_min, put_away_min = next(truck.times["exchange"]), next(truck.times["put away"])
        steps = (0, DRIVE_IN_MIN), (area.people, exchange_min), (1, put_away_min)
        people, (_, free_min, end_min) = self.take(queue.area, "exchange", area.people, steps)
        self.stations[queue.area] -= 1
        discharged, truck.battery = truck.battery, charged
        self.exchanges.append(
            Exchange(
                number,
                discharged.number,
                charged.number,
                truck.ready_found,
                truck.left_min,
                joined_min,
                self.now,
                free_min,
                end_min,
                free_min + truck.group.way_min,
            )
        )
        self.plan(free_min, ENDS, partial(self.drive_off, truck))
        self.plan(end_min, ENDS, partial(self.put_away, discharged, people))

    def drive_off(self, truck: Truck) -> None:
        """A truck leaves its station with a charged battery."""
        self.stations[truck.queue.area] += 1
        self.leave_charger(truck.battery)
        self.go_to_work(truck, self.now, truck.group.way_min)
        self.serve()

    def put_away(self, battery: Battery, people: list[Person]) -> None:
        """A discharged battery stands in its bay: it takes a charger or waits for one."""
        self.release(people)
        battery.waits_min = self.now
        battery.queue.uncharged.append(battery)
        self.give_chargers(battery.queue)
        self.serve()

    def give_chargers(self, queue: Queue) -> None:
        """Give free chargers to the batteries that have waited longest; they wait to be connected then."""
        while queue.chargers and queue.uncharged:
            battery = queue.uncharged.popleft()
            self.take_charger(battery)
            self.unconnected.append(battery)

    def take_charger(self, battery: Battery) -> None:
        """A battery keeps a charger from now on."""
        battery.queue.chargers -= 1
        battery.held_min = self.now

    def leave_charger(self, battery: Battery) -> None:
        """The charger of a battery, if it has one, is free for the next."""
        if battery.held_min is not None:
            self.held.append(Held(battery.number, battery.held_min, self.now))
            battery.held_min = None
            battery.queue.chargers += 1
            self.give_chargers(battery.queue)

    def connect_all(self) -> set[str]:
        """Connect batteries; in which areas some are left."""
        while (battery := self.first_of(self.unconnected)) is not None:
            minutes = next(battery.charge_times["connect"])
            people, (end_min,) = self.take(battery.queue.area, "connect", 1, [(1, minutes)])
            self.plan(end_min, ENDS, partial(self.let_current_on, battery, people, self.now))
        return {battery.queue.area for battery in self.unconnected}

    def first_of(self, waiting: list[Battery]) -> Battery | None:
        """Take the battery that has waited longest of those for which somebody is free."""
        battery = next((each for each in waiting if self.free(each.queue.area)), None)
        if battery is not None:
            waiting.remove(battery)
        return battery

    def let_current_on(self, battery: Battery, people: list[Person], connecting_min: float) -> None:
        """A battery is connected, its charge begins."""
        self.release(people)
        done = charge(battery.missing_ah, self.capacity_ah(battery))
        end_min = self.now + ticked(60.0 * done.hours)
        cooled_min = end_min + next(battery.charge_times["cool-down"])
        times = battery.waits_min, connecting_min, self.now, end_min, cooled_min
        self.charges.append(Charged(battery.number, *times, battery.missing_ah, done.ah, done.kwh))
        battery.gas_ah += done.ah - battery.missing_ah
        battery.missing_ah = 0.0
        battery.charges += 1
        battery.charged_min = end_min
        self.plan(end_min, ENDS, partial(self.let_current_off, battery, cooled_min))
        self.serve()

    def let_current_off(self, battery: Battery, cooled_min: float) -> None:
        """A charge is over, the battery cools down; on loose leads its charger goes to the next."""
        if not self.site.areas[battery.queue.area].bound:
            self.leave_charger(battery)
            self.serve()
        self.plan(cooled_min, ENDS, partial(self.leave_cooled, battery))

    def leave_cooled(self, battery: Battery) -> None:
        """A battery has cooled down: it is watered first where that is due."""
        if battery.charges >= self.site.kinds[battery.queue.kind].watering_every:
            battery.waits_min = self.now
            self.unwatered.append(battery)
        else:
            self.add_ready(battery)
        self.serve()

    def water_all(self) -> set[str]:
        """Water batteries; in which areas some are left."""
        while (battery := self.first_of(self.unwatered)) is not None:
            minutes = next(battery.charge_times["watering"])
            people, (end_min,) = self.take(battery.queue.area, "watering", 1, [(1, minutes)])
            times = battery.waits_min, self.now, end_min
            self.waterings.append(Watering(battery.number, *times, battery.gas_ah))
            self.plan(end_min, ENDS, partial(self.leave_watered, battery, people))
        return {battery.queue.area for battery in self.unwatered}

    def leave_watered(self, battery: Battery, people: list[Person]) -> None:
        """A battery has been watered."""
        self.release(people)
        battery.charges, battery.gas_ah = 0, 0.0
        self.add_ready(battery)
        self.serve()

    def add_ready(self, battery: Battery) -> None:
        """A battery is ready."""
        heapq.heappush(battery.queue.ready, (battery.charged_min, battery.number, battery))
        self.note_stock(battery.queue)

    def note_stock(self, queue: Queue) -> None:
        """Write down how many batteries of a queue are ready."""
        self.stock.append((self.now, queue.place, len(queue.ready)))
