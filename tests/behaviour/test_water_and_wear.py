"""Gas takes water, water comes when due, use wears a battery: all of it from the formulas."""

from collections import defaultdict
from itertools import pairwise

import numpy as np
import pytest

from batsim.formulas.gassing import WATER_G_PER_AH
from batsim.formulas.wear import discharge_damage
from batsim.measures import measure
from batsim.measures.wear import battery_wear
from batsim.measures.windows import Measured
from batsim.record import Record
from batsim.scenario.chemistry import life_of, value
from tests.behaviour.ledger import by, room, rows_of, run, started

LEAD, CHARGERS = "batteries.lead", "layouts.room.chargers"
WEEKLY = {"every": "7 days", "length": "3 h", "current": "5 A per 100 Ah"}
GEL = {"from": "valve_regulated_24v", "capacity": "900 Ah at 5 h", "cells": 24, "equalising": "none"}
LITHIUM = {"from": "lithium_ion_48v", "capacity": "700 Ah at 5 h"}


def watered(every: str) -> dict[str, object]:
    """A room whose batteries get water so often."""
    return {f"{LEAD}.watering": {"every": every, "by": "single_point", "time": "2 min"}}


@pytest.mark.parametrize("charger", ["electronic_iuia", "circulation_iuia", "line_frequency_w", "line_frequency_wowa"])
def test_gas_is_what_is_given_less_what_is_stored(charger: str):
    record = run(room({CHARGERS: f"12 x {charger}"}))
    for row in started(rows_of(record, "charges")):
        stored = (row["soc_to_share"] - row["soc_from_share"]) * 750.0
        assert row["gas_ah"] == pytest.approx(row["charged_ah"] - stored, rel=1e-9)
        assert row["gas_ah"] > 0.04 * stored


@pytest.mark.parametrize("every", ["3 charges", "300 Ah", "when_low"])
def test_water_put_in_is_what_gassing_took(every: str):
    record = run(room(watered(every)), weeks=6.0)
    charges = by("battery", started(rows_of(record, "charges")))
    intervals = 0
    for battery, waterings in by("battery", rows_of(record, "waterings")).items():
        for before, after in pairwise([row for row in waterings if row["start_min"] > 0.0]):
            since = [row for row in charges[battery] if before["start_min"] < row["end_min"] <= after["start_min"]]
            gas_ah = sum(row["gas_ah"] for row in since)
            assert after["water_kg"] == pytest.approx(WATER_G_PER_AH * 24 * gas_ah / 1000.0, rel=1e-6)
            last = since[-1]["gas_ah"]
            if every == "3 charges":
                assert len(since) == 3
            else:
                due_ah = (
                    300.0
                    if every == "300 Ah"
                    else value("battery.vented_lead_acid.water_reserve") * 750.0 / WATER_G_PER_AH
                )
                assert gas_ah >= due_ah > gas_ah - last
            assert after["due_min"] >= since[-1]["cooled_min"]  # after the charge, never before
            intervals += 1
    assert intervals > 5


def test_sealed_batteries_get_no_water():
    for kind, charger in ((GEL, "gel_iui"), (GEL, "gel_iu"), (LITHIUM, "lithium_cc_cv")):
        record = run(room({LEAD: {**kind, "watering": "none"}, CHARGERS: f"12 x {charger}"}))
        found = measure(record)
        assert record.count("waterings") == 0
        assert found["water_added_kg_per_day"] == 0.0
        assert (found["hydrogen_m3_per_day"] > 0.0) == (kind is GEL)


def test_equalising_comes_once_in_its_time_after_a_full_charge():
    record, without = run(room({f"{LEAD}.equalising": WEEKLY}), weeks=5.0), run(room(), weeks=5.0)
    equalised = 0
    for charges in by("battery", started(rows_of(record, "charges"))).values():
        times = [row["end_min"] - 180.0 for row in charges if row["equalising_min"]]
        assert all(row["equalising_min"] in (0.0, 180.0) and row["full"] for row in charges)
        assert all(after - before >= 7 * 1440.0 - 1e-6 for before, after in pairwise(times))
        equalised += len(times)
    phases = [row for row in rows_of(record, "charge_phases") if row["hours"] == 3.0 and row["start_a"] == 37.5]
    assert len(phases) == equalised > 40
    assert not any(row["equalising_min"] for row in started(rows_of(without, "charges")))
    assert measure(record)["water_lost_kg_per_day"] > 1.05 * measure(without)["water_lost_kg_per_day"]


