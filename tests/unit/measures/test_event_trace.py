"""The event trace: what it tells, in which order, what it leaves out, and how each event reads."""

import csv
import io
import re
from dataclasses import replace
from itertools import pairwise
from math import nan
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.measures.event_trace import event_frame, event_trace
from batsim.measures.events import EVENTS, Event
from batsim.record.words import (  # fmt: skip
    ATTENDANT,
    CHARGE_IN_TRUCK,
    COOLING,
    DRIVER,
    EARLY,
    EXCHANGE,
    IN_BREAK,
    IN_TRUCK,
    INSPECTING,
    NO_ATTENDANT,
    NO_BATTERY,
    NO_STATION,
    NOTHING,
    ON_CHARGE,
    READING,
    READY,
    SHIFT_CHANGE,
    TURNED_AWAY,
    WAITS_FOR_CHARGER,
    WAITS_FOR_CONNECTING,
    WAITS_FOR_WATERING,
    WASHING,
    WATERING,
)
from batsim.scenario.parts.calendar import first_week_min
from batsim.scenario.parts.week import WEEK_MIN
from batsim.views.text.trace_text import clock, moment, trace_csv, trace_text
from tests.rows import made
from tests.runs import record_of

ROOT = Path(__file__).parents[3]
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
DAY = 1440.0


@pytest.fixture(scope="module")
def facts():
    """Facts of a small room: two trucks, three batteries, one station."""
    return batsim.simulate(batsim.read(TWO_TRUCKS), "one").facts


@pytest.fixture(scope="module")
def kestrel():
    """The reference site."""
    return batsim.read(KESTREL)


@pytest.fixture(scope="module")
def runs(kestrel):
    """A warm-up and two days of each of its layouts."""
    return {name: record_of(kestrel, name, length_min=2 * DAY) for name in kestrel.layouts}


def exchange(**more):
    """Row of an exchange at 100 min that has all it needs."""
    row = {
        "truck": 0, "group": 0, "queue": 0, "kind": EXCHANGE, "discharged": 0, "charged": 2, "soc_share": 0.2,
        "below_cut_out": 0, "ready_found": 1, "left_min": 100, "joined_min": 100, "start_min": 100,
        "truck_free_min": 110, "end_min": 110, "back_min": 110, "watering_min": 0, "reason": 0, "station": -1,
        "standby": 0,
    }  # fmt: skip
    return {**row, **more}


def charge(**more):
    """Row of a charge from 110 to 260 min, without a wait and without a cool-down."""
    row = {
        "battery": 0, "queue": 0, "charger": 0, "bay": 4, "discharged_min": 110, "connected_min": 110, "start_min": 110,
        "end_min": 260, "cooled_min": 260, "soc_from_share": 0.2, "soc_to_share": 1.0, "delayed_min": 0, "full": 1,
    }  # fmt: skip
    return {**row, **more}


def names(record, begin=0.0, end=720.0):
    """Times and words of the events."""
    return [(event.time_min, event.event) for event in event_trace(record, begin, end)]


def lines(record, begin=0.0, end=720.0):
    """Lines of the text below its heading."""
    return trace_text(record, begin, end).split("\n")[2:]


# --- trucks ---


def test_a_truck_on_its_way_there_and_back(facts):
    """Leaving, arriving, leaving the station, being done and being back are five instants."""
    row = exchange(left_min=98, start_min=103, truck_free_min=108, back_min=112, ready_found=3, reason=SHIFT_CHANGE)
    causes = [{"queue": 0, "cause": NO_ATTENDANT, "from_min": 100}, {"queue": 0, "cause": NOTHING, "from_min": 103}]

    assert lines(made(facts, exchanges=[row], queues=causes, charges=[charge()])) == [
        "Mon 01:38  truck 1 leaves its work with battery 1, at the shift change",
        "Mon 01:40  truck 1 arrives with battery 1 at 20 %; 3 batteries ready, 1 truck waiting, waits for: attendant",
        "Mon 01:43  exchange of truck 1 begins after 3 min of waiting: battery 3 for battery 1",
        "Mon 01:48  truck 1 leaves the station with battery 3",
        "Mon 01:50  exchange of truck 1 is done: battery 1 now at spot 5",
        "Mon 01:50  charge of battery 1 starts",
        "Mon 01:52  truck 1 is back at work with battery 3",
        "Mon 04:20  charge of battery 1 ends, full",
    ]


