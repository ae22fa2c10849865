"""What the acid tells: its specific gravity at a state of charge, and when it freezes."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from batsim.errors import require


def gravity_from_soc(soc: float, table: Sequence[tuple[float, float]]) -> float:
    """Specific gravity at a state of charge, by a table.

    Parameters
    ----------
    soc
        State of charge. [-]
    table
        Rows (gravity, state of charge), both rising; straight between them. [-], [-]

    Returns
    -------
    float
        Specific gravity at the reference temperature of the table; above its last row as in it. [-]

    Raises
    ------
    ValueError
        If the states of charge of the table do not rise, or the one asked for is below its first row.

    References
    ----------
    US Army TM 10-6140-200-14, table 1-1, at 25 degC: 25 % is 1.160, 50 % 1.220, 75 % 1.250, 100 % 1.280. It bends;
    European tubular cells are given as the straight line from 1.13 at 20 % to 1.29 full, at 30 degC (common
    practice, no source), a table of two rows. Use that of the battery's maker.

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


def gravity_that_freezes(degc: float, table: Sequence[tuple[float, float]]) -> float:
    """Specific gravity of acid that begins to freeze at a temperature, by the table of `freezing_degc`.

    Parameters
    ----------
    degc
        Temperature. [degC]
    table
        Rows (gravity, freezing point) with rising gravity and falling freezing point. [-], [degC]

    Returns
    -------
    float
        Specific gravity; that of water above its freezing point. [-]

    Raises
    ------
    ValueError
        If the freezing points of the table do not fall, or the temperature is below its last row.

    Examples
    --------
    >>> round(gravity_that_freezes(-36.0, [(1.10, -8.0), (1.25, -50.0)]), 9)
    1.2
    """
    return _read("freezing point", degc, [(freezes, gravity) for gravity, freezes in reversed(table)])


def _read(name: str, value: float, table: Sequence[tuple[float, float]]) -> float:
    """Read a table straight between its rows; as in the last row above it."""
    rises = len(table) >= 2 and all(lower[0] < upper[0] for lower, upper in pairwise(table))
    require(rises, f"a table of {name} needs two rows or more, each higher than the last (got {list(table)})")
    require(value >= table[0][0], f"{name} is below the table, which begins at {table[0][0]:g} (got {value:g})")
    values, results = zip(*table, strict=True)
    return float(np.interp(value, values, results))
