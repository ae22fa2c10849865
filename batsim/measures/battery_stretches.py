"""States of batteries as stretches of time, from their rows."""

from typing import NamedTuple

import numpy as np

from batsim.record import STATES, Record


class Stretch(NamedTuple):
    """A battery in one state."""

    battery: int
    state: str
    """A word of `batsim.record.STATES`."""
    from_min: float
    to_min: float


def battery_stretches(record: Record, battery: int, from_min: float, to_min: float) -> list[Stretch]:
    """States of a battery over a window of a run, one after the other.

    Parameters
    ----------
    record
        What the run left behind. The warm-up may be looked at too.
    battery
        Number of the battery, from 0.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]

    Returns
    -------
    list of Stretch
        They fill the window from the battery's first row on; of rows at the same instant the last one holds.

    Raises
    ------
    ValueError
        If there is no such battery, or the window is empty, endless or outside the run.
    """
    facts = record.facts
    if battery not in range(facts.batteries):
        msg = f"a battery must have a number from 0 to {facts.batteries - 1} (got {battery})"
        raise ValueError(msg)
    begin, end = max(from_min, 0.0), min(to_min, facts.horizon_min)
    if not (-np.inf < from_min < to_min < np.inf and begin < end):
        rule = f"a window must end after it begins and overlap the run, 0 to {facts.horizon_min:g} min"
        msg = f"{rule} (got {from_min:g} to {to_min:g} min)"
        raise ValueError(msg)
    rows = record.columns("battery_states")
    mine = np.flatnonzero(rows["battery"] == battery)
    mine = mine[np.argsort(rows["from_min"][mine], kind="stable")]
    since, codes = rows["from_min"][mine], rows["state"][mine].astype(int)
    until = np.append(since[1:], np.inf)
    found: list[Stretch] = []
    for start, stop, code in zip(np.maximum(since, begin), np.minimum(until, end), codes, strict=True):
        if start < stop:
            if found and found[-1].state == STATES[code]:
                start = found.pop().from_min  # noqa: PLW2901 - the same state goes on
            found.append(Stretch(int(battery), STATES[code], float(start), float(stop)))
    return found
