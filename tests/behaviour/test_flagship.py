"""What the flagship scenario shows: bursts at shift changes, staggering, what binds, a day without the carriages."""

import re
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures.profile import away_profile
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN
from batsim.statistics.intervals import simultaneous, student_interval
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT

ROOT = Path(__file__).parents[2]
EXCHANGING = ("side rollers", "portable stands", "hoist")
REPLICATIONS = 6


@pytest.fixture(scope="module")
def as_written():
    return batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")


@pytest.fixture(scope="module")
def site(as_written):
    """The same where drivers give away a battery that is more than half full too: all that are short come at once."""
    return batsim.changed(as_written, {"trucks[0].exchange_when.not_above": "100 %"})


def trucks_waiting(record):
    """Mean number of trucks in line in each quarter of an hour of a weekday, over the weeks of a run."""
    start = record.facts.warm_up_min
    course = batsim.room_course(record, start, record.facts.horizon_min)
    spans = np.diff(course.time_min, append=course.to_min)
    truck_min = np.concatenate([[0.0], np.cumsum(sum(course.waiting.values()) * spans)])
    edges = np.arange(start, course.to_min + 1.0, 15.0)
    counts = np.diff(np.interp(edges, np.append(course.time_min, course.to_min), truck_min)) / 15.0
    return counts.reshape(-1, 7, 96)[:, :5].mean(axis=(0, 1))


def burst_and_other(site, layout):
    """Trucks in line in the half hour around 14:00, and in hours other than around 06:00, 14:00 and 22:00, by run."""
    lines = np.array(
        [trucks_waiting(batsim.simulate(site, layout, replication=number)) for number in range(REPLICATIONS)]
    )
    quarters = np.arange(96)
    around = {hour: np.isin(quarters, (4 * hour - 1, 4 * hour)) for hour in (6, 14, 22)}
    return lines[:, around[14]].mean(axis=1), lines[:, ~np.logical_or.reduce([*around.values()])].mean(axis=1)


BURSTS = [("side rollers", 10.0), ("portable stands", 6.0), ("hoist", 2.0)]


@pytest.mark.parametrize(("layout", "times"), BURSTS)
def test_the_queue_around_two_oclock_is_many_times_that_of_other_hours(site, layout, times):
    """One hoist works for hours on what came at once."""
    burst, other = burst_and_other(site, layout)

    assert student_interval(burst - times * other, 0.95).low > 0.0
    trucks = student_interval(burst, 0.95)
    assert trucks.low > 4.0
    assert trucks.half_width < 0.1 * trucks.mean


@pytest.mark.parametrize(("layout", "times"), BURSTS)
def test_half_full_batteries_that_are_kept_make_the_bursts_smaller(as_written, site, layout, times):
    """Less than half of the visits of the docks are at the shift's end then; still many times as many wait there."""
    burst, other = burst_and_other(as_written, layout)

    assert student_interval(burst - times * other, 0.95).low > 0.0
    assert student_interval(burst_and_other(site, layout)[0] - 2.0 * burst, 0.95).low > 0.0
    visits = batsim.simulate(as_written, layout).frame("exchanges")
    docks = visits[visits["group"] == 0]
    at_change = docks["reason"] == "shift change"
    assert 0.3 < at_change.mean() < 0.5
    assert docks["soc_share"][at_change].max() <= 0.5


