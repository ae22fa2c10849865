"""How long a battery lasts at a mean power, and what it gives.

The state of charge `soc` is 1 when full and 0 when the capacity that can be had is used up. The mean
power of the work sets the current; current and temperature set how much capacity can be had. Peukert's
law (Peukert 1897, Elektrotechnische Zeitschrift 20, 287-288) takes the mean current, never the lift
peaks: between them the battery recovers.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

from batsim.errors import require

_GAUSS_OFFSET = sqrt(3.0 / 5.0) / 2.0  # outer two of three points, from the middle
_NEAR = 1e-9  # a state of charge this near to another is the same
_HALVINGS = 48  # of the span in which a state of charge is sought: what is left is rounding


class Cell(NamedTuple):
    """What a discharge needs to know about one battery at one temperature."""

    capacity_ah: float
    """Capacity at the 5 h rate, C5. [Ah]"""
    cells: int
    """Cells in series, N. [-]"""
    empty_v: float
    """Open-circuit voltage of a cell at soc 0, E0. [V]"""
    slope_v: float
    """Rise of the open-circuit voltage from soc 0 to 1, k; not negative. [V]"""
    resistance_ohm_ah: float
    """Polarisation resistance of a cell times C5, r. [ohm Ah]"""
    peukert: float
    """Peukert's exponent n, 1 or more. [-]"""
    kappa_floor: float
    """Least kappa of `discharge_at_power`: that of the 10 h rate, see `ten_hour_kappa`; 0 for none. [-]"""
    capacity_factor: float
    """Capacity at this temperature over the rated one, f; see `capacity_factor`. [-]"""


def at_factor(cell: Cell, factor: float) -> Cell:
    """Return a cell with another capacity factor f, whose state of charge is never more than what is left of C5.

    Weak currents get more than C5 f by Peukert's law, and a warm battery more than C5. With f as the least kappa the
    state of charge falls by at least the ampere-hours over C5: it is the lesser of 1 less ampere-hours over rated
    capacity and what the current can still get. Age and cold make f less, so they lower the second alone.
    """
    floor = cell[6]
    return tuple.__new__(Cell, (*cell[:6], factor if factor > floor else floor, factor))


def ten_hour_kappa(peukert: float) -> float:
    """Kappa of the 10 h rate: below it weaker currents gain nothing more.

    Parameters
    ----------
    peukert
        Peukert's exponent n. [-]

    Returns
    -------
    float
        (I10/I5)^(n-1) = 2^(-(n-1)/n), from I^n t = constant (Peukert 1897). [-]

    Examples
    --------
    >>> ten_hour_kappa(1.0), round(ten_hour_kappa(1.2), 4)
    (1.0, 0.8909)
    """
    return float(0.5 ** ((peukert - 1.0) / peukert))


def five_hour_capacity_ah(capacity_ah: float, rate_h: float, peukert: float) -> float:
    """Capacity at the 5 h rate of a battery that is rated at another rate, 6 h on a North American plate.

    Parameters
    ----------
    capacity_ah, rate_h
        Rated capacity and the hours of the rating. [Ah], [h]
    peukert
        Peukert's exponent n. [-]

    Returns
    -------
    float
        C5 = C_R / (R/5)^((n-1)/n), from I^n t = constant (Peukert 1897). Good for rates of 1 to 10 h. [Ah]

    Examples
    --------
    With n = 2 the capacity at 20 h is (20/5)^(1/2) = 2 times C5.

    >>> five_hour_capacity_ah(1000.0, 20.0, 2.0)
    500.0
    """
    return float(capacity_ah / (rate_h / 5.0) ** ((peukert - 1.0) / peukert))


