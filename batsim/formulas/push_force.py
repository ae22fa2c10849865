"""Force to move a battery by hand: what rolling, slopes and starting take, and what a person can be asked for.

Forces add up: rolling, slope, and what it takes to get the mass going.
"""

import math
from statistics import NormalDist

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


def resistance_share(force_n: float, mass_kg: float) -> float:
    """Force over weight, from a measured force: the inverse of `rolling_force_n`. [-]

    Examples
    --------
    >>> round(resistance_share(392.266, 1000.0), 9)
    0.04
    """
    return force_n / (mass_kg * FREE_FALL_M_PER_S2)


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


def wheel_force_n(mass_kg: float, lever_mm: float, radius_mm: float) -> float:
    """Force that keeps a mass rolling, from its wheels; friction of bearings is left out.

    Parameters
    ----------
    mass_kg
        Mass of the battery and of what carries it. [kg]
    lever_mm
        Rolling-resistance length f: about 0.5 mm steel on hard floor, 0.8 to 1.4 mm polyurethane (from memory). [mm]
    radius_mm
        Radius of the wheels, R. [mm]

    Returns
    -------
    float
        F = f m g/R. [N]

    References
    ----------
    Coulomb's law of rolling. Force linear in the load and smaller with larger wheels: Gille & Clerc-Urmes 2024,
    Safety 10(3) 69; Al-Eisawi et al. 1999, Applied Ergonomics 30.

    Examples
    --------
    >>> round(wheel_force_n(1000.0, 2.0, 100.0), 3)
    196.133
    """
    return lever_mm / radius_mm * mass_kg * FREE_FALL_M_PER_S2


def acceleration_force_n(mass_kg: float, m_per_s: float, s: float) -> float:
    """Force that a start adds: mass times speed over the time in which it is reached.

    Parameters
    ----------
    mass_kg
        Mass of the battery and of what carries it. [kg]
    m_per_s
        Speed that is reached. [m/s]
    s
        Time for it. [s]

    Returns
    -------
    float
        F = m v/t. [N]

    Raises
    ------
    ValueError
        If the time is not above 0.

    References
    ----------
    Newton's second law.

    Examples
    --------
    >>> acceleration_force_n(1000.0, 0.5, 2.0)
    250.0
    """
    if not s > 0.0:
        msg = f"time to reach the speed must be above 0 (got {s:g})"
        raise ValueError(msg)
    return mass_kg * m_per_s / s


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


def log_parameters(mean_n: float, sd_n: float) -> tuple[float, float]:
    """Mean and standard deviation of the logarithm of a force whose own mean and standard deviation are known.

    Parameters
    ----------
    mean_n, sd_n
        Mean, above 0, and standard deviation of the greatest force over a group of people. [N]

    Returns
    -------
    tuple of float
        s = sqrt(ln(1 + (sd/mean)^2)) and mu = ln(mean) - s^2/2, as (mu, s). [ln N]

    Raises
    ------
    ValueError
        If the mean is not above 0 or the standard deviation is below 0.

    References
    ----------
    Lognormal distribution; EN 1005-3, annex A.3.2 (its example was not read).

    Examples
    --------
    >>> log_parameters(math.e, 0.0)
    (1.0, 0.0)
    """
    if not (mean_n > 0.0 and sd_n >= 0.0):
        msg = f"mean force must be above 0 and its standard deviation 0 or more (got {mean_n:g} and {sd_n:g} N)"
        raise ValueError(msg)
    spread = math.sqrt(math.log1p((sd_n / mean_n) ** 2))
    return math.log(mean_n) - spread**2 / 2.0, spread


def force_percentile_n(log_mean: float, log_sd: float, share: float) -> float:
    """Force that all but a share of a group can exert.

    Parameters
    ----------
    log_mean, log_sd
        Mean and standard deviation of the logarithm of the force, see `log_parameters`. [ln N]
    share
        Part of the group that cannot; above 0 and below 1. [-]

    Returns
    -------
    float
        F = exp(mu + z s) with z the normal quantile of the share. [N]

    Raises
    ------
    ValueError
        If the share is not above 0 and below 1.

    Notes
    -----
    The annex takes z = -0.5244 for 15 % of all users and -2.0537 for 1 %, the quantiles of 30 % and 2 %: its group is
    half of the users (inferred from the numbers), and the other half is stronger.

    References
    ----------
    EN 1005-3, annex A.3.3, as reprinted in a national edition.

    Examples
    --------
    >>> round(force_percentile_n(math.log(300.0), 0.3, 0.5), 9)
    300.0
    """
    if not 0.0 < share < 1.0:
        msg = f"share of the group must be above 0 and below 1 (got {share:g})"
        raise ValueError(msg)
    return math.exp(log_mean + NormalDist().inv_cdf(share) * log_sd)


def en_1005_3_force_n(
    mean_n: float,
    sd_n: float,
    share: float,
    *,
    speed: float = 1.0,
    frequency: float = 1.0,
    duration: float = 1.0,
    risk: float = 1.0,
) -> float:
    """Limit of force after EN 1005-3: what nearly all of a group can exert, less for how it is exerted.

    Parameters
    ----------
    mean_n, sd_n
        Mean and standard deviation of the greatest force over a group of people. [N]
    share
        Part of the group that cannot exert it. [-]
    speed, frequency, duration, risk
        Multipliers: for movement, how often, how long, and how much risk is tolerated; each above 0 and at most 1. [-]

    Returns
    -------
    float
        The percentile times all multipliers. [N]

    Raises
    ------
    ValueError
        If a multiplier is not above 0 and at most 1, or as `log_parameters` and `force_percentile_n`.

    References
    ----------
    EN 1005-3, clause 4.2 and annex A. Its tables of multipliers were not read.

    Examples
    --------
    >>> round(en_1005_3_force_n(300.0, 0.0, 0.3, speed=0.8, duration=0.5), 9)
    120.0
    """
    multipliers = (speed, frequency, duration, risk)
    if not all(0.0 < each <= 1.0 for each in multipliers):
        msg = f"multipliers must be above 0 and at most 1 (got {', '.join(f'{each:g}' for each in multipliers)})"
        raise ValueError(msg)
    return force_percentile_n(*log_parameters(mean_n, sd_n), share) * math.prod(multipliers)
