"""The screen: more of anything never predicts more, many cells are as one, and no room makes it stumble."""

from itertools import product
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.decision.screen import Cells, Prediction, screen
from batsim.decision.screen_room import deviation, room_of
from batsim.decision.screen_tables import MOST_VALUES, told_apart
from batsim.room.blueprint import blueprint
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.week import WEEK_MIN

HERE = Path(__file__)
REFERENCE = HERE.parents[1] / "behaviour/cases/reference_room.yaml"
SCENARIOS = HERE.parents[2] / "scenarios"
EXAMPLES = [
    (file, layout)
    for file in ("kestrel-lane", "frostholm-cold-store", "larkfield-bottling", "alder-street-joinery")
    for layout in batsim.read(SCENARIOS / f"{file}.yaml").layouts
]
RUN, RULES, WHEN = "trucks[0].run_time", "rules", "trucks[0].exchange_when"
TWO_SHIFTS = {
    "early": {"days": "Mon-Fri", "from": "06:00", "to": "14:00", "breaks": ["10:00 for 30 min"]},
    "late": {"days": "Mon-Fri", "from": "14:00", "to": "22:00", "breaks": ["18:00 for 30 min"]},
}


@pytest.fixture(scope="module")
def reference():
    return batsim.read(REFERENCE)


def with_calendar(scenario, **shifts):
    """The reference room on other shifts."""
    both = scenario._stated.replaced("week.shifts", shifts or TWO_SHIFTS).replaced(
        "trucks[0].shifts", list(shifts or TWO_SHIFTS)
    )
    return batsim.scenario.reading.build(both)


def cells(stations, chargers, batteries, devices=np.inf, attendants=np.inf):
    columns = np.broadcast_arrays(
        *(np.atleast_1d(each) for each in (stations, devices, attendants, chargers, batteries))
    )
    return Cells(*(each.astype(float) for each in columns))


def stated(scenario, layout):
    """The layout's own counts."""
    plan, attendants = blueprint(scenario, layout, WEEK_MIN, 0.0), scenario.layouts[layout].attendants
    return cells(
        plan.stations,
        sum(plan.charger_counts),
        sum(line.batteries for line in plan.lines),
        min(plan.devices.values(), default=np.inf),
        max(attendants.values()) if isinstance(attendants, dict) else np.inf,
    )


