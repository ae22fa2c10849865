"""Wear: how much each battery is used, how deep, and how many years it would last."""

import numpy as np

from batsim.measures.windows import Floats, Measured, rate, share_of

YEAR_MIN = 365.25 * 1440.0
CYCLE_DEPTH = 0.8
"""Depth of the cycles in which use is counted. [-]"""
ROUNDING = 1e-9
"""A state of charge this near to the cut-out is at it. [-]"""


def battery_wear(measured: Measured) -> dict[str, Floats]:
    """Wear of each battery in the measured time.

    Returns
    -------
    dict of array
        For each battery, by number: ``drawn_ah``, ``cycles`` of 80 % that draw as much, ``damage`` as a share of its
        life, and ``life_years`` at this pace from new to 80 % of the capacity (infinite without use).
    """
    facts, discharges = measured.facts, measured.columns("discharges")
    capacity_ah = np.array([facts.battery_types[number].capacity_ah for number in facts.type_numbers])
    part = measured.discharge_part
    number = discharges["battery"].astype(int)
    drawn, damage = (
        np.bincount(number, weights=discharges[name] * part, minlength=facts.batteries).astype(np.float64)
        for name in ("drawn_ah", "damage")
    )
    with np.errstate(divide="ignore"):
        years = measured.minutes / YEAR_MIN / damage
    return {"drawn_ah": drawn, "cycles": drawn / (CYCLE_DEPTH * capacity_ah), "damage": damage, "life_years": years}


def wear_measures(measured: Measured) -> dict[str, float]:
    """Cycles, depth and years of life over all batteries, and of the one that is worn most."""
    facts, discharges = measured.facts, measured.columns("discharges")
    each = battery_wear(measured)
    years = measured.minutes / YEAR_MIN
    types = [facts.battery_types[number] for number in facts.type_numbers]
    ended = measured.inside(discharges["end_min"])
    number = discharges["battery"].astype(int)
    deepest = np.array([kind.discharge_to_share for kind in types])[number]
    charges = measured.columns("charges")
    charged = measured.inside(charges["end_min"])
    used_life = each["drawn_ah"] / np.array([kind.life_ah for kind in types])
    total, most = float(np.sum(each["damage"])), float(np.max(each["damage"]))
    mean_ah = float(np.mean(each["drawn_ah"]))
    return {
        "cycles_per_battery_per_year": rate(float(np.mean(each["cycles"])), years),
        "use_of_most_used_battery": rate(float(np.max(each["drawn_ah"])), mean_ah),
        "discharges_ended": float(np.sum(ended)),
        "charges_ended": float(np.sum(charged)),
        "deep_discharges_share": share_of(ended & (discharges["depth_share"] > 1.0 - deepest + ROUNDING), ended),
        "full_charges_share": share_of(charged & (charges["full"] == 1.0), charged),
        "life_years": rate(facts.batteries * years, total),
        "life_years_of_most_worn": rate(years, most),
        "life_years_by_throughput": years / float(np.mean(used_life)) if mean_ah else np.nan,
    }
