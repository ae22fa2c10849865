"""Who goes first where areas share people: what exchanges are left, early calls, jobs that others laid down."""

import batsim
from batsim.record.record import Record
from tests.behaviour.ledger import rows_of

SITE = """
question: Who goes first where areas share people?
site: {name: Areas that share people (invented)}
week:
  shifts:
    day: {days: Mon, from: "00:00", to: "14:00"}
    late: {days: Mon, from: "14:00", to: "22:00"}
    start: {days: Mon, from: "00:00", to: "00:30"}
trucks:
TRUCKS
batteries:
  lead: {from: vented_lead_acid_48v, charge_time: CHARGE, cool_down: 0 min, watering: none}
  gel: {from: valve_regulated_24v, charge_time: 35 min, cool_down: 0 min, inspection: {every: 20 min, time: 30 min}}
handling:
  two: {title: By two, bay: spot, steps: [{step: exchange, by: 2 attendants, time: 10 min}]}
  driven: {title: By one who connects nothing, bay: spot, steps: [{step: exchange, by: attendant, time: 20 min}]}
  one: {title: By one, bay: spot, connects: attendant, connect_time: 12 min,
        steps: [{step: exchange, by: attendant, time: 20 min}]}
layouts:
  room:
    attendants: SHARED
    areas:
AREAS
rules: {at_shift_end: hand_over}
simulation: {replications: 1, length: 1300 min, warm_up: 0 min}
"""


def simulated(trucks: str, areas: str, shared: str, charge: str = "500 min") -> Record:
    """One day of a site; trucks and areas as they are written in a scenario."""
    text = SITE.replace("TRUCKS", trucks).replace("AREAS", areas).replace("SHARED", shared).replace("CHARGE", charge)
    return batsim.simulate(batsim.read_scenario_text(text), "room")


def starts_of(record: Record, group: str) -> list[tuple[float, float]]:
    """When trucks of a group came, and when their exchanges began."""
    number = record.facts.groups.index(group)
    return [(row["joined_min"], row["start_min"]) for row in rows_of(record, "exchanges") if row["group"] == number]


BY_TWO = """
  - {group: pair, count: 1, shifts: [day], battery: lead, run_time: 2000 min, first_run: 62 min}
  - {group: single, count: 3, shifts: [day], battery: lead, run_time: 2000 min, first_run: [10 min, 40 min, 61 min]}
"""
AREAS_BY_TWO = """
      north: {for: [pair], handling: two, batteries: 2, chargers: 1 x electronic_iuia}
      south: {for: [single], handling: one, batteries: 6, chargers: 1 x electronic_iuia}
"""


def test_a_battery_is_not_connected_by_somebody_for_whom_an_exchange_elsewhere_waits() -> None:
    """From 62 min on the north waits for two people: one is free, the other busy in the south until 81.

    At 70 a charge in the south ends (connected from 30 to 42, charged for 28 min), and the next battery has a charger.
    Nobody connects it before the exchange in the north is over at 91, though in the east somebody is idle.
    """
    trucks = BY_TWO + "  - {group: idle, count: 1, shifts: [day], battery: lead, run_time: 2000 min}\n"
    areas = AREAS_BY_TWO + (
        "      east: {for: [idle], handling: one, attendants: {day: 1}, batteries: 2, chargers: 1 x electronic_iuia}\n"
    )
    record = simulated(trucks, areas, "{day: 2}", charge="28 min")
    assert starts_of(record, "pair") == [(62.0, 81.0)]
    assert starts_of(record, "single") == [(10.0, 10.0), (40.0, 40.0), (61.0, 61.0)]
    south = [row["start_min"] for row in rows_of(record, "charges") if row["queue"] == 1]
    assert sorted(south)[:2] == [42.0, 103.0]


