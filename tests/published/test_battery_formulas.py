"""Discharge and charge against printed figures, runs of a cell model and cases worked out from the equations.

Tolerances are half of the last digit printed, unless a line says otherwise. Charge cases are per 100 Ah, so
that currents read as ampere per 100 Ah.
"""

import csv
import math
from pathlib import Path

import pytest

from batsim.formulas.charging import charge_phases, voltage_limit_v
from batsim.formulas.discharge import Cell, capacity_factor, five_hour_capacity_ah, soc_after
from batsim.formulas.gassing import WATER_G_PER_AH
from batsim.formulas.phases import Profile, phases_hours, wall_kwh
from tests.closed_forms import (
    discharge_ah,
    discharge_hours,
    gassing_ah,
    phases_ah,
    phases_kwh,
)

WORKED_OUT = "worked out from the equations"
FALLING = Profile("W", 0.0, 4.0, 0.0, 1.2, 0.99, 2.0, 2.4, 2.65, 14.0, 0.2, 8.0, 0.8)
DOUBLED = FALLING._replace(kind="WoWa", w_first_factor=2.0)
GEL = Profile("IUI", 18.0, 0.5, 1.0, 1.025, 0.995, 2.05, 2.37, 2.5)


def _iu(main_a, end_a=5.0, *, kind="IU", tau_h=1.0):
    return Profile(kind, main_a, end_a, tau_h, 1.15, 0.99, 2.0, 2.4, 2.6)


def _printed(value, digits):
    return pytest.approx(value, abs=0.501 * 10.0**-digits)


# Discharge


@pytest.mark.published(source="Peukert 1897", where="500 Ah at 5 h, n = 1.2; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("amps", "hours", "amp_hours"),
    [(50.0, 11.4870, 574.35), (100.0, 5.0, 500.0), (150.0, 3.0737, 461.05)],
)
def test_peukert_about_the_five_hour_rate(amps, hours, amp_hours):
    """As a discharge from full to empty, without a floor of kappa."""
    flat = Cell(500.0, 24, 2.0, 0.0, 0.0, 1.2, 0.0, 1.0)

    assert discharge_hours(1.0, 0.0, amps * 48.0, flat) == _printed(hours, 4)
    assert discharge_ah(1.0, 0.0, amps * 48.0, flat) == _printed(amp_hours, 2)


@pytest.mark.published(source="Peukert 1897", where="C6 over C5; " + WORKED_OUT)
@pytest.mark.parametrize(("peukert", "ratio"), [(1.10, 1.0167), (1.20, 1.0309), (1.28, 1.0407)])
def test_six_hour_over_five_hour_capacity(peukert, ratio):
    assert 1.0 / five_hour_capacity_ah(1.0, 6.0, peukert) == _printed(ratio, 4)


@pytest.mark.published(source="IEC 60254-1 capacity test (from memory)", where="480 Ah at 20 degC; " + WORKED_OUT)
def test_capacity_corrected_to_thirty_degrees():
    """One slope of 0.5, 0.6 or 1 % per K all the way down."""

    def factor(degc, per_k):
        slopes = {"warm_per_k": per_k, "knee_degc": -20.0, "cold_per_k": per_k}
        return capacity_factor(degc, rated_degc=30.0, **slopes, cold_table=())

    assert 480.0 / factor(20.0, 0.006) == _printed(510.64, 2)
    assert [factor(10.0, per_k) for per_k in (0.005, 0.006, 0.010)] == pytest.approx([0.900, 0.880, 0.800])


@pytest.mark.published(
    source="Peukert 1897; Copetti, Lorenzo and Chenlo 1993 (slope of the voltage)",
    where="500 Ah, 24 cells, r = 0.5 ohm Ah, E = 1.97 + 0.16 soc, full to 20 %; " + WORKED_OUT,
)
@pytest.mark.parametrize(
    ("power_w", "peukert", "degc", "hours"),
    [
        (2500.0, 1.0, 30.0, 7.7348),
        (2500.0, 1.2, 30.0, 8.8256),
        (5000.0, 1.2, 30.0, 3.7169),
        (5000.0, 1.2, 10.0, 3.2709),
    ],
)
def test_hours_at_a_mean_power(power_w, peukert, degc, hours):
    """Without a floor of kappa, 0.6 % per K; the hours come from adaptive quadrature."""
    slopes = {"rated_degc": 30.0, "warm_per_k": 0.006, "knee_degc": 0.0, "cold_per_k": 0.006}
    cell = Cell(500.0, 24, 1.97, 0.16, 0.5, peukert, 0.0, capacity_factor(degc, **slopes, cold_table=()))

    exact_h = discharge_hours(1.0, 0.2, power_w, cell)
    assert exact_h == _printed(hours, 4)
    assert soc_after(1.0, exact_h, power_w, cell)[0] == pytest.approx(0.2, abs=2e-5)


