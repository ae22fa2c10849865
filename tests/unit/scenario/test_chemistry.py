"""From types to formulas: warmth, charge, gassing, life and capacity of a battery type, and the air about it."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import batsim
from batsim.catalogue import FIGURES, document
from batsim.formulas.charging import charge_phases, equalising_phase
from batsim.formulas.discharge import capacity_factor
from batsim.formulas.gassing import WATER_G_PER_AH
from batsim.formulas.phases import greatest_va
from batsim.scenario.chemistry import (
    CORNER_HOURS,
    capacity_ah,
    capacity_factor_of,
    cell_of,
    gassing_of,
    greatest_load,
    life_of,
    mass_kg,
    profile_of,
    rated_cell,
    thermal_of,
    wells_of,
)
from batsim.scenario.parts.air import WEEKS_PER_YEAR, Air
from batsim.scenario.parts.batteries import BatteryType, ChargerType
from batsim.scenario.text.yaml_text import read_file
from tests.closed_forms import wells_capacity_ah as wells_ah

CHEMISTRIES = ("vented_lead_acid", "valve_regulated", "lithium_ion")
FITTING = {"vented_lead_acid": "electronic_iuia", "valve_regulated": "gel_iui", "lithium_ion": "lithium_cc_cv"}
TYPES = {name: entry for name, entry in read_file(document("battery_types")).data.items() if "cells" in entry}
OF_CHEMISTRY = {
    "vented_lead_acid": "vented_lead_acid_48v",
    "valve_regulated": "valve_regulated_24v",
    "lithium_ion": "lithium_ion_48v",
}
PLAIN = """\
site: {{name: Plain}}
week: {{shifts: {{day: {{days: Mon-Fri, from: "07:00", to: "15:00"}}}}}}
trucks: [{{group: trucks, count: 2, shifts: [day], battery: one, run_time: 6 h}}]
batteries: {{one: {{{battery}}}}}
chargers: {{ours: {{{charger}}}}}
layouts: {{stands: {{handling: portable_stands, batteries: 4, chargers: 2 x ours}}}}
"""


def types_of(start: str, charger: str = "", **stated: object) -> tuple[BatteryType, ChargerType]:
    """A battery type of the catalogue with some keys stated otherwise, and a charger type that fits."""
    keys = "".join(f", {key}: {value}" for key, value in stated.items())
    charger = charger or f"from: {FITTING[TYPES[start]['chemistry']]}"
    scenario = batsim.read_scenario_text(PLAIN.format(battery=f"from: {start}{keys}", charger=charger))
    return scenario.batteries["one"], scenario.chargers["ours"]


def battery_of(start: str, **stated: object) -> BatteryType:
    """A battery type of the catalogue with some keys stated otherwise."""
    return types_of(start, **stated)[0]


# --- warmth ---


def test_a_tray_of_750_kg_cools_with_a_time_constant_of_nine_hours():
    """187.5 Wh/K, four faces of a cube of 0.366 m3 at 10 W/(m2 K): worked out here."""
    found = thermal_of(battery_of("vented_lead_acid_48v", mass="750 kg"), FIGURES)
    face_m2 = (0.75 / 2.05) ** (2.0 / 3.0)

    assert found.heat_capacity_wh_per_k == pytest.approx(750.0 * 900.0 / 3600.0)
    assert found.room_loss_w_per_k == pytest.approx(4.0 * 10.0 * face_m2)
    assert found.truck_loss_w_per_k == pytest.approx(2.5 * 10.0 * face_m2)
    assert found.room_tau_h == pytest.approx(9.2, abs=0.05)
    assert found.truck_tau_h == pytest.approx(found.room_tau_h * 4.0 / 2.5)


def test_fans_bring_it_to_five_hours_in_its_bay_only():
    still, moved = (
        thermal_of(battery_of("vented_lead_acid_48v", mass="750 kg", forced_air=each), FIGURES)
        for each in ("false", "true")
    )

    assert moved.room_tau_h == pytest.approx(5.0, abs=0.15)
    assert moved.truck_tau_h == still.truck_tau_h
    assert moved.heat_capacity_wh_per_k == still.heat_capacity_wh_per_k


@pytest.mark.parametrize("fans", ["false", "true"])
def test_a_stated_time_constant_wins(fans):
    """Over mass and fans; what the battery holds and what it loses in the truck stay."""
    stated = thermal_of(
        battery_of("vented_lead_acid_48v", mass="750 kg", forced_air=fans, cooling_time_constant="12 h"), FIGURES
    )
    worked_out = thermal_of(battery_of("vented_lead_acid_48v", mass="750 kg"), FIGURES)

    assert stated.room_tau_h == pytest.approx(12.0)
    assert stated.room_loss_w_per_k == pytest.approx(187.5 / 12.0)
    assert stated.truck_tau_h == worked_out.truck_tau_h


@pytest.mark.parametrize("name", TYPES)
def test_the_mass_follows_from_the_energy(name):
    """Within 10 % of what the catalogue states for its types."""
    stated = battery_of(name)
    unstated = stated.model_copy(update={"mass_kg": None})

    assert stated.mass_kg is not None
    assert mass_kg(stated, FIGURES) == stated.mass_kg
    assert mass_kg(unstated, FIGURES) == pytest.approx(stated.mass_kg, rel=0.1)
    assert thermal_of(unstated, FIGURES).room_tau_h == pytest.approx(thermal_of(stated, FIGURES).room_tau_h, rel=0.04)


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_temperatures_of_a_charge_go_by_chemistry_unless_stated(chemistry):
    name = f"battery.{chemistry}"
    usual = thermal_of(battery_of(OF_CHEMISTRY[chemistry]), FIGURES)
    stated = thermal_of(battery_of(OF_CHEMISTRY[chemistry], charge_from="5 degC", charge_below="30 degC"), FIGURES)

    assert usual.charge_from_degc == FIGURES[f"{name}.charge_from"].value
    assert usual.charge_below_degc == FIGURES[f"{name}.charge_below"].value
    assert (stated.charge_from_degc, stated.charge_below_degc) == (5.0, 30.0)
    assert stated.charge_end_below_degc == usual.charge_end_below_degc == FIGURES[f"{name}.charge_end_below"].value
    assert stated.use_below_degc == usual.use_below_degc == FIGURES[f"{name}.use_below"].value
    assert usual.charge_from_degc < usual.charge_below_degc <= usual.charge_end_below_degc


def test_zero_degrees_is_a_temperature():
    """Stated, it is not taken for missing."""
    assert thermal_of(battery_of("vented_lead_acid_48v", charge_from="0 degC"), FIGURES).charge_from_degc == 0.0


# --- charge ---


@pytest.mark.parametrize(
    ("degc", "factor"), [(30.0, 1.0), (10.0, 1.5), (20.0, 1.25), (40.0, 0.75), (-10.0, 2.0), (-30.0, 2.0), (60.0, 0.6)]
)
@pytest.mark.parametrize("chemistry", CHEMISTRIES[:2])
def test_a_cold_lead_acid_battery_takes_longer(chemistry, degc, factor):
    """2.5 % of the time constant for each kelvin below 30 degC, at most twice, at least 0.6 times."""
    battery, charger = types_of(OF_CHEMISTRY[chemistry])
    rated_h = FIGURES[f"battery.{chemistry}.tau"].value

    assert profile_of(charger, battery, FIGURES, degc).tau_h == pytest.approx(factor * rated_h)


def test_without_a_temperature_it_is_that_of_the_rating():
    for name in OF_CHEMISTRY.values():
        battery, charger = types_of(name)
        rated = FIGURES[f"battery.{battery.chemistry}.rated_temperature"].value
        assert profile_of(charger, battery, FIGURES) == profile_of(charger, battery, FIGURES, rated)


@pytest.mark.parametrize(
    ("degc", "volts"), [(15.0, 2.40), (30.0, 2.40), (40.0, 2.40), (10.0, 2.425), (-5.0, 2.50), (45.0, 2.375)]
)
def test_the_voltage_limit_moves_outside_its_band_only(degc, volts):
    """2.40 V a cell between 15 and 40 degC; 5 mV for each kelvin beyond."""
    battery, charger = types_of("vented_lead_acid_48v")

    assert profile_of(charger, battery, FIGURES, degc).absorption_v == pytest.approx(volts)


@pytest.mark.parametrize(
    ("degc", "per_100ah"), [(-5.0, 10.0), (0.0, 10.0), (5.0, 20.0), (10.0, 100.0), (25.0, 75.0), (50.0, 10.0)]
)
def test_cells_bound_the_main_current_of_lithium_ion(degc, per_100ah):
    """A charger of 100 A per 100 Ah gives what the temperature of the cells allows; colder than the table: its end."""
    battery, charger = types_of("lithium_ion_48v", "from: lithium_cc_cv, main_current: 100 A per 100 Ah")
    profile = profile_of(charger, battery, FIGURES, degc)

    assert profile.main_a == pytest.approx(per_100ah * battery.capacity.ah / 100.0)
    assert profile.absorption_v == FIGURES["battery.lithium_ion.absorption_v"].value
    assert profile.tau_h == FIGURES["battery.lithium_ion.tau_cv"].value


def test_a_weak_charger_is_not_bound_and_an_end_current_never_above_the_main_one():
    """At 20 degC the cells take all that 30 A per 100 Ah gives; at 0 degC 10, so also an end current of 15."""
    battery, charger = types_of(
        "lithium_ion_48v", "from: lithium_cc_cv, main_current: 30 A per 100 Ah, end_current: 15 A per 100 Ah"
    )
    warm, cold = (profile_of(charger, battery, FIGURES, degc) for degc in (20.0, 0.0))

    assert (warm.main_a, warm.end_a) == pytest.approx((126.0, 63.0))
    assert (cold.main_a, cold.end_a) == pytest.approx((42.0, 42.0))


def test_lead_acid_currents_do_not_depend_on_the_temperature():
    battery, charger = types_of("vented_lead_acid_48v")

    assert {profile_of(charger, battery, FIGURES, degc)[1:3] for degc in (-20.0, 0.0, 30.0, 50.0)} == {(135.0, 37.5)}


def test_an_iui_charge_is_full_when_its_last_current_has_flowed():
    """The charge of gel: 18 A and 0.5 A per 100 Ah; the small current is what acceptance takes at the end."""
    battery, charger = types_of("valve_regulated_24v")
    profile = profile_of(charger, battery, FIGURES)

    assert (profile.kind, profile.main_a, profile.end_a) == ("IUI", pytest.approx(81.0), pytest.approx(2.25))
    assert profile.full_soc == pytest.approx(1.0 - 2.25 * profile.tau_h / 450.0)
    assert (profile.w_start_a, profile.w_gassing_a, profile.w_first_factor) == (0.0, 0.0, 1.0)


@pytest.mark.parametrize(("charger", "factor"), [("line_frequency_w", 1.0), ("line_frequency_wowa", 2.0)])
def test_only_the_first_stage_of_wowa_has_two_lines(charger, factor):
    """16 A per 100 Ah is 14 A at 2.10 V and 8 A at the onset of gassing, for 750 Ah."""
    battery, found = types_of("vented_lead_acid_48v", f"from: {charger}")
    profile = profile_of(found, battery, FIGURES)

    assert profile.w_first_factor == factor
    assert (profile.w_start_a, profile.w_gassing_a, profile.end_a) == pytest.approx((105.0, 60.0, 30.0))


# --- gassing, water, life ---


def test_the_water_above_the_plates_is_a_number_of_ampere_hours():
    """What is stored for each ampere-hour of capacity, over what an ampere-hour of gas takes: 0.336 g."""
    battery = battery_of("vented_lead_acid_48v")
    per_ah = FIGURES["battery.vented_lead_acid.water_reserve"].value
    found = gassing_of(battery, FIGURES)

    assert found.reserve_ah == pytest.approx(750.0 * per_ah / 0.336, rel=1e-3)
    assert found.reserve_ah * WATER_G_PER_AH == pytest.approx(per_ah * 750.0)
    assert found.law == pytest.approx((0.15, 2.23, 25.0, 11.0, 0.06))  # 20 mA per 100 Ah
    assert found.vented_share == 1.0


@pytest.mark.parametrize(
    ("watering", "due"),
    [
        ("none", lambda found: math.inf),
        ("{every: 7 charges}", lambda found: math.inf),
        ("{every: 300 Ah}", lambda found: 300.0),
        ("{every: when_low}", lambda found: found.reserve_ah),
    ],
)
def test_water_is_due_as_stated(watering, due):
    """After ampere-hours of gassing, when the reserve is used up, or by charges, which are not counted here."""
    found = gassing_of(battery_of("vented_lead_acid_48v", watering=watering), FIGURES)

    assert found.due_ah == due(found)


@pytest.mark.parametrize(("chemistry", "share"), [("valve_regulated", 0.05), ("lithium_ion", 0.0)])
def test_sealed_batteries_never_run_low(chemistry, share):
    """They keep most of their gas, or make none, and have no reserve to use up."""
    found = gassing_of(battery_of(OF_CHEMISTRY[chemistry]), FIGURES)

    assert (found.vented_share, found.reserve_ah, found.due_ah) == (share, math.inf, math.inf)
    assert (found.law.reference_a == 0.0) == (chemistry == "lithium_ion")


@pytest.mark.parametrize(
    ("chemistry", "life"),
    [
        ("vented_lead_acid", (1200.0, 0.8, 1.2, 2.0, 30.0, 10.0, 20.0)),
        ("valve_regulated", (900.0, 0.8, 1.2, 2.0, 30.0, 10.0, 20.0)),
        ("lithium_ion", (3500.0, 0.8, 1.0, 1.0, 25.0, 10.0, 25.0)),
    ],
)
def test_life_is_that_of_the_cycle_test(chemistry, life):
    """Cycles, depth, two exponents, temperature, kelvin that halve it, floor of the temperature."""
    assert life_of(battery_of(OF_CHEMISTRY[chemistry]), FIGURES) == life


# --- capacity ---


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_two_wells_have_the_capacities_of_peukerts_law(chemistry):
    """C = I T with T = 5 h (I/I5)^-n, at 2, 5 and 10 h."""
    battery = battery_of(OF_CHEMISTRY[chemistry], recovery="two_wells")
    exponent = FIGURES[f"battery.{chemistry}.peukert"].value
    found = wells_of(battery, FIGURES)

    assert found is not None
    assert CORNER_HOURS == (2.0, 5.0, 10.0)
    for hours in CORNER_HOURS:
        amps = capacity_ah(battery, FIGURES) / 5.0 * (5.0 / hours) ** (1.0 / exponent)
        assert wells_ah(hours, found) == pytest.approx(amps * hours, rel=1e-9)
    assert wells_ah(5.0, found) == pytest.approx(battery.capacity.ah)
    assert found.most_ah > wells_ah(10.0, found)


@pytest.mark.parametrize("exponent", [1.0001, 1.05, 1.2, 1.4, 1.6])
def test_every_exponent_that_may_be_stated_has_wells(exponent):
    found = wells_of(battery_of("vented_lead_acid_48v", recovery="two_wells", peukert=exponent), FIGURES)

    assert found is not None
    assert 0.0 < found.available_share < 1.0


def test_an_exponent_of_one_is_one_well():
    """All of the charge is available at any current."""
    found = wells_of(battery_of("vented_lead_acid_48v", recovery="two_wells", peukert=1.0), FIGURES)

    assert found is not None
    assert found.available_share == 1.0
    assert [wells_ah(hours, found) for hours in CORNER_HOURS] == pytest.approx([750.0] * 3)


def test_there_are_no_wells_unless_asked_for():
    assert wells_of(battery_of("vented_lead_acid_48v"), FIGURES) is None
    assert wells_of(battery_of("vented_lead_acid_48v", peukert=1.0), FIGURES) is None


def stated_factor(chemistry: str, degc: float) -> float:
    """Capacity factor with every figure looked up by name."""
    name = f"battery.{chemistry}"
    rated, knee = (FIGURES[f"{name}.{each}"].value for each in ("rated_temperature", "knee_temperature"))
    warm, cold = (FIGURES[f"{name}.{each}"].value for each in ("warm_per_k", "cold_per_k"))
    table = "battery.lithium_ion.cold_table" if chemistry == "lithium_ion" else "battery.cold_table"
    rows = [(-18.0, FIGURES[f"{table}.minus_18"]), (-10.0, FIGURES[f"{table}.minus_10"])]
    known = [(row, found.value / 100.0 if found.unit == "%" else found.value) for row, found in rows]
    at_zero = 1.0 + warm * (knee - rated) - cold * knee
    return capacity_factor(
        degc,
        rated_degc=rated,
        warm_per_k=warm,
        knee_degc=knee,
        cold_per_k=cold,
        cold_table=(*known, (0.0, at_zero)),
    )


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_the_capacity_factor_is_that_of_the_formula(chemistry):
    """At every temperature, without a step, and rising all the way."""
    factor = capacity_factor_of(battery_of(OF_CHEMISTRY[chemistry]), FIGURES)
    temperatures = [degc / 4.0 for degc in range(-120, 201)]
    found = [factor(degc) for degc in temperatures]

    assert found == pytest.approx([stated_factor(chemistry, degc) for degc in temperatures], abs=1e-12)
    assert found == sorted(found)
    assert max(abs(factor(degc + 1e-7) - factor(degc - 1e-7)) for degc in temperatures) < 1e-8


@pytest.mark.parametrize("chemistry", CHEMISTRIES)
def test_a_cell_is_the_rated_one_but_for_its_temperature(chemistry):
    """Warm, it holds no more than its ampere-hours: the least kappa is the capacity factor where that is more."""
    battery = battery_of(OF_CHEMISTRY[chemistry])
    exponent = FIGURES[f"battery.{chemistry}.peukert"].value
    ten_hours = 0.5 ** (1.0 - 1.0 / exponent)  # (I10/I5)^(n-1), I10/I5 = (5 h/10 h)^(1/n)
    rated = FIGURES[f"battery.{chemistry}.rated_temperature"].value

    assert rated_cell(battery, FIGURES).capacity_factor == 1.0
    assert cell_of(battery, FIGURES, rated).capacity_factor == pytest.approx(1.0)
    for degc in (-20.0, 5.0, 45.0):
        factor = capacity_factor_of(battery, FIGURES)(degc)
        found = cell_of(battery, FIGURES, degc)
        assert found.kappa_floor == pytest.approx(max(ten_hours, factor))
        assert found == rated_cell(battery, FIGURES)._replace(
            capacity_factor=factor, kappa_floor=max(rated_cell(battery, FIGURES).kappa_floor, factor)
        )


def test_the_usual_exponent_stated_is_the_usual_exponent():
    """The least kappa follows from the exponent, so 1.2 stated and 1.2 left out give the same."""
    battery = battery_of(OF_CHEMISTRY["vented_lead_acid"])
    usual = FIGURES["battery.vented_lead_acid.peukert"].value

    assert rated_cell(battery.model_copy(update={"peukert": usual}), FIGURES) == rated_cell(battery, FIGURES)


# --- air ---

COLDEST = FIGURES["site.coldest_week"].value


def test_the_coldest_and_the_warmest_week_are_half_a_year_apart():
    """Between them, a quarter of a year on, it is as warm as on the mean."""
    air = Air(8.0, 28.0)

    assert air.in_week(COLDEST, COLDEST) == 8.0
    assert air.in_week(COLDEST + WEEKS_PER_YEAR / 2.0, COLDEST) == pytest.approx(28.0)
    assert air.in_week(COLDEST + WEEKS_PER_YEAR / 4.0, COLDEST) == pytest.approx(18.0)
    assert air.in_week(COLDEST - WEEKS_PER_YEAR / 4.0, COLDEST) == pytest.approx(18.0)


def test_weeks_go_round_the_year():
    """Also before week 1 and over several years; the mean of a year is that of winter and summer."""
    air = Air(8.0, 28.0)
    weeks = [each / 4.0 for each in range(-40, 240)]
    year = [air.in_week(each * WEEKS_PER_YEAR / 1000.0, COLDEST) for each in range(1000)]

    assert round(WEEKS_PER_YEAR, 2) == 52.18
    assert [air.in_week(week + 3 * WEEKS_PER_YEAR, COLDEST) for week in weeks] == pytest.approx(
        [air.in_week(week, COLDEST) for week in weeks]
    )
    assert all(8.0 <= air.in_week(week, COLDEST) <= 28.0 for week in weeks)
    assert sum(year) / 1000.0 == pytest.approx(18.0)


def test_air_may_be_the_same_all_year_or_colder_in_summer():
    """Such as a cold store that is let warm up when it is cold outside."""
    assert {Air(20.0, 20.0).in_week(week, COLDEST) for week in range(1, 53)} == {20.0}
    assert Air(5.0, -5.0).in_week(COLDEST, COLDEST) == 5.0
    assert Air(5.0, -5.0).in_week(COLDEST + WEEKS_PER_YEAR / 2.0, COLDEST) == pytest.approx(-5.0)


# --- the most that a charger gives ---

CHARGERS = {name: types_of(battery, f"from: {name}") for name, battery in (
    *((name, "vented_lead_acid_48v") for name in ("line_frequency_w", "line_frequency_wowa", "electronic_iuia",
      "circulation_iuia", "opportunity_iuia", "fast_iuia")),
    ("gel_iu", "valve_regulated_24v"), ("gel_iui", "valve_regulated_24v"), ("lithium_cc_cv", "lithium_ion_48v"),
)}  # fmt: skip


def test_the_chargers_are_all_of_the_catalogue():
    assert set(CHARGERS) == set(read_file(document("charger_types")).data)


@settings(max_examples=300, deadline=None)
@given(
    name=st.sampled_from(sorted(CHARGERS)),
    coldest=st.floats(-40.0, 40.0),
    warmer=st.floats(0.0, 60.0),
    missing=st.floats(0.01, 1.2),
    to_soc=st.sampled_from([0.6, 0.8, 1.0]),
)
def test_no_charge_at_any_temperature_takes_more_than_all_at_once_counts(name, coldest, warmer, missing, to_soc):
    """However deep the discharge, from the coldest electrolyte on; an equalising charge after it included."""
    battery, charger = CHARGERS[name]
    ah, most = capacity_ah(battery, FIGURES), math.prod(greatest_load(charger, battery, FIGURES, coldest))
    profile = profile_of(charger, battery, FIGURES, round(2.0 * (coldest + warmer)) / 2.0)
    missing_ah = missing * ah
    phases = charge_phases(profile, ah, missing_ah, profile.factor * missing_ah, to_soc)
    if battery.equalising is not None:
        finish_v = FIGURES[f"battery.{battery.chemistry}.finish_v"].value
        amps = battery.equalising.current.of(ah)
        phases += (equalising_phase(3.0, amps, finish_v, 0.0, ah, 1.0),)

    assert max((greatest_va(phase) for phase in phases), default=0.0) <= most * (1.0 + 1e-9)


@pytest.mark.parametrize(
    ("name", "coldest_degc", "amps", "volts"),
    [
        ("fast_iuia", None, 0.40, 2.4),  # at the end of the main stage, on its limit
        ("fast_iuia", 20.0, 0.40, 2.4),
        ("fast_iuia", 5.0, 0.40, 2.45),  # -5 mV per kelvin below 15 degC
        ("line_frequency_w", None, 0.16, 2.0),  # at the start, on an empty battery
        ("line_frequency_wowa", None, 0.32, 2.0),  # two lines at once
        ("gel_iui", None, 0.18, 2.37),
        ("lithium_cc_cv", None, 0.50, 3.6),
        ("lithium_cc_cv", -5.0, 0.50, 3.6),  # warm enough by then
    ],
)
def test_where_a_charger_gives_most(name, coldest_degc, amps, volts):
    battery, charger = CHARGERS[name]
    found = greatest_load(charger, battery, FIGURES, coldest_degc)

    assert found == pytest.approx((amps * capacity_ah(battery, FIGURES), volts))