def capacity_factor(
    temperature_degc: float,
    *,
    rated_degc: float,
    warm_per_k: float,
    knee_degc: float,
    cold_per_k: float,
    cold_table: Sequence[tuple[float, float]],
) -> float:
    """Capacity at an electrolyte temperature, as a share of the capacity at the rated temperature.

    Parameters
    ----------
    temperature_degc
        Temperature of the electrolyte, not of the room. [degC]
    rated_degc
        Temperature of the rating. [degC]
    warm_per_k, knee_degc, cold_per_k
        Slope above the knee, temperature of the knee, slope below it. [1/K], [degC], [1/K]
    cold_table
        Rows (temperature, factor) from cold to warm, for the cold below the slopes; may be empty. [degC], [-]

    Returns
    -------
    float
        f, never below 0. [-]

    Raises
    ------
    ValueError
        If the temperatures of the table do not rise, or its warmest row is above the knee or has no capacity.

    Notes
    -----
    f = 1 + warm (T - rated), below the knee f(knee) - cold (knee - T). Below its warmest row the table
    gives the shape, scaled to meet the slope there, so f has no step. Colder than the table, its last
    slope goes on.

    References
    ----------
    IEC 60254-1, capacity test (0.6 % per K near 30 degC, from memory); US Army TM 10-6140-200-14 (75 % at
    0 degC of the value at 25 degC). Published slopes disagree: 0.5 to 1 % per K.

    Examples
    --------
    10 K above the knee costs 0.06, 10 K below it another 0.10.

    >>> slopes = {"rated_degc": 30, "warm_per_k": 0.006, "knee_degc": 20, "cold_per_k": 0.01}
    >>> [round(capacity_factor(degc, **slopes, cold_table=()), 6) for degc in (30, 20, 10)]
    [1.0, 0.94, 0.84]
    """
    rises = all(colder[0] < warmer[0] for colder, warmer in pairwise(cold_table))
    require(rises, f"cold_table: temperatures must rise from row to row (got {[row[0] for row in cold_table]})")
    if cold_table:
        rule = f"warmest row must be at or below the knee of {knee_degc:g} degC, with a factor above 0"
        meets = cold_table[-1][0] <= knee_degc and cold_table[-1][1] > 0.0
        require(meets, f"cold_table: {rule} (got {cold_table[-1]})")
    if temperature_degc >= knee_degc:
        return max(0.0, 1.0 + warm_per_k * (temperature_degc - rated_degc))
    at_knee = 1.0 + warm_per_k * (knee_degc - rated_degc)
    if len(cold_table) < 2 or temperature_degc >= cold_table[-1][0]:
        return max(0.0, at_knee - cold_per_k * (knee_degc - temperature_degc))
    warmest_degc, warmest = cold_table[-1]
    scale = (at_knee - cold_per_k * (knee_degc - warmest_degc)) / warmest
    row = 1
    while temperature_degc > cold_table[row][0]:
        row += 1
    (low_degc, low), (high_degc, high) = cold_table[row - 1], cold_table[row]
    return max(0.0, scale * (low + (high - low) * (temperature_degc - low_degc) / (high_degc - low_degc)))


