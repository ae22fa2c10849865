"""Money: annuities, present values, paybacks, and what a battery costs by its energy."""

from batsim.formulas.annuity import capital_recovery_share, net_present_value, payback_years

Numbers = dict[str, float]


def capital_recovery(interest_percent: float, years: float) -> Numbers:
    """Part of a price that is paid each year."""
    return {"factor": capital_recovery_share(interest_percent / 100.0, years)}


def debt(price: float, interest_percent: float, years: float) -> Numbers:
    """What is left of a debt that is paid down each year, year by year."""
    interest_share = interest_percent / 100.0
    left, payment = price, price * capital_recovery_share(interest_share, years)
    for _ in range(int(years)):
        left = (1.0 + interest_share) * left - payment
    return {"left": left}


def present_value(interest_percent: float, payment: float, years: float) -> Numbers:
    """Present value of equal payments at the ends of years, and when they have paid off 24,000."""
    interest_share = interest_percent / 100.0
    return {
        "present value": net_present_value([0.0, *[payment] * int(years)], interest_share),
        "payback, years": payback_years(24_000.0, payment, interest_share),
    }


FUNCTIONS = {function.__name__: function for function in (capital_recovery, debt, present_value)}
"""What the table names."""
