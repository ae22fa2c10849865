"""Electrical load of all chargers on a grid of quarter hours, from the charges' closed forms."""

import numpy as np

from batsim.measures.windows import Floats, Measured, Whole, rate

QUARTER_MIN = 15.0
"""Interval over which supply companies usually take the mean for the peak. [min]"""


def load_kw(measured: Measured) -> Floats:
    """Mean load at the wall in each quarter of an hour of the measured time, standby included. [kW]"""
    return loads(measured)[0]


def loads(measured: Measured) -> tuple[Floats, Floats]:
    """Mean load and mean apparent power in each quarter of an hour of the measured time. [kW, kVA]

    Apparent power is added up as if all chargers were in phase: an upper bound.
    """
    idle_kw = _idle_kw(measured)
    quarters = max(1, int(np.ceil(measured.minutes / QUARTER_MIN)))
    quarter, kwh, charger = _in_quarters(measured)
    seen = (quarter >= 0) & (quarter < quarters)

    def over(divisors: Floats) -> Floats:
        sums = np.bincount(quarter[seen], weights=(kwh / divisors[charger])[seen], minlength=quarters).astype(float)
        mean: Floats = float(np.sum(idle_kw / divisors)) + sums * (60.0 / QUARTER_MIN)
        return mean

    power_factors = np.array(measured.facts.charger_power_factor)
    return over(np.ones_like(power_factors)), over(power_factors)


def _in_quarters(measured: Measured) -> tuple[Whole, Floats, Whole]:
    """Quarter, energy and charger type of each part of a phase that lies in one quarter; energy less standby. [kWh]"""
    phases, charger = _phases(measured)
    start, hours = phases[:, 0], phases[:, 1]
    first = np.floor((start - measured.start) / QUARTER_MIN).astype(int)
    last = np.ceil((start + 60.0 * hours - measured.start) / QUARTER_MIN).astype(int)
    spans = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(start.size), spans)
    within = np.arange(owner.size) - np.repeat(np.cumsum(spans) - spans, spans)
    quarter = first[owner] + within
    begin = measured.start + quarter * QUARTER_MIN
    kwh = _kwh_until(begin + QUARTER_MIN, owner, phases) - _kwh_until(begin, owner, phases)
    return quarter, kwh, charger[owner]


def _standby_kw(measured: Measured) -> Floats:
    """Standby of one charger of each type; nothing where their number is without limit. [kW]"""
    facts = measured.facts
    return np.where(np.isfinite(facts.charger_counts), facts.charger_standby_kw, 0.0)


def _idle_kw(measured: Measured) -> Floats:
    """Standby of all chargers of each type while none gives current. [kW]"""
    standby_kw = _standby_kw(measured)
    return standby_kw * np.where(standby_kw > 0.0, np.array(measured.facts.charger_counts), 0.0)


def _phases(measured: Measured) -> tuple[Floats, Whole]:
    """Start, hours, load at the start, decay, saved standby of each phase; its charger. [min, h, kW, 1/h, kW]"""
    rows, facts = measured.record.columns("charge_phases"), measured.facts
    charger = rows["charger"].astype(int)
    cells = np.array(facts.line_cells)[rows["line"].astype(int)]
    kw = rows["start_a"] * rows["volts_per_cell"] * cells / 1000.0 / np.array(facts.charger_efficiency)[charger]
    saved_kw = _standby_kw(measured)[charger]
    return np.stack([rows["start_min"], rows["hours"], kw, rows["decay_per_h"], saved_kw], axis=1), charger


def _kwh_until(times: Floats, owner: Whole, phases: Floats) -> Floats:
    """Energy of each phase from its start to a time, less the standby that it replaces. [kWh]"""
    start, hours, kw, decay, saved_kw = phases[owner].T
    passed = np.clip((times - start) / 60.0, 0.0, hours)
    steady = decay == 0.0
    falling = np.where(steady, 1.0, decay)
    kwh: Floats = kw * np.where(steady, passed, -np.expm1(-falling * passed) / falling) - saved_kw * passed
    return kwh


def load_measures(measured: Measured) -> dict[str, float]:
    """Energy in a working day, from the wall to the trucks, and the peak over a quarter of an hour."""
    kw, kva = loads(measured)
    days = measured.working_days
    charges = measured.charges
    on_h = (measured.clip(charges["end_min"]) - measured.clip(charges["start_min"])) / 60.0
    charger = np.nan_to_num(charges["charger"]).astype(int)
    idle_kwh = float(np.sum(_idle_kw(measured))) * measured.minutes / 60.0
    idle_kwh -= float(np.sum(on_h * _standby_kw(measured)[charger]))
    stints = measured.stints
    return {
        "energy_kwh_per_day": rate(float(np.sum(kw)) * QUARTER_MIN / 60.0, days),
        "standby_kwh_per_day": rate(idle_kwh, days),
        "energy_charged_kwh_per_day": rate(
            float(np.nansum(charges["charged_kwh"] * measured.part_of(charges["start_min"], charges["end_min"]))), days
        ),
        "energy_drawn_kwh_per_day": rate(
            float(np.sum(stints["drawn_kwh"] * measured.part_of(stints["start_min"], stints["end_min"]))), days
        ),
        "peak_kw": float(np.max(kw)),
        "peak_kva": float(np.max(kva)),
    }
