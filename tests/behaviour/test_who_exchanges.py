"""Who exchanges batteries, by shift: drivers while they are at work, two people where two are needed."""

from string import Template

import numpy as np
import pytest

import batsim
from batsim.measures import measure
from batsim.record.record import Record

SITE = Template(
    """
question: Who exchanges
site: {name: Who exchanges (invented)}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00"}
    late: {days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 30 min"]}
    night: {days: Mon-Fri, from: "22:00", to: "06:00"}
trucks:
  - {group: trucks, count: ${COUNT}, shifts: ${WORKS}, battery: lead, run_time: ${RUN},
     first_run: {first: ${FIRST}, every: ${EVERY}}}
batteries:
  lead: {chemistry: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, discharge_to: 20 %,
         charge_time: 60 min, cool_down: 0 min, watering: none}
handling:
  plain:
    title: A lift by two
    bay: floor
    connect_time: ${CONNECT}
    connects: ${CONNECTS}
    steps:
    - {step: hook on, by: attendant, time: 4 min}
    - {step: lift and set down, by: ${LIFT}, time: 6 min}
    - {step: drive off, by: driver, time: 2 min}
layouts:
  room: {handling: plain, stations: ${STATIONS}, batteries: ${BATTERIES},
         chargers: ${CHARGERS} x electronic_iuia${PEOPLE}}
RULES
simulation: {replications: 1, length: 5 days, warm_up: 0 min}
""".replace("RULES", "${RULES}")
)
USUAL = {
    "COUNT": "2", "WORKS": "[early, late]", "RUN": "300 min", "FIRST": "100 min", "EVERY": "30 min", "CONNECT": "1 min",
    "CONNECTS": "driver", "LIFT": "2 attendants", "STATIONS": "2", "BATTERIES": "20", "CHARGERS": "20", "PEOPLE": "",
    "RULES": "",
}  # fmt: skip
DAY = 1440.0


def simulated(**stated: str) -> Record:
    """One run of the room."""
    return batsim.simulate(batsim.read_scenario_text(SITE.substitute(USUAL | stated)), "room")


def in_shift(times: np.ndarray, begin_h: float, end_h: float) -> np.ndarray:
    """Whether times lie in the hours of a day, its end left out."""
    hours = (times % DAY) / 60.0
    return (hours >= begin_h) & (hours < end_h)


def test_drivers_begin_nothing_after_their_shift() -> None:
    """Exchanges and connections begin from 06:00 to 22:00 and not in the break; what is begun is finished."""
    record = simulated(RUN="{low: 100 min, typical: 200 min, high: 400 min}", STATIONS="1", COUNT="6", CHARGERS="3")
    rows, work = record.columns("exchanges"), record.columns("work")
    for column in (rows["start_min"], work["start_min"][work["task"] == 1]):
        begun = column[np.isfinite(column)]
        assert begun.size > 20
        late = ~in_shift(begun, 6, 22)
        # Who has just exchanged a battery plugs it in before going home, and no later.
        ends = rows["end_min"][np.isfinite(rows["end_min"])]
        assert all(time in ends for time in begun[late])
        assert not np.any(in_shift(begun, 18, 18.5) & ~np.isin(begun, ends))
    assert not np.any(~in_shift(rows["start_min"][np.isfinite(rows["start_min"])], 6, 22))


def test_a_step_for_two_is_a_step_for_two_whoever_does_it() -> None:
    """4 min alone, 6 min by two and 2 min alone: 18 person-minutes, by drivers as by attendants."""
    for people in (", attendants: {early: 2, late: 2}", ""):
        record = simulated(PEOPLE=people)
        work = record.columns("work")
        exchanges = int(np.sum(np.isfinite(record.columns("exchanges")["start_min"])))
        minutes = float(np.sum(work["hands_on_min"][work["task"] == 0]))
        assert exchanges > 5
        assert minutes == pytest.approx(18.0 * exchanges)


