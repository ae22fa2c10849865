"""One battery type worked out once: its cells, chargers, warmth, gassing and ageing."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from batsim.catalogue import Figure, Figures
from batsim.formulas.discharge import Cell
from batsim.formulas.heat import discharge_heat_w
from batsim.formulas.kibam import Wells
from batsim.formulas.phases import Profile
from batsim.formulas.wear import Life
from batsim.record.words import INSPECTING, READING, WASHING, WATERING
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
    wells_of,
)
from batsim.scenario.parts.batteries import BatteryType, ChargerType
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.maintenance import Maintenance, Rounds
from batsim.scenario.site import Scenario

MAINTENANCE_TASKS = ((INSPECTING, "inspection"), (READING, "readings"), (WASHING, "wash"))


class Profiles:
    """One charger type on one battery type at any electrolyte temperature, looked up in steps of half a kelvin."""

    def __init__(self, charger: ChargerType, battery: BatteryType, figures: Figures) -> None:
        self.charger, self.battery, self.figures = charger, battery, figures
        self.rated_degc = figures.number(f"battery.{battery.chemistry}.rated_temperature")
        self.rated = profile_of(charger, battery, figures)
        self.kind, self.factor = self.rated.kind, self.rated.factor
        self.kw_per_a = battery.cells / 1000.0 / charger.efficiency_share
        """Power from the wall for an ampere at a volt per cell. [kW/(A V)]"""
        self._at: dict[int, Profile] = {}

    def at(self, temperature_degc: float) -> Profile:
        """Profile at a temperature."""
        step = round(2.0 * temperature_degc)
        found = self._at.get(step)
        if found is None:
            found = self._at[step] = profile_of(self.charger, self.battery, self.figures, step / 2.0)
        return found


class EqualisingPlan(NamedTuple):
    """Equalising charges of a battery type."""

    every_min: float
    length_min: float
    amps: float
    volts_per_cell: float
    days: frozenset[int]
    """Weekdays on which the charge before it must begin."""


class MaintenancePlan(NamedTuple):
    """One kind of maintenance of a battery type: watering, inspection, readings or wash."""

    task: int
    charges: float
    """Charges from one to the next; infinite where they do not count."""
    minutes: float
    """Time from one to the next; infinite where it does not count. [min]"""
    gas_ah: float
    """Gassing from one to the next; infinite where it does not count. [Ah]"""
    time: DurationLaw
    before_charge: bool
    rounds: Rounds | None


class Ageing(NamedTuple):
    """What wears a battery type."""

    life: Life
    calendar_years: float
    """Life that age alone allows. [years]"""
    part_charges_free: int
    part_charge_surcharge: float
    capacity_lost_share: float


@dataclass(frozen=True)
class BatteryPlan:
    """One battery type, its trucks and its spares."""

    number: int
    name: str
    battery_type: str
    """Name of the type."""
    entity: str
    """What its random streams go by."""
    battery: BatteryType
    trucks: int
    batteries: int
    chargers: tuple[int, ...]
    """Numbers of the charger types that fit, in the layout's order."""
    profiles: dict[int, Profiles]
    """By number of the charger type."""
    maintenance: tuple[MaintenancePlan, ...]
    """What is done to its batteries, in the usual order."""
    watered_by_hand: bool
    """Whether water goes in cell by cell."""
    cell: Cell
    """The battery at room temperature, for run times without a power."""
    capacity_ah: float
    """Rated capacity at the 5 h rate. [Ah]"""
    rated_cell: Cell
    """The battery at the temperature of its rating."""
    capacity_at: Callable[[float], float]
    """Capacity as a share of the rated one, by electrolyte temperature in degC."""
    warms_acceptance: bool
    """Whether a warmer battery accepts charge faster, as lead-acid does."""
    cool_to_degc: float | None
    wells: Wells | None
    thermal: Thermal
    kelvin_per_a2: float
    """Rise in a truck after a long time, for each square of an ampere. [K/A2]"""
    truck_tau_min: float
    """Thermal time constant in a truck. [min]"""
    gassing: Gassing
    equalising: EqualisingPlan | None
    ageing: Ageing


