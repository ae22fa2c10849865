"""Equipment lists: counts by rule against counts by hand, what is owned, and the reason of every line."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.plan.checks import FAILS, NOT_KNOWN, Check
from batsim.plan.equipment import equipment_list
from batsim.plan.equipment_line import SECTIONS, EquipmentLine
from batsim.plan.room_fit import room_checks
from batsim.scenario.reading import completed_data, stated_data
from batsim.scenario.site import Scenario
from tests.sites import FROSTHOLM

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
LEAD = "batteries.lead"
ALWAYS = {"water cart": 1, "spill kit": 1}
STANDBY = "standby method (stand with hand pallet truck)"
BED, FRAME, OPENING = "roller bed in the truck", "pull-out frame", "side opening"
SECURING = "securing device that the makers approve"
TUGGER: dict[str, Any] = {
    "title": "Tugger with a two-battery trailer",
    "bay": "rack",
    "empty_bays": 2,
    "devices": {"tugger": 1, "trailer": 2},
    "steps": [{"step": "exchange", "by": "attendant", "device": "tugger", "time": "6 min"}],
    "needs": {
        "parts": [
            {"part": "tray with wheels", "for_each": "battery", "why": "it rolls"},
            {"part": "charging shelf", "for_each": "bay", "number": 2, "section": "room"},
            {"part": "drawbar", "for_each": "device", "device": "trailer"},
            {"part": "label", "for_each": "spare_battery", "number": 3, "section": "maintenance"},
            {"part": "wheel stop", "for_each": "station", "section": "room"},
            {"part": "winch", "for_each": "room", "section": "room"},
            {"part": "hose", "for_each": "truck", "section": "truck", "watered_by": "single_point"},
            {"part": "ramp", "for_each": "truck", "section": "truck", "removal": "top"},
        ]
    },
}


@cache
def surveyed() -> Scenario:
    """Three trucks: five batteries on side rollers, seven on stands, six under a hoist."""
    return batsim.read(FILE)


def list_of(scenario: Scenario, layout: str) -> tuple[EquipmentLine, ...]:
    """Equipment list with the checks of the room."""
    return equipment_list(scenario, layout, tuple(room_checks(scenario, layout)))


def numbers(scenario: Scenario, layout: str) -> dict[str, float]:
    """Counts by item; each item stands on one line."""
    lines = list_of(scenario, layout)
    assert len({(line.section, line.item) for line in lines}) == len(lines)
    return {line.item: line.number for line in lines}


def owned(scenario: Scenario, layout: str) -> dict[str, float]:
    """What is there already, by item."""
    return {line.item: line.owned for line in list_of(scenario, layout) if line.owned}


# --- counts by hand ---


@pytest.mark.parametrize(
    ("layout", "expected"),
    [
        (
            "rollers",
            {"battery (lead)": 5, "charger (electronic IUIa)": 3, "battery carriage": 1, "roller bay": 2 + 1, BED: 3,
             OPENING: 3, "battery lock": 3, "exchange station": 1, "protective equipment": 1, STANDBY: 1},
        ),
        (
            "stands",
            {"battery (lead)": 7, "charger (electronic IUIa)": 4, "hand pallet truck": 2, "roller stand": 4 + 2,
             BED: 3, SECURING: 2, OPENING: 3, "battery lock": 3, "exchange station": 2, "protective equipment": 2},
        ),
        (
            "hoist",
            {"battery (lead)": 6, "charger (electronic IUIa)": 4, "hoist": 1, "floor bay": 3 + 1,
             "spreader beam": 1, FRAME: 3, OPENING: 3, "hand pallet truck": 1, SECURING: 1,
             "insulating cover for bare battery tops": 1, "exchange station": 1, "protective equipment": 1, STANDBY: 1},
        ),
        (
            "in truck",
            {"battery (lead)": 3, "charger (electronic IUIa)": 3, "hand pallet truck": 1, FRAME: 3,
             "stops for the pull-out frame": 6, OPENING: 3, "charging spot": 3, "protective equipment": 1},
        ),
    ],
)  # fmt: skip
def test_counts_by_hand(layout: str, expected: dict[str, float]) -> None:
    """From trucks, batteries, stations and people; a water cart and a spill kit for the room."""
    assert numbers(surveyed(), layout) == expected | ALWAYS


def test_counts_of_an_arrangement_of_the_site_s_own() -> None:
    """Three trucks, eight batteries, two stations with two empty bays each, three trailers."""
    layout = {"handling": "tugger", "stations": 2, "batteries": 8, "chargers": "5 x electronic_iuia",
              "devices": {"tugger": 2, "trailer": 4}}  # fmt: skip
    scenario = batsim.changed(surveyed(), {"handling": {"tugger": TUGGER}, "layouts": {"tugger": layout}})

    assert numbers(scenario, "tugger") == ALWAYS | {
        "battery (lead)": 8,
        "charger (electronic IUIa)": 5,
        "tugger": 2,
        "trailer": 4,
        "rack": 5 + 2 * 2,
        "exchange station": 2,
        "tray with wheels": 8,
        "charging shelf": 2 * 9,
        "drawbar": 4,
        "label": 3 * 5,
        "wheel stop": 2,
        "winch": 1,
        "protective equipment": 1,
    }


def test_parts_for_some_exits_and_some_waterings_only() -> None:
    """A hose where batteries are watered from one point, a ramp for those that leave upwards, or may do so."""
    layout = {"handling": "tugger", "batteries": 5, "chargers": "3 x electronic_iuia"}
    changes = {"handling": {"tugger": TUGGER}, "layouts": {"tugger": layout},
               f"{LEAD}.watering": {"every": "7 charges", "by": "single_point"}}  # fmt: skip
    found = {
        exit_: numbers(batsim.changed(surveyed(), changes | {"trucks[0].compartment.removal": exit_}), "tugger")
        for exit_ in ("side", "top", "either")
    }

    assert {exit_: each.get("ramp", 0) for exit_, each in found.items()} == {"side": 0, "top": 3, "either": 3}
    assert {each["hose"] for each in found.values()} == {3}


@pytest.mark.parametrize(
    ("watering", "sets", "cart", "drawn_out"),
    [
        ({"every": "7 charges", "by": "hand"}, 0, 1, True),
        ({"every": "7 charges", "by": "single_point"}, 3, 1, False),
        ("none", 0, 0, False),
    ],
)
def test_watering_from_one_point(watering: object, sets: int, cart: int, *, drawn_out: bool) -> None:
    """A set for each battery and a cart; in the truck nothing is pulled out for it any more."""
    found = numbers(batsim.changed(surveyed(), {f"{LEAD}.watering": watering}), "in truck")

    assert found.get("single-point watering set", 0) == sets
    assert found.get("water cart", 0) == cart
    for item in ("hand pallet truck", FRAME, "stops for the pull-out frame", OPENING):
        assert (item in found) == drawn_out


def test_what_is_without_limit_is_not_listed() -> None:
    """Chargers, stations, devices as many as anybody wants; bays as many as can be in use."""
    layout = {"handling": "portable_stands", "batteries": 7, "chargers": "unlimited x electronic_iuia",
              "stations": "unlimited", "bays": "unlimited",
              "devices": {"hand_pallet_truck": "unlimited"}}  # fmt: skip

    assert numbers(batsim.changed(surveyed(), {"layouts.stands": layout}), "stands") == ALWAYS | {
        "battery (lead)": 7,
        "roller stand": 7 + 3,
        BED: 3,
        OPENING: 3,
        "battery lock": 3,
        "protective equipment": 1,
    }


def test_two_types_of_batteries_and_chargers() -> None:
    """A line each; a charger's size is that of the largest battery that it fits."""
    data = completed_data(surveyed())
    assert isinstance(data["trucks"], list)
    group = {
        "group": "pallet trucks",
        "count": 2,
        "shifts": ["day"],
        "battery": "small",
        "duty": {"mean_power": "0.5 kW"},
    }
    scenario = batsim.changed(
        surveyed(),
        {
            "batteries.small": {"from": "valve_regulated", "cells": 12, "capacity": "200 Ah at 5 h"},
            "trucks": [*data["trucks"], group],
            "layouts": {
                "rollers": {
                    "handling": "side_rollers",
                    "batteries": {"lead": 5, "small": 3},
                    "chargers": ["3 x electronic_iuia", "2 x gel_iu"],
                }
            },
        },
    )
    lines = {line.item: line for line in list_of(scenario, "rollers")}

    assert (lines["battery (lead)"].number, lines["battery (small)"].number) == (5, 3)
    assert (lines["battery (small)"].size, lines["battery (small)"].reason) == (
        "24 V, 200 Ah at 5 h",
        "2 in trucks and 1 beside them",
    )
    amps = 200.0 / 100.0 * FIGURES["charger.gel_iu.main_current"].value
    assert lines["charger (gel IU)"].size == f"24 V, {amps:.0f} A, IU"
    assert lines["charger (electronic IUIa)"].size == "48 V, 90 A, IUIa, connector blue 160 A"
    assert lines["roller bay"].number == 3 + 1
    assert sum(line.number for line in list_of(scenario, "rollers") if line.item == BED) == 3 + 2


