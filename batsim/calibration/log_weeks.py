"""Weeks of a log in the calendar of its site: a scenario that begins with one, working days, stretches of weeks."""

from collections.abc import Collection, Sequence
from datetime import date, timedelta

from batsim.display import listed
from batsim.scenario.parts.calendar import Begin, Window, group_windows, joined, weekly_starts, whole_shifts
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, WEEKS_A_YEAR
from batsim.scenario.site import Scenario


def in_calendar(scenario: Scenario, first_monday: date) -> Scenario:
    """Return a copy whose week 1 begins on a Monday: seasons go by its calendar week, holidays keep theirs."""
    start_week = (first_monday.isocalendar().week - 1) % WEEKS_A_YEAR + 1
    later = start_week - scenario.simulation.start_week
    if not later:
        return scenario
    holidays = tuple(
        (number - later + years * WEEKS_A_YEAR, day) for number, day in scenario.week.holidays for years in (-1, 0, 1)
    )
    return scenario.model_copy(
        update={
            "week": scenario.week.model_copy(update={"holidays": holidays}),
            "simulation": scenario.simulation.model_copy(update={"start_week": start_week}),
        }
    )


def stretches_of(weeks: Collection[int]) -> list[tuple[int, int]]:
    """First and last week of each run of weeks that follow one another.

    Examples
    --------
    >>> stretches_of([7, 3, 4])
    [(3, 4), (7, 7)]
    """
    windows = joined([(week, week + 1) for week in weeks])
    return [(int(first), int(end) - 1) for first, end in windows]


def weeks_text(first_monday: date, weeks: Collection[int]) -> str:
    """Weeks from 0 in the words of the calendar.

    Examples
    --------
    >>> weeks_text(date(2024, 3, 4), [0, 1, 4])
    'weeks 10-11 and 14 of 2024'
    """
    if not weeks:
        return "weeks that nobody stated"
    days = {week: first_monday + timedelta(weeks=week) for week in weeks}
    numbers = [[days[week].isocalendar().week for week in stretch] for stretch in stretches_of(weeks)]
    spans = [f"{first}-{last}" if last != first else f"{first}" for first, last in numbers]
    return f"week{'s' * (len(weeks) > 1)} {listed(spans)} of {days[max(weeks)].isocalendar().year}"


def working_days(scenario: Scenario, weeks: Collection[int]) -> list[int]:
    """Days of weeks on which trucks work, counted from the Monday of week 0; a shift is of the day of its middle."""
    until_min, begin = (max(weeks) + 1) * WEEK_MIN, Begin(0.0, scenario.simulation.start_week)
    days: set[int] = set()
    for name in shifts_of(scenario):
        shift = scenario.week.shifts[name]
        closed = begin.closed_days(scenario.week, shift, until_min)
        starts = weekly_starts(shift.days, shift.from_min, until_min, closed)
        days.update(int((start + shift.minutes / 2.0) // DAY_MIN) for start in starts)
    return sorted(day for day in days if day // 7 in weeks)


def shifts_of(scenario: Scenario) -> list[str]:
    """Shifts that trucks work, in the order of the groups."""
    return list(dict.fromkeys(shift for group in scenario.trucks for shift in group.shifts))


def hours_of_shift(scenario: Scenario, shift: str, weeks: Collection[int]) -> list[Window]:
    """When a shift works, breaks and all, up to the end of the last week. [min since the Monday of week 0]"""
    begin = Begin(0.0, scenario.simulation.start_week)
    return joined(whole_shifts(scenario.week, [shift], (max(weeks) + 1) * WEEK_MIN, begin))


def hours_of(scenario: Scenario, shifts: Sequence[str], weeks: Collection[int]) -> list[Window]:
    """When any of some shifts works, breaks left out, up to the end of the last week. [min since that Monday]"""
    begin = Begin(0.0, scenario.simulation.start_week)
    return group_windows(scenario.week, shifts, (max(weeks) + 1) * WEEK_MIN, begin)
