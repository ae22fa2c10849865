"""Maintenance minute by minute: before the charge, in rounds, and in the truck."""

from itertools import pairwise

import pytest

from batsim.record.record import Record
from batsim.record.words import READY, TURNED_AWAY, WAITS_FOR_INSPECTION
from tests.behaviour.ledger import by, room, rows_of, run
from tests.runs import record_of

CASE = "small_room.yaml"
SHIFTS = ["early", "late", "night"]
BY_HAND = {"every": "1 charge", "by": "hand", "time": "15 min"}


def trucks(*first_runs: int) -> list[dict[str, object]]:
    """Trucks that ask for the first time after so many minutes of work, and not again for a long time."""
    group = {"group": "trucks", "count": len(first_runs), "shifts": SHIFTS, "battery": "plain", "run_time": "500 h"}
    return [{**group, "exchange_at": "20 %", "first_run": [f"{each} min" for each in first_runs]}]


def maintenance_room(changes: dict[str, object], *first_runs: int) -> Record:
    """Run of the small room with one attendant on each shift."""
    return run(
        room({"trucks": trucks(*first_runs), "layouts.room.attendants": dict.fromkeys(SHIFTS, 1), **changes}, CASE)
    )


def test_a_wash_before_the_charge_delays_it():
    wash = {"every": "1 charge", "time": "30 min", "when": "before_charge"}
    record = maintenance_room({"batteries.plain.wash": wash, "trucks": [{**trucks(0)[0], "run_time": "5 h"}]}, 0)
    first, second = (row for row in rows_of(record, "charges")[:2])
    assert (first["discharged_min"], first["connected_min"]) == (18.0, 18.0)  # not due after no charge at all
    (wash_row, *_) = rows_of(record, "maintenance")
    mine = by("battery", rows_of(record, "charges"))[wash_row["battery"]][1]
    assert wash_row["start_min"] == mine["discharged_min"]
    assert mine["connected_min"] == mine["start_min"] == wash_row["end_min"] == mine["discharged_min"] + 30.0
    assert second["connected_min"] >= second["discharged_min"]


@pytest.mark.parametrize(("overdue", "second"), [("use", 200.0), ("hold", 490.0)])
def test_an_overdue_battery_is_used_or_held_until_the_round(overdue: str, second: float):
    """Two trucks and one spare. Charged at 138, outside the round from 480 to 540; a truck asks at 200.

    Used, it goes on at 200, and nothing is left to inspect at 480 but the spare that is ready again at 338.
    """
    rounds = {"days": "Mon-Sun", "from": "08:00", "to": "09:00", "overdue": overdue}
    inspection = {"every": "1 charge", "time": "10 min", "rounds": rounds}
    changes = {"batteries.plain.inspection": inspection, "layouts.room.batteries": 3}
    record = maintenance_room(changes, 0, 200)
    assert [row["start_min"] for row in rows_of(record, "exchanges")] == [0.0, second]
    rows = rows_of(record, "maintenance")
    assert all(480.0 <= row["start_min"] % 1440.0 <= 540.0 for row in rows)
    first = rows[0]
    assert (first["start_min"], first["end_min"]) == (480.0, 490.0)
    assert first["due_min"] == (480.0 if overdue == "use" else 138.0)
    states = [(row["state"], row["from_min"]) for row in by("battery", rows_of(record, "battery_states"))[0]]
    assert ((WAITS_FOR_INSPECTION, 138.0) in states) == (overdue == "hold")
    assert ((READY, 138.0) in states) == (overdue == "use")
    assert len([row for row in rows if row["start_min"] < 1440.0]) == 1


def test_after_its_water_a_battery_is_held_for_the_round():
    """Charged at 138 and watered until 148; its inspection waits for the round from 480 on."""
    rounds = {"days": "Mon-Sun", "from": "08:00", "to": "09:00", "overdue": "hold"}
    changes = {
        "batteries.plain.watering": {"every": "1 charge", "by": "hand", "time": "10 min"},
        "batteries.plain.inspection": {"every": "1 charge", "time": "10 min", "rounds": rounds},
    }
    record = maintenance_room(changes, 0)
    (water, *_), (inspection, *_) = rows_of(record, "waterings"), rows_of(record, "maintenance")
    assert (water["due_min"], water["start_min"], water["end_min"]) == (138.0, 138.0, 148.0)
    assert (inspection["due_min"], inspection["start_min"], inspection["end_min"]) == (148.0, 480.0, 490.0)
    assert water["battery"] == inspection["battery"]


def test_a_round_that_ends_leaves_the_rest_for_the_next():
    """Four batteries due at 480, 40 min each, one attendant: two begin by 540; the others a day later, or go on."""
    for overdue, starts in (("hold", [480.0, 520.0, 1920.0, 1960.0]), ("use", [480.0, 520.0, 1920.0, 1960.0])):
        rounds = {"days": "Mon-Sun", "from": "08:00", "to": "09:00", "overdue": overdue}
        inspection = {"every": "1 charge", "time": "40 min", "rounds": rounds}
        record = maintenance_room({"batteries.plain.inspection": inspection}, 0, 20, 40, 60)
        assert [row["start_min"] for row in rows_of(record, "maintenance")] == starts


# --- maintenance in the truck ---------------------------------------------------------------------------------------

PLUGGED = {
    "title": "Charged in the truck",
    "bay": "truck",
    "empty_bays": 0,
    "watering_devices": {"pallet truck": 1},
    "pull_out_time": "4 min",
    "connects": "driver",
}


