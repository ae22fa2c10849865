"""Temperatures of a plan: charges outside of what the battery may have, and electrolyte that could freeze."""

import math
from functools import cache
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.decision.recommendation import recommend
from batsim.measures.warmth import Hardship, hardships, warmth_measures
from batsim.measures.windows import Measured
from batsim.plan.cautions import cautions
from batsim.plan.checks import FAILS, OK, TO_CHECK, Check
from batsim.plan.evidence import AreaEvidence, Evidence, RunEvidence
from batsim.plan.temperatures import freezing, temperature_checks
from batsim.scenario.site import Scenario
from batsim.views.text.tables import comparison_text
from tests.runs import record_of

FREEZER = """\
question: lithium in a freezer
site: {name: freezer (invented), room_temperature: -25 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: big, count: 4, class: reach_1_6t_48v, shifts: [day], battery: li, air: -25 degC, duty: {mean_power: 2 kW}, to_room: {distance: 100 m, speed: 8 km/h}}
batteries:
  li: {from: lithium_ion, cells: 16, capacity: 420 Ah at 5 h}
layouts:
  truck: {handling: in_truck, chargers: 4 x lithium_cc_cv}
simulation: {replications: 2, length: 1 week, warm_up: 0 weeks, seed: 1}
"""  # noqa: E501 - as the case was reported
STORE = """\
site: {name: Store (invented), room_temperature: 20 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks: [{group: trucks, count: 2, shifts: [day], battery: lead, air: -25 degC, duty: {mean_power: 2 kW}}]
batteries: {lead: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts: {stands: {handling: portable_stands, batteries: 4, chargers: 2 x electronic_iuia}}
simulation: {replications: 1, length: 1 week, warm_up: 0 weeks, seed: 1}
"""
STARTS = "temperature at the start of charges"
ICE = "freezing of the electrolyte"
WELL = Hardship(charges=9, outside=0, coldest_degc=21.0, warmest_degc=31.0, least_left_share=0.3)


@cache
def store() -> Scenario:
    """Lead-acid batteries that work in a cold store and are charged in a room at 20 degC."""
    return batsim.read_scenario_text(STORE, "store.yaml")


def checks_of(changes: dict[str, Any] | None = None, went: Hardship = WELL) -> dict[str, Check]:
    """Checks by name, of batteries that went through this."""
    scenario = batsim.changed(store(), changes or {})
    area = AreaEvidence(False, np.zeros(1), {"lead": went}, {}, 0.0)
    taken = RunEvidence({}, np.zeros(1), 5.0, 40.0, 5.0, np.zeros(0), {}, {"": area})
    runs: Any = None
    found = temperature_checks(scenario, "stands", Evidence("stands", runs, (taken,)))
    return {check.name: check for check in found}


# --- charges ---


def test_lithium_in_a_freezer_is_the_first_risk_and_a_row_of_the_comparison() -> None:
    """Every charge begins at -25 to -20 degC, where lithium-ion may be charged from 0 degC on."""
    scenario = batsim.read_scenario_text(FREEZER, "freezer.yaml")
    plan = batsim.plan_layouts(scenario, batsim.Settings(workers=1))
    check, *_ = plan.layouts["truck"].checks

    assert (check.subject, check.name, check.verdict) == ("battery 'li'", STARTS, FAILS)
    assert check.value.startswith("-25.0 to -")
    assert check.limit == "0 to 60 °C"
    assert recommend(plan).risks[0].startswith(f"battery 'li', {STARTS}: Charges of battery 'li' begin colder than")
    row = next(line for line in comparison_text(plan.comparison).splitlines() if line.startswith("charged too warm"))
    assert row.split()[-4:] == ["100", "%", "of", "charges"]
    assert "lithium plates out" in check.sentence


def test_a_comparison_without_such_charges_has_no_row_of_them() -> None:
    """As most have none."""
    warm = FREEZER.replace("-25 degC", "20 degC")
    comparison = batsim.compare(batsim.read_scenario_text(warm, "warm.yaml"), batsim.Settings(workers=1))

    assert "charged too warm" not in comparison_text(comparison)


