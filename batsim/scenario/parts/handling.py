"""Handling arrangements as data: the steps of an exchange, who does them, what they hold."""

import re
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Annotated, NamedTuple

from pydantic import BeforeValidator, Field

from batsim.scenario.parts.faults import Fault, did_you_mean, shown, wrong
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Words, reads
from batsim.scenario.parts.laws import BY_QUANTILE, DurationLaw
from batsim.scenario.parts.needs import Needs
from batsim.scenario.parts.quantities import Metres, MetresPerMinute
from batsim.scenario.parts.schemas import TEXT, TEXTS

IN_TRUCK = "truck"
LOOSE, BOUND_TO_BAY = LEADS = ("loose", "bound_to_bay")
"""Bay of a battery that is charged in the truck."""


class Hands(NamedTuple):
    """How many people of each kind a step keeps busy."""

    attendants: int
    drivers: int


@reads(TEXT, TEXTS, examples=["attendant", "driver", ["attendant", "driver"], "2 attendants"])
def read_hands(value: object) -> Hands:
    """Who does a step: `attendant`, `driver`, `2 attendants`, or a list of them."""
    count = {"attendant": 0, "driver": 0}
    for part in value if isinstance(value, list) and value else [value]:
        match = re.fullmatch(r"(?:([1-9]) )?(attendant|driver)s?", str(part).strip())
        if not match:
            wrong("needs attendant, driver, a number of them such as '2 attendants', or a list")
        count[match[2]] += int(match[1] or 1)
    if count["driver"] > 1:
        wrong("a truck has one driver")
    return Hands(count["attendant"], count["driver"])


POINTS = ("where_it_stands", "station", "set_down", "discharged_bay", "ready_bay")
"""Ends of a way: where the device was left, the truck's station, the set-down bay beside it, and the bays."""


class Way(Frozen):
    """A way that a device goes in a step."""

    from_point: Annotated[str, Words(*POINTS)] = Field(alias="from")
    """Where it begins."""
    to_point: Annotated[str, Words(*POINTS[1:])] = Field(alias="to")
    """Where it ends."""
    carrying: Annotated[int, Count(most=2)] = 0
    """Batteries on the device meanwhile."""


class Device(Frozen):
    """A kind of device: how many an exchange holds, and how it moves."""

    held: Annotated[int, Count(least=1, most=20)] = 1
    """How many one exchange holds."""
    loaded_m_per_min: MetresPerMinute | None = Field(None, alias="loaded")
    """Speed with a battery. [m/min]"""
    empty_m_per_min: MetresPerMinute | None = Field(None, alias="empty")
    """Speed without. [m/min]"""
    lift_m_per_min: MetresPerMinute | None = Field(None, alias="lift")
    """Speed up and down, for bays on several levels. [m/min]"""
    path: Annotated[str, Words("aisles", "overhead")] = "aisles"
    """Along aisles, both distances one after the other, or overhead, both at once."""
    carries: Annotated[int, Count(least=1, most=2)] = 1
    """Batteries it takes at a time."""
    reach_m: Metres | None = Field(None, alias="reach")
    """Greatest way between a station and a bay that it serves from there; any when not stated. [m]"""


def _number_as_block(value: object) -> object:
    """Read a number as how many are held."""
    return value if isinstance(value, dict | Device) else {"held": value}


class Step(Frozen):
    """One timed act of an exchange."""

    step: NameText
    """What is done."""
    by: Annotated[Hands, read_hands]
    """Who is busy with it."""
    device: NameText | None = None
    """Device that it holds, one of the arrangement's devices."""
    time_min: DurationLaw | None = Field(None, alias="time")
    """How long it takes. [min]"""
    distance_m: Metres | None = Field(None, alias="distance")
    """Way to go, instead of a time. [m]"""
    speed_m_per_min: MetresPerMinute | None = Field(None, alias="speed")
    """Speed on that way. [m/min]"""
    ways: tuple[Way, ...] = ()
    """Ways of the device, one after another, for layouts that state positions."""
    at_ends_min: DurationLaw | None = Field(None, alias="at_ends")
    """Time of a step with ways without the travel itself, for layouts that state positions. [min]"""
    varies: Annotated[str, Words("alone", "together")] = "alone"
    """Whether its time varies alone, or is long when those of the other steps that vary together are long, as the
    catalogue's own times do."""
    skill: NameText | None = None
    """What one of its attendants must be qualified for, such as hoist."""
    truck: Annotated[str, Words("waits", "gone")] = "waits"
    """Whether the truck stands meanwhile, or may already have left."""
    stream: Annotated[int, Count(most=2**32 - 1)] | None = None
    """Number of the random stream of a step that varies alone: its times stay when the words change. By its words
    when not stated."""

    def _faults(self) -> Iterator[Fault]:
        """Want a time, or a distance with its speed; a driver is not there when the truck is gone."""
        way_stated = (self.distance_m is not None) + (self.speed_m_per_min is not None)
        if way_stated != (0 if self.time_min is not None else 2):
            yield Fault((), "a step needs either 'time' or 'distance' and 'speed'")
        if self.truck == "gone" and self.by.drivers:
            yield Fault(("by",), "the driver has left with the truck; let an attendant do it")
        if bool(self.ways) != (self.at_ends_min is not None):
            yield Fault((), "'ways' and 'at_ends', its time without the travel, go together")
        if self.ways and self.device is None:
            yield Fault(("device",), "missing: the device that goes the ways")
        if self.skill is not None and not self.by.attendants:
            yield Fault(("skill",), "is of attendants; this step has none", f"'{self.skill}'")
        for key, law in (("time", self.time_min), ("at_ends", self.at_ends_min)):
            if self.varies == "together" and law is not None and law.kind not in BY_QUANTILE:
                rule = f"steps that vary together need one of these laws: {', '.join(BY_QUANTILE)}"
                yield Fault((key,), rule, law.kind)

    @property
    def law(self) -> DurationLaw:
        """Duration of the step; a way at its speed is a fixed one. [min]"""
        if self.time_min is not None:
            return self.time_min
        return DurationLaw.model_validate(f"{(self.distance_m or 0.0) / (self.speed_m_per_min or 1.0)!r} min")


