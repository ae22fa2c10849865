"""Course of one battery: what stands in the rows comes out at every instant, on working days and in between."""

import math
import re

import numpy as np
import pytest

from batsim.formulas.charging import charge_phases
from batsim.formulas.gassing import hydrogen_l
from batsim.formulas.phases import Phase, Profile, cut, phases_hours, rest_of
from batsim.measures.battery_course import battery_course, first_cycle
from batsim.record.facts import AreaFacts, RunFacts, TypeFacts
from batsim.record.record import Record
from batsim.record.words import COOLING, IN_TRANSFER, IN_TRUCK, ON_CHARGE, READY, STATES, WAITS_FOR_CHARGER
from tests.closed_forms import current_after, gassing_ah, phases_ah, soc_on_charge
from tests.rows import write_row

CAPACITY_AH = 750.0
IUIA = Profile("IUIa", 135.0, 37.5, 1.0, 1.15, 0.99, 2.0, 2.40, 2.60)
DRAWN_AH = 545.0
PHASES = charge_phases(IUIA, CAPACITY_AH, DRAWN_AH, 1.15 * DRAWN_AH)
WINDOWS = ((360.0, 540.0), (555.0, 720.0), (750.0, 900.0), (1800.0, 2400.0))
CHARGE_MIN = 840.0
"""Current on. [min]"""
END_MIN = CHARGE_MIN + 60.0 * phases_hours(PHASES)
NEXT_MIN = 1920.0
"""Next discharge. [min]"""
TRUCK_TAU_H, ROOM_TAU_H = 7.0, 10.0
NAN = math.nan


def _facts(**changes):
    room = {
        "layout": "by hand",
        "seed": 1,
        "replication": 0,
        "horizon_min": 10080.0,
        "warm_up_min": 0.0,
        "groups": ("reach", "counterbalance"),
        "group_trucks": (1, 1),
        "group_windows": (WINDOWS, ((0.0, 20160.0),)),
        "group_shift_min": (450.0, 450.0),
        "site_windows": ((0.0, 10080.0),),
        "minutes_per_working_day": 450.0,
        "battery_types": (
            TypeFacts(
                name="vented",
                battery_type="vented",
                trucks=1,
                cells=24,
                capacity_ah=CAPACITY_AH,
                room_tau_h=ROOM_TAU_H,
                truck_tau_h=TRUCK_TAU_H,
                charge_from_degc=10.0,
                charge_below_degc=45.0,
                use_below_degc=45.0,
                vented_share=1.0,
                life_ah=720_000.0,
                calendar_years=10.0,
                discharge_to_share=0.2,
                water_reserve_ah=890.0,
                batteries=2,
            ),
            TypeFacts(
                name="sealed",
                battery_type="sealed",
                trucks=1,
                cells=12,
                capacity_ah=400.0,
                room_tau_h=8.0,
                truck_tau_h=6.0,
                charge_from_degc=0.0,
                charge_below_degc=60.0,
                use_below_degc=55.0,
                vented_share=0.0,
                life_ah=1_120_000.0,
                calendar_years=15.0,
                discharge_to_share=0.2,
                water_reserve_ah=math.inf,
                batteries=1,
            ),
        ),
        "areas": (
            AreaFacts("", False, 1.0, "stand", 3.0, groups=(0,), queues=(0, 1), devices=(), chargers=(0,), windows=()),
        ),
        "devices": (),
        "device_counts": (),
        "chargers": ("electronic",),
        "charger_counts": (2.0,),
        "charger_efficiency": (0.92,),
        "charger_power_factor": (0.95,),
        "charger_standby_kw": (0.0,),
        "attendant_windows": (),
    }
    return RunFacts(**(room | changes))