@pytest.mark.parametrize("chemistry", ["vented_lead_acid", "valve_regulated", "lithium_ion"])
@pytest.mark.parametrize(("degc", "word"), [(-5.0, "colder"), (70.0, "warmer")])
def test_one_charge_outside_fails_for_every_chemistry(chemistry: str, degc: float, word: str) -> None:
    """At whichever end."""
    charger = {"vented_lead_acid": "electronic_iuia", "valve_regulated": "gel_iu", "lithium_ion": "lithium_cc_cv"}
    changes = {"batteries.lead.from": chemistry, "layouts.stands.chargers": f"2 x {charger[chemistry]}"}
    went = WELL._replace(outside=1, coldest_degc=min(degc, 21.0), warmest_degc=max(degc, 31.0))
    check = checks_of(changes, went)[STARTS]

    assert check.verdict == FAILS
    assert f"begin {word} than" in check.sentence
    assert f"{math.floor(degc)} °C (charge_{'from' if degc < 0 else 'below'})" in check.cure
    assert checks_of(changes)[STARTS].verdict == OK


def test_charges_that_do_not_wait_are_cured_by_waiting_where_the_room_is_warm_enough() -> None:
    """In a room that is too cold itself waiting is no cure, and is not offered alone."""
    went, starts = WELL._replace(outside=1, coldest_degc=-3.0), {"charging": {"too_warm_or_cold": "start"}}

    assert checks_of(starts, went)[STARTS].cure == (
        "let them wait until the battery has them (charging.too_warm_or_cold: wait)"
    )
    cold = checks_of(starts | {"site.room_temperature": "-5 degC"}, went)[STARTS]
    assert cold.cure.startswith("charge where it is warmer than 10 °C and let the battery warm up first")
    assert checks_of({}, went)[STARTS].cure == cold.cure


def test_the_cure_of_cold_charges_cures() -> None:
    """A charging place at 20 degC, where batteries wait until they are warm enough."""
    warm = FREEZER.replace("room_temperature: -25", "room_temperature: 20")
    for text, outside in ((FREEZER, True), (warm, False)):
        scenario = batsim.read_scenario_text(text, "freezer.yaml")
        measured = Measured(record_of(scenario, "truck"))
        went = hardships(measured)["li"]

        assert (went.outside == went.charges) == outside
        assert warmth_measures(measured)["outside_temperature_share"] == (1.0 if outside else 0.0)
        assert (went.charges > 10, went.outside > 0) == (True, outside)
        assert (went.coldest_degc < -1e-3) == outside


def test_weeks_that_were_not_simulated_are_to_be_checked() -> None:
    """In winter the room is colder than vented batteries may be charged."""
    air = {"site.room_temperature": {"winter": "9 degC", "summer": "25 degC"}}

    assert checks_of(air)[STARTS].verdict == TO_CHECK
    assert checks_of(air)[STARTS].value == "21.0 to 31.0 °C simulated, air of 9 to 25 °C in the year"
    assert checks_of({"site.room_temperature": {"winter": "10 degC", "summer": "45 degC"}})[STARTS].verdict == OK
    assert checks_of({"site.room_temperature": {"winter": "10 degC", "summer": "46 degC"}})[STARTS].verdict == TO_CHECK
    assert checks_of({}, WELL._replace(charges=0))[STARTS].verdict == TO_CHECK


def test_limits_that_the_site_states_hold() -> None:
    """And whose they are is said."""
    check = checks_of({"batteries.lead.charge_from": "15 degC", "batteries.lead.charge_below": "40 degC"})[STARTS]

    assert check == Check(
        "battery 'lead'", STARTS, OK, "21.0 to 31.0 °C", "15 to 40 °C", "stated for this battery type",
        "All simulated charges begin within the limits.",
    )  # fmt: skip
    assert checks_of()[STARTS].rule == "common practice, no source"


# --- ice ---


@pytest.mark.parametrize(
    ("air", "left", "verdict"),
    [
        # Empty: 1.97 - 0.84 = 1.130, between 1.100 (-7.2 degC) and 1.150 (-15 degC): -11.88 degC.
        ("-11.8 degC", 0.0, OK), ("-11.9 degC", 0.0, FAILS), ("-11.8 degC", 0.9, OK), ("-11.9 degC", 0.9, TO_CHECK),
        # 56.25 % left: 1.97 + 0.16 x 0.5625 - 0.84 = 1.220, -35.0 degC.
        ("-34.9 degC", 0.5625, TO_CHECK), ("-35 degC", 0.5624, FAILS), ("-35.1 degC", 0.5625, FAILS),
        ("-35.1 degC", 0.57, TO_CHECK),
        ("-0.1 degC", 0.0, OK),
    ],
)  # fmt: skip
def test_electrolyte_freezes_by_its_density(air: str, left: float, verdict: str) -> None:
    """Discharged as deep as simulated; or, to be checked, empty."""
    assert checks_of({"trucks[0].air": air}, WELL._replace(least_left_share=left))[ICE].verdict == verdict


