"""Acid and cell voltage: what must hold for every reading and current, and what is refused."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.electrolyte import (
    capacity_test_share,
    corrected_gravity,
    drawn_ah_from_gravity,
    freezing_degc,
    gravity_drop,
    gravity_from_rest_voltage,
    gravity_from_soc,
    rest_voltage_v,
    soc_from_gravity,
)
from batsim.formulas.voltage import (
    acceptance_efficiency,
    charge_voltage_v,
    discharge_voltage_v,
    final_voltage_v,
    gassing_voltage_v,
)

TABLE = [(1.160, 0.25), (1.220, 0.50), (1.250, 0.75), (1.280, 1.00)]
FREEZING = [(1.160, -17.2), (1.220, -35.0), (1.250, -52.2), (1.280, -70.6)]
gravities = st.floats(1.16, 1.28)
socs = st.floats(0.05, 0.95)
amps_of_500_ah = st.floats(0.0, 100.0)
temperatures_degc = st.floats(0.0, 45.0)


def _whole(message):
    return f"^{re.escape(message)}$"


# Acid


@given(gravity=gravities, degc=st.floats(-10.0, 55.0), other_degc=st.floats(-10.0, 55.0))
def test_correction_goes_both_ways(gravity, degc, other_degc):
    """To another temperature and back; none at the reference; a warm reading is too low."""
    there = corrected_gravity(gravity, degc, reference_degc=other_degc, per_k=0.0007)

    assert corrected_gravity(there, other_degc, reference_degc=degc, per_k=0.0007) == pytest.approx(gravity)
    assert corrected_gravity(gravity, degc, reference_degc=degc, per_k=0.0007) == gravity
    assert (there > gravity) == (degc > other_degc + 1e-9) or there == pytest.approx(gravity)


@given(gravity=gravities)
def test_rest_voltage_and_gravity_turn_each_other_round(gravity):
    assert gravity_from_rest_voltage(rest_voltage_v(gravity, 0.84), 0.84) == pytest.approx(gravity)


@given(gravity=gravities, higher=st.floats(0.0, 0.1))
def test_tables_are_monotone_and_turn_round(gravity, higher):
    """More acid is more charge and a lower freezing point; above the last row all is as in it."""
    soc = soc_from_gravity(gravity, TABLE)

    assert gravity_from_soc(soc, TABLE) == pytest.approx(gravity)
    assert 0.25 <= soc <= soc_from_gravity(gravity + higher, TABLE) <= 1.0
    assert freezing_degc(gravity, FREEZING) >= freezing_degc(gravity + higher, FREEZING) >= -70.6
    assert soc_from_gravity(1.28 + higher, TABLE) == 1.0
    assert gravity_from_soc(1.0 + higher, TABLE) == 1.28


def test_between_two_rows_it_is_straight():
    """A quarter of the way; the first row itself is in the table."""
    assert soc_from_gravity(1.235, TABLE) == pytest.approx(0.625)
    assert freezing_degc(1.175, FREEZING) == pytest.approx(-17.2 - 0.25 * 17.8)
    assert soc_from_gravity(1.160, TABLE) == 0.25


def test_a_reading_below_the_table_is_refused():
    """It would promise more charge, or less frost, than there is."""
    with pytest.raises(ValueError, match=_whole("gravity is below the table, which begins at 1.16 (got 1.12)")):
        soc_from_gravity(1.12, TABLE)
    with pytest.raises(ValueError, match=_whole("gravity is below the table, which begins at 1.16 (got 1.12)")):
        freezing_degc(1.12, FREEZING)
    with pytest.raises(ValueError, match=_whole("state of charge is below the table, which begins at 0.25 (got 0.1)")):
        gravity_from_soc(0.1, TABLE)


@pytest.mark.parametrize("table", [[], [(1.16, 0.25)], [(1.28, 1.0), (1.16, 0.25)], [(1.16, 0.25), (1.16, 1.0)]])
def test_a_table_that_does_not_rise_is_refused(table):
    """Two rows at least, each above the last."""
    rule = "needs two rows or more, each higher than the last"
    for read in (soc_from_gravity, freezing_degc):
        with pytest.raises(ValueError, match=_whole(f"a table of gravity {rule} (got {table})")):
            read(1.20, table)


def test_a_table_whose_charge_does_not_rise_is_refused_backwards():
    """Read backwards the charge must rise, too; the message shows the rows turned round."""
    message = (
        "a table of state of charge needs two rows or more, each higher than the last (got [(0.5, 1.16), (0.5, 1.28)])"
    )
    with pytest.raises(ValueError, match=_whole(message)):
        gravity_from_soc(0.7, [(1.16, 0.5), (1.28, 0.5)])


@given(drawn_ah=st.floats(-500.0, 500.0), drop_per_ah=st.floats(1e-4, 5e-3))
def test_fall_of_gravity_and_ampere_hours_turn_each_other_round(drawn_ah, drop_per_ah):
    """On charge both are below 0."""
    gravity = 1.28 - gravity_drop(drawn_ah, drop_per_ah)

    assert drawn_ah_from_gravity(1.28, gravity, drop_per_ah) == pytest.approx(drawn_ah, abs=1e-9)


@given(hours=st.floats(0.5, 10.0), factor=st.floats(0.5, 1.1))
def test_a_cold_capacity_test_is_corrected_upwards(hours, factor):
    """The rated hours are a full result; what the cold holds back is added."""
    assert capacity_test_share(5.0, 5.0, 1.0) == 1.0
    assert capacity_test_share(hours, 5.0, factor) * factor == pytest.approx(capacity_test_share(hours, 5.0, 1.0))


# Cell voltage


@given(soc=socs, amps=amps_of_500_ah, more_soc=st.floats(0.001, 0.04), degc=temperatures_degc)
def test_voltage_rises_with_the_charge(soc, amps, more_soc, degc):
    """In use and on charge; on charge it is higher."""
    in_use, on_charge = (voltage(soc, amps, 500.0, degc) for voltage in (discharge_voltage_v, charge_voltage_v))

    assert discharge_voltage_v(soc + more_soc, amps, 500.0, degc) > in_use
    assert charge_voltage_v(soc + more_soc, amps, 500.0, degc) > on_charge
    assert on_charge > in_use


@given(soc=socs, amps=st.floats(1.0, 100.0), warmer_k=st.floats(0.1, 10.0), degc=temperatures_degc)
def test_a_warm_cell_has_less_resistance(soc, amps, warmer_k, degc):
    """It keeps more voltage in use and needs less on charge; its limits are lower."""
    assert discharge_voltage_v(soc, amps, 500.0, degc + warmer_k) > discharge_voltage_v(soc, amps, 500.0, degc)
    assert charge_voltage_v(soc, amps, 500.0, degc + warmer_k) < charge_voltage_v(soc, amps, 500.0, degc)
    assert gassing_voltage_v(amps, 500.0, degc + warmer_k) < gassing_voltage_v(amps, 500.0, degc)
    assert final_voltage_v(amps, 500.0, degc + warmer_k) < final_voltage_v(amps, 500.0, degc)


@given(amps=amps_of_500_ah, more_a=st.floats(0.1, 50.0), degc=temperatures_degc)
def test_voltage_limits_rise_with_the_current(amps, more_a, degc):
    """The final voltage is always above the onset of gassing."""
    assert gassing_voltage_v(amps + more_a, 500.0, degc) > gassing_voltage_v(amps, 500.0, degc)
    assert final_voltage_v(amps + more_a, 500.0, degc) > final_voltage_v(amps, 500.0, degc)
    assert final_voltage_v(amps, 500.0, degc) > gassing_voltage_v(amps, 500.0, degc)


@given(soc=socs, amps=amps_of_500_ah, more=st.floats(0.001, 0.04), more_a=st.floats(0.1, 50.0))
def test_acceptance_falls_as_the_cell_fills(soc, amps, more, more_a):
    """A share between 0 and 1, less with more charge or more current; a full cell stores nothing."""
    share = acceptance_efficiency(soc, amps, 500.0)

    assert 0.0 <= acceptance_efficiency(soc + more, amps, 500.0) <= share <= 1.0
    assert acceptance_efficiency(soc, amps + more_a, 500.0) <= share
    assert acceptance_efficiency(1.0, amps, 500.0) == 0.0


@given(soc=socs, share=st.floats(0.01, 0.2))
def test_most_terms_take_the_share_of_the_capacity(soc, share):
    """Ten times the battery with ten times the current: the same limits and acceptance, but not the same voltage."""
    small_a, large_a = 100.0 * share, 1000.0 * share

    assert gassing_voltage_v(large_a, 1000.0, 25.0) == pytest.approx(gassing_voltage_v(small_a, 100.0, 25.0))
    assert final_voltage_v(large_a, 1000.0, 25.0) == pytest.approx(final_voltage_v(small_a, 100.0, 25.0))
    assert acceptance_efficiency(soc, large_a, 1000.0) == pytest.approx(acceptance_efficiency(soc, small_a, 100.0))
    assert discharge_voltage_v(soc, large_a, 1000.0, 25.0) > discharge_voltage_v(soc, small_a, 100.0, 25.0)


@pytest.mark.parametrize(
    ("soc", "amps", "got"), [(0.0, 50.0, "soc 0, 50 A"), (1.1, 50.0, "soc 1.1, 50 A"), (0.5, -1.0, "soc 0.5, -1 A")]
)
def test_a_discharge_out_of_range_is_refused(soc, amps, got):
    rule = "a discharge needs soc above 0 and at most 1, and no current below 0"
    with pytest.raises(ValueError, match=_whole(f"{rule} (got {got})")):
        discharge_voltage_v(soc, amps, 500.0, 25.0)


@pytest.mark.parametrize(
    ("soc", "amps", "got"), [(-0.1, 50.0, "soc -0.1, 50 A"), (1.0, 50.0, "soc 1, 50 A"), (0.5, -1.0, "soc 0.5, -1 A")]
)
def test_a_charge_out_of_range_is_refused(soc, amps, got):
    rule = "a charge needs soc at least 0 and below 1, and no current below 0"
    with pytest.raises(ValueError, match=_whole(f"{rule} (got {got})")):
        charge_voltage_v(soc, amps, 500.0, 25.0)


@pytest.mark.parametrize(
    ("soc", "amps", "got"), [(-0.1, 50.0, "soc -0.1, 50 A"), (1.1, 50.0, "soc 1.1, 50 A"), (0.5, -1.0, "soc 0.5, -1 A")]
)
def test_an_acceptance_out_of_range_is_refused(soc, amps, got):
    rule = "acceptance needs soc between 0 and 1, and no current below 0"
    with pytest.raises(ValueError, match=_whole(f"{rule} (got {got})")):
        acceptance_efficiency(soc, amps, 500.0)
