"""Quantities with units: every factor against an independent unit library, every message to the letter."""

import math
import subprocess
import sys
import time
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.units import DIMENSIONS, LARGEST_NUMBER, UnitError, parse, show

# Our symbols as expressions of the oracle. The number of charges is no unit of any library.
ORACLE_NAMES = {
    "s": "second",
    "min": "minute",
    "h": "hour",
    "day": "day",
    "days": "day",
    "week": "week",
    "weeks": "week",
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "km": "kilometer",
    "in": "inch",
    "ft": "foot",
    "yd": "yard",
    "mile": "mile",
    "miles": "mile",
    "m/min": "meter / minute",
    "m/s": "meter / second",
    "km/h": "kilometer / hour",
    "mph": "mile / hour",
    "ft/min": "foot / minute",
    "g": "gram",
    "kg": "kilogram",
    "t": "metric_ton",
    "lb": "pound",
    "short ton": "short_ton",
    "short tons": "short_ton",
    "Ah": "ampere * hour",
    "V": "volt",
    "mV": "millivolt",
    "A": "ampere",
    "mA": "milliampere",
    "A per 100 Ah": "ampere / (100 * ampere * hour)",
    "A per 100Ah": "ampere / (100 * ampere * hour)",
    "A/100 Ah": "ampere / (100 * ampere * hour)",
    "A/100Ah": "ampere / (100 * ampere * hour)",
    "A per Ah": "ampere / (ampere * hour)",
    "A/Ah": "ampere / (ampere * hour)",
    "mA/Ah": "milliampere / (ampere * hour)",
    "W": "watt",
    "kW": "kilowatt",
    "MW": "megawatt",
    "hp": "horsepower",
    "VA": "volt_ampere",
    "kVA": "kilovolt_ampere",
    "MVA": "megavolt_ampere",
    "Wh": "watt * hour",
    "kWh": "kilowatt * hour",
    "MWh": "megawatt * hour",
    "MJ": "megajoule",
    "K": "kelvin",
    "%": "percent",
    "1": "dimensionless",
    "m2": "meter ** 2",
    "m²": "meter ** 2",
    "cm2": "centimeter ** 2",
    "cm²": "centimeter ** 2",
    "ft2": "foot ** 2",
    "ft²": "foot ** 2",
    "sq ft": "foot ** 2",
    "m3/h": "meter ** 3 / hour",
    "m³/h": "meter ** 3 / hour",
    "m3/s": "meter ** 3 / second",
    "m³/s": "meter ** 3 / second",
    "L/s": "liter / second",
    "L/min": "liter / minute",
    "cfm": "foot ** 3 / minute",
    "N": "newton",
    "kN": "kilonewton",
    "kgf": "kilogram_force",
    "lbf": "pound_force",
    "deg": "degree",
    "°": "degree",
    "kN/m2": "kilonewton / meter ** 2",
    "kN/m²": "kilonewton / meter ** 2",
    "kPa": "kilopascal",
    "t/m2": "metric_ton * standard_gravity / meter ** 2",
    "psf": "pound_force / foot ** 2",
    "lbf/ft2": "pound_force / foot ** 2",
    "Ohm Ah": "ohm * ampere * hour",
    "ohm Ah": "ohm * ampere * hour",
    "Ω Ah": "ohm * ampere * hour",
    "mOhm Ah": "milliohm * ampere * hour",
    "mΩ Ah": "milliohm * ampere * hour",
}
ORACLE_SCALES = {"degC": "degC", "°C": "degC", "degF": "degF", "°F": "degF", "K": "kelvin"}
PROPORTIONAL = [
    (key, symbol)
    for key, kind in DIMENSIONS.items()
    if key not in {"temperature", "charge_count"}
    for symbol in kind.units
]
EVERY_UNIT = [(key, symbol) for key, kind in DIMENSIONS.items() for symbol in kind.units]

HOURS_RULE = "hours and minutes are written like '1 h 30 min', with whole hours and less than 60 minutes"
ONE_NUMBER = "write one number and one unit, such as '{}'; arithmetic and ranges are not read"


@pytest.fixture(scope="module")
def oracle() -> "pint.UnitRegistry[Any]":
    """Return an independent unit library that calculates in fractions."""
    return pint.UnitRegistry(non_int_type=Fraction)


def refusal(text: object, dimension: str) -> str:
    """Return the whole message with which a text is refused."""
    with pytest.raises(UnitError) as caught:
        parse(text, dimension)
    return str(caught.value)


# --- the factors ---


