"""Quantities with units: a closed vocabulary with exact factors.

A quantity is a text of one number and one unit, such as ``8 h``, ``750 Ah`` or ``1040 mm``. Every dimension
has one canonical unit, in which the program calculates; nothing is guessed from a missing unit, and kVA and
kW, or Ah and kWh, never mix. A new unit is one entry in the tables below: its symbol and its exact size in
the canonical unit.

The factors are exact by definition: inch, foot, yard, mile and pound by the international yard and pound
agreement of 1959, the kilogram-force by the standard acceleration of free fall of the 3rd CGPM (1901), the
horsepower as 550 foot pound-force per second.
"""

import math
import re
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import NamedTuple

# Limits of the reader, not of the trade.
LONGEST_TEXT = 60  # characters of one quantity
LARGEST_NUMBER = 1e15  # as written and in the canonical unit; the message writes it out
MOST_UNITS_NAMED = 7  # in a message


class UnitError(ValueError):
    """The text is not a quantity of the wanted kind; its text is the rule, without the value."""


class Dimension(NamedTuple):
    """One kind of quantity and the units it may be written in."""

    name: str
    """What a user calls it."""
    article: str
    """"a" or "an", as the name wants it."""
    canonical: str
    """Symbol of the unit in which the program calculates."""
    suffix: str
    """Ending of attributes and columns that hold it."""
    example: str
    """A text as a user would write it."""
    units: Mapping[str, Fraction]
    """Size of each unit in the canonical unit, by symbol."""
    zeros: Mapping[str, Fraction] = MappingProxyType({})
    """Where the zero of a unit lies in the canonical unit, if not at zero."""


F = Fraction
FOOT_M = F("0.3048")
INCH_M = FOOT_M / 12
MILE_M = 5280 * FOOT_M
POUND_KG = F("0.45359237")
FREE_FALL_M_PER_S2 = F("9.80665")
POUND_FORCE_N = POUND_KG * FREE_FALL_M_PER_S2
HORSEPOWER_KW = 550 * FOOT_M * POUND_FORCE_N / 1000

CALENDAR = {"day": F(1440), "days": F(1440), "week": F(10080), "weeks": F(10080)}
DURATION = {"s": F(1, 60), "min": F(1), "h": F(60)} | CALENDAR
METRIC_DISTANCE = {"mm": F(1, 1000), "cm": F(1, 100), "m": F(1), "km": F(1000)}
DISTANCE = METRIC_DISTANCE | {"in": INCH_M, "ft": FOOT_M, "mile": MILE_M, "miles": MILE_M, "yd": 3 * FOOT_M}
LENGTH = {symbol: 1000 * DISTANCE[symbol] for symbol in ("mm", "cm", "m", "in", "ft")}
SPEED = {"m/min": F(1), "m/s": F(60), "km/h": F(1000, 60), "mph": MILE_M / 60, "ft/min": FOOT_M}
SHORT_TON = dict.fromkeys(("short ton", "short tons"), 2000 * POUND_KG)
MASS = {"g": F(1, 1000), "kg": F(1), "t": F(1000), "lb": POUND_KG} | SHORT_TON
FOR_100_AH = dict.fromkeys(("A per 100 Ah", "A per 100Ah", "A/100 Ah", "A/100Ah"), F(1))
RATE = FOR_100_AH | {"A per Ah": F(100), "A/Ah": F(100), "mA/Ah": F(1, 10)}
POWER = {"W": F(1, 1000), "kW": F(1), "MW": F(1000), "hp": HORSEPOWER_KW}
APPARENT_POWER = {"VA": F(1, 1000), "kVA": F(1), "MVA": F(1000)}
ENERGY = {"Wh": F(1, 1000), "kWh": F(1), "MWh": F(1000), "MJ": F(10, 36)}
TEMPERATURE = {"degC": F(1), "°C": F(1), "degF": F(5, 9), "°F": F(5, 9), "K": F(1)}
ZEROS_DEGC = {"degF": F(-160, 9), "°F": F(-160, 9), "K": F("-273.15")}
METRIC_AREA = {"m2": F(1), "m²": F(1), "cm2": F(1, 10_000), "cm²": F(1, 10_000)}
AREA = METRIC_AREA | dict.fromkeys(("ft2", "ft²", "sq ft"), FOOT_M**2)
METRIC_FLOW = {"m3/h": F(1), "m³/h": F(1), "m3/s": F(3600), "m³/s": F(3600), "L/s": F("3.6"), "L/min": F("0.06")}
VOLUME_FLOW = METRIC_FLOW | {"cfm": 60 * FOOT_M**3}
FORCE = {"N": F(1), "kN": F(1000), "kgf": FREE_FALL_M_PER_S2, "lbf": POUND_FORCE_N}
METRIC_LOAD = {"kN/m2": F(1), "kN/m²": F(1), "kPa": F(1), "t/m2": FREE_FALL_M_PER_S2}
FLOOR_LOAD = METRIC_LOAD | dict.fromkeys(("psf", "lbf/ft2"), POUND_FORCE_N / FOOT_M**2 / 1000)
CHARGES = {"charges": F(1), "charge": F(1)}
RESISTANCE = {"Ohm Ah": F(1), "ohm Ah": F(1), "Ω Ah": F(1), "mOhm Ah": F(1, 1000), "mΩ Ah": F(1, 1000)}

