"""Who connects and maintains batteries, by shift: small days solved by hand for every combination."""

from string import Template

import numpy as np
import pytest

import batsim
from batsim.measures import measure
from batsim.record.record import Record
from batsim.record.words import ATTENDANT, CONNECTING, DRIVER, EXCHANGING, INSPECTING, PLUGGING, WATERING
from tests.behaviour.books import (
    MAINTENANCE_MOVES,
    downtime_is_the_sum_of_its_parts,
    each_battery_is_in_one_state,
    labour_adds_up,
    peoples_minutes_close,
    scheduled_time_is_work_or_downtime,
    states_are_what_was_done,
)

SITE = Template(
    """
question: Who connects and maintains
site: {name: Who connects and maintains (invented)}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ${BREAKS}}
    late: {days: Mon-Fri, from: "14:00", to: "22:00"}
    night: {days: Mon-Fri, from: "22:00", to: "06:00"}
trucks:
  - {group: trucks, count: ${COUNT}, shifts: ${WORKS}, battery: lead, run_time: ${RUN},
     first_run: {first: ${FIRST}, every: ${EVERY}}}
batteries:
  lead: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
         charge_time: 60 min, cool_down: 0 min, watering: ${WATERING}, inspection: ${INSPECTION}}
handling:
  plain:
    title: A lift
    bay: floor
    connect_time: 5 min
    connects: attendant
    steps:
    - {step: lift and set down, by: attendant, time: 10 min}
    - {step: drive off, by: driver, time: 2 min}
  plugged:
    title: In the truck
    bay: truck
    empty_bays: 0
    connects: driver
    plug_time: 2 min
    unplug_time: 1 min
    watering_devices: {jack: 1}
    pull_out_time: 6 min
layouts:
  room: {handling: ${HANDLING}, ${COUNTS} chargers: 20 x electronic_iuia${PEOPLE}}
rules: {at_break: ${AT_BREAK}}
simulation: {replications: 1, length: 5 days, warm_up: 0 min}
"""
)
USUAL = {
    "COUNT": "2", "WORKS": "[early, late, night]", "RUN": "20000 min", "FIRST": "100 min", "EVERY": "15000 min",
    "WATERING": "none", "INSPECTION": "{every: 52 weeks, time: 1 min}", "HANDLING": "plain", "COUNTS": "batteries: 20,",
    "PEOPLE": "", "BREAKS": "[]", "AT_BREAK": "finish",
}  # fmt: skip
WATER = "{every: 1 charge, by: hand, time: 10 min}"
ALL_DAY = "attendants: {early: 1, late: 1, night: 1}"
BY_DAY = "{early: drivers, late: drivers, night: attendants}"
AT_NIGHT = "{early: attendants, late: attendants, night: drivers}"
MORNING, NIGHT = 360.0, 1320.0
"""06:00 and 22:00 of Monday, from Monday 00:00. [min]"""
DAYS, SHIFTS = 5.7, 14.25
"""Monday 06:00 to Saturday 00:00: working days, of 20 h as Friday's night is Saturday's; and shifts of a truck."""


def simulated(*people: str, **stated: str) -> Record:
    """One run of the room; what keeps its books."""
    text = SITE.substitute(USUAL | stated | {"PEOPLE": "".join(f", {each}" for each in people)})
    record = batsim.simulate(batsim.read_scenario_text(text), "room")
    for books in (labour_adds_up, peoples_minutes_close, downtime_is_the_sum_of_its_parts):
        books(record)
    scheduled_time_is_work_or_downtime(record)
    if not record.facts.in_truck:
        each_battery_is_in_one_state(record, MAINTENANCE_MOVES)
    return record


def done(record: Record, task: int) -> list[tuple[float, float, float]]:
    """Who has done a task, and when it began and ended, in order of time."""
    rows = record.columns("work")
    mine = rows["task"] == task
    columns = (rows[name][mine].tolist() for name in ("start_min", "end_min", "person"))
    return [(person, start, end) for start, end, person in sorted(zip(*columns, strict=True))]


