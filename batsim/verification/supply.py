"""Supply: what chargers draw from the wall, and what their feeder has to carry."""

import numpy as np

from batsim.catalogue import FIGURES
from batsim.formulas.phases import peak_wall_kw, wall_kwh
from batsim.formulas.supply import (
    apparent_kva,
    coincidence_share,
    continuous_rating_a,
    line_current_a,
    load_factor_share,
)

Numbers = dict[str, float]


def charger(volts: float) -> Numbers:
    """120 A into 24 cells, efficiency 0.92, power factor 0.95, three phases."""
    per_cell = FIGURES["battery.vented_lead_acid.absorption_v"].value
    kw = peak_wall_kw(120.0, per_cell, 24, 0.92)
    kva = apparent_kva(kw, 0.95)
    current = line_current_a(kva, volts, 3)
    return {
        "load, kW": kw,
        "load, kVA": kva,
        "current, A": current,
        "rating, A": continuous_rating_a(current, 0.0, FIGURES["supply.continuous_factor"].value),
    }


def feeder(continuous_a: float, other_a: float) -> Numbers:
    """What a feeder has to carry."""
    rating = continuous_rating_a(continuous_a, other_a, FIGURES["supply.continuous_factor"].value)
    return {"rating, A": rating}


def day(kwh: float, peak_kw: float) -> Numbers:
    """Load factor of a day."""
    return {"mean, kW": kwh / 24.0, "load factor": load_factor_share(kwh / 24.0, peak_kw)}


def bank(at_once: float) -> Numbers:
    """Coincidence of ten chargers of 7.5 kW, so many of them on at once."""
    return {"coincidence": coincidence_share(at_once * 7.5, np.full(10, 7.5))}


def wall_to_work() -> Numbers:
    """500 of 625 Ah out at 1.95 V, factor 1.10, in at 2.37 V, efficiency 0.92."""
    out_kwh, in_kwh = 24 * 1.95 * 500.0 / 1000.0, 24 * 2.37 * 550.0 / 1000.0
    from_wall_kwh = wall_kwh(in_kwh, 0.92)
    return {"from the wall, kWh": from_wall_kwh, "efficiency, %": 100.0 * out_kwh / from_wall_kwh}


def gas_truck() -> Numbers:
    """1,500 gal of LPG of 91,330 Btu at 30 %, and a charger of 87 %."""
    return {"energy, kWh": wall_kwh(1500.0 * 91_330.0 / 3412.0 * 0.30, 0.87)}


FUNCTIONS = {function.__name__: function for function in (charger, feeder, day, bank, wall_to_work, gas_truck)}
"""What the table names."""
