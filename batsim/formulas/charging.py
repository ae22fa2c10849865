"""Charge in closed form: the phases of a charge, from the battery's real state.

A charge is a tuple of phases; in each the current is amps * exp(-decay * t). Two figures say where a battery
stands:

* `missing_ah`, what it really lacks. Here soc = 1 - missing/C5, below 0 if weak currents drew more than C5.
* `owed_ah`, charge factor times ampere-hours drawn less those returned, since the last full charge: it lets
  an interrupted charge go on as if it had not been interrupted.

Acceptance follows Woodbridge's ampere-hour law (1935): a current of missing/tau is stored whole, what flows
beyond it makes gas. The letters are those of DIN 41772: I constant current, U constant voltage, W falling
current, a stops by itself, o changes over by itself (DIN 41773-1 for IU and IUIa, DIN 41774 for W, DIN 41776
for I; from memory). What a charge gives and how it is cut stands in `batsim.formulas.phases`, falling current
in `batsim.formulas.charging_w`.
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NoReturn

from batsim.errors import require
from batsim.formulas.charging_w import empty_a, falling_phases
from batsim.formulas.phases import ROUNDING, Phase, Profile, most_between, new_phase

KINDS = ("I", "IU", "IUIa", "IUI", "W", "WoWa", "CC-CV")
"""Kinds of charge, by their letters."""
FINISHING = frozenset({"I", "IUIa", "IUI"})
"""Those that end with a constant current until nothing is owed."""
FALLING = frozenset({"W", "WoWa"})
"""Those whose current falls all the time."""
LIMITED = frozenset(KINDS) - FALLING
"""The others: a limit of current, and of voltage but for I."""


def charge_phases(
    profile: Profile, capacity_ah: float, missing_ah: float, owed_ah: float, to_soc: float = 1.0
) -> tuple[Phase, ...]:
    """Phases of a charge from the state of a battery, one to three, or none if there is nothing to do.

    Parameters
    ----------
    profile
        The charger on this battery.
    capacity_ah
        Capacity at the 5 h rate, C5. [Ah]
    missing_ah
        What the battery really lacks; below 0 counts as 0. [Ah]
    owed_ah
        Charge factor times ampere-hours drawn less those returned. Only for a full charge that is not IU or
        CC-CV. [Ah]
    to_soc
        1 for a full charge. Below 1 a part charge: it stores all it takes (factor 1), has no last phase
        and stops at this state of charge. Sound up to the onset of gassing, 0.80 to 0.85. [-]

    Returns
    -------
    tuple of Phase
        In order of time.

    Raises
    ------
    ValueError
        If the kind is not known, or the current would have to fall to 0.

    Notes
    -----
    With m = missing, C = C5, currents I1 (main) and I2 (end), and b the state of charge to reach:

    * I phase down to m = I1 tau: t = dm/I1. U phase: I = m/tau, t = tau ln(m_from/m_to).
    * In phase I the voltage rises with the charge, along a straight line from `empty_v` where m = C to `absorption_v`
      where m = I1 tau; so an interrupted charge goes on at the voltage at which it stopped.
    * IU ends at m = C (1 - b), b at most `full_soc`. IUIa goes on to m = I2 tau, then I2 flows until nothing
      is owed, while m decays as exp(-t/tau). I is IUIa with one current.
    * IUI is IUIa with a very small I2, the charge of gel: 18 A per 100 Ah to 2.37 V, then C/200. Printed are
      12 h from 80 % of depth and 8 h from 60 %, 4 h of it end stage; tau = 1 h and factor 1.025 give 12.0 h and
      9.9 h. Both printed times cannot come from one characteristic: 18 A per 100 Ah do not take 4 h for 20 % of C.
    * CC-CV is IU towards the m at which no current would flow, C (1 - full_soc) - tau I2; I2 flows when full.
    * W and WoWa: current linear in soc, see `batsim.formulas.charging_w.falling_phases`.

    References
    ----------
    Woodbridge 1935 (as quoted); DIN 41773-1, DIN 41774. IUI: makers' instructions, common practice, no source.
    CC-CV: fitted to cell models, no source.

    Examples
    --------
    IUIa on 100 Ah, 80 Ah drawn, factor 1.15: 60 Ah at 20 A, then 15 Ah while the current falls from 20 to
    5 A in ln 4 h, then the 17 Ah still owed at 5 A.

    >>> iuia = Profile("IUIa", 20.0, 5.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6)
    >>> [round(phase.hours, 3) for phase in charge_phases(iuia, 100.0, 80.0, 92.0)]
    [3.0, 1.386, 3.4]
    """
    kind, main_a, _, tau_h, _, _, empty_v, absorption_v, finish_v = profile[:9]
    if kind in FALLING and profile.end_a > 0.0:
        return falling_phases(profile, capacity_ah, missing_ah, owed_ah, to_soc)
    if kind not in LIMITED:
        _refuse(profile)
    knee_ah, stop_ah, rest_ah, last_a = _marks(profile, capacity_ah, to_soc)
    nothing_ah = ROUNDING * capacity_ah
    phases = []
    left_ah = missing_ah if missing_ah > 0.0 else 0.0
    soc = 1.0 - left_ah / capacity_ah
    given_ah = left_ah - knee_ah
    if given_ah > nothing_ah:
        owed_ah -= given_ah
        reached = 1.0 - knee_ah / capacity_ah
        limit_ah = min(knee_ah, rest_ah + main_a * tau_h)  # I alone goes on beyond what is accepted
        per_ah = (absorption_v - empty_v) / (capacity_ah - limit_ah) if capacity_ah > limit_ah else 0.0
        volts = absorption_v - per_ah * (left_ah - limit_ah)
        phases.append(new_phase(Phase, (given_ah / main_a, main_a, 0.0, volts, soc, reached, 0.0, per_ah * given_ah)))
        left_ah, soc = knee_ah, reached
    given_ah = left_ah - stop_ah
    if given_ah > nothing_ah:
        owed_ah -= given_ah
        reached = 1.0 - stop_ah / capacity_ah
        hours = tau_h * math.log((left_ah - rest_ah) / (stop_ah - rest_ah))
        amps = (left_ah - rest_ah) / tau_h
        phases.append(new_phase(Phase, (hours, amps, 1.0 / tau_h, absorption_v, soc, reached, 0.0, 0.0)))
        left_ah, soc = stop_ah, reached
    if last_a and owed_ah > nothing_ah:
        hours = owed_ah / last_a
        reached = 1.0 - left_ah / capacity_ah * math.exp(-hours / tau_h)
        phases.append(new_phase(Phase, (hours, last_a, 0.0, finish_v, soc, reached, 1.0 / tau_h, 0.0)))
    return tuple(phases)


def greatest_load(profile: Profile) -> tuple[float, float]:
    """Current and voltage of a cell where a charger gives most, whatever state it finds the battery in. [A, V]

    The ends of the stages tell: main current at the voltage limit, end current at its own voltage; falling currents on
    an empty battery, where gassing begins and at the end, or between two of these.

    Examples
    --------
    >>> greatest_load(Profile("IUIa", 20.0, 5.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6))
    (20.0, 2.4)
    """
    kind, main_a, end_a, _, _, _, empty_v, absorption_v, finish_v = profile[:9]
    if kind in FALLING:
        first = profile.w_first_factor
        gassing = first * profile.w_gassing_a, absorption_v
        ends = most_between((profile.w_gassing_a, absorption_v), (end_a, finish_v))
        begins = most_between((first * empty_a(profile), empty_v), gassing), ends
    else:
        begins = (main_a, empty_v), (main_a, absorption_v)
        end_a = 0.0 if kind not in FINISHING else main_a if kind == "I" else min(main_a, end_a)
    return max(*begins, (end_a, finish_v), key=math.prod)


def _marks(profile: Profile, capacity_ah: float, to_soc: float) -> tuple[float, float, float, float]:
    """Where the phases of a charge meet, as ampere-hours missing, and the current of its last phase.

    From phase I to U; at the end of U; where the current of U would have fallen to nothing; 0 A without a last phase.
    """
    kind, main_a, end_a, tau_h, _, full_soc = profile[:6]
    if kind == "I" or (kind in FINISHING and main_a < end_a):
        end_a = main_a  # one current; or a site limit holds the main current below the end current
    finishes = kind in FINISHING and to_soc >= 1.0
    stop_ah = end_a * tau_h if finishes else capacity_ah * (1.0 - min(to_soc, full_soc))
    rest_ah = capacity_ah * (1.0 - full_soc) - end_a * tau_h if kind == "CC-CV" else 0.0
    if stop_ah <= rest_ah:
        _refuse(profile)
    knee_ah = stop_ah if kind == "I" else max(stop_ah, rest_ah + main_a * tau_h)  # down to here flows the main current
    return knee_ah, stop_ah, rest_ah, end_a if finishes else 0.0


def equalising_phase(
    hours: float, amps: float, volts_per_cell: float, missing_ah: float, capacity_ah: float, tau_h: float
) -> Phase:
    """Equalising charge: a small constant current after a full charge, to bring up the weaker cells.

    Parameters
    ----------
    hours
        Its length. [h]
    amps
        Its current. [A]
    volts_per_cell
        Mean voltage meanwhile. [V]
    missing_ah
        What the full charge before has left to store; below 0 counts as 0. [Ah]
    capacity_ah
        Capacity at the 5 h rate, C5. [Ah]
    tau_h
        Time constant of acceptance. [h]

    Returns
    -------
    Phase
        What is missing decays as exp(-t/tau), all else is gas.

    Raises
    ------
    ValueError
        If the hours are below 0, or the current or the time constant is not above 0.

    Notes
    -----
    The last phase of IUIa with a stated length. Where more is missing than amps * tau, so that the battery would
    take more than flows, the decay is amps/missing instead: nothing is stored that was not given.

    References
    ----------
    Woodbridge 1935 (acceptance). Lengths of 2 to 6 h at up to 5 A per 100 Ah, weekly to monthly: common practice, no
    source; makers differ.

    Examples
    --------
    3 h at 5 A on 100 Ah of which 0.2 Ah are missing: all but 0.19 Ah of the 15 Ah is gas.

    >>> phase = equalising_phase(3.0, 5.0, 2.65, 0.2, 100.0, 1.0)
    >>> round(100.0 * (phase.soc_to - phase.soc_from), 2)
    0.19
    """
    if not (hours >= 0.0 and amps > 0.0 and tau_h > 0.0):
        rule = "an equalising charge needs hours of 0 or more, and a current and tau_h above 0"
        msg = f"{rule} (got {hours:g} h, {amps:g} A, tau_h {tau_h:g} h)"
        raise ValueError(msg)
    share = missing_ah / capacity_ah if missing_ah > 0.0 else 0.0
    decay_per_h = 1.0 / tau_h if missing_ah <= amps * tau_h else amps / missing_ah
    soc_to = 1.0 - share * math.exp(-decay_per_h * hours)
    return Phase(hours, amps, 0.0, volts_per_cell, 1.0 - share, soc_to, decay_per_h)


def acceptance_tau_h(
    tau_h: float, temperature_degc: float, *, rated_degc: float, per_k: float, least: float, most: float
) -> float:
    """Time constant of acceptance at an electrolyte temperature; a cold battery accepts charge more slowly.

    tau times 1 - per_k (T - rated), the correction kept within `least` and `most`. Slope: temperature term of
    the charge voltage in Copetti, Lorenzo and Chenlo 1993, Prog. Photovoltaics 1, 283-292. Bounds: common
    practice, no source.

    Examples
    --------
    20 K colder: 1 + 20 * 0.025.

    >>> acceptance_tau_h(1.0, 10.0, rated_degc=30.0, per_k=0.025, least=0.6, most=2.0)
    1.5
    """
    return tau_h * min(most, max(least, 1.0 - per_k * (temperature_degc - rated_degc)))


def voltage_limit_v(
    limit_v: float, temperature_degc: float, *, rated_degc: float, per_k: float, from_degc: float, to_degc: float
) -> float:
    """Limit of the charge voltage at an electrolyte temperature; a cold battery is charged at a higher voltage.

    Parameters
    ----------
    limit_v
        Limit at the rated temperature. [V]
    temperature_degc
        Temperature of the electrolyte. [degC]
    rated_degc
        Temperature that the limit is stated for. [degC]
    per_k
        Correction, below 0. [V/K]
    from_degc, to_degc
        Band without correction; both the same for a correction at every temperature. [degC]

    Returns
    -------
    float
        limit + per_k * (e(T) - e(rated)), where e is how far a temperature lies outside the band. [V]

    Raises
    ------
    ValueError
        If the band ends before it begins.

    Notes
    -----
    e = T - to above the band, T - from below it, 0 inside: measured from the nearer end, so that the limit has no step
    there. Measured from the rated temperature instead it would jump by 50 or 75 mV at the ends of 15 to 40 degC.
    A band of no width leaves limit + per_k * (T - rated) wherever it lies; the limit at the rated temperature
    is always the stated one.

    References
    ----------
    -5 mV per cell and kelvin outside 15 to 40 degC (gel): common practice, no source. -0.2 % of the limit per kelvin at
    every temperature: Copetti, Lorenzo and Chenlo 1993, Prog. Photovoltaics 1, 283-292.

    Examples
    --------
    10 K below the band: 50 mV more.

    >>> band = {"from_degc": 15.0, "to_degc": 40.0}
    >>> round(voltage_limit_v(2.37, 5.0, rated_degc=30.0, per_k=-0.005, **band), 9)
    2.42
    """
    got = f"{from_degc:g} to {to_degc:g} degC"
    require(from_degc <= to_degc, f"the band without correction must not end before it begins (got {got})")
    outside_k = temperature_degc - min(max(temperature_degc, from_degc), to_degc)
    rated_k = rated_degc - min(max(rated_degc, from_degc), to_degc)
    return limit_v + per_k * (outside_k - rated_k)


def current_limit_a(temperature_degc: float, capacity_ah: float, table: Sequence[tuple[float, float]]) -> float:
    """Most that may charge a lithium-ion battery at a cell temperature.

    Parameters
    ----------
    temperature_degc
        Temperature of the cells. [degC]
    capacity_ah
        Rated capacity. [Ah]
    table
        Rows (from this temperature on, limit), coldest first. [degC], [A per 100 Ah]

    Returns
    -------
    float
        Limit of the last row that begins at or below the temperature; 0, no charge, below the first. [A]

    Raises
    ------
    ValueError
        If the table has no row, or its temperatures do not rise.

    References
    ----------
    Steps, not a slope: so print cell makers their limits. The table of the catalogue is a placeholder: an assumption,
    no source.

    Examples
    --------
    >>> table = [(0.0, 10.0), (10.0, 50.0), (50.0, 10.0), (60.0, 0.0)]
    >>> [current_limit_a(degc, 200.0, table) for degc in (-1.0, 0.0, 25.0, 55.0, 60.0)]
    [0.0, 20.0, 100.0, 20.0, 0.0]
    """
    rises = table and all(colder[0] < warmer[0] for colder, warmer in pairwise(table))
    require(rises, f"current limits need a row or more, with rising temperatures (got {list(table)})")
    reached = [amps for from_degc, amps in table if from_degc <= temperature_degc]
    return (reached[-1] if reached else 0.0) / 100.0 * capacity_ah


def _refuse(profile: Profile) -> NoReturn:
    """Say what is wrong with a profile."""
    require(profile.kind in KINDS, f"kind must be one of {', '.join(KINDS)} (got {profile.kind!r})")
    rule = "it needs full_soc below 1 (IU), or its last current and tau_h above 0 (others)"
    got = f"full_soc {profile.full_soc:g}, main_a {profile.main_a:g} A, end_a {profile.end_a:g} A"
    msg = f"a {profile.kind} charge never ends: {rule} (got {got}, tau_h {profile.tau_h:g} h)"
    raise ValueError(msg)
