"""Rules of thumb for counts: one number without a spread, right only where nothing varies and nobody queues."""


def batteries_per_truck(run_h: float, exchange_h: float, charge_h: float, cool_h: float) -> float:
    """Batteries that keep one truck going when all times are constant and nothing is scarce.

    Parameters
    ----------
    run_h, exchange_h, charge_h, cool_h
        Work on one battery, exchange, charge, cool-down. [h]

    Returns
    -------
    float
        1 + (charge + cool)/(run + exchange); round up for a whole fleet. [-]

    References
    ----------
    The 8-8-8 rule, one battery for each 8 h of work: common practice, no source.

    Examples
    --------
    >>> batteries_per_truck(8.0, 0.0, 8.0, 8.0)
    3.0
    """
    return 1.0 + (charge_h + cool_h) / (run_h + exchange_h)
