"""To wait for something is not to have it done: batteries, chargers and people, minute by minute."""

from collections.abc import Iterable

import pytest

from batsim.measures import measure
from batsim.measures.event_trace import event_trace
from batsim.measures.room_course import room_course
from batsim.record.record import Record
from batsim.record.words import (
    BEING_CONNECTED,
    BEING_READ,
    BEING_WATERED,
    COOLING,
    EXCHANGING,
    IN_TRANSFER,
    LAID_DOWN,
    ON_CHARGE,
    PAUSED,
    READY,
    WAITS_FOR_CHARGER,
    WAITS_FOR_CONNECTING,
    WAITS_FOR_CURRENT,
    WAITS_FOR_READINGS,
    WAITS_FOR_WATERING,
)
from batsim.views.text.trace_text import trace_text
from tests.behaviour.books import stays_in
from tests.behaviour.ledger import room, rows_of
from tests.runs import record_of

CASE = "small_room.yaml"
SHIFTS = ["early", "late", "night"]
DAY_MIN, WEEK_MIN = 1440.0, 10_080.0
BY_DAY: dict[str, object] = {"layouts.room.attendants": {"early": 1}, "layouts.room.exchange_by": "drivers"}
"""One attendant from 360 to 840; drivers exchange at any hour, and here connecting takes no time."""


def small(changes: dict[str, object], *first_runs: int, horizon_min: float = DAY_MIN) -> Record:
    """Run of the small room: trucks that ask for the first time after so many minutes of work, and hardly again.

    An exchange asked for at 0 puts the discharged battery into its bay at 18; charged for 120 min, it is full at 138.
    """
    group = {"group": "trucks", "count": len(first_runs), "shifts": SHIFTS, "battery": "plain", "run_time": "500 h"}
    trucks = [{**group, "exchange_at": "20 %", "first_run": [f"{each} min" for each in first_runs]}]
    scenario = room({"trucks": trucks, **changes}, CASE)
    return record_of(scenario, "room", seed=7, replication=0, length_min=horizon_min, warm_up_min=0.0)


def length(stays: Iterable[tuple[int, float, float]]) -> float:
    """Minutes of some stays in all. [min]"""
    return sum(end - start for _, start, end in stays)


# --- batteries -----------------------------------------------------------------------------------------------


def test_a_battery_that_is_due_for_water_at_night_waits_for_the_morning():
    """15 of 237 min it is watered; the rest, 94 %, nobody is there to do it."""
    watering = {"every": "1 charge", "by": "hand", "time": "15 min"}
    record = small({**BY_DAY, "batteries.plain.watering": watering}, 0)
    (row,) = rows_of(record, "waterings")
    assert (row["due_min"], row["start_min"], row["end_min"]) == (138.0, 360.0, 375.0)
    assert stays_in(record, WAITS_FOR_WATERING) == [(0, 138.0, 360.0)]
    assert stays_in(record, BEING_WATERED) == [(0, 360.0, 375.0)]
    assert measure(record)["labour_watering_min_per_day"] == 15.0


def test_a_sound_battery_that_waits_for_readings_is_not_out_of_use():
    readings = {"every": "1 charge", "time": "10 min"}
    record = small({**BY_DAY, "batteries.plain.readings": readings}, 0)
    (row,) = rows_of(record, "maintenance")
    assert (row["due_min"], row["start_min"], row["end_min"]) == (138.0, 360.0, 370.0)
    assert stays_in(record, WAITS_FOR_READINGS) == [(0, 138.0, 360.0)]
    assert stays_in(record, BEING_READ) == [(0, 360.0, 370.0)]


def test_a_battery_with_a_charger_waits_for_somebody_to_connect_it():
    """Not for a charger: 20 are there. It stands in its bay at 843, the attendant comes again at 1800."""
    changes = {"layouts.room.attendants": {"early": 1}, "handling.'by hand'.connect_time": "4 min"}
    record = small(changes, 825, horizon_min=2 * DAY_MIN)
    assert stays_in(record, WAITS_FOR_CHARGER) == []
    assert stays_in(record, WAITS_FOR_CONNECTING) == [(0, 843.0, 1800.0)]
    assert stays_in(record, BEING_CONNECTED) == [(0, 1800.0, 1804.0)]
    assert stays_in(record, ON_CHARGE) == [(0, 1804.0, 1924.0)]
    (taken,) = rows_of(record, "chargers")
    assert (taken["from_min"], taken["to_min"]) == (843.0, 1924.0)
    course = room_course(record, 0.0, 2 * DAY_MIN)
    assert sorted({int(count) for count in course.chargers["battery waits"]}) == [0, 1]


def test_a_battery_waits_for_a_charger_only_while_all_are_taken():
    """One charger; the second battery comes 3 min after the first, which has it until 138."""
    record = small({"layouts.room.chargers": "1 x electronic_iuia"}, 0, 3)
    assert stays_in(record, WAITS_FOR_CHARGER) == [(1, 21.0, 138.0)]
    assert stays_in(record, ON_CHARGE) == [(0, 18.0, 138.0), (1, 138.0, 258.0)]
    found = measure(record)
    assert found["charger_busy_share"] == pytest.approx(240.0 / DAY_MIN)
    assert found["charger_free_share"] == pytest.approx(1.0 - 240.0 / DAY_MIN)


