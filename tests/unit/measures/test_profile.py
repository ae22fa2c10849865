"""When trucks lose their minutes, and the measures of attendants, devices and weeks, on records written by hand."""

import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from batsim.measures import MEASURES, WITHIN_TARGET, measure
from batsim.measures.profile import away_profile, stayed_before
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, DRIVER, EXCHANGE, EXCHANGING, PERSONS, TASKS
from tests.rows import write_row
from tests.runs import record_of
from tests.sites import KESTREL

ROOT = Path(__file__).parents[3]
WEEK_MIN = 10080.0
DAY_MIN = 1440.0
WORK = ((360.0, 600.0), (620.0, 840.0))
"""Monday 06:00 to 14:00 with a break from 10:00 to 10:20. [min]"""


def record(weeks=1, warm_up_min=0.0, windows=WORK, **facts):
    """Empty record of one group of two trucks that works on Mondays."""
    some = record_of(KESTREL, "hoist", length_min=60.0, warm_up_min=0.0).facts
    mine = tuple((week * WEEK_MIN + start, week * WEEK_MIN + end) for week in range(weeks) for start, end in windows)
    room = {
        "horizon_min": weeks * WEEK_MIN, "warm_up_min": warm_up_min, "groups": ("reach",), "group_trucks": (2,),
        "group_windows": (mine,), "group_shift_min": (460.0,), "site_windows": mine, "minutes_per_working_day": 460.0,
    }  # fmt: skip
    stated = room | facts
    area = replace(some.areas[0], groups=tuple(range(len(stated["groups"]))))
    return Record(replace(some, **({"areas": (area,)} | stated)))


def write(made, table, **values):
    """Write a row; what is not given is 0."""
    write_row(made, table, 0.0, **values)


def visit(made, left, back, group=0):
    """Write a visit to a room next door, at once at the station; not a number when it never came back."""
    begins = dict.fromkeys(("left_min", "joined_min", "start_min"), left)
    ends = dict.fromkeys(("truck_free_min", "end_min", "back_min"), back)
    write(made, "exchanges", group=group, kind=EXCHANGE, **begins, **ends)


def filled(profile, bin_min=15.0):
    """Bins that are not empty: minutes by weekday and clock time."""
    names = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    times = {number: number * bin_min for number in np.flatnonzero(profile)}
    return {
        f"{names[int(time // DAY_MIN)]} {int(time % DAY_MIN // 60):02d}:{int(time % 60):02d}": float(profile[number])
        for number, time in times.items()
    }


# --- when ---


def test_a_visit_is_cut_into_quarters_of_an_hour():
    made = record()
    visit(made, 370.0, 400.0)

    assert away_profile(made).shape == (672,)
    assert filled(away_profile(made)) == {"Mon 06:00": 5.0, "Mon 06:15": 15.0, "Mon 06:30": 10.0}
    assert filled(away_profile(made, 60.0), 60.0) == {"Mon 06:00": 30.0}


def test_trucks_add_up():
    made = record()
    visit(made, 370.0, 400.0)
    visit(made, 374.0, 376.0)

    assert filled(away_profile(made)) == {"Mon 06:00": 6.0, "Mon 06:15": 16.0, "Mon 06:30": 10.0}


def test_only_scheduled_time_counts():
    made = record()
    visit(made, 595.0, 625.0)
    visit(made, 835.0, 900.0)

    assert filled(away_profile(made)) == {"Mon 09:45": 5.0, "Mon 10:15": 5.0, "Mon 13:45": 5.0}


def test_each_group_has_its_own_hours():
    late = ((840.0, 1320.0),)
    made = record(
        groups=("reach", "other"), group_trucks=(1, 1), group_windows=(WORK, late), group_shift_min=(460.0,) * 2
    )
    visit(made, 830.0, 850.0, group=0)
    visit(made, 830.0, 850.0, group=1)

    assert filled(away_profile(made)) == {"Mon 13:45": 10.0, "Mon 14:00": 10.0}


def test_a_visit_that_never_ended_is_cut_at_the_horizon():
    made = record()
    visit(made, 830.0, math.nan)

    assert filled(away_profile(made)) == {"Mon 13:45": 10.0}


