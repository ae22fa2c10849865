"""At what clock times a gain falls: the hours and days that hold most of it, in words."""

from typing import Any, NamedTuple

import numpy as np

from batsim.display import listed
from batsim.measures.profile import QUARTER_HOUR_MIN
from batsim.measures.windows import Flags, Floats, Worked
from batsim.scenario.parts.calendar import Window, group_windows, joined, shift_windows
from batsim.scenario.parts.week import DAY_MIN, DAYS, FULL_DAYS, WEEK_MIN, clock_text
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import student_interval

HALF_OF_GAIN_SHARE = 0.5
"""Least part of the gain that the windows hold together: what holds the greater part may stand for the whole."""
THIRD_OF_TIME_SHARE = 1.0 / 3.0
"""Most of the working time that they take: half of the gain in a third of the time is half as dense again as an even
spread; one shift of three may still be named."""
LEAST_WINDOW_SHARE = 0.1
"""Least part of the gain in each window, so that there are few of them and chance does not add more."""
MOST_WINDOWS = 3
"""Most windows, one for each shift change of a day: more are no answer to when."""
QUARTER_OF_DAY_SHARE = 0.25
"""A day is named when its gain in a window is at least this part of that of the mean day."""
BINS_A_DAY = round(DAY_MIN / QUARTER_HOUR_MIN)
WEEKDAYS, EVERY_DAY = (0, 1, 2, 3, 4), tuple(range(7))


class ClockWindow(NamedTuple):
    """A time of day on some weekdays; one that runs over midnight belongs to the day on which it begins."""

    start_min: float
    """Begins, after midnight. [min]"""
    end_min: float
    """Ends, after that midnight. [min]"""
    days: tuple[int, ...]
    """Days of the week, from 0 for Monday."""

    @property
    def clock(self) -> str:
        """Such as `14:00 to 14:45`; empty for the whole day."""
        if self.end_min - self.start_min >= DAY_MIN:
            return ""
        end = self.end_min if self.end_min <= DAY_MIN else self.end_min - DAY_MIN
        return f"{clock_text(self.start_min)} to {clock_text(end)}"

    @property
    def bins(self) -> np.ndarray[Any, np.dtype[np.intp]]:
        """Numbers of its bins in the week, those of each day in a row."""
        inside = np.arange(round(self.start_min / QUARTER_HOUR_MIN), round(self.end_min / QUARTER_HOUR_MIN))
        bins: np.ndarray[Any, np.dtype[np.intp]] = np.add.outer(BINS_A_DAY * np.array(self.days, int), inside)
        return bins % (7 * BINS_A_DAY)


class Concentration(NamedTuple):
    """Where in the week a gain falls."""

    windows: tuple[ClockWindow, ...]
    """In the order of the clock; none when the gain falls into no few hours."""
    shift: str
    """Shift that holds it instead; empty when it is spread over the shifts."""
    share: float
    """Part of the gain there; above 1 when the rest is a loss; not a number when it is spread. [-]"""

    @property
    def text(self) -> str:
        """Such as `14:00 to 14:45 on weekdays (62 % of the gain)`, or that it is spread over the shifts."""
        if not self.windows and not self.shift:
            return "spread over the shifts"
        by_days: dict[tuple[int, ...], list[str]] = {}
        for window in self.windows:
            by_days.setdefault(window.days, []).append(window.clock)
        part = "all" if self.share >= 0.995 else f"{100.0 * self.share:.0f} %"
        times = "; ".join(_when(clocks, days) for days, clocks in by_days.items())
        return f"{times or f'in shift {self.shift!r}'} ({part} of the gain)"


def concentration(gains: Floats, working_min: Floats, shifts: dict[str, Floats], confidence: float) -> Concentration:
    """Find the hours and days, or else the shift, in which a gain concentrates.

    The windows are the clock times above a level of the gain, summed over the days; the level is lowered until windows
    of at least a tenth of the gain each hold half of it together. They are dropped again when they are too many, when
    they take more than a third of the working time, or when chance may have picked them: windows found without a
    replication must hold clearly more than a third of the gain in it, over all replications.

    A shift stands in for them when it holds half of the gain, half as much again as its part of the working time, and
    clearly more than that part over all replications.

    Parameters
    ----------
    gains, shape (replications, bins of a week)
        Truck minutes gained in each quarter of an hour. [min]
    working_min, shape (bins of a week,)
        The site's working time in each. [min]
    shifts
        By name, shape as before: which part of each bin belongs to the shift. [-]
    confidence
        With which there must be more of the gain than an even spread would bring. [-]

    Returns
    -------
    Concentration
        Windows or shift, the part of the gain there, and how to say it.
    """
    mean = np.mean(gains, axis=0)
    total = float(np.sum(mean))
    windows = _windows(mean, working_min)
    if windows and not _by_chance(gains, working_min, confidence):
        return Concentration(windows, "", _sum(mean, windows) / total)
    held = {name: float(np.sum(mean * part)) for name, part in shifts.items()}
    shift = max(held, key=lambda name: held[name], default="")
    if shift and total > 0.0:
        time_share = float(np.sum(working_min * shifts[shift]) / np.sum(working_min))
        enough = max(HALF_OF_GAIN_SHARE, time_share * HALF_OF_GAIN_SHARE / THIRD_OF_TIME_SHARE)
        over_even = np.sum(gains * (shifts[shift] - time_share), axis=1)
        if held[shift] >= enough * total and (len(gains) == 1 or student_interval(over_even, confidence).low > 0.0):
            return Concentration((), shift, held[shift] / total)
    return Concentration((), "", float("nan"))


