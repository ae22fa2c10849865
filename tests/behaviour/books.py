"""The books of a room: what must balance in every record, whatever the room can do."""

import math
from collections import defaultdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from batsim.measures import MEASURES, measure
from batsim.measures.names import PART_LABELS, PARTS, POOLED, RARE
from batsim.measures.room_course import room_course
from batsim.measures.windows import Worked
from batsim.record.record import Record
from batsim.record.words import (
    ATTENDANT,
    BEING_CONNECTED,
    BEING_INSPECTED,
    BEING_READ,
    BEING_WASHED,
    BEING_WATERED,
    CONNECTED,
    COOLING,
    EXCHANGE,
    IN_TRANSFER,
    IN_TRUCK,
    LAID_DOWN,
    NO_BATTERY,
    NO_STATION,
    NOTHING,
    ON_CHARGE,
    PAUSED,
    PERSONS,
    READY,
    SHIFT_CHANGE,
    TASK_STATES,
    TASKS,
    TURNED_AWAY,
    WAITS_FOR_CHARGER,
    WAITS_FOR_CONNECTING,
    WAITS_FOR_CURRENT,
    WAITS_FOR_INSPECTION,
    WAITS_FOR_READINGS,
    WAITS_FOR_WASH,
    WAITS_FOR_WATERING,
    WATERING,
)
from tests.behaviour.ledger import by, calendars, group_of_truck, manned, most_at_once, rows_of, started
from tests.behaviour.strategies import Room

Moves = dict[int, set[int]]
Stay = tuple[float, float, float]

TO_CHARGE = {WAITS_FOR_CHARGER, *CONNECTED, ON_CHARGE}
MOVES: Moves = {
    IN_TRUCK: {IN_TRANSFER, *TO_CHARGE},
    IN_TRANSFER: {LAID_DOWN, IN_TRUCK, *TO_CHARGE},
    LAID_DOWN: {IN_TRANSFER},
    WAITS_FOR_CHARGER: {*CONNECTED, ON_CHARGE},
    WAITS_FOR_CONNECTING: {BEING_CONNECTED},
    BEING_CONNECTED: {WAITS_FOR_CONNECTING, WAITS_FOR_CURRENT, ON_CHARGE},
    WAITS_FOR_CURRENT: {ON_CHARGE},
    ON_CHARGE: {PAUSED, COOLING, WAITS_FOR_WATERING, READY},
    PAUSED: {ON_CHARGE},
    COOLING: {WAITS_FOR_WATERING, READY},
    WAITS_FOR_WATERING: {BEING_WATERED},
    BEING_WATERED: {WAITS_FOR_WATERING, READY},
    READY: {IN_TRANSFER},
}
"""What may follow each state where batteries are exchanged, and only water is added."""
MOVES_IN_TRUCK: Moves = {
    IN_TRUCK: {*TO_CHARGE, BEING_WATERED},
    WAITS_FOR_CHARGER: {*CONNECTED, ON_CHARGE, IN_TRUCK},
    WAITS_FOR_CONNECTING: {BEING_CONNECTED, IN_TRUCK},
    BEING_CONNECTED: {WAITS_FOR_CONNECTING, WAITS_FOR_CURRENT, ON_CHARGE, IN_TRUCK},
    WAITS_FOR_CURRENT: {ON_CHARGE, IN_TRUCK},
    ON_CHARGE: {PAUSED, IN_TRUCK},
    PAUSED: {ON_CHARGE, IN_TRUCK},
    WAITS_FOR_WATERING: {BEING_WATERED},
    BEING_WATERED: {WAITS_FOR_WATERING, IN_TRUCK},
}
WAITS = {WAITS_FOR_WATERING, WAITS_FOR_INSPECTION, WAITS_FOR_READINGS, WAITS_FOR_WASH}
MAINTAINED = (BEING_WATERED, BEING_INSPECTED, BEING_READ, BEING_WASHED)
MAINTENANCE_MOVES: Moves = (
    MOVES
    | {
        IN_TRUCK: {*MOVES[IN_TRUCK], *WAITS},
        IN_TRANSFER: {*MOVES[IN_TRANSFER], *WAITS},
        ON_CHARGE: {*MOVES[ON_CHARGE], *WAITS},
        COOLING: {*WAITS, READY},
        READY: {IN_TRANSFER, *WAITS},
    }
    | {TASK_STATES[task][0]: {TASK_STATES[task][1], *WAITS, READY} for task in range(len(TASKS)) if task in TASK_STATES}
    | {WAITS_FOR_CONNECTING: MOVES[WAITS_FOR_CONNECTING]}
    | {state: {*WAITS, *TO_CHARGE, READY} for state in MAINTAINED}
)
"""The same with inspection, readings and wash, before or after the charge, and with rounds that end."""
MAINTENANCE_MOVES_IN_TRUCK: Moves = (
    MOVES_IN_TRUCK
    | {IN_TRUCK: {*MOVES_IN_TRUCK[IN_TRUCK], *MAINTAINED}}
    | {being: {waits, IN_TRUCK} for waits, being in TASK_STATES.values() if being in MAINTAINED}
    | {waits: {being} for waits, being in TASK_STATES.values() if being in MAINTAINED}
)