# --- what is there already ---


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        ({}, {}),
        ({"hoist": 1}, {"hoist": 1}),
        ({"hoist": 3}, {"hoist": 1}),
        ({"lead": 6, "electronic_iuia": 4}, {"battery (lead)": 6, "charger (electronic IUIa)": 4}),
        ({"lead": 2, "electronic_iuia": 3}, {"battery (lead)": 2, "charger (electronic IUIa)": 3}),
        ({"bays": 3, "stations": 1}, {"floor bay": 3, "exchange station": 1}),
        ({SECURING: 1, FRAME: 2, "water cart": 1}, {SECURING: 1, FRAME: 2, "water cart": 1}),
    ],
)
def test_what_is_owned_need_not_be_ordered(names: dict[str, int], expected: dict[str, float]) -> None:
    """As many as are there, by name; what goes beyond is bought, and more than is needed saves nothing."""
    scenario = batsim.changed(surveyed(), {"layouts.hoist.owned": names})

    # The survey found sides that open far enough.
    assert owned(scenario, "hoist") == expected | {OPENING: 3}
    for line in list_of(scenario, "hoist"):
        assert line.to_order == line.number - line.owned
        assert line.cost == line.price.times(line.to_order)


COUNTED = {"battery (lead)": 6, "charger (electronic IUIa)": 4, "hoist": 1, "floor bay": 4, "exchange station": 1}
"""What today's hoist has a number of."""


