"""Facts of the trade as check values: what is ordered for a battery change, and when it does not fit.

They are common practice without a source: two-roller trolleys for access, four-roller trolleys and a latch for full
extraction, one stand and one trolley for each further battery, hoists whose trolley stays with the truck, roller beds
and the doors that go with them.
"""

from functools import cache
from typing import Any

import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.plan.checks import Check
from batsim.plan.equipment import EquipmentLine, equipment_list
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.room_fit import room_checks
from batsim.scenario.site import Scenario
from batsim.units import convert

PRACTICE = "common practice, no source"
SITE = """\
site: {name: A truck as the trade describes it (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - group: trucks
    count: 4
    shifts: [day]
    battery: lead
    duty: {mean_power: 2 kW}
    compartment: {height: 27 in, floor: flat, floor_height: 8 in, frame_depth: 1000 mm, removal: side, opening: {kind: door, angle: 135 deg}}
batteries:
  lead:
    {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h, mass: 800 kg, size: {length: 38 in, width: 20 in, height: 23 in},
     base: flat, watering: {every: 7 charges, by: hand}}
layouts:
  access: {handling: in_truck, chargers: 4 x electronic_iuia}
  extraction: {handling: portable_stands, batteries: 7, chargers: 4 x electronic_iuia}
  hoist: {handling: overhead_hoist, batteries: 7, chargers: 4 x electronic_iuia}
  rollers: {handling: side_rollers, batteries: 7, chargers: 4 x electronic_iuia}
"""  # noqa: E501 - a scenario
FRAME = "fork length against the far side of the frame"
DOOR = "side opening of trucks"


@cache
def site() -> Scenario:
    """The truck, with one battery for each and three more."""
    return batsim.read_scenario_text(SITE, "trade.yaml")


def lines_of(scenario: Scenario, layout: str) -> dict[str, EquipmentLine]:
    """Equipment list by item."""
    return {line.item: line for line in equipment_list(scenario, layout, tuple(room_checks(scenario, layout)))}


def check_of(scenario: Scenario, layout: str, name: str) -> Check:
    """The check of that name."""
    each = (*truck_checks(scenario, layout), *equipment_checks(scenario, layout))
    return next(check for check in each if check.name == name)


@pytest.mark.published(source=PRACTICE, where="standard access: a two-roller trolley and two stops for each truck")
def test_access_takes_a_two_roller_trolley_and_two_stops() -> None:
    """No other trolley, no latch, no stand; nothing more for batteries beside those in trucks, for there are none."""
    lines = lines_of(site(), "access")

    assert lines["two-roller trolley"].number == 4
    assert lines["stops for the trolley"].number == 2 * 4
    assert {"four-roller trolley", "latch", "stand"} & set(lines) == set()
    assert lines["hand pallet truck"].size == (
        "forks 902 mm (35.5 in) long, 521 mm (20.5 in) over both, to be rated for at least 840 kg, by hand"
    )


@pytest.mark.published(source=PRACTICE, where="standard access: forks about 35.5 in long, 20.5 in over both")
def test_forks_for_access_go_under_the_battery() -> None:
    """A frame that is 1 m deep takes them; forks of 43.3 in hit its far side."""
    assert (FIGURES["fit.access.fork_length"].text, FIGURES["fit.forks_over_both"].text) == ("35.5 in", "20.5 in")
    longer = batsim.changed(site(), {"equipment": {"hand_pallet_truck": {"fork_length": "43.3 in"}}})

    usual, hits = (check_of(each, "access", FRAME) for each in (site(), longer))

    assert (usual.verdict, usual.value) == ("OK", "902 mm (35.5 in), as usually ordered")
    assert (hits.verdict, hits.sentence) == (
        "fails",
        "The forks are 100 mm (3.9 in) too long and hit the far side of the frame of trucks.",
    )
    assert "(35.5 in are usual for access on two rollers)" in hits.cure
    assert check_of(longer, "access", "fork length for the two-roller trolley").verdict == "to check"


@pytest.mark.published(source=PRACTICE, where="full extraction: a four-roller trolley, forks about 43.3 in by 20.5 in")
def test_extraction_takes_longer_forks() -> None:
    """They go into a frame of 1.1 m and not into one of 1 m; shorter ones do not hold the battery over its middle."""
    assert FIGURES["fit.extraction.fork_length"].text == "43.3 in"
    deep = batsim.changed(site(), {"trucks[0].compartment.frame_depth": "1100 mm"})
    short = batsim.changed(deep, {"equipment": {"hand_pallet_truck": {"fork_length": "35.5 in"}}})

    assert check_of(site(), "extraction", FRAME).verdict == "fails"
    assert check_of(deep, "extraction", FRAME).verdict == "OK"
    assert check_of(short, "extraction", FRAME).verdict == "OK"
    assert check_of(short, "extraction", "fork length for the four-roller trolley").verdict == "fails"
    assert lines_of(deep, "extraction")["hand pallet truck"].size.startswith(
        "forks 1100 mm (43.3 in) long, 521 mm (20.5 in) over both"
    )


@pytest.mark.published(source=PRACTICE, where="full extraction: a latch ties battery and trolley to the pallet truck")
@pytest.mark.parametrize("pallet_trucks", [1, 2])
def test_the_latch_comes_with_the_pallet_truck(pallet_trucks: int) -> None:
    """One each, however many batteries there are."""
    changes = {"layouts.extraction.stations": pallet_trucks,
               "layouts.extraction.devices": {"hand_pallet_truck": pallet_trucks}}  # fmt: skip
    lines = lines_of(batsim.changed(site(), changes), "extraction")

    assert lines["latch"].number == lines["hand pallet truck"].number == pallet_trucks


