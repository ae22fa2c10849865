"""Cell voltage and charge acceptance by the CIEMAT equations, as a cross-check of the simpler formulas.

Copetti, Lorenzo and Chenlo 1993, Prog. Photovoltaics 1, 283-292, as coded in public programs; the coefficients are
part of the equations. All are for one cell of 2 V, with I in ampere (some terms take the current itself, not its
share of the capacity), the capacity C10 at the 10 h rate, q the state of charge and dT = T - 25 degC.

Fitted to solar stations: sound to about C10/10. Above, the discharge branch falls far too low (1.38 V at q = 0.2 and
C10/5, where a motive-power cell has 1.9 V) and the charge branch is pessimistic: at 16 to 20 A per 100 Ah it reaches
2.40 V at q = 0.59 to 0.65, where Woodbridge's law and common practice have 0.80 to 0.84. The room does not use it.
"""

import math

_REFERENCE_DEGC = 25.0
_RATE_H = 10.0


def discharge_voltage_v(soc: float, amps: float, capacity_ah: float, temperature_degc: float) -> float:
    """Voltage of a cell in use.

    Parameters
    ----------
    soc
        State of charge, above 0. [-]
    amps
        Current drawn. [A]
    capacity_ah
        Capacity at the 10 h rate, C10. [Ah]
    temperature_degc
        Electrolyte temperature. [degC]

    Returns
    -------
    float
        [2.085 - 0.12 (1 - q)] - (I/C10) [4/(1 + I^1.3) + 0.27/q^1.5 + 0.02] (1 - 0.007 dT). [V]

    Raises
    ------
    ValueError
        If the state of charge is not above 0 and at most 1, or the current is below 0.

    References
    ----------
    Copetti, Lorenzo and Chenlo 1993; see the head of this file for the range. One public program has q^1.2 for
    q^1.5.

    Examples
    --------
    Without current the rest voltage.

    >>> round(discharge_voltage_v(0.5, 0.0, 500.0, 25.0), 9)
    2.025
    """
    if not 0.0 < soc <= 1.0 or amps < 0.0:
        msg = f"a discharge needs soc above 0 and at most 1, and no current below 0 (got soc {soc:g}, {amps:g} A)"
        raise ValueError(msg)
    resistance = 4.0 / (1.0 + amps**1.3) + 0.27 / soc**1.5 + 0.02
    warmth = 1.0 - 0.007 * (temperature_degc - _REFERENCE_DEGC)
    return float(2.085 - 0.12 * (1.0 - soc) - amps / capacity_ah * resistance * warmth)


def charge_voltage_v(soc: float, amps: float, capacity_ah: float, temperature_degc: float) -> float:
    """Voltage of a cell on charge, before it gasses.

    Parameters
    ----------
    soc
        State of charge, below 1. [-]
    amps
        Charge current, 0 or more. [A]
    capacity_ah, temperature_degc
        As for `discharge_voltage_v`. [Ah], [degC]

    Returns
    -------
    float
        [2 + 0.16 q] + (I/C10) [6/(1 + I^0.86) + 0.48/(1 - q)^1.2 + 0.036] (1 - 0.025 dT). [V]

    Raises
    ------
    ValueError
        If the state of charge is not at least 0 and below 1, or the current is below 0.

    References
    ----------
    Copetti, Lorenzo and Chenlo 1993; see the head of this file for the range.

    Examples
    --------
    Without current the rest voltage, 0.055 V above that of the discharge equation.

    >>> round(charge_voltage_v(0.5, 0.0, 500.0, 25.0), 9)
    2.08
    """
    if not 0.0 <= soc < 1.0 or amps < 0.0:
        msg = f"a charge needs soc at least 0 and below 1, and no current below 0 (got soc {soc:g}, {amps:g} A)"
        raise ValueError(msg)
    resistance = 6.0 / (1.0 + amps**0.86) + 0.48 / (1.0 - soc) ** 1.2 + 0.036
    warmth = 1.0 - 0.025 * (temperature_degc - _REFERENCE_DEGC)
    return float(2.0 + 0.16 * soc + amps / capacity_ah * resistance * warmth)


def gassing_voltage_v(amps: float, capacity_ah: float, temperature_degc: float) -> float:
    """Voltage at which a cell begins to gas.

    Parameters
    ----------
    amps, capacity_ah, temperature_degc
        As for `charge_voltage_v`. [A], [Ah], [degC]

    Returns
    -------
    float
        [2.24 + 1.97 ln(1 + I/C10)] (1 - 0.002 dT). [V]

    References
    ----------
    Copetti, Lorenzo and Chenlo 1993. It rises with the current: 2.43 V at C10/10. Common practice is 2.40 V at 30 degC
    whatever the current, 2.35 to 2.45 V, no source.

    Examples
    --------
    Ten kelvin take 2 %.

    >>> [round(gassing_voltage_v(0.0, 500.0, degc), 9) for degc in (25.0, 35.0)]
    [2.24, 2.1952]
    """
    return (2.24 + 1.97 * math.log1p(amps / capacity_ah)) * _limit_warmth(temperature_degc)


def final_voltage_v(amps: float, capacity_ah: float, temperature_degc: float) -> float:
    """Voltage that a cell reaches at the end when a current goes on.

    Parameters
    ----------
    amps, capacity_ah, temperature_degc
        As for `charge_voltage_v`. [A], [Ah], [degC]

    Returns
    -------
    float
        [2.45 + 2.011 ln(1 + I/C10)] (1 - 0.002 dT). [V]

    References
    ----------
    Copetti, Lorenzo and Chenlo 1993.

    Examples
    --------
    >>> [round(final_voltage_v(0.0, 500.0, degc), 9) for degc in (25.0, 35.0)]
    [2.45, 2.401]
    """
    return (2.45 + 2.011 * math.log1p(amps / capacity_ah)) * _limit_warmth(temperature_degc)


def acceptance_efficiency(soc: float, amps: float, capacity_ah: float) -> float:
    """Share of a charge current that is stored.

    Parameters
    ----------
    soc
        State of charge, 0 to 1. [-]
    amps
        Charge current, 0 or more. [A]
    capacity_ah
        Capacity at the 10 h rate, C10. [Ah]

    Returns
    -------
    float
        1 - exp[20.73 (q - 1)/(I/I10 + 0.55)] with I10 = C10/10. [-]

    Raises
    ------
    ValueError
        If the state of charge is not between 0 and 1, or the current is below 0.

    References
    ----------
    Copetti, Lorenzo and Chenlo 1993; see the head of this file for the range.

    Examples
    --------
    A full battery stores nothing.

    >>> acceptance_efficiency(1.0, 50.0, 500.0)
    0.0
    """
    if not 0.0 <= soc <= 1.0 or amps < 0.0:
        msg = f"acceptance needs soc between 0 and 1, and no current below 0 (got soc {soc:g}, {amps:g} A)"
        raise ValueError(msg)
    return 1.0 - math.exp(20.73 * (soc - 1.0) / (amps * _RATE_H / capacity_ah + 0.55))


def _limit_warmth(temperature_degc: float) -> float:
    """Temperature correction of the two voltage limits, -0.2 % per K."""
    return 1.0 - 0.002 * (temperature_degc - _REFERENCE_DEGC)
