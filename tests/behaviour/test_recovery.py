"""A battery that recovers in breaks: the two-well model over the calendar, in the room and in the truck."""

import math
from collections import defaultdict
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from batsim.catalogue import FIGURES
from batsim.formulas.discharge import discharge_at_power
from batsim.formulas.kibam import Wells, wells_after
from batsim.record.record import Record
from batsim.scenario.chemistry import rated_cell, wells_of
from batsim.scenario.site import Scenario
from tests.behaviour.ledger import by, room, rows_of, run, started
from tests.closed_forms import wells_at_rest, wells_capacity_ah

LEAD, KILOWATTS = "batteries.lead", "trucks[0].duty.mean_power"
WELLS = {LEAD + ".recovery": "two_wells", "trucks[0].temperature": "30 degC"}
"""At the temperature of the rating, so that the wells are those of the rated capacities."""
NO_BREAKS = {"days": "Mon-Sun", "from": "00:00", "to": "24:00"}
LONG_BREAKS = {**NO_BREAKS, "breaks": [f"{hour:02d}:00 for 60 min" for hour in range(1, 24, 2)]}
DAYS = {"week.shifts": {"day": {"days": "Mon-Fri", "from": "06:00", "to": "18:00"}}, "trucks[0].shifts": ["day"]}
IN_TRUCK = {
    **DAYS,
    "layouts.room": {"handling": "in_truck", "chargers": "4 x fast_iuia", "in_truck": {"in_breaks": False}},
}


def two_wells(scenario: Scenario) -> Wells:
    wells = wells_of(scenario.batteries["lead"], FIGURES)
    assert wells is not None
    return wells


def mean_a(scenario: Scenario, discharge: dict[str, Any], record: Record) -> float:
    """Mean current of a discharge, from its ampere-hours and its working hours. [A]"""
    return discharge["drawn_ah"] / worked_h(discharge, record)


def worked_h(discharge: dict[str, Any], record: Record) -> float:
    """Working hours of a discharge. [h]"""
    windows = record.facts.group_windows[0]
    start, end = discharge["start_min"], discharge["end_min"]
    return sum(max(0.0, min(end, to) - max(start, since)) for since, to in windows) / 60.0


def aged(record: Record) -> list[tuple[dict[str, Any], float]]:
    """Each discharge with the capacity of its battery then, over the rated one."""
    damage: dict[int, float] = defaultdict(float)
    found = []
    for discharge in rows_of(record, "discharges"):
        found.append((discharge, 1.0 - 0.2 * damage[discharge["battery"]]))
        damage[discharge["battery"]] += discharge["damage"]
    return found


def scaled(wells: Wells, factor: float) -> Wells:
    return wells._replace(most_ah=wells.most_ah * factor)


def shown(state: tuple[float, float], wells: Wells, record: Record) -> float:
    """State of charge: filling of the available well, or 1 less ampere-hours drawn over rated ones, if that is less."""
    drawn_ah = wells.most_ah - sum(state)
    return min(
        state[0] / (wells.available_share * wells.most_ah), 1.0 - drawn_ah / record.facts.battery_types[0].capacity_ah
    )


def course(wells: Wells, discharge: dict[str, Any], record: Record) -> list[tuple[float, float]]:
    """Available and bound ampere-hours at every start and end of work in a discharge on a full battery."""
    state = wells_at_rest(wells.most_ah, wells)
    amps, found, time = discharge["drawn_ah"] / worked_h(discharge, record), [state], discharge["start_min"]
    for since, to in record.facts.group_windows[0]:
        begin, end = max(since, discharge["start_min"]), min(to, discharge["end_min"])
        if begin >= end:
            continue
        state = wells_after(*state, 0.0, (begin - time) / 60.0, wells)
        found.append(state)
        state = wells_after(*state, amps, (end - begin) / 60.0, wells)
        found.append(state)
        time = end
    return found


# --- at a constant current -----------------------------------------------------------------------------------


@pytest.mark.parametrize("kilowatts", [1.5, 3.0, 6.0, 12.0])
@pytest.mark.parametrize("exchange_at", ["20 %", "40 %"])
def test_without_breaks_a_discharge_gives_the_capacity_of_the_model(kilowatts: float, exchange_at: str):
    """Down to a level: what is left in both wells at that level does not count, and the rest scales.

    A weak current could get more than the rated ampere-hours; it gets these.
    """
    changes = {**WELLS, KILOWATTS: f"{kilowatts} kW", "trucks[0].exchange_at": exchange_at}
    scenario = room({**changes, "layouts.room.batteries": 40, "layouts.room.chargers": "36 x electronic_iuia"})
    record, wells = run(scenario), two_wells(scenario)
    level = scenario.trucks[0].exchange_at_share
    assert level == float(exchange_at.removesuffix(" %")) / 100.0
    count = 0
    for discharge, health in aged(record):
        if discharge["soc_from_share"] < 1.0 or not math.isfinite(discharge["end_min"]):
            continue
        upper = scaled(wells, (1.0 - level) * health)
        hours = worked_h(discharge, record) if discharge["end_min"] <= record.facts.horizon_min else None
        hours = (discharge["end_min"] - discharge["start_min"]) / 60.0 if hours is None else hours
        rated_ah = (1.0 - level) * record.facts.battery_types[0].capacity_ah
        assert discharge["drawn_ah"] == pytest.approx(min(wells_capacity_ah(hours, upper), rated_ah), rel=5e-3)
        assert discharge["soc_to_share"] == pytest.approx(level, abs=1e-6)
        count += 1
    assert count > 5