@pytest.mark.published(
    source=PRACTICE, where="each further battery of a truck needs one more stand and one more trolley"
)
@pytest.mark.parametrize("more", [1, 2, 5])
def test_a_further_battery_takes_a_stand_and_a_trolley(more: int) -> None:
    """And nothing else of what is ordered, but the battery."""
    before = lines_of(site(), "extraction")
    after = lines_of(batsim.changed(site(), {"layouts.extraction.batteries": 7 + more}), "extraction")

    grown = {item: line.number - before[item].number for item, line in after.items()}
    assert {item: number for item, number in grown.items() if number} == {
        "battery (lead)": more,
        "stand": more,
        "four-roller trolley": more,
    }
    assert before["four-roller trolley"].number == 7
    assert before["stand"].number == 3 + 1


@pytest.mark.published(
    source=PRACTICE, where="hoist: trolley, latch and pallet truck still needed; further batteries none"
)
def test_under_a_hoist_the_trolley_stays_with_the_truck() -> None:
    """Where the battery is pulled out sideways: one for each truck, and none for a further battery."""
    before = lines_of(site(), "hoist")
    after = lines_of(batsim.changed(site(), {"layouts.hoist.batteries": 12}), "hoist")

    assert {item: before[item].number for item in ("four-roller trolley", "latch", "hand pallet truck")} == {
        "four-roller trolley": 4,
        "latch": 1,
        "hand pallet truck": 1,
    }
    grown = {item: line.number - before[item].number for item, line in after.items()}
    assert {item: number for item, number in grown.items() if number} == {"battery (lead)": 5, "floor bay": 5}


@pytest.mark.published(source=PRACTICE, where="hoist over a battery that leaves upwards")
def test_a_hoist_over_a_top_exit_takes_no_trolley() -> None:
    """Nor a latch or a pallet truck."""
    lines = lines_of(batsim.changed(site(), {"trucks[0].compartment.removal": "top"}), "hoist")

    assert {"four-roller trolley", "latch", "hand pallet truck"} & set(lines) == set()
    assert lines["insulated spreader beam"].number == 1


@pytest.mark.published(source=PRACTICE, where="roller bed in the truck: top of the rollers about 8 in")
@pytest.mark.parametrize(("inches", "verdict"), [(8.0, "OK"), (8.7, "OK"), (9.0, "fails"), (7.0, "fails")])
def test_rollers_at_eight_inches(inches: float, verdict: str) -> None:
    """Carriage and bays are ordered at the height of the truck's rollers; 20 mm are not noticed, an inch is."""
    changed = batsim.changed(site(), {"trucks[0].compartment.floor_height": f"{inches} in"})

    assert FIGURES["fit.roller_top"].text == "8 in"
    assert check_of(changed, "rollers", "roller height").verdict == verdict
    assert lines_of(site(), "rollers")["roller bed in the truck"].size == "rollers at 203 mm (8.0 in)"


@pytest.mark.published(source=PRACTICE, where="roller bed in the truck: compartment height about 23.4 in")
@pytest.mark.parametrize(
    ("inches", "verdict"), [(23.0, "to check"), (23.4, "to check"), (23.5, "fails"), (26.0, "fails")]
)
def test_a_roller_bed_leaves_less_height(inches: float, verdict: str) -> None:
    """27 in before, about 23.4 in over the bed; without one there is no more to it than the compartment's height."""
    changed = batsim.changed(site(), {"batteries.lead.size.height": f"{inches} in"})

    assert convert(FIGURES["fit.height_on_rollers"].value, "in", "length") == pytest.approx(594.36)
    assert check_of(changed, "rollers", "battery height in the compartment").verdict == verdict
    assert check_of(changed, "extraction", "battery height in the compartment").verdict == "OK"


@pytest.mark.published(source=PRACTICE, where="door of about 175 deg instead of 135; a removable cover comes flush")
@pytest.mark.parametrize(
    ("opening", "comes", "verdict"),
    [
        ({"kind": "door", "angle": "135 deg"}, "along", "fails"),
        ({"kind": "door", "angle": "175 deg"}, "along", "OK"),
        ({"kind": "removable_cover"}, "along", "OK"),
        ({"kind": "door", "angle": "135 deg"}, "flush", "fails"),
        ({"kind": "door", "angle": "175 deg"}, "flush", "fails"),
        ({"kind": "removable_cover"}, "flush", "OK"),
    ],
)
def test_a_wide_door_lets_the_truck_drive_along(opening: dict[str, Any], comes: str, verdict: str) -> None:
    """The usual door stands in the way of both."""
    changed = batsim.changed(
        site(), {"trucks[0].compartment.opening": opening, "equipment": {"battery_carriage": {"comes": comes}}}
    )

    assert (FIGURES["fit.door_usual"].value, FIGURES["fit.door_along"].value) == (135.0, 175.0)
    assert check_of(changed, "rollers", DOOR).verdict == verdict


@pytest.mark.published(
    source=PRACTICE, where="three-wheel trucks, whose battery sits in a well, cannot be changed sideways"
)
def test_a_truck_whose_battery_leaves_upwards_takes_a_hoist() -> None:
    """Side rollers and stands fail; the cure says for which trucks there is a conversion."""
    top = batsim.changed(site(), {"trucks[0].compartment.removal": "top"})

    for layout in ("rollers", "extraction"):
        found = check_of(top, layout, "battery removal")
        assert found.verdict == "fails"
        assert found.cure.endswith("(four-wheel trucks as a rule; three-wheel trucks lose strength in the frame), or "
                                   "choose a hoist")  # fmt: skip
    assert "battery removal" not in {check.name for check in truck_checks(top, "hoist")}