DIMENSIONS: Mapping[str, Dimension] = MappingProxyType(
    {
        "duration": Dimension("duration", "a", "min", "min", "8 h", DURATION),
        "distance": Dimension("distance", "a", "m", "m", "140 m", DISTANCE),
        "length": Dimension("length", "a", "mm", "mm", "1040 mm", LENGTH),
        "speed": Dimension("speed", "a", "m/min", "m_per_min", "8 km/h", SPEED),
        "mass": Dimension("mass", "a", "kg", "kg", "1180 kg", MASS),
        "capacity": Dimension("capacity", "a", "Ah", "ah", "750 Ah", {"Ah": F(1)}),
        "voltage": Dimension("voltage", "a", "V", "v", "48 V", {"V": F(1), "mV": F(1, 1000)}),
        "current": Dimension("current", "a", "A", "a", "120 A", {"A": F(1), "mA": F(1, 1000)}),
        "rate": Dimension("current per capacity", "a", "A per 100 Ah", "a_per_100ah", "18 A per 100 Ah", RATE),
        "power": Dimension("power", "a", "kW", "kw", "3.4 kW", POWER),
        "apparent_power": Dimension("apparent power", "an", "kVA", "kva", "250 kVA", APPARENT_POWER),
        "energy": Dimension("energy", "an", "kWh", "kwh", "24 kWh", ENERGY),
        "temperature": Dimension("temperature", "a", "degC", "degc", "22 degC", TEMPERATURE, ZEROS_DEGC),
        "temperature_difference": Dimension("temperature difference", "a", "K", "k", "10 K", {"K": F(1)}),
        "share": Dimension("share", "a", "1", "share", "25 %", {"%": F(1, 100)}),
        "area": Dimension("area", "an", "m2", "m2", "50 m2", AREA),
        "volume_flow": Dimension("volume flow", "a", "m3/h", "m3_per_h", "900 m3/h", VOLUME_FLOW),
        "force": Dimension("force", "a", "N", "n", "225 N", FORCE),
        "floor_load": Dimension("load on a floor", "a", "kN/m2", "kn_per_m2", "15 kN/m2", FLOOR_LOAD),
        "resistance": Dimension("resistance times capacity", "a", "Ohm Ah", "ohm_ah", "0.3 Ohm Ah", RESISTANCE),
        "charge_count": Dimension("number of charges", "a", "charges", "charges", "7 charges", CHARGES),
    }
)

