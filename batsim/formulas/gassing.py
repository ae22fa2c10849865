"""Gas and water: what an overcharge splits, and how many charges the water above the plates lasts.

Ampere-hours that are not stored split water into hydrogen and oxygen (Faraday's law). How many those are comes
from the phases of a charge: what it gives less what it stores.
"""

import math
from typing import NamedTuple

# Physical constants: e, N_A and R are exact since the SI of 2019 (CODATA); H and O are the abridged atomic
# weights of IUPAC.
_ELEMENTARY_CHARGE_C = 1.602176634e-19
_AVOGADRO_PER_MOL = 6.02214076e23
_GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324
_HYDROGEN_G_PER_MOL = 1.008
_OXYGEN_G_PER_MOL = 15.999
_ZERO_DEGC_K = 273.15
_FARADAY_C_PER_MOL = _ELEMENTARY_CHARGE_C * _AVOGADRO_PER_MOL
_MOL_PER_AH = 3600.0 / (2.0 * _FARADAY_C_PER_MOL)  # of water and of hydrogen: two electrons for a molecule

WATER_G_PER_AH = _MOL_PER_AH * (2.0 * _HYDROGEN_G_PER_MOL + _OXYGEN_G_PER_MOL)
"""Water that an ampere-hour of gas takes from a cell, 0.3361. [g/Ah]"""


def water_deficit_g(gas_ah: float, cells: int) -> float:
    """Water that gas takes from a battery of so many cells; 1 for the deficit of one cell.

    Parameters
    ----------
    gas_ah
        Ampere-hours that split water. [Ah]
    cells
        Cells in series. [-]

    Returns
    -------
    float
        3600 M(H2O)/(2 F) = 0.3361 g per ampere-hour and cell. [g]

    Notes
    -----
    For vented cells. A valve-regulated cell recombines nearly all of its gas, a catalyst plug part of it.

    References
    ----------
    Faraday's law of electrolysis.

    Examples
    --------
    A charge of 2 F, 53.60 Ah, splits one mole, 18.015 g.

    >>> round(water_deficit_g(53.60, 1), 2)
    18.01
    """
    return WATER_G_PER_AH * cells * gas_ah


def hydrogen_l(gas_ah: float, cells: int, temperature_degc: float, pressure_pa: float) -> float:
    """Volume of hydrogen that a charge lets out.

    Parameters
    ----------
    gas_ah
        Ampere-hours that split water. [Ah]
    cells
        Cells in series. [-]
    temperature_degc, pressure_pa
        State of the gas; 101,325 Pa is one atmosphere. [degC], [Pa]

    Returns
    -------
    float
        3600/(2 F) R T/p litres for each ampere-hour and cell. [l]

    Notes
    -----
    Ideal gas, dry. This is a mean to count with: ventilation is sized with the fixed gas current of a standard.

    References
    ----------
    Faraday's law. Published figures differ by the temperature they are for: 0.42 l at 0 degC (EN 50272-3) and 0.46 l
    at 25 degC (EN 62485-3, by way of an industry leaflet); the second fits a room.

    Examples
    --------
    53.60 Ah make one mole, 22.41 l at 0 degC and one atmosphere.

    >>> round(hydrogen_l(53.60, 1, 0.0, 101325.0), 2)
    22.41
    """
    mol = _MOL_PER_AH * cells * gas_ah
    return 1000.0 * mol * _GAS_CONSTANT_J_PER_MOL_K * (temperature_degc + _ZERO_DEGC_K) / pressure_pa


class GasLaw(NamedTuple):
    """How the gas current goes with voltage and temperature."""

    reference_a: float
    """Gas current at the reference voltage and temperature, of a battery or per 100 Ah. [A]"""
    reference_v: float
    """Per cell. [V]"""
    reference_degc: float
    """Of the electrolyte. [degC]"""
    per_v: float
    """Exponent. [1/V]"""
    per_k: float
    """Exponent. [1/K]"""


def gas_current_a(volts_per_cell: float, temperature_degc: float, law: GasLaw) -> float:
    """Part of the charge current that makes gas at a voltage and temperature.

    Parameters
    ----------
    volts_per_cell, temperature_degc
        Cell voltage and electrolyte temperature. [V], [degC]
    law
        Reference and exponents.

    Returns
    -------
    float
        I = I0 exp[per_v (U - U0) + per_k (T - T0)], of what the reference is of. [A]

    Notes
    -----
    Printed set: 0.020 A per 100 Ah (new, with antimony; 0.010 A valve-regulated; five times as much and more when old),
    2.23 V, 298 K, 11 per V, 0.06 per K. The reference is read as 25 degC (298.15 K); as 298 K the
    current is 1 % higher.

    References
    ----------
    Schiffer, Sauer et al. 2007, J. Power Sources 168, 66-78. The end currents of the standards (EN 50272-3: 5 to 7 A
    per 100 Ah for W) agree with it at 2.65 V and 40 to 45 degC.

    Examples
    --------
    One volt and no kelvin above the reference: e^11 times as much, here from a slope of ln 2.

    >>> round(gas_current_a(3.23, 25.0, GasLaw(0.1, 2.23, 25.0, per_v=math.log(2.0), per_k=0.06)), 9)
    0.2
    """
    exponent = law.per_v * (volts_per_cell - law.reference_v) + law.per_k * (temperature_degc - law.reference_degc)
    return law.reference_a * math.exp(exponent)
