"""When people and trucks work: shifts by weekday, breaks, handover, holidays."""

import re
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Annotated, NamedTuple

from pydantic import Field

from batsim import units
from batsim.scenario.parts.faults import Fault, wrong
from batsim.scenario.parts.kinds import Frozen, NameText, ReadBy, reads
from batsim.scenario.parts.quantities import Minutes, MinutesAbove0
from batsim.scenario.parts.schemas import TEXT, TEXTS, text_schema

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
FULL_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
DAY_MIN = 1440.0
WEEK_MIN = 7 * DAY_MIN
WEEKS_A_YEAR = 52


def clock_minutes(text: object) -> float:
    """Read a time of day such as 22:15 into minutes after midnight."""
    match = re.fullmatch(r"([01]?\d|2[0-4]):([0-5]\d)", text.strip()) if isinstance(text, str) else None
    minutes = int(match[1]) * 60.0 + int(match[2]) if match else -1.0
    if not 0.0 <= minutes <= DAY_MIN:
        wrong('needs a time of day such as "22:15"')
    return minutes


def minutes_from_to(from_min: float, to_min: float) -> float:
    """Minutes from one time of day to another, which is of the next day where it is at or before the first."""
    return (to_min - from_min) % DAY_MIN or DAY_MIN


def clock_text(minutes: float) -> str:
    """Write minutes after midnight as a time of day."""
    whole = round(minutes) % 1440 if minutes != DAY_MIN else 1440
    return f"{whole // 60:02d}:{whole % 60:02d}"


def moment_text(minutes: float) -> str:
    """Write minutes from Monday 00:00 as weekday and time."""
    day, rest = divmod(minutes % WEEK_MIN, DAY_MIN)
    return f"{DAYS[int(day)]} {clock_text(rest)}"


read_time_of_day = ReadBy(text_schema("22:15", pattern=r"^([01]?\d|2[0-4]):[0-5]\d$"), clock_minutes)
"""A time of day as text, 00:00 to 24:00."""


@reads(TEXT, TEXTS, examples=["Mon-Fri", "Sun-Thu", "Mon, Wed, Fri"])
def read_weekdays(value: object) -> tuple[int, ...]:
    """Days of the week: a range, a list, or both.

    Read the days as numbers from 0 for Monday; a day named twice makes a shift overlap itself.
    """
    parts = value if isinstance(value, list) and value else str(value).split(",")
    days = [day for part in parts for day in _days_of(str(part))]
    for day in days:
        if days.count(day) > 1:
            wrong(f"a shift overlaps itself: {DAYS[day]} is named twice")
    return tuple(sorted(days))


def _days_of(text: str) -> list[int]:
    """Read one day, or a range of days, which may go over the end of the week."""
    words = [word.strip().title() for word in text.split("-")]
    ends = [word[:3] for word in words if word in (*DAYS, *FULL_DAYS)]
    if len(words) > 2 or len(ends) < len(words):
        wrong("needs weekdays such as Mon-Fri, Sun-Thu or Mon, Wed, Fri")
    first, last = DAYS.index(ends[0]), DAYS.index(ends[-1])
    return [(first + step) % 7 for step in range((last - first) % 7 + 1)]


class Weeks(NamedTuple):
    """Calendar weeks from one to another, both included."""

    first: int
    last: int

    @property
    def text(self) -> str:
        """Such as `47-51`, or `3`."""
        return f"{self.first}-{self.last}" if self.first < self.last else str(self.first)

    @property
    def number(self) -> int:
        """How many they are."""
        return self.last - self.first + 1

    def holds(self, week: int) -> bool:
        """Whether a calendar week is one of them; weeks run on over the year's end."""
        return self.first <= (week - 1) % WEEKS_A_YEAR + 1 <= self.last

    def overlaps(self, other: "Weeks") -> bool:
        """Whether any week is in both."""
        return self.first <= other.last and other.first <= self.last


def name_of_weeks(text: str) -> str:
    """Name calendar weeks, such as `weeks 47-51` or `week 3`."""
    return f"week{'s' if '-' in text else ''} {text}"


NEEDS_WEEKS = f"needs calendar weeks from 1 to {WEEKS_A_YEAR} such as '48-51', the first one first"


def weeks_of(text: object) -> Weeks | None:
    """Read a week or a range of weeks; None where it is neither."""
    match = re.fullmatch(r"(\d{1,2})(?:-(\d{1,2}))?", str(text).strip())
    weeks = Weeks(int(match[1]), int(match[2] or match[1])) if match else Weeks(0, 0)
    return weeks if 1 <= weeks.first <= weeks.last <= WEEKS_A_YEAR else None


@reads(TEXT, TEXTS, {"type": "integer"}, examples=["47-51", "1, 47-51"])
def read_calendar_weeks(value: object) -> tuple[Weeks, ...]:
    """Calendar weeks: one, a range, or a list of them; read in order."""
    parts = value if isinstance(value, list) and value else str(value).split(",")
    found = [weeks_of(part) for part in parts]
    weeks = sorted(part for part in found if part is not None)
    if len(weeks) < len(found):
        wrong(NEEDS_WEEKS)
    if any(first.overlaps(second) for first, second in pairwise(weeks)):
        wrong("names a week twice")
    return tuple(weeks)


