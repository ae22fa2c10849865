"""The worst hour of a run, the steps of a truck-shift, and what is lost by the hour of the week."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures.names import LOST_TO, PARTS
from batsim.measures.truck_lanes import WAITING, truck_lanes
from batsim.record.record import Record
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.lost_by_hour import lost_by_hour
from batsim.study.replay.trucks import IN_EXCHANGE, ON_THE_WAY, ON_THE_WAY_BACK
from batsim.study.running.replications import run
from batsim.study.truck_shift import lost_to, truck_shift
from batsim.study.worst_hour import MOST_TRUCKS, Crowd, worst_hour
from tests.runs import record_of
from tests.sites import KESTREL

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
SALTMARSH = ROOT / "scenarios" / "saltmarsh-road.yaml"
DAY = 1440.0


@pytest.fixture(scope="module")
def two_trucks():
    """Two trucks, three batteries: they wait from 65, 170, 330, 490 and 650 to 220, 380, 540, 700 and the end."""
    return batsim.simulate(batsim.read(TWO_TRUCKS), "one")


@pytest.fixture(scope="module")
def saltmarsh():
    """A site of three areas with a season."""
    return batsim.read(SALTMARSH)


def test_the_worst_hour_is_the_first_in_which_most_is_waited(two_trucks):
    """From 165 to 225 one waits until 220, the other from 170 on: 55 min each."""
    hour = worst_hour(two_trucks)

    assert (hour.from_min, hour.to_min) == (165.0, 225.0)
    assert hour.waited_min == 110.0
    assert hour.lost_min == 115.0  # and 5 min of an exchange
    assert [(lane.truck, lane.waited_min) for lane in hour.trucks] == [(1, 155.0), (0, 210.0)]
    assert hour.more == 0
    assert hour.crowd == Crowd(170.0, 2, "battery", "battery", 0.0, "")


def test_the_warm_up_is_left_out(two_trucks):
    """The same run measured from 200 on: the next such hour."""
    record = record_of(batsim.read(TWO_TRUCKS), "one", length_min=520.0, warm_up_min=200.0)

    assert worst_hour(record).from_min == 330.0
    assert worst_hour(record).waited_min == 110.0


def test_where_nobody_waits_it_is_the_hour_in_which_most_is_lost():
    """Trucks stand plugged in, and no crowd is named."""
    hour = worst_hour(record_of(KESTREL, "in the truck", length_min=DAY, warm_up_min=DAY))

    assert hour.waited_min == 0.0
    assert hour.lost_min > 0.0
    assert hour.crowd is None
    assert hour.trucks
    assert hour.things == ()


def test_where_nothing_is_lost_there_are_no_trucks(two_trucks):
    """The first hour; nothing breaks, also where the run is shorter than an hour."""
    short = replace(two_trucks.facts, horizon_min=40.0)

    assert worst_hour(Record(two_trucks.facts)).trucks == ()
    assert (worst_hour(Record(short)).from_min, worst_hour(Record(short)).to_min) == (0.0, 40.0)


def test_of_many_trucks_those_that_wait_longest_are_kept():
    """And it is told how many more there are."""
    many = batsim.changed(KESTREL, {"trucks[0].count": 60, "layouts.hoist.batteries": 150})
    record = record_of(many, "hoist", length_min=DAY, warm_up_min=DAY)
    hour = worst_hour(record)
    waited = sorted((lane.waited_min for lane in truck_lanes(record, hour.from_min, hour.to_min)), reverse=True)

    assert hour.trucks_away == len(waited) > MOST_TRUCKS
    assert sorted((lane.waited_min for lane in hour.trucks), reverse=True) == waited[:MOST_TRUCKS]
    assert (hour.crowd.thing, hour.crowd.number) in (("station", 1), ("hoist", 1))


def test_areas_that_have_no_part_in_it_are_left_out(saltmarsh):
    """Their stations stand idle."""
    hour = worst_hour(record_of(saltmarsh, "today", length_min=2 * DAY, warm_up_min=DAY))
    areas = {saltmarsh_area(hour, lane) for lane in hour.trucks}

    assert {lane.area for lane in hour.things if not lane.stretches} <= areas
    assert hour.crowd.area in areas


def saltmarsh_area(hour, lane):
    """Name of the area that serves a truck."""
    return hour.facts.areas[lane.area].name


def test_a_truck_shift_adds_up(saltmarsh):
    """Breaks, what is lost and work are the shift; in a season too."""
    runs = run(saltmarsh, Settings(layouts="each its own way", replications=1, weeks=0.3, workers=1))
    shift = truck_shift(runs, "each its own way")

    assert (shift.whole_min, shift.scheduled_min, shift.breaks_min) == (480.0, 450.0, 30.0)
    assert shift.working_min + sum(shift.lost.values()) + shift.breaks_min == pytest.approx(480.0)
    assert sum(lost_to(shift.lost).values()) == pytest.approx(shift.downtime.mean)


def test_shifts_count_as_often_as_they_are_worked():
    """12 trucks work 8 h without a break on five days, 4 trucks 6 h with 30 min on six."""
    shifts = {
        "week.shifts": {
            "long": {"days": "Mon-Fri", "from": "06:00", "to": "14:00"},
            "short": {"days": "Mon-Sat", "from": "14:00", "to": "20:00", "breaks": ["16:00 for 30 min"]},
        },
        "trucks[0].shifts": ["long"],
        "trucks[1].shifts": ["short"],
        "trucks[1].count": 4,
        **{f"layouts.{name}.attendants": "unlimited" for name in ("side rollers", "portable stands", "hoist")},
    }
    runs = run(batsim.changed(KESTREL, shifts), Settings(layouts="hoist", replications=1, weeks=0.1, workers=1))
    shift = truck_shift(runs, "hoist")

    assert shift.whole_min == pytest.approx((60 * 480.0 + 24 * 360.0) / 84)
    assert shift.scheduled_min == pytest.approx((60 * 480.0 + 24 * 330.0) / 84)


def test_time_goes_to_four_things():
    """Each cause of downtime is of one kind."""
    assert sorted(part for parts in LOST_TO.values() for part in parts) == sorted(PARTS)


def test_what_is_lost_by_the_hour_adds_up_to_downtime():
    """Over a whole week it is that of all truck-shifts, and nothing is lost when nobody works."""
    settings = Settings(layouts="hoist", replications=2, weeks=1, workers=1)
    lost, runs = lost_by_hour(KESTREL, "hoist", settings), run(KESTREL, settings)
    shifts = 24 * 15
    by_hour = lost.mean_min.reshape(-1)

    assert lost.week_min == pytest.approx(shifts * runs.interval("hoist", "downtime_min_per_truck_shift").mean)
    assert lost.worst_min == np.max(by_hour)
    assert not by_hour[lost.working_min == 0.0].any()
    assert np.count_nonzero(lost.working_min) == 5 * 24
    day, hour = lost.worst
    assert by_hour[24 * day + hour] == lost.worst_min


# --- beside the replay, which is worked out in another way ---

SAME = {"way": {ON_THE_WAY, ON_THE_WAY_BACK}, "exchanging or charging": {IN_EXCHANGE}}
"""What a truck does in a lane, and in a replay."""


@pytest.mark.parametrize(
    ("scenario", "layout"), [("kestrel", "hoist"), ("kestrel", "side rollers"), ("saltmarsh", "today")]
)
def test_lanes_and_replay_say_the_same(scenario: str, layout: str, saltmarsh: Scenario) -> None:
    """In the middle of every stretch of every lane: trucks, what they wait for, and who is in which station."""
    record = record_of(KESTREL if scenario == "kestrel" else saltmarsh, layout, length_min=3 * DAY)
    hour = worst_hour(record)
    replayed = batsim.replay(record, hour.from_min, hour.to_min)
    trucks = {thing.number: thing for thing in replayed.of("truck")}
    middles = [
        (lane.truck, each, (max(hour.from_min, each.from_min) + min(hour.to_min, each.to_min)) / 2.0)
        for lane in hour.trucks
        for each in lane.stretches
        if max(hour.from_min, each.from_min) < min(hour.to_min, each.to_min)
    ]
    told = [(truck, each, trucks[truck].at(time_min).state) for truck, each, time_min in middles]
    waits = [(each.detail, state) for _, each, state in told if each.what == WAITING]

    assert len(waits) > 3
    assert [(cause, state) for cause, state in waits if state not in (f"waits for {cause}", "waits its turn")] == []
    assert [(each, state) for _, each, state in told if state not in SAME.get(each.what, {state})] == []
    stations = {(thing.area, thing.number): thing for thing in replayed.of("station")}
    areas = {area.name: number for number, area in enumerate(record.facts.areas)}
    busy = [(lane, each) for lane in hour.things if lane.kind == "station" for each in lane.stretches]
    assert busy
    for lane, each in busy:
        middle = (max(hour.from_min, each.from_min) + min(hour.to_min, each.to_min)) / 2.0
        assert stations[areas[lane.area], lane.number].at(middle)[1:] == ("in use", "truck", each.truck)