def test_who_lends_a_hand_stands() -> None:
    """Trucks come alone: the other one stands for the two first steps, and comes so much later to its own exchange."""
    record = simulated(COUNT="2", FIRST="100 min", EVERY="150 min")
    stands, rows = record.columns("stands"), record.columns("exchanges")
    assert stands["truck"].tolist()[:2] == [1.0, 0.0]
    assert (stands["start_min"][0], stands["end_min"][0]) == (360.0 + 100.0, 360.0 + 110.0)
    assert rows["joined_min"][1] == 360.0 + 250.0 + 10.0
    measures = measure(record)
    helped = float(np.sum(stands["end_min"] - stands["start_min"]))
    assert measures["help_min_per_truck_shift"] == pytest.approx(helped / 20.0)


def test_drivers_who_wait_help_before_those_at_work() -> None:
    """Two trucks come at once to one station: the second helps the first, and so on."""
    record = simulated(COUNT="3", FIRST="100 min", EVERY="0 min", STATIONS="1", RUN="3000 min")
    assert sorted(record.columns("exchanges")["start_min"][:3]) == [460.0, 472.0, 484.0]
    stands = record.columns("stands")
    assert (stands["truck"][0], stands["start_min"][0]) == (0.0, 484.0)  # of those at work, for the last one


def test_a_driver_who_is_turned_away_lends_a_hand() -> None:
    """Two trucks come at once for one battery: the second goes back to work, and stands for the first at once."""
    record = simulated(EVERY="0 min", BATTERIES="3", RULES="rules: {if_none_ready: carry_on}")
    rows, stands = record.columns("exchanges"), record.columns("stands")
    assert rows["start_min"][rows["kind"] == 0][0] == 460.0
    assert (stands["truck"][0], stands["start_min"][0], stands["end_min"][0]) == (1.0, 460.0, 470.0)


def test_a_driver_alone_waits_for_somebody() -> None:
    """One truck and no attendant on its shift: nobody lends a hand until there is one."""
    record = simulated(COUNT="1", PEOPLE=", exchange_by: drivers, attendants: {late: 1}")
    assert record.columns("exchanges")["start_min"][0] == 840.0


def test_drivers_by_day_and_an_attendant_at_night() -> None:
    """A usual room: who does it is decided when the exchange begins, by the shift of that instant."""
    record = simulated(
        WORKS="[early, late, night]", RUN="{low: 100 min, typical: 200 min, high: 400 min}",
        LIFT="attendant", COUNT="4",
        PEOPLE=", exchange_by: {early: drivers, late: drivers, night: attendants}, attendants: {night: 1}",
    )  # fmt: skip
    work = record.columns("work")
    exchanging = work["task"] == 0
    begun = exchanging & (work["overtime"] == 0.0)  # what is over time was begun before
    by_attendant = work["start_min"][begun & (work["person"] == 0)]
    by_driver = work["start_min"][exchanging & (work["person"] == 1) & (work["hands_on_min"] > 2.0)]
    assert by_attendant.size > 5
    assert by_driver.size > 10
    assert not np.any(in_shift(by_attendant, 6, 22))
    assert np.all(in_shift(by_driver, 6, 22))


def test_drivers_pause_in_their_break_where_that_is_the_rule() -> None:
    """An exchange begun at 17:55 by its driver: the break of 30 min lies in it, and is no downtime."""
    for rule, ends in (("finish", 12.0), ("pause", 42.0)):
        record = simulated(FIRST="715 min", EVERY="1000 min", LIFT="attendant", RULES=f"rules: {{at_break: {rule}}}")
        row = record.columns("exchanges")
        assert row["start_min"][0] == 1075.0
        assert row["truck_free_min"][0] - row["start_min"][0] == ends
        assert measure(record)["downtime_min_per_truck_shift"] > 0.0


def test_the_driver_of_a_truck_that_has_just_been_exchanged_helps_the_other() -> None:
    """Two trucks that come at once: each is the other's second pair of hands, one after the other."""
    record = simulated(COUNT="2", FIRST="100 min", EVERY="0 min", LIFT="2 attendants", STATIONS="1")
    rows = record.columns("exchanges")
    assert rows["joined_min"][:2].tolist() == [460.0, 460.0]
    assert rows["start_min"][:2].tolist() == [460.0, 472.0]
