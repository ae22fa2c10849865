"""The weekly calendar laid out over the simulated time: when a group of shifts works."""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from itertools import accumulate, islice, pairwise
from math import ceil
from typing import NamedTuple

from batsim.scenario.parts.trucks import Duty
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, Shift, Week

Window = tuple[float, float]


def shift_windows(shift: Shift, until_min: float, closed: frozenset[int] = frozenset()) -> list[Window]:
    """Working windows of one shift from Monday 00:00 on, breaks and handover taken out.

    Parameters
    ----------
    shift
        The shift.
    until_min
        End of the simulated time; windows that start later are left out. [min]
    closed
        Days, counted from the first Monday, on which the shift does not start.

    Returns
    -------
    list of (start, end)
        In order, without overlap; a shift that began before the first Monday is included. [min]
    """
    pieces = _pieces(shift)
    return sorted(
        (max(start + begin, 0.0), start + end)
        for start in weekly_starts(shift.days, shift.from_min, until_min, closed)
        for begin, end in pieces
        if start + end > 0.0 and start + begin < until_min
    )


def weekly_starts(
    days: Sequence[int], from_min: float, until_min: float, closed: frozenset[int] = frozenset()
) -> list[float]:
    """When something starts that does so on some weekdays, from the week before the first Monday on. [min]"""
    return [
        week * WEEK_MIN + day * DAY_MIN + from_min
        for week in weeks_until(until_min)
        for day in days
        if week * 7 + day not in closed
    ]


def weeks_until(until_min: float) -> range:
    """Weeks from the one before the first Monday, -1, on."""
    return range(-1, ceil(until_min / WEEK_MIN))


def _pieces(shift: Shift) -> list[Window]:
    """Working parts of a shift, counted from its start. [min]"""
    pieces: list[Window] = []
    begin = shift.handover_min
    for pause in sorted(shift.breaks, key=lambda pause: (pause.start_min - shift.from_min) % DAY_MIN):
        start = (pause.start_min - shift.from_min) % DAY_MIN
        if start > begin:
            pieces.append((begin, start))
        begin = start + pause.length_min
    if shift.minutes > begin:
        pieces.append((begin, shift.minutes))
    return pieces