@pytest.mark.published(source="Peukert 1897", where="the same with kappa at least 0.8909; " + WORKED_OUT)
def test_hours_at_a_weak_power_with_a_floor():
    """The floor is that of the 10 h rate, (1/2)^(0.2/1.2); rounding it moves the fourth digit by one."""
    cell = Cell(500.0, 24, 1.97, 0.16, 0.5, 1.2, 0.5 ** (0.2 / 1.2), 1.0)

    assert discharge_hours(1.0, 0.2, 2500.0, cell) == pytest.approx(8.6821, abs=1.5e-4)


@pytest.mark.worked_out(where="r = 0, n = 1: (C5 N/P) [E0 (a-b) + k (a^2-b^2)/2]")
def test_hours_without_resistance():
    """The exact polynomial, which three Gauss points must meet."""
    cell = Cell(500.0, 24, 1.97, 0.16, 0.0, 1.0, 0.0, 1.0)

    assert discharge_hours(1.0, 0.2, 2500.0, cell) == _printed(7.93344, 5)


# Charge


@pytest.mark.published(
    source="Woodbridge 1935, ampere-hour law (as quoted)",
    where="current at most the ampere-hours missing: 90 % back in 2 to 3 h; digits " + WORKED_OUT,
)
@pytest.mark.parametrize(
    ("main_a", "missing_ah", "hours"), [(200.0, 80.0, 2.0794), (200.0, 100.0, 2.3026), (80.0, 100.0, 2.3294)]
)
def test_ampere_hour_law(main_a, missing_ah, hours):
    """20 to 90 %, 0 to 90 %, and 0 to 90 % with the first current held to 0.8 C."""
    charge = charge_phases(_iu(main_a), 100.0, missing_ah, missing_ah, 0.9)

    assert phases_hours(charge) == _printed(hours, 4)
    assert 2.0 <= phases_hours(charge) <= 3.0


IUIA_CASES = [  # main current, factor, onset of the U phase, hours of the three phases, all hours, gas Ah
    (16.0, 1.15, 0.840, 4.000, 1.163, 3.400, 8.563, 12.167),
    (16.0, 1.20, 0.840, 4.000, 1.163, 4.200, 9.363, 16.075),
    (18.0, 1.15, 0.820, 3.444, 1.281, 3.400, 8.125, 12.167),
    (20.0, 1.07, 0.800, 3.000, 1.386, 2.120, 6.506, 6.200),
    (20.0, 1.15, 0.800, 3.000, 1.386, 3.400, 7.786, 12.167),
    (25.0, 1.07, 0.750, 2.200, 1.609, 2.120, 5.929, 6.200),
    (25.0, 1.15, 0.750, 2.200, 1.609, 3.400, 7.209, 12.167),
    (25.0, 1.20, 0.750, 2.200, 1.609, 4.200, 8.009, 16.075),
    (40.0, 1.15, 0.600, 1.000, 2.079, 3.400, 6.479, 12.167),
]


@pytest.mark.published(
    source="DIN 41773-1 (structure); Woodbridge 1935 (acceptance)",
    where="IUIa, 80 of 100 Ah drawn, end current 5 A, tau 1 h; " + WORKED_OUT,
)
@pytest.mark.parametrize(("main_a", "factor", "onset", "i_h", "u_h", "end_h", "hours", "gas_ah"), IUIA_CASES)
def test_iuia(main_a, factor, onset, i_h, u_h, end_h, hours, gas_ah):
    """Common practice for 16 to 20 A and a factor of 1.15 is 7 to 9 h."""
    charge = charge_phases(_iu(main_a, kind="IUIa"), 100.0, 80.0, factor * 80.0)

    assert [phase.hours for phase in charge] == [_printed(each, 3) for each in (i_h, u_h, end_h)]
    assert charge[0].soc_to == _printed(onset, 3)
    assert phases_hours(charge) == _printed(hours, 3)
    assert gassing_ah(charge, 100.0) == _printed(gas_ah, 3)


