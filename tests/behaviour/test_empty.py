"""Trucks that come to a stop with an empty battery: never below empty, fetched, and the time is lost."""

from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.catalogue import FIGURES
from batsim.measures import measure
from batsim.record.words import FETCHING, TASKS

SITE = Path(__file__).parent / "cases" / "below_empty.yaml"
FETCH_MIN = FIGURES["truck.fetch"].value


def test_no_battery_is_ever_below_empty() -> None:
    """It stops where it is, and stands until it is fetched; the work of fetching is a driver's."""
    record = batsim.simulate(batsim.read(SITE), "room", settings=batsim.Settings(weeks=4))
    rows, discharges, work = (record.columns(table) for table in ("exchanges", "discharges", "work"))
    assert np.min(discharges["soc_to_share"]) == 0.0
    assert np.min(rows["soc_share"]) == 0.0
    stopped = rows["fetched_min"] > 0.0
    assert np.sum(stopped) > 5
    assert np.array_equal(stopped, rows["soc_share"] <= 0.0)
    assert set(rows["fetched_min"][stopped]) == {FETCH_MIN}
    way_min = 2500.0 / (8000.0 / 60.0)
    assert rows["joined_min"][stopped] - rows["left_min"][stopped] == pytest.approx(way_min + FETCH_MIN, abs=1e-5)
    fetching = work["task"] == FETCHING
    assert TASKS[FETCHING] == "fetch"
    assert work["hands_on_min"][fetching].sum() >= FETCH_MIN * np.sum(stopped)


def test_what_is_fetched_is_lost_and_said() -> None:
    """The measures count the stops and their minutes; a longer fetch loses more."""
    scenario = batsim.read(SITE)
    lost = []
    for minutes in ("10 min", "20 min", "40 min"):
        changed = batsim.changed(scenario, {"figures": {"truck.fetch": minutes}})
        measures = measure(batsim.simulate(changed, "room", settings=batsim.Settings(weeks=4)))
        lost.append(measures["fetch_min_per_truck_shift"])
        assert measures["stopped_empty"] >= 3.0
    assert 0.0 < lost[0] < lost[1] < lost[2]


def test_an_empty_truck_draws_no_more_than_it_has() -> None:
    """Ampere-hours of a discharge never exceed the rated ones, whatever way lies before the room."""
    record = batsim.simulate(batsim.read(SITE), "room", settings=batsim.Settings(weeks=4))
    rated_ah = record.facts.battery_types[0].capacity_ah
    assert np.max(record.columns("discharges")["drawn_ah"]) <= rated_ah + 1e-6
    assert np.max(record.columns("discharges")["depth_share"]) <= 1.0 + 1e-9
