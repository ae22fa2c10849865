"""What bounds a charge: acceptance, voltage and current by temperature; and the equalising charge after it."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.formulas.charging import acceptance_tau_h, charge_phases, current_limit_a, equalising_phase, voltage_limit_v
from batsim.formulas.phases import Phase, Profile, cut, rest_of
from tests.closed_forms import gassing_ah, phases_ah, phases_kwh

FEW = settings(max_examples=50, deadline=None)
BAND = {"rated_degc": 30.0, "per_k": -0.005, "from_degc": 15.0, "to_degc": 40.0}
ROWS = [(0.0, 10.0), (5.0, 20.0), (10.0, 100.0), (25.0, 75.0), (50.0, 10.0), (60.0, 0.0)]

temperatures = st.floats(-30.0, 70.0)


def _whole(message):
    return f"^{re.escape(message)}$"


# Acceptance


@pytest.mark.parametrize(("degc", "tau_h"), [(30.0, 2.0), (40.0, 1.5), (60.0, 1.2), (0.0, 3.5), (-30.0, 4.0)])
def test_a_cold_battery_accepts_charge_more_slowly(degc, tau_h):
    """2.5 % per K about 30 degC, within 0.6 and 2; worked by hand."""
    correction = {"rated_degc": 30.0, "per_k": 0.025, "least": 0.6, "most": 2.0}

    assert acceptance_tau_h(2.0, degc, **correction) == pytest.approx(tau_h)


# Voltage


@pytest.mark.parametrize(
    ("degc", "volts"), [(15.0, 2.40), (30.0, 2.40), (40.0, 2.40), (14.0, 2.405), (0.0, 2.475), (45.0, 2.375)]
)
def test_a_voltage_limit_is_corrected_outside_its_band(degc, volts):
    """5 mV for each kelvin from the nearer end of the band."""
    assert voltage_limit_v(2.4, degc, **BAND) == pytest.approx(volts)


@FEW
@given(degc=temperatures, rated=temperatures, at=temperatures)
def test_a_band_without_width_corrects_everywhere(degc, rated, at):
    """Wherever it lies, the limit is a straight line through the stated one."""
    limit_v = voltage_limit_v(2.4, degc, rated_degc=rated, per_k=-0.005, from_degc=at, to_degc=at)

    assert limit_v == pytest.approx(2.4 - 0.005 * (degc - rated), abs=1e-12)


@FEW
@given(degc=temperatures, step_k=st.floats(0.0, 5.0), rated=temperatures, ends=st.tuples(temperatures, temperatures))
def test_a_voltage_limit_falls_without_a_step(degc, step_k, rated, ends):
    """Never by more than the correction for the kelvins between, and it is as stated at the rated temperature."""
    band = {"rated_degc": rated, "per_k": -0.005, "from_degc": min(ends), "to_degc": max(ends)}
    cold_v, warm_v = voltage_limit_v(2.4, degc, **band), voltage_limit_v(2.4, degc + step_k, **band)

    assert -1e-12 <= cold_v - warm_v <= 0.005 * step_k + 1e-12
    assert voltage_limit_v(2.4, rated, **band) == 2.4


def test_a_band_that_ends_before_it_begins_is_refused():
    message = "the band without correction must not end before it begins (got 40 to 15 degC)"
    with pytest.raises(ValueError, match=_whole(message)):
        voltage_limit_v(2.4, 20.0, rated_degc=30.0, per_k=-0.005, from_degc=40.0, to_degc=15.0)


# Current


@pytest.mark.parametrize(
    ("degc", "amps"),
    [
        (-10.0, 0.0), (-0.01, 0.0), (0.0, 20.0), (4.9, 20.0), (5.0, 40.0), (10.0, 200.0), (24.9, 200.0),
        (25.0, 150.0), (50.0, 20.0), (59.9, 20.0), (60.0, 0.0), (80.0, 0.0),
    ],
)  # fmt: skip
def test_a_current_limit_goes_in_steps(degc, amps):
    """A row holds from its temperature to that of the next; colder than the first row nothing may flow."""
    assert current_limit_a(degc, 200.0, ROWS) == pytest.approx(amps)


@FEW
@given(degc=temperatures, capacity_ah=st.floats(10.0, 1000.0), times=st.floats(0.1, 10.0))
def test_a_current_limit_goes_with_the_capacity(degc, capacity_ah, times):
    limit_a = current_limit_a(degc, capacity_ah, ROWS)

    assert 0.0 <= limit_a <= capacity_ah
    assert current_limit_a(degc, times * capacity_ah, ROWS) == pytest.approx(times * limit_a)


@pytest.mark.parametrize("rows", [[], [(5.0, 10.0), (0.0, 20.0)], [(0.0, 10.0), (0.0, 20.0)]])
def test_a_table_of_current_limits_has_rising_rows(rows):
    message = f"current limits need a row or more, with rising temperatures (got {rows})"
    with pytest.raises(ValueError, match=_whole(message)):
        current_limit_a(20.0, 200.0, rows)


# Equalising


@FEW
@given(
    hours=st.floats(0.0, 10.0),
    amps=st.floats(0.5, 25.0),
    missing_ah=st.floats(-1.0, 60.0),
    tau_h=st.floats(0.02, 2.0),
)
def test_an_equalising_charge_is_nearly_all_gas(hours, amps, missing_ah, tau_h):
    """It gives current times hours, stores no more than is missing or given, and the rest is gas."""
    phase = equalising_phase(hours, amps, 2.65, missing_ah, 500.0, tau_h)
    stored_ah = (phase.soc_to - phase.soc_from) * 500.0

    assert phases_ah((phase,)) == amps * hours
    assert phases_kwh((phase,), 24) == pytest.approx(24 * 2.65 * amps * hours / 1000.0)
    assert phase.soc_from <= phase.soc_to <= 1.0
    assert -1e-9 <= stored_ah <= min(max(missing_ah, 0.0), amps * hours) + 1e-9
    assert gassing_ah((phase,), 500.0) == pytest.approx(amps * hours - stored_ah, abs=1e-9)


def test_an_equalising_charge_goes_on_where_the_full_charge_ended():
    """It is what IUIa would have gone on to do, and an interruption costs nothing."""
    iuia = Profile("IUIa", 100.0, 25.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6)
    charge = charge_phases(iuia, 500.0, 400.0, 460.0)
    longer = charge_phases(iuia, 500.0, 400.0, 460.0 + 3.0 * 25.0)
    missing_ah = (1.0 - charge[-1].soc_to) * 500.0
    phase = equalising_phase(3.0, 25.0, 2.6, missing_ah, 500.0, 1.0)

    assert charge[-1].hours + phase.hours == pytest.approx(longer[-1].hours)
    assert phase.soc_to == pytest.approx(longer[-1].soc_to, abs=1e-12)
    assert gassing_ah((*charge, phase), 500.0) == pytest.approx(gassing_ah(longer, 500.0))
    assert rest_of((phase,), 1.0)[0].soc_from == pytest.approx(cut((phase,), 1.0)[0].soc_to)


def test_an_equalising_charge_never_stores_more_than_flows():
    """40 Ah missing and 20 A: with tau 1 h the battery would take 40 A at first, so it takes the 20 A that flow."""
    phase = equalising_phase(2.0, 20.0, 2.65, 40.0, 500.0, 1.0)

    assert phase == Phase(2.0, 20.0, 0.0, 2.65, 0.92, 1.0 - 0.08 * math.exp(-1.0), 0.5)


@pytest.mark.parametrize(("hours", "amps", "tau_h"), [(-1.0, 25.0, 1.0), (3.0, 0.0, 1.0), (3.0, 25.0, 0.0)])
def test_an_equalising_charge_without_sense_is_refused(hours, amps, tau_h):
    rule = "an equalising charge needs hours of 0 or more, and a current and tau_h above 0"
    message = f"{rule} (got {hours:g} h, {amps:g} A, tau_h {tau_h:g} h)"
    with pytest.raises(ValueError, match=_whole(message)):
        equalising_phase(hours, amps, 2.65, 1.0, 500.0, tau_h)