@pytest.mark.parametrize(("reason", "words"), [(0, "down to the exchange level"), (IN_BREAK, "in a break")])
def test_why_a_truck_leaves(facts, reason, words):
    row = exchange(left_min=98, reason=reason)

    assert lines(made(facts, exchanges=[row]))[0] == f"Mon 01:38  truck 1 leaves its work with battery 1, {words}"


def test_station_and_standby_means_are_told(facts):
    row = exchange(left_min=98, reason=EARLY, station=1, standby=1, below_cut_out=1)

    assert lines(made(replace(facts, areas=(replace(facts.areas[0], stations=2.0),)), exchanges=[row]))[:3] == [
        "Mon 01:38  truck 1 leaves its work with battery 1, early, while there is time",
        "Mon 01:40  truck 1 arrives with battery 1 at 20 %, below the cut-out; 1 battery ready",
        "Mon 01:40  exchange of truck 1 begins at station 2 with the standby method: battery 3 for battery 1",
    ]


def test_a_truck_that_leaves_before_the_last_step_and_one_that_drives_back(facts):
    early = exchange(truck_free_min=105, back_min=105)
    late = exchange(back_min=115)

    assert lines(made(facts, exchanges=[early]))[-2:] == [
        "Mon 01:45  truck 1 leaves the station with battery 3 and is back at work",
        "Mon 01:50  exchange of truck 1 is done: battery 1 now in the room",
    ]
    assert lines(made(facts, exchanges=[late]))[-2:] == [
        "Mon 01:50  exchange of truck 1 is done: it drives back with battery 3; battery 1 now in the room",
        "Mon 01:55  truck 1 is back at work with battery 3",
    ]


def test_a_truck_that_is_turned_away(facts):
    """It joins no queue, so it does not arrive."""
    row = exchange(
        kind=TURNED_AWAY, charged=0, left_min=98, ready_found=0, truck_free_min=100, end_min=100, back_min=102
    )

    assert lines(made(facts, exchanges=[row])) == [
        "Mon 01:38  truck 1 leaves its work with battery 1, down to the exchange level",
        "Mon 01:40  truck 1 finds no ready battery and goes on with battery 1 at 20 %",
        "Mon 01:42  truck 1 is back at work with battery 1",
    ]


def test_an_exchange_that_takes_no_time_begins_before_it_ends(facts):
    row = exchange(truck_free_min=100, end_min=100, back_min=100)

    assert [name for _, name in names(made(facts, exchanges=[row]))] == [
        "arrive",
        "exchange_start",
        "exchange_end",
    ]


def test_a_truck_still_trucks_waiting_or_on_its_way_at_the_end_of_the_run(facts):
    """Rows without a start tell what came before it, and nothing more."""
    gone = {"start_min": nan, "truck_free_min": nan, "end_min": nan, "back_min": nan, "charged": -1}
    waits = exchange(**gone, joined_min=700, left_min=690)
    drives = exchange(**gone, truck=1, discharged=1, left_min=715, joined_min=725, ready_found=nan)
    cause = {"queue": 0, "cause": NO_STATION, "from_min": 700}

    assert lines(made(facts, exchanges=[waits, drives], queues=[cause])) == [
        "Mon 11:30  truck 1 leaves its work with battery 1, down to the exchange level",
        "Mon 11:40  truck 1 arrives with battery 1 at 20 %; 1 battery ready, 1 truck waiting, waits for: station",
        "Mon 11:55  truck 2 leaves its work with battery 2, down to the exchange level",
    ]


