"""Local times in the cells of a log: ISO 8601 or a stated form, with the clock changes of a zone."""

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import available_timezones

import numpy as np
import pandas as pd

from batsim.errors import Problem
from batsim.measures.windows import Flags, Floats
from batsim.scenario.parts.faults import did_you_mean, shown

ISO = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ](\d{2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?))?( ?(?:Z|[+-]\d{2}:?\d{2}))?")
WITH_OFFSET = re.compile(r"T.*(?:Z|[+-][\d:]+)$")
ISO_FORM = "ISO 8601, such as 2024-03-04T14:05"
YEARS = (1990, 2100)
"""Years in which a log may lie."""
PROBE = datetime(2024, 11, 23, 17, 45, tzinfo=UTC)
"""A time that a form must be able to write and read again."""
NEAR_S = 10 * 86_400.0
"""What is near a row in a log; in one with few rows, some steps from row to row. [s]"""
NEAR_STEPS = 3
FAR_TIMES_NEAR = 1.5
"""How much farther off its place a row is that is out of order by months."""
NEIGHBOURS = 5
"""Rows before and after one that say where it belongs."""
SURE = 3
"""How many times more of them are near the date with day and month exchanged."""
MONTHS = 12
NOT_READ, NO_SUCH_TIME, TWICE, SWAPPED, OUT_OF_ORDER = (
    "no time", "time that the clock leaves out", "time that the clock shows twice", "day and month swapped",
    "out of order by months",
)  # fmt: skip
RULES = {
    NO_SUCH_TIME: "the clock leaves this time out when it goes forward in {zone}",
    TWICE: "the clock shows this time twice when it goes back in {zone}; write it with its offset from UTC",
    SWAPPED: "day and month are swapped: it is months away from its neighbours, which it fits the other way round",
    OUT_OF_ORDER: "is months away from the rows before and after it",
}


class Clock:
    """How the times of a log are written.

    Parameters
    ----------
    file
        Name of the file, for messages.
    form
        As `datetime.strptime` takes it; ISO 8601 where none is stated.
    zone
        Name in the time zone database, such as Europe/Madrid; clocks never change where none is stated.
    days
        Whether a form will do that says the day alone.
    """

    def __init__(self, file: str, form: str | None, zone: str | None, *, days: bool) -> None:
        self.file, self.form, self.zone = file, form, zone
        self.problems: list[Problem] = []
        midnight = PROBE.replace(hour=0, minute=0)
        if form is not None and not (_keeps(form, PROBE) or (days and _keeps(form, midnight))):
            rule = "needs a form with day, month, year and time, such as '%d.%m.%Y %H:%M'"
            self.problems.append(Problem(file, 0, 0, "times", rule, shown(form)))
        if zone is not None and zone not in (known := available_timezones()):
            rule = f"needs a name of the time zone database, such as Europe/Madrid{did_you_mean(zone, sorted(known))}"
            self.problems.append(Problem(file, 0, 0, "zone", rule, shown(zone)))

    @property
    def text(self) -> str:
        """How times are read, in words."""
        form = ISO_FORM if self.form is None else f"written as {self.form}"
        change = (
            "without a change of the clock" if self.zone is None else f"of {self.zone}, with its changes of the clock"
        )
        return f"local times {change}, {form}; durations are those that elapsed"

    def is_day(self, cell: str) -> bool:
        """Whether a cell says a day alone."""
        if self.form is not None:
            return not _keeps(self.form, PROBE)
        parts = ISO.fullmatch(cell)
        return parts is not None and not parts[2]

    def read(self, cells: Sequence[str], *, days: bool = False) -> "Times":
        """Read cells; a day alone is its midnight where days will do."""
        return Times(self, cells, days=days)


class Times:
    """Times of a column."""

    def __init__(self, clock: Clock, cells: Sequence[str], *, days: bool) -> None:
        written, offset = _parsed(clock.form, cells, days=days)
        self.has_offset: bool = bool(offset.any())
        self.days_alone: Flags = np.array([days and clock.is_day(cell) for cell in cells], dtype=bool)
        """Cells that say no time of the day."""
        self.wrong: dict[str, Flags] = {}
        """Cells that cannot be used, by reason."""
        blank = np.array([not cell for cell in cells], dtype=bool)
        utc = written.copy()
        self.wrong[NOT_READ] = ~blank & np.isnan(written)
        if clock.zone is not None:
            utc, missing, twice = _in_zone(written, offset, clock.zone)
            self.wrong |= {NO_SUCH_TIME: missing, TWICE: twice}
        self.utc_s: Floats = utc
        """Seconds since 1970 in UTC; by the clock where no zone is stated. [s]"""
        self.wall_s: Floats = _wall(utc, clock.zone)
        """The same by the clock of the site. [s]"""
        swapped, out = _misplaced(self.wall_s)
        self.wrong |= {SWAPPED: swapped, OUT_OF_ORDER: out}


def monday_before(wall_s: float) -> date:
    """The Monday on or before a time by the clock. [s since 1970]"""
    day = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=wall_s)).date()
    return day - timedelta(days=day.weekday())


def seconds_of(day: date) -> float:
    """Midnight at the beginning of a day by the clock. [s since 1970]"""
    return (day - date(1970, 1, 1)).total_seconds()


