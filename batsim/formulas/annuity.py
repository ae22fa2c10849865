"""What a purchase costs in a year over its life."""


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
