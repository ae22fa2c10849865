"""Power that a shift draws against what a full battery gives: refused where it is stated, a check where it is drawn."""

from functools import cache
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.measures.windows import Measured
from batsim.measures.work import shift_powers_kw
from batsim.plan.checks import FAILS, OK, Check
from batsim.plan.evidence import Evidence, RunEvidence
from batsim.plan.fit import strength_checks
from batsim.scenario.checks.strength import full_run_min, greatest_kw
from batsim.scenario.site import Scenario
from tests.runs import record_of

SITE = """\
site: {name: Weak (invented), room_temperature: 20 degC}
week: {shifts: {day: {days: Mon-Fri, from: "06:00", to: "14:00"}}}
trucks:
  - {group: g, count: 4, shifts: [day], battery: b, duty: {mean_power: 5 kW, between_trucks: 3 %, between_shifts: 60 %}}
batteries: {b: {from: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h}}
layouts: {stands: {handling: portable_stands, batteries: 9, chargers: 5 x electronic_iuia}}
simulation: {replications: 1, length: 1 week, warm_up: 0 weeks, seed: 1}
"""


@cache
def site() -> Scenario:
    """Trucks whose work differs much from shift to shift."""
    return batsim.read_scenario_text(SITE, "weak.yaml")


def check_of(powers_kw: list[float], scenario: Scenario | None = None) -> list[Check]:
    """Checks where these powers were drawn."""
    shift_kw = {"g": np.array(powers_kw)}
    taken = RunEvidence({}, np.zeros(1), 5.0, 40.0, 5.0, np.zeros(0), shift_kw, {})
    runs: Any = None
    return list(strength_checks(scenario or site(), Evidence("stands", runs, (taken,))))


def test_the_greatest_power_leaves_just_enough_time_to_work() -> None:
    """A little more of it leaves less than the time below which a stated power is refused."""
    most = greatest_kw(site(), 0)

    assert full_run_min(site(), 0, most) >= 20.0
    assert full_run_min(site(), 0, most + 2e-3) < 20.0
    for kw, refused in ((most, False), (most + 0.01, True)):
        changes = {"trucks[0].duty.mean_power": f"{kw:.6f} kW"}
        if refused:
            with pytest.raises(batsim.ScenarioError, match=r"trucks\[0\].duty.mean_power: would empty 'b' in 20 min"):
                batsim.changed(site(), changes)
        else:
            batsim.changed(site(), changes)


def test_a_drawn_power_that_no_battery_gives_fails() -> None:
    """Exactly beyond what a full battery gives."""
    most = greatest_kw(site(), 0)
    (fits,), (beyond,) = check_of([1.0, most]), check_of([1.0, most + 0.1, most + 1.0])

    assert fits == Check(
        "g", "power of the work", OK, f"{most:.1f} kW in the hardest of 2 truck-shifts", f"at most {most:.1f} kW",
        "the most that a full battery of 'b' gives for 20 min of work",
        "A full battery gives the power of every simulated truck-shift.",
    )  # fmt: skip
    assert (beyond.verdict, beyond.limit) == (FAILS, fits.limit)
    assert beyond.value == f"{most + 1.0:.1f} kW in the hardest, beyond it in 2 of 3 truck-shifts"
    assert beyond.cure.startswith("a battery of more ampere-hours; or state a smaller spread")


def test_the_cure_of_a_weak_battery_cures() -> None:
    """Twice the ampere-hours give twice the power."""
    most = greatest_kw(site(), 0)
    larger = batsim.changed(site(), {"batteries.b.capacity": "1000 Ah at 5 h"})

    assert greatest_kw(larger, 0) == pytest.approx(2.0 * most, rel=1e-3)
    assert check_of([1.5 * most])[0].verdict == FAILS
    assert check_of([1.5 * most], larger)[0].verdict == OK


def test_powers_are_those_of_the_record() -> None:
    """One for each truck-shift that begins in the measured time; run times tell none, and then nothing is checked."""
    measured = Measured(record_of(site(), "stands", length_min=10_080.0, warm_up_min=1440.0))
    powers = shift_powers_kw(measured)["g"]
    run_times = batsim.changed(site(), {"trucks[0].duty": None, "trucks[0].run_time": "6 h"})

    assert powers.size == 4 * 5  # Tuesday to Friday, and Monday
    assert float(np.max(powers)) > 1.5 * float(np.min(powers)) > 0.0
    assert shift_powers_kw(Measured(record_of(run_times, "stands")))["g"].size == 0
    assert check_of([]) == []


def test_a_plan_shows_it() -> None:
    """Mean power that is well within reach, and shifts that are not."""
    hard = batsim.changed(site(), {"trucks[0].duty.mean_power": "18 kW"})
    plan = batsim.plan_layouts(hard, batsim.Settings(workers=1))
    check = next(each for each in plan.layouts["stands"].checks if each.name == "power of the work")

    assert check.verdict == FAILS
