"""Battery formulas: discharge, cold, two wells, warmth and wear."""

import math

from batsim.formulas.charging import charge_phases
from batsim.formulas.discharge import Cell, capacity_factor, discharge_at_power, five_hour_capacity_ah
from batsim.formulas.gassing import GasLaw, gas_current_a
from batsim.formulas.heat import charge_end_degc, charge_heat_kwh, cool_down_h
from batsim.formulas.kibam import Wells, fit_wells, hours_to_empty
from batsim.formulas.phases import Profile, phases_hours, phases_totals
from batsim.formulas.wear import Life, discharge_damage, throughput_ah

CELLS = 24
"""Cells in series of the worked cases."""
WARMEST_ROW_DEGC = 25.0
"""Temperature that a table of capacities in the cold begins with. [degC]"""

Numbers = dict[str, float]


def peukert(amps: float) -> Numbers:
    """Discharge from full to empty at a constant current, 500 Ah at 5 h, exponent 1.2."""
    hours, ah = discharge_at_power(1.0, 0.0, amps * CELLS * 2.0, Cell(500.0, CELLS, 2.0, 0.0, 0.0, 1.2, 0.0, 1.0))
    return {"hours, h": hours, "charge, Ah": ah}


def six_hours(exponent: float) -> Numbers:
    """Capacity at 6 h over that at 5 h."""
    return {"ratio": 1.0 / five_hour_capacity_ah(1.0, 6.0, exponent)}


def one_slope(degc: float, per_k: float) -> Numbers:
    """Capacity over that at 30 degC, of 480 Ah measured too, with one slope all the way down."""
    factor = capacity_factor(degc, rated_degc=30.0, warm_per_k=per_k, knee_degc=-20.0, cold_per_k=per_k, cold_table=())
    return {"factor": factor, "480 Ah corrected, Ah": 480.0 / factor}


def two_slopes() -> Numbers:
    """Capacity at 0 degC over that at 25 degC: 0.6 % per K down to 20 degC, 1 % below."""
    cold, warm = (
        capacity_factor(degc, rated_degc=30.0, warm_per_k=0.006, knee_degc=20.0, cold_per_k=0.01, cold_table=())
        for degc in (0.0, WARMEST_ROW_DEGC)
    )
    return {"ratio": cold / warm}


def mean_power(power_w: float, exponent: float, degc: float, floor: float, resistance: float) -> Numbers:
    """Hours from full to 20 % at a mean power: 500 Ah, 24 cells, E = 1.97 + 0.16 soc, 0.6 % per K."""
    slopes = {"rated_degc": 30.0, "warm_per_k": 0.006, "knee_degc": 0.0, "cold_per_k": 0.006}
    factor = capacity_factor(degc, **slopes, cold_table=())
    cell = Cell(500.0, CELLS, 1.97, 0.16, resistance, exponent, floor ** ((exponent - 1.0) / exponent), factor)
    return {"hours, h": discharge_at_power(1.0, 0.2, power_w, cell)[0]}


def six_hundred_ah() -> Numbers:
    """600 Ah at 48 V and 100 A."""
    hours, ah = discharge_at_power(1.0, 0.0, 4800.0, Cell(600.0, CELLS, 2.0, 0.0, 0.0, 1.0, 0.0, 1.0))
    return {"hours, h": hours, "energy, kWh": 48.0 * ah / 1000.0}


def three_capacities() -> Wells:
    """Two wells from 62 Ah in 1 h, 93 Ah in 10 h, 100 Ah in 20 h."""
    return fit_wells(((1.0, 62.0), (10.0, 93.0), (20.0, 100.0)))


def two_wells() -> Numbers:
    """Constants of the two wells."""
    rate_per_h, share, most_ah = three_capacities()
    return {"rate, 1/h": rate_per_h, "available": share, "most, Ah": most_ah}


def wells_emptied(amps: float) -> Numbers:
    """A full battery of two wells at a constant current."""
    wells = three_capacities()
    full_ah, share = wells.most_ah, wells.available_share
    hours = hours_to_empty(share * full_ah, (1.0 - share) * full_ah, amps, wells)
    return {"hours, h": hours, "charge, Ah": amps * hours}


def gas_current(volts: float, degc: float, reference_a: float) -> Numbers:
    """Gas current of 100 Ah."""
    law = GasLaw(reference_a=reference_a, reference_v=2.23, reference_degc=25.0, per_v=11.0, per_k=0.06)
    return {"gas current, A": gas_current_a(volts, degc, law)}


def cool_down(tau_h: float, start_degc: float, room_degc: float, use_degc: float) -> Numbers:
    """Time until a battery may be used."""
    return {"hours, h": cool_down_h(start_degc, room_degc, use_degc, tau_h)}


def charge_heat(drawn_ah: float, factor: float, loss_w_per_k: float) -> Numbers:
    """Heat of a charge of 500 Ah, and how warm 750 kg become, begun at the temperature of the room."""
    profile = Profile("IUIa", 100.0, 25.0, 1.0, factor, 0.99, 2.0, 2.4, 2.6)
    charge = charge_phases(profile, 500.0, drawn_ah, factor * drawn_ah)
    hours, given_ah, dc_kwh = phases_totals(charge, CELLS)
    gas_ah = given_ah - 500.0 * (charge[-1].soc_to - charge[0].soc_from)
    heat_kwh = charge_heat_kwh(dc_kwh, drawn_ah, gas_ah, CELLS, storing_v=2.04, splitting_v=1.48)
    tau_h = 750.0 * 900.0 / loss_w_per_k / 3600.0
    assert math.isclose(hours, phases_hours(charge))
    return {
        "heat, kWh": heat_kwh,
        "rise, K": charge_end_degc(20.0, 20.0, heat_kwh, loss_w_per_k, tau_h, hours) - 20.0,
    }


def cycles(depth: float, degc: float, halving_k: float) -> Numbers:
    """Cycles of a battery with 1,500 of 80 % at 30 degC, exponent 1.2."""
    return {"cycles": 1.0 / discharge_damage(depth, degc, Life(1500.0, 0.8, 1.2, 1.2, 30.0, halving_k))}


def life_by_temperature(degc: float, halving_k: float) -> Numbers:
    """Life over that at 25 degC."""
    life = Life(1500.0, 0.8, 1.2, 1.2, 25.0, halving_k)
    return {"part of life": discharge_damage(0.8, 25.0, life) / discharge_damage(0.8, degc, life)}


def throughput() -> Numbers:
    """Ampere-hours of a life: 600 Ah, 1,500 cycles of 80 %."""
    return {"throughput, Ah": throughput_ah(600.0, Life(1500.0, 0.8, 1.2, 2.0, 30.0, 10.0))}


FUNCTIONS = {
    function.__name__: function
    for function in (
        peukert, six_hours, one_slope, two_slopes, mean_power, six_hundred_ah, two_wells, wells_emptied, gas_current,
        cool_down, charge_heat, cycles, life_by_temperature, throughput,
    )
}  # fmt: skip
"""What the table names."""
