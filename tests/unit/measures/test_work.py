"""Work that trucks do and work that is lost: by hand, and against a sum over every shift of every truck."""

import math
from pathlib import Path

import pytest

import batsim
from batsim.measures import measure
from batsim.measures.windows import Measured
from batsim.measures.work import lost_work
from batsim.scenario.parts.calendar import group_windows
from batsim.scenario.parts.week import WEEK_MIN
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
CART_ROOM = ROOT / "tests" / "unit" / "cases" / "cart_room.yaml"
KESTREL = batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")
THREE_DAYS = 3 * 1440.0


def overlap(first, second):
    """Minutes that two spans have in common."""
    return max(0.0, min(first[1], second[1]) - max(first[0], second[0]))


@pytest.mark.parametrize("drivers", [False, True])
def test_lost_work_is_what_the_lost_minutes_of_each_shift_would_have_drawn(drivers):
    """Away from work or standing, breaks excluded, each minute at the power drawn for that truck and shift."""
    changes = {"layouts.hoist.attendants": None, "layouts.hoist.exchange_by": "drivers"} if drivers else {}
    site = batsim.changed(KESTREL, changes)
    record = record_of(site, "hoist", seed=1, length_min=THREE_DAYS, warm_up_min=0.0)
    lost = [(row["truck"], row["left_min"], row["back_min"]) for row in record.frame("exchanges").to_dict("records")]
    stood = [(row["truck"], row["start_min"], row["end_min"]) for row in record.frame("stands").to_dict("records")]
    assert bool(stood) == drivers
    windows = [group_windows(site.week, group.shifts, THREE_DAYS) for group in site.trucks]
    shifts = record.frame("truck_shifts").to_dict("records")

    hours = kwh = 0.0
    for truck, left_min, back_min in (*lost, *stood):
        away = left_min, THREE_DAYS if math.isnan(back_min) else min(back_min, THREE_DAYS)
        for shift in (each for each in shifts if each["truck"] == truck):
            for start_min, end_min in windows[int(shift["group"])]:
                at_work = max(start_min, shift["start_min"]), min(end_min, shift["end_min"])
                hours += overlap(away, at_work) / 60.0
                kwh += overlap(away, at_work) / 60.0 * shift["power_w"] / 1000.0

    assert hours > 10.0
    assert lost_work(Measured(record)) == pytest.approx((hours, kwh))


def test_work_by_hand():
    """Sixteen exchanges of 10 min in a week around the clock; run times say nothing of power."""
    found = measure(record_of(batsim.read(CART_ROOM), "no device"))

    assert found["lost_hours_per_day"] == pytest.approx(160.0 / 60.0 / 7.0)
    assert found["work_hours_per_day"] == pytest.approx(24.0 - 160.0 / 60.0 / 7.0)
    assert math.isnan(found["lost_kwh_per_day"])


def test_what_an_hour_of_work_takes():
    """The same energy and water over the hours worked; worked and lost are what is scheduled."""
    record = record_of(KESTREL, "hoist", seed=1, length_min=WEEK_MIN, warm_up_min=0.0)
    found = measure(record)
    hours, lost = found["work_hours_per_day"], found["lost_hours_per_day"]
    week = 0.0, WEEK_MIN
    scheduled = sum(
        group.count * overlap(week, window) / 60.0
        for group in KESTREL.trucks
        for window in group_windows(KESTREL.week, group.shifts, WEEK_MIN)
    )

    assert (hours + lost) * Measured(record).working_days == pytest.approx(scheduled)
    assert found["energy_kwh_per_truck_hour"] * hours == pytest.approx(found["energy_kwh_per_day"])
    assert found["water_lost_kg_per_truck_hour"] * hours == pytest.approx(found["water_lost_kg_per_day"])
