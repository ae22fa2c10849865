"""Battery types and charger types."""

import math
import re
from collections.abc import Iterator
from typing import Annotated, NamedTuple

from pydantic import BeforeValidator, Field

from batsim import units
from batsim.catalogue import Figures
from batsim.scenario.parts.faults import Fault, wrong
from batsim.scenario.parts.fit import BASES, Dimensions
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Number, Quantity, Words, by_default, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.lots import Lot, Rent, read_life_used
from batsim.scenario.parts.maintenance import Maintenance, Rounds
from batsim.scenario.parts.quantities import Celsius, Kilograms, Millimetres, MinutesAbove0, Share, ShareAbove0, Spread
from batsim.scenario.parts.schemas import text_schema
from batsim.scenario.parts.week import WEEK_MIN, read_weekdays

CHEMISTRIES = ("vented_lead_acid", "valve_regulated", "lithium_ion")
PROFILES = ("IU", "IUIa", "IUI", "W", "WoWa", "CC-CV")
FALLING = ("W", "WoWa")
"""Characteristics whose current falls along a line; such chargers cannot be throttled."""
RECOVERY = ("none", "two_wells")
SEALED = "valve_regulated"
"""Chemistry whose cells cannot be watered again: what gases is lost."""
SEALED_CURRENT = "battery.valve_regulated.end_current_most"
"""Figure: greatest current of their end stage and of equalising charges."""
ROUNDING = 1e-9
MOST_WH_PER_KG = 1000.0
"""More energy than any battery holds in its mass: beyond it is a slip in a unit. [Wh/kg]"""


class RatedCapacity(NamedTuple):
    """Capacity and the discharge time it is rated at."""

    ah: float
    rate_h: float


@reads(text_schema("750 Ah at 5 h"))
def read_rated_capacity(value: object) -> RatedCapacity:
    """A rated capacity with its basis, such as `750 Ah at 5 h`.

    Read ampere-hours and rate; a rate is never guessed.
    """
    text, word, rate = str(value).partition(" at ")
    if not word or not isinstance(value, str):
        wrong("needs a capacity with its rate, such as '750 Ah at 5 h' (Europe) or '750 Ah at 6 h' (America)")
    capacity = RatedCapacity(units.parse(text, "capacity"), units.parse(rate, "duration") / 60.0)
    if capacity.ah <= 0.0 or not 1.0 <= capacity.rate_h <= 20.0:
        wrong("needs a capacity above 0 Ah at a rate between 1 h and 20 h")
    return capacity


class ChargeCurrent(NamedTuple):
    """A charge current, either in amperes or in proportion to the battery."""

    amps: float
    per_100ah: bool

    def of(self, capacity_ah: float) -> float:
        """Current for a battery of this capacity. [A]"""
        return self.amps * capacity_ah / 100.0 if self.per_100ah else self.amps

    @property
    def text(self) -> str:
        """As it is written in a scenario."""
        return f"{self.amps:g} A{' per 100 Ah' if self.per_100ah else ''}"


@reads(text_schema("120 A", "18 A per 100 Ah"))
def read_charge_current(value: object) -> ChargeCurrent:
    """A charge current: `120 A` or `18 A per 100 Ah`."""
    in_proportion = isinstance(value, str) and re.search(r"per|/", value) is not None
    amps = units.parse(value, "rate" if in_proportion else "current")
    if amps <= 0.0:
        wrong("must be above 0 A")
    return ChargeCurrent(amps, in_proportion)


class WateringInterval(NamedTuple):
    """When water is due; infinite where it does not count."""

    charges: float
    """Charges since the last watering. [charges]"""
    gas_ah: float
    """Ampere-hours of gassing since the last watering. [Ah]"""
    when_low: bool
    """Whether it is due when the water above the plates is used up."""


