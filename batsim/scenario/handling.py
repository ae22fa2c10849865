"""Handling arrangements as data: the steps of an exchange, who does them, what they hold."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import Field, model_validator

from batsim.scenario.base import (
    Count,
    Fault,
    Frozen,
    Kind,
    Metres,
    MetresPerMinute,
    NameText,
    Words,
    refuse,
)
from batsim.scenario.laws import DurationLaw


class Hands(NamedTuple):
    """How many people of each kind a step keeps busy."""

    attendants: int
    drivers: int


class HandsText(Kind):
    """Who does a step: `attendant`, `driver`, `2 attendants`, or a list of them."""

    schema: dict[str, Any] = {  # noqa: RUF012
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}],
        "examples": ["attendant", "driver", ["attendant", "driver"], "2 attendants"],
    }

    def read(self, value: object) -> Hands:
        """Read who and how many."""
        count = {"attendant": 0, "driver": 0}
        for part in value if isinstance(value, list) and value else [value]:
            match = re.fullmatch(r"(?:([1-9]) )?(attendant|driver)s?", str(part).strip())
            if not match:
                msg = "needs attendant, driver, a number of them such as '2 attendants', or a list"
                raise ValueError(msg)
            count[match[2]] += int(match[1] or 1)
        if count["driver"] > 1:
            msg = "a truck has one driver"
            raise ValueError(msg)
        return Hands(count["attendant"], count["driver"])


class Step(Frozen):
    """One timed act of an exchange."""

    step: NameText
    """What is done."""
    by: Annotated[Hands, HandsText()]
    """Who is busy with it."""
    device: NameText | None = None
    """Device that it holds, one of the arrangement's devices."""
    time_min: DurationLaw | None = Field(None, alias="time")
    """How long it takes. [min]"""
    distance_m: Metres | None = Field(None, alias="distance")
    """Way to go, instead of a time. [m]"""
    speed_m_per_min: MetresPerMinute | None = Field(None, alias="speed")
    """Speed on that way. [m/min]"""
    truck: Annotated[str, Words("waits", "gone")] = "waits"
    """Whether the truck stands meanwhile, or may already have left."""

    @model_validator(mode="after")
    def _consistent(self) -> "Step":
        """Want a time, or a distance with its speed; a driver is not there when the truck is gone."""
        faults = []
        by_time = self.time_min is not None
        by_way = self.distance_m is not None and self.speed_m_per_min is not None
        way_said = self.distance_m is not None or self.speed_m_per_min is not None
        if by_time == way_said or (way_said and not by_way):
            faults.append(Fault((), "a step needs either 'time' or 'distance' and 'speed'"))
        if self.truck == "gone" and self.by.drivers:
            faults.append(Fault(("by",), "the driver has left with the truck; let an attendant do it"))
        refuse(faults)
        return self

    @property
    def law(self) -> DurationLaw:
        """Duration of the step; a way at its speed is a fixed one. [min]"""
        if self.time_min is not None:
            return self.time_min
        return DurationLaw.model_validate(f"{(self.distance_m or 0.0) / (self.speed_m_per_min or 1.0)!r} min")


class Arrangement(Frozen):
    """How batteries are moved, or that they stay in the truck."""

    title: NameText
    """Name for tables and charts."""
    about: str = ""
    """What it is, in a sentence or two."""
    place: NameText
    """What holds one battery out of the truck; `truck` when it is charged there."""
    empty_places: Annotated[int, Count(most=5)] = 1
    """Empty places an exchange needs before it can start; 0 for a straight swap."""
    charger_leads: Annotated[str, Words("loose", "bound_to_place")] = "loose"
    """A charger bound to a place is taken until the battery leaves that place."""
    devices: dict[NameText, Annotated[int, Count(least=1, most=20)]] = Field(default_factory=dict)
    """Devices that one exchange holds."""
    stays_with_truck: tuple[NameText, ...] = ()
    """What each truck needs."""
    goes_with_battery: tuple[NameText, ...] = ()
    """What each battery needs."""
    cautions: tuple[str, ...] = ()
    """The usual cautions."""
    connects: Annotated[str, Words("attendant", "driver")] = "attendant"
    """Who connects a spent battery to its charger."""
    connect_time_min: DurationLaw = Field("0 min", alias="connect_time")  # type: ignore[assignment]
    """Time to connect it. [min]"""
    plug_time_min: DurationLaw = Field("0 min", alias="plug_time")  # type: ignore[assignment]
    """Charging in the truck: time to plug in. [min]"""
    unplug_time_min: DurationLaw = Field("0 min", alias="unplug_time")  # type: ignore[assignment]
    """Charging in the truck: time to unplug. [min]"""
    steps: tuple[Step, ...] = ()
    """The exchange, in order."""

    @model_validator(mode="after")
    def _consistent(self) -> "Arrangement":
        """Check the order of the steps and the devices they name."""
        faults = []
        if self.in_truck and self.steps:
            faults.append(Fault(("steps",), "an arrangement that charges in the truck has no exchange steps"))
        if not self.in_truck and not self.steps:
            faults.append(Fault(("steps",), "needs at least one step, unless place is 'truck'"))
        left = False
        for number, step in enumerate(self.steps):
            if step.device is not None and step.device not in self.devices:
                known = ", ".join(self.devices) or "none"
                faults.append(
                    Fault(("steps", number, "device"), f"not among the devices ({known})", f"'{step.device}'")
                )
            if left and step.truck == "waits":
                rule = "the truck has left before this step; mark it 'truck: gone' or move it up"
                faults.append(Fault(("steps", number), rule))
            left = left or step.truck == "gone"
        if self.steps and all(step.truck == "gone" for step in self.steps):
            faults.append(Fault(("steps",), "at least one step must be done while the truck waits"))
        refuse(faults)
        return self

    @property
    def in_truck(self) -> bool:
        """True when batteries stay in the truck and are charged there."""
        return self.place == "truck"
