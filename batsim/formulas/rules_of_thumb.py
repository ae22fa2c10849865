"""Rules of thumb for counts: one number without a spread, right only where nothing varies and nobody queues."""

SHIFT_HOURS = 8.0
"""Hours of a shift by the rule. [h]"""


def batteries_per_truck(run_h: float, exchange_h: float, charge_h: float, cool_h: float, work_h: float = 24.0) -> float:
    """Batteries that keep one truck going when all times are constant and nothing is scarce.

    Parameters
    ----------
    run_h, exchange_h, charge_h, cool_h
        Work on one battery, exchange, charge, cool-down. [h]
    work_h
        Work of a truck on a day; round the clock when not given. [h]

    Returns
    -------
    float
        1 + (charge + cool)/(run + exchange) for work round the clock; where a day's work takes fewer, one for each
        battery that it empties, work/run, and at least one. Round up for a whole fleet. [-]

    References
    ----------
    The 8-8-8 rule, one battery for each 8 h of work, so one, two or three for one, two or three shifts: common
    practice, no source.

    Examples
    --------
    >>> batteries_per_truck(8.0, 0.0, 8.0, 8.0)
    3.0
    >>> [batteries_per_truck(8.0, 0.0, 8.0, 8.0, work_h) for work_h in (8.0, 16.0, 24.0)]
    [1.0, 2.0, 3.0]
    """
    return min(1.0 + (charge_h + cool_h) / (run_h + exchange_h), max(1.0, work_h / run_h))