def first_week_min(warm_up_min: float) -> float:
    """Start of week 1, the first measured one; a warm-up of part of a week lies in week 1. [min]"""
    return WEEK_MIN * (warm_up_min // WEEK_MIN)


class Begin(NamedTuple):
    """How a run lies in the calendar."""

    warm_up_min: float = 0.0
    """Time before week 1. [min]"""
    start_week: int | None = None
    """Calendar week of week 1; every shift works in every week when not stated."""

    def closed_days(self, week: Week, shift: Shift, until_min: float) -> frozenset[int]:
        """Days on which a shift does not start, counted from the first Monday of the simulated time."""
        weeks_before = int(first_week_min(self.warm_up_min) // WEEK_MIN)
        holidays = frozenset((weeks_before + number - 1) * 7 + day for number, day in week.holidays)
        if shift.weeks is None or self.start_week is None:
            return holidays
        first = self.start_week - weeks_before
        others = [n for n in weeks_until(until_min) if not any(span.holds(first + n) for span in shift.weeks)]
        return holidays.union(number * 7 + day for number in others for day in range(7))


ANY_WEEK = Begin()
"""A week like any other, with all shifts."""


def joined(windows: list[Window]) -> list[Window]:
    """Join windows that touch or overlap."""
    result: list[Window] = []
    for start, end in sorted(windows):
        if result and start <= result[-1][1]:
            result[-1] = (result[-1][0], max(end, result[-1][1]))
        else:
            result.append((start, end))
    return result


def group_windows(week: Week, names: Sequence[str], until_min: float, begin: Begin = ANY_WEEK) -> list[Window]:
    """Working windows of several shifts together, joined where one follows the other at once. [min]"""
    shifts = [week.shifts[name] for name in names]
    return joined(_windows_of(week, shifts, until_min, begin))


def _windows_of(week: Week, shifts: list[Shift], until_min: float, begin: Begin) -> list[Window]:
    """Working windows of several shifts. [min]"""
    return [
        window
        for shift in shifts
        for window in shift_windows(shift, until_min, begin.closed_days(week, shift, until_min))
    ]


def break_starts(
    week: Week, names: Sequence[str], windows: list[Window], until_min: float, begin: Begin = ANY_WEEK
) -> frozenset[float]:
    """Ends of those windows that a break or a handover follows, not the end of work or a holiday. [min]"""
    spans = joined(whole_shifts(week, names, until_min, begin))
    starts = [start for start, _ in spans]
    return frozenset(
        end
        for (_, end), (start, _) in pairwise(windows)
        if (span := bisect_right(starts, end) - 1) >= 0 and start <= spans[span][1]
    )


def whole_shifts(week: Week, names: Sequence[str], until_min: float, begin: Begin = ANY_WEEK) -> list[Window]:
    """Shifts of several from start to end in order, breaks and handover included. [min]"""
    whole = {"breaks": (), "handover_min": 0.0}
    return sorted(_windows_of(week, [week.shifts[name].model_copy(update=whole) for name in names], until_min, begin))


def manned_windows(week: Week, attendants: Mapping[str, int], needed: int, until_min: float) -> list[Window]:
    """Windows in which at least so many attendants are on duty together. [min]"""
    edges: list[tuple[float, int]] = []
    for name, count in attendants.items():
        for start, end in shift_windows(week.shifts[name], until_min):
            edges += [(start, count), (end, -count)]
    manned: list[Window] = []
    on_duty, since = 0, 0.0
    for time, change in sorted(edges):
        before, on_duty = on_duty, on_duty + change
        if before < needed <= on_duty:
            since = time
        elif on_duty < needed <= before and time > since:
            manned.append((since, time))
    return joined(manned)


def common(first: list[Window], second: list[Window]) -> list[Window]:
    """Windows in which both sets of windows work. [min]"""
    others = sorted(second)
    ends = list(accumulate((end for _, end in others), max))
    found: list[Window] = []
    for start, end in first:
        for other_start, other_end in islice(others, bisect_right(ends, start), None):
            if other_start >= end:
                break
            if other_end > start:
                found.append((max(start, other_start), min(end, other_end)))
    return sorted(found)


def overlap_min(first: list[Window], second: list[Window]) -> float:
    """Minutes in which both sets of windows work."""
    return sum(end - start for start, end in common(first, second))


def working_days_per_week(week: Week, names: list[str]) -> int:
    """Working days in a week; a shift belongs to the day that holds its middle.

    So the night shift that starts on Sunday 22:00 is Monday's, and five days with three shifts are
    five days.
    """
    middles = (
        (day * DAY_MIN + shift.from_min + shift.minutes / 2.0) % WEEK_MIN
        for shift in (week.shifts[name] for name in names)
        for day in shift.days
    )
    return len({int(middle // DAY_MIN) for middle in middles})


def mean_shift_min(week: Week, names: Sequence[str]) -> float:
    """Mean working minutes of one shift of several, breaks and handover taken out. [min]"""
    often = _often(week, names)
    return sum(number * shift_min(week, name) for name, number in often.items()) / sum(often.values())


def shift_min(week: Week, name: str) -> float:
    """Working minutes of a shift, breaks and handover taken out. [min]"""
    shift = week.shifts[name]
    return shift.minutes - shift.handover_min - sum(pause.length_min for pause in shift.breaks)


def mean_kw(week: Week, names: Sequence[str], duty: Duty) -> float:
    """Mean power over the working time of several shifts. [kW]"""
    if not isinstance(duty.mean_kw, dict):
        return duty.kw_in("", mean_shift_min(week, names))
    worked_min = {name: number * shift_min(week, name) for name, number in _often(week, names).items()}
    whole_min = sum(worked_min.values())
    return sum(duty.mean_kw[name] * minutes for name, minutes in worked_min.items()) / whole_min if whole_min else 0.0


def _often(week: Week, names: Sequence[str]) -> dict[str, int]:
    """How often a week each of several shifts is worked; once each where none works in it."""
    often = {name: len(week.shifts[name].days) for name in names}
    return often if any(often.values()) else dict.fromkeys(often, 1)


def full_day_min(week: Week, names: Sequence[str]) -> float:
    """Working minutes of a day on which several shifts all work, breaks left out; those that overlap count once. [min]

    Shifts over midnight count for the day on which they begin.
    """
    windows = group_windows(week, names, 3 * WEEK_MIN)
    return overlap_min(windows, [(WEEK_MIN, 2 * WEEK_MIN)]) / max(len(week.shifts[name].days) for name in names)


def minutes_per_working_day(week: Week, names: list[str]) -> float:
    """Minutes of a working day in which any of the shifts works, holidays left out. [min]"""
    windows = joined([window for name in names for window in shift_windows(week.shifts[name], 3 * WEEK_MIN)])
    a_week = overlap_min(windows, [(WEEK_MIN, 2 * WEEK_MIN)])
    return a_week / working_days_per_week(week, names)
