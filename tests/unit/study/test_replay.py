"""The room over an hour, thing by thing: worked by hand, numbered by hand, and the same counts as the room's course."""

from collections import Counter
from dataclasses import replace as with_
from functools import cache
from math import inf
from pathlib import Path

import pytest

import batsim
from batsim.measures.room_course import CHARGER_STATES, room_course
from batsim.record.words import (
    ATTENDANT,
    CAUSES,
    CONNECTING,
    DRIVER,
    EXCHANGE,
    EXCHANGING,
    NO_BAY,
    NO_STATION,
    ON_CHARGE,
    READY,
    TURNED_AWAY,
    WASHING,
)
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.replay.trucks import WAITS
from tests.rows import made
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
AREAS = ROOT / "tests" / "unit" / "cases" / "mixed_areas.yaml"
DAY = 1440.0


@pytest.fixture(scope="module")
def two_trucks():
    """Record of two trucks, one station, three batteries."""
    return batsim.simulate(batsim.read(TWO_TRUCKS), "one")


def steps(replay, kind, number=0):
    """Steps of a thing, as plain tuples; of several of its number the first."""
    return [tuple(step) for step in next(thing for thing in replay.of(kind) if thing.number == number).steps]


# --- by hand ---


def test_two_trucks_and_three_batteries(two_trucks):
    """From the hand solution: exchanges of 10 min at 60 and 220, a charge of 150 min between them."""
    replay = batsim.replay(two_trucks, 50.0, 230.0)

    assert steps(replay, "truck", 0) == [
        (50.0, "at work", "work", -1),
        (60.0, "in exchange", "station", 0),
        (70.0, "at work", "work", -1),
        (170.0, "waits for battery", "queue", 1),
        (220.0, "waits for battery", "queue", 0),
    ]
    assert steps(replay, "truck", 1) == [
        (50.0, "at work", "work", -1),
        (65.0, "waits for battery", "queue", 0),
        (220.0, "in exchange", "station", 0),
    ]
    assert steps(replay, "battery", 0) == [
        (50.0, "in truck", "truck", -1),
        (60.0, "in transfer", "from truck", 0),
        (70.0, "on charge", "bay", 1),
        (220.0, "in transfer", "to truck", 0),
    ]
    assert steps(replay, "station") == [
        (50.0, "free", "", -1), (60.0, "in use", "truck", 0), (70.0, "free", "", -1), (220.0, "in use", "truck", 1),
    ]  # fmt: skip
    assert steps(replay, "charger", 0)[1:] == [(70.0, "giving current", "battery", 0), (220.0, "free", "", -1)]
    assert steps(replay, "charger", 1) == [(50.0, "free", "", -1)]
    assert steps(replay, "attendant")[1:3] == [(60.0, "exchange", "area", 0), (70.0, "free", "", -1)]
    assert [step[1:] for step in steps(replay, "queue")] == [
        ("free", "truck", 0), *(("waits for battery", "truck", number) for number in (1, 2, 1)),
    ]  # fmt: skip
    assert (replay.came, replay.turned_away, replay.longest_wait) == (3, 0, (0, 170.0, 210.0))
    assert replay.most_waiting == (2, 170.0)
    assert list(replay.events) == batsim.event_trace(two_trucks, 50.0, 230.0)


def test_a_battery_whose_bay_is_not_told_has_one_of_its_own(two_trucks):
    """Battery 3 stands there before any charge says where; battery 1 is told to use bay 2."""
    replay = batsim.replay(two_trucks, 50.0, 230.0)

    assert steps(replay, "battery", 2)[0] == (50.0, "ready", "bay", 2)
    bays = {(step.at, step.number) for thing in replay.of("battery") for step in thing.steps if step.at == "bay"}
    assert bays == {("bay", 1), ("bay", 2)}


def test_a_thing_at_an_instant(two_trucks):
    """What begins then counts; the last step holds to the end."""
    truck = next(batsim.replay(two_trucks, 50.0, 230.0).of("truck"))

    assert [truck.at(time).state for time in (50.0, 59.9, 60.0, 69.9, 70.0, 230.0)] == [
        "at work", "at work", "in exchange", "in exchange", "at work", "waits for battery",
    ]  # fmt: skip


