"""Discharge: what must hold for any battery, and what is refused."""

import math
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from batsim.formulas.discharge import (
    Cell,
    at_factor,
    capacity_factor,
    five_hour_capacity_ah,
    lowest_soc,
    rates,
    soc_after,
)
from tests.closed_forms import current_a, discharge_ah, discharge_hours, peukert_hours

PLAIN = Cell(500.0, 24, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0)  # 4,800 W is 100 A, no losses
USUAL = Cell(500.0, 24, 1.97, 0.16, 0.5, 1.2, 0.891, 1.0)
SLOPES = {"rated_degc": 30.0, "warm_per_k": 0.006, "knee_degc": 20.0, "cold_per_k": 0.010}
TABLE = ((-18.0, 0.51), (-10.0, 0.61), (0.0, 0.71))

cells = st.builds(
    Cell,
    capacity_ah=st.floats(100.0, 1200.0),
    cells=st.sampled_from([6, 12, 24, 40]),
    empty_v=st.floats(1.9, 2.0),
    slope_v=st.floats(0.1, 0.2),
    resistance_ohm_ah=st.floats(0.0, 0.7),
    peukert=st.floats(1.0, 1.3),
    kappa_floor=st.sampled_from([0.0, 0.891, 0.95]),
    capacity_factor=st.floats(0.3, 1.15),
)
draws_w_per_wh = st.floats(0.01, 0.5)  # mean power over C5 at 2 V: 100 h to 2 h
socs = st.floats(0.0, 1.0)


def _whole(message):
    return f"^{re.escape(message)}$"


def _power_w(cell, draw):
    return draw * cell.cells * cell.capacity_ah * 2.0


@given(cell=cells, draw=draws_w_per_wh, soc=socs)
def test_the_current_gives_the_power(cell, draw, soc):
    """Current times voltage under load is the power asked for."""
    power_w = _power_w(cell, draw)
    amps = current_a(soc, power_w, cell)
    volts = cell.empty_v + cell.slope_v * soc - cell.resistance_ohm_ah * amps / cell.capacity_ah

    assert cell.cells * amps * volts == pytest.approx(power_w, rel=1e-9)


def test_a_power_beyond_the_battery_has_an_infinite_current():
    """E^2 N C5/(4 r) is the most that the battery gives."""
    most_w = 2.13**2 * 24 * 500 / (4 * 0.5)

    assert current_a(1.0, 1.0001 * most_w, USUAL) == math.inf
    assert current_a(1.0, 0.9999 * most_w, USUAL) < math.inf


@given(cell=cells, draw=draws_w_per_wh, ends=st.lists(socs, min_size=3, max_size=3))
def test_parts_add_up(cell, draw, ends):
    """Hours and ampere-hours from a to c are those from a to b and from b to c."""
    low, middle, high = sorted(ends)
    power_w = _power_w(cell, draw)

    for between in (discharge_hours, discharge_ah):
        parts = between(high, middle, power_w, cell) + between(middle, low, power_w, cell)
        assert between(high, low, power_w, cell) == pytest.approx(parts, rel=1e-4, abs=1e-12)


@given(cell=cells, draw=draws_w_per_wh, soc_from=socs, share=socs)
def test_soc_after_turns_discharge_hours_round(cell, draw, soc_from, share):
    """The state of charge after t hours is the one that it takes t hours to reach, as near as it says it is."""
    power_w = _power_w(cell, draw)
    near = 2e-4 if draw <= 1.0 / 3.5 else 1e-3
    lasts_h = discharge_hours(soc_from, 0.0, power_w, cell)
    assume(lasts_h > 0.0)
    soc, ah = soc_after(soc_from, share * lasts_h, power_w, cell)

    low = max(0.0, lowest_soc(power_w, cell))
    exact = brentq(lambda end: discharge_hours(soc_from, end, power_w, cell) - share * lasts_h, low, soc_from)
    assert soc == pytest.approx(exact, abs=near)
    assert low <= soc <= soc_from
    assert ah == pytest.approx(discharge_ah(soc_from, soc, power_w, cell), abs=near * cell.capacity_ah)


@given(cell=cells, draw=draws_w_per_wh, soc_from=socs, hours=st.floats(0.0, 100.0))
def test_soc_after_stops_when_empty(cell, draw, soc_from, hours):
    """Work never takes a battery below nothing, and never lifts it."""
    soc, ah = soc_after(soc_from, hours, _power_w(cell, draw), cell)

    assert 0.0 <= soc <= soc_from
    assert 0.0 <= ah <= discharge_ah(soc_from, 0.0, _power_w(cell, draw), cell) + 1e-3 * cell.capacity_ah