def test_the_two_wells_agree_with_peukert_where_they_meet():
    """They are made to have its capacities at 2, 5 and 10 h; down to 2 % a discharge between is as long, to 1 %."""
    deep = {LEAD + ".discharge_to": "0 %", "trucks[0].exchange_at": "2 %", KILOWATTS: "5 kW"}
    lengths = {}
    for recovery in ("none", "two_wells"):
        record = run(room({**WELLS, **deep, LEAD + ".recovery": recovery}))
        discharges = [row for row in rows_of(record, "discharges") if row["soc_from_share"] == 1.0]
        lengths[recovery] = np.mean([row["end_min"] - row["start_min"] for row in discharges[:4]])
    assert lengths["two_wells"] == pytest.approx(lengths["none"], rel=0.01)


def test_the_mean_current_of_a_discharge_is_that_of_its_power():
    """The mean over a full battery, down to nothing: the current of a power does not know at which level work ends."""
    scenario = room(WELLS)
    record = run(scenario)
    hours, ah = discharge_at_power(1.0, 0.0, 3000.0, rated_cell(scenario.batteries["lead"], FIGURES))
    discharges = [row for row in rows_of(record, "discharges") if row["soc_from_share"] == 1.0]
    assert all(mean_a(scenario, row, record) == pytest.approx(ah / hours, rel=1e-6) for row in discharges[:-4])
    assert all(row["drawn_kwh"] == pytest.approx(3.0 * worked_h(row, record), rel=1e-6) for row in discharges[:-4])


# --- breaks --------------------------------------------------------------------------------------------------


def work_kwh(recovery: str, shift: dict[str, Any], kilowatts: float = 5.0, **more: object) -> float:
    """Mean energy from a full battery. [kWh]"""
    changes = {**WELLS, LEAD + ".recovery": recovery, "week.shifts.always": shift, KILOWATTS: f"{kilowatts} kW"}
    record = run(room({**changes, **more}))
    discharges = [row for row in rows_of(record, "discharges") if row["soc_from_share"] == 1.0][:8]
    assert len(discharges) == 8
    return float(np.mean([row["drawn_kwh"] for row in discharges]))


def test_breaks_give_more_work_where_a_battery_recovers():
    """An hour off in every two; stronger currents gain more, weak ones get the rated ampere-hours anyhow."""
    gains = [
        work_kwh("two_wells", LONG_BREAKS, kilowatts) / work_kwh("two_wells", NO_BREAKS, kilowatts)
        for kilowatts in (2.5, 8.0, 10.0)
    ]
    assert gains[0] == pytest.approx(1.0, abs=1e-9)
    assert gains[1] > 1.005
    assert gains[1] < gains[2]


def test_breaks_change_nothing_where_it_does_not():
    """Within one shift, so that a discharge is one integral, to the last digits."""
    monday = {"days": "Mon", "from": "00:00", "to": "24:00"}
    broken = {**monday, "breaks": [f"{hour:02d}:00 for 30 min" for hour in range(1, 12, 2)]}
    eight = {"trucks[0].count": 8, "layouts.room.batteries": 20}
    assert work_kwh("none", broken, **eight) == pytest.approx(work_kwh("none", monday, **eight), rel=1e-9)


@pytest.mark.parametrize("kilowatts", [3.0, 8.0])
@pytest.mark.parametrize("shift", [NO_BREAKS, LONG_BREAKS], ids=["no breaks", "breaks"])
def test_both_wells_hold_what_the_model_says(shift: dict[str, Any], kilowatts: float):
    """Followed window by window: never below 0, nothing lost, and at its level when the discharge ends."""
    scenario = room({**WELLS, "week.shifts.always": shift, KILOWATTS: f"{kilowatts} kW"})
    record, rated = run(scenario), two_wells(scenario)
    seen = 0
    for discharge, health in aged(record):
        if discharge["soc_from_share"] < 1.0 or discharge["end_min"] > record.facts.horizon_min:
            continue
        wells = scaled(rated, health)
        states = course(wells, discharge, record)
        assert all(available >= -1e-9 and bound >= -1e-9 for available, bound in states)
        held = states[-1][0] + states[-1][1]
        assert held == pytest.approx(wells.most_ah - discharge["drawn_ah"], abs=1e-6)
        level = shown(states[-1], wells, record)
        assert level == pytest.approx(discharge["soc_to_share"], abs=1e-4)
        assert level == pytest.approx(0.25, abs=1e-4)
        seen += 1
    assert seen > 20


