"""Batteries over time: how many are ready, and how often none is."""

from typing import Any

import numpy as np

from batsim.measures.windows import Floats, Measured, Whole
from batsim.record.words import READY


def spells(measured: Measured, *states: int) -> tuple[Whole, Floats, Floats]:
    """Battery number, start and end of every stay in one of some states, cut to the measured time. [min]"""
    battery, state, since, until = measured.stays
    here = np.isin(state, states) if len(states) > 1 else state == states[0]
    return battery[here], measured.clip(since[here]), measured.clip(until[here])


def level(starts: Floats, ends: Floats, begin: float, end: float) -> tuple[Floats, "np.ndarray[Any, Any]"]:
    """How many stays are under way: instants of change, and the number from each on to the next."""
    times = np.concatenate([[begin], starts, ends, [end]])
    changes = np.concatenate([[0], np.ones(starts.size, int), -np.ones(ends.size, int), [0]])
    order = np.argsort(times, kind="stable")
    return times[order], np.cumsum(changes[order])


def stock_measures(measured: Measured) -> dict[str, float]:
    """Ready batteries: mean and fewest, and the share of time with none of some type."""
    facts = measured.facts
    names = ("ready_batteries_mean", "ready_batteries_min", "none_ready_time_share", "none_ready_spells")
    if facts.in_truck or measured.minutes <= 0.0:
        return dict.fromkeys(names, np.nan)
    battery, starts, ends = spells(measured, READY)
    queue_of = np.array(facts.type_numbers)[battery]
    fewest, missing = np.inf, []
    for queue, area in enumerate(facts.area_of_queue):
        if area.in_truck:
            continue
        mine = queue_of == queue
        times, count = level(starts[mine], ends[mine], measured.start, measured.end)
        spans = np.diff(times)
        lasts = spans > 0.0
        fewest = min(fewest, float(np.min(count[:-1][lasts])))
        none = lasts & (count[:-1] == 0)
        missing.append((times[:-1][none], times[1:][none]))
    begins = np.concatenate([begin for begin, _ in missing])
    finishes = np.concatenate([finish for _, finish in missing])
    times, lacking = level(begins, finishes, measured.start, measured.end)
    none_at = lacking[:-1][np.diff(times) > 0.0] > 0
    return {
        "none_ready_spells": float(np.count_nonzero(none_at & ~np.append(False, none_at[:-1]))),
        "ready_batteries_mean": float(np.sum(ends - starts)) / measured.minutes,
        "ready_batteries_min": fewest,
        "none_ready_time_share": float(np.sum(np.diff(times)[lacking[:-1] > 0])) / measured.minutes,
    }
