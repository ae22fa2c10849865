"""One battery type worked out once: its cells, chargers, warmth, gassing and ageing."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import figure
from batsim.formulas.heat import discharge_heat_w
from batsim.room.clock import ticked
from batsim.scenario.chemistry import (
    LITHIUM,
    Gassing,
    Thermal,
    capacity_factor_of,
    cell_of,
    gassing_of,
    life_of,
    profile_of,
    rated_cell,
    thermal_of,
    value,
    wells_of,
)
from batsim.scenario.laws import DurationLaw

if TYPE_CHECKING:
    from collections.abc import Callable

    from batsim.formulas.charging import Profile
    from batsim.formulas.discharge import Cell
    from batsim.formulas.kibam import Wells
    from batsim.formulas.wear import Life
    from batsim.scenario.batteries import BatteryType, ChargerType
    from batsim.scenario.site import Scenario


class Profiles:
    """One charger type on one battery type at any electrolyte temperature, looked up in steps of half a kelvin."""

    def __init__(self, charger: "ChargerType", battery: "BatteryType") -> None:
        self.charger, self.battery = charger, battery
        self.rated_degc = value(f"battery.{battery.chemistry}.rated_temperature")
        self.rated = profile_of(charger, battery)
        self.kind, self.factor = self.rated.kind, self.rated.factor
        self.kw_per_a = battery.cells / 1000.0 / charger.efficiency_share
        """Power from the wall for an ampere at a volt per cell. [kW/(A V)]"""
        self._at: dict[int, Profile] = {}

    def at(self, temperature_degc: float) -> "Profile":
        """Profile at a temperature."""
        step = round(2.0 * temperature_degc)
        found = self._at.get(step)
        if found is None:
            found = self._at[step] = profile_of(self.charger, self.battery, step / 2.0)
        return found


class EqualisingPlan(NamedTuple):
    """Equalising charges of a battery type."""

    every_min: float
    length_min: float
    amps: float
    volts_per_cell: float


class Ageing(NamedTuple):
    """What wears a battery type."""

    life: "Life"
    part_charges_free: int
    part_charge_surcharge: float
    capacity_lost_share: float


@dataclass(frozen=True)
class LinePlan:
    """One battery type, its trucks and its spares."""

    number: int
    name: str
    battery: "BatteryType"
    trucks: int
    batteries: int
    chargers: tuple[int, ...]
    """Numbers of the charger types that fit, in the layout's order."""
    profiles: dict[int, Profiles]
    """By number of the charger type."""
    watering_min: DurationLaw
    cell: "Cell"
    """The battery at room temperature, for run times without a power."""
    capacity_ah: float
    """Rated capacity at the 5 h rate. [Ah]"""
    rated_cell: "Cell"
    """The battery at the temperature of its rating."""
    capacity_at: "Callable[[float], float]"
    """Capacity as a share of the rated one, by electrolyte temperature in degC."""
    warms_acceptance: bool
    """Whether a warmer battery accepts charge faster, as lead-acid does."""
    cool_to_degc: float | None
    wells: "Wells | None"
    thermal: Thermal
    kelvin_per_a2: float
    """Rise in a truck after a long time, for each square of an ampere. [K/A2]"""
    truck_tau_min: float
    """Thermal time constant in a truck. [min]"""
    gassing: Gassing
    equalising: EqualisingPlan | None
    ageing: Ageing


def line_plan(scenario: "Scenario", layout: str, number: int, name: str) -> LinePlan:
    """Work out one battery type."""
    battery = scenario.batteries[name]
    chargers = dict.fromkeys(count.charger for count in scenario.layouts[layout].chargers)
    fitting = {
        position: scenario.chargers[charger]
        for position, charger in enumerate(chargers)
        if battery.chemistry in scenario.chargers[charger].chemistry
        and name in (scenario.chargers[charger].batteries or (name,))
    }
    cell, thermal = rated_cell(battery), thermal_of(battery)
    return LinePlan(
        number=number,
        name=name,
        battery=battery,
        trucks=sum(group.count for group in scenario.trucks if group.battery == name),
        batteries=scenario.batteries_of(layout)[name],
        chargers=tuple(fitting),
        profiles={position: Profiles(charger, battery) for position, charger in fitting.items()},
        watering_min=_watering_law(battery),
        cell=cell_of(battery, scenario.site.room_air.in_week(scenario.simulation.start_week)),
        capacity_ah=cell.capacity_ah,
        rated_cell=cell,
        capacity_at=capacity_factor_of(battery),
        warms_acceptance=battery.chemistry != LITHIUM,
        cool_to_degc=battery.cool_to_degc,
        wells=wells_of(battery),
        thermal=thermal,
        kelvin_per_a2=discharge_heat_w(1.0, cell.cells, cell.resistance_ohm_ah, cell.capacity_ah)
        / thermal.truck_loss_w_per_k,
        truck_tau_min=60.0 * thermal.truck_tau_h,
        gassing=gassing_of(battery),
        equalising=_equalising(battery),
        ageing=_ageing(battery),
    )


def _equalising(battery: "BatteryType") -> EqualisingPlan | None:
    """Work out the equalising charge of a battery type."""
    stated = battery.equalising
    if stated is None:
        return None
    amps = stated.current.of(rated_cell(battery).capacity_ah)
    volts = value(f"battery.{battery.chemistry}.finish_v")
    return EqualisingPlan(stated.every_min, ticked(stated.length_min), amps, volts)


def _ageing(battery: "BatteryType") -> Ageing:
    """Gather what wears a battery type."""
    name = f"battery.{battery.chemistry}"
    return Ageing(
        life=life_of(battery),
        part_charges_free=int(value(f"{name}.part_charges_free")),
        part_charge_surcharge=value(f"{name}.part_charge_surcharge"),
        capacity_lost_share=value(f"{name}.capacity_lost"),
    )


def _watering_law(battery: "BatteryType") -> DurationLaw:
    """Time to water one battery: as stated, or by hand per cell, or at once from one connection. [min]"""
    watering = battery.watering
    if watering is None:
        return DurationLaw.model_validate("0 min")
    if watering.time_min is not None:
        return watering.time_min
    if watering.by == "single_point":
        found = figure("watering.single_point")
        return DurationLaw.model_validate({"low": found.low_text, "typical": found.text, "high": found.high_text})
    base, per_cell = figure("watering.by_hand_base"), figure("watering.by_hand_per_cell")
    low, typical, high = (
        f"{getattr(base, which) + battery.cells * getattr(per_cell, which):.10g} min"
        for which in ("low", "value", "high")
    )
    return DurationLaw.model_validate({"low": low, "typical": typical, "high": high})
