"""One battery type worked out once: its cells, chargers, warmth, gassing and ageing."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from typing import NamedTuple

from batsim.catalogue import Figure, Figures
from batsim.formulas.discharge import Cell
from batsim.formulas.heat import discharge_heat_w
from batsim.formulas.kibam import Wells
from batsim.formulas.phases import Profile
from batsim.formulas.wear import Life
from batsim.record.words import INSPECTING, READING, WASHING, WATERING
from batsim.room.timing.clock import ticked
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
from batsim.scenario.parts.lots import BatteryCount
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


class LotPlan(NamedTuple):
    """Batteries of a lot; those of a type without lots are one."""

    name: str
    """Empty where lots are not told apart."""
    entity: str
    """What its random streams go by: a battery more of one lot shifts no draw of another."""
    batteries: int
    life_used: tuple[float, float]
    """Share of its life that the least and the most used one has behind it at the start. [-]"""
    capacity_left_share: float | None
    """Capacity at the start as measured, over the rated one; None where it follows from the life used. [-]"""
    age_years: float


@dataclass(frozen=True)
class BatteryPlan:
    """One battery type, its trucks and its spares."""

    number: int
    name: str
    battery_type: str
    """Name of the type."""
    battery: BatteryType
    trucks: int
    lots: tuple[LotPlan, ...]
    """Its batteries, lot by lot, in the order in which they are numbered."""
    chargers: tuple[int, ...]
    """Numbers of the charger types that fit, in the order in which batteries take them."""
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

    @property
    def batteries(self) -> int:
        """Number of its batteries."""
        return sum(lot.batteries for lot in self.lots)

    def kept_by(self, number: int, name: str, first: int, batteries: int) -> "BatteryPlan":
        """Queue of one truck that keeps batteries of its own: so many of these, from the first on."""
        lots, passed = [], 0
        for lot in self.lots:
            count = min(passed + lot.batteries, first + batteries) - max(passed, first)
            passed += lot.batteries
            if count > 0:
                lots.append(lot._replace(batteries=count, entity=lot_entity(name, lot.name)))
        return replace(self, number=number, name=name, trucks=1, lots=tuple(lots))


def lot_entity(name: str, lot: str) -> str:
    """What random streams of batteries go by: the name of their type or their truck, and that of their lot."""
    return f"battery of type {name}{f', lot {lot}' if lot else ''}"


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
        battery=battery,
        trucks=sum(group.count for group in scenario.trucks if group.battery == name),
        lots=_lots(battery, f"{name} in {area}" if area else name, scenario.batteries_of(layout)[name], figures),
        chargers=_in_order(scenario.layouts[layout].charger_order, fitting, battery),
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


def _lots(battery: BatteryType, name: str, count: BatteryCount, figures: Figures) -> tuple[LotPlan, ...]:
    """Lots of a battery type as a layout counts them; one of all where lots are not told apart."""
    if not count.lots:
        return (LotPlan("", lot_entity(name, ""), int(count), battery.life_used, None, 0.0),)
    ageing, lots = _ageing(battery, figures), []
    for lot, number in count.lots.items():
        stated = battery.lots[lot]
        used = stated.used(ageing.capacity_lost_share, ageing.calendar_years)
        entity, left_share = lot_entity(name, lot), stated.capacity_left_share
        lots.append(LotPlan(lot, entity, number, used, left_share, stated.age_years or 0.0))
    return tuple(lots)


def _in_order(order: str, fitting: dict[int, ChargerType], battery: BatteryType) -> tuple[int, ...]:
    """Numbers of the charger types that fit, in the order in which batteries take them; equal ones as listed."""
    if order == "strongest_first":
        return tuple(sorted(fitting, key=lambda number: -fitting[number].main_current.of(battery.capacity.ah)))
    if order == "most_efficient_first":
        return tuple(sorted(fitting, key=lambda number: -fitting[number].efficiency_share))
    return tuple(fitting)


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
