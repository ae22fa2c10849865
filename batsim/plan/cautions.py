"""Cautions that are part of every plan: what can hurt people, and who decides."""

import csv
from pathlib import Path

from batsim.plan.handling_force import for_two
from batsim.plan.survey import each_once, listed, sentence_of
from batsim.plan.temperatures import freezing
from batsim.scenario.site import Scenario

DECIDES = (
    "This plan is a calculation. Local codes, the makers' instructions and licensed, competent people decide; have "
    "ventilation, supply, floor and lifting gear confirmed before anything is ordered or used."
)


def cautions(scenario: Scenario, layout: str) -> tuple[str, ...]:
    """List the cautions of a layout, those of its arrangements first, then those of `cautions.csv` that hold there."""
    heavy = tuple(dict.fromkeys(text for site in scenario.areas_of(layout).values() for text in for_two(site, layout)))
    colds = [cold for name in scenario.batteries_of(layout) if (cold := freezing(scenario, name)) is not None]
    empty_degc = max((cold.freezes_degc(0.0) for cold in colds), default=0.0)
    holds = _holds(scenario, layout) | {"in the cold": bool(colds), "done by one": bool(heavy)}
    texts = _of_arrangements(scenario, layout)
    with Path(__file__).with_name("cautions.csv").open(newline="", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if holds[row["where"]]]
    facts = {"figures": scenario.figures, "empty_degc": empty_degc, "for_two": listed(heavy)}
    texts += [row["text"].format(**facts) for row in rows]
    return (*dict.fromkeys(map(sentence_of, texts)), DECIDES)


def _of_arrangements(scenario: Scenario, layout: str) -> list[str]:
    """Cautions of the arrangements of all areas."""
    areas = scenario.areas_of(layout)
    found = [(area, text) for area, site in areas.items() for text in site.arrangement(layout).cautions]
    return each_once([(area, text) for area, text in found if "Local codes" not in text], areas)


def _holds(scenario: Scenario, layout: str) -> dict[str, bool]:
    """What the chemistries of a layout and where its areas charge say of cautions."""
    chemistries = {scenario.batteries[name].chemistry for name in scenario.batteries_of(layout)}
    lead, lithium = bool(chemistries & {"vented_lead_acid", "valve_regulated"}), "lithium_ion" in chemistries
    return {
        "lead acid": lead,
        "vented": "vented_lead_acid" in chemistries,
        "lithium": lithium,
        "mixed": lead and lithium,
        "in the truck": any(site.arrangement(layout).in_truck for site in scenario.areas_of(layout).values()),
        "always": True,
    }
