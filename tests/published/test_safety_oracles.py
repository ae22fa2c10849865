"""Gas, air, force, supply and wash water against worked cases of standards, handbooks and guides.

Tolerances are half of the last digit printed where a source prints, and 0.1 % where a case was worked out from the
formula of a source; a line says so where it is otherwise. Editions are named: 0.055 is IEC 62485-3:2014, 0.05 is
EN 50272-3:2002.
"""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from batsim.catalogue import FIGURES
from batsim.formulas.discharge import Cell, discharge_at_power
from batsim.formulas.gassing import hydrogen_l, water_deficit_g
from batsim.formulas.heat import cool_down_h
from batsim.formulas.phases import peak_wall_kw, wall_kwh
from batsim.formulas.push_force import largest_mass_kg, rolling_force_n
from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from batsim.formulas.supply import (
    apparent_kva,
    coincidence_share,
    continuous_rating_a,
    line_current_a,
    load_factor_share,
)
from batsim.formulas.ventilation import (
    area_flow_m3_per_h,
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_cm2,
    rule_flow_m3_per_h,
    rule_gas_current_a,
)
from batsim.formulas.wear import Life, discharge_damage
from batsim.units import parse
from tests.closed_forms import steady_hydrogen_share, temperature_after_degc

WORKED_OUT = "worked out from the formula"
ZVEI = "IEC 62485-3:2014 by way of ZVEI leaflet 14 (May 2017, May 2020); EN 50272-3:2002"
UFC = "UFC 3-410-04N (2004), US Department of Defense"
HSE = "UK HSE L23, push and pull assessment; filters 200 and 100 N for men, 70 N for women to keep moving"
ATMOSPHERE_PA = 101325.0
LITRES_PER_FT3 = 28.316846592
M3_PER_FT3 = LITRES_PER_FT3 / 1000.0
EDITIONS = (
    ("ventilation.coefficient", 0.055, "IEC 62485-3:2014"),
    ("ventilation.coefficient_2002", 0.05, "EN 50272-3:2002"),
)


def _printed(value, digits):
    return pytest.approx(value, abs=0.501 * 10.0**-digits)


def _worked(value):
    return pytest.approx(value, rel=0.001)


def _litres(ah, cells, degc=25.0):
    return hydrogen_l(ah, cells, degc, ATMOSPHERE_PA)


def _share(name):
    return FIGURES[name].value / 100.0


# Hydrogen of an ampere-hour


@pytest.mark.worked_out(where="Faraday's law: 1 Ah in one cell at 101.325 kPa")
@pytest.mark.parametrize(
    ("degc", "litres", "ft3"), [(0.0, 0.41815, 0.014767), (20.0, 0.44876, 0.015848), (25.0, 0.45642, 0.016118)]
)
def test_hydrogen_of_an_ampere_hour(degc, litres, ft3):
    """Litres and cubic feet at three temperatures, to the digits worked out; 0.3361 g of water."""
    assert _litres(1.0, 1, degc) == _printed(litres, 5)
    assert _litres(1.0, 1, degc) / LITRES_PER_FT3 == _printed(ft3, 6)
    assert water_deficit_g(1.0, 1) == _printed(0.3361, 4)


@pytest.mark.published(
    source="ZVEI leaflet 14 (2017); UFC 3-410-04N (2004); UFC 3-520-01 (2002)",
    where="25 degC: 0.45 l, 0.016 ft3 and 1.27e-7 m3/s = 0.000269 cfm for an ampere and cell",
)
def test_printed_rates_are_the_same_faraday_number():
    """The leaflet rounds down: 0.45 l is 1.4 % short."""
    litres = _litres(1.0, 1)

    assert litres == pytest.approx(0.45, rel=0.015)
    assert litres / LITRES_PER_FT3 == _printed(0.016, 3)
    assert litres / 1000.0 / 3600.0 == _printed(1.27e-7, 9)
    assert litres / LITRES_PER_FT3 / 60.0 == _printed(0.000269, 6)
    assert 1.0 / water_deficit_g(1.0, 1) == _printed(2.975, 3)


# Worked ventilation


