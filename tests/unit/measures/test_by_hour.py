"""Attendants on duty and at work in each hour of the week."""

import math
from dataclasses import replace

import numpy as np
import pytest

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, DRIVER, EXCHANGING
from tests.rows import write_row
from tests.runs import record_of
from tests.sites import KESTREL

WEEK_MIN = 10080.0


def record(*jobs, weeks=1, windows=((360.0, 450.0, 2),)):
    """Record with nothing in it but jobs: start, end, people, person, and 1 for overtime."""
    some = record_of(KESTREL, "hoist", length_min=60.0, warm_up_min=0.0).facts
    made = Record(replace(some, horizon_min=weeks * WEEK_MIN, warm_up_min=0.0, attendant_windows=windows))
    for start, end, people, person, *overtime in jobs:
        values = {"person": person, "task": EXCHANGING, "start_min": start, "end_min": end, "people": people}
        values["overtime"] = sum(overtime)
        write_row(made, "work", 0.0, **values)
    return made


def test_one_row_for_each_hour_of_the_week():
    hours = batsim.attendants_by_hour(record())

    assert list(hours) == ["hour_of_week", "weekday", "hour", "on_duty", "busy", "busy_share", "overtime"]
    assert hours["hour_of_week"].tolist() == list(range(168))
    assert hours.loc[[0, 23, 24, 167], ["weekday", "hour"]].to_numpy().tolist() == [
        ["Mon", 0], ["Mon", 23], ["Tue", 0], ["Sun", 23],
    ]  # fmt: skip


def test_people_on_duty_and_at_work():
    """On duty 06:00 to 07:30, two of them; one job of two people over the hour, drivers left out."""
    hours = batsim.attendants_by_hour(record((405.0, 435.0, 2, ATTENDANT), (360.0, 420.0, 1, DRIVER)))

    assert hours.loc[6, ["on_duty", "busy", "busy_share"]].tolist() == [2.0, 0.5, 0.25]
    assert hours.loc[7, ["on_duty", "busy", "busy_share"]].tolist() == [1.0, 0.5, 0.5]
    assert hours["on_duty"].sum() == 3.0
    assert hours["busy"].sum() == 1.0


def test_work_after_the_shift_is_overtime_and_has_no_share():
    hours = batsim.attendants_by_hour(record((445.0, 450.0, 1, ATTENDANT), (450.0, 500.0, 1, ATTENDANT, 1)))

    assert hours.loc[7, ["busy", "overtime"]].tolist() == [pytest.approx(5.0 / 60.0), 0.5]
    assert hours.loc[8, ["on_duty", "busy", "overtime"]].tolist() == [0.0, 0.0, pytest.approx(20.0 / 60.0)]
    assert math.isnan(hours.loc[8, "busy_share"])


def test_weeks_are_averaged():
    hours = batsim.attendants_by_hour(record((360.0, 420.0, 1, ATTENDANT), weeks=2))

    assert hours.loc[6, ["on_duty", "busy"]].tolist() == [1.0, 0.5]


@pytest.mark.parametrize("weeks", [1.0, 2.0])
def test_hours_add_up_to_the_measures(weeks):
    """On duty and busy minutes over all hours are those of the whole."""
    made = record_of(KESTREL, "hoist", length_min=weeks * WEEK_MIN, warm_up_min=3000.0)
    hours, found = batsim.attendants_by_hour(made), measure(made)
    on_duty_min = float(np.sum(hours["on_duty"])) * 60.0 * weeks

    assert on_duty_min == pytest.approx(found["attendants_on_duty_min_per_day"] * 5.0 * weeks, rel=1e-9)
    assert float(np.sum(hours["busy"])) * 60.0 * weeks == pytest.approx(
        found["attendants_busy_share"] * on_duty_min, rel=1e-9
    )
    assert hours["on_duty"].max() == pytest.approx(2.0)


def test_a_part_of_a_week_counts_the_hours_that_were_seen():
    made = record_of(KESTREL, "hoist", length_min=2 * 1440.0, warm_up_min=0.0)
    hours = batsim.attendants_by_hour(made)

    assert hours.loc[7, "on_duty"] == pytest.approx(2.0)
    assert np.all(np.isnan(hours["on_duty"][48:]))


@pytest.mark.parametrize("attendants", [None, "unlimited"])
def test_without_a_limit_nobody_is_on_duty(attendants):
    made = record_of(
        batsim.changed(KESTREL, {"layouts.hoist.attendants": attendants}), "hoist", length_min=WEEK_MIN, warm_up_min=0.0
    )
    hours = batsim.attendants_by_hour(made)

    assert np.all(np.isnan(hours["on_duty"]))
    assert np.all(np.isnan(hours["busy_share"]))
    assert (hours["busy"].sum() > 0.0) == (attendants == "unlimited")
