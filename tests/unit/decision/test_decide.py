"""Decision: what may be chosen, what a combination costs, how answers and refusals look, and how sure they are."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.decision.answer import DECIDING
from batsim.decision.counts import Grid, ranges_of
from batsim.decision.decide import decide
from batsim.decision.search import Search
from batsim.decision.trials import FIRST_STAGE, Trials
from batsim.scenario.settings import Settings
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.limits import limits_of
from batsim.study.running.counts import Counted, with_counts
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import site_results_of
from batsim.views.text.decision_text import decision_text
from tests.sites import KESTREL

ROOT = Path(__file__).parents[3]
SCENARIOS = ROOT / "scenarios"
FILE = Path(__file__).parents[1] / "cases" / "size_small.yaml"
SMALL = batsim.read(FILE)
RANGES = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}
QUICK = {"ranges": RANGES, "indifference": {"downtime": 20.0}, "same_cost": 0.0}


def names(scenario, layout):
    """Least and most of everything that may be chosen, by name."""
    return {each.name: (each.values[0], each.values[-1]) for each in ranges_of(scenario, layout, {})}


def every(grid):
    """Every combination of a grid of one area."""
    (block,) = grid.blocks
    return grid.around(block, grid.greatest)


def with_room(scenario, **keys):
    """Copy of a scenario with other things said of its only layout."""
    for key, value in keys.items():
        scenario = batsim.changed(scenario, {f"layouts.room.{key}": value})
    return scenario


@pytest.fixture(scope="module")
def sizing():
    return decide(SMALL, Settings(workers=1), **QUICK)


@pytest.fixture(scope="module")
def hopeless():
    targets = {"downtime_per_truck_shift": "at most 100 min", "waits": "99 % under 1 min"}
    return decide(batsim.changed(SMALL, {"targets": targets}), Settings(workers=1), ranges=RANGES, same_cost=0.0)


def test_a_target_of_the_only_group_asks_for_what_one_of_the_site_asks(sizing):
    """The same counts by the same runs, judged by the group's own numbers."""
    of_site, (group,) = SMALL.targets, [group.group for group in SMALL.trucks]
    most = f"at most {of_site.downtime_min_per_truck_shift:g} min"
    stated = {"targets.groups": {group: {"downtime_per_truck_shift": most}}, "targets.downtime_per_truck_shift": None}
    by_group = decide(batsim.changed(SMALL, stated), Settings(workers=1), **QUICK)
    mine, theirs = by_group.answers[0], sizing.answers[0]

    assert mine.counts == theirs.counts
    assert mine.limits[0].label == f"downtime of {group}"
    downtime = "downtime_min_per_truck_shift"
    found = mine.as_json()["answer"]
    assert found["groups"][group]["measures"][downtime]["mean"] == pytest.approx(found["measures"][downtime]["mean"])
    assert f"{group}: downtime at most" in decision_text(by_group)


# --- what may be chosen ---


def test_all_counts_with_a_limit_have_a_range():
    assert names(KESTREL, "side rollers") == {
        "batteries": (25, 123), "chargers": (1, 123), "stations": (1, 4), "battery_carriage": (1, 4),
        "attendants": (1, 4),
    }  # fmt: skip


def test_what_is_unlimited_has_no_range():
    """Here the attendants; then the chargers as well; then the stations."""
    assert list(names(SMALL, "room")) == ["batteries", "chargers", "stations"]
    free = with_room(SMALL, chargers="unlimited x electronic_iuia")
    assert list(names(free, "room")) == ["batteries", "stations"]
    assert list(names(with_room(free, stations="unlimited"), "room")) == ["batteries"]


def test_in_the_truck_only_chargers_are_chosen():
    """Up to one for each truck."""
    assert names(KESTREL, "in the truck") == {"chargers": (1, 24)}


def test_several_battery_types_have_a_range_each():
    found = names(batsim.read(SCENARIOS / "frostholm-cold-store.yaml"), "side rollers")

    assert list(found)[:2] == ["batteries lead 48 V 750 Ah", "batteries lead 24 V 465 Ah"]


