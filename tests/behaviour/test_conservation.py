"""Nothing is made or lost: batteries, trucks, minutes and people add up in every room."""

from collections import defaultdict

import pytest
from hypothesis import given

import batsim
from batsim.record import TABLES, Record
from tests.behaviour import books
from tests.behaviour.ledger import calendars, rows_of, started
from tests.behaviour.strategies import EXCHANGING, ROUNDS, Room, rooms


@ROUNDS
@given(rooms())
def test_each_battery_is_in_exactly_one_state(room: Room):
    record = room.simulate()
    books.each_battery_is_in_one_state(record, books.MOVES_IN_TRUCK if record.facts.in_truck else books.MOVES)


@ROUNDS
@given(rooms())
def test_each_truck_has_one_battery_and_each_battery_at_most_one_truck(room: Room):
    books.each_truck_has_one_battery(room.simulate(), at_arrival=room.at_arrival)


@ROUNDS
@given(rooms())
def test_scheduled_time_is_work_or_downtime(room: Room):
    """Each truck's scheduled minutes are those of its discharges and those between leaving work and coming back."""
    books.scheduled_time_is_work_or_downtime(room.simulate())


@ROUNDS
@given(rooms())
def test_downtime_is_the_sum_of_its_parts(room: Room):
    books.downtime_is_the_sum_of_its_parts(room.simulate())


@ROUNDS
@given(rooms())
def test_labour_by_person_and_by_task_is_all_labour(room: Room):
    books.labour_adds_up(room.simulate())


@ROUNDS
@given(rooms())
def test_stations_chargers_and_bays_are_never_exceeded(room: Room):
    books.nothing_is_exceeded(room, room.simulate())


@ROUNDS
@given(rooms(arrangements=EXCHANGING))
def test_attendants_are_never_more_than_are_on_duty(room: Room):
    """Work that began in a shift may end after it; its people are not the next shift's."""
    books.attendants_are_on_duty(room, room.simulate())


@ROUNDS
@given(rooms())
def test_exchanges_asked_for_are_finished_or_unfinished(room: Room):
    books.exchanges_are_finished_or_unfinished(room.simulate())


@ROUNDS
@given(rooms(warm_up=False))
def test_trucks_waiting_follow_littles_law(room: Room):
    """Mean number in line times the time looked at is the sum of the waits, and waits per exchange say the same."""
    books.waits_follow_littles_law(room.simulate())


@ROUNDS
@given(rooms(arrangements=EXCHANGING))
def test_lines_wait_for_what_is_missing(room: Room):
    """A wait is booked on the battery exactly while none is ready, on the station exactly while all are taken."""
    books.lines_wait_for_what_is_missing(room.simulate())


@ROUNDS
@given(rooms())
def test_shares_are_shares(room: Room):
    books.shares_are_shares(room.simulate())


@ROUNDS
@given(rooms())
def test_same_seed_same_bits(room: Room):
    """Also for a scenario that is read anew; as text, since what never came is not a number."""
    first, again = room.simulate(), room.simulate(batsim.read_scenario_text(room.text))
    assert all(repr(first.rows(table)) == repr(again.rows(table)) for table in TABLES)


@ROUNDS
@given(rooms(arrangements=EXCHANGING, rules=False))
def test_more_of_anything_changes_no_trucks_draws(room: Room):
    """A truck's n-th discharge and n-th exchange take as long with one more station, charger or battery."""
    scenario = room.scenario
    for number in range(len(scenario.trucks)):  # else a discharge also depends on how warm its battery is
        scenario = scenario.replace(f"trucks[{number}].temperature", "22 degC")
    layout = scenario.layouts["room"]
    kind = next(iter(scenario.batteries))
    count, _, charger = str(scenario._stated.at(("layouts", "room", "chargers", 0))).partition(" x ")
    changes = {
        "layouts.room.stations": layout.stations + 1,
        "layouts.room.chargers[0]": f"{int(count) + 1} x {charger}",
        f"layouts.room.batteries.{kind}": layout.batteries[kind] + 1,
    }
    before = draws(room.simulate(scenario), pausing=scenario.rules.at_break == "pause")
    for path, value in changes.items():
        after = draws(room.simulate(scenario.replace(path, value)), pausing=scenario.rules.at_break == "pause")
        for key in before.keys() & after.keys():
            # Exchanges to the tick; a discharge may still be shorter on a battery that is more worn.
            near = 0.0 if key[0] == "exchange" else 5e-3
            assert all(a == pytest.approx(b, rel=near) for a, b in zip(before[key], after[key], strict=False))


def draws(record: Record, *, pausing: bool) -> dict[tuple[str, int], list[float]]:
    """Working minutes of each truck's discharges and minutes of its exchanges, as far as they were finished."""
    worked = calendars(record)
    found = defaultdict(list)
    for row in rows_of(record, "discharges"):
        if row["end_min"] < record.facts.horizon_min:
            found["discharge", row["truck"]].append(worked[row["group"]].between(row["start_min"], row["end_min"]))
    for row in started(rows_of(record, "exchanges")):
        if not pausing:
            found["exchange", row["truck"]].append(row["truck_free_min"] - row["start_min"])
    return found
