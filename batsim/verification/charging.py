"""Charging: hours, gas and energy of each characteristic, and the limits of its voltage."""

from collections.abc import Sequence

from batsim.formulas.charging import charge_phases, voltage_limit_v
from batsim.formulas.gassing import water_deficit_g
from batsim.formulas.phases import Phase, Profile, phases_hours, phases_totals, wall_kwh

CAPACITY_AH = 100.0
"""Of most cases, so that currents read as ampere per 100 Ah. [Ah]"""
FALLING = Profile("W", 0.0, 4.0, 0.0, 1.2, 0.99, 2.0, 2.4, 2.65, 14.0, 0.2, 8.0, 0.8)
GEL = Profile("IUI", 18.0, 0.5, 1.0, 1.025, 0.995, 2.05, 2.37, 2.5)
DOUBLED = 2.0
"""First current of WoWa over that of W."""

Numbers = dict[str, float]


def _gas_ah(phases: Sequence[Phase], capacity_ah: float) -> float:
    """Ampere-hours that make gas: those given less those stored."""
    return phases_totals(phases, 0)[1] - (phases[-1].soc_to - phases[0].soc_from) * capacity_ah


def _stages(phases: Sequence[Phase], names: Sequence[str]) -> Numbers:
    """Hours of each stage, by name."""
    return dict(zip(names, (phase.hours for phase in phases), strict=False))


def charge(kind: str, main_a: float, missing_ah: float, factor: float = 1.0, to_soc: float = 1.0) -> Numbers:
    """Charge 100 Ah with an end current of 5 A."""
    profile = Profile(kind, main_a, 5.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6)
    phases = charge_phases(profile, CAPACITY_AH, missing_ah, factor * missing_ah, to_soc)
    return {
        **_stages(phases, ("to the limit, h", "at the limit, h", "end stage, h")),
        "charged at the limit": phases[0].soc_to,
        "hours, h": phases_hours(phases),
        "gas, Ah": _gas_ah(phases, CAPACITY_AH),
    }


def truck_battery() -> Numbers:
    """Charge 500 Ah of 24 cells on IUIa with 100 and 25 A from 20 %."""
    profile = Profile("IUIa", 100.0, 25.0, 1.0, 1.15, 0.99, 2.0, 2.4, 2.6)
    phases = charge_phases(profile, 500.0, 400.0, 460.0)
    hours, given_ah, dc_kwh = phases_totals(phases, 24)
    gas_ah = _gas_ah(phases, 500.0)
    return {
        "hours, h": hours,
        "charge, Ah": given_ah,
        "into the battery, kWh": dc_kwh,
        "from the wall, kWh": wall_kwh(dc_kwh, 0.92),
        "gas, Ah": gas_ah,
        "still missing, Ah": 500.0 * (1.0 - phases[-1].soc_to),
        "water, g": water_deficit_g(gas_ah, 24),
    }


def falling(kind: str, gassing_soc: float, factor: float) -> Numbers:
    """Charge 80 of 100 Ah with falling currents."""
    profile = FALLING._replace(gassing_soc=gassing_soc)
    if kind != FALLING.kind:
        profile = profile._replace(kind=kind, w_first_factor=DOUBLED)
    phases = charge_phases(profile, CAPACITY_AH, 80.0, factor * 80.0)
    return {
        **_stages(phases, ("below gassing, h", "above it, h")),
        "hours, h": phases_hours(phases),
        "gas, Ah": _gas_ah(phases, CAPACITY_AH),
    }


def gel(drawn_ah: float) -> Numbers:
    """Charge 100 Ah of gel."""
    phases = charge_phases(GEL, CAPACITY_AH, drawn_ah, GEL.factor * drawn_ah)
    return {"hours, h": phases_hours(phases), "end stage, h": phases[-1].hours}


def gel_limit(degc: float) -> Numbers:
    """Voltage limit of gel; the correction is measured from the nearer end of the band, so that it has no step."""
    return {"limit, V": voltage_limit_v(2.37, degc, rated_degc=30.0, per_k=-0.005, from_degc=15.0, to_degc=40.0)}


def limit_at_every_temperature(degc: float) -> Numbers:
    """Voltage limit with a band of no width."""
    return {"limit, V": voltage_limit_v(2.4, degc, rated_degc=25.0, per_k=-0.0048, from_degc=25.0, to_degc=25.0)}


def lithium(rate: float, nominal_ah: float, capacity_ah: float, tau_h: float, full: float) -> Numbers:
    """Charge a lithium-ion cell from empty at a constant current, then a constant voltage to C/20."""
    profile = Profile("CC-CV", rate * nominal_ah, nominal_ah / 20.0, tau_h, 1.0, full, 3.5, 3.6, 3.6)
    whole = charge_phases(profile, capacity_ah, capacity_ah, 0.0)
    parts = {
        f"to {percent} %, h": phases_hours(charge_phases(profile, capacity_ah, capacity_ah, 0.0, percent / 100.0))
        for percent in (50, 80, 90, 95)
    }
    return {**parts, "charged at the limit": whole[0].soc_to, "hours, h": phases_hours(whole)}


def lithium_pack(main_a: float) -> Numbers:
    """Charge a pack of 100 Ah from 20 %."""
    profile = Profile("CC-CV", main_a, 5.0, 0.04, 1.0, 1.0, 3.35, 3.6, 3.6)
    return {"hours, h": phases_hours(charge_phases(profile, CAPACITY_AH, 80.0, 80.0))}


FUNCTIONS = {
    function.__name__: function
    for function in (
        charge, truck_battery, falling, gel, gel_limit, limit_at_every_temperature, lithium, lithium_pack,
    )
}  # fmt: skip
"""What the table names."""
