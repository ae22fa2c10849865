"""A run as the logs that a site would have kept of it, without going over a file."""

from datetime import date
from functools import cache

import numpy as np

from batsim.calibration.columns import Found, Header
from batsim.calibration.read_log import AMOUNTS, KINDS, SECONDS_A_MINUTE, SUFFIXES, TIMES
from batsim.display import Frame, frame_of
from batsim.measures.windows import Floats
from batsim.record.record import Record
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.text.tables import Column, Table
from batsim.study.event_log import COLUMNS, FIRST_MONDAY, KIND_OF_ACTIVITY, event_log

MINUTES_AN_HOUR = 60.0


def logs_of(record: Record, first_monday: date = FIRST_MONDAY) -> dict[str, Frame]:
    """Rows of each kind of log that a run leaves, the warm-up left out.

    Parameters
    ----------
    record
        What a run of the whole site left behind.
    first_monday
        Day that stands for the Monday of week 1. [date]

    Returns
    -------
    dict of DataFrame
        By kind (exchanges, charges, trucks, steps) the columns of `Log.rows` without `line`, as `read_log` has them of
        the event log of the run, to the second.
    """
    events = event_log(record, first_monday)
    kinds = events["activity"].map(KIND_OF_ACTIVITY).to_numpy()
    return {kind: _rows(events[kinds == kind], kind, first_monday) for kind in KINDS}


@cache
def _columns(kind: str) -> dict[str, Found]:
    """Columns of a kind of log that are found in an event log, by their names."""
    table = Table(1, [Column(name, name, None) for name in COLUMNS], [])
    found = Header("", kind, table, {}, {}).found
    return {name: each for name, each in found.items() if name != "activity"}


def _rows(events: Frame, kind: str, first_monday: date) -> Frame:
    """Rows of one kind."""
    times, amounts, rows = {}, {}, {}
    for name, found in _columns(kind).items():
        cells, what = events[found.header].to_numpy(), found.column.what
        if what in TIMES:
            times[name] = _minutes(cells, first_monday)
        elif what in AMOUNTS:
            factor = MINUTES_AN_HOUR if what == "duration" else 1.0
            amounts[f"{name}_{SUFFIXES[what]}"] = factor * cells.astype(float)
        else:
            rows[name] = cells
    return frame_of(rows | {"start_min": times["start"], "week": np.floor(times["start"] / WEEK_MIN)} | amounts).assign(
        **_lasting(times), **_before_and_after(times)
    )


def _lasting(times: dict[str, Floats]) -> dict[str, "np.ndarray[tuple[int], np.dtype[np.generic]]"]:
    """How long events last; until the last time of the log where they have no end."""
    start, end = times["start"], times["end"]
    known = np.concatenate([each[np.isfinite(each)] for each in times.values()])
    until = np.where(np.isnan(end), np.max(known, initial=0.0), end)
    return {"duration_min": until - start, "censored": np.isnan(end), "end_min": end}


def _before_and_after(times: dict[str, Floats]) -> dict[str, Floats]:
    """When a truck came and how long it waited, and when it was free."""
    if "arrived" not in times:
        return {}
    arrived, free = times["arrived"], times["truck_free"]
    return {"arrived_min": arrived, "wait_min": times["start"] - arrived, "truck_free_min": free}


def _minutes(times: "np.ndarray[tuple[int], np.dtype[np.datetime64]]", first_monday: date) -> Floats:
    """Minutes since the first Monday; not a number where nothing stands."""
    since = (times - np.datetime64(first_monday.isoformat(), "s")) / np.timedelta64(1, "s")
    minutes: Floats = np.asarray(since, dtype=float) / SECONDS_A_MINUTE
    return minutes
