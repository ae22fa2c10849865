"""Wear: what must hold for every battery and use, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.wear import Life, discharge_damage, part_charge_factor, throughput_ah

USUAL = Life(1500.0, 0.8, 1.2, 2.0, 30.0, 10.0)
lives = st.builds(
    Life,
    cycles=st.floats(300.0, 4000.0),
    depth=st.sampled_from([0.6, 0.8, 1.0]),
    beta=st.floats(1.0, 1.35),
    deep_beta=st.floats(1.4, 3.0),
    temperature_degc=st.sampled_from([20.0, 25.0, 30.0]),
    kelvin_per_halving=st.floats(8.0, 15.0),
    floor_degc=st.just(-math.inf),
)
depths = st.floats(0.01, 1.2)
temperatures_degc = st.floats(-10.0, 55.0)


def _whole(message):
    return f"^{re.escape(message)}$"


@given(life=lives)
def test_the_cycle_test_comes_back(life):
    """At its depth and temperature, as many cycles as in the test; one halving warmer, half of them."""
    warmer_degc = life.temperature_degc + life.kelvin_per_halving

    assert 1.0 / discharge_damage(life.depth, life.temperature_degc, life) == pytest.approx(life.cycles)
    assert 1.0 / discharge_damage(life.depth, warmer_degc, life) == pytest.approx(life.cycles / 2.0)


@given(life=lives, depth=depths, degc=temperatures_degc, deeper=st.floats(0.01, 0.3), warmer_k=st.floats(0.1, 20.0))
def test_deeper_and_warmer_wear_more(life, depth, degc, deeper, warmer_k):
    damage = discharge_damage(depth, degc, life)

    assert discharge_damage(depth + deeper, degc, life) > damage > 0.0
    assert discharge_damage(depth, degc + warmer_k, life) > damage


@given(life=lives, depth=depths, degc=temperatures_degc, parts=st.integers(2, 10))
def test_small_steps_wear_no_more_than_a_deep_one(life, depth, degc, parts):
    """The same ampere-hours in shallow discharges; equal with exponent 1."""
    plain = life._replace(beta=1.0, deep_beta=1.0)

    assert parts * discharge_damage(depth / parts, degc, life) <= discharge_damage(depth, degc, life) * (1.0 + 1e-9)
    assert parts * discharge_damage(depth / parts, degc, plain) == pytest.approx(discharge_damage(depth, degc, plain))


@given(life=lives)
def test_damage_has_no_step_at_the_depth_of_the_test(life):
    """The two exponents meet there; beyond it the second makes damage grow faster."""
    below, above = (discharge_damage(life.depth * side, 30.0, life) for side in (1.0 - 1e-9, 1.0 + 1e-9))

    assert below == pytest.approx(above, rel=1e-7)
    steeper = life._replace(deep_beta=life.beta + 0.5)
    assert discharge_damage(1.2, 30.0, steeper) > discharge_damage(1.2, 30.0, life._replace(deep_beta=life.beta))
    assert discharge_damage(0.5, 30.0, life) == discharge_damage(0.5, 30.0, life._replace(deep_beta=9.0))


def test_a_full_discharge_with_and_without_extra_damage():
    """1.25 to the power of 2 or of 1.2."""
    assert 1.0 / discharge_damage(1.0, 30.0, USUAL) == pytest.approx(1500.0 / 1.25**2)
    assert 1.0 / discharge_damage(1.0, 30.0, USUAL._replace(deep_beta=1.2)) == pytest.approx(1500.0 / 1.25**1.2)


def test_temperature_may_be_left_out():
    """With an infinite halving."""
    steady = USUAL._replace(kelvin_per_halving=math.inf)

    assert discharge_damage(0.8, 55.0, steady) == discharge_damage(0.8, -10.0, steady) == pytest.approx(1.0 / 1500.0)


def test_nothing_drawn_wears_nothing():
    assert discharge_damage(0.0, 30.0, USUAL) == 0.0


@given(life=lives, capacity_ah=st.floats(50.0, 1500.0), depth=st.floats(0.05, 1.0))
def test_throughput_is_the_damage_of_exponent_one(life, capacity_ah, depth):
    """Ampere-hours over those of a life, at the temperature of the test."""
    plain = life._replace(beta=1.0, deep_beta=1.0)
    share = depth * capacity_ah / throughput_ah(capacity_ah, plain)

    assert share == pytest.approx(discharge_damage(depth, life.temperature_degc, plain))


@given(row=st.integers(0, 30), free=st.integers(0, 10), surcharge=st.floats(0.0, 0.5))
def test_part_charges_cost_only_beyond_the_free_ones(row, free, surcharge):
    """None does harm within them, and an equalising charge starts again."""
    factor = part_charge_factor(row, free, surcharge)

    assert factor == (1.0 + surcharge if row > free else 1.0)
    assert part_charge_factor(row + 1, free, surcharge) >= factor
    assert part_charge_factor(0, free, surcharge) == 1.0


def test_a_depth_below_zero_is_refused():
    """A charge is no discharge."""
    with pytest.raises(ValueError, match=_whole("depth of discharge must be 0 or more (got -0.1)")):
        discharge_damage(-0.1, 30.0, USUAL)


@given(life=lives, depth=depths, colder_k=st.floats(0.0, 60.0))
def test_no_colder_battery_lives_longer_than_at_the_floor(life, depth, colder_k):
    floored = life._replace(floor_degc=20.0)

    assert discharge_damage(depth, 20.0 - colder_k, floored) == discharge_damage(depth, 20.0, life)
    assert discharge_damage(depth, 35.0, floored) == discharge_damage(depth, 35.0, life)
