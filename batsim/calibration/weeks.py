"""Weeks of some logs: those by which laws are fitted, and those that are held out to judge the model by."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from batsim.calibration.log import Gap, Log
from batsim.calibration.log_weeks import hours_of_shift, in_calendar, shifts_of, weeks_text
from batsim.measures.windows import Floats
from batsim.scenario.parts.week import WEEK_MIN, WEEKS_A_YEAR
from batsim.scenario.site import Scenario

HALF_A_DAY_MIN = 720.0
"""A log that begins later than this after the first shift of a week, or ends so long before its last, lacks a part."""
NO_DAY = date(1970, 1, 5)
"""Monday of logs without any time."""


class SplitWeeks(NamedTuple):
    """How the weeks of some logs are used; they count from 0 at `first_monday`."""

    first_monday: date
    fitted: tuple[int, ...]
    """By which laws are fitted, parts of weeks among them."""
    held_out: tuple[int, ...]
    """Whole weeks of all logs that are kept for judging the model; none where there are too few."""

    @property
    def judged(self) -> tuple[int, ...]:
        """Weeks by which the model is judged: those held out, or all where none could be."""
        return self.held_out or self.fitted

    @property
    def independent(self) -> bool:
        """Whether the model is judged by weeks to which nothing was fitted."""
        return bool(self.held_out)

    def calendar_week(self, week: int) -> int:
        """Number of a week as a scenario counts them."""
        return min(WEEKS_A_YEAR, self._day(week).isocalendar().week)

    def text(self, weeks: Sequence[int]) -> str:
        """Weeks in words, such as `weeks 12-15 and 17 of 2024`."""
        return weeks_text(self.first_monday, weeks)

    def _day(self, week: int) -> date:
        return self.first_monday + timedelta(weeks=week)


def split_weeks(logs: Iterable[Log], scenario: Scenario, hold_out_share: float) -> SplitWeeks:
    """Hold some whole weeks out, the last ones, and leave the others for fitting.

    Parameters
    ----------
    logs
        All of them count from the same Monday.
    scenario
        The site; its shifts say when a week begins and ends.
    hold_out_share
        Share of the whole weeks. [-]
    """
    logs = list(logs)
    monday = next((log.first_monday for log in logs if log.first_monday is not None), NO_DAY)
    spans = [span for log in logs if (span := _span(log)) is not None]
    if not spans:
        return SplitWeeks(monday, (), ())
    firsts, lasts = zip(*spans, strict=True)
    weeks = range(int(min(firsts) // WEEK_MIN), int(max(lasts) // WEEK_MIN) + 1)
    gaps, here = [gap for log in logs for gap in log.gaps], in_calendar(scenario, monday)
    whole = [week for week in weeks if _is_whole(week, here, (max(firsts), min(lasts)), gaps)]
    held_out = _last(whole, hold_out_share)
    return SplitWeeks(monday, tuple(week for week in weeks if week not in held_out), held_out)


def _last(weeks: Sequence[int], share: float) -> tuple[int, ...]:
    """Last weeks of some, that share of them but one at least; none of a single one."""
    if len(weeks) < 2 or share <= 0.0:
        return ()
    return tuple(weeks[len(weeks) - max(1, round(share * len(weeks))) :])


def _span(log: Log) -> tuple[float, float] | None:
    """First and last begin of a log; None where no time is known. [min]"""
    if "start_min" not in log.rows or not (times := log.rows["start_min"].dropna()).size:
        return None
    return float(times.min()), float(times.max())


def _is_whole(week: int, scenario: Scenario, there: tuple[float, float], gaps: Iterable[Gap]) -> bool:
    """Whether all logs have the whole of a week, without a stretch in which one of them was silent. [min]"""
    from_min, to_min = week * WEEK_MIN, (week + 1) * WEEK_MIN
    starts = [
        start
        for shift in shifts_of(scenario)
        for start, end in hours_of_shift(scenario, shift, [week])
        if from_min <= start and end <= to_min
    ]
    if not starts:
        return False
    held = there[0] <= min(starts) + HALF_A_DAY_MIN and there[1] >= max(starts) - HALF_A_DAY_MIN
    return held and not any(gap.from_min < to_min and gap.to_min > from_min for gap in gaps)


class ShiftTimes:
    """Shifts of the trucks of a site over the weeks of its logs.

    Parameters
    ----------
    scenario
        The site.
    weeks
        Its weeks.
    """

    def __init__(self, scenario: Scenario, weeks: SplitWeeks) -> None:
        here, numbers = in_calendar(scenario, weeks.first_monday), (*weeks.fitted, *weeks.held_out, 0)
        self._windows = {name: np.array(hours_of_shift(here, name, numbers)) for name in shifts_of(here)}

    def of(self, shifts: Sequence[str], start_min: Floats) -> "np.ndarray[tuple[int], np.dtype[np.object_]]":
        """Shift in which each event begins, else the one that begins nearest; empty where its time is not known."""
        found = np.full(start_min.size, "", dtype=object)
        best = np.full(start_min.size, np.inf)
        for name in shifts:
            if not (windows := self._windows[name]).size:
                continue
            starts, ends = windows.T
            before = np.clip(np.searchsorted(starts, start_min, side="right") - 1, 0, None)
            for place in (before, np.minimum(before + 1, starts.size - 1)):
                inside = (start_min >= starts[place]) & (start_min < ends[place])
                off = np.where(inside, 0.0, np.abs(start_min - starts[place]))
                nearer = off < best
                found[nearer], best[nearer] = name, off[nearer]
        return found

    def ends(self, shifts: Sequence[str]) -> Floats:
        """When shifts end, in order. [min]"""
        return np.unique(np.concatenate([self._windows[name][:, 1] for name in shifts if self._windows[name].size]))