def test_batteries_that_trucks_keep_are_counted_in_all():
    """By a type of the trucks, whichever truck keeps them."""
    kept = batsim.changed(SMALL, {"trucks[0].own_batteries": True})

    assert names(kept, "room") == names(SMALL, "room")


def test_a_range_leaves_all_else_as_stated():
    (one,) = ranges_of(SMALL, "room", {"chargers": (2, 5)})

    assert (one.name, one.values, one.stated) == ("chargers", (2, 3, 4, 5), 4)


def test_many_values_are_thinned_out():
    """Both ends and what is stated stay."""
    (batteries, *_) = ranges_of(KESTREL, "hoist", {})
    few = batteries.thinned()

    assert len(few.values) <= 17
    assert {25, 82, 123} <= set(few.values)
    assert list(few.values) == sorted(few.values)
    assert max(np.diff(few.values)) <= 8


def test_no_more_devices_than_the_stations_can_use():
    grid = Grid(KESTREL, "hoist", ranges_of(KESTREL, "hoist", {"stations": (1, 3), "hoist": (1, 3)}))

    assert every(grid).tolist() == [[1, 1], [2, 1], [2, 2], [3, 1], [3, 2], [3, 3]]


def test_a_combination_is_a_layout_with_its_counts():
    """Attendants on every shift that has any; the rest of what is stated stays."""
    scenario = batsim.changed(KESTREL, {"layouts.hoist.attendants": {"room early": 3, "room late": 2, "room night": 0}})
    ranges = ranges_of(
        scenario, "hoist", {"batteries": (60, 70), "chargers": (30, 40), "hoist": (1, 2), "attendants": (1, 4)}
    )
    counts = Grid(scenario, "hoist", ranges).counts((65, 33, 2, 4))
    layout = with_counts(scenario, counts).layouts["hoist"]

    assert counts.layout == "hoist"
    assert {(counted.kind, counted.name): number for counted, number in counts.numbers} == {
        ("batteries", "lead 48 V 750 Ah"): 65,
        ("chargers", "electronic_iuia"): 33,
        ("devices", "hoist"): 2,
        ("attendants", "room early"): 4,
        ("attendants", "room late"): 4,
    }
    assert (layout.batteries, layout.chargers) == ({"lead 48 V 750 Ah": 65}, ((33, "electronic_iuia"),))
    assert (layout.devices, layout.attendants) == ({"hoist": 2}, {"room early": 4, "room late": 4, "room night": 0})
    assert layout.stations == scenario.layouts["hoist"].stations


def test_skills_go_with_the_attendants():
    """One more attendant is qualified, one fewer is one fewer of those who are."""
    scenario = batsim.read(SCENARIOS / "larkfield-bottling.yaml")
    grid = Grid(scenario, "one hoist", ranges_of(scenario, "one hoist", {"attendants": (2, 4)}))
    stated = scenario.layouts["one hoist"].attendants

    for number in (2, 3, 4):
        changed = with_counts(scenario, grid.counts((number,))).layouts["one hoist"].attendants
        for shift, on_it in stated.items():
            assert int(changed[shift]) == (number if on_it else 0)
            if on_it and on_it.qualified:
                skilled = {name: count + number - int(on_it) for name, count in on_it.qualified.items()}
                assert changed[shift].qualified == skilled


# --- what a combination costs ---


@pytest.mark.parametrize("file", sorted(SCENARIOS.glob("*.yaml")), ids=lambda file: file.stem)
def test_costs_are_those_of_the_scenarios_with_the_counts(file):
    """Thing by thing, in every layout of every scenario."""
    scenario = batsim.read(file)
    for layout in scenario.layouts:
        ranges = ranges_of(scenario, layout, {})
        grid, units, checked = Grid(scenario, layout, ranges), UnitCosts(scenario, layout), 0
        steps = range(1, 10)
        chosen = np.array([[each.values[step * 5 % len(each.values)] for each in ranges] for step in steps])
        for counts, cost in zip(chosen.tolist(), grid.costs_of(chosen), strict=True):
            try:
                changed = with_counts(scenario, grid.counts(tuple(counts)))
            except batsim.ScenarioError:  # more than the floor holds
                continue
            checked += 1
            total = sum(line.per_year for line in cost_lines(changed, layout, units))
            assert cost == pytest.approx(total)
        assert checked


