"""Batteries warm up in use and on charge and cool at rest as the closed forms say, and that has its consequences."""

import math
from collections import defaultdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.formulas.heat import charge_end_degc, charge_heat_kwh, cool_down_h, discharge_heat_w
from batsim.measures import measure
from batsim.measures.windows import Worked
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.scenario.chemistry import capacity_factor_of, rated_cell, thermal_of
from batsim.scenario.site import Scenario
from tests.behaviour.ledger import by, room, rows_of, run, started
from tests.closed_forms import mean_temperature_degc, temperature_after_degc, work_on_battery

AIR, ROOM, DRAWS = "trucks[0].air", "site.room_temperature", "trucks[0].duty"
LEAD, CHARGERS, SHIFTS = "batteries.lead", "layouts.room.chargers", "week.shifts"
PAUSES = ["06:00 for 30 min", "15:00 for 45 min"]
BREAKS = {"always": {"days": "Mon-Sun", "from": "00:00", "to": "24:00", "breaks": PAUSES}}
GEL = {"from": "valve_regulated_24v", "capacity": "900 Ah at 5 h", "cells": 24, "equalising": "none"}
LITHIUM = {"from": "lithium_ion_48v", "capacity": "700 Ah at 5 h", "cool_down": "2 h"}
ROOMS = {
    "IUIa": {},
    "breaks": {SHIFTS: BREAKS},
    "cold work": {AIR: "-20 degC"},
    "W": {CHARGERS: "12 x line_frequency_w"},
    "gel IU": {LEAD: GEL, CHARGERS: "12 x gel_iu"},
    "gel IUI": {LEAD: GEL, CHARGERS: "12 x gel_iui", ROOM: "24 degC"},
    "lithium": {LEAD: LITHIUM, CHARGERS: "12 x lithium_cc_cv"},
}
NEAR_K = 1e-6


def lead(scenario: Scenario):
    """The only battery type."""
    return scenario.batteries["lead"]


def air(scenario: Scenario) -> float:
    """Air of the room, all year. [degC]"""
    return scenario.site.room_air.winter_degc


def stored_ah(record: Record, charge: dict[str, Any]) -> float:
    return (charge["soc_to_share"] - charge["soc_from_share"]) * record.facts.battery_types[0].capacity_ah


def lives(record: Record) -> list[tuple[dict[str, Any], dict[str, Any], dict[str, Any] | None]]:
    """Each charge with the discharge before it, and the discharge after it where there is one."""
    discharges = by("battery", rows_of(record, "discharges"))
    found = []
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for number, charge in enumerate(charges):
            after = discharges[battery][number + 1] if number + 1 < len(discharges[battery]) else None
            found.append((discharges[battery][number], charge, after))
    return found


# --- closed forms --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROOMS)
def test_a_charge_ends_as_warm_as_its_heat_makes_it(name: str):
    """Heat: what went in, less what was stored, less what left as gas, spread evenly over its hours."""
    scenario = room(ROOMS[name])
    record, thermal = run(scenario), thermal_of(lead(scenario), FIGURES)
    charges = started(rows_of(record, "charges"))
    assert len(charges) > 20
    for charge in charges:
        stored = stored_ah(record, charge)
        heat_kwh = charge_heat_kwh(
            charge["charged_kwh"],
            stored,
            charge["charged_ah"] - stored,
            lead(scenario).cells,
            storing_v=thermal.storing_v,
            splitting_v=thermal.splitting_v,
        )
        hours = (charge["end_min"] - charge["start_min"]) / 60.0
        end = charge_end_degc(
            charge["start_degc"], air(scenario), heat_kwh, thermal.room_loss_w_per_k, thermal.room_tau_h, hours
        )
        assert charge["end_degc"] == pytest.approx(end, abs=NEAR_K)
        if lead(scenario).chemistry == "vented_lead_acid":
            assert charge["end_degc"] > charge["start_degc"] + 5.0


