"""Overcharge becomes gas, gas becomes water, and every discharge takes its share of a battery's life."""

from collections import defaultdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.formulas.gassing import WATER_G_PER_AH, gas_current_a, water_deficit_g
from batsim.formulas.heat import charge_end_degc
from batsim.formulas.phases import Phase
from batsim.formulas.wear import Life, discharge_damage, throughput_ah
from batsim.measures import measure
from batsim.measures.battery_course import battery_course
from batsim.record.record import Record
from batsim.scenario.chemistry import Thermal, gassing_of, life_of, rated_cell, thermal_of
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.views.text.tables import age_note
from tests.behaviour.ledger import by, room, rows_of, run, started
from tests.closed_forms import gassing_ah

LEAD, CHARGERS, BATTERIES = "batteries.lead", "layouts.room.chargers", "layouts.room.batteries"
EQUALISING = {"every": "7 days", "length": "3 h", "current": "5 A per 100 Ah"}
GEL = {"from": "valve_regulated_24v", "capacity": "900 Ah at 5 h", "cells": 24}
LITHIUM = {"from": "lithium_ion_48v", "capacity": "700 Ah at 5 h"}
ROLLERS = {"handling": "side_rollers", "batteries": 16, "chargers": "12 x electronic_iuia", "exchange_by": "drivers"}
SPREAD = {"mean_power": "3 kW", "between_trucks": "10 %", "between_shifts": "20 %"}
DAYS = {
    "week.shifts": {"day": {"days": "Mon-Fri", "from": "06:00", "to": "18:00", "breaks": ["10:00 for 30 min"]}},
    "trucks[0].shifts": ["day"],
}
IN_TRUCK = {**DAYS, "layouts.room": {"handling": "in_truck", "chargers": "4 x fast_iuia"}}
NEAR_MIN = 1e-4


def water(every: str, **more: Any) -> dict[str, Any]:
    return {LEAD + ".watering": {"every": every, "by": "hand", **more}}