# --- charge --------------------------------------------------------------------------------------------------


def test_a_charge_puts_back_what_was_drawn():
    """Charge factor times ampere-hours, whatever the wells; the next discharge is on level wells again."""
    record = run(room({**WELLS, "week.shifts.always": LONG_BREAKS}), weeks=2.0)
    discharges, count = by("battery", rows_of(record, "discharges")), 0
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        for discharge, charge in zip(discharges[battery], charges, strict=False):
            if discharge["soc_from_share"] == 1.0:
                assert charge["charged_ah"] == pytest.approx(1.15 * discharge["drawn_ah"], rel=1e-6)
                stored = (charge["soc_to_share"] - charge["soc_from_share"]) * record.facts.battery_types[0].capacity_ah
                assert stored == pytest.approx(discharge["drawn_ah"], rel=1e-6)
                count += 1
    assert count > 20


def test_in_the_truck_ampere_hours_are_kept():
    """A full charge returns all that was drawn since the last one, with its factor."""
    record = run(room({**WELLS, **IN_TRUCK}), weeks=4.0)
    discharges, count = by("battery", rows_of(record, "discharges")), 0
    for battery, charges in by("battery", started(rows_of(record, "charges"))).items():
        full = [row for row in charges if row["full"]]
        for before, after in pairwise(full):
            since, until = before["end_min"] - 1e-4, after["start_min"] + 1e-4
            drawn = sum(row["drawn_ah"] for row in discharges[battery] if since <= row["start_min"] < until)
            those = [row for row in charges if before["start_min"] < row["start_min"] <= after["start_min"]]
            given = sum(row["charged_ah"] for row in those)
            stored = sum(row["soc_to_share"] - row["soc_from_share"] for row in those)
            stored *= record.facts.battery_types[0].capacity_ah
            assert stored == pytest.approx(drawn, rel=1e-6)
            assert drawn <= given <= 1.15 * drawn * (1.0 + 1e-6)
            count += 1
    assert count > 10


@pytest.mark.parametrize("breaks", [False, True])
def test_in_the_truck_the_indicator_reads_what_the_model_says(breaks: bool):
    """From a full charge to the next, over all discharges between: level, never below 0, and recovering at night."""
    day = {"days": "Mon-Fri", "from": "06:00", "to": "18:00", "breaks": ["09:00 for 60 min", "12:00 for 60 min"]}
    changes = {**WELLS, **IN_TRUCK, KILOWATTS: "4 kW"}
    if breaks:
        changes["week.shifts"] = {"day": day}
    scenario = room(changes)
    record, rated, followed = run(scenario, weeks=2.0), two_wells(scenario), 0
    charges = by("battery", started(rows_of(record, "charges")))
    healths = {(row["battery"], row["start_min"]): health for row, health in aged(record)}
    for battery, discharges in by("battery", rows_of(record, "discharges")).items():
        state: tuple[float, float] | None = None
        time = 0.0
        for discharge in discharges:
            between = [row for row in charges[battery] if time - 1e-4 <= row["start_min"] < discharge["start_min"]]
            wells = scaled(rated, healths[battery, discharge["start_min"]])
            if between:
                state = wells_at_rest(wells.most_ah, wells) if between[-1]["full"] else None
            elif state is not None:
                state = wells_after(*state, 0.0, (discharge["start_min"] - time) / 60.0, wells)
            time = discharge["end_min"]
            hours = (discharge["end_min"] - discharge["start_min"]) / 60.0
            if state is None or not hours:
                continue
            assert discharge["soc_from_share"] == pytest.approx(shown(state, wells, record), abs=2e-3)
            state = wells_after(*state, discharge["drawn_ah"] / hours, hours, wells)
            assert min(state) >= -1e-6
            assert discharge["soc_to_share"] == pytest.approx(shown(state, wells, record), abs=2e-3)
            followed += 1
    assert followed > 10


def test_breaks_give_more_work_in_the_truck_too():
    """From a full battery down to its exchange level, at a current that cannot get the rated ampere-hours at once."""
    worked = []
    for breaks in ([], ["08:00 for 60 min", "10:00 for 60 min", "12:00 for 60 min"]):
        day = {"days": "Mon-Fri", "from": "06:00", "to": "20:00", "breaks": breaks}
        record = run(room({**WELLS, **IN_TRUCK, KILOWATTS: "8 kW", "week.shifts": {"day": day}}), weeks=2.0)
        kwh = []
        charges = by("battery", started(rows_of(record, "charges")))
        for battery, discharges in by("battery", rows_of(record, "discharges")).items():
            for charge in (row for row in charges[battery] if row["full"]):
                after = [row for row in discharges if row["start_min"] >= charge["end_min"] - 1e-4]
                first = next((row for row in after if row["soc_to_share"] < 0.2501), None)
                if first is not None:
                    kwh.append(sum(row["drawn_kwh"] for row in after if row["end_min"] <= first["end_min"]))
        assert len(kwh) > 10
        worked.append(np.mean(kwh))
    assert worked[1] > 1.005 * worked[0]