@pytest.mark.parametrize(("dimension", "symbol"), PROPORTIONAL)
def test_factor_is_exactly_that_of_the_oracle(oracle: "pint.UnitRegistry[Any]", dimension: str, symbol: str) -> None:
    """Every unit has the exact size that the oracle gives it."""
    kind = DIMENSIONS[dimension]
    unit = oracle.parse_expression(ORACLE_NAMES[symbol])
    canonical = oracle.parse_expression(ORACLE_NAMES[kind.canonical])

    assert kind.units[symbol] == (Fraction(1) * unit / canonical).to("dimensionless").magnitude
    assert symbol not in kind.zeros


@pytest.mark.parametrize("symbol", DIMENSIONS["temperature"].units)
@pytest.mark.parametrize("reading", [-40, 0, 32, 77, 300])
def test_temperature_scales_agree_with_the_oracle(oracle: "pint.UnitRegistry[Any]", symbol: str, reading: int) -> None:
    """Temperatures are exact at several points of each scale."""
    expected = oracle.Quantity(Fraction(reading), ORACLE_SCALES[symbol]).to("degC").magnitude

    assert parse(f"{reading} {symbol}", "temperature") == float(expected)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("1 in", "length", 25.4),
        ("1 mile", "distance", 1609.344),
        ("1 lb", "mass", 0.45359237),
        ("1 lbf", "force", 4.4482216152605),
        ("1 hp", "power", 0.74569987158227022),
        ("40.9 in", "length", 1038.86),
        ("0.1 h", "duration", 6.0),
        ("77 °F", "temperature", 25.0),
        ("25 %", "share", 0.25),
        ("7 charges", "charge_count", 7.0),
        ("1 charge", "charge_count", 1.0),
    ],
)
def test_known_values_are_met_to_the_last_digit(text: str, dimension: str, value: float) -> None:
    """A value is the nearest float to what is written."""
    assert parse(text, dimension) == value


def test_every_dimension_is_complete() -> None:
    """Each dimension has its canonical unit with factor one, and an example that it can read."""
    for key, kind in DIMENSIONS.items():
        assert key == "share" or kind.units[kind.canonical] == 1
        assert math.isfinite(parse(kind.example, key))
        assert kind.article == ("an" if kind.name[0] in "ae" else "a")
        assert kind.zeros.keys() <= kind.units.keys()
    suffixes = " ".join(kind.suffix for kind in DIMENSIONS.values())
    assert suffixes == (
        "min m mm m_per_min kg ah v a a_per_100ah kw kva kwh degc k share m2 m3_per_h n kn_per_m2 ohm_ah charges"
    )


# --- what is read ---


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("8h", "duration", 480.0),
        ("  8   h ", "duration", 480.0),
        ("8\u00a0h", "duration", 480.0),
        ("3. h", "duration", 180.0),
        (".5 h", "duration", 30.0),
        ("+1e1 min", "duration", 10.0),
        ("1E-1 min", "duration", 0.1),
        ("-20 degC", "temperature", -20.0),
        ("\u221220 degC", "temperature", -20.0),
        ("18 A/100Ah", "rate", 18.0),
        ("18 A / 100 Ah", "rate", 18.0),
        ("18 A per 100 Ah", "rate", 18.0),
        ("0.3 \u2126 Ah", "resistance", 0.3),
        ("1000000000000000 kW", "power", 1e15),
        ("1e-999999999999999999 kW", "power", 0.0),
        ("1 h 30 min", "duration", 90.0),
        ("1h30min", "duration", 90.0),
        ("2 h 7.5 min", "duration", 127.5),
        ("0 h 59.9 min", "duration", 59.9),
        ("-1 h 30 min", "duration", -90.0),
        ("+1 h 30 min", "duration", 90.0),
    ],
)
def test_spellings_that_are_read(text: str, dimension: str, value: float) -> None:
    """Spaces, signs, exponents and hours with minutes are read."""
    assert parse(text, dimension) == value


def test_text_of_exactly_sixty_characters_is_read() -> None:
    """The length limit is sixty characters."""
    assert parse("0" * 57 + "8 h", "duration") == 480.0


# --- what is refused ---


