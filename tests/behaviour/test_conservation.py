"""Nothing is made or lost: batteries, trucks, minutes and people add up in every room."""

import math
from collections import defaultdict
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given

from batsim.measures import MEASURES, measure
from batsim.measures.names import PARTS
from batsim.measures.windows import Worked
from batsim.record import (
    ATTENDANT,
    BATTERY,
    COOLING,
    EXCHANGE,
    IN_TRANSFER,
    IN_TRUCK,
    NOTHING,
    ON_CHARGE,
    PERSONS,
    READY,
    SPENT,
    STATION,
    TABLES,
    TASKS,
    TURNED_AWAY,
    WAITING,
    WATERED,
    Record,
)
from tests.behaviour.ledger import by, calendars, group_of_truck, manned, most_at_once, rows_of, started
from tests.behaviour.strategies import EXCHANGING, ROUNDS, Room, rooms

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
    for visits in by("truck", rows_of(record, "exchanges")).values():
        for before, after in pairwise(visits):
            assert after["spent"] == before["fresh"]
            assert after["left_min"] >= before["back_min"]
    out, into = "joined_min" if room.at_arrival else "start_min", "start_min"
    visits = [row for row in started(rows_of(record, "exchanges")) if row["kind"] == EXCHANGE]
    moves = [(row[out], 0, row["spent"], row["truck"]) for row in visits]
    moves += [(row[into], 1, row["fresh"], row["truck"]) for row in visits]
    holder: dict[int, int] = {}
    for _, taken_in, battery, truck in sorted(moves):
        if taken_in:
            assert battery not in holder
            holder[battery] = truck
        else:
            assert holder.pop(battery, truck) == truck


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
    site = Worked(record.facts.site_windows)
    open_min = site.between(record.facts.warm_up_min, record.facts.horizon_min)
    if not open_min:
        return
    hands_on = sum(
        row["hands_on_min"]
        for row in rows_of(record, "work")
        if record.facts.warm_up_min <= row["start_min"] < record.facts.horizon_min
    )
    total = found["labour_min_per_day"]
    assert total == pytest.approx(sum(found[f"labour_{who}_min_per_day"] for who in PERSONS), abs=1e-9)
    assert total == pytest.approx(sum(found[f"labour_{what}_min_per_day"] for what in TASKS), abs=1e-9)
    assert total == pytest.approx(
        sum(found[f"labour_{who}_{what}_min_per_day"] for who in PERSONS for what in TASKS), abs=1e-9
    )
    assert total * open_min / record.facts.minutes_per_working_day == pytest.approx(hands_on, abs=1e-6)


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
    on_duty = list(manned(scenario, crew, record))
    for job in jobs:
        start = job["start_min"]
        assert any(
            begin <= start <= end and any(open_from <= start <= shut for open_from, shut in windows)
            for begin, end, _, windows in on_duty
        )
    whole_breaks = scenario.rules.crew_break == "finish_then_full_break"
    for begin, end, count, windows in on_duty:
        inside = [job for job in jobs if begin < job["start_min"] < end]
        held = [(job["start_min"], min(job["end_min"], end), job["people"]) for job in inside]
        assert most_at_once(held) <= count
        if whole_breaks and count == 1:
            breaks = [(shut, open_from - shut) for (_, shut), (open_from, _) in pairwise(windows)]
            rests = [
                (job["end_min"], job["end_min"] + length, 1)
                for job in inside
                for start, length in breaks
                if job["start_min"] < start < job["end_min"] < end
            ]
            assert most_at_once(held + rests) <= 1


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
@given(rooms(arrangements=EXCHANGING))
def test_lines_wait_for_what_is_missing(room: Room):
    """A wait is booked on the battery exactly while none is ready, on the station exactly while all are taken."""
    record = room.simulate()
    facts = record.facts
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] == EXCHANGE]
    line_of = facts.battery_lines
    changes: list[tuple[float, str, int, float]] = []
    for battery, mine in by("battery", rows_of(record, "battery_states")).items():
        for before, after in pairwise([{"state": -1}, *mine]):
            change = float(after["state"] == READY) - float(before["state"] == READY)
            changes.append((after["from_min"], "ready", line_of[battery], change))
    for row in visits:
        changes.append((row["joined_min"], "in line", row["line"], 1.0))
        changes.append((row["start_min"], "in line", row["line"], -1.0))
        changes.append((row["start_min"], "taken", 0, 1.0))
        changes.append((row["truck_free_min"], "taken", 0, -1.0))
    changes += [(row["from_min"], "cause", row["line"], row["cause"]) for row in rows_of(record, "lines")]
    changes = [change for change in changes if change[0] < facts.horizon_min]  # what never came falls out
    changes.sort(key=lambda change: change[0])  # at one instant the last cause written holds
    level: dict[tuple[str, int], float] = defaultdict(float)
    for (time, what, line, change), after in pairwise([*changes, (facts.horizon_min, "", 0, 0.0)]):
        level[what, line] = change if what == "cause" else level[what, line] + change
        for each in range(len(facts.lines)) if after[0] > time else ():
            cause, ready, in_line = (level[name, each] for name in ("cause", "ready", "in line"))
            assert (cause == NOTHING) == (in_line == 0)
            assert (cause == BATTERY) == (in_line > 0 and ready == 0)
            all_taken = level["taken", 0] >= facts.stations
            assert (cause == STATION) == (in_line > 0 and ready > 0 and all_taken)


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
    for number in range(len(scenario.trucks)):  # else a stint also depends on how warm its battery is
        scenario = scenario.replace(f"trucks[{number}].temperature", "22 degC")
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
            # Exchanges to the tick; a stint may still be shorter on a battery that is more worn.
            near = 0.0 if key[0] == "exchange" else 5e-3
            assert all(a == pytest.approx(b, rel=near) for a, b in zip(before[key], after[key], strict=False))


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
