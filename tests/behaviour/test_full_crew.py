"""What attendants do minute by minute: handing over, breaks, skills, priorities."""

import math

import pytest

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import (
    ATTENDANT,
    BEING_CONNECTED,
    BEING_WATERED,
    CONNECTING,
    EXCHANGING,
    INSPECTING,
    LAID_DOWN,
    READY,
    WATERING,
)
from tests.behaviour.books import stays_in
from tests.behaviour.ledger import most_at_once, room, rows_of
from tests.runs import record_of

CASE = "small_room.yaml"
SHIFTS = ["early", "late", "night"]
ONE_EACH = {"early": 1, "late": 1, "night": 1}
BREAK = {"days": "Mon-Sun", "from": "06:00", "to": "14:00", "breaks": ["09:30 for 30 min"]}
"""Night ends at 360, early at 840; its break is from 570 to 600."""


def trucks(*first_runs: int) -> list[dict[str, object]]:
    """Trucks that ask for the first time after so many minutes of work, and not again for a long time."""
    group = {"group": "trucks", "count": len(first_runs), "shifts": SHIFTS, "battery": "plain", "run_time": "500 h"}
    return [{**group, "exchange_at": "20 %", "first_run": [f"{each} min" for each in first_runs]}]


def attendants_room(changes: dict[str, object], *first_runs: int, horizon_min: float = 10_080.0) -> Record:
    """Run of the small room with one attendant on each shift."""
    stated = {"trucks": trucks(*first_runs), "layouts.room.attendants": ONE_EACH, "week.shifts.early": BREAK, **changes}
    return record_of(room(stated, CASE), "room", seed=7, replication=0, length_min=horizon_min, warm_up_min=0.0)


def times(record: Record) -> list[tuple[float, float, float]]:
    """Start, truck free and end of each exchange."""
    return [(row["start_min"], row["truck_free_min"], row["end_min"]) for row in rows_of(record, "exchanges")]


def work(record: Record, task: int = EXCHANGING) -> list[tuple[float, float, float]]:
    """Start, end and hands-on minutes of attendants."""
    rows = [row for row in rows_of(record, "work") if (row["person"], row["task"]) == (ATTENDANT, task)]
    return sorted((row["start_min"], row["end_min"], row["hands_on_min"]) for row in rows)


# --- an exchange over a shift end ----------------------------------------------------------------------------

SHIFT_END = [
    # drive up to 357, 3 min of the swap before the shift ends at 360
    (355, "finish", (368.0, 373.0), [(355.0, 360.0, 15.0 * 5.0 / 18.0), (360.0, 373.0, 15.0 * 13.0 / 18.0)]),
    (355, "hand_over", (368.0, 373.0), [(355.0, 360.0, 3.0), (360.0, 373.0, 12.0)]),
    (355, "put_back", (371.0, 376.0), [(355.0, 360.0, 3.0), (360.0, 376.0, 15.0)]),
    # the driver drives up until 361: the next shift swaps, all of it
    (359, "hand_over", (372.0, 377.0), [(359.0, 360.0, 0.0), (360.0, 377.0, 15.0)]),
    (359, "put_back", (372.0, 377.0), [(359.0, 360.0, 0.0), (360.0, 377.0, 15.0)]),
    # the truck is gone at 358, the discharged battery is on its way
    (345, "hand_over", (358.0, 363.0), [(345.0, 360.0, 12.0), (360.0, 363.0, 3.0)]),
    (345, "put_back", (358.0, 365.0), [(345.0, 360.0, 12.0), (360.0, 365.0, 5.0)]),
    # over at the very end of the shift: nothing to hand over
    (342, "hand_over", (355.0, 360.0), [(342.0, 360.0, 15.0)]),
]


@pytest.mark.parametrize(("asked", "rule", "ended", "jobs"), SHIFT_END)
def test_an_exchange_when_the_shift_ends(
    asked: int, rule: str, ended: tuple[float, float], jobs: list[tuple[float, float, float]]
):
    record = attendants_room({"rules": {"at_shift_end": rule}}, asked)
    assert times(record)[0] == (float(asked), *ended)
    assert work(record) == [pytest.approx(job) for job in jobs]
    overtime = [(row["start_min"], row["end_min"]) for row in rows_of(record, "work") if row["overtime"]]
    assert overtime == ([(360.0, 373.0)] if rule == "finish" else [])
    (row,) = rows_of(record, "exchanges")
    assert (row["left_min"], row["joined_min"], row["back_min"]) == (float(asked), float(asked), ended[0])
    assert [row["hands_on_min"] for row in rows_of(record, "work") if row["person"] != ATTENDANT] == [3.0]