def ends(time_min: float) -> float:
    """End of something; never where the run left it open. [min]"""
    return math.inf if math.isnan(time_min) else time_min


def each_battery_is_in_one_state(record: Record, moves: Moves) -> None:
    states = by("battery", rows_of(record, "battery_states"))
    assert sorted(states) == list(range(record.facts.batteries))
    for mine in states.values():
        assert mine[0]["from_min"] == 0.0
        assert mine[0]["state"] in (IN_TRUCK, READY)
        for before, after in pairwise(mine):
            assert before["from_min"] <= after["from_min"]
            if after["from_min"] < record.facts.horizon_min:
                assert after["state"] in moves[before["state"]]


def stays_in(record: Record, *states: int) -> list[tuple[int, float, float]]:
    """Battery, start and end of each stay in any of some states, cut at the end of the run; none of no length. [min]"""
    horizon, stays = record.facts.horizon_min, []
    for battery, mine in by("battery", rows_of(record, "battery_states")).items():
        until = [row["from_min"] for row in mine[1:]] + [horizon]
        for row, end in zip(mine, until, strict=True):
            start, end = row["from_min"], min(end, horizon)  # noqa: PLW2901 - cut
            if row["state"] in states and start < end:
                if stays and stays[-1][0] == battery and stays[-1][2] == start:
                    start = stays.pop()[1]
                stays.append((battery, start, end))
    return stays


def states_are_what_was_done(record: Record) -> None:
    """A battery is maintained, connected and charged as long as somebody does it or current flows, and waits else."""
    horizon, work = record.facts.horizon_min, rows_of(record, "work")
    for task, (waits, being) in TASK_STATES.items():
        if TASKS[task] == "plug" or (record.facts.in_truck and TASKS[task] == "connect"):
            continue
        minutes = sum(end - start for _, start, end in stays_in(record, being))
        worked = sum(  # by one person each, who may lay it down for a break
            row["hands_on_min"] * part_inside(row["start_min"], row["end_min"], 0.0, horizon)
            for row in work
            if row["task"] == task
        )
        assert minutes == pytest.approx(worked, abs=1e-6), TASKS[task]
        table = {"watering": "waterings", "connect": None}.get(TASKS[task], "maintenance")
        if table is not None and not record.facts.in_truck:
            rows = [row for row in rows_of(record, table) if row.get("task", WATERING) == task]
            due = sum(min(ends(row["end_min"]), horizon) - row["due_min"] for row in rows)
            waited = sum(end - start for _, start, end in stays_in(record, waits))
            overdue = dropped_at_the_end_of_a_round(record, waits)
            assert waited + minutes == pytest.approx(due + overdue, abs=1e-6), TASKS[task]
    flows: dict[int, float] = defaultdict(float)
    for row in rows_of(record, "charge_phases"):
        if row["start_a"] > 0.0:
            end = row["start_min"] + 60.0 * row["hours"]
            flows[row["battery"]] += max(0.0, min(end, horizon) - min(row["start_min"], horizon))
    for row in started(rows_of(record, "charges")):
        if row["charged_ah"] == 0.0:  # a battery that lacks nothing: a stated charge time runs all the same
            flows[row["battery"]] += max(0.0, min(row["end_min"], horizon) - min(row["start_min"], horizon))
    on_charge = stays_in(record, ON_CHARGE)
    for battery in range(record.facts.batteries):
        minutes = sum(end - start for mine, start, end in on_charge if mine == battery)
        assert minutes == pytest.approx(flows[battery], abs=0.01)