def test_trucks_come_in_bursts_at_shift_changes(site):
    """Around 06:00, 14:00 and 22:00 trucks lose many times what they lose in other hours."""
    profile = np.mean(
        [away_profile(batsim.simulate(site, "side rollers", replication=number)) for number in range(3)], axis=0
    )
    weekdays = profile[: 4 * 96].reshape(4, 96).mean(axis=0)  # Monday to Thursday, by quarter of an hour
    change = np.isin(np.arange(96) // 4, (6, 14, 22)) | np.isin(np.arange(96), (23, 55, 87))

    assert weekdays[change].mean() > 5.0 * weekdays[~change].mean()
    record = batsim.simulate(site, "side rollers")
    visits = record.frame("exchanges")
    docks = visits[(visits["group"] == 0) & (visits["reason"] == "shift change")]
    assert len(docks) > 0.75 * (visits["group"] == 0).sum()
    assert set((docks["left_min"] % 480.0).unique()) == {350.0}  # ten minutes before 06:00, 14:00 and 22:00
    assert set(visits[visits["group"] == 1]["reason"]) == {"level"}


def test_staggering_by_half_an_hour_helps(site):
    """In each layout with exchanges, the three intervals together; less than half the saving is the half width."""
    staggered = batsim.changed(site, {"trucks[0].exchange_when.spread": "30 min"})
    before, after = (
        batsim.run(each, batsim.Settings(layouts=EXCHANGING, replications=2 * REPLICATIONS, workers=1)).values
        for each in (site, staggered)
    )
    saved = {
        layout: student_interval(
            before[layout]["downtime_min_per_truck_shift"] - after[layout]["downtime_min_per_truck_shift"],
            simultaneous(0.95, len(EXCHANGING)),
        )
        for layout in EXCHANGING
    }

    for interval in saved.values():
        assert interval.low > 2.0
        assert interval.half_width < 0.5 * interval.mean
    waits = {
        layout: after[layout]["wait_min_p95"].mean() / before[layout]["wait_min_p95"].mean() for layout in EXCHANGING
    }
    assert waits["side rollers"] < 0.5


@pytest.mark.parametrize(
    ("layout", "what", "thing"),
    [
        (
            "side rollers",
            "one more station with its battery carriage and attendants",
            "the stations with their battery carriage and attendants",
        ),
        pytest.param(
            "portable stands",
            "one more station with its hand pallet truck and attendants",
            "the stations with their hand pallet truck and attendants",
            marks=pytest.mark.slow,
        ),
        pytest.param("hoist", "one more station with its hoist", "the station with its hoist", marks=pytest.mark.slow),
    ],
)
def test_what_binds_is_named(site, layout, what, thing):
    one = batsim.bottleneck(site, batsim.Settings(layouts=layout, replications=REPLICATIONS, weeks=2.0, workers=1))[
        layout
    ]

    assert one.binding is not None
    assert one.binding.what == what
    assert one.rivals == ()
    assert one.binding.interval.low > 1.0
    assert one.binding.interval.half_width < 0.5 * one.binding.interval.mean
    assert one.sentence.startswith(f"Bottleneck of layout '{layout}': {thing}, ")
    assert one.when is not None
    assert one.when.windows


def test_in_the_truck_it_is_the_charge_itself(site):
    one = batsim.bottleneck(site, batsim.Settings(layouts="in the truck", replications=3, workers=1))["in the truck"]

    assert one.binding is None
    assert one.downtime.half_width < 0.1 * one.downtime.mean
    found = re.fullmatch(
        r"No clear bottleneck in layout 'in the truck': "
        r"(\d+\.\d) of (\d+\.\d) min per truck-shift are the charge in the truck itself\.",
        one.sentence,
    )
    assert found is not None
    assert float(found[1]) > 0.8 * float(found[2])


def test_a_day_without_the_carriages_is_bridged(site):
    """By one pallet truck and its stands: dear, but trucks go on; without it they stand."""
    (day,) = batsim.day_without(
        site, batsim.Settings(layouts="side rollers", replications=REPLICATIONS, workers=1), device="battery_carriage"
    )
    usual, bridged, bare = (day.downtime(way) for way in (AS_IT_IS, WITH_STANDBY, WITHOUT))

    assert (day.count, day.standby) == (2, "1 hand pallet truck")
    assert usual.mean + 20.0 < bridged.low
    assert bridged.high < 0.3 * bare.low
    assert bridged.half_width < 0.2 * bridged.mean
    out = batsim.changed(
        site,
        {
            "layouts.'side rollers'.out": [
                {"thing": "battery_carriage", "units": 2, "from": "week 1 Tue 06:00", "for": "24 h"}
            ]
        },
    )
    visits = batsim.simulate(out, "side rollers").frame("exchanges")
    start = WEEK_MIN + DAY_MIN + 6 * 60.0
    inside = (visits["start_min"] > start + 15.0) & (visits["start_min"] < start + DAY_MIN)
    assert inside.sum() > 50
    assert (visits["standby"][inside] == 1).all()
    elsewhere = (visits["start_min"] < start) | (visits["start_min"] >= start + DAY_MIN)
    assert not visits["standby"][elsewhere].any()
