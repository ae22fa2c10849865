"""Decision: what may be chosen, which plan is best, the steps to it, how near others come, what is refused and kept."""

import itertools
import json
import re
from collections.abc import Collection
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.decision.answer import LEVELS, MEETS, MISSED_BY_SHARE, MISSES, NOT_THE_MARGIN, Answer
from batsim.decision.counts import MOST, ranges_of
from batsim.decision.decide import Decision, decide
from batsim.decision.kept import take_for_decision
from batsim.decision.one_layout import MOST_TESTS, fixed_of
from batsim.decision.space import Space
from batsim.decision.steps import REPLICATIONS
from batsim.decision.testing import chance_of
from batsim.decision.trials import BOUGHT, DECIDING, YEARLY, Trial, Trials
from batsim.scenario.parts.fixed import COUNTS, FIXABLE, LEVERS
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.levers import DELAY, SPREAD, SUBJECTS, Lever
from batsim.study.running.counts import Counted, with_counts
from batsim.study.running.executors import Runner
from batsim.views.text.decision_text import decision_text
from tests.sites import FROSTHOLM, KESTREL, LARKFIELD

CASES = Path(__file__).parents[1] / "cases"
FILE = CASES / "decide_small.yaml"
SMALL = batsim.read(FILE)
TODAY = batsim.read(CASES / "decide_today.yaml")
"""Trolley, which is there today, or rollers; trucks come at the shift change, all at once."""
RANGES = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}
ONE = Settings(workers=1)
IN_TRUCK = {"handling": "in_truck", "chargers": "3 x electronic_iuia", "exchange_by": "drivers"}
CLEAR_SHARE = 0.01
"""Part of the cost by which the next plan must be dearer for a few replications to tell."""


@cache
def bought() -> Decision:
    """The small room, by what is bought."""
    return decide(SMALL, ONE, ranges=RANGES, objective=BOUGHT)


@cache
def yearly() -> Decision:
    """The small room, by all that differs in a year."""
    return decide(SMALL, ONE, ranges=RANGES)


@cache
def hopeless() -> Decision:
    """The small room with targets that it cannot meet."""
    targets = {"downtime_per_truck_shift": "at most 100 min", "waits": "99 % under 1 min"}
    return decide(batsim.changed(SMALL, {"targets": targets}), ONE, ranges=RANGES)


@cache
def near(most_min: int, indifference_min: float) -> Answer:
    """The small room with another target, by what is bought; with two chargers it has about 243 min."""
    target = {"targets.downtime_per_truck_shift": f"at most {most_min} min"}
    indifference = {"downtime": indifference_min}
    return decide(batsim.changed(SMALL, target), ONE, ranges=RANGES, objective=BOUGHT, indifference=indifference)[
        "room"
    ]


@cache
def levers_alone() -> Decision:
    """Trolley or rollers, with the counts that are stated."""
    return decide(TODAY, ONE, fix=["counts"])


def spans(scenario: Scenario, layout: str) -> dict[str, tuple[int, int]]:
    """Fewest and most of everything that may be chosen, by name."""
    return {each.name: (each.low, each.high) for each in ranges_of(scenario, layout, {})}


def with_room(**keys: object) -> Scenario:
    """The small room with other things said of it."""
    return batsim.changed(SMALL, {f"layouts.room.{key}": value for key, value in keys.items()})


def refused(scenario: Scenario, settings: Settings = ONE, **how: Any) -> str:
    """What is said where a decision is refused, without the file."""
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(scenario, settings, **how)
    return str(caught.value).replace(f"{scenario.file}: ", "")


# --- refusals ---


def test_no_target() -> None:
    """Nothing to decide by."""
    assert refused(batsim.changed(SMALL, {"targets": {}})) == (
        "1 problem\n  targets: states none; add one, such as downtime_per_truck_shift: at most 12 min"
    )


def test_an_unknown_layout() -> None:
    """With what may be meant."""
    assert refused(SMALL, Settings(layouts="rom_", workers=1)) == (
        "1 problem\n  layouts.rom_: no layout of this name; did you mean 'room'?"
    )


def test_ranges_of_nothing() -> None:
    """All that is wrong is told at once."""
    assert refused(SMALL, ranges={"batteris": (5, 8), "chargers": (4, 2), "stations": (0, 2), "hoist": (1, 2)}) == (
        "4 problems\n"
        "  range batteris: no count of this name in layout 'room'; did you mean 'batteries'?\n"
        "  range chargers: must rise from 1 or more (got 4:2)\n"
        "  range hoist: no count of this name in layout 'room'; known: batteries, chargers, stations\n"
        "  range stations: must rise from 1 or more (got 0:2)"
    )


def test_indifference_of_nothing() -> None:
    """Of a target that is not there, or of none at all."""
    assert refused(SMALL, indifference={"down": 1.0, "downtime": 0.0}) == (
        "2 problems\n"
        "  indifference down: the scenario has no target of this name; did you mean 'downtime'?\n"
        "  indifference downtime: must be above 0 (got 0)"
    )
    assert refused(SMALL, indifference={"downtime": 301.0}) == (
        "1 problem\n  indifference downtime: must be at most what the target allows, 300 (got 301)"
    )


