"""Nothing is made or lost on sites of several areas: every law of one room holds for each area, and for the site."""

from itertools import pairwise
from typing import NamedTuple

import pytest
from hypothesis import given, seed, settings

import batsim
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.scenario.parts.layouts import together
from batsim.scenario.site import Scenario
from tests.behaviour import books, books_full
from tests.behaviour.ledger import rows_of, started
from tests.behaviour.strategies import ROUNDS, Room
from tests.behaviour.strategies_sites import sites
from tests.behaviour.test_power_limit import most_kw

SITES, CHUNK = 1000, 100
SOME, MANY = settings(ROUNDS, max_examples=25), settings(ROUNDS, max_examples=CHUNK)


class Part(NamedTuple):
    """A part of a site, as a room is for the books: its scenario, with one layout."""

    scenario: Scenario


def check_site(site: Room) -> None:
    """Check the books of a site and of each of its areas."""
    record, scenario = site.simulate(), site.scenario
    check_whole(site, record)
    for name, alone in scenario.areas_of("room").items():
        check_area(Part(alone), of_area(record, name), scenario, warm_up_weeks=site.warm_up_weeks)
    again = site.simulate(batsim.read_scenario_text(site.text))
    assert all(repr(record.rows(table)) == repr(again.rows(table)) for table in TABLES)


def check_whole(site: Room, record: Record) -> None:
    """Check what belongs to the site: its people, its power, its chargers' time, and sums over all areas."""
    scenario = site.scenario
    layout = scenario.layouts["room"]
    books.each_truck_has_one_battery(
        record, at_arrival=site.at_arrival, in_order=scenario.rules.at_shift_end == "finish"
    )
    books.scheduled_time_is_work_or_downtime(record)
    books.work_takes_the_power_of_its_shifts(record)
    books.ampere_hours_are_kept(record)
    books.downtime_is_the_sum_of_its_parts(record)
    books.labour_adds_up(record)
    books.chargers_time_is_all_told(record)
    books.peoples_minutes_close(record)
    books.exchanges_are_finished_or_unfinished(record)
    books.shares_are_shares(record)
    if not site.warm_up_weeks:
        books.waits_follow_littles_law(record)
    everybody = layout.attendants
    for area in layout.areas.values():
        everybody = together(everybody, area.attendants)
    if all(isinstance(area.layouts["room"].attendants, dict) for area in scenario.areas_of("room").values()):
        whole = scenario.with_layout("room", layout.model_copy(update={"attendants": everybody}))
        books.attendants_are_on_duty(Part(whole), record)
        books_full.nobody_stays_where_work_is_handed_over(Part(whole), record)
    rules = scenario.charging_of("room")
    if rules.power_limit_kw is not None:
        assert most_kw(record) <= rules.power_limit_kw * (1.0 + 1e-6)
    if rules.stagger_min:
        starts = sorted(row["start_min"] for row in started(rows_of(record, "charges")))
        assert all(after - before >= rules.stagger_min - 1e-9 for before, after in pairwise(starts))


def check_area(area: Part, record: Record, site: Scenario, *, warm_up_weeks: int) -> None:
    """Check all books of one room on an area."""
    layout, in_truck, rules = area.scenario.layouts["room"], record.facts.in_truck, site.rules
    books.each_battery_is_in_one_state(
        record, books.MAINTENANCE_MOVES_IN_TRUCK if in_truck else books.MAINTENANCE_MOVES
    )
    books.each_truck_has_one_battery(
        record,
        at_arrival=rules.discharged_on_charge == "at_arrival" and not in_truck,
        in_order=rules.at_shift_end == "finish",
    )
    books.scheduled_time_is_work_or_downtime(record)
    books.downtime_is_the_sum_of_its_parts(record)
    books.states_are_what_was_done(record)
    books.chargers_time_is_all_told(record)
    books.nothing_is_exceeded(area, record)
    books_full.units_do_one_thing_at_a_time(record)
    books_full.set_down_bays_are_never_exceeded(area, record)
    books.attendants_are_on_duty(area, record)
    books_full.nobody_stays_where_work_is_handed_over(area, record)
    books_full.only_the_qualified_hoist(area, record)
    books.exchanges_are_finished_or_unfinished(record)
    if not in_truck:
        books.lines_wait_for_what_is_missing(record, layout.reserve_for_shift_change)
    books_full.maintenance_begins_in_rounds(area, record)
    books_full.own_batteries_stay_with_their_truck(area, record)
    if not warm_up_weeks:
        books.waits_follow_littles_law(record)


@SOME
@given(sites())
def test_books_balance_in_every_area_and_over_all(site: Room):
    check_site(site)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(SITES // CHUNK))
def test_books_balance_on_many_sites(number: int):
    """The same on other sites for each number."""
    seed(number)(MANY(given(sites())(check_site)))()
