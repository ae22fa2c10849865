"""Decisions on a site of two areas: what is counted where, what it costs, and that it is both areas put together."""

from pathlib import Path

import numpy as np
import pytest
import yaml

import batsim
from batsim.decision.answer import DECIDING
from batsim.decision.counts import Grid, ranges_of
from batsim.decision.decide import decide
from batsim.scenario.settings import Settings
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.running.counts import Counted, Counts, counts_of, with_counts
from batsim.views.charts.frontier_chart import frontier_chart
from batsim.views.text.decision_text import decision_text

TEXT = (Path(__file__).parents[1] / "cases" / "two_areas.yaml").read_text(encoding="utf-8")
SITE = batsim.read_scenario_text(TEXT)
AREAS = "layouts.rooms.areas"
NORTH = {"batteries of north": (6, 8), "chargers of north": (2, 4)}
SOUTH = {"batteries of south": (5, 7), "stations of south": (1, 2)}
RANGES = NORTH | SOUTH
QUICK = {"indifference": {"downtime": 60.0}, "same_cost": 0.0}


def only(area, group, battery):
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


def decided(scenario, ranges=RANGES, **how):
    """The answer for the only layout."""
    (answer,) = decide(scenario, Settings(workers=1), ranges=ranges, **(QUICK | how)).answers
    return answer


@pytest.fixture(scope="module")
def found():
    return decided(SITE)


@pytest.fixture(scope="module")
def alone():
    """Of each area as a site of its own."""
    north, south = only("north", "reach", "plain"), only("south", "tow", "small")
    return [decided(north, NORTH), decided(south, SOUTH)]


# --- both areas put together ---


def test_the_answer_is_that_of_both_areas_put_together(found, alone):
    north, south = alone

    assert found.counts == north.counts | south.counts
    assert found.chosen is not None
    assert found.cost_per_year == pytest.approx(north.cost_per_year + south.cost_per_year)
    assert len(found.tested) <= len(north.tested) + len(south.tested)
    for group, each in (("reach", north), ("tow", south)):
        mine, theirs = found.chosen.of(("", group)), each.chosen.of(("", group))
        assert np.array_equal(mine[DECIDING][:4], theirs[DECIDING][:4])


def test_it_turns_with_the_target_of_a_group(found):
    """Less is wanted of the south, and nothing else changes."""
    targets = {"targets.groups": {"reach": {"downtime_per_truck_shift": "at most 250 min"},
                                  "tow": {"downtime_per_truck_shift": "at most 400 min"}}}  # fmt: skip
    less = decided(batsim.changed(SITE, targets))

    assert {name: less.counts[name] for name in NORTH} == {name: found.counts[name] for name in NORTH}
    assert less.counts["batteries of south"] < found.counts["batteries of south"]


def test_the_text_says_where(found):
    text = " ".join(decision_text(batsim.Decision(found.schedule, (found,))).split())

    assert "rooms (north: By hand; south: By hand)" in text
    assert f"batteries of south {found.counts['batteries of south']} 6" in text
    assert "no combination that differs in one area alone and is cheaper by more than 0 % meets them" in text
    assert "batteries of north downtime per truck-shift" in text
    assert found.frame.columns[:4].tolist() == list(RANGES)
    assert found.as_json()["counts"] == found.counts


def test_the_chart_of_the_frontier_says_where(found):
    ax = frontier_chart(found)

    assert ax.get_xlabel().startswith("Batteries of north, and cost")
    assert f"stations of south\N{NO-BREAK SPACE}{found.counts['stations of south']}" in ax.get_title(
        loc="left"
    ) + "".join(each.get_text() for each in ax.texts)


# --- what may be chosen ---


def shared(attendants=2, **areas):
    """The site with attendants whom both areas share, or who belong to one."""
    changes = {"layouts.rooms.attendants": {"all day": attendants}, f"{AREAS}.north.attendants": None,
               f"{AREAS}.south.attendants": None}  # fmt: skip
    return batsim.changed(
        SITE, changes | {f"{AREAS}.{area}.attendants": {"all day": number} for area, number in areas.items()}
    )


