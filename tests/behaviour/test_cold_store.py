"""A cold store against the same fleet at 25 degC: more exchanges, by what the cold takes from a battery."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.measures.windows import Worked
from batsim.scenario.chemistry import capacity_factor_of, rated_cell
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
    battery, worked = scenario.batteries["lead 48 V 750 Ah"], Worked(record.facts.group_windows[REACH])
    factor_at, cell = capacity_factor_of(battery, FIGURES), rated_cell(battery, FIGURES)
    factors = np.array([factor_at(degc) for degc in rows["mean_degc"][mine]])
    spans = zip(rows["start_min"][mine], rows["end_min"][mine], strict=True)
    hours = np.array([worked.between(start, end) for start, end in spans]) / 60.0
    amps_over_i5 = np.maximum(rows["drawn_ah"][mine] / hours / (cell.capacity_ah / 5.0), 0.5 ** (1.0 / cell.peukert))
    return {
        "drawn_ah": float(np.mean(rows["drawn_ah"][mine])),
        "factor": float(np.mean(factors)),
        "given": float(np.mean(np.minimum(1.0, factors * amps_over_i5 ** (1.0 - cell.peukert)))),
        "end_degc": float(np.mean(rows["end_degc"][mine])),
        "exchanges": float(np.sum(exchanges["group"] == REACH)),
    }


def test_the_cold_costs_exchanges_by_what_it_takes_from_the_capacity(cold: Scenario, warm: Scenario):
    """The capacity factor at the electrolyte temperatures explains the shorter discharges and the more exchanges.

    By Peukert's law a discharge gives f/(I/I5)^(n-1) of the rated ampere-hours of its part of the state of charge, no
    more than at the current of 10 h, where I/I5 = 2^(-1/n), and never more than all: the warm battery is there mostly.
    """
    here, there = discharges(cold), discharges(warm)
    assert 0.75 < here["factor"] / there["factor"] < 0.92
    lost = here["given"] / there["given"]
    assert 0.75 < lost < 0.95
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
