"""Two-well model of a battery: what a strong current leaves behind comes back in a break.

An available well feeds the work, a bound well feeds the available one at a rate that grows with the difference of
their levels (Manwell and McGowan 1993, Solar Energy 50, 399-405: kinetic battery model). It gives both the effect
of the current and recovery, where Peukert's law gives the first alone.

With y the ampere-hours in both wells and d = available - c y, a constant current I has the exact solution
y = y0 - I t and d = d0 exp(-k t) - I (1 - c) [1 - exp(-k t)]/k, the paper's equations in a shorter form.
"""

import math
from typing import NamedTuple

from batsim.errors import require

_NEAR = 1e-12  # step of a search that is as good as rounding
_MOST_STEPS = 200  # both searches need fewer; this only rules out a loop without end
_SLOWEST, _FASTEST = 1e-6, 40.0  # k times hours at which the curve is straight, or exp(-k t) is rounding


class Wells(NamedTuple):
    """Parameters of the two wells."""

    rate_per_h: float
    """How fast the wells even out, k; above 0. [1/h]"""
    available_share: float
    """Share of the charge that is available at rest, c; above 0, at most 1. [-]"""
    most_ah: float
    """Capacity at an infinitely weak current, q_max. [Ah]"""


def fit_wells(points: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]) -> Wells:
    """Parameters that meet three capacities at constant current.

    Parameters
    ----------
    points
        Three pairs (hours to empty, capacity), from short to long; best spread over 1 to 20 h. [h], [Ah]

    Returns
    -------
    Wells
        The only two wells through the three points.

    Raises
    ------
    ValueError
        If hours and capacities do not rise, or no two wells have these capacities.

    Notes
    -----
    A full battery that a constant current empties in T hours gives q with 1/q = A + B g(k T), where g(x) =
    [1 - exp(-x)]/x, A = 1/q_max and B = (1 - c)/(c q_max). That is linear in A and B, so k alone meets
    (1/q1 - 1/q2)/(1/q2 - 1/q3) = (g1 - g2)/(g2 - g3). The right side rises with k, and bisection finds it.

    References
    ----------
    Manwell and McGowan 1993, who fit the same equation to more points. Linear form: worked out.

    Examples
    --------
    Capacities made with q_max = 100 Ah, c = 1/2 and k = ln 2 per hour come back.

    >>> full = [100.0 / (1.0 + (1.0 - 0.5**hours) / (math.log(2.0) * hours)) for hours in (1.0, 5.0, 20.0)]
    >>> [round(parameter, 6) for parameter in fit_wells(tuple(zip((1.0, 5.0, 20.0), full)))]
    [0.693147, 0.5, 100.0]
    """
    (first_h, first_ah), (second_h, second_ah), (third_h, third_ah) = points
    got = ", ".join(f"{capacity:g} Ah in {hours:g} h" for hours, capacity in points)
    rises = 0.0 < first_h < second_h < third_h and 0.0 < first_ah < second_ah < third_ah
    require(rises, f"hours and capacities must be above 0 and rise from point to point (got {got})")
    curvature = (1.0 / first_ah - 1.0 / second_ah) / (1.0 / second_ah - 1.0 / third_ah)

    def ratio(rate_per_h: float) -> float:
        middle = _mean_decay(rate_per_h * second_h)
        return (_mean_decay(rate_per_h * first_h) - middle) / (middle - _mean_decay(rate_per_h * third_h))

    low, high = _SLOWEST / third_h, _FASTEST / first_h
    bend = "more" if curvature >= ratio(high) else "less"
    rule = f"no two wells have these capacities: they bend {bend} than the model can"
    require(ratio(low) < curvature < ratio(high), f"{rule} (got {got})")
    for _ in range(_MOST_STEPS):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if ratio(middle) < curvature else (low, middle)
        if high - low <= _NEAR * high:
            break
    first, third = _mean_decay(high * first_h), _mean_decay(high * third_h)
    slope = (1.0 / first_ah - 1.0 / third_ah) / (first - third)
    least = 1.0 / third_ah - slope * third
    require(least > 0.0, f"no two wells have these capacities: they rise too far to have an end (got {got})")
    return Wells(high, least / (least + slope), 1.0 / least)