def test_what_may_be_chosen_is_named_with_its_area():
    assert [each.name for each in ranges_of(SITE, "rooms", {})] == [
        "batteries of north", "chargers of north", "stations of north",
        "batteries of south", "chargers of south", "stations of south",
    ]  # fmt: skip
    assert [each.name for each in ranges_of(shared(south=1), "rooms", {})][-2:] == ["attendants of south", "attendants"]


def test_a_device_belongs_to_the_stations_of_its_area():
    """A cart for each station of the south at most, however many stations the north has."""
    carts = batsim.changed(SITE, {f"{AREAS}.south.handling": "cart"})
    chosen = {"stations of north": (1, 3), "stations of south": (1, 2), "hand_cart of south": (1, 3)}
    grid = Grid(carts, "rooms", ranges_of(carts, "rooms", chosen))

    assert grid.ranges[2].label == "hand cart of south"
    assert grid.around(grid.blocks[1], grid.greatest).tolist() == [[3, 1, 1], [3, 2, 1], [3, 2, 2]]
    assert (grid.greatest, grid.size) == ((3, 2, 2), 9)


def test_in_the_truck_chargers_of_the_area_are_chosen():
    plugged_in = batsim.changed(
        SITE, {f"{AREAS}.south": {"for": ["tow"], "handling": "in_truck", "chargers": "3 x electronic_iuia"}}
    )

    (*_, last) = ranges_of(plugged_in, "rooms", {})
    assert (last.name, last.values, last.stated) == ("chargers of south", (1, 2, 3), 3)


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
def test_a_range_of_nothing(name, rule):
    with pytest.raises(batsim.ScenarioError) as caught:
        decide(SITE, ranges={name: (1, 2)})

    assert str(caught.value) == f"scenario.yaml: 1 problem\n  scenario.yaml: range {name}: {rule}"


# --- counts ---


def test_counts_are_those_of_each_area():
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


def test_counts_are_changed_where_they_are():
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


def test_what_is_owned_is_there_for_all_areas():
    """Five chargers are there, seven are needed; one of three stations in each area is bought. By hand."""
    owned = batsim.changed(SITE, {"layouts.rooms.owned": {"electronic_iuia": 5, "stations": 3}})
    grid = Grid(owned, "rooms", ranges_of(owned, "rooms", RANGES))
    lines = {line.unit.thing: line for line in cost_lines(owned, "rooms", UnitCosts(owned, "rooms")) if line.owned}

    assert {thing: (line.number, line.per_year) for thing, line in lines.items()} == {
        "charger": (7.0, pytest.approx(2 * 200.0)),
        "station": (4.0, pytest.approx(100.0)),
    }
    for counts in ((6, 4, 5, 1), (7, 2, 6, 2), (8, 3, 7, 1)):
        changed = with_counts(owned, grid.counts(counts))
        total = sum(line.per_year for line in cost_lines(changed, "rooms", grid.units))
        assert grid.costs_of(np.array([counts]))[0] == pytest.approx(total)


# --- shared attendants ---


def test_attendants_whom_areas_share_are_decided_for_both():
    """As few as are enough for both areas: by simulation of one, two and three of them."""
    site = shared(3)
    ranges = {"attendants": (1, 3)}
    grid = Grid(site, "rooms", ranges_of(site, "rooms", ranges))
    downtime = []
    for number in (1, 2):
        changed = with_counts(site, grid.counts((number,)))
        runs = batsim.run(changed, Settings(replications=4, workers=1))
        downtime.append(runs.interval("rooms", DECIDING).mean)
    assert downtime[0] > downtime[1] + 20.0

    for most, number in ((sum(downtime) / 2.0, 2), (downtime[0] + 20.0, 1)):
        target = {"targets": {"downtime_per_truck_shift": f"at most {most:.0f} min"}}
        answer = decided(batsim.changed(site, target), ranges, indifference={"downtime": 10.0})
        assert answer.counts == {"attendants": number}
