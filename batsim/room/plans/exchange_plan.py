"""The steps of an exchange, boiled down to what is given back when, to minutes of work and to ways."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from batsim.room.chance.step_times import TOGETHER, Purpose, StepTimes
from batsim.room.plans.floor_plan import Table, Ways
from batsim.scenario.parts.handling import Arrangement, Hands, Step
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
    minutes: Table
    metres: Table


@dataclass(frozen=True)
class ExchangePlan:
    """The steps of an exchange."""

    laws: tuple[tuple[Purpose, DurationLaw], ...]
    """Stream and duration of each step; without the travel where positions are stated."""
    hands: tuple[Hands, ...]
    """Who is busy with each step."""
    attendants: int
    """Attendants held from the start to their last step."""
    skill: str | None
    """What one of them must be qualified for."""
    devices: dict[str, int]
    """Devices held from the start to their last step."""
    device_steps: dict[str, int]
    """Number of the last step that holds each device."""
    empty_bays: int
    """Empty bays taken at the start."""
    set_down_bays: int
    """Set-down bays taken from the start to the end."""
    helpers: int
    """Drivers of other trucks who lend a hand in some step."""
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
        return tuple(hands.attendants for hands in self.hands)

    @cached_property
    def drivers_busy(self) -> tuple[int, ...]:
        """Drivers who are busy with each step; empty where none ever is."""
        busy = tuple(hands.drivers for hands in self.hands)
        return busy if any(busy) else ()

    @cached_property
    def helper_step(self) -> int:
        """Number of the last step in which other drivers lend a hand."""
        return _last_of(hands.drivers > 1 for hands in self.hands)

    @cached_property
    def people_step(self) -> int:
        """Number of the last step of attendants; -1 without any."""
        return _last_of(hands.attendants > 0 for hands in self.hands)

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


def routes(plan: ExchangePlan, ways: tuple[Ways, ...]) -> list[Route]:
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


class ExchangePlans(NamedTuple):
    """The steps of an exchange by who does them: what needs two people needs two, whoever they are."""

    attendants: ExchangePlan
    """By those that the arrangement names."""
    drivers: ExchangePlan
    """By the driver of the truck, and those of other trucks."""
    helped: ExchangePlan
    """By the driver of the truck; an attendant lends a hand."""


def exchange_plans(arrangement: Arrangement, whole: DurationLaw | None, *, positions: bool) -> ExchangePlans:
    """Boil the steps down for each that may do them; parameters as of `exchange_plan`."""
    attendants, drivers, helped = (
        exchange_plan(arrangement, whole, by=by, positions=positions) for by in ExchangePlans._fields
    )
    return ExchangePlans(attendants, drivers, helped)


def exchange_plan(arrangement: Arrangement, whole: DurationLaw | None, *, by: str, positions: bool) -> ExchangePlan:
    """Boil the steps down.

    Parameters
    ----------
    arrangement
        The handling arrangement.
    whole
        A time for the whole exchange in place of all its steps.
    by
        Who does it: a field of `ExchangePlans`.
    positions
        Whether ways follow from positions in the room.
    """
    steps = list(arrangement.steps) if whole is None else [WHOLE_EXCHANGE.model_copy(update={"time_min": whole})]
    hands = tuple(_hands(step.by, by) for step in steps)
    skill = arrangement.skill if by == "attendants" and whole is None else None
    truck_step = len(steps) - 1  # a driver who does it all stays to the end
    if by == "attendants":
        truck_step = _last_of(step.truck == "waits" for step in steps)
    return ExchangePlan(
        laws=tuple((_stream(number, step), _law(step, positions)) for number, step in enumerate(steps)),
        hands=hands,
        attendants=max(hand.attendants for hand in hands),
        skill=skill,
        devices={name: device.held for name, device in arrangement.devices.items()},
        device_steps=_device_steps(arrangement, steps, truck_step),
        empty_bays=arrangement.empty_bays,
        set_down_bays=arrangement.set_down_bays,
        helpers=max(0, *(hand.drivers - 1 for hand in hands)),
        instants=_instants(hands, truck_step),
        legs=_legs(steps, list(arrangement.devices)) if positions else ((),) * len(steps),
    )


WHOLE_EXCHANGE = Step.model_validate({"step": "exchange", "by": "attendant", "time": "0 min"})
"""The one step of an exchange that is timed as a whole."""


def _last_of(steps: "Iterable[bool]", without: int = -1) -> int:
    """Number of the last step of which something is true."""
    return max((number for number, is_true in enumerate(steps) if is_true), default=without)


def _device_steps(arrangement: Arrangement, steps: list[Step], truck_step: int) -> dict[str, int]:
    """Number of the last step that holds each device; one that no step names is held as long as the truck."""
    return {name: _last_of((step.device == name for step in steps), without=truck_step) for name in arrangement.devices}


def _instants(hands: tuple[Hands, ...], truck_step: int) -> tuple[Instant, ...]:
    """Instants at which the truck leaves, people are free and all is done, in order."""
    last, people_step = len(hands) - 1, _last_of(hand.attendants > 0 for hand in hands)
    steps = sorted({truck_step, last, people_step} - {-1})
    return tuple(Instant(step, step == truck_step, step == last, step == people_step) for step in steps)


def _legs(steps: list[Step], devices: list[str]) -> tuple[tuple[Leg, ...], ...]:
    """Ways of each step."""
    return tuple(
        tuple(
            Leg(devices.index(step.device or ""), way.from_point, way.to_point, way.carrying > 0) for way in step.ways
        )
        for step in steps
    )


def _law(step: Step, positions: bool) -> DurationLaw:
    """Duration of a step: the time at its ends where its ways follow from positions."""
    return step.at_ends_min if positions and step.at_ends_min is not None else step.law


def _hands(hands: Hands, by: str) -> Hands:
    """Who does a step: as many as the arrangement asks for."""
    people = sum(hands)
    if by == "attendants" or not people:
        return hands
    return Hands(0, people) if by == "drivers" else Hands(people - 1, 1)


def _stream(number: int, step: "Step") -> Purpose:
    """Random stream of a step: that of all that vary together, its number and words, or the one that it states."""
    if step.varies == "together":
        return TOGETHER
    return f"step {number} {step.step}" if step.stream is None else step.stream
