"""Chargers that share a power limit, keep to hours, wait and stagger: never too much, nothing lost, nobody favoured."""

import math
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import PAUSED, WAITS_FOR_CURRENT
from tests.behaviour import books
from tests.behaviour.ledger import by, room, rows_of, run, started

LIMIT, CHARGING, LEAD, CHARGERS = "charging.power_limit", "charging", "batteries.lead", "layouts.room.chargers"
DAY_MIN = 1440.0
JOINT_MIN = 1e-4
"""Phases may miss or overlap each other by rounding, far less than this. [min]"""
EQUALISING = {"every": "7 days", "length": "3 h", "current": "5 A per 100 Ah"}
GEL = {"from": "valve_regulated_24v", "capacity": "900 Ah at 5 h", "cells": 24, "equalising": "none"}
BURST = {"trucks[0].first_run": "60 min", "trucks[0].count": 8, "layouts.room.batteries": 32}
MIXED = {
    "trucks": [
        {
            "group": name,
            "count": 3,
            "shifts": ["always"],
            "battery": name,
            "duty": {"mean_power": "3 kW", "between_trucks": "0 %", "between_shifts": "0 %"},
            "first_run": {"first": "1 h", "every": "10 min"},
        }
        for name in ("lead", "lithium")
    ],
    "batteries.lithium": {"from": "lithium_ion_48v", "cool_down": "0 h"},
    "layouts.room.batteries": {"lead": 12, "lithium": 9},
    CHARGERS: ["6 x electronic_iuia", "3 x line_frequency_w", "6 x lithium_cc_cv"],
}
CREWED = {
    "week.shifts": {
        "early": {"days": "Mon-Sat", "from": "06:00", "to": "14:00", "breaks": ["09:00 for 30 min"]},
        "late": {"days": "Mon-Fri", "from": "14:00", "to": "22:00", "breaks": ["18:00 for 30 min"]},
    },
    "trucks[0].shifts": ["early", "late"],
    "trucks[0].duty": {"mean_power": "3 kW", "between_trucks": "10 %", "between_shifts": "20 %"},
}
ROLLERS = {
    **CREWED,
    "layouts.room": {
        "handling": "side_rollers",
        "batteries": 10,
        "chargers": "8 x electronic_iuia",
        "attendants": {"early": 1, "late": 1},
    },
}
IN_TRUCK = {**CREWED, "trucks[0].count": 6, "layouts.room": {"handling": "in_truck", "chargers": "5 x fast_iuia"}}
ROOMS: dict[str, tuple[dict[str, Any], str]] = {
    "IUIa, plenty": ({}, "20 kW"),
    "IUIa, short": ({}, "16 kW"),
    "IUIa, far too little": ({}, "12 kW"),
    "IUIa, all at once": (BURST, "40 kW"),
    "IUIa, all at once, short": (BURST, "26 kW"),
    "equalising": ({**BURST, LEAD + ".equalising": EQUALISING}, "40 kW"),
    "equalising, short": ({LEAD + ".equalising": EQUALISING}, "12 kW"),
    "cold": ({"site.room_temperature": "11 degC", "trucks[0].air": "0 degC"}, "20 kW"),
    "W": ({**BURST, CHARGERS: "24 x line_frequency_w"}, "45 kW"),
    "WoWa": ({CHARGERS: "12 x line_frequency_wowa"}, "29 kW"),
    "gel IU": ({**BURST, LEAD: GEL, CHARGERS: "24 x gel_iu"}, "45 kW"),
    "gel IUI": ({**BURST, LEAD: GEL, CHARGERS: "24 x gel_iui"}, "45 kW"),
    "mixed": (MIXED, "24 kW"),
    "mixed, short": (MIXED, "20 kW"),
    "side rollers": (ROLLERS, "14 kW"),
    "side rollers, gassing": ({**ROLLERS, LEAD + ".equalising": EQUALISING}, "20 kW"),
    "in the truck, one each": ({**IN_TRUCK, "layouts.room.chargers": "6 x fast_iuia"}, "30 kW"),
    "in the truck": (IN_TRUCK, "30 kW"),
    "in the truck, equalising": ({**IN_TRUCK, LEAD + ".equalising": EQUALISING}, "40 kW"),
    "hours too": ({**BURST, "charging.windows": [{"from": "18:00", "to": "12:00"}]}, "40 kW"),
}


