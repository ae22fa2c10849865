"""More of anything never hurts, names and units do not matter, and at its limits the room does what it must."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import batsim
from batsim.measures import measure
from batsim.record.tables import TABLES
from batsim.scenario.reading import build, source_of
from batsim.scenario.site import Scenario
from tests.behaviour.strategies import ROUNDS
from tests.runs import record_of

CASES = Path(__file__).parent / "cases"
SCENARIOS = Path(__file__).parents[2] / "scenarios"
STUDENT_99 = 2.998
"""Of 7 degrees of freedom: eight paired replications."""
DAY_MIN = 1440.0
WEEK_MIN = 7 * DAY_MIN
EXCHANGING = ("side rollers", "portable stands", "hoist")
RUN, EXCHANGE = "trucks[0].run_time", "handling.'bare exchange'.steps[0].time"
CHARGE, COOL = "batteries.plain.charge_time", "batteries.plain.cool_down"
STATIONS, BATTERIES, CHARGERS = "layouts.room.stations", "layouts.room.batteries", "layouts.room.chargers"


def with_changes(scenario: Scenario, changes: dict[str, object]) -> Scenario:
    """Several replacements, checked once when all are made."""
    stated = source_of(scenario)
    for path, value in changes.items():
        stated = stated.replaced(path, value)
    return build(stated)


def reference(changes: dict[str, object]) -> Scenario:
    """The reference room with other times and counts."""
    return with_changes(batsim.read(CASES / "reference_room.yaml"), changes)


def simulated(
    scenario: Scenario, layout: str = "room", *, length_min: float, warm_up_min: float = 0.0, replication: int = 0
) -> batsim.Record:
    return record_of(scenario, layout, seed=7, replication=replication, length_min=length_min, warm_up_min=warm_up_min)


def exchange_starts(scenario: Scenario, length_min: float) -> list[float]:
    starts = simulated(scenario, length_min=length_min).columns("exchanges")["start_min"]
    return sorted(starts[~np.isnan(starts)].tolist())


# --- more of anything ----------------------------------------------------------------------------------------


@ROUNDS
@given(
    run=st.integers(60, 600),
    exchange=st.integers(1, 40),
    charge=st.integers(0, 600),
    cool=st.integers(0, 600),
    every=st.integers(0, 40),
    trucks=st.integers(2, 9),
    spares=st.integers(1, 8),
    stations=st.integers(1, 2),
    chargers=st.integers(1, 9),
)
def test_fixed_times_first_come_first_served_no_exchange_later(
    run: int, exchange: int, charge: int, cool: int, every: int, trucks: int, spares: int, stations: int, chargers: int
):
    """Exact: with one more of anything the n-th exchange starts no later, with a longer step no earlier."""
    room = reference(
        {
            "trucks[0].count": trucks,
            "trucks[0].first_run": {"first": "10 min", "every": f"{every} min"},
            BATTERIES: trucks + spares,
            STATIONS: stations,
            CHARGERS: f"{chargers} x electronic_iuia",
            RUN: f"{run} min",
            EXCHANGE: f"{exchange} min",
            CHARGE: f"{charge} min",
            COOL: f"{cool} min",
        }
    )
    starts = exchange_starts(room, 4 * DAY_MIN)
    for path, value in {
        STATIONS: stations + 1,
        BATTERIES: trucks + spares + 1,
        CHARGERS: f"{chargers + 1} x electronic_iuia",
    }.items():
        more = exchange_starts(batsim.changed(room, {path: value}), 4 * DAY_MIN)
        assert len(more) >= len(starts)
        assert all(late >= soon for late, soon in zip(starts, more, strict=False))
    slower = exchange_starts(batsim.changed(room, {EXCHANGE: f"{exchange + 1} min"}), 4 * DAY_MIN)
    assert len(slower) <= len(starts)
    assert all(late >= soon for late, soon in zip(slower, starts, strict=False))


def paired_gain(scenario: Scenario, layout: str, path: str, value: object) -> tuple[float, float]:
    """Downtime saved by a change, over paired replications, and its standard error. [min per truck-shift]"""
    changed = batsim.changed(scenario, {path: value})
    before, after = (
        np.array(
            [
                measure(simulated(each, layout, length_min=2 * WEEK_MIN, warm_up_min=WEEK_MIN, replication=number))[
                    "downtime_min_per_truck_shift"
                ]
                for number in range(8)
            ]
        )
        for each in (scenario, changed)
    )
    gains = before - after
    return float(np.mean(gains)), float(np.std(gains, ddof=1) / math.sqrt(gains.size))


@pytest.mark.parametrize(
    "layout", [EXCHANGING[0], *(pytest.param(each, marks=pytest.mark.slow) for each in EXCHANGING[1:])]
)
def test_one_more_of_each_makes_downtime_no_worse_on_average(layout: str):
    """One-sided at 99 %; and the scarce thing must really help.

    Attendants without a limit: with few attendants a second station may hurt where batteries are scarce, because
    exchanges go before connecting and the discharged batteries then wait.
    """
    site = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    (charger,) = site.layouts[layout].chargers
    counts = {"stations": 1, "batteries": 60, "chargers": f"28 x {charger.charger}"}
    more = {"stations": 2, "batteries": 61, "chargers": f"29 x {charger.charger}"}
    site = with_changes(site, {f"layouts.{layout}.{path}": value for path, value in counts.items()})
    site = batsim.changed(site, {f"layouts.{layout}.attendants": "unlimited"})
    gains = {path: paired_gain(site, layout, f"layouts.{layout}.{path}", value) for path, value in more.items()}
    for path, (gain, error) in gains.items():
        assert gain >= -STUDENT_99 * error, path
    assert max(gain / error for gain, error in gains.values() if error) > STUDENT_99


# --- names and units -----------------------------------------------------------------------------------------


def test_another_unit_for_the_same_times_changes_nothing():
    in_minutes = {RUN: "450 min", EXCHANGE: "4 min", CHARGE: "420 min", COOL: "420 min"}
    in_others = {RUN: "7.5 h", EXCHANGE: "240 s", CHARGE: "7 h", COOL: "25200 s"}
    one, other = (
        simulated(reference({BATTERIES: 100, **times}), length_min=2 * WEEK_MIN) for times in (in_minutes, in_others)
    )
    assert all(repr(one.rows(table)) == repr(other.rows(table)) for table in TABLES)


def test_all_times_sixty_times_longer_leave_shares_as_they_were():
    """The same numbers in hours instead of minutes; draws are rounded to ticks, hence the tolerance."""

    def times(unit: str) -> dict[str, object]:
        return {
            RUN: {"mean": f"50 {unit}", "law": "exponential"},
            EXCHANGE: {"mean": f"4 {unit}", "cv": 0.5},
            CHARGE: {"mean": f"40 {unit}", "cv": 0.3},
            COOL: f"30 {unit}",
            STATIONS: 3,
            BATTERIES: 90,
            CHARGERS: "30 x electronic_iuia",
        }

    short = simulated(reference(times("min")), length_min=5_000.0, warm_up_min=500.0)
    long = simulated(reference(times("h")), length_min=300_000.0, warm_up_min=30_000.0)
    assert short.count("exchanges") == long.count("exchanges")
    few, many = measure(short), measure(long)
    assert few["wait_min_per_exchange"] > 0.0
    assert 60.0 * few["wait_min_per_exchange"] == pytest.approx(many["wait_min_per_exchange"], rel=1e-5)
    for name in (
        "availability_share",
        "waited_share",
        "trucks_waiting_mean",
        "found_none_ready_share",
        "none_ready_time_share",
        "station_busy_share",
        "charger_busy_share",
        "ready_batteries_mean",
    ):
        assert few[name] == pytest.approx(many[name], rel=1e-5), name


def test_names_do_not_matter():
    """Shifts and layouts under other names, sorted otherwise: the same rows. Groups and types name their streams."""
    text = (SCENARIOS / "kestrel-lane.yaml").read_text(encoding="utf-8")
    renamed = text
    for old, new in {
        "side rollers": "z layout",
        "early": "zz first",
        "night": "a night",
    }.items():
        assert old in renamed
        renamed = renamed.replace(old, new)
    one = simulated(batsim.read_scenario_text(text), "side rollers", length_min=2 * WEEK_MIN)
    other = simulated(batsim.read_scenario_text(renamed), "z layout", length_min=2 * WEEK_MIN)
    assert one.count("exchanges") > 100
    assert all(repr(one.rows(table)) == repr(other.rows(table)) for table in TABLES)


def test_other_layouts_beside_it_do_not_matter():
    site = batsim.read(SCENARIOS / "kestrel-lane.yaml")
    alone = batsim.changed(site, {"layouts": {"hoist": source_of(site).at(("layouts", "hoist"))}})
    one, other = (simulated(each, "hoist", length_min=WEEK_MIN) for each in (site, alone))
    assert all(repr(one.rows(table)) == repr(other.rows(table)) for table in TABLES)


# --- limits --------------------------------------------------------------------------------------------------


def test_no_exchange_time_and_endless_batteries_never_stop_a_truck():
    room = reference({EXCHANGE: "0 min", CHARGE: "0 min", COOL: "0 min", BATTERIES: 1000})
    found = measure(simulated(room, length_min=4 * WEEK_MIN))
    assert found["availability_share"] == 1.0
    assert found["wait_min_per_exchange"] == 0.0
    assert found["exchanges_per_day"] > 100


@pytest.mark.parametrize("chargers", [1, 3])
def test_few_chargers_set_the_pace(chargers: int):
    """Many trucks: exchanges per hour tend to chargers over charge time, and the chargers never rest."""
    room = reference({CHARGERS: f"{chargers} x electronic_iuia", CHARGE: "50 min", COOL: "420 min", RUN: "60 min"})
    found = measure(simulated(room, length_min=4 * WEEK_MIN, warm_up_min=WEEK_MIN))
    assert found["charger_busy_share"] == pytest.approx(1.0, abs=1e-12)
    assert found["exchanges_per_day"] == pytest.approx(chargers * DAY_MIN / 50.0, rel=1e-3)


def test_one_station_sets_the_pace():
    room = reference({STATIONS: 1, EXCHANGE: "20 min", RUN: "60 min", CHARGE: "10 min", COOL: "10 min"})
    found = measure(simulated(room, length_min=4 * WEEK_MIN, warm_up_min=WEEK_MIN))
    assert found["station_busy_share"] == pytest.approx(1.0, abs=1e-12)
    assert found["exchanges_per_day"] == pytest.approx(DAY_MIN / 20.0, rel=1e-3)


def test_one_battery_a_truck_waits_for_its_own():
    """Drawn out at arrival: available for the run, of run, charge, cool-down and exchange."""
    cycle_min = 450.0 + 420.0 + 300.0 + 30.0
    room = reference(
        {
            "rules": {"discharged_on_charge": "at_arrival"},
            BATTERIES: 40,
            STATIONS: "unlimited",
            "trucks[0].first_run": {"first": "0 min", "every": "7 min"},
            RUN: "450 min",
            CHARGE: "420 min",
            COOL: "300 min",
            EXCHANGE: "30 min",
        }
    )
    found = measure(simulated(room, length_min=5 * cycle_min, warm_up_min=cycle_min))
    assert found["availability_share"] == pytest.approx(450.0 / cycle_min, abs=1e-12)


@pytest.mark.parametrize(
    ("run", "exchange", "charge", "cool", "batteries"),
    [
        (480, 0, 480, 480, 60),
        (480, 0, 480, 0, 40),
        (360, 15, 480, 480, 72),
        (360, 15, 480, 240, 60),
        (360, 15, 480, 0, 47),
    ],
)
def test_batteries_for_twenty_staggered_trucks(run: int, exchange: int, charge: int, cool: int, batteries: int):
    """20 x (1 + (exchange + charge + cool) / (run + exchange)), rounded up, is enough; one battery less is not.

    The exchange counts twice: it keeps the discharged and the ready battery at once.
    """
    assert batteries == math.ceil(20 * (1 + (exchange + charge + cool) / (run + exchange)))
    room = reference(
        {
            "trucks[0].count": 20,
            "trucks[0].first_run": {"first": "0 min", "every": f"{(run + exchange) / 20} min"},
            RUN: f"{run} min",
            EXCHANGE: f"{exchange} min",
            CHARGE: f"{charge} min",
            COOL: f"{cool} min",
            BATTERIES: batteries,
        }
    )
    enough = measure(simulated(room, length_min=4 * WEEK_MIN))
    short = measure(simulated(batsim.changed(room, {BATTERIES: batteries - 1}), length_min=4 * WEEK_MIN))
    assert enough["wait_min_per_exchange"] == 0.0
    assert short["wait_min_per_exchange"] > 0.0


@pytest.mark.parametrize(
    ("trucks", "stations", "minutes", "mean", "longest"),
    [
        (20, 1, 12.0, 114.0, 228.0),
        (20, 2, 12.0, 54.0, 108.0),
        (20, 1, 2.5, 23.75, 47.5),
        (40, 2, 2.5, 23.75, 47.5),
    ],
)
def test_burst_at_a_shift_change(trucks: int, stations: int, minutes: float, mean: float, longest: float):
    """All trucks at once: the k-th waits for (k - 1) // stations exchanges."""
    room = reference(
        {
            "trucks[0].count": trucks,
            "trucks[0].first_run": "60 min",
            STATIONS: stations,
            EXCHANGE: f"{minutes} min",
            RUN: "1000 h",
        }
    )
    rows = simulated(room, length_min=DAY_MIN).columns("exchanges")
    waits = rows["start_min"] - rows["joined_min"]
    assert waits.size == trucks
    assert np.mean(waits) == mean
    assert np.max(waits) == longest
    assert np.max(rows["end_min"]) == 60.0 + trucks / stations * minutes


def test_staggered_trucks_never_queue():
    """Arrivals spaced by the exchange time of one station: no wait at all."""
    room = reference(
        {
            "trucks[0].count": 20,
            "trucks[0].first_run": {"first": "0 min", "every": "20 min"},
            STATIONS: 1,
            EXCHANGE: "20 min",
            RUN: "380 min",
            CHARGE: "100 min",
            COOL: "100 min",
        }
    )
    found = measure(simulated(room, length_min=4 * WEEK_MIN))
    assert found["wait_min_per_exchange"] == 0.0
    assert found["station_busy_share"] == pytest.approx(1.0, abs=1e-12)