def test_the_next_shift_begins_with_what_was_handed_over():
    """A truck that asks at 358 has waited for the attendant, who goes on with the other exchange first."""
    record = attendants_room({"rules": {"at_shift_end": "hand_over"}}, 355, 358)
    assert times(record) == [(355.0, 368.0, 373.0), (373.0, 386.0, 391.0)]


def test_work_waits_through_the_handover_of_the_shifts():
    """Early is on duty from 370 on: the 7 min left of the swap begin then."""
    changes = {"rules": {"at_shift_end": "hand_over"}, "week.shifts.early": {**BREAK, "handover": "10 min"}}
    assert times(attendants_room(changes, 355)) == [(355.0, 378.0, 383.0)]


def test_two_attendants_hand_over_to_two():
    """Night lays the swap down at 360 with 7 min left; early has one attendant, so late goes on at 840."""
    changes = {
        "rules": {"at_shift_end": "hand_over"},
        "layouts.room.attendants": {"night": 2, "early": 1, "late": 2},
        "handling.'by hand'.steps[1].by": "2 attendants",
    }
    record = attendants_room(changes, 355)
    assert times(record) == [(355.0, 848.0, 853.0)]
    assert work(record) == [(355.0, 360.0, 6.0), (840.0, 853.0, 19.0)]
    assert {row["people"] for row in rows_of(record, "work") if row["person"] == ATTENDANT} == {2}


def test_a_truck_may_come_again_before_its_exchange_is_over():
    """Two lay the battery down at 360; two are there again at 840. The truck is at work and asks once more."""
    group = {**trucks(345)[0], "run_time": "4 h"}
    changes = {
        "rules": {"at_shift_end": "hand_over"},
        "trucks": [group],
        "layouts.room.attendants": {"night": 2, "early": 1, "late": 2},
        "handling.'by hand'.steps[3].by": "2 attendants",
    }
    rows = sorted(rows_of(attendants_room(changes, 345), "exchanges"), key=lambda row: row["start_min"])
    seen = [tuple(row[name] for name in ("left_min", "joined_min", "start_min", "back_min", "end_min")) for row in rows]
    assert seen[:2] == [(345.0, 345.0, 345.0, 358.0, 843.0), (628.0, 628.0, 843.0, 856.0, 861.0)]


# --- an exchange over a break --------------------------------------------------------------------------------

IN_BREAK = [
    ("finish", (578.0, 583.0), 15.0, [(565.0, 570.0), (570.0, 583.0)], 605.0),
    ("finish_then_full_break", (578.0, 583.0), 15.0, [(565.0, 583.0)], 613.0),
    ("pause", (608.0, 613.0), 15.0, [(565.0, 570.0), (600.0, 613.0)], 613.0),
    ("put_back", (611.0, 616.0), 18.0, [(565.0, 570.0), (600.0, 616.0)], 616.0),  # 3 min of the swap were for nothing
]


@pytest.mark.parametrize(("rule", "ended", "hands_on", "kept", "next_min"), IN_BREAK)
def test_an_exchange_when_a_break_begins(
    rule: str, ended: tuple[float, float], hands_on: float, kept: list[tuple[float, float]], next_min: float
):
    """Drive up 565 to 567, 3 min of the swap before the break; another truck asks at 605.

    In a break that is kept nobody works, and the batteries lie in the middle of their exchange.
    """
    record = attendants_room({"rules": {"at_break": rule}}, 565, 575)
    assert times(record)[0] == (565.0, *ended)
    assert times(record)[1][0] == next_min
    jobs = work(record)[: len(kept)]
    assert [job[:2] for job in jobs] == kept
    assert sum(job[2] for job in jobs) == pytest.approx(hands_on)
    lies_still = [(0, 570.0, 600.0), (2, 570.0, 600.0)] if len(kept) == 2 and rule != "finish" else []
    assert stays_in(record, LAID_DOWN) == lies_still
    rows = rows_of(record, "work")
    assert [row["start_min"] for row in rows if row["overtime"]] == ([570.0] if rule == "finish" else [])