def _keeps(form: str, probe: datetime) -> bool:
    """Whether a form says all of a time, to the minute."""
    try:
        again = datetime.strptime(probe.strftime(form), form)
    except (ValueError, UnicodeError, re.error):
        return False
    return again.replace(tzinfo=UTC) == probe


def _parsed(form: str | None, cells: Sequence[str], *, days: bool) -> tuple[Floats, Flags]:
    """Seconds since 1970 as they are written, or in UTC where a cell has its offset from it."""
    if form is not None:
        has_offset = "%z" in form
        return _seconds(list(cells), form, utc=has_offset), np.full(len(cells), has_offset)
    texts = [_iso_text(cell, days=days) for cell in cells]
    offset = np.array([bool(WITH_OFFSET.search(text)) for text in texts], dtype=bool)
    seconds = np.full(len(cells), np.nan)
    for those in (offset, ~offset):  # pandas reads them apart
        rows = np.flatnonzero(those)
        if rows.size:
            seconds[rows] = _seconds([texts[row] for row in rows], "ISO8601", utc=True)
    return seconds, offset


def _iso_text(cell: str, *, days: bool) -> str:
    """A time in one form of ISO 8601; empty where it is none."""
    parts = ISO.fullmatch(cell)
    if parts is None or not (days or parts[2]):
        return ""
    return f"{parts[1]}T{(parts[2] or '00:00').replace(',', '.')}{(parts[3] or '').strip()}"


def _seconds(cells: list[str], form: str, *, utc: bool) -> Floats:
    """Seconds since 1970; not a number where a cell is no time of that form, or of no year in which a log may lie."""
    found = pd.to_datetime(pd.Series(cells, dtype=object), format=form, errors="coerce", utc=utc)
    times = pd.DatetimeIndex(found)
    times = times.tz_localize(None) if times.tz is not None else times
    there = (times.year >= YEARS[0]) & (times.year < YEARS[1])
    return _as_seconds(times.where(there))


def _as_seconds(times: Any) -> Floats:  # noqa: ANN401 - an index of times without zone
    """Seconds since 1970; not a number where there is no time. [s]"""
    whole = times.to_numpy().astype("datetime64[ms]")
    seconds: Floats = np.where(np.isnat(whole), np.nan, whole.astype(np.int64) / 1000.0)
    return seconds


def _index(seconds: Floats) -> pd.DatetimeIndex:
    """Times of seconds since 1970."""
    known = np.isfinite(seconds)
    whole = np.where(known, np.round(1000.0 * seconds), 0.0).astype("datetime64[ms]")
    return pd.DatetimeIndex(np.where(known, whole, np.datetime64("NaT", "ms")))


def _in_zone(written: Floats, offset: Flags, zone: str) -> tuple[Floats, Flags, Flags]:
    """Seconds in UTC of times by the clock of a zone, and which of them do not exist, or exist twice."""
    times = _index(np.where(offset, np.nan, written))
    first, second = (
        times.tz_localize(zone, ambiguous=np.full(len(times), before), nonexistent="NaT") for before in (True, False)
    )
    utc = [_as_seconds(each.tz_convert("UTC").tz_localize(None)) for each in (first, second)]
    local = ~offset & ~np.isnan(written)
    missing = local & np.isnan(utc[0])
    twice = local & ~missing & (utc[0] != utc[1])
    return np.where(offset, written, np.where(twice, np.nan, utc[0])), missing, twice


def _wall(utc_s: Floats, zone: str | None) -> Floats:
    """Seconds by the clock of a zone."""
    if zone is None:
        return utc_s
    return _as_seconds(_index(utc_s).tz_localize("UTC").tz_convert(zone).tz_localize(None))


def _misplaced(wall_s: Floats) -> tuple[Flags, Flags]:
    """Which rows are out of order by months: those that fit with day and month swapped, and the others."""
    swapped, out = np.zeros(wall_s.size, dtype=bool), np.zeros(wall_s.size, dtype=bool)
    rows = np.flatnonzero(np.isfinite(wall_s))
    times = wall_s[rows]
    near_s = max(NEAR_S, NEAR_STEPS * float(np.median(np.abs(np.diff(times))))) if times.size > 1 else NEAR_S
    far_s = FAR_TIMES_NEAR * near_s
    before = pd.Series(times).shift(1).rolling(NEIGHBOURS, min_periods=1).median().to_numpy()
    after = pd.Series(times[::-1]).shift(1).rolling(NEIGHBOURS, min_periods=1).median().to_numpy()[::-1]
    late = times - np.where(np.isnan(after), before, after) > far_s
    early = np.where(np.isnan(before), after, before) - times > far_s
    for place in np.flatnonzero(late | early).tolist():
        around = np.delete(times[max(0, place - NEIGHBOURS) : place + NEIGHBOURS + 1], min(place, NEIGHBOURS))
        other = _day_and_month_swapped(times[place])
        here, there = (int(np.sum(np.abs(around - time) < near_s)) for time in (times[place], other))
        swapped[rows[place]] = there > 0 and there >= SURE * here
        out[rows[place]] = here == 0 and there == 0 and around.size >= NEIGHBOURS
    return swapped, out


def _day_and_month_swapped(wall_s: float) -> float:
    """A time with day and month exchanged; not a number where that is none."""
    time = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(wall_s))
    if time.day > MONTHS or time.day == time.month:
        return float("nan")
    return time.replace(month=time.day, day=time.month).timestamp()