def test_today_owns_what_it_counts_and_nothing_else() -> None:
    """Not the fan, the eyewash, the parts or the standby method that the list itself asks for."""
    air = Check("battery room", "air of the room", FAILS, "-", "at least 120 m³/h", "", "")
    scenario = batsim.changed(surveyed(), {"present": "hoist", "room.wash": "20 m"})
    lines = {
        line.item: line
        for line in equipment_list(scenario, "hoist", (*room_checks(scenario, "hoist"), air), {"battery room": 120.0})
    }

    # Sides that open far enough are there because the survey found them.
    assert {item: line.owned for item, line in lines.items() if line.owned} == COUNTED | {OPENING: 3}
    for item in ("exhaust fan with interlock", "eyewash and shower", STANDBY, "spill kit", "spreader beam"):
        assert (lines[item].owned, lines[item].to_order) == (0.0, 1.0)


def test_another_layout_takes_over_what_today_has() -> None:
    """No more than it needs; bays and spots of another kind are no use to it."""
    scenario = batsim.changed(surveyed(), {"present": "hoist"})

    assert owned(scenario, "stands") == {
        "battery (lead)": 6,
        "charger (electronic IUIa)": 4,
        "exchange station": 1,
        OPENING: 3,
    }
    assert owned(scenario, "in truck") == {"battery (lead)": 3, "charger (electronic IUIa)": 3, OPENING: 3}