@pytest.mark.parametrize("name", ROOMS)
def test_a_battery_at_rest_cools_towards_the_room(name: str):
    """From discharge to charge, and from charge to the next discharge, with the time constant of its bay."""
    scenario = room(ROOMS[name])
    record = run(scenario)
    tau_h = record.facts.battery_types[0].room_tau_h

    def rested(degc: float, since_min: float, until_min: float) -> float:
        return temperature_after_degc(degc, air(scenario), 0.0, 1.0, tau_h, (until_min - since_min) / 60.0)

    after_charge = 0
    for before, charge, after in lives(record):
        assert before["end_min"] <= charge["start_min"]
        start = rested(before["end_degc"], before["end_min"], charge["start_min"])
        assert charge["start_degc"] == pytest.approx(start, abs=NEAR_K)
        if after is not None:
            start = rested(charge["end_degc"], charge["end_min"], after["start_min"])
            assert after["start_degc"] == pytest.approx(start, abs=NEAR_K)
            after_charge += 1
    assert after_charge > 10


@pytest.mark.parametrize("name", ROOMS)
def test_a_discharge_warms_the_battery_by_its_current(name: str):
    """Mean and end temperature from the Joule heat of its mean current, spread over its breaks too."""
    scenario = room(ROOMS[name])
    record, thermal, cell = run(scenario), thermal_of(lead(scenario), FIGURES), rated_cell(lead(scenario), FIGURES)
    work_air = scenario.trucks[0].air or scenario.site.room_air
    worked = Worked(record.facts.group_windows[0])
    tau_h = record.facts.battery_types[0].truck_tau_h
    assert tau_h == thermal.truck_tau_h
    rises = []
    for discharge in rows_of(record, "discharges"):
        at_work_h = worked.between(discharge["start_min"], discharge["end_min"]) / 60.0
        hours = (discharge["end_min"] - discharge["start_min"]) / 60.0
        heat_w = discharge_heat_w(
            discharge["drawn_ah"] / at_work_h, cell.cells, cell.resistance_ohm_ah, cell.capacity_ah
        )
        known = (
            discharge["start_degc"], work_air.winter_degc, heat_w * at_work_h / hours,
            thermal.truck_loss_w_per_k, tau_h,
            hours,
        )  # fmt: skip
        assert discharge["mean_degc"] == pytest.approx(mean_temperature_degc(*known), abs=0.1)
        assert discharge["end_degc"] == pytest.approx(temperature_after_degc(*known), abs=0.1)
        cold = (*known[:2], 0.0, *known[3:])
        rises.append(discharge["end_degc"] - temperature_after_degc(*cold))
    assert max(rises) > 0.5


@pytest.mark.parametrize("name", ROOMS)
def test_a_discharge_is_as_long_as_its_mean_temperature_allows(name: str):
    """Capacity at its mean temperature, less what the battery has lost to wear; never more than the rated one."""
    scenario = room(ROOMS[name])
    record, cell, factor = (
        run(scenario),
        rated_cell(lead(scenario), FIGURES),
        capacity_factor_of(lead(scenario), FIGURES),
    )
    worked = Worked(record.facts.group_windows[0])
    damage: dict[int, float] = defaultdict(float)
    full = 0
    for discharge in rows_of(record, "discharges"):
        aged = 1.0 - 0.2 * damage[discharge["battery"]]
        levels, left = (discharge["soc_from_share"], discharge["soc_to_share"]), factor(discharge["mean_degc"]) * aged
        hours, ah = work_on_battery(*levels, 3000.0, cell, left)
        assert worked.between(discharge["start_min"], discharge["end_min"]) == pytest.approx(60.0 * hours, rel=2e-3)
        assert discharge["drawn_ah"] == pytest.approx(ah, rel=2e-3)
        assert discharge["drawn_kwh"] == pytest.approx(3.0 * hours, rel=2e-3)
        damage[discharge["battery"]] += discharge["damage"]
        full += discharge["soc_from_share"] == 1.0
    assert full > 20


