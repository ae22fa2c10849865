"""Nothing is made or lost in rooms with all that a room can do: the books of every room balance."""

import pytest
from hypothesis import given, settings

import batsim
from batsim.record.tables import TABLES
from tests.behaviour import books, books_full
from tests.behaviour.strategies import ARRANGEMENTS, ROUNDS, Room
from tests.behaviour.strategies_full import full_rooms

ALL_BOOKS = settings(ROUNDS, max_examples=45)


def check_all_books(room: Room) -> None:
    """Every check of the books, on one record."""
    record, scenario = room.simulate(), room.scenario
    in_truck = record.facts.in_truck
    books.each_battery_is_in_one_state(
        record, books.MAINTENANCE_MOVES_IN_TRUCK if in_truck else books.MAINTENANCE_MOVES
    )
    finishing = scenario.rules.at_shift_end == "finish"
    books.each_truck_has_one_battery(record, at_arrival=room.at_arrival, in_order=finishing)
    books.scheduled_time_is_work_or_downtime(record)
    books.work_takes_the_power_of_its_shifts(record)
    books.ampere_hours_are_kept(record)
    books.downtime_is_the_sum_of_its_parts(record)
    books.labour_adds_up(record)
    books.states_are_what_was_done(record)
    books.chargers_time_is_all_told(record)
    books.peoples_minutes_close(record)
    books.nothing_is_exceeded(room, record)
    books_full.units_do_one_thing_at_a_time(record)
    books_full.set_down_bays_are_never_exceeded(room, record)
    books.attendants_are_on_duty(room, record)
    books_full.nobody_stays_where_work_is_handed_over(room, record)
    books_full.only_the_qualified_hoist(room, record)
    books.exchanges_are_finished_or_unfinished(record)
    if not in_truck:
        books.lines_wait_for_what_is_missing(record, scenario.layouts["room"].reserve_for_shift_change)
    books_full.maintenance_begins_in_rounds(room, record)
    books_full.own_batteries_stay_with_their_truck(room, record)
    books.shares_are_shares(record)
    if not room.warm_up_weeks:
        books.waits_follow_littles_law(record)
    again = room.simulate(batsim.read_scenario_text(room.text))
    assert all(repr(record.rows(table)) == repr(again.rows(table)) for table in TABLES)


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_books_balance_in_every_arrangement(arrangement: str):
    @ALL_BOOKS
    @given(full_rooms(arrangements=(arrangement,)))
    def balanced(room: Room) -> None:
        check_all_books(room)

    balanced()