@pytest.mark.published(
    source="DIN 41773-1 (structure); Faraday's law (water)",
    where="IUIa, 400 of 500 Ah drawn, 24 cells, 100/25 A, factor 1.15, efficiency 0.92; " + WORKED_OUT,
)
def test_iuia_on_a_truck_battery():
    """Hours, ampere-hours, energy at the battery and at the wall, gas, water, and what is still missing."""
    charge = charge_phases(_iu(100.0, 25.0, kind="IUIa"), 500.0, 400.0, 460.0)
    dc_kwh, gas_ah = phases_kwh(charge, 24), gassing_ah(charge, 500.0)
    discharged_kwh = 24 * 1.95 * 400.0 / 1000.0

    assert [phases_ah((phase,)) for phase in charge] == pytest.approx([300.0, 75.0, 85.0])
    assert phases_hours(charge) == _printed(7.786, 3)
    assert phases_ah(charge) == pytest.approx(460.0)
    assert dc_kwh == _printed(25.824, 3)
    assert wall_kwh(dc_kwh, 0.92) == _printed(28.070, 3)
    assert discharged_kwh == pytest.approx(18.72)
    assert discharged_kwh / dc_kwh == _printed(0.7249, 4)
    assert wall_kwh(dc_kwh, 0.92) / discharged_kwh == _printed(1.4994, 4)
    assert gas_ah == _printed(60.834, 3)
    assert 500.0 * (1.0 - charge[-1].soc_to) == _printed(0.834, 3)
    assert 0.3361 * 24 * gas_ah == pytest.approx(490.7, abs=0.06)  # 0.3361 g per Ah is itself rounded


@pytest.mark.published(source="Woodbridge 1935", where="IU, part charge 40 to 80 %, tau 1 h; " + WORKED_OUT)
@pytest.mark.parametrize(("main_a", "onset", "hours"), [(16.0, 0.84, 2.5), (40.0, 0.60, 1.1931)])
def test_opportunity_charge(main_a, onset, hours):
    """The weaker current never meets the voltage limit, so its onset shows in a charge that goes on."""
    charge = charge_phases(_iu(main_a), 100.0, 60.0, 60.0, 0.8)

    assert phases_hours(charge) == _printed(hours, 4)
    assert charge_phases(_iu(main_a), 100.0, 60.0, 60.0)[0].soc_to == pytest.approx(onset)
    assert all(phase.decay_per_h == 0.0 for phase in charge) == (onset > 0.8)


@pytest.mark.published(source="Woodbridge 1935", where="IU from 20 %, tau 1 h; " + WORKED_OUT)
@pytest.mark.parametrize(
    ("main_a", "hours"),
    [(16.0, (4.470, 5.163, 6.079)), (20.0, (3.693, 4.386, 5.303)), (25.0, (3.116, 3.809, 4.726))],
)
def test_iu_to_90_95_and_98(main_a, hours):
    charges = [charge_phases(_iu(main_a), 100.0, 80.0, 80.0, to_soc) for to_soc in (0.90, 0.95, 0.98)]

    assert [phases_hours(charge) for charge in charges] == [_printed(each, 3) for each in hours]


@pytest.mark.published(
    source="DIN 41774 (currents)",
    where="W, 80 of 100 Ah drawn, 14, 8, 4 A; 10 to 12 h is common; " + WORKED_OUT,
)
@pytest.mark.parametrize(
    ("gassing_soc", "factor", "below_h", "above_h", "hours"),
    [
        (0.80, 1.15, 5.596, 5.545, 11.141),
        (0.80, 1.20, 5.596, 6.238, 11.834),
        (0.84, 1.20, 5.969, 5.545, 11.514),
        (0.92, 1.20, 6.715, 4.159, 10.874),
    ],
)
def test_falling_current(gassing_soc, factor, below_h, above_h, hours):
    """Below and above the onset of gassing, and gas of factor - 1 times what was drawn."""
    charge = charge_phases(FALLING._replace(gassing_soc=gassing_soc), 100.0, 80.0, factor * 80.0)

    assert [phase.hours for phase in charge] == [_printed(below_h, 3), _printed(above_h, 3)]
    assert phases_hours(charge) == _printed(hours, 3)
    assert 10.0 <= phases_hours(charge) <= 12.0
    assert gassing_ah(charge, 100.0) == pytest.approx((factor - 1.0) * 80.0)


