"""Battery types and charger types."""

import re
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from batsim import units
from batsim.scenario.base import (
    Count,
    Fault,
    Frozen,
    Kilograms,
    Kind,
    NameText,
    Number,
    Quantity,
    Share,
    ShareAbove0,
    Words,
    refuse,
)
from batsim.scenario.laws import DurationLaw

CHEMISTRIES = ("vented_lead_acid", "valve_regulated", "lithium_ion")
PROFILES = ("IU", "IUIa", "W", "CC-CV")


class RatedCapacity(NamedTuple):
    """Capacity and the discharge time it is rated at."""

    ah: float
    rate_h: float


class RatedCapacityText(Kind):
    """A rated capacity with its basis, such as `750 Ah at 5 h`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["750 Ah at 5 h"]}  # noqa: RUF012

    def read(self, value: object) -> RatedCapacity:
        """Read ampere-hours and rate; a rate is never guessed."""
        text, word, rate = str(value).partition(" at ")
        if not word or not isinstance(value, str):
            msg = "needs a capacity with its rate, such as '750 Ah at 5 h' (Europe) or '750 Ah at 6 h' (America)"
            raise ValueError(msg)
        capacity = RatedCapacity(units.parse(text, "capacity"), units.parse(rate, "duration") / 60.0)
        if capacity.ah <= 0.0 or not 1.0 <= capacity.rate_h <= 20.0:
            msg = "needs a capacity above 0 Ah at a rate between 1 h and 20 h"
            raise ValueError(msg)
        return capacity


class ChargeCurrent(NamedTuple):
    """A charge current, either in amperes or in proportion to the battery."""

    amps: float
    per_100ah: bool

    def of(self, capacity_ah: float) -> float:
        """Current for a battery of this capacity. [A]"""
        return self.amps * capacity_ah / 100.0 if self.per_100ah else self.amps


class ChargeCurrentText(Kind):
    """A charge current: `120 A` or `18 A per 100 Ah`."""

    schema: dict[str, Any] = {"type": "string", "examples": ["120 A", "18 A per 100 Ah"]}  # noqa: RUF012

    def read(self, value: object) -> ChargeCurrent:
        """Read the current and whether it goes with the capacity."""
        in_proportion = isinstance(value, str) and re.search(r"(per|/)\s*100", value) is not None
        amps = units.parse(value, "rate" if in_proportion else "current")
        if amps <= 0.0:
            msg = "must be above 0 A"
            raise ValueError(msg)
        return ChargeCurrent(amps, in_proportion)


class Watering(Frozen):
    """How often water is added, and how."""

    every_charges: Annotated[float, Quantity("charge_count", least=1.0)] = Field(alias="every")
    """Charges between two waterings. [charges]"""
    by: Annotated[str, Words("hand", "single_point")] = "hand"
    """Cell by cell, or all cells from one connection."""
    time_min: DurationLaw | None = Field(None, alias="time")
    """Minutes for one battery, as timed on site; from the catalogue when not stated. [min]"""


def _none_as_word(value: object) -> object:
    """Read the word `none` as no watering at all."""
    return None if value == "none" else value


class BatteryType(Frozen):
    """A kind of traction battery."""

    chemistry: Annotated[str, Words(*CHEMISTRIES)]
    """What it is made of; gives the discharge and charge behaviour."""
    cells: Annotated[int, Count(least=1, most=400)]
    """Cells in series."""
    capacity: Annotated[RatedCapacity, RatedCapacityText()]
    """Rated capacity and its rate. [Ah, h]"""
    mass_kg: Kilograms | None = Field(None, alias="mass")
    """Mass of the battery in its tray. [kg]"""
    discharge_to_share: Share = Field(alias="discharge_to")
    """Cut-out: state of charge below which it must not be used. [%]"""
    cool_down_min: DurationLaw = Field(alias="cool_down")
    """Rest after a charge before the battery counts as ready. [min]"""
    charge_time_min: DurationLaw | None = Field(None, alias="charge_time")
    """Charge time as timed on site, instead of the charger's curve. [min]"""
    watering: Annotated[Watering | None, BeforeValidator(_none_as_word)] = None
    """Watering interval, or the word `none`."""
    peukert: Annotated[float, Number(least=1.0, most=1.6)] | None = None
    """Peukert exponent on the mean current; by chemistry when not stated. [-]"""

    @property
    def nominal_v(self) -> float:
        """Nominal voltage, 2 V a lead-acid cell and 3.2 V a lithium iron phosphate cell. [V]"""
        return self.cells * (3.2 if self.chemistry == "lithium_ion" else 2.0)


class ChargerType(Frozen):
    """A kind of charger; it supplies one battery at a time."""

    profile: Annotated[str, Words(*PROFILES)]
    """Charge characteristic by its usual letters."""
    chemistry: tuple[Annotated[str, Words(*CHEMISTRIES)], ...] = Field(min_length=1)
    """Chemistries it may charge."""
    batteries: tuple[NameText, ...] = ()
    """Battery types it fits; empty means every type of its chemistries."""
    main_current: Annotated[ChargeCurrent, ChargeCurrentText()]
    """Current of the main stage. [A or A per 100 Ah]"""
    end_current: Annotated[ChargeCurrent, ChargeCurrentText()] | None = None
    """Current of the end stage (IUIa, W), or at which it stops (CC-CV, IU). [A or A per 100 Ah]"""
    charge_factor: Annotated[float, Number(least=1.0, most=1.6)]
    """Ampere-hours returned over ampere-hours taken; IU and CC-CV return what was taken. [-]"""
    efficiency_share: ShareAbove0 = Field(alias="efficiency")
    """Energy to the battery over energy from the wall. [%]"""
    power_factor: Annotated[float, Number(above=0.0, most=1.0)]
    """Power over apparent power at the wall. [-]"""

    @model_validator(mode="after")
    def _complete(self) -> "ChargerType":
        """Ask for an end current, and for a characteristic that suits the chemistries."""
        faults = []
        if self.end_current is None:
            rule = f"the {self.profile} characteristic needs an 'end_current', such as '5 A per 100 Ah'"
            faults.append(Fault(("end_current",), rule))
        if self.profile == "CC-CV" and set(self.chemistry) != {"lithium_ion"}:
            rule = "CC-CV is for lithium_ion only; lead-acid batteries take IU, IUIa or W"
            faults.append(Fault(("profile",), rule, f"chemistry {', '.join(self.chemistry)}"))
        refuse(faults)
        return self