# --- the air -------------------------------------------------------------------------------------------------


def full_discharges(record: Record) -> list[dict[str, Any]]:
    return [row for row in rows_of(record, "discharges") if row["soc_from_share"] == 1.0]


def mean_of(rows: list[dict[str, Any]], value: Any) -> float:
    assert rows
    return float(np.mean([value(row) for row in rows]))


def test_the_colder_the_air_at_work_the_shorter_the_discharges():
    """Shorter discharges, more exchanges: of a battery that gets no more than its rated capacity from weak currents."""
    plain = {LEAD + ".peukert": 1.0}
    records = [run(room({**plain, AIR: degc}), weeks=2.0) for degc in ("25 degC", "0 degC", "-20 degC")]
    lengths = [mean_of(full_discharges(each), lambda row: row["end_min"] - row["start_min"]) for each in records]
    exchanges = [measure(each)["exchanges_per_day"] for each in records]
    assert lengths[0] > 1.04 * lengths[1]
    assert lengths[1] > 1.04 * lengths[2]
    assert exchanges[0] < exchanges[1] < exchanges[2]


def charge_hours(record: Record) -> list[float]:
    return [(row["end_min"] - row["start_min"]) / 60.0 for row in started(rows_of(record, "charges"))]


def test_the_colder_the_room_the_longer_a_charge_takes():
    """The same ampere-hours, which a run time stands for; a cold battery accepts them more slowly."""
    timed = {DRAWS: None, "trucks[0].run_time": "9 h", "trucks[0].first_run": {"first": "8 h", "every": "3 h"}}
    rooms = [run(room({**timed, ROOM: f"{degc} degC"})) for degc in (30, 20, 10)]
    given = [mean_of(started(rows_of(each, "charges")), lambda row: row["charged_ah"]) for each in rooms]
    assert given == pytest.approx([given[0]] * 3, rel=1e-9)
    warm, mild, cold = (min(charge_hours(each)) for each in rooms)
    assert warm * 1.002 < mild < cold / 1.002


@pytest.mark.parametrize("key", ["forced_air", "cooling_time_constant"])
def test_air_moved_about_the_batteries_makes_cooler_starts(key: str):
    """The fan's coefficient is 1.8 times that of still air; a stated time constant is taken as it is."""
    still = run(room())
    moved = run(room({LEAD + "." + key: True if key == "forced_air" else "3 h"}))
    starts = [[row["start_degc"] for row in full_discharges(each)[-20:]] for each in (still, moved)]
    assert max(starts[1]) < min(starts[0])
    tau = [each.facts.battery_types[0].room_tau_h for each in (still, moved)]
    assert tau[1] == pytest.approx(tau[0] / 1.8 if key == "forced_air" else 3.0)


# --- when a charge may begin ---------------------------------------------------------------------------------

STORE = {AIR: "-20 degC", DRAWS: {"mean_power": "1.5 kW", "between_trucks": "0 %", "between_shifts": "0 %"}}


def test_a_cold_battery_waits_until_it_has_warmed():
    """It comes from a store at -20 degC into a room at 20 degC, and starts at 10 degC sharp."""
    record = run(room(STORE), weeks=2.0)
    late = [(before, charge) for before, charge, _ in lives(record) if charge["delayed_min"] > 0.0]
    assert len(late) > 10
    tau_h = record.facts.battery_types[0].room_tau_h
    for before, charge in late:
        assert before["end_degc"] < 10.0
        assert charge["start_degc"] == pytest.approx(10.0, abs=0.1)
        wait_h = (charge["delayed_min"] + charge["connected_min"] - before["end_min"]) / 60.0
        assert temperature_after_degc(before["end_degc"], 20.0, 0.0, 1.0, tau_h, wait_h) == pytest.approx(
            10.0, abs=1e-3
        )
        assert charge["start_min"] == pytest.approx(charge["connected_min"] + charge["delayed_min"])
    assert all(row["start_degc"] >= 10.0 - 1e-3 for row in started(rows_of(record, "charges")))
    assert measure(record)["outside_temperature_share"] == 0.0
    assert measure(record)["delayed_share"] > 0.2