def test_more_than_is_there_is_bought() -> None:
    """Fourteen chargers of a type with ten there: four are ordered, whatever today's layout counts."""
    changes: dict[str, Any] = {
        "layouts.hoist.chargers": "14 x electronic_iuia",
        "layouts.hoist.owned": {"electronic_iuia": 10},
    }
    for today in ({}, {"present": "hoist"}):
        lines = list_of(batsim.changed(surveyed(), changes | today), "hoist")
        (line,) = [line for line in lines if line.life == "charger"]
        assert (line.number, line.owned, line.to_order) == (14, 10, 4)


def test_one_thing_that_is_there_serves_once() -> None:
    """A pallet truck that is there is not counted again for the standby method, and one of today's standby is there."""
    standby = {"handling": "portable_stands", "devices": {"hand_pallet_truck": 1}}
    scenario = batsim.changed(
        surveyed(), {"layouts.stands.owned": {"hand_pallet_truck": 2}, "layouts.stands.standby": standby}
    )
    lines = [line for line in list_of(scenario, "stands") if line.name == "hand_pallet_truck"]
    assert [(line.number, line.owned) for line in lines] == [(2, 2), (1, 0)]

    today = batsim.changed(surveyed(), {"layouts.hoist.standby": standby, "present": "hoist"})
    assert owned(today, "stands")["hand pallet truck"] == 1


OPEN = {"length": "910 mm", "height": "550 mm", "stands_out": "290 mm"}
"""What battery, roller bed and carriage need: 900 mm, 500 and 40, half of 600, each with 10 to spare."""


@pytest.mark.parametrize(
    ("compartment", "bed", "opening"),
    [
        ({"floor": "flat", "opening": OPEN}, 0, 3),
        ({"floor": "rollers"}, 3, 0),
        ({"opening": OPEN | {"length": "909.9 mm"}}, 0, 0),
        ({"opening": OPEN | {"height": "549.9 mm"}}, 0, 0),
        ({"opening": OPEN | {"stands_out": "290.1 mm"}}, 0, 0),
        ({"opening": {key: OPEN[key] for key in ("length", "height")}}, 0, 0),
        # Without a bed under it the battery needs 40 mm less.
        ({"opening": OPEN | {"height": "510 mm"}, "floor": "rollers"}, 3, 3),
    ],
)
def test_what_the_survey_found_on_the_trucks_is_there(compartment: dict[str, Any], bed: int, opening: int) -> None:
    """Rollers under the battery, or a side that opens far enough."""
    scenario = batsim.changed(surveyed(), {"trucks[0].compartment": {"removal": "side", **compartment}})
    lines = {line.item: line for line in list_of(scenario, "rollers")}

    assert (lines[BED].number, lines[OPENING].number) == (3, 3)
    assert (lines[BED].owned, lines[OPENING].owned) == (bed, opening)


# --- standby ---


def test_a_standby_arrangement_is_listed_with_its_devices() -> None:
    """As many as are stated, else what an exchange holds; then nothing is said about a day without."""
    stated = batsim.changed(
        surveyed(), {"layouts.rollers.standby": {"handling": "portable_stands", "devices": {"hand_pallet_truck": 2}}}
    )
    usual = batsim.changed(surveyed(), {"layouts.rollers.standby": {"handling": "portable_stands"}})
    (line,) = [line for line in list_of(stated, "rollers") if line.section == "standby"]

    assert (line.item, line.number) == ("hand pallet truck", 2)
    assert line.reason == ("while the layout's own devices are out: portable roller stands with a hand pallet truck")
    assert [line.number for line in list_of(usual, "rollers") if line.section == "standby"] == [1]


@pytest.mark.parametrize(
    ("layout", "devices", "listed"),
    [
        ("rollers", {"battery_carriage": 1}, True),
        ("rollers", {"battery_carriage": 2}, False),
        ("hoist", {"hoist": 1}, True),
        ("hoist", {"hoist": 2}, False),
        ("stands", {"hand_pallet_truck": 1}, False),
    ],
)
def test_where_one_device_stops_all(layout: str, devices: dict[str, int], *, listed: bool) -> None:
    """A means to exchange without it is listed; a second one does as well, and a pallet truck is soon found."""
    scenario = batsim.changed(surveyed(), {f"layouts.{layout}.devices": devices, f"layouts.{layout}.stations": 1})

    assert (STANDBY in numbers(scenario, layout)) == listed