@pytest.mark.parametrize(
    "owned",
    [
        {},
        {"plain": 8},
        {"electronic_iuia": 4, "stations": 2},
        {"bays": 6},
        {"plain": 8, "electronic_iuia": 3},
        {"bays": 1},
    ],
)
def test_what_is_owned_costs_nothing(owned):
    """As many as are there; what goes beyond them is bought, and having fewer earns nothing. By hand."""
    scenario = with_room(SMALL, owned=owned)
    grid = Grid(scenario, "room", ranges_of(scenario, "room", RANGES))
    units = UnitCosts(scenario, "room")

    def bought(name, number):
        return max(0, number - owned.get(name, 0))

    for counts, cost in zip(every(grid).tolist(), grid.costs_of(every(grid)), strict=True):
        batteries, chargers, stations = counts
        by_hand = (
            1000.0 * bought("plain", batteries)
            + 200.0 * bought("electronic_iuia", chargers)
            + 100.0 * bought("stations", stations)
            + 40.0 * bought("bays", batteries - 4 + stations)
        )
        assert cost == pytest.approx(by_hand)
        lines = cost_lines(with_counts(scenario, grid.counts(counts)), "room", units)
        assert sum(line.per_year for line in lines) == pytest.approx(by_hand)


def test_an_uneven_attendants_is_paid_shift_by_shift():
    """Three early and two late: two on each cost two early and two late."""
    scenario = batsim.changed(KESTREL, {"layouts.hoist.attendants": {"room early": 3, "room late": 2, "room night": 0}})
    grid = Grid(scenario, "hoist", ranges_of(scenario, "hoist", {"attendants": (1, 4)}))
    units = UnitCosts(scenario, "hoist")
    each = sum(units.by_counted[Counted("attendants", shift)].per_year for shift in ("room early", "room late"))

    assert np.diff(grid.costs_of(every(grid))) == pytest.approx([each] * 3)
    lines = cost_lines(with_counts(scenario, grid.counts((2,))), "hoist", units)
    assert grid.costs_of(every(grid))[1] == pytest.approx(sum(line.per_year for line in lines))


def test_unlimited_bays_cost_nothing():
    lines = cost_lines(with_room(SMALL, bays="unlimited"), "room", UnitCosts(SMALL, "room"))

    assert [line.unit.thing for line in lines] == ["battery", "charger", "station"]


def test_owned_things_change_the_answer():
    """Chargers that are there already are not taken away: one station fewer saves more."""
    scenario = with_room(SMALL, owned={"electronic_iuia": 4})
    found = decide(scenario, Settings(workers=1), **QUICK)["room"]

    assert found.counts["chargers"] >= 3
    assert all(line.per_year == 0.0 for line in found.cost_lines if line.unit.thing == "charger")
    assert found.cost_per_year == pytest.approx(7860.0 - 600.0)


# --- refusals ---


def test_no_target():
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(batsim.changed(SMALL, {"targets": {}}))

    assert str(caught.value) == (
        f"{FILE}: 1 problem\n  {FILE}: targets: states none; add one, such as downtime_per_truck_shift: at most 12 min"
    )


def test_ranges_of_nothing():
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SMALL, ranges={"batteris": (5, 8), "chargers": (4, 2), "stations": (0, 2), "hoist": (1, 2)})

    assert str(caught.value) == (
        f"{FILE}: 4 problems\n"
        f"  {FILE}: range batteris: no count of this name in layout 'room'; did you mean 'batteries'?\n"
        f"  {FILE}: range chargers: must rise from 1 or more (got 4:2)\n"
        f"  {FILE}: range hoist: no count of this name in layout 'room'; known: batteries, chargers, stations\n"
        f"  {FILE}: range stations: must rise from 1 or more (got 0:2)"
    )