def test_a_cold_battery_starts_at_once_where_the_room_says_so():
    record = run(room({**STORE, "charging": {"too_warm_or_cold": "start"}}), weeks=2.0)
    charges = started(rows_of(record, "charges"))
    assert all(row["delayed_min"] == 0.0 and row["start_min"] == row["connected_min"] for row in charges)
    cold = [row["start_degc"] < 10.0 - 1e-3 for row in charges if row["start_min"] < record.facts.horizon_min]
    assert measure(record)["outside_temperature_share"] == pytest.approx(np.mean(cold))
    assert np.mean(cold) > 0.2


def test_a_room_that_never_warms_it_charges_it_all_the_same():
    record = run(room({ROOM: "5 degC", AIR: "-20 degC"}))
    charges = started(rows_of(record, "charges"))
    assert any(row["start_degc"] < 9.0 for row in charges)
    assert all(row["delayed_min"] == 0.0 for row in charges if row["start_degc"] < 10.0)


HARD = {
    "trucks[0].duty.mean_power": "6 kW",
    "layouts.room.batteries": 24,
    "layouts.room.chargers": "20 x electronic_iuia",
}


def test_a_charge_that_would_end_too_warm_is_delayed():
    """Limit of 55 degC at the end, in a room at 40.5 degC; without the limit charges end warmer."""
    scenario = room({**HARD, ROOM: "40.5 degC"})
    charges = started(rows_of(run(scenario), "charges"))
    assert sum(row["delayed_min"] > 30.0 for row in charges) > 20
    assert all(row["end_degc"] <= 55.0 + 0.1 for row in charges)
    assert all(row["end_degc"] == pytest.approx(55.0, abs=0.1) for row in charges if row["delayed_min"] > 0.0)
    at_once = started(rows_of(run(batsim.changed(scenario, {"charging": {"too_warm_or_cold": "start"}})), "charges"))
    assert max(row["end_degc"] for row in at_once) > 56.0
    assert all(row["delayed_min"] == 0.0 for row in at_once)


def test_in_a_room_that_is_too_warm_a_charge_waits_for_its_start_alone():
    """44 degC: every charge would end above 55 degC, however long it waited; none begins above 45 degC."""
    scenario = room({**HARD, ROOM: "44 degC"})
    record, tau_h = run(scenario), thermal_of(lead(scenario), FIGURES).room_tau_h
    charges = started(rows_of(record, "charges"))
    for charge in charges:
        spans = (charge["end_min"] - charge["start_min"]) / 60.0 / tau_h
        assert charge["end_degc"] - (charge["start_degc"] - 44.0) * math.exp(-spans) > 55.0
        assert charge["start_degc"] <= 45.0 + 1e-3
        if charge["delayed_min"]:
            assert charge["start_degc"] == pytest.approx(45.0, abs=0.1)
    assert sum(row["delayed_min"] > 0.0 for row in charges) > 20


# --- cooling down --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("degc", [20, 30])
def test_a_battery_has_cooled_down_when_it_is_cool_enough(degc: int):
    """When the closed form reaches `cool_to`, and never after `cool_down`."""
    scenario = room({ROOM: f"{degc} degC", LEAD + ".cool_to": "32 degC"})
    record = run(scenario)
    tau_h = record.facts.battery_types[0].room_tau_h
    early = late = 0
    for charge in started(rows_of(record, "charges")):
        hours = min(8.0, cool_down_h(charge["end_degc"], float(degc), 32.0, tau_h))
        assert charge["cooled_min"] - charge["end_min"] == pytest.approx(60.0 * hours, abs=1e-4)
        early += hours < 8.0
        late += hours == 8.0
    assert (early if degc == 20 else late) > 20


