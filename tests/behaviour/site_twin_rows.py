"""What the twin of a site consists of and what it writes down."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from tests.behaviour.mixed_site import Group, Law
from tests.behaviour.site_twin_battery import Calendar


class Source(Protocol):
    """Where the twin has all that chance settles from."""

    def start_soc(self, truck: int) -> float:
        """State of charge in a truck at the start. [-]"""

    def charges_since_watering(self, battery: int, every: int) -> int:
        """Charges that a battery has had at the start since its last watering."""

    def powers_w(self, truck: int, means_w: list[float], spread: float) -> list[float]:
        """Power of a truck in each of its shifts. [W]"""

    def times(self, what: str, number: int, law: Law) -> Iterator[float]:
        """Endless times for one truck or battery. [min]"""


class Exchange(NamedTuple):
    """One exchange that has begun. [min]"""

    truck: int
    discharged: int
    charged: int
    ready_found: int
    left_min: float
    joined_min: float
    start_min: float
    free_min: float
    end_min: float
    back_min: float


class Discharge(NamedTuple):
    """A truck's work on one battery. [min, kWh, Ah]"""

    truck: int
    battery: int
    start_min: float
    end_min: float
    kwh: float
    ah: float


class Charged(NamedTuple):
    """One charge that has begun. [min, Ah, kWh]"""

    battery: int
    in_bay_min: float
    connecting_min: float
    start_min: float
    end_min: float
    cooled_min: float
    missing_ah: float
    ah: float
    kwh: float

    @property
    def gas_ah(self) -> float:
        """What is not stored."""
        return self.ah - self.missing_ah


class Watering(NamedTuple):
    """One watering that has begun. [min, Ah]"""

    battery: int
    due_min: float
    start_min: float
    end_min: float
    gas_ah: float


class Job(NamedTuple):
    """What attendants of one shift do. [min]"""

    task: str
    shift: str
    people: int
    start_min: float
    end_min: float
    hands_on_min: float


class Held(NamedTuple):
    """A charger that a battery keeps. [min]"""

    battery: int
    from_min: float
    to_min: float


@dataclass(eq=False)
class Battery:
    """A battery and how it stands."""

    number: int
    queue: "Queue"
    charges: int
    """Since the last watering."""
    charge_times: dict[str, Iterator[float]]
    missing_ah: float = 0.0
    gas_ah: float = 0.0
    """Since the last watering."""
    waits_min: float = 0.0
    """Since when it waits in its bay, or for whatever comes next."""
    charged_min: float = 0.0
    """End of its last charge."""
    held_min: float | None = None
    """Since when it keeps a charger."""


@dataclass(eq=False)
class Queue:
    """Trucks that wait for batteries of one type in one area, its batteries and its chargers that are free."""

    place: int
    area: str
    kind: str
    chargers: int
    waiting: list[tuple[int, float, int, int]] = field(default_factory=list)
    """Priority, when and in what order they came, number of the truck."""
    ready: list[tuple[float, int, Battery]] = field(default_factory=list)
    """End of the last charge, number: the longest rested goes first."""
    uncharged: deque[Battery] = field(default_factory=deque)


@dataclass(eq=False)
class Truck:
    """A truck and its present battery."""

    number: int
    group: Group
    queue: Queue
    calendar: Calendar
    powers_w: list[float]
    times: dict[str, Iterator[float]]
    battery: Battery
    left_min: float = 0.0
    joined_min: float = 0.0
    ready_found: int = 0


@dataclass(eq=False)
class Person:
    """An attendant."""

    area: str | None
    """Where he works; None for all areas."""
    shift: str
    calendar: Calendar
    on_duty: bool = False
    busy: bool = False
    break_due: bool = False
    """Whether a break has begun that is taken as a whole when the job is finished."""
