"""Nothing is made or lost: batteries, trucks, minutes and people add up in every room."""

from collections import defaultdict

import pytest
from hypothesis import given, settings

import batsim
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.scenario.reading import source_of
from tests.behaviour import books
from tests.behaviour.ledger import calendars, rows_of, started
from tests.behaviour.strategies import EXCHANGING, ROUNDS, Room, rooms

MANY_ROUNDS = settings(ROUNDS, max_examples=250)
FEW_ROUNDS = settings(ROUNDS, max_examples=30)
"""For what is also checked on every room with all that a room can do."""


@MANY_ROUNDS
@given(rooms())
def test_books_balance(room: Room):
    """Every book on every record; which one does not is the function that raises."""
    record = room.simulate()
    in_truck = record.facts.in_truck
    books.each_battery_is_in_one_state(record, books.MOVES_IN_TRUCK if in_truck else books.MOVES)
    books.each_truck_has_one_battery(record, at_arrival=room.at_arrival)
    books.scheduled_time_is_work_or_downtime(record)
    books.work_takes_the_power_of_its_shifts(record)
    books.ampere_hours_are_kept(record)
    books.downtime_is_the_sum_of_its_parts(record)
    books.labour_adds_up(record)
    books.states_are_what_was_done(record)
    books.chargers_time_is_all_told(record)
    books.peoples_minutes_close(record)
    books.nothing_is_exceeded(room, record)
    books.exchanges_are_finished_or_unfinished(record)
    books.shares_are_shares(record)
    if not in_truck:
        books.attendants_are_on_duty(room, record)
        books.lines_wait_for_what_is_missing(record)
    if not room.warm_up_weeks:
        books.waits_follow_littles_law(record)


@FEW_ROUNDS
@given(rooms())
def test_same_seed_same_bits(room: Room):
    """Also for a scenario that is read anew; as text, since what never came is not a number."""
    first, again = room.simulate(), room.simulate(batsim.read_scenario_text(room.text))
    assert all(repr(first.rows(table)) == repr(again.rows(table)) for table in TABLES)


@ROUNDS
@given(rooms(arrangements=EXCHANGING, rules=False))
def test_more_of_anything_changes_no_trucks_draws(room: Room):
    """A truck's n-th discharge and n-th exchange take as long with one more station, charger or battery.

    Where power goes from shift to shift, a discharge that begins at another time is another one; the power is the same.
    """
    scenario = room.scenario
    for number in range(len(scenario.trucks)):  # else a discharge also depends on how warm its battery is
        scenario = batsim.changed(scenario, {f"trucks[{number}].temperature": "22 degC"})
    layout = scenario.layouts["room"]
    kind = next(iter(scenario.batteries))
    count, _, charger = str(source_of(scenario).at(("layouts", "room", "chargers", 0))).partition(" x ")
    changes = {
        "layouts.room.stations": layout.stations + 1,
        "layouts.room.chargers[0]": f"{int(count) + 1} x {charger}",
        f"layouts.room.batteries.{kind}": layout.batteries[kind] + 1,
    }
    before = draws(room.simulate(scenario), pausing=scenario.rules.at_break == "pause")
    for path, value in changes.items():
        after = draws(
            room.simulate(batsim.changed(scenario, {path: value})), pausing=scenario.rules.at_break == "pause"
        )
        for key in before.keys() & after.keys():
            # All else to the tick; a discharge may still be shorter on a battery that is more worn.
            near = 5e-3 if key[0] == "discharge" else 0.0
            assert all(a == pytest.approx(b, rel=near) for a, b in zip(before[key], after[key], strict=False))


def draws(record: Record, *, pausing: bool) -> dict[tuple[str, int], list[float]]:
    """Power of each truck-shift; working minutes of discharges at one power, and of exchanges, that were finished."""
    worked = calendars(record)
    found = defaultdict(list)
    for row in rows_of(record, "truck_shifts"):
        found["power", row["truck"]].append(row["power_w"])
    powers = {truck: set(found["power", truck]) for truck in range(record.facts.trucks)}
    for row in rows_of(record, "discharges"):
        if row["end_min"] < record.facts.horizon_min and len(powers[row["truck"]]) <= 1:
            found["discharge", row["truck"]].append(worked[row["group"]].between(row["start_min"], row["end_min"]))
    for row in started(rows_of(record, "exchanges")):
        if not pausing:
            found["exchange", row["truck"]].append(row["truck_free_min"] - row["start_min"])
    return found
