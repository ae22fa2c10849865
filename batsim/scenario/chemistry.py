"""From battery and charger types to what the formulas take, with the figures of each chemistry."""

import math
from collections.abc import Callable
from math import floor, prod
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.formulas import charging
from batsim.formulas.charging import acceptance_tau_h, charge_phases, current_limit_a, voltage_limit_v
from batsim.formulas.discharge import Cell, at_factor, capacity_factor, five_hour_capacity_ah, ten_hour_kappa
from batsim.formulas.gassing import WATER_G_PER_AH, GasLaw
from batsim.formulas.kibam import Wells, fit_wells
from batsim.formulas.phases import Profile, phases_hours
from batsim.formulas.wear import Life
from batsim.scenario.parts.batteries import FALLING, BatteryType, ChargerType

LITHIUM = "lithium_ion"
LIMITS_FROM_DEGC = (0, 5, 10, 25, 50)
"""Rows of the lithium-ion limits of the charge current in the catalogue."""
CORNER_HOURS = (2.0, 5.0, 10.0)
"""Discharge times whose capacities the two wells meet."""


class Thermal(NamedTuple):
    """How warm a battery type gets and how fast it cools."""

    heat_capacity_wh_per_k: float
    """Heat that warms it by a kelvin. [Wh/K]"""
    room_loss_w_per_k: float
    """Loss to the air in its bay. [W/K]"""
    truck_loss_w_per_k: float
    """Loss to the air in a truck. [W/K]"""
    storing_v: float
    """Energy that an ampere-hour stores in a cell. [V]"""
    splitting_v: float
    """Energy that an ampere-hour of gas carries away. [V]"""
    charge_from_degc: float
    """No charge begins below. [degC]"""
    charge_below_degc: float
    """No charge begins above. [degC]"""
    charge_end_below_degc: float
    """No charge begins that would end warmer. [degC]"""
    use_below_degc: float
    """Use that begins warmer counts as a hot start. [degC]"""
    room_tau_h: float
    """Thermal time constant in its bay. [h]"""
    truck_tau_h: float
    """Thermal time constant in a truck. [h]"""


class Gassing(NamedTuple):
    """Gas and water of a battery type."""

    law: GasLaw
    """Gas current of the whole battery."""
    vented_share: float
    """Share of the gas that leaves the cells. [-]"""
    due_ah: float
    """Ampere-hours of gassing at which water is due; infinite where they do not count. [Ah]"""
    reserve_ah: float
    """Ampere-hours of gassing that use up the water above the plates. [Ah]"""


def capacity_ah(battery: BatteryType, figures: Figures) -> float:
    """Capacity at the 5 h rate. [Ah]"""
    return five_hour_capacity_ah(battery.capacity.ah, battery.capacity.rate_h, _peukert(battery, figures))


def _peukert(battery: BatteryType, figures: Figures) -> float:
    return _numbers(battery, figures)("peukert") if battery.peukert is None else battery.peukert


def _numbers(battery: BatteryType, figures: Figures) -> Callable[[str], float]:
    """Figures of a chemistry, by the last part of their names."""
    return lambda key: figures.number(f"battery.{battery.chemistry}.{key}")


def capacity_factor_of(battery: BatteryType, figures: Figures) -> Callable[[float], float]:
    """Capacity as a share of the rated one, as a function of the electrolyte temperature in degC."""
    number = _numbers(battery, figures)
    cold = "battery.cold_table" if battery.chemistry != LITHIUM else "battery.lithium_ion.cold_table"
    rated, warm = number("rated_temperature"), number("warm_per_k")
    knee, slope = number("knee_temperature"), number("cold_per_k")
    at_knee = 1.0 + warm * (knee - rated)
    table = (
        (-18.0, figures.number(f"{cold}.minus_18")),
        (-10.0, figures.number(f"{cold}.minus_10")),
        (0.0, at_knee - slope * knee),
    )

    def factor(temperature_degc: float) -> float:
        if temperature_degc >= knee:  # most of the time; the rest of `capacity_factor` is for the cold
            return 1.0 + warm * (temperature_degc - rated)
        return capacity_factor(
            temperature_degc, rated_degc=rated, warm_per_k=warm, knee_degc=knee, cold_per_k=slope, cold_table=table
        )

    return factor