def test_the_window_is_cut_at_the_run(two_trucks):
    replay = batsim.replay(two_trucks, -100.0, 5000.0)

    assert (replay.from_min, replay.to_min) == (0.0, 720.0)


@pytest.mark.parametrize(("begin", "end"), [(10.0, 10.0), (0.0, inf), (20.0, 10.0)])
def test_a_window_must_have_a_length(two_trucks, begin, end):
    with pytest.raises(ValueError, match=r"the end of a window must lie after its start, both finite"):
        batsim.replay(two_trucks, begin, end)


def test_a_window_must_touch_the_run(two_trucks):
    with pytest.raises(ValueError, match=r"a window must overlap the run, 0 to 720 min \(got 720 to 800 min\)"):
        batsim.replay(two_trucks, 720.0, 800.0)


def test_a_table_of_it(two_trucks):
    """A row for each step."""
    frame = batsim.replay(two_trucks, 50.0, 230.0).frame

    assert list(frame.columns) == ["kind", "name", "number", "area", "from_min", "state", "at", "at_number"]
    assert frame[(frame.kind == "battery") & (frame.number == 1)].values.tolist() == [
        ["battery", "plain", 1, 0, 50.0, "in truck", "truck", -1],
        ["battery", "plain", 1, 0, 220.0, "in transfer", "from truck", 0],
    ]


# --- written by hand ---


def test_ways_fetching_and_turning_back(two_trucks):
    """A truck that stops on its way, empty, until it is fetched; one that finds nothing; both under way at a time."""
    base = {"group": 0, "queue": 0, "discharged": 0, "charged": 0, "station": 0, "reason": 0, "below_cut_out": 0}
    record = made(
        two_trucks.facts,
        exchanges=[
            {**base, "truck": 0, "kind": EXCHANGE, "ready_found": 1, "left_min": 10, "fetched_min": 4, "joined_min": 16,
             "start_min": 16, "truck_free_min": 20, "end_min": 20, "back_min": 26},
            {**base, "truck": 1, "kind": TURNED_AWAY, "ready_found": 0, "left_min": 12, "fetched_min": 0,
             "joined_min": 15, "start_min": 15, "truck_free_min": 15, "end_min": 15, "back_min": 18},
        ],
    )  # fmt: skip
    replay = batsim.replay(record, 0.0, 40.0)

    assert steps(replay, "truck", 0) == [
        (0.0, "at work", "work", -1),
        (10.0, "on the way", "way", 0),
        (12.0, "waits to be fetched", "way", 0),
        (16.0, "in exchange", "station", 0),
        (20.0, "on the way back", "way", 0),
        (26.0, "at work", "work", -1),
    ]
    assert [step[:2] for step in steps(replay, "truck", 1)] == [
        (0.0, "at work"), (12.0, "on the way"), (15.0, "on the way back"), (18.0, "at work"),
    ]  # fmt: skip
    assert (replay.came, replay.turned_away, replay.longest_wait) == (1, 1, None)


def test_trucks_of_a_queue_move_up(two_trucks):
    """First come first; each says what its own battery type lacks, the queue what its first lacks; one waits on."""
    area = with_(two_trucks.facts.areas[0], queues=(0, 1))
    types = two_trucks.facts.battery_types * 2
    facts = with_(two_trucks.facts, areas=(area,), battery_types=types, horizon_min=100.0)
    base = {"group": 0, "kind": EXCHANGE, "ready_found": 0, "fetched_min": 0, "discharged": 0, "reason": 0}
    base |= {"below_cut_out": 0, "charged": -1, "standby": 0, "station": -1}
    record = made(
        facts,
        exchanges=[
            {**base, "truck": 0, "queue": 0, "left_min": 10, "joined_min": 10, "start_min": 30, "truck_free_min": 31,
             "end_min": 31, "back_min": 31},
            {**base, "truck": 1, "queue": 1, "left_min": 20, "joined_min": 20},
        ],
        queues=[
            {"queue": 0, "cause": NO_STATION, "from_min": 10}, {"queue": 1, "cause": NO_BAY, "from_min": 20},
        ],
    )  # fmt: skip
    replay = batsim.replay(record, 0.0, 50.0)

    assert steps(replay, "truck", 0)[1:3] == [
        (10.0, "waits for station", "queue", 0),
        (30.0, "in exchange", "station", 0),
    ]
    assert steps(replay, "truck", 1)[1:] == [(20.0, "waits for bay", "queue", 1), (30.0, "waits for bay", "queue", 0)]
    assert [step[1:] for step in steps(replay, "queue")] == [
        ("free", "truck", 0),
        ("waits for station", "truck", 1),
        ("waits for station", "truck", 2),
        ("waits for bay", "truck", 1),
    ]
    assert replay.longest_wait == (1, 20.0, 80.0)