def test_fix_of_nothing() -> None:
    """With all that may be fixed."""
    assert refused(SMALL, fix=["lever", "batteries", "people"]) == (
        f"2 problems\n  fix lever: is none of {', '.join(FIXABLE)}\n  fix people: is none of {', '.join(FIXABLE)}"
    )


def test_nothing_to_choose() -> None:
    """Where all is fixed, by the layout or by who asks."""
    says = "1 problem\n  layouts.room: has nothing that could be chosen; all is fixed, unlimited or left to the drivers"

    assert refused(SMALL, fix=["levers", "counts"]) == says
    assert refused(with_room(fixed=["counts"]), fix=LEVERS) == says


def test_a_layout_in_which_all_is_fixed_is_judged_as_stated() -> None:
    """Beside another one, of which something may be chosen."""
    stated = {
        "layouts.trolley.fixed": ["counts", "levers"],
        "layouts.rollers.fixed": ["counts", "charging", "exchange_by"],
    }
    easy = {"targets.downtime_per_truck_shift": "at most 100 min"}
    found = decide(batsim.changed(TODAY, {**stated, **easy}), Settings(replications=2, workers=1))

    assert found["trolley"].point == ()
    assert found["trolley"].chosen is not None
    assert found.today is not None
    assert found["trolley"].told.cost(2) == pytest.approx(found.today.cost(2))
    assert len(found["rollers"].point) > 0


def test_a_layout_that_is_dearer_by_far_is_given_up() -> None:
    """Its plan meets the targets, and is told; no lever is looked at with counts of its own."""
    dear = batsim.changed(
        TODAY, {"targets.downtime_per_truck_shift": "at most 100 min", "prices.device.carriage": "10000000 EUR"}
    )
    found = decide(dear, Settings(replications=2, workers=1), fix=["counts"])

    assert [(answer.layout, answer.given_up) for answer in found.answers] == [("trolley", False), ("rollers", True)]
    assert found["rollers"].chosen is not None
    assert found["rollers"].cost_per_year > 1.25 * found["trolley"].cost_per_year
    assert "dearer by a quarter and more: 'rollers'." in " ".join(decision_text(found).split())


def test_a_layout_that_the_targets_say_nothing_of() -> None:
    """Waits of exchanges, where nobody exchanges."""
    scenario = batsim.changed(SMALL, {"layouts": {"room": IN_TRUCK}, "targets": {"waits": "95 % under 5 min"}})

    assert refused(scenario) == (
        "1 problem\n  layouts.room: has no exchanges, and the targets are about nothing else; state "
        "downtime_per_truck_shift too"
    )


def test_an_objective_that_is_none() -> None:
    """Only two kinds of cost can be made least."""
    with pytest.raises(ValueError, match=re.escape("objective must be one of yearly, bought (got cheap)")):
        decide(SMALL, ONE, objective="cheap")


# --- what may be chosen ---


def test_all_counts_with_a_limit_have_a_range() -> None:
    """From the fewest with which a layout can work; no more stations than there are trucks."""
    assert spans(KESTREL, "side rollers") == {
        "batteries": (25, MOST), "chargers": (1, MOST), "stations": (1, 24), "battery_carriage": (1, 24),
        "attendants room early": (0, MOST), "attendants room late": (0, MOST), "attendants room night": (0, MOST),
    }  # fmt: skip


def test_what_is_unlimited_has_no_range() -> None:
    """Here the attendants; then the chargers as well; then the stations."""
    assert list(spans(SMALL, "room")) == ["batteries", "chargers", "stations"]
    free = with_room(chargers="unlimited x electronic_iuia")
    assert list(spans(free, "room")) == ["batteries", "stations"]
    assert list(spans(batsim.changed(free, {"layouts.room.stations": "unlimited"}), "room")) == ["batteries"]


def test_bays_have_a_range_where_they_are_stated() -> None:
    """Else they follow from batteries and stations."""
    assert spans(with_room(bays=6), "room")["bays"] == (1, MOST)


def test_in_the_truck_only_chargers_are_chosen() -> None:
    """Up to one for each truck."""
    assert spans(KESTREL, "in the truck") == {"chargers": (1, 24)}


def test_several_battery_types_have_a_range_each() -> None:
    """By their names."""
    assert list(spans(FROSTHOLM, "side rollers"))[:2] == [
        "batteries lead 48 V 750 Ah",
        "batteries lead 24 V 465 Ah",
    ]


def test_batteries_that_trucks_keep_are_counted_in_all() -> None:
    """By a type of the trucks, whichever truck keeps them."""
    assert spans(batsim.changed(SMALL, {"trucks[0].own_batteries": True}), "room") == spans(SMALL, "room")


def test_attendants_without_a_shift_are_those_of_each() -> None:
    """One range for all shifts; where a shift is named, of it alone."""
    both, one = (ranges_of(TODAY, "trolley", {name: (1, 3)}) for name in ("attendants", "attendants noon"))

    assert [(each.name, each.low, each.high) for each in both] == [
        ("attendants noon", 1, 3),
        ("attendants evening", 1, 3),
    ]
    assert [each.name for each in one] == ["attendants noon"]


