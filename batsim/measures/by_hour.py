"""How busy attendants are in each hour of the week."""

from functools import partial

import numpy as np

from batsim.display import Frame, frame_of
from batsim.measures.profile import by_week, stayed_before
from batsim.measures.windows import Floats, Measured
from batsim.record.record import Record
from batsim.record.words import ATTENDANT
from batsim.scenario.parts.week import DAYS

HOUR_MIN = 60.0


def attendants_by_hour(record: Record) -> Frame:
    """Attendants on duty and at work in each hour of the week, as a mean of the measured time.

    Parameters
    ----------
    record
        What the run left behind.

    Returns
    -------
    DataFrame, 168 rows
        ``hour_of_week`` from 0 for Monday 00:00 to 01:00; ``weekday``; ``hour`` of the day; ``on_duty`` and ``busy``:
        mean number of attendants on duty, and of them kept by a job, over the measured part of the hour;
        ``busy_share``: the second over the first; ``overtime``: attendants at a job after the end of their shift, or in
        their break. Without a limit to the attendants there is no ``on_duty``; what there is not is not a number.
    """
    measured = Measured(record)
    seen = by_week(measured, lambda times: times, HOUR_MIN)
    with np.errstate(invalid="ignore", divide="ignore"):
        on_duty = by_week(measured, lambda times: _on_duty_before(measured, times), HOUR_MIN) / seen
        busy, overtime = (
            by_week(measured, partial(_kept_before, measured, in_overtime), HOUR_MIN) / seen
            for in_overtime in (False, True)
        )
        share = np.where(on_duty > 0.0, busy / on_duty, np.nan)
    hours = np.arange(seen.size)
    return frame_of(
        {
            "hour_of_week": hours,
            "weekday": [DAYS[hour // 24] for hour in hours],
            "hour": hours % 24,
            "on_duty": on_duty if measured.facts.attendant_windows else np.nan,
            "busy": busy,
            "busy_share": share,
            "overtime": overtime,
        }
    )


def _on_duty_before(measured: Measured, times: Floats) -> Floats:
    """Attendants' minutes on duty before each time. [min]"""
    windows = np.array(measured.facts.attendant_windows, dtype=float).reshape(-1, 3)
    return stayed_before(windows[:, 0], windows[:, 1], times, windows[:, 2])


def _kept_before(measured: Measured, in_overtime: bool, times: Floats) -> Floats:
    """Attendants' minutes kept by jobs before each time, on duty or in overtime. [min]"""
    work = measured.columns("work")
    mine = (work["person"] == ATTENDANT) & (work["overtime"] == in_overtime)
    start, end = (measured.clip(work[name][mine]) for name in ("start_min", "end_min"))
    return stayed_before(start, end, times, work["people"][mine])