def test_a_charge_waits_for_its_hours_and_pauses_when_they_end():
    """Current from 60 to 90 and from 600 to 900; 30 of the 120 min fit into the first of them."""
    windows = [{"from": "01:00", "to": "01:30"}, {"from": "10:00", "to": "15:00"}]
    record = small({"charging": {"windows": windows}}, 0)
    assert stays_in(record, WAITS_FOR_CURRENT) == [(0, 18.0, 60.0)]
    assert stays_in(record, ON_CHARGE) == [(0, 60.0, 90.0), (0, 600.0, 690.0)]
    assert stays_in(record, PAUSED) == [(0, 90.0, 600.0)]
    found = measure(record)
    shares = [found[f"charger_{what}_share"] for what in ("busy", "paused", "waiting", "held", "out")]
    assert shares == pytest.approx([minutes / (20 * DAY_MIN) for minutes in (120.0, 510.0, 42.0, 0.0, 0.0)])
    told = [(event.time_min, event.event) for event in event_trace(record, 18.5, DAY_MIN) if event.battery == 0]
    assert told == [
        (60.0, "charge_start"), (90.0, "charge_pause"), (600.0, "charge_go_on"), (690.0, "charge_end"), (690.0, "ready")
    ]  # fmt: skip


def test_an_exchange_lies_still_over_the_weekend():
    """Begun on Friday at 21:55; the attendant is there again on Monday at 14:00. 18 of its 3858 min somebody works."""
    changes = {
        "week.shifts.late": {"days": "Mon-Fri", "from": "14:00", "to": "22:00"},
        "layouts.room.attendants": {"late": 1},
        "rules": {"at_shift_end": "hand_over"},
    }
    asked, gone, again = 4 * DAY_MIN + 1315.0, 4 * DAY_MIN + 1320.0, WEEK_MIN + 840.0
    record = small(changes, int(asked), horizon_min=2 * WEEK_MIN)
    discharged, charged = 0, 1
    assert stays_in(record, LAID_DOWN) == [(discharged, gone, again), (charged, gone, again)]
    assert stays_in(record, IN_TRANSFER) == [
        (discharged, asked, gone), (discharged, again, again + 13.0),
        (charged, asked, gone), (charged, again, again + 8.0),
    ]  # fmt: skip
    worked = sum(row["end_min"] - row["start_min"] for row in rows_of(record, "work") if row["person"] == 0)
    assert length(stay for stay in stays_in(record, IN_TRANSFER) if stay[0] == discharged) == worked
    text = trace_text(record, gone, gone + 1.0).splitlines()[2:]
    assert text == [
        "Fri 22:00  no attendant on duty from now on",
        "Fri 22:00  battery 1 is left in the middle of its exchange",
        "Fri 22:00  battery 2 is left in the middle of its exchange",
    ]


def test_a_job_that_others_take_up_at_once_does_not_lie_still():
    record = small({"layouts.room.attendants": {"early": 1, "late": 1}, "rules": {"at_shift_end": "hand_over"}}, 835)
    assert stays_in(record, LAID_DOWN) == []
    assert "left in the middle" not in trace_text(record, 0.0, DAY_MIN)


# --- chargers ------------------------------------------------------------------------------------------------


def test_a_charger_bound_to_its_bay_is_held_until_the_battery_goes():
    """Two chargers and one spare: cooled at 258 it stands ready on its charger until the second truck takes it at 400.

    Exchanges are over after 13 min for the truck. The spare that was there first had the other charger until 13.
    """
    changes = {
        "handling.'by hand'.charger_leads": "bound_to_bay",
        "batteries.plain.cool_down": "120 min",
        "layouts.room.batteries": 3,
        "layouts.room.bays": 2,
        "layouts.room.chargers": "2 x electronic_iuia",
    }
    record = small(changes, 0, 400)
    stays = [(row["battery"], row["from_min"], row["to_min"]) for row in rows_of(record, "chargers")]
    assert stays[:2] == [(2, 0.0, 13.0), (0, 18.0, 413.0)]
    assert stays_in(record, COOLING)[0] == (0, 138.0, 258.0)
    assert stays_in(record, READY)[0] == (0, 258.0, 400.0)
    course = room_course(record, 0.0, 418.0)
    held = course.chargers["held after the charge"]
    at = dict(zip(course.time_min.tolist(), held.tolist(), strict=True))
    assert (at[0.0], at[13.0], at[138.0], at[413.0]) == (1, 0, 1, 0)


# --- people --------------------------------------------------------------------------------------------------


def test_minutes_of_an_attendant_close():
    """On duty 480 min: 10 of the swap and 5 of putting away, kept 3 while the driver drives, 462 idle."""
    found = measure(small({"layouts.room.attendants": {"early": 1}}, 360))
    minutes = [found[f"attendants_{what}_min_per_day"] for what in ("hands_on", "held", "idle", "on_duty", "overtime")]
    assert minutes == [15.0, 3.0, 462.0, 480.0, 0.0]


def test_work_after_the_shift_is_overtime_and_not_time_on_duty():
    """Asked at 830, over at 848: 8 min of it after the shift, and nobody is busier than on duty."""
    record = small({"layouts.room.attendants": {"early": 1}}, 830)
    found = measure(record)
    assert found["attendants_overtime_min_per_day"] == 8.0
    assert found["attendants_busy_share"] == pytest.approx(10.0 / 480.0)
    assert sum(row["hands_on_min"] for row in rows_of(record, "work") if row["task"] == EXCHANGING) == 18.0
    course = room_course(record, 0.0, DAY_MIN)
    assert (course.attendants_busy <= course.attendants_on_duty).all()
    assert course.attendants_in_overtime.max() == 1
