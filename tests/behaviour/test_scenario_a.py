"""What the flagship scenario shows: bursts at shift changes, staggering, what binds, a day without the carriages."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures.profile import away_profile
from batsim.study.day_without import AS_IT_IS, WITH_STANDBY, WITHOUT
from batsim.study.intervals import simultaneous, student_interval

ROOT = Path(__file__).parents[2]
EXCHANGING = ("side rollers", "portable stands", "hoist")
REPLICATIONS = 6


@pytest.fixture(scope="module")
def site():
    return batsim.read(ROOT / "scenarios" / "kestrel-lane.yaml")


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
    staggered = site.replace("trucks[0].exchange_when.spread", "30 min")
    before, after = (
        batsim.run(each, EXCHANGING, replications=REPLICATIONS, workers=1).values for each in (site, staggered)
    )
    saved = {
        layout: student_interval(
            before[layout]["downtime_min_per_truck_shift"] - after[layout]["downtime_min_per_truck_shift"],
            simultaneous(0.95, len(EXCHANGING)),
        )
        for layout in EXCHANGING
    }

    for interval in saved.values():
        assert interval.mean > 3.0
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
        (
            "portable stands",
            "one more station with its hand pallet truck and attendants",
            "the stations with their hand pallet truck and attendants",
        ),
        ("hoist", "one more station with its hoist", "the station with its hoist"),
    ],
)
def test_what_binds_is_named(site, layout, what, thing):
    one = batsim.one_more(site, layout, replications=REPLICATIONS, workers=1)

    assert one.binding is not None
    assert one.binding.what == what
    assert one.binding.interval.half_width < 0.5 * one.binding.interval.mean
    assert one.sentence.startswith(f"What binds in '{layout}': {thing}, ")
    assert one.when is not None
    assert one.when.windows


def test_in_the_truck_it_is_the_charge_itself(site):
    one = batsim.one_more(site, "in the truck", replications=3, workers=1)

    assert one.binding is None
    assert one.sentence.endswith(" min per truck-shift are the charge in the truck itself.")


def test_a_day_without_the_carriages_is_bridged(site):
    """By one pallet truck and its stands: dear, but trucks go on; without it they stand."""
    (day,) = batsim.day_without(site, "side rollers", "battery_carriage", replications=REPLICATIONS, workers=1)
    usual, bridged, bare = (day.downtime(way) for way in (AS_IT_IS, WITH_STANDBY, WITHOUT))

    assert (day.count, day.standby) == (2, "1 hand pallet truck")
    assert usual.mean + 20.0 < bridged.low
    assert bridged.high < 0.3 * bare.low
    assert bridged.half_width < 0.2 * bridged.mean
    out = site.replace(
        "layouts.'side rollers'.out",
        [{"thing": "battery_carriage", "units": 2, "from": "week 1 Tue 06:00", "for": "24 h"}],
    )
    visits = batsim.simulate(out, "side rollers").frame("exchanges")
    start = 10080.0 + 1440.0 + 360.0
    inside = (visits["start_min"] > start + 15.0) & (visits["start_min"] < start + 1440.0)
    assert inside.sum() > 50
    assert (visits["standby"][inside] == 1).all()
    elsewhere = (visits["start_min"] < start) | (visits["start_min"] >= start + 1440.0)
    assert not visits["standby"][elsewhere].any()