def test_people(two_trucks):
    """Two on duty until 60, one then: a job of two, one that ends in overtime, a driver; who is free takes a number."""
    facts = with_(two_trucks.facts, attendant_windows=((0.0, 60.0, 2), (60.0, 720.0, 1)))
    base = {"area": 0, "hands_on_min": 1, "overtime": 0, "people": 1}
    record = made(
        facts,
        work=[
            {**base, "person": ATTENDANT, "task": EXCHANGING, "start_min": 10, "end_min": 20, "people": 2},
            {**base, "person": ATTENDANT, "task": WASHING, "start_min": 50, "end_min": 60},
            {**base, "person": ATTENDANT, "task": WASHING, "start_min": 60, "end_min": 65, "overtime": 1},
            {**base, "person": DRIVER, "task": CONNECTING, "start_min": 30, "end_min": 40},
        ],
    )
    replay = batsim.replay(record, 0.0, 70.0)

    assert [step[:2] for step in steps(replay, "attendant", 0)] == [
        (0.0, "free"), (10.0, "exchange"), (20.0, "free"), (50.0, "wash"), (65.0, "free"),
    ]  # fmt: skip
    assert [step[:2] for step in steps(replay, "attendant", 1)] == [
        (0.0, "free"), (10.0, "exchange"), (20.0, "free"), (65.0, "off duty"),
    ]  # fmt: skip
    assert [step[:2] for step in steps(replay, "driver")] == [
        (0.0, "elsewhere"),
        (30.0, "connect"),
        (40.0, "elsewhere"),
    ]
    assert len(list(replay.of("attendant"))) == 2


def test_chargers_that_are_out_of_use_or_held(two_trucks):
    """Each takes the lowest number that is free; a charger is held by what is no longer on charge."""
    record = made(
        two_trucks.facts,
        chargers=[
            {"charger": 0, "battery": 0, "from_min": 0, "to_min": 40}, {"charger": 0, "battery": 1, "from_min": 30},
        ],
        battery_states=[
            {"battery": 0, "state": ON_CHARGE, "from_min": 0}, {"battery": 0, "state": READY, "from_min": 25},
            {"battery": 1, "state": READY, "from_min": 0}, {"battery": 1, "state": ON_CHARGE, "from_min": 30},
        ],
        outages=[{"thing": two_trucks.facts.first_charger, "unit": -1, "from_min": 10, "to_min": 20}],
    )  # fmt: skip
    replay = batsim.replay(record, 0.0, 60.0)

    assert [step[:2] for step in steps(replay, "charger", 0)] == [
        (0.0, "giving current"), (25.0, "held after the charge"), (40.0, "free"),
    ]  # fmt: skip
    assert [step[:2] for step in steps(replay, "charger", 1)] == [
        (0.0, "free"), (10.0, "out of use"), (20.0, "free"), (30.0, "giving current"),
    ]  # fmt: skip


def test_an_hour_without_events(two_trucks):
    """Everything has one step, from the start of the window on."""
    replay = batsim.replay(made(two_trucks.facts), 100.0, 160.0)

    assert {len(thing.steps) for thing in replay.things} == {1}
    assert {(thing.kind, thing.steps[0].state) for thing in replay.things if thing.kind != "truck"} == {
        ("station", "free"), ("charger", "free"), ("queue", "free"),
    }  # fmt: skip
    assert (replay.came, replay.longest_wait, replay.most_waiting, replay.events) == (0, None, (0, 100.0), ())


# --- the same counts as the course of the room ---


@cache
def week_and_two_days(layout):
    """A warm-up and two days of a layout of the reference site."""
    return record_of(batsim.read(KESTREL), layout, length_min=2 * DAY)


