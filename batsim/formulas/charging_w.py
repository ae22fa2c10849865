"""Falling current, W and WoWa: the line of the charger, and the phases of a charge on it.

The voltage of a battery rises as it fills, and the charger gives the less current the higher the voltage (DIN 41774).
Here the line is laid over the state of charge instead, so that an interrupted charge goes on as if it had not been.
"""

import math

from batsim.formulas.phases import ROUNDING, Phase, Profile, new_phase


def falling_phases(
    profile: Profile, capacity_ah: float, missing_ah: float, owed_ah: float, to_soc: float
) -> tuple[Phase, ...]:
    """Phases of a W or WoWa charge, one or two, or none if there is nothing to do.

    Parameters and result as for `batsim.formulas.charging.charge_phases`, which comes by here.

    Notes
    -----
    With C = C5 and m = missing, the line of current over m passes through (w_start_soc, w_start_a),
    (gassing_soc, w_gassing_a) and (1, end_a), m = C (1 - soc).

    * Below gassing all is stored. WoWa has two lines at work there, so `w_first_factor` times the current, and drops
      to the one line where gassing begins.
    * Above gassing the current and the missing ampere-hours fall together, so both follow from the missing
      ampere-hours alone, whatever came before; the ampere-hours owed only set the pace.
    * The voltage rises with the charge as the current falls: from `empty_v` to `absorption_v` where gassing begins, and
      on to `finish_v` where all is given. Below no charge at all the current and voltage of the empty battery hold.
    * Where the current falls from I1 to I2 in proportion to the ampere-hours given: t = Ah ln(I1/I2)/(I1 - I2).

    At 14, 8, 4 A per 100 Ah and a factor of 1.15 to 1.20, 80 % of depth take 11.1 h to 11.8 h with W and 8.3 h to
    9.0 h with WoWa; usual are 10 to 12 h, and 7.5 to 9 h (from memory).

    References
    ----------
    DIN 41774 (currents). Line over the state of charge, and WoWa: common practice, no source (from memory).

    Examples
    --------
    Flat lines on 100 Ah, of which 80 Ah are missing and 92 Ah owed: 60 Ah at twice 10 A, then 32 Ah at 10 A.

    >>> wowa = Profile("WoWa", 0.0, 10.0, 0.0, 1.15, 1.0, 2.25, 2.4, 2.5, 10.0, 0.2, 10.0, 0.8, 2.0)
    >>> [round(phase.hours, 9) for phase in falling_phases(wowa, 100.0, 80.0, 92.0, 1.0)]
    [3.0, 3.2]
    """
    _, _, end_a, _, _, _, empty_v, gassing_v, end_v, _, _, gassing_a, gassing_soc, first_factor = profile
    onset_ah = capacity_ah * (1.0 - gassing_soc)
    nothing_ah = ROUNDING * capacity_ah
    stop_ah = capacity_ah * (1.0 - to_soc) if to_soc < 1.0 else 0.0
    knee_ah = onset_ah if onset_ah > stop_ah else stop_ah
    phases = []
    left_ah = missing_ah if missing_ah > 0.0 else 0.0
    most_a = empty_a(profile)
    if left_ah - capacity_ah > nothing_ah:
        give_ah = left_ah - capacity_ah
        level = give_ah, first_factor * most_a, first_factor * most_a
        phases.append(_falling_phase(level, (empty_v, empty_v), (1.0 - left_ah / capacity_ah, 0.0)))
        owed_ah -= give_ah
        left_ah = capacity_ah
    soc = 1.0 - left_ah / capacity_ah
    if left_ah - knee_ah > nothing_ah:
        slope_a, slope_v = (most_a - gassing_a) / gassing_soc, (gassing_v - empty_v) / gassing_soc
        reached = 1.0 - knee_ah / capacity_ah
        from_a, to_a = (first_factor * (most_a - slope_a * each) for each in (soc, reached))
        volts = empty_v + slope_v * soc, empty_v + slope_v * reached
        phases.append(_falling_phase((left_ah - knee_ah, from_a, to_a), volts, (soc, reached)))
        owed_ah -= left_ah - knee_ah
        left_ah, soc = knee_ah, reached
    give_ah = left_ah - stop_ah
    if to_soc >= 1.0 and owed_ah > left_ah:
        give_ah = owed_ah
    if give_ah > nothing_ah:
        slope_a, slope_v = (gassing_a - end_a) / onset_ah, (gassing_v - end_v) / onset_ah
        amps = give_ah, end_a + slope_a * left_ah, end_a + slope_a * stop_ah
        volts = end_v + slope_v * left_ah, end_v + slope_v * stop_ah
        phases.append(_falling_phase(amps, volts, (soc, 1.0 - stop_ah / capacity_ah)))
    return tuple(phases)


def empty_a(profile: Profile) -> float:
    """Current of one W line on an empty battery: no more flows however much was drawn. [A]"""
    per_soc = (profile.w_start_a - profile.w_gassing_a) / (profile.gassing_soc - profile.w_start_soc)
    return profile.w_gassing_a + per_soc * profile.gassing_soc


def _falling_phase(flow: tuple[float, float, float], volts: tuple[float, float], socs: tuple[float, float]) -> Phase:
    """Return the phase of a current that falls with the ampere-hours given, see `falling_phases`.

    Flow: what is given, the current at the start and at the end; voltage and state of charge at start and end.
    """
    give_ah, from_a, to_a = flow
    drop_a = from_a - to_a
    fall = drop_a / to_a
    hours = give_ah / to_a * (math.log1p(fall) / fall if fall else 1.0)
    from_v, to_v = volts
    return new_phase(Phase, (hours, from_a, drop_a / give_ah, from_v, *socs, 0.0, to_v - from_v))