def test_ice_to_the_letter() -> None:
    """From 35 % left on it does not freeze at -25 degC: 1.160 + 0.060 x 7.8/17.8 = 1.1863."""
    left = (0.84 + 1.16 + 0.06 * 7.8 / 17.8 - 1.97) / 0.16

    assert checks_of()[ICE] == Check(
        "battery 'lead'", ICE, FAILS, "air down to -25 °C", "warmer than -22.5 °C, where it freezes with 30 % left",
        "US Army TM 10-6140-200-14, p. 11, table 1-1: +1 °F at 1.160; density by the charge that is left, well mixed",
        "Discharged as in the simulated time, to 30 %, its electrolyte freezes when it gets as cold as the air: ice "
        "breaks plates and cells, and a frozen battery must not be charged.",
        f"leave at least {100 * left:.0f} % in it (exchange_at), "
        "or take it out of the cold as soon as it is discharged",
    )  # fmt: skip


def test_the_cure_against_ice_cures() -> None:
    """With as much left as it names, or in air above the freezing point."""
    cold = freezing(store(), "lead")
    assert cold is not None
    for share, verdict in ((cold.least_share + 1e-6, TO_CHECK), (cold.least_share - 1e-6, FAILS)):
        assert checks_of({}, WELL._replace(least_left_share=share))[ICE].verdict == verdict
    assert cold._replace(coldest_degc=-90.0).least_share == pytest.approx(
        0.9375
    )  # of 1.29, in the last row of the table, 1.280
    assert cold._replace(coldest_degc=-1.0).least_share == 0.0


@pytest.mark.parametrize("name", [name for name in FIGURES if name.startswith("electrolyte.")])
def test_figures_of_the_electrolyte_that_the_site_states(name: str) -> None:
    """Each moves the freezing point of some charge."""
    figure = FIGURES[name]
    stated = batsim.changed(store(), {f"figures.'{name}'": f"{1.02 * figure.value:.6g} {figure.unit}"})
    usual, moved = freezing(store(), "lead"), freezing(stated, "lead")
    assert usual is not None
    assert moved is not None

    assert any(usual.freezes_degc(share) != moved.freezes_degc(share) for share in np.linspace(0.0, 1.0, 41))


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({}, True),
        ({"trucks[0].air": "0 degC"}, False),
        ({"trucks[0].air": "-1 degC"}, True),
        ({"trucks[0].air": None, "site.room_temperature": {"winter": "-1 degC", "summer": "20 degC"}}, True),
        ({"batteries.lead.from": "lithium_ion", "layouts.stands.chargers": "2 x lithium_cc_cv"}, False),
        ({"batteries.lead.from": "valve_regulated", "layouts.stands.chargers": "2 x gel_iu"}, True),
    ],
)
def test_ice_is_spoken_of_where_it_can_be(changes: dict[str, Any], named: bool) -> None:
    """A check and a caution for lead-acid below 0 degC, nothing elsewhere."""
    assert (ICE in checks_of(changes)) == named
    texts = cautions(batsim.changed(store(), changes), "stands")
    assert any(text.startswith("Discharged electrolyte freezes, at -12 °C when empty") for text in texts) == named


def test_the_deepest_discharge_is_that_of_the_record() -> None:
    """Rated ampere-hours that are left, not what the cold lets out of them."""
    measured = Measured(record_of(store(), "stands"))
    depth = measured.columns("discharges")["depth_share"]
    went = hardships(measured)["lead"]

    assert went.least_left_share == pytest.approx(1.0 - float(np.max(depth)))
    assert 0.25 < went.least_left_share < 0.9


def test_batteries_that_trucks_keep_are_of_their_type() -> None:
    kept = batsim.changed(store(), {"trucks[0].own_batteries": True})
    plan = batsim.plan_layouts(kept, batsim.Settings(workers=1)).layouts["stands"]
    assert [check.subject for check in plan.checks if check.name == STARTS] == ["battery 'lead'"]
    went = hardships(Measured(record_of(kept, "stands")))
    assert went.keys() == {"lead"}
    assert plan.evidence.hardship("", "lead") == went["lead"]
