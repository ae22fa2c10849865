"""Lanes of a window: what each truck, station, device and attendant does, from records written by hand."""

from dataclasses import replace
from math import inf, nan
from pathlib import Path

import pytest

import batsim
from batsim.measures.thing_lanes import OUT, Lane, attendant_lanes, device_lanes, station_lanes
from batsim.measures.truck_lanes import OTHER, SERVED, WAITING, WAY, Stretch, truck_lanes
from batsim.record.words import (
    ATTENDANT,
    CHARGE_IN_TRUCK,
    DRIVER,
    EXCHANGE,
    EXCHANGING,
    NO_ATTENDANT,
    NO_STATION,
    NOTHING,
    TURNED_AWAY,
    WATERING,
)
from tests.rows import made
from tests.runs import record_of
from tests.sites import KESTREL

CASES = Path(__file__).parents[3] / "batsim" / "verification" / "cases"
VISIT = {"group": 0, "queue": 0, "kind": EXCHANGE, "fetched_min": 0.0, "watering_min": 0.0, "station": 0}
WORK = {"area": 0, "person": ATTENDANT, "task": EXCHANGING, "people": 1, "overtime": 0}


@pytest.fixture(scope="module")
def facts():
    """A room of two trucks and one station that is open until minute 720; here with two hoists and a break."""
    facts = batsim.simulate(batsim.read(CASES / "two_trucks_three_batteries.yaml"), "one").facts
    (area,) = facts.areas
    windows = ((0.0, 100.0), (130.0, 720.0))
    return replace(
        facts,
        areas=(replace(area, devices=(0,)),),
        devices=("hoist",),
        device_counts=(2.0,),
        group_windows=(windows,),
        site_windows=windows,
        attendant_windows=((0.0, 100.0, 1), (100.0, 400.0, 2)),
    )


def visit(truck, *times, **more):
    """A visit by when it leaves, joins, starts, is free and back."""
    names = ("left_min", "joined_min", "start_min", "truck_free_min", "back_min")
    return {**VISIT, "truck": truck, **dict(zip(names, times, strict=True)), **more}


def test_a_truck_goes_waits_is_served_and_comes_back(facts):
    """A wait is told by what its queue lacks; breaks are neither waited nor lost."""
    causes = [(NO_STATION, 20.0), (NO_ATTENDANT, 90.0), (NOTHING, 140.0)]
    queues = [{"queue": 0, "cause": cause, "from_min": since} for cause, since in causes]
    record = made(facts, exchanges=[visit(1, 10.0, 15.0, 140.0, 150.0, 155.0)], queues=queues)
    (lane,) = truck_lanes(record, 0.0, 60.0)

    assert (lane.truck, lane.group, lane.area) == (1, "trucks", 0)
    assert lane.stretches == (
        Stretch(10.0, 15.0, WAY),
        Stretch(15.0, 20.0, WAITING, "nothing"),
        Stretch(20.0, 90.0, WAITING, "station"),
        Stretch(90.0, 140.0, WAITING, "attendant"),
        Stretch(140.0, 150.0, SERVED, "exchange"),
        Stretch(150.0, 155.0, WAY),
    )
    assert lane.waited_min == 125.0 - 30.0
    assert lane.away_min == 145.0 - 30.0


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (
            {"kind": CHARGE_IN_TRUCK, "watering_min": 4.0},
            [(20.0, 26.0, SERVED, "charge"), (26.0, 30.0, OTHER, "watering")],
        ),
        ({"kind": TURNED_AWAY, "truck_free_min": 20.0}, []),
        ({}, [(20.0, 30.0, SERVED, "exchange")]),
    ],
)  # fmt: skip
def test_what_a_truck_comes_for(facts, more, expected):
    """A charge in the truck with its watering, nothing, or an exchange."""
    record = made(facts, exchanges=[visit(0, 10.0, 20.0, 20.0, 30.0, 40.0) | more])
    (lane,) = truck_lanes(record, 0.0, 60.0)

    assert [tuple(each)[:4] for each in lane.stretches if each.what != WAY] == expected


def test_a_truck_that_is_fetched_stands_before_it_comes(facts):
    """The way that it still drove is way, the rest is not."""
    record = made(facts, exchanges=[visit(0, 10.0, 20.0, 20.0, 30.0, 30.0, fetched_min=7.0)])
    (lane,) = truck_lanes(record, 0.0, 60.0)

    assert lane.stretches[:2] == (Stretch(10.0, 13.0, WAY), Stretch(13.0, 20.0, OTHER, "stands empty"))


def test_what_the_run_leaves_unfinished_goes_on_to_its_end(facts):
    """A truck still waits when the run ends, another is still on its way."""
    record = made(facts, exchanges=[visit(0, 690.0, 700.0, nan, nan, nan), visit(1, 715.0, 725.0, nan, nan, nan)])
    waiting, on_its_way = truck_lanes(record, 660.0, 720.0)

    assert waiting.stretches == (Stretch(690.0, 700.0, WAY), Stretch(700.0, 720.0, WAITING, "nothing"))
    assert on_its_way.stretches == (Stretch(715.0, 720.0, WAY),)