def test_the_driver_goes_on_through_the_break():
    """Put away from 568 to 573 pauses; the truck has left at 568, before the break at 570."""
    record = attendants_room({"rules": {"at_break": "pause"}}, 555)
    assert times(record) == [(555.0, 568.0, 603.0)]


# --- a connect job and a watering over shift end and break ---------------------------------------------------


def joined(parts: list[tuple[float, float, float]]) -> list[tuple[int, float, float]]:
    """Stretches in which somebody works on battery 0, whoever it is."""
    stretches: list[tuple[int, float, float]] = []
    for start, end, _ in parts:
        if stretches and stretches[-1][2] == start:
            start = stretches.pop()[1]  # noqa: PLW2901 - others go on at once
        stretches.append((0, start, end))
    return stretches


JOBS = [
    # asked, rules, minutes at which the job is done, its parts
    (340, {"at_shift_end": "finish"}, 362.0, [(358.0, 360.0, 2.0), (360.0, 362.0, 2.0)]),
    (340, {"at_shift_end": "hand_over"}, 362.0, [(358.0, 360.0, 2.0), (360.0, 362.0, 2.0)]),
    (340, {"at_shift_end": "put_back"}, 364.0, [(358.0, 360.0, 2.0), (360.0, 364.0, 4.0)]),
    (550, {"at_break": "finish"}, 572.0, [(568.0, 570.0, 2.0), (570.0, 572.0, 2.0)]),
    (550, {"at_break": "pause"}, 602.0, [(568.0, 570.0, 2.0), (600.0, 602.0, 2.0)]),
    (550, {"at_break": "put_back"}, 604.0, [(568.0, 570.0, 2.0), (600.0, 604.0, 4.0)]),
]


@pytest.mark.parametrize(("asked", "rules", "done", "parts"), JOBS)
def test_connecting_when_people_leave(
    asked: int, rules: dict[str, str], done: float, parts: list[tuple[float, float, float]]
):
    """Discharged battery in its bay 18 min after the truck asked; 4 min to connect it, then the current is on."""
    record = attendants_room({"rules": rules, "handling.'by hand'.connect_time": "4 min"}, asked)
    assert work(record, CONNECTING) == parts
    assert stays_in(record, BEING_CONNECTED) == joined(parts)
    assert [row["start_min"] for row in rows_of(record, "charges")] == [done]


WATER = [
    (217, {"at_shift_end": "finish"}, 370.0, [(355.0, 360.0, 5.0), (360.0, 370.0, 10.0)]),
    (217, {"at_shift_end": "hand_over"}, 370.0, [(355.0, 360.0, 5.0), (360.0, 370.0, 10.0)]),
    (217, {"at_shift_end": "put_back"}, 375.0, [(355.0, 360.0, 5.0), (360.0, 375.0, 15.0)]),
    (425, {"at_break": "pause"}, 608.0, [(563.0, 570.0, 7.0), (600.0, 608.0, 8.0)]),
    (425, {"at_break": "put_back"}, 615.0, [(563.0, 570.0, 7.0), (600.0, 615.0, 15.0)]),
]
BY_HAND = {"every": "1 charge", "by": "hand", "time": "15 min"}


@pytest.mark.parametrize(("asked", "rules", "done", "parts"), WATER)
def test_watering_when_people_leave(
    asked: int, rules: dict[str, str], done: float, parts: list[tuple[float, float, float]]
):
    """Charged 138 min after the truck asked; then 15 min of watering, then ready."""
    record = attendants_room({"rules": rules, "batteries.plain.watering": BY_HAND}, asked)
    assert work(record, WATERING) == parts
    assert stays_in(record, BEING_WATERED) == joined(parts)
    due = asked + 138.0
    (row,) = rows_of(record, "waterings")
    assert (row["due_min"], row["start_min"], row["end_min"]) == (due, due, done)
    states = [(row["state"], row["from_min"]) for row in rows_of(record, "battery_states")]
    assert {(BEING_WATERED, due), (READY, done)} <= set(states)


