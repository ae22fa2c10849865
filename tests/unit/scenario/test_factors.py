"""Factors: what an input may be, value by value, against laws from elsewhere; and what is no factor."""

import pickle
from collections import Counter
from typing import Any

import numpy as np
import pytest
from scipy import stats

from batsim.scenario.factors import FORMS, MOST_VALUES, TAIL_SHARE, Between, Choice, Factor, between_of, factor_of
from batsim.scenario.parts.faults import Faults

SHARES = (0.0, 0.001, 0.05, 0.25, 0.5, 0.6, 0.75, 0.95, 0.999, 1.0)
SIX_DIGITS = 5e-6
"""Values are written to six digits. [-]"""


def amounts(factor: Factor, shares: "tuple[float, ...] | np.ndarray[Any, Any]" = SHARES) -> list[float]:
    """Numbers of a factor at some shares, without their unit."""
    return [float(str(factor.at(float(share))).partition(" ")[0]) for share in shares]


# --- between two ends ---


@pytest.mark.parametrize(("low", "high", "unit"), [(3.0, 4.0, "kW"), (-30.0, -5.0, "degC"), (-1.0, 2.5, "")])
def test_between_two_ends_every_value_is_as_likely(low: float, high: float, unit: str) -> None:
    """A uniform law, and its unit."""
    ends = [f"{each:g} {unit}" if unit else each for each in (low, high)]
    factor = factor_of("a.b", {"between": ends})

    assert amounts(factor) == pytest.approx(stats.uniform(low, high - low).ppf(SHARES), rel=SIX_DIGITS, abs=1e-9)
    assert {str(factor.at(share)).partition(" ")[2] for share in SHARES} == {unit}
    assert factor.path == "a.b"


@pytest.mark.parametrize(
    ("low", "typical", "high"), [(3.0, 3.4, 4.0), (3.0, 3.0, 4.0), (3.0, 4.0, 4.0), (-5.0, 0.0, 1)]
)
def test_a_typical_value_makes_it_triangular(low: float, typical: float, high: float) -> None:
    """Also where the typical value is one of the ends."""
    factor = factor_of("a", {"between": [f"{low} kW", f"{high} kW"], "typical": f"{typical} kW"})
    law = stats.triang((typical - low) / (high - low), loc=low, scale=high - low)

    assert amounts(factor) == pytest.approx(law.ppf(SHARES), rel=SIX_DIGITS, abs=1e-5)


def test_ends_middles_and_levels() -> None:
    """Low and high are as stated; the middle is the typical value, or half way."""
    plain, peaked = (
        factor_of("a", {"between": ["3 kW", "3.7 kW"]}),
        between_of("a", {"between": ["3 kW", "3.7 kW"], "typical": "3.4 kW"}),
    )

    assert (plain.low, plain.middle, plain.high) == ("3 kW", "3.35 kW", "3.7 kW")
    assert plain.levels == ("3 kW", "3.35 kW", "3.7 kW")
    assert (peaked.low, peaked.middle, peaked.high) == ("3 kW", "3.4 kW", "3.7 kW")
    assert (plain.text, peaked.text) == ("between 3 kW and 3.7 kW", "between 3 kW and 3.7 kW, typically 3.4 kW")


def test_whole_numbers_are_counts_and_each_as_likely() -> None:
    """Without a unit and a decimal point."""
    factor = factor_of("a", {"between": [3, 6]})
    fine = [factor.at(share) for share in (np.arange(8000) + 0.5) / 8000]

    assert all(type(each) is int for each in (*fine, factor.low, factor.middle, factor.high))
    assert Counter(fine) == {3: 2000, 4: 2000, 5: 2000, 6: 2000}
    assert (factor.low, factor.high, factor.levels) == (3, 6, (3, 4, 6))
    assert [factor.at(share) for share in (0.2499999, 0.25, 0.4999999, 0.5, 0.75)] == [3, 4, 4, 5, 6]
    assert factor.text == "between 3 and 6"


def test_two_whole_numbers_are_two_levels() -> None:
    """Half way is one of them."""
    assert factor_of("a", {"between": [3, 4]}).levels == (3, 4)


def test_whole_numbers_about_a_typical_one() -> None:
    """The triangular law, rounded."""
    factor = factor_of("a", {"between": [10, 30], "typical": 12})
    law = stats.triang(0.1, loc=10, scale=20)

    assert [factor.at(share) for share in SHARES] == [round(value) for value in law.ppf(SHARES)]
    assert (factor.middle, type(factor.middle)) == (12, int)
    assert factor.text == "between 10 and 30, typically 12"


