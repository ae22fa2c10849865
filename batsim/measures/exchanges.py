"""Exchanges: how many, how long trucks wait for them, how long they are away.

Times are scheduled truck minutes: a truck that waits in the queue over the weekend waits for nobody.
"""

import numpy as np

from batsim.measures.windows import Flags, Floats, Measured, mean_of, rate
from batsim.record.record import Record
from batsim.record.words import CHARGE_IN_TRUCK, TURNED_AWAY


def waits_min(record: Record) -> Floats:
    """Wait of each exchange, or charge in scheduled time, that started in the measured time, as they were asked for.

    Parameters
    ----------
    record
        What the run left behind.

    Returns
    -------
    array, one entry for each exchange
        Scheduled time of its truck from joining the queue to the start. [min]
    """
    measured = Measured(record)
    return _waits(measured)[_started(measured)]


def exchange_measures(measured: Measured, wait_target_min: float | None = None) -> dict[str, float]:
    """Counts, waits and times away of exchanges, or of charges in scheduled time."""
    rows, facts = measured.columns("exchanges"), measured.facts
    kind = rows["kind"]
    served = kind != TURNED_AWAY
    started = _started(measured)
    finished = served & measured.inside(rows["truck_free_min"])
    joined, start = rows["joined_min"], rows["start_min"]
    waits = _waits(measured)[started]
    away = (_worked(measured, rows["back_min"]) - _worked(measured, rows["left_min"]))[finished]
    asked = ~np.isnan(rows["ready_found"]) & measured.inside(joined) & (kind != CHARGE_IN_TRUCK)
    unfinished = served & ~(rows["truck_free_min"] < measured.end)
    waited_min = _worked(measured, measured.clip(start)) - _worked(measured, measured.clip(joined))
    open_min = measured.site.between(measured.start, measured.end)
    found = rows["ready_found"][asked]
    visits = (joined < measured.end) & ~(start < measured.start)
    measures = {
        "exchanges_per_day": rate(np.sum(finished), measured.working_days),
        "wait_min_per_exchange": mean_of(waits),
        "wait_min_p95": float(np.quantile(waits, 0.95)) if waits.size else np.nan,
        "waited_share": mean_of((waits > 0.0).astype(float)),
        "down_min_per_exchange": mean_of(away),
        "trucks_waiting_mean": float(np.sum(waited_min[served])) / open_min if open_min else np.nan,
        "found_none_ready_share": np.nan if facts.in_truck else mean_of((found == 0).astype(float)),
        "unfinished_exchanges": float(np.sum(unfinished)),
        "stopped_empty": float(np.sum((rows["fetched_min"] > 0.0) & measured.inside(joined))),
        "asks": np.nan if facts.in_truck else float(found.size),
        "visits": float(np.sum(visits)),
        "exchanges_started": float(waits.size),
        "trucks_below_cut_out": float(np.sum((rows["below_cut_out"] == 1) & measured.inside(joined))),
    }
    if wait_target_min is not None:
        measures["wait_within_target_share"] = mean_of((waits <= wait_target_min).astype(float))
    return measures


def _started(measured: Measured) -> Flags:
    """Exchanges, or charges in scheduled time, that started in the measured time."""
    rows = measured.columns("exchanges")
    started: Flags = measured.inside(rows["start_min"]) & (rows["kind"] != TURNED_AWAY)
    return started


def _waits(measured: Measured) -> Floats:
    """Scheduled minutes from joining the queue to the start; not a number for what never started. [min]"""
    rows = measured.columns("exchanges")
    return _worked(measured, rows["start_min"]) - _worked(measured, rows["joined_min"])


def _worked(measured: Measured, times: Floats) -> Floats:
    """Scheduled minutes of each row's own truck group before its time; not a number stays so. [min]"""
    result = np.full_like(times, np.nan)
    for number, worked in enumerate(measured.groups):
        mine = (measured.columns("exchanges")["group"] == number) & ~np.isnan(times)
        result[mine] = worked(times[mine])
    return result