def test_skills_go_with_the_attendants() -> None:
    """One more attendant is qualified, one fewer is one fewer of those who are."""
    space = Space(LARKFIELD, "one hoist", ranges_of(LARKFIELD, "one hoist", {"attendants": (1, 4)}))
    stated = LARKFIELD.layouts["one hoist"].attendants
    assert isinstance(stated, dict)
    assert any(on_it.qualified for on_it in stated.values())

    for number in (2, 3, 4):
        changed = with_counts(LARKFIELD, space.changes((number,) * len(space.ranges))).layouts["one hoist"].attendants
        assert isinstance(changed, dict)
        for shift, on_it in stated.items():
            assert int(changed[shift]) == number
            skilled = {name: count + number - int(on_it) for name, count in (on_it.qualified or {}).items()}
            assert (changed[shift].qualified or {}) == skilled


def test_ranges_choose_only_these() -> None:
    """All other counts and levers stay as stated."""
    easy = batsim.changed(TODAY, {"targets.downtime_per_truck_shift": "at most 100 min", "present": None})
    found = decide(easy, Settings(layouts="rollers", workers=1), ranges={"chargers": (2, 4)})["rollers"]
    stated, chosen = TODAY.layouts["rollers"], found.told.scenario.layouts["rollers"]

    assert list(found.counts) == ["chargers"]
    assert found.counts["chargers"] < stated.chargers_by_type["electronic_iuia"]
    assert (found.levers, found.space.choices) == ((), ())
    assert chosen == stated.with_counts(chargers={"electronic_iuia": found.counts["chargers"]})


def test_what_is_given_is_chosen_though_counts_are_fixed() -> None:
    """Who gives a range wants it to be chosen."""
    found = decide(
        with_room(fixed=["stations"]), Settings(replications=2, workers=1), ranges={"stations": (1, 2)}, fix=["counts"]
    )

    assert list(found["room"].counts) == ["stations"]


# --- what is fixed ---


class Content:
    """A search that is content with one plan, whatever it costs."""

    given_up = False

    def __init__(self, trials: Trials, counts: dict[str, int], kinds: Collection[str]) -> None:
        self.trials, self.counts, self.kinds = trials, counts, kinds

    def best(self) -> Trial:
        """The layout as stated, with some counts and levers in place of what it states."""
        space = self.trials.space
        numbers = [self.counts.get(each.name, each.stated) for each in space.ranges]
        ways = [
            next(
                (way for way, levers in enumerate(choice.options) if {each.kind for each in levers} & set(self.kinds)),
                0,
            )
            for choice in space.choices
        ]
        return self.trials.one((*numbers, *ways), 1)

    def is_worth_a_test(self, trial: Trial) -> bool:
        """It is told as it is, without a test."""
        assert trial.space is self.trials.space
        return False


def content_with(monkeypatch: pytest.MonkeyPatch, counts: dict[str, int], *kinds: str) -> None:
    """Let a decision search no further than for one plan."""
    monkeypatch.setattr("batsim.decision.one_layout.Search", lambda trials, *_: Content(trials, counts, kinds))


@cache
def all_open() -> Scenario:
    """The room with a trolley, with something to choose of every kind."""
    leads = {"handling.by trolley.charger_leads": "bound_to_bay"}
    return batsim.changed(TODAY, {"layouts.trolley.bays": 9, "present": None, **leads})


def open_to(scenario: Scenario, **how: Any) -> tuple[set[str], set[str]]:
    """Kinds of counts, and subjects of levers, that may be chosen in the room with a trolley."""
    settings = Settings(layouts="trolley", replications=1, weeks=0.05, warm_up_weeks=0.0, workers=1)
    space = decide(scenario, settings, **how)["trolley"].space
    return {each.kind for each in space.ranges}, {each.subject for each in space.choices}