def stood(record: Record) -> list[tuple[float, float, float, float]]:
    """Which truck stood from when to when, and for what task of its driver."""
    rows = record.columns("stands")
    return list(zip(*(rows[name].tolist() for name in ("truck", "start_min", "end_min", "task")), strict=True))


@pytest.mark.parametrize("begin_min", [MORNING, NIGHT])
@pytest.mark.parametrize("exchanging", [DRIVER, ATTENDANT])
@pytest.mark.parametrize("connecting", [DRIVER, ATTENDANT, None])
def test_who_exchanges_and_who_connects_by_day_and_by_night(
    begin_min: float, exchanging: int, connecting: int | None
) -> None:
    """Asked 100 min into the early or the night shift: 12 min of exchange, 5 min of connecting.

    By drivers, the exchange keeps its driver for 12 min; by attendants it keeps the attendant for 10. Who exchanges
    connects where nobody is named for that.
    """

    def by(person: int) -> str:
        return BY_DAY if (begin_min == MORNING) == (person == DRIVER) else AT_NIGHT

    first = "100 min" if begin_min == MORNING else f"{NIGHT - MORNING + 100.0:g} min"
    connect = [] if connecting is None else [f"connect_by: {by(connecting)}"]
    record = simulated(ALL_DAY, f"exchange_by: {by(exchanging)}", *connect, FIRST=first)
    asked = begin_min + 100.0
    who, start, end = done(record, EXCHANGING)[0]
    assert (who, start, end) == (exchanging, asked, asked + (12.0 if exchanging == DRIVER else 10.0))
    who_connects = exchanging if connecting is None else connecting
    assert done(record, CONNECTING)[0] == (who_connects, asked + 12.0, asked + 17.0)


def test_a_driver_connects_what_was_exchanged_in_a_shift_of_drivers() -> None:
    """Begun at 21:55, done at 22:07: attendants connect by night, but the driver who exchanged it is there."""
    record = simulated(ALL_DAY, f"exchange_by: {BY_DAY}", f"connect_by: {BY_DAY}", FIRST="955 min")
    assert done(record, EXCHANGING)[0] == (DRIVER, 1315.0, 1327.0)
    assert done(record, CONNECTING)[0] == (DRIVER, 1327.0, 1332.0)
    record = simulated(ALL_DAY, f"exchange_by: {BY_DAY}", f"connect_by: {AT_NIGHT}", FIRST="955 min")
    assert done(record, CONNECTING)[0] == (DRIVER, 1327.0, 1332.0)  # any driver: it is night
    record = simulated(ALL_DAY, f"exchange_by: {BY_DAY}", "connect_by: attendants", FIRST="955 min")
    assert done(record, CONNECTING)[0] == (ATTENDANT, 1327.0, 1332.0)


def test_a_battery_waits_for_whom_is_named_to_connect_it() -> None:
    """Attendants connect, and only the late shift has one: what drivers exchange at 07:40 is connected at 14:00."""
    record = simulated("attendants: {late: 1}", "exchange_by: drivers", "connect_by: attendants", WORKS="[early, late]")
    assert done(record, EXCHANGING)[0] == (DRIVER, 460.0, 472.0)
    assert done(record, CONNECTING)[0] == (ATTENDANT, 840.0, 845.0)


def test_drivers_who_are_away_leave_it_to_attendants() -> None:
    """No truck works at night: named or not, drivers are away, and the attendant of the night connects."""
    record = simulated("attendants: {late: 1, night: 1}", "connect_by: drivers", WORKS="[late]", FIRST="469 min")
    assert done(record, EXCHANGING)[0] == (ATTENDANT, 1309.0, 1319.0)
    assert done(record, CONNECTING)[0] == (ATTENDANT, 1321.0, 1326.0)


