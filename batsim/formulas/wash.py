"""Water of eyewashes and showers."""


def water_l(l_per_min: float, minutes: float) -> float:
    """Water that an eyewash or a shower needs: flow times the time that it must run.

    Parameters
    ----------
    l_per_min
        Least flow: eyewash 0.4 gpm (1.5 l/min), shower 20 gpm (75.7 l/min). [l/min]
    minutes
        Time, 15 min. [min]

    Returns
    -------
    float
        Water; what a tank holds, and what a drain takes. [l]

    References
    ----------
    ANSI Z358.1-1998, as summarised by a US agency.

    Examples
    --------
    >>> water_l(80.0, 15.0)
    1200.0
    """
    return l_per_min * minutes
