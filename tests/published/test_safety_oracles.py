"""Gas, air, force, supply and wash water against worked cases of standards, handbooks and guides.

Tolerances are half of the last digit printed where a source prints, and 0.1 % where a case was worked out from the
formula of a source; a line says so where it is otherwise. Editions are named: 0.055 is IEC 62485-3:2014, 0.05 is
EN 50272-3:2002.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from batsim.catalogue import FIGURES
from batsim.formulas.gassing import hydrogen_l
from batsim.formulas.push_force import rolling_force_n
from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from batsim.formulas.ventilation import (
    rule_flow_m3_per_h,
)
from tests.closed_forms import steady_hydrogen_share

WORKED_OUT = "worked out from the formula"
ZVEI = "IEC 62485-3:2014 by way of ZVEI leaflet 14 (May 2017, May 2020); EN 50272-3:2002"
ATMOSPHERE_PA = 101325.0


def _printed(value, digits):
    return pytest.approx(value, abs=0.501 * 10.0**-digits)


def _worked(value):
    return pytest.approx(value, rel=0.001)


def _litres(ah, cells, degc=25.0):
    return hydrogen_l(ah, cells, degc, ATMOSPHERE_PA)


def _share(name):
    return FIGURES[name].value / 100.0


# Hydrogen of an ampere-hour


# Worked ventilation


# Properties of the rules


@pytest.mark.published(
    source=ZVEI, where="mean hydrogen at the air of the rule is 0.456e-3/k at 25 degC; worked out from the formula"
)
@pytest.mark.parametrize("coefficient", [0.05, 0.055])
@pytest.mark.parametrize(("cells", "gas_a"), [(12, 9.3), (24, 37.5), (40, 46.5)])
def test_mean_hydrogen_at_the_air_of_the_rule(coefficient, cells, gas_a):
    """Below 1 % for any battery. Plain G/Q is printed; with the gas itself counted it is 0.7 % of that lower."""
    gas = _litres(1.0, 1) / 1000.0 * cells * gas_a
    flow = rule_flow_m3_per_h(cells, gas_a, coefficient)
    mean = steady_hydrogen_share(gas, flow)

    assert gas / flow == pytest.approx(0.456e-3 / coefficient, rel=0.001)
    assert mean == pytest.approx(0.45642e-3 / (coefficient + 0.45642e-3), rel=1e-4)
    assert mean == pytest.approx(gas / flow, rel=0.0092)
    assert mean < gas / flow < FIGURES["ventilation.limit"].value / 100.0


@pytest.mark.published(source=ZVEI, where="air is linear in cells, current and number of batteries")
def test_another_battery_never_asks_for_less():
    """The sum grows with each, however small."""
    flows = [rule_flow_m3_per_h(cells, gas_a, 0.055) for cells, gas_a in ((24, 37.5), (12, 0.5), (40, 46.5))]

    assert np.all(np.diff(np.cumsum([0.0, *flows])) > 0.0)
    assert sum(flows) == pytest.approx(0.055 * (24 * 37.5 + 12 * 0.5 + 40 * 46.5))


# Hydrogen through time


@pytest.mark.published(source="scipy.integrate.solve_ivp", where="dc/dt = (G - (Q + G) c)/V, the same steps")
@pytest.mark.parametrize("fan", ["steady", "fails", "off"])
def test_mixing_against_a_solver(fan):
    """A night of charges in 200 m3, gas from 0 to 1 m3/h; the solver is asked for eleven digits within each step."""
    generator = np.random.default_rng(7)
    gas = np.where(generator.random(48) < 0.3, 0.0, generator.uniform(0.0, 1.0, 48))
    flow = {"steady": np.full(48, 80.0), "fails": np.where(np.arange(48) < 20, 80.0, 0.0), "off": np.zeros(48)}[fan]
    share, expected = 0.002, []
    for each_gas, each_flow in zip(gas, flow, strict=True):
        solved = solve_ivp(
            lambda _, c, g=each_gas, q=each_flow: (g - (q + g) * c) / 200.0,
            (0.0, 0.25),
            [share],
            rtol=1e-11,
            atol=1e-14,
        )
        share = float(solved.y[0, -1])
        expected.append(share)

    assert hydrogen_over_time(gas, 0.25, flow, 200.0, 0.002) == pytest.approx(expected, rel=1e-8)
    if fan == "steady":
        assert hydrogen_over_time(gas, 0.25, 80.0, 200.0, 0.002) == pytest.approx(expected, rel=1e-8)


@pytest.mark.published(source="scipy.integrate.solve_ivp", where="its event at 1 % after the fan fails")
def test_time_to_one_percent_against_a_solver():
    """A room at its steady share when the fan fails; a little air still leaks in."""
    gas, volume = 0.5, 200.0
    start = steady_hydrogen_share(gas, 80.0)

    def reached(_, c):
        return c[0] - 0.01

    solved = solve_ivp(
        lambda _, c: (gas - (4.0 + gas) * c) / volume, (0.0, 20.0), [start], events=reached, rtol=1e-11, atol=1e-14
    )

    assert hours_to_share(gas, 4.0, volume, 0.01, start) == pytest.approx(float(solved.t_events[0][0]), rel=1e-6)


# Force


@pytest.mark.published(source="UK HSE L23, push and pull assessment", where="force linear in mass")
def test_force_is_linear_in_mass():
    """Twice the battery, twice the force, from one sheet of masses."""
    masses = np.array([250.0, 500.0, 1000.0, 2000.0])
    forces = np.array([rolling_force_n(float(mass), 0.02) for mass in masses])

    assert forces / masses == pytest.approx(0.02 * 9.80665)


# Supply


# A charge, life, warmth and water
