"""How a battery wears: damage of each discharge, what is left of the capacity, and years of life.

Damage is 0 when new and 1 at the end of life, where the capacity has fallen to 80 % of the rated one (the usual
end, IEC 60254-1 from memory). Each discharge adds its share, deeper and warmer ones more (Palmgren-Miner's sum).
"""

import math
from typing import NamedTuple


class Life(NamedTuple):
    """What a battery stands, from a cycle test."""

    cycles: float
    """Cycles to the end of life at the depth and temperature of the test, N80. [-]"""
    depth: float
    """Depth of discharge of the test, usually 0.8. [-]"""
    beta: float
    """Exponent of the depth up to that of the test. [-]"""
    deep_beta: float
    """Exponent of the depth beyond it; the same as `beta` for no extra damage. [-]"""
    temperature_degc: float
    """Temperature of the test. [degC]"""
    kelvin_per_halving: float
    """Kelvin that halve the life; infinite if temperature does not matter. [K]"""
    floor_degc: float = -math.inf
    """No colder battery lives longer than one at this temperature. [degC]"""


def discharge_damage(depth: float, temperature_degc: float, life: Life) -> float:
    """Damage of one discharge; end of life when the sum reaches 1.

    Parameters
    ----------
    depth
        Ampere-hours drawn over the rated capacity, d. [-]
    temperature_degc
        Mean electrolyte temperature since the discharge before, rest and charge included. [degC]
    life
        What the battery stands.

    Returns
    -------
    float
        (1/N80) (d/0.8)^beta 2^((T - 30)/halving), with 0.8 and 30 degC those of the test and T at least the floor. [-]

    Raises
    ------
    ValueError
        If the depth is below 0.

    Notes
    -----
    Ageing by the calendar is left out: with little use it decides, so measures take the lesser of both lives. Both
    powers are 1 at the depth of the test, so damage has no step there.

    References
    ----------
    Published figures disagree, each is an input:

    * cycles: 1,500 (published ratings by IEC 60254-1, from memory), in use 1,200 to 1,250 (common practice, no
      source), gel and glass mat 800 to 1,200; plan with 1,200.
    * beta: 1.2, from 1.0 (the same ampere-hours at every depth) to 1.34 (table of a library, small glass-mat cells).
    * deep_beta: 2, an assumption without source; equal to beta without it.
    * floor: 20 degC, an assumption without source: no cycle test credits a cold battery with a longer life.
    * halving: 10 K, from 8 K (rule of thumb) to 15 K (corrosion, Schiffer, Sauer et al. 2007, J. Power Sources 168,
      66-78); 10 K because it is the usual rule.

    Examples
    --------
    Half the depth with exponent 1 is half the damage, 10 K more twice: 1/1000 again.

    >>> discharge_damage(0.4, 40.0, Life(1000.0, 0.8, 1.0, 2.0, 30.0, 10.0))
    0.001
    """
    if not depth >= 0.0:  # every exchange comes by: the message is only made when it is needed
        msg = f"depth of discharge must be 0 or more (got {depth:g})"
        raise ValueError(msg)
    cycles, tested, beta, deep_beta, tested_degc, halving_k, floor_degc = life
    ratio = depth / tested
    warmth = (max(temperature_degc, floor_degc) - tested_degc) / halving_k
    return float(ratio ** (beta if ratio <= 1.0 else deep_beta) * 2.0**warmth / cycles)


def part_charge_factor(part_charges: int, free: int, surcharge: float) -> float:
    """Factor on the damage of a discharge after several part charges in a row.

    Parameters
    ----------
    part_charges
        Charges in a row, up to this discharge, that did not end full; an equalising charge sets them to 0. [-]
    free
        So many do no harm. [-]
    surcharge
        Extra damage of each discharge beyond; 0 for none. [-]

    Returns
    -------
    float
        1, or 1 + surcharge beyond the free ones. [-]

    References
    ----------
    That part charges in a row leave sulphate and layers of acid, which an equalising charge undoes, is common
    practice. Five free ones and 20 % are an assumption without source; opportunity charging equalises once a week.

    Examples
    --------
    >>> [part_charge_factor(row, 5, 0.25) for row in (0, 5, 6, 12)]
    [1.0, 1.0, 1.25, 1.25]
    """
    return 1.0 + surcharge if part_charges > free else 1.0


def throughput_ah(capacity_ah: float, life: Life) -> float:
    """Ampere-hours that a battery gives in its life at the depth of the test: N80 0.8 C.

    Parameters
    ----------
    capacity_ah
        Rated capacity. [Ah]
    life
        What the battery stands.

    Returns
    -------
    float
        A check beside the damage: with beta = 1 at test temperature, drawn over this is the damage. [Ah]

    References
    ----------
    Definition. In the table of a library (small glass-mat cells) it stays within 4 % of its mean from 30 to 60 % depth.

    Examples
    --------
    >>> throughput_ah(600.0, Life(1500.0, 0.75, 1.0, 2.0, 30.0, 10.0))
    675000.0
    """
    return life.cycles * life.depth * capacity_ah