def test_indifference_of_nothing():
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SMALL, indifference={"down": 1.0, "downtime": 0.0})

    assert str(caught.value) == (
        f"{FILE}: 2 problems\n"
        f"  {FILE}: indifference down: the scenario has no target of this name; did you mean 'downtime'?\n"
        f"  {FILE}: indifference downtime: must be above 0 (got 0)"
    )


def test_nothing_to_choose(tmp_path):
    scenario = batsim.changed(
        batsim.read(FILE),
        {
            "layouts": {
                "room": {"handling": "in_truck", "chargers": "unlimited x electronic_iuia", "exchange_by": "drivers"}
            }
        },
    )
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(scenario)

    assert str(caught.value) == (
        f"{FILE}: 1 problem\n"
        f"  {FILE}: layouts.room: has no count that could be chosen; all are unlimited or left to the drivers"
    )


def test_too_many_combinations(monkeypatch):
    monkeypatch.setattr("batsim.decision.decide.MOST_COMBINATIONS", 31)
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SMALL, Settings(workers=1), ranges=RANGES)

    assert str(caught.value) == (
        f"{FILE}: 1 problem\n"
        f"  {FILE}: layouts.room: would give 32 combinations; at most 31 are looked through, so state narrower ranges"
    )


def test_an_unknown_layout():
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SMALL, Settings(layouts="rom_", workers=1))

    assert str(caught.value) == (
        f"{FILE}: 1 problem\n  {FILE}: layouts.rom_: no layout of this name; did you mean 'room'?"
    )


# --- rules of the scenario ---


def test_more_than_fits_rules_out_only_what_has_no_fewer():
    """Six bays hold spares and empty bays of at most eight batteries: the greatest combination breaks the rule."""
    scenario = with_room(SMALL, bays=6)
    ranges = {**RANGES, "batteries": (5, 12)}
    found = decide(scenario, Settings(workers=1), ranges=ranges, indifference={"downtime": 20.0}, same_cost=0.0)["room"]
    refused = [each.counts for each in found.tested if each.refused]

    assert found.chosen is not None
    assert found.chosen.counts[0] <= 8
    assert (12, 4, 2) in refused
    assert all(counts[0] > 6 for counts in refused)
    assert {trial.too_many for trial in found.tested if trial.refused} <= {(9, 1, 2), (10, 1, 1)}


def test_where_every_combination_breaks_a_rule_it_is_told():
    """Fewer batteries than trucks."""
    found = decide(SMALL, Settings(workers=1), ranges={"batteries": (1, 3)})
    rule = found["room"].best.refused.splitlines()[1].strip()

    assert (found["room"].chosen, found["room"].runs) == (None, 0)
    assert "batteries" in rule
    assert " ".join(rule.split()) in " ".join(decision_text(found).split())


# --- answers ---


def test_the_answer_of_a_small_room(sizing):
    """Costs by hand: 7 x 5000/5 + 3 x 2400/12 + 4 x 600/15 + 1500/15 = 7860."""
    found = sizing["room"]

    assert found.counts == {"batteries": 7, "chargers": 3, "stations": 1}
    assert found.cost_per_year == pytest.approx(7860.0)
    assert [(line.unit.thing, line.number, round(line.per_year)) for line in found.cost_lines] == [
        ("battery", 7, 7000), ("charger", 3, 600), ("bay", 4, 160), ("station", 1, 100),
    ]  # fmt: skip
    assert not found.placeholders
    assert sizing.cheapest is found
    assert found.interval() == found.chosen.interval(DECIDING, 0.95)
    assert found.interval().mean < 250.0
    assert (found.combinations, found.full_grid_runs) == (32, 32 * 8)


def test_frontier_and_near_misses_are_in_order(sizing):
    found = sizing["room"]

    assert [each.counts for each in found.frontier] == [(5, 3, 1), (6, 3, 1), (7, 3, 1), (8, 3, 1), (9, 3, 1)][
        : len(found.frontier)
    ]
    assert found.chosen in found.frontier
    assert [each.counts for each in found.near_misses] == [(7, 2, 2)]
    assert all(each.missed == ("downtime",) and each.cost_per_year < 7860.0 for each in found.near_misses)


