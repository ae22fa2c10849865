"""Working time against clock time: both ways, against a count of every minute."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from batsim.room.timing.timetable import Timetable

WINDOWS = [(10.0, 20.0), (25.0, 40.0), (100.0, 101.0)]


@st.composite
def timetables(draw):
    """Windows of whole minutes in order, and their working minutes one by one."""
    edges = sorted(draw(st.sets(st.integers(0, 300), min_size=2, max_size=12)))
    windows = [(float(start), float(end)) for start, end in zip(edges[::2], edges[1::2], strict=False)]
    working = [minute for start, end in windows for minute in range(int(start), int(end))]
    return windows, working


clocks = st.integers(0, 320)


@given(timetables(), clocks, st.integers(1, 200))
def test_advance_counts_working_minutes(made, start, minutes):
    """The end of the last of so many working minutes from a start on."""
    windows, working = made
    ahead = [minute for minute in working if minute >= start]

    reached = Timetable(windows).advance(float(start), float(minutes))

    assert reached == (ahead[minutes - 1] + 1.0 if len(ahead) >= minutes else math.inf)


@given(timetables(), clocks, clocks)
def test_worked_counts_working_minutes(made, start, end):
    windows, working = made
    assume(start <= end)

    assert Timetable(windows).worked(float(start), float(end)) == sum(start <= minute < end for minute in working)


@given(timetables(), st.floats(0.0, 320.0), st.floats(0.0, 200.0))
def test_worked_is_the_inverse_of_advance(made, start, minutes):
    """Also between whole minutes."""
    table = Timetable(made[0])
    reached = table.advance(start, minutes)
    assume(reached < math.inf)

    assert reached >= start
    assert table.worked(start, reached) == pytest.approx(minutes, abs=1e-9)


@given(timetables(), clocks, st.integers(0, 200), st.integers(0, 200))
def test_advance_in_two_goes_is_advance_in_one(made, start, first, second):
    table = Timetable(made[0])
    assume(second > 0)

    halfway = table.advance(float(start), float(first))
    reached = math.inf if halfway == math.inf else table.advance(halfway, float(second))

    assert reached == table.advance(float(start), float(first + second))


@given(timetables(), clocks)
def test_window_is_the_one_at_work_or_the_next(made, time):
    """At the end of a window the next one counts."""
    windows, _ = made
    ahead = [window for window in windows if window[1] > time]

    assert Timetable(windows).window(float(time)) == (ahead[0] if ahead else (math.inf, math.inf))


def test_work_that_ends_with_its_window_ends_there():
    """Not at the start of the next window."""
    table = Timetable(WINDOWS)

    assert table.advance(10.0, 10.0) == 20.0
    assert table.advance(0.0, 25.0) == 40.0
    assert table.advance(20.0, 15.0) == 40.0


def test_work_that_goes_on_crosses_the_gap():
    table = Timetable(WINDOWS)

    assert table.advance(15.0, 6.0) == 26.0
    assert table.advance(15.0, 20.5) == 100.5


def test_work_that_never_ends():
    table = Timetable(WINDOWS)

    assert table.advance(10.0, 26.0) == 101.0
    assert table.advance(10.0, 26.5) == math.inf
    assert table.advance(101.0, 1.0) == math.inf
    assert Timetable([]).advance(0.0, 1.0) == math.inf


def test_around_the_clock_every_minute_is_worked():
    table = Timetable([(0.0, 100.0)], always=True)

    assert table.advance(90.0, 50.0) == 140.0
    assert table.worked(90.0, 140.0) == 50.0
    assert table.window(140.0) == (140.0, math.inf)
