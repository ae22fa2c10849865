"""What makes no sense in a log: rows that cannot be so, and rows that contradict one another."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from batsim.calibration.columns import plain
from batsim.calibration.sieve import Sieve
from batsim.measures.windows import Flags, Floats, Whole
from batsim.scenario.parts.calendar import Window, joined, whole_shifts
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.study.event_log import STEPS, WAY

MISSING, NO_NUMBER, NO_END, END_BEFORE_START, IMPOSSIBLE, UNKNOWN, OUT_OF_CALENDAR, DOUBLE, OVERLAP = (
    "missing", "not a number", "no end", "end before start", "impossible amount", "unknown name", "out of the calendar",
    "double", "overlap",
)  # fmt: skip
NAMES = {"group": "truck group", "battery type": "battery type", "shift": "shift", "area": "area", "step": "step"}
"""What a scenario has names for, by what a column is, with its word for messages."""
OVERLAPS: dict[str, tuple[tuple[str, ...], ...]] = {
    "exchanges": (("truck",), ("battery",)),
    "charges": (("battery",),),
    "trucks": (("truck",),),
    "steps": (("truck", "battery", "step"),),
}
"""Columns that together name what can be in one event at a time, by kind of log."""


Names = np.ndarray[Any, np.dtype[np.object_]]


def names_of(scenario: Scenario) -> dict[str, list[str]]:
    """Names that a scenario has, by what a column of a log is."""
    steps = [step.step for arrangement in scenario.handling.values() for step in arrangement.steps]
    return {
        "group": [group.group for group in scenario.trucks],
        "battery type": list(scenario.batteries),
        "shift": list(scenario.week.shifts),
        "area": list(dict.fromkeys(area for each in scenario.layouts.values() for area in each.by_area)),
        "step": list(dict.fromkeys([*steps, *STEPS])),
    }


def as_named(sieve: Sieve, column: str, what: str, known: Sequence[str]) -> list[str]:
    """Names of a column as the scenario writes them; rows with other names are left out."""
    by_plain = {plain(name): name for name in known}
    cells = sieve.cells[column]
    names = {cell: by_plain.get(plain(cell), "") for cell in dict.fromkeys(cells)}
    strange = np.array([bool(cell) and not names[cell] for cell in cells], dtype=bool)
    rules = {
        cell: f"no such {NAMES[what]} in the scenario{did_you_mean(cell, known)}" for cell in names if not names[cell]
    }
    sieve.leave_out(strange, UNKNOWN, column, lambda row: rules[cells[row]])
    return [names[cell] for cell in cells]


def impossible_amounts(sieve: Sieve, frame: pd.DataFrame) -> None:
    """Leave out what is less than nothing, or a state of charge above full."""
    for column in frame.columns:
        if not column.endswith(("_share", "_ah", "_kwh", "_min")) or column in ("start_min", "end_min"):
            continue
        name, _, unit = column.rpartition("_")
        values = frame[column].to_numpy()
        if name in sieve.cells:
            if unit == "share":
                rule = "a state of charge lies between 0 and 100 %"
                sieve.leave_out((values < 0.0) | (values > 1.0), IMPOSSIBLE, name, rule)
            elif name not in ("arrived", "truck_free"):
                sieve.leave_out(values < 0.0, IMPOSSIBLE, name, "cannot be less than nothing")


def more_than_capacity(sieve: Sieve, charge_ah: Floats, types: Sequence[str], scenario: Scenario) -> None:
    """Leave out charges that give more ampere-hours than their battery, or any of the site, can take."""
    factor = max(charger.charge_factor for charger in scenario.chargers.values())
    most = {}
    for name, battery in scenario.batteries.items():
        equalising = battery.equalising
        beyond = equalising.length_min / 60.0 * equalising.current.of(battery.capacity.ah) if equalising else 0.0
        most[name] = battery.capacity.ah * factor + beyond
    any_type = max(most.values())
    limits = np.array([most.get(name, any_type) for name in types])

    def rule(row: int) -> str:
        return f"more than a charge can give its battery, {limits[row]:.4g} Ah"

    sieve.leave_out(charge_ah > limits, IMPOSSIBLE, "charge", rule)


def out_of_calendar(sieve: Sieve, frame: pd.DataFrame, scenario: Scenario, kind: str) -> None:
    """Leave out what lies outside the shifts of the scenario.

    Shifts of trucks must touch one of their group; exchanges and their steps any shift, or the time after it in
    which what is left over may be done: as long as the shift itself.
    """
    begin = frame["start_min"].to_numpy()
    end = np.fmax(frame["end_min"].to_numpy(), begin) if "end_min" in frame else begin
    those = sieve.only_kept(np.isfinite(begin))
    if kind != "trucks":
        those &= _of_exchange(frame) if kind == "steps" else True
        late = those & ~_touches(_shifts(scenario, list(scenario.week.shifts), over=True), begin, end)
        sieve.leave_out(late, OUT_OF_CALENDAR, "start", "no shift works then, nor has one ended lately")
        return
    groups = frame["group"].to_numpy() if "group" in frame else np.full(begin.size, "")
    for group in scenario.trucks:
        own = those & (groups == group.group)
        never = own & ~_touches(_shifts(scenario, group.shifts, over=False), begin, end)
        sieve.leave_out(never, OUT_OF_CALENDAR, "start", "the trucks of its group do not work then")


def _of_exchange(frame: pd.DataFrame) -> Flags:
    """Steps of exchanges, with the way to them: what follows a charge goes on as long as that takes."""
    later = [step for step in STEPS if step != WAY]
    flags: Flags = ~np.isin(frame["step"].to_numpy().astype(str), later)
    return flags


def _shifts(scenario: Scenario, names: Sequence[str], *, over: bool) -> list[Window]:
    """Shifts of three weeks, breaks and all; with the time after each as long again, for what is left over."""
    shifts = whole_shifts(scenario.week, names, 3 * WEEK_MIN)
    return joined([(begin, end + (end - begin if over else 0.0)) for begin, end in shifts])


def _touches(windows: list[Window], begin: Floats, end: Floats) -> Flags:
    """Whether stretches of a week, in minutes from any Monday on, have anything in common with windows."""
    starts, ends = np.array(windows).reshape(-1, 2).T
    since = begin % WEEK_MIN + WEEK_MIN
    at = np.searchsorted(ends, since, side="right")
    flags: Flags = np.append(starts, np.inf)[at] <= since + (end - begin)
    return flags


def doubles(sieve: Sieve, frame: pd.DataFrame, utc_s: Floats) -> None:
    """Leave out rows that say the same as one before, time and all."""
    said = frame.assign(_begins=utc_s)
    rows = np.flatnonzero(sieve.only_kept(np.isfinite(utc_s)))
    own = said.iloc[rows]
    again = np.zeros(len(frame), dtype=bool)
    again[rows] = own.duplicated().to_numpy()
    groups = own.groupby(list(own.columns), dropna=False, sort=False).ngroup().to_numpy()
    first = np.zeros(len(frame), dtype=int)
    _, at = np.unique(groups, return_index=True)
    first[rows] = rows[at[groups]] if rows.size else 0
    sieve.leave_out(again, DOUBLE, "", lambda row: f"the same as line {sieve.lines[first[row]]}")


def overlaps(sieve: Sieve, kind: str, names: dict[str, list[str]], begins_s: Floats, ends_s: Floats) -> None:
    """Leave out the fewest rows so that nothing is in two events at a time."""
    where = "shifts" if kind == "trucks" else kind
    known = np.isfinite(begins_s) & np.isfinite(ends_s)
    for columns in OVERLAPS[kind]:
        own = {column: np.array(names[column], dtype=object) for column in columns if column in names}
        things = [column for column in own if column != "step"]
        if not things:
            continue
        named = np.any([own[column] != "" for column in things], axis=0)
        rows = np.flatnonzero(sieve.only_kept(known & named))
        held = _held_by(_numbered([cells[rows] for cells in own.values()]), begins_s[rows], ends_s[rows])
        given_way = {int(rows[at]): int(rows[held[at]]) for at in np.flatnonzero(held >= 0)}
        left = np.zeros(known.size, dtype=bool)
        left[list(given_way)] = True
        lines = {row: sieve.lines[by] for row, by in given_way.items()}
        sieve.leave_out(left, OVERLAP, things[0], _at_a_time(where, lines))


def _at_a_time(where: str, lines: dict[int, int]) -> Callable[[int], str]:
    """What is said of a row that overlaps with one in another line."""
    return lambda row: f"is in two {where} at a time; see line {lines[row]}"


def _numbered(columns: list[Names]) -> Whole:
    """A number for each different row of names."""
    return pd.factorize(pd.Series(list(zip(*columns, strict=True)), dtype=object))[0]


def _held_by(things: Whole, begins_s: Floats, ends_s: Floats) -> Whole:
    """Of each event the one that it overlaps with and has to give way to, or -1: as many as can be stay."""
    held = np.full(things.size, -1)
    order = np.lexsort((begins_s, things))
    if not _any_overlap(things[order], begins_s[order], ends_s[order]):
        return held
    last_thing, last_end, last = -1, -np.inf, -1
    # Whichever ends first leaves most room for the others.
    for row in np.lexsort((begins_s, ends_s, things)).tolist():
        if things[row] != last_thing:
            last_thing, last_end = things[row], -np.inf
        if begins_s[row] < last_end:
            held[row] = last
        else:
            last_end, last = ends_s[row], row
    return held


def _any_overlap(things: Whole, begins_s: Floats, ends_s: Floats) -> bool:
    """Whether any event begins before the one before it has ended, in events sorted by thing and begin."""
    return bool(np.any((things[1:] == things[:-1]) & (begins_s[1:] < ends_s[:-1])))
