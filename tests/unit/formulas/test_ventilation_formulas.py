"""Ventilation rules and wash water: proportions, inverses and what is refused."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.catalogue import FIGURES
from batsim.formulas.ventilation import (
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_cm2,
    rule_flow_m3_per_h,
    rule_gas_current_a,
)
from batsim.scenario.parts.batteries import FALLING, PROFILES

flows = st.floats(0.1, 1e4)
times = st.floats(0.1, 10.0)


def _whole(message):
    return f"^{re.escape(message)}$"


@given(cells=st.integers(1, 40), gas_a=st.floats(0.1, 100.0), factor=times)
def test_air_of_the_rule_is_in_proportion_to_cells_and_gas_current(cells, gas_a, factor):
    """Twice as much for twice as much, nothing for none, and never less for a cell more."""
    air = rule_flow_m3_per_h(cells, gas_a, 0.055)

    assert rule_flow_m3_per_h(cells, factor * gas_a, 0.055) == pytest.approx(factor * air)
    assert rule_flow_m3_per_h(2 * cells, gas_a, 0.055) == pytest.approx(2.0 * air)
    assert rule_flow_m3_per_h(cells, gas_a, 0.055 * factor) == pytest.approx(factor * air)
    assert rule_flow_m3_per_h(cells + 1, gas_a, 0.055) > air
    assert rule_flow_m3_per_h(cells, 0.0, 0.055) == 0.0


@given(rate=st.floats(0.1, 10.0), capacity_ah=st.floats(10.0, 2000.0))
def test_gas_current_is_a_rate_times_the_capacity(rate, capacity_ah):
    """For 100 Ah it is the rate itself."""
    assert rule_gas_current_a(rate, 100.0) == pytest.approx(rate)
    assert rule_gas_current_a(rate, 2.0 * capacity_ah) == pytest.approx(2.0 * rule_gas_current_a(rate, capacity_ah))


@given(flow=flows)
def test_openings_and_volume_grow_with_the_air(flow):
    """Both in proportion."""
    assert opening_cm2(flow, 28.0) == pytest.approx(28.0 * flow)
    assert free_volume_m3(flow, 4.0) == pytest.approx(4.0 * flow)


def test_shares_at_their_ends():
    """Nothing but gas needs no air, and without gas there is nothing to thin."""
    assert flow_for_share_m3_per_h(0.1, 1.0) == 0.0
    assert flow_for_share_m3_per_h(0.0, 0.01) == 0.0


@pytest.mark.parametrize("share", [0.0, -0.01, 1.01])
def test_an_impossible_share_is_refused(share):
    """No air keeps a room with gas at none."""
    message = f"share of hydrogen must be above 0 and at most 1 (got {share:g})"
    with pytest.raises(ValueError, match=_whole(message)):
        flow_for_share_m3_per_h(1.0, share)


@pytest.mark.parametrize("profile", [each for each in PROFILES if each != "CC-CV"])
def test_every_lead_acid_characteristic_has_a_gas_current(profile):
    """Vented cells always, valve-regulated ones where they may be charged so, and then less."""
    name = f"ventilation.gas_current.{profile}"
    vented = FIGURES[f"{name}.vented_lead_acid"]
    sealed = [each for each in FIGURES.values() if each.name == f"{name}.valve_regulated"]

    assert vented.unit == "A per 100 Ah"
    assert len(sealed) == (profile not in FALLING)
    assert all(each.value < vented.value for each in sealed)
