"""JSON Schema of a scenario, for editors that check and complete YAML while it is written."""

from typing import Any

from batsim import catalogue
from batsim.scenario.reading import catalogue_names
from batsim.scenario.site import Scenario

MIXED = ("Arrangement", "BatteryType", "ChargerType", "Equalising", "Layout", "Shift", "Site", "Watering", "Week")
"""Parts whose keys may be spread over a file and the one that it extends or the entry that it starts from."""


def scenario_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what a scenario file may hold, `extends` and `from` included."""
    schema = Scenario.model_json_schema(by_alias=True)
    parts = schema["$defs"]
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "batsim scenario"
    schema["properties"]["extends"] = {
        "type": "string",
        "description": "Another scenario file to start from; keys here win, lists are replaced whole.",
        "examples": ["kestrel-lane.yaml"],
    }
    # With `extends` or `from`, what is required may come from elsewhere; the program still checks the whole.
    schema["anyOf"] = [{"required": ["extends"]}, {"required": schema.pop("required")}]
    for part in MIXED:
        parts[part].pop("required", None)
    for part, document in (("BatteryType", "battery_types"), ("ChargerType", "charger_types")):
        parts[part]["properties"]["from"] = {
            "enum": catalogue_names(document),
            "description": "Entry of the catalogue to start from; keys here win.",
        }
    parts["TruckGroup"]["properties"]["class"] = {
        "enum": catalogue_names("truck_classes"),
        "description": "Class from the catalogue; it gives a mean power where none is stated.",
    }
    parts["Layout"]["properties"]["handling"] = {
        "anyOf": [{"enum": list(catalogue.handling_names())}, {"type": "string"}],
        "description": "Handling arrangement: one of the catalogue's or one of the scenario's own.",
    }
    _let_text_stand_for_blocks(schema)
    return schema


def _let_text_stand_for_blocks(schema: dict[str, Any]) -> None:
    """Allow a lone duration where a law may stand and `none` where there may be nothing, as the reader does."""
    law = schema["$defs"]["DurationLaw"]
    schema["$defs"]["DurationLaw"] = {
        "anyOf": [{"type": "string", "examples": ["4 min", "8 h"], "pattern": r"^\s*[0-9.]"}, law],
        "description": "A duration: fixed, {low, typical, high}, {low, high}, {mean, cv}, "
        "{mean, law: exponential} or {observed: FILE}.",
    }
    held = schema["$defs"]["Arrangement"]["properties"]["devices"]
    held["additionalProperties"] = {"anyOf": [{"type": "integer", "minimum": 1}, held["additionalProperties"]]}
    for key in ("watering", "equalising"):
        part = schema["$defs"]["BatteryType"]["properties"][key]
        part["anyOf"] = [{"const": "none"}, *(each for each in part["anyOf"] if each.get("type") != "null")]