@pytest.mark.common_practice(
    where="hydrogen by hand: 24 cells, 450 Ah, 20 % overcharge in the last 4 h, 0.01474 ft3 per Ah"
)
def test_hand_calculation_for_a_motive_battery():
    """7.9596 ft3/h; 22.5 A, which are 5 A per 100 Ah; 1 % takes 13.27 cfm of exhaust, 22.5 m3/h, gas included."""
    gas_a = 0.20 * 450.0 / 4.0
    gas_ft3 = 24 * gas_a * 0.01474
    exhaust_m3 = gas_ft3 * M3_PER_FT3 + flow_for_share_m3_per_h(gas_ft3 * M3_PER_FT3, 0.01)

    assert gas_a == _worked(22.5)
    assert rule_gas_current_a(5.0, 450.0) == _worked(gas_a)
    assert gas_ft3 == _printed(7.9596, 4)
    assert gas_ft3 * LITRES_PER_FT3 == _printed(225.4, 1)
    assert exhaust_m3 == _printed(22.5, 1)
    assert parse("13.27 cfm", "volume_flow") == pytest.approx(exhaust_m3, rel=0.001)


@pytest.mark.published(source=ZVEI, where="24 cells, 22.5 A; " + WORKED_OUT)
def test_the_same_battery_by_both_editions():
    """27.0 m3/h by the older edition and 29.7 by the newer."""
    assert rule_flow_m3_per_h(24, 22.5, 0.05) == _worked(27.0)
    assert rule_flow_m3_per_h(24, 22.5, 0.055) == _worked(29.7)


@pytest.mark.published(source=ZVEI, where="48 V 625 Ah, by characteristic; openings EN 50272-2, 8.2; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("name", "coefficient", "gas_a", "flow", "area_cm2", "volume_m3"),
    [
        ("IUIa.vented_lead_acid", 0.055, 37.5, 49.5, 1386.0, 123.75),
        ("IUIa.vented_lead_acid", 0.05, 37.5, 45.0, 1260.0, 112.5),
        ("IU.vented_lead_acid", 0.055, 12.5, 16.5, 462.0, 41.25),
        ("IUI.valve_regulated", 0.055, 9.375, 12.375, 346.5, 30.9375),
    ],
)
def test_one_battery_of_48_v(name, coefficient, gas_a, flow, area_cm2, volume_m3):
    """Gas currents, 28 cm2 and 2.5 h of the catalogue."""
    amps = rule_gas_current_a(FIGURES[f"ventilation.gas_current.{name}"].value, 625.0)
    air = rule_flow_m3_per_h(24, amps, coefficient)
    area = opening_cm2(air, FIGURES["ventilation.opening"].value)

    assert amps == _worked(gas_a)
    assert air == _worked(flow)
    assert area == _worked(area_cm2)
    assert free_volume_m3(air, FIGURES["ventilation.free_volume"].value) == _worked(volume_m3)


@pytest.mark.published(source=ZVEI, where="ten batteries of 80 V 775 Ah at once, 6 A per 100 Ah; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("coefficient", "flow", "opening_m2", "volume_m3"),
    [(0.055, 1023.0, 2.8644, 2557.5), (0.05, 930.0, 2.604, 2325.0)],
)
def test_ten_batteries_of_80_v(coefficient, flow, opening_m2, volume_m3):
    """46.5 A each; the air of batteries charged at once is added up (from memory)."""
    amps = rule_gas_current_a(6.0, 775.0)
    air = sum(rule_flow_m3_per_h(40, amps, coefficient) for _ in range(10))

    assert amps == _worked(46.5)
    assert air == _worked(flow)
    assert opening_cm2(air, 28.0) / 1e4 == _worked(opening_m2)
    assert free_volume_m3(air, 2.5) == _worked(volume_m3)


