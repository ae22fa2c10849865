"""Nothing is made or lost: batteries, trucks, minutes, people, charge and energy add up in every room."""

import math
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given

from batsim.measures import MEASURES, measure
from batsim.measures.names import PARTS
from batsim.measures.windows import Worked
from batsim.record import (
    ATTENDANT,
    COOLING,
    EXCHANGE,
    IN_TRANSFER,
    IN_TRUCK,
    ON_CHARGE,
    PERSONS,
    READY,
    SPENT,
    TABLES,
    TASKS,
    TURNED_AWAY,
    WAITING,
    WATERED,
    Record,
)
from batsim.scenario.calendar import group_windows
from tests.behaviour.strategies import EXCHANGING, ROUNDS, WEEK_MIN, Room, rooms

MOVES = {
    IN_TRUCK: {IN_TRANSFER, SPENT},
    IN_TRANSFER: {SPENT, IN_TRUCK},
    SPENT: {WAITING, ON_CHARGE},
    WAITING: {WAITING, ON_CHARGE},
    ON_CHARGE: {COOLING, WATERED, READY},
    COOLING: {WATERED, READY},
    WATERED: {READY},
    READY: {IN_TRANSFER},
}
"""What may follow each state where batteries are exchanged."""
MOVES_IN_TRUCK = {
    IN_TRUCK: {WAITING, ON_CHARGE, WATERED},
    WAITING: {ON_CHARGE, IN_TRUCK},
    ON_CHARGE: {IN_TRUCK},
    WATERED: {IN_TRUCK},
}


def rows_of(record: Record, table: str) -> list[dict[str, Any]]:
    """Rows of a table as dictionaries."""
    names = [column.name for column in TABLES[table]]
    return [dict(zip(names, row, strict=True)) for row in record.rows(table)]


def by(key: str, rows: list[dict[str, Any]]) -> dict[int, list[dict[str, Any]]]:
    """Rows by truck or battery, in the order in which they were written."""
    found = defaultdict(list)
    for row in rows:
        found[row[key]].append(row)
    return found


def most_at_once(stays: list[tuple[float, float, float]]) -> float:
    """Greatest sum of what is held at one instant; what ends at an instant is free for what starts then."""
    changes = sorted([(start, 1, held) for start, _, held in stays] + [(end, 0, -held) for _, end, held in stays])
    level = most = 0.0
    for _, _, change in changes:
        level += change
        most = max(most, level)
    return most


