"""Force to move a battery: proportions, inverses, limits of people, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.catalogue import figure
from batsim.formulas.push_force import (
    FREE_FALL_M_PER_S2,
    acceleration_force_n,
    en_1005_3_force_n,
    force_percentile_n,
    largest_mass_kg,
    log_parameters,
    ramp_force_n,
    resistance_share,
    rolling_force_n,
    wheel_force_n,
)
from batsim.scenario.parts.building import PUSH_TABLES
from batsim.units import convert

masses = st.floats(10.0, 3000.0)
resistances = st.floats(0.005, 0.2)
WHO = {"mean_n": 250.0, "sd_n": 75.0, "share": 0.3}


def _whole(message):
    return f"^{re.escape(message)}$"


@given(mass=masses, factor=st.floats(0.1, 10.0), share=resistances)
def test_every_force_is_in_proportion_to_the_mass(mass, factor, share):
    """Twice the mass, twice the force."""
    for force in (
        lambda kg: rolling_force_n(kg, share),
        lambda kg: ramp_force_n(kg, share),
        lambda kg: wheel_force_n(kg, 0.8, 60.0),
        lambda kg: acceleration_force_n(kg, 0.5, 2.0),
    ):
        assert force(factor * mass) == pytest.approx(factor * force(mass))
        assert force(0.0) == 0.0


@given(mass=masses, share=resistances)
def test_force_mass_and_resistance_turn_each_other_round(mass, share):
    """Three ways to say the same."""
    force = rolling_force_n(mass, share)

    assert largest_mass_kg(force, share) == pytest.approx(mass)
    assert resistance_share(force, mass) == pytest.approx(share)


@given(mass=masses, slope=st.floats(0.0, 2.0))
def test_a_slope_takes_at_most_its_share_of_the_weight(mass, slope):
    """The sine is below the tangent, and nearly the same on slopes that are driven on."""
    force, weight = ramp_force_n(mass, slope), mass * FREE_FALL_M_PER_S2

    assert force <= slope * weight * (1.0 + 1e-12)
    assert force < weight
    if slope <= 0.1:
        assert force == pytest.approx(slope * weight, rel=0.0051)


def test_wheels_and_starts():
    """Larger wheels roll more easily; a quick start takes more; without resistance anything rolls."""
    assert wheel_force_n(1000.0, 0.8, 120.0) == pytest.approx(wheel_force_n(1000.0, 0.8, 60.0) / 2.0)
    assert wheel_force_n(1000.0, 1.6, 60.0) == pytest.approx(2.0 * wheel_force_n(1000.0, 0.8, 60.0))
    assert acceleration_force_n(1000.0, 0.5, 1.0) == pytest.approx(2.0 * acceleration_force_n(1000.0, 0.5, 2.0))
    assert largest_mass_kg(200.0, 0.0) == math.inf


@given(mean=st.floats(50.0, 500.0), sd=st.floats(0.0, 200.0))
def test_logarithms_hold_mean_and_spread(mean, sd):
    """Mean and standard deviation come back from the parameters of the lognormal distribution."""
    log_mean, log_sd = log_parameters(mean, sd)
    back = math.exp(log_mean + log_sd**2 / 2.0)

    assert back == pytest.approx(mean)
    assert back * math.sqrt(math.expm1(log_sd**2)) == pytest.approx(sd, abs=1e-4)


@given(share=st.floats(0.001, 0.999), mean=st.floats(50.0, 500.0), sd=st.floats(1.0, 200.0))
def test_percentiles_rise_and_mirror(share, mean, sd):
    """As many are below one as above the other, about the median, in proportion."""
    log_mean, log_sd = log_parameters(mean, sd)
    low, high = (force_percentile_n(log_mean, log_sd, each) for each in (share, 1.0 - share))

    assert low * high == pytest.approx(math.exp(2.0 * log_mean))
    assert (low < high) == (share < 0.5) or share == 0.5
    assert force_percentile_n(log_mean, 0.0, share) == pytest.approx(math.exp(log_mean))


def test_multipliers_multiply():
    """Each takes its part, whatever the others."""
    most = en_1005_3_force_n(**WHO)
    less = {"speed": 0.8, "frequency": 0.7, "duration": 0.5, "risk": 0.9}

    assert most == pytest.approx(force_percentile_n(*log_parameters(250.0, 75.0), 0.3))
    for name, factor in less.items():
        assert en_1005_3_force_n(**WHO, **{name: factor}) == pytest.approx(factor * most)
    assert en_1005_3_force_n(**WHO, **less) == pytest.approx(0.8 * 0.7 * 0.5 * 0.9 * most)


@pytest.mark.parametrize("name", PUSH_TABLES)
def test_every_table_has_limits(name):
    """To start and to keep moving, in newtons, the start no less, and below what this program calls too much."""
    start, rolling = figure(f"push.limit.{name}.start"), figure(f"push.limit.{name}.rolling")

    assert start.unit == rolling.unit == "N"
    assert 0.0 < rolling.value <= start.value < figure("push.stop.start").value
    assert rolling.value < figure("push.stop.rolling").value


def test_limits_in_newtons_are_those_printed_in_other_units():
    """50 and 40 lbf; 28, 19, 20 and 10 kgf; HSE rounds 20, 10, 15 and 7 kgf to tens of newtons."""
    for name, value, unit in (
        ("insurers.start", 50.0, "lbf"),
        ("insurers.rolling", 40.0, "lbf"),
        ("snook_men_90.start", 28.0, "kgf"),
        ("snook_men_90.rolling", 19.0, "kgf"),
        ("snook_women_90.start", 20.0, "kgf"),
        ("snook_women_90.rolling", 10.0, "kgf"),
    ):
        assert figure(f"push.limit.{name}").value == pytest.approx(convert(value, unit, "force"), abs=0.5)
    for name, kgf in (("men.start", 20.0), ("men.rolling", 10.0), ("women.start", 15.0), ("women.rolling", 7.0)):
        assert figure(f"push.limit.hse_l23_{name}").value == round(convert(kgf, "kgf", "force"), -1)


@pytest.mark.parametrize("seconds", [0.0, -1.0])
def test_a_start_in_no_time_is_refused(seconds):
    """No force is enough."""
    with pytest.raises(ValueError, match=_whole(f"time to reach the speed must be above 0 (got {seconds:g})")):
        acceleration_force_n(1000.0, 0.5, seconds)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"mean_n": 0.0}, "mean force must be above 0 and its standard deviation 0 or more (got 0 and 75 N)"),
        ({"sd_n": -1.0}, "mean force must be above 0 and its standard deviation 0 or more (got 250 and -1 N)"),
        ({"share": 0.0}, "share of the group must be above 0 and below 1 (got 0)"),
        ({"share": 1.0}, "share of the group must be above 0 and below 1 (got 1)"),
        ({"speed": 0.0}, "multipliers must be above 0 and at most 1 (got 0, 1, 1, 1)"),
        ({"risk": 1.2}, "multipliers must be above 0 and at most 1 (got 1, 1, 1, 1.2)"),
    ],
)
def test_impossible_people_are_refused(changed, message):
    """Each with its own words."""
    with pytest.raises(ValueError, match=_whole(message)):
        en_1005_3_force_n(**(WHO | changed))