# --- room ---


def test_what_the_checks_miss_is_listed() -> None:
    """An eyewash where none is near or known, a fan where air is short or not known, as large as the rule asks."""
    air = Check("battery room", "air of the room", NOT_KNOWN, "-", "at least 120 m³/h, or 0.34 m² inlet", "", "")
    near = tuple(room_checks(surveyed(), "rollers"))
    far = tuple(room_checks(batsim.changed(surveyed(), {"room.wash": "20 m"}), "rollers"))
    unknown = tuple(room_checks(batsim.changed(surveyed(), {"room.wash": None}), "rollers"))
    short = air._replace(verdict=FAILS)
    lists = [
        {line.item: line for line in equipment_list(surveyed(), "rollers", checks, {"battery room": 120.0})}
        for checks in (near, far, unknown, (*near, air), (*near, short), (*near, air._replace(verdict="OK")))
    ]

    assert ["eyewash and shower" in each for each in lists] == [False, True, True, False, False, False]
    assert ["exhaust fan with interlock" in each for each in lists] == [False, False, False, True, True, False]
    assert lists[3]["exhaust fan with interlock"].size == "at least 120 m³/h"
    assert lists[1]["eyewash and shower"].size == "15 min of flow, within reach of the acid work"


def test_batteries_without_acid_ask_for_nothing_against_it() -> None:
    """Lithium-ion and valve-regulated: neither spill kit nor goggles."""
    changes = {f"{LEAD}.chemistry": "valve_regulated", f"{LEAD}.watering": "none", f"{LEAD}.equalising": "none",
               "room.wash": None, "layouts": {"hoist": {"handling": "overhead_hoist", "batteries": 4,
                                                        "chargers": "3 x gel_iu"}}}  # fmt: skip
    found = numbers(batsim.changed(surveyed(), changes), "hoist")

    assert {"water cart", "spill kit", "protective equipment", "eyewash and shower"} & set(found) == set()


@pytest.mark.parametrize(("attendants", "number"), [({"day": 3}, 3), (None, 1), ("unlimited", 1)])
def test_goggles_for_each_attendant(attendants: object, number: int) -> None:
    """At least one."""
    assert (
        numbers(batsim.changed(surveyed(), {"layouts.stands.attendants": attendants}), "stands")["protective equipment"]
        == number
    )


# --- lines ---


@pytest.mark.parametrize("layout", ["rollers", "stands", "hoist", "in truck"])
def test_every_line_has_a_reason_a_price_and_its_section(layout: str) -> None:
    """Sections in their order."""
    lines = list_of(surveyed(), layout)

    assert all(line.reason and line.price.low <= line.price.value <= line.price.high for line in lines)
    order = [list(SECTIONS).index(line.section) for line in lines]
    assert order == sorted(order)
    assert {line.life for line in lines} <= {"battery", "charger", "device", "room"}
    assert [line.batteries for line in lines if line.is_battery] == [("lead",)]


REASONS = {
    "battery (lead)": "3 in trucks and 4 beside them",
    "charger (electronic IUIa)": "for lead: batteries that charge at once, as simulated",
    "hand pallet truck": "exchanges at the same time",
    "roller stand": "4 batteries beside those in trucks, and 2 empty for exchanges",
    SECURING: "one for each hand pallet truck: holds battery and stand to the pallet truck while they move; approved "
    "for truck, battery and pallet truck",
    BED: "one for each truck: the battery rolls on it, level with the stand",
    OPENING: "one for each truck: the battery comes out through it, and the stand comes close",
    "battery lock": "one for each truck: the battery must be held after each exchange",
    "water cart": "demineralised water at the batteries",
    "exchange station": "trucks that are exchanged at once",
    "spill kit": "acid that is spilt is held back and neutralised",
    "protective equipment": "goggles, face shield, apron, gloves: one for each attendant",
}