class Break(NamedTuple):
    """A break in a shift: when it starts after midnight, and how long it is. [min]"""

    start_min: float
    length_min: float


@reads(text_schema("09:30 for 20 min", pattern=r"^\d?\d:\d\d for .+$"))
def read_break(value: object) -> Break:
    """A break, such as `09:30 for 20 min`."""
    start, word, length = str(value).partition(" for ")
    if not word:
        wrong('needs a break such as "09:30 for 20 min"')
    minutes = units.parse(length, "duration")
    if minutes <= 0.0:
        wrong("a break must last longer than 0 min")
    return Break(clock_minutes(start), minutes)


class Shift(Frozen):
    """Working hours that repeat every week."""

    days: Annotated[tuple[int, ...], read_weekdays]
    """Weekdays on which the shift starts."""
    from_min: Annotated[float, read_time_of_day] = Field(alias="from")
    """Start. [min after midnight]"""
    to_min: Annotated[float, read_time_of_day] | None = Field(None, alias="to")
    """End; at or before the start it means the next day. [min after midnight]"""
    length_min: MinutesAbove0 | None = Field(None, alias="length")
    """Length, instead of an end. [min]"""
    breaks: tuple[Annotated[Break, read_break], ...] = ()
    """Breaks: nobody works and downtime is not counted."""
    handover_min: Minutes = Field("0 min", alias="handover")  # type: ignore[assignment]
    """Paid handover at the start, when trucks stand. [min]"""
    weeks: Annotated[tuple[Weeks, ...], read_calendar_weeks] | None = None
    """Calendar weeks in which the shift starts, such as `47-51`; all of the year when not stated."""

    def _faults(self) -> Iterator[Fault]:
        """Find a wrong length, or the first day on which the shift still runs when it starts again; wrong breaks."""
        if (self.to_min is None) == (self.length_min is None):
            yield Fault((), "a shift needs either 'to' or 'length'")
            return
        for day in self.days:
            until_next = min((later - day - 1) % 7 + 1 for later in self.days) * DAY_MIN
            if self.minutes > until_next:
                got = f"{DAYS[day]} {clock_text(self.from_min)} for {units.show(self.minutes, 'duration', 'h')}"
                yield Fault((), "a shift overlaps itself: it must end before it starts again", got)
                break
        yield from self._break_faults()

    def _break_faults(self) -> Iterator[Fault]:
        """Find breaks outside the shift, or on top of each other or of the handover."""
        taken: list[tuple[float, float]] = [(0.0, self.handover_min)]
        for number, pause in enumerate(self.breaks):
            start = (pause.start_min - self.from_min) % DAY_MIN
            end = start + pause.length_min
            text = f"{clock_text(pause.start_min)} for {units.show(pause.length_min, 'duration')}"
            hours = f"{clock_text(self.from_min)} to {clock_text((self.from_min + self.minutes) % DAY_MIN)}"
            if end > self.minutes:
                yield Fault(("breaks", number), "a break must lie inside its shift", f"{text} in {hours}")
            elif any(start < other_end and other_start < end for other_start, other_end in taken):
                rule = "a break must not overlap another break or the handover"
                yield Fault(("breaks", number), rule, text)
            taken.append((start, end))

    @property
    def weeks_a_year(self) -> int:
        """Weeks of a year in which it works."""
        return WEEKS_A_YEAR if self.weeks is None else sum(weeks.number for weeks in self.weeks)

    @property
    def minutes(self) -> float:
        """Length from start to end. [min]"""
        return self.length_min or minutes_from_to(self.from_min, self.to_min or 0.0)


@reads(text_schema("week 3 Fri"))
def read_holiday(value: object) -> tuple[int, int]:
    """A day without work, such as `week 3 Fri`; week 1 is the first after the warm-up."""
    match = re.fullmatch(r"week ([1-9]\d{0,3}) ([A-Z][a-z]{2})", str(value).strip())
    if not match or match[2] not in DAYS:
        wrong("needs a holiday such as 'week 3 Fri'")
    return int(match[1]), DAYS.index(match[2])


class Week(Frozen):
    """The working week."""

    shifts: dict[NameText, Shift] = Field(min_length=1)
    """Shifts by name; truck groups and attendants refer to these names."""
    holidays: tuple[Annotated[tuple[int, int], read_holiday], ...] = ()
    """Days on which no shift starts, counted in weeks after the warm-up."""

    def in_week(self, week: int) -> "Week":
        """Return a copy in which shifts that do not work in a calendar week have no days."""
        return self._with_days(lambda weeks: any(span.holds(week) for span in weeks))

    def in_normal_weeks(self) -> "Week":
        """Return a copy in which shifts with weeks of their own have no days."""
        return self._with_days(lambda _: False)

    def _with_days(self, works: Callable[[tuple[Weeks, ...]], bool]) -> "Week":
        """Return a copy in which the shifts keep their days that have no weeks of their own, or of which it is told."""
        idle = [name for name, shift in self.shifts.items() if shift.weeks is not None and not works(shift.weeks)]
        if not idle:
            return self
        without = {name: self.shifts[name].model_copy(update={"days": (), "weeks": None}) for name in idle}
        return self.model_copy(update={"shifts": self.shifts | without})
