"""Charge in closed form: the phases of a charge, from the battery's real state.

A charge is a tuple of phases; in each the current is amps * exp(-decay * t). Two figures say where a battery
stands:

* `missing_ah`, what it really lacks. Here soc = 1 - missing/C5, below 0 if weak currents drew more than C5.
* `owed_ah`, charge factor times ampere-hours drawn less those returned, since the last full charge: it lets
  an interrupted charge go on as if it had not been interrupted.

Acceptance follows Woodbridge's ampere-hour law (1935): a current of missing/tau is stored whole, what flows
beyond it makes gas. The letters are those of DIN 41772: I constant current, U constant voltage, W falling
current, a stops by itself (DIN 41773-1 for IU and IUIa, DIN 41774 for W, DIN 41776 for I; from memory).
"""

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple, NoReturn

KINDS = ("I", "IU", "IUIa", "W", "CC-CV")
_ROUNDING = 1e-12  # share of C5 below which a remainder is rounding, not charge


class Profile(NamedTuple):
    """How one charger charges one battery; currents in ampere for this battery, voltages per cell."""

    kind: str
    """One of `KINDS`."""
    main_a: float
    """Current of phase I (CC), the most that flows. Not used by W. [A]"""
    end_a: float
    """Current of the last phase of IUIa, at the end of W, and at which CC-CV stops. [A]"""
    tau_h: float
    """Time constant of acceptance at the voltage limit. Not used by W. [h]"""
    factor: float
    """Charge factor: ampere-hours to return over ampere-hours drawn, for whoever keeps `owed_ah`. [-]"""
    full_soc: float
    """State of charge at which IU, CC-CV and part charges end at the latest; below 1 for IU. [-]"""
    bulk_v: float
    """Mean voltage of phase I, and of W below gassing. [V]"""
    absorption_v: float
    """Voltage of phase U (CV). [V]"""
    finish_v: float
    """Mean voltage of the last phase: IUIa, I, and W above gassing. [V]"""
    w_start_a: float = 0.0
    """Current of W at `w_start_soc`. [A]"""
    w_start_soc: float = 0.0
    """State of charge that belongs to `w_start_a`; below `gassing_soc`. [-]"""
    w_gassing_a: float = 0.0
    """Current of W where gassing begins. [A]"""
    gassing_soc: float = 0.0
    """State of charge where gassing begins under W; below 1. [-]"""