def _discharge(record, battery, start, end, soc=(1.0, 0.24), degc=(24.0, 30.0), group=0, drawn_ah=DRAWN_AH):
    write_row(
        record, "discharges", 0.0, group=group, battery=battery, start_min=start, end_min=end, soc_from_share=soc[0],
        soc_to_share=soc[1], drawn_ah=drawn_ah, drawn_kwh=25.0, start_degc=degc[0], mean_degc=27.0, end_degc=degc[1],
    )  # fmt: skip


def _charge(record, battery, pieces, *, degc=(29.0, 41.0), side_gas_a=0.0, soc_to=None):
    """Rows of a charge of (start, phase) pieces."""
    start, end = pieces[0][0], pieces[-1][0] + 60.0 * pieces[-1][1].hours
    write_row(
        record, "charges", 0.0, battery=battery, bay=3, discharged_min=start - 20.0, connected_min=start - 5.0,
        start_min=start, end_min=end, cooled_min=end + 480.0, soc_from_share=pieces[0][1].soc_from,
        soc_to_share=pieces[-1][1].soc_to if soc_to is None else soc_to, charged_ah=600.0, charged_kwh=30.0,
        gas_ah=60.0, start_degc=degc[0], end_degc=degc[1], full=1.0,
    )  # fmt: skip
    for begin, phase in pieces:
        hours, amps, decay_per_h, volts_per_cell, soc_from, soc_reached, acceptance_per_h, rise_v = phase
        write_row(
            record, "charge_phases", 0.0, battery=battery, start_min=begin, hours=hours, start_a=amps,
            decay_per_h=decay_per_h, volts_per_cell=volts_per_cell, soc_from_share=soc_from, soc_to_share=soc_reached,
            acceptance_per_h=acceptance_per_h, rise_v=rise_v, side_gas_a=side_gas_a,
        )  # fmt: skip


def _pieces(phases, start):
    begins = start + 60.0 * np.cumsum([0.0] + [phase.hours for phase in phases[:-1]])
    return list(zip(begins, phases, strict=True))


def _cycle():
    """A cycle of battery 1: work with two breaks, exchange, charge, rest, next discharge; others stand ready."""
    record = Record(_facts())
    write = record.write.battery_states
    for battery in (0, 1, 2):
        write(battery=battery, state=READY, from_min=0.0)
    rows = [(IN_TRUCK, 360.0), (IN_TRANSFER, 800.0), (WAITS_FOR_CHARGER, 812.0), (ON_CHARGE, CHARGE_MIN)]
    rows += [(COOLING, END_MIN), (READY, END_MIN + 480.0), (IN_TRUCK, NEXT_MIN)]
    for state, since in rows:
        write(battery=1, state=state, from_min=since)
    _discharge(record, 1, 360.0, 795.0)
    _charge(record, 1, _pieces(PHASES, CHARGE_MIN))
    _discharge(record, 1, NEXT_MIN, NEXT_MIN + 390.0, degc=(28.0, 32.0))
    return record


def _at(course, time_min):
    """Row of a course at a time."""
    return course.set_index("time_min").loc[time_min]


# --- the frame ---


def test_a_row_for_each_instant_of_an_even_grid():
    """Its end is the last instant when a whole number of steps leads there."""
    course = battery_course(_cycle(), 1, 300.0, 2000.0, 5.0)

    assert list(course) == [
        "time_min", "state", "soc_share", "amps", "temperature_degc", "gas_a", "hydrogen_l_per_h",
    ]  # fmt: skip
    assert course["time_min"].tolist() == [300.0 + 5.0 * row for row in range(341)]
    assert set(course["state"]) <= set(STATES)
    assert battery_course(_cycle(), 1, 0.0, 0.3, 0.1)["time_min"].size == 4
    assert battery_course(_cycle(), 1, 0.0, 19.0, 10.0)["time_min"].tolist() == [0.0, 10.0]


def test_the_frame_says_whose_course_it_is():
    """Battery, type, and litres of hydrogen for an ampere-hour of gas."""
    attrs = battery_course(_cycle(), 1, 0.0, 10.0, 5.0).attrs

    assert attrs == {
        "battery": 1, "type": "vented", "hydrogen_l_per_ah": hydrogen_l(1.0, 24, 25.0, 101325.0),
        "warm_up_min": 0.0,
    }  # fmt: skip