def started(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows whose activity has begun."""
    return [row for row in rows if not math.isnan(row["start_min"])]


def calendars(record: Record) -> list[Worked]:
    """Working minutes up to a clock time, for each truck group."""
    return [Worked(windows) for windows in record.facts.group_windows]


def group_of_truck(record: Record) -> list[int]:
    """Group of each truck."""
    return [group for group, count in enumerate(record.facts.group_trucks) for _ in range(count)]


@ROUNDS
@given(rooms())
def test_each_battery_is_in_exactly_one_state(room: Room):
    record = room.simulate()
    moves = MOVES_IN_TRUCK if record.facts.in_truck else MOVES
    states = by("battery", rows_of(record, "battery_states"))
    assert sorted(states) == list(range(record.facts.batteries))
    for mine in states.values():
        assert mine[0]["from_min"] == 0.0
        assert mine[0]["state"] in (IN_TRUCK, READY)
        for before, after in pairwise(mine):
            assert before["from_min"] <= after["from_min"]
            assert after["state"] in moves[before["state"]]


@ROUNDS
@given(rooms())
def test_each_truck_has_one_battery_and_each_battery_at_most_one_truck(room: Room):
    record = room.simulate()
    trucks = record.facts.trucks
    stays = [
        (before["from_min"], after["from_min"], 1.0)
        for mine in by("battery", rows_of(record, "battery_states")).values()
        for before, after in pairwise([*mine, {"from_min": math.inf}])
        if before["state"] == IN_TRUCK
    ]
    assert most_at_once(stays) <= trucks
    holder: dict[int, int] = {}
    for truck, visits in by("truck", rows_of(record, "exchanges")).items():
        for before, after in pairwise(visits):
            assert after["spent"] == before["fresh"]
            assert after["left_min"] >= before["back_min"]
    for row in sorted(started(rows_of(record, "exchanges")), key=lambda row: row["start_min"]):
        if row["kind"] == EXCHANGE:
            assert row["fresh"] != row["spent"] or record.facts.batteries == trucks
            assert holder.pop(row["spent"], row["truck"]) == row["truck"]
            assert row["fresh"] not in holder
            holder[row["fresh"]] = row["truck"]


@ROUNDS
@given(rooms())
def test_scheduled_time_is_work_or_downtime(room: Room):
    """Each truck's scheduled minutes are those of its stints and those between leaving work and coming back."""
    record = room.simulate()
    horizon = record.facts.horizon_min
    stints, visits = by("truck", rows_of(record, "stints")), by("truck", rows_of(record, "exchanges"))
    worked = calendars(record)
    for truck, group in enumerate(group_of_truck(record)):
        spans = [(row["start_min"], row["end_min"]) for row in stints[truck]]
        spans += [(row["left_min"], row["back_min"]) for row in visits[truck]]
        spans = [(start, horizon if math.isnan(end) else end) for start, end in spans]
        total = sum(worked[group].between(min(start, horizon), min(end, horizon)) for start, end in spans)
        assert total == pytest.approx(worked[group].between(0.0, horizon), abs=1e-6)
        for (_, end), (start, _) in pairwise(sorted(spans)):
            assert start >= end
            assert worked[group].between(end, start) == 0.0


@ROUNDS
@given(rooms())
def test_downtime_is_the_sum_of_its_parts(room: Room):
    record = room.simulate()
    found = measure(record)
    start, end = record.facts.warm_up_min, record.facts.horizon_min
    parts = [found[f"{part}_min_per_truck_shift"] for part in PARTS]
    assert min(parts) >= -1e-9
    assert sum(parts) == pytest.approx(found["downtime_min_per_truck_shift"], abs=1e-9)
    lost = waited = 0.0
    worked = calendars(record)
    for row in rows_of(record, "exchanges"):
        left, joined, began, back = (
            min(max(end if math.isnan(row[name]) else row[name], start), end)
            for name in ("left_min", "joined_min", "start_min", "back_min")
        )
        lost += worked[row["group"]].between(left, back)
        waited += worked[row["group"]].between(joined, began)
    scheduled = sum(
        count * mine.between(start, end) for count, mine in zip(record.facts.group_trucks, worked, strict=True)
    )
    assert found["availability_share"] == pytest.approx(1.0 - lost / scheduled, abs=1e-9)
    shifts = sum(
        count * mine.between(start, end) / minutes
        for count, mine, minutes in zip(record.facts.group_trucks, worked, record.facts.group_shift_min, strict=True)
    )
    assert found["downtime_min_per_truck_shift"] == pytest.approx(lost / shifts, abs=1e-6)
    by_cause = sum(found[f"{part}_min_per_truck_shift"] for part in PARTS if part.startswith("wait"))
    assert by_cause == pytest.approx(waited / shifts, abs=1e-6)


@ROUNDS
@given(rooms())
def test_labour_by_person_and_by_task_is_all_labour(room: Room):
    record = room.simulate()
    found = measure(record)
    days = (record.facts.horizon_min - record.facts.warm_up_min) / WEEK_MIN
    hands_on = sum(
        row["hands_on_min"] for row in rows_of(record, "work")
        if record.facts.warm_up_min <= row["start_min"] < record.facts.horizon_min
    )
    total = found["labour_min_per_day"]
    assert total == pytest.approx(sum(found[f"labour_{who}_min_per_day"] for who in PERSONS), abs=1e-9)
    assert total == pytest.approx(sum(found[f"labour_{what}_min_per_day"] for what in TASKS), abs=1e-9)
    assert total == pytest.approx(
        sum(found[f"labour_{who}_{what}_min_per_day"] for who in PERSONS for what in TASKS), abs=1e-9
    )
    assert (total == 0.0) == (hands_on == 0.0)
    assert total * days <= hands_on / 5.0 + 1e-6  # five to seven working days in a week


@ROUNDS
@given(rooms())
def test_state_of_charge_is_carried_from_stint_to_stint(room: Room):
    """It lies within 0 and 1, unless the way to the room is long; a battery rises only on charge."""
    record = room.simulate()
    scenario = room.scenario
    far = any(group.to_room is not None and group.to_room.distance_m > 1000.0 for group in scenario.trucks)
    charged = by("battery", started(rows_of(record, "charges")))
    for battery, stints in by("battery", rows_of(record, "stints")).items():
        for stint in stints:
            assert stint["soc_to_share"] <= stint["soc_from_share"] <= 1.0
            assert stint["soc_to_share"] >= (-1.0 if far else 0.0)
            assert stint["drawn_ah"] >= 0.0
            assert stint["drawn_kwh"] >= 0.0
        for before, after in pairwise(stints):
            charges = [row for row in charged[battery] if before["end_min"] <= row["end_min"] <= after["start_min"]]
            if not charges:
                assert after["soc_from_share"] == before["soc_to_share"]
            elif not record.facts.in_truck:
                assert after["soc_from_share"] == 1.0
            else:
                assert after["soc_from_share"] >= before["soc_to_share"]


@ROUNDS
@given(rooms(arrangements=EXCHANGING))
def test_ampere_hours_charged_are_the_charge_factor_times_those_drawn(room: Room):
    record = room.simulate()
    scenario = room.scenario
    types = [scenario.batteries[name] for name in record.facts.lines]
    chargers = [scenario.chargers[name] for name in record.facts.chargers]
    stints = by("battery", rows_of(record, "stints"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for before, charge in zip([None, *charges], charges, strict=False):
            since = before["start_min"] if before else -1.0
            drawn = [row for row in stints[battery] if since < row["end_min"] <= charge["start_min"]]
            ah, kwh = sum(row["drawn_ah"] for row in drawn), sum(row["drawn_kwh"] for row in drawn)
            kind, charger = types[charge["line"]], chargers[charge["charger"]]
            from_full = drawn[0]["soc_from_share"] == 1.0  # not so for the random start of a run
            if from_full and (kind.charge_time_min is not None or charger.profile in ("IUIa", "W")):
                assert charge["charged_ah"] == pytest.approx(charger.charge_factor * ah, rel=1e-9)
            assert charge["charged_ah"] >= ah * (1.0 - 1e-9)
            assert charge["charged_kwh"] > kwh
            assert charge["soc_to_share"] == 1.0
            assert charge["soc_from_share"] < 1.0


@ROUNDS
@given(rooms(arrangements=("in_truck",)))
def test_a_full_charge_in_the_truck_settles_all_that_was_drawn(room: Room):
    record = room.simulate()
    scenario = room.scenario
    stints = by("battery", rows_of(record, "stints"))
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        full = [row for row in charges if row["soc_to_share"] == 1.0]
        factor = scenario.chargers[record.facts.chargers[charges[0]["charger"]]].charge_factor
        for before, after in pairwise(full):
            since, until = before["end_min"], after["end_min"]
            drawn = sum(row["drawn_ah"] for row in stints[battery] if since <= row["start_min"] < until)
            given_ah = sum(row["charged_ah"] for row in charges if since < row["end_min"] <= until)
            if scenario.chargers[record.facts.chargers[charges[0]["charger"]]].profile in ("IUIa", "W"):
                assert given_ah == pytest.approx(factor * drawn, rel=1e-6, abs=1e-3)
            assert given_ah >= drawn * (1.0 - 1e-6)


@ROUNDS
@given(rooms())
def test_stations_chargers_and_places_are_never_exceeded(room: Room):
    record = room.simulate()
    facts = record.facts
    visits = [row for row in started(rows_of(record, "exchanges")) if row["kind"] != TURNED_AWAY]
    assert most_at_once([(row["start_min"], row["truck_free_min"], 1.0) for row in visits]) <= facts.stations
    charges = started(rows_of(record, "charges"))
    leaves = {
        battery: sorted((row["start_min"], row["truck_free_min"]) for row in mine)
        for battery, mine in by("fresh", visits).items()
    }

    def until(charge: dict[str, Any]) -> float:
        """When the battery has left its place."""
        return next(
            (free for start, free in leaves.get(charge["battery"], []) if start >= charge["cooled_min"]), math.inf
        )

    bound = not facts.in_truck and room.scenario.arrangement("room").charger_leads == "bound_to_place"
    for number, count in enumerate(facts.charger_counts):
        mine = [row for row in charges if row["charger"] == number]
        held = [(row["connected_min"], until(row) if bound else row["end_min"], 1.0) for row in mine]
        assert most_at_once(held) <= count
    if facts.in_truck:
        spots = [(row["connected_min"], row["end_min"], 1.0) for row in charges]
        assert most_at_once(spots) <= facts.stations
    else:
        for place in {row["place"] for row in charges}:
            stays = [(row["spent_min"], until(row), 1.0) for row in charges if row["place"] == place]
            assert most_at_once(stays) <= 1


@ROUNDS
@given(rooms(arrangements=EXCHANGING))
def test_attendants_are_never_more_than_are_on_duty(room: Room):
    """Work that began in a shift may end after it; its people are not the next shift's."""
    record = room.simulate()
    scenario = room.scenario
    crew = scenario.layouts["room"].crew
    jobs = [row for row in rows_of(record, "work") if row["person"] == ATTENDANT]
    if not isinstance(crew, dict):
        assert crew == "unlimited" or not jobs
        return
    on_duty = list(manned(room, crew, record.facts.horizon_min))
    for job in jobs:
        start = job["start_min"]
        assert any(
            begin <= start <= end and any(open_from <= start <= shut for open_from, shut in windows)
            for begin, end, _, windows in on_duty
        )
    for begin, end, count, _ in on_duty:
        held = [
            (job["start_min"], min(job["end_min"], end), job["people"]) for job in jobs if begin < job["start_min"] < end
        ]
        assert most_at_once(held) <= count


def manned(
    room: Room, crew: dict[str, int], until_min: float
) -> Iterator[tuple[float, float, int, list[tuple[float, float]]]]:
    """Each shift of each crew: start, end, attendants, and its working windows."""
    week = room.scenario.week
    for name, count in crew.items():
        whole = week.model_copy(
            update={"shifts": {name: week.shifts[name].model_copy(update={"breaks": (), "handover_min": 0.0})}}
        )
        windows = group_windows(week, [name], until_min + WEEK_MIN)
        for begin, end in group_windows(whole, [name], until_min + WEEK_MIN):
            yield begin, end, count, [window for window in windows if begin <= window[0] and window[1] <= end]


@ROUNDS
@given(rooms())
def test_exchanges_asked_for_are_finished_or_unfinished(room: Room):
    record = room.simulate()
    facts, found = record.facts, measure(record)
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] != TURNED_AWAY]
    finished = [row for row in visits if row["truck_free_min"] < facts.horizon_min]
    unfinished = [row for row in visits if not row["truck_free_min"] < facts.horizon_min]
    assert found["unfinished_exchanges"] == len(unfinished)
    assert len(by("truck", unfinished)) == len(unfinished)
    site = Worked(facts.site_windows)
    days = site.between(facts.warm_up_min, facts.horizon_min) / facts.minutes_per_working_day
    measured = sum(row["truck_free_min"] >= facts.warm_up_min for row in finished)
    assert found["exchanges_per_day"] * days == pytest.approx(measured, abs=1e-6)
    for truck in by("truck", visits).values():
        assert all(row["truck_free_min"] < facts.horizon_min for row in truck[:-1])


@ROUNDS
@given(rooms(warm_up=False))
def test_trucks_waiting_follow_littles_law(room: Room):
    """Mean number in line times the time looked at is the sum of the waits, and waits per exchange say the same."""
    record = room.simulate()
    horizon, found = record.facts.horizon_min, measure(record)
    open_min = Worked(record.facts.site_windows).between(0.0, horizon)
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] != TURNED_AWAY]
    area = begun_waits = 0.0
    for group, worked in enumerate(calendars(record)):
        mine = [row for row in visits if row["group"] == group]
        joined = [(row["joined_min"], 1) for row in mine if row["joined_min"] < horizon]
        left = [(row["start_min"], -1) for row in mine if not math.isnan(row["start_min"])]
        level, last = 0, 0.0
        for time, change in sorted([*joined, *left, (horizon, 0)]):
            area += level * worked.between(last, time)
            level, last = level + change, time
        begun_waits += sum(worked.between(row["joined_min"], row["start_min"]) for row in started(mine))
    if open_min:
        assert found["trucks_waiting_mean"] * open_min == pytest.approx(area, abs=1e-6)
    if begun := started(visits):
        assert found["wait_min_per_exchange"] * len(begun) == pytest.approx(begun_waits, abs=1e-6)