def battery_plan(
    scenario: Scenario, layout: str, number: int, name: str, *, area: str, first_charger: int
) -> BatteryPlan:
    """Work out one battery type of an area."""
    battery = scenario.batteries[name]
    chargers = dict.fromkeys(count.charger for count in scenario.layouts[layout].chargers)
    fitting = {
        position: scenario.chargers[charger]
        for position, charger in enumerate(chargers, start=first_charger)
        if scenario.chargers[charger].fits(name, battery, scenario.figures)
    }
    figures = scenario.figures
    room_degc = scenario.site.room_air.in_week(scenario.simulation.start_week, figures["site.coldest_week"].value)
    cell, thermal = rated_cell(battery, figures), thermal_of(battery, figures)
    return BatteryPlan(
        number=number,
        name=name,
        battery_type=name,
        entity=f"battery of type {name}{f' in {area}' if area else ''}",
        battery=battery,
        trucks=sum(group.count for group in scenario.trucks if group.battery == name),
        batteries=scenario.batteries_of(layout)[name],
        chargers=tuple(fitting),
        profiles={position: Profiles(charger, battery, figures) for position, charger in fitting.items()},
        maintenance=_maintenance(battery, figures),
        watered_by_hand=battery.watering is not None and battery.watering.by == "hand",
        cell=cell_of(battery, figures, room_degc),
        capacity_ah=cell.capacity_ah,
        rated_cell=cell,
        capacity_at=capacity_factor_of(battery, figures),
        warms_acceptance=battery.chemistry != LITHIUM,
        cool_to_degc=battery.cool_to_degc,
        wells=wells_of(battery, figures),
        thermal=thermal,
        kelvin_per_a2=discharge_heat_w(1.0, cell.cells, cell.resistance_ohm_ah, cell.capacity_ah)
        / thermal.truck_loss_w_per_k,
        truck_tau_min=60.0 * thermal.truck_tau_h,
        gassing=gassing_of(battery, figures),
        equalising=_equalising(battery, figures),
        ageing=_ageing(battery, figures),
    )


def _equalising(battery: BatteryType, figures: Figures) -> EqualisingPlan | None:
    """Work out the equalising charge of a battery type."""
    stated = battery.equalising
    if stated is None:
        return None
    amps = stated.current.of(rated_cell(battery, figures).capacity_ah)
    volts = figures.number(f"battery.{battery.chemistry}.finish_v")
    days = frozenset(range(7) if stated.days is None else stated.days)
    return EqualisingPlan(stated.every_min, ticked(stated.length_min), amps, volts, days)


def _maintenance(battery: BatteryType, figures: Figures) -> tuple[MaintenancePlan, ...]:
    """Gather what is done to batteries of a type."""
    found = []
    watering = battery.watering
    if watering is not None:
        due_ah = gassing_of(battery, figures).due_ah
        law = _watering_law(battery, figures)
        found.append(MaintenancePlan(WATERING, watering.every.charges, inf, due_ah, law, False, watering.rounds))
    for task, name in MAINTENANCE_TASKS:
        stated: Maintenance | None = getattr(battery, name)
        if stated is not None:
            law = stated.time_min or _maintenance_law(name, battery, figures)
            first = stated.when == "before_charge"
            found.append(
                MaintenancePlan(task, stated.every.charges, stated.every.minutes, inf, law, first, stated.rounds)
            )
    return tuple(found)


def _maintenance_law(name: str, battery: BatteryType, figures: Figures) -> DurationLaw:
    """Usual time of inspection, readings or wash. [min]"""
    if name != "readings":
        return _ranged(figures[f"{name}.time"], None, 0)
    return _ranged(figures["readings.base"], figures["readings.per_cell"], battery.cells)


def _ranged(base: Figure, per_cell: Figure | None, cells: int) -> DurationLaw:
    """Triangular law over the range of a figure, and of another for each cell. [min]"""
    low, typical, high = (
        f"{getattr(base, which) + (cells * getattr(per_cell, which) if per_cell else 0.0):.10g} min"
        for which in ("low", "value", "high")
    )
    return DurationLaw.model_validate({"low": low, "typical": typical, "high": high})


def _ageing(battery: BatteryType, figures: Figures) -> Ageing:
    """Gather what wears a battery type."""
    name = f"battery.{battery.chemistry}"
    return Ageing(
        life=life_of(battery, figures),
        calendar_years=figures.number(f"{name}.life_calendar"),
        part_charges_free=int(figures.number(f"{name}.part_charges_free")),
        part_charge_surcharge=figures.number(f"{name}.part_charge_surcharge"),
        capacity_lost_share=figures.number(f"{name}.capacity_lost"),
    )


def _watering_law(battery: BatteryType, figures: Figures) -> DurationLaw:
    """Time to water one battery: as stated, or by hand per cell, or at once from one connection. [min]"""
    watering = battery.watering
    assert watering is not None  # asked before
    if watering.time_min is not None:
        return watering.time_min
    if watering.by == "single_point":
        return _ranged(figures["watering.single_point"], None, 0)
    return _ranged(figures["watering.by_hand_base"], figures["watering.by_hand_per_cell"], battery.cells)