@pytest.mark.common_practice(where="100 cells, 50 A, 0.0158 ft3 per Ah at 20 degC, room 10 x 15 x 8 ft")
def test_a_closed_room_of_1200_cubic_feet():
    """79 ft3/h; 1 % are 12 ft3, reached within ten minutes without air, to half a percent by plain division."""
    gas = 100 * 50.0 * 0.0158
    volume = 10.0 * 15.0 * 8.0

    assert gas == _worked(79.0)
    assert 100 * 50.0 * _litres(1.0, 1, 20.0) / LITRES_PER_FT3 == pytest.approx(gas, rel=0.005)
    assert 0.01 * volume == 12.0
    assert hours_to_share(gas, 0.0, volume, 0.01) == pytest.approx(12.0 / 79.0, rel=0.0051)
    assert steady_hydrogen_share(gas, 0.0) > 0.01


@pytest.mark.published(
    source="New York City Mechanical Code 502.4", where="1 cfm per square foot on 50 m2; " + WORKED_OUT
)
def test_air_by_floor_area():
    """914.4 m3/h, which are 538.2 cfm, one for each of 538.2 square feet."""
    per_m2 = FIGURES["ventilation.area_flow"].value
    air = area_flow_m3_per_h(50.0, per_m2 / 3600.0)

    assert per_m2 / 3600.0 == _printed(0.00508, 5)
    assert air == _worked(914.4)
    assert air / parse("1 cfm", "volume_flow") == _printed(538.2, 1)
    assert 50.0 / parse("1 ft2", "area") == _printed(538.2, 1)


# Properties of the rules


@pytest.mark.published(source=ZVEI, where="0.055 over 0.05, and 28 cm2 for each m3/h; " + WORKED_OUT)
def test_the_newer_edition_asks_for_a_tenth_more():
    """The catalogue's coefficients and its opening, exactly."""
    newer, older = (FIGURES[name].value for name, *_ in EDITIONS)
    flow = rule_flow_m3_per_h(24, 37.5, newer)

    assert [FIGURES[name].value for name, *_ in EDITIONS] == [value for _, value, _ in EDITIONS]
    assert flow / rule_flow_m3_per_h(24, 37.5, older) == pytest.approx(1.1)
    assert opening_cm2(flow, FIGURES["ventilation.opening"].value) / flow == 28.0
    assert math.ceil(1e4 / (3600.0 * 0.1)) == 28  # air at 0.1 m/s
    assert FIGURES["ventilation.limit"].value == FIGURES["ventilation.lower_flammable"].value / 4.0


@pytest.mark.published(
    source=ZVEI, where="mean hydrogen at the air of the rule is 0.456e-3/k at 25 degC; " + WORKED_OUT
)
@pytest.mark.parametrize(("coefficient", "percent"), [(0.05, 0.913), (0.055, 0.830)])
@pytest.mark.parametrize(("cells", "gas_a"), [(12, 9.3), (24, 37.5), (40, 46.5)])
def test_mean_hydrogen_at_the_air_of_the_rule(coefficient, percent, cells, gas_a):
    """Below 1 % for any battery. Plain G/Q is printed; with the gas itself counted it is 0.7 % of that lower."""
    gas = _litres(1.0, 1) / 1000.0 * cells * gas_a
    flow = rule_flow_m3_per_h(cells, gas_a, coefficient)
    mean = steady_hydrogen_share(gas, flow)

    assert 100.0 * gas / flow == _printed(percent, 3)
    assert gas / flow == _worked(0.456e-3 / coefficient)
    assert mean == pytest.approx(0.45642e-3 / (coefficient + 0.45642e-3), rel=1e-4)
    assert mean == pytest.approx(gas / flow, rel=0.0092)
    assert mean < gas / flow < FIGURES["ventilation.limit"].value / 100.0


@pytest.mark.published(source="EN 50272-3:2002; IEC 62485-3:2014", where="v q s with v = 24, s = 5; " + WORKED_OUT)
@pytest.mark.parametrize(("degc", "coefficient"), [(0.0, 0.05), (25.0, 0.055)])
def test_coefficients_follow_from_their_parts(degc, coefficient):
    """The hydrogen of an ampere-hour, thinned to 4 % with a factor of 5; printed to two and three digits."""
    thinned = (1.0 - 0.04) / 0.04

    assert flow_for_share_m3_per_h(1.0, _share("ventilation.lower_flammable")) == pytest.approx(thinned)
    assert thinned * _litres(1.0, 1, degc) / 1000.0 * 5.0 == _printed(coefficient, 3)


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