def of_two_types(first: str) -> Record:
    """One run with a group of the early shift too, whose drivers connect its own type of batteries."""
    text = SITE.substitute(USUAL | {"PEOPLE": f", {ALL_DAY}, trucks: {{others: {{connect_by: drivers}}}}"})
    other = f"""
  - {{group: others, count: 2, shifts: [early], battery: small, run_time: 20000 min,
     first_run: {{first: {first}, every: 15000 min}}}}
batteries:
  small: {{chemistry: vented_lead_acid, cells: 24, capacity: 500 Ah at 5 h, discharge_to: 20 %,
          charge_time: 60 min, cool_down: 0 min, watering: none}}
"""
    text = text.replace("\nbatteries:\n", other).replace("batteries: 20", "batteries: {lead: 10, small: 10}")
    text = text.replace("room: {handling", "room: {stations: 2, handling")
    return batsim.simulate(batsim.read_scenario_text(text), "room")


def test_types_go_by_their_own_groups() -> None:
    """A rule for one group holds for the batteries of its type alone."""
    record = of_two_types("100 min")
    rows = record.columns("exchanges")
    assert sorted(rows["start_min"][:2].tolist()) == [460.0, 470.0]  # one attendant, one after the other
    assert sorted(person for person, _, _ in done(record, CONNECTING)[:2]) == [ATTENDANT, DRIVER]


def test_a_group_that_names_its_drivers_means_its_own_shifts() -> None:
    """Asked two minutes before its drivers go home: those of the late shift are of another group."""
    record = of_two_types("478 min")
    assert record.columns("exchanges")["start_min"][1] == MORNING + 478.0
    assert done(record, CONNECTING)[1] == (ATTENDANT, MORNING + 490.0, MORNING + 495.0)


@pytest.mark.parametrize(
    ("people", "person", "stands"),
    [
        ((ALL_DAY,), ATTENDANT, False),
        ((ALL_DAY, "maintain_by: attendants"), ATTENDANT, False),
        ((ALL_DAY, "maintain_by: drivers"), DRIVER, True),
        ((ALL_DAY, f"maintain_by: {BY_DAY}"), DRIVER, True),
        ((ALL_DAY, f"maintain_by: {AT_NIGHT}"), ATTENDANT, False),
        ((ALL_DAY, "trucks: {trucks: {maintain_by: drivers}}"), DRIVER, True),
        (("attendants: unlimited",), ATTENDANT, False),
        (("attendants: unlimited", "maintain_by: drivers"), DRIVER, True),
        ((), DRIVER, False),
        (("maintain_by: drivers",), DRIVER, True),
        (("exchange_by: drivers", "attendants: {early: 1}", "maintain_by: {early: drivers}"), DRIVER, True),
    ],
)
def test_who_waters_by_day(people: tuple[str, ...], person: int, *, stands: bool) -> None:
    """Exchange 07:40 to 07:52, connected at 07:57, charged at 08:57: water until 09:07, by whom it is said.

    Of the two trucks at work the first has the freshest battery: it stands for the ten minutes. Drivers whom nobody
    names water beside their work.
    """
    record = simulated(*people, WATERING=WATER)
    assert done(record, WATERING)[0] == (person, 537.0, 547.0)
    assert stood(record) == ([(0.0, 537.0, 547.0, WATERING)] if stands else [])
    measures = measure(record)
    assert measures["watering_min_per_truck_shift"] == pytest.approx(10.0 * stands / (2.0 * SHIFTS))
    assert measures["labour_driver_watering_min_per_day"] == pytest.approx(10.0 * (person == DRIVER) / DAYS)
    beside = 10.0 if person == DRIVER and not stands else 0.0
    connected = 5.0 if done(record, CONNECTING)[0][0] == DRIVER else 0.0
    assert measures["driver_outside_downtime_min_per_day"] == pytest.approx((beside + connected) / DAYS)


def test_who_waters_by_night() -> None:
    """Asked at 23:40, water from 00:57 to 01:07: by the attendant of the night, or by a driver at work."""
    for by, person in ((BY_DAY, ATTENDANT), (AT_NIGHT, DRIVER)):
        record = simulated(ALL_DAY, f"maintain_by: {by}", WATERING=WATER, FIRST="1060 min")
        assert done(record, WATERING)[0] == (person, 1497.0, 1507.0)
        assert stood(record) == ([(0.0, 1497.0, 1507.0, WATERING)] if person == DRIVER else [])


