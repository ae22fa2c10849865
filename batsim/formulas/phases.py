"""A charge as phases: what it gives and takes, where it stands after some hours, and what is then still to come.

In each phase the current is amps * exp(-decay * t). `batsim.formulas.charging` works out the phases of a charge.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

from batsim.errors import require

ROUNDING = 1e-12
"""Share of C5 below which a remainder is rounding, not charge."""


class Profile(NamedTuple):
    """How one charger charges one battery; currents in ampere for this battery, voltages per cell."""

    kind: str
    """One of `KINDS`."""
    main_a: float
    """Current of phase I (CC), the most that flows. Not used by W and WoWa. [A]"""
    end_a: float
    """Current of the last phase of IUIa and IUI, at the end of W and WoWa, and at which CC-CV stops. [A]"""
    tau_h: float
    """Time constant of acceptance at the voltage limit. Not used by W and WoWa. [h]"""
    factor: float
    """Charge factor: ampere-hours to return over ampere-hours drawn, for whoever keeps `owed_ah`. [-]"""
    full_soc: float
    """State of charge at which IU, CC-CV and part charges end at the latest; below 1 for IU. [-]"""
    empty_v: float
    """Voltage at which phase I, or W, would begin on an empty battery. [V]"""
    absorption_v: float
    """Voltage of phase U (CV), to which that of phase I rises; that of W where gassing begins. [V]"""
    finish_v: float
    """Mean voltage of the last phase of IUIa, IUI and I; voltage at the end of W. [V]"""
    w_start_a: float = 0.0
    """Current of W at `w_start_soc`. [A]"""
    w_start_soc: float = 0.0
    """State of charge that belongs to `w_start_a`; below `gassing_soc`. [-]"""
    w_gassing_a: float = 0.0
    """Current of W where gassing begins. [A]"""
    gassing_soc: float = 0.0
    """State of charge where gassing begins under W; below 1. [-]"""
    w_first_factor: float = 1.0
    """Currents of WoWa below gassing, over those of the line: 2 for two lines at once. [-]"""


class Phase(NamedTuple):
    """One stretch of a charge: current amps * exp(-decay_per_h * t) for some hours."""

    hours: float
    """Length. [h]"""
    amps: float
    """Current at its start. [A]"""
    decay_per_h: float
    """Decay of the current, 0 if constant. [1/h]"""
    volts_per_cell: float
    """Voltage at its start; the mean where it does not rise. [V]"""
    soc_from: float
    """State of charge at its start. [-]"""
    soc_to: float
    """State of charge at its end. [-]"""
    acceptance_per_h: float = 0.0
    """0: soc rises with the ampere-hours. Above 0: what is missing decays so fast, the rest is gas. [1/h]"""
    rise_v: float = 0.0
    """How far the voltage rises until its end, in proportion to the ampere-hours given. [V]"""


new_phase = tuple.__new__
"""`new_phase(Phase, (all eight fields))` does what `Phase(...)` does in little more than half the time."""


def phases_totals(phases: Sequence[Phase], cells: int) -> tuple[float, float, float]:
    """Length, ampere-hours and energy of a charge of so many cells, in h, Ah and kWh, in one pass.

    Ampere-hours are the integral of the current, energy that of current times voltage: where the voltage rises with the
    ampere-hours, these times the voltage half-way.

    Examples
    --------
    24 cells, 10 h at 50 A and 2.5 V.

    >>> phases_totals((Phase(10.0, 50.0, 0.0, 2.5, 0.0, 1.0),), 24)
    (10.0, 500.0, 30.0)
    """
    hours = ah = volt_ah = 0.0
    for length, amps, decay_per_h, volts, _, _, _, rise_v in phases:
        part_ah = -amps * math.expm1(-decay_per_h * length) / decay_per_h if decay_per_h else amps * length
        hours += length
        ah += part_ah
        volt_ah += part_ah * (volts + 0.5 * rise_v)
    return hours, ah, cells * volt_ah / 1000.0


def phases_hours(phases: Sequence[Phase]) -> float:
    """Length of a charge, in h."""
    return phases_totals(phases, 0)[0]


def wall_kwh(dc_kwh: float, efficiency: float) -> float:
    """Energy from the mains for an energy into the battery, without standby: E_dc/efficiency.

    Examples
    --------
    >>> wall_kwh(23.0, 0.92)
    25.0
    """
    require(0.0 < efficiency <= 1.0, f"efficiency must be above 0 and at most 1 (got {efficiency:g})")
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


def cut(phases: Sequence[Phase], hours: float) -> tuple[Phase, ...]:
    """Return the same charge interrupted after some hours; what is still to come is `rest_of` it."""
    done = []
    for phase in phases:
        if hours <= 0.0:
            break
        length, amps, decay_per_h, volts, soc_from, _, acceptance_per_h, rise_v = phase
        if hours >= length:
            done.append(phase)
        else:
            reached, rise_v = _phase_soc(phase, hours), rise_v and rise_v * _share_given(phase, hours)
            done.append(
                new_phase(Phase, (hours, amps, decay_per_h, volts, soc_from, reached, acceptance_per_h, rise_v))
            )
        hours -= length
    return tuple(done)


def rest_of(phases: Sequence[Phase], hours: float) -> tuple[Phase, ...]:
    """Return what is still to come of a charge after some hours.

    Parameters
    ----------
    phases
        The whole charge.
    hours
        Since its start; 0 or less for all of it, from its end on nothing is left. [h]

    Returns
    -------
    tuple of Phase
        The phase that runs, shortened, its current fallen and its state of charge risen, and those after it.

    Notes
    -----
    `cut` and `rest_of` together give the same hours, ampere-hours, energy and gas as the whole charge. If the
    battery was not used in between, this is also what `batsim.formulas.charging.charge_phases` would find.

    References
    ----------
    None: an exponential goes on as an exponential.

    Examples
    --------
    16 A for 2 h, then halved in every hour: after 3 h, 2 h from 8 A on.

    >>> charge = (Phase(2.0, 16.0, 0.0, 2.25, 0.0, 0.3), Phase(3.0, 16.0, math.log(2.0), 2.4, 0.3, 0.5))
    >>> [(phase.hours, round(phase.amps, 9)) for phase in rest_of(charge, 3.0)]
    [(2.0, 8.0)]
    """
    left = []
    for phase in phases:
        length, amps, decay_per_h, volts, _, soc_to, acceptance_per_h, rise_v = phase
        if hours <= 0.0:
            left.append(phase)
        elif hours < length:
            amps *= math.exp(-decay_per_h * hours)
            reached, risen_v = _phase_soc(phase, hours), rise_v and rise_v * _share_given(phase, hours)
            volts, rise_v = volts + risen_v, rise_v - risen_v
            still = (length - hours, amps, decay_per_h, volts, reached, soc_to, acceptance_per_h, rise_v)
            left.append(new_phase(Phase, still))
        hours -= length
    return tuple(left)


def greatest_va(phase: Phase) -> float:
    """Most power into a cell in a phase: at an end, or between where the voltage rises while the current falls. [W]

    Examples
    --------
    10 A, 2.1 V rising to 2.4 V.

    >>> round(greatest_va(Phase(2.0, 10.0, 0.0, 2.1, 0.0, 1.0, 0.0, 0.3)), 9)
    24.0
    """
    hours, amps, decay_per_h, volts, _, _, _, rise_v = phase
    return math.prod(most_between((amps, volts), (amps * math.exp(-decay_per_h * hours), volts + rise_v)))


def most_between(first: tuple[float, float], last: tuple[float, float]) -> tuple[float, float]:
    """Current and voltage of the most power on the straight line between two of them. [A, V]

    Examples
    --------
    The power of a falling current at a rising voltage is a parabola.

    >>> most_between((12.0, 2.0), (8.0, 3.0))
    (10.0, 2.5)
    >>> most_between((20.0, 2.0), (5.0, 2.4))
    (20.0, 2.0)
    """
    (amps, volts), more_a, more_v = first, last[0] - first[0], last[1] - first[1]
    if more_a * more_v < 0.0:
        part = -(amps * more_v + volts * more_a) / (2.0 * more_a * more_v)
        if 0.0 < part < 1.0:
            return amps + part * more_a, volts + part * more_v
    return max(first, last, key=math.prod)


def _share_given(phase: Phase, hours: float) -> float:
    """Share of its ampere-hours that a phase gives in its first hours."""
    return _phase_ah(phase, hours) / _phase_ah(phase, phase.hours)


def _phase_ah(phase: Phase, hours: float) -> float:
    """Ampere-hours in the first hours of a phase."""
    amps, decay_per_h = phase[1], phase[2]
    return -amps * math.expm1(-decay_per_h * hours) / decay_per_h if decay_per_h else amps * hours


def _phase_soc(phase: Phase, hours: float) -> float:
    """State of charge after the first hours of a phase."""
    if phase.acceptance_per_h:
        return 1.0 - (1.0 - phase.soc_from) * math.exp(-phase.acceptance_per_h * hours)
    return phase.soc_from + (phase.soc_to - phase.soc_from) * _share_given(phase, hours)