def test_one_number_with_a_point_makes_all_of_them_plain() -> None:
    """1 and 1.5 are no counts."""
    factor = factor_of("a", {"between": [1, 1.5]})

    assert (factor.low, factor.middle, factor.at(0.1), factor.high) == (1.0, 1.25, 1.05, 1.5)
    assert type(factor.low) is float


@pytest.mark.parametrize(
    ("ends", "at_0_3", "middle"),
    [
        (["50 x electronic_iuia", "66 x electronic_iuia"], "55 x electronic_iuia", "58 x electronic_iuia"),
        (["700 Ah at 5 h", "800 Ah at 5 h"], "730 Ah at 5 h", "750 Ah at 5 h"),
        (["90 % under 5 min", "98 % under 5 min"], "92.4 % under 5 min", "94 % under 5 min"),
        (["5 A per 100 Ah", "6 A per 100 Ah"], "5.3 A per 100 Ah", "5.5 A per 100 Ah"),
        (["1 day", "3 days"], "1.6 days", "2 days"),
        (["1 charge", "9 charges"], "3.4 charges", "5 charges"),
        (["1000000 EUR", "2000000 EUR"], "1300000 EUR", "1500000 EUR"),
        (["1e3 m", "2e3 m"], "1300 m", "1500 m"),
    ],
)
def test_whatever_follows_the_number_is_its_unit(ends: list[str], at_0_3: str, middle: str) -> None:
    """A number of things stays whole, singular and plural are one unit, large numbers are written out."""
    factor = factor_of("a", {"between": ends})

    assert (factor.at(0.3), factor.middle) == (at_0_3, middle)


def test_a_number_of_chargers_is_whole_at_every_share() -> None:
    """Each count is as likely."""
    factor = factor_of("a", {"between": ["4 x fast", "6 x fast"]})

    assert Counter(factor.at((n + 0.5) / 300) for n in range(300)) == {
        "4 x fast": 100,
        "5 x fast": 100,
        "6 x fast": 100,
    }


# --- about a mean ---


@pytest.mark.parametrize(("mean", "cv"), [(3.4, 0.1), (3.4, 0.5), (0.02, 2.0)])
def test_about_a_mean_it_is_lognormal(mean: float, cv: float) -> None:
    """With its tails cut at half a percent."""
    factor = factor_of("a", {"mean": f"{mean} kW", "cv": cv})
    sigma = np.sqrt(np.log(1.0 + cv**2))
    law = stats.lognorm(sigma, scale=mean * np.exp(-(sigma**2) / 2.0))
    kept = np.clip(SHARES, TAIL_SHARE, 1.0 - TAIL_SHARE)

    assert (law.mean(), law.std() / law.mean()) == pytest.approx((mean, cv))
    assert amounts(factor) == pytest.approx(law.ppf(kept), rel=SIX_DIGITS)
    assert amounts(factor, (0.05, 0.95)) == [float(str(each)[:-3]) for each in (factor.low, factor.high)]


def test_its_middle_is_the_mean() -> None:
    """And its text says so; counts stay whole."""
    power, count = factor_of("a", {"mean": "3.4 kW", "cv": 0.1}), factor_of("a", {"mean": 40, "cv": 0.2})

    assert (power.middle, power.text) == ("3.4 kW", "about 3.4 kW, cv 0.1")
    assert power.levels == (power.low, "3.4 kW", power.high)
    assert (count.middle, count.text) == (40, "about 40, cv 0.2")
    assert {type(count.at(share)) for share in SHARES} == {int}
    assert factor_of("a", {"mean": "40 x fast", "cv": 0.2}).at(0.5) == "39 x fast"


# --- some values ---


@pytest.mark.parametrize("stated", [[70, "a", None], {"values": [70, "a", None]}])
def test_some_values_are_each_as_likely(stated: object) -> None:
    """In the order in which they stand, whatever they are."""
    factor = factor_of("a", stated)

    assert factor == Choice("a", (70, "a", None))
    assert [factor.at(share) for share in (0.0, 0.33, 0.34, 0.66, 0.67, 1.0)] == [70, 70, "a", "a", None, None]
    assert factor.levels == (70, "a", None)
    assert (factor.low, factor.middle, factor.high) == (70, "a", None)
    assert factor.text == "one of 70, a, None"


def test_values_may_be_blocks() -> None:
    """A law, for instance."""
    law = {"mean": "6 h", "cv": 0.2}

    assert factor_of("a", [law, "6 h"]).levels == (law, "6 h")


def test_a_list_of_two_is_no_range() -> None:
    """Only between makes one."""
    assert isinstance(factor_of("a", [3, 6]), Choice)
    assert isinstance(factor_of("a", {"between": [3, 6]}), Between)


