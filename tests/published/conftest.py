"""What the checks against theory share: the scenario files, and how simulated means agree with exact values.

A stochastic check runs independent replications and passes when Student's 99.9 % interval of their mean holds the
exact value and is narrow: at most 2 % of the value to each side, or 0.005 for a share. `pytest tests/published -rP`
prints every comparison as a table; a check that fails prints its own.

There are about 200 such intervals. Seeds are fixed, but a change to the random streams draws all of them anew, and then
one in five times one of them misses its value by chance: it will hold it under another seed.
"""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from scipy import stats

import batsim
from tests.runs import record_of

CASES = Path(__file__).parent / "cases"
CONFIDENCE = 0.999
NARROW = 0.02
NARROW_SHARE = 0.005
REPLICATIONS = 40

QUANTITIES = {
    "availability_share": lambda v, trucks: v["availability_share"],
    "trucks_down": lambda v, trucks: trucks * (1.0 - v["availability_share"]),
    "trucks_waiting": lambda v, trucks: v["trucks_waiting_mean"],
    "not_waiting_share": lambda v, trucks: 1.0 - v["trucks_waiting_mean"] / trucks,
    "exchanges_per_h": lambda v, trucks: v["exchanges_per_day"] / 24.0,
    "exchanges_per_min": lambda v, trucks: v["exchanges_per_day"] / 1440.0,
    "down_h": lambda v, trucks: v["down_min_per_exchange"] / 60.0,
    "down_min": lambda v, trucks: v["down_min_per_exchange"],
    "wait_h": lambda v, trucks: v["wait_min_per_exchange"] / 60.0,
    "wait_min": lambda v, trucks: v["wait_min_per_exchange"],
    "waited_share": lambda v, trucks: v["waited_share"],
    "station_use_share": lambda v, trucks: v["station_busy_share"],
    "charger_use_share": lambda v, trucks: v["charger_busy_share"],
    "none_ready_time_share": lambda v, trucks: v["none_ready_time_share"],
    "found_none_share": lambda v, trucks: v["found_none_ready_share"],
    "found_one_share": lambda v, trucks: 1.0 - v["found_none_ready_share"],
    "ready_batteries": lambda v, trucks: v["ready_batteries_mean"],
}
"""Quantities of queueing theory, each from batsim's measures of all replications."""


class Estimate(NamedTuple):
    """Mean of replications and half the width of its interval."""

    mean: float
    half: float

    def holds(self, expected, rounding):
        """Tell whether the interval holds a value printed with this rounding."""
        return abs(self.mean - expected) <= self.half + rounding + 1e-9 * abs(expected)


def student(values):
    """Student's interval of the mean of independent values."""
    half = stats.t.ppf((1.0 + CONFIDENCE) / 2.0, values.size - 1) * np.std(values, ddof=1) / np.sqrt(values.size)
    return Estimate(float(np.mean(values)), float(half))


def narrowed(values, controls):
    """Interval of the mean at the point where all controls have their known mean, zero.

    Regression on control variates: Lavenberg, Moeller & Welch, Operations Research 30 (1982) 182-202 (from memory),
    where the controls are the realised mean times of a queueing network, as here.
    """
    design = np.column_stack([np.ones(values.size), *controls])
    freedom = values.size - design.shape[1]
    found, *_ = np.linalg.lstsq(design, values, rcond=None)
    variance = np.sum((values - design @ found) ** 2) / freedom
    spread = np.sqrt(variance * np.linalg.inv(design.T @ design)[0, 0])
    return Estimate(float(found[0]), float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, freedom) * spread))


def _value(stated):
    """Expected value, and half a unit of its last digit where it is text as printed in a table."""
    if isinstance(stated, str):
        return float(stated), 0.5 * 10.0 ** -len(stated.partition(".")[2])
    return stated, 0.0