def test_water_waits_for_drivers_who_are_away_and_for_no_one_else() -> None:
    """Charged at 22:07 after the last shift: with an attendant at night it is watered, else by drivers at 06:00."""
    late = {"WORKS": "[early, late]", "FIRST": "890 min", "WATERING": WATER}
    record = simulated("attendants: {late: 1, night: 1}", "maintain_by: drivers", **late)
    assert done(record, WATERING)[0] == (ATTENDANT, 1327.0, 1337.0)
    record = simulated("attendants: {late: 1}", "maintain_by: drivers", **late)
    assert done(record, WATERING)[0] == (DRIVER, 1800.0, 1810.0)
    assert stood(record) == [(0.0, 1800.0, 1810.0, WATERING)]
    assert simulated("maintain_by: drivers", **late).columns("waterings")["start_min"][0] == 1800.0


def test_a_truck_that_stood_works_later_what_it_missed() -> None:
    """The second truck asks ten minutes later than it would have: it stood from 08:57 to 09:07."""
    asked = []
    for by in ("attendants", "drivers"):
        record = simulated(ALL_DAY, f"maintain_by: {by}", WATERING=WATER, RUN="150 min", EVERY="300 min")
        rows = record.columns("exchanges")
        asked.append(rows["joined_min"][rows["truck"] == 1.0][0])
        if by == "drivers":
            assert stood(record)[0] == (1.0, 537.0, 547.0, WATERING)
    assert asked == [760.0, 770.0]


def test_a_driver_whose_truck_waits_waters_and_his_truck_is_passed_meanwhile() -> None:
    """Three batteries for two trucks: the second waits for the first one's battery, and waters it itself.

    Exchange 07:40 to 07:52, charged at 08:57. The second asks at 08:50; it is watered until 09:07, and the exchange
    begins then. The first truck works on.
    """
    record = simulated(
        ALL_DAY, "maintain_by: drivers", WATERING=WATER, COUNTS="batteries: 3,", FIRST="100 min", EVERY="70 min"
    )
    rows = record.columns("exchanges")
    second = rows["truck"] == 1.0
    assert (rows["joined_min"][second][0], rows["start_min"][second][0]) == (530.0, 547.0)
    assert done(record, WATERING)[0] == (DRIVER, 537.0, 547.0)
    assert stood(record)[0][1] > 547.0
    assert measure(record)["driver_outside_downtime_min_per_day"] == 0.0


def test_a_truck_that_waits_for_a_station_waits_on_for_its_driver_who_waters() -> None:
    """Of the first truck, 06:28 to 06:40, a battery is charged at 07:45, while the third waits for the only station.

    The second holds it from 07:40 to 07:52; the third asks at 07:42, its driver waters until 07:55: not before then.
    """
    people = (ALL_DAY, "maintain_by: drivers", "stations: 1")
    text = SITE.substitute(USUAL | {"PEOPLE": "".join(f", {each}" for each in people), "WATERING": WATER, "COUNT": "3"})
    text = text.replace("{first: 100 min, every: 15000 min}", "[28 min, 100 min, 102 min]")
    record = batsim.simulate(batsim.read_scenario_text(text), "room")
    rows = record.columns("exchanges")

    assert rows["start_min"][:3].tolist() == [388.0, 460.0, 475.0]
    assert (rows["joined_min"][2], rows["truck_free_min"][1]) == (462.0, 472.0)
    assert done(record, WATERING)[0] == (DRIVER, 465.0, 475.0)


def test_a_truck_that_would_go_before_its_shift_ends_goes_when_its_driver_is_back() -> None:
    """All go 60 min before 14:00; the driver of one waters from 12:55 to 13:05, for its battery of 11:38."""
    text = SITE.substitute(USUAL | {"PEOPLE": f", {ALL_DAY}, maintain_by: drivers", "WATERING": WATER, "COUNT": "3"})
    text = text.replace("{first: 100 min, every: 15000 min}", "[338 min, 30 min, 50 min]")
    text = text.replace(
        "battery: lead, ", "battery: lead, exchange_when: {shift_change: always, before_shift_end: 60 min}, "
    )
    record = batsim.simulate(batsim.read_scenario_text(text), "room")
    rows = record.columns("exchanges")
    (truck,) = [truck for truck, start, end, _ in stood(record) if (start, end) == (775.0, 785.0)]
    of_it, at = rows["truck"] == truck, (rows["left_min"] >= 780.0) & (rows["left_min"] < 840.0)

    assert rows["left_min"][of_it & at].tolist() == [785.0]
    assert rows["left_min"][~of_it & at].tolist() == [780.0, 780.0]