@pytest.mark.published(
    source="DIN 41774 (currents); WoWa from memory", where="W doubled below gassing: 7.5 to 9 h from 80 % of depth"
)
def test_two_falling_lines():
    """At a factor of 1.15; at 1.20 it is 9.04 h. Digits worked out: half of 5.596 h, and 5.545 h."""
    charge = charge_phases(DOUBLED, 100.0, 80.0, 1.15 * 80.0)

    assert [phase.hours for phase in charge] == [_printed(2.798, 3), _printed(5.545, 3)]
    assert 7.5 <= phases_hours(charge) <= 9.0
    assert phases_hours(charge_phases(DOUBLED, 100.0, 80.0, 1.20 * 80.0)) == _printed(9.04, 2)


@pytest.mark.common_practice(
    where="makers' instructions: gel: 0.18 C5 to 2.37 V, then C5/200 for 4 h; 12 h in all from 80 %, 8 h from 60 %"
)
def test_gel():
    """The first to 2 %; from 60 % it is 9.9 h, for 20 % of C5 take 1.1 h at 0.18 C5, and not the 4 h in print."""
    from_80, from_60 = (charge_phases(GEL, 100.0, drawn_ah, 1.025 * drawn_ah) for drawn_ah in (80.0, 60.0))

    assert phases_hours(from_80) == pytest.approx(12.0, rel=0.02)
    assert 8.0 <= phases_hours(from_60) <= 10.0
    assert from_60[-1].hours == pytest.approx(4.0)


PRESETS = [  # charger, ampere-hours missing, factor, charge to, hours, gas Ah, water g a cell
    (FALLING, 80.0, 1.20, 1.0, 11.8, 16.0, 5.4),
    (_iu(16.0, kind="IUIa"), 80.0, 1.15, 1.0, 8.6, 12.2, 4.1),
    (_iu(18.0, kind="IUIa"), 80.0, 1.15, 1.0, 8.1, 12.2, 4.1),
    (_iu(20.0, kind="IUIa"), 80.0, 1.15, 1.0, 7.8, 12.2, 4.1),
    (_iu(20.0, kind="IUIa"), 80.0, 1.07, 1.0, 6.5, 6.2, 2.1),
    (_iu(25.0, kind="IUIa"), 80.0, 1.07, 1.0, 5.9, 6.2, 2.1),
    (_iu(25.0, kind="IUIa"), 60.0, 1.00, 0.8, 1.6, 0.0, 0.0),
    (_iu(50.0, kind="IUIa"), 60.0, 1.00, 0.8, 1.1, 0.0, 0.0),
]


@pytest.mark.published(
    source="DIN 41773-1, DIN 41774 (structure); Woodbridge 1935; Faraday's law",
    where="usual chargers on 100 Ah: full from 80 % of depth, part charges 40 to 80 %; " + WORKED_OUT,
)
@pytest.mark.parametrize(("profile", "missing_ah", "factor", "to_soc", "hours", "gas_ah", "water_g"), PRESETS)
def test_usual_chargers(profile, missing_ah, factor, to_soc, hours, gas_ah, water_g):
    charge = charge_phases(profile, 100.0, missing_ah, factor * missing_ah, to_soc)

    assert phases_hours(charge) == _printed(hours, 1)
    assert gassing_ah(charge, 100.0) == _printed(gas_ah, 1)
    assert WATER_G_PER_AH * gassing_ah(charge, 100.0) == _printed(water_g, 1)


@pytest.mark.common_practice(where="makers' instructions: gel: -5 mV per cell and kelvin outside 15 to 40 degC")
@pytest.mark.parametrize(("degc", "volts"), [(5.0, 2.42), (15.0, 2.37), (30.0, 2.37), (40.0, 2.37), (45.0, 2.345)])
def test_voltage_limit_of_gel(degc, volts):
    """Read as measured from the nearer end of the band, so that the limit has no step."""
    band = {"from_degc": 15.0, "to_degc": 40.0}

    assert voltage_limit_v(2.37, degc, rated_degc=30.0, per_k=-0.005, **band) == pytest.approx(volts)


