"""The plan of a site of three areas, worked out a second time by hand: list, money, air, supply; checks one by one."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.measures.electrical_load import loads
from batsim.measures.gas import gas_course, gas_measures
from batsim.measures.windows import Measured
from batsim.plan.checks import FAILS, Check
from batsim.plan.equipment import STANDBY_METHOD, equipment_list
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.plan import LayoutPlan, Plan
from batsim.plan.possible import checks_at_once, impossible_layouts
from batsim.record.part import of_area
from batsim.record.record import Record
from batsim.scenario.site import Scenario
from batsim.study.room_plan import room_plan
from batsim.views.text.plan_text import plan_text
from tests.behaviour.ledger import rows_of
from tests.prices import ROUND
from tests.runs import record_of

FILE = Path(__file__).parents[1] / "cases" / "three_areas.yaml"
LIVES: dict[str, Any] = {
    "interest": {"battery": "6 %", "charger": "0 %", "device": "4 %", "room": "4 %"},
    "lives": {"battery": "5 years", "charger": "1 year", "device": {"": "8 years"}, "room": "20 years"},
}
BATTERIES = {"sideways": "small", "lifted": "large", "plugged in": "low"}
"""Battery type of each area."""
WEEK_MIN, WEEKS = 7 * 1440.0, 52
ENDS_MIN = {"reach": 1320.0, "yard": 840.0, "pickers": 840.0}
"""When the work of a day ends, by truck group; it begins at 06:00. [min]"""


@cache
def site(**changes: Any) -> Scenario:
    """The site with round prices."""
    return batsim.changed(batsim.read(FILE), {"prices": {**ROUND, **LIVES}})


@cache
def plans() -> Plan:
    """The plan of its areas, beside one without areas."""
    return batsim.plan_layouts(site(), batsim.Settings(layouts=("mixed", "one way"), workers=1))


def planned() -> LayoutPlan:
    """The plan of its areas."""
    return plans().layouts["mixed"]


@cache
def record() -> Record:
    """The run that it rests on."""
    return record_of(site(), "mixed")


# --- the order list ---

ORDERED = [
    ("sideways", "battery (small)", 6, 0, 6 * 48 * 0.5 * 100),
    ("sideways", "charger (e48)", 4, 4, 0),
    ("lifted", "battery (large)", 5, 0, 5 * 48 * 0.7 * 100),
    ("lifted", "charger (e48)", 3, 1, 2 * 1000),  # of the five that are owned four are in the other area
    ("plugged in", "battery (low)", 2, 0, 2 * 24 * 0.3 * 100),
    ("plugged in", "charger (e24)", 2, 0, 2 * 1000),
    ("sideways", "battery carriage", 1, 0, 500),
    ("sideways", "roller bay", 3 + 1, 0, 4 * 200),
    ("lifted", "hoist", 1, 1, 0),
    ("lifted", "floor bay", 3 + 1, 0, 4 * 200),
    ("lifted", "spreader beam", 1, 0, 50),
    ("lifted", "insulating cover for bare battery tops", 1, 0, 50),
    ("sideways", "roller bed in the truck", 3, 0, 3 * 50),
    ("sideways", "side opening", 3, 3, 0),  # wide enough, as measured
    ("sideways", "battery lock", 3, 0, 3 * 50),
    ("plugged in", "single-point watering set", 2, 0, 2 * 50),
    ("", "water cart", 1, 0, 50),
    ("", "water cart", 1, 0, 50),
    ("sideways", "exchange station", 1, 0, 700),
    ("lifted", "exchange station", 1, 0, 700),
    ("plugged in", "charging spot", 2, 0, 2 * 700),
    ("", "spill kit", 1, 0, 50),
    ("", "spill kit", 1, 0, 50),
    ("", "protective equipment", 2, 0, 2 * 50),  # one attendant whom areas share and one of the hoist, by day
    ("sideways", STANDBY_METHOD, 1, 0, 500),
    ("lifted", STANDBY_METHOD, 1, 0, 500),
]
"""Area, item, number, owned and price, as they are listed."""
SHARED = {"water cart", "spill kit"}
"""Once in the battery room and once in the building."""


def as_listed(lines: tuple[EquipmentLine, ...]) -> list[tuple[Any, ...]]:
    """Lines as they are compared."""
    return [(line.area, line.item, line.number, line.owned, pytest.approx(line.cost.value)) for line in lines]


def test_the_order_list_by_hand() -> None:
    """Rows by area and battery type, then what areas share: once in each space, once for the people of the site."""
    plan = planned()
    assert as_listed(plan.equipment) == ORDERED
    spaces = [line.reason.rpartition("; in the ")[2] for line in plan.equipment if line.item in SHARED]
    assert spaces == ["battery room", "building"] * 2
    assert plan.money.purchase.value == pytest.approx(sum(row[-1] for row in ORDERED))


def test_frames_and_json_carry_the_area() -> None:
    table = plans().equipment_frame
    table = table[table["layout"] == "mixed"]
    rows = list(zip(table["area"], table["item"], table["number"], strict=True))
    assert rows == [*(row[:3] for row in ORDERED), ("", "in all", "")]
    data = plans().as_json()["layouts"]
    assert [(row["area"], row["item"]) for row in data["mixed"]["equipment"]] == [row[:2] for row in ORDERED]
    assert {row["area"] for row in data["one way"]["equipment"]} == {""}
    assert {row["area"] for row in data["mixed"]["checks"]} == {"", "sideways", "lifted", "plugged in"}
    assert set(plans().checks_frame["area"]) == {"", "sideways", "lifted", "plugged in"}
    assert {name: air["space_name"] for name, air in data["mixed"]["ventilations"].items()} == {
        "battery room": "battery room",
        "building": "building",
    }


def test_the_text_names_areas_only_where_there_are_several() -> None:
    text = plan_text(plans(), width=400, full=True)
    mixed, one_way = text.partition("\none way (")[::2]
    assert "\nmixed (sideways: Side roller beds with a battery carriage; lifted: Overhead hoist" in mixed
    assert "       2 x charger (e48) for area 'lifted', 48 V, 126 A, IUIa, connector blue 160 A" in mixed
    assert "OK        area 'lifted': yard, battery mass: 1,000 kg" in mixed
    assert "\nVentilation of the battery room (IEC" in mixed
    assert "\nVentilation of the building (IEC" in mixed
    assert "  - lifted: 3 x e48 on large: gas current 42 A" in mixed
    assert "  - lifted: 3 x e48: 24 cells x 2.4 V x 126 A" in mixed
    assert "  - Area 'lifted': Vertical pull only" in mixed
    assert "  - Areas 'sideways' and 'lifted': The mass of the ready battery must lie within" in mixed
    assert "\nVentilation (IEC" in one_way
    assert "area '" not in one_way


def test_an_area_needs_what_it_would_need_alone() -> None:
    """But for what areas share, and what is owned."""
    free = batsim.changed(site(), {"layouts.mixed.owned": {}})
    together = [line for line in equipment_list(free, "mixed", ()) if line.area]
    alone = [
        line._replace(area=area)
        for area, view in free.areas_of("mixed").items()
        for line in equipment_list(view, "mixed", ())
        if line.item not in {"water cart", "spill kit", "protective equipment"}
    ]
    assert sorted(together) == sorted(alone)


@pytest.mark.parametrize(
    ("owned", "chargers"),
    [
        ({"e48": 2}, [2, 3]),
        ({"e48": 4}, [0, 3]),
        ({"e48": 6}, [0, 1]),
        ({"e48": 9}, [0, 0]),
    ],
)
def test_what_is_owned_is_used_up_once(owned: dict[str, int], chargers: list[int]) -> None:
    """Areas take it in the order in which they are stated."""
    lines = equipment_list(batsim.changed(site(), {"layouts.mixed.owned": owned}), "mixed", ())
    assert [line.to_order for line in lines if line.name == "e48"] == chargers


def test_the_areas_of_today_are_the_stock() -> None:
    """Of what is alike in any area; stands and the way in which reach trucks were exchanged are of no use."""
    there = batsim.changed(site(), {"present": "today", "layouts.mixed.owned": {}})
    owned = {(line.area, line.item): line.owned for line in equipment_list(there, "mixed", ()) if line.owned}
    assert owned == {
        ("sideways", "battery (small)"): 5,
        ("sideways", "charger (e48)"): 4,
        ("lifted", "charger (e48)"): 2,  # six in all
        ("lifted", "battery (large)"): 4,
        ("plugged in", "battery (low)"): 2,
        ("plugged in", "charger (e24)"): 2,
        ("lifted", "hoist"): 1,
        ("lifted", "floor bay"): 3,
        ("sideways", "side opening"): 3,
        ("sideways", "exchange station"): 1,
        ("lifted", "exchange station"): 1,  # of three
        ("plugged in", "charging spot"): 2,
    }
    stated = batsim.changed(there, {"layouts.mixed.owned": {"bays": 6}})
    bays = {line.area: line.owned for line in equipment_list(stated, "mixed", ()) if line.name == "bays"}
    assert bays == {"sideways": 4, "lifted": 2}  # whatever they are, because the layout says so


def test_parts_for_the_room_are_listed_once_in_each_space() -> None:
    """Two areas of one arrangement stand in one room."""
    steps = [{"step": "exchange", "by": "attendant", "device": "winch", "time": "4 min"}]
    needs = {"parts": [{"part": "gate", "for_each": "room", "section": "room"}]}
    own = {
        "title": "Winch",
        "bay": "rack",
        "connect_time": "1 min",
        "steps": steps,
        "needs": needs,
        "devices": {"winch": 1},
    }
    both = {f"layouts.mixed.areas.{area}.handling": "winch" for area in ("sideways", "lifted")}
    changes = {"handling": {"winch": own}, "layouts.mixed.owned": {}, **both}
    lines = equipment_list(batsim.changed(site(), changes), "mixed", ())
    assert [(line.area, line.number) for line in lines if line.item == "gate"] == [("", 1)]


def test_a_conversion_counts_parts_over_areas() -> None:
    here = batsim.changed(site(), {"present": "today", "layouts.mixed.owned": {}})
    plan = batsim.plan_layouts(here, batsim.Settings(layouts="mixed", workers=1)).layouts["mixed"]
    changes = {change.item: (change.before, change.after) for change in plan.conversion}
    assert changes["battery carriage"] == (0, 1)
    assert changes["roller stand"] == (4, 0)
    assert changes["floor bay"] == (3, 4)
    assert "hoist" not in changes
    assert plan.payback is not None


# --- money ---


def in_shift(group: str, from_min: float, to_min: float) -> float:
    """Minutes of the working time of a group between two instants; what never came lasts to the end."""
    end = min(to_min, WEEK_MIN) if to_min == to_min else WEEK_MIN
    days = [(day * 1440.0 + 360.0, day * 1440.0 + ENDS_MIN[group]) for day in range(5)]
    return sum(max(0.0, min(end, close) - max(from_min, opens)) for opens, close in days)


def paid_back(price: float, interest: float, years: float) -> float:
    """Yearly payment that leaves nothing owed at the end of a life."""
    discounted = sum((1.0 + interest) ** -year for year in range(1, round(years) + 1))
    return price / discounted


def test_the_money_by_hand() -> None:
    """Every line from rows, counts and prices; then the sums."""
    plan, groups = planned(), record().facts.groups
    lost_h = WEEKS * sum(
        in_shift(groups[int(row["group"])], row[begin], row[end])
        for table, begin, end in (("exchanges", "left_min", "back_min"), ("stands", "start_min", "end_min"))
        for row in rows_of(record(), table)
    ) / 60.0  # fmt: skip
    runs, days = plan.evidence.mean, 5 * WEEKS
    parts = 1 + 1 + 3 + 3 + 2 + 2 + 2
    expected = {
        "batteries (small)": paid_back(6 * 2400.0, 0.06, 5),
        "batteries (large)": paid_back(5 * 3360.0, 0.06, 5),
        "batteries (low)": paid_back(2 * 720.0, 0.06, 5),
        "chargers": 4 * 1000.0,
        "devices and parts": paid_back(3 * 500.0 + parts * 50.0, 0.04, 8),
        "bays, stations, room": paid_back(8 * 200.0 + 4 * 700.0, 0.04, 20),
        "watering systems": paid_back(2 * 50.0, 0.06, 5),
        # One whom all areas share by day, once; by day and late one of the hoist.
        "attendants on duty": (1 + 2) * 8 * days * 30.0,
        "trucks standing": lost_h * 12.0,
        "their drivers": lost_h * 20.0,
        "drivers outside downtime": runs("driver_outside_downtime_min_per_day") * days / 60.0 * 20.0,
        "energy": runs("energy_kwh_per_day") * days * 0.20,
        "demand": runs("peak_of_all_weeks_kw") * 12 * 10.0,
        "water": runs("water_lost_kg_per_day") * days * 0.5,
        # Bays a battery and 150 mm long, and as wide with half of their aisle.
        "floor": (4 * 1.05 * (0.75 + 2.3 / 2.0) + 4 * 1.15 * (0.75 + 1.6 / 2.0)) * 60.0,
    }
    found = {line.what: line.per_year.value for line in plan.money.lines}
    assert found == pytest.approx(expected, rel=1e-6)
    scheduled_h = (3 * 16 + 2 * 8 + 2 * 8) * days
    assert plan.money.per_year.value == pytest.approx(sum(expected.values()))
    assert plan.money.per_truck_hour.value == pytest.approx(sum(expected.values()) / (scheduled_h - lost_h))
    bases = {line.what: line.basis for line in plan.money.lines}
    assert bases["attendants on duty"].endswith(" hands-on: 2,080 h shared and 4,160 h of area 'lifted'")


def test_energy_and_water_are_those_of_all_areas() -> None:
    parts = [Measured(of_area(record(), area)) for area in BATTERIES]
    kwh = sum(float(np.sum(loads(part)[0])) / 4.0 for part in parts)
    kg = sum(gas_measures(part)["water_lost_kg_per_day"] * 5.0 for part in parts)
    amounts = [planned().evidence.mean(name) * 5.0 for name in ("energy_kwh_per_day", "water_lost_kg_per_day")]
    assert amounts == pytest.approx([kwh, kg])


def test_a_comparison_costs_what_the_plan_says() -> None:
    """At equal work."""
    compared = batsim.compare(site(), batsim.Settings(layouts=("mixed", "one way"), workers=1))
    costs = {name: plan.money.at_equal_work.value for name, plan in plans().layouts.items()}
    assert compared.costs == pytest.approx(costs)
    assert compared.impossible == {}


def test_attendants_without_limit_cost_what_they_do() -> None:
    """Those of one area come when they are needed; whoever is shared is on duty."""
    changed = batsim.changed(site(), {"layouts.mixed.areas.lifted.attendants": "unlimited"})
    money = batsim.plan_layouts(changed, batsim.Settings(layouts="mixed", workers=1)).layouts["mixed"].money
    found = {line.what: line.per_year.value for line in money.lines}
    hoist = of_area(record_of(changed, "mixed"), "lifted")
    minutes = sum(row["hands_on_min"] for row in rows_of(hoist, "work") if row["person"] == 0)
    assert minutes > 0.0
    assert found["attendants hands-on"] == pytest.approx(WEEKS * minutes / 60.0 * 30.0)
    assert found["attendants on duty"] == 8 * 5 * WEEKS * 30.0


def test_batteries_last_as_long_as_their_own_use_lets_them() -> None:
    """Those that work two shifts are worn before eight years; all together would not be."""
    plan = batsim.plan_layouts(
        batsim.changed(site(), {"prices.lives.battery": "8 years"}), batsim.Settings(layouts="mixed", workers=1)
    ).layouts["mixed"]
    of = {area: plan.evidence.life_years(area, name) for area, name in BATTERIES.items()}
    assert of["sideways"] < 8.0 < min(of["lifted"], of["plugged in"])
    lives = 6 / of["sideways"] + 5 / of["lifted"] + 2 / of["plugged in"]
    assert plan.evidence.mean("life_years") == pytest.approx(13 / lives)
    assert 13 / lives > 8.0
    found = {line.what: line.per_year.value for line in plan.money.lines}
    shares = (1.0 - 1.06 ** -of["sideways"]) / 0.06, (1.0 - 1.06**-8) / 0.06
    assert found["batteries (small)"] == pytest.approx(6 * 2400.0 / shares[0], rel=1e-6)
    assert found["batteries (large)"] == pytest.approx(5 * 3360.0 / shares[1], rel=1e-6)


# --- air ---


def test_the_ventilation_by_hand() -> None:
    """Both exchange areas fill the battery room, trucks that are plugged in the building."""
    room, building = planned().ventilations
    q = {"sideways": 4 * 0.055 * 24 * 30.0, "lifted": 3 * 0.055 * 24 * 42.0, "plugged in": 2 * 0.055 * 12 * 18.0}
    assert (room.space_name, building.space_name) == ("battery room", "building")
    assert {each.area: each.flow_m3_per_h for each in (*room.gassing, *building.gassing)} == pytest.approx(q)
    assert room.flow_m3_per_h == pytest.approx(q["sideways"] + q["lifted"])
    assert building.flow_m3_per_h == pytest.approx(q["plugged in"])
    assert planned().ventilation is room

    gas = {area: gas_course(of_area(record(), area)) for area in q}
    assert room.simulated_gas_m3_per_h == pytest.approx(np.max(gas["sideways"] + gas["lifted"]))
    assert building.simulated_gas_m3_per_h == pytest.approx(np.max(gas["plugged in"]))
    assert gas_course(record()) == pytest.approx(sum(gas.values()))


@pytest.mark.parametrize(
    ("path", "enough", "too_little", "space"),
    [
        ("room.fan", "325 m3/h", "324 m3/h", "battery room"),  # 158.4 for one area, 166.3 for the other
        ("building.openings", "0.067 m2", "0.066 m2", "building"),  # 28 cm2 for each of 23.76 m3/h
    ],
)
def test_air_is_enough_for_all_areas_of_a_space(path: str, enough: str, too_little: str, space: str) -> None:
    verdicts = []
    for air in (enough, too_little):
        changed = batsim.changed(site(), {path: air})
        plan = batsim.plan_layouts(changed, batsim.Settings(layouts="mixed", workers=1)).layouts["mixed"]
        (check,) = (each for each in plan.checks if (each.subject, each.name) == (space, "air of the room"))
        fans = [line.size for line in plan.equipment if line.item == "exhaust fan with interlock"]
        verdicts.append((check.verdict, len(fans)))
    assert verdicts == [("OK", 0), (FAILS, 1)]


# --- supply ---


def test_the_supply_by_hand() -> None:
    """Loads of each area, one sum, one peak over all areas."""
    supplied = planned().supply
    kw = {"sideways": 24 * 2.4 * 90 / 920.0, "lifted": 24 * 2.4 * 126 / 920.0, "plugged in": 12 * 2.4 * 54 / 920.0}
    number = {"sideways": 4, "lifted": 3, "plugged in": 2}
    assert {load.area: load.number for load in supplied.loads} == number
    assert {load.area: load.kw for load in supplied.loads} == pytest.approx(kw)
    all_kw = sum(number[area] * kw[area] for area in kw)
    assert supplied.all_at_once_kw == pytest.approx(all_kw)
    assert supplied.all_at_once_kva == pytest.approx(all_kw / 0.95)
    assert supplied.continuous_a == pytest.approx(1.25 * all_kw / 0.95 * 1000 / 3**0.5 / 400)

    of_areas = [loads(Measured(of_area(record(), area)))[0] for area in kw]
    peak_kw = float(np.max(np.sum(of_areas, axis=0)))
    assert peak_kw < sum(float(np.max(each)) for each in of_areas)  # not all at one time
    assert supplied.greatest_kw.mean == pytest.approx(peak_kw)
    assert supplied.coincidence_share == pytest.approx(peak_kw / all_kw)


# --- checks ---


def failing(changes: dict[str, Any]) -> list[Check]:
    """Checks at once that fail or have to be looked at with some changes; none do without."""
    return [check for check in checks_at_once(batsim.changed(site(), changes), "mixed") if check.verdict != "OK"]


@pytest.mark.parametrize(
    ("changes", "about"),
    [
        ({"batteries.small.mass": "901 kg"}, {"area 'sideways': reach, battery mass"}),
        ({"batteries.large.mass": "1201 kg"}, {"area 'lifted': yard, battery mass", "area 'lifted': hoist, rated mass",
                                               "area 'lifted': spreader beam, rated mass"}),
        ({"batteries.low.mass": "301 kg"}, {"area 'plugged in': pickers, battery mass"}),
        ({"trucks[2].compartment.voltage": "48 V"}, {"area 'plugged in': pickers, voltage"}),
        ({"trucks[0].compartment.removal": "top"}, {"area 'sideways': reach, battery removal"}),
        ({"equipment.battery_carriage.length": "1950 mm"}, {"area 'sideways': battery room, aisle"}),
        ({"equipment.hoist.hook_height": "0.9 m"}, {"area 'lifted': hoist, height of the hook"}),
        ({"room.floor_load": "15 kN/m2"},
         {"area 'lifted': battery room, load on the floor"}),
        ({"room.aisle": "2 m"}, {"area 'sideways': battery room, aisle"}),
        ({"equipment.battery_carriage.moved": "by_hand"},
         {"area 'sideways': carriage with a battery, push and pull by hand"}),
        # 7.98 m2 for the bays of one area and 7.13 m2 for those of the other.
        ({"room.length": "5 m", "room.width": "3 m"}, {"battery room, floor area"}),
        ({"room.wash": "20 m"}, {"acid work, way to eyewash and shower"}),
    ],
)  # fmt: skip
def test_each_check_turns_on_its_own(changes: dict[str, Any], about: set[str]) -> None:
    """In the one area that it is about, or for the room that areas share."""
    assert {check.about for check in failing(changes)} == about


def test_all_fits_as_it_is() -> None:
    assert failing({}) == []
    assert failing({"room.length": "5.1 m", "room.width": "3 m"}) == []  # 15.3 m2, where 15.11 m2 are needed
    assert planned().failing == 0


def test_a_layout_is_impossible_when_one_of_its_areas_is() -> None:
    """And the reason names the area; the other layouts are not touched."""
    heavy = batsim.changed(site(), {"trucks[0].compartment.removal": "top"})
    assert impossible_layouts(heavy, heavy.layouts).keys() == {"mixed", "today"}
    assert impossible_layouts(heavy, ["mixed"])["mixed"].startswith("area 'sideways': reach, battery removal: ")
    plan = batsim.plan_layouts(heavy, batsim.Settings(layouts=("mixed", "one way"), workers=1))
    advised = batsim.recommend(plan)
    assert advised.layout == "one way"
    assert advised.ranking[-1] == "mixed"
    assert "Layout 'mixed' is impossible (area 'sideways': reach, battery removal" in " ".join(advised.reasons)


@pytest.mark.parametrize(
    ("changes", "areas"),
    [
        ({"batteries.small.charge_from": "21 degC"}, {"sideways"}),
        ({"batteries.low.charge_below": "15 degC"}, {"plugged in"}),
        ({"trucks[1].duty": {"mean_power": "20 kW", "between_shifts": "60 %"}}, {"lifted"}),
    ],
)
def test_what_was_simulated_is_checked_for_each_area(changes: dict[str, Any], areas: set[str]) -> None:
    """Temperatures of its batteries, and the powers drawn by its groups."""
    changed = batsim.changed(site(), {"charging": {"too_warm_or_cold": "start"}} | changes)
    plan = batsim.plan_layouts(changed, batsim.Settings(layouts="mixed", workers=1)).layouts["mixed"]
    names = {"temperature at the start of charges", "power of the work"}
    assert {check.area for check in plan.checks if check.name in names and check.verdict == FAILS} == areas


def test_what_is_asked_is_asked_where_the_file_states_it() -> None:
    """A group of the third area is the third of the file."""
    unknown = batsim.changed(site(), {"trucks[2].compartment.battery_mass": None})
    asked = [check.path for check in checks_at_once(unknown, "mixed") if check.ask]
    assert asked == ["trucks[2].compartment.battery_mass"]


def test_the_chosen_layout_says_what_to_order_over_areas() -> None:
    """Chargers of both areas that have the type together."""
    changed = batsim.changed(site(), {"layouts.mixed.owned": {}})
    order = batsim.recommend(batsim.plan_layouts(changed, batsim.Settings(layouts="mixed", workers=1))).order
    assert "5 x battery (large), 6 x battery (small), 7 x charger (e48), 2 x charger (e24)" in order


# --- views ---


def test_the_report_shows_spaces_and_areas() -> None:
    html = batsim.report_html(batsim.plan_layouts(site(), batsim.Settings(layouts="mixed", workers=1)))
    for text in (
        "Ventilation of the battery room",
        "Ventilation of the building",
        "charger (e48) for area 'lifted'",
    ):
        assert text in html
    assert [f"Hydrogen in the air of the {space} of layout" in html for space in ("battery room", "building")] == [
        True
    ] * 2
    assert '<td class="n">day\N{NO-BREAK SPACE}2, late\N{NO-BREAK SPACE}1</td>' in html


def test_a_plan_of_the_room_is_of_an_area() -> None:
    """A layout of several areas has one for each that states a floor."""
    rows = [{"row": "A", "at": ["1 m", "3 m"], "pitch": "1.2 m"}]
    floor = {"stations": {"at": ["2 m", "0 m"], "pitch": "4 m"}, "rows": rows}
    placed = batsim.changed(site(), {"layouts.mixed.areas.lifted.floor": floor})
    found = room_plan(placed, "mixed", "lifted")
    assert found is not None
    assert len(found.bays) == 4
    assert room_plan(placed, "mixed", "sideways") is None
    drawn = batsim.room_plan_chart(placed, "mixed", area="lifted")
    assert drawn.get_title(loc="left") == "mixed, lifted: plan of the room"
    rule = r"layout 'mixed' has areas of its own: name one of sideways, lifted, plugged in \(got 'hall'\)"
    with pytest.raises(ValueError, match=rule):
        room_plan(placed, "mixed", "hall")
