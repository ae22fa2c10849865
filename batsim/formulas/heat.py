"""How warm a battery gets in use and on charge, and how long it cools.

The battery is one lump: its heat capacity m c, one temperature, and a loss h A (T - room) to the air. Heat is
constant over a stretch, so every temperature is a closed form and a stretch needs no steps in between.
"""

import math


def charge_end_degc(
    start_degc: float, room_degc: float, heat_kwh: float, loss_w_per_k: float, tau_h: float, hours: float
) -> float:
    """Temperature at the end of a charge, its heat spread evenly over its hours.

    Parameters
    ----------
    start_degc, room_degc
        Battery at the start, and the air about it. [degC]
    heat_kwh
        Heat of the whole charge, see `charge_heat_kwh`. [kWh]
    loss_w_per_k, tau_h
        h A, and the time constant m c/(h A); both above 0. [W/K], [h]
    hours
        Length of the charge; 0 puts all heat in at once. [h]

    Returns
    -------
    float
        T = room + (start - room) exp(-t/tau) + rise, where the rise is that of all the heat at once times the mean of
        exp(-t/tau) over the charge: Newton's law of cooling with a constant source, solved exactly. [degC]

    References
    ----------
    Manuals print a rise of about 10 K in a charge; common practice, no source. Heat comes late in a charge, where
    the voltage is highest (Baca et al. 2024, Batteries 10(5), 148), so the true end is a little warmer.

    Examples
    --------
    1 kWh at once into 10 W/K times 10 h = 100 Wh/K.

    >>> charge_end_degc(25.0, 20.0, 1.0, 10.0, 10.0, 0.0)
    35.0
    """
    share = hours / tau_h
    mean_decay = -math.expm1(-share) / share if share else 1.0
    rise_k = 1000.0 * heat_kwh / (loss_w_per_k * tau_h) * mean_decay
    return room_degc + (start_degc - room_degc) * math.exp(-share) + rise_k


def mean_of_stay_degc(
    start_degc: float,
    end_degc: float,
    room_degc: float,
    heat_kwh: float,
    loss_w_per_k: float,
    tau_h: float,
    hours: float,
) -> float:
    """Mean temperature of a stay in the room, charges and rests in whatever order.

    Parameters
    ----------
    start_degc, end_degc, room_degc
        Battery at both ends, and the air about it. [degC]
    heat_kwh
        Heat of all its charges, see `charge_heat_kwh`. [kWh]
    loss_w_per_k, tau_h
        h A, and the time constant m c/(h A); both above 0. [W/K], [h]
    hours
        Length of the stay, above 0. [h]

    Returns
    -------
    float
        What came in and did not stay went out through h A: room + (heat - m c (end - start))/(h A hours). [degC]

    References
    ----------
    Newton's law of cooling, integrated: an energy balance.

    Examples
    --------
    From 40 to 30 degC in air of 20 degC, in the time in which that takes: ln 2 of 10 h.

    >>> round(mean_of_stay_degc(40.0, 30.0, 20.0, 0.0, 5.0, 10.0, 10.0 * math.log(2.0)), 9)
    34.426950409
    """
    return room_degc + (1000.0 * heat_kwh / loss_w_per_k - tau_h * (end_degc - start_degc)) / hours


def charge_heat_kwh(
    dc_kwh: float, stored_ah: float, gas_ah: float, cells: int, *, storing_v: float, splitting_v: float
) -> float:
    """Heat that a charge leaves in the battery: what went in, less what was stored, less what left as gas.

    Parameters
    ----------
    dc_kwh
        Energy into the battery. [kWh]
    stored_ah, gas_ah
        Ampere-hours stored and ampere-hours that split water; together all that was given. [Ah]
    cells
        Cells in series, N. [-]
    storing_v
        Energy stored by an ampere-hour in a cell. [V]
    splitting_v
        Energy that an ampere-hour of gas carries away: enthalpy of water over two charges. [V]

    Returns
    -------
    float
        H = E - N storing stored/1000 - N splitting gas/1000. [kWh]

    Notes
    -----
    The warmth of the gas is left out. Splitting takes 1.48 V, the enthalpy of water (285.8 kJ/mol) over 2 F.
    Storing: 2.04 V, from 2.00 to 2.08, a little below the rest voltage at middle charge, because the reversible
    reaction warms a battery on charge; with the rest voltage itself that part of the heat is left out.

    References
    ----------
    Energy balance. Enthalpy of water: handbook value. Storing voltage: common practice, no source.

    Examples
    --------
    500 cells: 110 Ah at 2 V are 110 kWh, of which 100 Ah are stored at 1.9 V and 10 Ah split water at 1.5 V.

    >>> charge_heat_kwh(110.0, 100.0, 10.0, 500, storing_v=1.9, splitting_v=1.5)
    7.5
    """
    return dc_kwh - cells * (storing_v * stored_ah + splitting_v * gas_ah) / 1000.0


def discharge_heat_w(amps: float, cells: int, resistance_ohm_ah: float, capacity_ah: float) -> float:
    """Heat made inside a battery in use: N I^2 r/C5.

    Parameters
    ----------
    amps
        Mean current; lift peaks make more heat than their mean, by the mean of the squares. [A]
    cells
        Cells in series, N. [-]
    resistance_ohm_ah
        Polarisation resistance of a cell times C5, r. [ohm Ah]
    capacity_ah
        Capacity at the 5 h rate, C5. [Ah]

    Returns
    -------
    float
        Heat; the reversible part is left out. [W]

    References
    ----------
    Joule's law. r: 0.5, from 0.3 to 0.7, as in `batsim.formulas.discharge.Cell`; one parameter set (Schiffer, Sauer
    et al. 2007, J. Power Sources 168, 66-78) has 0.699 in use and 0.42 on charge.

    Examples
    --------
    A cell of 500 Ah with 0.5 ohm Ah has 1 milliohm: 10 W at 100 A.

    >>> round(discharge_heat_w(100.0, 24, 0.5, 500.0), 9)
    240.0
    """
    return cells * amps * amps * resistance_ohm_ah / capacity_ah


def cool_down_h(start_degc: float, room_degc: float, use_degc: float, tau_h: float) -> float:
    """Hours until a battery left alone is cool enough to use.

    Parameters
    ----------
    start_degc, room_degc
        Battery at the start, and the air about it. [degC]
    use_degc
        Temperature at which it may be used. [degC]
    tau_h
        Time constant m c/(h A), above 0. [h]

    Returns
    -------
    float
        t = tau ln[(start - room)/(use - room)]; 0 if cool enough already, infinite if the room is as warm. [h]

    References
    ----------
    Newton's law of cooling. Common practice rests 8 h whatever the temperature; no source.

    Examples
    --------
    From 20 K to 10 K above the room.

    >>> round(cool_down_h(40.0, 20.0, 30.0, 1.0 / math.log(2.0)), 9)
    1.0
    """
    if start_degc <= use_degc:
        return 0.0
    if room_degc >= use_degc:
        return math.inf
    return tau_h * math.log((start_degc - room_degc) / (use_degc - room_degc))