def test_states_change_at_their_minute():
    """The state of an instant is that of the row which begins there."""
    course = battery_course(_cycle(), 1, 0.0, 2000.0, 1.0)

    changes = [(359.0, READY), (360.0, IN_TRUCK), (799.0, IN_TRUCK), (800.0, IN_TRANSFER), (812.0, WAITS_FOR_CHARGER)]
    for time, state in changes:
        assert _at(course, time)["state"] == STATES[state]
    assert _at(course, math.ceil(END_MIN))["state"] == "cooling"


def test_of_states_at_the_same_minute_the_last_written_holds():
    """Rows need not come in order of time."""
    record = Record(_facts())
    for state, since in [(READY, 0.0), (ON_CHARGE, 30.0), (IN_TRANSFER, 10.0), (IN_TRUCK, 10.0)]:
        record.write.battery_states(battery=0, state=state, from_min=since)

    assert battery_course(record, 0, 0.0, 30.0, 10.0)["state"].tolist() == [
        "ready", "in truck", "in truck", "on charge",
    ]  # fmt: skip


# --- use ---


def test_state_of_charge_falls_with_worked_minutes():
    """390 worked minutes take it from 100 % to 24 %; breaks take nothing."""
    course = battery_course(_cycle(), 1, 300.0, 835.0, 5.0)

    for time, worked in [(300.0, 0.0), (360.0, 0.0), (540.0, 180.0), (555.0, 180.0), (720.0, 345.0), (750.0, 345.0)]:
        assert _at(course, time)["soc_share"] == pytest.approx(1.0 - 0.76 * worked / 390.0)
    assert course[course["time_min"] >= 795.0]["soc_share"].tolist() == pytest.approx([0.24] * 9)


def test_current_in_use_flows_in_working_time_only():
    """It is the mean of the discharge, and its sum is what was drawn."""
    course = battery_course(_cycle(), 1, 300.0, 835.0, 1.0)

    assert sorted(set(course["amps"])) == pytest.approx([-DRAWN_AH / 6.5, 0.0])
    assert course["amps"].sum() / 60.0 == pytest.approx(-DRAWN_AH)
    for begin, end in [(300.0, 360.0), (540.0, 555.0), (720.0, 750.0), (795.0, 835.0)]:
        assert _at(course, begin)["amps"] == 0.0
        assert _at(course, end - 1.0)["amps"] == 0.0
    assert _at(course, 360.0)["amps"] < 0.0


def test_each_discharge_goes_by_the_calendar_of_its_group():
    """A group that works round the clock has no breaks."""
    record = _cycle()
    _discharge(record, 0, 360.0, 795.0, group=1)

    course = battery_course(record, 0, 360.0, 790.0, 5.0)

    assert course["amps"].tolist() == pytest.approx([-DRAWN_AH / 7.25] * 87)


@pytest.mark.parametrize("end", [math.inf, 30000.0])
def test_a_discharge_whose_end_the_calendar_does_not_see(end):
    """It is spread over the calendar that is left: 695 of its 1,095 minutes lie before 2,000."""
    record = _cycle()
    _discharge(record, 0, 360.0, end, degc=(24.0, 30.0))

    course = battery_course(record, 0, 300.0, 2100.0, 100.0)

    worked = 180.0 + 165.0 + 150.0 + 600.0
    assert _at(course, 2000.0)["soc_share"] == pytest.approx(1.0 - 0.76 * 695.0 / worked)
    assert _at(course, 2000.0)["amps"] == pytest.approx(-60.0 * DRAWN_AH / worked)
    assert course.notna().all(axis=None)