def test_a_replication_count_is_that_of_the_answer(sizing):
    found = decide(SMALL, Settings(replications=60, workers=1), **QUICK)["room"]

    assert found.counts == sizing["room"].counts
    assert found.chosen.replications == 60


def test_out_of_reach_says_which_and_how_near(hopeless):
    found = hopeless["room"]

    assert found.chosen is None
    assert (found.counts, found.frontier, found.near_misses) == ({}, (), ())
    assert np.isnan(found.cost_per_year)
    assert found.best.counts == (8, 4, 2)
    assert found.best.missed == ("downtime", "waits")
    assert hopeless.cheapest is None
    downtime, waits = (found.interval(limit.measure) for limit in found.limits)
    assert (
        decision_text(hopeless)
        == f"""\
Small room (invented): the cheapest counts that meet the targets; runs of 1 week after 0.1 weeks of
warm-up, seed 3
Targets: downtime at most 100 min per truck-shift; 99 % of waits under 1 min.

room (By hand)
  The targets cannot be met with batteries 5 to 8, chargers 1 to 4, stations 1 to 2.
  The nearest, 8 x battery, 4 x charger, 2 x station (9,240 EUR a year):
    downtime at most 100 min per truck-shift: missed, {downtime.mean:.0f} ± {downtime.half_width:.0f} min
    99 % of waits under 1 min: missed, {100 * waits.mean:.1f} ± {100 * (waits.mean - waits.low):.1f} %
  Look for the bottleneck there (batsim bottleneck), or ask whether the target is right.

It took 8 runs of 1 of the 32 combinations; all would have taken 256 runs.

Cost is what is bought, over its life with interest, and attendants on duty; energy, water, downtime
and drivers are left out. What is owned already costs nothing."""
    )


def test_in_the_truck(tmp_path):
    """Chargers are what is chosen, and what the frontier is over."""
    scenario = batsim.changed(
        batsim.read(FILE),
        {"layouts": {"room": {"handling": "in_truck", "chargers": "3 x electronic_iuia", "exchange_by": "drivers"}}},
    )
    scenario = batsim.changed(scenario, {"targets": {"downtime_per_truck_shift": "at most 700 min"}})
    found = decide(scenario, Settings(workers=1), same_cost=0.0)["room"]

    assert found.combinations == 4
    assert list(found.counts) == ["chargers"]
    assert [each.counts[0] for each in found.frontier] == sorted(each.counts[0] for each in found.frontier)
    assert {each.unit.thing for each in found.cost_lines} == {"battery", "charger", "device", "station"}


def test_equal_cost_picks_the_one_that_loses_least():
    """A charger or a station more for the same money, within a fifth of the cost."""
    found = decide(SMALL, Settings(workers=1), **{**QUICK, "same_cost": 0.1})["room"]

    assert found.chosen.meets
    assert found.same_cost_share == 0.1
    assert found.cost_per_year <= 7860.0 * 1.1


def test_a_race_that_nobody_wins_ends(monkeypatch):
    """With a tolerance of next to nothing the means decide after the most replications."""
    monkeypatch.setattr("batsim.decision.search.MOST_REPLICATIONS", 20)
    trials = trials_of_small()
    meeting = [trials.looked_at(counts, 4) for counts in ((7, 3, 2), (7, 4, 2))]
    trials.tested |= {tested.counts: tested for tested in meeting}
    picked = Search(trials, 0.0).raced(list(meeting), 1e-9)

    assert picked.counts in {(7, 3, 2), (7, 4, 2)}


def trials_of_small():
    """Trials of the small room, nothing simulated yet."""
    grid = Grid(SMALL, "room", ranges_of(SMALL, "room", RANGES))
    return Trials(
        Settings().schedule(SMALL), grid, limits_of(SMALL), Runner(SMALL, 1, site_results_of, with_counts), None
    )


# --- how sure ---


@pytest.mark.parametrize(("near", "far", "reached"), [(0, 0, 0.95), (10, 60, 0.95), (20, 60, 0.905), (10, 120, 0.945)])
def test_confidence_that_is_reached(near, far, reached):
    """Nine tenths of 5 % for up to 10 decisions near a target, a tenth for up to 60 others; beyond, in proportion."""
    trials = trials_of_small()
    trials.near_decisions = near
    trials.tested = dict.fromkeys(range(far))

    assert trials.confidence == pytest.approx(reached)