@pytest.mark.parametrize(
    ("rule", "worked"),
    [
        ("finish", [(537.0, 547.0)]),
        ("pause", [(537.0, 542.0), (572.0, 577.0)]),
        ("put_back", [(537.0, 542.0), (572.0, 582.0)]),
    ],
)
def test_a_break_in_the_middle_of_a_driver_s_watering(rule: str, worked: list[tuple[float, float]]) -> None:
    """Water from 08:57, a break of 30 min at 09:02: finished in it, laid down until 09:32, or begun again then."""
    record = simulated(ALL_DAY, "maintain_by: drivers", WATERING=WATER, BREAKS='["09:02 for 30 min"]', AT_BREAK=rule)
    assert done(record, WATERING) == [(DRIVER, *stretch) for stretch in worked]
    work = record.columns("work")
    assert work["hands_on_min"][work["task"] == WATERING].tolist() == [end - start for start, end in worked]
    states_are_what_was_done(record)
    # Five minutes of it lie in the break where it is finished there, which is no downtime.
    lost = {"finish": 5.0, "pause": 10.0, "put_back": 15.0}[rule]
    assert measure(record)["watering_min_per_truck_shift"] == pytest.approx(lost / (2.0 * 6690.0 / 470.0))


def test_nobody_s_random_numbers_depend_on_who_does_it() -> None:
    """Run times of the trucks are the same whoever connects and maintains."""
    texts = [(ALL_DAY,), (ALL_DAY, "connect_by: drivers", "maintain_by: drivers")]
    runs = [
        simulated(*people, RUN="{low: 200 min, typical: 400 min, high: 900 min}", WATERING=WATER, EVERY="70 min")
        for people in texts
    ]
    worked = []
    for record in runs:
        rows, lost = record.columns("discharges"), record.columns("stands")
        worked.append((rows["drawn_kwh"][:4].tolist(), lost["start_min"].size))
    assert worked[0][1] == 0 < worked[1][1]
    assert worked[0][0] == worked[1][0]


IN_TRUCK = {
    "HANDLING": "plugged", "COUNTS": "", "WORKS": "[early]", "COUNT": "1", "FIRST": "20000 min",
    "INSPECTION": "{every: 1 min, time: 10 min}",
}  # fmt: skip


@pytest.mark.parametrize(
    ("people", "plugs", "inspected", "stands"),
    [
        ((), (DRIVER, 840.0), (DRIVER, 902.0), []),
        (("attendants: {late: 1}",), (DRIVER, 840.0), (ATTENDANT, 902.0), []),
        (("attendants: unlimited", "connect_by: attendants"), (ATTENDANT, 840.0), (ATTENDANT, 902.0), []),
        (("attendants: {late: 1}", "connect_by: attendants"), (ATTENDANT, 840.0), (ATTENDANT, 902.0), []),
        (("attendants: {night: 1}", "connect_by: {early: attendants}", "maintain_by: attendants"),
         (ATTENDANT, 1320.0), (ATTENDANT, 1382.0), []),
        (("maintain_by: drivers",), (DRIVER, 840.0), (DRIVER, 360.0), [(0.0, 360.0, 370.0, INSPECTING)]),
        (("attendants: {late: 1}", "maintain_by: drivers"), (DRIVER, 840.0), (DRIVER, 360.0),
         [(0.0, 360.0, 370.0, INSPECTING)]),
    ],
)  # fmt: skip
def test_who_plugs_in_and_who_inspects_in_the_truck(
    people: tuple[str, ...], plugs: tuple[int, float], inspected: tuple[int, float], stands: list[tuple[float, ...]]
) -> None:
    """One truck works from 06:00 to 14:00, is plugged in for 2 min, charged for 60, and inspected for 10.

    Drivers who are named inspect before the shift, when their truck stands; attendants and drivers whom nobody names do
    it in the time that work leaves. The driver unplugs.
    """
    record = simulated(*people, **IN_TRUCK)
    plugged = done(record, PLUGGING)
    assert plugged[0] == (plugs[0], plugs[1], plugs[1] + 2.0)
    assert plugged[1] == (DRIVER, 1799.0, 1800.0)
    assert done(record, INSPECTING)[0] == (inspected[0], inspected[1], inspected[1] + 10.0)
    assert stood(record)[:1] == stands
    assert record.columns("charges")["start_min"][0] == plugs[1] + 2.0