PLURALS = {"day": "days", "week": "weeks", "mile": "miles", "short ton": "short tons", "charge": "charges"}
SINGULARS = {plural: singular for singular, plural in PLURALS.items()}
LOOKALIKES = str.maketrans({"\u2126": "Ω", "\u2212": "-"})  # the ohm sign and the minus sign of Unicode

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
TWO_PARTS = re.compile(r"(?:h ?|:)[0-9.]")
HOURS_AND_MINUTES = re.compile(r"([+-]?)([0-9]+) ?h ?([0-9]+\.?[0-9]*) ?min")
# Only for messages, so compiled when first needed.
NOT_FINITE = r"(?i)[+-]?(?:nan|inf|infinity)\b"
COMMA_EITHER = r"[1-9][0-9]{0,2},[0-9]{3}(?![0-9.,])"
COMMA_DECIMAL = r"[0-9]+,[0-9]+(?![0-9.,])"
THOUSANDS = r"[0-9]{1,3}(?:(?:[ ,'_][0-9]{3})+(?:\.[0-9]+)?|(?:\.[0-9]{3}){2,})(?![0-9.,'_])"


def parse(text: object, dimension: str) -> float:
    """Read a quantity such as ``3.4 kW``, in the canonical unit of its dimension.

    Parameters
    ----------
    text
        What the user wrote. Anything but text is refused, a bare number too.
    dimension
        A key of `DIMENSIONS`.

    Returns
    -------
    float
        The value, the nearest float to what is written. [canonical unit]

    Examples
    --------
    >>> parse("1040 mm", "length")
    1040.0
    >>> parse("1 h 30 min", "duration")
    90.0
    >>> parse("25 %", "share")
    0.25
    """
    kind = DIMENSIONS[dimension]
    words = _words(text, kind)
    number = NUMBER.match(words)
    if number is None:
        infinite = f"needs a finite number, such as '{kind.example}'"
        raise UnitError(infinite if re.match(NOT_FINITE, words) else _needs(kind))
    unit = re.sub(r" ?/ ?", "/", words[number.end() :].strip())
    if dimension == "duration" and TWO_PARTS.match(unit):
        return _hours_and_minutes(words, kind)
    if not unit or not (unit[0].isalpha() or unit[0] in "%°"):
        raise UnitError(_number_rule(words, unit, kind))
    return _canonical(number[0], unit, kind)


def show(value: float, dimension: str, unit: str | None = None) -> str:
    """Write a value as text, with up to six digits.

    Parameters
    ----------
    value
        The value. [canonical unit]
    dimension
        A key of `DIMENSIONS`.
    unit
        Symbol to write it in; without it the canonical unit (% for shares).

    Examples
    --------
    >>> show(480, "duration", "h")
    '8 h'
    >>> show(0.125, "share")
    '12.5 %'
    """
    kind = DIMENSIONS[dimension]
    if unit is None:
        unit = kind.canonical if kind.canonical in kind.units else next(iter(kind.units))
    factor, zero = _size(unit, kind)
    shown = float((Fraction(float(value)) - zero) / factor) if math.isfinite(value) else value
    digits = f"{shown:g}".removeprefix("-") if shown == 0 else f"{shown:g}"
    symbol = SINGULARS.get(unit, unit) if digits == "1" else PLURALS.get(unit, unit)
    return f"{digits} {symbol}"


def _words(text: object, kind: Dimension) -> str:
    """What the user wrote, with single blanks and the usual characters; refuse what is no text, too long or empty."""
    if not isinstance(text, str):
        raise UnitError(_needs(kind))
    if len(text) > LONGEST_TEXT:
        msg = f"is longer than {LONGEST_TEXT} characters; write it like '{kind.example}'"
        raise UnitError(msg)
    words = " ".join(text.translate(LOOKALIKES).split())
    if not words:
        msg = f"is empty; write {kind.article} {kind.name} with a unit, such as '{kind.example}'"
        raise UnitError(msg)
    return words


def _canonical(number: str, unit: str, kind: Dimension) -> float:
    """Calculate the canonical value exactly from the digits written, and round once."""
    factor, zero = _size(unit, kind)
    written = _bounded(float(number), kind)
    # A number that underflows to zero may have an exponent too long for a fraction.
    return _bounded((Fraction(number) if written else Fraction(0)) * factor + zero, kind)


def _bounded(number: float | Fraction, kind: Dimension) -> float:
    if not -LARGEST_NUMBER <= number <= LARGEST_NUMBER:
        msg = f"needs a number of at most 1e15, such as '{kind.example}'"
        raise UnitError(msg)
    return float(number)


