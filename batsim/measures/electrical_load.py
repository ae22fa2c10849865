"""Electrical load of all chargers on a grid of quarter hours, from the charges' closed forms."""

from collections.abc import Callable
from functools import partial

import numpy as np

from batsim.measures.windows import Floats, Measured, Whole, rate
from batsim.scenario.parts.week import WEEK_MIN

QUARTER_MIN = 15.0
"""Interval over which supply companies usually take the mean for the peak. [min]"""
QUARTERS_PER_WEEK = round(WEEK_MIN / QUARTER_MIN)
AT_ONCE = 512
"""Phases that are cut into quarters at once: few enough to stay in the processor's cache."""


def loads(measured: Measured) -> tuple[Floats, Floats]:
    """Mean load at the wall, standby included, and mean apparent power in each quarter of an hour measured. [kW, kVA]

    Apparent power is added up as if all chargers were in phase: an upper bound.
    """
    idle_kw = _idle_kw(measured)
    power_factor = np.array(measured.facts.charger_power_factor)
    kwh, kvah = np.zeros((2, quarters_of(measured)))
    phases, charger = _phases(measured)
    for begin in range(0, charger.size, AT_ONCE):
        some = phases[:, begin : begin + AT_ONCE]
        quarter, part_kwh, owner = by_quarter(measured, some[0], some[1], partial(_kwh_until, some))
        np.add.at(kwh, quarter, part_kwh)
        np.add.at(kvah, quarter, part_kwh / power_factor[charger[begin + owner]])
    per_h = 60.0 / QUARTER_MIN
    return float(np.sum(idle_kw)) + kwh * per_h, float(np.sum(idle_kw / power_factor)) + kvah * per_h


def quarters_of(measured: Measured) -> int:
    """Quarters of an hour of the measured time, the last one perhaps cut."""
    return max(1, int(np.ceil(measured.minutes / QUARTER_MIN)))


def by_quarter(
    measured: Measured, start_min: Floats, hours: Floats, until: Callable[[Floats, Whole], Floats]
) -> tuple[Whole, Floats, Whole]:
    """Cut what stretches of time bring into the quarters of an hour measured.

    Parameters
    ----------
    measured
        Its quarters count from its start.
    start_min, hours
        Beginning and length of each stretch. [min, h]
    until
        What is brought up to given times by the stretches with given numbers. Any unit.

    Returns
    -------
    tuple of arrays
        Quarter, amount, and stretch of each part of a stretch that lies in one quarter.
    """
    first = np.floor((start_min - measured.start) / QUARTER_MIN).astype(int)
    last = np.ceil((start_min + 60.0 * hours - measured.start) / QUARTER_MIN).astype(int)
    edges = np.maximum(last - first, 0) + 1
    owner = np.repeat(np.arange(start_min.size), edges)
    quarter = np.arange(owner.size) + np.repeat(first + edges - np.cumsum(edges), edges)
    amount = np.diff(until(measured.start + quarter * QUARTER_MIN, owner))
    # From one edge of a quarter to the next, not from one stretch to the next.
    within = (owner[1:] == owner[:-1]) & (quarter[:-1] >= 0) & (quarter[:-1] < quarters_of(measured))
    return quarter[:-1][within], amount[within], owner[:-1][within]


def hours_at_start(hours: Floats, decay_per_h: Floats) -> Floats:
    """Hours of its current at the start that give as much as a current that decays. [h]"""
    worth, falls = hours.copy(), decay_per_h > 0.0
    worth[falls] = -np.expm1(-decay_per_h[falls] * hours[falls]) / decay_per_h[falls]
    return worth


def _standby_kw(measured: Measured) -> Floats:
    """Standby of one charger of each type; nothing where their number is without limit. [kW]"""
    facts = measured.facts
    return np.where(np.isfinite(facts.charger_counts), facts.charger_standby_kw, 0.0)


