"""A log of a site that was read: its rows, what was left out and why, where its logger was silent."""

from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from batsim.display import Frame, frame_of
from batsim.errors import Problem
from batsim.scenario.parts.week import WEEK_MIN

DAYS_A_WEEK = 7
TIMES = ("start_min", "end_min", "arrived_min", "truck_free_min")
"""Columns that count from the first Monday."""


class LeftOut(NamedTuple):
    """Why a row is left out."""

    file: str
    line: int
    reason: str
    """A word of `batsim.calibration.sense.REASONS`."""
    column: str
    """Column that it is about."""
    rule: str
    """What is wrong, in a sentence."""
    got: str
    """What stands in that cell."""

    @property
    def problem(self) -> Problem:
        """The same as a message."""
        return Problem(self.file, self.line, 1, self.column, self.rule, self.got or None)


class Gap(NamedTuple):
    """A stretch without any event, much longer than usual at that time of the week."""

    from_min: float
    """Last event before it. [min since the first Monday]"""
    to_min: float
    """First event after it. [min since the first Monday]"""
    usual_h: float
    """Hours of it in which something usually begins. [h]"""
    after_line: int
    """Line of the last event before it."""


@dataclass(frozen=True)
class Log:
    """What a log says about a site; what made no sense is left out, and told."""

    kind: str
    """exchanges, charges, trucks or steps."""
    file: str
    rows: Frame
    """A row for each event in the order of the file. `line` of the file; names as text; times in minutes since the
    Monday 00:00 of `first_monday` by the clock of the site (`start_min`, `end_min`, `arrived_min`, `truck_free_min`),
    durations as they elapsed (`duration_min`, `wait_min`, `worked_min`), `soc_start_share`, `soc_end_share`,
    `charge_ah`, `energy_kwh`; `week` from 0. What had not ended when the log did is `censored`, its duration that until
    then. A wait is less than nothing where two clocks disagree. Not a number where it is not known."""
    left_out: tuple[LeftOut, ...]
    """Rows that are left out, each with its reason; one that has several stands several times."""
    gaps: tuple[Gap, ...]
    """Stretches in which the logger was silent; nothing is left out for them."""
    read: int
    """Rows of this kind that the file has."""
    others: int
    """Rows of the file about other activities."""
    first_monday: date | None
    """Day from which minutes are counted; none where no row has a time."""
    headers: dict[str, str]
    """Header of each column that was read, by its name."""
    not_read: tuple[str, ...]
    """Headers of columns that were not read; those with names of people are always among them."""
    clock: str
    """How times were read, in words."""

    def counted_from(self, first_monday: date) -> "Log":
        """The same with minutes and weeks counted from another Monday."""
        if self.first_monday in (None, first_monday):
            return replace(self, first_monday=first_monday)
        weeks = (self.first_monday - first_monday).days // DAYS_A_WEEK
        later = {name: self.rows[name] + weeks * WEEK_MIN for name in TIMES if name in self.rows}
        week = {"week": self.rows["week"] + weeks} if "week" in self.rows else {}
        gaps = tuple(
            gap._replace(from_min=gap.from_min + weeks * WEEK_MIN, to_min=gap.to_min + weeks * WEEK_MIN)
            for gap in self.gaps
        )
        return replace(self, rows=self.rows.assign(**later, **week), gaps=gaps, first_monday=first_monday)

    @property
    def used_share(self) -> float:
        """Share of the rows of this kind that are used. [-]"""
        return len(self.rows) / self.read if self.read else float("nan")

    @property
    def reasons(self) -> dict[str, int]:
        """Number of rows left out, by reason."""
        lines: dict[str, set[int]] = {}
        for each in self.left_out:
            lines.setdefault(each.reason, set()).add(each.line)
        return {reason: len(found) for reason, found in lines.items()}

    @property
    def left_out_frame(self) -> Frame:
        """What is left out as a table."""
        return frame_of(self.left_out, list(LeftOut._fields))