def cell_of(battery: BatteryType, figures: Figures, temperature_degc: float) -> Cell:
    """Put together what a discharge needs to know about a battery type at one temperature."""
    return at_factor(rated_cell(battery, figures), capacity_factor_of(battery, figures)(temperature_degc))


def rated_cell(battery: BatteryType, figures: Figures) -> Cell:
    """Put together what a discharge needs to know about a battery type at the temperature of its rating."""
    number, exponent = _numbers(battery, figures), _peukert(battery, figures)
    return Cell(
        capacity_ah=capacity_ah(battery, figures),
        cells=battery.cells,
        empty_v=number("empty_v"),
        slope_v=number("slope_v"),
        resistance_ohm_ah=number("resistance"),
        peukert=exponent,
        kappa_floor=ten_hour_kappa(exponent),
        capacity_factor=1.0,
    )


def wells_of(battery: BatteryType, figures: Figures) -> Wells | None:
    """Two wells that have the capacities of Peukert's law at three rates; None when not asked for."""
    exponent, ah = _peukert(battery, figures), capacity_ah(battery, figures)
    if battery.recovery == "none":
        return None
    if exponent == 1.0:
        return Wells(1.0, 1.0, ah)
    # Constant current I = C/T: T = 5 h (I/I5)^-n, so C = C5 (5 h/T)^(1/n - 1).
    first, second, third = ((hours, ah * (5.0 / hours) ** (1.0 / exponent - 1.0)) for hours in CORNER_HOURS)
    return fit_wells((first, second, third))


def profile_of(
    charger: ChargerType, battery: BatteryType, figures: Figures, temperature_degc: float | None = None
) -> Profile:
    """Put together what a charge needs to know about a charger type on a battery type.

    At the temperature of the rating when none is given. [degC]
    """
    number = _numbers(battery, figures)
    rated = number("rated_temperature")
    degc = rated if temperature_degc is None else temperature_degc
    ah = capacity_ah(battery, figures)
    main_a = charger.main_current.of(ah)
    end_a = charger.end_current.of(ah) if charger.end_current is not None else 0.0
    lithium, falling = battery.chemistry == LITHIUM, charger.profile in FALLING
    if lithium:
        tau_h, limit_v = number("tau_cv"), number("absorption_v")
        limits = [(row, number(f"current_limit_{row}")) for row in LIMITS_FROM_DEGC]
        main_a = min(main_a, current_limit_a(max(degc, float(LIMITS_FROM_DEGC[0])), ah, limits))
        end_a = min(end_a, main_a)
    else:
        tau_h = acceptance_tau_h(
            number("tau"),
            degc,
            rated_degc=rated,
            per_k=number("acceptance_per_k"),
            least=number("acceptance_least"),
            most=number("acceptance_most"),
        )
        limit_v = voltage_limit_v(
            number("absorption_v"),
            degc,
            rated_degc=rated,
            per_k=number("voltage_per_k"),
            from_degc=number("voltage_band_from"),
            to_degc=number("voltage_band_to"),
        )
    # IU counts as full when its current has fallen to the end current: missing = end current x tau.
    full = number("full_soc") if charger.profile == "CC-CV" else 1.0 - end_a * tau_h / ah
    return Profile(
        kind=charger.profile,
        main_a=main_a,
        end_a=end_a,
        tau_h=tau_h,
        factor=charger.charge_factor,
        full_soc=full,
        empty_v=number("main_from_v"),
        absorption_v=limit_v,
        finish_v=figures.number("charging.w_line.end_v") if falling else number("finish_v"),
        w_start_a=main_a * figures.number("charging.w_line.start_share") if falling else 0.0,
        w_start_soc=figures.number("charging.w_line.start_soc") if falling else 0.0,
        w_gassing_a=main_a * figures.number("charging.w_line.gassing_share") if falling else 0.0,
        gassing_soc=figures.number("charging.w_line.gassing_soc") if falling else 0.0,
        w_first_factor=figures.number("charging.w_line.first_factor") if charger.profile == "WoWa" else 1.0,
    )