def test_a_truck_waits_in_its_shift_for_who_plugs_it_in() -> None:
    """At its level at 07:40, an attendant comes at 14:00: it stands for him, and the wait is one for attendants."""
    stated = IN_TRUCK | {"WORKS": "[early, late]", "FIRST": "100 min", "INSPECTION": "{every: 52 weeks, time: 1 min}"}
    record = simulated("attendants: {late: 1}", "connect_by: attendants", **stated)
    row = record.columns("exchanges")
    assert (row["joined_min"][0], row["start_min"][0]) == (460.0, 840.0)
    assert done(record, PLUGGING)[0] == (ATTENDANT, 840.0, 842.0)
    assert measure(record)["wait_attendant_min_per_truck_shift"] == pytest.approx(380.0 / 10.0)


@pytest.mark.parametrize("by", ["drivers", "{early: drivers, late: attendants}", "{early: attendants, late: drivers}"])
def test_drivers_inspect_after_a_charge_in_their_shift(by: str) -> None:
    """100 min of work, 2 min of plugging in, 60 of charge, 10 of inspection by a driver, 1 of unplugging.

    Early drivers inspect before the shift too, so the truck asks ten minutes later; attendants leave it to its work.
    """
    stated = IN_TRUCK | {"WORKS": "[early, late]", "FIRST": "100 min"}
    record = simulated("attendants: {early: 1, late: 1}", f"maintain_by: {by}", **stated)
    row, stands = record.columns("exchanges"), by != "{early: attendants, late: drivers}"
    assert (row["start_min"][0], row["back_min"][0]) == ((470.0, 543.0) if stands else (460.0, 523.0))
    first = done(record, INSPECTING)[:2]
    assert (first == [(DRIVER, 360.0, 370.0), (DRIVER, 532.0, 542.0)]) is stands


def test_a_truck_that_nobody_plugs_in_goes_to_work_without() -> None:
    """Attendants connect and work in the early shift alone: nobody is there after 14:00, and nothing is charged."""
    record = simulated("attendants: {early: 1}", "connect_by: attendants", **IN_TRUCK)
    assert done(record, PLUGGING) == []
    assert record.columns("charges")["start_min"].size == 0
    chargers = record.columns("chargers")
    assert np.nanmax(chargers["to_min"] - chargers["from_min"]) == 957.0  # 14:00 to 06:00, less plugging and unplugging


def test_a_truck_does_not_stand_for_a_device_that_is_in_use() -> None:
    """Two trucks are due at 06:00 and there is one jack: the second goes to work, and its turn comes the next day."""
    water = {"WATERING": "{every: 300 Ah, by: hand, time: 10 min}", "INSPECTION": "{every: 52 weeks, time: 1 min}"}
    record = simulated("maintain_by: drivers", **IN_TRUCK | water | {"COUNT": "2"})
    begun = [start for _, start, _ in done(record, WATERING)]
    assert len(begun) == len(set(begun))