def test_maintenance_in_the_truck_leaves_people_to_exchanges_elsewhere() -> None:
    """A truck that is plugged in at 30 min wants somebody for 30 min when its charge is over, between 62 and 81."""
    trucks = BY_TWO + (
        "  - {group: plugged, count: 1, shifts: [start], battery: gel, run_time: 2000 min, first_run: 200 min}\n"
    )
    areas = AREAS_BY_TWO + "      plugs: {for: [plugged], handling: in_truck, chargers: 1 x gel_iu}\n"
    record = simulated(trucks, areas, "{day: 2}")
    inspected = [row for row in rows_of(record, "maintenance") if row["start_min"] == row["start_min"]]
    assert 62.0 < inspected[0]["due_min"] < 81.0
    assert starts_of(record, "pair") == [(62.0, 81.0)]
    assert inspected[0]["start_min"] == 91.0


def test_one_truck_at_a_time_is_called_early_where_areas_share_an_attendant() -> None:
    """A way of 40 min; the first truck is early after 140 min of work, the second after 128 min.

    First: exchange from 90 to 110, at work from 150, early at 290 and so on its way, exchange from 330 to 350. Second:
    exchange from 110 to 130, at work from 170, early at 298, when it would arrive at 338 and wait: it is called at 350.
    """
    group = (
        "count: 1, shifts: [day], battery: lead, run_time: 300 min, exchange_at: 25 %, "
        "to_room: {distance: 4000 m, speed: 6 km/h}"
    )
    trucks = (
        f"  - {{group: first, {group}, first_run: 50 min, exchange_when: {{early_below: 65 %}}}}\n"
        f"  - {{group: second, {group}, first_run: 55 min, exchange_when: {{early_below: 68 %}}}}\n"
    )
    plain = "handling: driven, batteries: 3, chargers: 3 x electronic_iuia"
    areas = f"      north: {{for: [first], {plain}}}\n      south: {{for: [second], {plain}}}\n"
    record = simulated(trucks, areas, "{day: 1}", charge="100 min")
    assert starts_of(record, "first")[:2] == [(90.0, 90.0), (330.0, 330.0)]
    assert starts_of(record, "second")[:2] == [(95.0, 110.0), (390.0, 390.0)]


def test_jobs_laid_down_are_taken_up_in_the_order_in_which_they_were() -> None:
    """At 14:00 the north lays down an exchange begun at 830 by its own attendant, the south one begun at 835.

    The only attendant of the late shift works in both: 10 min for the north, then 15 min for the south.
    """
    trucks = (
        "  - {group: first, count: 1, shifts: [day, late], battery: lead, run_time: 2000 min, first_run: 830 min}\n"
        "  - {group: second, count: 1, shifts: [day, late], battery: lead, run_time: 2000 min, first_run: 835 min}\n"
    )
    plain = "handling: one, batteries: 2, chargers: 1 x electronic_iuia"
    areas = f"      north: {{for: [first], attendants: {{day: 1}}, {plain}}}\n      south: {{for: [second], {plain}}}\n"
    record = simulated(trucks, areas, "{day: 1, late: 1}")
    ends = {row["group"]: (row["start_min"], row["end_min"]) for row in rows_of(record, "exchanges")}
    assert ends == {0: (830.0, 850.0), 1: (835.0, 865.0)}


def test_who_comes_at_one_instant_comes_together() -> None:
    """At 14:00 the north's own attendant takes its truck, so that who works in both is there for the south's."""
    trucks = (
        "  - {group: first, count: 1, shifts: [day, late], battery: lead, run_time: 2000 min, first_run: 820 min}\n"
        "  - {group: second, count: 1, shifts: [day, late], battery: lead, run_time: 2000 min, first_run: 825 min}\n"
    )
    plain = "handling: one, batteries: 2, chargers: 1 x electronic_iuia"
    areas = (
        f"      north: {{for: [first], attendants: {{late: 1}}, {plain}}}\n      south: {{for: [second], {plain}}}\n"
    )
    record = simulated(trucks, areas, "{late: 1}")
    assert starts_of(record, "first") == [(820.0, 840.0)]
    assert starts_of(record, "second") == [(825.0, 840.0)]