@reads(text_schema("7 charges", "300 Ah", "when_low"))
def read_watering_interval(value: object) -> WateringInterval:
    """When water is due: `7 charges`, `300 Ah` of gassing, or the word `when_low`."""
    if value == "when_low":
        return WateringInterval(math.inf, math.inf, when_low=True)
    if isinstance(value, str) and value.rstrip().endswith("Ah"):
        gas_ah = Quantity("capacity", above=0.0).read(value)
        return WateringInterval(math.inf, gas_ah, when_low=False)
    hint = "; also read: '300 Ah' of gassing and the word when_low"
    charges = Quantity("charge_count", least=1.0, hint=hint).read(value)
    return WateringInterval(charges, math.inf, when_low=False)


class Watering(Frozen):
    """How often water is added, and how."""

    every: Annotated[WateringInterval, read_watering_interval]
    """Charges or ampere-hours of gassing between two waterings, or `when_low`. [charges or Ah]"""
    by: Annotated[str, Words("hand", "single_point")] = "hand"
    """Cell by cell, or all cells from one connection."""
    time_min: DurationLaw | None = Field(None, alias="time")
    """Minutes for one battery, as timed on site; from the catalogue when not stated. [min]"""
    rounds: Rounds | None = None
    """Hours in which water is added; whenever it is due when not stated."""


class AtLeastAWeek(Quantity):
    """A duration of a week or more, such as `14 days`."""

    def __init__(self) -> None:
        super().__init__("duration")
        self.schema = {**self.schema, "examples": ["14 days"]}

    def read(self, value: object) -> float:
        """Read the minutes; the limit is stated as a week."""
        minutes = super().read(value)
        if minutes < WEEK_MIN:
            wrong("must be at least 1 week")
        return minutes


class Equalising(Frozen):
    """A long small current after a full charge, now and then."""

    every_min: Annotated[float, AtLeastAWeek()] = Field(alias="every")
    """Least time from one to the next, never less than a week. [min]"""
    length_min: MinutesAbove0 = Field(alias="length")
    """How long it takes. [min]"""
    current: Annotated[ChargeCurrent, read_charge_current]
    """Its current. [A or A per 100 Ah]"""
    days: Annotated[tuple[int, ...], read_weekdays] | None = None
    """Weekdays on which the full charge before it must begin; any when not stated."""


def _none_as_word(value: object) -> object:
    """Read the word `none` as nothing at all: no watering, no equalising charges."""
    if isinstance(value, str | bool | int | float | list) and value != "none":
        wrong("needs a block of keys, or the word none")
    return None if value == "none" else value


def too_strong(current: ChargeCurrent, capacity_ah: float, figures: Figures) -> bool:
    """Whether sealed cells must not be charged to their end, or equalised, with a current."""
    return current.of(capacity_ah) > figures[SEALED_CURRENT].value * capacity_ah / 100.0 * (1.0 + ROUNDING)


def sealed_rule(figures: Figures) -> str:
    """Rule that a current breaks which is too strong for sealed cells, with its cure."""
    most = f"{figures[SEALED_CURRENT].value:g} A per 100 Ah"
    return f"must be at most {most} for {SEALED} batteries, which nobody can water; write '0.5 A per 100 Ah'"


