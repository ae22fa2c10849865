"""Ventilation and supply of a plan in words that a competent person can check by hand."""

import math
from typing import TYPE_CHECKING

from batsim.catalogue import figure
from batsim.views.text.lines import listed, sentence
from batsim.views.text.tables import number_text

if TYPE_CHECKING:
    from batsim.plan.supply import SupplyPlan
    from batsim.plan.ventilation import Ventilation


CONFIRM = "A competent person confirms edition, coefficient and the local code; openings count only if always free."
"""What stands under every ventilation."""


def ventilation_lines(asked: "Ventilation", width: int) -> list[str]:
    """Ventilation for a terminal."""
    facts = [listed(text, width) for text in ventilation_facts(asked)]
    notes = [sentence(CONFIRM, width)] if asked.flow_m3_per_h else []
    return [sentence(f"Ventilation ({asked.edition})", width), *facts, *notes]


def ventilation_facts(asked: "Ventilation") -> list[str]:
    """Say what the rule asks for, with every number it takes to work it out again."""
    lines: list[str] = []
    if asked.lithium:
        text = (
            "Lithium-ion batteries make no gas in normal charging: no dilution flow is asked for them; agree fire "
            "detection, separation and a quarantine place with the insurer and the fire service."
        )
        lines.append(text)
    if not asked.flow_m3_per_h:
        return [*lines, "No air is asked for against hydrogen."]
    for each in asked.gassing:
        if not each.gas_a:
            continue
        text = (
            f"{each.chargers:g} x {each.charger.replace('_', ' ')} on {each.battery}: gas current {each.gas_a:.4g} A "
            f"({each.basis}); Q = {each.chargers:g} x {asked.coefficient:g} x {each.cells} cells x {each.gas_a:.4g} A "
            f"= {each.flow_m3_per_h:.0f} m3/h"
        )
        lines.append(text)
    per_flow = figure("ventilation.opening").value
    hours = figure("ventilation.free_volume").value
    facts = [
        f"In all Q = {asked.flow_m3_per_h:.0f} m3/h through the {asked.space_name} while all charge at once; natural: "
        f"inlet and outlet of {per_flow:g} x Q = {asked.opening_cm2:,.0f} cm2 each on opposite walls (or "
        f"{figure('ventilation.opening_apart').text} apart on one), with a free volume of {hours:g} x Q = "
        f"{asked.free_volume_m3:,.0f} m3",
        f"Fan: {asked.flow_m3_per_h:.0f} m3/h to the outside, interlocked with the chargers, running on for "
        f"{figure('ventilation.run_on').text}",
        f"Bounds: {asked.one_faulty_m3_per_h:.0f} m3/h with one charger whose whole current makes gas, "
        f"{asked.full_current_m3_per_h:.0f} m3/h if all did",
        f"Simulated: at most {asked.simulated_gas_m3_per_h:.2f} m3/h of hydrogen at once, where the rule's gas "
        f"currents stand for {asked.rule_gas_m3_per_h:.2f} m3/h",
    ]
    if asked.peak_share_at_rule is not None:
        facts.append(f"With the air of the rule the room would reach {100 * asked.peak_share_at_rule:.2f} % hydrogen")
    if asked.peak_share is not None:
        facts.append(f"With its {asked.air_m3_per_h:.0f} m3/h it reaches {100 * asked.peak_share:.2f} %, well mixed")
    if asked.hours_to_limit is not None and asked.hours_to_lower is not None:
        facts.append(
            f"Without any air, at the highest simulated gassing: {_hours(asked.hours_to_limit)} to "
            f"{figure('ventilation.limit').text}, {_hours(asked.hours_to_lower)} to the lower flammable limit of "
            f"{figure('ventilation.lower_flammable').text}"
        )
    compared = f"{asked.one_percent_m3_per_h:.0f} m3/h hold 1 % by the gas alone, no factor of safety"
    if asked.area_flow_m3_per_h is not None:
        compared += f"; {asked.area_flow_m3_per_h:.0f} m3/h by floor area (1 cfm/ft2, written for stationary batteries)"
    facts.append(f"For comparison, US practice: {compared}")
    return [*lines, *(f"{text}." for text in facts)]


def _hours(hours: float) -> str:
    if not math.isfinite(hours):
        return "never"
    return f"{hours:.1f} h" if hours < 100.0 else f"{hours:.0f} h"


def supply_lines(asked: "SupplyPlan", width: int) -> list[str]:
    """Supply for a terminal."""
    return ["SupplyPlan", *(listed(text, width) for text in supply_facts(asked))]


def supply_facts(asked: "SupplyPlan") -> list[str]:
    """Say what the supply has to carry, with every number it takes to work it out again."""
    lines: list[str] = []
    for each in asked.loads:
        current = "" if each.current_a is None else f", {each.current_a:.1f} A in each line"
        lines.append(f"{each.number:g} x {each.charger.replace('_', ' ')}: {each.formula}{current}.")
    facts = [
        f"All at once: {asked.all_at_once_kw:.0f} kW, {asked.all_at_once_kva:.0f} kVA",
        f"Simulated peak, mean of 15 min: {number_text(asked.peak_kw)} kW, {number_text(asked.peak_kva)} kVA"
        + ("" if asked.current_a is None else f", {asked.current_a:.0f} A in each line"),
    ]
    if math.isfinite(asked.coincidence_share):
        facts.append(
            f"Coincidence {asked.coincidence_share:.2f} (simulated peak over all at once), load factor "
            f"{asked.load_factor_share:.2f} (mean {asked.mean_kw:.0f} kW over peak)"
        )
    if asked.continuous_a is not None:
        factor = figure("supply.continuous_factor").value
        facts.append(
            f"US rule for continuous loads (NEC, 3 h and more): {factor:g} x all at once = {asked.continuous_a:.0f} A; "
            "elsewhere the local rule holds"
        )
    for way in asked.held_back:
        facts.append(
            f"{way.what[0].upper()}{way.what[1:]}: peak {way.peak_kw:.0f} kW, {way.saved_kw:.0f} kW less, downtime "
            f"{way.downtime_min_per_truck_shift:.1f} min per truck-shift, {way.lost_min_per_truck_shift:+z.1f}"
        )
    facts += [f"{text[0].upper()}{text[1:]}" for text in asked.not_tried]
    return [*lines, *(f"{text}." for text in facts)]