def _agree(title, rows, controls=()):
    """Compare simulated means with exact values; print the table, and fail with it when one row disagrees.

    Each row is a quantity, its exact value (text where it is rounded in print) and its value in each replication. Where
    the plain interval is too wide, the controls narrow it; both must hold the value then. Means of what was drawn need
    not be narrow.
    """
    head = f"{'quantity':30}{'expected':>12}{'simulated':>12}{'half-width':>12}{'narrowed':>12}{'half-width':>12}"
    lines, wrong = [title, head], []
    for quantity, stated, values in rows:
        expected, rounding = _value(stated)
        plain = student(values)
        limit = max(NARROW * abs(expected), NARROW_SHARE if quantity.endswith("_share") else 0.0)
        limit = np.inf if quantity.startswith("mean ") else limit
        tests = [plain]
        if plain.half > limit and controls:
            tests.append(narrowed(values, controls))
        holds = all(test.holds(expected, rounding) for test in tests)
        narrow = tests[-1].half <= limit
        texts = "".join(f"{number:>12.6g}" for test in tests for number in test)
        verdict = "" if holds and narrow else "  OUTSIDE" if not holds else "  TOO WIDE"
        lines.append(f"{quantity:30}{expected:>12.6g}{texts}{verdict}")
        wrong += [] if holds and narrow else [quantity]
    table = "\n".join(lines)
    print(table)  # noqa: T201 - a table that anyone can reprint
    assert not wrong, f"\n{table}"


def _mean_times(scenario, layout, runs):
    """How far the realised mean run, exchange and charge times were off the stated ones, by replication.

    Each is the number finished less the time discharged over the stated mean, in proportion: zero in the mean. Constant
    times vary in nothing and are left out.
    """
    values = runs.values[layout]
    length_min = runs.schedule.length_min
    finished = values["exchanges_per_day"] * length_min / 1440.0
    discharged = {
        "run": (scenario.trucks[0].run_time_min, values["availability_share"] * scenario.trucks[0].count),
        "exchange": (scenario.layouts[layout].exchange_time_min, values["station_busy_share"] * values["stations"]),
        "charge": (scenario.batteries["plain"].charge_time_min, values["charger_busy_share"] * values["chargers"]),
    }
    return {
        name: (finished - busy * length_min / law.mean) / np.mean(finished)
        for name, (law, busy) in discharged.items()
        if law is not None and law.kind != "fixed" and np.all(np.isfinite(busy))
    }


@pytest.fixture
def case():
    """Read one of the scenario files beside these tests, with some things stated otherwise."""

    def read(name, changes=None):
        scenario = batsim.read(CASES / f"{name}.yaml")
        for path, value in (changes or {}).items():
            scenario = batsim.changed(scenario, {path: value})
        return scenario

    return read


@pytest.fixture
def agree():
    """Comparison of simulated means with exact values."""
    return _agree


@pytest.fixture
def steady():
    """Simulate a layout for long and compare its quantities with exact ones.

    The realised mean times are themselves compared with the stated ones, so that they may serve as controls.
    """

    def check(title, scenario, layout, weeks, expected):
        runs = batsim.run(scenario, batsim.Settings(layouts=layout, replications=REPLICATIONS, weeks=weeks, workers=1))
        values = runs.values[layout]
        controls = _mean_times(scenario, layout, runs)
        rows = [
            (quantity, stated, QUANTITIES[quantity](values, scenario.trucks[0].count))
            for quantity, stated in expected.items()
        ]
        rows += [(f"mean {name} time, 1 is stated", 1.0, 1.0 - control) for name, control in controls.items()]
        _agree(f"{title}: {REPLICATIONS} replications of {weeks:g} weeks", rows, list(controls.values()))
        return values

    return check


@pytest.fixture
def record():
    """Simulate the first replication of a layout, as long as its scenario says, and return its record."""

    def simulate(scenario, layout="one"):
        return record_of(scenario, layout)

    return simulate
