"""What the acid tells: specific gravity, rest voltage, state of charge, freezing, and a capacity test."""

from collections.abc import Sequence
from itertools import pairwise


def corrected_gravity(gravity: float, temperature_degc: float, *, reference_degc: float, per_k: float) -> float:
    """Specific gravity that a hydrometer would read at the reference temperature.

    Parameters
    ----------
    gravity
        Reading, relative to water. [-]
    temperature_degc, reference_degc
        Temperature of the electrolyte, and of the rating. [degC]
    per_k
        Fall of the gravity for a kelvin. [1/K]

    Returns
    -------
    float
        SG + per_k (T - reference). [-]

    References
    ----------
    Published slopes disagree: 0.0007 per K about 30 degC and 0.001 per 3 degF (0.0006 per K) about 77 degF; 0.0007,
    because ratings here are at 30 degC. Both common practice, no source.

    Examples
    --------
    >>> round(corrected_gravity(1.25, 40.0, reference_degc=30.0, per_k=0.0007), 9)
    1.257
    """
    return gravity + per_k * (temperature_degc - reference_degc)


def rest_voltage_v(gravity: float, offset_v: float) -> float:
    """Open-circuit voltage of a rested cell from its specific gravity.

    Parameters
    ----------
    gravity
        Specific gravity at the reference temperature. [-]
    offset_v
        Volts to add. [V]

    Returns
    -------
    float
        E = SG + offset. [V]

    Notes
    -----
    Sound after half an hour of rest or more.

    References
    ----------
    Offset 0.84 (common practice, no source), 0.84 to 0.86 in Schiffer, Sauer et al. 2007, J. Power Sources 168,
    66-78. With 1.13 at 20 % and 1.29 full this is E = 1.93 + 0.20 soc; the line 1.97 + 0.16 soc of the discharge
    formulas has the same end and is 0.03 V higher at 20 %.

    Examples
    --------
    >>> rest_voltage_v(1.25, 0.84)
    2.09
    """
    return gravity + offset_v


def gravity_from_rest_voltage(volts_per_cell: float, offset_v: float) -> float:
    """Specific gravity from the open-circuit voltage of a rested cell: `rest_voltage_v` turned round.

    Examples
    --------
    >>> round(gravity_from_rest_voltage(2.09, 0.84), 9)
    1.25
    """
    return volts_per_cell - offset_v


def soc_from_gravity(gravity: float, table: Sequence[tuple[float, float]]) -> float:
    """State of charge from the specific gravity, by a table.

    Parameters
    ----------
    gravity
        Specific gravity at the reference temperature of the table. [-]
    table
        Rows (gravity, state of charge) with rising gravity; straight between them. [-], [-]

    Returns
    -------
    float
        State of charge; above the last row as in it. [-]

    Raises
    ------
    ValueError
        If the gravities of the table do not rise, or the reading is below its first row.

    Notes
    -----
    For mixed acid: after a charge without gas it lies in layers, weak at the top where a hydrometer draws.

    References
    ----------
    US Army TM 10-6140-200-14, table 1-1, at 25 degC: 1.160 is 25 %, 1.220 50 %, 1.250 75 %, 1.280 100 %. It bends;
    European tubular cells are given as the straight line from 1.13 at 20 % to 1.29 full, at 30 degC (common
    practice, no source), a table of two rows. Use that of the battery's maker.

    Examples
    --------
    >>> round(soc_from_gravity(1.21, [(1.13, 0.2), (1.29, 1.0)]), 9)
    0.6
    """
    return _read("gravity", gravity, table)


def gravity_from_soc(soc: float, table: Sequence[tuple[float, float]]) -> float:
    """Specific gravity at a state of charge: the table of `soc_from_gravity` read backwards.

    Examples
    --------
    >>> round(gravity_from_soc(0.6, [(1.13, 0.2), (1.29, 1.0)]), 9)
    1.21
    """
    return _read("state of charge", soc, [(share, gravity) for gravity, share in table])


def freezing_degc(gravity: float, table: Sequence[tuple[float, float]]) -> float:
    """Temperature at which the acid begins to freeze, by a table.

    Parameters
    ----------
    gravity
        Specific gravity at the reference temperature of the table. [-]
    table
        Rows (gravity, freezing point) with rising gravity; straight between them. [-], [degC]

    Returns
    -------
    float
        Freezing point; above the last row as in it. [degC]

    Raises
    ------
    ValueError
        If the gravities of the table do not rise, or the reading is below its first row.

    References
    ----------
    US Army TM 10-6140-200-14, table 1-1: 1.160 freezes at +1 degF, 1.220 at -31, 1.250 at -62, 1.280 at -95 degF.

    Examples
    --------
    >>> round(freezing_degc(1.20, [(1.10, -8.0), (1.25, -50.0)]), 9)
    -36.0
    """
    return _read("gravity", gravity, table)


def drawn_ah_from_gravity(from_gravity: float, to_gravity: float, drop_per_ah: float) -> float:
    """Ampere-hours drawn, from the fall of the specific gravity.

    Parameters
    ----------
    from_gravity, to_gravity
        Before and after, at one temperature; rising values give ampere-hours stored, below 0. [-]
    drop_per_ah
        Fall of the gravity for each ampere-hour, of this battery. [1/Ah]

    Returns
    -------
    float
        (from - to)/drop, as the acid used up is proportional to the charge. [Ah]

    References
    ----------
    NAVEDTRA 14113 (US Navy training course), on specific gravity.

    Examples
    --------
    100 points of 0.001 at 2 points for each ampere-hour.

    >>> round(drawn_ah_from_gravity(1.28, 1.18, 0.002), 9)
    50.0
    """
    return (from_gravity - to_gravity) / drop_per_ah


def gravity_drop(drawn_ah: float, drop_per_ah: float) -> float:
    """Fall of the specific gravity when ampere-hours are drawn: `drawn_ah_from_gravity` turned round.

    Examples
    --------
    >>> gravity_drop(50.0, 0.002)
    0.1
    """
    return drop_per_ah * drawn_ah


def capacity_test_share(hours: float, rate_h: float, temperature_factor: float) -> float:
    """Result of a capacity test at the rated current, as a share of the rated capacity.

    Parameters
    ----------
    hours
        Time to the final voltage at the rated current. [h]
    rate_h
        Hours of the rating. [h]
    temperature_factor
        Capacity at the electrolyte temperature over that at the rated one, see
        `batsim.formulas.discharge.capacity_factor`; 1 for no correction. [-]

    Returns
    -------
    float
        t/(R f). [-]

    References
    ----------
    NAVEDTRA 14113 (US Navy training course), without temperature; IEC 60254-1 (from memory) divides by
    1 + 0.006 (T - 30).

    Examples
    --------
    >>> capacity_test_share(4.0, 5.0, 1.0)
    0.8
    """
    return hours / (rate_h * temperature_factor)


def _read(name: str, value: float, table: Sequence[tuple[float, float]]) -> float:
    """Read a table straight between its rows; as in the last row above it."""
    if len(table) < 2 or any(upper[0] <= lower[0] for lower, upper in pairwise(table)):
        msg = f"a table of {name} needs two rows or more, each higher than the last (got {list(table)})"
        raise ValueError(msg)
    if value < table[0][0]:
        msg = f"{name} is below the table, which begins at {table[0][0]:g} (got {value:g})"
        raise ValueError(msg)
    value = min(value, table[-1][0])
    row = 1
    while value > table[row][0]:
        row += 1
    (low, low_result), (high, high_result) = table[row - 1], table[row]
    return low_result + (high_result - low_result) * (value - low) / (high - low)
