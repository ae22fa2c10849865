"""Lots of batteries and chargers of several types in one room: what is stated of them is found again in a run."""

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.measures.parts import lot_measures, type_measures
from batsim.record.part import lots_of
from batsim.record.record import Record
from batsim.room.plans.blueprint import blueprint_of
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from tests.runs import record_of

LOTS = "layouts.today.batteries.lead"
LOST, CALENDAR = "battery.vented_lead_acid.capacity_lost", "battery.vented_lead_acid.life_calendar"


@cache
def site() -> Scenario:
    """Four trucks; today six batteries of 2019 and two new ones, three old chargers and two of another type."""
    return batsim.read(Path(__file__).parents[1] / "unit" / "cases" / "mixed_stock.yaml")


def run(changes: dict[str, Any], layout: str = "today", weeks: float = 1.0) -> Record:
    """One run of the site with something stated otherwise."""
    return record_of(batsim.changed(site(), {"present": None} | changes), layout, length_min=weeks * WEEK_MIN)


def at_start(record: Record) -> dict[str, list[tuple[float, float]]]:
    """Capacity left and share of life used of the batteries of each lot."""
    found: dict[str, list[tuple[float, float]]] = {}
    rows = record.columns("batteries")
    for lot, capacity, used in zip(lots_of(record), rows["capacity_share"], rows["life_used_share"], strict=True):
        found.setdefault(lot, []).append((float(capacity), float(used)))
    return found


def test_each_battery_begins_as_its_lot_says() -> None:
    """90 % of its life, 90 % of the capacity, 20 to 40 % and six years; a life takes 20 % of the capacity."""
    lost, calendar = (site().figures.number(name) for name in (LOST, CALENDAR))
    record = run({LOTS: ["2 x new", "2 x bought 2019", "2 x measured", "3 x second hand", "1 x six years old"]})
    found = at_start(record)
    assert lost == pytest.approx(0.2)
    assert found["new"] == [(1.0, 0.0)] * 2
    assert found["bought 2019"] == [(pytest.approx(1.0 - 0.2 * 0.9), 0.9)] * 2
    assert found["measured"] == [(pytest.approx(0.9), pytest.approx(0.5))] * 2
    assert found["six years old"] == [(pytest.approx(1.0 - 0.2 * 6 / calendar), pytest.approx(6 / calendar))]
    used = [used for _, used in found["second hand"]]
    assert len(set(used)) == 3
    assert all(0.2 < each < 0.4 for each in used)
    assert list(record.columns("batteries")["age_years"]) == [0.0] * 9 + [6.0]


def test_a_measured_capacity_stands_beside_a_stated_life() -> None:
    lots = {"tired": {"life_used": "50 %", "capacity_left": "60 %"}, "worn out": {"capacity_left": "60 %"}}
    layouts = {"today": {"handling": "portable_stands", "batteries": ["5 x tired", "5 x worn out"],
                         "chargers": "4 x electronic_iuia"}}  # fmt: skip
    found = at_start(run({"batteries.lead.lots": lots, "layouts": layouts}))
    assert found == {"tired": [(pytest.approx(0.6), 0.5)] * 5, "worn out": [(pytest.approx(0.6), 1.0)] * 5}


def test_a_worn_battery_gives_less_and_its_truck_comes_sooner() -> None:
    """At 60 % of the capacity a discharge to 25 % gives 60 % of 375 Ah, whatever the current where that is all one."""
    changes = {
        "batteries.lead.lots.measured.capacity_left": "60 %",
        "batteries.lead.peukert": 1.0,
        "batteries.lead.equalising": "none",
        LOTS: ["6 x new", "6 x measured"],
        "layouts.today.chargers": "12 x electronic_iuia",
    }
    record = run(changes, weeks=4.0)
    rows, lots = record.columns("discharges"), lots_of(record)
    first: dict[str, list[tuple[float, float]]] = {"new": [], "measured": []}
    for battery in range(12):
        row = np.flatnonzero(rows["battery"] == battery)[0]
        depth = rows["soc_from_share"][row] - rows["soc_to_share"][row]
        minutes = rows["end_min"][row] - rows["start_min"][row]
        first[lots[battery]].append((rows["drawn_ah"][row] / depth, minutes / depth))
    drawn, worked = (
        {lot: np.array([each[column] for each in values]) for lot, values in first.items()} for column in (0, 1)
    )
    assert drawn["new"] == pytest.approx([500.0] * 6, rel=0.03)
    assert drawn["measured"] == pytest.approx([300.0] * 6, rel=0.03)
    assert np.min(worked["measured"]) / np.min(worked["new"]) == pytest.approx(0.6, rel=0.05)
    visits = {lots: len(run(changes | {LOTS: [f"12 x {lots}"]}, weeks=4.0).columns("exchanges")["truck"])
              for lots in ("new", "measured")}  # fmt: skip
    assert visits["measured"] > 1.4 * visits["new"]