@pytest.mark.parametrize("layout", ["side rollers", "portable stands", "hoist", "in the truck"])
def test_counts_are_those_of_the_room(layout):
    """At every instant of a shift change: trucks by what they wait for, batteries, chargers, stations, attendants."""
    record = week_and_two_days(layout)
    begin, end = WEEK_MIN + DAY + 800.0, WEEK_MIN + DAY + 920.0
    course, replay = room_course(record, begin, end), batsim.replay(record, begin, end)

    for instant, time in enumerate(course.time_min.tolist()):
        found = {kind: Counter(thing.at(time).state for thing in replay.of(kind)) for kind in ("truck", "battery")}
        counts = {cause: number[instant] for cause, number in course.waiting.items()}
        assert {cause: found["truck"][WAITS[code]] for code, cause in enumerate(CAUSES)} == counts
        assert found["battery"] == Counter({state: n[instant] for state, n in course.batteries.items() if n[instant]})
        chargers = Counter(thing.at(time).state for thing in replay.of("charger"))
        assert [chargers[state] for state in CHARGER_STATES] == [
            course.chargers[name][instant] for name in CHARGER_STATES
        ]
        people = Counter(thing.at(time).state for thing in replay.of("attendant"))
        busy = course.attendants_busy[instant] + course.attendants_in_overtime[instant]
        assert people.total() - people["free"] - people["off duty"] == busy
        assert people["free"] == max(0, course.attendants_on_duty[instant] - course.attendants_busy[instant])
    assert course.time_min.size > 40


@pytest.mark.parametrize("layout", ["side rollers", "portable stands", "hoist"])
def test_nothing_stands_where_something_stands(layout):
    """One truck a station, one battery a bay, one position of the queue; a station has the truck that stands in it."""
    record = week_and_two_days(layout)
    begin, end = WEEK_MIN + DAY + 800.0, WEEK_MIN + DAY + 920.0
    replay = batsim.replay(record, begin, end)

    for time in sorted({step.from_min for thing in replay.things for step in thing.steps}):
        places = Counter(
            (step.at, thing.area, step.number)
            for kind in ("truck", "battery")
            for thing in replay.of(kind)
            if (step := thing.at(time)).at not in ("work", "truck")
        )
        assert set(places.values()) <= {1}
        at_stations = {
            (step.number, thing.number) for thing in replay.of("truck") if (step := thing.at(time)).at == "station"
        }
        in_use = {
            (thing.number, step.number) for thing in replay.of("station") if (step := thing.at(time)).state == "in use"
        }
        assert at_stations == in_use


def test_charging_spots_have_their_trucks():
    """Plugged in, each truck has one spot, which has it."""
    replay = batsim.replay(week_and_two_days("in the truck"), WEEK_MIN + DAY + 800.0, WEEK_MIN + DAY + 920.0)

    for time in sorted({step.from_min for thing in replay.things for step in thing.steps}):
        at_spots = {
            (thing.number, step.number) for thing in replay.of("truck") if (step := thing.at(time)).at == "station"
        }
        in_use = {
            (step.number, thing.number) for thing in replay.of("station") if (step := thing.at(time)).state == "in use"
        }
        assert at_spots == in_use
    states = {step.state for thing in replay.of("truck") for step in thing.steps}
    assert {"at work", "on the way", "on charge", "being connected", "plugged in", "on the way back"} <= states


def test_areas():
    """Each thing in its area; what is out of use is; a part of a record is the same thing by thing."""
    record = record_of(batsim.read(AREAS), "mixed", length_min=2 * DAY)
    begin, end = WEEK_MIN + DAY + 540.0, WEEK_MIN + DAY + 600.0
    replay = batsim.replay(record, begin, end)

    assert Counter(thing.area for thing in replay.of("station")) == {0: 2, 1: 2, 2: 1}
    assert {thing.area for thing in replay.of("attendant")} == {-1}
    assert [thing.area for thing in replay.of("queue")] == [0, 1, 2]
    hoists = [thing for thing in replay.of("device") if thing.name == "hoist"]
    assert "out of use" in {thing.at(end).state for thing in hoists}
    south = batsim.replay(batsim.of_area(record, "south"), begin, end)
    own = [thing.steps for thing in replay.of("truck") if thing.area == 1]
    assert [thing.steps for thing in south.of("truck")] == own
