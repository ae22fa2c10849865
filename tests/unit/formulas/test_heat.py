"""Heat: temperatures that must hold for every battery and room, cool-down as their inverse, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.heat import charge_end_degc, charge_heat_kwh, cool_down_h, discharge_heat_w, mean_of_stay_degc
from tests.closed_forms import temperature_after_degc

temperatures_degc = st.floats(-20.0, 60.0)
heats_w = st.floats(0.0, 1000.0)
losses_w_per_k = st.floats(5.0, 60.0)
taus_h = st.floats(2.0, 20.0)
hours_of_work = st.floats(0.0, 48.0)
stretches = {
    "start": temperatures_degc, "room": temperatures_degc, "heat_w": heats_w, "loss": losses_w_per_k, "tau_h": taus_h,
}  # fmt: skip


def _whole(message):
    return f"^{re.escape(message)}$"


@given(start=temperatures_degc, room=temperatures_degc, kwh=st.floats(0.0, 8.0), loss=losses_w_per_k, tau_h=taus_h)
def test_end_of_a_charge(start, room, kwh, loss, tau_h):
    """Heat spread evenly is a constant heat; all at once it is adiabatic, and a longer charge ends cooler in a rise."""
    at_once = charge_end_degc(start, room, kwh, loss, tau_h, 0.0)
    even = charge_end_degc(start, room, kwh, loss, tau_h, 8.0)

    assert at_once == pytest.approx(start + 1000.0 * kwh / (loss * tau_h))
    assert even == pytest.approx(temperature_after_degc(start, room, 1000.0 * kwh / 8.0, loss, tau_h, 8.0))
    assert charge_end_degc(room, room, kwh, loss, tau_h, 12.0) <= charge_end_degc(room, room, kwh, loss, tau_h, 8.0)


@given(excess_k=st.floats(0.5, 40.0), room=temperatures_degc, above_k=st.floats(0.1, 40.0), tau_h=taus_h)
def test_cool_down_is_the_time_to_the_temperature_of_use(excess_k, room, above_k, tau_h):
    """After it the battery has that temperature; a battery that is cool enough does not wait."""
    start, use = room + excess_k, room + above_k
    hours = cool_down_h(start, room, use, tau_h)
    after = temperature_after_degc(start, room, 0.0, 20.0, tau_h, hours)

    assert after == pytest.approx(min(start, use), abs=1e-8)
    assert hours == 0.0 if start <= use else hours >= 0.0


def test_cool_down_without_end():
    """A room as warm as the battery may be, or warmer, never cools it; a battery that is cool enough may be used."""
    assert cool_down_h(45.0, 35.0, 35.0, 8.0) == math.inf
    assert cool_down_h(45.0, 40.0, 35.0, 8.0) == math.inf
    assert cool_down_h(35.0, 40.0, 35.0, 8.0) == 0.0


@given(cooler=st.floats(0.0, 5.0), warmer=st.floats(0.0, 10.0), slower=st.floats(0.0, 5.0))
def test_cool_down_grows(cooler, warmer, slower):
    """A hotter battery, a warmer room, a lower temperature of use and a heavier battery all wait longer."""
    hours = cool_down_h(45.0, 20.0, 35.0, 10.0)

    assert cool_down_h(45.0 + warmer, 20.0, 35.0, 10.0) >= hours
    assert cool_down_h(45.0, 20.0 + warmer, 35.0, 10.0) >= hours
    assert cool_down_h(45.0, 20.0, 35.0 - cooler, 10.0) >= hours
    assert cool_down_h(45.0, 20.0, 35.0, 10.0 + slower) >= hours


@given(stored_ah=st.floats(0.0, 1000.0), gas_ah=st.floats(0.0, 200.0), over_v=st.floats(0.0, 0.6))
def test_heat_of_a_charge_is_what_the_voltage_has_above_both_reactions(stored_ah, gas_ah, over_v):
    """At 2.04 V storing makes no heat, at 1.48 V gas makes none; each volt above makes all of it."""
    dc_kwh = 24 * (2.04 + over_v) * (stored_ah + gas_ah) / 1000.0
    heat_kwh = charge_heat_kwh(dc_kwh, stored_ah, gas_ah, 24, storing_v=2.04, splitting_v=1.48)

    assert heat_kwh == pytest.approx(24 * (over_v * stored_ah + (over_v + 0.56) * gas_ah) / 1000.0, abs=1e-9)


@given(amps=st.floats(0.0, 500.0), more=st.floats(1.0, 3.0))
def test_heat_of_work_grows_with_the_square_of_the_current(amps, more):
    """Twice the current, four times the heat; none without current or resistance."""
    heat_w = discharge_heat_w(amps, 24, 0.5, 500.0)

    assert discharge_heat_w(more * amps, 24, 0.5, 500.0) == pytest.approx(more**2 * heat_w)
    assert discharge_heat_w(0.0, 24, 0.5, 500.0) == 0.0
    assert discharge_heat_w(amps, 24, 0.0, 500.0) == 0.0


@given(
    start=st.floats(-20.0, 60.0),
    room=st.floats(-20.0, 40.0),
    heats=st.lists(st.tuples(st.floats(0.0, 5.0), st.floats(0.1, 20.0)), min_size=1, max_size=4),
)
def test_the_mean_of_a_stay_is_that_of_its_course(start, room, heats):
    """Rests and charges in any order: the sum over many small parts of each."""
    loss, tau_h, degc, summed, hours = 8.0, 12.0, start, 0.0, 0.0
    for heat_kwh, length_h in heats:
        for number in range(400):
            part = (number + 0.5) / 400.0
            summed += charge_end_degc(degc, room, part * heat_kwh, loss, tau_h, part * length_h) * length_h / 400.0
        degc = charge_end_degc(degc, room, heat_kwh, loss, tau_h, length_h)
        hours += length_h
    heat_kwh = sum(heat for heat, _ in heats)

    found = mean_of_stay_degc(start, degc, room, heat_kwh, loss, tau_h, hours)

    assert found == pytest.approx(summed / hours, abs=0.01)
