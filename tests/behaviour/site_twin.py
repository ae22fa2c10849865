"""A site of several areas that share attendants, written a second time: a plain event loop on `heapq`.

It shares no code with the room, and no random numbers either: times come from whatever iterators it is given. Rules:
a truck that asks joins the queue of its battery type, by priority, and first come first served among equals. Of the
heads of all queues for which a charged battery, a station of their area and as many attendants as an exchange there
needs are free, the one of the highest priority begins, then the one that has waited longest; who cannot is passed.
When no exchange waits for attendants alone, whoever is free connects the battery that has had its charger longest.
"""

import heapq
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

ENDS, ASKS = 0, 1
BATTERY, STATION, PEOPLE = 1, 2, 4
"""What the head of a queue lacks, asked in this order; numbers as in the causes of a record."""


class Truck(NamedTuple):
    """A truck: its queue, what goes before others, and the times of its work and its exchanges. [min]"""

    queue: "Queue"
    priority: int
    runs: Iterator[float]
    exchanges: Iterator[float]
    first_min: float


class Battery(NamedTuple):
    """A battery: the times in which it is charged, cools down and is connected. [min]"""

    number: int
    charges: Iterator[float]
    cool_downs: Iterator[float]
    connections: Iterator[float]


@dataclass
class Area:
    """Stations of an area that are free, and how many attendants an exchange there keeps."""

    stations: int
    people: int


@dataclass
class Queue:
    """Trucks that wait for batteries of one type in one area, its batteries and its chargers that are free."""

    area: Area
    chargers: int
    waiting: list[tuple[int, float, int, int]] = field(default_factory=list)
    """Priority, when and in what order they came, number of the truck."""
    ready: list[tuple[float, int, Battery]] = field(default_factory=list)
    """End of the last charge, number: the longest rested goes first."""
    uncharged: list[Battery] = field(default_factory=list)


class Exchange(NamedTuple):
    """One exchange that has begun. [min]"""

    truck: int
    joined_min: float
    start_min: float
    end_min: float
    discharged: int
    charged: int


class Connection(NamedTuple):
    """One battery that has been connected. [min]"""

    battery: int
    charger_min: float
    start_min: float
    end_min: float


