"""Cautions that are part of every plan: what can hurt people, and who decides."""

import csv
from pathlib import Path

from batsim.plan.temperatures import freezing
from batsim.scenario.site import Scenario

DECIDES = (
    "This plan is a calculation. Local codes, the makers' instructions and licensed, competent people decide; have "
    "ventilation, supply, floor and lifting gear confirmed before anything is ordered or used."
)


def cautions(scenario: Scenario, layout: str) -> tuple[str, ...]:
    """List the cautions of a layout, those of its arrangement first, then those of `cautions.csv` that hold there."""
    arrangement = scenario.arrangement(layout)
    chemistries = {scenario.batteries[name].chemistry for name in scenario.batteries_of(layout)}
    frozen = [cold.freezes_degc(0.0) for name in scenario.batteries_of(layout) if (cold := freezing(scenario, name))]
    lead, lithium = bool(chemistries & {"vented_lead_acid", "valve_regulated"}), "lithium_ion" in chemistries
    holds = {
        "lead acid": lead,
        "vented": "vented_lead_acid" in chemistries,
        "in the cold": bool(frozen),
        "lithium": lithium,
        "mixed": lead and lithium,
        "in the truck": arrangement.in_truck,
        "always": True,
    }
    texts = [text for text in arrangement.cautions if "Local codes" not in text]
    with Path(__file__).with_name("cautions.csv").open(newline="", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if holds[row["where"]]]
    texts += [row["text"].format(figures=scenario.figures, empty=max(frozen, default=0.0)) for row in rows]
    return (*dict.fromkeys(texts), DECIDES)