def test_another_battery_of_one_lot_shifts_no_draw_of_another() -> None:
    few, many = (
        at_start(run({LOTS: [f"{count} x new", "3 x second hand"], "batteries.lead.capacity_spread": "5 %"}))
        for count in (5, 6)
    )
    assert few["second hand"] == many["second hand"]
    assert many["new"][:5] == few["new"]


@pytest.mark.parametrize(("picking", "first"), [("least_worn", "new"), ("most_worn", "bought 2019")])
def test_batteries_are_picked_by_their_wear(picking: str, first: str) -> None:
    """The first truck that comes finds all spares ready; over a month the lot that is picked first is used most."""
    record = run({LOTS: ["4 x measured", "2 x new", "2 x bought 2019"], "layouts.today.picking": picking}, weeks=4.0)
    exchanges, lots = record.columns("exchanges"), lots_of(record)
    done = np.flatnonzero(exchanges["charged"] >= 0)
    begun = done[np.argsort(exchanges["start_min"][done], kind="stable")]
    assert [lots[int(exchanges["charged"][row])] for row in begun[:2]] == [first] * 2
    each = {lot: lot_measures(record, "lead", lot)["cycles_per_battery_per_year"] for lot in ("new", "bought 2019")}
    assert (each["new"] > each["bought 2019"]) == (first == "new")


@pytest.mark.parametrize(
    ("order", "names"),
    [
        ("as_listed", ["weak", "old", "strong"]),
        ("strongest_first", ["strong", "weak", "old"]),
        ("most_efficient_first", ["weak", "strong", "old"]),
    ],
)
@pytest.mark.parametrize("handling", ["side_rollers", "in_truck"])
def test_chargers_are_taken_in_the_stated_order(order: str, names: list[str], handling: str) -> None:
    """Of several that are free; each battery takes the first that is."""
    chargers = {
        "strong": {"from": "electronic_iuia", "main_current": "120 A", "efficiency": "90 %"},
        "weak": {"from": "electronic_iuia", "main_current": "85 A", "efficiency": "95 %"},
        "old": {"from": "line_frequency_w", "main_current": "80 A", "efficiency": "80 %", "discontinued": True},
    }
    layout: dict[str, Any] = {"handling": handling, "charger_order": order}
    layout |= {"chargers": ["1 x weak", "1 x old", "1 x strong"], "batteries": ["4 x new"]}
    if handling == "side_rollers":
        layout |= {"batteries": ["9 x new"], "attendants": {"day": 1}, "charger_leads": "loose"}
    else:
        layout |= {"in_truck": {"in_breaks": False}}
    record = run({"chargers": chargers, "layouts": {"today": layout}, "trucks[0].duty.mean_power": "2 kW"}, weeks=2.0)
    rows, known, asked = record.columns("chargers"), ["weak", "old", "strong"], 0
    since, until = rows["from_min"], np.nan_to_num(rows["to_min"], nan=np.inf)
    for number, start in zip(rows["charger"], since, strict=True):
        taken = {known[int(other)] for other in rows["charger"][(since < start) & (until >= start)]}
        free = [name for name in names if name not in taken]
        if len(free) > 1 and np.count_nonzero(since == start) == 1:
            asked += 1
            assert known[int(number)] == free[0]
    assert asked > 3
    assert set(rows["charger"]) == {0.0, 1.0, 2.0}


def test_lots_are_shared_out_over_trucks_that_keep_their_own() -> None:
    """In the order in which they are counted, two for each truck and the rest for the first."""
    changed = batsim.changed(
        site(), {"present": None, "trucks[0].own_batteries": True, LOTS: ["3 x bought 2019", "6 x new"]}
    )
    plans = blueprint_of(changed, "today", WEEK_MIN, 0.0).battery_plans
    assert [[(lot.name, lot.batteries) for lot in plan.lots] for plan in plans] == [
        [("bought 2019", 3)], [("new", 2)], [("new", 2)], [("new", 2)],
    ]  # fmt: skip
    assert len({lot.entity for plan in plans for lot in plan.lots}) == 4


def test_a_truck_may_keep_one_battery_of_each_of_two_lots() -> None:
    """Of six and two, the sixth and the seventh."""
    (plan,) = blueprint_of(site(), "today", WEEK_MIN, 0.0).battery_plans
    kept = plan.kept_by(0, "trucks 1", 5, 2)

    assert [(lot.name, lot.batteries) for lot in plan.lots] == [("bought 2019", 6), ("new", 2)]
    assert [(lot.name, lot.batteries) for lot in kept.lots] == [("bought 2019", 1), ("new", 1)]