@ROUNDS
@given(rooms())
def test_shares_are_shares(room: Room):
    found = measure(room.simulate())
    overtime = {"crew_busy_share"}
    for name, each in MEASURES.items():
        value = found[name]
        assert math.isnan(value) or value >= -1e-9, name
        if name.endswith("_share") and name not in overtime:
            assert math.isnan(value) or value <= 1.0 + 1e-9, name
        assert not math.isinf(value), f"{each.name} {value}"


@ROUNDS
@given(rooms())
def test_same_seed_same_bits(room: Room):
    """Also for a scenario that is read anew; as text, since what never came is not a number."""
    first, again = room.simulate(), room.simulate()
    assert all(repr(first.rows(table)) == repr(again.rows(table)) for table in TABLES)


@ROUNDS
@given(rooms(arrangements=EXCHANGING, rules=False))
def test_more_of_anything_changes_no_trucks_draws(room: Room):
    """A truck's n-th stint and n-th exchange take as long with one more station, charger or battery."""
    scenario = room.scenario
    layout = scenario.layouts["room"]
    kind = next(iter(scenario.batteries))
    count, _, charger = str(scenario._stated.at(("layouts", "room", "chargers", 0))).partition(" x ")
    changes = {
        "layouts.room.stations": layout.stations + 1,
        "layouts.room.chargers[0]": f"{int(count) + 1} x {charger}",
        f"layouts.room.batteries.{kind}": layout.batteries[kind] + 1,
    }
    before = draws(room.simulate(scenario), pausing=scenario.rules.crew_break == "pause")
    for path, value in changes.items():
        after = draws(room.simulate(scenario.replace(path, value)), pausing=scenario.rules.crew_break == "pause")
        for key in before.keys() & after.keys():
            assert all(a == b for a, b in zip(before[key], after[key], strict=False))


def draws(record: Record, *, pausing: bool) -> dict[tuple[str, int], list[float]]:
    """Working minutes of each truck's stints and minutes of its exchanges, as far as they were finished."""
    worked = calendars(record)
    found = defaultdict(list)
    for row in rows_of(record, "stints"):
        if row["end_min"] < record.facts.horizon_min:
            found["stint", row["truck"]].append(worked[row["group"]].between(row["start_min"], row["end_min"]))
    for row in started(rows_of(record, "exchanges")):
        if not pausing:
            found["exchange", row["truck"]].append(row["truck_free_min"] - row["start_min"])
    return found
