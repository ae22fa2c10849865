"""More books, of what only some rooms have: devices, outages, set-down bays, skills, rounds, own batteries."""

from batsim.record.record import Record
from batsim.record.words import ATTENDANT, EXCHANGING, TASKS
from tests.behaviour.books import Stay, ends, outages_of, visits_of
from tests.behaviour.ledger import by, group_of_truck, manned, most_at_once, rows_of, started
from tests.behaviour.strategies import Room


def units_do_one_thing_at_a_time(record: Record) -> None:
    """No station serves two trucks, no device two jobs, and neither does anything while it is out."""
    facts = record.facts
    if not facts.in_truck:
        for station, visits in by("station", visits_of(record)).items():
            if station >= 0:
                stays = [(row["start_min"], ends(row["truck_free_min"]), 1.0) for row in visits]
                assert most_at_once(stays + _merged(record, 0, station)) <= 1
    for kind, rows in by("device", rows_of(record, "devices")).items():
        for unit, mine in by("unit", rows).items():
            assert unit < facts.device_counts[kind]
            assert all(row["end_min"] >= row["start_min"] and row["metres"] >= 0.0 for row in mine)
            stays = [(row["start_min"], row["end_min"], 1.0) for row in mine]
            assert most_at_once(stays + _merged(record, 1 + kind, unit)) <= 1


def _merged(record: Record, thing: int, unit: int) -> list[Stay]:
    """When one unit is out, whatever the reasons."""
    stays: list[Stay] = []
    for row in sorted(outages_of(record, thing), key=lambda row: row["from_min"]):
        if row["unit"] == unit:
            if stays and row["from_min"] <= stays[-1][1]:
                stays[-1] = (stays[-1][0], max(stays[-1][1], row["to_min"]), 1.0)
            else:
                stays.append((row["from_min"], row["to_min"], 1.0))
    return stays


def set_down_bays_are_never_exceeded(room: Room, record: Record) -> None:
    layout, scenario = room.scenario.layouts["room"], room.scenario
    if layout.set_down_bays is None or record.facts.in_truck:
        return
    means = (scenario.arrangement("room"), scenario.standby("room"))
    stays = [
        (row["start_min"], ends(row["end_min"]), float(means[row["standby"]].set_down_bays))
        for row in visits_of(record)
    ]
    assert most_at_once(stays) <= layout.set_down_bays


def nobody_stays_where_work_is_handed_over(room: Room, record: Record) -> None:
    """Where the next shift takes over, no attendant works on after the shift, and none is missing in it."""
    scenario = room.scenario
    attendants = scenario.layouts["room"].attendants
    if not isinstance(attendants, dict) or scenario.rules.at_shift_end == "finish":
        return
    jobs = [row for row in rows_of(record, "work") if row["person"] == ATTENDANT]
    for begin, end, count, _ in manned(scenario, attendants, record):
        mine = [job for job in jobs if begin <= job["start_min"] < end]
        assert all(job["end_min"] <= end for job in mine)
        assert most_at_once([(job["start_min"], job["end_min"], job["people"]) for job in mine]) <= count


def only_the_qualified_hoist(room: Room, record: Record) -> None:
    """Exchanges at once never outnumber those on the shift who have the skill, where that is asked for."""
    scenario = room.scenario
    layout, arrangement = scenario.layouts["room"], scenario.arrangement("room")
    skill = next((step.skill for step in arrangement.steps if step.skill), None)
    by_attendants = (
        isinstance(layout.attendants, dict) and layout.exchange_by is None and layout.exchange_time_min is None
    )
    if skill is None or not by_attendants or layout.standby is not None:
        return
    jobs = [row for row in rows_of(record, "work") if (row["person"], row["task"]) == (ATTENDANT, EXCHANGING)]
    qualified = {shift: attendants.with_skill(skill) for shift, attendants in layout.attendants.items()}
    for begin, end, count, _ in manned(scenario, qualified, record):
        held = [(row["start_min"], min(row["end_min"], end), 1.0) for row in jobs if begin < row["start_min"] < end]
        assert most_at_once(held) <= count


def maintenance_begins_in_rounds(room: Room, record: Record) -> None:
    """Maintenance begins after it is due, in the hours of its rounds where there are any."""
    scenario, facts = room.scenario, record.facts
    types = [name.partition(", ")[0] for name in [kind.name for kind in facts.battery_types]]
    rows = [{**row, "task": TASKS.index("watering")} for row in rows_of(record, "waterings")]
    rows += rows_of(record, "maintenance")
    for row in started(rows):
        assert row["due_min"] <= row["start_min"] <= ends(row["end_min"])
        battery = scenario.batteries[types[facts.type_numbers[row["battery"]]]]
        rounds = getattr(battery, TASKS[row["task"]]).rounds
        if rounds is not None and not facts.in_truck:
            windows = rounds.windows(facts.horizon_min)
            assert any(start <= row["start_min"] <= end for start, end in windows)


def own_batteries_stay_with_their_truck(room: Room, record: Record) -> None:
    group_of = group_of_truck(record)
    for row in rows_of(record, "exchanges"):
        if room.scenario.trucks[group_of[row["truck"]]].own_batteries and row["charged"] >= 0:
            lines = record.facts.type_numbers
            assert lines[row["discharged"]] == lines[row["charged"]] == row["queue"]
    for rows in by("queue", rows_of(record, "exchanges")).values():
        if room.scenario.trucks[rows[0]["group"]].own_batteries:
            assert len(by("truck", rows)) == 1