# --- the order of one instant ---


def test_the_order_at_one_instant(facts):
    """Ends and ready, calendar, who has waited, who arrives, what begins, what the queue waits for."""
    attendantsed = replace(facts, attendant_windows=((0.0, 100.0, 1), (100.0, 720.0, 2)))
    waited = exchange(truck=1, discharged=1, left_min=80, joined_min=80, end_min=130, truck_free_min=130, back_min=130)
    comes = exchange(left_min=100, start_min=140, end_min=150, truck_free_min=150, back_min=150, ready_found=0)
    before = charge(battery=2, discharged_min=20, connected_min=20, start_min=20, end_min=100, cooled_min=100)
    begins = charge(battery=1, discharged_min=90, connected_min=90, start_min=100)
    record = made(
        attendantsed,
        exchanges=[waited, comes],
        charges=[before, begins],
        battery_states=[{"battery": 2, "state": READY, "from_min": 100}],
        queues=[{"queue": 0, "cause": NO_BATTERY, "from_min": 80}, {"queue": 0, "cause": NO_STATION, "from_min": 100}],
    )

    assert [name for time, name in names(record) if time == 100.0] == [
        "charge_end", "ready", "attendants", "exchange_start", "arrive", "charge_start",
    ]  # fmt: skip
    told = {event.event: event for event in event_trace(record, 100.0, 100.5)}
    assert told["exchange_start"].trucks_waiting == 0
    assert (told["arrive"].trucks_waiting, told["arrive"].cause) == (1, "station")


def test_the_words_for_kinds_of_event_are_those_that_are_used(runs):
    """Each layout uses some of the declared kinds, and none besides; they stand in the declared order."""
    rank = {name: number for number, name in enumerate(EVENTS)}
    for record in runs.values():
        events = event_trace(record, 0.0, 1e9)
        assert {event.event for event in events} <= set(EVENTS)
        for first, second in pairwise(events):
            assert first.time_min <= second.time_min
            waited = second.event in {"exchange_start", "plugged_in"} and second.wait_min > 0.0
            again = first.event in {"exchange_start", "plugged_in"} and first.wait_min > 0.0
            if first.time_min == second.time_min and not waited and not again:
                assert rank[first.event] <= rank[second.event]


# --- batteries ---


def test_a_battery_that_waits_is_connected_cools_and_gets_water(facts):
    attendantsed = replace(facts, attendant_windows=((0.0, 720.0, 1),))
    row = charge(connected_min=115, start_min=117, cooled_min=400)
    record = made(
        attendantsed,
        exchanges=[exchange()],
        charges=[row],
        work=[
            {"person": ATTENDANT, "task": 1, "start_min": 115, "end_min": 117, "people": 1},
            {"person": ATTENDANT, "task": WATERING, "start_min": 405, "end_min": 410, "people": 1},
        ],
        waterings=[{"battery": 0, "due_min": 400, "start_min": 405, "end_min": 410}],
        battery_states=[
            {"battery": 0, "state": WAITS_FOR_CHARGER, "from_min": 110},
            {"battery": 0, "state": WAITS_FOR_CONNECTING, "from_min": 112},
            {"battery": 0, "state": ON_CHARGE, "from_min": 115},
            {"battery": 0, "state": WAITS_FOR_WATERING, "from_min": 400},
            {"battery": 0, "state": READY, "from_min": 410},
        ],
    )

    assert lines(record, 110.0) == [
        "Mon 01:50  exchange of truck 1 is done: it works on with battery 3; battery 1 now at spot 5",
        "Mon 01:50  battery 1 waits for a charger",
        "Mon 01:52  battery 1 has a charger and waits for somebody to connect it",
        "Mon 01:55  an attendant connects battery 1",
        "Mon 01:57  charge of battery 1 starts",
        "Mon 04:20  charge of battery 1 ends, full; it cools down",
        "Mon 06:40  battery 1 has cooled down",
        "Mon 06:40  battery 1 is due for water and waits for somebody",
        "Mon 06:45  an attendant waters battery 1",
        "Mon 06:50  battery 1 has its water",
        "Mon 06:50  battery 1 is ready at spot 5",
    ]