@cache
def recorded(name: str, *, limited: bool = True) -> Record:
    """Two weeks of one of the rooms, with its limit or without."""
    changes, limit = ROOMS[name]
    charging: dict[str, Any] = {"power_limit": limit} if limited else {}
    if "charging.windows" in changes:
        charging["windows"] = changes["charging.windows"]
    return run(room({**{k: v for k, v in changes.items() if k != "charging.windows"}, CHARGING: charging}), weeks=2.0)


def limit_kw(name: str) -> float:
    return float(ROOMS[name][1].removesuffix(" kW"))


def most_kw(record: Record) -> float:
    """Greatest power of the chargers: the sum at the start and the end of every phase, where alone it can peak."""
    facts, phases = record.facts, record.columns("charge_phases")
    cells = np.array([kind.cells for kind in facts.battery_types])[phases["queue"].astype(int)]
    efficiency = np.array(facts.charger_efficiency)[phases["charger"].astype(int)]
    start, end = phases["start_min"], phases["start_min"] + 60.0 * phases["hours"]
    kw_per_v = phases["start_a"] * cells / efficiency / 1000.0
    whole_ah = np.array([given_ah(row) for row in rows_of(record, "charge_phases")])
    most = 0.0
    for times, beside in ((start, JOINT_MIN), (end, -JOINT_MIN)):
        for time in times:
            on = (start < time + beside) & (end > time + beside)
            hours, decay = np.maximum(time - start[on], 0.0) / 60.0, phases["decay_per_h"][on]
            worth = np.divide(-np.expm1(-decay * hours), decay, out=hours.copy(), where=decay > 0.0)
            volts = phases["volts_per_cell"][on] + phases["rise_v"][on] * phases["start_a"][on] * worth / whole_ah[on]
            most = max(most, float(np.sum(kw_per_v[on] * volts * np.exp(-decay * hours))))
    return most + sum(
        count * kw for count, kw in zip(facts.charger_counts, facts.charger_standby_kw, strict=True) if count < math.inf
    )


def given_ah(phase: dict[str, Any]) -> float:
    """Ampere-hours of a phase."""
    if not phase["decay_per_h"]:
        return phase["start_a"] * phase["hours"]
    return -phase["start_a"] * math.expm1(-phase["decay_per_h"] * phase["hours"]) / phase["decay_per_h"]


def end_min(phase: dict[str, Any]) -> float:
    return phase["start_min"] + 60.0 * phase["hours"]


# --- the limit -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ROOMS)
def test_chargers_never_draw_more_than_the_limit(name: str):
    """The exact load with all standby; without the limit it would be more."""
    assert most_kw(recorded(name)) <= limit_kw(name) * (1.0 + 1e-6)
    assert most_kw(recorded(name, limited=False)) > limit_kw(name) * 1.02


@pytest.mark.parametrize("name", ["IUIa, all at once", "IUIa, short", "mixed", "side rollers", "in the truck"])
def test_the_limit_is_made_use_of(name: str):
    """Somebody waits for power while at least 99 % of it are drawn at the peak."""
    assert most_kw(recorded(name)) >= limit_kw(name) * 0.99


@pytest.mark.parametrize("name", [name for name in ROOMS if "truck" not in name])
def test_every_charge_gives_its_factor_times_what_was_drawn(name: str):
    """Ampere-hours are not lost in the changes: row by row, and phase by phase."""
    record = recorded(name)
    facts = record.facts
    factor = {"electronic_iuia": 1.15, "line_frequency_w": 1.2, "line_frequency_wowa": 1.15, "gel_iui": 1.025}
    discharges, full = by("battery", rows_of(record, "discharges")), 0
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for number, charge in enumerate(charges):
            discharge = discharges[battery][number]
            charger = facts.chargers[charge["charger"]]
            if discharge["soc_from_share"] < 1.0 or charge["end_min"] >= facts.horizon_min:
                continue
            equalised = 0.05 * facts.battery_types[charge["queue"]].capacity_ah * charge["equalising_min"] / 60.0
            expected = factor.get(charger, 1.0) * discharge["drawn_ah"] + equalised
            assert charge["charged_ah"] == pytest.approx(expected, rel=5e-3 if charger == "gel_iu" else 1e-6)
            assert charge["full"] == 1
            full += 1
    assert full > 10


