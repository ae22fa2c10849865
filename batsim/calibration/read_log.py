"""A log of a site: read from a table, checked row by row, nothing dropped in silence."""

import csv
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from batsim import units
from batsim.calibration import sense
from batsim.calibration.amounts import Amounts
from batsim.calibration.columns import DIMENSIONS, PLAIN_SHARE, Header, needs
from batsim.calibration.gaps import gaps_in
from batsim.calibration.log import Log
from batsim.calibration.sieve import Sieve
from batsim.calibration.times import NOT_READ, RULES, Clock, Times, monday_before, seconds_of
from batsim.errors import Problem, ScenarioError, require
from batsim.measures.windows import Flags, Floats
from batsim.scenario.parts.faults import MOST_ENTRIES, did_you_mean, shown
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.scenario.text.observed import SIGNS
from batsim.scenario.text.tables import Row, Table, read_table, text_of
from batsim.study.event_log import KIND_OF_ACTIVITY

KINDS = ("exchanges", "charges", "trucks", "steps")
LARGEST_LOG_BYTES = 256 * 1024 * 1024
UNITS = frozenset((PLAIN_SHARE, *(unit for key in DIMENSIONS.values() for unit in units.DIMENSIONS[key].units)))
SECONDS_A_MINUTE = 60.0
TOO_WIDE = "too many cells"
TIMES, DAY_OR_TIME, AMOUNTS = ("time", "day or time"), "day or time", tuple(DIMENSIONS)
SUFFIXES = {"duration": "min", "share": "share", "charge": "ah", "energy": "kwh"}
"""End of the name of a column in the rows of a log, by what it is."""
MOST_TIMES_LONGEST, LEAST_ENDED = 2.0, 5
"""Times the longest of its kind that what has no end may go on until the log ends, where so many have an end; beyond,
its end was forgotten."""
SAME_THING = {"exchanges": ("truck", "battery"), "charges": ("battery", "charger"), "steps": ("truck", "battery")}
"""Columns that say of which thing an event without an end is, by kind of log: the first that is filled in."""


def read_log(
    path: str | Path,
    kind: str,
    *,
    scenario: Scenario | None = None,
    mapping: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    decimal: str | None = None,
    times: str | None = None,
    zone: str | None = None,
    first_monday: date | None = None,
    strict: bool = False,
) -> Log:
    """Read a log of a site: a table with a header, one row for each event.

    Parameters
    ----------
    path
        The file: UTF-8 text; cells are separated by tabs, semicolons or commas.
    kind
        exchanges, charges, trucks or steps. A log of events as `event_log` writes it may be read as each of them.
    scenario
        The site: names that it does not know, days without a shift and more ampere-hours than its batteries can take
        are found out.
    mapping
        Header of a column by its name, such as `{"start": "Begin"}`, where it is not found by itself.
    units
        Unit of a column by its name, where its header does not say it.
    decimal
        `point` or `comma`, where the numbers may be read in two ways.
    times
        Form of the times as `datetime.strptime` takes it, such as `%d.%m.%Y %H:%M`; ISO 8601 if not stated.
    zone
        Time zone of the site, such as Europe/Madrid; without it the clock never changes.
    first_monday
        Monday from which minutes are counted; the one before the first event if not stated.
    strict
        Whether to refuse a log of which a row would be left out.

    Returns
    -------
    Log
        Rows that make sense, and those that are left out with their line and reason.

    Raises
    ------
    ScenarioError
        With everything that is wrong, when columns or units are missing or doubtful, or the file is no table; when
        `strict`, also with the rows that would be left out.
    """
    require(kind in KINDS, f"a log has one of the kinds {', '.join(KINDS)} (got {kind})")
    reader = _Reader(str(path), kind, scenario, decimal, Clock(str(path), times, zone, days=kind == "trucks"))
    table = reader.table(mapping or {}, units or {})
    log = reader.log(table, first_monday)
    if strict and log.left_out:
        raise ScenarioError(log.file, _in_short(log))
    return log


def _in_short(log: Log) -> list[Problem]:
    """Problems of rows that are left out; many with the same reason are cut short."""
    problems: list[Problem] = []
    by_reason = sorted(log.left_out, key=lambda each: (each.reason, each.line))
    for reason, those in groupby(by_reason, key=lambda each: each.reason):
        found = [each.problem for each in those]
        problems += found[:MOST_ENTRIES]
        if more := found[MOST_ENTRIES:]:
            problems.append(Problem(log.file, more[0].line, 1, "", f"{len(more)} more rows from here on: {reason}"))
    return problems


