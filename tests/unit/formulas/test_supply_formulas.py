"""Supply and money: proportions, inverses, what never pays, and what is refused."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.annuity import capital_recovery_share, net_present_value, payback_years
from batsim.formulas.supply import (
    apparent_kva,
    coincidence_share,
    continuous_rating_a,
    line_current_a,
    load_factor_share,
)

powers = st.floats(0.1, 500.0)
interests = st.floats(0.001, 0.5)


def _whole(message):
    return f"^{re.escape(message)}$"


@given(kw=powers, power_factor=st.floats(0.5, 1.0), volts=st.floats(100.0, 700.0))
def test_current_follows_the_apparent_power(kw, power_factor, volts):
    """Three lines carry the power of root three single ones; two lines are one circuit."""
    kva = apparent_kva(kw, power_factor)

    assert kva >= kw
    assert apparent_kva(kw, 1.0) == kw
    assert line_current_a(kva, volts, 1) == pytest.approx(math.sqrt(3.0) * line_current_a(kva, volts, 3))
    assert line_current_a(kva, volts, 2) == line_current_a(kva, volts, 1)
    assert line_current_a(kva, 2.0 * volts, 3) == pytest.approx(line_current_a(kva, volts, 3) / 2.0)


@given(continuous=st.floats(0.0, 500.0), other=st.floats(0.0, 500.0))
def test_a_continuous_load_fills_four_fifths_of_its_device(continuous, other):
    """The same rule backwards; other loads count as they are."""
    assert 0.8 * continuous_rating_a(continuous, 0.0, 1.25) == pytest.approx(continuous)
    assert continuous_rating_a(continuous, other, 1.25) - continuous_rating_a(continuous, 0.0, 1.25) == pytest.approx(
        other, abs=1e-9
    )


@given(loads=st.lists(st.lists(powers, min_size=6, max_size=6), min_size=1, max_size=8).map(np.array))
def test_coincidence_is_at_most_one(loads):
    """Loads of several chargers over six intervals; one alone coincides with itself, and so do like ones."""
    peaks = loads.max(axis=1)
    share = coincidence_share(float(loads.sum(axis=0).max()), peaks)

    assert 1.0 / len(loads) - 1e-9 <= share <= 1.0 + 1e-12
    assert coincidence_share(float(peaks[0]), peaks[:1]) == 1.0
    assert coincidence_share(3.0 * float(peaks[0]), np.repeat(peaks[:1], 3)) == pytest.approx(1.0)


@given(loads=st.lists(powers, min_size=1, max_size=50))
def test_load_factor_is_at_most_one(loads):
    """The mean is no more than the peak."""
    assert 0.0 < load_factor_share(float(np.mean(loads)), max(loads)) <= 1.0 + 1e-12
    assert load_factor_share(loads[0], loads[0]) == 1.0


@pytest.mark.parametrize("factor", [0.0, 1.5])
def test_impossible_power_factors_are_refused(factor):
    """Power is no more than apparent power."""
    with pytest.raises(ValueError, match=_whole(f"power factor must be above 0 and at most 1 (got {factor:g})")):
        apparent_kva(10.0, factor)


def test_impossible_lines_are_refused():
    """A voltage, and as many phases as there are."""
    with pytest.raises(ValueError, match=_whole("voltage must be above 0 (got 0)")):
        line_current_a(10.0, 0.0, 3)
    with pytest.raises(ValueError, match=_whole("phases must be 1, 2 or 3 (got 4)")):
        line_current_a(10.0, 400.0, 4)


def test_peaks_of_nothing_are_refused():
    """They are divided by."""
    with pytest.raises(ValueError, match=_whole("peak must be above 0 (got 0)")):
        load_factor_share(1.0, 0.0)
    with pytest.raises(ValueError, match=_whole("peaks must come to more than 0 (got 0)")):
        coincidence_share(0.0, np.zeros(3))


@given(price=st.floats(1.0, 1e5), interest=interests, years=st.floats(0.5, 40.0))
def test_annuity_and_payback_are_inverse(price, interest, years):
    """What recovers a price over a life pays it back in that life."""
    per_year = price * capital_recovery_share(interest, years)

    assert payback_years(price, per_year, interest) == pytest.approx(years, rel=1e-4)


@given(interest=interests, years=st.integers(0, 30), price=st.floats(0.0, 1e5))
def test_net_present_value_of_like_payments(interest, years, price):
    """A price now and the same saving at the end of each year."""
    flows = [-price] + [1000.0] * years

    worth = 1000.0 * -math.expm1(-years * math.log1p(interest)) / interest
    assert net_present_value(flows, interest) == pytest.approx(worth - price, rel=1e-9, abs=1e-6)
    assert net_present_value(flows, 0.0) == pytest.approx(1000.0 * years - price, abs=1e-6)


def test_interest_near_none_is_like_none():
    """No jump where the formula changes."""
    assert payback_years(5000.0, 1000.0, 1e-9) == pytest.approx(payback_years(5000.0, 1000.0), rel=1e-7)


def test_what_pays_at_once_and_what_never_pays():
    """Nothing to pay; nothing saved; less saved than the interest on the price."""
    assert payback_years(0.0, 100.0) == 0.0
    assert payback_years(-10.0, -5.0, 0.05) == 0.0
    assert payback_years(100.0, 0.0) == math.inf
    assert payback_years(100.0, -5.0) == math.inf
    assert payback_years(1000.0, 50.0, 0.05) == math.inf
    assert payback_years(1000.0, 50.0) == 20.0
    assert 90.0 < payback_years(1000.0, 50.5, 0.05) < math.inf
    assert net_present_value([], 0.05) == 0.0