def _hours_and_minutes(words: str, kind: Dimension) -> float:
    """Read ``1 h 30 min``; a sign holds for both."""
    parts = HOURS_AND_MINUTES.fullmatch(words)
    if parts is None or Fraction(parts[3]) >= kind.units["h"]:
        msg = "hours and minutes are written like '1 h 30 min', with whole hours and less than 60 minutes"
        raise UnitError(msg)
    total = Fraction(parts[2]) * kind.units["h"] + Fraction(parts[3])
    return _bounded(-total if parts[1] == "-" else total, kind)


def _size(unit: str, kind: Dimension) -> tuple[Fraction, Fraction]:
    """Size of a unit and place of its zero, both in the canonical unit."""
    if unit not in kind.units:
        raise UnitError(_unit_rule(unit, kind))
    return kind.units[unit], kind.zeros.get(unit, Fraction(0))


def _needs(kind: Dimension) -> str:
    return f"needs {kind.article} {kind.name} with a unit, such as '{kind.example}'"


def _number_rule(words: str, unit: str, kind: Dimension) -> str:
    """Say what is wrong where a number is not followed by a unit."""
    digits = words.lstrip("+-")
    if match := re.match(COMMA_EITHER, digits):
        whole, point = match[0].replace(",", ""), match[0].replace(",", ".")
        return f"a comma may mean two things; write {whole} or {point}, not {match[0]}"
    if match := re.match(COMMA_DECIMAL, digits):
        return f"decimals take a point; write {match[0].replace(',', '.')}, not {match[0]}"
    if match := re.match(THOUSANDS, digits):
        separators = r"\." if match[0].count(".") > 1 else r"[ ,'_]"
        return f"thousands are not separated; write {re.sub(separators, '', match[0])}, not {match[0]}"
    if unit.startswith(","):
        return "a comma is not read in numbers; write 1200.5, not 1.200,5 or 1,200.5"
    return _one_number(kind) if re.match(r"[-*/+^=()0-9]", unit) else _needs(kind)


def _one_number(kind: Dimension) -> str:
    return f"write one number and one unit, such as '{kind.example}'; arithmetic and ranges are not read"


def _unit_rule(unit: str, kind: Dimension) -> str:
    """Say what is wrong with a unit that the dimension does not have."""
    import difflib  # noqa: PLC0415  (only needed when something is wrong)

    wanted = f"{kind.article} {kind.name}"
    alike = [symbol for symbol in kind.units if symbol.casefold() == unit.casefold()]
    if elsewhere := _of_another_dimension(unit, same_case=bool(alike)):
        symbol, name = elsewhere[0]
        return f"needs {wanted} such as '{kind.example}'; '{symbol}' is a unit of {name}"
    near = alike or difflib.get_close_matches(unit, kind.units, n=1)
    if near:
        return f"does not know the unit {unit!r}; did you mean '{near[0]}'?"
    if re.search(r"[0-9*^()=]", unit):
        return _one_number(kind)
    return f"does not know the unit {unit!r}; {wanted} is written in {_choices(kind)}"


def _of_another_dimension(unit: str, *, same_case: bool) -> list[tuple[str, str]]:
    """Symbols and dimensions of a unit: as it is written, else, if that will do, in other capitals."""
    symbols = [(symbol, dimension.name) for dimension in DIMENSIONS.values() for symbol in dimension.units]
    exact = [pair for pair in symbols if pair[0] == unit]
    return exact if exact or same_case else [pair for pair in symbols if pair[0].casefold() == unit.casefold()]


def _choices(kind: Dimension) -> str:
    """Name the units of a dimension, one symbol for each size."""
    first_of_size: dict[tuple[Fraction, Fraction], str] = {}
    for symbol, factor in kind.units.items():
        first_of_size.setdefault((factor, kind.zeros.get(symbol, Fraction(0))), symbol)
    *most, last = list(first_of_size.values())[:MOST_UNITS_NAMED]
    return f"{', '.join(most)} or {last}" if most else last
