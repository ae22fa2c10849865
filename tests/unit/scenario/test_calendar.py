"""The weekly calendar laid out over the simulated time: windows, breaks, handover, holidays, attendants."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.scenario.parts.calendar import (
    Begin,
    break_starts,
    common,
    group_windows,
    joined,
    manned_windows,
    mean_shift_min,
    minutes_per_working_day,
    overlap_min,
    shift_windows,
    whole_shifts,
    working_days_per_week,
)
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN, Shift, Week, clock_text

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _shift(days, start, end, **more):
    return Shift.model_validate({"days": days, "from": start, "to": end, **more})


def _week(shifts, holidays=()):
    return Week.model_validate({"shifts": shifts, "holidays": list(holidays)})


def _at(day, clock):
    """Minutes from Monday 00:00 to a day and time of day."""
    hours, minutes = clock.split(":")
    return DAY_MIN * DAYS.index(day) + 60.0 * int(hours) + int(minutes)


def _hours(day, start, end, end_day=None):
    return (_at(day, start), _at(end_day or day, end))


EARLY = {"days": "Mon-Fri", "from": "06:00", "to": "14:00"}
LATE = {"days": "Mon-Fri", "from": "14:00", "to": "22:00"}
NIGHT = {"days": "Sun-Thu", "from": "22:00", "to": "06:00"}
ALWAYS = {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}


# One shift


def test_a_day_shift_has_a_window_on_each_of_its_days():
    windows = shift_windows(_shift("Mon, Wed", "08:00", "16:30"), 2 * WEEK_MIN)

    first = [_hours("Mon", "08:00", "16:30"), _hours("Wed", "08:00", "16:30")]
    assert windows == first + [(start + WEEK_MIN, end + WEEK_MIN) for start, end in first]


def test_a_night_shift_runs_over_midnight():
    windows = shift_windows(_shift("Mon-Tue", "22:00", "06:00"), WEEK_MIN)

    assert windows == [_hours("Mon", "22:00", "06:00", "Tue"), _hours("Tue", "22:00", "06:00", "Wed")]


def test_a_night_shift_runs_over_the_weeks_end():
    """The night that began on the Sunday before is under way when the simulated time begins."""
    windows = shift_windows(_shift("Sun", "22:00", "06:00"), 2 * WEEK_MIN)

    assert windows == [
        (0.0, 360.0),
        (_at("Sun", "22:00"), WEEK_MIN + 360.0),
        (WEEK_MIN + _at("Sun", "22:00"), 2 * WEEK_MIN + 360.0),
    ]


def test_an_end_at_the_start_means_the_whole_day():
    assert shift_windows(_shift("Tue", "07:00", "07:00"), WEEK_MIN) == [_hours("Tue", "07:00", "07:00", "Wed")]


def test_a_length_may_stand_for_the_end():
    by_length = Shift.model_validate({"days": "Sat", "from": "20:00", "length": "10 h"})

    assert shift_windows(by_length, WEEK_MIN) == shift_windows(_shift("Sat", "20:00", "06:00"), WEEK_MIN)


def test_breaks_cut_a_shift_into_pieces_in_whatever_order_they_are_stated():
    shift = _shift("Mon", "06:00", "14:00", breaks=["12:00 for 10 min", "09:00 for 30 min"])

    assert shift_windows(shift, WEEK_MIN) == [
        _hours("Mon", "06:00", "09:00"),
        _hours("Mon", "09:30", "12:00"),
        _hours("Mon", "12:10", "14:00"),
    ]


def test_a_break_after_midnight_belongs_to_the_night_that_began_before():
    shift = _shift("Mon", "22:00", "06:00", breaks=["02:00 for 20 min"])

    assert shift_windows(shift, WEEK_MIN) == [
        _hours("Mon", "22:00", "02:00", "Tue"),
        _hours("Tue", "02:20", "06:00"),
    ]


def test_the_handover_is_cut_off_the_start():
    shift = _shift("Mon", "06:00", "14:00", handover="15 min", breaks=["06:15 for 15 min", "13:50 for 10 min"])

    assert shift_windows(shift, WEEK_MIN) == [_hours("Mon", "06:30", "13:50")]


def test_windows_that_start_at_the_end_of_the_time_are_left_out():
    """One that started before goes on beyond it."""
    shift = _shift("Mon-Tue", "06:00", "14:00")

    assert shift_windows(shift, DAY_MIN + 360.0) == [_hours("Mon", "06:00", "14:00")]
    assert shift_windows(shift, DAY_MIN + 361.0)[-1] == _hours("Tue", "06:00", "14:00")


def test_on_closed_days_no_shift_starts_but_one_may_end():
    shift = _shift("Mon-Wed", "22:00", "06:00")

    assert shift_windows(shift, WEEK_MIN, frozenset({1})) == [
        _hours("Mon", "22:00", "06:00", "Tue"),
        _hours("Wed", "22:00", "06:00", "Thu"),
    ]


def test_the_sunday_before_may_be_closed():
    assert shift_windows(_shift("Sun", "22:00", "06:00"), DAY_MIN, frozenset({-1})) == []


@st.composite
def shifts(draw):
    """Any shift whose breaks and handover do not overlap."""
    days = sorted(draw(st.sets(st.integers(0, 6), min_size=1)))
    start = 10 * draw(st.integers(0, 143))
    minutes = 10 * draw(st.integers(1, 144))
    handover = 10 * draw(st.integers(0, min(3, minutes // 10)))
    # Cut points inside the shift, taken in pairs: every other piece is a break.
    cuts = sorted(draw(st.sets(st.integers(handover // 10, minutes // 10), max_size=6)))
    pairs = list(zip(cuts[::2], cuts[1::2], strict=False))
    breaks = [f"{clock_text((start + 10 * begin) % 1440)} for {10 * (end - begin)} min" for begin, end in pairs]
    shift = Shift.model_validate(
        {
            "days": [DAYS[day] for day in days],
            "from": clock_text(start),
            "length": f"{minutes} min",
            "handover": f"{handover} min",
            "breaks": breaks,
        }
    )
    idle = [(10 * begin, 10 * end) for begin, end in pairs]
    return shift, days, start, minutes, handover, idle


def _works(minute, days, start, minutes, handover, idle):
    """Tell by looking at every start whether a shift works in the ten minutes from a minute on."""
    for week in range(-1, 3):
        for day in days:
            since = minute - (week * 10080 + day * 1440 + start)
            if handover <= since < minutes and not any(begin <= since < end for begin, end in idle):
                return True
    return False


@given(shifts())
def test_any_shift_works_when_it_should(made):
    """Against a look at every ten minutes of two weeks."""
    shift, *rest = made
    if shift.minutes > DAY_MIN and len(shift.days) > 1:
        return
    windows = joined(shift_windows(shift, 2 * WEEK_MIN))

    for minute in range(0, 20160, 10):
        inside = any(start <= minute and minute + 10 <= end for start, end in windows)
        assert inside == _works(minute, *rest)


@given(shifts())
def test_windows_are_in_order_and_do_not_overlap(made):
    windows = shift_windows(made[0], 2 * WEEK_MIN)

    assert all(0.0 <= start < end for start, end in windows)
    assert all(end <= start for (_, end), (start, _) in pairwise(windows))


# Several shifts together


def test_windows_that_touch_or_overlap_are_joined():
    assert joined([(5.0, 7.0), (0.0, 2.0), (2.0, 3.0), (6.0, 6.5)]) == [(0.0, 3.0), (5.0, 7.0)]
    assert joined([]) == []


def test_shifts_that_follow_one_another_are_one_window():
    """Sunday 22:00 to Friday 22:00 without a gap, the first week cut off at its Monday."""
    week = _week({"early": EARLY, "late": LATE, "night": NIGHT})

    assert group_windows(week, ["early", "late", "night"], 2 * WEEK_MIN) == [
        (0.0, _at("Fri", "22:00")),
        (_at("Sun", "22:00"), WEEK_MIN + _at("Fri", "22:00")),
        (WEEK_MIN + _at("Sun", "22:00"), 2 * WEEK_MIN + 360.0),
    ]


def test_around_the_clock_is_one_window():
    assert group_windows(_week({"always": ALWAYS}), ["always"], 3 * WEEK_MIN) == [(0.0, 3 * WEEK_MIN)]


def test_only_the_named_shifts_count():
    week = _week({"early": EARLY, "late": LATE})

    assert group_windows(week, ["late"], DAY_MIN) == [_hours("Mon", "14:00", "22:00")]


def test_holidays_are_counted_from_the_end_of_the_warm_up():
    """After two weeks of warm-up, Tuesday of week 1 is day 15."""
    week = _week({"early": EARLY}, ["week 1 Tue", "week 2 Mon"])

    assert Begin().closed_days(week, week.shifts["early"], WEEK_MIN) == {1, 7}
    assert Begin(2 * WEEK_MIN).closed_days(week, week.shifts["early"], WEEK_MIN) == {15, 21}
    starts = [start / DAY_MIN for start, _ in group_windows(week, ["early"], 3 * WEEK_MIN, Begin(WEEK_MIN))]
    assert starts == [day + 0.25 for day in (0, 1, 2, 3, 4, 7, 9, 10, 11, 15, 16, 17, 18)]


@pytest.mark.parametrize(
    ("weeks", "begin", "saturdays"),
    [
        ("47-48", Begin(0.0, 46), [1, 2]),
        ("47-48", Begin(2 * WEEK_MIN, 47), [2, 3]),  # the warm-up is in weeks 45 and 46
        ("47-48", Begin(1.5 * WEEK_MIN, 47), [1, 2]),  # of a warm-up of part of a week, that part lies in week 47
        ("52, 1-2", Begin(0.0, 51), [1, 2, 3]),  # over the end of the year
        (["1", "3"], Begin(0.0, 1), [0, 2]),
        (2, Begin(0.0, 1), [1]),
        ("2", Begin(), [0, 1, 2, 3, 4]),  # in no week of a year
    ],
)
def test_a_shift_starts_in_its_calendar_weeks(weeks, begin, saturdays):
    """Week 1 of a run is the calendar week in which it starts."""
    week = _week({"early": EARLY, "Saturday": {**EARLY, "days": "Sat", "weeks": weeks}})
    starts = [start // WEEK_MIN for start, _ in group_windows(week, ["Saturday"], 5 * WEEK_MIN, begin)]

    assert starts == saturdays
    assert len(whole_shifts(week, ["Saturday"], 5 * WEEK_MIN, begin)) == len(saturdays)
    assert len(group_windows(week, ["early"], 5 * WEEK_MIN, begin)) == 25


def test_shifts_with_weeks_have_no_days_in_others():
    """So that a working day and the length of a shift are those of the week that is looked at."""
    week = _week({"early": EARLY, "Saturday": {**EARLY, "days": "Sat", "to": "10:00", "weeks": "47-51"}})
    names = ["early", "Saturday"]

    assert working_days_per_week(week.in_week(47), names) == 6
    assert working_days_per_week(week.in_week(46), names) == working_days_per_week(week.in_normal_weeks(), names) == 5
    alone = [mean_shift_min(week.in_week(number), ["Saturday"]) for number in (46, 47)]
    assert alone[0] == alone[1]
    assert mean_shift_min(week.in_week(46), names) == mean_shift_min(week, ["early"])
    assert (week.shifts["Saturday"].weeks_a_year, week.shifts["early"].weeks_a_year) == (5, 52)


def test_breaks_are_told_from_the_end_of_work():
    """Breaks and handovers within a chain of shifts, not the night nor the weekend."""
    week = _week(
        {
            "early": {**EARLY, "breaks": ["09:00 for 30 min"]},
            "late": {**LATE, "handover": "10 min"},
        }
    )
    windows = group_windows(week, ["early", "late"], DAY_MIN)

    assert windows == [
        _hours("Mon", "06:00", "09:00"),
        _hours("Mon", "09:30", "14:00"),
        _hours("Mon", "14:10", "22:00"),
    ]
    assert break_starts(week, ["early", "late"], windows, DAY_MIN) == {_at("Mon", "09:00"), _at("Mon", "14:00")}
    two_days = group_windows(week, ["early", "late"], 2 * DAY_MIN)
    assert _at("Mon", "22:00") not in break_starts(week, ["early", "late"], two_days, 2 * DAY_MIN)


def test_a_gap_between_shifts_is_no_break():
    week = _week({"early": EARLY, "evening": {"days": "Mon-Fri", "from": "15:00", "to": "20:00"}})
    windows = group_windows(week, ["early", "evening"], WEEK_MIN)

    assert break_starts(week, ["early", "evening"], windows, WEEK_MIN) == frozenset()


# Crews and working days


def test_attendants_of_overlapping_shifts_are_on_duty_together():
    week = _week({"early": EARLY, "middle": {"days": "Mon", "from": "10:00", "to": "16:00"}, "late": LATE})
    attendants = {"early": 1, "middle": 1, "late": 1}

    assert manned_windows(week, attendants, 2, DAY_MIN) == [_hours("Mon", "10:00", "16:00")]
    assert manned_windows(week, attendants, 1, DAY_MIN) == [_hours("Mon", "06:00", "22:00")]
    assert manned_windows(week, attendants, 3, DAY_MIN) == []
    assert manned_windows(week, {"early": 2, "late": 0}, 2, DAY_MIN) == [_hours("Mon", "06:00", "14:00")]


def test_minutes_of_overlap():
    assert overlap_min([(0.0, 10.0), (20.0, 30.0)], [(5.0, 25.0)]) == 10.0
    assert overlap_min([(0.0, 10.0)], [(10.0, 20.0)]) == 0.0


windows = st.lists(st.tuples(st.integers(0, 30), st.integers(1, 12)).map(lambda each: (each[0], each[0] + each[1])))


@given(windows, windows)
def test_windows_in_common_are_those_of_each_pair(first, second):
    """In whatever order they stand, and where windows of one side overlap each other."""
    pairs = [(max(a, c), min(b, d)) for a, b in first for c, d in second]
    assert common(first, second) == sorted((start, end) for start, end in pairs if end > start)


def test_a_night_shift_belongs_to_the_day_that_holds_its_middle():
    """Five days with three shifts are five working days, although the first night begins on Sunday."""
    week = _week({"early": EARLY, "late": LATE, "night": NIGHT, "always": ALWAYS})

    assert working_days_per_week(week, ["early", "late", "night"]) == 5
    assert working_days_per_week(week, ["night"]) == 5
    assert working_days_per_week(week, ["always"]) == 7


def test_minutes_of_a_working_day():
    """Breaks are left out; shifts side by side count once."""
    week = _week(
        {
            "early": {**EARLY, "breaks": ["09:00 for 30 min"]},
            "late": LATE,
            "night": NIGHT,
            "same": EARLY,
        }
    )

    assert minutes_per_working_day(week, ["early"]) == 450.0
    assert minutes_per_working_day(week, ["early", "late", "night"]) == 1410.0
    assert minutes_per_working_day(week, ["early", "same"]) == pytest.approx(480.0)
