"""What logs say about some weeks: by hand, against the measures of a run, and without going over a file."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

import batsim
from batsim.calibration.course import CUTS, EVENTS, LEVELS, Where, course, log_measures
from batsim.calibration.log_weeks import in_calendar, stretches_of, working_days
from batsim.calibration.logs_of import logs_of
from batsim.calibration.on_hand import Level
from batsim.measures import measure
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.event_log import event_log, event_log_csv
from tests.runs import record_of
from tests.sites import KESTREL

DAY, HOUR = 1440.0, 60.0
SITE = Where()


@pytest.fixture(scope="module", params=["hoist", "in the truck"])
def run(request):
    """A week of a layout after one of warm-up."""
    return record_of(KESTREL, request.param, length_min=WEEK_MIN, warm_up_min=WEEK_MIN)


@pytest.fixture(scope="module")
def small():
    """Two groups that work 6:00 to 14:00 with a break of 30 min at 9:00; one of them in the evening too."""
    return batsim.read_scenario_text(
        """
site: {name: By hand}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:00 for 30 min"]}
    late: {days: Mon-Fri, from: "14:00", to: "22:00"}
  holidays: [week 2 Mon]
trucks:
  - {group: docks, count: 2, shifts: [early], battery: plain, run_time: 4 h}
  - {group: aisles, count: 2, shifts: [early, late], battery: plain, run_time: 4 h}
batteries:
  plain: {from: vented_lead_acid_48v}
layouts:
  one: {handling: overhead_hoist, stations: 1, batteries: 8, chargers: 4 x electronic_iuia, attendants: {early: 1}}