@pytest.mark.worked_out(where="mass balance: c(t) = G/(Q + G) (1 - exp(-(Q + G) t/V))")
def test_exact_course_from_clean_air():
    """24 cells with 37.5 A in 123.75 m3 with the air of the rule: the exponential itself, hour by hour."""
    gas, flow, volume = _litres(1.0, 24) / 1000.0 * 37.5, 49.5, 123.75
    hours = np.arange(1.0, 13.0)
    exact = gas / (flow + gas) * (1.0 - np.exp(-(flow + gas) * hours / volume))

    assert hydrogen_over_time(np.full(12, gas), 1.0, flow, volume) == pytest.approx(exact, rel=1e-12)


# Force


@pytest.mark.published(
    source="UK HSE, push and pull case study 1", where="1250 kg on a hand pallet truck, 742 and 510 N"
)
def test_measured_hand_pallet_truck():
    """6.05 and 4.16 % of the weight; 3.7 and 5.1 times the filters of HSE L23: to be powered."""
    weight_n = rolling_force_n(1250.0, 1.0)
    start, rolling = 742.0 / weight_n, 510.0 / weight_n

    assert start == _printed(0.0605, 4)
    assert rolling == _printed(0.0416, 4)
    assert 742.0 / FIGURES["push.limit.hse_l23_men.start"].value == _printed(3.7, 1)
    assert 510.0 / FIGURES["push.limit.hse_l23_men.rolling"].value == _printed(5.1, 1)
    assert FIGURES["push.stop.start"].value < 742.0
    assert FIGURES["push.stop.rolling"].value < 510.0


@pytest.mark.published(source=HSE, where="2 % on good floor, 10 % on uneven floor; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("mass_kg", "share", "force_n"),
    [
        (1500.0, 0.02, 294.2),
        (1500.0, 0.05, 735.5),
        (1500.0, 0.10, 1471.0),
        (1000.0, 0.02, 196.1),
        (2000.0, 0.02, 392.3),
    ],
)
def test_force_on_a_battery(mass_kg, share, force_n):
    """Newtons to the digit worked out."""
    assert rolling_force_n(mass_kg, share) == _worked(force_n) == pytest.approx(force_n, abs=0.06)


@pytest.mark.published(source=HSE, where="largest mass at 2 %; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("limit", "mass_kg"),
    [("hse_l23_men.start", 1019.7), ("hse_l23_men.rolling", 509.9), ("hse_l23_women.rolling", 356.9)],
)
def test_largest_mass_by_hand(limit, mass_kg):
    """With the catalogue's limits and its good floor."""
    newtons = FIGURES[f"push.limit.{limit}"].value

    assert largest_mass_kg(newtons, _share("push.resistance.good")) == _printed(mass_kg, 1)


@pytest.mark.published(source=HSE, where="force linear in mass")
def test_force_is_linear_in_mass():
    """Twice the battery, twice the force, from one sheet of masses."""
    masses = np.array([250.0, 500.0, 1000.0, 2000.0])
    forces = np.array([rolling_force_n(float(mass), 0.02) for mass in masses])

    assert forces / masses == pytest.approx(0.02 * 9.80665)


# Supply


@pytest.mark.worked_out(where="definitions of efficiency and power factor: 24 cells x 2.4 V, 120 A, 0.92, 0.95")
@pytest.mark.parametrize(("volts", "amps", "rated_a"), [(400.0, 11.41, 14.27), (480.0, 9.512, 11.89)])
def test_supply_of_a_charger(volts, amps, rated_a):
    """6912 W at the battery, 7513 W and 7908 VA at the wall; 125 % of the current by the US rule."""
    per_cell = FIGURES["battery.vented_lead_acid.absorption_v"].value
    kw = peak_wall_kw(120.0, per_cell, 24, 0.92)
    kva = apparent_kva(kw, 0.95)
    current = line_current_a(kva, volts, 3)

    assert peak_wall_kw(120.0, per_cell, 24, 1.0) == _worked(6.912)
    assert kw == _worked(7.513)
    assert kva == _worked(7.908)
    assert current == _worked(amps)
    assert continuous_rating_a(current, 0.0, FIGURES["supply.continuous_factor"].value) == _worked(rated_a)