def test_a_discharge_without_working_time():
    """No current; the state of charge steps at its end."""
    record = _cycle()
    _discharge(record, 0, 1000.0, 1100.0)
    _discharge(record, 2, 1000.0, 1000.0)

    assert battery_course(record, 0, 1000.0, 1100.0, 50.0)["soc_share"].tolist() == [1.0, 1.0, 0.24]
    assert battery_course(record, 0, 1000.0, 1100.0, 50.0)["amps"].tolist() == [0.0, 0.0, 0.0]
    assert battery_course(record, 2, 950.0, 1050.0, 50.0)["soc_share"].tolist() == [1.0, 0.24, 0.24]


# --- charge ---


def test_charge_follows_its_phases():
    """Current and state of charge at every minute are those of the formulas."""
    course = battery_course(_cycle(), 1, CHARGE_MIN, CHARGE_MIN + 500.0, 7.0)

    hours = [(time - CHARGE_MIN) / 60.0 for time in course["time_min"]]
    assert course["amps"].tolist() == pytest.approx([current_after(PHASES, each) for each in hours])
    assert course["soc_share"].tolist() == pytest.approx([soc_on_charge(PHASES, each) for each in hours])


def test_after_a_charge_it_holds_what_was_reached():
    """Until the next discharge, which counts from its own state of charge."""
    course = battery_course(_cycle(), 1, math.ceil(END_MIN), NEXT_MIN, 1.0)

    assert set(course["soc_share"][:-1]) == {PHASES[-1].soc_to}
    assert course["soc_share"].iloc[-1] == 1.0
    assert set(course["amps"][:-1]) == {0.0}


def test_the_charge_row_has_the_last_word():
    """A charge that ended full may state a little more than its phases."""
    record = _cycle()
    _charge(record, 0, [(100.0, Phase(1.0, 50.0, 0.0, 2.4, 0.5, 0.56))], soc_to=0.6)

    assert battery_course(record, 0, 100.0, 220.0, 60.0)["soc_share"].tolist() == pytest.approx([0.5, 0.6, 0.6])


def test_gas_of_a_charge_adds_up():
    """None before the last phase; the sum is what the formulas say, within the steps."""
    course = battery_course(_cycle(), 1, CHARGE_MIN, END_MIN, 0.25)

    last_phase = CHARGE_MIN + 60.0 * (PHASES[0].hours + PHASES[1].hours)
    assert set(course[course["time_min"] < last_phase]["gas_a"]) == {0.0}
    assert course["gas_a"].sum() / 240.0 == pytest.approx(gassing_ah(PHASES, CAPACITY_AH), rel=2e-3)
    assert (course["gas_a"] <= course["amps"]).all()


def test_hydrogen_goes_with_gas_and_cells():
    """At 25 degC and one atmosphere; 0.46 l for an ampere-hour and cell."""
    course = battery_course(_cycle(), 1, CHARGE_MIN, END_MIN, 5.0)

    assert course["hydrogen_l_per_h"].tolist() == pytest.approx(
        [hydrogen_l(amps, 24, 25.0, 101325.0) for amps in course["gas_a"]]
    )
    assert course["hydrogen_l_per_h"].max() == pytest.approx(24 * 0.456 * course["gas_a"].max(), rel=2e-3)


def test_gas_beside_the_phase_is_added():
    """Charge that only holds its voltage: what the voltage makes."""
    record = _cycle()
    _charge(record, 0, [(100.0, Phase(2.0, 80.0, 1.0, 2.4, 0.85, 0.942))], side_gas_a=1.5)

    course = battery_course(record, 0, 90.0, 230.0, 10.0)

    own = 80.0 - (0.942 - 0.85) * CAPACITY_AH / phases_ah((Phase(2.0, 80.0, 1.0, 2.4, 0.85, 0.942),)) * 80.0
    assert _at(course, 100.0)["gas_a"] == pytest.approx(max(0.0, own) + 1.5)
    assert _at(course, 90.0)["gas_a"] == _at(course, 220.0)["gas_a"] == 0.0


