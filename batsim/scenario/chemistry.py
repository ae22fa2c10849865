"""From battery and charger types to what the formulas take, with the figures of each chemistry."""

from batsim.catalogue import figure
from batsim.formulas.charging import Profile
from batsim.formulas.discharge import Cell, capacity_factor
from batsim.formulas.peukert import five_hour_capacity_ah
from batsim.scenario.batteries import BatteryType, ChargerType


def value(name: str) -> float:
    """Return a plain figure of the catalogue; shares are given in percent there."""
    found = figure(name)
    return found.value / 100.0 if found.unit == "%" else found.value


def capacity_ah(battery: BatteryType) -> float:
    """Capacity at the 5 h rate. [Ah]"""
    return five_hour_capacity_ah(battery.capacity.ah, battery.capacity.rate_h, _peukert(battery))


def _peukert(battery: BatteryType) -> float:
    return value(f"battery.{battery.chemistry}.peukert") if battery.peukert is None else battery.peukert


def cell_of(battery: BatteryType, temperature_degc: float) -> Cell:
    """Put together what a discharge needs to know about a battery type at one temperature."""
    name = f"battery.{battery.chemistry}"
    exponent = _peukert(battery)
    cold = "battery.cold_table" if battery.chemistry != "lithium_ion" else "battery.lithium_ion.cold_table"
    knee, slope = value(f"{name}.knee_temperature"), value(f"{name}.cold_per_k")
    at_knee = 1.0 + value(f"{name}.warm_per_k") * (knee - value(f"{name}.rated_temperature"))
    factor = capacity_factor(
        temperature_degc,
        rated_degc=value(f"{name}.rated_temperature"),
        warm_per_k=value(f"{name}.warm_per_k"),
        knee_degc=knee,
        cold_per_k=slope,
        cold_table=(
            (-18.0, value(f"{cold}.minus_18")),
            (-10.0, value(f"{cold}.minus_10")),
            (0.0, at_knee - slope * knee),
        ),
    )
    return Cell(
        capacity_ah=capacity_ah(battery),
        cells=battery.cells,
        empty_v=value(f"{name}.empty_v"),
        slope_v=value(f"{name}.slope_v"),
        resistance_ohm_ah=value(f"{name}.resistance"),
        peukert=exponent,
        # The floor is the kappa of the 10 h rate, half the 5 h current: it follows from the exponent.
        kappa_floor=0.5 ** (exponent - 1.0) if battery.peukert else value(f"{name}.kappa_floor"),
        capacity_factor=factor,
    )


def profile_of(charger: ChargerType, battery: BatteryType) -> Profile:
    """Put together what a charge needs to know about a charger type on a battery type."""
    name = f"battery.{battery.chemistry}"
    ah = capacity_ah(battery)
    main_a = charger.main_current.of(ah)
    end_a = charger.end_current.of(ah) if charger.end_current is not None else 0.0
    lithium = battery.chemistry == "lithium_ion"
    tau_h = value(f"{name}.tau_cv") if lithium else value(f"{name}.tau")
    # IU counts as full when its current has fallen to the end current: missing = end current x tau.
    full = value(f"{name}.full_soc") if charger.profile == "CC-CV" else 1.0 - end_a * tau_h / ah
    falling = charger.profile == "W"
    return Profile(
        kind=charger.profile,
        main_a=main_a,
        end_a=end_a,
        tau_h=tau_h,
        factor=charger.charge_factor,
        full_soc=full,
        bulk_v=value(f"{name}.bulk_v"),
        absorption_v=value(f"{name}.absorption_v"),
        finish_v=value(f"{name}.finish_v"),
        w_start_a=main_a * value("charging.w_line.start_share") if falling else 0.0,
        w_start_soc=value("charging.w_line.start_soc") if falling else 0.0,
        w_gassing_a=main_a * value("charging.w_line.gassing_share") if falling else 0.0,
        gassing_soc=value("charging.w_line.gassing_soc") if falling else 0.0,
    )