def test_weeks_are_averaged_and_the_warm_up_is_dropped():
    made = record(weeks=3, warm_up_min=WEEK_MIN)
    visit(made, 370.0, 380.0)
    visit(made, WEEK_MIN + 370.0, WEEK_MIN + 380.0)

    assert filled(away_profile(made)) == {"Mon 06:00": 2.5, "Mon 06:15": 2.5}


def test_a_visit_over_the_end_of_the_warm_up_is_cut_there():
    made = record(weeks=2, warm_up_min=WEEK_MIN + 375.0)
    visit(made, WEEK_MIN + 370.0, WEEK_MIN + 385.0)

    mean_of = WEEK_MIN / (WEEK_MIN - 375.0)
    assert filled(away_profile(made)) == {"Mon 06:15": pytest.approx(10.0 * mean_of)}


@pytest.mark.parametrize("layout", list(KESTREL.layouts))
@pytest.mark.parametrize("warm_up_min", [0.0, 4000.5])
def test_the_profile_adds_up_to_the_downtime(layout, warm_up_min):
    """Whatever the length: here the measured time is no whole number of weeks, nor of bins."""
    length_min = 1.3 * WEEK_MIN + 1.75
    made = record_of(KESTREL, layout, length_min=length_min, warm_up_min=warm_up_min)
    found = measure(made)
    measured_min = made.facts.horizon_min - made.facts.warm_up_min
    scheduled = (away_profile(made).sum() * measured_min / WEEK_MIN) / (1.0 - found["availability_share"])
    shifts = scheduled / made.facts.group_shift_min[0]

    assert found["downtime_min_per_truck_shift"] > 1.0
    assert found["downtime_min_per_truck_shift"] * shifts == pytest.approx(
        away_profile(made, 7.5).sum() * measured_min / WEEK_MIN, rel=1e-9
    )
    hours = made.facts.group_windows[0]
    inside = sum(
        max(0.0, min(end, made.facts.horizon_min) - max(start, made.facts.warm_up_min)) for start, end in hours
    )
    assert scheduled == pytest.approx(24 * inside, rel=1e-9)


def test_without_measured_time_there_is_no_number():
    made = record(warm_up_min=WEEK_MIN)

    assert np.all(np.isnan(away_profile(made)))


@pytest.mark.parametrize(("bin_min", "got"), [(7.3, "7.3"), (0.0, "0"), (-15.0, "-15"), (20000.0, "20000")])
def test_a_week_is_a_whole_number_of_bins(bin_min, got):
    text = f"a week needs a whole number of bins: bin_min must divide 10080 (got {got})"

    with pytest.raises(ValueError, match=f"^{re.escape(text)}$"):
        away_profile(record(), bin_min)


def test_stays_of_some_weight():
    """In any order, also those without a length."""
    starts, ends = np.array([5.0, 0.0, 3.0]), np.array([6.0, 10.0, 3.0])

    found = stayed_before(starts, ends, np.array([-1.0, 0.0, 4.0, 5.5, 99.0]), np.array([2.0, 1.0, 7.0]))

    assert found.tolist() == [0.0, 0.0, 4.0, 6.5, 12.0]


# --- the worst week ---


def test_worst_week():
    """Two trucks on one shift a week: minutes lost in a week over two."""
    made = record(weeks=3)
    for week, minutes in enumerate((10.0, 30.0, 20.0)):
        visit(made, week * WEEK_MIN + 370.0, week * WEEK_MIN + 370.0 + minutes)
    found = measure(made)

    assert found["worst_week_downtime_min_per_truck_shift"] == pytest.approx(15.0)
    assert found["first_week_downtime_min_per_truck_shift"] == pytest.approx(5.0)
    assert found["later_weeks_downtime_min_per_truck_shift"] == pytest.approx(12.5)
    assert found["downtime_min_per_truck_shift"] == pytest.approx(10.0)


def test_the_warm_up_has_no_worst_week():
    made = record(weeks=3, warm_up_min=WEEK_MIN)
    visit(made, 370.0, 570.0)
    visit(made, 2 * WEEK_MIN + 370.0, 2 * WEEK_MIN + 380.0)

    assert measure(made)["worst_week_downtime_min_per_truck_shift"] == pytest.approx(5.0)


