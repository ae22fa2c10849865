"""The room agrees, draw for draw, with a plain event loop written a second time."""

from pathlib import Path

import pytest

import batsim
from batsim.record.record import Record
from batsim.scenario.site import Scenario
from tests.behaviour.twin import Exchange, Laws, Twin
from tests.runs import record_of

CASE = Path(__file__).parent / "cases" / "reference_room.yaml"
WEEK_MIN = 7 * 1440.0
YEAR_MIN = 52 * WEEK_MIN
COLUMNS = ("truck", "discharged", "charged", "joined_min", "start_min", "truck_free_min")


@pytest.fixture(scope="module")
def reference() -> Scenario:
    return batsim.read(CASE)


def from_room(scenario: Scenario, seed: int, replication: int, length_min: float) -> list[Exchange]:
    record = record_of(scenario, "room", seed=seed, replication=replication, length_min=length_min, warm_up_min=0.0)
    return begun(record)


def begun(record: Record) -> list[Exchange]:
    """Exchanges that have begun, in the order in which they did."""
    table = record.frame("exchanges")
    rows = table[table["start_min"].notna()][list(COLUMNS)]
    return [Exchange(*row) for row in rows.itertuples(index=False)]


def from_twin(
    scenario: Scenario, seed: int, replication: int, length_min: float, first_runs: list[float] | None = None
) -> list[Exchange]:
    """The same room by the other way; every count and law is taken from the scenario."""
    layout, truck = scenario.layouts["room"], scenario.trucks[0]
    battery = scenario.batteries["plain"]
    laws = Laws(
        truck.run_time_min, scenario.arrangement("room").steps[0].law, battery.charge_time_min, battery.cool_down_min
    )
    twin = Twin(
        laws,
        trucks=truck.count,
        batteries=scenario.batteries_of("room")["plain"],
        stations=int(layout.stations),
        chargers=int(layout.chargers[0].number),
        seed=seed,
        replication=replication,
        exchange_at_share=truck.exchange_at_share,
        first_runs=first_runs,
        at_arrival=scenario.rules.discharged_on_charge == "at_arrival",
    )
    return twin.play(length_min)


def test_a_year_agrees_draw_for_draw(reference: Scenario):
    mine = from_room(reference, 1, 0, YEAR_MIN)
    assert len(mine) > 46_000
    assert mine == from_twin(reference, 1, 0, YEAR_MIN)


def test_every_scarce_thing_is_waited_for_alike(reference: Scenario):
    """One station, fewer chargers, few spares: trucks wait for stations and batteries, batteries for chargers."""
    tight = batsim.changed(reference, {"layouts.room.chargers": "36 x electronic_iuia", "layouts.room.stations": 1})
    mine = from_room(tight, 2, 5, 8 * WEEK_MIN)
    waited = sum(each.start_min > each.joined_min for each in mine)
    assert waited > len(mine) / 10
    assert mine == from_twin(tight, 2, 5, 8 * WEEK_MIN)


def test_discharged_batteries_drawn_out_at_arrival_agree(reference: Scenario):
    """Without a single spare: every truck waits until its own or another's battery comes back."""
    drawn_out = batsim.changed(
        reference, {"rules": {"discharged_on_charge": "at_arrival"}, "layouts.room.batteries": 40}
    )
    mine = from_room(drawn_out, 3, 0, 8 * WEEK_MIN)
    assert len(mine) > 2_000
    assert mine == from_twin(drawn_out, 3, 0, 8 * WEEK_MIN)


@pytest.mark.parametrize("at_arrival", [False, True])
def test_ties_go_as_documented(reference: Scenario, at_arrival: bool):
    """Fixed whole minutes and trucks that start in bunches: nearly everything happens at the same instants."""
    tied = batsim.changed(
        reference,
        {
            "trucks[0].run_time": "420 min",
            "trucks[0].first_run": [f"{60 * (n % 4)} min" for n in range(40)],
            "batteries.plain.charge_time": "420 min",
            "handling.'bare exchange'.steps[0].time": "20 min",
            "layouts.room.batteries": 70,
            "layouts.room.chargers": "25 x electronic_iuia",
        },
    )
    if at_arrival:
        tied = batsim.changed(tied, {"rules": {"discharged_on_charge": "at_arrival"}})
    first_runs = [60.0 * (n % 4) for n in range(40)]
    mine = from_room(tied, 1, 0, 8 * WEEK_MIN)
    starts = [each.start_min for each in mine]
    assert len(set(starts)) < len(starts) / 1.5
    assert mine == from_twin(tied, 1, 0, 8 * WEEK_MIN, first_runs)
