"""Kernel events are what a run costs: few for each exchange, and none while nothing happens."""

import heapq
from pathlib import Path
from typing import Any

import pytest

import batsim
from batsim.record.tables import TABLES
from batsim.room.timing import clock
from batsim.scenario.site import Scenario
from tests.runs import record_of

CASES = Path(__file__).parent / "cases"
SCENARIOS = Path(__file__).parents[2] / "scenarios"
DAY_MIN = 1440.0
WEEK_MIN = 7 * DAY_MIN
EXCHANGING = ("side rollers", "portable stands", "hoist")


@pytest.fixture
def instants(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Times of all kernel events from here on."""
    times: list[float] = []

    def counted(queue: list[Any]) -> Any:
        event = heapq.heappop(queue)
        times.append(event[0])
        return event

    monkeypatch.setattr(clock, "heappop", counted)
    return times


@pytest.fixture(scope="module")
def kestrel_lane() -> Scenario:
    return batsim.read(SCENARIOS / "kestrel-lane.yaml")


def simulate(scenario: Scenario, layout: str, length_min: float) -> batsim.Record:
    return record_of(scenario, layout, seed=1, replication=0, length_min=length_min, warm_up_min=0.0)


def test_reference_room_takes_at_most_five_events_an_exchange(instants: list[float]):
    """Four are needed: the truck asks, the exchange ends, the charge ends, the battery has cooled."""
    record = simulate(batsim.read(CASES / "reference_room.yaml"), "room", 8 * WEEK_MIN)
    exchanges = record.count("exchanges")
    assert exchanges > 6_000
    assert 3.9 * exchanges < len(instants) <= 5 * exchanges


@pytest.mark.parametrize("layout", EXCHANGING)
def test_a_real_room_takes_at_most_eight_events_an_exchange(kestrel_lane: Scenario, layout: str, instants: list[float]):
    """All in: the way to the room, attendants and its breaks, connecting, watering."""
    record = simulate(kestrel_lane, layout, 4 * WEEK_MIN)
    exchanges = record.count("exchanges")
    assert exchanges > 1_000
    assert len(instants) <= 8 * exchanges


def test_charging_in_the_truck_takes_at_most_four_events_a_charge(kestrel_lane: Scenario, instants: list[float]):
    record = simulate(kestrel_lane, "in the truck", 4 * WEEK_MIN)
    charges = record.count("charges")
    assert charges > 1_000
    assert len(instants) <= 4 * charges


@pytest.mark.parametrize("layout", EXCHANGING)
def test_nothing_happens_on_an_idle_sunday(kestrel_lane: Scenario, layout: str, instants: list[float]):
    """By Sunday every battery that could be connected has been charged and has cooled down."""
    simulate(kestrel_lane, layout, 4 * WEEK_MIN)
    sundays = [time for time in instants if 6 * DAY_MIN <= time % WEEK_MIN < 6 * DAY_MIN + 22 * 60.0]
    assert sundays == []


@pytest.mark.parametrize("layout", [*EXCHANGING, "in the truck"])
def test_trucks_that_do_not_work_cost_nothing(kestrel_lane: Scenario, layout: str, instants: list[float]):
    """A room that opens on Saturday, looked at from Monday to Friday: each process starts, then waits."""
    for shift in ("early", "room early", "late", "room late", "night", "room night"):
        kestrel_lane = batsim.changed(kestrel_lane, {f"week.shifts.{shift}.days": "Sat"})
    record = simulate(kestrel_lane, layout, 5 * DAY_MIN)
    stands = {"chargers"} if layout == "side rollers" else set()  # spares that stand on chargers bound to their bays
    assert {name for name in TABLES if record.count(name)} == {"discharges", "batteries", "battery_states"} | stands
    trucks, shifts, end_of_run = 24, 3, 1
    assert len(instants) <= trucks + shifts + end_of_run


def test_time_never_goes_back(kestrel_lane: Scenario, instants: list[float]):
    """Not even where the way to the charging spot is longer than a break and the work before the next one."""
    far = batsim.changed(kestrel_lane, {"trucks[0].to_room": {"distance": "4 km", "speed": "8 km/h"}})
    far = batsim.changed(far, {"week.shifts.early.breaks": ["09:30 for 5 min", "09:40 for 5 min", "09:50 for 5 min"]})
    simulate(far, "in the truck", WEEK_MIN)
    assert instants == sorted(instants)