def grid_of(scenario, layout):
    """Some cells below and above the layout's own counts, and each with one more of every field."""
    own = [float(each[0]) for each in stated(scenario, layout)]
    ends = [[1.0, count] if count < np.inf else [np.inf] for count in own[:3]]
    trucks = sum(group.count for group in scenario.trucks)
    chargers = [1.0, own[3] // 4, own[3] // 2, own[3]]
    batteries = trucks + np.array([1.0, 4.0, 10.0, 18.0, 40.0])
    rows = np.array(list(product(*ends, chargers, batteries)))
    return np.concatenate([rows, *(rows + np.eye(5)[field] for field in range(5))]), len(rows)


@pytest.mark.parametrize(("file", "layout"), EXAMPLES)
def test_one_more_of_anything_never_predicts_more(file: str, layout: str):
    scenario = batsim.read(SCENARIOS / f"{file}.yaml")
    rows, size = grid_of(scenario, layout)
    found = screen(scenario, layout, Cells(*rows.T))
    assert not np.any(np.isnan(np.array(found)))
    for downtime in (found.downtime_min_per_truck_shift, found.floor_downtime):
        for field in range(5):
            more = downtime[(field + 1) * size : (field + 2) * size]
            assert np.all(more <= downtime[:size] + 1e-9), Cells._fields[field]


@pytest.mark.parametrize("rules", [{}, {"discharged_on_charge": "at_arrival"}])
@pytest.mark.parametrize("calendar", [False, True])
@pytest.mark.parametrize("leads", ["loose", "bound_to_bay"])
def test_never_more_in_the_reference_room(reference, rules, calendar, leads):
    scenario = reference.replace("handling.'bare exchange'.charger_leads", leads)
    if rules:
        scenario = scenario.replace(RULES, rules)
    scenario = with_calendar(scenario) if calendar else scenario
    rows = np.array(list(product([1, 2, 5], [np.inf], [np.inf], range(30, 50, 3), range(101, 131, 5))), dtype=float)
    found = screen(scenario, "room", Cells(*np.concatenate([rows, *(rows + each for each in np.eye(5))]).T))
    downtime = found.downtime_min_per_truck_shift
    for field in range(5):
        more = downtime[(field + 1) * len(rows) : (field + 2) * len(rows)]
        assert np.all(more <= downtime[: len(rows)] + 1e-9), Cells._fields[field]


def test_many_cells_are_as_one(reference):
    rows = list(product([1, 2], [36, 45], [110, 118, 125]))
    together = screen(reference, "room", cells(*np.array(rows).T))
    for number, row in enumerate(rows):
        alone = screen(reference, "room", cells(*row))
        assert [each[0] for each in alone] == pytest.approx([each[number] for each in together], abs=1e-9)


@pytest.mark.parametrize("calendar", [False, True])
def test_parts_add_up(reference, calendar):
    scenario = with_calendar(reference) if calendar else reference
    found = screen(scenario, "room", cells([1, 2, 2, 9], [30, 36, 50, 80], [101, 110, 118, 130]))
    assert np.sum(found[1:5], axis=0) == pytest.approx(found.downtime_min_per_truck_shift)
    assert np.all(found.floor_downtime <= found.downtime_min_per_truck_shift + 1e-9)
    assert np.all((found.found_none_ready_share >= 0.0) & (found.found_none_ready_share <= 1.0))


def test_plenty_of_everything_leaves_the_exchange(reference):
    found = screen(reference, "room", cells(np.inf, np.inf, 200))
    assert found.downtime_min_per_truck_shift[0] == pytest.approx(1440.0 * 4.0 / 454.0)
    assert found.floor_downtime[0] == pytest.approx(1440.0 * 4.0 / 454.0)
    assert found.wait_min_per_exchange[0] == pytest.approx(0.0, abs=1e-9)
    assert found.found_none_ready_share[0] == pytest.approx(0.0, abs=1e-9)


def test_next_to_nothing_leaves_no_work(reference):
    """One spare battery that is back after 844 min: 40 trucks stand nearly all day long."""
    found = screen(reference, "room", cells(1, 1, 41))
    assert 1300.0 < found.downtime_min_per_truck_shift[0] <= 1440.0


def test_nobody_and_nothing_is_refused(reference):
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    own = stated(scenario, "side rollers")
    for field in ("devices", "attendants", "stations"):
        without = screen(scenario, "side rollers", own._replace(**{field: np.zeros(1)}))
        assert without.downtime_min_per_truck_shift[0] > 200.0


def test_stock_rate_is_spares_over_exchange_and_turn(reference):
    """Where spares are short the trucks' demand falls to what they bring, less what is there at the start."""
    spares = 40.0
    found = screen(reference.replace("simulation.length", "1000 weeks"), "room", cells(9, 80, 40 + spares))
    rate = spares / (4.0 + 420.0 + 420.0)
    assert found.floor_downtime[0] == pytest.approx(1440.0 * (1.0 - rate * 450.0 / 40.0), rel=2e-3)


def test_a_bound_charger_is_taken_while_the_battery_cools(reference):
    bound = reference.replace("handling.'bare exchange'.charger_leads", "bound_to_bay")
    loose_floor, bound_floor = (
        screen(each, "room", cells(9, 60, 140)).floor_downtime[0] for each in (reference, bound)
    )
    assert bound_floor > 5.0 * loose_floor


def test_labour_bounds_the_rate():
    """One attendant on a shift has 480 min: with a device for everyone the exchanges of the hoist take more."""
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    rows = cells(9, 58, 120, devices=9, attendants=np.array([1.0, 2.0, 4.0, 6.0]))
    found = screen(scenario, "side rollers", rows).downtime_min_per_truck_shift
    assert found[0] > found[1] > found[2] >= found[3]


def test_trucks_that_come_together_wait_for_stations():
    """At the end of a shift several come at the same minute; spread over half an hour nothing is known."""
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    path = "trucks[0].exchange_when"
    always = scenario.replace(path, {"shift_change": "always", "before_shift_end": "10 min"})
    spread = scenario.replace(path, {"shift_change": "always", "spread": "30 min"})
    if_short, every_time, in_turn = (
        screen(each, "side rollers", stated(each, "side rollers")).wait_room_min_per_truck_shift[0]
        for each in (scenario, always, spread)
    )
    assert every_time >= if_short > 2.0
    assert in_turn < 0.2


@pytest.mark.parametrize(
    "when",
    [
        {"in_breaks_below": "50 %"},
        {"early_below": "60 %"},
        {"shift_change": "always"},
        {"shift_change": "if_short", "spread": "20 min"},
    ],
)
def test_visits_before_the_level_leave_no_wait_unless_rates_do(reference, when):
    scenario = with_calendar(reference).replace(WHEN, when)
    found = screen(scenario, "room", cells(1, 40, 120))
    assert found.wait_battery_min_per_truck_shift[0] == 0.0
    assert found.found_none_ready_share[0] == 0.0


def test_charging_in_the_truck_is_left_open():
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    found = screen(scenario, "in the truck", stated(scenario, "in the truck"))
    assert found == Prediction(*(np.zeros(1) for _ in Prediction._fields))


def test_trucks_that_carry_on_wait_for_no_battery(reference):
    """A stated run time says nothing of what is left, so they may come at any later time."""
    scenario = reference.replace(RULES, {"if_none_ready": "carry_on"})
    assert screen(scenario, "room", cells(1, 1, 41)).downtime_min_per_truck_shift[0] == 0.0
    kestrel = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    own = stated(kestrel, "hoist")
    goes_on = screen(kestrel.replace(RULES, {"if_none_ready": "carry_on"}), "hoist", own).travel_min_per_truck_shift
    assert 0.0 < goes_on[0] < screen(kestrel, "hoist", own).travel_min_per_truck_shift[0]


def test_drivers_who_exchange_need_nobody(reference):
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml").replace("layouts.hoist.attendants", "drivers")
    few, many = (
        screen(scenario, "hoist", cells(1, 44, 82, devices=1, attendants=each)).downtime_min_per_truck_shift[0]
        for each in (1, 99)
    )
    assert few == many


@pytest.mark.parametrize(
    "law",
    ["450 min", {"mean": "450 min", "law": "exponential"}, {"low": "400 min", "high": "500 min"}],
)
def test_every_law_of_the_run_time(reference, law):
    found = screen(reference.replace(RUN, law), "room", cells(2, 40, 110))
    assert 12.0 < found.downtime_min_per_truck_shift[0] < 1440.0


def test_regular_runs_fall_into_step(reference):
    """Fixed times: what trucks meet by chance does not come again, only rates are left."""
    scenario = reference.replace(RUN, "450 min").replace("handling.'bare exchange'.steps[0].time", "4 min")
    found = screen(scenario, "room", cells(1, 60, 118))
    assert found.downtime_min_per_truck_shift[0] == pytest.approx(found.floor_downtime[0], abs=1e-3)


def test_a_truck_that_hardly_draws_is_hardly_down(reference):
    scenario = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    for number in range(len(scenario.trucks)):
        scenario = scenario.replace(f"trucks[{number}].duty.mean_power", "1 W")
    found = screen(scenario, "hoist", stated(scenario, "hoist"))
    assert 0.0 <= found.downtime_min_per_truck_shift[0] < 0.1


def test_holidays_leave_less_of_the_walk_through_the_week(reference):
    scenario = with_calendar(reference).replace("simulation.length", "10 weeks")
    few = cells(9, 80, 62)
    plain = screen(scenario, "room", few).wait_battery_min_per_truck_shift[0]
    free = screen(scenario.replace("week.holidays", ["week 3 Fri"]), "room", few).wait_battery_min_per_truck_shift[0]
    assert 0.0 < free < plain


def test_a_room_is_round_the_clock_with_breaks_but_not_with_weekends(reference):
    night = {"days": "Mon-Sun", "from": "22:00", "to": "06:00"}
    days = {name: {**shift, "days": "Mon-Sun"} for name, shift in TWO_SHIFTS.items()}
    for shifts, always in (({**days, "night": night}, True), (days, False), (TWO_SHIFTS, False)):
        scenario = with_calendar(reference, **shifts)
        assert room_of(scenario, blueprint(scenario, "room", WEEK_MIN, 0.0)).always is always


def test_more_values_than_are_told_apart_count_as_the_next_greater():
    counts = np.arange(1000.0)
    values, rows = told_apart(counts)
    assert values.size == MOST_VALUES
    assert np.all(values[rows] >= counts)
    assert np.max(values[rows] - counts) < 1000.0 / (MOST_VALUES - 2)


@pytest.mark.parametrize(
    ("law", "expected"),
    [
        ("5 min", 0.0),
        ({"low": "2 min", "high": "8 min"}, 3.0**0.5),
        ({"low": "0 min", "typical": "0 min", "high": "6 min"}, 2.0**0.5),
        ({"mean": "7 min", "law": "exponential"}, 7.0),
        ({"mean": "8 min", "cv": 0.25}, 2.0),
        ({"observed": ["1 min", "3 min"]}, 1.0),
    ],
)
def test_standard_deviation_of_each_law(law, expected):
    assert deviation(DurationLaw.model_validate(law)) == pytest.approx(expected)
