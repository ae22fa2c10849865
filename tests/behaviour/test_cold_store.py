"""A cold store against the same fleet at 25 degC: more exchanges, by what the cold takes from a battery."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.formulas.discharge import Cell
from batsim.measures.windows import Worked
from batsim.record.record import Record
from batsim.scenario.chemistry import capacity_factor_of, rated_cell
from batsim.scenario.site import Scenario
from tests.behaviour.ledger import by, rows_of

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
    battery, shifts = scenario.batteries["lead 48 V 750 Ah"], by("truck", rows_of(record, "truck_shifts"))
    factor_at, cell = capacity_factor_of(battery, FIGURES), rated_cell(battery, FIGURES)
    mine = [
        row
        for row in rows_of(record, "discharges")
        if (row["group"], row["soc_from_share"]) == (REACH, 1.0) and row["end_min"] < record.facts.horizon_min
    ]
    factors = [factor_at(row["mean_degc"]) for row in mine]
    given = [
        given_share(record, row, shifts[row["truck"]], factor, cell) for row, factor in zip(mine, factors, strict=True)
    ]
    exchanges = record.columns("exchanges")
    return {
        "drawn_ah": float(np.mean([row["drawn_ah"] for row in mine])),
        "factor": float(np.mean(factors)),
        "given": float(np.mean(given)),
        "end_degc": float(np.mean([row["end_degc"] for row in mine])),
        "exchanges": float(np.sum(exchanges["group"] == REACH)),
    }


def given_share(
    record: Record, discharge: dict[str, Any], shifts: list[dict[str, Any]], factor: float, cell: Cell
) -> float:
    """What a discharge gives of the rated ampere-hours of its part of the state of charge.

    By Peukert's law a current takes (I/I5)^(n-1)/f of its ampere-hours, no less than at the current of 10 h, where
    I/I5 = 2^(-1/n), and never less than themselves: the warm battery is there mostly. Current goes by power.
    """
    worked = Worked(record.facts.group_windows[REACH])
    times = np.array([row["start_min"] for row in shifts[1:]])
    edges = np.clip([-np.inf, *times, np.inf], discharge["start_min"], discharge["end_min"])
    work = np.diff(worked(edges)) * [row["power_w"] for row in shifts]
    amps = np.array([row["power_w"] for row in shifts]) * 60.0 * discharge["drawn_ah"] / np.sum(work)
    taken = np.maximum(amps / (cell.capacity_ah / 5.0), 0.5 ** (1.0 / cell.peukert)) ** (cell.peukert - 1.0) / factor
    return float(np.sum(work) / np.sum(work * np.maximum(1.0, taken)))


def test_the_cold_costs_exchanges_by_what_it_takes_from_the_capacity(cold: Scenario, warm: Scenario):
    """The capacity factor at the electrolyte temperatures explains the shorter discharges and the more exchanges."""
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
    assert np.mean(charges["delayed_min"][begun] > 0.0) > 0.7
    assert np.min(charges["start_degc"][begun]) == pytest.approx(10.0, abs=0.05)
    assert not np.any(batsim.simulate(warm, "side rollers").columns("charges")["delayed_min"] > 0.0)
