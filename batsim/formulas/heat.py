"""How warm a battery gets in use and on charge, and how long it cools.

The battery is one lump: its heat capacity m c, one temperature, and a loss h A (T - room) to the air. Heat is
constant over a stretch, so every temperature is a closed form and a stretch needs no steps in between.
"""

import math


def thermal_time_constant_h(mass_kg: float, specific_heat_j_per_kg_k: float, loss_w_per_k: float) -> float:
    """Time in which a battery left alone loses 63 % of its excess over the room: m c/(h A).

    Parameters
    ----------
    mass_kg
        Mass of the battery in its tray. [kg]
    specific_heat_j_per_kg_k
        Specific heat of the whole battery, c. [J/(kg K)]
    loss_w_per_k
        Heat lost for each kelvin above the room, h A: surface coefficient times the faces that air reaches. [W/K]

    Returns
    -------
    float
        Time constant; 8 to 11 h for 750 kg at 17 to 24 W/K. [h]

    Raises
    ------
    ValueError
        If a figure is not above 0.

    Notes
    -----
    Newton's law of cooling for one lump. Sound while the inside evens out faster than the faces lose heat, which
    holds in still air and less so with a strong fan.

    References
    ----------
    Published figures disagree. c: 900 J/(kg K), from 660 (library default for a glass-mat cell) to 1,000 (vented,
    from memory); vented cells hold more acid, hence the upper part. h: 10 W/(m2 K) with radiation, from 7.5
    (library default) to 12 (from memory); common practice, no source.

    Examples
    --------
    1,000 kg at 900 J/(kg K) hold 250 Wh per kelvin.

    >>> thermal_time_constant_h(1000.0, 900.0, 25.0)
    10.0
    """
    if min(mass_kg, specific_heat_j_per_kg_k, loss_w_per_k) <= 0.0:
        got = f"{mass_kg:g} kg, {specific_heat_j_per_kg_k:g} J/(kg K), {loss_w_per_k:g} W/K"
        msg = f"mass, specific heat and loss must be above 0 (got {got})"
        raise ValueError(msg)
    return mass_kg * specific_heat_j_per_kg_k / loss_w_per_k / 3600.0


def temperature_after_degc(
    start_degc: float, room_degc: float, heat_w: float, loss_w_per_k: float, tau_h: float, hours: float
) -> float:
    """Temperature after some hours with a constant heat inside.

    Parameters
    ----------
    start_degc, room_degc
        Battery at the start, and the air about it. [degC]
    heat_w
        Heat made inside; 0 while it cools. [W]
    loss_w_per_k, tau_h
        h A, and the time constant of `thermal_time_constant_h`; both above 0. [W/K], [h]
    hours
        Length of the stretch. [h]

    Returns
    -------
    float
        T = end - (end - start) exp(-t/tau), where end = room + heat/(h A) is what it tends to. [degC]

    References
    ----------
    Newton's law of cooling with a constant source, solved exactly.

    Examples
    --------
    100 W at 10 W/K settle 10 K above the room; half of that is reached after ln 2 time constants.

    >>> round(temperature_after_degc(20.0, 20.0, 100.0, 10.0, 8.0, 8.0 * math.log(2.0)), 9)
    25.0
    """
    end_degc = room_degc + heat_w / loss_w_per_k
    return end_degc - (end_degc - start_degc) * math.exp(-hours / tau_h)


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
        h A, and the time constant of `thermal_time_constant_h`; both above 0. [W/K], [h]
    hours
        Length of the charge; 0 puts all heat in at once. [h]

    Returns
    -------
    float
        `temperature_after_degc` with heat/t, in a form that also holds for t = 0. [degC]

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
    mean_decay = -math.expm1(-share) / share if share else 1.0  # `_mean_decay`, written out
    rise_k = 1000.0 * heat_kwh / (loss_w_per_k * tau_h) * mean_decay
    return room_degc + (start_degc - room_degc) * math.exp(-share) + rise_k


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
        Time constant of `thermal_time_constant_h`, above 0. [h]

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


def mean_temperature_degc(
    start_degc: float, room_degc: float, heat_w: float, loss_w_per_k: float, tau_h: float, hours: float
) -> float:
    """Mean temperature over some hours with a constant heat inside, for ageing; 0 W while it cools.

    Parameters as for `temperature_after_degc`, whose integral over t divided by t it is.

    Returns
    -------
    float
        end - (end - start) [1 - exp(-x)]/x with x = t/tau and end = room + heat/(h A). [degC]

    Examples
    --------
    Over a very long time what it tends to, over none the start.

    >>> [round(mean_temperature_degc(40.0, 20.0, 50.0, 10.0, 8.0, hours), 9) for hours in (0.0, 1e12)]
    [40.0, 25.0]
    """
    end_degc = room_degc + heat_w / loss_w_per_k
    return end_degc - (end_degc - start_degc) * _mean_decay(hours / tau_h)


def _mean_decay(span: float) -> float:
    """Mean of exp(-x) from 0 to some span."""
    return -math.expm1(-span) / span if span else 1.0