def test_the_room_that_never_cools_it_rests_it_for_the_stated_time():
    record = run(room({ROOM: "36 degC", LEAD + ".cool_to": "32 degC"}))
    assert {row["cooled_min"] - row["end_min"] for row in started(rows_of(record, "charges"))} == {480.0}


def test_batteries_that_rest_less_are_used_warmer():
    """Few batteries in a room at 35 degC; 45 degC at the start counts as hot."""
    few = {ROOM: "35 degC", "layouts.room.batteries": 8}
    shares, means = [], []
    for hours in (8, 2, 0):
        found = measure(run(room({**few, LEAD + ".cool_down": f"{hours} h"}), weeks=2.0))
        shares.append(found["hot_starts_share"])
        means.append(found["use_degc_mean"])
    assert shares[0] < shares[1] <= shares[2]
    assert shares[2] > shares[0] + 0.2
    assert means[0] < means[1] <= means[2]


# --- seasons and stated temperatures -------------------------------------------------------------------------


def same_rows(one: Record, other: Record) -> bool:
    return all(repr(one.rows(table)) == repr(other.rows(table)) for table in TABLES)


def test_the_coldest_week_has_the_temperature_of_winter():
    winter = run(room({ROOM: {"winter": "12 degC", "summer": "28 degC"}, "simulation.start_week": 3}))
    summer = run(room({ROOM: {"winter": "12 degC", "summer": "28 degC"}, "simulation.start_week": 29}))
    assert same_rows(winter, run(room({ROOM: "12 degC"})))
    warm = run(room({ROOM: "28 degC"}))
    assert summer.count("charges") == warm.count("charges")
    for table, column in (("discharges", "mean_degc"), ("charges", "end_degc")):
        assert summer.columns(table)[column] == pytest.approx(warm.columns(table)[column], abs=0.02, nan_ok=True)
        assert np.nanmean(summer.columns(table)[column]) > np.nanmean(winter.columns(table)[column]) + 5.0


def test_the_air_of_the_trucks_has_its_seasons_too():
    cold = run(room({AIR: {"winter": "-10 degC", "summer": "30 degC"}, "simulation.start_week": 3}))
    assert same_rows(cold, run(room({AIR: "-10 degC"})))


def test_seasons_without_a_difference_are_one_temperature():
    both = {ROOM: {"winter": "17 degC", "summer": "17 degC"}, "simulation.start_week": 11}
    assert same_rows(run(room(both), weeks=3.0), run(room({ROOM: "17 degC"}), weeks=3.0))


def test_the_year_goes_by():
    """From the coldest week on it gets warmer, half a year later it is as warm as in summer."""
    few = {"trucks[0].count": 1, "layouts.room.batteries": 3, "simulation.start_week": 3}
    record = run(room({ROOM: {"winter": "10 degC", "summer": "30 degC"}, **few}), weeks=27.0)
    discharges = record.columns("discharges")
    weekly = [
        float(np.mean(discharges["start_degc"][(discharges["start_min"] // 10080.0) == week]))
        for week in range(0, 27, 3)
    ]
    assert all(before < after for before, after in pairwise(weekly[:-1]))
    assert weekly[-1] - weekly[0] > 15.0


def test_a_stated_electrolyte_temperature_holds():
    """At the rated 30 degC and without Peukert's law a discharge is plain ampere-hour counting."""
    record = run(room({"trucks[0].temperature": "30 degC", LEAD + ".peukert": 1.0, AIR: "-20 degC"}))
    capacity_ah = record.facts.battery_types[0].capacity_ah
    damage: dict[int, float] = defaultdict(float)
    for discharge in rows_of(record, "discharges"):
        assert (discharge["start_degc"], discharge["mean_degc"], discharge["end_degc"]) == (30.0, 30.0, 30.0)
        now_ah = capacity_ah * (1.0 - 0.2 * damage[discharge["battery"]])
        used = discharge["soc_from_share"] - discharge["soc_to_share"]
        assert discharge["drawn_ah"] == pytest.approx(used * now_ah, rel=1e-9)
        damage[discharge["battery"]] += discharge["damage"]