def dropped_at_the_end_of_a_round(record: Record, waits: int) -> float:
    """Minutes of waiting for maintenance that was given up, so that no row tells it. [min]"""
    dropped = 0.0
    for mine in by("battery", rows_of(record, "battery_states")).values():
        for before, after in pairwise(mine):
            given_up = after["state"] == READY or (after["state"] in WAITS and after["state"] != waits)
            if before["state"] == waits and given_up:
                dropped += after["from_min"] - before["from_min"]
    return dropped


def chargers_time_is_all_told(record: Record) -> None:
    """Giving current, paused, with a battery that waits, held, out of use, free: all of it, and none is below 0."""
    facts = record.facts
    in_all, begin, end = sum(facts.charger_counts), facts.warm_up_min, facts.horizon_min
    course = room_course(record, begin, end)
    lengths = np.diff(np.append(course.time_min, end))
    minutes = {state: float(np.sum(count * lengths)) for state, count in course.chargers.items()}
    for state, count in course.chargers.items():
        assert (count[lengths > 0.0] >= 0).all(), state
    if math.isinf(in_all):
        return
    whole = in_all * (end - begin)
    assert sum(minutes.values()) == pytest.approx(whole)
    found = measure(record)
    shares = [found[f"charger_{what}_share"] for what in ("busy", "paused", "waiting", "held", "out", "free")]
    assert [share * whole for share in shares] == pytest.approx(list(minutes.values()), abs=1e-5)
    assert sum(shares) == pytest.approx(1.0)


def peoples_minutes_close(record: Record) -> None:
    """On duty: hands-on, held and idle; the idle of the measures is what the calendar leaves at every instant."""
    facts, found = record.facts, measure(record)
    begin, end = facts.warm_up_min, facts.horizon_min
    days = Worked(facts.site_windows).between(begin, end) / facts.minutes_per_working_day
    if not facts.attendant_windows or not days:
        return
    hands_on, held, idle, on_duty = (
        found[f"attendants_{what}_min_per_day"] for what in ("hands_on", "held", "idle", "on_duty")
    )
    assert min(hands_on, held) >= -1e-9
    assert hands_on + held + idle == pytest.approx(on_duty, abs=1e-9)
    in_overtime = sum(
        row["hands_on_min"] * part_inside(row["start_min"], row["end_min"], begin, end)
        for row in rows_of(record, "work")
        if row["person"] == ATTENDANT and row["overtime"]
    )
    assert hands_on + in_overtime / days == pytest.approx(found["labour_attendant_min_per_day"], abs=1e-9)
    course = room_course(record, begin, end)
    lengths = np.diff(np.append(course.time_min, end))
    left = course.attendants_on_duty - course.attendants_busy
    assert np.sum(left * lengths) == pytest.approx(idle * days, abs=1e-5)


def each_truck_has_one_battery(record: Record, *, at_arrival: bool, in_order: bool = True) -> None:
    """Rows are written in the order of the visits, unless an exchange may be handed over: then when it is settled."""
    trucks = record.facts.trucks
    stays = [
        (before["from_min"], after["from_min"], 1.0)
        for mine in by("battery", rows_of(record, "battery_states")).values()
        for before, after in pairwise([*mine, {"from_min": math.inf}])
        if before["state"] == IN_TRUCK
    ]
    assert most_at_once(stays) <= trucks
    for visits in by("truck", rows_of(record, "exchanges")).values():
        by_time = sorted(visits, key=lambda row: row["left_min"])
        assert not in_order or visits == by_time
        for before, after in pairwise(by_time):
            assert after["discharged"] == before["charged"]
            assert after["left_min"] >= before["back_min"]
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] == EXCHANGE]
    drawn_out = started(visits)
    if at_arrival:
        drawn_out = [row for row in visits if row["joined_min"] < record.facts.horizon_min]
    moves = [
        (row["joined_min" if at_arrival else "start_min"], 0, row["discharged"], row["truck"]) for row in drawn_out
    ]
    moves += [(row["start_min"], 1, row["charged"], row["truck"]) for row in started(visits)]
    holder: dict[int, int] = {}
    for _, taken_in, battery, truck in sorted(moves):
        if taken_in:
            assert battery not in holder
            holder[battery] = truck
        else:
            assert holder.pop(battery, truck) == truck