class BatteryType(Frozen):
    """A kind of traction battery."""

    chemistry: Annotated[str, Words(*CHEMISTRIES)]
    """What it is made of; gives the discharge and charge behaviour."""
    cells: Annotated[int, Count(least=1, most=400)]
    """Cells in series."""
    capacity: Annotated[RatedCapacity, read_rated_capacity]
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
    recovery: Annotated[str, Words(*RECOVERY)] = "none"
    """Whether what a strong current leaves behind comes back in breaks: the two-well model, in place of Peukert."""
    equalising: Annotated[Equalising | None, BeforeValidator(_none_as_word)] = None
    """Equalising charges, or the word `none`."""
    inspection: Maintenance | None = None
    """Visual inspection of each battery."""
    readings: Maintenance | None = None
    """Readings of voltage and specific gravity, with their record."""
    wash: Maintenance | None = None
    """Wash of the battery's top and tray."""
    cool_to_degc: Celsius | None = Field(None, alias="cool_to")
    """Temperature at which a battery counts as cooled down, if it gets there before `cool_down` is over. [degC]"""
    forced_air: bool = False
    """Whether fans move the air about batteries in their bays."""
    cooling_time_constant_min: MinutesAbove0 | None = Field(None, alias="cooling_time_constant")
    """Time in which a battery left in its bay loses 63 % of its excess over the room; worked out from its mass
    when not stated. [min]"""
    charge_from_degc: Celsius | None = Field(None, alias="charge_from")
    """Electrolyte temperature below which no charge begins; by chemistry when not stated. [degC]"""
    charge_below_degc: Celsius | None = Field(None, alias="charge_below")
    """Electrolyte temperature above which no charge begins; by chemistry when not stated. [degC]"""
    capacity_spread_share: Spread = Field("0 %", alias="capacity_spread")  # type: ignore[assignment]
    """Spread of the capacity from battery to battery: standard deviation over mean. [%]"""
    size: Dimensions | None = None
    """Outer sizes of the battery in its tray. [mm]"""
    base: Annotated[str, Words(*BASES)] | None = None
    """Whether its tray has a flat base or rollers of its own."""
    lifting_eyes_mm: Millimetres | None = Field(None, alias="lifting_eyes")
    """Distance between its lifting eyes, along the spreader beam. [mm]"""
    connector: NameText | None = None
    """Its connector, as it is marked."""
    life_used: Annotated[tuple[float, float], read_life_used] = "0 %"  # type: ignore[assignment]
    """Share of their life that the batteries have behind them at the start: one for all, or {from, to}. [%]"""
    lots: dict[NameText, Lot] = Field(default_factory=dict)
    """Lots of different age or owner, by name; layouts count how many there are of each."""

    def _faults(self) -> Iterator[Fault]:
        """Find what could never happen: equalising or low water where there is none."""
        if self.equalising is not None and self.chemistry == "lithium_ion":
            yield Fault(("equalising",), "lithium_ion batteries take no equalising charges; write none")
        if self.watering is not None and self.watering.every.when_low and self.chemistry != "vented_lead_acid":
            rule = "when_low is for vented_lead_acid only; others have no water above their plates"
            yield Fault(("watering", "every"), rule, f"chemistry {self.chemistry}")
        if self.lots and "life_used" in self.model_fields_set:
            yield Fault(("life_used",), "is stated by lot where there are 'lots'; move it to the lots that have it")
        if self.mass_kg is not None and self.nominal_v * self.capacity.ah > MOST_WH_PER_KG * self.mass_kg:
            rule = (
                f"too light for {self.nominal_v:g} V and {self.capacity.ah:g} Ah; check the units of mass and capacity"
            )
            yield Fault(("mass",), rule, units.show(self.mass_kg, "mass"))

    def _faults_with(self, figures: Figures) -> Iterator[Fault]:
        """Find temperatures between which no charge could begin, and equalising that dries out sealed cells."""
        current = None if self.equalising is None else self.equalising.current
        if current is not None and self.chemistry == SEALED and too_strong(current, self.capacity.ah, figures):
            yield Fault(("equalising", "current"), sealed_rule(figures), f"'{current.text}'")
        least, most = self.charging_degc(figures)
        if least < most:
            return
        from_text, below_text = (units.show(degc, "temperature") for degc in (least, most))
        if self.charge_from_degc is not None:
            yield Fault(("charge_from",), f"must be below 'charge_below' ({below_text})", from_text)
        else:
            yield Fault(("charge_below",), f"must be above 'charge_from' ({from_text})", below_text)

    def charging_degc(self, figures: Figures) -> tuple[float, float]:
        """Temperatures between which a charge may begin, as stated or by chemistry. [degC]"""
        least, most = (
            figures[f"battery.{self.chemistry}.{key}"].value if stated is None else stated
            for key, stated in (("charge_from", self.charge_from_degc), ("charge_below", self.charge_below_degc))
        )
        return least, most

    @property
    def is_maintained(self) -> bool:
        """Whether it is watered, inspected, read or washed."""
        return any(task is not None for task in (self.watering, self.inspection, self.readings, self.wash))

    @property
    def nominal_v(self) -> float:
        """Nominal voltage, 2 V a lead-acid cell and 3.2 V a lithium iron phosphate cell. [V]"""
        return self.cells * (3.2 if self.chemistry == "lithium_ion" else 2.0)


