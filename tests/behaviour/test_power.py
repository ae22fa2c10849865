"""The power that is stated is the power that is drawn: by truck and shift, the same in every layout.

Energy at work over the hours worked is each truck-shift's own power; the powers of all scheduled truck-shifts average
to the stated one, whatever their spread.
"""

import numpy as np
import pytest
from scipy import stats

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.room.plans.blueprint import blueprint_of
from batsim.room.simulation import Room
from batsim.room.timing.timetable import Timetable
from batsim.scenario.parts.week import WEEK_MIN
from tests.sites import KESTREL

TRIGGERS = {
    "level": {},
    "shift change": {"shift_change": "if_short", "before_shift_end": "15 min", "spread": "20 min"},
    "always": {"shift_change": "always"},
    "break": {"in_breaks_below": "60 %"},
    "early": {"early_below": "50 %"},
}


TWO_SHIFTS = """
site: {name: Two shifts (invented)}
week:
  shifts:
    long: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["10:00 for 30 min"]}
    short: {days: Mon-Fri, from: "14:00", to: "18:00"}
trucks:
  - {group: trucks, count: 2, shifts: [long, short], battery: lead,
     duty: {energy_per_shift: 12 kWh, between_trucks: 0 %, between_shifts: 0 %}}
batteries: {lead: {from: vented_lead_acid_48v}}
layouts:
  room: {handling: side_rollers, batteries: 4, chargers: 2 x electronic_iuia, attendants: unlimited}
"""


def spread_by(scenario: batsim.Scenario, spread: str, trigger: str = "level", trucks: str = "0 %") -> batsim.Scenario:
    """The scenario with a spread from shift to shift, and what sends trucks."""
    changes: dict[str, object] = {}
    for group in range(len(scenario.trucks)):
        changes[f"trucks[{group}].duty.between_shifts"] = spread
        changes[f"trucks[{group}].duty.between_trucks"] = trucks
        changes[f"trucks[{group}].exchange_when"] = TRIGGERS[trigger]
    return batsim.changed(scenario, changes)


def shifts_of(record: Record) -> dict[int, list[tuple[float, float, float]]]:
    """Start, end and power of each shift of each truck."""
    shifts: dict[int, list[tuple[float, float, float]]] = {}
    for truck, _, start, end, power in record.rows("truck_shifts"):
        shifts.setdefault(int(truck), []).append((start, end, power))
    return shifts


@pytest.mark.parametrize("spread", ["0 %", "60 %"])
@pytest.mark.parametrize(
    ("layout", "trigger"),
    [
        ("hoist", "level"),
        ("portable stands", "level"),
        ("in the truck", "level"),
        *(("side rollers", each) for each in TRIGGERS),
    ],
)
def test_energy_at_work_over_hours_worked_is_each_shifts_power(layout: str, trigger: str, spread: str) -> None:
    """Every discharge, cut at the changes of shift; the way from and to the room is booked apart."""
    record = batsim.simulate(spread_by(KESTREL, spread, trigger), layout, settings=batsim.Settings(weeks=1))
    tables = [Timetable(list(windows)) for windows in record.facts.group_windows]
    shifts, rows = shifts_of(record), record.columns("discharges")
    ended = rows["end_min"] < record.facts.horizon_min
    assert np.sum(ended) > 200
    names = ("truck", "group", "start_min", "end_min", "drawn_kwh", "way_kwh")
    for truck, group, start, end, drawn, way in zip(*(rows[name][ended] for name in names), strict=True):
        at_work = sum(
            power * tables[int(group)].worked(max(start, begin), min(end, until)) / 60_000.0
            for begin, until, power in shifts[int(truck)]
            if begin < end and until > start
        )
        assert drawn - way == pytest.approx(at_work, abs=1e-6)


def test_powers_are_the_same_in_every_layout() -> None:
    """Common random numbers: the same work, whatever the room is like."""
    records = [
        batsim.simulate(spread_by(KESTREL, "40 %", trucks="10 %"), layout, settings=batsim.Settings(weeks=1))
        for layout in KESTREL.layouts
    ]
    first = records[0].columns("truck_shifts")
    for record in records[1:]:
        for name, column in record.columns("truck_shifts").items():
            assert np.array_equal(column, first[name])