@pytest.mark.parametrize("text", [True, False, None, 3.4, 3, b"3.4 kW", ["3.4 kW"], {}])
def test_anything_but_text_is_refused(text: object) -> None:
    """A bare value has no unit."""
    assert refusal(text, "power") == "needs a power with a unit, such as '3.4 kW'"


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("3.4", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("kW", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("$5", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("5 $", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("22:15", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("3", "energy", "needs an energy with a unit, such as '24 kWh'"),
        ("३ kW", "power", "needs a power with a unit, such as '3.4 kW'"),
        ("", "power", "is empty; write a power with a unit, such as '3.4 kW'"),
        ("  ", "apparent_power", "is empty; write an apparent power with a unit, such as '250 kVA'"),
        ("0" * 58 + "8 h", "duration", "is longer than 60 characters; write it like '8 h'"),
        ("NaN kW", "power", "needs a finite number, such as '3.4 kW'"),
        ("-inf kW", "power", "needs a finite number, such as '3.4 kW'"),
        ("Infinity kW", "power", "needs a finite number, such as '3.4 kW'"),
        ("1e400 kW", "power", "needs a number of at most 1e15, such as '3.4 kW'"),
        ("-1e400 kW", "power", "needs a number of at most 1e15, such as '3.4 kW'"),
        ("1000000000000001 kW", "power", "needs a number of at most 1e15, such as '3.4 kW'"),
        ("1000000000000001 W", "power", "needs a number of at most 1e15, such as '3.4 kW'"),
        ("1e14 week", "duration", "needs a number of at most 1e15, such as '8 h'"),
        ("99999999999999999999 h 5 min", "duration", "needs a number of at most 1e15, such as '8 h'"),
    ],
)
def test_refused_numbers(text: str, dimension: str, message: str) -> None:
    """A missing, endless or huge number is refused."""
    assert refusal(text, dimension) == message


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("3.5 Min", "duration", "does not know the unit 'Min'; did you mean 'min'?"),
        ("3 KW", "power", "does not know the unit 'KW'; did you mean 'kW'?"),
        ("3 MA", "current", "does not know the unit 'MA'; did you mean 'mA'?"),
        ("3 lbs", "mass", "does not know the unit 'lbs'; did you mean 'lb'?"),
        ("25 C", "temperature", "does not know the unit 'C'; did you mean '°C'?"),
        ("3 m3/hr", "volume_flow", "does not know the unit 'm3/hr'; did you mean 'm3/h'?"),
        ("18 a per 100 ah", "rate", "does not know the unit 'a per 100 ah'; did you mean 'A per 100 Ah'?"),
        ("3 foo", "power", "does not know the unit 'foo'; a power is written in W, kW, MW or hp"),
        ("3 kW kW", "power", "does not know the unit 'kW kW'; a power is written in W, kW, MW or hp"),
        ("3 kW\x1b", "power", r"does not know the unit 'kW\x1b'; did you mean 'kW'?"),
        (
            "5 hours",
            "duration",
            "does not know the unit 'hours'; a duration is written in s, min, h, day or week",
        ),
        ("5 foo", "temperature", "does not know the unit 'foo'; a temperature is written in degC, degF or K"),
        ("3 foo", "share", "does not know the unit 'foo'; a share is written in %"),
        ("3 foo", "area", "does not know the unit 'foo'; an area is written in m2, cm2 or ft2"),
        (
            "3 foo",
            "distance",
            "does not know the unit 'foo'; a distance is written in mm, cm, m, km, in, ft or mile",
        ),
        ("24 kWh", "power", "needs a power such as '3.4 kW'; 'kWh' is a unit of energy"),
        ("24 kwh", "power", "needs a power such as '3.4 kW'; 'kWh' is a unit of energy"),
        ("3.4 kW", "apparent_power", "needs an apparent power such as '250 kVA'; 'kW' is a unit of power"),
        ("750 Ah", "energy", "needs an energy such as '24 kWh'; 'Ah' is a unit of capacity"),
        ("5 m", "duration", "needs a duration such as '8 h'; 'm' is a unit of distance"),
        ("2 t", "force", "needs a force such as '225 N'; 't' is a unit of mass"),
        (
            "5 °C",
            "temperature_difference",
            "needs a temperature difference such as '10 K'; '°C' is a unit of temperature",
        ),
    ],
)
def test_refused_units(text: str, dimension: str, message: str) -> None:
    """An unknown unit and a unit of another kind are told apart, with the nearest right word."""
    assert refusal(text, dimension) == message


@pytest.mark.parametrize(
    ("text", "dimension", "message"),
    [
        ("3,5 kW", "power", "decimals take a point; write 3.5, not 3,5"),
        ("3,4", "power", "decimals take a point; write 3.4, not 3,4"),
        ("-3,5 degC", "temperature", "decimals take a point; write 3.5, not 3,5"),
        ("0,125 kW", "power", "decimals take a point; write 0.125, not 0,125"),
        ("1,200 kg", "mass", "a comma may mean two things; write 1200 or 1.200, not 1,200"),
        ("1,234,567 kg", "mass", "thousands are not separated; write 1234567, not 1,234,567"),
        ("1,200.5 kg", "mass", "thousands are not separated; write 1200.5, not 1,200.5"),
        ("1 200 kg", "mass", "thousands are not separated; write 1200, not 1 200"),
        ("1'200 kg", "mass", "thousands are not separated; write 1200, not 1'200"),
        ("1_200 kg", "mass", "thousands are not separated; write 1200, not 1_200"),
        ("1.200.000 kg", "mass", "thousands are not separated; write 1200000, not 1.200.000"),
        ("1.200,5 kg", "mass", "a comma is not read in numbers; write 1200.5, not 1.200,5 or 1,200.5"),
        ("3, kW", "power", "a comma is not read in numbers; write 1200.5, not 1.200,5 or 1,200.5"),
        ("9**9**9 in", "length", ONE_NUMBER.format("1040 mm")),
        ("1/2 h", "duration", ONE_NUMBER.format("8 h")),
        ("3-4 kW", "power", ONE_NUMBER.format("3.4 kW")),
        ("3 4 kW", "power", ONE_NUMBER.format("3.4 kW")),
        ("2 x 3 kW", "power", ONE_NUMBER.format("3.4 kW")),
        ("750 Ah at 5 h", "capacity", ONE_NUMBER.format("750 Ah")),
        ("1.5 h 30 min", "duration", HOURS_RULE),
        ("1 h 60 min", "duration", HOURS_RULE),
        ("1 h 30", "duration", HOURS_RULE),
        ("1 h 30 s", "duration", HOURS_RULE),
        ("1 h 1e999999999 min", "duration", HOURS_RULE),
        ("22:15", "duration", HOURS_RULE),
    ],
)
def test_refused_grammar(text: str, dimension: str, message: str) -> None:
    """Commas, thousands, arithmetic and half-written hours are refused with the cure."""
    assert refusal(text, dimension) == message


def test_hostile_texts_are_refused_at_once() -> None:
    """No text takes long: neither a long one nor one with a huge exponent."""
    begin = time.perf_counter()
    for text in [
        "9" * 2000 + " kW",
        "k" * 2000,
        "1e" + "9" * 50 + " kW",
        "1e-" + "9" * 50 + " foo",
        "9" + "**9" * 19,
    ]:
        refusal(text, "power")

    assert time.perf_counter() - begin < 0.5


def test_import_is_light() -> None:
    """The vocabulary needs nothing but a few modules of the standard library."""
    code = "import sys, batsim.units; print(sorted({'difflib', 'numpy', 'inspect', 'pint'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


# --- showing ---


@pytest.mark.parametrize(
    ("value", "dimension", "unit", "text"),
    [
        (480, "duration", "h", "8 h"),
        (480, "duration", None, "480 min"),
        (1440, "duration", "days", "1 day"),
        (2880, "duration", "day", "2 days"),
        (1, "charge_count", None, "1 charge"),
        (7, "charge_count", None, "7 charges"),
        (0.125, "share", None, "12.5 %"),
        (1 / 3, "share", None, "33.3333 %"),
        (25, "temperature", "degF", "77 degF"),
        (-0.0, "power", None, "0 kW"),
        (-3.5, "power", None, "-3.5 kW"),
        (1234567, "power", None, "1.23457e+06 kW"),
        (math.nan, "power", None, "nan kW"),
        (-math.inf, "power", "W", "-inf W"),
    ],
)
def test_values_are_shown_in_few_digits(value: float, dimension: str, unit: str | None, text: str) -> None:
    """A value is shown with its unit, singular or plural, in up to six digits."""
    assert show(value, dimension, unit) == text


def test_show_refuses_a_foreign_unit() -> None:
    """The message is that of reading."""
    with pytest.raises(UnitError) as shown:
        show(1, "power", "kWh")

    assert str(shown.value) == "needs a power such as '3.4 kW'; 'kWh' is a unit of energy"


@settings(deadline=None)
@given(value=st.floats(-1e9, 1e9), unit=st.sampled_from(EVERY_UNIT))
def test_what_is_shown_can_be_read_again(value: float, unit: tuple[str, str]) -> None:
    """Showing and reading again keeps six digits of the number as shown."""
    dimension, symbol = unit
    kind = DIMENSIONS[dimension]
    size = float(kind.units[symbol])
    zero = float(kind.zeros.get(symbol, 0))

    assert parse(show(value, dimension, symbol), dimension) == pytest.approx(
        value, rel=1e-5, abs=1e-5 * (abs(zero) + size * 1e-12)
    )


@settings(deadline=None)
@given(text=st.text(max_size=70), dimension=st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_is_read_or_refused(text: str, dimension: str) -> None:
    """Nothing but a finite number or a message comes back."""
    try:
        value = parse(text, dimension)
    except UnitError as problem:
        value, message = 0.0, str(problem)
    else:
        message = "read"

    assert message
    assert abs(value) <= LARGEST_NUMBER