@given(cell=cells, draw=draws_w_per_wh, soc_to=socs, more=st.floats(1.01, 1.5))
def test_more_power_means_fewer_hours(cell, draw, soc_to, more):
    """Twice the work is less than half the time, never more."""
    assume(soc_to < 0.99)
    power_w = _power_w(cell, draw)
    hours = discharge_hours(1.0, soc_to, power_w, cell)

    assert discharge_hours(1.0, soc_to, more * power_w, cell) <= hours / more * (1.0 + 1e-4)


@given(cell=cells, draw=draws_w_per_wh, soc_to=socs)
def test_hours_and_ampere_hours_follow_the_temperature(cell, draw, soc_to):
    """Half the capacity factor, half the hours, half the ampere-hours."""
    power_w = _power_w(cell, draw)
    colder = cell._replace(capacity_factor=cell.capacity_factor / 2.0)

    for between in (discharge_hours, discharge_ah):
        assert between(1.0, soc_to, power_w, colder) == pytest.approx(between(1.0, soc_to, power_w, cell) / 2.0)


@given(cell=cells, draw=draws_w_per_wh, soc_to=socs)
def test_ampere_hours_are_hours_times_current(cell, draw, soc_to):
    """The mean current lies between those at both ends."""
    power_w = _power_w(cell, draw)
    hours = discharge_hours(1.0, soc_to, power_w, cell)
    drawn_ah = discharge_ah(1.0, soc_to, power_w, cell)

    assert drawn_ah >= hours * current_a(1.0, power_w, cell) * (1.0 - 1e-9)
    assert drawn_ah <= hours * current_a(soc_to, power_w, cell) * (1.0 + 1e-9)


@given(cell=cells, draw=st.floats(0.001, 0.5))
def test_the_floor_bounds_the_capacity(cell, draw):
    """However weak the current, no more than C5 f over the floor can be drawn."""
    assume(cell.kappa_floor > 0.0)
    most_ah = cell.capacity_ah * cell.capacity_factor / cell.kappa_floor

    assert discharge_ah(1.0, 0.0, _power_w(cell, draw), cell) <= most_ah * (1.0 + 1e-9)


@given(soc_from=socs, soc_to=socs, amps=st.floats(1.0, 500.0))
def test_without_losses_it_is_ampere_hour_counting(soc_from, soc_to, amps):
    """With n = 1 and no resistance at a flat voltage, hours are ampere-hours over current."""
    assume(soc_to <= soc_from)
    power_w = amps * 48.0
    drawn_ah = (soc_from - soc_to) * 500.0

    assert discharge_hours(soc_from, soc_to, power_w, PLAIN) == pytest.approx(drawn_ah / amps, abs=1e-12)
    assert discharge_ah(soc_from, soc_to, power_w, PLAIN) == pytest.approx(drawn_ah, abs=1e-12)
    assert soc_after(soc_from, drawn_ah / amps, power_w, PLAIN) == pytest.approx((soc_to, drawn_ah), abs=1e-9)


@pytest.mark.parametrize("power_w", [2500.0, 2705.0, 2800.0, 5000.0, 12000.0])
def test_three_points_are_enough(power_w):
    """The Gauss sum agrees with 20,000 steps, with the floor of kappa setting in anywhere or nowhere."""
    steps = 20_000
    exact_h = 0.0
    for step in range(steps):
        amps = current_a(0.2 + 0.8 * (step + 0.5) / steps, power_w, USUAL)
        exact_h += 0.8 / steps * 500.0 / (amps * max((amps / 100.0) ** 0.2, 0.891))

    assert discharge_hours(1.0, 0.2, power_w, USUAL) == pytest.approx(exact_h, rel=1e-6)


def test_a_battery_that_fails_on_the_way_works_until_then():
    """Hours end, and the state of charge stays, where the power can no longer be given."""
    power_w = 2.05**2 * 24 * 500 / (4 * 0.5)  # needs E = 2.05 V, reached at soc one half
    fails = lowest_soc(power_w, USUAL)

    assert fails == pytest.approx(0.5)
    assert 0.0 < discharge_hours(1.0, 0.0, power_w, USUAL) < 0.5
    assert discharge_hours(1.0, 0.0, power_w, USUAL) == discharge_hours(1.0, fails, power_w, USUAL)
    assert soc_after(1.0, 99.0, power_w, USUAL) == (fails, discharge_ah(1.0, fails, power_w, USUAL))
    assert discharge_hours(0.4, 0.0, power_w, USUAL) == 0.0
    assert soc_after(0.4, 1.0, power_w, USUAL) == (0.4, 0.0)