# --- gas -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("charger", ["electronic_iuia", "circulation_iuia", "line_frequency_w", "line_frequency_wowa"])
def test_what_is_given_and_not_stored_makes_gas(charger: str):
    """Of a charge, of its phases, and by its charge factor."""
    scenario = room({CHARGERS: f"12 x {charger}"})
    record, factor = run(scenario), scenario.chargers[charger].charge_factor
    capacity_ah = record.facts.battery_types[0].capacity_ah
    phases, discharges = by("battery", rows_of(record, "charge_phases")), by("battery", rows_of(record, "discharges"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for discharge, charge in zip(discharges[battery], charges, strict=False):
            stored = (charge["soc_to_share"] - charge["soc_from_share"]) * capacity_ah
            assert charge["gas_ah"] == pytest.approx(charge["charged_ah"] - stored, rel=1e-9)
            assert charge["gas_ah"] == pytest.approx((factor - 1.0) * stored, rel=1e-6)
            if discharge["soc_from_share"] == 1.0:
                assert charge["gas_ah"] == pytest.approx((factor - 1.0) * discharge["drawn_ah"], rel=1e-6)
            own = [
                Phase(*list(row.values())[4:12])
                for row in phases[battery]
                if charge["start_min"] <= row["start_min"] < charge["end_min"]
            ]
            from_phases = gassing_ah(own, capacity_ah)
            assert charge["gas_ah"] == pytest.approx(from_phases, abs=0.01 * charge["charged_ah"])
            assert charge["gas_ah"] > 0.0


def after_main_stage_degc(start_degc: float, phase: dict[str, Any], thermal: Thermal) -> float:
    """Temperature at the end of a main stage in a room of 28 degC: its voltage above that of storing makes heat."""
    over_v = phase["volts_per_cell"] + phase["rise_v"] / 2.0 - thermal.storing_v
    heat_kwh = GEL["cells"] * over_v * phase["start_a"] * phase["hours"] / 1000.0
    loss, tau_h = thermal.room_loss_w_per_k, thermal.room_tau_h
    return charge_end_degc(start_degc, 28.0, heat_kwh, loss, tau_h, phase["hours"])


def test_a_held_voltage_makes_gas_by_its_temperature():
    """IU: nothing is known but voltage and temperature, so the gas current of both flows while the voltage is held."""
    scenario = room({LEAD: {**GEL, "equalising": "none"}, CHARGERS: "12 x gel_iu", "site.room_temperature": "28 degC"})
    record, gassing = run(scenario), gassing_of(scenario.batteries["lead"], FIGURES)
    thermal = thermal_of(scenario.batteries["lead"], FIGURES)
    phases = by("battery", rows_of(record, "charge_phases"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for charge in charges:
            own = [row for row in phases[battery] if charge["start_min"] <= row["start_min"] < charge["end_min"]]
            held = [row for row in own if row["decay_per_h"] > 0.0]
            side_ah = sum(row["side_gas_a"] * row["hours"] for row in held)
            assert charge["gas_ah"] == pytest.approx(side_ah, rel=1e-6, abs=1e-6)
            assert own[0]["rise_v"] > 0.1
            degc = after_main_stage_degc(charge["start_degc"], own[0], thermal)
            low, high = (gas_current_a(held[0]["volts_per_cell"], degc + each, gassing.law) for each in (-0.9, 0.9))
            assert low <= held[0]["side_gas_a"] <= high
            assert all(row["side_gas_a"] == 0.0 for row in own if row not in held)


# --- water ---------------------------------------------------------------------------------------------------

WATERED = {
    "charges": ({}, "4 charges"),
    "gassing": ({}, "300 Ah"),
    "low": ({"trucks[0].duty": SPREAD}, "when_low"),
    "side rollers": ({"layouts.room": ROLLERS, **DAYS}, "300 Ah"),
    "equalising": ({LEAD + ".equalising": EQUALISING}, "300 Ah"),
    "in the truck": (IN_TRUCK, "200 Ah"),
}


def due_ah(name: str, record: Record) -> float:
    """Gassing at which water is due. [Ah]"""
    if name == "charges":
        return 0.0
    every = WATERED[name][1]
    return record.facts.battery_types[0].water_reserve_ah if every == "when_low" else float(every.removesuffix(" Ah"))


@pytest.mark.parametrize("name", WATERED)
def test_water_gives_back_what_gas_has_taken(name: str):
    """By Faraday's law, of all charges since the last watering; due when it is due, and never before."""
    changes, every = WATERED[name]
    record = run(room({**changes, **water(every, time="5 min")}), weeks=6.0)
    cells, enough_ah = record.facts.battery_types[0].cells, due_ah(name, record)
    charges, intervals = by("battery", started(rows_of(record, "charges"))), 0
    for battery, waterings in by("battery", started(rows_of(record, "waterings"))).items():
        for before, after in pairwise(waterings):
            since, until = before["start_min"] + NEAR_MIN, after["start_min"] + NEAR_MIN
            gas = [row["gas_ah"] for row in charges[battery] if since < row["end_min"] <= until]
            assert after["water_kg"] == pytest.approx(water_deficit_g(sum(gas), cells) / 1000.0, rel=1e-9)
            if name == "charges":
                assert len(gas) == 4
            elif name == "in the truck":  # there a battery waits for the end of a shift
                assert sum(gas) >= enough_ah
            else:
                assert sum(gas[:-1]) < enough_ah <= sum(gas)
            intervals += 1
    assert intervals > 8


@pytest.mark.parametrize("name", WATERED)
def test_water_comes_after_a_charge_and_never_before(name: str):
    """Charged and cooled down when it is due; neither charged nor in use while it is watered."""
    changes, every = WATERED[name]
    record = run(room({**changes, **water(every, time="5 min")}), weeks=4.0)
    charges, discharges = (
        by("battery", started(rows_of(record, "charges"))),
        by("battery", rows_of(record, "discharges")),
    )
    count = 0
    for battery, waterings in by("battery", started(rows_of(record, "waterings"))).items():
        for row in waterings:
            before = [charge for charge in charges[battery] if charge["end_min"] <= row["due_min"] + NEAR_MIN]
            assert before
            assert before[-1]["full"] == 1
            assert row["due_min"] == pytest.approx(before[-1]["cooled_min"], abs=NEAR_MIN)
            used = [
                discharge for discharge in discharges[battery] if discharge["start_min"] < row["end_min"] - NEAR_MIN
            ]
            assert used[-1]["end_min"] <= before[-1]["start_min"] + NEAR_MIN
            count += 1
    assert count > 10


@pytest.mark.parametrize("every", ["when_low", "300 Ah"])
def test_no_battery_runs_dry_when_water_comes_with_its_gassing(every: str):
    """At most the gas of one charge beyond what is due; with many charges between, batteries do run low."""
    kept, late = (run(room(water(each)), weeks=6.0) for each in (every, "40 charges"))
    reserve_ah = kept.facts.battery_types[0].water_reserve_ah
    limit = {"when_low": reserve_ah, "300 Ah": 300.0}[every]
    poured = kept.columns("waterings")["water_kg"] * 1000.0 / WATER_G_PER_AH / kept.facts.battery_types[0].cells
    most_gas = float(np.nanmax(kept.columns("charges")["gas_ah"]))
    assert np.nanmax(poured) <= limit + most_gas
    assert measure(late)["low_water_share"] > 0.2
    if every == "300 Ah":
        assert measure(kept)["low_water_share"] == 0.0


@pytest.mark.parametrize(("kind", "charger"), [(GEL, "gel_iu"), (GEL, "gel_iui"), (LITHIUM, "lithium_cc_cv")])
def test_others_need_no_water(kind: dict[str, Any], charger: str):
    record = run(room({LEAD: kind, CHARGERS: f"12 x {charger}"}), weeks=4.0)
    assert record.count("charges") > 50
    assert record.count("waterings") == 0
    if kind is LITHIUM:
        assert all(row["gas_ah"] == 0.0 for row in started(rows_of(record, "charges")))
        assert measure(record)["hydrogen_m3_per_day"] == 0.0
    else:
        assert measure(record)["hydrogen_m3_per_day"] > 0.0


def test_water_lost_is_water_added_in_the_long_run():
    found = measure(run(room(water("300 Ah")), weeks=26.0))
    assert found["water_added_kg_per_day"] == pytest.approx(found["water_lost_kg_per_day"], rel=0.05)


# --- equalising ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "changes",
    [{}, {"layouts.room": ROLLERS}, IN_TRUCK, {"charging": {"power_limit": "20 kW"}}],
    ids=["room", "side rollers", "in the truck", "power limit"],
)
def test_equalising_follows_full_charges_now_and_then(changes: dict[str, Any]):
    """At least a week apart, so many hours at its current after the full charge, and nearly all of it is gas."""
    scenario = room({**changes, LEAD + ".equalising": {**EQUALISING, "every": "8 days"}})
    record, capacity_ah = run(scenario, weeks=4.0), 750.0
    phases, found = by("battery", rows_of(record, "charge_phases")), 0
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        equalised = [row for row in charges if row["equalising_min"] > 0.0]
        for row in equalised:
            assert (row["full"], row["equalising_min"], row["soc_to_share"]) == (1, 180.0, 1.0)
            last = [each for each in phases[battery] if each["start_min"] < row["end_min"] - 1.0][-1]
            assert last["start_a"] == pytest.approx(0.05 * capacity_ah)
            assert last["start_min"] == pytest.approx(row["end_min"] - 180.0, abs=0.01)
            assert last["soc_from_share"] > 0.98
            assert row["gas_ah"] > 0.9 * 3.0 * 0.05 * capacity_ah
            found += 1
        for before, after in pairwise(equalised):
            assert after["start_min"] - (before["end_min"] - 180.0) >= 8 * 1440.0 - 0.01
    assert found > (4 if changes is IN_TRUCK else 20)


def test_equalising_adds_its_ampere_hours_and_gas():
    """First charges of a run, the same discharges before: equalised ones give 112.5 Ah more, nearly all of it gas."""
    plain, more = run(room()), run(room({LEAD + ".equalising": EQUALISING}))
    assert not any(row["equalising_min"] for row in started(rows_of(plain, "charges")))
    key = lambda row: (row["battery"], round(row["connected_min"], 3))  # noqa: E731
    before = {key(row): row for row in started(rows_of(plain, "charges"))}
    extra = 0
    for row in started(rows_of(more, "charges")):
        if row["equalising_min"] and key(row) in before:
            other = before[key(row)]
            if other["soc_from_share"] == pytest.approx(row["soc_from_share"], abs=1e-9):
                assert row["charged_ah"] - other["charged_ah"] == pytest.approx(112.5, rel=1e-6)
                assert row["gas_ah"] - other["gas_ah"] == pytest.approx(112.5, abs=1e-3)
                assert row["end_min"] - other["end_min"] == pytest.approx(180.0, abs=1e-3)
                extra += 1
    assert extra > 5
    assert measure(more)["hydrogen_m3_per_day"] > 1.05 * measure(plain)["hydrogen_m3_per_day"]


# --- wear ----------------------------------------------------------------------------------------------------


def test_the_damage_of_a_discharge_is_that_of_its_depth_and_temperature():
    light = {"mean_power": "1.6 kW", "between_trucks": "20 %", "between_shifts": "50 %"}
    deep = {"trucks[0].exchange_at": "15 %", LEAD + ".discharge_to": "5 %"}
    record = run(room({"trucks[0].duty": light, **deep}), weeks=3.0)
    life, capacity_ah, depths = (
        life_of(room().batteries["lead"], FIGURES),
        record.facts.battery_types[0].capacity_ah,
        [],
    )
    for discharge in rows_of(record, "discharges"):
        depth = discharge["drawn_ah"] / capacity_ah
        assert discharge["damage"] == pytest.approx(discharge_damage(depth, discharge["ageing_degc"], life), rel=1e-12)
        depths.append(depth)
    assert min(depths) < 0.75 < 0.81 < max(depths)


def test_a_used_battery_has_less_capacity():
    """Old batteries of a short-lived kind: 20 % less at the end of their life, so discharges are as much shorter."""
    capacity = {}
    for used in ("0 %", "50 %", "100 %"):
        record = run(room({LEAD + ".life_used": used, "trucks[0].temperature": "30 degC", LEAD + ".peukert": 1.0}))
        first = [row for row in rows_of(record, "discharges") if row["soc_from_share"] == 1.0][:4]
        capacity[used] = np.mean([row["drawn_ah"] for row in first])
    assert capacity["50 %"] == pytest.approx(0.9 * capacity["0 %"], rel=1e-4)
    assert capacity["100 %"] == pytest.approx(0.8 * capacity["0 %"], rel=1e-4)


def test_capacity_fades_with_use():
    """Round the clock in a hot bay, two batteries to a truck: weeks take their part of the capacity."""
    hard = {"trucks[0].temperature": "60 degC", LEAD + ".cool_down": "0 h", BATTERIES: 8, LEAD + ".peukert": 1.0}
    hard["figures"] = {"battery.vented_lead_acid.warm_per_k": "0.000000001 1/K"}  # heat itself gives no capacity
    record = run(room(hard), weeks=20.0)
    damage: dict[int, float] = defaultdict(float)
    lengths: dict[int, list[float]] = defaultdict(list)
    full_ah = 0.75 * record.facts.battery_types[0].capacity_ah
    for discharge in rows_of(record, "discharges"):
        if discharge["soc_from_share"] == 1.0:
            assert discharge["drawn_ah"] == pytest.approx(
                full_ah * (1.0 - 0.2 * damage[discharge["battery"]]), rel=1e-6
            )
            lengths[discharge["battery"]].append(discharge["end_min"] - discharge["start_min"])
        damage[discharge["battery"]] += discharge["damage"]
    assert all(later < sooner for mine in lengths.values() for sooner, later in pairwise(mine))
    assert all(mine[-1] < 0.9 * mine[0] for mine in lengths.values())


def drawn_when_new(record: Record) -> dict[int, float]:
    """Ampere-hours of the first full discharge of each battery."""
    return {
        battery: next(row["drawn_ah"] for row in mine if row["soc_from_share"] == 1.0)
        for battery, mine in by("battery", rows_of(record, "discharges")).items()
        if any(row["soc_from_share"] == 1.0 for row in mine)
    }


@pytest.mark.parametrize("key", ["life_used", "capacity_spread"])
def test_batteries_differ_and_in_all_layouts_alike(key: str):
    """By age or as they were made: the same batteries are strong whatever the arrangement."""
    own = {"life_used": {"from": "0 %", "to": "90 %"}, "capacity_spread": "10 %"}[key]
    fixed = {
        "trucks[0].temperature": "10 degC",
        LEAD + ".peukert": 1.0,
    }  # else the strong are full at the rated one
    scenario = room({**fixed, LEAD + "." + key: own, "layouts.rollers": ROLLERS})
    one, other = (drawn_when_new(run(scenario, layout=layout, weeks=2.0)) for layout in ("room", "rollers"))
    alike = drawn_when_new(run(room(fixed), weeks=2.0))
    shares = {battery: ah / alike[battery] for battery, ah in one.items()}
    both = sorted(one.keys() & other.keys())
    assert len(both) == 16
    assert [other[each] for each in both] == pytest.approx([one[each] for each in both], rel=2e-3)
    assert np.std(list(shares.values())) > 0.03
    if key == "life_used":
        assert all(0.82 - 1e-3 <= share <= 1.0 for share in shares.values())
    else:
        assert np.mean(list(shares.values())) == pytest.approx(1.0, abs=0.06)
        assert max(shares.values()) > 1.02


def test_part_charges_in_a_row_wear_more():
    """Five are free; each discharge after a sixth takes 20 % more, until a full charge sets the count to 0."""
    week = {**IN_TRUCK, "layouts.room.in_truck": {"in_breaks": True, "full_every": "7 days"}, "trucks[0].count": 2}
    week |= {"trucks[0].duty.mean_power": "4 kW", "layouts.room.chargers": "2 x fast_iuia"}
    scenario = room(week)
    record, life = run(scenario, weeks=4.0), life_of(scenario.batteries["lead"], FIGURES)
    charges, capacity_ah = by("battery", started(rows_of(record, "charges"))), record.facts.battery_types[0].capacity_ah
    factors = defaultdict(int)
    for battery, discharges in by("battery", rows_of(record, "discharges")).items():
        for discharge in discharges:
            in_a_row = 0
            for charge in charges[battery]:
                if charge["end_min"] <= discharge["start_min"] + NEAR_MIN:
                    in_a_row = 0 if charge["full"] else in_a_row + 1
            plain = discharge_damage(discharge["drawn_ah"] / capacity_ah, discharge["ageing_degc"], life)
            expected = 1.2 if in_a_row > 5 else 1.0
            assert discharge["damage"] == pytest.approx(plain * expected, rel=1e-9)
            factors[expected] += 1
    assert min(factors[1.0], factors[1.2]) > 5


def test_the_nearest_battery_is_used_more_than_its_turn():
    """Picking by bay wears some batteries more than others; by rest all alike."""
    roomy = {BATTERIES: 24, "layouts.room.chargers": "20 x electronic_iuia"}
    use = {
        rule: measure(run(room({**roomy, "layouts.room.picking": rule}), weeks=12.0))
        for rule in ("longest_rested", "nearest")
    }
    even, uneven = (use[rule]["use_of_most_used_battery"] for rule in ("longest_rested", "nearest"))
    assert even < 1.05
    assert uneven > 1.2
    years = [use[rule]["life_years_of_most_worn"] for rule in ("longest_rested", "nearest")]
    assert years[1] < years[0] / 1.1


@pytest.mark.parametrize(
    "changes", [{}, {"trucks[0].temperature": "30 degC"}, IN_TRUCK], ids=["room", "30 degC", "truck"]
)
def test_years_of_life_are_those_of_the_record(changes: dict[str, Any]):
    """Hand sums over the discharges that lie in the run."""
    scenario = room(changes)
    record = run(scenario, weeks=4.0)
    facts, found = record.facts, measure(record)
    drawn: dict[int, float] = dict.fromkeys(range(facts.batteries), 0.0)
    damage = dict(drawn)
    for discharge in rows_of(record, "discharges"):
        length = discharge["end_min"] - discharge["start_min"]
        inside = (
            max(0.0, min(discharge["end_min"], facts.horizon_min) - discharge["start_min"]) / length if length else 1.0
        )
        drawn[discharge["battery"]] += discharge["drawn_ah"] * inside
        damage[discharge["battery"]] += discharge["damage"] * inside
    years = 4.0 * WEEK_MIN / (365.25 * 1440.0)
    cycle_ah = 0.8 * facts.battery_types[0].capacity_ah
    life = life_of(scenario.batteries["lead"], FIGURES)
    mean_ah = sum(drawn.values()) / facts.batteries
    assert found["cycles_per_battery_per_year"] == pytest.approx(mean_ah / cycle_ah / years)
    assert found["use_of_most_used_battery"] == pytest.approx(max(drawn.values()) / mean_ah)
    aged = years / facts.battery_types[0].calendar_years
    assert found["life_years"] == pytest.approx(years / max(sum(damage.values()) / facts.batteries, aged))
    assert found["life_years_of_most_worn"] == pytest.approx(years / max(*damage.values(), aged))
    assert found["limited_by_age_share"] == (sum(damage.values()) / facts.batteries < aged)
    whole_ah = throughput_ah(rated_cell(scenario.batteries["lead"], FIGURES).capacity_ah, life)
    assert whole_ah == 1200 * cycle_ah
    used = [max(ah / whole_ah, aged) for ah in drawn.values()]
    assert found["life_years_by_throughput"] == pytest.approx(years * facts.batteries / sum(used))


def test_a_warm_battery_wears_twice_as_fast_ten_kelvin_on():
    """The same ampere-hours at 30 and 40 degC, at work and in the room; no slower below 20 degC than there."""
    life = life_of(room().batteries["lead"], FIGURES)
    assert life == Life(1200.0, 0.8, 1.2, 2.0, 30.0, 10.0, 20.0)
    timed = {
        "trucks[0].duty": None,
        "trucks[0].run_time": "9 h",
        "trucks[0].first_run": "1 h",
        LEAD + ".charge_time": "8 h",
    }
    wear = {
        degc: sum(
            row["damage"]
            for row in rows_of(
                run(room({**timed, "trucks[0].temperature": f"{degc} degC", "site.room_temperature": f"{degc} degC"})),
                "discharges",
            )
        )
        for degc in (-5, 20, 30, 40)
    }
    assert wear[40] == pytest.approx(2.0 * wear[30], rel=1e-9)
    assert wear[30] == pytest.approx(2.0 * wear[20], rel=1e-9)
    assert wear[-5] == pytest.approx(wear[20], rel=1e-9)


@pytest.mark.parametrize(
    "changes",
    [{}, {"trucks[0].air": "-20 degC"}, {"site.room_temperature": "34 degC"}, IN_TRUCK, {LEAD + ".cool_down": "20 h"}],
    ids=["room", "freezer", "hot", "truck", "long rest"],
)
def test_ageing_takes_the_temperature_of_all_the_time_since_the_last_discharge(changes: dict[str, Any]):
    """Rest, charge, cool-down and discharge, each by its length: the mean of the course drawn minute by minute."""
    record = run(room(changes), weeks=2.0)
    apart_k = []
    for battery, discharges in by("battery", rows_of(record, "discharges")).items():
        for before, row in pairwise(discharges):
            if row["end_min"] > record.facts.horizon_min or row["end_min"] - before["end_min"] < 1.0:
                continue
            course = battery_course(record, battery, before["end_min"], row["end_min"], 1.0)
            assert row["ageing_degc"] == pytest.approx(course["temperature_degc"].mean(), abs=0.1)
            apart_k.append(abs(row["ageing_degc"] - row["mean_degc"]))
    assert len(apart_k) > 10
    assert max(apart_k) > 1.0


def test_a_battery_that_does_little_is_limited_by_age():
    """A day's work in a freezer would take lives; the figure of its chemistry is the most that is printed."""
    little = room({"trucks[0].duty": {"mean_power": "0.2 kW"}, "trucks[0].air": "-20 degC"})
    runs = batsim.run(little, Settings(replications=2, weeks=2.0, warm_up_weeks=0.0, seed=1, workers=1))
    years = FIGURES["battery.vented_lead_acid.life_calendar"].value
    layout = runs.layouts[0]
    for name in ("life_years", "life_years_of_most_worn", "life_years_by_throughput"):
        assert runs.interval(layout, name).mean == pytest.approx(years)
    assert runs.interval(layout, "limited_by_age_share").mean == 1.0
    assert age_note(runs) == f"The cycle life is limited by age in layout '{layout}'."
