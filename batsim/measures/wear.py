"""Wear: how much each battery is used, how deep, and how many years it would last."""

import numpy as np

from batsim.measures.windows import Floats, Measured, rate, share_of

YEAR_MIN = 365.25 * 1440.0
DUE_YEARS = 1.0
"""A battery that is worn out, or too old, within this time is due to be replaced. [years]"""
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
        life, ``aged`` the same by age alone, ``life_years`` at this pace from new to 80 % of the capacity, no more
        than age allows, and ``left_years``, what is left of them at the start of the run.
    """
    facts, discharges = measured.facts, measured.columns("discharges")
    capacity_ah = np.array([facts.battery_types[number].capacity_ah for number in facts.type_numbers])
    part = measured.discharge_part
    number = discharges["battery"].astype(int)
    drawn, damage = (
        np.bincount(number, weights=discharges[name] * part, minlength=facts.batteries).astype(np.float64)
        for name in ("drawn_ah", "damage")
    )
    calendar_years = np.array([facts.battery_types[number].calendar_years for number in facts.type_numbers])
    aged = measured.minutes / YEAR_MIN / calendar_years
    at_start = measured.columns("batteries")
    used, age_years = np.zeros(facts.batteries), np.zeros(facts.batteries)
    for values, name in ((used, "life_used_share"), (age_years, "age_years")):
        values[at_start["battery"].astype(int)] = at_start[name]
    with np.errstate(divide="ignore", invalid="ignore"):
        years = measured.minutes / YEAR_MIN / np.maximum(damage, aged)
        by_duty = np.where(used < 1.0, measured.minutes / YEAR_MIN * (1.0 - used) / damage, 0.0)
    left = np.minimum(by_duty, np.maximum(0.0, calendar_years - age_years))
    cycles = drawn / (CYCLE_DEPTH * capacity_ah)
    each = {"drawn_ah": drawn, "cycles": cycles, "damage": damage, "aged": aged}
    return each | {"life_years": years, "left_years": left}


def lives_used(measured: Measured) -> tuple[Floats, Floats]:
    """Lives that the batteries of each type use up in the measured time: by their duty alone, and at least by age."""
    types, each = np.array(measured.facts.type_numbers), battery_wear(measured)
    by_duty, by_age = (np.bincount(types, each[name]).astype(np.float64) for name in ("damage", "aged"))
    return by_duty, np.maximum(by_duty, by_age)


def lives_by_type(measured: Measured) -> dict[str, float]:
    """Years that batteries of each type last, as `life_years` says of all; not a number where nothing is measured."""
    types, (_, used) = measured.facts.battery_types, lives_used(measured)
    batteries: dict[str, float] = {}
    lives: dict[str, float] = {}
    for kind, used_up in zip(types, used, strict=True):
        batteries[kind.battery_type] = batteries.get(kind.battery_type, 0.0) + kind.batteries
        lives[kind.battery_type] = lives.get(kind.battery_type, 0.0) + float(used_up)
    return {name: rate(batteries[name] * measured.minutes / YEAR_MIN, lives[name]) for name in lives}


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
    by_duty, used = lives_used(measured)
    of_type = np.bincount(np.array(facts.type_numbers))
    mean_ah = float(np.mean(each["drawn_ah"]))
    return {
        "cycles_per_battery_per_year": rate(float(np.mean(each["cycles"])), years),
        "use_of_most_used_battery": rate(float(np.max(each["drawn_ah"])), mean_ah),
        "discharges_ended": float(np.sum(ended)),
        "charges_ended": float(np.sum(charged)),
        "deep_discharges_share": share_of(ended & (discharges["depth_share"] > 1.0 - deepest + ROUNDING), ended),
        "full_charges_share": share_of(charged & (charges["full"] == 1.0), charged),
        "life_years": rate(facts.batteries * years, float(np.sum(used))),
        "life_years_of_most_worn": float(np.min(each["life_years"])) if years else np.nan,
        "life_left_years": float(np.mean(each["left_years"])) if years else np.nan,
        "replacements_due": float(np.sum(each["left_years"] <= DUE_YEARS)) if years else np.nan,
        "life_years_by_throughput": rate(years, float(np.mean(np.maximum(used_life, each["aged"])))),
        "limited_by_age_share": float(np.sum(of_type[used > by_duty])) / facts.batteries,
    }
