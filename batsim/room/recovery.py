"""Use of a battery that recovers in breaks: the two-well model over the windows of a calendar.

Its state is what it holds and its surplus: available ampere-hours above level, below 0 after strong currents. The
discharge indicator reads the available well, so that is its state of charge here.
"""

from math import exp, inf

from batsim.formulas.kibam import Wells, hours_to_empty, wells_after
from batsim.room.timetable import Timetable


def scaled(wells: Wells, factor: float) -> Wells:
    """Wells of a battery with another capacity: warm, cold, spread or aged."""
    return wells._replace(most_ah=wells.most_ah * factor)


def soc_of(held_ah: float, surplus_ah: float, wells: Wells) -> float:
    """State of charge as the indicator reads it: filling of the available well. [-]"""
    return (wells.available_share * held_ah + surplus_ah) / (wells.available_share * wells.most_ah)


def rested(surplus_ah: float, hours: float, wells: Wells) -> float:
    """Surplus after a rest, in which the wells even out. [Ah]"""
    return surplus_ah * exp(-wells.rate_per_h * hours) if hours > 0.0 else surplus_ah


def drawn_for(held_ah: float, surplus_ah: float, amps: float, hours: float, wells: Wells) -> tuple[float, float]:
    """What it holds and its surplus after some hours of use. [Ah]"""
    available_ah = wells.available_share * held_ah + surplus_ah
    available_ah, bound_ah = wells_after(available_ah, held_ah - available_ah, amps, hours, wells)
    left_ah = available_ah + bound_ah
    return left_ah, available_ah - wells.available_share * left_ah


def hours_to_level(held_ah: float, surplus_ah: float, amps: float, level: float, wells: Wells) -> float:
    """Hours of use without a break until the indicator reads a level. [h]

    What stays in both wells at that level does not count: taking it out of both leaves their difference.
    """
    share = wells.available_share
    kept_ah = level * wells.most_ah
    available_ah = share * (held_ah - kept_ah) + surplus_ah
    if available_ah <= 0.0:
        return 0.0
    return hours_to_empty(available_ah, (held_ah - kept_ah) - available_ah, amps, wells)


def run_down(
    wells: Wells, timetable: Timetable, start_min: float, state: tuple[float, float], amps: float, level: float
) -> tuple[float, tuple[float, float]]:
    """Working minutes until the indicator reads a level, recovering in every gap; and the state then. [min, Ah]"""
    held_ah, surplus_ah = state
    worked_min, time = 0.0, start_min
    while True:
        start, end = timetable.window(time)
        if start == inf:
            return inf, (held_ah, surplus_ah)
        surplus_ah = rested(surplus_ah, (start - time) / 60.0, wells)
        time = max(time, start)
        hours = hours_to_level(held_ah, surplus_ah, amps, level, wells)
        if time + 60.0 * hours <= end:
            return worked_min + 60.0 * hours, drawn_for(held_ah, surplus_ah, amps, hours, wells)
        held_ah, surplus_ah = drawn_for(held_ah, surplus_ah, amps, (end - time) / 60.0, wells)
        worked_min += end - time
        time = end


def run_until(
    wells: Wells, timetable: Timetable, start_min: float, state: tuple[float, float], amps: float, until_min: float
) -> tuple[float, float]:
    """What it holds and its surplus at a time, recovering in every gap before it. [Ah]"""
    held_ah, surplus_ah = state
    time = start_min
    while time < until_min:
        start, end = timetable.window(time)
        surplus_ah = rested(surplus_ah, (min(start, until_min) - time) / 60.0, wells)
        if start >= until_min:
            break
        time = max(time, start)
        stop = min(end, until_min)
        held_ah, surplus_ah = drawn_for(held_ah, surplus_ah, amps, (stop - time) / 60.0, wells)
        time = stop
    return held_ah, surplus_ah