def test_four_runs_without_a_truck_below_cut_out_decide_nothing():
    """One in two runs shows none in four with 14 %; a target that allows none waits for the sequential test."""
    nothing = batsim.changed(SMALL, {"targets": {"trucks_below_cut_out": 0}})
    grid = Grid(nothing, "room", ranges_of(nothing, "room", RANGES))
    runner = Runner(nothing, 1, site_results_of, with_counts)
    tested = Trials(Settings().schedule(nothing), grid, limits_of(nothing), runner, None).decided((8, 4, 2))

    assert tested.meets
    assert tested.values["trucks_below_cut_out"].tolist() == [0.0] * FIRST_STAGE


def test_confidence_is_never_above_what_was_wanted(sizing):
    assert sizing["room"].reached_confidence <= sizing["room"].confidence == 0.95
    sure = decide(SMALL, Settings(confidence=0.999, workers=1), **QUICK)["room"]
    assert sure.reached_confidence <= 0.999
    assert sure.runs > sizing["room"].runs


def test_progress_is_told():
    told = []
    decide(SMALL, Settings(workers=1), **QUICK, progress=told.append)

    assert re.fullmatch("room: 1 combination simulated, [0-9]+ runs", told[0])
    assert len(told) == len(set(told))


# --- as data and as text ---


def test_json_says_everything(sizing):
    data = json.loads(json.dumps(sizing.as_json(), allow_nan=False))
    found, room = sizing["room"], data["layouts"]["room"]

    assert (data["scenario"], data["seed"], data["weeks"], data["cheapest"]) == (
        "Small room (invented)",
        3,
        1.0,
        "room",
    )
    assert set(room) == {
        "layout", "met", "counts", "confidence", "targets", "indifference", "cost_per_year", "currency", "answer",
        "nearest", "frontier", "near_misses", "combinations", "simulated", "runs", "full_grid_runs",
    }  # fmt: skip
    assert (room["met"], room["counts"]) == (True, {"batteries": 7, "chargers": 3, "stations": 1})
    assert (room["targets"], room["indifference"]) == (["downtime at most 250 min per truck-shift"], {"downtime": 20.0})
    assert (room["simulated"], room["runs"]) == (len(found.tested), found.runs)
    for each in (room["answer"], *room["frontier"], *room["near_misses"]):
        assert set(each) == {
            "counts", "cost_per_year", "meets", "missed", "refused", "sure", "replications", "measures",
        }  # fmt: skip
        assert set(each["measures"]) == {DECIDING}
        assert set(each["measures"][DECIDING]) == {"mean", "low", "high", "unit"}
    assert room["nearest"] is None


def test_json_of_what_cannot_be_met(hopeless):
    room = json.loads(json.dumps(hopeless.as_json(), allow_nan=False))["layouts"]["room"]

    assert (room["met"], room["counts"], room["cost_per_year"], room["answer"]) == (False, {}, None, None)
    assert room["nearest"]["counts"] == {"batteries": 8, "chargers": 4, "stations": 2}
    assert room["nearest"]["missed"] == ["downtime", "waits"]


def test_frames(sizing):
    one, all_ = sizing["room"].frame, sizing.frame

    assert list(one.columns) == [
        "batteries", "chargers", "stations", "cost_per_year", DECIDING, f"{DECIDING}_low", f"{DECIDING}_high",
        "replications", "meets",
    ]  # fmt: skip
    assert len(one) == len(sizing["room"].tested)
    assert all_.iloc[0][["layout", "meets", "batteries", "chargers", "stations"]].tolist() == ["room", True, 7, 3, 1]
    assert "<table" in sizing._repr_html_()


