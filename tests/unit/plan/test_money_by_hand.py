"""The money of one layout worked out a second time, row by row from what its run left, without the package's sums."""

from functools import cache
from pathlib import Path
from typing import Any

import pytest

import batsim
from batsim.plan.plan import LayoutPlan
from batsim.record.record import Record
from batsim.record.words import DRIVER, TASKS
from batsim.scenario.site import Scenario
from tests.behaviour.ledger import rows_of
from tests.prices import ROUND
from tests.runs import record_of

FILE = Path(__file__).parents[1] / "cases" / "surveyed.yaml"
PRICES: dict[str, Any] = {
    **ROUND,
    "interest": {"battery": "6 %", "charger": "0 %", "device": "4 %", "room": "4 %"},
    "lives": {"battery": "5 years", "charger": "1 year", "device": {"": "8 years"}, "room": "20 years"},
}
WEEK_MIN, WEEKS_PER_YEAR = 7 * 1440.0, 52


@cache
def site() -> Scenario:
    """Three trucks far from the room on heavy duty; drivers exchange and see to everything else."""
    changes = {
        "prices": PRICES,
        "trucks[0].duty": {"mean_power": "3 kW", "between_shifts": "20 %"},
        "trucks[0].to_room": {"distance": "400 m", "speed": "8 km/h"},
        "layouts.stands.attendants": None,
        "simulation": {"replications": 1, "length": "1 week", "warm_up": "0 weeks", "seed": 4},
    }
    return batsim.changed(batsim.read(FILE), changes)


@cache
def planned() -> LayoutPlan:
    """The plan of the stands."""
    return batsim.plan_layouts(site(), batsim.Settings(layouts="stands", workers=1)).layouts["stands"]


@cache
def record() -> Record:
    """The run that it rests on."""
    return record_of(site(), "stands")


def in_shift(from_min: float, to_min: float) -> float:
    """Minutes of Monday to Friday, 06:00 to 14:00, between two instants; what never came lasts to the end."""
    end = min(to_min, WEEK_MIN) if to_min == to_min else WEEK_MIN
    return sum(
        max(0.0, min(end, day * 1440.0 + 840.0) - max(from_min, day * 1440.0 + 360.0))
        for day in range(5)
    )  # fmt: skip


def paid_back(price: float, interest: float, years: float) -> float:
    """Yearly payment that leaves nothing owed at the end of a life: found by halving, year by year."""
    low, high = 0.0, price * (1.0 + interest)
    for _ in range(80):
        payment, owed = (low + high) / 2.0, price
        for _ in range(round(years)):
            owed = owed * (1.0 + interest) - payment
        low, high = (payment, high) if owed > 0.0 else (low, payment)
    return high


def test_the_money_of_a_layout_by_hand() -> None:
    """Every line from rows, counts and prices; then the sums."""
    plan = planned()
    visits = rows_of(record(), "exchanges")
    away = sum(in_shift(row["left_min"], row["back_min"]) for row in visits)
    helped = sum(in_shift(row["start_min"], row["end_min"]) for row in rows_of(record(), "stands"))
    lost_h = WEEKS_PER_YEAR * (away + helped) / 60.0
    on_the_way = sum(
        in_shift(row["left_min"], row["joined_min"]) + in_shift(row["truck_free_min"], row["back_min"])
        for row in visits
    )  # fmt: skip
    assert visits
    assert on_the_way > 0.1 * away

    beside_min = 0.0
    for row in rows_of(record(), "work"):
        assert row["person"] == DRIVER
        inside = in_shift(row["start_min"], row["end_min"]) if TASKS[int(row["task"])] == "exchange" else 0.0
        beside_min += row["hands_on_min"] - min(inside, row["hands_on_min"])
    assert beside_min > 0.0  # batteries are connected and watered while trucks are at work

    runs = plan.evidence.mean
    days = 5 * WEEKS_PER_YEAR
    parts = 2 + 3 + 3 + 1 + 1 + 1  # securing devices, roller beds, locks, a water cart, a spill kit, a set of goggles
    expected = {
        "batteries": paid_back(7 * 48 * 0.5 * 100.0, 0.06, 5),
        "chargers": 4 * 1000.0,
        "devices and parts": paid_back(2 * 500.0 + parts * 50.0, 0.04, 8),
        "bays, stations, room": paid_back(6 * 200.0 + 2 * 700.0, 0.04, 20),
        "trucks standing": lost_h * 12.0,
        "their drivers": lost_h * 20.0,
        "drivers outside downtime": WEEKS_PER_YEAR * beside_min / 60.0 * 20.0,
        "energy": runs("energy_kwh_per_day") * days * 0.20,
        "demand": runs("peak_of_all_weeks_kw") * 12 * 10.0,
        "water": runs("water_lost_kg_per_day") * days * 0.5,
        "floor": 6 * 1.05 * (0.75 + 1.1) * 60.0,
    }
    found = {line.what: line.per_year.value for line in plan.money.lines}
    assert found == pytest.approx(expected, rel=1e-6)

    in_all = sum(line.per_year.value for line in plan.money.lines)
    scheduled_h = 3 * 40.0 * WEEKS_PER_YEAR
    assert plan.money.per_year.value == pytest.approx(in_all)
    assert plan.money.per_truck_hour.value == pytest.approx(in_all / (scheduled_h - lost_h))
    assert plan.money.at_equal_work.value == pytest.approx(in_all * scheduled_h / (scheduled_h - lost_h))
    assert plan.money.purchase.value == pytest.approx(7 * 2400 + 4 * 1000 + 2 * 500 + parts * 50 + 6 * 200 + 2 * 700)
    assert not plan.money.per_year.placeholder
