"""Closed forms that the package does not need, for tests to compare it with."""

import math

from batsim.formulas.discharge import discharge_at_power
from batsim.formulas.phases import cut, phases_totals

# --- a charge ---


def phases_ah(phases):
    """Ampere-hours that a charge gives."""
    return phases_totals(phases, 0)[1]


def phases_kwh(phases, cells):
    """Energy into a battery of so many cells, in kWh."""
    return phases_totals(phases, cells)[2]


def ah_after(phases, hours):
    """Ampere-hours given in the first hours of a charge."""
    return phases_ah(cut(phases, hours))


def soc_on_charge(phases, hours):
    """State of charge after some hours of a charge; at its end from then on."""
    done = cut(phases, hours)
    return done[-1].soc_to if done else phases[0].soc_from


def stored_ah_after(phases, hours, capacity_ah):
    """Ampere-hours stored in the first hours of a charge."""
    return (soc_on_charge(phases, hours) - phases[0].soc_from) * capacity_ah if phases else 0.0


def gassing_ah(phases, capacity_ah):
    """Ampere-hours that make gas: those given less those stored."""
    return max(0.0, phases_ah(phases) - stored_ah_after(phases, math.inf, capacity_ah))


def current_after(phases, hours):
    """Current after some hours of a charge, in A; 0 from its end on."""
    for phase in phases:
        if hours < phase.hours:
            return phase.amps * math.exp(-phase.decay_per_h * hours)
        hours -= phase.hours
    return 0.0


# --- a discharge ---


def current_a(soc, power_w, cell):
    """Current at which a battery gives a power, in A: P = N I (E - r I/C5) solved for the lower I."""
    emf = cell.empty_v + cell.slope_v * soc
    square = emf * emf - 4.0 * cell.resistance_ohm_ah * power_w / (cell.cells * cell.capacity_ah)
    return 2.0 * power_w / (cell.cells * (emf + math.sqrt(square))) if square >= 0.0 else math.inf


def discharge_hours(soc_from, soc_to, power_w, cell):
    """Hours of a discharge."""
    return discharge_at_power(soc_from, soc_to, power_w, cell)[0]


def discharge_ah(soc_from, soc_to, power_w, cell):
    """Ampere-hours of a discharge."""
    return discharge_at_power(soc_from, soc_to, power_w, cell)[1]


def work_on_battery(soc_from, soc_to, power_w, cell, factor):
    """Hours and ampere-hours of work at a power, by the midpoint rule.

    The state of charge falls by the ampere-hours over the rated ones, or by Peukert's share of what the battery has at
    its temperature and age, whichever is more: dsoc/dt = I/C5 max(1, kappa/f), kappa no less than at the 10 h rate.
    """
    steps = 300
    width, hours, ah = (soc_from - soc_to) / steps, 0.0, 0.0
    for step in range(steps):
        amps = current_a(soc_to + (step + 0.5) * width, power_w, cell)
        kappa = max((5.0 * amps / cell.capacity_ah) ** (cell.peukert - 1.0), 2.0 ** (1.0 / cell.peukert - 1.0))
        took = width * cell.capacity_ah / (amps * max(1.0, kappa / factor))
        hours, ah = hours + took, ah + amps * took
    return hours, ah


def peukert_hours(amps, capacity_ah, rate_h, peukert):
    """Hours at a constant current by Peukert's law in its rated form: t = R (C/(I R))^n."""
    return rate_h * (capacity_ah / (amps * rate_h)) ** peukert


# --- two wells ---


def wells_at_rest(held_ah, wells):
    """Available and bound ampere-hours of a battery that has rested long."""
    return wells.available_share * held_ah, (1.0 - wells.available_share) * held_ah


def wells_capacity_ah(hours, wells):
    """Ampere-hours of a full battery that a constant current empties in some hours (Manwell and McGowan 1993)."""
    rate_per_h, share, most_ah = wells
    gone = -math.expm1(-rate_per_h * hours)
    return hours * most_ah * rate_per_h * share / (gone + share * (rate_per_h * hours - gone))


# --- warmth and air ---


def temperature_after_degc(start_degc, room_degc, heat_w, loss_w_per_k, tau_h, hours):
    """Temperature after some hours with a constant heat inside: Newton's law of cooling, solved exactly."""
    end_degc = room_degc + heat_w / loss_w_per_k
    return end_degc - (end_degc - start_degc) * math.exp(-hours / tau_h)


def mean_temperature_degc(start_degc, room_degc, heat_w, loss_w_per_k, tau_h, hours):
    """Mean temperature over those hours."""
    end_degc, span = room_degc + heat_w / loss_w_per_k, hours / tau_h
    return end_degc - (end_degc - start_degc) * (-math.expm1(-span) / span if span else 1.0)


def share_after(gas_m3_per_h, flow_m3_per_h, volume_m3, hours, start_share=0.0):
    """Share of hydrogen in a well-mixed room after some hours of constant gas and air."""
    through = flow_m3_per_h + gas_m3_per_h
    end = gas_m3_per_h / through if through else start_share
    return end + (start_share - end) * math.exp(-through * hours / volume_m3)


def steady_hydrogen_share(gas_m3_per_h, flow_m3_per_h):
    """Share of hydrogen that a well-mixed room comes to when gas and air go on for ever: G/(Q + G)."""
    return gas_m3_per_h / (flow_m3_per_h + gas_m3_per_h) if gas_m3_per_h else 0.0
