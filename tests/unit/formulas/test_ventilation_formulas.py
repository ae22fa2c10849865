"""Ventilation rules and wash water: proportions, inverses and what is refused."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.catalogue import figure, figures
from batsim.formulas.ventilation import (
    air_changes_per_h,
    area_flow_m3_per_h,
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_air_speed_m_per_s,
    opening_cm2,
    quarter_rule_flow_m3_per_h,
    rule_flow_m3_per_h,
    rule_gas_current_a,
    safety_distance_mm,
    steady_hydrogen_share,
    ufc_flow_cfm,
    ufc_hydrogen_ft3_per_h,
)
from batsim.formulas.wash import water_l
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
    """Air at its speed through the opening of the rule comes a little short of 0.1 m/s, as 28 is rounded up."""
    area = opening_cm2(flow, 28.0)

    assert area == pytest.approx(28.0 * flow)
    assert opening_air_speed_m_per_s(flow, area) == pytest.approx(0.1 * 27.7778 / 28.0, rel=1e-5)
    assert opening_air_speed_m_per_s(2.0 * flow, area) == pytest.approx(2.0 * opening_air_speed_m_per_s(flow, area))
    assert free_volume_m3(flow) == pytest.approx(2.5 * flow)
    assert free_volume_m3(flow, 4.0) == pytest.approx(4.0 * flow)


@given(gas=st.floats(1e-4, 100.0), flow=flows)
def test_share_and_air_turn_each_other_round(gas, flow):
    """Air for the share that comes of some air is that air."""
    share = steady_hydrogen_share(gas, flow)

    assert 0.0 < share < 1.0
    assert flow_for_share_m3_per_h(gas, share) == pytest.approx(flow, rel=1e-6)
    assert steady_hydrogen_share(gas, 2.0 * flow) < share < steady_hydrogen_share(2.0 * gas, flow)


def test_shares_at_their_ends():
    """No gas makes none, whatever the air; no air leaves nothing but gas, which needs no air."""
    assert steady_hydrogen_share(0.0, 0.0) == 0.0
    assert steady_hydrogen_share(0.0, 100.0) == 0.0
    assert steady_hydrogen_share(0.1, 0.0) == 1.0
    assert flow_for_share_m3_per_h(0.1, 1.0) == 0.0
    assert flow_for_share_m3_per_h(0.0, 0.01) == 0.0


@given(area=st.floats(1.0, 1000.0), factor=times)
def test_air_by_area_and_changes_of_air(area, factor):
    """In proportion to area and flow, in inverse proportion to the volume."""
    flow = area_flow_m3_per_h(area, 0.00508)

    assert area_flow_m3_per_h(factor * area, 0.00508) == pytest.approx(factor * flow)
    assert air_changes_per_h(factor * flow, 100.0) == pytest.approx(factor * air_changes_per_h(flow, 100.0))
    assert air_changes_per_h(flow, factor * 100.0) == pytest.approx(air_changes_per_h(flow, 100.0) / factor)


@given(charger_a=st.floats(1.0, 500.0), cells=st.integers(1, 40))
def test_a_quarter_of_the_charger(charger_a, cells):
    """The same as the rule with that gas current, and with its own coefficient."""
    assert quarter_rule_flow_m3_per_h(charger_a, cells) == pytest.approx(
        rule_flow_m3_per_h(cells, charger_a / 4.0, 0.11)
    )
    assert quarter_rule_flow_m3_per_h(charger_a, cells, 0.055, 0.5) == pytest.approx(
        quarter_rule_flow_m3_per_h(charger_a, cells)
    )


@given(rate=st.floats(0.1, 10.0), capacity_ah=st.floats(10.0, 2000.0), factor=times)
def test_the_handbook_is_in_proportion_too(rate, capacity_ah, factor):
    """Hydrogen to rate, capacity and cells; exhaust to hydrogen, and in inverse proportion to the share."""
    gas = ufc_hydrogen_ft3_per_h(rate, capacity_ah, 24)

    assert ufc_hydrogen_ft3_per_h(factor * rate, capacity_ah, 24) == pytest.approx(factor * gas)
    assert ufc_hydrogen_ft3_per_h(rate, capacity_ah, 48) == pytest.approx(2.0 * gas)
    assert ufc_hydrogen_ft3_per_h(rate, capacity_ah, 24, 0.032) == pytest.approx(2.0 * gas)
    assert ufc_flow_cfm(gas, 0.02) == pytest.approx(ufc_flow_cfm(gas, 0.01) / 2.0)


@given(cells=st.integers(1, 40), rate=st.floats(0.1, 50.0), capacity_ah=st.floats(10.0, 2000.0))
def test_distance_grows_with_the_cube_root_of_the_gas(cells, rate, capacity_ah):
    """Eight times the gas, twice the distance; whichever of the three grows."""
    distance = safety_distance_mm(cells, rate, capacity_ah)

    assert safety_distance_mm(8 * cells, rate, capacity_ah) == pytest.approx(2.0 * distance)
    assert safety_distance_mm(cells, 8.0 * rate, capacity_ah) == pytest.approx(2.0 * distance)
    assert safety_distance_mm(cells, rate, 8.0 * capacity_ah) == pytest.approx(2.0 * distance)


@given(flow=st.floats(1.0, 100.0), minutes=st.floats(1.0, 30.0))
def test_wash_water_is_flow_times_time(flow, minutes):
    """Twice as long takes twice as much."""
    assert water_l(flow, 2.0 * minutes) == pytest.approx(2.0 * water_l(flow, minutes))
    assert water_l(2.0 * flow, minutes) == pytest.approx(2.0 * water_l(flow, minutes))
    assert water_l(0.0, minutes) == 0.0


@pytest.mark.parametrize("share", [0.0, -0.01, 1.01])
def test_an_impossible_share_is_refused(share):
    """No air keeps a room with gas at none."""
    message = f"share of hydrogen must be above 0 and at most 1 (got {share:g})"
    with pytest.raises(ValueError, match=_whole(message)):
        flow_for_share_m3_per_h(1.0, share)


@pytest.mark.parametrize("volume", [0.0, -10.0])
def test_a_room_without_volume_is_refused(volume):
    """Its air cannot be changed."""
    with pytest.raises(ValueError, match=_whole(f"volume must be above 0 (got {volume:g})")):
        air_changes_per_h(100.0, volume)


@pytest.mark.parametrize("profile", [each for each in PROFILES if each != "CC-CV"])
def test_every_lead_acid_characteristic_has_a_gas_current(profile):
    """Vented cells always, valve-regulated ones where they may be charged so, and then less."""
    name = f"ventilation.gas_current.{profile}"
    vented = figure(f"{name}.vented_lead_acid")
    sealed = [each for each in figures() if each.name == f"{name}.valve_regulated"]

    assert vented.unit == "A per 100 Ah"
    assert len(sealed) == (profile not in FALLING)
    assert all(each.value < vented.value for each in sealed)
