"""Supply of a plan: loads by hand, coincidence from the simulated load, and what holding chargers back saves."""

import math
from functools import cache
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.measures.electrical_load import loads, weekly_peak
from batsim.measures.windows import Measured
from batsim.plan.checks import FAILS, NOT_KNOWN, OK, Check
from batsim.plan.evidence import QUARTERS, Evidence, evidence
from batsim.plan.supply import ChargerLoad, HeldBack, SupplyPlan, held_back, supply
from batsim.scenario.reading import completed_data
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.statistics.written import number_text
from batsim.views.charts.load_chart import load_chart
from batsim.views.text.services_text import supply_facts
from tests.runs import record_of

SITE = """\
site: {name: Supply (invented)}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: trucks, count: 3, shifts: [day], battery: lead, duty: {mean_power: 2 kW, between_trucks: 0 %, between_shifts: 0 %}}
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 600 Ah at 5 h, cool_down: 0 min, watering: none, equalising: none}}
chargers: {ours: {from: electronic_iuia, main_current: 120 A, efficiency: 92 %, power_factor: 0.95, standby: 0 kW}}
layouts:
  v1.2: {handling: in_truck, chargers: 3 x ours, in_truck: {in_breaks: false}}
  room: {handling: portable_stands, batteries: 5, chargers: 2 x ours}
supply: {voltage: 400 V, spare: 30 kVA}
figures: {battery.vented_lead_acid.main_from_v: 2.4 V}
"""  # noqa: E501 - a scenario
RULE = "simulated 15-min peak of all weeks; the local wiring rules and a licensed electrician decide"


@cache
def site() -> Scenario:
    """Three trucks that stop together at two o'clock; the main stage holds 2.4 V a cell from its beginning."""
    return batsim.read_scenario_text(SITE, "supply.yaml")


def supplied(
    changes: dict[str, Any] | None = None, layout: str = "v1.2", replications: int = 2, weeks: float = 0.3
) -> tuple[SupplyPlan, Evidence]:
    """Supply of a layout after a short simulation, with what it rests on."""
    scenario = batsim.changed(site(), changes) if changes else site()
    settings = Settings(layouts=(layout,), replications=replications, weeks=weeks, warm_up_weeks=0.0, seed=1, workers=1)
    schedule = settings.schedule(scenario)
    found = evidence(schedule, settings)[layout]
    tried = held_back({layout: found}, schedule, [layout], settings)
    return supply(scenario, layout, found, *tried[layout]), found


@cache
def usual() -> tuple[SupplyPlan, Evidence]:
    """The three chargers as they are."""
    return supplied()


@pytest.mark.parametrize(
    ("volts", "phases", "amps", "rated"),
    [(400, 3, 11.41, 14.27), (480, 3, 9.512, 11.89), (230, 1, 34.38, 42.98)],
)
def test_a_charger_by_hand(volts: float, phases: int, amps: float, rated: float) -> None:
    """24 cells x 2.4 V x 120 A over 92 % is 7.513 kW, over 0.95 is 7.908 kVA; 1.25 times by the US rule."""
    one = {"layouts": {"v1.2": {"handling": "in_truck", "chargers": "1 x ours"}}, "trucks[0].count": 1,
           "supply": {"voltage": f"{volts} V", "phases": phases}}  # fmt: skip
    found, _ = supplied(one, replications=1, weeks=0.1)
    (load,) = found.loads

    assert load[:2] == (1, "ours")
    assert (load.kw, load.kva) == pytest.approx((7.513, 7.908), abs=5e-4)
    assert load.current_a == pytest.approx(amps, rel=5e-4)
    assert found.continuous_a == pytest.approx(rated, rel=5e-4)
    assert load.formula == ("24 cells x 2.4 V x 120 A / 92 % = 7.51 kW; / power factor 0.95 = 7.91 kVA")


def test_all_at_once() -> None:
    """Three times one."""
    found, _ = usual()

    assert (found.all_at_once_kw, found.all_at_once_kva) == pytest.approx((3 * 7.513, 3 * 7.908), abs=2e-3)
    assert found.continuous_a == pytest.approx(1.25 * 3 * 11.415, abs=2e-3)
    assert FIGURES["supply.continuous_factor"].value == 1.25