def test_cooled_and_ready_at_once_are_one_event(facts):
    record = made(
        facts, charges=[charge(cooled_min=400)], battery_states=[{"battery": 0, "state": READY, "from_min": 400}]
    )

    assert lines(record, 300.0) == ["Mon 06:40  battery 1 is cool and ready at spot 5"]


def test_a_battery_drawn_out_on_arrival(facts):
    """Its bay is told where no end of an exchange tells it; a charge put off says so."""
    row = charge(discharged_min=100, connected_min=100, start_min=134, delayed_min=34, full=0)

    assert lines(made(facts, exchanges=[exchange()], charges=[row]))[2:] == [
        "Mon 01:40  discharged battery 1 is pulled out, now at spot 5",
        "Mon 01:40  battery 1 is connected",
        "Mon 01:50  exchange of truck 1 is done: it works on with battery 3; battery 1 now at spot 5",
        "Mon 02:14  charge of battery 1 starts, delayed 34 min by temperature",
        "Mon 04:20  charge of battery 1 ends, not yet full",
    ]


def test_a_battery_without_a_charger_at_the_end_of_the_run(facts):
    row = charge(charger=nan, connected_min=nan, start_min=nan, end_min=nan, cooled_min=nan)
    states = [{"battery": 0, "state": WAITS_FOR_CHARGER, "from_min": 110}]

    assert (
        lines(made(facts, exchanges=[exchange()], charges=[row], battery_states=states))[-1]
        == "Mon 01:50  battery 1 waits for a charger"
    )


def test_a_charge_that_takes_no_time_is_left_out(facts):
    record = made(facts, charges=[charge(end_min=110, cooled_min=110)])

    assert names(record) == [(110.0, "discharged")]


@pytest.mark.parametrize(
    ("task", "due", "start", "end"),
    [
        (INSPECTING, "is due for inspection", "a driver inspects battery 1", "battery 1 is inspected"),
        (
            READING,
            "is due for voltage and gravity readings",
            "a driver takes voltage and gravity readings of battery 1",
            "voltage and gravity readings of battery 1 are taken",
        ),
        (WASHING, "is due for a wash", "a driver washes battery 1", "battery 1 is washed"),
    ],
)
def test_maintenance(facts, task, due, start, end):
    record = made(
        facts,
        maintenance=[{"battery": 0, "task": task, "due_min": 300, "start_min": 310, "end_min": 320}],
        work=[{"person": DRIVER, "task": task, "start_min": 310, "end_min": 320, "people": 1}],
    )

    assert lines(record) == [
        f"Mon 05:00  battery 1 {due} and waits for somebody",
        f"Mon 05:10  {start}",
        f"Mon 05:20  {end}",
    ]


def test_what_is_out_of_use(facts):
    record = made(
        facts,
        outages=[
            {"thing": 0, "unit": 0, "from_min": 10, "to_min": 20},
            {"thing": len(facts.things) - 1, "unit": -1, "from_min": 30, "to_min": 800},
        ],
    )

    assert lines(record) == [
        "Mon 00:10  station 1 is out of use",
        "Mon 00:20  station 1 is back in use",
        "Mon 00:30  one electronic_iuia is out of use",
    ]


# --- queue and attendants ---