class SiteTwin:
    """Trucks, batteries and areas, and the attendants whom all areas share."""

    def __init__(self, trucks: list[Truck], batteries: dict[int, list[Battery]], queues: list[Queue], attendants: int):
        """Put the first batteries of each queue, by its place in the list, into its trucks; the others are ready."""
        self.trucks, self.queues, self.attendants = trucks, queues, attendants
        self.agenda: list[tuple[float, int, int, Callable[..., None], tuple[object, ...]]] = []
        self.planned, self.now = 0, 0.0
        self.exchanges: list[Exchange] = []
        self.connections: list[Connection] = []
        self.lacked: list[tuple[float, int, int]] = []
        """When what a queue lacks has changed, its place in the list, and to what; 0 when it is empty."""
        self.lacks = [0] * len(queues)
        self.unconnected: list[tuple[float, int, Battery, Queue]] = []
        """When they got their chargers, in what order, and which batteries wait to be connected."""
        self.in_truck: list[Battery] = []
        left = {place: list(mine) for place, mine in batteries.items()}
        for number, truck in enumerate(trucks):
            self.in_truck.append(left[queues.index(truck.queue)].pop(0))
            self.plan(truck.first_min, ASKS, self.ask, number)
        for place, mine in left.items():
            for battery in mine:
                heapq.heappush(queues[place].ready, (0.0, battery.number, battery))

    def plan(self, minutes: float, rank: int, then: Callable[..., None], *about: object) -> None:
        """Put something on the agenda, so many minutes from now."""
        self.planned += 1
        heapq.heappush(self.agenda, (self.now + minutes, rank, self.planned, then, about))

    def play(self, until_min: float) -> "SiteTwin":
        """Run to a horizon, what falls on it left out."""
        while self.agenda[0][0] < until_min:
            self.now, _, _, then, about = heapq.heappop(self.agenda)
            then(*about)
        return self

    def ask(self, number: int) -> None:
        """A truck comes with a discharged battery."""
        truck = self.trucks[number]
        self.planned += 1
        truck.queue.waiting.append((truck.priority, self.now, self.planned, number))
        truck.queue.waiting.sort()
        self.serve()

    def missing(self, queue: Queue) -> int:
        """What the head of a queue lacks; 0 for nothing."""
        if not queue.ready:
            return BATTERY
        if not queue.area.stations:
            return STATION
        return PEOPLE if self.attendants < queue.area.people else 0

    def serve(self) -> None:
        """Begin all that can begin now: exchanges, then connecting."""
        while heads := [queue for queue in self.queues if queue.waiting and not self.missing(queue)]:
            self.begin(min(heads, key=lambda queue: queue.waiting[0]))
        waits_for_people = any(queue.waiting and self.missing(queue) == PEOPLE for queue in self.queues)
        while self.unconnected and self.attendants and not waits_for_people:
            charger_min, _, battery, queue = heapq.heappop(self.unconnected)
            self.attendants -= 1
            minutes = next(battery.connections)
            self.connections.append(Connection(battery.number, charger_min, self.now, self.now + minutes))
            self.plan(minutes, ENDS, self.let_current_on, battery, queue)
        self.note()

    def note(self) -> None:
        """Write down what each queue lacks, where that has changed."""
        for place, queue in enumerate(self.queues):
            lacks = self.missing(queue) if queue.waiting else 0
            if lacks != self.lacks[place]:
                self.lacks[place] = lacks
                self.lacked.append((self.now, place, lacks))

    def begin(self, queue: Queue) -> None:
        """Begin the exchange of the head of a queue."""
        _, joined_min, _, number = queue.waiting.pop(0)
        _, _, charged = heapq.heappop(queue.ready)
        queue.area.stations -= 1
        self.attendants -= queue.area.people
        minutes = next(self.trucks[number].exchanges)
        discharged, self.in_truck[number] = self.in_truck[number], charged
        end_min = self.now + minutes
        self.exchanges.append(Exchange(number, joined_min, self.now, end_min, discharged.number, charged.number))
        self.plan(minutes, ENDS, self.drive_off, number, discharged)

    def drive_off(self, number: int, discharged: Battery) -> None:
        """An exchange is over: people and station are free, the battery waits in its bay, the truck is at work."""
        truck = self.trucks[number]
        truck.queue.area.stations += 1
        self.attendants += truck.queue.area.people
        truck.queue.uncharged.append(discharged)
        self.give_charger(truck.queue)
        self.serve()
        self.plan(next(truck.runs), ASKS, self.ask, number)

    def give_charger(self, queue: Queue) -> None:
        """Give a free charger to the battery that has waited longest for one; it waits to be connected then."""
        if queue.chargers and queue.uncharged:
            queue.chargers -= 1
            self.planned += 1
            heapq.heappush(self.unconnected, (self.now, self.planned, queue.uncharged.pop(0), queue))

    def let_current_on(self, battery: Battery, queue: Queue) -> None:
        """A battery is connected: its charge begins, and whoever did it is free."""
        self.attendants += 1
        self.plan(next(battery.charges), ENDS, self.take_off_charge, battery, queue)
        self.serve()

    def take_off_charge(self, battery: Battery, queue: Queue) -> None:
        """A charge is over: the charger goes to the next battery, this one cools down."""
        queue.chargers += 1
        self.give_charger(queue)
        self.serve()
        self.plan(next(battery.cool_downs), ENDS, self.make_ready, battery, queue, self.now)

    def make_ready(self, battery: Battery, queue: Queue, charged_min: float) -> None:
        """A battery has cooled down."""
        heapq.heappush(queue.ready, (charged_min, battery.number, battery))
        self.serve()