def in_truck(watering: dict[str, str], attendants: object = None, pallet_trucks: int = 1) -> Record:
    """Two trucks on the early shift, charged for 2 h from 840 on; two shifts are a charge, so water is due then."""
    group = {**trucks(900, 900)[0], "shifts": ["early"], "run_time": "15 h"}
    changes = {
        "trucks": [group],
        "batteries.plain.watering": watering,
        "handling": {"plugged": PLUGGED},
        "layouts.room": {
            "handling": "plugged",
            "chargers": "2 x electronic_iuia",
            "devices": {"pallet truck": pallet_trucks},
            "attendants": attendants,
        },
    }
    return run(room(changes, CASE))


@pytest.mark.parametrize(
    ("by_what", "attendants", "pallet_trucks", "spans"),
    [
        ("hand", None, 1, [(960.0, 979.0), (979.0, 998.0)]),
        ("hand", None, 2, [(960.0, 979.0), (960.0, 979.0)]),
        ("single_point", None, 1, [(960.0, 975.0), (960.0, 975.0)]),
        ("hand", {"late": 2}, 2, [(960.0, 979.0), (960.0, 979.0)]),
        ("hand", {"late": 1}, 2, [(960.0, 979.0), (979.0, 998.0)]),
        ("single_point", {"late": 1}, 1, [(960.0, 975.0), (975.0, 990.0)]),
        ("hand", {"night": 1}, 1, [(1320.0, 1339.0), (1339.0, 1358.0)]),
    ],
)
def test_watering_in_the_truck_takes_a_pallet_truck_and_people(
    by_what: str, attendants: object, pallet_trucks: int, spans: list[tuple[float, float]]
):
    record = in_truck({**BY_HAND, "by": by_what}, attendants, pallet_trucks)
    rows = rows_of(record, "waterings")[:2]
    assert sorted((row["start_min"] - 1440.0, row["end_min"] - 1440.0) for row in rows) == spans
    assert len(rows_of(record, "devices")) == (0 if by_what == "single_point" else record.count("waterings"))


def test_maintenance_in_the_truck_is_over_before_its_shift_begins():
    """Night is on duty from 1320 to 1800 and would hand 500 min of watering over to early, whose truck has left."""
    watering = {**BY_HAND, "time": "500 min"}
    record = in_truck(watering, {"night": 1})
    assert record.count("waterings") == 0
    discharges = [row["start_min"] for row in rows_of(record, "discharges")]
    assert discharges == sorted(discharges)
    assert {start % 1440.0 for start in discharges} == {360.0}


def test_trucks_at_their_cut_out_wait_for_a_charging_spot():
    """Turned away at 25 %, they ask again at their cut-out of 20 %, and wait; nothing stands still for ever."""
    group = {"group": "trucks", "count": 4, "shifts": SHIFTS, "battery": "plain", "exchange_at": "25 %"}
    spots = {"handling": "plugged", "stations": 1, "chargers": "1 x electronic_iuia"}
    for kilowatts in (2.9, 3.3, 4.1, 5.0, 6.2):
        changes = {
            "trucks": [{**group, "duty": {"mean_power": f"{kilowatts} kW"}}],
            "rules": {"if_none_ready": "carry_on"},
            "handling": {"plugged": PLUGGED},
            "layouts.room": spots,
        }
        rows = rows_of(run(room(changes, CASE)), "exchanges")
        waits = [row for row in rows if row["start_min"] > row["joined_min"]]
        assert waits
        assert all(row["soc_share"] == pytest.approx(0.2, abs=1e-6) for row in waits)
        assert len(rows) < 1000


def test_a_level_that_rounding_leaves_above_the_cut_out_is_the_cut_out():
    """A truck that comes half a tick of the clock too early must not go back for no time at all, again and again."""
    group = {"count": 3, "shifts": ["early"], "battery": "small", "exchange_at": "25 %", "duty": {"mean_power": "5 kW"}}
    other = {"count": 2, "shifts": SHIFTS, "battery": "small", "exchange_at": "25 %", "run_time": "5 h"}
    changes = {
        "site.room_temperature": "5 degC",
        "trucks": [{"group": "group 0", **group}, {"group": "group 1", **other}],
        "batteries": {"small": {"from": "vented_lead_acid_24v", "cool_down": "0 h", "watering": "none"}},
        "rules": {"if_none_ready": "carry_on"},
        "layouts.room": {"handling": "in_truck", "chargers": "1 x line_frequency_w", "stations": 2},
    }
    for seed in range(40):
        record = record_of(
            room(changes, CASE), "room", seed=seed, replication=0, length_min=2 * 1440.0, warm_up_min=0.0
        )
        assert record.count("exchanges") < 200


@pytest.mark.parametrize("layout", [{}, {"layouts.room": {"handling": "in_truck", "chargers": "1 x electronic_iuia"}}])
def test_a_battery_that_cannot_give_the_power_any_more_does_not_carry_on(layout: dict[str, object]):
    """More than 7 kW stop even a full battery of 12 cells and 250 Ah: turned away once, the truck then waits."""
    weak = {
        "batteries.lead": {"from": "vented_lead_acid_24v", "capacity": "250 Ah at 5 h", "cells": 12},
        "trucks[0].duty": {"mean_power": "4 kW", "between_trucks": "0 %", "between_shifts": "80 %"},
        "layouts.room.batteries": 5,
        "layouts.room.chargers": "1 x electronic_iuia",
        "rules": {"if_none_ready": "carry_on"},
    }
    record = run(room({key: value for key, value in weak.items() if not (layout and "layouts" in key)} | layout))
    for visits in by("truck", rows_of(record, "exchanges")).values():
        kinds = [row["kind"] for row in visits]
        assert (TURNED_AWAY, TURNED_AWAY) not in set(pairwise(kinds))
        assert kinds