def same_voltage(one_v: float, other_v: float, figures: Figures) -> bool:
    """Whether two nominal voltages stand for the same, as 48 V of lead-acid and 51.2 V of lithium-ion do."""
    low_v, high_v = sorted((one_v, other_v))
    return low_v == high_v or high_v / low_v - 1.0 < figures.number("fit.voltage_step")


class ChargerType(Frozen):
    """A kind of charger; it supplies one battery at a time."""

    profile: Annotated[str, Words(*PROFILES)]
    """Charge characteristic by its usual letters."""
    chemistry: tuple[Annotated[str, Words(*CHEMISTRIES)], ...] = Field(min_length=1)
    """Chemistries it may charge."""
    batteries: tuple[NameText, ...] = ()
    """Battery types it fits; empty means every type of its chemistries."""
    voltage_v: Annotated[float, Quantity("voltage", above=0.0)] | None = Field(None, alias="voltage")
    """Nominal voltage of the batteries that it charges; that of the batteries it serves when not stated. [V]"""
    connector: NameText | None = None
    """Connector on its lead, as it is marked; that of the batteries it serves when not stated."""
    main_current: Annotated[ChargeCurrent, read_charge_current]
    """Current of the main stage. [A or A per 100 Ah]"""
    end_current: Annotated[ChargeCurrent, read_charge_current] | None = None
    """Current of the end stage (IUIa, IUI, W, WoWa), or at which it stops (CC-CV, IU). [A or A per 100 Ah]"""
    charge_factor: Annotated[float, Number(least=1.0, most=1.6)]
    """Ampere-hours returned over ampere-hours taken; IU and CC-CV return what was taken. [-]"""
    efficiency_share: ShareAbove0 = Field(alias="efficiency")
    """Energy to the battery over energy from the wall. [%]"""
    power_factor: Annotated[float, Number(above=0.0, most=1.0)]
    """Power over apparent power at the wall. [-]"""
    standby_kw: Annotated[float, Quantity("power", least=0.0)] = by_default("charger.standby", "standby")
    """Power from the wall while it gives no current. [kW]"""
    rent: Rent | None = None
    """Of one in a month, where they are rented."""
    discontinued: bool = False
    """Whether it can no longer be bought: layouts keep to the number that is there."""

    def fits(self, name: str, battery: BatteryType, figures: Figures) -> bool:
        """Whether it may charge a battery type of this name: by list, chemistry, voltage and connector."""
        listed = battery.chemistry in self.chemistry and name in (self.batteries or (name,))
        of_volts = self.voltage_v is None or same_voltage(self.voltage_v, battery.nominal_v, figures)
        return listed and of_volts and len({self.connector, battery.connector} - {None}) < 2

    def _faults(self) -> Iterator[Fault]:
        """Ask for an end current, and for a characteristic that suits the chemistries."""
        if self.end_current is None:
            rule = f"the {self.profile} characteristic needs an 'end_current', such as '5 A per 100 Ah'"
            yield Fault(("end_current",), rule)
        if self.profile == "CC-CV" and set(self.chemistry) != {"lithium_ion"}:
            rule = "CC-CV is for lithium_ion only; lead-acid batteries take IU, IUIa, IUI, W or WoWa"
            yield Fault(("profile",), rule, f"chemistry {', '.join(self.chemistry)}")
        if self.profile in FALLING and SEALED in self.chemistry:
            rule = f"{SEALED} batteries are not charged so; take IU or IUI for them and leave them out of 'chemistry'"
            yield Fault(("profile",), rule, f"'{self.profile}'")

    def _faults_with(self, figures: Figures) -> Iterator[Fault]:
        """Find an end current for each 100 Ah that is too strong for sealed cells."""
        current = self.end_current
        if (
            current is not None
            and current.per_100ah
            and SEALED in self.chemistry
            and too_strong(current, 100.0, figures)
        ):
            yield Fault(("end_current",), sealed_rule(figures), f"'{current.text}'")
