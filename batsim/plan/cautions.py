"""Cautions that are part of every plan: what can hurt people, and who decides."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.catalogue import Figures
    from batsim.scenario.site import Scenario

DECIDES = (
    "This plan is a calculation. Local codes, the makers' instructions and licensed, competent people decide; have "
    "ventilation, supply, floor and lifting gear confirmed before anything is ordered or used."
)


def cautions(scenario: "Scenario", layout: str) -> tuple[str, ...]:
    """List the cautions of a layout, those of its arrangement first."""
    arrangement, figures = scenario.arrangement(layout), scenario.figures
    chemistries = {scenario.batteries[name].chemistry for name in scenario.batteries_of(layout)}
    lead = bool(chemistries & {"vented_lead_acid", "valve_regulated"})
    texts = [text for text in arrangement.cautions if "Local codes" not in text]
    if lead:
        texts += _gas(figures)
    if "vented_lead_acid" in chemistries:
        texts += _acid(figures)
    if "lithium_ion" in chemistries:
        texts += _lithium(mixed=lead)
    if arrangement.in_truck:
        texts.append(
            "Gas spreads over the building: covers open on charge, and count the building's air, not the room's."
        )
    texts += _everywhere(figures)
    return (*dict.fromkeys(texts), DECIDES)


def _gas(figures: "Figures") -> list[str]:
    spark, run_on, long = (figures[f"ventilation.{name}"].text for name in ("spark_distance", "run_on", "run_on_long"))
    after = figures["room.gas_hours_after_charge"].text
    return [
        f"Hydrogen: no flame, spark, arc or hot surface within {spark} of cells on charge; the mean of the room says "
        "nothing of the air near them.",
        f"Batteries give off gas for about {after} after a charge and shed trapped gas when they are moved: let them "
        "rest before they are lifted or rolled.",
        f"Fans: interlocked with the chargers, exhaust to the outside and not over them, running on for {run_on} "
        f"({long} by French advice). Openings count with doors shut, all year.",
        "A wrong or faulty charger can drive its whole current into gas: see the bound beside the ventilation.",
        "Arcs: never unplug under load; switch the charger off first. Cover poles; no metal tools or jewellery.",
    ]


def _acid(figures: "Figures") -> list[str]:
    reach, minutes, us = (
        figures["wash.reach"].text,
        figures["wash.minutes"].text,
        figures["wash.reach_distance_us"].value,
    )
    low, high = figures["wash.ph_low"].value, figures["wash.ph_high"].value
    return [
        f"Acid: eyewash and shower within {reach} on foot ({us:.1f} m by the US construction rule), {minutes} of flow; "
        "next to the work for watering and readings. Watering counts, unless single-point filling takes it away.",
        "Protective equipment for watering, readings and washing: goggles and face shield, apron, gloves, boots.",
        f"Spill kit in reach: hold back, neutralise to pH {low:g} to {high:g}, dispose of by local rules; wash water "
        "too.",
        "Water only after a full charge, and never a hot battery.",
    ]


def _lithium(*, mixed: bool) -> list[str]:
    texts = [
        "Lithium-ion makes no hydrogen in normal charging, so no dilution flow is asked for; it can gas and burn when "
        "it fails: agree fire detection, separation and a quarantine place with the insurer and the fire service.",
        "Charge lithium-ion only within its maker's temperatures, on its own chargers.",
    ]
    if mixed:
        texts.append(
            "Never put a lithium-ion battery on a lead-acid charger or the other way round: mark and key both."
        )
    return texts


def _everywhere(figures: "Figures") -> list[str]:
    warm, hot = (figures[f"battery.vented_lead_acid.{name}"].text for name in ("charge_below", "charge_end_below"))
    return [
        "Keep clear: nobody between truck, device and bay while a battery moves; mark the zone over the whole way.",
        "Battery mass within the limits on the truck's plate, battery locked after each exchange.",
        "Voltages and connectors marked and never mixed; reversed polarity destroys trucks and can burn.",
        f"No charge above {warm} of electrolyte; above {hot} out of use.",
        "Guard chargers and leads against trucks; an extinguisher in reach that suits electrical fires.",
    ]
