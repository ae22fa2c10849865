"""Gas and water: proportions and limits that hold for every charge, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.gassing import WATER_G_PER_AH, GasLaw, gas_current_a, hydrogen_l, water_deficit_g

ATMOSPHERE_PA = 101325.0
gases_ah = st.floats(0.01, 500.0)
cell_counts = st.integers(1, 40)


def _whole(message):
    return f"^{re.escape(message)}$"


@given(gas_ah=gases_ah, cells=cell_counts, times=st.floats(0.0, 5.0))
def test_gas_is_in_proportion_to_ampere_hours_and_cells(gas_ah, cells, times):
    """Twice as much from twice as much, nothing from nothing."""
    for amount in (water_deficit_g, lambda ah, n: hydrogen_l(ah, n, 25.0, ATMOSPHERE_PA)):
        assert amount(times * gas_ah, cells) == pytest.approx(times * amount(gas_ah, cells))
        assert amount(gas_ah, cells) == pytest.approx(cells * amount(gas_ah, 1))
        assert amount(0.0, cells) == 0.0


@given(gas_ah=gases_ah, cells=cell_counts)
def test_hydrogen_is_a_ninth_of_the_water(gas_ah, cells):
    """Two of eighteen parts by mass; the volume at 0 degC weighs 0.0899 g a litre."""
    hydrogen_g = water_deficit_g(gas_ah, cells) * 2.016 / 18.015

    assert hydrogen_g / hydrogen_l(gas_ah, cells, 0.0, ATMOSPHERE_PA) == pytest.approx(0.0899, abs=1e-4)
    assert water_deficit_g(1.0, 1) == WATER_G_PER_AH


@given(degc=st.floats(-20.0, 50.0), warmer_k=st.floats(0.1, 30.0), thinner=st.floats(0.5, 1.0))
def test_hydrogen_takes_more_room_warm_and_high_up(degc, warmer_k, thinner):
    """Volume goes with the absolute temperature over the pressure."""
    litres = hydrogen_l(10.0, 24, degc, ATMOSPHERE_PA)

    assert hydrogen_l(10.0, 24, degc + warmer_k, ATMOSPHERE_PA) / litres == pytest.approx(
        (degc + warmer_k + 273.15) / (degc + 273.15)
    )
    assert hydrogen_l(10.0, 24, degc, thinner * ATMOSPHERE_PA) == pytest.approx(litres / thinner)


@given(
    volts=st.floats(2.1, 2.8), degc=st.floats(0.0, 50.0), more=st.floats(0.01, 0.3), reference_a=st.floats(0.01, 2.0)
)
def test_gas_current_rises_with_voltage_temperature_and_size(volts, degc, more, reference_a):
    """Exponential in voltage and temperature, in proportion to the reference current."""
    law = GasLaw(reference_a, reference_v=2.23, reference_degc=25.0, per_v=11.0, per_k=0.06)
    amps = gas_current_a(volts, degc, law)

    assert gas_current_a(volts + more, degc, law) / amps == pytest.approx(math.exp(11.0 * more))
    assert gas_current_a(volts, degc + more, law) / amps == pytest.approx(math.exp(0.06 * more))
    assert gas_current_a(volts, degc, law._replace(reference_a=5.0 * reference_a)) == pytest.approx(5.0 * amps)
    assert gas_current_a(2.23, 25.0, law) == pytest.approx(reference_a)
