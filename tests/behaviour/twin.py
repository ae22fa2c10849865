"""The reference room written a second time: a plain event loop on `heapq`, no processes, no physics.

It shares with batsim nothing but the random streams and their keys. Ties at one instant go as documented: what
ends goes first, then whoever asks, and of equals what was planned first.
"""

import heapq
from collections import deque
from collections.abc import Callable
from typing import NamedTuple

from batsim.room.chance.streams import Streams
from batsim.room.timing.clock import ticked
from batsim.scenario.parts.laws import DurationLaw

ENDS, ASKS = 0, 1
TRUCK, BATTERY = "truck of group trucks", "battery of type plain"
"""Keys of the streams: by name of the group and position in it, by battery type and number within it."""


class Laws(NamedTuple):
    """Durations of the room."""

    run: DurationLaw
    exchange: DurationLaw
    charge: DurationLaw
    cool: DurationLaw


class Exchange(NamedTuple):
    """One exchange that has begun. [min]"""

    truck: int
    discharged: int
    charged: int
    joined_min: float
    start_min: float
    free_min: float


class Twin:
    """Trucks, stations, batteries and chargers, first come first served everywhere."""

    def __init__(
        self,
        laws: Laws,
        *,
        trucks: int,
        batteries: int,
        stations: int,
        chargers: int,
        seed: int,
        replication: int,
        exchange_at_share: float = 0.25,
        first_runs: list[float] | None = None,
        at_arrival: bool = False,
    ) -> None:
        streams = Streams(seed, replication)
        self.agenda: list[tuple[float, int, int, Callable[..., None], tuple[object, ...]]] = []
        self.planned = 0
        self.now = 0.0
        self.at_arrival = at_arrival
        self.stations = stations
        self.chargers = chargers
        self.run = [streams.durations(laws.run, TRUCK, n, "run") for n in range(trucks)]
        self.exchange = [streams.durations(laws.exchange, TRUCK, n, "step 0 exchange") for n in range(trucks)]
        self.charge = [streams.durations(laws.charge, BATTERY, n, "charge") for n in range(batteries)]
        self.cool = [streams.durations(laws.cool, BATTERY, n, "cool-down") for n in range(batteries)]
        self.ready = [(0.0, battery) for battery in range(trucks, batteries)]
        """End of the last charge, and number: the longest rested goes first."""
        self.waiting: deque[tuple[int, float]] = deque()
        self.uncharged: deque[int] = deque()
        self.in_truck = list(range(trucks))
        self.log: list[Exchange] = []
        for truck in range(trucks):
            if first_runs is not None:
                first = first_runs[truck]
            else:
                level = exchange_at_share
                start = level + (1.0 - level) * float(streams.generator(TRUCK, truck, "start").random())
                first = ticked(next(self.run[truck]) * (start - level) / (1.0 - level))
            self.plan(first, ASKS, self.ask, truck)

    def plan(self, minutes: float, rank: int, then: Callable[..., None], *about: object) -> None:
        """Put something on the agenda, so many minutes from now."""
        self.planned += 1
        heapq.heappush(self.agenda, (self.now + minutes, rank, self.planned, then, about))

    def play(self, until_min: float) -> list[Exchange]:
        """Run to a horizon, what falls on it left out."""
        while self.agenda[0][0] < until_min:
            self.now, _, _, then, about = heapq.heappop(self.agenda)
            then(*about)
        return self.log

    def ask(self, truck: int) -> None:
        """A truck comes with a discharged battery."""
        self.waiting.append((truck, self.now))
        if self.at_arrival:
            self.put_on_charge(self.in_truck[truck])
        self.serve()

    def serve(self) -> None:
        """Begin exchanges while there is a truck, a station and a ready battery."""
        while self.waiting and self.stations and self.ready:
            truck, joined = self.waiting.popleft()
            _, charged = heapq.heappop(self.ready)
            self.stations -= 1
            minutes = next(self.exchange[truck])
            discharged, self.in_truck[truck] = self.in_truck[truck], charged
            self.log.append(Exchange(truck, discharged, charged, joined, self.now, self.now + minutes))
            self.plan(minutes, ENDS, self.drive_off, truck, discharged)

    def drive_off(self, truck: int, discharged: int) -> None:
        """An exchange is over: the station is free, the discharged battery in its bay, the truck at work."""
        self.stations += 1
        if not self.at_arrival:
            self.put_on_charge(discharged)
        self.serve()
        self.plan(next(self.run[truck]), ASKS, self.ask, truck)

    def put_on_charge(self, battery: int) -> None:
        """A discharged battery takes a charger or waits for one."""
        if self.chargers:
            self.chargers -= 1
            self.plan(next(self.charge[battery]), ENDS, self.take_off_charge, battery)
        else:
            self.uncharged.append(battery)

    def take_off_charge(self, battery: int) -> None:
        """A charge is over: the charger goes to the next battery, this one cools."""
        self.chargers += 1
        if self.uncharged:
            self.put_on_charge(self.uncharged.popleft())
        self.plan(next(self.cool[battery]), ENDS, self.make_ready, battery, self.now)

    def make_ready(self, battery: int, charged_min: float) -> None:
        """A battery has cooled down."""
        heapq.heappush(self.ready, (charged_min, battery))
        self.serve()
