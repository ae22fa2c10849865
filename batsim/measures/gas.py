"""Gas and water: hydrogen that leaves the batteries, water put in, and batteries that ran low."""

import numpy as np

from batsim.formulas.gassing import hydrogen_l, water_deficit_g
from batsim.measures.windows import Floats, Measured, rate
from batsim.scenario.parts.week import WEEK_MIN

HYDROGEN_DEGC, HYDROGEN_PA = 25.0, 101_325.0
"""State in which a volume of hydrogen is given: a warm room at one atmosphere. [degC, Pa]"""
ROUNDING = 1e-9
"""Water this near to the reserve is at it. [-]"""


def gas_measures(measured: Measured) -> dict[str, float]:
    """Hydrogen and water in a working day, equalising charges, and charges on low water."""
    facts, charges, days = measured.facts, measured.charges, measured.working_days
    queue = np.nan_to_num(charges["queue"]).astype(int)
    gas_ah = (
        np.nan_to_num(charges["gas_ah"])
        * measured.charged_part
        * np.array([kind.vented_share for kind in facts.battery_types])[queue]
    )
    cell_ah = float(np.sum(gas_ah * np.array([kind.cells for kind in facts.battery_types])[queue]))
    started = measured.inside(charges["start_min"])
    waterings = measured.columns("waterings")
    poured = measured.inside(waterings["start_min"])
    weeks = measured.minutes / WEEK_MIN
    equalised = started & (charges["equalising_min"] > 0.0)
    return {
        "hydrogen_m3_per_day": rate(hydrogen_l(cell_ah, 1, HYDROGEN_DEGC, HYDROGEN_PA) / 1000.0, days),
        "water_lost_kg_per_day": rate(water_deficit_g(cell_ah, 1) / 1000.0, days),
        "water_added_kg_per_day": rate(float(np.sum(waterings["water_kg"][poured])), days),
        "waterings_per_battery_per_week": rate(float(np.sum(poured)) / facts.batteries, weeks),
        "equalising_per_battery_per_week": rate(float(np.sum(equalised)) / facts.batteries, weeks),
        "low_water_share": _low_water(measured),
    }


def _low_water(measured: Measured) -> float:
    """Share of waterings that came after the water above the plates was used up."""
    types, waterings = measured.facts.battery_types, measured.columns("waterings")
    poured = measured.inside(waterings["start_min"])
    if not np.any(poured) or not np.isfinite(min(kind.water_reserve_ah for kind in types)):
        return float("nan")
    number = np.array(measured.facts.type_numbers)[waterings["battery"][poured].astype(int)]
    cells = np.array([kind.cells for kind in types])[number]
    reserve_ah = np.array([kind.water_reserve_ah for kind in types])[number]
    per_cell_kg: Floats = waterings["water_kg"][poured] / cells
    reserve_kg = reserve_ah * water_deficit_g(1.0, 1) / 1000.0
    return float(np.mean(per_cell_kg > reserve_kg * (1.0 + ROUNDING)))