class _Reader:
    """What reads one log."""

    def __init__(self, file: str, kind: str, scenario: Scenario | None, decimal: str | None, clock: Clock) -> None:
        self.file, self.kind, self.scenario, self.decimal, self.clock = file, kind, scenario, decimal, clock
        self.problems = list(clock.problems)
        if decimal not in (None, *SIGNS):
            rule = f"needs point or comma{did_you_mean(str(decimal), list(SIGNS))}"
            self.problems.append(Problem(file, 0, 0, "decimal", rule, shown(decimal)))
            self.decimal = None

    def table(self, mapping: Mapping[str, str], stated: Mapping[str, str]) -> Table:
        """Read the table and find its columns."""
        try:
            table = read_table(text_of(Path(self.file), LARGEST_LOG_BYTES), UNITS)
        except (ValueError, csv.Error) as error:
            no_table = "is no table: a quote is not closed where its cell ends"
            raise self._refused(no_table if isinstance(error, csv.Error) else str(error)) from None
        if table is None or not table.rows:
            rule = "needs a header and rows below it"
            raise self._refused(rule)
        self.header = Header(self.file, self.kind, table, mapping, stated)
        self.problems += self.header.problems
        self._stop()
        return table

    def log(self, table: Table, first_monday: date | None) -> Log:
        """Read the rows of a table that are of this kind."""
        rows = self._of_kind(table.rows)
        cells = {name: _cells(rows, found.place) for name, found in self.header.found.items() if name != "activity"}
        self.sieve = Sieve(self.file, [row.line for row in rows], cells)
        width = len(table.columns)
        rule = f"has more cells than the header, which has {width}; put a cell in which a separator stands in quotes"
        self.sieve.leave_out(np.array([any(row.cells[width:]) for row in rows], dtype=bool), TOO_WIDE, "", rule)
        amounts, times = self._amounts(table), self._times()
        self._stop()
        frame = self._frame(amounts, times, first_monday)
        kept = self.sieve.kept
        return Log(
            kind=self.kind,
            file=self.file,
            rows=frame[kept].reset_index(drop=True),
            left_out=self.sieve.left_out,
            gaps=gaps_in(frame["start_min"].to_numpy()[kept], self.sieve.lines[kept]) if "start_min" in frame else (),
            read=len(rows),
            others=len(table.rows) - len(rows),
            first_monday=self.monday,
            headers={name: found.header for name, found in self.header.found.items()},
            not_read=self.header.not_read,
            clock=self.clock.text,
        )

    def _refused(self, rule: str) -> ScenarioError:
        """Error of a file that is no log at all."""
        return ScenarioError(self.file, [*self.problems, Problem(self.file, 0, 0, "", rule)])

    def _stop(self) -> None:
        """Refuse the log if anything is wrong with it as a whole."""
        if self.problems:
            raise ScenarioError(self.file, self.problems)

    def _of_kind(self, rows: list[Row]) -> list[Row]:
        """Rows of this kind where the table is a log of events about several."""
        found = self.header.found.get("activity") or self.header.found.get("step")
        if found is None or found.header.casefold() != "activity":
            return rows
        kinds = [KIND_OF_ACTIVITY.get(cell) for cell in _cells(rows, found.place)]
        # Steps of the site may be among them; a log that knows none of these words means something else by them.
        own = {self.kind, None} if self.kind == "steps" or not any(kinds) else {self.kind}
        return [row for row, kind in zip(rows, kinds, strict=True) if kind in own]

    def _amounts(self, table: Table) -> dict[str, Floats]:
        """Amounts by name of their column."""
        read = {}
        for name, found in self.header.found.items():
            if found.column.what in AMOUNTS:
                cells, lines = self.sieve.cells[name], self.sieve.lines.tolist()
                amounts = Amounts(self.file, table.line, found, cells, lines, self.decimal)
                self.problems += amounts.problems
                sign = f" with a decimal {self.decimal}" if self.decimal else ""
                rule = f"needs a number{sign}, or one with a unit of {found.column.what}"
                self.sieve.leave_out(amounts.wrong, sense.NO_NUMBER, name, rule)
                read[name] = amounts.values
        return read

    def _times(self) -> dict[str, Times]:
        """Times by name of their column."""
        read = {}
        for name, found in self.header.found.items():
            if found.column.what in TIMES:
                read[name] = times = self.clock.read(self.sieve.cells[name], days=found.column.what == DAY_OR_TIME)
                rules = RULES | {NOT_READ: f"needs a time, {self.clock.text.partition(', ')[2].partition(';')[0]}"}
                for reason, those in times.wrong.items():
                    self.sieve.leave_out(those, reason, name, rules[reason].format(zone=self.clock.zone))
        if self.clock.zone is None and any(times.has_offset for times in read.values()):
            rule = "times have their offset from UTC; state the time zone of the site"
            self.problems.append(Problem(self.file, 0, 0, "zone", rule))
        return read

    def _frame(self, amounts: dict[str, Floats], times: dict[str, Times], first_monday: date | None) -> pd.DataFrame:
        """All rows as numbers and names; those that make no sense are left out of what is kept."""
        sieve, names = self.sieve, self._names()
        self._check_needed()
        begins, ends = self._utc(times, "start"), self._utc(times, "end")
        start_wall = times["start"].wall_s if "start" in times else begins
        after_s = self._into_the_day(times, names)
        begins, start_wall = begins + after_s, start_wall + after_s
        known = np.isfinite(start_wall) & sieve.kept
        self.monday = first_monday or (monday_before(float(start_wall[known].min())) if known.any() else None)
        origin = seconds_of(self.monday) if self.monday else 0.0
        start_min = (start_wall - origin) / SECONDS_A_MINUTE
        columns: dict[str, Any] = {"line": sieve.lines, **names}
        if "start" in times:
            columns |= {"start_min": start_min, "week": np.floor(start_min / WEEK_MIN)}
        for name, values in amounts.items():
            columns[f"{name}_{SUFFIXES[self.header.found[name].column.what]}"] = values
        if self.kind in SAME_THING or "end" in times:
            columns |= self._lasting(begins, ends, amounts.get("duration"), start_min, times)
        lasts = columns.get("duration_min", np.zeros(begins.size))
        columns |= self._before_and_after(begins, start_min, lasts, times)
        frame = pd.DataFrame(columns)
        self._check(frame, begins, names)
        return frame

    def _into_the_day(self, times: dict[str, Times], names: dict[str, list[str]]) -> Floats:
        """When the shift begins, where a row says the day and the shift. [s after midnight]"""
        after_s = np.zeros(self.sieve.lines.size)
        if self.scenario is None or "shift" not in names or "start" not in times:
            return after_s
        shifts = self.scenario.week.shifts
        starts_s = [SECONDS_A_MINUTE * shifts[name].from_min if name in shifts else 0.0 for name in names["shift"]]
        return np.where(times["start"].days_alone, starts_s, after_s)

    def _utc(self, times: dict[str, Times], name: str) -> Floats:
        """Times of a column, not a number where there are none. [s]"""
        return times[name].utc_s if name in times else np.full(self.sieve.lines.size, np.nan)

    def _names(self) -> dict[str, list[str]]:
        """Names by column, as the scenario writes them."""
        known = sense.names_of(self.scenario) if self.scenario else {}
        names = {}
        for name, found in self.header.found.items():
            what = found.column.what
            if name != "activity" and what not in (*TIMES, *AMOUNTS):
                named = what in known
                cells = self.sieve.cells[name]
                names[name] = sense.as_named(self.sieve, name, what, known[what]) if named else cells
        return names

    def _check_needed(self) -> None:
        """Leave out rows in which nothing stands where something has to."""
        asked = needs(self.kind)
        asked.pop("end", None)  # what has not ended is censored
        used = asked.pop("what", [])
        if self.kind == "trucks":  # hours alone say something; so does a charge that only lasts
            asked["what"] = [*used, "worked"]
        for names in asked.values():
            there = [self.sieve.cells[name] for name in names if name in self.sieve.cells]
            blank = np.all([np.array(cells, dtype=object) == "" for cells in there], axis=0)
            self.sieve.leave_out(blank, sense.MISSING, names[0], f"says nothing of {' or '.join(names)}")

    def _lasting(
        self, begins: Floats, ends: Floats, stated_min: Floats | None, start_min: Floats, times: dict[str, Times]
    ) -> dict[str, Any]:
        """How long events last; one without an end that is the last of its thing is censored at the end of the log."""
        lasts = (ends - begins) / SECONDS_A_MINUTE
        early = self.sieve.only_kept(lasts < 0.0)
        self.sieve.leave_out(early, sense.END_BEFORE_START, "end", "the end lies before the start")
        if stated_min is not None:
            lasts = np.where(np.isnan(lasts), stated_min, lasts)
        open_ended = np.isnan(lasts) & self.sieve.kept
        censored = np.zeros(lasts.size, dtype=bool)
        if self.kind in SAME_THING:
            known = [each.utc_s[self.sieve.kept] for each in times.values()]
            until = float(np.nanmax(np.concatenate(known), initial=-np.inf)) if known else -np.inf
            last = open_ended & self._last_of_its_thing(begins)
            so_far = (until - begins) / SECONDS_A_MINUTE
            censored = last & (so_far <= MOST_TIMES_LONGEST * self._longest(lasts))
            lasts = np.where(censored, so_far, lasts)
            column = "end" if "end" in self.header.found else "duration"
            rule = "has no end, and the same goes on later; it cannot be said how long it was"
            self.sieve.leave_out(open_ended & ~last, sense.NO_END, column, rule)
            rule = "has no end, and the log goes on for longer than any of its kind takes; its end was forgotten"
            self.sieve.leave_out(last & ~censored, sense.NO_END, column, rule)
        end_min = {} if "start" not in times else {"end_min": np.where(censored, np.nan, start_min + lasts)}
        return {"duration_min": lasts, "censored": censored, **end_min}

    def _longest(self, lasts_min: Floats) -> Floats:
        """How long the longest of the same kind took, of each row; endless where too few have an end. [min]"""
        steps = self.sieve.cells.get("step", [""] * lasts_min.size)
        kinds = pd.Series(np.where(self.sieve.kept, lasts_min, np.nan)).groupby(pd.factorize(pd.Series(steps))[0])
        longest: Floats = np.where(kinds.transform("count") >= LEAST_ENDED, kinds.transform("max"), np.inf)
        return longest

    def _last_of_its_thing(self, begins: Floats) -> Flags:
        """Which rows begin last of all that are about the same truck, battery or charger, and the same step."""
        cells, count = self.sieve.cells, begins.size
        columns = [cells[name] for name in SAME_THING[self.kind] if name in cells]
        things = [next(filter(None, row), "") for row in zip(*columns, strict=True)] if columns else [""] * count
        keys = pd.Series(list(zip(things, cells.get("step", things), strict=True)), dtype=object)
        kept = self.sieve.kept & np.isfinite(begins)
        last = pd.Series(np.where(kept, begins, -np.inf)).groupby(pd.factorize(keys)[0]).transform("max").to_numpy()
        named = np.array([bool(thing) for thing in things], dtype=bool)
        flags: Flags = kept & named & (begins >= last)
        return flags

    def _before_and_after(
        self, begins: Floats, start_min: Floats, lasts: Floats, times: dict[str, Times]
    ) -> dict[str, Floats]:
        """When a truck came and how long it waited, and when it was free."""
        found: dict[str, Floats] = {}
        if "arrived" in times:
            wait = (begins - times["arrived"].utc_s) / SECONDS_A_MINUTE
            late = self.sieve.only_kept(wait < -np.nan_to_num(lasts))
            self.sieve.leave_out(late, sense.END_BEFORE_START, "arrived", "the truck came after its exchange")
            found |= {"arrived_min": start_min - wait, "wait_min": wait}
        if "truck_free" in times:
            after = (times["truck_free"].utc_s - begins) / SECONDS_A_MINUTE
            rule = "the truck was free before its exchange began"
            self.sieve.leave_out(self.sieve.only_kept(after < 0.0), sense.END_BEFORE_START, "truck_free", rule)
            found["truck_free_min"] = start_min + after
        return found

    def _check(self, frame: pd.DataFrame, begins: Floats, names: dict[str, list[str]]) -> None:
        """Leave out what cannot be so."""
        sieve, scenario = self.sieve, self.scenario
        sense.impossible_amounts(sieve, frame)
        if scenario is not None and "charge_ah" in frame and self.kind == "charges":
            types: Sequence[str] = names.get("battery_type", [""] * len(frame))
            sense.more_than_capacity(sieve, frame["charge_ah"].to_numpy(), types, scenario)
        if scenario is not None and "start_min" in frame and self.kind != "charges":
            sense.out_of_calendar(sieve, frame, scenario, self.kind)
        sense.doubles(sieve, frame.drop(columns=["line"]), begins)
        if "duration_min" in frame:
            ends = np.where(frame["censored"], np.nan, begins + SECONDS_A_MINUTE * frame["duration_min"].to_numpy())
            sense.overlaps(sieve, self.kind, names, begins, ends)


def _cells(rows: list[Row], place: int) -> list[str]:
    """Cells of a column; empty where a row is too short, without the apostrophe that spreadsheets are given."""
    cells = [row.cells[place] if place < len(row.cells) else "" for row in rows]
    return [cell[1:] if cell[:1] == "'" and cell[1:2] in "=+-@" and cell[1:2] else cell for cell in cells]
