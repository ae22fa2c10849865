"""Truck groups worked out for a run: what the calendar week in which it begins says."""

from pathlib import Path

import pytest

import batsim
from batsim.room.plans.blueprint import blueprint_of
from batsim.scenario.chemistry import cell_of
from tests.sites import KESTREL

WEEK_MIN = 10080.0


@pytest.mark.parametrize(("week", "degc"), [(3, 10.0), (29, 30.0)])
def test_a_battery_is_as_warm_as_the_air_of_the_first_week(week, degc):
    """Trucks that work in the air of the room, in its coldest week and half a year later."""
    text = Path(KESTREL.file).read_text(encoding="utf-8")
    text = text.replace("room_temperature: 22 degC", "room_temperature: {winter: 10 degC, summer: 30 degC}")
    site = batsim.read_scenario_text(text.replace("simulation: {", f"simulation: {{start_week: {week}, "))
    truck = site.trucks[0]
    plan = blueprint_of(site, "side rollers", 3 * WEEK_MIN, 0.0).groups[0]

    assert plan.air_degc[0] == pytest.approx(degc, abs=0.01)
    cell = cell_of(site.batteries[truck.battery], site.figures, plan.air_degc[0])
    assert tuple(plan.cell) == pytest.approx(tuple(cell))