"""
    )


def exchanges(*rows):
    """Exchanges: group, arrived, start, free, end, battery that came and that left."""
    names = ["group", "arrived_min", "start_min", "truck_free_min", "end_min", "battery", "charged_battery"]
    return of_weeks(pd.DataFrame(rows, columns=names))


def charges(*rows):
    """Charges: battery, start, end."""
    return of_weeks(pd.DataFrame(rows, columns=["battery", "start_min", "end_min"]))


def of_weeks(frame):
    return frame.assign(week=np.floor(frame["start_min"] / WEEK_MIN))


# --- a run as logs ---


@pytest.mark.parametrize("kind", ["exchanges", "charges", "trucks", "steps"])
def test_logs_of_a_run_are_those_that_are_read_of_its_file(run, kind, tmp_path):
    monday, file = date(2025, 3, 3), tmp_path / "events.csv"
    file.write_text(event_log_csv(event_log(run, monday)), encoding="utf-8")

    read = batsim.read_log(file, kind, scenario=KESTREL, first_monday=monday).rows.drop(columns="line")

    made = logs_of(run, monday)[kind]
    assert list(made) == list(read)
    assert len(made) == len(read)
    for name in made:
        mine, theirs = made[name].to_numpy(), read[name].to_numpy()
        if theirs.dtype.kind in "fb":
            # Shares are written to the fourth digit, ampere-hours to the third, hours to the fourth.
            assert np.allclose(mine.astype(float), theirs.astype(float), atol=0.004, equal_nan=True), name
        else:
            assert (mine == theirs).all(), name


def test_logs_tell_what_the_measures_of_the_run_do():
    """A whole week with all its shifts: waits, times away and long waits as the record has them, to the second."""
    record = record_of(KESTREL, "hoist", length_min=2 * WEEK_MIN, warm_up_min=WEEK_MIN)
    own = measure(record)

    told = course(logs_of(record), [0, 1], KESTREL)

    assert told["wait_min", SITE] == pytest.approx(own["wait_min_per_exchange"], rel=0.005)
    assert told["away_min", SITE] == pytest.approx(own["down_min_per_exchange"], rel=0.005)
    assert told["exchanges_per_day", SITE] == pytest.approx(own["exchanges_per_day"], rel=0.005)
    by_hour = [value for (name, where), value in told.items() if name == "exchanges_per_day" and where.cut == "hour"]
    assert len(by_hour) == 24
    assert sum(by_hour) == pytest.approx(told["exchanges_per_day", SITE])
    groups = [told["used_kwh_per_day", Where("group", group)] for group in ("docks", "aisles")]
    assert sum(groups) == pytest.approx(told["used_kwh_per_day", SITE])


def test_trucks_charged_where_they_stand_have_charges_alone(run):
    told = course(logs_of(run), [0], KESTREL)

    has_exchanges = "wait_min" in {name for name, _ in told}
    assert has_exchanges == (run.facts.layout == "hoist")
    assert told["charges_per_day", SITE] > 50.0


# --- by hand ---


def test_waits_and_exchanges_by_group_shift_and_hour(small):
    """Monday: one truck waits 10 min and stands 12; one comes at 8:50 and waits over the break of 30 min, 15 min of
    work; one comes at 13:55 and is served the next morning at 6:10: of the docks that is 5 + 10 min of work."""
    rows = exchanges(
        ("docks", 400.0, 410.0, 422.0, 430.0, "a", "b"),
        ("aisles", 530.0, 575.0, 587.0, 590.0, "c", "d"),
        ("docks", 835.0, DAY + 370.0, DAY + 380.0, DAY + 390.0, "e", "f"),
    )

    told = course({"exchanges": rows}, [0], small)

    assert told["exchanges_per_day", SITE] == pytest.approx(3 / 5)
    assert told["exchanges_per_day", Where("group", "docks")] == pytest.approx(2 / 5)
    assert told["exchanges_per_day", Where("hour", "06:00-07:00")] == pytest.approx(2 / 5)
    assert told["exchanges_per_day", Where("hour", "23:00-24:00")] == 0.0
    assert told["wait_min", SITE] == pytest.approx((10 + 15 + 15) / 3)
    assert told["wait_min", Where("group", "aisles")] == pytest.approx(15.0)
    assert told["wait_min", Where("shift", "early")] == pytest.approx(40 / 3)
    assert told["wait_min", Where("hour", "13:00-14:00")] == pytest.approx(15.0)
    assert ("wait_min", Where("shift", "late")) not in told
    assert told["waited_share", SITE] == 1.0
    assert told["station_min", SITE] == pytest.approx((12 + 12 + 10) / 3)
    assert {name for name, _ in told} == {
        "exchanges_per_day", "wait_min", "waited_share", "wait_p95_min", "station_min",
    }  # fmt: skip


def test_a_clock_that_runs_behind_makes_no_wait(small):
    told = course({"exchanges": exchanges(("docks", 415.0, 410.0, 420.0, 420.0, "a", "b"))}, [0], small)

    assert told["wait_min", SITE] == 0.0


def test_a_battery_whose_charge_is_not_in_the_log(small):
    """It came in a truck before it leaves, so it was not there from the begin of the week: b alone was, for 410 min."""
    rows = exchanges(
        ("docks", 400.0, 410.0, 415.0, 420.0, "a", "b"), ("docks", 1490.0, 1500.0, 1505.0, 1510.0, "b", "a")
    )
    told = course({"exchanges": rows, "charges": charges(("c", 480.0, 490.0))}, [0], small)

    assert told["charged_batteries", SITE] * 5 * DAY == pytest.approx(410.0 + 5 * DAY - 490.0)


def test_batteries_before_and_after_their_charge(small):
    """Battery a stands from 420 to 480 min, is charged until 960 and leaves at 1500; b is there from the begin of the
    week until it leaves at 410. Of 5 working days, charged batteries are there for 410 + 540 min."""
    logs = {
        "exchanges": exchanges(
            ("docks", 400.0, 410.0, 415.0, 420.0, "a", "b"), ("docks", 1490.0, 1500.0, 1505.0, 1510.0, "b", "a")
        ),
        "charges": charges(("a", 480.0, 960.0)),
    }

    told = course(logs, [0], small)

    assert told["stands_discharged_h", SITE] == pytest.approx(1.0)
    assert told["charge_h", SITE] == pytest.approx(8.0)
    assert told["charged_batteries", SITE] == pytest.approx((410 + 540) / (5 * DAY))
    assert told["least_charged_batteries", SITE] == 0.0
    assert told["chargers_in_use", SITE] == pytest.approx(480 / (5 * DAY))
    assert told["chargers_in_busiest_hour", SITE] == pytest.approx(1 / 5)
    assert told["most_chargers_in_use", SITE] == 1.0


def test_nothing_goes_on_over_weeks_that_are_left_out(small):
    """A battery that comes in week 1 and is charged in week 3 was charged between, in week 2, which is not told."""
    logs = {
        "exchanges": exchanges(("docks", 400.0, 410.0, 415.0, 420.0, "a", "b")),
        "charges": charges(("a", 2 * WEEK_MIN + 480.0, 2 * WEEK_MIN + 960.0)),
    }

    assert ("stands_discharged_h", SITE) in course(logs, [0, 1, 2], small)
    assert ("stands_discharged_h", SITE) not in course(logs, [0, 2], small)


def test_what_ends_after_the_weeks_has_not_ended(small):
    """A charge over the end of the week has no length, and a charger that gives current until then."""
    late = WEEK_MIN - 60.0
    told = course({"charges": charges(("a", late, late + 300.0))}, [0], small)

    assert ("charge_h", SITE) not in told
    assert told["charges_per_day", SITE] == pytest.approx(1 / 5)


def test_a_whole_of_which_a_part_is_not_known_is_as_large_as_its_mean_says(small):
    rows = of_weeks(pd.DataFrame({"start_min": [360.0] * 4, "energy_kwh": [10.0, 20.0, np.nan, np.nan]}))

    assert course({"trucks": rows}, [0], small)["used_kwh_per_day", SITE] == pytest.approx(60 / 5)


def test_a_log_without_rows_in_the_weeks_tells_that_there_were_none(small):
    told = course({"exchanges": exchanges(("docks", 400.0, 410.0, 415.0, 420.0, "a", "b"))}, [1], small)

    assert told["exchanges_per_day", SITE] == 0.0
    assert ("wait_min", SITE) not in told


def test_no_log_tells_nothing(small):
    assert course({}, [0], small) == {}


# --- weeks ---


def test_working_days_are_those_of_the_middle_of_shifts(small):
    """Monday of the second week is a holiday; at Kestrel Lane the night shift of Sunday is Monday's."""
    assert working_days(small, [0, 1]) == [0, 1, 2, 3, 4, 8, 9, 10, 11]
    assert working_days(KESTREL, [1]) == [7, 8, 9, 10, 11]