class Phase(NamedTuple):
    """One stretch of a charge: current amps * exp(-decay_per_h * t) for some hours."""

    hours: float
    """Length. [h]"""
    amps: float
    """Current at its start. [A]"""
    decay_per_h: float
    """Decay of the current, 0 if constant. [1/h]"""
    volts_per_cell: float
    """Mean voltage. [V]"""
    soc_from: float
    """State of charge at its start. [-]"""
    soc_to: float
    """State of charge at its end. [-]"""
    acceptance_per_h: float = 0.0
    """0: soc rises with the ampere-hours. Above 0: what is missing decays so fast, the rest is gas. [1/h]"""


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
        Charge factor times ampere-hours drawn less those returned. Only for a full I, IUIa or W charge. [Ah]
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
    * IU ends at m = C (1 - b), b at most `full_soc`. IUIa goes on to m = I2 tau, then I2 flows until nothing
      is owed, while m decays as exp(-t/tau). I is IUIa with one current.
    * CC-CV is IU towards the m at which no current would flow, C (1 - full_soc) - tau I2; I2 flows when full.
    * W: current linear in soc through (w_start_soc, w_start_a), (gassing_soc, w_gassing_a) and (1, I2). Below
      gassing all is stored; above, soc rises in proportion to the ampere-hours owed.

    References
    ----------
    Woodbridge 1935 (as quoted); DIN 41773-1, DIN 41774. CC-CV: fitted to cell models, no source.

    Examples
    --------
    IUIa on 100 Ah, 80 Ah drawn, factor 1.15: 60 Ah at 20 A, then 15 Ah while the current falls from 20 to
    5 A in ln 4 h, then the 17 Ah still owed at 5 A.

    >>> iuia = Profile("IUIa", 20.0, 5.0, 1.0, 1.15, 0.99, 2.25, 2.4, 2.6)
    >>> [round(phase.hours, 3) for phase in charge_phases(iuia, 100.0, 80.0, 92.0)]
    [3.0, 1.386, 3.4]
    """
    kind, main_a, end_a, tau_h, _, full_soc, bulk_v, absorption_v, finish_v, *_ = profile
    if kind == "W":
        return _falling_phases(profile, capacity_ah, missing_ah, owed_ah, to_soc)
    if kind == "I" or (kind == "IUIa" and main_a < end_a):
        end_a = main_a  # one current; or a site limit holds the main current below the end current
    finish = to_soc >= 1.0 and kind in ("IUIa", "I")
    stop_ah = end_a * tau_h if finish else capacity_ah * (1.0 - min(to_soc, full_soc))
    rest_ah = capacity_ah * (1.0 - full_soc) - end_a * tau_h if kind == "CC-CV" else 0.0
    if kind not in KINDS or stop_ah <= rest_ah:
        _refuse(profile)
    knee_ah = stop_ah if kind == "I" else max(stop_ah, rest_ah + main_a * tau_h)
    nothing_ah = _ROUNDING * capacity_ah
    phases = []
    left_ah = max(missing_ah, 0.0)
    soc = 1.0 - left_ah / capacity_ah
    if left_ah - knee_ah > nothing_ah:
        owed_ah -= left_ah - knee_ah
        reached = 1.0 - knee_ah / capacity_ah
        phases.append(Phase((left_ah - knee_ah) / main_a, main_a, 0.0, bulk_v, soc, reached))
        left_ah, soc = knee_ah, reached
    if left_ah - stop_ah > nothing_ah:
        owed_ah -= left_ah - stop_ah
        reached = 1.0 - stop_ah / capacity_ah
        hours = tau_h * math.log((left_ah - rest_ah) / (stop_ah - rest_ah))
        phases.append(Phase(hours, (left_ah - rest_ah) / tau_h, 1.0 / tau_h, absorption_v, soc, reached))
        left_ah, soc = stop_ah, reached
    if finish and owed_ah > nothing_ah:
        hours = owed_ah / end_a
        reached = 1.0 - left_ah / capacity_ah * math.exp(-hours / tau_h)
        phases.append(Phase(hours, end_a, 0.0, finish_v, soc, reached, 1.0 / tau_h))
    return tuple(phases)


def phases_totals(phases: Sequence[Phase], cells: int) -> tuple[float, float, float]:
    """Length, ampere-hours and energy of a charge of so many cells, in h, Ah and kWh, in one pass.

    Ampere-hours are the integral of the current; energy is cells times the sum of mean voltage times ampere-hours.

    Examples
    --------
    24 cells, 10 h at 50 A and 2.5 V.

    >>> phases_totals((Phase(10.0, 50.0, 0.0, 2.5, 0.0, 1.0),), 24)
    (10.0, 500.0, 30.0)
    """
    hours = ah = volt_ah = 0.0
    for phase in phases:
        part_ah = _phase_ah(phase, phase[0])
        hours += phase[0]
        ah += part_ah
        volt_ah += part_ah * phase[3]
    return hours, ah, cells * volt_ah / 1000.0


def phases_hours(phases: Sequence[Phase]) -> float:
    """Length of a charge, in h."""
    return phases_totals(phases, 0)[0]


def phases_ah(phases: Sequence[Phase]) -> float:
    """Ampere-hours that a charge gives, see `phases_totals`."""
    return phases_totals(phases, 0)[1]


def phases_kwh(phases: Sequence[Phase], cells: int) -> float:
    """Energy into a battery of so many cells, in kWh, see `phases_totals`."""
    return phases_totals(phases, cells)[2]


def wall_kwh(dc_kwh: float, efficiency: float) -> float:
    """Energy from the mains for an energy into the battery, without standby: E_dc/efficiency.

    Examples
    --------
    >>> wall_kwh(23.0, 0.92)
    25.0
    """
    if not 0.0 < efficiency <= 1.0:
        msg = f"efficiency must be above 0 and at most 1 (got {efficiency:g})"
        raise ValueError(msg)
    return dc_kwh / efficiency


def peak_wall_kw(amps: float, volts_per_cell: float, cells: int, efficiency: float) -> float:
    """Greatest power that a charger draws, in kW: main current at the voltage limit, over the efficiency.

    Examples
    --------
    100 A into 24 cells at 2.4 V is 5.76 kW.

    >>> round(peak_wall_kw(100.0, 2.4, 24, 0.9), 9)
    6.4
    """
    return wall_kwh(cells * volts_per_cell * amps / 1000.0, efficiency)


def gassing_ah(phases: Sequence[Phase], capacity_ah: float) -> float:
    """Ampere-hours that make gas: those given less those stored.

    For a last phase of IUIa entered at I2 this is I2 [t - tau (1 - exp(-t/tau))].

    Examples
    --------
    After 17 h at 1 A with tau = 1 h nearly all but the first ampere-hour has gone into gas.

    >>> round(gassing_ah((Phase(17.0, 1.0, 0.0, 2.6, 0.99, 1.0, 1.0),), 100.0), 6)
    16.0
    """
    return max(0.0, phases_ah(phases) - stored_ah_after(phases, math.inf, capacity_ah))


def ah_after(phases: Sequence[Phase], hours: float) -> float:
    """Ampere-hours given in the first hours of a charge."""
    return phases_ah(cut(phases, hours))


def soc_after(phases: Sequence[Phase], hours: float) -> float:
    """State of charge after some hours of a charge; at its end from then on.

    Raises
    ------
    ValueError
        If there is no phase: an empty charge does not know where the battery stands.
    """
    if not phases:
        msg = "a charge without phases has no state of charge: use the one that the battery came with"
        raise ValueError(msg)
    done = cut(phases, hours)
    return done[-1].soc_to if done else phases[0].soc_from


def stored_ah_after(phases: Sequence[Phase], hours: float, capacity_ah: float) -> float:
    """Ampere-hours stored, by which `missing_ah` has fallen, after some hours of a charge."""
    return (soc_after(phases, hours) - phases[0].soc_from) * capacity_ah if phases else 0.0


def current_after(phases: Sequence[Phase], hours: float) -> float:
    """Return the current after some hours of a charge, in A; 0 from its end on.

    Examples
    --------
    16 A for 2 h, then halved in every hour.

    >>> charge = (Phase(2.0, 16.0, 0.0, 2.25, 0.0, 0.3), Phase(3.0, 16.0, math.log(2.0), 2.4, 0.3, 0.5))
    >>> [round(current_after(charge, hours), 9) for hours in (1.0, 2.0, 3.0, 4.0, 5.0)]
    [16.0, 16.0, 8.0, 4.0, 0.0]
    """
    for phase in phases:
        if hours < phase.hours:
            return phase.amps * math.exp(-phase.decay_per_h * hours)
        hours -= phase.hours
    return 0.0


def cut(phases: Sequence[Phase], hours: float) -> tuple[Phase, ...]:
    """Return the same charge interrupted after some hours."""
    kept = []
    for phase in phases:
        if hours <= 0.0:
            break
        whole = hours >= phase.hours
        kept.append(phase if whole else phase._replace(hours=hours, soc_to=_phase_soc(phase, hours)))
        hours -= phase.hours
    return tuple(kept)


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


def w_line_a(volts_per_cell: float, line: Sequence[tuple[float, float]]) -> float:
    """Return the current of a W charger at a cell voltage: straight between its anchors (V, A), then held.

    DIN 41774: start current (at 2.0 V, from memory), half of it at 2.40 V, a quarter at 2.65 V.

    Examples
    --------
    >>> round(w_line_a(2.1, [(2.0, 16.0), (2.4, 8.0), (2.65, 4.0)]), 9)
    14.0
    """
    if len(line) < 2 or any(upper[0] <= lower[0] for lower, upper in pairwise(line)):
        msg = f"a W line needs two anchors or more with rising voltages (got {list(line)})"
        raise ValueError(msg)
    volts = min(max(volts_per_cell, line[0][0]), line[-1][0])
    row = 1
    while volts > line[row][0]:
        row += 1
    (low_v, low_a), (high_v, high_a) = line[row - 1], line[row]
    return low_a + (high_a - low_a) * (volts - low_v) / (high_v - low_v)


def _phase_ah(phase: Phase, hours: float) -> float:
    """Ampere-hours in the first hours of a phase."""
    amps, decay_per_h = phase[1], phase[2]
    return -amps * math.expm1(-decay_per_h * hours) / decay_per_h if decay_per_h else amps * hours


def _phase_soc(phase: Phase, hours: float) -> float:
    """State of charge after the first hours of a phase."""
    if phase.acceptance_per_h:
        return 1.0 - (1.0 - phase.soc_from) * math.exp(-phase.acceptance_per_h * hours)
    share = _phase_ah(phase, hours) / _phase_ah(phase, phase.hours)
    return phase.soc_from + (phase.soc_to - phase.soc_from) * share


def _falling_phases(
    profile: Profile, capacity_ah: float, missing_ah: float, owed_ah: float, to_soc: float
) -> tuple[Phase, ...]:
    """Phases of a W charge, see `charge_phases`.

    Above gassing the current and the missing ampere-hours fall together, so both follow from the missing
    ampere-hours alone, whatever came before; the ampere-hours owed only set the pace.
    """
    end_a, gassing_a = profile.end_a, profile.w_gassing_a
    if end_a <= 0.0:
        _refuse(profile)
    onset_ah = capacity_ah * (1.0 - profile.gassing_soc)
    nothing_ah = _ROUNDING * capacity_ah
    stop_ah = capacity_ah * (1.0 - min(to_soc, 1.0))
    phases = []
    left_ah = max(missing_ah, 0.0)
    soc = 1.0 - left_ah / capacity_ah
    knee_ah = max(onset_ah, stop_ah)
    if left_ah - knee_ah > nothing_ah:
        slope = (profile.w_start_a - gassing_a) / (capacity_ah * (profile.gassing_soc - profile.w_start_soc))
        from_a, to_a = gassing_a + slope * (left_ah - onset_ah), gassing_a + slope * (knee_ah - onset_ah)
        reached = 1.0 - knee_ah / capacity_ah
        phases.append(
            _falling_phase(left_ah - knee_ah, from_a, to_a, volts=profile.bulk_v, soc_from=soc, soc_to=reached)
        )
        owed_ah -= left_ah - knee_ah
        left_ah, soc = knee_ah, reached
    give_ah = max(owed_ah, left_ah) if to_soc >= 1.0 else left_ah - stop_ah
    if give_ah > nothing_ah:
        slope = (gassing_a - end_a) / onset_ah
        from_a, to_a = end_a + slope * left_ah, end_a + slope * stop_ah
        reached = 1.0 - stop_ah / capacity_ah
        phases.append(_falling_phase(give_ah, from_a, to_a, volts=profile.finish_v, soc_from=soc, soc_to=reached))
    return tuple(phases)


def _falling_phase(
    give_ah: float, from_a: float, to_a: float, *, volts: float, soc_from: float, soc_to: float
) -> Phase:
    """Return the phase of a current that falls with the ampere-hours given: t = Ah ln(I1/I2)/(I1 - I2)."""
    fall = (from_a - to_a) / to_a
    hours = give_ah / to_a * (math.log1p(fall) / fall if fall else 1.0)
    return Phase(hours, from_a, (from_a - to_a) / give_ah, volts, soc_from, soc_to)


def _refuse(profile: Profile) -> NoReturn:
    """Say what is wrong with a profile."""
    if profile.kind not in KINDS:
        msg = f"kind must be one of {', '.join(KINDS)} (got {profile.kind!r})"
        raise ValueError(msg)
    rule = "it needs full_soc below 1 (IU), or its last current and tau_h above 0 (others)"
    got = f"full_soc {profile.full_soc:g}, main_a {profile.main_a:g} A, end_a {profile.end_a:g} A"
    msg = f"a {profile.kind} charge never ends: {rule} (got {got}, tau_h {profile.tau_h:g} h)"
    raise ValueError(msg)