def test_a_part_of_a_week_is_not_the_worst_week():
    """Its few shifts would make it so by chance; without a whole week all the time counts."""
    made = record(weeks=2)
    visit(made, 370.0, 380.0)
    visit(made, WEEK_MIN + 370.0, WEEK_MIN + 570.0)
    cut = Record(replace(made.facts, horizon_min=1.5 * WEEK_MIN))
    short = Record(replace(made.facts, horizon_min=0.5 * WEEK_MIN))
    for each in (cut, short):
        for row in made.frame("exchanges").itertuples():
            visit(each, row.left_min, row.back_min)

    assert measure(cut)["worst_week_downtime_min_per_truck_shift"] == pytest.approx(5.0)
    assert measure(short)["worst_week_downtime_min_per_truck_shift"] == pytest.approx(5.0)


def test_weeks_without_work_are_no_worst_week():
    closed = record(weeks=2, group_windows=(WORK,), site_windows=WORK)
    visit(closed, 370.0, 380.0)

    assert measure(closed)["worst_week_downtime_min_per_truck_shift"] == pytest.approx(5.0)
    assert math.isnan(measure(record(group_windows=((),)))["worst_week_downtime_min_per_truck_shift"])
    assert math.isnan(measure(closed)["later_weeks_downtime_min_per_truck_shift"])


# --- attendants and devices ---


def work(made, start, end, people=1, person=ATTENDANT):
    """Write a job."""
    write(made, "work", person=person, task=EXCHANGING, start_min=start, end_min=end, people=people)


def attendants_of(made):
    """The three measures of attendants' time."""
    found = measure(made)
    return [
        found[name]
        for name in ("attendants_busy_share", "attendants_on_duty_min_per_day", "attendants_idle_min_per_day")
    ]


def test_attendants_on_duty_and_idle():
    """Two for four hours, one for two; one working day; drivers' work is not theirs."""
    made = record(attendant_windows=((360.0, 600.0, 2), (600.0, 720.0, 1)))
    work(made, 370.0, 400.0, people=2)
    work(made, 610.0, 700.0)
    work(made, 400.0, 500.0, person=DRIVER)

    assert attendants_of(made) == pytest.approx([150.0 / 600.0, 600.0, 450.0])


def test_work_after_the_end_of_the_shift_is_overtime():
    """It is no time on duty, so it leaves nobody idle for less than nothing."""
    made = record(attendant_windows=((360.0, 420.0, 1),))
    work(made, 370.0, 420.0)
    write(made, "work", person=ATTENDANT, task=EXCHANGING, start_min=420.0, end_min=470.0, people=1, overtime=1)

    assert attendants_of(made) == pytest.approx([50.0 / 60.0, 60.0, 10.0])
    assert measure(made)["attendants_overtime_min_per_day"] == pytest.approx(50.0)


def test_attendants_without_a_limit_has_no_idle_time():
    made = record(attendant_windows=())
    work(made, 370.0, 470.0)

    assert all(math.isnan(value) for value in attendants_of(made))


@pytest.mark.parametrize(
    ("counts", "share"),
    [((1.0,), 60.0 / 460.0), ((1.0, 2.0), 20.0 / 460.0), ((1.0, math.inf), math.nan), ((), math.nan)],
)
def test_devices_busy(counts, share):
    """Held in the site's working time, over all kinds; the break and what comes after work are not in it."""
    made = record(devices=tuple(f"device {number}" for number in range(len(counts))), device_counts=counts)
    write(made, "devices", start_min=360.0, end_min=400.0)
    write(made, "devices", start_min=595.0, end_min=620.0)
    write(made, "devices", start_min=825.0, end_min=math.nan)

    assert measure(made)["device_busy_share"] == pytest.approx(share, nan_ok=True)


def test_the_new_measures_have_names_and_units():
    units = {
        "attendants_on_duty_min_per_day": "min/day", "attendants_idle_min_per_day": "min/day", "device_busy_share": "1",
        "worst_week_downtime_min_per_truck_shift": "min",
    }  # fmt: skip

    assert {name: MEASURES[name].unit for name in units} == units


def test_every_measure_is_taken_and_named():
    """Labour by person and task is listed row by row; a new task needs its rows."""
    labour = {f"labour_{person}_{task}_min_per_day" for person in PERSONS for task in TASKS}

    assert set(measure(record(), wait_target_min=1.0)) == {*MEASURES, WITHIN_TARGET.name}
    assert labour <= set(MEASURES)
