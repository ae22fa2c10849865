"""Batteries that recover in breaks: the two wells over a calendar."""

from itertools import pairwise

import numpy as np
import pytest

from batsim.formulas.discharge import discharge
from batsim.formulas.kibam import capacity_ah
from batsim.room.recovery import hours_to_level, rested, run_down, soc_of
from batsim.room.timetable import Timetable
from batsim.scenario.chemistry import rated_cell, wells_of
from tests.behaviour.ledger import by, room, rows_of, run

WELLS = "batteries.lead.recovery"
ALWAYS = Timetable([(0.0, 1e9)], always=True)
SHIFTS = {"always": {"days": "Mon-Sun", "from": "06:00", "to": "18:00", "breaks": ["10:00 for 3 h"]}}
TRUCK = {
    "layouts.room.handling": "in_truck", "layouts.room.batteries": 4, "layouts.room.stations": 4,
    "layouts.room.chargers": "4 x fast_iuia", "layouts.room.crew": "drivers",
}  # fmt: skip


@pytest.fixture(scope="module")
def wells():
    return wells_of(room({WELLS: "two_wells"}).batteries["lead"])


@pytest.mark.parametrize("hours", [2.0, 3.0, 5.0, 8.0, 10.0])
def test_without_a_break_it_is_the_constant_current_capacity(wells, hours):
    amps = capacity_ah(hours, wells) / hours
    minutes, (held, surplus) = run_down(wells, ALWAYS, 0.0, (wells.most_ah, 0.0), amps, 0.0)
    assert minutes / 60.0 == pytest.approx(hours, rel=1e-6)
    assert soc_of(held, surplus, wells) == pytest.approx(0.0, abs=1e-9)
    assert held == pytest.approx(wells.most_ah - amps * hours, rel=1e-9)


def test_breaks_bring_some_back(wells):
    """More work from a battery with a long break than without, more with a longer one, never more than it holds."""
    amps, minutes = 200.0, []
    for pause in (0.0, 30.0, 120.0, 600.0):
        table = Timetable([(0.0, 60.0), (60.0 + pause, 1e6)])
        minutes.append(run_down(wells, table, 0.0, (wells.most_ah, 0.0), amps, 0.2)[0])
    assert minutes == sorted(minutes)
    assert minutes[0] == pytest.approx(run_down(wells, ALWAYS, 0.0, (wells.most_ah, 0.0), amps, 0.2)[0], rel=1e-9)
    assert minutes[-1] > 1.01 * minutes[0]
    assert amps * minutes[-1] / 60.0 < wells.most_ah


def test_a_level_is_where_the_indicator_reads_it(wells):
    for level in (0.0, 0.2, 0.5):
        hours = hours_to_level(wells.most_ah, 0.0, 120.0, level, wells)
        _, state = run_down(wells, ALWAYS, 0.0, (wells.most_ah, 0.0), 120.0, level)
        assert soc_of(*state, wells) == pytest.approx(level, abs=1e-9)
        assert hours > 0.0
    assert hours_to_level(0.1 * wells.most_ah, 0.0, 120.0, 0.2, wells) == 0.0
    assert rested(-50.0, 100.0, wells) == pytest.approx(0.0, abs=1e-6)


def test_around_the_clock_the_room_agrees_with_peukert_within_some_percent():
    """The wells are fitted to Peukert's law, so without breaks stints hardly change; ampere-hours are those drawn."""
    same = {"trucks[0].temperature": "30 degC"}
    plain, two = run(room(same)), run(room({**same, WELLS: "two_wells"}))
    means = [
        np.mean([row["drawn_ah"] for row in rows_of(record, "stints") if row["soc_from_share"] == 1.0])
        for record in (plain, two)
    ]
    assert means[1] == pytest.approx(means[0], rel=0.06)
    _, ah = discharge(1.0, 0.25, 3000.0, rated_cell(room().batteries["lead"]))
    assert means[0] == pytest.approx(ah, rel=0.01)


HARD = {"trucks[0].draws": {"mean": "7 kW", "between_trucks": "0 %", "between_stints": "0 %"}}


def test_a_long_break_gives_more_from_a_battery():
    changes = {**HARD, WELLS: "two_wells", "trucks[0].temperature": "30 degC"}
    drawn = [
        np.mean([row["drawn_ah"] for row in rows_of(record, "stints") if row["soc_from_share"] == 1.0])
        for record in (run(room(changes)), run(room({**changes, "week.shifts": SHIFTS})))
    ]
    assert drawn[1] > drawn[0]


def test_in_the_truck_the_indicator_rises_in_a_break_without_a_charge():
    """Plugged in only when the level is reached: between two stints without a charge the wells even out."""
    changes = {
        **TRUCK,
        WELLS: "two_wells",
        "week.shifts": SHIFTS,
        "layouts.room.in_truck": {"in_breaks": False},
    }
    record = run(room(changes), weeks=4.0)
    charges = by("battery", rows_of(record, "charges"))
    rises = []
    for battery, stints in by("battery", rows_of(record, "stints")).items():
        assert all(0.0 <= row["soc_to_share"] <= row["soc_from_share"] <= 1.0 + 1e-9 for row in stints)
        for before, after in pairwise(stints):
            between = [
                row for row in charges[battery] if before["end_min"] <= row["end_min"] <= after["start_min"] + 1.0
            ]
            if not between and after["start_min"] > before["end_min"]:
                rises.append(after["soc_from_share"] - before["soc_to_share"])
    assert len(rises) > 5
    assert min(rises) >= -1e-9
    assert max(rises) > 0.005