def discharge_at_power(soc_from: float, soc_to: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """Time in which a mean power takes a battery from one state of charge down to another, and what it draws.

    Parameters
    ----------
    soc_from, soc_to
        State of charge before and after. [-]
    power_w
        Mean power, 0 or more. [W]
    cell
        The battery at its temperature.

    Returns
    -------
    tuple of float
        Hours, infinite for no power; if the battery cannot give the power all the way, until it fails. [h]
        Ampere-hours really drawn, which a charger has to put back: a strong current or the cold makes charge
        unavailable, it does not use it up. For no power the limit for a very weak one. [Ah]

    Raises
    ------
    ValueError
        If the state of charge would rise, or the power is below 0.

    Notes
    -----
    The current that gives P is I = 2 P/(N [E + sqrt(E^2 - 4 r P/(N C5))]) with E = E0 + k soc: the lower root of
    P = N I (E - r I/C5), in a form that also holds for r = 0.

    t = integral of C5 f/(I kappa) over soc, Ah = integral of C5 f/kappa, with kappa = max((I/I5)^(n-1), floor) and
    I5 = C5/5: three Gauss points on either side of the soc where the floor sets in. Error below 0.01 % unless the
    battery is near failing.

    References
    ----------
    Straight line for E: Copetti, Lorenzo and Chenlo 1993, Prog. Photovoltaics 1, 283-292. Peukert 1897 on constant
    current. Mean current, floor, and one resistance for ohmic drop and polarisation: common practice, no source.

    Examples
    --------
    24 cells of 2 V without resistance: 4,800 W is 100 A, 80 % of 500 Ah last 4 h.

    >>> cell = Cell(500.0, 24, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0)
    >>> [round(part, 9) for part in discharge_at_power(1.0, 0.2, 4800.0, cell)]
    [4.0, 400.0]
    """
    if soc_to >= soc_from or power_w <= 0.0:
        return _without_work(soc_from, soc_to, power_w, cell)
    capacity_ah, cells, empty_v, slope_v, resistance, peukert, floor, _ = cell
    if (empty_v + slope_v * soc_to) ** 2 < 4.0 * resistance * power_w / (cells * capacity_ah):
        soc_to = min(soc_from, lowest_soc(power_w, cell))
    if peukert > 1.0 and floor > 0.0 and slope_v > 0.0:
        knee = _knee(power_w, cell)
        if soc_to < knee < soc_from:
            upper_h, upper_ah = _gauss(soc_from, knee, power_w, cell)
            lower_h, lower_ah = _gauss(knee, soc_to, power_w, cell)
            return upper_h + lower_h, upper_ah + lower_ah
    return _gauss(soc_from, soc_to, power_w, cell)


def lowest_soc(power_w: float, cell: Cell) -> float:
    """State of charge below which the battery cannot give a power: E^2 = 4 r P/(N C5).

    Below 0 if it always can, above 1 if it never can; on a flat open-circuit line (k = 0) infinite.

    Examples
    --------
    r = 1 and N C5 = 1000: 1,000 W needs E = 2 V, which 1.9 + 0.2 soc reaches at one half.

    >>> round(lowest_soc(1000.0, Cell(100.0, 10, 1.9, 0.2, 1.0, 1.2, 0.0, 1.0)), 9)
    0.5
    """
    needed_v = sqrt(4.0 * cell.resistance_ohm_ah * power_w / (cell.cells * cell.capacity_ah))
    if cell.slope_v == 0.0:
        return math.inf if needed_v > cell.empty_v else -math.inf
    return (needed_v - cell.empty_v) / cell.slope_v


def soc_after(soc_from: float, hours: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """State of charge after some hours at a mean power, and what they draw: `discharge_at_power` turned round.

    Parameters, validity and source as there. Work ends at 0, or where the battery cannot give the power; a battery
    that starts below either stays as it is.

    Returns
    -------
    tuple of float
        State of charge after. [-]
        Ampere-hours really drawn. [Ah]

    Notes
    -----
    One step of Kutta's method of the third order, two where the floor of kappa sets in on the way: the rate hardly
    bends over a discharge. It agrees with `discharge_at_power` to 2e-4 of the state of charge at powers that C5 at 2 V
    per cell gives for 3.5 h or longer, to 1e-3 at those of 2 h, and better the weaker they are.

    Examples
    --------
    >>> cell = Cell(500.0, 24, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0)
    >>> [round(part, 6) for part in soc_after(1.0, 2.0, 4800.0, cell)]
    [0.6, 200.0]
    """
    if hours <= 0.0 or power_w <= 0.0:
        return soc_from, _without_work(soc_from, soc_from, power_w, cell)[1]  # refuses a power below 0
    capacity_ah, cells, empty_v, slope_v, resistance, peukert, floor, factor = cell
    twice, drop = 2.0 * power_w / cells, 4.0 * resistance * power_w / (cells * capacity_ah)
    rate_a, exponent, usable_ah = capacity_ah / 5.0, peukert - 1.0, capacity_ah * factor
    # Written out without further calls, because every exchange of a simulation comes by more than once.
    emf = empty_v + slope_v * soc_from
    square = emf * emf - drop
    if soc_from < 0.0 or square <= 0.0 or not usable_ah:
        return _to_the_end(soc_from, hours, power_w, cell)
    first_a = twice / (emf + sqrt(square))
    first_kappa = (first_a / rate_a) ** exponent
    first_per_h = first_a * (first_kappa if first_kappa > floor else floor) / usable_ah
    soc = soc_from - 0.5 * hours * first_per_h
    emf = empty_v + slope_v * soc
    square = emf * emf - drop
    if min(soc, square) < 0.0:
        return _to_the_end(soc_from, hours, power_w, cell)
    middle_a = twice / (emf + sqrt(square))
    kappa = (middle_a / rate_a) ** exponent
    middle_per_h = middle_a * (kappa if kappa > floor else floor) / usable_ah
    soc = soc_from - hours * (2.0 * middle_per_h - first_per_h)
    emf = empty_v + slope_v * soc
    square = emf * emf - drop
    if min(soc, square) < 0.0:
        return _to_the_end(soc_from, hours, power_w, cell)
    last_a = twice / (emf + sqrt(square))
    kappa = (last_a / rate_a) ** exponent
    last_per_h = last_a * (kappa if kappa > floor else floor) / usable_ah
    soc = soc_from - hours * (first_per_h + 4.0 * middle_per_h + last_per_h) / 6.0
    if soc < 0.0 or (empty_v + slope_v * soc) ** 2 <= drop:
        return _to_the_end(soc_from, hours, power_w, cell)
    knee = _knee(power_w, cell) if first_kappa < floor < kappa else math.inf
    if soc < knee < soc_from - _NEAR:
        upper_h, upper_ah = discharge_at_power(soc_from, knee, power_w, cell)
        soc, lower_ah = soc_after(knee, hours - upper_h, power_w, cell)
        return soc, upper_ah + lower_ah
    return soc, (first_a + 4.0 * middle_a + last_a) * hours / 6.0


def _to_the_end(soc_from: float, hours: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """`soc_after` where the battery is empty, or fails, at the end or nearly so."""
    low = max(0.0, lowest_soc(power_w, cell))
    if soc_from <= low:
        return soc_from, 0.0
    most_h, most_ah = discharge_at_power(soc_from, low, power_w, cell)
    if most_h <= hours:
        return low, most_ah
    above, soc, ah = soc_from, low, most_ah
    for _ in range(_HALVINGS):
        soc = (low + above) / 2.0
        took_h, ah = discharge_at_power(soc_from, soc, power_w, cell)
        if took_h > hours:
            low = soc
        else:
            above = soc
    return soc, ah


def _knee(power_w: float, cell: Cell) -> float:
    """State of charge above which the current is so weak that the floor of kappa holds."""
    try:
        knee_a = cell.capacity_ah / 5.0 * cell.kappa_floor ** (1.0 / (cell.peukert - 1.0))
    except OverflowError:  # a floor above 1 and an exponent next to 1: it holds at every current
        return -math.inf
    knee_v = (
        power_w / (cell.cells * knee_a) + cell.resistance_ohm_ah * knee_a / cell.capacity_ah if knee_a else math.inf
    )
    return (knee_v - cell.empty_v) / cell.slope_v


def rates(soc: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """Current at a power, and how fast the state of charge falls, both as in `discharge_at_power`. [A, 1/h]

    Infinite where the battery cannot give the power, or nothing at all.

    Examples
    --------
    >>> rates(1.0, 4800.0, Cell(500.0, 24, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0))
    (100.0, 0.2)
    """
    capacity_ah, cells, empty_v, slope_v, resistance, peukert, floor, factor = cell
    usable_ah = capacity_ah * factor
    emf = empty_v + slope_v * soc
    square = emf * emf - 4.0 * resistance * power_w / (cells * capacity_ah)
    if square < 0.0 or not usable_ah:
        return math.inf, math.inf
    draw_a = 2.0 * power_w / (cells * (emf + sqrt(square)))
    kappa: float = (draw_a * 5.0 / capacity_ah) ** (peukert - 1.0)
    return draw_a, draw_a * (kappa if kappa > floor else floor) / usable_ah


def _gauss(soc_from: float, soc_to: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """Three-point Gauss sums of C5 f/(I kappa) and C5 f/kappa over the state of charge.

    Written out without further calls, because every exchange of a simulation comes by.
    """
    capacity_ah, cells, empty_v, slope_v, resistance, peukert, floor, factor = cell
    middle = (soc_from + soc_to) / 2.0
    offset = (soc_from - soc_to) * _GAUSS_OFFSET
    twice, drop = 2.0 * power_w / cells, 4.0 * resistance * power_w / (cells * capacity_ah)
    rate_a, exponent = capacity_ah / 5.0, peukert - 1.0
    hours = ah = 0.0
    for weight, soc in ((5.0, middle + offset), (8.0, middle), (5.0, middle - offset)):
        emf = empty_v + slope_v * soc
        square = emf * emf - drop
        draw_a = twice / (emf + sqrt(square)) if square > 0.0 else twice / emf
        kappa = (draw_a / rate_a) ** exponent if exponent else 1.0
        part = weight / (kappa if kappa > floor else floor)
        ah += part
        hours += part / draw_a
    scale_ah = (soc_from - soc_to) * capacity_ah * factor / 18.0
    return scale_ah * hours, scale_ah * ah


def _without_work(soc_from: float, soc_to: float, power_w: float, cell: Cell) -> tuple[float, float]:
    """Treat the rare cases: nothing to discharge, no power, or figures that make no sense."""
    got = f"soc {soc_from:g} to {soc_to:g} at {power_w:g} W"
    possible = soc_to <= soc_from and power_w >= 0.0
    require(possible, f"a discharge must not raise soc and must have a power of 0 or more (got {got})")
    if soc_to == soc_from:
        return 0.0, 0.0
    usable_ah = (soc_from - soc_to) * cell.capacity_ah * cell.capacity_factor
    kappa = max(1.0, cell.kappa_floor) if cell.peukert == 1.0 else cell.kappa_floor
    return math.inf, usable_ah / kappa if kappa else math.inf
