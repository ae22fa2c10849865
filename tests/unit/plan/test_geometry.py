"""Dimensions computed from measures, for trucks of several kinds, and conversions, against work by hand."""

import csv
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import batsim
import batsim.plan
from batsim.catalogue import handling_names
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, Check
from batsim.plan.conversion import PartChange, conversion
from batsim.plan.equipment import equipment_list
from batsim.plan.fit_equipment import equipment_checks
from batsim.scenario.parts.needs import DIMENSIONS
from batsim.scenario.reading import stated_data
from batsim.scenario.site import Scenario

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
PLAN = Path(batsim.plan.__file__).parent
SIDE = "trucks[0].compartment"


@cache
def surveyed() -> Scenario:
    """Three trucks and their batteries of 900 by 600 by 500 mm, all measured."""
    return batsim.read(FILE)


def two_kinds() -> Scenario:
    """The same with two trucks more whose battery is 200 mm shorter, 100 mm higher, and stands 60 mm higher."""
    data = stated_data(surveyed())
    assert isinstance(data["trucks"], list)
    compartment = {"length": "710 mm", "width": "610 mm", "height": "690 mm", "floor": "rollers", "removal": "side",
                   "floor_height": "300 mm"}  # fmt: skip
    low = {"group": "low", "count": 2, "shifts": ["day"], "battery": "short", "duty": {"mean_power": "1 kW"},
           "compartment": compartment}  # fmt: skip
    short = {"from": "vented_lead_acid", "cells": 24, "capacity": "400 Ah at 5 h",
             "size": {"length": "700 mm", "width": "600 mm", "height": "600 mm"}, "base": "flat"}  # fmt: skip
    rollers = {"handling": "side_rollers", "batteries": {"lead": 5, "short": 3}, "chargers": "4 x electronic_iuia"}
    changes = {"trucks": [*data["trucks"], low], "batteries.short": short, "layouts": {"rollers": rollers}}
    return batsim.changed(surveyed(), changes)


def sizes(scenario: Scenario, layout: str) -> dict[str, str]:
    """Sizes of the equipment list by item; of several lines of one item, that of the first."""
    return {line.item: line.size for line in reversed(equipment_list(scenario, layout, ()))}


def checks_of(scenario: Scenario, layout: str) -> dict[tuple[str, str], list[Check]]:
    """Checks of equipment by subject and name."""
    found: dict[tuple[str, str], list[Check]] = {}
    for check in equipment_checks(scenario, layout):
        found.setdefault((check.subject, check.name), []).append(check)
    return found


