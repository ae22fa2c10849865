"""The steps of an exchange, boiled down to what is given back when, to minutes of work and to ways."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.room.step_times import StepTimes
from batsim.scenario.parts.handling import Arrangement, Hands, Step

if TYPE_CHECKING:
    from batsim.room.floor_plan import Ways
    from batsim.scenario.parts.laws import DurationLaw


class Instant(NamedTuple):
    """An instant of an exchange that has to happen: the truck leaves, people are free, or all is done."""

    step: int
    """Number of the step that ends then."""
    truck: bool
    """Whether the truck leaves, and with it the station is free."""
    end: bool
    """Whether it is the end: the discharged battery stands in its bay."""
    people: bool
    """Whether the attendants are free."""


class Leg(NamedTuple):
    """A way of a device in a step."""

    device: int
    """Number of the kind of device among those that an exchange holds."""
    from_point: str
    to_point: str
    loaded: bool


AT_STATION, DISCHARGED_BAY, READY_BAY, WHERE_LEFT = range(4)
"""Points of an exchange by number: its station, two bays, and from here on where each kind of device stands."""
POINTS = {"station": AT_STATION, "set_down": AT_STATION, "discharged_bay": DISCHARGED_BAY, "ready_bay": READY_BAY}


class Route(NamedTuple):
    """A leg made ready to be looked up: points by number, times and metres by what they stand for."""

    step: int
    device: int
    from_point: int
    to_point: int
    minutes: list[list[float]]
    metres: list[list[float]]


@dataclass(frozen=True)
class ExchangePlan:
    """The steps of an exchange."""

    laws: tuple[tuple[str, "DurationLaw"], ...]
    """Name and duration of each step; without the travel where positions are stated."""
    hands: tuple[Hands, ...]
    """Who is busy with each step."""
    attendants: int
    """Attendants held from the start to their last step."""
    skill: str | None
    """What some of them must be qualified for."""
    skilled: int
    """How many of them."""
    devices: dict[str, int]
    """Devices held from the start to their last step."""
    device_steps: dict[str, int]
    """Number of the last step that holds each device."""
    empty_bays: int
    """Empty bays taken at the start."""
    set_down_bays: int
    """Set-down bays taken from the start to the end."""
    instants: tuple[Instant, ...]
    """When what is given back, in order; devices are free again without anything having to happen."""
    legs: tuple[tuple[Leg, ...], ...]
    """Ways of each step; all empty where no positions are stated."""

    @cached_property
    def has_legs(self) -> bool:
        """Whether times follow from ways."""
        return any(self.legs)

    @cached_property
    def step_times(self) -> StepTimes:
        """Times of the steps one by one."""
        return StepTimes(self.laws, np.eye(len(self.hands)))

    @cached_property
    def attendants_busy(self) -> tuple[int, ...]:
        """Attendants who are busy with each step."""
        return tuple(each.attendants for each in self.hands)

    @cached_property
    def drivers_busy(self) -> tuple[int, ...]:
        """Drivers who are busy with each step; empty where none ever is."""
        busy = tuple(each.drivers for each in self.hands)
        return busy if any(busy) else ()

    @cached_property
    def people_step(self) -> int:
        """Number of the last step of attendants; -1 without any."""
        return max((n for n, each in enumerate(self.hands) if each.attendants), default=-1)

    @cached_property
    def ends(self) -> tuple[int, ...]:
        """Last steps of the instants, then of the devices, in the order of the exchange's times."""
        return (*(instant.step for instant in self.instants), *self.device_steps.values())

    @cached_property
    def times(self) -> StepTimes:
        """Times of the whole: attendant minutes, driver minutes, each instant, each device free."""
        rows = [
            [float(hands.attendants) for hands in self.hands],
            [float(hands.drivers) for hands in self.hands],
            *([float(step <= last) for step in range(len(self.hands))] for last in self.ends),
        ]
        return StepTimes(self.laws, np.array(rows).T)


def routes(plan: ExchangePlan, ways: "tuple[Ways, ...]") -> list[Route]:
    """Make the legs of a plan ready to be looked up, in the order in which they are driven."""
    return [
        Route(
            step,
            leg.device,
            POINTS.get(leg.from_point, WHERE_LEFT + leg.device),
            POINTS[leg.to_point],
            ways[leg.device].loaded_min if leg.loaded else ways[leg.device].empty_min,
            ways[leg.device].metres,
        )
        for step, legs in enumerate(plan.legs)
        for leg in legs
    ]


def exchange_plan(
    arrangement: Arrangement, whole: "DurationLaw | None", *, drivers_only: bool, positions: bool
) -> ExchangePlan:
    """Boil the steps down.

    Parameters
    ----------
    arrangement
        The handling arrangement.
    whole
        A time for the whole exchange in place of all its steps.
    drivers_only
        Whether drivers do what attendants would.
    positions
        Whether ways follow from positions in the room.
    """
    steps = list(arrangement.steps)
    if whole is not None:
        one = Step.model_validate({"step": "exchange", "by": "attendant", "time": "0 min"})
        steps = [one.model_copy(update={"time_min": whole})]
    hands = [_by_driver(step.by) if drivers_only else step.by for step in steps]
    last = len(steps) - 1
    truck_step = last if drivers_only else max(n for n, step in enumerate(steps) if step.truck == "waits")
    people_step = max((n for n, each in enumerate(hands) if each.attendants), default=-1)
    device_steps = {
        name: max((n for n, step in enumerate(steps) if step.device == name), default=truck_step)
        for name in arrangement.devices
    }
    ends = sorted({truck_step, last, *({people_step} - {-1})})
    skill = None if drivers_only else next((step.skill for step in steps if step.skill), None)
    numbers = {name: number for number, name in enumerate(arrangement.devices)}
    return ExchangePlan(
        laws=tuple((f"{number} {step.step}", _law(step, positions)) for number, step in enumerate(steps)),
        hands=tuple(hands),
        attendants=max(each.attendants for each in hands),
        skill=skill,
        skilled=int(skill is not None),
        devices={name: device.held for name, device in arrangement.devices.items()},
        device_steps=device_steps,
        empty_bays=arrangement.empty_bays,
        set_down_bays=arrangement.set_down_bays,
        instants=tuple(Instant(step, step == truck_step, step == last, step == people_step) for step in ends),
        legs=tuple(
            tuple(Leg(numbers[step.device or ""], w.from_point, w.to_point, w.carrying > 0) for w in step.ways)
            if positions
            else ()
            for step in steps
        ),
    )


def _law(step: Step, positions: bool) -> "DurationLaw":
    """Duration of a step: the time at its ends where its ways follow from positions."""
    return step.at_ends_min if positions and step.at_ends_min is not None else step.law


def _by_driver(hands: Hands) -> Hands:
    """Let the driver do what attendants would."""
    return Hands(0, 1) if hands.attendants or hands.drivers else hands