def scheduled_time_is_work_or_downtime(record: Record) -> None:
    """A truck works, visits the room or stands; what it stood for at work it makes up for before it leaves."""
    horizon = record.facts.horizon_min
    tables = (by("truck", rows_of(record, table)) for table in ("discharges", "exchanges", "stands"))
    discharges, visits, stands = tables
    worked = calendars(record)
    for truck, group in enumerate(group_of_truck(record)):
        stood = [(row["start_min"], row["end_min"]) for row in stands[truck]]
        spans = [(row["start_min"], row["end_min"]) for row in discharges[truck]]
        spans += [(row["left_min"], row["back_min"]) for row in visits[truck]]
        spans = sorted((start, min(ends(end), horizon)) for start, end in spans if start < horizon)
        total = sum(worked[group].between(start, end) for start, end in spans)
        made_up = 0.0
        for (begin, end), (start, _) in pairwise([(0.0, 0.0), *spans, (horizon, horizon)]):
            assert start >= end
            gap_min = worked[group].between(end, start)
            helped = [stand for stand in stood if begin <= stand[0] < start]
            stood_min = sum(worked[group].between(*stand) for stand in helped)
            if gap_min and start < horizon and start not in [stop for _, stop in helped]:
                assert gap_min == pytest.approx(stood_min, abs=1e-6)
            assert gap_min <= stood_min + 1e-6
            made_up += gap_min
        assert total + made_up == pytest.approx(worked[group].between(0.0, horizon), abs=1e-6)
        away = [(row["left_min"], ends(row["back_min"])) for row in visits[truck]]
        assert most_at_once([(start, end, 1.0) for start, end in stood + away]) <= 1


def work_takes_the_power_of_its_shifts(record: Record) -> None:
    """Energy of each discharge: the power of each truck-shift over the hours worked in it; the ways are told apart."""
    horizon, worked = record.facts.horizon_min, calendars(record)
    shifts = by("truck", rows_of(record, "truck_shifts"))
    for truck, discharges in by("truck", rows_of(record, "discharges")).items():
        mine = [(row["start_min"], row["power_w"] / 60_000.0) for row in shifts[truck]]
        if not mine:  # run times are stated
            continue
        mine[0] = (0.0, mine[0][1])
        for row in discharges:
            assert 0.0 <= row["way_kwh"] <= row["drawn_kwh"] + 1e-9
            start, end = row["start_min"], row["end_min"]
            if end >= horizon:
                continue
            kwh = sum(
                power * worked[row["group"]].between(max(start, begin), min(end, stop))
                for (begin, power), (stop, _) in pairwise([*mine, (math.inf, 0.0)])
                if begin < end and stop > start
            )
            assert row["drawn_kwh"] - row["way_kwh"] == pytest.approx(kwh, rel=1e-6, abs=1e-6)


def ampere_hours_are_kept(record: Record) -> None:
    """What a battery lacks is what was left missing by its last charge and drawn since; it shows no less than that."""
    facts = record.facts
    charged = by("battery", started(rows_of(record, "charges")))
    for battery, discharges in by("battery", rows_of(record, "discharges")).items():
        capacity_ah = facts.battery_types[facts.type_numbers[battery]].capacity_ah
        changes = [(row["end_min"], 0, row) for row in charged[battery]]
        changes += [(row["start_min"], 1, row) for row in discharges]
        missing = 1.0 - discharges[0]["soc_from_share"]
        left = 0.0
        for _, is_discharge, row in sorted(changes, key=lambda change: change[:2]):
            if not is_discharge:
                if row["charged_ah"]:  # else it was fuller than its charger could have made it
                    assert 1.0 - row["soc_from_share"] == pytest.approx(missing, abs=1e-9)
                missing = 1.0 - row["soc_to_share"]
                left = missing if row["full"] else left
                continue
            missing += row["drawn_ah"] / capacity_ah
            assert row["depth_share"] == pytest.approx(missing, abs=1e-9)
            assert row["soc_to_share"] <= max(0.0, 1.0 - missing + left) + 1e-9


def downtime_is_the_sum_of_its_parts(record: Record) -> None:
    found = measure(record)
    start, end = record.facts.warm_up_min, record.facts.horizon_min
    parts = [found[f"{part}_min_per_truck_shift"] for part in PART_LABELS]
    assert min(parts) >= -1e-9
    assert sum(parts) == pytest.approx(found["downtime_min_per_truck_shift"], abs=1e-9)
    lost = waited = 0.0
    worked = calendars(record)
    for row in rows_of(record, "stands"):
        lost += worked[row["group"]].between(*(min(max(row[name], start), end) for name in ("start_min", "end_min")))
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
    by_cause = sum(found[f"{part}_min_per_truck_shift"] for part in PART_LABELS if part.startswith("wait"))
    assert by_cause == pytest.approx(waited / shifts, abs=1e-6)