def _idle_kw(measured: Measured) -> Floats:
    """Standby of all chargers of each type while none gives current. [kW]"""
    standby_kw = _standby_kw(measured)
    return standby_kw * np.where(standby_kw > 0.0, np.array(measured.facts.charger_counts), 0.0)


def _phases(measured: Measured) -> tuple[Floats, Whole]:
    """Start, hours, load at the start, its rise, decay, saved standby of each phase; its charger.

    The rise is by each hour that would give as much at the current of the start. [min, h, kW, kW/h, 1/h, kW]
    """
    rows, facts = measured.columns("charge_phases"), measured.facts
    charger = rows["charger"].astype(int)
    cells = np.array([kind.cells for kind in facts.battery_types])[rows["queue"].astype(int)]
    kw_per_v = rows["start_a"] * cells / 1000.0 / np.array(facts.charger_efficiency)[charger]
    hours, decay = rows["hours"], rows["decay_per_h"]
    worth = hours_at_start(hours, decay)
    rise_kw = kw_per_v * rows["rise_v"] / np.where(worth > 0.0, worth, np.inf)
    saved_kw = _standby_kw(measured)[charger]
    return np.stack([rows["start_min"], hours, kw_per_v * rows["volts_per_cell"], rise_kw, decay, saved_kw]), charger


def _kwh_until(phases: Floats, times: Floats, numbers: Whole) -> Floats:
    """Energy of phases with given numbers, each from its start to a time, less the standby that it replaces. [kWh]"""
    start, hours, kw, rise_kw, decay, saved_kw = phases[:, numbers]
    passed = np.clip((times - start) / 60.0, 0.0, hours)
    worth = hours_at_start(passed, decay)
    kwh: Floats = (kw + 0.5 * rise_kw * worth) * worth - saved_kw * passed
    return kwh


def weekly_peak(load: Floats) -> float:
    """Greatest value of a week, the mean of the whole weeks measured; of what there is where that is less than one."""
    weeks = load.size // QUARTERS_PER_WEEK
    return float(np.mean(np.max(load[: weeks * QUARTERS_PER_WEEK].reshape(weeks, -1), axis=1) if weeks else load.max()))


def energy_charged(measured: Measured) -> dict[str, float]:
    """Energy into batteries in a working day."""
    kwh = float(np.nansum(measured.columns("charges")["charged_kwh"] * measured.charged_part))
    return {"energy_charged_kwh_per_day": rate(kwh, measured.working_days)}


def energy_drawn(measured: Measured) -> dict[str, float]:
    """Energy that trucks take from batteries in a working day, in all and on the way from and to the room."""
    discharges, part = measured.columns("discharges"), measured.discharge_part
    return {
        f"energy_{name}_kwh_per_day": rate(float(np.sum(discharges[column] * part)), measured.working_days)
        for name, column in (("drawn", "drawn_kwh"), ("way", "way_kwh"))
    }


def load_measures(measured: Measured) -> dict[str, float]:
    """Energy in a working day, from the wall to the trucks, and the peaks over a quarter of an hour."""
    kw, kva = loads(measured)
    days = measured.working_days
    charges = measured.columns("charges")
    on_h = (measured.clip(charges["end_min"]) - measured.clip(charges["start_min"])) / 60.0
    charger = np.nan_to_num(charges["charger"]).astype(int)
    idle_kwh = float(np.sum(_idle_kw(measured))) * measured.minutes / 60.0
    idle_kwh -= float(np.sum(on_h * _standby_kw(measured)[charger]))
    return {
        "energy_kwh_per_day": rate(float(np.sum(kw)) * QUARTER_MIN / 60.0, days),
        "standby_kwh_per_day": rate(idle_kwh, days),
        **energy_charged(measured),
        **energy_drawn(measured),
        "peak_kw": weekly_peak(kw),
        "peak_kva": weekly_peak(kva),
        "peak_of_all_weeks_kw": float(np.max(kw)),
        "peak_of_all_weeks_kva": float(np.max(kva)),
    }