def wells_after(available_ah: float, bound_ah: float, amps: float, hours: float, wells: Wells) -> tuple[float, float]:
    """Return what both wells hold after some hours at constant current.

    Parameters
    ----------
    available_ah, bound_ah
        What they hold at the start. [Ah]
    amps
        Current: above 0 in use, 0 at rest, below 0 on charge. [A]
    hours
        Length of the stretch. [h]
    wells
        Parameters, see `fit_wells`.

    Returns
    -------
    tuple of float
        Available and bound. [Ah]

    Notes
    -----
    Exact while the available well is between 0 and c q_max; beyond, the battery is empty or takes less. Look first
    with `hours_to_empty`.

    References
    ----------
    Manwell and McGowan 1993.

    Examples
    --------
    An hour of rest halves the distance from level wells, 50 Ah each, when k = ln 2 and c = 1/2.

    >>> [round(held_ah, 9) for held_ah in wells_after(30.0, 70.0, 0.0, 1.0, Wells(math.log(2.0), 0.5, 200.0))]
    [40.0, 60.0]
    """
    rate_per_h, share, _ = wells
    held_ah = available_ah + bound_ah
    gone = -math.expm1(-rate_per_h * hours)
    surplus_ah = (available_ah - share * held_ah) * (1.0 - gone) - amps * (1.0 - share) * gone / rate_per_h
    left_ah = held_ah - amps * hours
    available_ah = share * left_ah + surplus_ah
    return available_ah, left_ah - available_ah


def hours_to_empty(available_ah: float, bound_ah: float, amps: float, wells: Wells) -> float:
    """Time until a constant current has emptied the available well.

    Parameters
    ----------
    available_ah, bound_ah
        What the wells hold. [Ah]
    amps
        Current drawn. [A]
    wells
        Parameters, see `fit_wells`.

    Returns
    -------
    float
        Hours; 0 if the current cannot flow at all, infinite if none is drawn. [h]

    Notes
    -----
    The available well is a straight line plus one exponential, so its curve bends one way only: Newton's method
    comes from the start (bends up) or from y/I, the time that all the charge would last (bends down), and never
    passes the root.

    References
    ----------
    Manwell and McGowan 1993. Search: worked out.

    Examples
    --------
    Level wells of 50 Ah each, and the current that takes their 58.094 Ah in an hour when k = ln 2 and c = 1/2.

    >>> round(hours_to_empty(50.0, 50.0, 58.094, Wells(math.log(2.0), 0.5, 100.0)), 4)
    1.0
    """
    if amps <= 0.0:
        return math.inf
    rate_per_h, share, _ = wells
    held_ah = available_ah + bound_ah
    surplus_ah = available_ah - share * held_ah
    if available_ah <= 0.0 and amps + rate_per_h * surplus_ah >= 0.0:
        return 0.0  # what flows in is less than what is drawn
    steady_ah = -amps * (1.0 - share) / rate_per_h  # what the surplus tends to
    bend_ah = surplus_ah - steady_ah
    longest_h = held_ah / amps
    hours = 0.0 if bend_ah >= 0.0 else longest_h
    for _ in range(_MOST_STEPS):
        decayed_ah = bend_ah * math.exp(-rate_per_h * hours)
        value_ah = share * (held_ah - amps * hours) + steady_ah + decayed_ah
        step_h = value_ah / (share * amps + rate_per_h * decayed_ah)
        hours += step_h
        if abs(step_h) <= _NEAR * longest_h:
            break
    return hours


def _mean_decay(span: float) -> float:
    """Mean of exp(-x) from 0 to some span."""
    return -math.expm1(-span) / span