def test_what_a_queue_waits_for_is_told_when_no_truck_tells_it(facts):
    """Of changes at one instant the last counts; an empty queue is told by the exchange that empties it."""
    row = exchange(start_min=130, truck_free_min=140, end_min=140, back_min=140)
    causes = [(NO_STATION, 100), (NO_BATTERY, 120), (NO_ATTENDANT, 120), (NOTHING, 130)]
    record = made(
        facts, exchanges=[row], queues=[{"queue": 0, "cause": cause, "from_min": time} for cause, time in causes]
    )

    assert lines(record)[:3] == [
        "Mon 01:40  truck 1 arrives with battery 1 at 20 %; 1 battery ready, 1 truck waiting, waits for: station",
        "Mon 02:00  the queue now waits for: attendant; 1 truck waiting",
        "Mon 02:10  exchange of truck 1 begins after 30 min of waiting: battery 3 for battery 1",
    ]
    assert lines(record, 110.0)[0] == "Mon 02:00  the queue now waits for: attendant; 1 truck waiting"


def test_attendants_come_and_go(facts):
    windows = ((0.0, 60.0, 1), (60.0, 90.0, 0), (90.0, 120.0, 2), (120.0, 180.0, 2), (180.0, 720.0, 1))

    assert lines(made(replace(facts, attendant_windows=windows))) == [
        "Mon 01:00  no attendant on duty from now on",
        "Mon 01:30  2 attendants on duty from now on",
        "Mon 03:00  1 attendant on duty from now on",
    ]


# --- charging in the truck ---


def test_charging_in_the_truck(facts):
    """In shift time with a wait; after work without one, or in vain."""
    spots = replace(facts, areas=(replace(facts.areas[0], in_truck=True),))
    in_shift = exchange(
        kind=CHARGE_IN_TRUCK, charged=0, left_min=98, start_min=105, truck_free_min=262, end_min=262, back_min=264
    )
    discharges = [{"truck": truck, "battery": truck, "start_min": 0, "end_min": 98} for truck in (0, 1)]
    record = made(
        spots,
        exchanges=[in_shift],
        discharges=discharges,
        charges=[
            charge(bay=-1, discharged_min=100, connected_min=105, start_min=106, full=0),
            charge(bay=-1, battery=1, discharged_min=300,
            connected_min=300, start_min=301, end_min=400, cooled_min=400),
        ],
        queues=[{"queue": 0, "cause": NO_STATION, "from_min": 100}, {"queue": 0, "cause": NOTHING, "from_min": 105}],
        battery_states=[
            {"battery": battery, "state": state, "from_min": time}
            for battery, state, time in (
                (0, IN_TRUCK, 0), (1, IN_TRUCK, 0), (0, WAITS_FOR_CHARGER, 100), (0, ON_CHARGE, 106),
                (0, IN_TRUCK, 260), (1, WAITS_FOR_CHARGER, 500), (1, IN_TRUCK, 520),
            )
        ],
    )  # fmt: skip

    assert lines(record) == [
        "Mon 01:38  truck 1 leaves its work with battery 1, down to the exchange level",
        "Mon 01:40  truck 1 arrives with battery 1 at 20 %; 1 truck waiting, waits for: station",
        "Mon 01:45  truck 1 takes a charging spot after 5 min of waiting",
        "Mon 01:46  charge of battery 1 starts",
        "Mon 04:20  charge of battery 1 ends, not yet full",
        "Mon 04:22  truck 1 unplugs",
        "Mon 04:24  truck 1 is back at work with battery 1",
        "Mon 05:00  truck 2 takes a charging spot",
        "Mon 05:01  charge of battery 2 starts",
        "Mon 06:40  charge of battery 2 ends, full",
        "Mon 08:20  truck 2 has stopped work and waits for a charging spot",
        "Mon 08:40  truck 2 goes back to work without a charge",
    ]


# --- names and windows ---


