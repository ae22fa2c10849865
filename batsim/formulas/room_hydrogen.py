"""Hydrogen in a room through time: well mixed, solved exactly for gas and air that are constant over each step.

What mixes: dc/dt = (G - (Q + G) c)/V, where G is hydrogen let out, Q fresh air that comes in and V the volume of air in
the room. As much leaves as comes in, Q + G, with the share c of the room.
"""

import math

import numpy as np

from batsim.errors import require
from batsim.statistics.intervals import Floats


def hydrogen_over_time(
    gas_m3_per_h: Floats, step_h: float, flow_m3_per_h: float | Floats, volume_m3: float, start_share: float = 0.0
) -> Floats:
    """Share of hydrogen at the end of each step.

    Parameters
    ----------
    gas_m3_per_h
        Hydrogen let out in each step, G; shape (t,). [m3/h]
    step_h
        Length of a step, however long. [h]
    flow_m3_per_h
        Fresh air, Q: one number, or one for each step. [m3/h]
    volume_m3
        Volume of the room without its contents, V. [m3]
    start_share
        Share at the start. [-]

    Returns
    -------
    numpy.ndarray
        c at the ends of the steps; shape (t,). [-]

    Raises
    ------
    ValueError
        If step or volume are not above 0, gas or air are below 0, or the start is not from 0 to 1.

    Notes
    -----
    Over a step of h hours c becomes c e + (G h/V) (1 - e)/x with x = (Q + G) h/V and e = exp(-x), and stays where
    x = 0. Steps follow each other by c = d c + b, and two such steps are one more of that form, so all of them are
    put together in log2(t) passes. Every d is at most 1: nothing grows.

    References
    ----------
    Mass balance, solved exactly.

    Examples
    --------
    100 m3 with 1 m3/h of hydrogen and 99 m3/h of air tend to 1 %; the first hour goes 1 - 1/e of the way.

    >>> hydrogen_over_time(np.array([1.0, 1.0]), 1.0, 99.0, 100.0).round(6).tolist()
    [0.006321, 0.008647]
    """
    gas = np.asarray(gas_m3_per_h, dtype=np.float64)
    flow = np.broadcast_to(flow_m3_per_h, gas.shape)
    least_gas, least_flow = (float(np.min(course)) if course.size else 0.0 for course in (gas, flow))
    _refuse_impossible(least_gas, least_flow, volume_m3, start_share)
    require(step_h > 0.0, f"step must be above 0 (got {step_h:g})")
    exchanged = (flow + gas) * step_h / volume_m3
    mean_decay = np.where(exchanged > 0.0, -np.expm1(-exchanged) / np.where(exchanged > 0.0, exchanged, 1.0), 1.0)
    kept, gained = np.exp(-exchanged), gas * step_h / volume_m3 * mean_decay
    reach = 1
    while reach < gas.size:
        gained[reach:] += kept[reach:] * gained[:-reach]
        kept[reach:] *= kept[:-reach]
        reach *= 2
    return kept * start_share + gained


def hours_to_share(
    gas_m3_per_h: float, flow_m3_per_h: float, volume_m3: float, share: float, start_share: float = 0.0
) -> float:
    """Hours until hydrogen has risen to a share, such as after a fan has failed.

    Parameters
    ----------
    gas_m3_per_h
        Hydrogen let out, G. [m3/h]
    flow_m3_per_h
        Fresh air that still comes in, Q. [m3/h]
    volume_m3
        Volume of the room without its contents, V. [m3]
    share
        Share that is waited for. [-]
    start_share
        Share at the start. [-]

    Returns
    -------
    float
        V/(Q + G) ln[(end - start)/(end - share)] with end = G/(Q + G); 0 if it is there already, infinite when it is
        never reached. [h]

    Raises
    ------
    ValueError
        As `hydrogen_over_time`.

    References
    ----------
    Mass balance, solved exactly.

    Examples
    --------
    100 m3, no air: 1 m3/h of hydrogen makes 1 % in an hour and a few seconds.

    >>> round(hours_to_share(1.0, 0.0, 100.0, 0.01), 6)
    1.005034
    >>> hours_to_share(1.0, 199.0, 100.0, 0.01)
    inf
    """
    _refuse_impossible(gas_m3_per_h, flow_m3_per_h, volume_m3, start_share)
    if start_share >= share:
        return 0.0
    through = flow_m3_per_h + gas_m3_per_h
    end = gas_m3_per_h / through if through > 0.0 else start_share  # what the room tends to
    if end <= share:
        return math.inf
    return volume_m3 / through * math.log1p((share - start_share) / (end - share))


def _refuse_impossible(gas: float, flow: float, volume: float, start: float) -> None:
    """Gas and air come in, a room has a volume, and a share is a share."""
    require(gas >= 0.0 and flow >= 0.0, f"gas and air must be 0 or more (got {gas:g} and {flow:g} m3/h)")
    require(volume > 0.0, f"volume must be above 0 (got {volume:g})")
    require(0.0 <= start <= 1.0, f"share at the start must be from 0 to 1 (got {start:g})")