def test_reasons_to_the_letter() -> None:
    """As a buyer reads them."""
    assert {line.item: line.reason for line in list_of(surveyed(), "stands")} == REASONS


@pytest.mark.parametrize(
    ("layout", "item", "size"),
    [
        ("stands", "battery (lead)", "48 V, 500 Ah at 5 h, 800 kg"),
        ("stands", "charger (electronic IUIa)", "48 V, 90 A, IUIa, connector blue 160 A"),
        ("stands", "hand pallet truck",
         "fork length at least 460 mm, width over both forks at most 535 mm, lift of the forks at least 160 mm, "
         "rated for at least 900 kg, powered"),
        ("in truck", "hand pallet truck",
         "fork length 460 mm to 690 mm, width over both forks at most 535 mm, lift of the forks at least 160 mm, "
         "rated for at least 860 kg, powered"),
        ("stands", "roller stand",
         "length across the truck at least 610 mm, width along the truck at least 910 mm, "
         "roller height 240 mm ± 10 mm"),
        ("rollers", "battery carriage",
         "length across the truck at least 610 mm, width along the truck at least 910 mm, "
         "roller height 240 mm ± 10 mm, rated for at least 800 kg, powered"),
        ("rollers", BED, "length across the truck at most 600 mm, width along the truck at most 900 mm, "
         "height under the battery at most 50 mm"),
        ("rollers", OPENING, "clear length along the truck at least 910 mm, clear height at least 550 mm, "
         "what stands out from the open side at most 290 mm"),
        ("hoist", FRAME, "length across the truck at most 600 mm, width along the truck at most 900 mm, "
         "height under the battery at most 50 mm, way out of the truck at least 610 mm"),
        ("in truck", "stops for the pull-out frame", "way out of the truck at most 290 mm"),
        ("hoist", "spreader beam", "distance of the hooks 500 mm ± 10 mm, rated for at least 800 kg"),
        ("hoist", "hoist", "height of the hook at least 1,760 mm, rated for at least 850 kg"),
    ],
)  # fmt: skip
def test_sizes_to_the_letter(layout: str, item: str, size: str) -> None:
    """What the survey's measures ask for, whatever is there, and ratings."""
    assert {line.item: line.size for line in list_of(surveyed(), layout)}[item] == size


def test_sizes_that_nobody_can_compute_yet() -> None:
    """They are named; a rating is for the battery, whose mass has to be known, and its stand, which is a figure."""
    stated = batsim.changed(surveyed(), {"equipment": {}, f"{LEAD}.size": None})
    nothing = batsim.changed(
        surveyed(), {"equipment": {}, f"{LEAD}.mass": None, f"{LEAD}.size": None, "trucks[0].compartment": {}}
    )
    unknown = "not known yet: fork length, width over both forks and lift of the forks"

    assert [
        {line.item: line.size for line in list_of(each, "stands")}["hand pallet truck"] for each in (stated, nothing)
    ] == [
        f"{unknown}, rated for at least {800 + FIGURES['fit.stand.mass'].value:.0f} kg, by hand",
        f"{unknown}, rating not known yet: mass of battery 'lead', by hand",
    ]


def test_a_charger_for_one_battery_type_has_its_size() -> None:
    """It is not ordered for the larger battery that it must not charge."""
    scenario = surveyed().with_layouts(["rollers"])
    data = stated_data(scenario)
    assert isinstance(data["trucks"], list)
    other = {
        "group": "small trucks",
        "count": 1,
        "shifts": ["day"],
        "battery": "small",
        "duty": {"mean_power": "0.5 kW"},
    }
    scenario = batsim.changed(
        scenario,
        {
            "batteries.small": {"from": "vented_lead_acid", "cells": 12, "capacity": "200 Ah at 5 h"},
            "trucks": [*data["trucks"], other],
            "chargers.large": {"from": "electronic_iuia", "voltage": "48 V"},
            "chargers.only small": {"from": "electronic_iuia", "voltage": "24 V", "main_current": "30 A"},
            "layouts.rollers.chargers": ["3 x large", "1 x only small"],
            "layouts.rollers.batteries": {"lead": 5, "small": 2},
        },
    )
    sizes = {line.item: line.size for line in equipment_list(scenario, "rollers", ())}

    assert sizes["charger (only small)"] == "24 V, 30 A, IUIa"
    assert sizes["charger (large)"] == "48 V, 90 A, IUIa, connector blue 160 A"