def test_a_charge_of_stated_length_makes_gas_in_proportion():
    """110 Ah for 100 Ah stored: a share of 10 in 110 of the current."""
    record = _cycle()
    _charge(record, 0, [(100.0, Phase(2.0, 55.0, 0.0, 2.4, 1.0 - 100.0 / CAPACITY_AH, 1.0))])

    assert battery_course(record, 0, 100.0, 210.0, 10.0)["gas_a"].tolist() == pytest.approx([5.0] * 12)


def test_gas_is_never_below_nothing():
    """Also where more is stored than given, by rounding or by a wrong row."""
    record = _cycle()
    _charge(record, 0, [(100.0, Phase(1.0, 10.0, 0.0, 2.4, 0.5, 0.9)), (200.0, Phase(0.0, 10.0, 0.0, 2.4, 0.9, 0.9))])

    assert set(battery_course(record, 0, 100.0, 200.0, 10.0)["gas_a"]) == {0.0}


def test_a_charge_may_pause():
    """In the gap no current flows and the state of charge holds; then it goes on."""
    record = _cycle()
    first, rest = cut(PHASES, 2.0), rest_of(PHASES, 2.0)
    _charge(record, 0, _pieces(first, 100.0) + _pieces(rest, 400.0))

    course = battery_course(record, 0, 100.0, 800.0, 10.0)

    for time, hours in [(210.0, 11.0 / 6.0), (400.0, 2.0), (520.0, 4.0), (700.0, 7.0)]:
        assert _at(course, time)["amps"] == pytest.approx(current_after(PHASES, hours))
    gap = course[(course["time_min"] >= 220.0) & (course["time_min"] < 400.0)]
    assert set(gap["amps"]) == {0.0}
    assert gap["soc_share"].tolist() == pytest.approx([soc_on_charge(PHASES, 2.0)] * 18)


# --- temperature ---


def test_temperature_meets_what_the_rows_say():
    """At the beginning and the end of every discharge and charge."""
    record = _cycle()
    for time, degc in [
        (0.0, 24.0), (360.0, 24.0), (795.0, 30.0), (CHARGE_MIN, 29.0), (END_MIN, 41.0), (NEXT_MIN, 28.0),
        (NEXT_MIN + 390.0, 32.0), (5000.0, 32.0),
    ]:  # fmt: skip
        assert battery_course(record, 1, time, time + 1.0, 1.0)["temperature_degc"][0] == pytest.approx(degc)


@pytest.mark.parametrize(
    ("begin", "end", "degc", "tau_h"),
    [
        (360.0, 795.0, (24.0, 30.0), TRUCK_TAU_H),
        (795.0, CHARGE_MIN, (30.0, 29.0), ROOM_TAU_H),
        (CHARGE_MIN, END_MIN, (29.0, 41.0), ROOM_TAU_H),
        (END_MIN, NEXT_MIN, (41.0, 28.0), ROOM_TAU_H),
    ],
)
def test_temperature_in_between_is_that_of_one_lump(begin, end, degc, tau_h):
    """Half way it has gone 1/(1 + exp(-x)) of the way, x half the length over the time constant."""
    middle = (begin + end) / 2.0
    share = 1.0 / (1.0 + math.exp(-(middle - begin) / 60.0 / tau_h))

    found = battery_course(_cycle(), 1, middle, middle + 1.0, 1.0)["temperature_degc"][0]

    assert found == pytest.approx(degc[0] + (degc[1] - degc[0]) * share)


# --- nothing to go by ---


def test_a_battery_that_is_never_used():
    """It has a state, but nobody knows how full and how warm it is."""
    course = battery_course(_cycle(), 0, 0.0, 100.0, 50.0)

    assert course["state"].tolist() == ["ready"] * 3
    assert course["amps"].tolist() == course["gas_a"].tolist() == [0.0] * 3
    assert course["soc_share"].isna().all()
    assert course["temperature_degc"].isna().all()


