"""Work that trucks do and work that is lost, so that no bad layout is credited with a small bill."""

from collections.abc import Callable

import numpy as np

from batsim.measures.wear import lives_used
from batsim.measures.windows import Floats, Measured, Whole, Worked, rate


def work_measures(measured: Measured, energy_kwh: float, water_kg: float) -> dict[str, float]:
    """Truck-hours worked and lost, energy of the lost ones, and what is used up for each hour worked.

    Parameters
    ----------
    measured
        The record.
    energy_kwh, water_kg
        Energy from the wall and water lost in the measured time. [kWh, kg]

    Returns
    -------
    dict
        Value by name; lost energy is not a number where run times say nothing of power.
    """
    hours = work_hours(measured)
    worked_h = hours["work_hours_per_day"] * measured.working_days
    used = float(np.sum(lives_used(measured)[1]))
    return {
        **hours,
        "energy_kwh_per_truck_hour": rate(energy_kwh, worked_h),
        "water_lost_kg_per_truck_hour": rate(water_kg, worked_h),
        "life_truck_hours": rate(worked_h, used),
    }


def work_hours(measured: Measured) -> dict[str, float]:
    """Truck-hours worked and lost in a working day, and energy of the lost ones; see `work_measures`."""
    lost_h, lost_kwh = lost_work(measured)
    days = measured.working_days
    worked_h = float(np.sum(measured.scheduled_min)) / 60.0 - lost_h
    return {
        "work_hours_per_day": rate(worked_h, days),
        "lost_hours_per_day": rate(lost_h, days),
        "lost_kwh_per_day": rate(lost_kwh, days),
    }


def shift_powers_kw(measured: Measured) -> dict[str, Floats]:
    """Power drawn for each truck-shift that begins in the measured time, by truck group. [kW]"""
    shifts = measured.columns("truck_shifts")
    begun = measured.inside(shifts["start_min"])
    return {
        name: shifts["power_w"][begun & (shifts["group"] == number)] / 1000.0
        for number, name in enumerate(measured.facts.groups)
    }


def lost_work(measured: Measured) -> tuple[float, float]:
    """Scheduled truck-hours lost in the measured time, and the energy that they would have drawn. [h, kWh]"""
    away, stands, shifts = (measured.columns(table) for table in ("exchanges", "stands", "truck_shifts"))
    hours = kwh = 0.0
    for group, worked in enumerate(measured.groups):
        left, stood, mine = (rows["group"] == group for rows in (away, stands, shifts))
        trucks = np.concatenate([away["truck"][left], stands["truck"][stood]]).astype(int)
        begin = measured.clip(np.concatenate([away["left_min"][left], stands["start_min"][stood]]))
        end = measured.clip(np.concatenate([away["back_min"][left], stands["end_min"][stood]]))
        hours += float(np.sum(worked(end) - worked(begin))) / 60.0
        power_kw = shifts["power_w"][mine].reshape(measured.facts.group_trucks[group], -1) / 1000.0
        if not power_kw.size:
            kwh = np.nan
        elif trucks.size:
            starts = shifts["start_min"][mine][: power_kw.shape[1]]
            energy = _energy_before(worked, starts, power_kw)
            row = trucks - int(shifts["truck"][mine][0])
            kwh += float(np.sum(energy(row, end) - energy(row, begin)))
    return hours, kwh


def _energy_before(worked: Worked, starts: Floats, power_kw: Floats) -> Callable[[Whole, Floats], Floats]:
    """Energy that each truck of a group would have drawn by a time, had it always worked. [kWh]"""
    at_start = worked(starts)
    whole_h = np.diff(at_start, prepend=0.0) / 60.0
    before = np.cumsum(np.roll(power_kw, 1, axis=1) * whole_h * (np.arange(starts.size) > 0), axis=1)

    def energy(row: Whole, times: Floats) -> Floats:
        shift = np.maximum(np.searchsorted(starts, times, side="right") - 1, 0)
        within: Floats = before[row, shift] + power_kw[row, shift] * (worked(times) - at_start[shift]) / 60.0
        return within

    return energy