# --- what the end of a run leaves ----------------------------------------------------------------------------


def test_an_exchange_that_was_handed_over_and_never_taken_up_is_in_the_record():
    changes = {"rules": {"at_shift_end": "hand_over"}, "layouts.room.attendants": {"night": 1}}
    record = attendants_room(changes, 355, horizon_min=900.0)
    (row,) = rows_of(record, "exchanges")
    assert (row["left_min"], row["start_min"], row["discharged"], row["charged"]) == (355.0, 355.0, 0, 1)
    assert all(math.isnan(row[name]) for name in ("truck_free_min", "end_min", "back_min"))
    found = measure(record)
    assert found["unfinished_exchanges"] == 1
    assert found["availability_share"] == pytest.approx(355.0 / 870.0)  # the break counts for nothing


def test_a_truck_that_has_left_is_back_though_its_exchange_is_never_over():
    changes = {"rules": {"at_shift_end": "hand_over"}, "layouts.room.attendants": {"night": 1}}
    (row,) = rows_of(attendants_room(changes, 345, horizon_min=900.0), "exchanges")
    assert (row["truck_free_min"], row["back_min"]) == (358.0, 358.0)
    assert math.isnan(row["end_min"])


def test_connecting_and_maintenance_that_were_never_taken_up_are_in_the_record():
    rules = {"rules": {"at_shift_end": "hand_over"}, "layouts.room.attendants": {"night": 1}}
    record = attendants_room({**rules, "handling.'by hand'.connect_time": "4 min"}, 340, horizon_min=900.0)
    (row,) = rows_of(record, "charges")
    assert (row["battery"], row["discharged_min"]) == (0, 358.0)
    assert math.isnan(row["start_min"])
    record = attendants_room({**rules, "batteries.plain.watering": BY_HAND}, 217, horizon_min=900.0)
    (row,) = rows_of(record, "waterings")
    assert (row["due_min"], row["start_min"]) == (355.0, 355.0)
    assert math.isnan(row["end_min"])
    inspection = {"every": "1 charge", "time": "15 min"}
    record = attendants_room({**rules, "batteries.plain.inspection": inspection}, 217, horizon_min=900.0)
    (row,) = rows_of(record, "maintenance")
    assert (row["task"], row["due_min"], row["start_min"]) == (INSPECTING, 355.0, 355.0)
    assert math.isnan(row["end_min"])


def test_a_device_that_fails_while_its_exchange_lies_still_goes_out_after_it():
    """The cart fails at 400, under a battery that nobody moves from 360 to 840; the swap ends at 847."""
    changes = {
        "rules": {"at_shift_end": "hand_over"},
        "layouts.room.attendants": {"night": 1, "late": 1},
        "layouts.room.devices": {"cart": 1},
        "layouts.room.out": [{"thing": "cart", "from": "week 1 Mon 06:40", "for": "500 min"}],
    }
    record = attendants_room(changes, 355)
    assert times(record) == [(355.0, 848.0, 853.0)]
    (row,) = rows_of(record, "outages")
    assert (row["from_min"], row["to_min"]) == (853.0, 900.0)


# --- skills --------------------------------------------------------------------------------------------------

ONE_OF_TWO = {
    "layouts.room.attendants": {shift: {"attendants": 2, "hoist": 1} for shift in SHIFTS},
    "handling.'by hand'.steps[1].skill": "hoist",
}


def test_the_unqualified_never_hoists_and_connects_meanwhile():
    """Two trucks at once: the second waits for the qualified. At 18 that one goes on, and the other connects."""
    record = attendants_room({**ONE_OF_TWO, "handling.'by hand'.connect_time": "4 min"}, 0, 0)
    assert [start for start, _, _ in times(record)] == [0.0, 18.0]
    assert work(record, CONNECTING) == [(18.0, 22.0, 4.0), (36.0, 40.0, 4.0)]