@pytest.mark.parametrize(
    "factor",
    [
        factor_of("a", {"between": ["3 kW", "4 kW"], "typical": "3.4 kW"}),
        factor_of("a", {"mean": 4, "cv": 0.1}),
        factor_of("a", [1, "b"]),
    ],
)
def test_a_factor_can_be_sent_to_another_process(factor: Factor) -> None:
    """It is the same there."""
    copy = pickle.loads(pickle.dumps(factor))

    assert copy == factor
    assert [copy.at(share) for share in SHARES] == [factor.at(share) for share in SHARES]


# --- what is none ---

BETWEEN = "needs {between: [LOW, HIGH]}, also with a typical value, such as {between: [3 kW, 4 kW], typical: 3.4 kW}"


@pytest.mark.parametrize(
    ("stated", "message"),
    [
        (3, FORMS),
        (None, FORMS),
        ("3 kW", FORMS),
        ({}, FORMS),
        ({"mean": "3 kW"}, FORMS),
        ({"mean": "3 kW", "cv": 0.1, "law": "gamma"}, FORMS),
        ({"values": [1], "between": [1, 2], "x": 1}, BETWEEN),
        ({"values": 3}, FORMS),
        ([], f"needs from 1 to {MOST_VALUES} values"),
        ({"values": []}, f"needs from 1 to {MOST_VALUES} values"),
        ([0] * (MOST_VALUES + 1), f"needs from 1 to {MOST_VALUES} values"),
        ({"between": "3 kW"}, BETWEEN),
        ({"between": [1, 2, 3]}, BETWEEN),
        ({"between": [1, 2], "mean": 1}, BETWEEN),
    ],
    ids=str,
)
def test_what_is_no_factor_is_answered_with_the_forms(stated: object, message: str) -> None:
    """The rule to the letter."""
    with pytest.raises(ValueError, match="needs") as caught:
        factor_of("a", stated)

    assert type(caught.value) is ValueError
    assert str(caught.value) == message


NUMBER = "needs a number, or a number with its unit such as '3 kW'"


@pytest.mark.parametrize(
    ("stated", "path", "rule", "got"),
    [
        ({"between": [None, 2]}, ("between", 0), NUMBER, "nothing"),
        ({"between": [1, True]}, ("between", 1), NUMBER, "true"),
        ({"between": [1, {}]}, ("between", 1), NUMBER, "an empty block of keys"),
        ({"between": ["kW", "4 kW"]}, ("between", 0), NUMBER, "'kW'"),
        ({"between": ["06:00", "07:00"]}, ("between", 0), NUMBER, "'06:00'"),
        ({"between": ["1 h 30 min", "2 h 30 min"]}, ("between", 0), NUMBER, "'1 h 30 min'"),
        ({"between": [1, float("inf")]}, ("between", 1), NUMBER, "inf"),
        ({"between": [1, 2], "typical": "x"}, ("typical",), NUMBER, "'x'"),
        ({"between": [1, "2 kW"]}, (), "all numbers need the same unit", "kW and none"),
        ({"between": ["1 W", "2 kW"]}, (), "all numbers need the same unit", "W and kW"),
        ({"between": ["1 W", "2 W"], "typical": 2}, (), "all numbers need the same unit", "W and none"),
        ({"between": ["2 kW", "1 kW"]}, (), "must rise", "2 kW, 1 kW"),
        ({"between": [2, 2]}, (), "must rise", "2, 2"),
        ({"between": [1, 2], "typical": 3}, (), "must rise", "1, 3, 2"),
        ({"between": [1, 2], "typical": 0.5}, (), "must rise", "1, 0.5, 2"),
        ({"mean": "x", "cv": 0.1}, ("mean",), NUMBER, "'x'"),
        ({"mean": 0, "cv": 0.1}, ("mean",), "must be above 0", "0"),
        ({"mean": "-1 kW", "cv": 0.1}, ("mean",), "must be above 0", "'-1 kW'"),
        ({"mean": 1, "cv": 0}, ("cv",), "needs a plain number above 0, at most 2", "0"),
        ({"mean": 1, "cv": 2.1}, ("cv",), "needs a plain number above 0, at most 2", "2.1"),
        ({"mean": 1, "cv": True}, ("cv",), "needs a plain number above 0, at most 2", "true"),
        ({"mean": 1, "cv": "0.1"}, ("cv",), "needs a plain number above 0, at most 2", "'0.1'"),
    ],
    ids=str,
)
def test_what_is_wrong_inside_is_said_at_its_bay(stated: object, path: tuple[object, ...], rule: str, got: str) -> None:
    """Path within the statement, rule and value."""
    with pytest.raises(Faults) as caught:
        factor_of("a", stated)

    assert caught.value.faults == [(path, rule, got)]
