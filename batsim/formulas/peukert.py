"""Peukert's law: how capacity shrinks with the current (Peukert 1897, Elektrotechnische Zeitschrift 20, 287-288)."""

import math


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


def peukert_exponent(first_h: float, first_a: float, second_h: float, second_a: float) -> float:
    """Peukert's exponent from two discharges at constant current.

    Parameters
    ----------
    first_h, first_a, second_h, second_a
        Time and current of either discharge. [h], [A]

    Returns
    -------
    float
        n = (ln t2 - ln t1)/(ln I1 - ln I2) (Peukert 1897). Two close rates magnify reading errors. [-]

    Raises
    ------
    ValueError
        If a figure is not above 0, or the currents are equal.

    Examples
    --------
    Twice the current, a quarter of the time.

    >>> peukert_exponent(8.0, 10.0, 2.0, 20.0)
    2.0
    """
    if min(first_h, first_a, second_h, second_a) <= 0.0 or first_a == second_a:
        got = f"{first_h:g} h at {first_a:g} A and {second_h:g} h at {second_a:g} A"
        msg = f"two discharges must have times and currents above 0 and unequal currents (got {got})"
        raise ValueError(msg)
    return math.log(second_h / first_h) / math.log(first_a / second_a)


def peukert_hours(draw_a: float, capacity_ah: float, rate_h: float, peukert: float) -> float:
    """Time that a full battery lasts at a constant current: Peukert's law in its rated form.

    Parameters
    ----------
    draw_a
        Current drawn. [A]
    capacity_ah, rate_h
        Rated capacity and the hours of the rating. [Ah], [h]
    peukert
        Peukert's exponent n. [-]

    Returns
    -------
    float
        t = R (C/(I R))^n (Peukert 1897); infinite for no current. The form t = C/I^n of some handbooks
        needs the capacity at one ampere (R = C / 1 A), not that on the plate. [h]

    Examples
    --------
    500 Ah in 5 h is 100 A; at 200 A with n = 2 it lasts a quarter of the time.

    >>> peukert_hours(200.0, 500.0, 5.0, 2.0)
    1.25
    """
    if draw_a <= 0.0:
        return math.inf
    return float(rate_h * (capacity_ah / (draw_a * rate_h)) ** peukert)