def test_coincidence_is_one_where_all_start_together() -> None:
    """Peak of the quarter is then all chargers at their greatest load; the mean over it is the load factor."""
    found, rests_on = usual()

    assert found.coincidence_share == pytest.approx(1.0)
    assert found.peak_kw.mean == pytest.approx(found.all_at_once_kw)
    assert found.current_a == pytest.approx(3 * 11.415, abs=2e-3)
    assert found.mean_kw == pytest.approx(np.mean([np.mean(each.load_kw) for each in rests_on.replications]))
    assert found.load_factor_share == pytest.approx(found.mean_kw / found.peak_kw.mean)


@pytest.mark.parametrize("charger", ["line_frequency_w", "line_frequency_wowa", "electronic_iuia", "fast_iuia"])
def test_the_simulated_peak_is_never_above_all_at_once(charger: str) -> None:
    """Voltages as they are: the three trucks stop together, and come in the cold too."""
    usual_v = {"figures": {}, "chargers.ours": {"from": charger}}
    for air in ("20 degC", "8 degC"):
        found, rests_on = supplied({**usual_v, "site.room_temperature": air}, replications=1)

        assert 0.7 < found.coincidence_share <= 1.0 + 1e-9
        assert max(np.max(each.load_kw) for each in rests_on.replications) <= found.all_at_once_kw * (1.0 + 1e-9)


def test_chargers_at_once_take_their_current_at_the_voltage_limit() -> None:
    """24 fast chargers, 300 A on 24 cells at 2.4 V over 92 %: 451 kW; each reaches it at the end of its main stage."""
    changes = {
        "figures": {},
        "chargers.ours": {"from": "fast_iuia", "standby": "0 kW"},
        "trucks[0].count": 24,
        "batteries.lead.capacity": "750 Ah at 5 h",
        "layouts": {"v1.2": {"handling": "in_truck", "chargers": "24 x ours", "in_truck": {"in_breaks": False}}},
    }
    found, _ = supplied(changes, replications=1, weeks=0.1)
    record = record_of(batsim.changed(site(), changes), "v1.2", length_min=1000.0, warm_up_min=0.0)
    phases = record.columns("charge_phases")
    main = (phases["decay_per_h"] == 0.0) & (phases["acceptance_per_h"] == 0.0)
    end_kw = phases["start_a"] * (phases["volts_per_cell"] + phases["rise_v"]) * 24 / 0.92 / 1000.0

    assert found.all_at_once_kw == pytest.approx(450.8, abs=0.1)
    assert end_kw[main] * 24 == pytest.approx([found.all_at_once_kw] * np.sum(main))
    assert np.sum(main) >= 24


def test_coincidence_is_less_where_chargers_are_staggered() -> None:
    """Two hours between the starts, when the first has left its main stage: never more than two main stages."""
    found, _ = supplied({"charging": {"stagger": "2 h"}})

    assert 0.33 < found.coincidence_share < 0.8
    assert found.peak_kw.mean < 0.8 * found.all_at_once_kw


def test_the_peak_is_that_of_the_load() -> None:
    """Highest quarter of each replication, and their mean."""
    found, rests_on = usual()

    peaks = [float(np.max(each.load_kw)) for each in rests_on.replications]
    assert found.peak_kw.mean == pytest.approx(np.mean(peaks))
    assert found.peak_kva.mean == pytest.approx(np.mean(peaks) / 0.95)