def test_only_trucks_that_lose_scheduled_time_in_the_window(facts):
    """Not who is away in a break alone, nor before or after; those that help stand too."""
    visits = [visit(0, 105.0, 106.0, 106.0, 110.0, 111.0), visit(1, 10.0, 10.0, 10.0, 20.0, 20.0)]
    stands = [{"truck": 1, "group": 0, "start_min": 135.0, "end_min": 140.0, "task": EXCHANGING}]
    record = made(facts, exchanges=visits, stands=stands)
    (helping,) = truck_lanes(record, 100.0, 160.0)

    assert helping.truck == 1
    assert helping.stretches == (Stretch(135.0, 140.0, OTHER, "lends a hand"),)
    assert truck_lanes(record, 400.0, 460.0) == []


def test_trucks_come_in_the_order_in_which_they_are_served(facts):
    """Who is not served comes last."""
    times = {0: (10.0, 10.0, nan, nan, nan), 1: (12.0, 12.0, 50.0, 60.0, 60.0)}
    record = made(facts, exchanges=[visit(truck, *each) for truck, each in times.items()])

    assert [lane.truck for lane in truck_lanes(record, 0.0, 60.0)] == [1, 0]


def test_a_station_shows_its_trucks_and_when_it_is_out(facts):
    """What reaches into the window is shown whole."""
    record = made(
        facts,
        exchanges=[visit(1, 10.0, 10.0, 20.0, 70.0, 75.0), visit(0, 200.0, 200.0, 210.0, 220.0, 220.0)],
        outages=[{"thing": 0, "unit": 0, "from_min": 70.0, "to_min": 90.0}],
    )

    assert station_lanes(record, 60.0, 120.0) == [
        Lane("station", 0, (Stretch(20.0, 70.0, SERVED, "exchange", 1), Stretch(70.0, 90.0, OUT)))
    ]
    assert station_lanes(made(replace(facts, areas=(replace(facts.areas[0], stations=inf),))), 0.0, 60.0) == []


def test_devices_and_attendants_name_the_truck_that_they_serve(facts):
    """By the instant at which its exchange begins; where that is in doubt they name none."""
    visits = [visit(1, 10.0, 10.0, 20.0, 30.0, 30.0), visit(0, 10.0, 10.0, 40.0, 50.0, 50.0)]
    devices = [{"device": 0, "unit": 1, "start_min": start, "end_min": start + 9.0} for start in (20.0, 33.0)]
    work = [
        WORK | {"start_min": 20.0, "end_min": 30.0, "people": 2},
        WORK | {"start_min": 30.0, "end_min": 35.0, "task": WATERING},
        WORK | {"start_min": 40.0, "end_min": 50.0, "person": DRIVER},
    ]
    record = made(facts, exchanges=visits, devices=devices, work=work)
    first, second = attendant_lanes(record, 0.0, 60.0)

    assert [lane.stretches for lane in device_lanes(record, 0.0, 60.0)] == [
        (),
        (Stretch(20.0, 29.0, SERVED, "", 1), Stretch(33.0, 42.0, OTHER)),
    ]
    assert first.stretches == (Stretch(20.0, 30.0, SERVED, "exchange", 1), Stretch(30.0, 35.0, OTHER, "watering"))
    assert second.stretches == (Stretch(20.0, 30.0, SERVED, "exchange", 1),)


def test_idle_attendants_have_a_lane_and_idle_kinds_of_device_have_none(facts):
    """As many as are on duty at any instant of the window."""
    record = made(facts)

    assert [len(attendant_lanes(record, *window)) for window in ((0.0, 60.0), (90.0, 150.0), (500.0, 560.0))] == [
        1,
        2,
        0,
    ]
    assert device_lanes(record, 0.0, 60.0) == []


@pytest.mark.parametrize("layout", ["side rollers", "hoist"])
def test_a_simulated_day_agrees_with_itself(layout):
    """Whoever is said to serve a truck does so while it is served, and stations are never taken twice."""
    record = record_of(KESTREL, layout, length_min=1440.0, warm_up_min=0.0)
    served = {lane.truck: [each for each in lane.stretches if each.what == SERVED]
              for lane in truck_lanes(record, 0.0, 1440.0)}  # fmt: skip
    lanes = [*station_lanes(record, 0.0, 1440.0), *device_lanes(record, 0.0, 1440.0)]
    named = [each for lane in lanes for each in lane.stretches if each.truck >= 0]

    assert len(named) > 20
    assert all(any(own.from_min == each.from_min for own in served[each.truck]) for each in named)
    for lane in lanes:
        assert all(one.to_min <= two.from_min for one, two in zip(lane.stretches, lane.stretches[1:], strict=False))