def test_a_flat_open_circuit_line_gives_all_or_nothing():
    """Without a slope the battery can give a power at any state of charge or at none."""
    flat = USUAL._replace(empty_v=2.0, slope_v=0.0)
    most_w = 4.0 * 24 * 500 / (4 * 0.5)

    assert lowest_soc(0.99 * most_w, flat) == -math.inf
    assert lowest_soc(1.01 * most_w, flat) == math.inf
    assert discharge_hours(1.0, 0.0, 1.01 * most_w, flat) == 0.0
    assert soc_after(1.0, 1.0, 1.01 * most_w, flat) == (1.0, 0.0)
    # At one current all along, an hour takes its share of the hours and that current.
    soc, ah = 1.0 - 1.0 / discharge_hours(1.0, 0.0, 2400.0, flat), current_a(1.0, 2400.0, flat)
    assert soc_after(1.0, 1.0, 2400.0, flat) == pytest.approx((soc, ah))


def test_no_power_lasts_for_ever():
    """Without power time is infinite, nothing changes, and what is there is the limit of weak currents."""
    weak = USUAL._replace(kappa_floor=0.8)

    assert discharge_hours(1.0, 0.2, 0.0, weak) == math.inf
    assert soc_after(1.0, 1e6, 0.0, weak) == (1.0, 0.0)
    assert discharge_ah(1.0, 0.2, 0.0, weak) == pytest.approx(500.0)  # 0.8 * 500 / 0.8
    assert discharge_ah(1.0, 0.2, 0.0, USUAL._replace(kappa_floor=0.0)) == math.inf
    assert discharge_hours(0.5, 0.5, 0.0, weak) == 0.0
    assert discharge_hours(0.5, 0.5, 2500.0, weak) == 0.0


def test_a_frozen_battery_gives_nothing():
    """With no capacity left in the cold, work ends at once."""
    frozen = USUAL._replace(capacity_factor=0.0)

    assert discharge_hours(1.0, 0.2, 2500.0, frozen) == 0.0
    assert soc_after(1.0, 0.1, 2500.0, frozen) == (0.0, 0.0)


@given(cell=cells, draw=draws_w_per_wh, factor=st.floats(0.3, 1.15), soc_to=socs)
def test_the_state_of_charge_is_bounded_by_the_ampere_hours(cell, draw, factor, soc_to):
    """With another capacity it falls by what is drawn over C5 at least, and never less than by its own."""
    other, power_w = at_factor(cell, factor), _power_w(cell, draw)
    drawn_ah = discharge_ah(1.0, soc_to, power_w, other)

    assert drawn_ah <= (1.0 - soc_to) * cell.capacity_ah * (1.0 + 1e-9)
    assert drawn_ah <= discharge_ah(1.0, soc_to, power_w, cell._replace(capacity_factor=factor)) * (1.0 + 1e-9)


@pytest.mark.parametrize(
    ("factor", "amps", "share"),
    [
        (1.0, 100.0, 0.2),  # at the 5 h rate: 100 Ah of 500 Ah
        (1.0, 25.0, 0.05),  # a weak current gets no more than is there: 25 Ah of 500 Ah
        (1.1, 25.0, 0.05),  # nor does a warm battery
        (0.8, 100.0, 0.25),  # an old one gives 400 Ah at the 5 h rate
        (0.8, 3.125, 0.00625),  # kappa 1/32 for n = 2 lies below the factor: ampere-hours count
        (1.0, 200.0, 0.8),  # n = 2: twice the current of the 5 h rate has kappa 2, so 400 Ah of 500 Ah
    ],
)
def test_what_an_hour_takes(factor, amps, share):
    """The greater of ampere-hours over C5 and what the current can still get; by hand, n = 2."""
    cell = at_factor(PLAIN._replace(peukert=2.0), factor)

    assert soc_after(1.0, 1.0, 48.0 * amps, cell) == pytest.approx((1.0 - share, amps))


def test_how_fast_a_current_takes_the_state_of_charge():
    """By hand, n = 2: twice the current of the 5 h rate has kappa 2; half of it one half, or the floor."""
    steep = PLAIN._replace(peukert=2.0)

    assert rates(1.0, 9600.0, steep) == pytest.approx((200.0, 0.8))
    assert rates(1.0, 2400.0, steep) == pytest.approx((50.0, 0.05))
    assert rates(1.0, 2400.0, steep._replace(kappa_floor=0.8)) == pytest.approx((50.0, 0.08))


def test_peukert_near_one_with_a_floor():
    """An exponent just above 1 puts the floor at no current at all."""
    nearly = PLAIN._replace(slope_v=0.1, peukert=1.0001, kappa_floor=0.891)

    assert discharge_hours(1.0, 0.2, 4800.0, nearly) == pytest.approx(
        discharge_hours(1.0, 0.2, 4800.0, nearly._replace(peukert=1.0)), rel=1e-3
    )