@pytest.mark.published(
    source="Copetti, Lorenzo and Chenlo 1993, Prog. Photovoltaics 1, 283-292",
    where="gassing voltage: factor 1 - 0.002 (T - 25)",
)
@pytest.mark.parametrize("degc", [0.0, 25.0, 35.0])
def test_voltage_limit_at_every_temperature(degc):
    """A band of no width; -4.8 mV for each kelvin at 2.40 V, near the -5 mV of the makers."""
    limit_v = voltage_limit_v(2.4, degc, rated_degc=25.0, per_k=-0.002 * 2.4, from_degc=25.0, to_degc=25.0)

    assert limit_v == pytest.approx(2.4 * (1.0 - 0.002 * (degc - 25.0)))


@pytest.mark.published(source="DIN 41776 (from memory)", where="I, 5 A, 80 of 100 Ah drawn, 1.2; " + WORKED_OUT)
def test_constant_current():
    assert phases_hours(charge_phases(_iu(5.0, kind="I"), 100.0, 80.0, 96.0)) == pytest.approx(19.2)


# Lithium-ion: closed form against a cell model

MODEL_CASES = []
with Path(__file__).with_name("pybamm_liion_cccv.csv").open(encoding="utf-8") as _file:
    for _row in csv.DictReader(line for line in _file if not line.startswith("#")):
        _figures = {name: float(value) for name, value in _row.items() if name != "chemistry"}
        MODEL_CASES.append(pytest.param(_figures, id=f"{_row['chemistry']}-{_row['rate_per_h']}C"))
# Widest error of the closed form by rate, as found when it was chosen: to a state of charge, and in all.
NMC_ERROR = {0.3: (0.001, 0.003), 0.5: (0.001, 0.003), 1.0: (0.0166, 0.009), 1.5: (0.0135, 0.012)}
LFP_ERROR = (0.0001, 0.003)


def _lithium(model):
    main_a, end_a = model["rate_per_h"] * model["nominal_ah"], model["nominal_ah"] / 20.0
    return Profile("CC-CV", main_a, end_a, model["tau_h"], 1.0, model["end_share"], 3.5, 3.6, 3.6)


@pytest.mark.published(
    source="PyBaMM runs: Chen et al. 2020, J. Electrochem. Soc. 167, 080534; Prada et al. 2013, 160, A616",
    where="pybamm_liion_cccv.csv, every row",
)
@pytest.mark.parametrize("model", MODEL_CASES)
def test_lithium_charge_against_a_cell_model(model):
    """Time to 50, 80, 90, 95 % and in all; the constants tau and end share are those of the run."""
    profile, capacity_ah = _lithium(model), model["capacity_ah"]
    part_error, whole_error = LFP_ERROR if model["tau_h"] < 0.1 else NMC_ERROR[model["rate_per_h"]]

    for percent in (50, 80, 90, 95):
        charge = charge_phases(profile, capacity_ah, capacity_ah, 0.0, percent / 100.0)
        assert phases_hours(charge) == pytest.approx(model[f"t_{percent}_h"], rel=part_error)
    charge = charge_phases(profile, capacity_ah, capacity_ah, 0.0)
    assert phases_hours(charge) == pytest.approx(model["total_h"], rel=whole_error)
    assert charge[-1].soc_to == pytest.approx(model["end_share"])
    assert charge[-1].amps * math.exp(-charge[-1].decay_per_h * charge[-1].hours) == pytest.approx(
        model["nominal_ah"] / 20.0
    )


@pytest.mark.published(
    source="PyBaMM runs: Chen et al. 2020; Prada et al. 2013", where="pybamm_liion_cccv.csv, up to 1 C"
)
@pytest.mark.parametrize("model", [case for case in MODEL_CASES if "1.5" not in str(case.id)])
def test_lithium_onset_of_constant_voltage(model):
    """Where the voltage is reached, to 0.01 of the capacity; at 1.5 C the closed form is early by 0.06."""
    charge = charge_phases(_lithium(model), model["capacity_ah"], model["capacity_ah"], 0.0)

    assert charge[0].soc_to == pytest.approx(model["cc_end_share"], abs=0.01)
    assert charge[0].hours == pytest.approx(model["cc_h"], rel=0.012)


