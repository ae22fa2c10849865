"""Peukert's law: how capacity shrinks with the current (Peukert 1897, Elektrotechnische Zeitschrift 20, 287-288)."""


def five_hour_capacity_ah(capacity_ah: float, rate_h: float, peukert: float) -> float:
    """Capacity at the 5 h rate of a battery that is rated at another rate, 6 h on a North American plate.

    Parameters
    ----------
    capacity_ah, rate_h
        Rated capacity and the hours of the rating. [Ah], [h]
    peukert
        Peukert's exponent n. [-]

    Returns
    -------
    float
        C5 = C_R / (R/5)^((n-1)/n), from I^n t = constant (Peukert 1897). Good for rates of 1 to 10 h. [Ah]

    Examples
    --------
    With n = 2 the capacity at 20 h is (20/5)^(1/2) = 2 times C5.

    >>> five_hour_capacity_ah(1000.0, 20.0, 2.0)
    500.0
    """
    return float(capacity_ah / (rate_h / 5.0) ** ((peukert - 1.0) / peukert))