def test_peukert_next_to_one_with_a_floor_above_it():
    """A warm battery whose exponent is 1 but for rounding: the floor holds at every current."""
    warm = at_factor(PLAIN._replace(slope_v=0.125, peukert=1.0000000000000002), 1.125)

    assert discharge_ah(1.0, 0.2, 4800.0, warm) == pytest.approx(0.8 * warm.capacity_ah)


def test_a_discharge_does_not_raise_soc():
    """Both ends the wrong way round are refused, with the figures."""
    message = "a discharge must not raise soc and must have a power of 0 or more (got soc 0.2 to 1 at 2500 W)"
    for between in (discharge_hours, discharge_ah):
        with pytest.raises(ValueError, match=_whole(message)):
            between(0.2, 1.0, 2500.0, USUAL)


def test_power_below_zero_is_refused():
    """A discharge does not charge, neither in hours nor in state of charge."""
    rule = "a discharge must not raise soc and must have a power of 0 or more"
    with pytest.raises(ValueError, match=_whole(f"{rule} (got soc 1 to 0.2 at -5 W)")):
        discharge_hours(1.0, 0.2, -5.0, USUAL)
    with pytest.raises(ValueError, match=_whole(f"{rule} (got soc 1 to 1 at -5 W)")):
        soc_after(1.0, 2.0, -5.0, USUAL)


@given(capacity_ah=st.floats(10.0, 2000.0), rate_h=st.floats(1.0, 20.0), peukert=st.floats(1.0, 1.6))
def test_rating_and_peukert_agree(capacity_ah, rate_h, peukert):
    """The five-hour capacity, drawn in five hours, is one point of the curve of the other rating."""
    five_ah = five_hour_capacity_ah(capacity_ah, rate_h, peukert)

    assert peukert_hours(five_ah / 5.0, capacity_ah, rate_h, peukert) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("degc", "factor"),
    [(40.0, 1.06), (30.0, 1.0), (25.0, 0.97), (20.0, 0.94), (10.0, 0.84), (0.0, 0.74)],
)
def test_two_slopes(degc, factor):
    """0.6 % per K down to 20 degC, then 1 % per K; worked by hand."""
    assert capacity_factor(degc, **SLOPES, cold_table=()) == pytest.approx(factor)
    assert capacity_factor(degc, **SLOPES, cold_table=TABLE) == pytest.approx(factor)


@pytest.mark.parametrize(("degc", "in_table"), [(-5.0, 0.66), (-10.0, 0.61), (-14.0, 0.56), (-18.0, 0.51)])
def test_the_table_gives_the_shape_in_the_cold(degc, in_table):
    """Below 0 degC the table is read between its rows and scaled to meet the slope."""
    assert capacity_factor(degc, **SLOPES, cold_table=TABLE) == pytest.approx(in_table * 0.74 / 0.71)


def test_colder_than_the_table():
    """The last slope of the table, 0.0125 per K, goes on, down to nothing."""
    assert capacity_factor(-22.0, **SLOPES, cold_table=TABLE) == pytest.approx(0.46 * 0.74 / 0.71)
    assert capacity_factor(-80.0, **SLOPES, cold_table=TABLE) == 0.0
    assert capacity_factor(-80.0, **SLOPES, cold_table=()) == 0.0
    assert capacity_factor(-10.0, **SLOPES, cold_table=TABLE[2:]) == pytest.approx(0.64)


@given(degc=st.floats(-60.0, 60.0))
def test_the_factor_has_no_step(degc):
    """A hundredth of a kelvin changes little, everywhere, and warmer is never less."""
    colder, warmer = (capacity_factor(degc + step, **SLOPES, cold_table=TABLE) for step in (0.0, 0.01))

    assert 0.0 <= warmer - colder < 2e-4


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            ((0.0, 0.7), (-10.0, 0.6)),
            "cold_table: temperatures must rise from row to row (got [0.0, -10.0])",
        ),
        (
            ((-10.0, 0.6), (25.0, 0.9)),
            "cold_table: warmest row must be at or below the knee of 20 degC, with a factor above 0 (got (25.0, 0.9))",
        ),
        (
            ((-10.0, 0.6), (0.0, 0.0)),
            "cold_table: warmest row must be at or below the knee of 20 degC, with a factor above 0 (got (0.0, 0.0))",
        ),
    ],
)
def test_a_table_that_makes_no_sense_is_refused(table, message):
    with pytest.raises(ValueError, match=_whole(message)):
        capacity_factor(25.0, **SLOPES, cold_table=table)