def _timed(step: Step, law: DurationLaw, varies: str) -> Step:
    """A step that takes another time than its own."""
    update = {"time_min": law, "distance_m": None, "speed_m_per_min": None, "varies": varies}
    return step.model_copy(update=update)


class ExchangeTimes(Frozen):
    """An exchange as timed on site, whole or in two parts, each shared by its steps as they share their own times."""

    truck_waits_min: DurationLaw | None = Field(None, alias="truck_waits")
    """From its beginning until the truck may leave. [min]"""
    truck_gone_min: DurationLaw | None = Field(None, alias="truck_gone")
    """From then until the last step is done. [min]"""

    whole_min: DurationLaw | None = Field(None, alias="whole")
    """From its beginning to its end, where the truck stays until then. [min]"""

    def _faults(self) -> Iterator[Fault]:
        """Want the whole, or parts of it."""
        if self.whole_min is not None and (self.truck_waits_min is not None or self.truck_gone_min is not None):
            yield Fault(("whole",), "is 'truck_waits' and 'truck_gone' together; keep it or those two")

    def parts(self, steps: Sequence[Step]) -> "Iterator[tuple[str, DurationLaw, list[Step]]]":
        """Key and law of each part that was timed, and the steps that share it. [min]"""
        kinds = {"truck_waits": ("waits",), "truck_gone": ("gone",), "whole": ("waits", "gone")}
        for key, truck in kinds.items():
            law: DurationLaw | None = getattr(self, f"{key}_min")
            if law is not None:
                yield key, law, [step for step in steps if step.truck in truck]