def rows(table: str) -> list[dict[str, str]]:
    """Rows of a table of the plan."""
    with (PLAN / table).open(newline="", encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


# --- the tables ---


def test_a_scenario_may_ask_for_every_dimension_of_the_table() -> None:
    """And for no other; each is asked for by an arrangement that ships, with a tolerance."""
    shipped = [surveyed().handling[name].needs for name in handling_names()]
    asked = {key for needs in shipped for keys in needs.dimensions.values() for key in keys}

    assert [row["dimension"] for row in rows("dimensions.csv")] == list(DIMENSIONS)
    assert asked == set(DIMENSIONS)
    for row in rows("dimensions.csv"):
        assert surveyed().figures[row["tolerance"]].unit == "mm"
        assert bool(row["too_small"]) == bool(row["least"])
        assert bool(row["too_large"]) == bool(row["most"])


def test_every_measure_of_a_term_can_be_asked_for() -> None:
    """By its whole name on site, by its last word where it is of equipment; and nothing else is in the table."""
    terms = [factor for row in rows("dimensions.csv") for end in ("least", "most", "stated")
             for factor in row[end].replace(" - ", " + ").replace(" * ", " + ").split(" + ")
             if factor and not factor.startswith("fit.") and factor != "0.5"]  # fmt: skip
    equipment = ("this.", "rolls_on.", "forks_under.", "beam.")
    asked = {term.partition(".")[2] if term.startswith(equipment) else term for term in terms}

    assert asked == {row["measure"] for row in rows("measures_asked.csv")}


@pytest.mark.parametrize("name", handling_names())
def test_no_arrangement_that_ships_states_a_length(name: str) -> None:
    """All lengths come from the survey."""
    stated = {key for size in surveyed().handling[name].needs.sizes.values() for key in size.model_fields_set}

    assert not [key for key in stated if key.endswith("_mm")]


# --- computed ---


def test_each_kind_of_truck_has_its_own_parts() -> None:
    """610 and 910 mm for a battery of 600 by 900; 710 mm for one of 700; rollers at 200 and 40 of bed, and at 300."""
    found = sizes(two_kinds(), "rollers")

    assert found["roller bay"] == (
        "length across the truck at least 610 mm, width along the truck at least 910 mm, roller height 240 mm ± 10 mm "
        "(trucks); "
        "length across the truck at least 610 mm, width along the truck at least 710 mm, roller height 300 mm ± 10 mm "
        "(low)"
    )
    # Those on rollers need no bed.
    assert found["roller bed in the truck"] == (
        "length across the truck at most 600 mm, width along the truck at most 900 mm, "
        "height under the battery at most 50 mm"
    )
    heights = checks_of(two_kinds(), "rollers")["battery carriage", "roller height"]
    assert [(check.limit, check.verdict) for check in heights] == [("240 mm ± 10 mm", OK), ("300 mm ± 10 mm", FAILS)]


@pytest.mark.parametrize(
    ("figure", "value", "layout", "item", "size"),
    [
        ("fit.clearance", "25 mm", "in truck", "stops for the pull-out frame", "way out of the truck at most 275 mm"),
        ("fit.level_tolerance", "3 mm", "rollers", "roller bay",
         "length across the truck at least 610 mm, width along the truck at least 910 mm, roller height 240 mm ± 3 mm"),
        ("fit.tray_tolerance", "2 mm", "hoist", "spreader beam",
         "distance of the hooks 500 mm ± 2 mm, rated for at least 800 kg"),
        ("fit.lift_clearance", "150 mm", "hoist", "hoist",
         "height of the hook at least 1,810 mm, rated for at least 850 kg"),
        ("fit.carried_share", "100 %", "stands", "hand pallet truck",
         "fork length at least 610 mm, width over both forks at most 535 mm, lift of the forks at least 160 mm, "
         "rated for at least 900 kg, powered"),
    ],
)  # fmt: skip
def test_a_tolerance_of_the_site_moves_what_is_ordered(
    figure: str, value: str, layout: str, item: str, size: str
) -> None:
    """Nothing is fixed."""
    assert sizes(batsim.changed(surveyed(), {f"figures.'{figure}'": value}), layout)[item] == size


@pytest.mark.parametrize(
    ("measure", "missing", "layout", "subject", "name"),
    [
        (f"{SIDE}.height", "measure the height of the compartment of trucks", "rollers", "roller bed in the truck",
         "height under the battery"),
        (f"{SIDE}.opening.stands_out", "measure how far the opened side of trucks stands out", "rollers",
         "battery carriage", "clear way beside the truck"),
        ("equipment.battery_carriage.length", "measure the length of the battery carriage", "rollers",
         "battery carriage", "clear way beside the truck"),
        ("room.beside_truck", "measure the clear way beside a truck at its exchange station", "in truck",
         "hand pallet truck", "clear way beside the truck"),
        ("batteries.lead.lifting_eyes", "measure the distance between the lifting eyes of battery 'lead'", "hoist",
         "spreader beam", "distance of the hooks"),
    ],
)  # fmt: skip
def test_what_is_not_known_has_the_name_of_the_measure(
    measure: str, missing: str, layout: str, subject: str, name: str
) -> None:
    """That which is missing, not another that is there."""
    (check,) = checks_of(batsim.changed(surveyed(), {measure: None}), layout)[subject, name]

    assert (check.verdict, check.ask) == (NOT_KNOWN, missing)


@pytest.mark.parametrize(
    ("changes", "verdict", "value"),
    [
        ({}, OK, "still to be ordered"),
        # What the survey has begun to measure, or what is owned, can be measured.
        ({"equipment.spreader beam": {"rated_mass": "1 t"}}, NOT_KNOWN, "-"),
        ({"layouts.hoist.owned": {"spreader beam": 1}}, NOT_KNOWN, "-"),
    ],
)
def test_what_is_still_to_be_ordered_is_no_question(changes: dict[str, Any], verdict: str, value: str) -> None:
    """It is ordered as the limit says."""
    stated = stated_data(surveyed())["equipment"]
    assert isinstance(stated, dict)
    rest = {name: sizes_of for name, sizes_of in stated.items() if name != "spreader beam"}
    scenario = batsim.changed(batsim.changed(surveyed(), {"equipment": rest}), changes)
    (check,) = checks_of(scenario, "hoist")["spreader beam", "distance of the hooks"]

    assert (check.verdict, check.value, check.limit) == (verdict, value, "500 mm ± 10 mm")


def test_where_no_size_fits() -> None:
    """470 mm of compartment less 500 of battery leave nothing for a frame; 400 mm of way are too short for forks."""
    low, shallow = ({f"{SIDE}.{key}": value} for key, value in (("height", "470 mm"), ("fork_depth", "400 mm")))
    (frame,) = checks_of(batsim.changed(surveyed(), low), "hoist")["pull-out frame", "height under the battery"]
    (forks,) = checks_of(batsim.changed(surveyed(), shallow), "hoist")["hand pallet truck", "fork length"]

    assert (frame.verdict, frame.limit) == (FAILS, "at most -40 mm")
    assert (forks.verdict, forks.limit) == (FAILS, "at least 460 mm and at most 390 mm")
    assert {frame.cure, forks.cure} == {"choose another battery, another truck or another arrangement"}


def test_without_a_part_to_roll_on_the_floor_of_the_truck_counts() -> None:
    """An arrangement of the site's own that brings none: 200 mm of floor, and nothing more."""
    pulled: dict[str, Any] = {
        "title": "Pulled", "bay": "shelf", "steps": [{"step": "pull", "by": "attendant", "time": "3 min"}],
        "needs": {"rolls_onto": ["shelf"], "dimensions": {"shelf": ["roller_height"]}},
    }  # fmt: skip
    layout = {"handling": "pulled", "batteries": 5, "chargers": "3 x electronic_iuia"}
    changes = {"handling": {"pulled": pulled}, "layouts.pulled": layout, "equipment.shelf": {"roller_height": "211 mm"}}
    (check,) = checks_of(batsim.changed(surveyed(), changes), "pulled")["shelf", "roller height"]

    assert (check.verdict, check.limit) == (FAILS, "200 mm ± 10 mm")


# --- conversion ---


def test_a_conversion_by_hand() -> None:
    """From charging in three trucks to seven batteries on stands: what comes, what goes, what stays in another size.

    Pallet trucks no longer go into the truck; the side must let the battery pass on a roller bed of 40 mm in place of a
    frame of 30, and let a stand come near.
    """
    found = conversion(*(equipment_list(surveyed(), layout, ()) for layout in ("in truck", "stands")))

    assert {(change.item, change.before, change.after, change.other_size) for change in found} == {
        ("hand pallet truck", 1, 2, True),
        ("roller stand", 0, 6, False),
        ("securing device that the makers approve", 0, 2, False),
        ("roller bed in the truck", 0, 3, False),
        ("side opening", 3, 3, True),
        ("battery lock", 0, 3, False),
        ("pull-out frame", 3, 0, False),
        ("stops for the pull-out frame", 6, 0, False),
    }


@pytest.mark.parametrize("before", ["rollers", "stands", "hoist", "in truck"])
@pytest.mark.parametrize("after", ["rollers", "stands", "hoist", "in truck"])
def test_a_conversion_is_undone_by_its_opposite(before: str, after: str) -> None:
    """Part by part; from a layout to itself nothing changes."""
    lists = [equipment_list(surveyed(), layout, ()) for layout in (before, after)]
    there = {change.item: (change.before, change.after) for change in conversion(*lists)}
    back = {change.item: (change.after, change.before) for change in conversion(*reversed(lists))}

    assert there == back
    assert bool(there) == (before != after)


def test_a_conversion_counts_what_the_sites_own_arrangement_names() -> None:
    """Computed from the two lists: nothing is written for a pair of arrangements."""
    own: dict[str, Any] = {
        "title": "Winch", "bay": "shelf", "steps": [{"step": "exchange", "by": "attendant", "time": "6 min"}],
        "needs": {"parts": [{"part": "winch", "for_each": "station"}, {"part": "battery lock", "for_each": "truck"}]},
    }  # fmt: skip
    layout = {"handling": "winch", "stations": 2, "batteries": 5, "chargers": "3 x electronic_iuia"}
    scenario = batsim.changed(surveyed(), {"handling": {"winch": own}, "layouts.winch": layout})
    found = conversion(*(equipment_list(scenario, name, ()) for name in ("stands", "winch")))
    changed = {change.item: change for change in found}

    assert changed["winch"] == PartChange("winch", 0, 2, "", "")
    assert changed["shelf"] == PartChange("shelf", 0, 4, "", "")
    assert changed["roller bed in the truck"].after == 0
    assert "battery lock" not in changed
