"""Annuities, present values and paybacks: tables of engineering economy, and a library of financial functions."""

import numpy as np
import numpy_financial
import pytest
from scipy.optimize import brentq

from batsim.formulas.annuity import capital_recovery_share, net_present_value, payback_years

"""Half of the last of the four digits that such tables print."""


@pytest.mark.worked_out(where="payments at the ends of the years, each discounted, are the price")
@pytest.mark.parametrize("interest_share", [0.001, 0.06, 0.3, 1.0])
@pytest.mark.parametrize("years", [1, 5, 15, 40])
def test_what_is_paid_back_is_worth_the_price(interest_share: float, years: int) -> None:
    """The payment whose discounted sum over the life is 1, found numerically."""

    def short(payment: float) -> float:
        return sum(payment / (1.0 + interest_share) ** year for year in range(1, years + 1)) - 1.0

    assert capital_recovery_share(interest_share, float(years)) == pytest.approx(brentq(short, 0.0, 3.0), rel=1e-9)


@pytest.mark.worked_out(where="limit without interest, and for ever")
def test_limits() -> None:
    """Without interest the price is dealt over the years; over a very long life only interest is paid."""
    assert capital_recovery_share(0.0, 8.0) == 1.0 / 8.0
    assert capital_recovery_share(1e-9, 8.0) == pytest.approx(1.0 / 8.0, rel=1e-6)
    assert capital_recovery_share(0.05, 1000.0) == pytest.approx(0.05, rel=1e-12)


LIBRARY = "numpy-financial"


@pytest.mark.published(source=LIBRARY, where="pmt")
@pytest.mark.parametrize("interest_share", [0.001, 0.03, 0.06, 0.25])
@pytest.mark.parametrize("years", [1.0, 4.5, 12.0, 40.0])
def test_capital_recovery_against_a_library(interest_share: float, years: float) -> None:
    """Its signs are the other way round: what is received now is paid later."""
    assert capital_recovery_share(interest_share, years) == pytest.approx(
        -numpy_financial.pmt(interest_share, years, 1.0), rel=1e-10
    )


@pytest.mark.published(source=LIBRARY, where="npv, the first flow now; irr")
@pytest.mark.parametrize("interest_share", [0.0, 0.04, 0.1, 0.3])
def test_net_present_value_against_a_library(interest_share: float) -> None:
    """A price, unlike savings and a new set of batteries in year 5; nothing is left at the library's rate of return."""
    flows = np.array([-90_000.0, 21_000.0, 24_000.0, 25_500.0, 25_000.0, -12_000.0, 26_000.0, 24_000.0, 23_000.0])

    assert net_present_value(flows, interest_share) == pytest.approx(numpy_financial.npv(interest_share, flows))
    assert net_present_value(flows, float(numpy_financial.irr(flows))) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.published(source=LIBRARY, where="nper")
@pytest.mark.parametrize("interest_share", [0.001, 0.03, 0.06, 0.12])
@pytest.mark.parametrize("saved", [6000.0, 9000.0, 40_000.0])
def test_payback_against_a_library(interest_share: float, saved: float) -> None:
    """Number of payments that pay off a price, part years included; without interest the library turns its sign."""
    assert payback_years(24_000.0, saved, interest_share) == pytest.approx(
        float(numpy_financial.nper(interest_share, saved, -24_000.0)), rel=1e-9
    )
