"""Electrical load of all chargers on a grid of quarter hours, from the charges' closed forms."""

import numpy as np

from batsim.measures.windows import Floats, Measured

QUARTER_MIN = 15.0
"""Interval over which supply companies usually take the mean for the peak. [min]"""


def load_kw(measured: Measured) -> Floats:
    """Mean load at the wall in each quarter of an hour of the measured time, standby included. [kW]"""
    return _load(measured, np.ones(len(measured.facts.chargers)))


def load_kva(measured: Measured) -> Floats:
    """Mean apparent power in each quarter of an hour, added up as if all were in phase: an upper bound. [kVA]"""
    return _load(measured, np.array(measured.facts.charger_power_factor))


def _load(measured: Measured, divisors: Floats) -> Floats:
    """Mean load in each quarter of an hour, that of each charger type divided by its divisor."""
    quarters = max(1, int(np.ceil(measured.minutes / QUARTER_MIN)))
    counts, standby_kw = np.array(measured.facts.charger_counts), _standby_kw(measured)
    idle_kw = float(np.sum(np.where(standby_kw > 0.0, counts, 0.0) * standby_kw / divisors))
    phases = _phases(measured, divisors)
    if not phases.size:
        return np.full(quarters, idle_kw)
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
    return idle_kw + totals * (60.0 / QUARTER_MIN)


def _standby_kw(measured: Measured) -> Floats:
    """Standby of one charger of each type; nothing where their number is without limit. [kW]"""
    facts = measured.facts
    return np.where(np.isfinite(facts.charger_counts), facts.charger_standby_kw, 0.0)


def _phases(measured: Measured, divisors: Floats) -> Floats:
    """Start, hours, load at the start, decay and saved standby of each phase. [min, h, kW, 1/h, kW]"""
    rows, facts = measured.record.columns("charge_phases"), measured.facts
    charger = rows["charger"].astype(int)
    cells = np.array(facts.line_cells)[rows["line"].astype(int)]
    wall = np.array(facts.charger_efficiency)[charger] * divisors[charger]
    kw = rows["start_a"] * rows["volts_per_cell"] * cells / 1000.0 / wall
    saved_kw = (_standby_kw(measured) / divisors)[charger]
    return np.stack([rows["start_min"], rows["hours"], kw, rows["decay_per_h"], saved_kw], axis=1)


def _kwh_until(times: Floats, owner: "np.ndarray[tuple[int], np.dtype[np.intp]]", phases: Floats) -> Floats:
    """Energy of each phase from its start to a time, less the standby that it replaces. [kWh]"""
    start, hours, kw, decay, saved_kw = phases[owner].T
    passed = np.clip((times - start) / 60.0, 0.0, hours)
    steady = decay == 0.0
    falling = np.where(steady, 1.0, decay)
    kwh: Floats = kw * np.where(steady, passed, -np.expm1(-falling * passed) / falling) - saved_kw * passed
    return kwh


def load_measures(measured: Measured) -> dict[str, float]:
    """Energy in a working day, from the wall to the trucks, and the peak over a quarter of an hour."""
    load, facts = load_kw(measured), measured.facts
    days = measured.working_days
    charges = measured.charges
    on_h = (measured.clip(charges["end_min"]) - measured.clip(charges["start_min"])) / 60.0
    charger = np.nan_to_num(charges["charger"]).astype(int)
    standby_kw = _standby_kw(measured)
    counts = np.where(standby_kw > 0.0, np.array(facts.charger_counts), 0.0)
    idle_kwh = float(np.sum(counts * standby_kw) * measured.minutes / 60.0 - np.sum(on_h * standby_kw[charger]))
    stints = measured.stints
    return {
        "energy_kwh_per_day": _per(float(np.sum(load)) * QUARTER_MIN / 60.0, days),
        "standby_kwh_per_day": _per(idle_kwh, days),
        "energy_charged_kwh_per_day": _per(
            float(np.nansum(charges["charged_kwh"] * measured.part_of(charges["start_min"], charges["end_min"]))), days
        ),
        "energy_drawn_kwh_per_day": _per(
            float(np.sum(stints["drawn_kwh"] * measured.part_of(stints["start_min"], stints["end_min"]))), days
        ),
        "peak_kw": float(np.max(load)),
        "peak_kva": float(np.max(load_kva(measured))),
    }


def _per(amount: float, days: float) -> float:
    """Amount in a working day."""
    return amount / days if days else float("nan")
