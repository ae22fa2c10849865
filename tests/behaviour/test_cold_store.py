"""A cold store against the same fleet at 25 degC: more exchanges, by what the cold takes from a battery."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.scenario.chemistry import capacity_factor_of
from batsim.scenario.site import Scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"
REACH = 0
"""Number of the group that works at -20 degC."""


@pytest.fixture(scope="module")
def cold() -> Scenario:
    return batsim.read(SCENARIOS / "frostholm-cold-store.yaml")


@pytest.fixture(scope="module")
def warm(cold: Scenario) -> Scenario:
    same = batsim.changed(cold, {"site.room_temperature": "25 degC"})
    return batsim.changed(same, {"trucks[0].air": "25 degC", "trucks[1].air": "25 degC"})


def discharges(scenario: Scenario) -> dict[str, float]:
    """What a discharge of the reach trucks is like, and how many exchanges they make in a week."""
    record = batsim.simulate(scenario, "side rollers")
    rows, exchanges = record.columns("discharges"), record.columns("exchanges")
    mine = (rows["group"] == REACH) & (rows["soc_from_share"] == 1.0) & (rows["end_min"] < record.facts.horizon_min)
    factor = capacity_factor_of(scenario.batteries["lead 48 V 750 Ah"], FIGURES)
    return {
        "drawn_ah": float(np.mean(rows["drawn_ah"][mine])),
        "factor": float(np.mean([factor(degc) for degc in rows["mean_degc"][mine]])),
        "end_degc": float(np.mean(rows["end_degc"][mine])),
        "exchanges": float(np.sum(exchanges["group"] == REACH)),
    }


def test_the_cold_costs_exchanges_by_what_it_takes_from_the_capacity(cold: Scenario, warm: Scenario):
    """The capacity factor at the electrolyte temperatures explains the shorter discharges and the more exchanges."""
    here, there = discharges(cold), discharges(warm)
    lost = here["factor"] / there["factor"]
    assert 0.75 < lost < 0.92
    assert here["drawn_ah"] / there["drawn_ah"] == pytest.approx(lost, rel=0.01)
    # The same work: so many more exchanges as each gives less, but for trucks that stand in line.
    assert here["exchanges"] / there["exchanges"] == pytest.approx(1.0 / lost, rel=0.05)


def test_a_battery_that_comes_out_of_the_store_is_far_warmer_than_the_store(cold: Scenario):
    assert -10.0 < discharges(cold)["end_degc"] < 5.0


def test_too_cold_to_be_charged_it_waits_in_the_room(cold: Scenario, warm: Scenario):
    charges = batsim.simulate(cold, "side rollers").columns("charges")
    begun = ~np.isnan(charges["start_degc"]) & (charges["queue"] == REACH)
    assert np.mean(charges["delayed_min"][begun] > 0.0) > 0.8
    assert np.min(charges["start_degc"][begun]) == pytest.approx(10.0, abs=0.05)
    assert not np.any(batsim.simulate(warm, "side rollers").columns("charges")["delayed_min"] > 0.0)