ROUNDED_RUNS = [  # rate, nominal and real capacity, tau, full at; hours to 50, 80, 90, 95 %, end of CC, hours in all
    ("NMC", 1.0, 5.0, 5.134206, 0.330, 0.9843, 0.5134, 0.8676, 1.0899, 1.3035, 0.6856, 1.6725),
    ("NMC", 0.5, 5.0, 5.134206, 0.293, 0.9848, 1.0268, 1.6429, 1.8646, 2.0714, 0.8559, 2.4393),
    ("LFP", 1.0, 2.3, 2.265819, 0.0138, 0.9992, None, 0.7881, None, 0.9359, 0.9876, 1.0152),
]


@pytest.mark.published(
    source="PyBaMM runs: Chen et al. 2020, to 4.2 V; Prada et al. 2013, to 3.6 V; end at C/20", where="1 C and 0.5 C"
)
@pytest.mark.parametrize("run", ROUNDED_RUNS, ids=lambda run: f"{run[0]}-{run[1]}C")
def test_lithium_charge_with_rounded_constants(run):
    """Three digits of tau are enough: 1.7 % to a state of charge, 1.2 % in all, 0.01 of where the voltage is met."""
    name, rate, nominal_ah, capacity_ah, tau_h, full, *hours_to, onset, hours = run
    profile = Profile("CC-CV", rate * nominal_ah, nominal_ah / 20.0, tau_h, 1.0, full, 3.5, 3.6, 3.6)
    part_error, whole_error = (0.0001, 0.003) if name == "LFP" else (0.017, 0.012)

    for soc, run_h in zip((0.5, 0.8, 0.9, 0.95), hours_to, strict=True):
        part = charge_phases(profile, capacity_ah, capacity_ah, 0.0, soc)
        assert run_h is None or phases_hours(part) == pytest.approx(run_h, rel=part_error)
    charge = charge_phases(profile, capacity_ah, capacity_ah, 0.0)
    assert phases_hours(charge) == pytest.approx(hours, rel=whole_error)
    assert charge[0].soc_to == pytest.approx(onset, abs=0.01)


@pytest.mark.published(
    source="PyBaMM runs: Chen et al. 2020; Prada et al. 2013", where="pybamm_liion_cccv.csv: widest error of all"
)
def test_widest_error_of_the_closed_form():
    """As found when the form was chosen: 1.65 % at 1 C to 80 %, 1.34 % at 1.5 C, 0.8 % else; 1.2 % in all."""
    errors = {}
    for case in MODEL_CASES:
        (model,) = case.values
        for percent in (50, 80, 90, 95):
            charge = charge_phases(_lithium(model), model["capacity_ah"], model["capacity_ah"], 0.0, percent / 100.0)
            errors[case.id, percent] = abs(phases_hours(charge) / model[f"t_{percent}_h"] - 1.0)
    widest = sorted(errors, key=errors.__getitem__, reverse=True)

    assert widest[0] == ("NMC-1.0C", 80)
    assert errors[widest[0]] == _printed(0.0165, 4)
    assert max(errors["NMC-1.5C", percent] for percent in (50, 80, 90, 95)) == _printed(0.0134, 4)
    assert max(error for (name, _), error in errors.items() if name.startswith("LFP")) < 0.0001
    rest = [error for (name, percent), error in errors.items() if name != "NMC-1.5C" and (name, percent) != widest[0]]
    assert max(rest) <= 0.008


@pytest.mark.worked_out(where="CC-CV: iron phosphate pack, tau 0.04 h, 20 to 100 %, end C/20")
@pytest.mark.parametrize(("main_a", "hours"), [(50.0, 1.66), (100.0, 0.88)])
def test_lithium_pack(main_a, hours):
    profile = Profile("CC-CV", main_a, 5.0, 0.04, 1.0, 1.0, 3.35, 3.6, 3.6)
    charge = charge_phases(profile, 100.0, 80.0, 80.0)

    assert phases_hours(charge) == _printed(hours, 2)
    assert gassing_ah(charge, 100.0) == pytest.approx(0.0, abs=1e-9)
