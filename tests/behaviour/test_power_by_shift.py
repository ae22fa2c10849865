"""Power belongs to a truck's shift: a discharge over several shifts, followed minute by minute by other means."""

from bisect import bisect_right
from collections import defaultdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from batsim.catalogue import FIGURES
from batsim.formulas.discharge import Cell
from batsim.record.record import Record
from batsim.scenario.chemistry import rated_cell
from tests.behaviour.ledger import by, room, rows_of, run
from tests.closed_forms import current_a

SHIFTS = ["early", "late", "night"]
WORK = {
    "week.shifts": {
        "early": {"days": "Mon-Fri", "from": "06:00", "to": "14:00", "breaks": ["09:30 for 20 min"]},
        "late": {
            "days": "Mon-Fri",
            "from": "14:00",
            "to": "22:00",
            "breaks": ["18:00 for 20 min"],
            "handover": "10 min",
        },
        "night": {"days": "Sun-Thu", "from": "22:00", "to": "06:00"},
    },
    "trucks[0].shifts": SHIFTS,
    "trucks[0].count": 8,
    "trucks[0].temperature": "30 degC",
    "trucks[0].duty": {"mean_power": "3.6 kW", "between_trucks": "20 %", "between_shifts": "50 %"},
    "trucks[0].to_room": {"distance": "800 m", "speed": "8 km/h"},
    "layouts.room.batteries": 40,
    "layouts.room.chargers": "30 x electronic_iuia",
}
WAY_MIN = 6.0


def pieces(record: Record, discharge: dict[str, Any], shifts: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Minutes of use and their power, in order: the way from the room, work window by window, the way to the room."""
    begin, end = discharge["start_min"], discharge["end_min"]

    def power_w(time: float) -> float:
        return shifts[max(0, bisect_right(shifts, (time, np.inf)) - 1)][1]

    edges = {begin, end, *(start for start, _ in shifts)}
    edges |= {edge for window in record.facts.group_windows[0] for edge in window}
    worked = [
        (stop - start, power_w(start))
        for start, stop in pairwise(sorted(edge for edge in edges if begin <= edge <= end))
        if any(since <= start < to for since, to in record.facts.group_windows[0])
    ]
    last_w = power_w(np.nextafter(end, 0.0))
    return [(WAY_MIN if begin else 0.0, power_w(begin)), *worked, (WAY_MIN, last_w)]


def followed(soc: float, use: list[tuple[float, float]], cell: Cell, share: float) -> tuple[float, float]:
    """State of charge and ampere-hours after minutes of use at their powers, in steps of a minute at most.

    The state of charge falls by the ampere-hours over the rated ones, or by Peukert's share, whichever is more.
    """
    drawn_ah = 0.0
    for minutes, power_w in use:
        steps = int(np.ceil(minutes)) or 1
        hours = minutes / 60.0 / steps
        for _ in range(steps):
            amps = current_a(soc, power_w, cell)
            kappa = max((5.0 * amps / cell.capacity_ah) ** (cell.peukert - 1.0), 2.0 ** (1.0 / cell.peukert - 1.0))
            soc -= amps * hours / cell.capacity_ah * max(1.0, kappa / share)
            drawn_ah += amps * hours
    return soc, drawn_ah


def test_a_discharge_takes_what_each_shift_takes():
    """Ampere-hours, state of charge and the energy of its ways, breaks and changes of shift seen to."""
    scenario = room(WORK)
    record = run(scenario, weeks=2.0)
    cell = rated_cell(scenario.batteries["lead"], FIGURES)
    shifts = {
        truck: [(row["start_min"], row["power_w"]) for row in rows]
        for truck, rows in by("truck", rows_of(record, "truck_shifts")).items()
    }
    damage: dict[int, float] = defaultdict(float)
    crossing = 0
    for discharge in rows_of(record, "discharges"):
        share = 1.0 - 0.2 * damage[discharge["battery"]]
        damage[discharge["battery"]] += discharge["damage"]
        if discharge["end_min"] >= record.facts.horizon_min:
            continue
        use = pieces(record, discharge, shifts[discharge["truck"]])
        soc, drawn_ah = followed(discharge["soc_from_share"], use, cell, share)
        assert discharge["soc_to_share"] == pytest.approx(soc, abs=2e-3)
        assert discharge["drawn_ah"] == pytest.approx(drawn_ah, rel=2e-3)
        ways_kwh = (use[0][0] * use[0][1] + use[-1][0] * use[-1][1]) / 60_000.0
        assert discharge["way_kwh"] == pytest.approx(ways_kwh, rel=1e-9)
        crossing += len({power for _, power in use}) > 1
    assert crossing > 50
