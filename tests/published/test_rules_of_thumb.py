"""Counts and waits where nothing varies: plain arithmetic that the trade uses, and what follows from it."""

import math

import pytest

from batsim.formulas.rules_of_thumb import batteries_per_truck


@pytest.mark.common_practice(where="the 8-8-8 rule: batteries per truck = 1 + (charge + cool)/(run + exchange)")
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
