"""Force to move a battery: proportions, inverses, limits of people, and what is refused."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.catalogue import FIGURES
from batsim.formulas.push_force import FREE_FALL_M_PER_S2, largest_mass_kg, ramp_force_n, rolling_force_n
from batsim.scenario.parts.building import PUSH_TABLES
from batsim.units import parse

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
    ):
        assert force(factor * mass) == pytest.approx(factor * force(mass))
        assert force(0.0) == 0.0


@given(mass=masses, share=resistances)
def test_force_and_mass_turn_each_other_round(mass, share):
    """Two ways to say the same."""
    force = rolling_force_n(mass, share)

    assert largest_mass_kg(force, share) == pytest.approx(mass)


@given(mass=masses, slope=st.floats(0.0, 2.0))
def test_a_slope_takes_at_most_its_share_of_the_weight(mass, slope):
    """The sine is below the tangent, and nearly the same on slopes that are driven on."""
    force, weight = ramp_force_n(mass, slope), mass * FREE_FALL_M_PER_S2

    assert force <= slope * weight * (1.0 + 1e-12)
    assert force < weight
    if slope <= 0.1:
        assert force == pytest.approx(slope * weight, rel=0.0051)


def test_without_resistance_anything_rolls():
    assert largest_mass_kg(200.0, 0.0) == math.inf


@pytest.mark.parametrize("name", PUSH_TABLES)
def test_every_table_has_limits(name):
    """To start and to keep moving, in newtons, the start no less, and below what this program calls too much."""
    start, rolling = FIGURES[f"push.limit.{name}.start"], FIGURES[f"push.limit.{name}.rolling"]

    assert start.unit == rolling.unit == "N"
    assert 0.0 < rolling.value <= start.value < FIGURES["push.stop.start"].value
    assert rolling.value < FIGURES["push.stop.rolling"].value


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
        assert FIGURES[f"push.limit.{name}"].value == pytest.approx(parse(f"{value} {unit}", "force"), abs=0.5)
    for name, kgf in (("men.start", 20.0), ("men.rolling", 10.0), ("women.start", 15.0), ("women.rolling", 7.0)):
        assert FIGURES[f"push.limit.hse_l23_{name}"].value == round(parse(f"{kgf} kgf", "force"), -1)
