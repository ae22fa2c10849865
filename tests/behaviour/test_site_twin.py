"""A mixed site agrees with itself written a second time: draw for draw, and with draws of its own in the mean."""

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from scipy import stats

from batsim.measures import measure
from batsim.record.record import Record
from tests.behaviour.ledger import rows_of, started
from tests.behaviour.mixed_site import CELLS, WEEK_MIN, Site, random_site, scenario_of
from tests.behaviour.site_twin import SiteTwin
from tests.behaviour.site_twin_battery import WATER_G_PER_AH
from tests.behaviour.site_twin_measures import measures_of
from tests.behaviour.site_twin_sources import OwnChance, ReadBack
from tests.runs import record_of

SITES = (15, 16, 17, 18, 19)
WEEKS, BEYOND = 4, 2
TOLERANCE = 1e-4
"""Of times and amounts: the twin rounds to ticks of a millionth of a minute elsewhere. [min, Ah, kWh]"""


def roomy_site() -> Site:
    """A site that has people at night too, and always some batteries of each type ready."""
    site = random_site(16)
    areas = {
        name: area._replace(
            batteries={kind: 2 * number for kind, number in area.batteries.items()},
            chargers={kind: 2 * number for kind, number in area.chargers.items()},
        )
        for name, area in site.areas.items()
    }
    return site._replace(areas=areas, attendants={**site.attendants, "night": 1})


class Pair(NamedTuple):
    """A run of the room, and of the twin with the same draws."""

    record: Record
    twin: SiteTwin


@cache
def pair_of(name: int | str, fixed: bool) -> Pair:
    """Both; draws are read from a run that goes on beyond, so that none is missing."""
    site = roomy_site() if name == "roomy" else random_site(int(name))
    site = site.fixed() if fixed else site
    scenario, until_min = scenario_of(site), WEEKS * WEEK_MIN
    record, longer = (
        record_of(scenario, "room", seed=3, length_min=length_min, warm_up_min=0.0)
        for length_min in (until_min, until_min + BEYOND * WEEK_MIN)
    )
    return Pair(record, SiteTwin(site, ReadBack(site, longer), until_min).play())


@pytest.fixture(params=[(name, fixed) for name in (*SITES, "roomy") for fixed in (True, False)], ids=str)
def pair(request: pytest.FixtureRequest) -> Pair:
    return pair_of(*request.param)


def begun(record: Record, table: str, names: str) -> list[tuple[float, ...]]:
    """Columns of what has begun within the run, in the order in which it did."""
    rows = [row for row in started(rows_of(record, table)) if row["start_min"] < record.facts.horizon_min]
    return [tuple(row[name] for name in names.split()) for row in rows]


def agree(mine: list[tuple[float, ...]], wanted: Sequence[tuple[float, ...]], at_least: int) -> None:
    """Row by row, each number."""
    assert len(mine) >= at_least
    assert len(mine) == len(wanted)
    np.testing.assert_allclose(np.array(mine), np.array(wanted), rtol=0.0, atol=TOLERANCE)


def test_every_exchange_agrees(pair: Pair):
    """Which truck and batteries, what it found, when it left, came, began, drove off, was put away and was back."""
    names = "truck discharged charged ready_found left_min joined_min start_min truck_free_min end_min back_min"
    agree(begun(pair.record, "exchanges", names), pair.twin.exchanges, 400)


def test_every_discharge_agrees(pair: Pair):
    """Which truck and battery, when its work began and ended, and what it drew with both ways."""
    names = "truck battery start_min end_min drawn_kwh drawn_ah"
    mine = [row for row in begun(pair.record, "discharges", names) if row[3] < pair.twin.until_min]
    wanted = [each for each in pair.twin.discharges if each.end_min < pair.twin.until_min]
    agree(sorted(mine), sorted(wanted), 400)


def test_every_charge_agrees(pair: Pair):
    """Which battery, when it stood in its bay, got current, ended and had cooled down, and what went into it."""
    names = "battery discharged_min start_min end_min cooled_min charged_ah charged_kwh gas_ah"
    wanted = [(each[0], each[1], *each[3:6], each.ah, each.kwh, each.gas_ah) for each in pair.twin.charges]
    agree(begun(pair.record, "charges", names), wanted, 400)