class Arrangement(Frozen):
    """How batteries are moved, or that they stay in the truck."""

    title: NameText
    """Name for tables and charts."""
    about: str = ""
    """What it is, in a sentence or two."""
    bay: NameText
    """What holds one battery out of the truck; `truck` when it is charged there."""
    empty_bays: Annotated[int, Count(most=5)] = 1
    """Empty bays an exchange needs before it can start; 0 for a straight swap."""
    charger_leads: Annotated[str, Words(*LEADS)] = LOOSE
    """A charger bound to a bay is taken until the battery leaves that bay."""
    devices: dict[NameText, Annotated[Device, BeforeValidator(_number_as_block)]] = Field(default_factory=dict)
    """Devices that one exchange holds: how many, or a block that also says how they move."""
    set_down_bays: Annotated[int, Count(most=5)] = 0
    """Set-down bays beside the station that an exchange needs from its start to its end."""
    watering_devices: dict[NameText, Annotated[int, Count(least=1, most=5)]] = Field(default_factory=dict)
    """Charging in the truck: what pulls the battery out part of the way to water it by hand."""
    pull_out_time_min: DurationLaw = Field("0 min", alias="pull_out_time")  # type: ignore[assignment]
    """Charging in the truck: time to pull the battery out for watering by hand and put it back. [min]"""
    stays_with_truck: tuple[NameText, ...] = ()
    """What each truck needs."""
    goes_with_battery: tuple[NameText, ...] = ()
    """What each battery needs."""
    cautions: tuple[str, ...] = ()
    """The usual cautions."""
    needs: Needs = Field(default_factory=dict)  # type: ignore[assignment]
    """What it asks of trucks, batteries and equipment, what is ordered for it, and when it is usual."""
    connects: Annotated[str, Words("attendant", "driver")] = "attendant"
    """Who connects a discharged battery to its charger."""
    connect_time_min: DurationLaw = Field("0 min", alias="connect_time")  # type: ignore[assignment]
    """Time to connect it. [min]"""
    plug_time_min: DurationLaw = Field("0 min", alias="plug_time")  # type: ignore[assignment]
    """Charging in the truck: time to plug in. [min]"""
    unplug_time_min: DurationLaw = Field("0 min", alias="unplug_time")  # type: ignore[assignment]
    """Charging in the truck: time to unplug. [min]"""
    stated_steps: tuple[Step, ...] = Field((), alias="steps")
    """The exchange, in order."""
    step_times_min: dict[NameText, DurationLaw] = Field(default_factory=dict, alias="step_times")
    """Times of steps as timed on site, by the words of the step, in place of their own. [min]"""
    exchange_times: ExchangeTimes = Field(default_factory=dict)  # type: ignore[assignment]
    """The whole exchange as timed on site: `truck_waits` and `truck_gone`, shared by its steps. [min]"""

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The exchange, in order, with the times that were timed on site."""
        laws = {name: (law, "alone") for name, law in self.step_times_min.items()}
        for _, law, part in self.exchange_times.parts(self.stated_steps):
            means = [step.law.mean for step in part]
            shares = [mean / sum(means) if sum(means) else 1.0 / len(part) for mean in means]
            varies = "together" if len(part) > 1 else "alone"
            laws |= {step.step: (law.times(share), varies) for step, share in zip(part, shares, strict=True)}
        return tuple(_timed(step, *laws[step.step]) if step.step in laws else step for step in self.stated_steps)

    @property
    def timed_on_site(self) -> bool:
        """Whether steps have times in place of their own."""
        return self.steps != self.stated_steps

    def _faults(self) -> Iterator[Fault]:
        """Find what is wrong with the order of the steps and the devices they name."""
        if self.in_truck and self.stated_steps:
            yield Fault(("steps",), "an arrangement that charges in the truck has no exchange steps")
        if not self.in_truck and not self.stated_steps:
            yield Fault(("steps",), "needs at least one step, unless bay is 'truck'")
        for number in range(len(self.stated_steps)):
            yield from self._step_faults(number)
        if self.stated_steps and all(step.truck == "gone" for step in self.stated_steps):
            yield Fault(("steps",), "at least one step must be done while the truck waits")
        yield from self._times_faults()

    def _times_faults(self) -> Iterator[Fault]:
        """Find times of steps that are not there, and laws that cannot be shared."""
        known = [step.step for step in self.stated_steps]
        for name in self.step_times_min:
            if name not in known:
                yield Fault(("step_times", name), f"no such step{did_you_mean(name, known)}", shown(name))
        for key, law, part in self.exchange_times.parts(self.stated_steps):
            at = ("exchange_times", key)
            if not part:
                yield Fault(at, "no step of this arrangement is done then; leave it out")
            elif any(step.step in self.step_times_min for step in part):
                yield Fault(at, "stands in place of 'step_times' of its steps; keep one of the two")
            elif len(part) > 1 and law.kind not in BY_QUANTILE:
                yield Fault(at, f"its steps share one of these laws: {', '.join(BY_QUANTILE)}", law.kind)

    def _step_faults(self, number: int) -> Iterator[Fault]:
        """Find what a step asks for that is not there: a device, a truck that has left before."""
        step = self.stated_steps[number]
        if step.device is not None and step.device not in self.devices:
            known = ", ".join(self.devices) or "none"
            yield Fault(("steps", number, "device"), f"not among the devices ({known})", f"'{step.device}'")
        if step.truck == "waits" and any(before.truck == "gone" for before in self.stated_steps[:number]):
            yield Fault(("steps", number), "the truck has left before this step; mark it 'truck: gone' or move it up")
        for position, way in enumerate(step.ways if step.device in self.devices else ()):
            yield from self._way_faults(("steps", number, "ways", position), way, str(step.device))

    def _way_faults(self, path: tuple[str | int, ...], way: Way, name: str) -> Iterator[Fault]:
        """Find what a device cannot do on a way."""
        device = self.devices[name]
        key, speed = ("loaded", device.loaded_m_per_min) if way.carrying else ("empty", device.empty_m_per_min)
        if way.carrying > device.carries:
            yield Fault((*path, "carrying"), f"the device takes {device.carries} at a time", str(way.carrying))
        if "set_down" in (way.from_point, way.to_point) and not self.set_down_bays:
            yield Fault(path, "needs 'set_down_bays', at least 1 for each exchange")
        if speed is None:
            yield Fault(path, f"needs a speed of {name} under '{key}', such as '3 km/h'")

    @property
    def devices_held(self) -> dict[str, int]:
        """Devices that one exchange holds, or watering by hand in the truck."""
        if self.in_truck:
            return dict(self.watering_devices)
        return {name: device.held for name, device in self.devices.items()}

    @property
    def skill(self) -> str | None:
        """What one of its attendants must be qualified for."""
        return next((step.skill for step in self.steps if step.skill), None)

    @property
    def has_ways(self) -> bool:
        """True when ways are stated, so that a layout may state positions."""
        return any(step.ways for step in self.steps)

    @property
    def in_truck(self) -> bool:
        """True when batteries stay in the truck and are charged there."""
        return self.bay == IN_TRUCK