TWO_GROUPS = """
site: {name: Two groups (invented)}
week:
  shifts:
    day: {days: Mon-Fri, from: "06:00", to: "22:00"}
trucks:
  - {group: reach, count: 6, shifts: [day], battery: small, duty: {mean_power: 3 kW}}
  - {group: dock, count: 5, shifts: [day], battery: large, priority: 2, duty: {mean_power: 4 kW}}
batteries:
  small: {from: vented_lead_acid_48v, capacity_spread: 5 %}
  large: {from: vented_lead_acid_48v, capacity: 900 Ah at 5 h, capacity_spread: 5 %}
layouts:
  room: {handling: side_rollers, batteries: {small: 9, large: 8}, chargers: 17 x electronic_iuia,
    attendants: {day: 2}}
"""


def test_streams_go_by_names(tmp_path) -> None:
    """Groups and types stated in another order draw the same: nothing of the outcome moves."""
    (tmp_path / "site.yaml").write_text(TWO_GROUPS)
    site = batsim.read(tmp_path / "site.yaml")
    turned = site.model_copy(update={"trucks": site.trucks[::-1]})
    settings = batsim.Settings(weeks=2.0, warm_up_weeks=0.0)
    found, other = (measure(batsim.simulate(each, "room", settings=settings)) for each in (site, turned))

    assert found["exchanges_per_day"] > 4.0
    for name, value in found.items():
        if isinstance(value, float):
            assert other[name] == pytest.approx(value, rel=1e-9, nan_ok=True), name


@pytest.mark.parametrize("spread", ["0 %", "20 %", "40 %", "60 %"])
def test_drawn_powers_average_to_the_stated_one(spread: str) -> None:
    """A 99.9 % interval holds the stated power, and is within 0.5 % of it on either side."""
    scenario = spread_by(KESTREL, spread)
    blueprint = blueprint_of(scenario, "side rollers", 60 * WEEK_MIN, 0.0)
    shares = []
    for replication in range(10):
        rows = Room(blueprint, 1, replication).record.columns("truck_shifts")
        stated = np.array([group.duty.mean_kw * 1000.0 for group in scenario.trucks])
        shares.append(rows["power_w"] / stated[rows["group"].astype(int)])
    ratio = np.concatenate(shares)
    half_width = stats.norm.ppf(0.9995) * float(np.std(ratio)) / np.sqrt(ratio.size)
    assert half_width <= 0.005
    assert float(np.mean(ratio)) == pytest.approx(1.0, abs=max(half_width, 1e-12))
    assert float(np.std(ratio)) == pytest.approx(float(spread[:-2]) / 100.0, rel=0.05)


def test_energy_of_a_shift_is_stated_whatever_its_length() -> None:
    """24 kWh in a shift of 8 h with 30 min of breaks, and in one of 4 h: what is drawn over the hours worked."""
    record = batsim.simulate(batsim.read_scenario_text(TWO_SHIFTS), "room", settings=batsim.Settings(weeks=1))
    for start, end, power in shifts_of(record)[0]:
        hours = 7.5 if end - start == 480.0 else 4.0
        assert power / 1000.0 * hours == pytest.approx(12.0)


def test_more_variability_never_looks_like_better_service() -> None:
    """Scarce spares and chargers: downtime does not fall as the spread grows."""
    layout = KESTREL.layouts["side rollers"]
    scarce = layout.with_counts(
        batteries=dict.fromkeys(KESTREL.batteries_of("side rollers"), 72), chargers={"electronic_iuia": 46}
    )
    downtime = []
    for spread in ("0 %", "20 %", "40 %"):
        scenario = spread_by(KESTREL, spread).with_layout("side rollers", scarce)
        runs = [batsim.simulate(scenario, "side rollers", n, batsim.Settings(weeks=3)) for n in range(3)]
        downtime.append(float(np.mean([measure(run)["downtime_min_per_truck_shift"] for run in runs])))
    assert downtime[0] < downtime[1] < downtime[2]