@pytest.mark.parametrize("name", FIXABLE)
def test_each_name_fixes_its_own_things(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exactly those, whether the layout states it or who asks."""
    content_with(monkeypatch, {})
    monkeypatch.setattr("batsim.decision.decide.steps_to", lambda *_: ())
    stated = batsim.changed(all_open(), {"layouts.trolley.fixed": [name]})

    assert open_to(all_open(), fix=[name]) == (set(COUNTS) - set(FIXABLE[name]), set(SUBJECTS) - set(FIXABLE[name]))
    assert fixed_of(stated, "trolley", []) == fixed_of(all_open(), "trolley", [name]) == set(FIXABLE[name])


def test_what_is_fixed_by_the_layout_and_by_who_asks_is_fixed_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """All may be chosen where nobody fixes anything."""
    content_with(monkeypatch, {})
    stated = batsim.changed(all_open(), {"layouts.trolley.fixed": ["attendants", "charging"]})

    assert open_to(all_open()) == (set(COUNTS), set(SUBJECTS))
    assert open_to(stated, fix=["bays"]) == (set(COUNTS) - {"attendants", "bays"}, set(SUBJECTS) - {"charging"})


@pytest.mark.parametrize("by_layout", [True, False])
def test_fixed_levers_stay_as_stated(*, by_layout: bool) -> None:
    """By the layout or by who asks; counts are chosen all the same."""
    scenario = with_room(fixed=["levers"]) if by_layout else SMALL
    found = decide(scenario, Settings(replications=2, workers=1), fix=() if by_layout else ["levers"])["room"]
    counts = {
        name: number for name, number in found.counts.items() if number != found.counts_at(found.space.stated)[name]
    }

    assert (found.levers, found.space.choices) == ((), ())
    assert counts
    assert found.told.scenario.in_layout("room").trucks == SMALL.in_layout("room").trucks


# --- which plan is best ---


def whole_grid(answer: Answer) -> list[Trial]:
    """Every plan of the given ranges, simulated twice."""
    space, scenario = answer.space, answer.schedule.scenario
    points = list(itertools.product(*(range(each.low, each.high + 1) for each in space.ranges)))
    with Runner(scenario, 1, take_for_decision, with_counts) as runner:
        return Trials(answer.schedule, space, runner.run, objective=answer.objective).look(points, 2)


@pytest.mark.parametrize(("found", "point"), [(bought, (7, 2, 1)), (yearly, (7, 3, 1))])
def test_the_answer_is_that_of_the_whole_grid(found: Any, point: tuple[int, ...]) -> None:
    """The cheapest of all that meet the target; the gap to the next is clear."""
    answer = found()["room"]
    grid = whole_grid(answer)
    best, second = sorted((trial for trial in grid if trial.miss(answer.limits) == 0.0), key=Trial.cost)[:2]

    assert len(grid) == 32
    assert second.cost() > best.cost() * (1.0 + CLEAR_SHARE)
    assert answer.point == best.point == point
    assert answer.sure
    assert len(answer.searched) < len(grid)
    assert found().cheapest is answer


def test_what_is_bought_costs_what_its_lines_cost() -> None:
    """By hand: 7 x 5000/0.5 + 2 x 48000/12 + 75000/15 + 4 bays x 600/15 = 83160, in every replication."""
    answer = bought()["room"]
    lines = cost_lines(answer.told.scenario, "room", UnitCosts(SMALL, "room"))

    assert answer.cost_per_year == pytest.approx(83160.0)
    assert sum(line.per_year for line in lines) == pytest.approx(83160.0)
    assert {(line.unit.thing, line.number) for line in lines} == {
        ("battery", 7.0), ("charger", 2.0), ("bay", 4.0), ("station", 1.0),
    }  # fmt: skip
    assert set(answer.told.costs) == {answer.cost_per_year}


def test_a_year_costs_what_its_replications_cost() -> None:
    """On the mean; money is worked out on all replications together, near to that."""
    answer = yearly()["room"]
    assert answer.money is not None

    assert answer.cost_per_year == pytest.approx(float(np.mean(answer.told.costs)))
    assert answer.money.at_equal_work.value == pytest.approx(answer.cost_per_year, rel=0.01)
    assert yearly().frame["cost_eur_per_year"].tolist() == [answer.cost_per_year]


@pytest.mark.parametrize(
    "owned", [{}, {"plain": 8}, {"electronic_iuia": 4, "stations": 2}, {"bays": 6}, {"plain": 8, "electronic_iuia": 3}]
)
def test_what_is_owned_costs_nothing(owned: dict[str, int]) -> None:
    """As many as are there; what goes beyond them is bought, and having fewer earns nothing. By hand."""
    scenario = with_room(owned=owned)
    space = Space(scenario, "room", ranges_of(scenario, "room", RANGES))
    prices = {"plain": 10_000.0, "electronic_iuia": 4_000.0, "stations": 5_000.0, "bays": 40.0}

    for batteries, chargers, stations in itertools.product((5, 7, 8), (1, 3, 4), (1, 2)):
        numbers = {
            "plain": batteries, "electronic_iuia": chargers, "stations": stations, "bays": batteries - 4 + stations,
        }  # fmt: skip
        by_hand = sum(prices[name] * max(0, number - owned.get(name, 0)) for name, number in numbers.items())
        lines = space.cost_lines(space.made((batteries, chargers, stations)))
        assert sum(line.per_year for line in lines) == pytest.approx(by_hand)


def test_uneven_attendants_are_paid_shift_by_shift() -> None:
    """One more on a shift costs the hours of that shift alone."""
    space = Space(TODAY, "trolley", ranges_of(TODAY, "trolley", {"attendants": (0, 4)}))
    units = UnitCosts(TODAY, "trolley")
    costs = {
        point: sum(line.per_year for line in space.cost_lines(space.made(point))) for point in ((1, 1), (2, 1), (2, 3))
    }

    assert units.by_counted[Counted("attendants", "noon")].per_year == pytest.approx(2 * 6 * 52 * 20.0)
    assert costs[2, 1] - costs[1, 1] == pytest.approx(2 * 6 * 52 * 20.0)
    assert costs[2, 3] - costs[2, 1] == pytest.approx(2 * 2 * 6 * 52 * 20.0)


def test_a_target_of_the_only_group_asks_for_what_one_of_the_site_asks() -> None:
    """The same plan by the same runs, judged by the group's own numbers."""
    stated = {"targets.groups": {"trucks": {"downtime_per_truck_shift": "at most 300 min"}}}
    by_group = decide(
        batsim.changed(SMALL, {**stated, "targets.downtime_per_truck_shift": None}),
        ONE,
        ranges=RANGES,
        objective=BOUGHT,
    )
    mine, theirs = by_group["room"], bought()["room"]

    assert (mine.counts, mine.runs) == (theirs.counts, theirs.runs)
    assert mine.limits[0].label == "downtime of trucks"
    found = mine.as_json()["answer"]
    assert found["groups"]["trucks"]["measures"][DECIDING] == pytest.approx(found["measures"][DECIDING])
    assert "trucks: downtime at most 300 min per truck-shift" in " ".join(decision_text(by_group).split())


def test_in_the_truck() -> None:
    """Chargers are what is chosen, and when they charge."""
    scenario = batsim.changed(
        SMALL, {"layouts": {"room": IN_TRUCK}, "targets.downtime_per_truck_shift": "at most 800 min"}
    )
    found = decide(scenario, Settings(replications=2, workers=1))["room"]

    assert list(found.counts) == ["chargers"]
    assert {choice.subject for choice in found.space.choices} == {"charging"}


def test_more_than_fits_rules_out_only_what_breaks_the_rule() -> None:
    """Six bays hold spares and empty bays of at most nine batteries with a station."""
    found = decide(with_room(bays=6), ONE, ranges={**RANGES, "batteries": (5, 16)})["room"]
    broken = [trial.point for trial in found.searched.values() if trial.refused]

    assert found.counts == yearly()["room"].counts
    assert broken
    assert all(batteries - 4 + stations > 6 for batteries, _, stations in broken)


def test_where_every_plan_breaks_a_rule_it_is_told() -> None:
    """Fewer batteries than trucks."""
    found = decide(SMALL, ONE, ranges={"batteries": (1, 3)})
    assert found["room"].best is not None
    rule = found["room"].best.refused.splitlines()[1].strip()

    assert (found["room"].chosen, found["room"].runs, found.first, found.steps) == (None, 0, None, ())
    assert (found.plans, found.ranking, found.doubt) == ({}, (), None)
    assert "batteries" in rule
    assert f"room: no plan could be simulated - {' '.join(rule.split())}" in " ".join(decision_text(found).split())


def test_what_misses_by_a_hair_gives_way_to_what_meets_the_target() -> None:
    """With two chargers it misses what is tested on the mean, not in the first replication; three are far from it."""
    assert near(260, 50.0).counts == {"batteries": 7, "chargers": 3, "stations": 1}


def test_a_replication_count_is_that_of_the_answer() -> None:
    """However often it takes to decide."""
    found = decide(SMALL, Settings(replications=11, workers=1), ranges=RANGES, objective=BOUGHT)["room"]

    assert found.counts == bought()["room"].counts
    assert found.told.replications == 11
    assert found.interval() == found.told.interval(DECIDING, 0.95)


# --- out of reach ---


def test_out_of_reach_says_which_target_and_how_near() -> None:
    """The nearest plan, with what it misses; nothing is chosen, and there is nothing about it to compare."""
    found = hopeless()["room"]

    assert (found.chosen, found.counts, found.tests) == (None, {}, ())
    assert (found.near_misses, found.rivals, found.levels) == ((), (), ())
    assert (hopeless().cheapest, hopeless().first) == (None, found)
    assert found.best is not None
    assert found.counts_at(found.best.point).items() >= {"batteries": 8, "stations": 2}.items()
    assert [limit.label for limit in found.missed(found.best)] == ["downtime", "waits"]
    downtime = found.interval()
    text = " ".join(decision_text(hopeless()).split())
    assert (
        f"downtime at most 100 min per truck-shift: missed, {downtime.mean:.0f} ± {downtime.half_width:.0f} min" in text
    )


def test_json_of_what_is_out_of_reach() -> None:
    """The nearest plan in place of an answer."""
    room = json.loads(json.dumps(hopeless().as_json(), allow_nan=False))["layouts"]["room"]

    assert (room["met"], room["counts"], room["answer"]) == (False, {}, None)
    assert room["nearest"]["counts"] == dict(zip(RANGES, hopeless()["room"].point, strict=True))
    assert (room["nearest"]["verdict"], room["nearest"]["missed"]) == (MISSES, ["downtime", "waits"])


# --- what is said of plans ---


@pytest.mark.parametrize(("most_min", "indifference_min"), [(300, 15.0), (245, 50.0), (225, 10.0)])
def test_one_rule_says_how_a_plan_stands(most_min: int, indifference_min: float) -> None:
    """Over the target it misses, over what is tested it has no margin: the answer, near misses and levels alike."""
    found = near(most_min, indifference_min)
    tested_min = most_min - indifference_min / 2.0

    def verdict(trial: Trial) -> str:
        mean_min = float(np.mean(trial.of(("", ""))[DECIDING]))
        return MISSES if mean_min > most_min else NOT_THE_MARGIN if mean_min > tested_min else MEETS

    assert all(found.verdict(trial) == verdict(trial) for trial in found.searched.values() if trial.replications)
    assert verdict(found.told) == MEETS
    assert found.tests[-1].meets
    assert all(verdict(trial) != MEETS for trial in found.near_misses)
    assert {bool(found.missed(trial)) for trial in found.near_misses} <= {True}
    frame = found.frame
    assert frame["verdict"].tolist() == [verdict(each) for each in found.searched.values() if each.replications]


@pytest.mark.parametrize(
    ("most_min", "indifference_min", "verdict"), [(245, 50.0, NOT_THE_MARGIN), (225, 10.0, MISSES)]
)
def test_near_misses_are_cheaper_and_miss_by_little(most_min: int, indifference_min: float, verdict: str) -> None:
    """One charger fewer is cheaper by 4000 a year, and just too slow."""
    found = near(most_min, indifference_min)
    first, *_ = found.near_misses
    costs = [trial.cost() for trial in found.near_misses]

    assert found.counts == {"batteries": 7, "chargers": 3, "stations": 1}
    assert found.counts_at(first.point) == {"batteries": 7, "chargers": 2, "stations": 1}
    assert found.verdict(first) == verdict
    assert costs == sorted(costs)
    assert costs[0] == pytest.approx(found.cost_per_year - 4000.0)
    allowed = MISSED_BY_SHARE * most_min
    for trial in found.near_misses:
        assert trial.of(("", ""))[DECIDING].mean() <= most_min - indifference_min / 2.0 + allowed


def test_levels_tell_the_cheapest_plan_that_keeps_them() -> None:
    """At each so many times as much is allowed, with a margin; more is never dearer."""
    found = bought()["room"]
    levels = {level.limit.most: level for level in found.levels}

    assert set(levels) <= {300.0 * part for part in LEVELS}
    assert levels[450.0].trial.point == (6, 2, 1)
    assert levels[450.0].saves == pytest.approx(10_000.0 + 40.0)
    assert levels[240.0].saves == pytest.approx(-4000.0)
    assert levels[450.0].limit.text == "downtime at most 450 min per truck-shift"
    for level in found.levels:
        assert level.trial.of(("", ""))[DECIDING].mean() <= level.limit.tested
        cheaper = [each for each in found.searched.values() if each.costs and each.cost() < level.trial.cost()]
        assert all(each.replications < 2 or each.miss([level.limit]) > 0.0 for each in cheaper)
    saved = [level.saves for level in found.levels]
    assert saved == sorted(saved)


@pytest.mark.parametrize(
    ("ranges", "at_ends"),
    [
        ({"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}, ()),
        ({"batteries": (7, 8), "chargers": (2, 4), "stations": (1, 2)}, ("batteries", "chargers")),
        ({"batteries": (5, 7), "chargers": (1, 2), "stations": (1, 1)}, ("batteries", "chargers")),
    ],
)
def test_ends_are_named_where_a_range_could_go_on(ranges: dict[str, tuple[int, int]], at_ends: tuple[str, ...]) -> None:
    """Not at one station: there cannot be fewer; nor what is given as one number."""
    found = decide(SMALL, Settings(replications=2, workers=1), ranges=ranges, objective=BOUGHT)["room"]

    assert found.counts == {"batteries": 7, "chargers": 2, "stations": 1}
    assert found.at_ends == at_ends
    text = " ".join(decision_text(Decision(found.schedule, (found,), objective=BOUGHT)).split())
    assert (
        f"at the end of the range of {', '.join(at_ends)}: with a wider --range it could be cheaper" in text
    ) == bool(at_ends)


def test_ends_of_what_is_not_given_are_not_named() -> None:
    """One station is the fewest, whoever says so."""
    assert decide(SMALL, Settings(replications=2, workers=1), fix=["levers"])["room"].at_ends == ()


# --- how sure ---


def test_all_tests_together_are_wrong_no_more_often_than_is_wanted() -> None:
    """Each takes half of what is left."""
    chances = [chance_of(number, 0.05) for number in range(MOST_TESTS)]

    assert chances[0] == 0.025
    assert sum(chances) < 0.05


def test_what_tests_do_not_decide_goes_by_its_means(monkeypatch: pytest.MonkeyPatch) -> None:
    """After the most replications; it is said."""
    monkeypatch.setattr("batsim.decision.testing.LOOKS", (2,))
    found = decide(SMALL, Settings(replications=2, workers=1), ranges=RANGES, objective=BOUGHT)

    assert found["room"].counts == bought()["room"].counts
    assert not found["room"].sure
    assert not found["room"].as_json()["sure"]
    assert "is so near to a target that 2 replications do not tell; its means meet all of them." in " ".join(
        decision_text(found).split()
    )


def test_only_the_yearly_cost_has_doubt() -> None:
    """It is drawn from prices of a year; what is bought is another cost."""
    assert yearly().doubt is not None
    assert bought().doubt is None


def test_inputs_that_are_not_known_are_drawn() -> None:
    """As often as is asked for; nothing is drawn where all is known, or another cost is made least."""
    unknown = batsim.changed(SMALL, {"batteries.plain.charge_time": {"between": ["50 min", "70 min"]}})
    settings = Settings(replications=2, workers=1)
    found = decide(unknown, settings, ranges={"chargers": (2, 4)}, draws=3)

    assert found.draws is not None
    assert (found.draws.plans, found.draws.costs.shape) == (("room",), (3, 1))
    assert found.as_json()["draws"]["draws"] == 3
    assert found.draws.sentence in " ".join(decision_text(found).split())
    assert yearly().draws is None
    assert decide(unknown, settings, ranges={"chargers": (2, 4)}, draws=3, objective=BOUGHT).draws is None


# --- today, and the steps from it ---


def downtimes_of(trial: Trial) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Downtime of the plan, simulated by itself."""
    settings = Settings(layouts=trial.space.layout, replications=REPLICATIONS, workers=1)
    return batsim.run(trial.scenario, settings).values[trial.space.layout][DECIDING]


def test_steps_lead_from_today_to_the_best_plan() -> None:
    """One after another; what they save adds up, in minutes and in money."""
    found = levers_alone()
    assert found.today is not None
    assert found.first is not None
    trials = [found.steps[0].before, *(step.after for step in found.steps)]

    assert len(found.steps) > 1
    assert (trials[0], trials[-1]) == (found.today, found.first.told)
    assert all(after.before is before.after for before, after in itertools.pairwise(found.steps))
    for measure, gained in (("cost", 0.0), ("minutes", 0.0)):
        whole = sum((getattr(step, measure).mean for step in found.steps), gained)
        ends = [
            trial.cost(REPLICATIONS) if measure == "cost" else trial.of(("", ""), REPLICATIONS)[DECIDING].mean()
            for trial in (trials[0], trials[-1])
        ]
        assert whole == pytest.approx(ends[1] - ends[0])


def test_what_a_step_gains_is_the_difference_of_both_plans() -> None:
    """Simulated anew, each by itself, in the same weeks."""
    for step in levers_alone().steps:
        gained = downtimes_of(step.after) - downtimes_of(step.before)
        assert step.minutes.mean == pytest.approx(float(np.mean(gained)))


def test_what_needs_no_purchase_goes_first() -> None:
    """Each lever alone, the one that saves most before the others; then the other layout."""
    *levers, last = levers_alone().steps

    assert [step.to_order.value for step in levers] == [0.0] * len(levers)
    assert all(step.after.space.layout == "trolley" for step in levers)
    assert all(step.cost.mean < 0.0 for step in levers)
    assert last.after.space.layout == "rollers"
    assert last.words == "'rollers' in place of 'trolley'"
    assert last.to_order.value == pytest.approx(9000.0)  # the carriage; batteries and chargers are there


def test_another_layout_is_named_with_its_counts_beside_those_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    """So that what it has is not taken for what is ordered."""
    content_with(monkeypatch, {"batteries": 11}, DELAY)
    last = decide(TODAY, Settings(layouts=("rollers",), replications=2, workers=1)).steps[-1]

    assert last.words == (
        "'rollers' in place of 'trolley', with batteries 11 (today 9), chargers 5, stations 1, carriage 1, "
        "attendants (noon) 1, attendants (evening) 1; begin each charge 120 min after it is connected"
    )


def test_steps_inside_the_layout_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    """Levers, the one that saves most first; then attendants, then what is bought, with what was there."""
    content_with(monkeypatch, {"attendants noon": 2, "chargers": 4, "batteries": 10}, SPREAD, DELAY)
    found = decide(TODAY, Settings(layouts="trolley", replications=2, workers=1))
    best_first = Lever(SPREAD, "trucks").label(TODAY)
    words, savings = [step.words for step in found.steps], [-step.cost.mean for step in found.steps]

    assert words[2:] == [
        "attendants (noon) 2 in place of 1",
        "batteries 10 in place of 9; chargers 4 in place of 5",
    ]
    assert {lever.label(TODAY) for lever in found["trolley"].levers} == set(words[:2])
    assert words[0] == best_first
    assert savings[0] > savings[1]
    assert found.steps[-1].after is found["trolley"].told
    assert found.steps[-1].to_order.value == pytest.approx(6000.0 + 500.0)  # a battery and its bay
    assert found.today is not None
    assert found.steps[0].before.of(("", ""), 2)[DECIDING] == pytest.approx(found.today.of(("", ""), 2)[DECIDING])


def test_steps_begin_with_what_is_stated_whatever_the_ranges_let_it() -> None:
    """Eight batteries are stated, and seven may be chosen at most."""
    found = decide(SMALL, Settings(replications=2, workers=1), ranges={"batteries": (5, 7)}, objective=BOUGHT)
    (step,) = found.steps

    assert found.today is None
    assert step.words == "batteries 7 in place of 8"
    assert step.cost.mean == pytest.approx(-10_000.0 - 40.0)


def test_nothing_to_do() -> None:
    """Where the layout is at its best as it is stated."""
    found = decide(
        with_room(batteries=7, chargers="2 x electronic_iuia", stations=1), ONE, ranges=RANGES, objective=BOUGHT
    )

    assert found["room"].counts == bought()["room"].counts
    assert found.steps == ()
    assert "Nothing changes of what is stated." in " ".join(decision_text(found).split())


# --- the best plans as a scenario ---


def test_the_written_plans_simulate_to_the_answer(tmp_path: Path) -> None:
    """Replication by replication; today's layout stands beside them as it was."""
    found, file = levers_alone(), tmp_path / "best.yaml"
    file.write_text(found.written(file), encoding="utf-8")
    again = batsim.read(file)

    assert again.layouts == found.best_scenario.layouts
    assert again.layouts["trolley"] == TODAY.layouts["trolley"]
    assert set(again.layouts) == {"trolley", "rollers", "trolley, at its best"}
    names = {"rollers": found["rollers"], "trolley, at its best": found["trolley"]}
    runs = batsim.run(again, Settings(layouts=tuple(names), workers=1))
    for name, answer in names.items():
        for measure in (DECIDING, "energy_kwh_per_day", "labour_min_per_day"):
            told = answer.told.of(("", ""), runs.replications)[measure]
            assert runs.values[name][measure].tolist() == told.tolist()


def test_a_scenario_that_is_in_no_file_is_not_written(tmp_path: Path) -> None:
    """It extends the file of the site."""
    with pytest.raises(batsim.ScenarioError, match="is not what its file says"):
        hopeless().written(tmp_path / "best.yaml")


# --- data, frames, store, workers ---


def test_json_says_everything() -> None:
    """As plain data, without a number that JSON does not know."""
    found = levers_alone()
    data = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert (data["scenario"], data["seed"], data["weeks"]) == ("Trolley or rollers (invented)", 13, 0.3)
    assert (data["cheapest"], data["ranking"], data["impossible"]) == ("rollers", ["rollers", "trolley"], {})
    assert set(data["today"]) == {"layout", "cost_per_year", "replications", "measures"}
    assert data["today"]["layout"] == "trolley"
    assert [step["step"] for step in data["steps"]] == [step.words for step in found.steps]
    assert data["doubt"]["best"] == "rollers"
    assert data["draws"] is None
    assert set(data["layouts"]["rollers"]) == {
        "layout", "met", "sure", "counts", "levers", "objective", "confidence", "targets", "cost_per_year", "currency",
        "answer", "nearest", "levels", "near_misses", "likeliest_rival", "at_ends", "plans", "runs", "given_up",
    }  # fmt: skip
    assert data["layouts"]["rollers"]["targets"] == [
        {"target": "downtime at most 20 min per truck-shift", "tested": "19.5 min"}
    ]


def test_json_of_each_plan() -> None:
    """The answer, near misses and levels in one form."""
    found = near(245, 50.0)
    room = json.loads(json.dumps(found.as_json(), allow_nan=False))

    assert (room["met"], room["nearest"]) == (True, None)
    assert room["near_misses"]
    assert room["levels"]
    for plan in (room["answer"], *room["near_misses"], *room["levels"]):
        assert set(plan) - {"target", "saves"} == {
            "counts", "levers", "cost_per_year", "verdict", "missed", "replications", "measures",
        }  # fmt: skip
        assert set(plan["measures"]) == {DECIDING}
        assert set(plan["measures"][DECIDING]) == {"mean", "low", "high", "unit"}


def test_json_of_one_replication() -> None:
    """It has no intervals."""
    found = decide(SMALL, Settings(replications=1, workers=1), ranges={"chargers": (1, 4)}, objective=YEARLY)

    assert json.loads(json.dumps(found.as_json(), allow_nan=False))["cheapest"] == "room"


def test_frames() -> None:
    """A row for each layout, and for each plan that the search looked at."""
    one, all_ = bought()["room"].frame, bought().frame

    assert list(one.columns) == [*RANGES, "levers", "cost_per_year", DECIDING, "replications", "verdict"]
    assert len(one) == bought()["room"].plans
    assert all_.iloc[0][["layout", "meets", *RANGES]].tolist() == ["room", True, 7, 2, 1]
    assert all_.iloc[0][f"{DECIDING}_low"] < all_.iloc[0][DECIDING] < all_.iloc[0][f"{DECIDING}_high"]
    assert "<table" in bought()._repr_html_()


def test_what_a_store_has_is_not_run_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second decision finds all of it, and says the same."""
    how: dict[str, Any] = {"ranges": {"chargers": (1, 4)}, "store": tmp_path / "runs.store"}
    first = decide(SMALL, ONE, **how)
    monkeypatch.setattr(Runner, "run", None)
    second = decide(SMALL, ONE, **how)

    assert (first.found, second.found) == (0, second.runs)
    assert second.as_json() == first.as_json()


def test_two_workers_find_the_same() -> None:
    """To the last digit."""
    settings, how = {"weeks": 0.1, "replications": 2}, {"ranges": RANGES, "objective": BOUGHT}
    one, two = (decide(SMALL, Settings(workers=workers, **settings), **how) for workers in (1, 2))  # type: ignore[arg-type]

    assert one.as_json() == two.as_json()


def test_progress_is_told() -> None:
    """Plan by plan."""
    told: list[str] = []
    decide(SMALL, Settings(replications=2, workers=1), ranges={"chargers": (1, 4)}, progress=told.append)

    assert re.fullmatch("room: 1 plan, [0-9]+ runs", told[0])
    assert any(re.fullmatch("room: [2-9] plans, [0-9]+ runs", line) for line in told)