def _by_chance(gains: Floats, working_min: Floats, confidence: float) -> bool:
    """Tell whether chance may have picked the windows; one replication cannot tell."""
    mean, count = np.mean(gains, axis=0), len(gains)
    if count == 1:
        return False
    others = [(mean * count - gain) / (count - 1) for gain in gains]
    held_out = [_sum(gain, _windows(rest, working_min)) for gain, rest in zip(gains, others, strict=True)]
    over_even = np.array(held_out) - THIRD_OF_TIME_SHARE * np.sum(gains, axis=1)
    return not student_interval(over_even, confidence).low > 0.0


def working_profile(scenario: Scenario) -> Floats:
    """Minutes in each quarter of an hour of the week in which trucks of any group work, holidays left out. [min]"""
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    plain = scenario.week.in_normal_weeks().model_copy(update={"holidays": ()})
    return _in_bins(group_windows(plain, shifts, 3 * WEEK_MIN))


def shift_profiles(scenario: Scenario) -> dict[str, Floats]:
    """Part of each quarter of an hour of the week that belongs to each shift of trucks, breaks and all, by name. [-]"""
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    stated = scenario.week.in_normal_weeks().shifts
    whole = {name: stated[name].model_copy(update={"breaks": (), "handover_min": 0.0}) for name in shifts}
    return {
        name: _in_bins(joined(shift_windows(shift, 3 * WEEK_MIN))) / QUARTER_HOUR_MIN for name, shift in whole.items()
    }


def _in_bins(windows: list[Window]) -> Floats:
    """Minutes of windows in each quarter of an hour of the second of three weeks. [min]"""
    edges = WEEK_MIN + QUARTER_HOUR_MIN * np.arange(7 * BINS_A_DAY + 1, dtype=np.float64)
    return np.diff(Worked(tuple(windows))(edges))


def _windows(gain: Floats, working_min: Floats) -> tuple[ClockWindow, ...]:
    """Windows above the highest level at which they hold half of the gain; none when they are too many or too long."""
    total, by_clock = float(np.sum(gain)), np.sum(gain.reshape(7, BINS_A_DAY), axis=0)
    if total <= 0.0:
        return ()
    for level in np.unique(by_clock[by_clock > 0.0])[::-1]:
        kept = _above(level, by_clock, gain, working_min)
        if _sum(working_min, kept) > THIRD_OF_TIME_SHARE * float(np.sum(working_min)):
            return ()
        if _sum(gain, kept) >= HALF_OF_GAIN_SHARE * total:
            return kept if len(kept) <= MOST_WINDOWS else ()
    return ()


def _above(level: float, by_clock: Floats, gain: Floats, working_min: Floats) -> tuple[ClockWindow, ...]:
    """Windows in which the gain over the clock is at least a level, as far as each holds a tenth of it or more."""
    least = LEAST_WINDOW_SHARE * float(np.sum(gain))
    runs = [run for run in _runs(by_clock >= level) if np.sum(by_clock[np.arange(*run) % BINS_A_DAY]) >= least]
    windows = [_on_days(run, gain, working_min) for run in runs]
    return tuple(window for window in windows if _sum(gain, (window,)) >= least)


def _runs(chosen: Flags) -> list[tuple[int, int]]:
    """First bin and the bin after the last of each run on the clock, in order; single gaps are closed.

    A run over midnight has its end beyond the bins of a day.
    """
    closed = chosen | (np.roll(chosen, 1) & np.roll(chosen, -1))
    if np.all(closed):
        return [(0, BINS_A_DAY)]
    begins = np.flatnonzero(closed & ~np.roll(closed, 1))
    ends = np.flatnonzero(closed & ~np.roll(closed, -1)) + 1
    return [(int(begin), int(ends[ends > begin][0]) if np.any(ends > begin) else int(ends[0]) + BINS_A_DAY)
            for begin in begins]  # fmt: skip


def _on_days(run: tuple[int, int], gain: Floats, working_min: Floats) -> ClockWindow:
    """Window of a run, on the days with work in it that bring at least a quarter of what the mean of them brings."""
    every = ClockWindow(run[0] * QUARTER_HOUR_MIN, run[1] * QUARTER_HOUR_MIN, EVERY_DAY)
    by_day, works = np.sum(gain[every.bins], axis=1), np.sum(working_min[every.bins], axis=1) > 0.0
    mean = float(np.sum(by_day)) / max(1, int(np.sum(works)))
    days = np.flatnonzero(works & (by_day >= QUARTER_OF_DAY_SHARE * mean))
    return every._replace(days=tuple(int(day) for day in days))


def _sum(amounts: Floats, windows: tuple[ClockWindow, ...]) -> float:
    """Sum over the bins of windows."""
    return sum(float(np.sum(amounts[window.bins])) for window in windows)


def _when(clocks: list[str], days: tuple[int, ...]) -> str:
    """Say the times and the days."""
    times = listed([clock for clock in clocks if clock])
    if len(days) > 2 and days not in (WEEKDAYS, EVERY_DAY) and (first := _first_of_range(days)) is not None:
        on = f"{DAYS[first]} to {DAYS[(first + len(days) - 1) % 7]}"
        return f"{times}, {on}" if times else on
    word = {WEEKDAYS: "on weekdays", EVERY_DAY: "daily"}.get(days)
    if word is None:
        word = f"on {FULL_DAYS[days[0]] if len(days) == 1 else listed([DAYS[day] for day in days])}"
    return f"{times} {word}".strip()


def _first_of_range(days: tuple[int, ...]) -> int | None:
    """Day with which days in a row begin, over the weekend too; None when they are not in a row."""
    firsts = [day for day in days if (day - 1) % 7 not in days]
    return firsts[0] if len(firsts) == 1 else None