def test_areas_name_people_of_their_own() -> None:
    """Two areas and one attendant for both: what an area says goes before what stands beside the areas.

    Both trucks ask at 07:40 and are exchanged by their drivers until 07:52. In the first area drivers connect, at once;
    in the second the attendant does. Both batteries are charged at 08:57: the first area's is watered by the attendant,
    the second's by the driver of the truck there that is at work.
    """
    text = SITE.substitute(USUAL | {"WATERING": WATER, "COUNT": "1"})
    group = text[text.index("  - {group: trucks") : text.index("batteries:\n")]
    text = text.replace(group, group + group.replace("group: trucks", "group: others"))
    layout = text[text.index("  room:") : text.index("rules:")]
    areas = """
  room:
    attendants: {early: 1, late: 1, night: 1}
    exchange_by: drivers
    connect_by: drivers
    maintain_by: attendants
    areas:
      one: {for: [trucks], handling: plain, batteries: 5, chargers: 5 x electronic_iuia}
      two: {for: [others], handling: plain, batteries: 5, chargers: 5 x electronic_iuia, connect_by: attendants,
            maintain_by: {early: drivers, late: drivers, night: attendants}}
"""
    record = batsim.simulate(batsim.read_scenario_text(text.replace(layout, areas.lstrip("\n"))), "room")
    rows = record.columns("work")
    tasks = {
        (int(area), int(task)): (person, start, end)
        for area, task, person, start, end in zip(
            *(rows[name].tolist() for name in ("area", "task", "person", "start_min", "end_min")), strict=True
        )
    }
    assert tasks == {
        (0, EXCHANGING): (DRIVER, 460.0, 472.0),
        (1, EXCHANGING): (DRIVER, 460.0, 472.0),
        (0, CONNECTING): (DRIVER, 472.0, 477.0),
        (1, CONNECTING): (ATTENDANT, 472.0, 477.0),
        (0, WATERING): (ATTENDANT, 537.0, 547.0),
        (1, WATERING): (DRIVER, 537.0, 547.0),
    }
    assert stood(record) == [(1.0, 537.0, 547.0, WATERING)]
    labour_adds_up(record)
    peoples_minutes_close(record)


def test_drivers_of_a_group_that_is_not_named_never_stand() -> None:
    """Of two groups with one battery type one names drivers to maintain: only a truck of that group stands."""
    text = SITE.substitute(USUAL | {"WATERING": WATER, "COUNT": "1", "PEOPLE": f", {ALL_DAY}"})
    group = text[text.index("  - {group: trucks") : text.index("batteries:\n")]
    late = group.replace("group: trucks", "group: others").replace("run_time: 20000", "run_time: 40000")
    text = text.replace(group, group + late.replace("first: 100 min", "first: 30000 min"))
    text = text.replace("chargers: 20", "trucks: {trucks: {maintain_by: drivers}}, chargers: 20")
    record = batsim.simulate(batsim.read_scenario_text(text), "room")
    assert done(record, WATERING) == [(DRIVER, 537.0, 547.0)]
    assert stood(record) == [(0.0, 537.0, 547.0, WATERING)]


def test_two_batteries_are_watered_by_two_drivers_or_one_after_the_other() -> None:
    """Two batteries are charged at 08:57: two trucks stand at once, or one attendant waters one after the other."""
    for by, starts in (("drivers", [537.0, 537.0]), ("attendants", [537.0, 547.0])):
        record = simulated(
            ALL_DAY, "exchange_by: drivers", "connect_by: drivers", f"maintain_by: {by}", "stations: 2",
            WATERING=WATER, COUNT="3", EVERY="0 min",
        )  # fmt: skip
        begun = [start for _, start, _ in done(record, WATERING)][:2]
        assert begun == starts


@pytest.mark.parametrize("by", ["attendants", "drivers"])
def test_a_driver_who_maintains_does_not_stand_by(by: str) -> None:
    """The driver stands by while an attendant exchanges for 10 min, and does so no longer because one waters."""
    measures = measure(simulated(ALL_DAY, f"maintain_by: {by}", WATERING=WATER))
    assert measures["driver_waiting_min_per_day"] == pytest.approx(10.0 / DAYS)
    assert measures["downtime_min_per_truck_shift"] == pytest.approx(
        (22.0 if by == "drivers" else 12.0) / (2.0 * SHIFTS)
    )
