"""Counts and waits where nothing varies: plain arithmetic that the trade uses, and what follows from it."""

import math

import pytest

from batsim.formulas.rules_of_thumb import (
    all_at_once,
    batteries_per_truck,
    chargers_per_truck,
    wall_kwh_instead_of_fuel,
)

EIGHTS = "the 8-8-8 rule: common practice, no source"


@pytest.mark.published(source=EIGHTS, where="batteries per truck = 1 + (charge + cool)/(run + exchange)")
@pytest.mark.parametrize(
    ("run_h", "exchange_h", "charge_h", "cool_h", "per_truck", "for_20"),
    [
        (8.0, 0.0, 8.0, 8.0, 3.00, 60),
        (8.0, 0.0, 8.0, 0.0, 2.00, 40),
        (6.0, 0.25, 8.0, 8.0, 3.56, 72),
        (6.0, 0.25, 8.0, 4.0, 2.92, 59),
        (6.0, 0.25, 8.0, 0.0, 2.28, 46),
        (6.5, 0.0, 8.5, 6.0, 3.231, 65),
    ],
)
def test_batteries_per_truck(run_h, exchange_h, charge_h, cool_h, per_truck, for_20):
    """Counts agree to the digits worked out by hand; a fleet is rounded up."""
    found = batteries_per_truck(run_h, exchange_h, charge_h, cool_h)

    assert found == pytest.approx(per_truck, abs=0.005)
    assert math.ceil(20 * found - 1e-9) == for_20


@pytest.mark.published(source="worked out here", where="chargers per truck = charge/(run + exchange)")
@pytest.mark.parametrize(("run_h", "exchange_h", "chargers"), [(8.0, 0.0, 1.00), (6.0, 0.25, 1.28)])
def test_chargers_per_truck(run_h, exchange_h, chargers):
    """Chargers for an 8 h charge."""
    assert chargers_per_truck(run_h, exchange_h, 8.0) == pytest.approx(chargers, abs=1e-9)


@pytest.mark.published(source="worked out here", where="the k-th of N trucks at c stations waits s floor((k-1)/c)")
@pytest.mark.parametrize(
    ("trucks", "stations", "exchange_min", "mean_min", "longest_min", "clear_min"),
    [
        (20, 1, 12.0, 114.0, 228.0, 240.0),
        (20, 2, 12.0, 54.0, 108.0, 120.0),
        (20, 1, 4.0, 38.0, 76.0, 80.0),
        (20, 2, 4.0, 18.0, 36.0, 40.0),
        (20, 1, 2.5, 23.75, 47.5, 50.0),
        (20, 1, 6.5, 61.75, 123.5, 130.0),
        (40, 2, 2.5, 23.75, 47.5, 50.0),
    ],
)
def test_all_at_once(trucks, stations, exchange_min, mean_min, longest_min, clear_min):
    """A shift-change burst in a formula; the room itself is held against the same table elsewhere."""
    assert all_at_once(trucks, stations, exchange_min) == (mean_min, longest_min, clear_min)


@pytest.mark.published(source="US federal industrial-assessment guide", where="electric instead of liquid-gas trucks")
def test_wall_energy_in_bay_of_fuel():
    """A truck that burns 1,500 gallons a year, 91,330 Btu each, at 30 %, against a charger of 87 %."""
    fuel_kwh = 1500.0 * 91_330.0 / 3412.0
    assert wall_kwh_instead_of_fuel(fuel_kwh, 0.30, 0.87) == pytest.approx(13_845.2, abs=0.05)