@pytest.mark.published(source="NEC 215.2, by way of a note of 2013", where="100 A continuous and 20 A other")
def test_feeder_of_continuous_and_other_load():
    """At least 145 A."""
    assert continuous_rating_a(100.0, 20.0, FIGURES["supply.continuous_factor"].value) == 145.0


@pytest.mark.published(source="Kersting, distribution textbook (from memory)", where="58.57 kWh a day, peak 6.18 kW")
def test_load_factor_of_a_day():
    """Mean 2.44 kW; printed 0.40, here 0.395."""
    mean_kw = 58.57 / 24.0

    assert mean_kw == _printed(2.44, 2)
    assert load_factor_share(mean_kw, 6.18) == _printed(0.395, 3)
    assert round(load_factor_share(mean_kw, 6.18), 1) == 0.4


@pytest.mark.worked_out(where="definition of coincidence: a bank started together at a shift's end")
def test_coincidence_of_a_bank_started_together():
    """1.0; started half and half it is a half."""
    assert coincidence_share(10 * 7.5, np.full(10, 7.5)) == 1.0
    assert coincidence_share(5 * 7.5, np.full(10, 7.5)) == 0.5


# A charge, life, warmth and water


@pytest.mark.worked_out(
    where="energy balance and Faraday's law: 48 V, 500 of 625 Ah, factor 1.10, 2.37 V in and 1.95 V out, 0.92"
)
def test_from_wall_to_work():
    """23.4 kWh out, 31.28 in, 34.00 from the wall: 68.8 %; 50 Ah of gas are 547.7 l of hydrogen and 403 g of water."""
    hours, _ = discharge_at_power(1.0, 0.2, 4000.0, Cell(625.0, 24, 1.95, 0.0, 0.0, 1.0, 0.0, 1.0))
    out_kwh, gas_ah = 4.0 * hours, 0.10 * 500.0
    in_kwh = 24 * 2.37 * (500.0 + gas_ah) / 1000.0
    from_wall_kwh = wall_kwh(in_kwh, 0.92)

    assert out_kwh == _worked(23.4)
    assert in_kwh == _worked(31.28)
    assert from_wall_kwh == _worked(34.00)
    assert 100.0 * out_kwh / from_wall_kwh == _printed(68.8, 1)
    assert _litres(gas_ah, 24) == _printed(547.7, 1)
    assert water_deficit_g(gas_ah, 24) == _printed(403.0, 0)


@pytest.mark.published(
    source="IEEE 450, life of vented lead-acid batteries by temperature (from memory)",
    where="halving by 10 K and by 15 degF",
)
@pytest.mark.parametrize(
    ("degc", "halving_k", "share"), [(35.0, 10.0, 0.5), (40.0, 10.0, 0.3536), (25.0 + 25.0 / 3.0, 25.0 / 3.0, 0.5)]
)
def test_life_at_other_temperatures(degc, halving_k, share):
    """Of the life at 25 degC."""
    life = Life(1500.0, 0.8, 1.2, 1.2, 25.0, halving_k)

    assert discharge_damage(0.8, 25.0, life) / discharge_damage(0.8, degc, life) == _printed(share, 4)


@pytest.mark.worked_out(where="Newton's law of cooling: 50 degC in a room of 25 degC, 8 h assumed")
def test_cooling_after_a_charge():
    """34.2 degC after 8 h; 35 degC after 7.33 h."""
    assert temperature_after_degc(50.0, 25.0, 0.0, 20.0, 8.0, 8.0) == _printed(34.2, 1)
    assert cool_down_h(50.0, 25.0, 35.0, 8.0) == _printed(7.33, 2)


@pytest.mark.published(source="29 CFR 1926.441", where="(a)(6): 25 feet")
def test_wash_figures_of_the_catalogue():
    """25 feet are 7.62 m."""
    assert FIGURES["wash.reach_distance_us"].value == pytest.approx(parse("25 ft", "distance"))
