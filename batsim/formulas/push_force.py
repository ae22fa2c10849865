"""Force to move a battery by hand: what rolling, slopes and starting take, and what a person can be asked for.

Forces add up: rolling, slope, and what it takes to get the mass going.
"""

import math

FREE_FALL_M_PER_S2 = 9.80665
"""Standard acceleration of free fall, 3rd CGPM (1901). [m/s2]"""


def rolling_force_n(mass_kg: float, resistance_share: float) -> float:
    """Force that keeps a mass rolling on level floor.

    Parameters
    ----------
    mass_kg
        Mass of the battery and of what carries it. [kg]
    resistance_share
        Force over weight. [-]

    Returns
    -------
    float
        F = c m g. [N]

    References
    ----------
    HSE L23, push and pull assessment: at least 2 % of the weight with good wheels on good floor, up to 10 % on uneven
    floor.

    Examples
    --------
    >>> round(rolling_force_n(1000.0, 0.02), 3)
    196.133
    """
    return resistance_share * mass_kg * FREE_FALL_M_PER_S2


def ramp_force_n(mass_kg: float, slope_share: float) -> float:
    """Force that a slope adds on the way up, and that must hold the mass back on the way down.

    Parameters
    ----------
    mass_kg
        Mass of the battery and of what carries it. [kg]
    slope_share
        Rise over level distance: 1 in 12 is 0.0833. [-]

    Returns
    -------
    float
        F = m g sin(arctan(slope)). [N]

    References
    ----------
    Statics; HSE INDG143, as quoted, has the same slope of 1 in 12.

    Examples
    --------
    A slope of 3 in 4 takes 3/5 of the weight.

    >>> round(ramp_force_n(100.0, 0.75), 3)
    588.399
    """
    return mass_kg * FREE_FALL_M_PER_S2 * math.sin(math.atan(slope_share))


def largest_mass_kg(limit_n: float, resistance_share: float) -> float:
    """Largest mass that a limit of force allows: the inverse of `rolling_force_n`.

    Parameters
    ----------
    limit_n
        Force that is allowed. [N]
    resistance_share
        Force over weight; on a slope the two shares added. [-]

    Returns
    -------
    float
        m = F/(c g); infinite without resistance. [kg]

    Examples
    --------
    >>> round(largest_mass_kg(196.133, 0.02), 6)
    1000.0
    """
    return limit_n / (resistance_share * FREE_FALL_M_PER_S2) if resistance_share > 0.0 else math.inf
