"""Decisions on a site of two areas: what is counted where, what it costs, and that it is both areas put together."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

import batsim
from batsim.decision.answer import Answer
from batsim.decision.counts import ranges_of
from batsim.decision.decide import Decision, decide
from batsim.decision.space import Space
from batsim.decision.trials import BOUGHT, DECIDING
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.levers import WITHOUT_ATTENDANTS
from batsim.study.running.counts import Counted, Counts, counts_of, with_counts
from batsim.views.charts.frontier_chart import RING_PT, frontier_chart
from batsim.views.text.decision_text import decision_text

TEXT = (
    (Path(__file__).parents[1] / "cases" / "two_areas.yaml")
    .read_text(encoding="utf-8")
    .replace("law: exponential", "cv: 0.1, law: gamma")
)
"""Two rooms that share nothing, with times that hardly vary, so that a few replications tell plans apart."""
SITE = batsim.read_scenario_text(TEXT)
ONE = Settings(workers=1)
AREAS = "layouts.rooms.areas"
NORTH = {"batteries of north": (5, 8), "chargers of north": (1, 4)}
SOUTH = {"batteries of south": (4, 7), "stations of south": (1, 2)}
RANGES = NORTH | SOUTH


def only(area: str, group: str, battery: str) -> Scenario:
    """The site with one of its areas."""
    site = yaml.safe_load(TEXT)
    site["trucks"] = [each for each in site["trucks"] if each["group"] == group]
    for among, name in (
        (site["batteries"], battery),
        (site["prices"]["battery"], battery),
        (site["layouts"]["rooms"]["areas"], area),
        (site["targets"]["groups"], group),
    ):
        for other in set(among) - {name}:
            del among[other]
    return batsim.read_scenario_text(yaml.safe_dump(site, sort_keys=False, width=200))


def decided(scenario: Scenario, ranges: dict[str, tuple[int, int]], **how: Any) -> Answer:
    """The answer for the only layout, by what is bought."""
    (answer,) = decide(scenario, ONE, ranges=ranges, **{"objective": BOUGHT, **how}).answers
    return answer


@cache
def found() -> Answer:
    """Of both areas."""
    return decided(SITE, RANGES)


# --- both areas put together ---


def test_the_answer_is_that_of_both_areas_put_together() -> None:
    """Counts, cost and downtime are those that each area has as a site of its own."""
    north = decided(only("north", "reach", "plain"), NORTH)
    south = decided(only("south", "tow", "small"), SOUTH)

    assert found().counts == north.counts | south.counts
    assert found().counts == {
        "batteries of north": 6, "chargers of north": 2, "batteries of south": 5, "stations of south": 1,
    }  # fmt: skip
    assert found().cost_per_year == pytest.approx(north.cost_per_year + south.cost_per_year)
    for group, each in (("reach", north), ("tow", south)):
        mine, theirs = (trial.of(("", group), 4)[DECIDING] for trial in (found().told, each.told))
        assert np.array_equal(mine, theirs)


def test_it_turns_with_the_target_of_a_group() -> None:
    """Less is wanted of the south, and nothing else changes."""
    less = decided(batsim.changed(SITE, {"targets.groups.tow.downtime_per_truck_shift": "at most 560 min"}), RANGES)

    assert less.counts == found().counts | {"batteries of south": 4}


def test_out_of_reach_in_one_area_is_told_of_that_area() -> None:
    """Only its target is missed."""
    hopeless = batsim.changed(SITE, {"targets.groups.tow.downtime_per_truck_shift": "at most 100 min"})
    answer = decided(hopeless, SOUTH)

    assert answer.chosen is None
    assert [limit.label for limit in answer.missed(answer.told)] == ["downtime of tow"]
    text = " ".join(decision_text(Decision(answer.schedule, (answer,), objective=BOUGHT)).split())
    assert "reach: downtime at most 250 min per truck-shift: meets, " in text
    assert "tow: downtime at most 100 min per truck-shift: missed, " in text


def test_the_text_says_where() -> None:
    """Counts with their area, downtime by group, and how each area is handled."""
    decision = Decision(found().schedule, (found(),), objective=BOUGHT)
    text = " ".join(decision_text(decision).split())

    assert "'rooms' (north: By hand; south: By hand) meets the targets at the least cost" in text
    assert (
        "rooms: batteries of north 6 (8); chargers of north 2 (4); batteries of south 5 (6); stations of south 1 (2)"
        in text
    )
    assert [line.split()[0] for line in decision_text(decision).splitlines() if "±" in line] == [
        "downtime,", "reach", "tow",
    ]  # fmt: skip
    assert found().frame.columns[:4].tolist() == list(RANGES)
    assert found().as_json()["counts"] == found().counts


def test_the_chart_is_of_one_target() -> None:
    """That of a group, across its downtime."""
    (ax,) = frontier_chart(found(), target="downtime of tow").axes

    assert ax.get_title(loc="left") == "downtime of tow"
    (ring,) = (line for line in ax.get_lines() if line.get_markersize() == RING_PT)
    searched = found().searched[found().point]
    assert ring.get_xdata()[0] == pytest.approx(searched.of(("", "tow"))[DECIDING].mean())


def test_who_exchanges_is_chosen_area_by_area() -> None:
    """Drivers of one, of the other, or of all; here no attendants pay, and that is all there is to do."""
    site = shared(1)
    decision = decide(site, Settings(replications=2, workers=1), fix=["counts", "charging", "exchange_when"])
    answer = decision["rooms"]

    assert [[lever.label(site) for way in choice.options for lever in way] for choice in answer.space.choices] == [
        ["let drivers of 'north' exchange in shift 'all day'"],
        ["let drivers of 'south' exchange in shift 'all day'"],
        ["do without attendants: drivers do it all"],
    ]
    assert [lever.kind for lever in answer.levers] == [WITHOUT_ATTENDANTS]
    assert [step.words for step in decision.steps] == ["do without attendants: drivers do it all"]


# --- what may be chosen ---


def shared(attendants: int = 2, **areas: int) -> Scenario:
    """The site with attendants whom both areas share, or who belong to one."""
    changes: dict[str, object] = {
        "layouts.rooms.attendants": {"all day": attendants},
        f"{AREAS}.north.attendants": None,
        f"{AREAS}.south.attendants": None,
    }
    own = {f"{AREAS}.{area}.attendants": {"all day": number} for area, number in areas.items()}
    return batsim.changed(SITE, changes | own)


def test_what_may_be_chosen_is_named_with_its_area() -> None:
    """Attendants whom both areas share have none."""
    assert [each.name for each in ranges_of(SITE, "rooms", {})] == [
        "batteries of north", "chargers of north", "stations of north",
        "batteries of south", "chargers of south", "stations of south",
    ]  # fmt: skip
    assert [each.name for each in ranges_of(shared(south=1), "rooms", {})][-2:] == [
        "attendants all day of south",
        "attendants all day",
    ]


def test_a_device_belongs_to_the_stations_of_its_area() -> None:
    """A cart for each truck of the south at most; stations and carts of an area grow together."""
    carts = batsim.changed(SITE, {f"{AREAS}.south.handling": "cart"})
    space = Space(carts, "rooms", ranges_of(carts, "rooms", {}))
    names = [each.name for each in space.ranges]
    cart, stations = (names.index(name) for name in ("hand_cart of south", "stations of south"))

    assert (space.ranges[cart].label, space.ranges[cart].low, space.ranges[cart].high) == ("hand cart of south", 1, 3)
    assert {cart: 1, stations: 1} in space.counting


def test_in_the_truck_chargers_of_the_area_are_chosen() -> None:
    """Up to one for each of its trucks."""
    plugged_in = batsim.changed(
        SITE, {f"{AREAS}.south": {"for": ["tow"], "handling": "in_truck", "chargers": "3 x electronic_iuia"}}
    )

    (*_, last) = ranges_of(plugged_in, "rooms", {})
    assert (last.name, last.low, last.high, last.stated) == ("chargers of south", 1, 3, 3)


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        (
            "stations",
            "no count of this name in layout 'rooms'; say of which area: stations of north, stations of south",
        ),
        ("stations of soth", "no count of this name in layout 'rooms'; did you mean 'stations of south'?"),
        (
            "hoist",
            "no count of this name in layout 'rooms'; known: batteries of north, chargers of north, stations of north, "
            "batteries of south, chargers of south, stations of south",
        ),
    ],
)
def test_a_range_of_nothing(name: str, rule: str) -> None:
    """With what may be meant."""
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SITE, ranges={name: (1, 2)})

    assert str(caught.value) == f"scenario.yaml: 1 problem\n  scenario.yaml: range {name}: {rule}"


# --- counts ---


def test_counts_are_those_of_each_area() -> None:
    """And attendants those of an area or of all."""
    site = shared(3, south=1)
    numbers = counts_of(site, "rooms")

    assert {counted: number for counted, number in numbers.items() if counted.kind in ("attendants", "stations")} == {
        Counted("stations", area="north"): 2.0,
        Counted("stations", area="south"): 2.0,
        Counted("attendants", "all day", area="south"): 1.0,
        Counted("attendants", "all day"): 3.0,
    }
    assert numbers[Counted("batteries", "plain", area="north")] == 8.0
    assert numbers[Counted("batteries", "small", area="south")] == 6.0


def test_counts_are_changed_where_they_are() -> None:
    """All else stays; bays follow from stations."""
    site = shared(3, south=1)
    numbers = {
        Counted("stations", area="north"): 4.0,
        Counted("chargers", "electronic_iuia", area="south"): 5.0,
        Counted("attendants", "all day"): 2.0,
        Counted("attendants", "all day", area="south"): 4.0,
    }
    changed = with_counts(site, Counts("rooms", tuple(numbers.items())))

    assert counts_of(changed, "rooms") == counts_of(site, "rooms") | numbers | {
        Counted("bays", area="north"): counts_of(site, "rooms")[Counted("bays", area="north")] + 2.0
    }


def test_what_is_owned_is_there_for_all_areas() -> None:
    """Five chargers are there, seven are needed; one of three stations in each area is bought. By hand."""
    owned = batsim.changed(SITE, {"layouts.rooms.owned": {"electronic_iuia": 5, "stations": 3}})
    space = Space(owned, "rooms", ranges_of(owned, "rooms", RANGES))
    lines = {line.unit.thing: line for line in cost_lines(owned, "rooms", UnitCosts(owned, "rooms")) if line.owned}

    assert {thing: (line.number, line.per_year) for thing, line in lines.items()} == {
        "charger": (7.0, pytest.approx(2 * 200.0)),
        "station": (4.0, pytest.approx(100.0)),
    }
    prices = {"plain": 1000.0, "small": 800.0, "bay": 40.0}
    for north, chargers, south, stations in ((6, 4, 5, 1), (7, 2, 6, 2), (8, 3, 7, 1)):
        bought = {
            "plain": north, "small": south, "bay": north - 4 + 2 + south - 3 + stations,
        }  # fmt: skip
        by_hand = sum(prices[name] * number for name, number in bought.items())
        by_hand += 200.0 * max(0, chargers + 3 - 5) + 100.0 * max(0, 2 + stations - 3)
        made = space.made((north, chargers, south, stations))
        assert sum(line.per_year for line in space.cost_lines(made)) == pytest.approx(by_hand)


# --- shared attendants ---


def test_attendants_whom_areas_share_are_decided_for_both() -> None:
    """As few as are enough for both areas: by simulation of one and two of them."""
    site, ranges = shared(3), {"attendants": (1, 3)}
    space = Space(site, "rooms", ranges_of(site, "rooms", ranges))
    downtimes = [
        batsim.run(space.made((number,)), Settings(replications=4, workers=1)).interval("rooms", DECIDING).mean
        for number in (1, 2)
    ]
    assert downtimes[0] > downtimes[1] + 10.0

    for most, number in ((sum(downtimes) / 2.0, 2), (downtimes[0] + 20.0, 1)):
        target = {"targets": {"downtime_per_truck_shift": f"at most {most:.1f} min"}}
        answer = decided(batsim.changed(site, target), ranges, indifference={"downtime": 2.0})
        assert answer.counts == {"attendants all day": number}