def test_the_peak_of_a_week_and_that_of_all_weeks() -> None:
    """The mean of three weeks' peaks, and the greatest of them; half a week more counts for the second alone."""
    load = np.concatenate([np.full(QUARTERS, each) for each in (2.0, 4.0, 3.0)])
    load[5] += 10.0

    assert weekly_peak(load) == (12.0 + 4.0 + 3.0) / 3.0
    assert weekly_peak(np.append(load, np.full(QUARTERS // 2, 20.0))) == weekly_peak(load)
    assert weekly_peak(load[:100]) == 12.0


def test_table_chart_and_supply_state_the_same_peak() -> None:
    """The measure of that name; the greatest of all weeks has another."""
    found, rests_on = supplied(weeks=2.0)
    facts = "\n".join(supply_facts(found, FIGURES))
    peak, greatest = rests_on.mean("peak_kw"), rests_on.mean("peak_of_all_weeks_kw")
    words = [text.get_text() for text in load_chart(rests_on).get_legend().get_texts()]

    assert (found.peak_kw.mean, found.greatest_kw.mean) == (peak, greatest)
    assert f"Simulated peak of a week, mean of 15 min: {number_text(found.peak_kw)} kW" in facts
    assert f"Of all weeks: {number_text(found.greatest_kw)} kW" in facts
    assert f"peak load as tables state it: mean of the weeks' peaks {peak:.2f} kW" in words
    assert peak <= greatest <= found.all_at_once_kw * (1.0 + 1e-9)


def test_a_week_of_energy_is_that_of_the_load() -> None:
    """Dealt over the quarters of a week from Monday on, whatever the measured time."""
    _, rests_on = usual()
    record = record_of(site(), "v1.2", seed=1, length_min=0.3 * 10_080, warm_up_min=0.0)
    kw = loads(Measured(record))[0]

    assert rests_on.week_kwh.shape == (QUARTERS,)
    whole = np.sum([np.sum(each.load_kw) for each in rests_on.replications]) * 0.25
    weeks = sum(each.load_kw.size for each in rests_on.replications) / QUARTERS
    assert np.sum(rests_on.week_kwh) == pytest.approx(whole / weeks)
    assert np.allclose(rests_on.replications[0].load_kw, kw)
    mean_kw = np.mean([each.load_kw for each in rests_on.replications], axis=0)
    assert rests_on.week_kwh[: kw.size] == pytest.approx(mean_kw * 0.25 * QUARTERS / kw.size)
    assert np.all(rests_on.week_kwh[kw.size :] == 0.0)


# --- held back ---


def test_a_power_limit_of_four_fifths() -> None:
    """18 of 22.5 kW; the chargers have the whole night, so no truck waits longer."""
    found, _ = usual()
    limit, stagger = found.held_back

    assert (limit.what, stagger.what) == ("power limit of 18 kW", "10 min between starts")
    assert limit.peak_kw == pytest.approx(18.0)
    assert limit.saved_kw == pytest.approx(found.peak_kw.mean - 18.0)
    assert limit.lost_min_per_truck_shift == pytest.approx(0.0, abs=1e-9)
    assert stagger.saved_kw == pytest.approx(found.peak_kw.mean - stagger.peak_kw)
    assert stagger.downtime_min_per_truck_shift > 0.0


def test_what_the_layout_states_itself_is_changed_there() -> None:
    """Rules of its own stay its own, though its name has a dot; those of the scenario are left alone."""
    own, _ = supplied({"layouts.'v1.2'.charging": {"delay": "0 min"}, "charging": {"power_limit": "9 kW"}})

    assert own.peak_kw.mean == pytest.approx(22.54, abs=0.01)
    assert own.held_back[0].peak_kw == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("changes", "ways", "why"),
    [
        # One charger draws more than four fifths of itself; the other way is still tried.
        ({"layouts": {"v1.2": {"handling": "in_truck", "chargers": "1 x ours"}}, "trucks[0].count": 1},
         ["10 min between starts"],
         "power limit of 6 kW was not tried: must be at least 7.6 kW, what one 'ours' draws on 'lead', the others in "
         "standby"),
        # A charge that is timed on site has no curve that could be limited.
        ({"batteries.lead.charge_time": "8 h"}, ["10 min between starts"],
         "power limit of 9.7 kW was not tried: needs the chargers' curves, and 'lead' states a 'charge_time'; leave "
         "one of the two out"),
        # Chargers with a falling line cannot be throttled.
        ({"chargers.ours": {"from": "line_frequency_w"}}, ["10 min between starts"],
         "power limit of 11 kW was not tried: chargers with a falling current cannot be throttled"),
    ],
)  # fmt: skip
def test_what_cannot_be_limited_is_not_tried(changes: dict[str, Any], ways: list[str], why: str) -> None:
    """And the plan goes on without it, and says why."""
    found, _ = supplied(changes, replications=1, weeks=0.2)

    assert [way.what for way in found.held_back] == ways
    assert found.not_tried == (why,)
    assert supply_facts(found, FIGURES)[-1] == f"{why[0].upper()}{why[1:]}."


def test_no_load_no_ways() -> None:
    """Before the first charge there is nothing to hold back, and no ratio to tell."""
    found, _ = supplied(weeks=0.02, replications=1)

    assert found.peak_kw.mean == 0.0
    assert found.held_back == ()
    assert math.isnan(found.coincidence_share)
    assert math.isnan(found.load_factor_share)


# --- the check ---


def test_what_the_supply_can_carry() -> None:
    """At the limit and a hair beyond it; the upper end of the interval counts."""
    found, _ = usual()
    high = found.greatest_kva.high
    enough, short, unknown = (
        supplied({"supply.spare": spare}, weeks=0.3)[0].checks[0]
        for spare in (f"{high + 1e-4:.6f} kVA", f"{high - 1e-3:.6f} kVA", None)
    )

    assert (enough.verdict, short.verdict, unknown.verdict) == (OK, FAILS, NOT_KNOWN)
    assert enough == Check(
        "supply", "power of the supply", OK, "24 kVA (up to 24)", "at most 24 kVA", RULE,
        "The supply carries the simulated peak.",
    )  # fmt: skip
    assert unknown == Check(
        "supply",
        "power of the supply",
        NOT_KNOWN,
        "-",
        "-",
        RULE,
        "Not known: ask what the supply can carry beside everything else (24 kVA are needed).",
        "",
        "ask what the supply can carry beside everything else (24 kVA are needed)",
        "supply.spare",
        "whether the supply must be made stronger, or chargers held back",
    )


def test_what_is_missing_to_the_letter() -> None:
    """In kVA, and the cure that costs least first."""
    (check,) = supplied({"supply.spare": "10 kVA"})[0].checks

    assert check == Check(
        "supply", "power of the supply", FAILS, "24 kVA (up to 24)", "at most 10 kVA", RULE, "14 kVA are missing.",
        "a power limit of 9 kW (charging.power_limit), and a look at what it delays, or a supply of 24 kVA",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("spare", "cures"),
    [
        ("23.5 kVA", "power limit of 18 kW, or a supply of 24 kVA"),
        ("8 kVA", "a supply of 24 kVA"),  # one charger alone draws more
    ],
)
def test_chargers_are_held_back_only_where_that_is_enough(spare: str, cures: str) -> None:
    """What was tried and found to be enough first; a limit that one charger alone exceeds is none."""
    scenario = batsim.changed(site(), {"supply.spare": spare})
    tried = (
        HeldBack("power limit of 18 kW", 18.0, 5.0, 1.0, 0.0),
        HeldBack("10 min between starts", 22.4, 0.1, 1.0, 0.0),
    )
    found = supply(scenario, "v1.2", usual()[1], tried)

    assert found.checks[0].cure == cures


def test_without_a_voltage_there_is_no_current() -> None:
    """Powers are told all the same."""
    found, _ = supplied({"supply": {}}, replications=1, weeks=0.2)

    assert (found.current_a, found.continuous_a, found.loads[0].current_a) == (None, None, None)
    assert found.all_at_once_kva == pytest.approx(3 * 7.908, abs=2e-3)


def test_chargers_by_the_largest_battery_that_they_fit() -> None:
    """A charger in proportion to the battery draws most on the largest one; one without a battery draws nothing."""
    data = completed_data(site())
    assert isinstance(data["trucks"], list)
    changes = {
        "batteries.big": {"from": "vented_lead_acid", "cells": 24, "capacity": "1000 Ah at 5 h", "cool_down": "0 min"},
        "trucks": [*data["trucks"], {**data["trucks"][0], "group": "more", "count": 1, "battery": "big"}],
        "chargers.other": {"from": "electronic_iuia", "main_current": "10 A per 100 Ah", "efficiency": "100 %",
                           "power_factor": 1.0},
        "layouts": {"room": {"handling": "portable_stands", "batteries": {"lead": 4, "big": 2},
                             "chargers": ["2 x other", "unlimited x ours"]}},
    }  # fmt: skip
    found, _ = supplied(changes, "room", replications=1, weeks=0.1)

    assert [each[:2] for each in found.loads] == [(2, "other"), (6.0, "ours")]
    assert found.loads[0].kw == pytest.approx(24 * 2.4 * 100.0 / 1000.0)
    assert isinstance(found.loads[0], ChargerLoad)