@pytest.mark.parametrize("name", ROOMS)
def test_the_phases_of_a_charge_are_the_charge(name: str):
    """In order, without overlap, within it, of its ampere-hours, energy and state of charge."""
    record = recorded(name)
    phases = by("battery", rows_of(record, "charge_phases"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for before, after in pairwise(phases[battery]):
            assert end_min(before) <= after["start_min"] + JOINT_MIN
        for charge in charges:
            if charge["end_min"] > record.facts.horizon_min:
                continue  # of what the end of the run leaves unfinished only what has flowed is written
            since, until = charge["start_min"] - JOINT_MIN, charge["end_min"] + JOINT_MIN
            mine = [row for row in phases[battery] if since <= row["start_min"] and end_min(row) <= until]
            assert sum(map(given_ah, mine)) == pytest.approx(charge["charged_ah"], rel=1e-9)
            cells = record.facts.battery_types[charge["queue"]].cells
            kwh = sum(given_ah(row) * (row["volts_per_cell"] + row["rise_v"] / 2.0) * cells / 1000.0 for row in mine)
            assert kwh == pytest.approx(charge["charged_kwh"], rel=1e-9)
            assert mine[0]["soc_from_share"] == pytest.approx(charge["soc_from_share"], abs=0.02)
            for before, after in pairwise(mine):
                assert after["soc_from_share"] == pytest.approx(before["soc_to_share"], abs=1e-6)
                assert before["soc_from_share"] <= before["soc_to_share"] + 1e-12


@pytest.mark.parametrize("name", ["IUIa, short", "IUIa, all at once", "equalising", "gel IUI"])
def test_equal_chargers_in_their_main_stage_have_equal_current(name: str):
    """At any instant, be it throttled or not; and it changes many times."""
    record = recorded(name)
    phases = rows_of(record, "charge_phases")
    bulk = [row for row in phases if row["rise_v"] and not row["decay_per_h"] and row["hours"] > 1e-4]
    together, currents = 0, set()
    for row in bulk:
        middle = row["start_min"] + 30.0 * row["hours"]
        others = [each for each in bulk if each["start_min"] < middle < end_min(each)]
        assert [each["start_a"] for each in others] == pytest.approx([row["start_a"]] * len(others), rel=1e-6)
        together += len(others) > 1
        currents.add(round(row["start_a"], 3))
    assert together > 10
    assert len(currents) > 2


@pytest.mark.parametrize("name", ["IUIa, short", "IUIa, all at once, short"])
def test_nobody_is_held_down_while_there_is_power(name: str):
    """A current below that of its stage, main or last, only where the limit is made use of; then it rises again.

    What a falling current leaves free is given away at the next change, hence not all of it.
    """
    record = recorded(name)
    phases = [row for row in rows_of(record, "charge_phases") if row["hours"] > 1e-3]
    main_a, last_a = (each * record.facts.battery_types[0].capacity_ah for each in (0.18, 0.05))
    kw_per_a = record.facts.battery_types[0].cells / 1000.0 / record.facts.charger_efficiency[0]
    held = raised = 0
    for row in phases:
        if row["decay_per_h"] or row["start_a"] > 0.999 * (last_a if row["acceptance_per_h"] else main_a):
            continue
        middle = row["start_min"] + 30.0 * row["hours"]
        if middle > record.facts.horizon_min - 2.0 * DAY_MIN:  # charges that had not ended have no rows
            continue
        on = [each for each in phases if each["start_min"] < middle < end_min(each)]
        drawn_kw = sum(each["start_a"] * each["volts_per_cell"] for each in on) * kw_per_a
        assert drawn_kw > 0.75 * limit_kw(name)
        held += 1
        if row["acceptance_per_h"]:
            later = [each for each in phases if each["battery"] == row["battery"] and each["start_min"] > middle]
            raised += later[0]["start_a"] > row["start_a"] * 1.001 if later else 0
    assert min(held, raised) > 5


@pytest.mark.parametrize(
    "name",
    [
        "IUIa, plenty",
        "IUIa, all at once",
        "equalising",
        "W",
        "gel IU",
        "mixed",
        "side rollers",
        "in the truck, one each",
    ],
)
def test_a_limit_above_all_demand_changes_no_charge(name: str):
    changes, _ = ROOMS[name]
    free, capped = recorded(name, limited=False), run(room({**changes, CHARGING: {"power_limit": "400 kW"}}), weeks=2.0)

    def charges(record: Record) -> dict[tuple[int, int], dict[str, Any]]:
        numbered = by("battery", started(rows_of(record, "charges")))
        horizon = record.facts.horizon_min
        return {
            (battery, n): row
            for battery, mine in numbered.items()
            for n, row in enumerate(mine)
            if row["end_min"] < horizon
        }

    before, after = charges(free), charges(capped)
    assert before.keys() == after.keys()
    assert len(before) > 10
    for key, row in before.items():
        for column, value in row.items():
            near = 1e-4 if column.endswith("_min") else 1e-6
            assert after[key][column] == pytest.approx(value, abs=near, rel=1e-7, nan_ok=True), column


def test_the_tighter_the_limit_the_later_and_the_more_downtime():
    """Fixed run times, so that every truck asks for the same: charges get longer, and trucks begin to wait.

    The horizon cuts charges and waits, hence 0.5 %.
    """
    timed = {
        "trucks[0].duty": None,
        "trucks[0].run_time": "8 h",
        "trucks[0].first_run": {"first": "1 h", "every": "100 min"},
        "layouts.room.batteries": 12,
    }
    hours, downtime = [], []
    for kilowatts in (100, 24, 20, 17, 14):
        record = run(room({**timed, CHARGING: {"power_limit": f"{kilowatts} kW"}}), weeks=2.0)
        rows = started(rows_of(record, "charges"))
        hours.append(np.mean([row["end_min"] - row["start_min"] for row in rows]) / 60.0)
        downtime.append(measure(record)["downtime_min_per_truck_shift"])
    assert all(loose <= tight * 1.005 for loose, tight in pairwise(hours))
    assert all(loose <= tight * 1.005 for loose, tight in pairwise(downtime))
    assert hours[-1] > 1.5 * hours[0]
    assert downtime[-1] > downtime[0] + 60.0


# --- hours, delay, stagger -----------------------------------------------------------------------------------

NIGHT = [{"from": "20:00", "to": "06:00"}, {"days": "Sat, Sun", "from": "10:00", "to": "16:00"}]


def open_at(minute: float) -> bool:
    """Whether the hours of `NIGHT` hold a minute."""
    day, hour = int(minute // DAY_MIN) % 7, minute % DAY_MIN / 60.0
    return hour >= 20.0 or hour < 6.0 or (day >= 5 and 10.0 <= hour < 16.0)


@pytest.mark.parametrize("limit", [None, "30 kW"])
@pytest.mark.parametrize("handling", ["exchange", "W", "in the truck"])
def test_no_current_flows_outside_the_hours_of_charging(handling: str, limit: str | None):
    """And nothing is lost by it: an interrupted charge gives what an uninterrupted one gives."""
    changes: dict[str, Any] = {"exchange": {"layouts.room.batteries": 20}, "in the truck": IN_TRUCK}.get(handling, {})
    if handling == "W":
        changes = {CHARGERS: "12 x line_frequency_w", "layouts.room.batteries": 20}
    charging: dict[str, Any] = {"windows": NIGHT, **({"power_limit": limit} if limit else {})}
    record = run(room({**changes, CHARGING: charging}), weeks=2.0)
    phases = [row for row in rows_of(record, "charge_phases") if row["hours"] > JOINT_MIN]
    for row in phases:
        times = np.arange(row["start_min"] + JOINT_MIN, end_min(row) - JOINT_MIN, 1.0)
        assert all(open_at(float(each)) for each in (*times, end_min(row) - JOINT_MIN))
    paused = 0
    for battery, mine in by("battery", phases).items():
        charges = started(by("battery", rows_of(record, "charges"))[battery])
        for charge in charges:
            own = [row for row in mine if charge["start_min"] - 1.0 < row["start_min"] < charge["end_min"]]
            paused += any(after["start_min"] > end_min(before) + 60.0 for before, after in pairwise(own))
    if handling == "in the truck":
        return
    assert paused > 5
    factor = 1.2 if handling == "W" else 1.15
    discharges = by("battery", rows_of(record, "discharges"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for discharge, charge in zip(discharges[battery], charges, strict=False):
            if discharge["soc_from_share"] == 1.0 and charge["end_min"] < record.facts.horizon_min:
                assert charge["charged_ah"] == pytest.approx(factor * discharge["drawn_ah"], rel=1e-6)


@pytest.mark.parametrize("limit", [None, "30 kW"])
@pytest.mark.parametrize("handling", ["exchange", "in the truck"])
def test_current_comes_on_no_sooner_than_the_delay(handling: str, limit: str | None):
    changes = IN_TRUCK if handling == "in the truck" else {}
    charging = {"delay": "25 min", **({"power_limit": limit} if limit else {})}
    charges = started(rows_of(run(room({**changes, CHARGING: charging})), "charges"))
    assert len(charges) > 10
    assert all(row["start_min"] - row["connected_min"] >= 25.0 - JOINT_MIN for row in charges)
    if handling == "exchange":
        assert all(row["start_min"] == row["connected_min"] + 25.0 for row in charges)


@pytest.mark.parametrize("limit", [None, "60 kW"])
def test_staggered_charges_start_one_after_another(limit: str | None):
    """Eight trucks come at once; their batteries go on charge 20 min apart, and without the rule at once."""
    charging = {"stagger": "20 min", **({"power_limit": limit} if limit else {})}
    starts, at_once = (
        sorted(row["start_min"] for row in started(rows_of(run(room({**BURST, CHARGING: each})), "charges")))
        for each in (charging, {})
    )
    assert all(after - before >= 20.0 - 1e-9 for before, after in pairwise(starts))
    assert starts[7] - starts[0] == pytest.approx(140.0)
    assert at_once[7] == at_once[0]


def test_staggered_charges_start_one_after_another_when_the_hours_begin():
    """All eight wait for 18:00, and then start 20 min apart."""
    charging = {"stagger": "20 min", "windows": [{"from": "18:00", "to": "14:00"}]}
    early = {**BURST, "trucks[0].first_run": "15 h"}
    charges = started(rows_of(run(room({**early, CHARGING: charging})), "charges"))
    starts = sorted(row["start_min"] for row in charges)
    assert starts[0] == 18 * 60.0
    assert all(after - before >= 20.0 - 1e-9 for before, after in pairwise(starts))


def test_a_layout_may_have_rules_of_its_own():
    own = run(room({CHARGING: {"delay": "25 min"}, "layouts.room.charging": {"delay": "5 min"}}))
    assert all(row["start_min"] == row["connected_min"] + 5.0 for row in started(rows_of(own, "charges")))


@pytest.mark.parametrize("name", ROOMS)
def test_batteries_are_on_charge_as_long_as_current_flows(name: str):
    """Where there is none, for want of power or outside the hours, they wait for it or their charge pauses."""
    record = recorded(name)
    books.states_are_what_was_done(record)
    books.chargers_time_is_all_told(record)
    if name in {"hours too", "W"}:
        assert books.stays_in(record, PAUSED if name == "hours too" else WAITS_FOR_CURRENT)


AROUND = {"always": {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}}


@pytest.mark.parametrize("handling", ["exchange", "in the truck"])
def test_charges_under_way_when_the_run_ends_are_written(handling: str):
    """With their planned end, so that energy of the last hours is not lost; and trucks plugged in count as down."""
    changes = {} if handling == "exchange" else {**IN_TRUCK, "week.shifts": AROUND, "trucks[0].shifts": ["always"]}
    record = run(room({**changes, LIMIT: "20 kW"}))
    horizon = record.facts.horizon_min
    late = [row for row in started(rows_of(record, "charges")) if row["end_min"] > horizon]
    flowing = [row for row in rows_of(record, "charge_phases") if end_min(row) > horizon - 1e-6]
    assert late
    assert flowing
    assert {row["battery"] for row in flowing} <= {row["battery"] for row in late}
    assert all(row["start_min"] <= horizon for row in late)


def test_a_cold_battery_does_not_hold_up_the_others_by_its_stagger():
    """Its start is hours ahead; those that may begin now take the gap before it."""
    groups = {
        "trucks[0].air": "-20 degC",
        "trucks[0].first_run": {"first": "20 min", "every": "20 min"},
        "trucks[0].duty": {"mean_power": "1.5 kW", "between_trucks": "0 %", "between_shifts": "0 %"},
        "charging.stagger": "1 min",
    }
    charges = started(rows_of(run(room(groups)), "charges"))
    delayed = [row for row in charges if row["delayed_min"] > 60.0]
    others = [row for row in charges if row["delayed_min"] == 0.0]
    assert delayed
    assert others
    assert all(row["start_min"] - row["connected_min"] <= 20.0 for row in others)
    starts = sorted(row["start_min"] for row in charges)
    assert all(after - before >= 1.0 - 1e-9 for before, after in pairwise(starts))
