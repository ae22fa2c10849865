"""The capital recovery factor: tables of engineering economy, and the sum of what is paid back."""

import pytest
from scipy.optimize import brentq

from batsim.formulas.annuity import capital_recovery_share

TABLES = "compound interest tables of engineering economy, factor (A/P, i, n), from memory"
DIGITS = 0.00005
"""Half of the last of the four digits that such tables print."""


@pytest.mark.published(source=TABLES, where="columns capital recovery (A/P) at 5, 8, 10, 12 and 20 %")
@pytest.mark.parametrize(
    ("interest_share", "years", "printed"),
    [
        (0.05, 10.0, 0.1295),
        (0.08, 5.0, 0.2505),
        (0.10, 1.0, 1.1000),
        (0.10, 5.0, 0.2638),
        (0.10, 10.0, 0.1627),
        (0.10, 20.0, 0.1175),
        (0.12, 10.0, 0.1770),
        (0.20, 5.0, 0.3344),
    ],
)
def test_printed_factors(interest_share: float, years: float, printed: float) -> None:
    """To the digits of the tables."""
    assert capital_recovery_share(interest_share, years) == pytest.approx(printed, abs=DIGITS)


@pytest.mark.published(
    source="worked out here", where="payments at the ends of the years, each discounted, are the price"
)
@pytest.mark.parametrize("interest_share", [0.001, 0.06, 0.3, 1.0])
@pytest.mark.parametrize("years", [1, 5, 15, 40])
def test_what_is_paid_back_is_worth_the_price(interest_share: float, years: int) -> None:
    """The payment whose discounted sum over the life is 1, found numerically."""

    def short(payment: float) -> float:
        return sum(payment / (1.0 + interest_share) ** year for year in range(1, years + 1)) - 1.0

    assert capital_recovery_share(interest_share, float(years)) == pytest.approx(brentq(short, 0.0, 3.0), rel=1e-9)


@pytest.mark.published(source="worked out here", where="limit without interest, and for ever")
def test_limits() -> None:
    """Without interest the price is dealt over the years; over a very long life only interest is paid."""
    assert capital_recovery_share(0.0, 8.0) == 1.0 / 8.0
    assert capital_recovery_share(1e-9, 8.0) == pytest.approx(1.0 / 8.0, rel=1e-6)
    assert capital_recovery_share(0.05, 1000.0) == pytest.approx(0.05, rel=1e-12)


@pytest.mark.published(source="worked out here", where="a debt that grows with interest and is paid down each year")
def test_a_debt_is_gone_at_the_end_of_the_life() -> None:
    """Year by year: 24,000 at 6 % over 12 years."""
    debt, payment = 24_000.0, 24_000.0 * capital_recovery_share(0.06, 12.0)
    for _ in range(12):
        debt = 1.06 * debt - payment

    assert debt == pytest.approx(0.0, abs=1e-6)
