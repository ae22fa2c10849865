"""A day with two areas and one attendant, solved by hand, minute by minute."""

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from tests.behaviour.ledger import rows_of

SITE = """
question: Who is served first where two areas share an attendant?
site: {name: Two areas and one attendant (invented)}
week:
  shifts:
    day: {days: Mon, from: "00:00", to: "08:00"}
    room: {days: Mon, from: "00:00", to: "08:00", breaks: ["02:00 for 30 min"]}
trucks:
  - {group: reach, count: 2, shifts: [day], battery: lead, run_time: 900 min, priority: 2,
     first_run: {first: 60 min, every: 4 min}}
  - {group: tow, count: 1, shifts: [day], battery: lead, run_time: 900 min, priority: 1, first_run: 66 min}
  - {group: heavy, count: 2, shifts: [day], battery: large, run_time: 900 min, priority: 2,
     first_run: {first: 62 min, every: 50 min}}
batteries:
  lead: {from: vented_lead_acid_48v, charge_time: 100 min, cool_down: 0 min, watering: none}
  large: {from: vented_lead_acid_48v, charge_time: 100 min, cool_down: 0 min, watering: none}
handling:
  north: {title: Exchange in the north, bay: spot, connects: attendant, connect_time: 2 min,
          steps: [{step: exchange, by: attendant, time: 10 min}]}
  south: {title: Exchange in the south, bay: spot, connects: attendant, connect_time: 3 min,
          steps: [{step: exchange, by: attendant, time: 15 min}]}
layouts:
  room:
    attendants: {room: 1}
    areas:
      north: {for: [reach, tow], handling: north, stations: 1, batteries: {lead: 6}, chargers: 6 x electronic_iuia}
      south: {for: [heavy], handling: south, stations: 1, batteries: {large: 4}, chargers: 4 x electronic_iuia}
rules: {at_break: finish_then_full_break}
simulation: {replications: 1, length: 480 min, warm_up: 0 min}
"""


def simulated() -> Record:
    return batsim.simulate(batsim.read_scenario_text(SITE), "room")


def test_a_day_of_two_areas_and_one_attendant() -> None:
    """Trucks R1, R2 and T come to the north, H1 and H2 to the south, T before the others by its priority.

    60   R1 comes; its exchange takes the attendant until 70.
    62   H1 comes to the south: battery and station are there, the attendant is not.
    64   R2 comes: the station of the north is taken.
    66   T comes, and goes before R2 in the queue of the north; it waits for the station too.
    70   R1 leaves. Its battery is to be connected, but three exchanges wait: T goes first by its priority, until 80.
         R2 waits for the station, H1 for the attendant.
    80   T leaves. H1 has waited since 62, R2 since 64: H1 goes, until 95. R2 lacks the attendant now.
    95   H1 leaves. R2 goes, until 105. Batteries of R1 (since 70), T (80) and H1 (95) wait to be connected.
    105  R2 leaves, no truck waits. R1's battery is connected, until 107; the one that has waited longest goes first.
    107  T's battery, until 109.
    109  H1's battery, over in the south, until 112.
    112  H2 comes to the south as the attendant is free; ends come before what asks, so R2's battery is connected first,
         from 112 to 114, and H2 waits for the attendant until 114.
    114  H2's exchange, until 129: his break, due at 120, begins at 129 and ends, whole, at 159.
    129  H2's battery waits until 159 and is connected until 162.
    """
    record = simulated()
    visits = {row["truck"]: row for row in rows_of(record, "exchanges") if row["start_min"] < 480.0}
    names = dict(enumerate(("R1", "R2", "T", "H1", "H2")))
    times = {name: (visits[n]["joined_min"], visits[n]["start_min"], visits[n]["end_min"]) for n, name in names.items()}
    assert times == {
        "R1": (60.0, 60.0, 70.0),
        "R2": (64.0, 95.0, 105.0),
        "T": (66.0, 70.0, 80.0),
        "H1": (62.0, 80.0, 95.0),
        "H2": (112.0, 114.0, 129.0),
    }
    of = {visits[n]["discharged"]: name for n, name in names.items()}
    charges = {of[row["battery"]]: row for row in rows_of(record, "charges")}
    on_charge = {name: row["start_min"] for name, row in charges.items()}
    assert on_charge == {"R1": 107.0, "T": 109.0, "H1": 112.0, "R2": 114.0, "H2": 162.0}
    causes = [(row["from_min"], row["queue"], row["cause"]) for row in rows_of(record, "queues")]
    nothing, station, attendant = 0, 2, 4
    north, south = 0, 1
    settled = {(time, queue): cause for time, queue, cause in causes}
    assert settled == {
        (62.0, south): attendant,
        (64.0, north): station,
        (80.0, south): nothing,
        (80.0, north): attendant,
        (95.0, north): nothing,
        (112.0, south): attendant,
        (114.0, south): nothing,
    }
    work = sorted((row["start_min"], row["end_min"], row["area"]) for row in rows_of(record, "work"))
    assert work == [
        (60.0, 70.0, 0),
        (70.0, 80.0, 0),
        (80.0, 95.0, 1),
        (95.0, 105.0, 0),
        (105.0, 107.0, 0),
        (107.0, 109.0, 0),
        (109.0, 112.0, 1),
        (112.0, 114.0, 0),
        (114.0, 129.0, 1),
        (159.0, 162.0, 1),
    ]
    found = measure(record)
    assert found["wait_min_per_exchange"] == (0.0 + 31.0 + 4.0 + 18.0 + 2.0) / 5.0
