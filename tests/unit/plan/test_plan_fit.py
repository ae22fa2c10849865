"""Checks of fit, force and room: every verdict, at the limit and a hair beyond it, and what is asked."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

import batsim
from batsim.display import words
from batsim.plan.cautions import cautions
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, TO_CHECK, VERDICTS, Check, ordered
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.handling_force import push_checks
from batsim.plan.possible import impossible_layouts
from batsim.plan.room_fit import room_checks
from batsim.scenario.reading import completed_data
from batsim.scenario.site import Scenario

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
SIDE = "trucks[0].compartment"
LEAD = "batteries.lead"
PUSH = "push and pull by hand"
PALLET_TRUCK, BEAM = "equipment.hand_pallet_truck", "equipment.spreader beam"
CARRIAGE, STAND, FRAME = "equipment.battery_carriage", "equipment.roller stand", "equipment.pull-out frame"
BED = "equipment.roller bed in the truck"
BY_HAND = {f"{PALLET_TRUCK}.moved": "by_hand"}
ON_STAND = "hand pallet truck with stand and battery"
FLOOR = "load on the floor"
BARE = """\
site: {name: Nobody measured (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: trucks, count: 3, shifts: [day], battery: "v1.2 [old]", duty: {mean_power: 2 kW}}]
batteries: {"v1.2 [old]": {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts:
  rollers: {handling: side_rollers, batteries: 5, chargers: 3 x electronic_iuia}
  stands: {handling: portable_stands, batteries: 5, chargers: 3 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 5, chargers: 3 x electronic_iuia}
  in truck: {handling: in_truck, chargers: 3 x electronic_iuia}
"""
ANSWERS = {
    "battery_mass": {"from": "700 kg", "to": "900 kg"},
    "mass": "800 kg",
    "size": {"length": "900 mm", "width": "600 mm", "height": "500 mm"},
    "length": "910 mm",
    "width": "610 mm",
    "height": "560 mm",
    "floor_height": "200 mm",
    "floor": "flat",
    "base": "flat",
    "voltage": "48 V",
    "connector": "blue",
    "removal": "side",
    "maker_approves": "yes",
    "fork_depth": "700 mm",
    "stands_out": "0 mm",
    "beside_truck": "3 m",
    "takes_up": "400 mm",
    "lifting_eyes": "500 mm",
    "rated_mass": "1500 kg",
    "fork_room": "540 mm",
    "lift_from": "100 mm",
    "fork_length": "640 mm",
    "forks_over_both": "500 mm",
    "way_out": "700 mm",
    "bed": "40 mm",
    "raised": "200 mm",
    "roller_height": "240 mm",
    "hook_spacing": "500 mm",
    "hook_height": "3 m",
    "floor_load": "20 kN/m²",
    "aisle": "3 m",
    "wash": "5 m",
    "acid_proof": "yes",
}
"""What a tape measure may say, by the last key of the path."""


@cache
def surveyed(layout: str | None = None) -> Scenario:
    """The site where everything is known and fits; with one layout only it is read sooner."""
    scenario = batsim.read(FILE)
    return scenario if layout is None else scenario.with_layouts([layout])


def with_changes(changes: dict[str, Any], layout: str | None = None) -> Scenario:
    """The site with some things otherwise."""
    return batsim.changed(surveyed(layout), changes) if changes else surveyed(layout)


def checks_of(scenario: Scenario, layout: str) -> list[Check]:
    """All checks of these four modules."""
    return [
        *truck_checks(scenario, layout),
        *equipment_checks(scenario, layout),
        *push_checks(scenario, layout),
        *room_checks(scenario, layout),
    ]


def one(scenario: Scenario, layout: str, subject: str, name: str) -> Check:
    """The check of a name about a subject."""
    found = [each for each in checks_of(scenario, layout) if (each.subject, each.name) == (subject, name)]
    assert len(found) == 1, (subject, name, found)
    return found[0]


# --- at the limit and a hair beyond ---

EDGES: list[tuple[str, str, str, dict[str, Any], str, dict[str, Any], str]] = [
    ("rollers", "trucks", "battery mass", {f"{LEAD}.mass": "700 kg"}, OK, {f"{LEAD}.mass": "699.99 kg"}, FAILS),
    ("rollers", "trucks", "battery mass", {f"{LEAD}.mass": "900 kg"}, OK, {f"{LEAD}.mass": "900.01 kg"}, FAILS),
    *(
        ("stands", "trucks", f"battery {side} in the compartment", {f"{SIDE}.{side}": fits}, OK,
         {f"{SIDE}.{side}": beyond}, FAILS)
        for side, fits, beyond in (
            ("length", "900 mm", "899.99 mm"), ("length", "913 mm", "913.01 mm"), ("width", "600 mm", "599.99 mm"),
            ("width", "613 mm", "613.01 mm"),
        )
    ),
    ("stands", "trucks", "battery height in the compartment", {f"{SIDE}.height": "500 mm"}, OK,
     {f"{SIDE}.height": "499.99 mm"}, FAILS),
    ("rollers", "trucks", "voltage", {f"{SIDE}.voltage": "48 V"}, OK, {f"{SIDE}.voltage": "48.01 V"}, FAILS),
    ("rollers", "trucks", "connector", {}, OK, {f"{LEAD}.connector": "grey 160 A"}, FAILS),
    ("rollers", "trucks", "battery removal", {}, OK, {f"{SIDE}.removal": "top"}, FAILS),
    ("stands", "trucks", "battery removal", {}, OK, {f"{SIDE}.removal": "none"}, FAILS),
    ("rollers", "trucks", "rollers under the battery", {}, OK, {f"{LEAD}.base": "rollers"}, FAILS),
    ("hoist", "trucks", "rollers under the battery", {f"{LEAD}.base": "rollers"}, OK,
     {f"{LEAD}.base": "rollers", f"{SIDE}.floor": "rollers"}, FAILS),
    ("rollers", "trucks", "the truck maker's approval", {}, OK, {f"{SIDE}.maker_approves": "no"}, FAILS),
    # Stated or measured against what is computed, with 10 mm to spare: 600 mm of battery and 10 are 610.
    *(
        (layout, words(path.partition(".")[2]), name, {f"{path}.{key}": fits}, OK, {f"{path}.{key}": beyond}, FAILS)
        for layout, path, name, key, fits, beyond in (
            *(
                (layout, path, *rest)
                for layout, path in (("rollers", CARRIAGE), ("rollers", "equipment.roller bay"), ("stands", STAND))
                for rest in (
                    ("length across the truck", "length", "610 mm", "609.99 mm"),
                    ("width along the truck", "width", "910 mm", "909.99 mm"),
                    # 200 mm of floor and 40 of roller bed, within 10 mm.
                    ("roller height", "roller_height", "250 mm", "250.01 mm"),
                    ("roller height", "roller_height", "230 mm", "229.99 mm"),
                    # One that can be set between two heights.
                    ("roller height", "roller_height", {"from": "100 mm", "to": "230 mm"},
                     {"from": "100 mm", "to": "229.99 mm"}),
                )
            ),
            *(
                (layout, path, *rest)
                for layout, path in (("rollers", BED), ("stands", BED), ("hoist", FRAME), ("in truck", FRAME))
                for rest in (
                    ("length across the truck", "length", "600 mm", "600.01 mm"),
                    ("width along the truck", "width", "900 mm", "900.01 mm"),
                    # 560 mm of compartment less 500 of battery.
                    ("height under the battery", "takes_up", "50 mm", "50.01 mm"),
                )
            ),
            ("hoist", FRAME, "way out of the truck", "way_out", "610 mm", "609.99 mm"),
            # Half of 600 mm less 10.
            ("in truck", "equipment.stops for the pull-out frame", "way out of the truck", "way_out", "290 mm",
             "290.01 mm"),
            *(
                (layout, PALLET_TRUCK, *rest)
                for layout in ("stands", "hoist", "in truck")
                for rest in (
                    # Three quarters of 600 mm, and 10.
                    ("fork length", "fork_length", "460 mm", "459.99 mm"),
                    ("width over both forks", "forks_over_both", "535 mm", "535.01 mm"),
                    ("lift of the forks", "raised", "160 mm", "159.99 mm"),
                )
            ),
            ("hoist", PALLET_TRUCK, "fork length", "fork_length", "690 mm", "690.01 mm"),
            ("in truck", PALLET_TRUCK, "fork length", "fork_length", "690 mm", "690.01 mm"),
            # 200 mm of floor, 560 of compartment, 500 of battery, 400 of beam, 100 to spare.
            ("hoist", "equipment.hoist", "height of the hook", "hook_height", "1760 mm", "1759.99 mm"),
        )
    ),
    *(
        (layout, "side opening", name, {f"{SIDE}.opening.{key}": fits}, OK, {f"{SIDE}.opening.{key}": beyond}, FAILS)
        for layout, name, key, fits, beyond in (
            *(
                (layout, *rest)
                for layout in ("rollers", "stands")
                for rest in (
                    ("clear height", "height", "550 mm", "549.99 mm"),
                    # Half of 600 mm less 10.
                    ("what stands out from the open side", "stands_out", "290 mm", "290.01 mm"),
                )
            ),
            *(
                (layout, "clear length along the truck", "length", "910 mm", "909.99 mm")
                for layout in ("rollers", "stands", "hoist", "in truck")
            ),
            *((layout, "clear height", "height", "540 mm", "539.99 mm") for layout in ("hoist", "in truck")),
        )
    ),
    # 120 mm that the side stands out, 1200 of carriage or 1100 of pallet truck, and 10.
    ("rollers", "battery carriage", "clear way beside the truck", {"room.beside_truck": "1.33 m"}, OK,
     {"room.beside_truck": "1.3299 m"}, FAILS),
    *(
        (layout, "hand pallet truck", "clear way beside the truck", {"room.beside_truck": "1.23 m"}, OK,
         {"room.beside_truck": "1.2299 m"}, FAILS)
        for layout in ("stands", "hoist", "in truck")
    ),
    # The battery, and the stand or the frame that it is on.
    ("stands", "hand pallet truck", "rated mass", {f"{PALLET_TRUCK}.rated_mass": "900 kg"}, OK,
     {f"{PALLET_TRUCK}.rated_mass": "899.99 kg"}, FAILS),
    ("hoist", "hand pallet truck", "rated mass", {f"{PALLET_TRUCK}.rated_mass": "860 kg"}, OK,
     {f"{PALLET_TRUCK}.rated_mass": "859.99 kg"}, FAILS),
    ("in truck", "hand pallet truck", "rated mass", {f"{PALLET_TRUCK}.rated_mass": "860 kg"}, OK,
     {f"{PALLET_TRUCK}.rated_mass": "859.99 kg"}, FAILS),
    ("rollers", "battery carriage", "rated mass", {"equipment.battery_carriage.rated_mass": "800 kg"}, OK,
     {"equipment.battery_carriage.rated_mass": "799.99 kg"}, FAILS),
    ("hoist", "hoist", "rated mass", {"equipment.hoist.rated_mass": "850 kg"}, OK,
     {"equipment.hoist.rated_mass": "849.99 kg"}, FAILS),
    ("hoist", "spreader beam", "rated mass", {f"{BEAM}.rated_mass": "800 kg"}, OK,
     {f"{BEAM}.rated_mass": "799.99 kg"}, FAILS),
    ("hoist", "spreader beam", "distance of the hooks", {f"{LEAD}.lifting_eyes": "390 mm"}, OK,
     {f"{LEAD}.lifting_eyes": "389.99 mm"}, FAILS),
    ("hoist", "spreader beam", "distance of the hooks", {f"{LEAD}.lifting_eyes": "610 mm"}, OK,
     {f"{LEAD}.lifting_eyes": "610.01 mm"}, FAILS),
    ("hoist", "spreader beam", "insulation", {}, OK, {f"{BEAM}.insulated": "no"}, FAILS),
    # 800 kg x 9.80665 m/s2 over 0.54 m2 = 14.5284 kN/m2.
    ("stands", "battery room", FLOOR, {"room.floor_load": "14.53 kN/m²"}, OK,
     {"room.floor_load": "14.52 kN/m²"}, FAILS),
    # 6 bays of (0.9 + 0.15) m by (0.6 + 0.15 + 2.2/2) m = 11.655 m2.
    ("stands", "battery room", "floor area", {"room.length": "11.66 m", "room.width": "1 m"}, OK,
     {"room.length": "11.65 m", "room.width": "1 m"}, FAILS),
    # Pallet truck 1.1 m, battery 0.6 m, 0.5 m to spare; carriage 1.2 m; under a hoist 0.9 m of battery and 0.6 m.
    ("stands", "battery room", "aisle", {"room.aisle": "2.2 m"}, OK, {"room.aisle": "2.199 m"}, FAILS),
    ("rollers", "battery room", "aisle", {"room.aisle": "2.3 m"}, OK, {"room.aisle": "2.299 m"}, FAILS),
    ("hoist", "battery room", "aisle", {"room.aisle": "1.5 m"}, OK, {"room.aisle": "1.499 m"}, FAILS),
    ("stands", "battery room", "empty bays", {"layouts.stands.bays": 6}, OK, {"layouts.stands.bays": 5}, TO_CHECK),
    ("stands", "battery room", "floor against acid", {}, OK, {"room.acid_proof": "no"}, FAILS),
    *(
        (layout, "acid work", "way to eyewash and shower", {"room.wash": "25 ft"}, OK, {"room.wash": "25.01 ft"},
         FAILS)
        for layout in ("rollers", "in truck")
    ),
]  # fmt: skip


@pytest.mark.parametrize(("layout", "subject", "name", "at", "then", "beyond", "after"), EDGES)
def test_the_verdict_changes_exactly_at_the_limit(
    layout: str, subject: str, name: str, at: dict[str, Any], then: str, beyond: dict[str, Any], after: str
) -> None:
    """Not before it, and a hair beyond it."""
    fits, misses = (one(with_changes(each, layout), layout, subject, name) for each in (at, beyond))

    assert (fits.verdict, misses.verdict) == (then, after)
    assert (fits.cure == "", misses.cure == "") == (then == OK, misses.impossible)
    assert fits.rule
    assert misses.sentence != fits.sentence


IMPOSSIBLE: list[tuple[str, str, dict[str, Any]]] = [
    ("rollers", "battery removal", {f"{SIDE}.removal": "top"}),
    ("hoist", "battery removal", {f"{SIDE}.removal": "none"}),
    ("hoist", "rated mass", {"equipment.hoist.rated_mass": "849.9 kg"}),
    ("rollers", "rated mass", {"equipment.battery_carriage.rated_mass": "799.9 kg"}),
    ("rollers", "the truck maker's approval", {f"{SIDE}.maker_approves": "no"}),
    ("stands", "battery mass", {f"{LEAD}.mass": "900.1 kg"}),
    ("stands", "voltage", {f"{SIDE}.voltage": "80 V"}),
]


@pytest.mark.parametrize(("layout", "name", "changes"), IMPOSSIBLE)
def test_what_forbids_and_has_no_cure_makes_a_layout_impossible(
    layout: str, name: str, changes: dict[str, Any]
) -> None:
    """It is told without a simulation, with the check and what follows."""
    site = with_changes(changes, layout)

    assert impossible_layouts(surveyed(), [layout]) == {}
    assert name in impossible_layouts(site, [layout])[layout]


def test_what_can_be_cured_is_possible() -> None:
    """Ballast for a battery that is too light, another connector, a higher hoist, a stronger beam."""
    changes = {f"{LEAD}.mass": "650 kg", f"{SIDE}.connector": "grey 160 A", "equipment.hoist.hook_height": "1 m"}
    changes |= {f"{BEAM}.rated_mass": "600 kg"}
    site = with_changes(changes, "hoist")

    assert {each.name for each in checks_of(site, "hoist") if each.verdict == FAILS} == {
        "battery mass", "connector", "height of the hook", "rated mass",
    }  # fmt: skip
    assert impossible_layouts(site, ["hoist"]) == {}


@pytest.mark.parametrize("layout", ["rollers", "stands", "hoist", "in truck"])
def test_every_check_is_tried_at_its_limit(layout: str) -> None:
    """No check but the force stays untried; it has tests of its own."""
    tried = {(subject, name) for _, subject, name, *_ in EDGES}

    assert {(each.subject, each.name) for each in checks_of(surveyed(), layout) if each.name != PUSH} <= tried


@pytest.mark.parametrize("millimetres", [0.1, 0.3, 0.7, 517.3, 901.7, 1040.9])
def test_decimals_make_no_difference(millimetres: float) -> None:
    """A limit is met by the same length in metres, or less its tolerance, though neither is exact in binary."""
    changes = {f"{PALLET_TRUCK}.forks_over_both": f"{millimetres} mm",
               f"{STAND}.fork_room": f"{(millimetres + 10) / 1000.0:.9f} m",
               f"{SIDE}.floor_height": f"{millimetres} mm",
               f"{STAND}.roller_height": f"{millimetres + 50:.6f} mm"}  # fmt: skip
    scenario = with_changes(changes)

    assert one(scenario, "stands", "hand pallet truck", "width over both forks").verdict == OK
    assert one(scenario, "stands", "roller stand", "roller height").verdict == OK


# --- all of a check ---

WHOLE: list[tuple[str, dict[str, Any], Check]] = [
    (each["layout"], each["changes"], Check(**each["check"]))
    for each in yaml.safe_load((FILE.parent / "plan_checks.yaml").read_text(encoding="utf-8"))
]


@pytest.mark.parametrize(("layout", "changes", "expected"), WHOLE)
def test_a_check_says_it_all(layout: str, changes: dict[str, Any], expected: Check) -> None:
    """Value, limit, rule with its edition, what follows, and the cure."""
    assert one(with_changes(changes, layout), layout, expected.subject, expected.name) == expected


def test_every_check_is_compared_whole() -> None:
    """At least once."""
    compared = {expected.name for _, _, expected in WHOLE}
    layouts = ("rollers", "stands", "hoist", "in truck")

    assert {each.name for layout in layouts for each in checks_of(surveyed(), layout)} <= compared


# --- choices beside the limits ---


LITHIUM = {
    f"{LEAD}.chemistry": "lithium_ion",
    f"{LEAD}.watering": "none",
    f"{LEAD}.equalising": "none",
    "layouts": {
        "hoist": {"handling": "overhead_hoist", "batteries": 4, "chargers": "2 x lithium_cc_cv"},
        "in truck": {"handling": "in_truck", "chargers": "3 x lithium_cc_cv"},
    },
}


def test_the_voltage_of_lithium_needs_a_look() -> None:
    """15 cells of 3.2 V are 48 V; 14 and 16 are near enough to ask; 13 and 17 are too far."""
    verdicts = {
        cells: one(with_changes(LITHIUM | {f"{LEAD}.cells": cells}), "hoist", "trucks", "voltage").verdict
        for cells in (13, 14, 15, 16, 17)
    }

    assert verdicts == {13: FAILS, 14: TO_CHECK, 15: OK, 16: TO_CHECK, 17: FAILS}


def test_no_acid_no_wash() -> None:
    """Lithium-ion batteries ask for neither an acid-proof floor nor an eyewash, in a room or in the truck."""
    scenario = with_changes(LITHIUM)

    assert {each.name for each in room_checks(scenario, "hoist")} == {FLOOR, "floor area", "aisle", "empty bays"}
    assert list(room_checks(scenario, "in truck")) == []


@pytest.mark.parametrize(
    ("floor", "base", "rollers", "hoist"),
    [
        # A roller bed or a pull-out frame is ordered where nothing rolls.
        ("flat", "flat", OK, OK),
        # Carriage, bays and stands have rollers; a pull-out frame is not needed.
        ("flat", "rollers", FAILS, OK),
        ("rollers", "flat", OK, OK),
        ("rollers", "rollers", FAILS, FAILS),
    ],
)
def test_rollers_on_one_side_only(floor: str, base: str, rollers: str, hoist: str) -> None:
    """In the truck or under the tray."""
    scenario = with_changes({f"{SIDE}.floor": floor, f"{LEAD}.base": base})
    layouts = {"rollers": rollers, "stands": rollers, "hoist": hoist, "in truck": hoist}
    found = {layout: one(scenario, layout, "trucks", "rollers under the battery").verdict for layout in layouts}

    assert found == layouts


def test_flat_on_flat_does_not_roll() -> None:
    """Where an arrangement of the site's own brings nothing to roll on."""
    pull = {"title": "Pulled", "bay": "rack", "steps": [{"step": "pull", "by": "attendant", "time": "3 min"}],
            "needs": {"removal": "side", "rolls_onto": ["rack"]}}  # fmt: skip
    scenario = with_changes({"handling": {"pulled": pull}, "layouts.stands.handling": "pulled",
                             "layouts.stands.devices": {}})  # fmt: skip

    assert one(scenario, "stands", "trucks", "rollers under the battery") == Check(
        "trucks",
        "rollers under the battery",
        FAILS,
        "flat floor, tray with a flat base",
        "rollers either in the truck or under the tray",
        "geometry",
        "Flat on flat does not roll.",
        "fit a roller bed in the truck, or a pull-out frame under the battery",
    )


def test_a_hoist_over_a_top_exit_needs_no_pallet_truck() -> None:
    """Nor a frame to pull it out, nor an open side; with a side removal all are checked."""
    top = {each.subject for each in checks_of(with_changes({f"{SIDE}.removal": "top"}), "hoist")}
    side = {each.subject for each in checks_of(surveyed(), "hoist")}

    assert side - top == {
        "hand pallet truck",
        "hand pallet truck with frame and battery",
        "pull-out frame",
        "side opening",
    }
    assert top < side


def test_what_waters_itself_need_not_come_out() -> None:
    """In the truck, forks, frame and push are checked only where batteries are watered by hand."""
    single = with_changes({f"{LEAD}.watering": {"every": "7 charges", "by": "single_point"}})
    none = with_changes({f"{LEAD}.watering": "none"})

    for scenario in (single, none):
        assert {each.subject for each in checks_of(scenario, "in truck")} == {"trucks", "acid work"}


def test_bays_without_limit() -> None:
    """As many as there are exchanges: every check of them holds."""
    scenario = with_changes({"layouts.stands.stations": "unlimited", "layouts.stands.bays": "unlimited"})

    assert one(scenario, "stands", "battery room", "empty bays") == Check(
        "battery room",
        "empty bays",
        OK,
        "unlimited",
        "-",
        "the arrangement: each exchange begins with its empty bays free",
        "Bays are without limit in this layout.",
    )
    assert one(scenario, "stands", "battery room", "floor area").verdict == OK


def test_batteries_on_two_levels_load_the_floor_twice() -> None:
    """And take half of the area."""
    rows = {
        "stations": {"at": ["0 m", "5 m"]},
        "rows": [{"row": "A", "at": ["0 m", "0 m"], "pitch": "1 m", "levels": 2}],
    }
    scenario = with_changes({"layouts.rollers.floor": rows, "room.floor_load": "20 kN/m²"})
    load = one(scenario, "rollers", "battery room", FLOOR)

    assert (load.verdict, load.value) == (FAILS, "29.1 kN/m²")
    assert load.rule == "geometry: weight of a stack of 2 over its own area"


def test_an_aisle_for_people_is_no_aisle_for_a_hoist() -> None:
    """The battery hangs in it with its longer side, and somebody walks beside it; the bays take more area so."""
    found = one(with_changes({"room.aisle": "0.6 m"}), "hoist", "battery room", "aisle")

    assert (found.verdict, found.value, found.limit) == (FAILS, "0.60 m", "at least 1.50 m")
    assert found.rule.startswith("hanging battery + 0.6 m for who guides it: ")
    # 3 spares and one empty bay: 4 of 1.05 m by (0.75 + 1.5/2) m.
    assert one(surveyed(), "hoist", "battery room", "floor area").limit == "at least 6 m²"


@pytest.mark.parametrize(
    ("layout", "gone", "limit"),
    [("hoist", None, "at least 1.50 m"), ("hoist", f"{LEAD}.size", "more than 0.60 m"),
     ("rollers", "equipment.battery_carriage.length", "more than 0.60 m"),
     ("rollers", f"{LEAD}.size", "more than 0.60 m")],
)  # fmt: skip
def test_an_aisle_before_all_is_measured_is_only_a_lower_bound(layout: str, gone: str | None, limit: str) -> None:
    """0.60 m is what people need, before a device or a battery has room."""
    changes = {"room.aisle": None} | ({} if gone is None else {gone: None})

    assert one(with_changes(changes), layout, "battery room", "aisle").limit == limit


@pytest.mark.parametrize(
    ("layout", "name", "gone", "asked"),
    [
        ("rollers", "aisle", ["equipment.battery_carriage.length"], "measure the length of the battery carriage"),
        ("rollers", "floor area", ["equipment.battery_carriage.length"], "measure the length of the battery carriage"),
        ("rollers", "aisle", [f"{LEAD}.size"], "measure length and width of battery 'lead'"),
        ("rollers", "floor area", ["room.length"], "measure length of the room (6 m² are needed for the bays)"),
        ("rollers", "floor area", ["room.width"], "measure width of the room (6 m² are needed for the bays)"),
        ("rollers", "floor area", ["room.length", "room.width"],
         "measure length and width of the room (6 m² are needed for the bays)"),
        ("rollers", FLOOR, [f"{LEAD}.mass"], "read the mass on the plate of battery 'lead'"),
        ("rollers", FLOOR, [f"{LEAD}.size"], "measure length and width of battery 'lead'"),
    ],
)  # fmt: skip
def test_what_is_not_known_names_the_measure_that_is_missing(
    layout: str, name: str, gone: list[str], asked: str
) -> None:
    """And none that is stated."""
    assert one(with_changes(dict.fromkeys(gone)), layout, "battery room", name).ask == asked


# --- force ---

TABLES = {
    "hse_l23_men": (200.0, 100.0),
    "hse_l23_women": (150.0, 70.0),
    "ccohs": (225.0, 225.0),
    "insurers": (222.0, 178.0),
    "snook_men_90": (275.0, 186.0),
    "snook_women_90": (196.0, 98.0),
    "en_1005_3": (200.0, 200.0),
}


@pytest.mark.parametrize(("table", "limits"), TABLES.items())
def test_the_force_changes_its_verdict_at_the_limit_of_the_table(table: str, limits: tuple[float, float]) -> None:
    """On good floor 2 % of the weight of battery, stand (100 kg) and pallet truck (80 kg)."""
    base = {"standards.push": table, **BY_HAND, f"{SIDE}.battery_mass": {"from": "1 kg", "to": "5000 kg"}}
    for newtons, verdicts in ((min(limits), (OK, TO_CHECK)), (230.0, (TO_CHECK, FAILS))):
        most = newtons / (0.02 * 9.80665) - 180.0
        found = [
            one(with_changes(base | {f"{LEAD}.mass": f"{mass:.6f} kg"}, "stands"), "stands", ON_STAND, PUSH)
            for mass in (most - 0.001, most + 0.001)
        ]
        assert tuple(each.verdict for each in found) == verdicts, newtons
        assert found[0].limit == f"{limits[0]:.0f} N to start, {limits[1]:.0f} N to keep moving, one person"


def test_two_people_reach_two_thirds_of_the_sum() -> None:
    """134 N to keep moving for men: 683 kg at 2 %."""
    most = 2 * 0.67 * 100.0 / (0.02 * 9.80665) - 180.0
    for mass, verdict in ((most - 0.001, OK), (most + 0.001, TO_CHECK)):
        changes = {f"{PALLET_TRUCK}.people": 2, f"{LEAD}.mass": f"{mass:.6f} kg", **BY_HAND}
        assert one(with_changes(changes), "stands", ON_STAND, PUSH).verdict == verdict


@pytest.mark.parametrize(
    ("changes", "newtons", "of"),
    [
        ({}, 980 * 0.02 * 9.80665, "2 % on good floor"),
        ({"room.floor": "uneven"}, 980 * 0.10 * 9.80665, "10 % on uneven floor"),
        ({"room.floor": None}, 980 * 0.02 * 9.80665, "2 % on good floor, which nobody has confirmed"),
        ({f"{PALLET_TRUCK}.resistance": "1.5 %"}, 980 * 0.015 * 9.80665, "1.5 % as measured"),
        # A slope of 3 in 40 takes 3/sqrt(40^2 + 3^2) of the weight.
        ({"room.slope": "7.5 %"}, 980 * 9.80665 * (0.02 + 3 / 1609**0.5), "2 % on good floor and 7.5 % slope"),
    ],
)
def test_the_force_by_hand(changes: dict[str, Any], newtons: float, of: str) -> None:
    """Weight times resistance, and the slope."""
    found = one(with_changes(BY_HAND | changes), "stands", ON_STAND, PUSH)

    assert found.value == f"{newtons:.0f} N for 980 kg at {of}"


def test_a_slope_is_nothing_to_rollers_in_the_truck() -> None:
    """They stand level: 5 % of 800 kg."""
    scenario = with_changes({"room.slope": "10 %", f"{BED}.moved": "by_hand"})
    found = one(scenario, "stands", "battery from the truck onto the stand", PUSH)

    assert found.value == f"{800 * 0.05 * 9.80665:.0f} N for 800 kg at 5 % on rollers"


ANY_MASS = {f"{SIDE}.battery_mass": {"from": "1 kg", "to": "5000 kg"}}


@pytest.mark.parametrize("floor", ["good", "uneven"])
@pytest.mark.parametrize("slope", ["0 %", "2 %", "10 %"])
@pytest.mark.parametrize("people", [1, 2])
def test_the_battery_that_a_cure_names_is_within_the_guidance(floor: str, slope: str, people: int) -> None:
    """With little else to push; where the truck must not have one so light it is no cure, and is not named."""
    light = {f"{each}.own_mass": "0.4 kg" for each in (PALLET_TRUCK, STAND)}
    changes = {"room.floor": floor, "room.slope": slope, f"{PALLET_TRUCK}.people": people} | BY_HAND | light
    heavy = one(with_changes(changes | ANY_MASS, "stands"), "stands", ON_STAND, PUSH)
    most = float(heavy.cure.split("by hand a battery of at most ")[1].split(" kg")[0])

    lighter = with_changes(changes | ANY_MASS | {f"{LEAD}.mass": f"{most:.2f} kg"}, "stands")
    assert heavy.verdict in (TO_CHECK, FAILS)
    assert one(lighter, "stands", ON_STAND, PUSH).verdict == OK
    assert "by hand a battery" not in one(with_changes(changes, "stands"), "stands", ON_STAND, PUSH).cure


def test_nothing_is_cured_by_a_battery_of_less_than_nothing() -> None:
    """Where what moves beside the battery is too much by itself."""
    changes = ANY_MASS | BY_HAND | {f"{STAND}.own_mass": "2000 kg"}

    assert "by hand a battery" not in one(with_changes(changes), "stands", ON_STAND, PUSH).cure


@pytest.mark.parametrize(("kilograms", "offered"), [(503.0, True), (503.5, False), (800.0, False)])
def test_two_people_are_offered_only_where_they_cure(kilograms: float, offered: bool) -> None:
    """134 N to keep moving by two, at 2 %: 683 kg with pallet truck and stand."""
    changes = ANY_MASS | BY_HAND | {f"{LEAD}.mass": f"{kilograms} kg"}
    alone, both = (
        one(with_changes(changes | {f"{PALLET_TRUCK}.people": people}), "stands", ON_STAND, PUSH) for people in (1, 2)
    )

    assert alone.verdict != OK
    assert ("two people" in alone.cure) == offered == (both.verdict == OK)


def test_a_level_way_is_offered_only_where_it_cures() -> None:
    """On uneven floor 10 %; on even floor 2 % of 500 kg, 98 N."""
    changes = ANY_MASS | BY_HAND | {"room.floor": "uneven", "room.slope": "1 %"}
    light, heavy = (
        one(with_changes(changes | {f"{LEAD}.mass": mass}), "stands", ON_STAND, PUSH) for mass in ("320 kg", "340 kg")
    )
    better = with_changes(ANY_MASS | BY_HAND | {f"{LEAD}.mass": "320 kg"})

    assert "or a level way over hard, even floor" in light.cure
    assert "level way" not in heavy.cure
    assert one(better, "stands", ON_STAND, PUSH).verdict == OK


@pytest.mark.parametrize(("newtons", "word"), [(259.0, "Above"), (399.9, "Above"), (400.1, "Far above")])
def test_far_above_only_if_it_is(newtons: float, word: str) -> None:
    """From twice what one person may start on, 200 N."""
    mass = newtons / (0.02 * 9.80665) - 180.0
    check = one(with_changes(ANY_MASS | BY_HAND | {f"{LEAD}.mass": f"{mass:.6f} kg"}), "stands", ON_STAND, PUSH)

    assert check.value.startswith(f"{newtons:.0f} N for")
    assert (check.verdict, check.sentence) == (FAILS, f"{word} what one person can start, keep moving and stop.")
    figure = {"figures.'push.far_above'": "1.2"}
    stated = batsim.changed(with_changes(ANY_MASS | BY_HAND | {f"{LEAD}.mass": f"{mass:.6f} kg"}), figure)
    assert one(stated, "stands", ON_STAND, PUSH).sentence.startswith("Far above")


ALONE = "lift the discharged battery to its bay and record the exchange (a lift that nobody else watches)"


def heavy_for_one(changes: dict[str, Any], layout: str = "stands") -> list[str]:
    """Cautions about what one person should not do alone."""
    return [text for text in cautions(with_changes(changes), layout) if text.startswith("Too much for one person")]


@pytest.mark.parametrize(
    ("layout", "mass", "frame", "named"),
    [
        # 100 N for one, 134 N for two; 25 kg for one, 33.5 kg for two.
        ("stands", "300 kg", "40 kg", ""),
        ("stands", "400 kg", "40 kg", "hand pallet truck with stand and battery (114 N to push or pull)"),
        ("stands", "510 kg", "40 kg", ""),
        ("hoist", "300 kg", "25 kg", ALONE),
        (
            "hoist",
            "300 kg",
            "25.1 kg",
            f"{ALONE} and pull-out frame (25 kg to lift or carry; one person at most 25.0 kg, two 33.5 kg)",
        ),
        (
            "hoist",
            "280 kg",
            "33.6 kg",
            f"{ALONE} and pull-out frame (34 kg to lift or carry; one person at most 25.0 kg, two 33.5 kg)",
        ),
    ],
)
def test_what_needs_two_and_is_done_by_one_is_a_caution(layout: str, mass: str, frame: str, named: str) -> None:
    """To push, to lift or carry; more than two can do fails as a check."""
    changes = BY_HAND | ANY_MASS | {f"{LEAD}.mass": mass, f"{FRAME}.own_mass": frame}

    found = heavy_for_one(changes, layout)
    assert [text.partition(": ")[2].partition(". Have two")[0] for text in found] == ([named] if named else [])


def test_a_second_person_at_a_lift_ends_its_caution() -> None:
    """As the arrangement of the site may say."""
    plain = completed_data(surveyed())["handling"]
    assert isinstance(plain, dict)
    *steps, last = plain["overhead_hoist"]["steps"]
    both = {"title": "Lifted by two", "steps": [*steps, last | {"by": "2 attendants"}]}
    own = {"handling.two": plain["overhead_hoist"] | both, "layouts.hoist.handling": "two",
           "layouts.hoist.attendants": {"day": 2}, f"{FRAME}.own_mass": "20 kg"}  # fmt: skip

    assert not heavy_for_one(own | BY_HAND, "hoist")


def test_fewer_levels_where_they_are_enough() -> None:
    """A stack of two is too heavy, and one battery is not; 14.5 kN/m2 each."""
    rows = {
        "stations": {"at": ["0 m", "5 m"]},
        "rows": [{"row": "A", "at": ["0 m", "0 m"], "pitch": "1 m", "levels": 2}],
    }
    for allowed, offered in (("15 kN/m²", True), ("14 kN/m²", False)):
        scenario = with_changes({"layouts.rollers.floor": rows, "room.floor_load": allowed})
        assert ("fewer levels" in one(scenario, "rollers", "battery room", FLOOR).cure) == offered
    single = with_changes({"room.floor_load": "14 kN/m²"})
    assert one(single, "rollers", "battery room", FLOOR).cure == (
        "plates that a structural engineer sizes, or another floor"
    )


def test_no_caution_where_two_do_it_or_a_motor() -> None:
    """Two at every step that holds the pallet truck."""
    changes = BY_HAND | ANY_MASS | {f"{LEAD}.mass": "400 kg"}
    steps = [{"step": "exchange", "by": ["attendant", "driver"], "device": "hand_pallet_truck", "time": "5 min"}]
    plain = completed_data(surveyed())["handling"]
    assert isinstance(plain, dict)
    both = {"handling.two": plain["portable_stands"] | {"steps": steps}, "layouts.stands.handling": "two"}

    assert heavy_for_one(changes)
    assert not heavy_for_one(changes | {f"{PALLET_TRUCK}.moved": "powered"})
    assert not heavy_for_one(changes | both)


# --- what is not known ---

PATHS: list[tuple[str, str, str, str, str]] = [
    *(
        ("rollers", "trucks", name, f"{SIDE}.{key}", key)
        for name, key in (
            ("battery mass", "battery_mass"), ("battery length in the compartment", "length"),
            ("battery width in the compartment", "width"), ("battery height in the compartment", "height"),
            ("voltage", "voltage"), ("connector", "connector"), ("battery removal", "removal"),
            ("the truck maker's approval", "maker_approves"),
        )
    ),
    ("stands", "trucks", "rollers under the battery", f"{SIDE}.floor", "floor"),
    ("rollers", "trucks", "rollers under the battery", f"{LEAD}.base", "base"),
    ("rollers", "trucks", "battery mass", f"{LEAD}.mass", "mass"),
    ("rollers", "trucks", "battery length in the compartment", f"{LEAD}.size", "size"),
    ("rollers", "trucks", "battery height in the compartment", f"{LEAD}.size", "size"),
    ("rollers", "trucks", "connector", f"{LEAD}.connector", "connector"),
    ("hoist", "hand pallet truck", "fork length", f"{SIDE}.fork_depth", "fork_depth"),
    ("stands", "hand pallet truck", "rated mass", f"{PALLET_TRUCK}.rated_mass", "rated_mass"),
    ("stands", "hand pallet truck", "rated mass", f"{LEAD}.mass", "mass"),
    ("stands", "hand pallet truck", "fork length", f"{PALLET_TRUCK}.fork_length", "fork_length"),
    ("stands", "hand pallet truck", "fork length", f"{LEAD}.size", "size"),
    ("stands", "hand pallet truck", "width over both forks", f"{PALLET_TRUCK}.forks_over_both", "forks_over_both"),
    ("stands", "hand pallet truck", "width over both forks", f"{STAND}.fork_room", "fork_room"),
    ("stands", "hand pallet truck", "lift of the forks", f"{PALLET_TRUCK}.raised", "raised"),
    ("in truck", "hand pallet truck", "lift of the forks", f"{FRAME}.lift_from", "lift_from"),
    ("stands", "hand pallet truck", "clear way beside the truck", f"{PALLET_TRUCK}.length", "length"),
    ("rollers", "battery carriage", "clear way beside the truck", f"{SIDE}.opening.stands_out", "stands_out"),
    ("rollers", "battery carriage", "clear way beside the truck", "room.beside_truck", "beside_truck"),
    ("stands", "roller stand", "roller height", f"{SIDE}.floor_height", "floor_height"),
    ("stands", "roller stand", "roller height", f"{BED}.takes_up", "bed"),
    ("stands", "roller stand", "roller height", f"{STAND}.roller_height", "roller_height"),
    ("stands", "roller stand", "width along the truck", f"{STAND}.width", "width"),
    ("rollers", "roller bed in the truck", "length across the truck", f"{SIDE}.width", "width"),
    ("rollers", "roller bed in the truck", "width along the truck", f"{SIDE}.length", "length"),
    ("rollers", "roller bed in the truck", "height under the battery", f"{SIDE}.height", "height"),
    ("rollers", "roller bed in the truck", "height under the battery", f"{BED}.takes_up", "bed"),
    *(
        ("rollers", "side opening", name, f"{SIDE}.opening.{key}", key)
        for name, key in (
            ("clear length along the truck", "length"), ("clear height", "height"),
            ("what stands out from the open side", "stands_out"),
        )
    ),
    ("hoist", "pull-out frame", "way out of the truck", f"{FRAME}.way_out", "way_out"),
    ("hoist", "hoist", "rated mass", "equipment.hoist.rated_mass", "rated_mass"),
    ("hoist", "spreader beam", "rated mass", f"{BEAM}.rated_mass", "rated_mass"),
    ("hoist", "spreader beam", "distance of the hooks", f"{LEAD}.lifting_eyes", "lifting_eyes"),
    ("hoist", "spreader beam", "distance of the hooks", f"{BEAM}.hook_spacing", "hook_spacing"),
    *(
        ("hoist", "hoist", "height of the hook", path, path.rpartition(".")[2])
        for path in (
            f"{SIDE}.floor_height", f"{SIDE}.height", f"{LEAD}.size", f"{BEAM}.takes_up", "equipment.hoist.hook_height",
        )
    ),
    ("stands", ON_STAND, PUSH, f"{LEAD}.mass", "mass"),
    ("stands", "battery room", FLOOR, f"{LEAD}.size", "size"),
    ("stands", "battery room", FLOOR, f"{LEAD}.mass", "mass"),
    ("stands", "battery room", "load on the floor, 14.5 kN/m² asked", "room.floor_load", "floor_load"),
    ("stands", "battery room", "floor area", f"{LEAD}.size", "size"),
    ("stands", "battery room", "floor area", "room.length", "length"),
    ("stands", "battery room", "floor area", "room.width", "width"),
    ("rollers", "battery room", "floor area", "equipment.battery_carriage.length", "length"),
    ("stands", "battery room", "aisle", "room.aisle", "aisle"),
    ("hoist", "battery room", "aisle", f"{LEAD}.size", "size"),
    ("stands", "battery room", "aisle", f"{LEAD}.size", "size"),
    ("rollers", "battery room", "aisle", "equipment.battery_carriage.length", "length"),
    ("stands", "battery room", "floor against acid", "room.acid_proof", "acid_proof"),
    ("in truck", "acid work", "way to eyewash and shower", "room.wash", "wash"),
]  # fmt: skip


@pytest.mark.parametrize(("layout", "subject", "name", "path", "key"), PATHS)
def test_what_is_not_known_is_asked_where_it_is_missing(
    layout: str, subject: str, name: str, path: str, key: str
) -> None:
    """By hand when the push is asked about; with the answer there it is known."""
    changes = {path: None} | (BY_HAND if name == PUSH else {})
    found = one(with_changes(changes, layout), layout, subject, name)

    assert (found.verdict, found.value, found.path, found.cure) == (NOT_KNOWN, "-", path, "")
    assert found.ask
    assert found.changes
    assert found.sentence == f"Not known: {found.ask}."
    answered = batsim.changed(with_changes(changes, layout), {found.path: ANSWERS[key]})
    assert one(answered, layout, subject, name.partition(",")[0]).verdict != NOT_KNOWN


def test_a_question_to_the_letter() -> None:
    """What to find out, where it goes, and what it would change."""
    assert one(with_changes({f"{SIDE}.fork_depth": None}), "hoist", "hand pallet truck", "fork length") == Check(
        "hand pallet truck",
        "fork length",
        NOT_KNOWN,
        "-",
        "-",
        "geometry: 75 % of the battery's width lie on the forks, which do not meet the truck; 10 mm for each",
        "Not known: measure how far forks may go in under the battery of trucks.",
        "",
        "measure how far forks may go in under the battery of trucks",
        "trucks[0].compartment.fork_depth",
        "which pallet truck can be used: forks that are too long meet the truck before the battery stands on them",
    )


@pytest.mark.parametrize("layout", ["rollers", "stands", "hoist", "in truck"])
def test_every_question_can_be_answered_until_none_is_left(layout: str) -> None:
    """Where nobody measured anything, though the battery's name has dots and brackets in it."""
    scenario = batsim.read_scenario_text(BARE, "bare.yaml")
    asked: list[str] = []
    while open_questions := [each for each in checks_of(scenario, layout) if each.verdict == NOT_KNOWN]:
        path = open_questions[0].path
        assert path not in asked
        asked.append(path)
        scenario = batsim.changed(scenario, {path: ANSWERS[path.rpartition(".")[2]]})

    assert len(asked) > 10
    assert {each.verdict for each in checks_of(scenario, layout)} <= {OK, TO_CHECK, FAILS}


# --- figures that the site states ---


@pytest.mark.parametrize(
    ("name", "value", "layout", "subject", "check", "limit"),
    [
        ("room.aisle_width", "7.5 m", "stands", "battery room", "aisle", "at least 7.50 m"),
        ("fit.free_play", "40 mm", "stands", "trucks", "battery length in the compartment",
         "free play at most 40 mm"),
        ("wash.reach_distance_us", "3 m", "stands", "acid work", "way to eyewash and shower", "at most 3.0 m"),
        ("push.limit.hse_l23_men.start", "50 N", "stands", "hand pallet truck with stand and battery", PUSH,
         "50 N to start, 100 N to keep moving, one person"),
    ],
)  # fmt: skip
def test_a_figure_of_the_site_is_the_limit(
    name: str, value: str, layout: str, subject: str, check: str, limit: str
) -> None:
    """And whoever reads the rule sees whose figure it is."""
    scenario = batsim.changed(surveyed(), {f"figures.'{name}'": value})
    found = one(scenario, layout, subject, check)

    assert found.limit == limit
    assert found.rule.startswith("stated for this site")


# --- lists of checks ---


def test_the_gravest_first() -> None:
    """What fails, then what needs a look, then what is not known; each kind in its order."""
    found = [Check("it", str(number), verdict, "", "", "", "") for number, verdict in
             enumerate([OK, NOT_KNOWN, FAILS, TO_CHECK, FAILS, OK])]  # fmt: skip

    assert [each.name for each in ordered(found)] == ["2", "4", "3", "1", "0", "5"]
    assert VERDICTS == (FAILS, TO_CHECK, NOT_KNOWN, OK)