def test_names_where_there_are_several(facts):
    """Groups, battery types and charger types are named when there is more than one."""
    (lead,) = facts.battery_types
    types = (replace(lead, name="lead", batteries=1), replace(lead, name="lithium", batteries=2))
    area = replace(facts.areas[0], groups=(0, 1), queues=(0, 1), chargers=(0, 1))
    several = replace(
        facts,
        areas=(area,),
        groups=("reach", "pallet"),
        group_trucks=(1, 1),
        battery_types=types,
        chargers=("slow", "quick"),
    )
    row = exchange(truck=1, queue=1, discharged=1, start_min=120, truck_free_min=130, end_min=130, back_min=130)
    record = made(
        several,
        exchanges=[row],
        charges=[charge(battery=1, queue=1, charger=1, discharged_min=130, connected_min=130, start_min=131)],
        queues=[
            {"queue": 1, "cause": NO_STATION, "from_min": 100},
            {"queue": 1, "cause": NO_ATTENDANT, "from_min": 110},
        ],
        work=[{"person": DRIVER, "task": 1, "start_min": 130, "end_min": 131, "people": 1}],
    )

    assert lines(record) == [
        "Mon 01:40  truck 2 (pallet) arrives with battery 2 (lithium) at 20 %; 1 battery ready, 1 truck waiting, "
        "waits for: station",
        "Mon 01:50  the queue for lithium now waits for: attendant; 1 truck waiting",
        "Mon 02:00  exchange of truck 2 (pallet) begins after 20 min of waiting: battery 3 (lithium) for battery 2 "
        "(lithium)",
        "Mon 02:10  exchange of truck 2 (pallet) is done: it works on with battery 3 (lithium); battery 2 (lithium) "
        "now at spot 5",
        "Mon 02:10  the driver connects battery 2 (lithium) to quick",
        "Mon 02:11  charge of battery 2 (lithium) starts on quick",
        "Mon 04:20  charge of battery 2 (lithium) ends, full",
    ]


def test_what_began_before_the_window_shows_its_end(facts):
    """The window is half open, as the run is."""
    record = made(facts, exchanges=[exchange()], charges=[charge()])

    assert names(record, 105.0, 260.0) == [(110.0, "exchange_end"), (110.0, "charge_start")]
    assert names(record, 260.0, 261.0) == [(260.0, "charge_end")]


def test_trucks_waiting_before_the_window_are_counted(facts):
    rows = [
        exchange(truck=truck, start_min=200 + truck, truck_free_min=210, end_min=210, back_min=210) for truck in (0, 1)
    ]

    told = [event.trucks_waiting for event in event_trace(made(facts, exchanges=rows), 150.0, 205.0)]

    assert told == [1, 0]


def test_windows_are_parts_of_the_whole(runs):
    """Cut into pieces, the trace is the same, counts of trucks waiting too."""
    for record in runs.values():
        whole = event_trace(record, WEEK_MIN, WEEK_MIN + 2 * DAY)
        pieces = [
            event
            for number in range(48)
            for event in event_trace(record, WEEK_MIN + 60.0 * number, WEEK_MIN + 60.0 * (number + 1))
        ]
        assert repr(pieces) == repr(whole)
        assert len(whole) > 1000


def test_every_exchange_and_charge_is_told_once(runs):
    """Counts of events are those of the tables."""
    for record in runs.values():
        count = dict.fromkeys(EVENTS, 0)
        for event in event_trace(record, 0.0, 1e9):
            count[event.event] += 1
        horizon = record.facts.horizon_min
        rows, charges = record.columns("exchanges"), record.columns("charges")
        start = "plugged_in" if record.facts.in_truck else "exchange_start"
        spots = charges["connected_min"] if record.facts.in_truck else rows["start_min"]
        assert count[start] == np.sum(spots < horizon)
        assert count["arrive"] == np.sum(rows["joined_min"] < horizon)
        assert count["charge_start"] == np.sum(charges["start_min"] < horizon)
        assert count["charge_end"] == np.sum(charges["end_min"] < horizon)
        states = record.columns("battery_states")
        came = (states["from_min"] > 0.0) & (states["from_min"] < horizon)
        assert count["ready"] == np.sum((states["state"] == READY) & came)


@pytest.mark.parametrize(("begin", "end", "got"), [(10.0, 10.0, "10 to 10"), (0.0, np.inf, "0 to inf")])
def test_a_window_needs_a_length(facts, begin, end, got):
    message = f"the end of a window must lie after its start, both finite (got {got} min)"
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        event_trace(made(facts), begin, end)


