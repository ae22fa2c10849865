"""What a purchase costs in a year over its life, and what a row of payments is worth today."""

import math
from collections.abc import Iterable


def capital_recovery_share(interest_share: float, years: float) -> float:
    """Part of a price that must be paid each year of a life to recover it with interest.

    Parameters
    ----------
    interest_share
        Interest of a year. [-]
    years
        Life. [years]

    Returns
    -------
    float
        i / (1 - (1 + i)^-n), and 1/n without interest. [1/year]

    References
    ----------
    Capital recovery factor, as in any text on engineering economy (from memory).

    Examples
    --------
    >>> round(capital_recovery_share(0.05, 10.0), 6)
    0.129505
    >>> capital_recovery_share(0.0, 10.0)
    0.1
    """
    if interest_share == 0.0:
        return 1.0 / years
    return float(interest_share / (1.0 - (1.0 + interest_share) ** -years))


def net_present_value(flows: Iterable[float], interest_share: float) -> float:
    """What a row of yearly payments is worth today.

    Parameters
    ----------
    flows
        Money in (above 0) and out (below 0) by year; the first is now, year 0. [money]
    interest_share
        Interest of a year. [-]

    Returns
    -------
    float
        Sum of flow/(1 + i)^year. [money]

    References
    ----------
    Net present value, as in any text on engineering economy (from memory).

    Examples
    --------
    550 and 605 are worth 500 each at 10 %.

    >>> round(net_present_value([-900.0, 550.0, 605.0], 0.10), 9)
    100.0
    """
    return math.fsum(flow / (1.0 + interest_share) ** year for year, flow in enumerate(flows))


def payback_years(price: float, saved_per_year: float, interest_share: float = 0.0) -> float:
    """Years until what is saved has paid for a purchase.

    Parameters
    ----------
    price
        What is paid now. [money]
    saved_per_year
        What it saves in a year. [money/year]
    interest_share
        Interest of a year; 0 for the simple payback. [-]

    Returns
    -------
    float
        price/saved, or -ln(1 - i price/saved)/ln(1 + i) with interest; 0 if there is nothing to pay, infinite if it
        never pays. [years]

    References
    ----------
    Simple and discounted payback: the years after which what is saved is worth the price today (from memory).

    Examples
    --------
    >>> payback_years(9000.0, 3000.0)
    3.0
    >>> round(payback_years(1735.53719, 1000.0, 0.10), 6)
    2.0
    >>> payback_years(9000.0, 300.0, 0.05)
    inf
    """
    if price <= 0.0:
        return 0.0
    if saved_per_year <= 0.0 or interest_share * price >= saved_per_year:
        return math.inf
    simple = price / saved_per_year
    if interest_share == 0.0:
        return simple
    return -math.log1p(-interest_share * simple) / math.log1p(interest_share)
