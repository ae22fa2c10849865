"""Several queues at once: which truck is exchanged next, and which battery gets the charger that is free."""

from typing import Any

import batsim
from batsim.record.record import Record

SITE = """
question: Three trucks with a battery type each, one station, so many chargers
site: {name: Three queues (invented)}
week: {shifts: {always: {days: Mon-Sun, from: "00:00", to: "24:00"}}}
trucks:
  - {group: early, count: 1, shifts: [always], battery: third, run_time: 500 min, first_run: 58 min}
  - {group: middle, count: 1, shifts: [always], battery: second, run_time: 500 min, first_run: 60 min,
     priority: PRIORITY}
  - {group: late, count: 1, shifts: [always], battery: first, run_time: 500 min, first_run: 65 min}
batteries:
  first: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
          charge_time: 100 min, cool_down: 0 min, watering: none}
  second: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
           charge_time: 100 min, cool_down: 0 min, watering: none}
  third: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
          charge_time: 100 min, cool_down: 0 min, watering: none}
handling:
  plain: {title: Plain exchange, bay: spot, steps: [{step: exchange, by: attendant, time: 10 min}]}
layouts:
  room: {handling: plain, stations: 1, batteries: {first: 2, second: 2, third: 2}, chargers: CHARGERS x electronic_iuia,
         attendants: unlimited}
simulation: {replications: 1, length: 480 min, warm_up: 0 min}
"""


def simulated(priority: int, chargers: int) -> Record:
    """One run of the room."""
    text = SITE.replace("", "").replace("PRIORITY", str(priority)).replace("CHARGERS", str(chargers))
    return batsim.simulate(batsim.read_scenario_text(text), "room")


def starts(record: Record, table: str, of: str) -> list[tuple[Any, float]]:
    """Which truck or battery, and when, in order of time."""
    frame = record.frame(table).sort_values("start_min")
    return list(zip(frame[of], frame["start_min"], strict=True))


def test_of_equals_who_has_waited_longest_goes_first() -> None:
    """The station is taken from 58 to 68 min; two trucks join their queues meanwhile."""
    assert starts(simulated(1, 3), "exchanges", "truck") == [(0, 58.0), (1, 68.0), (2, 78.0)]


def test_priority_decides_between_queues() -> None:
    """Who came later goes first where the other lets others go first."""
    assert starts(simulated(2, 3), "exchanges", "truck") == [(0, 58.0), (2, 68.0), (1, 78.0)]


def test_a_free_charger_goes_to_the_battery_that_has_waited_longest() -> None:
    """Of all battery types that it fits, in whatever order the scenario lists them."""
    record = simulated(1, 1)
    came = record.frame("charges").sort_values("discharged_min")["battery"].tolist()

    charged = starts(record, "charges", "battery")
    assert [battery for battery, _ in charged] == came
    assert [start for _, start in charged] == [68.0, 168.0, 268.0]


def test_a_start_that_is_staggered_out_of_the_hours_waits_for_the_next() -> None:
    """The first charge begins at 68 min; 15 min later the hours are over until midnight."""
    text = SITE.replace("PRIORITY", "1").replace("CHARGERS", "3").replace("480 min", "1500 min")
    held_back = {"charging": {"stagger": "15 min", "windows": [{"from": "00:00", "to": "01:20"}]}}
    record = batsim.simulate(batsim.changed(batsim.read_scenario_text(text), held_back), "room")

    assert [start for _, start in starts(record, "charges", "battery")][:3] == [68.0, 1440.0, 1455.0]


def test_an_exchange_goes_before_the_connecting_of_the_battery_that_another_brings() -> None:
    """One station, one attendant: at 68 and 78 min he begins the exchange that waited for the station.

    Only then does he connect the three batteries, the longest waiting first.
    """
    text = (
        SITE.replace("PRIORITY", "1")
        .replace("CHARGERS", "3")
        .replace("attendants: unlimited", "attendants: {always: 1}")
    )
    text = text.replace("bay: spot,", "bay: spot, connects: attendant, connect_time: 5 min,")
    record = batsim.simulate(batsim.read_scenario_text(text), "room")

    assert [start for _, start in starts(record, "exchanges", "truck")] == [58.0, 68.0, 78.0]
    charges = record.frame("charges").sort_values("connected_min")
    assert charges["discharged_min"].tolist() == [68.0, 78.0, 88.0]
    assert charges["start_min"].tolist() == [93.0, 98.0, 103.0]


BY_SHIFT = """
question: Attendants exchange in the early shift, drivers in the late one
site: {name: A truck that is left behind (invented)}
week:
  shifts:
    early: {days: Mon-Sun, from: "06:00", to: "14:00"}
    late: {days: Mon-Sun, from: "14:00", to: "22:00"}
    room: {days: Mon-Sun, from: "06:00", to: "14:00"}
trucks:
  - {group: in the morning, count: 2, shifts: [early], battery: one, run_time: 5000 min, first_run: [460 min, 465 min]}
  - {group: in the evening, count: 1, shifts: [late], battery: one, run_time: 5000 min, first_run: 30 min}
batteries:
  one: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %, charge_time: 100 min,
        cool_down: 0 min, watering: none}
handling:
  plain: {title: Plain exchange, bay: spot, steps: [{step: exchange, by: attendant, time: 25 min}]}
layouts:
  room: {handling: plain, stations: 2, batteries: 6, chargers: 3 x electronic_iuia, attendants: {room: 1},
         exchange_by: {early: attendants, late: drivers}}
simulation: {replications: 1, length: 2 days, warm_up: 0 min}
"""


def test_a_truck_for_which_nobody_comes_any_more_is_passed() -> None:
    """At 13:45 it finds the attendant busy until he goes at 14:05; a truck of the late shift whose driver exchanges
    comes at 14:30 and does not wait for 06:00."""
    record = batsim.simulate(batsim.read_scenario_text(BY_SHIFT), "room")

    assert starts(record, "exchanges", "truck") == [(0, 820.0), (2, 870.0), (1, 1800.0)]
