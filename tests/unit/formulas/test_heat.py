"""Heat: temperatures that must hold for every battery and room, cool-down as their inverse, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.heat import (
    charge_end_degc,
    charge_heat_kwh,
    cool_down_h,
    discharge_heat_w,
    mean_temperature_degc,
    temperature_after_degc,
    thermal_time_constant_h,
)

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


@given(**stretches, first_h=hours_of_work, second_h=hours_of_work)
def test_temperatures_in_parts(start, room, heat_w, loss, tau_h, first_h, second_h):
    """A stretch in two parts ends where it ends in one, and its mean is the mean of theirs."""
    between = temperature_after_degc(start, room, heat_w, loss, tau_h, first_h)
    end = temperature_after_degc(start, room, heat_w, loss, tau_h, first_h + second_h)
    sum_k_h = first_h * mean_temperature_degc(start, room, heat_w, loss, tau_h, first_h)
    sum_k_h += second_h * mean_temperature_degc(between, room, heat_w, loss, tau_h, second_h)
    mean = mean_temperature_degc(start, room, heat_w, loss, tau_h, first_h + second_h)

    assert temperature_after_degc(between, room, heat_w, loss, tau_h, second_h) == pytest.approx(end, abs=1e-9)
    assert sum_k_h == pytest.approx((first_h + second_h) * mean, abs=1e-7)


@given(**stretches, hours=st.floats(0.1, 48.0))
def test_heat_is_neither_lost_nor_made(start, room, heat_w, loss, tau_h, hours):
    """What was made is in the battery or went to the room, in proportion to the mean excess."""
    end = temperature_after_degc(start, room, heat_w, loss, tau_h, hours)
    mean = mean_temperature_degc(start, room, heat_w, loss, tau_h, hours)

    assert heat_w * hours == pytest.approx(loss * tau_h * (end - start) + loss * (mean - room) * hours, abs=1e-6)


@given(**stretches, hours=hours_of_work)
def test_temperatures_stay_between_start_and_end(start, room, heat_w, loss, tau_h, hours):
    """Never beyond what the battery tends to; the mean lies between start and what is reached."""
    tends_to = room + heat_w / loss
    end = temperature_after_degc(start, room, heat_w, loss, tau_h, hours)
    mean = mean_temperature_degc(start, room, heat_w, loss, tau_h, hours)

    assert min(start, tends_to) - 1e-9 <= end <= max(start, tends_to) + 1e-9
    assert min(start, end) - 1e-9 <= mean <= max(start, end) + 1e-9


@given(**stretches)
def test_temperatures_at_the_limits(start, room, heat_w, loss, tau_h):
    """At once nothing has changed; after very long the loss equals the heat."""
    for temperature in (temperature_after_degc, mean_temperature_degc):
        assert temperature(start, room, heat_w, loss, tau_h, 0.0) == pytest.approx(start, abs=1e-9)
        assert temperature(start, room, heat_w, loss, tau_h, 1e9) == pytest.approx(room + heat_w / loss, abs=1e-4)


@given(**stretches, hours=hours_of_work, more=st.floats(0.1, 100.0))
def test_more_heat_is_warmer(start, room, heat_w, loss, tau_h, hours, more):
    """A warmer start, a warmer room and more heat never end cooler."""
    for temperature in (temperature_after_degc, mean_temperature_degc):
        found = temperature(start, room, heat_w, loss, tau_h, hours)
        assert temperature(start + more, room, heat_w, loss, tau_h, hours) >= found - 1e-9
        assert temperature(start, room + more, heat_w, loss, tau_h, hours) >= found - 1e-9
        assert temperature(start, room, heat_w + more, loss, tau_h, hours) >= found - 1e-9


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


@given(mass_kg=st.floats(100.0, 2000.0), loss=losses_w_per_k, times=st.floats(1.0, 5.0))
def test_time_constant_grows_with_mass_and_falls_with_loss(mass_kg, loss, times):
    """In proportion."""
    tau_h = thermal_time_constant_h(mass_kg, 900.0, loss)

    assert thermal_time_constant_h(times * mass_kg, 900.0, loss) == pytest.approx(times * tau_h)
    assert thermal_time_constant_h(mass_kg, times * 900.0, loss) == pytest.approx(times * tau_h)
    assert thermal_time_constant_h(mass_kg, 900.0, times * loss) == pytest.approx(tau_h / times)


@pytest.mark.parametrize(
    ("figures", "got"),
    [
        ((0.0, 900.0, 20.0), "0 kg, 900 J/(kg K), 20 W/K"),
        ((750.0, -1.0, 20.0), "750 kg, -1 J/(kg K), 20 W/K"),
        ((750.0, 900.0, 0.0), "750 kg, 900 J/(kg K), 0 W/K"),
    ],
)
def test_a_battery_without_mass_or_loss_is_refused(figures, got):
    """Each figure must be above 0."""
    with pytest.raises(ValueError, match=_whole(f"mass, specific heat and loss must be above 0 (got {got})")):
        thermal_time_constant_h(*figures)