def greatest_load(
    charger: ChargerType, battery: BatteryType, figures: Figures, coldest_degc: float | None = None
) -> tuple[float, float]:
    """Current and voltage of a cell where a charger gives a battery type most, equalising included. [A, V]

    At the temperature of the rating, or with an electrolyte that may be as cold as is given: the voltage limit is
    higher in the cold, the current of lithium-ion lower. [degC]
    """
    at: list[float | None] = [None]
    if coldest_degc is not None:  # profiles are looked up in steps of half a kelvin
        at += [floor(2.0 * coldest_degc) / 2.0, *(degc for degc in LIMITS_FROM_DEGC if degc > coldest_degc)]
    loads = [charging.greatest_load(profile_of(charger, battery, figures, degc)) for degc in at]
    if battery.equalising is not None:
        amps = battery.equalising.current.of(capacity_ah(battery, figures))
        loads.append((amps, _numbers(battery, figures)("finish_v")))
    return max(loads, key=prod)


def full_charge_h(charger: ChargerType, battery: BatteryType, figures: Figures) -> float:
    """Length of a charge of an empty battery at the temperature of its rating. [h]"""
    profile, ah = profile_of(charger, battery, figures), capacity_ah(battery, figures)
    return phases_hours(charge_phases(profile, ah, ah, profile.factor * ah))


def mass_kg(battery: BatteryType, figures: Figures) -> float:
    """Mass as stated, or from its energy. [kg]"""
    if battery.mass_kg is not None:
        return battery.mass_kg
    return battery.nominal_v * capacity_ah(battery, figures) / _numbers(battery, figures)("mass_energy")


def thermal_of(battery: BatteryType, figures: Figures) -> Thermal:
    """Work out how a battery type warms up and cools: a cube of its mass, some of whose faces air reaches."""
    number = _numbers(battery, figures)
    kilograms = mass_kg(battery, figures)
    capacity_wh = kilograms * number("specific_heat") / 3600.0
    face_m2 = (kilograms / (1000.0 * number("tray_density"))) ** (2.0 / 3.0)
    moving = "heat.surface_coefficient_fan" if battery.forced_air else "heat.surface_coefficient"
    room_loss = figures.number(moving) * face_m2 * figures.number("heat.faces_in_bay")
    if battery.cooling_time_constant_min is not None:
        room_loss = capacity_wh / (battery.cooling_time_constant_min / 60.0)
    from_degc, below_degc = battery.charging_degc(figures)
    truck_loss = figures.number("heat.surface_coefficient") * face_m2 * figures.number("heat.faces_in_truck")
    return Thermal(
        heat_capacity_wh_per_k=capacity_wh,
        room_loss_w_per_k=room_loss,
        truck_loss_w_per_k=truck_loss,
        storing_v=number("storing_v"),
        splitting_v=figures.number("charging.splitting_v"),
        charge_from_degc=from_degc,
        charge_below_degc=below_degc,
        charge_end_below_degc=number("charge_end_below"),
        use_below_degc=number("use_below"),
        room_tau_h=capacity_wh / room_loss,
        truck_tau_h=capacity_wh / truck_loss,
    )


def gassing_of(battery: BatteryType, figures: Figures) -> Gassing:
    """Put together what gassing needs to know about a battery type."""
    number, ah = _numbers(battery, figures), capacity_ah(battery, figures)
    reserve_ah = due_ah = math.inf
    if battery.chemistry == "vented_lead_acid":
        reserve_ah = number("water_reserve") * ah / WATER_G_PER_AH
    if battery.watering is not None:
        due_ah = reserve_ah if battery.watering.every.when_low else battery.watering.every.gas_ah
    laws = (figures.number(f"gassing.{key}") for key in ("reference_v", "reference_temperature", "per_v", "per_k"))
    return Gassing(GasLaw(number("gas_current") * ah / 100.0, *laws), number("vented_share"), due_ah, reserve_ah)


def life_of(battery: BatteryType, figures: Figures) -> Life:
    """Put together what a battery type stands."""
    keys = ("cycles", "depth", "beta", "deep_beta", "temperature", "halving", "floor")
    return Life(*(_numbers(battery, figures)(f"life_{key}") for key in keys))