def test_the_first_lot_is_in_the_first_trucks() -> None:
    """In the truck, where each keeps its battery."""
    layout = {"handling": "in_truck", "chargers": "4 x electronic_iuia", "batteries": ["1 x bought 2019", "3 x new"]}
    record = run({"layouts": {"today": layout}})
    rows = record.columns("discharges")
    pairs = zip(rows["truck"].astype(int).tolist(), rows["battery"].astype(int).tolist(), strict=True)
    found = {truck: lots_of(record)[battery] for truck, battery in pairs}
    assert found == {0: "bought 2019", 1: "new", 2: "new", 3: "new"}


def test_what_is_left_of_a_life_follows_from_what_is_behind_it() -> None:
    """A tenth of its life at this pace; at no work what its age leaves; what lasts less than a year is due."""
    record = run({}, weeks=4.0)
    old, new = (lot_measures(record, "lead", lot) for lot in ("bought 2019", "new"))
    wear = batsim.measures.wear.battery_wear(batsim.measures.windows.Measured(record))  # type: ignore[attr-defined]
    by_duty = 28.0 / 365.25 / wear["damage"]
    numbers = np.array(lots_of(record)) == "bought 2019"
    assert old["life_left_years"] == pytest.approx(np.mean(0.1 * by_duty[numbers]))
    assert (old["replacements_due"], new["replacements_due"]) == (6.0, 0.0)
    assert type_measures(record, "lead")["replacements_due"] == 6.0
    calendar = site().figures.number(CALENDAR)
    idle = run({"trucks[0].duty.mean_power": "0.1 kW", LOTS: ["4 x new", "1 x six years old"]})
    assert lot_measures(idle, "lead", "six years old")["life_left_years"] == pytest.approx(calendar - 6.0)
    assert lot_measures(idle, "lead", "new")["life_left_years"] <= calendar


def test_what_lots_do_adds_up_to_what_their_type_does() -> None:
    record = run({}, weeks=4.0)
    whole = type_measures(record, "lead")
    lots = [lot_measures(record, "lead", lot) for lot in ("bought 2019", "new")]
    for name in ("batteries", "discharges_ended", "charges_ended", "energy_drawn_kwh_per_day", "replacements_due"):
        assert sum(lot[name] for lot in lots) == pytest.approx(whole[name]), name
    assert [lot["batteries"] for lot in lots] == [6.0, 2.0]
    mean = sum(lot["life_left_years"] * lot["batteries"] for lot in lots) / 8.0
    assert mean == pytest.approx(whole["life_left_years"])


def test_results_tell_lots_apart() -> None:
    runs = batsim.run(site(), batsim.Settings(weeks=1, replications=2, workers=1))
    by_type = runs.as_json()["layouts"]["rented"]["battery_types"]["lead"]
    assert {name: lot["measures"]["batteries"]["mean"] for name, lot in by_type["lots"].items()} == {
        "bought 2019": 4.0, "rented": 5.0, "second hand": 1.0,
    }  # fmt: skip
    frame = runs.frame_by_lot
    assert list(frame.columns[:4]) == ["battery_type", "lot", "layout", "measure"]
    rows = frame[(frame["measure"] == "batteries") & (frame["layout"] == "today")]
    assert rows[["battery_type", "lot", "mean"]].to_numpy().tolist() == [
        ["lead", "bought 2019", 6.0],
        ["lead", "new", 2.0],
    ]


def in_two_areas(chargers: int = 1) -> Scenario:
    """Trucks of one battery type in two areas, each with batteries of two lots and old chargers."""
    trucks = [
        {"group": group, "count": 2, "shifts": ["day"], "battery": "lead", "duty": {"mean_power": "2.5 kW"}}
        for group in ("north", "south")
    ]
    areas = {
        "north hall": {"for": ["north"], "batteries": ["3 x bought 2019", "1 x new"], "chargers": "1 x old"},
        "south hall": {"for": ["south"], "batteries": ["2 x second hand", "3 x new"], "chargers": f"{chargers} x old"},
    }
    areas = {name: {"handling": "portable_stands"} | area for name, area in areas.items()}
    one = {"handling": "portable_stands", "batteries": ["9 x bought 2019"], "chargers": "2 x old"}
    layouts = {"halls": {"areas": areas}, "today": one}
    return batsim.changed(site(), {"trucks": trucks, "layouts": layouts})


def test_lots_in_two_areas_are_counted_together() -> None:
    scenario = in_two_areas()
    assert scenario.batteries_of("halls")["lead"].lots == {"bought 2019": 3, "new": 4, "second hand": 2}
    record = record_of(scenario, "halls", length_min=WEEK_MIN)
    assert lots_of(record) == (*["bought 2019"] * 3, "new", *["second hand"] * 2, *["new"] * 3)
    assert lot_measures(record, "lead", "new")["batteries"] == 4.0


def test_what_can_no_longer_be_had_is_kept_to_what_is_there_over_all_areas() -> None:
    with pytest.raises(batsim.ScenarioError, match=r"halls.*2 are there .in layout 'today'.*got 3 x old"):
        in_two_areas(chargers=2)