def test_chargers_are_ordered_by_voltage_for_their_batteries() -> None:
    """34 batteries of 48 V and 44 of 24 V: chargers of both, each with the batteries that it is for."""
    lines = list_of(FROSTHOLM, "side rollers")

    assert [(line.number, line.size, line.batteries) for line in lines if line.life == "charger"] == [
        (23, "48 V, 135 A, IUIa", ("lead 48 V 750 Ah",)),
        (29, "24 V, 84 A, IUIa", ("lead 24 V 465 Ah",)),
    ]
    sets = [line for line in lines if line.item == "single-point watering set"]
    assert [(line.number, line.size, line.batteries) for line in sets] == [
        (34, "for 24 cells", ("lead 48 V 750 Ah",)),
        (44, "for 12 cells", ("lead 24 V 465 Ah",)),
    ]


def test_a_charger_for_two_capacities_says_both_currents() -> None:
    """It is set for the battery; the row says for which."""
    data = stated_data(surveyed())
    assert isinstance(data["trucks"], list)
    other = {"group": "more", "count": 1, "shifts": ["day"], "battery": "small", "duty": {"mean_power": "0.5 kW"}}
    scenario = batsim.changed(
        surveyed(),
        {
            "batteries.small": {"from": "vented_lead_acid", "cells": 24, "capacity": "200 Ah at 5 h"},
            "trucks": [*data["trucks"], other],
            "layouts": {"rollers": {"handling": "side_rollers", "batteries": {"lead": 5, "small": 2},
                                    "chargers": "4 x electronic_iuia"}},
        },
    )  # fmt: skip
    (line,) = [line for line in list_of(scenario, "rollers") if line.life == "charger"]

    assert line.size == "48 V, 90 A for lead, 36 A for small, IUIa, connector blue 160 A"
    assert line.reason == "for lead and small: batteries that charge at once, as simulated"


def test_parts_are_ordered_by_battery_type() -> None:
    """What goes with a truck or a battery has a row, a number and a size for each type; what goes with the room one."""
    data = stated_data(surveyed())
    assert isinstance(data["trucks"], list)
    small = {"length": "600 mm", "width": "400 mm", "height": "500 mm"}
    compartment = {**data["trucks"][0]["compartment"], "length": "610 mm", "width": "410 mm", "voltage": "24 V"}
    other = {"group": "more", "count": 2, "shifts": ["day"], "battery": "small", "duty": {"mean_power": "0.5 kW"},
             "compartment": compartment}  # fmt: skip
    scenario = batsim.changed(
        surveyed(),
        {
            "batteries.small": {"from": "vented_lead_acid_24v", "size": small, "base": "flat"},
            "trucks": [*data["trucks"], other],
            "chargers": {"large": {"from": "electronic_iuia", "voltage": "48 V"},
                         "little": {"from": "electronic_iuia", "voltage": "24 V"}},
            "layouts": {"stands": {"handling": "portable_stands", "batteries": {"lead": 5, "small": 4},
                                   "chargers": ["3 x large", "2 x little"]}},
        },
    )  # fmt: skip
    lines = list_of(scenario, "stands")
    beds = [line for line in lines if line.item == BED]

    assert [(line.number, line.batteries) for line in beds] == [(3, ("lead",)), (2, ("small",))]
    assert "at most 600 mm" in beds[0].size
    assert "at most 400 mm" in beds[1].size
    assert beds[1].reason.startswith("one for each truck (small): ")
    assert [line.batteries for line in lines if line.name == "spill kit"] == [()]