def test_the_unqualified_works_while_an_exchange_waits_for_the_qualified():
    """The only qualified one comes on duty at 840; a battery is washed and connected all the same."""
    changes = {
        **ONE_OF_TWO,
        "layouts.room.attendants": {"early": {"attendants": 1, "hoist": 0}, "night": 1, "late": 1},
        "batteries.plain.inspection": {"every": "1 charge", "time": "15 min"},
    }
    record = attendants_room(changes, 300, 400)
    assert [start for start, _, _ in times(record)] == [300.0, 840.0]
    assert work(record, INSPECTING)[0] == (438.0, 453.0, 15.0)


def test_the_qualified_is_kept_for_the_hoist():
    """Of two who are free the other waters, so a truck that asks a minute later need not wait."""
    record = attendants_room({**ONE_OF_TWO, "batteries.plain.watering": {**BY_HAND, "time": "60 min"}}, 0, 139)
    assert work(record, WATERING)[0] == (138.0, 198.0, 60.0)
    assert [start for start, _, _ in times(record)] == [0.0, 139.0]


def test_a_method_that_stands_by_may_ask_for_a_skill_of_its_own() -> None:
    """Who is not said to lack it has it; where one of three has it, one exchange goes at a time.

    At a change of shifts the one who finishes and the one who comes are both there.
    """
    site = batsim.read("scenarios/kestrel-lane.yaml")
    hoists = {
        "layouts.portable stands.standby": {"handling": "overhead_hoist", "devices": {"hoist": 3}},
        "layouts.portable stands.out": [
            {"thing": "hand_pallet_truck", "units": 3, "from": "week 1 Tue 06:00", "for": "24 h"}
        ],
    }
    one = {"attendants": 3, "hoist": 1}
    at_once = []
    for people in (
        {},
        {"layouts.portable stands.attendants": dict.fromkeys(["room early", "room late", "room night"], one)},
    ):
        stated = batsim.changed(site, hoists | people)
        record = batsim.simulate(stated, "portable stands", settings=batsim.Settings(weeks=1))
        rows = [row for row in rows_of(record, "exchanges") if row["standby"] == 1.0]
        assert len(rows) > 30
        within = [row for row in rows if (row["start_min"] - 360.0) % 480.0 >= 30.0]
        at_once.append(most_at_once([(row["start_min"], row["truck_free_min"], 1) for row in within]))
    assert at_once == [3, 1]


def test_a_attendants_that_is_never_enough_and_qualified_at_once_is_refused():
    """Two attendants on early, the qualified alone on late: no exchange that needs both could ever start."""
    changes = {
        "handling.'by hand'.steps[1].by": "2 attendants",
        "handling.'by hand'.steps[1].skill": "hoist",
        "layouts.room.attendants": {"early": {"attendants": 2, "hoist": 0}, "late": {"attendants": 1, "hoist": 1}},
    }
    with pytest.raises(batsim.ScenarioError) as caught:
        room(changes, CASE)
    rule = (
        "nobody is qualified for 'hoist', which by hand asks for; write {attendants: 2, hoist: 1} "
        "(got early: 2, late: 1)"
    )
    assert str(caught.value).splitlines()[-1].endswith(f"layouts.room.attendants: {rule}")


# --- priorities ----------------------------------------------------------------------------------------------

ORDERS = [
    # an exchange from 130 to 148; meanwhile a battery is due for water at 142, a truck asks at 145
    (["exchange", "connect", "watering"], 148.0, 166.0, 174.0),
    (["exchange", "watering", "connect"], 148.0, 181.0, 166.0),
    (["connect", "exchange", "watering"], 152.0, 148.0, 174.0),
    (["watering", "connect", "exchange"], 167.0, 163.0, 148.0),
    (["watering", "exchange", "connect"], 163.0, 181.0, 148.0),
]


@pytest.mark.parametrize(("order", "exchange", "connect", "water"), ORDERS)
def test_attendants_take_up_what_waits_by_the_priorities(
    order: list[str], exchange: float, connect: float, water: float
):
    """One attendant: exchange 18 min, connect 4 min, water 15 min. After the third exchange two batteries wait."""
    changes = {
        "rules": {"priorities": order},
        "handling.'by hand'.connect_time": "4 min",
        "batteries.plain.watering": BY_HAND,
    }
    record = attendants_room(changes, 0, 130, 145)
    assert times(record)[2][0] == exchange
    assert work(record, CONNECTING)[1][0] == connect
    assert work(record, WATERING)[0][0] == water
