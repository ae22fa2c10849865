"""Electrical load of all chargers on a grid of quarter hours, from the charges' closed forms."""

import numpy as np

from batsim.measures.windows import Floats, Measured

QUARTER_MIN = 15.0
"""Interval over which supply companies usually take the mean for the peak. [min]"""


def load_kw(measured: Measured) -> Floats:
    """Mean load at the wall in each quarter of an hour of the measured time. [kW]"""
    quarters = max(1, int(np.ceil(measured.minutes / QUARTER_MIN)))
    phases = _phases(measured)
    if not phases.size:
        return np.zeros(quarters)
    start, hours = phases[:, 0], phases[:, 1]
    first = np.floor((start - measured.start) / QUARTER_MIN).astype(int)
    last = np.ceil((start + 60.0 * hours - measured.start) / QUARTER_MIN).astype(int)
    spans = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(start.size), spans)
    within = np.arange(owner.size) - np.repeat(np.cumsum(spans) - spans, spans)
    quarter = first[owner] + within
    begin = measured.start + quarter * QUARTER_MIN
    kwh = _kwh_until(begin + QUARTER_MIN, owner, phases) - _kwh_until(begin, owner, phases)
    seen = (quarter >= 0) & (quarter < quarters)
    totals: Floats = np.bincount(quarter[seen], weights=kwh[seen], minlength=quarters).astype(float)
    return totals * (60.0 / QUARTER_MIN)


def _phases(measured: Measured) -> Floats:
    """Start, hours, load at the start and decay of every phase of every charge. [min, h, kW, 1/h]"""
    rows, facts = measured.record.columns("charge_phases"), measured.facts
    cells = np.array(facts.line_cells)[rows["line"].astype(int)]
    efficiency = np.array(facts.charger_efficiency)[rows["charger"].astype(int)]
    kw = rows["start_a"] * rows["volts_per_cell"] * cells / 1000.0 / efficiency
    return np.stack([rows["start_min"], rows["hours"], kw, rows["decay_per_h"]], axis=1)


def _kwh_until(times: Floats, owner: "np.ndarray[tuple[int], np.dtype[np.intp]]", phases: Floats) -> Floats:
    """Energy of each phase from its start to a time. [kWh]"""
    start, hours, kw, decay = phases[owner].T
    passed = np.clip((times - start) / 60.0, 0.0, hours)
    steady = decay == 0.0
    falling = np.where(steady, 1.0, decay)
    kwh: Floats = kw * np.where(steady, passed, -np.expm1(-falling * passed) / falling)
    return kwh


def load_measures(measured: Measured) -> dict[str, float]:
    """Energy from the wall in a working day, and the peak over a quarter of an hour."""
    load = load_kw(measured)
    days = measured.working_days
    return {
        "energy_kwh_per_day": float(np.sum(load)) * QUARTER_MIN / 60.0 / days if days else np.nan,
        "peak_kw": float(np.max(load)),
    }