def part_inside(start: float, end: float, begin: float, finish: float) -> float:
    """Share of a stretch of time that lies between two times; one without length is in or out. [-]"""
    if end == start:
        return float(begin <= start < finish)
    return max(0.0, min(end, finish) - max(start, begin)) / (end - start)


def labour_adds_up(record: Record) -> None:
    found = measure(record)
    site = Worked(record.facts.site_windows)
    open_min = site.between(record.facts.warm_up_min, record.facts.horizon_min)
    if not open_min:
        return
    measured = (record.facts.warm_up_min, record.facts.horizon_min)
    hands_on = sum(
        row["hands_on_min"] * part_inside(row["start_min"], row["end_min"], *measured)
        for row in rows_of(record, "work")
    )
    total = found["labour_min_per_day"]
    assert total == pytest.approx(sum(found[f"labour_{who}_min_per_day"] for who in PERSONS), abs=1e-9)
    assert total == pytest.approx(sum(found[f"labour_{what}_min_per_day"] for what in TASKS), abs=1e-9)
    assert total == pytest.approx(
        sum(found[f"labour_{who}_{what}_min_per_day"] for who in PERSONS for what in TASKS), abs=1e-9
    )
    assert total * open_min / record.facts.minutes_per_working_day == pytest.approx(hands_on, abs=1e-6)


def outages_of(record: Record, thing: int) -> list[dict[str, Any]]:
    """Rows of the outages of a kind of thing: 0 for stations, then devices, then chargers."""
    return [row for row in rows_of(record, "outages") if row["thing"] == thing]


def out(record: Record, thing: int) -> list[Stay]:
    """When units of a kind of thing are out; all that is out of one unit at once counts once."""
    spans: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for number, row in enumerate(outages_of(record, thing)):
        spans[row["unit"] if row["unit"] >= 0 else -1 - number].append((row["from_min"], row["to_min"]))
    stays = []
    for mine in spans.values():
        until = -math.inf
        for start, end in sorted(mine):
            if end > until:
                stays.append((max(start, until), end, 1.0))
                until = end
    return stays


def visits_of(record: Record) -> list[dict[str, Any]]:
    """Exchanges and charges in shift time that have begun."""
    return [row for row in started(rows_of(record, "exchanges")) if row["kind"] != TURNED_AWAY]


def nothing_is_exceeded(room: Room, record: Record) -> None:
    """Stations, chargers and bays: never more than there are, those that are out not counted."""
    facts = record.facts
    visits = visits_of(record)
    at_stations = [(row["start_min"], ends(row["truck_free_min"]), 1.0) for row in visits]
    if not facts.in_truck:
        at_stations += out(record, 0)
    assert most_at_once(at_stations) <= facts.stations
    charges = started(rows_of(record, "charges"))
    leaves = {
        battery: sorted((row["start_min"], ends(row["truck_free_min"])) for row in mine)
        for battery, mine in by("charged", visits).items()
    }

    def until(charge: dict[str, Any]) -> float:
        """When the battery has left its bay."""
        return next(
            (free for start, free in leaves.get(charge["battery"], []) if start >= charge["cooled_min"]), math.inf
        )

    bound = not facts.in_truck and room.scenario.arrangement("room").charger_leads == "bound_to_bay"
    for number, count in enumerate(facts.charger_counts):
        mine = [row for row in charges if row["charger"] == number]
        held = [(row["connected_min"], until(row) if bound else row["end_min"], 1.0) for row in mine]
        assert most_at_once(held + out(record, 1 + len(facts.devices) + number)) <= count
    if facts.in_truck:
        spots = [(row["connected_min"], row["end_min"], 1.0) for row in charges]
        assert most_at_once(spots + out(record, 0)) <= facts.stations
    else:
        for bay in {row["bay"] for row in charges}:
            stays = [(row["discharged_min"], until(row), 1.0) for row in charges if row["bay"] == bay]
            assert most_at_once(stays) <= 1


def attendants_are_on_duty(room: Room, record: Record) -> None:
    """Work that began in a shift may end after it; its people are not the next shift's."""
    scenario = room.scenario
    attendants = scenario.layouts["room"].attendants
    jobs = [row for row in rows_of(record, "work") if row["person"] == ATTENDANT]
    if not isinstance(attendants, dict):
        assert attendants == "unlimited" or not jobs
        return
    on_duty = list(manned(scenario, attendants, record))
    for job in jobs:
        start = job["start_min"]
        assert any(
            begin <= start <= end and any(open_from <= start <= shut for open_from, shut in windows)
            for begin, end, _, windows in on_duty
        )
    whole_breaks = scenario.rules.at_break == "finish_then_full_break"
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