def test_text_whole(sizing):
    """All of it; the numbers are those of the result."""
    found = sizing["room"]

    def number(tested):
        interval = tested.interval(DECIDING, 0.95)
        return f"{interval.mean:.0f} ± {interval.half_width:.0f}"

    rows = [
        f"{each.counts[0]}  {number(each):>{len('downtime per truck-shift')}}  {each.cost_per_year:>10,.0f}"
        for each in found.frontier
    ]
    frontier = {each.counts[0]: row for each, row in zip(found.frontier, rows, strict=True)}

    assert list(frontier) == [5, 6, 7, 8, 9][: len(rows)]
    text = decision_text(sizing)
    start, rest = text.split("\n\nFrontier", 1)
    assert (
        start
        == f"""\
Small room (invented): the cheapest counts that meet the targets; runs of 1 week after 0.1 weeks of
warm-up, seed 3
Targets: downtime at most 250 min per truck-shift.

room (By hand)
             buy  stated
  batteries    7       8
  chargers     3       4
  stations     1       2

  downtime per truck-shift: {number(found.chosen)} min (target: downtime at most 250 min per truck-shift)
  cost: 7,860 EUR a year
    7 x battery (plain): 7,000 EUR a year
    3 x charger (electronic iuia): 600 EUR a year
    4 x bay: 160 EUR a year
    1 x station: 100 EUR a year

At 95.0 % confidence this meets the targets, and no combination that is cheaper by more than 0 %
meets them by more than what makes no difference (downtime 20). With one fewer of anything a target
is missed, or met by less than that."""
    )
    lines = rest.splitlines()
    assert lines[:2] == [
        ", all else as above (± 95 % interval):",
        "batteries  downtime per truck-shift  EUR a year",
    ]
    verdicts = {5: "misses downtime", 6: "misses downtime", 7: "meets <- answer", 8: "meets", 9: "meets"}
    for line, (batteries, row) in zip(lines[2:], frontier.items(), strict=False):
        assert line.split() == [*row.split(), *verdicts[batteries].split()]
    assert (
        rest.split("\n\n", 1)[1]
        == f"""\
Near misses, cheaper:
  7 x battery, 2 x charger, 2 x station (7,800 EUR a year): misses downtime ({number(found.near_misses[0])} min)

It took {found.runs} runs of {len(found.tested)} of the 32 combinations; all would have taken 256 runs.

Cost is what is bought, over its life with interest, and attendants on duty; energy, water, downtime
and drivers are left out. What is owned already costs nothing."""
    )


@pytest.mark.parametrize("width", [60, 80, 100])
def test_text_fits(sizing, hopeless, width):
    for each in (sizing, hopeless):
        lines = decision_text(each, width).splitlines()
        assert max(map(len, lines)) <= width


def test_text_of_several_layouts_names_the_cheapest():
    layout = batsim.changed(SMALL, {"layouts.roomy": {
        "handling": "hands", "stations": 2, "batteries": 8, "chargers": "4 x electronic_iuia",
        "attendants": "unlimited",
        "exchange_time": "5 min",
    }})  # fmt: skip
    found = decide(layout, Settings(workers=1), **QUICK)
    text = decision_text(found)

    assert [each.layout for each in found.answers] == ["room", "roomy"]
    assert found.cheapest.layout == "roomy"
    cheapest = f"{found.cheapest.cost_per_year:,.0f} EUR a year"
    assert f"Cheapest layout that meets the targets: 'roomy', {cheapest}." in " ".join(text.split())


def test_text_of_several_layouts_that_all_miss():
    scenario = batsim.changed(SMALL, {"layouts.other": {
        "handling": "hands", "stations": 2, "batteries": 8, "chargers": "4 x electronic_iuia",
        "attendants": "unlimited",
    }})  # fmt: skip
    scenario = batsim.changed(scenario, {"targets": {"downtime_per_truck_shift": "at most 1 min"}})

    found = decide(scenario, Settings(workers=1), ranges=RANGES)

    assert set(found.ranking) == {"room", "other"}
    assert f"No layout meets the targets; '{found.ranking[0]}' comes nearest." in decision_text(found)


def test_placeholder_prices_are_told():
    text = decision_text(decide(batsim.changed(SMALL, {"prices": {}}), Settings(workers=1), **QUICK))

    assert "placeholders of the catalogue" in text.replace("\n", " ")
