"""Ventilation of a room where lead-acid batteries are charged: what rules ask for, and what air does to hydrogen.

The rules differ in more than a coefficient: each says what its gas current is, and some have a factor of safety in
them and some have none. A coefficient is right only with the gas current of its own rule.
"""

import math


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


def opening_air_speed_m_per_s(flow_m3_per_h: float, area_cm2: float) -> float:
    """Speed of air through an opening: flow over area. [m/s]

    Examples
    --------
    >>> round(opening_air_speed_m_per_s(36.0, 1000.0), 9)
    0.1
    """
    return flow_m3_per_h / 3600.0 / (area_cm2 * 1e-4)


def free_volume_m3(flow_m3_per_h: float, hours: float = 2.5) -> float:
    """Volume, contents left out, from which on a room counts as well ventilated by its openings.

    Parameters
    ----------
    flow_m3_per_h
        Air that the rule asks for, Q. [m3/h]
    hours
        Hours of that flow. [h]

    Returns
    -------
    float
        2.5 Q. [m3]

    References
    ----------
    BGHW Spezial SP02, p. 10.

    Examples
    --------
    >>> free_volume_m3(100.0)
    250.0
    """
    return hours * flow_m3_per_h


def steady_hydrogen_share(gas_m3_per_h: float, flow_m3_per_h: float) -> float:
    """Share of hydrogen that a well-mixed room comes to when gas and air go on for ever.

    Parameters
    ----------
    gas_m3_per_h
        Hydrogen let out, G. [m3/h]
    flow_m3_per_h
        Fresh air that comes in, Q. [m3/h]

    Returns
    -------
    float
        G/(Q + G), what leaves being Q + G; 1 without air, 0 without gas. [-]

    Notes
    -----
    With Q = k n Igas and 0.456e-3 m3 per Ah (25 degC) it is near 0.456e-3/k whatever the battery: 0.83 % for 0.055
    and 0.91 % for 0.05. The room's mean says nothing of the space near the cells.

    References
    ----------
    Mass balance.

    Examples
    --------
    >>> steady_hydrogen_share(1.0, 99.0)
    0.01
    """
    return gas_m3_per_h / (flow_m3_per_h + gas_m3_per_h) if gas_m3_per_h > 0.0 else 0.0


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
        Q = G (1 - c)/c, the inverse of `steady_hydrogen_share`. [m3/h]

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
    if not 0.0 < share <= 1.0:
        msg = f"share of hydrogen must be above 0 and at most 1 (got {share:g})"
        raise ValueError(msg)
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


def air_changes_per_h(flow_m3_per_h: float, volume_m3: float) -> float:
    """How often an hour the air of a room is changed: flow over volume. [1/h]

    Raises
    ------
    ValueError
        If the volume is not above 0.

    Examples
    --------
    >>> air_changes_per_h(500.0, 100.0)
    5.0
    """
    if not volume_m3 > 0.0:
        msg = f"volume must be above 0 (got {volume_m3:g})"
        raise ValueError(msg)
    return flow_m3_per_h / volume_m3


def quarter_rule_flow_m3_per_h(
    charger_a: float, cells: float, coefficient: float = 0.11, quarter_share: float = 0.25
) -> float:
    """Air by a rule that takes a quarter of the charger's greatest current for gas.

    Parameters
    ----------
    charger_a
        Greatest current of the charger. [A]
    cells
        Cells in series, n. [-]
    coefficient
        Air for each cell and ampere. [m3/(h A)]
    quarter_share
        Part of the charger's current that counts. [-]

    Returns
    -------
    float
        Q = 0.11 n I with I a quarter of the current. [m3/h]

    References
    ----------
    Directive 2006/87/EC, annex II, art. 9.11, for inland vessels; 46 CFR 111.15-10 prints 3.89 n I in cubic feet an
    hour, the same to 0.1 % (from memory).

    Examples
    --------
    >>> round(quarter_rule_flow_m3_per_h(40.0, 10), 9)
    11.0
    """
    return coefficient * quarter_share * charger_a * cells


def ufc_hydrogen_ft3_per_h(a_per_100ah: float, capacity_ah: float, cells: float, ft3_per_ah: float = 0.016) -> float:
    """Hydrogen of a battery as a US military handbook works it out.

    Parameters
    ----------
    a_per_100ah
        Gas current FC, which doubles for each 15 degF of the electrolyte above 77 degF. [A per 100 Ah]
    capacity_ah
        Rated capacity, AH. [Ah]
    cells
        Cells, N. [-]
    ft3_per_ah
        Hydrogen of an ampere-hour in one cell, K; 0.016 is for 25 degC. [ft3/Ah]

    Returns
    -------
    float
        C = FC/100 AH K N. [ft3/h]

    References
    ----------
    UFC 3-410-04N (2004), ch. 8.

    Examples
    --------
    >>> round(ufc_hydrogen_ft3_per_h(0.25, 400.0, 100), 9)
    1.6
    """
    return a_per_100ah / 100.0 * capacity_ah * ft3_per_ah * cells


def ufc_flow_cfm(hydrogen_ft3_per_h: float, share: float) -> float:
    """Exhaust that thins hydrogen to a share by the same handbook: Q = C/60/PC. [cfm]

    Parameters
    ----------
    hydrogen_ft3_per_h
        Hydrogen, C. [ft3/h]
    share
        Share of hydrogen that is allowed, PC. [-]

    References
    ----------
    UFC 3-410-04N (2004), ch. 8; it then multiplies by the number of banks and by 2.

    Examples
    --------
    >>> round(ufc_flow_cfm(6.0, 0.01), 9)
    10.0
    """
    return hydrogen_ft3_per_h / 60.0 / share


def safety_distance_mm(cells: float, gas_ma_per_ah: float, capacity_ah: float) -> float:
    """Distance that flames and sparks keep from the vents of stationary cells; traction rooms keep 0.5 m instead.

    Parameters
    ----------
    cells
        Cells that vent at one point, N. [-]
    gas_ma_per_ah
        Gas current. [mA/Ah]
    capacity_ah
        Rated capacity. [Ah]

    Returns
    -------
    float
        d = 28.8 (N Igas C)^(1/3). [mm]

    References
    ----------
    EN 50272-2, annex B (from memory).

    Examples
    --------
    >>> round(safety_distance_mm(1, 10.0, 100.0), 9)
    288.0
    """
    return 28.8 * math.cbrt(cells * gas_ma_per_ah * capacity_ah)