def test_every_watering_agrees(pair: Pair):
    """Which battery, when it was due and watered, and how much was put in."""
    wanted = [(*each[:4], each.gas_ah * CELLS * WATER_G_PER_AH / 1000.0) for each in pair.twin.waterings]
    agree(begun(pair.record, "waterings", "battery due_min start_min end_min water_kg"), wanted, 50)


def test_every_cause_agrees(pair: Pair):
    """When what the first truck of a queue lacks has changed, and to what."""
    rows = [(row["from_min"], row["queue"], row["cause"]) for row in rows_of(pair.record, "queues")]
    mine, wanted = settled(rows), settled(pair.twin.lacked)
    assert mine.keys() == wanted.keys()
    for queue, changes in mine.items():
        agree(changes, wanted[queue], 20)


def settled(changes: list[tuple[float, int, int]]) -> dict[int, list[tuple[float, int]]]:
    """Changes of each queue; of those of one instant the last one, where it makes a difference."""
    found: dict[int, list[tuple[float, int]]] = {}
    for time, queue, cause in changes:
        mine = found.setdefault(queue, [])
        if mine and mine[-1][0] == time:
            mine.pop()
        if (mine[-1][1] if mine else 0) != cause:
            mine.append((time, cause))
    return found


def taken(record: Record) -> dict[str, float]:
    """All measures of a record, and the share of chargers that are taken."""
    found = measure(record)
    return found | {"charger_taken_share": 1.0 - found["charger_free_share"]}


def test_every_measure_agrees(pair: Pair):
    """The twin adds up what it has done in its own way."""
    mine, wanted = taken(pair.record), measures_of(pair.twin, 0.0)
    assert len(wanted) > 30
    assert {name: mine[name] for name in wanted} == pytest.approx(wanted, rel=1e-6, abs=1e-6)


def test_the_roomy_site_is_never_without_a_battery():
    """So that the least ready stock is a number that says something."""
    assert taken(pair_of("roomy", fixed=False).record)["ready_batteries_min"] > 1.0


REPLICATIONS, WARM_UP_MIN, LENGTH_MIN = 40, WEEK_MIN, 20 * WEEK_MIN
NARROW = {
    0.01: """travel_min_per_truck_shift availability_share work_hours_per_day exchanges_per_day charges_started
        energy_charged_kwh_per_day energy_kwh_per_day energy_drawn_kwh_per_day attendants_busy_share labour_min_per_day
        labour_exchange_min_per_day labour_connect_min_per_day labour_watering_min_per_day charger_busy_share
        charger_taken_share waterings_per_battery_per_week water_lost_kg_per_day water_added_kg_per_day""",
    0.02: "downtime_min_per_truck_shift exchange_min_per_truck_shift ready_batteries_mean",
    0.025: "wait_min_per_exchange waited_share",
    0.05: "wait_attendant_min_per_truck_shift found_none_ready_share",
    0.08: "wait_battery_min_per_truck_shift wait_min_p95 none_ready_time_share",
}
"""How wide an interval may be to each side, over the value, and of what."""
LIMITS = {name: limit for limit, names in NARROW.items() for name in names.split()}


@pytest.mark.slow
@pytest.mark.parametrize("name", SITES)
def test_the_twin_with_draws_of_its_own_agrees_in_the_mean(name: int):
    """The 99.9 % intervals of all differences together hold zero, and are narrow."""
    site = random_site(name)
    scenario, until_min = scenario_of(site), WARM_UP_MIN + LENGTH_MIN
    runs = [
        taken(record_of(scenario, "room", seed=5, replication=n, length_min=LENGTH_MIN, warm_up_min=WARM_UP_MIN))
        for n in range(REPLICATIONS)
    ]
    twins = [measures_of(SiteTwin(site, OwnChance(n), until_min).play(), WARM_UP_MIN) for n in range(REPLICATIONS)]
    room, twin = (np.array([[run[name] for name in LIMITS] for run in each]) for each in (runs, twins))

    wanted, difference = np.mean(twin, axis=0), np.mean(room, axis=0) - np.mean(twin, axis=0)
    spread = np.sqrt((np.var(room, axis=0, ddof=1) + np.var(twin, axis=0, ddof=1)) / REPLICATIONS)
    half = stats.t.ppf(1.0 - 0.0005 / len(LIMITS), 2 * REPLICATIONS - 2) * spread
    told = list(zip(LIMITS, wanted, difference / wanted, half / wanted, strict=True))
    assert np.all(np.abs(difference) <= half), told
    assert np.all(half <= np.array(list(LIMITS.values())) * wanted), told