def test_damage_is_that_of_the_formula():
    scenario = room()
    life = life_of(scenario.batteries["lead"])
    for row in rows_of(run(scenario), "stints"):
        assert row["damage"] == pytest.approx(
            discharge_damage(row["drawn_ah"] / 750.0, row["mean_degc"], life), rel=1e-9
        )


def test_a_worn_battery_gives_less():
    """Stints by the battery's life: 20 % less at its end."""
    mean = []
    for used in ("0 %", "50 %", "100 %"):
        record = run(room({f"{LEAD}.life_used": used, "trucks[0].temperature": "30 degC"}))
        mean.append(np.mean([row["drawn_ah"] for row in rows_of(record, "stints") if row["soc_from_share"] == 1.0]))
    assert mean[1] / mean[0] == pytest.approx(0.9, abs=0.002)
    assert mean[2] / mean[0] == pytest.approx(0.8, abs=0.002)


def drawn(record: Record) -> dict[int, float]:
    """Ampere-hours of the first whole stint on each battery."""
    first: dict[int, float] = {}
    for row in rows_of(record, "stints"):
        if row["soc_from_share"] == 1.0:
            first.setdefault(row["battery"], row["drawn_ah"])
    return first


def test_capacities_and_ages_differ_and_are_the_same_in_every_layout():
    changes = {f"{LEAD}.capacity_spread": "5 %", f"{LEAD}.life_used": {"from": "0 %", "to": "90 %"}}
    changes["trucks[0].temperature"] = "30 degC"
    few = drawn(run(room(changes)))
    more = drawn(run(room({**changes, CHARGERS: "16 x electronic_iuia", "layouts.room.picking": "nearest"})))
    spread = np.std(list(few.values())) / np.mean(list(few.values()))
    assert 0.03 < spread < 0.12
    for battery in few.keys() & more.keys():
        assert few[battery] == pytest.approx(more[battery], rel=2e-3)


def test_nearest_first_wears_batteries_unevenly():
    rested, nearest = (
        measure(run(room({"layouts.room.picking": rule}), weeks=4.0))["use_of_most_used_battery"]
        for rule in ("longest_rested", "nearest")
    )
    assert rested < 1.2 < nearest


def test_part_charges_in_a_row_wear_more_until_a_full_one():
    changes = {
        "layouts.room.handling": "in_truck", "layouts.room.batteries": 4, "layouts.room.stations": 4,
        CHARGERS: "4 x fast_iuia", "layouts.room.crew": "drivers",
    }  # fmt: skip
    scenario = room(changes)
    life, record = life_of(scenario.batteries["lead"]), run(scenario)
    charges, row_of = by("battery", started(rows_of(record, "charges"))), defaultdict(int)
    worn = []
    for row in rows_of(record, "stints"):
        done = [each for each in charges[row["battery"]] if each["end_min"] <= row["start_min"] + 1e-6]
        parts = 0
        for each in done:
            parts = 0 if each["full"] else parts + 1
        plain = discharge_damage(row["drawn_ah"] / 750.0, row["mean_degc"], life)
        factor = row["damage"] / plain if plain else 1.0
        assert factor == pytest.approx(1.2 if parts > 5 else 1.0, rel=1e-6)
        row_of[parts > 5] += 1
        worn.append(factor)
    assert min(row_of.values()) > 5


def test_years_and_cycles_are_sums_over_the_record():
    record = run(room(), weeks=4.0)
    found, each = measure(record), battery_wear(Measured(record))
    years = 4 * 7 / 365.25
    inside = [row for row in rows_of(record, "stints") if row["end_min"] <= 4 * 7 * 1440.0]
    damage, ah = sum(row["damage"] for row in inside), sum(row["drawn_ah"] for row in inside)
    assert found["life_years"] == pytest.approx(16 * years / damage, rel=0.02)
    assert found["cycles_per_battery_per_year"] == pytest.approx(ah / 16 / (0.8 * 750.0) / years, rel=0.02)
    assert found["life_years_by_throughput"] == pytest.approx(1200 * 0.8 * 750.0 / (ah / 16 / years), rel=0.02)
    assert found["life_years_of_most_worn"] == pytest.approx(years / max(each["damage"]), rel=1e-9)
    assert found["life_years_of_most_worn"] <= found["life_years"]
