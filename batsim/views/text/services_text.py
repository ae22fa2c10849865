"""Ventilation and supply of a plan in words that a competent person can check by hand."""

import math

from batsim.catalogue import Figures
from batsim.display import words
from batsim.plan.gas_release import GasRelease
from batsim.plan.supply import SupplyPlan
from batsim.plan.survey import named
from batsim.plan.ventilation import Ventilation
from batsim.statistics.written import number_text

CONFIRM = "A competent person confirms edition, coefficient and the local code; openings count only if always free."
"""What stands under every ventilation."""
NO_GAS = (
    "Lithium-ion batteries make no gas in normal charging: no dilution flow is asked for them; agree fire detection, "
    "separation and a quarantine place with the insurer and the fire service."
)


def ventilation_facts(ventilation: Ventilation, figures: Figures) -> list[str]:
    """Say what the rule asks for, with every number it takes to work it out again."""
    lines = [NO_GAS] if ventilation.lithium else []
    if not ventilation.flow_m3_per_h:
        return [*lines, "No air is asked for against hydrogen."]
    facts = [
        *_rule(ventilation, figures),
        f"Bounds: {_flow(ventilation.one_faulty_m3_per_h)} with one charger whose whole current makes gas, "
        f"{_flow(ventilation.full_current_m3_per_h)} if all did",
        *_hydrogen(ventilation, figures),
    ]
    compared = f"{_flow(ventilation.one_percent_m3_per_h)} hold 1 % by the gas alone, no factor of safety"
    if ventilation.area_flow_m3_per_h is not None:
        compared += (
            f"; {_flow(ventilation.area_flow_m3_per_h)} by floor area (1 cfm/ft², written for stationary batteries)"
        )
    facts.append(f"For comparison, US practice: {compared}")
    return [*lines, *(f"{text}." for text in facts)]


def _rule(ventilation: Ventilation, figures: Figures) -> list[str]:
    """Flow of each battery on its chargers, and in all; openings and fan that bring it."""
    flow, per_flow = ventilation.flow_m3_per_h, figures["ventilation.opening"].value
    facts = [
        f"{named(gassing.area, _on(gassing))}: gas current "
        f"{gassing.gas_a:.4g} A ({gassing.basis}); Q = {gassing.chargers:g} x {ventilation.coefficient:g} x "
        f"{gassing.cells} cells x {gassing.gas_a:.4g} A = {_flow(gassing.flow_m3_per_h)}"
        for gassing in ventilation.gassing
        if gassing.gas_a
    ]
    return [
        *facts,
        f"In all Q = {_flow(flow)} through the {ventilation.space_name} while all charge at once; natural: inlet and "
        f"outlet of {area_text(ventilation.opening_cm2)} each ({per_flow:g} cm² for each m³/h) on opposite walls (or "
        f"{figures['ventilation.opening_apart'].text} apart on one), with a free volume of "
        f"{ventilation.free_volume_m3:,.0f} m³ ({figures['ventilation.free_volume'].value:g} x Q)",
        f"Fan: {_flow(ventilation.flow_to_order_m3_per_h)} to the outside, interlocked with the chargers, running on "
        f"for {figures['ventilation.run_on'].text}",
    ]


def _on(gassing: GasRelease) -> str:
    """Chargers and their batteries."""
    return f"{gassing.chargers:g} x {words(gassing.charger)} on {gassing.battery}"


def _hydrogen(ventilation: Ventilation, figures: Figures) -> list[str]:
    """What was simulated of hydrogen, with air and without."""
    facts = [
        f"Simulated: at most {ventilation.simulated_gas_m3_per_h:.2f} m³/h of hydrogen at once, where "
        f"{ventilation.rule_gas_m3_per_h:.2f} m³/h are planned for"
    ]
    if ventilation.peak_share_at_rule is not None:
        share = f"{100 * ventilation.peak_share_at_rule:.2f} %"
        facts.append(f"With the air of the rule the {ventilation.space_name} would reach {share} hydrogen")
    if ventilation.peak_share is not None and ventilation.air_m3_per_h is not None:
        share = f"{100 * ventilation.peak_share:.2f} %"
        facts.append(f"With its {_flow(ventilation.air_m3_per_h)} it reaches {share}, well mixed")
    if ventilation.hours_to_limit is not None and ventilation.hours_to_lower is not None:
        facts.append(
            f"Without any air, at the highest simulated gassing: {_hours(ventilation.hours_to_limit)} to "
            f"{figures['ventilation.limit'].text}, {_hours(ventilation.hours_to_lower)} to the lower flammable limit "
            f"of {figures['ventilation.lower_flammable'].text}"
        )
    return facts


def _flow(m3_per_h: float) -> str:
    return f"{m3_per_h:,.0f} m³/h"


def area_text(cm2: float) -> str:
    """Write the area of an opening; a small one in cm²."""
    return f"{cm2 / 1e4:,.1f} m²" if cm2 >= 1000.0 else f"{cm2:.0f} cm²"


def _hours(hours: float) -> str:
    if not math.isfinite(hours):
        return "never"
    return f"{hours:.1f} h" if hours < 100.0 else f"{hours:.0f} h"


def supply_facts(supply: SupplyPlan, figures: Figures) -> list[str]:
    """Say what the supply has to carry, with every number it takes to work it out again."""
    facts = []
    for load in supply.loads:
        current = "" if load.current_a is None else f", {load.current_a:.1f} A per phase"
        chargers = named(load.area, f"{load.number:g} x {words(load.charger)}")
        facts.append(f"{chargers}: {load.formula}{current}")
    current = "" if supply.current_a is None else f", {supply.current_a:,.0f} A per phase"
    peak = f"{number_text(supply.peak_kw)} kW, {number_text(supply.peak_kva)} kVA{current}"
    facts += [
        f"All at once: {supply.all_at_once_kw:,.0f} kW, {supply.all_at_once_kva:,.0f} kVA",
        f"Simulated peak of a week, mean of 15 min: {peak}",
        f"Of all weeks: {number_text(supply.greatest_kw)} kW, {number_text(supply.greatest_kva)} kVA",
    ]
    if math.isfinite(supply.coincidence_share):
        facts.append(
            f"Coincidence {supply.coincidence_share:.2f} (simulated peak over all at once), load factor "
            f"{supply.load_factor_share:.2f} (mean {supply.mean_kw:,.0f} kW over peak)"
        )
    if supply.continuous_a is not None:
        factor = figures["supply.continuous_factor"].value
        facts.append(
            f"US rule for continuous loads (NEC, 3 h and more): {factor:g} x all at once = {supply.continuous_a:,.0f} "
            "A; elsewhere the local rule holds"
        )
    facts += [
        f"{way.what[0].upper()}{way.what[1:]}: peak {way.peak_kw:,.0f} kW, {way.saved_kw:z.0f} kW less, downtime "
        f"{way.downtime_min_per_truck_shift:.1f} min per truck-shift, {way.lost_min_per_truck_shift:+z.1f}"
        for way in supply.held_back
    ]
    facts += [f"{text[0].upper()}{text[1:]}" for text in supply.not_tried]
    return [f"{text}." for text in facts]