def exchanges_are_finished_or_unfinished(record: Record) -> None:
    facts, found = record.facts, measure(record)
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] != TURNED_AWAY]
    finished = [row for row in visits if row["truck_free_min"] < facts.horizon_min]
    unfinished = [row for row in visits if not row["truck_free_min"] < facts.horizon_min]
    assert found["unfinished_exchanges"] == len(unfinished)
    assert len(by("truck", unfinished)) == len(unfinished)
    site = Worked(record.whole.facts.site_windows)  # a day of a part is one of the whole site
    days = site.between(facts.warm_up_min, facts.horizon_min) / facts.minutes_per_working_day
    measured = sum(row["truck_free_min"] >= facts.warm_up_min for row in finished)
    assert found["exchanges_per_day"] * days == pytest.approx(measured, abs=1e-6)
    for truck in by("truck", sorted(visits, key=lambda row: row["left_min"])).values():
        assert all(row["truck_free_min"] < facts.horizon_min for row in truck[:-1])


def waits_follow_littles_law(record: Record) -> None:
    """Mean number in line times the time looked at is the sum of the waits; of a run without warm-up."""
    assert record.facts.warm_up_min == 0.0
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


def lines_wait_for_what_is_missing(record: Record, reserve: int = 0) -> None:
    """Booked on the battery exactly while none is ready for them, on the station exactly while all are taken or out."""
    facts = record.facts
    visits = [row for row in rows_of(record, "exchanges") if row["kind"] == EXCHANGE]
    queue_of = facts.type_numbers
    changes: list[tuple[float, str, int, float]] = []
    for battery, mine in by("battery", rows_of(record, "battery_states")).items():
        for before, after in pairwise([{"state": -1}, *mine]):
            change = float(after["state"] == READY) - float(before["state"] == READY)
            changes.append((after["from_min"], "ready", queue_of[battery], change))
    for row in visits:
        who = "for the shift change" if row["reason"] == SHIFT_CHANGE else "others"
        changes.append((row["joined_min"], who, row["queue"], 1.0))
        changes.append((row["start_min"], who, row["queue"], -1.0))
        changes.append((row["start_min"], "taken", 0, 1.0))
        changes.append((ends(row["truck_free_min"]), "taken", 0, -1.0))
    for start, end, _ in out(record, 0):
        changes += [(start, "taken", 0, 1.0), (end, "taken", 0, -1.0)]
    changes += [(row["from_min"], "cause", row["queue"], row["cause"]) for row in rows_of(record, "queues")]
    changes = [change for change in changes if change[0] < facts.horizon_min]  # what never came falls out
    changes.sort(key=lambda change: change[0])  # at one instant the last cause written holds
    level: dict[tuple[str, int], float] = defaultdict(float)
    for (time, what, line, change), after in pairwise([*changes, (facts.horizon_min, "", 0, 0.0)]):
        level[what, line] = change if what == "cause" else level[what, line] + change
        for each in range(len(facts.battery_types)) if after[0] > time else ():
            cause, ready, changing, others = (
                level[name, each] for name in ("cause", "ready", "for the shift change", "others")
            )
            in_queue = changing + others
            has_one = ready > (0 if changing else reserve)
            assert (cause == NOTHING) == (in_queue == 0)
            assert (cause == NO_BATTERY) == (in_queue > 0 and not has_one)
            all_taken = level["taken", 0] >= facts.stations
            assert (cause == NO_STATION) == (in_queue > 0 and has_one and all_taken)


def shares_are_shares(record: Record) -> None:
    found = measure(record)
    for name, each in MEASURES.items():
        value = found[name]
        assert math.isnan(value) or value >= -1e-9, f"{name} {value}"
        if name.endswith("_share"):
            assert math.isnan(value) or value <= 1.0 + 1e-9, name
        assert not math.isinf(value), f"{each.name} {value}"
    assert (found["none_ready_time_share"] > 0.0) == (found["none_ready_spells"] > 0.0)
    for rare in (rare for name, rare in RARE.items() if name in found and rare.of):
        assert not found[rare.events] * (found[rare.of] if rare.events in POOLED else 1.0) > found[rare.of], rare
    for part in (part for part in PARTS if part.startswith("wait_")):
        assert (found[f"{part}_min_per_truck_shift"] > 0.0) >= (found[part.replace("wait", "waits")] > 0.0), part