def test_what_never_started_is_left_out():
    """A battery that waits at the end of the run has a charge without a start."""
    record = _cycle()
    write_row(record, "charges", NAN, battery=1, queue=0, bay=3, discharged_min=2320.0)

    assert battery_course(record, 1, 0.0, 3000.0, 5.0).equals(battery_course(_cycle(), 1, 0.0, 3000.0, 5.0))


def test_hydrogen_of_a_sealed_battery_is_not_stated():
    """Most of its gas recombines inside; how much leaves is not in the record."""
    course = battery_course(_cycle(), 2, 0.0, 10.0, 5.0)

    assert course["hydrogen_l_per_h"].isna().all()
    assert math.isnan(course.attrs["hydrogen_l_per_ah"])


# --- cycles ---


def test_the_first_cycle_reaches_from_discharge_to_discharge():
    """Use, charge and rest in between."""
    assert first_cycle(_cycle(), 1, 0.0) == (360.0, NEXT_MIN)
    assert first_cycle(_cycle(), 1, 360.0) == (360.0, NEXT_MIN)


def test_a_discharge_without_a_charge_before_it_stays_in_the_cycle():
    """A truck that found no battery carries on with its own."""
    record = _cycle()
    _discharge(record, 1, 798.0, 799.0)
    _charge(record, 1, _pieces(PHASES, 2400.0))
    _discharge(record, 1, 3000.0, 3100.0)

    assert first_cycle(record, 1, 0.0) == (360.0, NEXT_MIN)
    assert first_cycle(record, 1, 361.0) == (NEXT_MIN, 3000.0)


# --- what is refused ---


def _whole(message):
    return f"^{re.escape(message)}$"


@pytest.mark.parametrize("battery", [-1, 3, 0.5])
def test_a_battery_that_does_not_exist(battery):
    """Both ask for a number."""
    message = _whole(f"a battery must have a number from 0 to 2 (got {battery})")

    with pytest.raises(ValueError, match=message):
        battery_course(_cycle(), battery, 0.0, 10.0, 1.0)
    with pytest.raises(ValueError, match=message):
        first_cycle(_cycle(), battery, 0.0)


@pytest.mark.parametrize(
    ("start", "end", "got"),
    [(10.0, 10.0, "10 to 10"), (10.0, 5.0, "10 to 5"), (0.0, math.inf, "0 to inf"), (NAN, 5.0, "nan to 5")],
)
def test_an_empty_or_endless_span(start, end, got):
    """There is nothing to draw, or no end of it."""
    message = f"the end of the span must lie after its start, both finite (got {got} min)"

    with pytest.raises(ValueError, match=_whole(message)):
        battery_course(_cycle(), 1, start, end, 1.0)


@pytest.mark.parametrize(("step", "got"), [(0.0, "0"), (-5.0, "-5"), (NAN, "nan"), (math.inf, "inf")])
def test_a_step_that_leads_nowhere(step, got):
    """Forward, in finite steps."""
    with pytest.raises(ValueError, match=_whole(f"the step must be above 0 and finite (got {got} min)")):
        battery_course(_cycle(), 1, 0.0, 10.0, step)


def test_a_battery_without_states():
    """Every battery that a room makes has one from the start."""
    message = "a battery must have states in the record (got none for battery 0)"

    with pytest.raises(ValueError, match=_whole(message)):
        battery_course(Record(_facts()), 0, 0.0, 10.0, 1.0)


@pytest.mark.parametrize(("battery", "after"), [(1, 361.0), (0, 0.0)])
def test_no_whole_cycle(battery, after):
    """The cure is in the message."""
    rule = f"battery {battery} must have a charge and two discharges that begin after the time asked for"
    message = f"{rule}; ask for an earlier time or simulate longer (got {after:g} min)"

    with pytest.raises(ValueError, match=_whole(message)):
        first_cycle(_cycle(), battery, after)