# --- tables and times ---


def test_the_frame_names_groups_and_types(facts):
    """Numbers count from 0 there, as in the record."""
    frame = event_frame(made(facts, exchanges=[exchange()], charges=[charge()]), 0.0, 720.0)

    assert list(frame.columns) == [
        "time_min", "event", "truck", "group", "battery", "discharged", "battery_type", *Event._fields[5:-1]
    ]  # fmt: skip
    start = frame[frame["event"] == "exchange_start"].iloc[0]
    assert (start["truck"], start["group"], start["battery"], start["discharged"]) == (0, "trucks", 2, 0)
    assert (start["battery_type"], start["wait_min"], start["bay"]) == ("plain", 0.0, -1)
    alone = frame[frame["event"] == "charge_end"].iloc[0]
    assert (alone["truck"], alone["group"], alone["full"]) == (-1, "", True)


def test_the_csv_counts_from_one(facts):
    """What there is not stays empty."""
    text = trace_csv(made(facts, exchanges=[exchange()], charges=[charge()]), 0.0, 200.0)

    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == [
        "time_min", "moment", "event", "truck", "group", "battery", "discharged", "battery_type",
        "queue", "bay", "station",
        "standby", "person", "reason", "cause", "detail", "unit", "soc_share",
        "full", "wait_min", "ready", "trucks_waiting",
        "attendants_on_duty",
    ]  # fmt: skip
    assert [row["event"] for row in rows] == ["arrive", "exchange_start", "exchange_end", "charge_start"]
    told = {name: value for name, value in rows[0].items() if value}
    assert told == {
        "time_min": "100.0", "moment": "week 1 Mon 01:40:00", "event": "arrive", "truck": "1", "group": "trucks",
        "battery": "1", "battery_type": "plain", "queue": "1", "standby": "0", "reason": "level", "soc_share": "0.2",
        "full": "0", "ready": "1",
    }  # fmt: skip
    assert (rows[3]["truck"], rows[3]["battery"], rows[3]["bay"]) == ("", "1", "5")


def test_weeks_count_from_the_first_measured_one(facts):
    """A warm-up of two weeks is weeks -1 and 0; part of a week belongs to week 1."""
    warm = replace(facts, warm_up_min=2 * WEEK_MIN)

    assert [moment(warm, time) for time in (0.0, WEEK_MIN, 2 * WEEK_MIN, 3.5 * WEEK_MIN)] == [
        (-1, "Mon"), (0, "Mon"), (1, "Mon"), (2, "Thu"),
    ]  # fmt: skip
    assert first_week_min(0.5 * WEEK_MIN) == 0.0
    assert clock(warm, 2 * WEEK_MIN - 0.001) == "Mon 00:00"
    assert clock(warm, 2 * WEEK_MIN - 0.5, weeks=True, seconds=True) == "week 0 Sun 23:59:30"


def test_seconds_and_weeks_only_where_needed(facts):
    """Seconds when an event needs them, the week when the window holds more than one."""
    long = replace(facts, horizon_min=3 * WEEK_MIN, warm_up_min=WEEK_MIN)
    times = [WEEK_MIN - 0.25, WEEK_MIN + 5.0]
    states = zip((READY, COOLING), times, strict=True)
    record = made(long, battery_states=[{"battery": 0, "state": state, "from_min": time} for state, time in states])

    assert trace_text(record, WEEK_MIN - 1.0, WEEK_MIN) == (
        "one: week 0 Sun 23:59 to week 1 Mon 00:00 (replication 0, seed 1; week 1 is the first after the warm-up)\n\n"
        "Sun 23:59:45  battery 1 is ready"
    )
    assert lines(record, WEEK_MIN - 1.0, WEEK_MIN + 10.0) == ["week 0 Sun 23:59:45  battery 1 is ready"]


def test_a_quiet_window_says_so(facts):
    assert lines(made(facts)) == ["nothing happens in this time"]