def test_holidays_keep_their_calendar_week(small):
    """The first Monday of 2024 begins week 1, the holiday is in week 2: seen from week 2, in its first."""
    later = in_calendar(small, date(2024, 1, 8))

    assert later.simulation.start_week == 2
    assert working_days(later, [0]) == [1, 2, 3, 4]
    assert in_calendar(small, date(2024, 1, 1)) is small
    assert in_calendar(small, date(2020, 12, 28)).simulation.start_week == 1  # week 53


def test_stretches_of_weeks():
    assert stretches_of([9, 3, 4, 5, 3]) == [(3, 5), (9, 9)]


def test_a_level_by_hand():
    """Two are there from 10 to 20, one until 30; what goes and what comes at once are never there together."""
    level = Level(np.array([10.0, 10.0, 20.0]), np.array([20.0, 30.0, 20.0 + 1e-9]))

    assert level(np.array([9.0, 10.0, 19.0, 20.0, 30.0])).tolist() == [0, 2, 2, 1, 0]
    assert level.mean(np.array([0.0]), np.array([40.0])) == pytest.approx(30 / 40)
    assert level.changes(0.0, 40.0).tolist() == [0, 2, 1, 0]


def test_the_table_of_measures_names_what_there_is():
    for found in log_measures().values():
        assert found.of in EVENTS.keys() | LEVELS.keys()
        assert set(found.deciding) <= set(found.cuts) <= set(CUTS)
        assert found.meaning
        assert found.short
    assert {found.of for found in log_measures().values()} == EVENTS.keys() | LEVELS.keys()
