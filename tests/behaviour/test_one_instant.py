"""What happens at one instant: nothing begins with people or things whose time ends then.

Exchanges of 5 min, three trucks that come at 0 (unless said), one of what ends. By hand: what is begun is finished, and
the third truck waits for what comes back, although the second leaves at the very instant in which it ends.
"""

from string import Template

import numpy as np
import pytest

import batsim
from batsim.measures import measure

SITE = Template("""
question: Three trucks that come at once
site: {name: One instant (invented)}
week:
  shifts:
    always: {days: Mon-Sun, from: "00:00", to: "24:00"}
    ${SHIFTS}
trucks:
  - {group: trucks, count: ${TRUCKS}, shifts: [always], battery: plain, run_time: 5000 min,
     first_run: {first: ${FIRST}, every: ${EVERY}}}
batteries:
  plain: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
          charge_time: ${CHARGE}, cool_down: 0 min, watering: ${WATERING}}
handling:
  plain: {title: Plain exchange, bay: spot, devices: {carriage: 1},
          steps: [{step: exchange, by: attendant, device: carriage, time: ${TIME}}]}
layouts:
  room: {handling: plain, stations: ${STATIONS}, batteries: ${BATTERIES},
         chargers: ${CHARGERS} x electronic_iuia, devices: {carriage: ${CARRIAGES}},
         attendants: ${ATTENDANTS}${OUT}}
${RULES}
simulation: {replications: 1, length: ${LENGTH}, warm_up: 0 min}
""")
USUAL = {
    "SHIFTS": "",
    "TRUCKS": "3",
    "FIRST": "0 min",
    "EVERY": "0 min",
    "CHARGE": "0 min",
    "TIME": "5 min",
    "STATIONS": "3",
    "BATTERIES": "9",
    "CHARGERS": "unlimited",
    "CARRIAGES": "3",
    "ATTENDANTS": "unlimited",
    "OUT": "",
    "RULES": "",
    "WATERING": "none",
    "LENGTH": "480 min",
}
TWICE = 'early: {days: Mon-Sun, from: "00:00", to: "00:10"}\n    late: {days: Mon-Sun, from: "00:30", to: "24:00"}'
PAUSED = 'early: {days: Mon-Sun, from: "00:00", to: "24:00", breaks: ["00:10 for 15 min"]}'
ONE_BY_SHIFT = "{early: 1, late: 1}"


def scenario(**stated: str) -> batsim.Scenario:
    """The site with what is stated otherwise."""
    return batsim.read_scenario_text(SITE.substitute(USUAL | stated))


def starts(table: str = "exchanges", **stated: str) -> list[float]:
    """When exchanges, or charges, begin."""
    frame = batsim.simulate(scenario(**stated), "room").frame(table)
    return sorted(frame["start_min"].dropna())


def test_people_who_leave_begin_nothing() -> None:
    assert starts(SHIFTS=TWICE, ATTENDANTS=ONE_BY_SHIFT) == [0.0, 5.0, 30.0]


@pytest.mark.parametrize("rule", ["hand_over", "put_back"])
def test_who_hands_over_begins_nothing_at_the_end(rule: str) -> None:
    assert starts(SHIFTS=TWICE, ATTENDANTS=ONE_BY_SHIFT, RULES=f"rules: {{at_shift_end: {rule}}}") == [0.0, 5.0, 30.0]


@pytest.mark.parametrize("rule", ["finish", "finish_then_full_break", "pause", "put_back"])
def test_nothing_begins_when_the_break_does(rule: str) -> None:
    assert starts(SHIFTS=PAUSED, ATTENDANTS="{early: 1}", RULES=f"rules: {{at_break: {rule}}}") == [0.0, 5.0, 25.0]


def test_a_battery_that_is_ready_when_people_leave_waits_for_the_next() -> None:
    """One truck of two finds the only spare at 0; its battery is ready again at 10, when the attendant goes."""
    waits = {"TRUCKS": "2", "BATTERIES": "3", "CHARGE": "5 min"}
    assert starts(SHIFTS=TWICE, ATTENDANTS=ONE_BY_SHIFT, **waits) == [0.0, 30.0]


def test_a_device_that_goes_out_begins_nothing() -> None:
    out = ",\n         out: [{thing: carriage, from: week 1 Mon 00:10, for: 30 min}]"
    assert starts(CARRIAGES="1", OUT=out) == [0.0, 5.0, 40.0]


def test_a_station_that_goes_out_begins_nothing() -> None:
    out = ",\n         out: [{thing: station, from: week 1 Mon 00:10, for: 30 min}]"
    assert starts(STATIONS="1", OUT=out) == [0.0, 5.0, 40.0]


def test_a_charger_that_goes_out_begins_nothing() -> None:
    """Three discharged batteries at 0, charges of 10 min on one charger that is out from 10 to 40."""
    out = ",\n         out: [{thing: electronic_iuia, from: week 1 Mon 00:10, for: 30 min}]"
    assert starts("charges", CHARGERS="1", CHARGE="10 min", TIME="0 min", OUT=out) == [0.0, 40.0, 50.0]


def test_a_server_who_goes_away_as_a_service_ends() -> None:
    """One server, three customers of 10 min at once, away from 10 to 15: they begin at 0, 15 and 25."""
    shifts = 'early: {days: Mon-Sun, from: "00:00", to: "00:10"}\n    late: {days: Mon-Sun, from: "00:15", to: "24:00"}'
    begun = starts(SHIFTS=shifts, ATTENDANTS=ONE_BY_SHIFT, TIME="10 min")
    assert begun == [0.0, 15.0, 25.0]


def test_a_moment_more_makes_no_leap() -> None:
    """Ten trucks come half an hour before the attendant leaves: 5 and 5.01 min for an exchange are much the same."""
    shifts = 'early: {days: Mon-Sun, from: "06:00", to: "14:00"}'

    def downtime(minutes: str) -> float:
        stated = {"SHIFTS": shifts, "ATTENDANTS": "{early: 1}", "TRUCKS": "10", "FIRST": "810 min", "TIME": minutes}
        site = scenario(**stated, BATTERIES="30", LENGTH="3 days", STATIONS="10", CARRIAGES="10")
        return measure(batsim.simulate(site, "room"))["downtime_min_per_truck_shift"]

    assert downtime("5.01 min") == pytest.approx(downtime("5 min"), rel=0.02)


def test_a_round_that_ends_begins_nothing() -> None:
    """A round from 60 to 120 with 10 min each holds six waterings, not seven."""
    watering = (
        "{every: 1 charge, by: hand, time: 10 min, rounds: {days: Mon-Sun, from: '01:00', to: '02:00', overdue: hold}}"
    )
    site = scenario(ATTENDANTS="{always: 1}", TRUCKS="9", BATTERIES="20", WATERING=watering)
    begun = batsim.simulate(site, "room").frame("waterings")["start_min"].dropna()
    assert sorted(begun) == list(np.arange(60.0, 120.0, 10.0))
