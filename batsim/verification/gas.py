"""Ventilation and gas: hydrogen of an ampere-hour, the air that rules ask for, hydrogen in a room."""

import numpy as np

from batsim.catalogue import FIGURES
from batsim.formulas.gassing import hydrogen_l, water_deficit_g
from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from batsim.formulas.ventilation import (
    area_flow_m3_per_h,
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_cm2,
    rule_flow_m3_per_h,
    rule_gas_current_a,
)
from batsim.units import parse

ATMOSPHERE_PA = 101_325.0
"""Pressure of the worked cases. [Pa]"""
LITRES_PER_FT3 = 28.316846592
SAFETY_FACTOR = 5.0
"""Of the rules for air (from memory)."""

Numbers = dict[str, float]


def ampere_hour(degc: float) -> Numbers:
    """Hydrogen and water of one ampere-hour in one cell."""
    litres = hydrogen_l(1.0, 1, degc, ATMOSPHERE_PA)
    return {
        "hydrogen, l": litres,
        "hydrogen, ft3": litres / LITRES_PER_FT3,
        "hydrogen per ampere, cfm": litres / LITRES_PER_FT3 / 60.0,
        "hydrogen per ampere, m3/s": litres / 1000.0 / 3600.0,
        "water, g": water_deficit_g(1.0, 1),
        "per gram of water, Ah": 1.0 / water_deficit_g(1.0, 1),
    }


def thinned(degc: float) -> Numbers:
    """Air for an ampere and cell: its hydrogen thinned to the lower flammable limit, five times over."""
    litres = hydrogen_l(1.0, 1, degc, ATMOSPHERE_PA)
    limit = FIGURES.number("ventilation.lower_flammable")
    return {"air, m3/(h A)": flow_for_share_m3_per_h(litres / 1000.0, limit) * SAFETY_FACTOR}


def by_hand() -> Numbers:
    """24 cells of 450 Ah, 20 % overcharge in the last 4 h, 0.01474 ft3 an ampere-hour, thinned to 1 %."""
    gas_a = rule_gas_current_a(5.0, 450.0)
    gas_ft3 = 24 * gas_a * 0.01474
    gas_m3 = gas_ft3 * LITRES_PER_FT3 / 1000.0
    exhaust_m3 = gas_m3 + flow_for_share_m3_per_h(gas_m3, 0.01)
    return {
        "gas current, A": gas_a,
        "hydrogen, ft3/h": gas_ft3,
        "exhaust, m3/h": exhaust_m3,
        "exhaust, cfm": exhaust_m3 / parse("1 cfm", "volume_flow"),
    }


def by_rule(cells: float, gas_a: float, coefficient: float, batteries: float) -> Numbers:
    """Air, openings and free volume by the rule, with the opening and the hours of the catalogue."""
    air = sum(rule_flow_m3_per_h(cells, gas_a, coefficient) for _ in range(int(batteries)))
    return {
        "air, m3/h": air,
        "openings, cm2": opening_cm2(air, FIGURES["ventilation.opening"].value),
        "free volume, m3": free_volume_m3(air, FIGURES["ventilation.free_volume"].value),
    }


def by_characteristic(profile: str, coefficient: float) -> Numbers:
    """The same for 48 V 625 Ah, with the gas current that the catalogue has for a characteristic."""
    gas_a = rule_gas_current_a(FIGURES[f"ventilation.gas_current.{profile}"].value, 625.0)
    return {"gas current, A": gas_a, **by_rule(24, gas_a, coefficient, 1)}


def coefficients() -> Numbers:
    """The rule's numbers in the catalogue."""
    return {
        "2014, m3/(h A)": FIGURES["ventilation.coefficient"].value,
        "2002, m3/(h A)": FIGURES["ventilation.coefficient_2002"].value,
        "opening, cm2/(m3/h)": FIGURES["ventilation.opening"].value,
        "limit over lower flammable": FIGURES["ventilation.limit"].value / FIGURES["ventilation.lower_flammable"].value,
    }


def mean_hydrogen(cells: float, gas_a: float, coefficient: float) -> Numbers:
    """Hydrogen over air when the rule's air goes through."""
    gas = hydrogen_l(1.0, 1, 25.0, ATMOSPHERE_PA) / 1000.0 * cells * gas_a
    return {"hydrogen, %": 100.0 * gas / rule_flow_m3_per_h(cells, gas_a, coefficient)}


def closed_room() -> Numbers:
    """100 cells at 50 A in 1,200 cubic feet without air."""
    gas = 100 * 50.0 * 0.0158
    return {"hydrogen, ft3/h": gas, "to 1 %, min": 60.0 * hours_to_share(gas, 0.0, 1200.0, 0.01)}


def by_floor_area(area_m2: float) -> Numbers:
    """Air by floor area with the catalogue's speed."""
    speed = FIGURES["ventilation.area_flow"].value / 3600.0
    air = area_flow_m3_per_h(area_m2, speed)
    return {
        "speed, m/s": speed,
        "air, m3/h": air,
        "air, cfm": air / parse("1 cfm", "volume_flow"),
    }


def mixed(hours: float) -> Numbers:
    """Hydrogen of 24 cells at 37.5 A in 123.75 m3 with the rule's air, from clean air on."""
    gas = hydrogen_l(37.5, 24, 25.0, ATMOSPHERE_PA) / 1000.0
    steps = np.full(int(hours), gas)
    return {"hydrogen, %": 100.0 * float(hydrogen_over_time(steps, 1.0, 49.5, 123.75)[-1])}


def gas_of_a_charge() -> Numbers:
    """Hydrogen and water of 50 Ah of gas in 24 cells."""
    return {"hydrogen, l": hydrogen_l(50.0, 24, 25.0, ATMOSPHERE_PA), "water, g": water_deficit_g(50.0, 24)}


FUNCTIONS = {
    function.__name__: function
    for function in (
        ampere_hour, thinned, by_hand, by_rule, by_characteristic, coefficients, mean_hydrogen, closed_room,
        by_floor_area, mixed, gas_of_a_charge,
    )
}  # fmt: skip
"""What the table names."""
