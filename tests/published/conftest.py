"""What the checks against theory share: the scenario files, and how simulated means agree with exact values.

The numbers that `batsim verify` checks stand in `batsim/verification/`, with their sources; what is here needs a
library, a solver or the record of a run. `pytest tests/published -rP` prints every comparison as a table; a check that
fails prints its own.
"""

import math

import pytest

from batsim.verification.agreement import Replicated, agreed
from batsim.verification.queueing import room
from tests.runs import record_of


def _value(stated):
    """Expected value, and half a unit of its last digit where it is text as printed in a table."""
    if isinstance(stated, str):
        return float(stated), 0.5 * 10.0 ** -len(stated.partition(".")[2])
    return stated, 0.0


def _agree(title, rows, controls=()):
    """Compare simulated means with exact values; print the table, and fail with it when one row disagrees.

    Each row is a quantity, its exact value (text where it is rounded in print) and its value in each replication. Means
    of what was drawn need not be narrow.
    """
    lines, wrong = [title, f"{'quantity':30}{'expected':>12}{'simulated':>12}{'half width':>12}"], []
    for quantity, stated, values in rows:
        expected, rounding = _value(stated)
        drawn = quantity.startswith("mean ")
        got = Replicated(values, () if drawn else tuple(controls))
        interval, holds = agreed(expected, rounding, got, is_share=quantity.endswith("_share"))
        if drawn:
            holds = math.isclose(interval.mean, expected, abs_tol=interval.half_width + rounding)
        lines.append(f"{quantity:30}{expected:>12.6g}{interval.mean:>12.6g}{interval.half_width:>12.6g}")
        lines[-1] += "" if holds else "  OUTSIDE, OR TOO WIDE"
        wrong += [] if holds else [quantity]
    table = "\n".join(lines)
    print(table)  # noqa: T201 - a table that anyone can reprint
    assert not wrong, f"\n{table}"


@pytest.fixture
def case():
    """Read one of the scenarios of the checks, with some things stated otherwise."""
    return room


@pytest.fixture
def agree():
    """Comparison of simulated means with exact values."""
    return _agree


@pytest.fixture
def record():
    """Simulate the first replication of a layout, as long as its scenario says, and return its record."""

    def simulate(scenario, layout="one"):
        return record_of(scenario, layout)

    return simulate
