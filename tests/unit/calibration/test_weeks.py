"""Weeks that are fitted and held out, and shifts of the events in them."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.calibration.log import Log
from batsim.calibration.weeks import ShiftTimes, SplitWeeks, split_weeks
from tests.sites import KESTREL

MONDAY = date(2024, 12, 16)  # of week 51
DAYS_OF_WEEK = [f"2024-12-{day}" for day in range(16, 21)]


def log(folder: Path, days: list[str], hours: tuple[int, ...] = (6, 10, 14, 20)) -> Log:
    """A log of exchanges on some days."""
    rows = [f"T1,{day}T{hour:02d}:00,{day}T{hour:02d}:05" for day in days for hour in hours]
    file = folder / "log.csv"
    file.write_text("\n".join(["truck,start,end", *rows]) + "\n", encoding="utf-8")
    return batsim.read_log(file, "exchanges", scenario=KESTREL)


def days(first: int, number: int, left_out: tuple[int, ...] = ()) -> list[str]:
    """Working days of some weeks from a Monday in September 2024 on."""
    found = [date(2024, 9, 2).toordinal() + 7 * week + day for week in range(first, first + number) for day in range(5)]
    return [date.fromordinal(each).isoformat() for place, each in enumerate(found) if place not in left_out]


def test_the_last_whole_weeks_are_held_out(tmp_path: Path) -> None:
    """A quarter of eight."""
    weeks = split_weeks([log(tmp_path, days(0, 8))], KESTREL, 0.25)

    assert (weeks.fitted, weeks.held_out, weeks.independent) == ((0, 1, 2, 3, 4, 5), (6, 7), True)
    assert weeks.text(weeks.fitted) == "weeks 36-41 of 2024"
    assert weeks.text(weeks.held_out) == "weeks 42-43 of 2024"


def test_a_part_of_a_week_is_fitted_alone(tmp_path: Path) -> None:
    """A log that ends on a Wednesday, or has nothing on three days in the middle, has fewer whole weeks."""
    ends = split_weeks([log(tmp_path, days(0, 4)[:-2])], KESTREL, 0.25)
    gap = split_weeks([log(tmp_path, days(0, 4, left_out=(16, 17, 18)))], KESTREL, 0.25)

    assert (ends.fitted, ends.held_out) == ((0, 1, 3), (2,))
    assert (gap.fitted, gap.held_out) == ((0, 1, 3), (2,))


def test_one_week_cannot_be_held_out(tmp_path: Path) -> None:
    """The model is then judged by what it was fitted to."""
    weeks = split_weeks([log(tmp_path, days(0, 1))], KESTREL, 0.25)

    assert (weeks.fitted, weeks.held_out, weeks.judged, weeks.independent) == ((0,), (), (0,), False)
    assert weeks.text(weeks.judged) == "week 36 of 2024"


def test_no_times_at_all(tmp_path: Path) -> None:
    file = tmp_path / "steps.csv"
    file.write_text("step,duration [min]\nwalk,3\nwalk,4\n", encoding="utf-8")
    weeks = split_weeks([batsim.read_log(file, "steps")], KESTREL, 0.25)

    assert (weeks.fitted, weeks.held_out, weeks.judged) == ((), (), ())
    assert weeks.text(()) == "weeks that nobody stated"


@pytest.mark.parametrize(
    ("week", "number"), [(0, 51), (1, 52), (2, 1), (3, 2)], ids=["51", "52", "new year", "second"]
)  # fmt: skip
def test_weeks_of_the_calendar(week: int, number: int) -> None:
    assert SplitWeeks(MONDAY, (0,), ()).calendar_week(week) == number


def test_weeks_that_do_not_follow_one_another() -> None:
    weeks = SplitWeeks(date(2024, 3, 4), (0, 1, 4), ())

    assert weeks.text(weeks.fitted) == "weeks 10-11 and 14 of 2024"


def test_shifts_of_events() -> None:
    """Inside a shift; before its begin that of the nearest one; nothing where the time is not known."""
    shifts = ShiftTimes(KESTREL, SplitWeeks(date(2024, 9, 2), (0,), ()))
    times = 60.0 * np.array([6.0, 13.9, 14.0, 23.0, 24.0 + 5.9, np.nan])

    assert shifts.of(["early", "late", "night"], times).tolist() == ["early", "early", "late", "night", "night", ""]
    assert shifts.of(["early"], 60.0 * np.array([5.0])).tolist() == ["early"]
    assert shifts.ends(["early"])[:2].tolist() == [840.0, 1440.0 + 840.0]
