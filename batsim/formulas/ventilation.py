"""Ventilation of a room where lead-acid batteries are charged: what rules ask for, and what air does to hydrogen.

The rules differ in more than a coefficient: each says what its gas current is, and some have a factor of safety in
them and some have none. A coefficient is right only with the gas current of its own rule.
"""

from batsim.errors import require


def rule_gas_current_a(a_per_100ah: float, capacity_ah: float) -> float:
    """Gas current by a rule: so many amperes for each 100 Ah.

    Parameters
    ----------
    a_per_100ah
        Gas current of the rule for the charging characteristic and the kind of cell. [A per 100 Ah]
    capacity_ah
        Rated capacity at the 5 h rate. [Ah]

    Returns
    -------
    float
        Igas C5/100. [A]

    Notes
    -----
    Rules for stationary batteries state it in mA per Ah; 1 A per 100 Ah is 10 mA per Ah.

    References
    ----------
    EN 50272-3:2002, table of gas currents; as reprinted in the trade, the standard was not read.

    Examples
    --------
    >>> rule_gas_current_a(6.0, 500.0)
    30.0
    """
    return a_per_100ah * capacity_ah / 100.0


def rule_flow_m3_per_h(cells: float, gas_a: float, coefficient: float) -> float:
    """Air that the rule for traction batteries asks for one battery on charge.

    Parameters
    ----------
    cells
        Cells in series, n. [-]
    gas_a
        Gas current of the rule, Igas; see `rule_gas_current_a`. [A]
    coefficient
        Air for each cell and ampere: 0.055 (IEC 62485-3:2014) or 0.05 (EN 50272-3:2002). [m3/(h A)]

    Returns
    -------
    float
        Q = k n Igas; for several batteries charged at once the sum of theirs. [m3/h]

    Notes
    -----
    k = v q s: thinned to 4 %, v = (100 - 4)/4 = 24; q = 0.42e-3 m3 of hydrogen per Ah at 0 degC (2002) or about
    0.46e-3 at 25 degC (2014, worked back from 0.055); safety factor s = 5. The safety factor is inside: at Q the mean
    share is about 0.8 %, a quarter of the lower limit is already met.

    References
    ----------
    IEC 62485-3:2014, by way of ZVEI leaflet 14 (May 2017, May 2020); EN 50272-3:2002, as reprinted in the trade.

    Examples
    --------
    >>> round(rule_flow_m3_per_h(20, 10.0, 0.055), 9)
    11.0
    """
    return coefficient * cells * gas_a


def opening_cm2(flow_m3_per_h: float, cm2_per_m3_per_h: float) -> float:
    """Free area that natural ventilation needs, of the inlet and of the outlet each.

    Parameters
    ----------
    flow_m3_per_h
        Air that the rule asks for, Q. [m3/h]
    cm2_per_m3_per_h
        Area for each m3/h, 28. [cm2/(m3/h)]

    Returns
    -------
    float
        A = 28 Q. [cm2]

    Notes
    -----
    28 is 1e4/(3600 x 0.1), rounded up: air at 0.1 m/s through the opening.

    References
    ----------
    EN 50272-2, clause 8.2; air speed: BGHW Spezial SP02, p. 10.

    Examples
    --------
    >>> opening_cm2(100.0, 28.0)
    2800.0
    """
    return cm2_per_m3_per_h * flow_m3_per_h


def free_volume_m3(flow_m3_per_h: float, hours: float) -> float:
    """Volume, contents left out, from which on a room counts as well ventilated by its openings.

    Parameters
    ----------
    flow_m3_per_h
        Air that the rule asks for, Q. [m3/h]
    hours
        Hours of that flow, 2.5. [h]

    Returns
    -------
    float
        2.5 Q. [m3]

    References
    ----------
    BGHW Spezial SP02, p. 10.

    Examples
    --------
    >>> free_volume_m3(100.0, 2.5)
    250.0
    """
    return hours * flow_m3_per_h


def flow_for_share_m3_per_h(gas_m3_per_h: float, share: float) -> float:
    """Fresh air that keeps a well-mixed room at a share of hydrogen; it holds no factor of safety.

    Parameters
    ----------
    gas_m3_per_h
        Hydrogen let out, G. [m3/h]
    share
        Share of hydrogen that is allowed, c, above 0 and at most 1. [-]

    Returns
    -------
    float
        Q = G (1 - c)/c, so that what leaves, Q + G, takes the share c with it. [m3/h]

    Raises
    ------
    ValueError
        If the share is not above 0 and at most 1.

    Notes
    -----
    Hand formulas print G/c, which is what a fan takes out: Q and the gas in it.

    References
    ----------
    Mass balance.

    Examples
    --------
    >>> round(flow_for_share_m3_per_h(1.0, 0.01), 9)
    99.0
    """
    require(0.0 < share <= 1.0, f"share of hydrogen must be above 0 and at most 1 (got {share:g})")
    return gas_m3_per_h * (1.0 - share) / share


def area_flow_m3_per_h(area_m2: float, m_per_s: float) -> float:
    """Air by floor area, as US codes for stationary batteries have it.

    Parameters
    ----------
    area_m2
        Floor area. [m2]
    m_per_s
        Air for each square metre: 1 cfm per square foot is 0.00508 m3/s. [m/s]

    Returns
    -------
    float
        Air. [m3/h]

    References
    ----------
    New York City Mechanical Code 502.4, written for stationary batteries; a comparison for a charging area.

    Examples
    --------
    >>> round(area_flow_m3_per_h(100.0, 0.005), 9)
    1800.0
    """
    return area_m2 * m_per_s * 3600.0
