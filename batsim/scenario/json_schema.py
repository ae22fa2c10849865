"""JSON Schemas of scenarios and studies, for editors that check and complete YAML while it is written."""

from collections.abc import Iterator, Sequence
from copy import deepcopy
from typing import Any

from batsim import catalogue, units
from batsim.scenario.factors import AMOUNT, BETWEEN, TYPICAL
from batsim.scenario.parts.schemas import block_schema
from batsim.scenario.reading import catalogue_names
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import FORM_SCHEMAS, StudyFile

DRAFT = "https://json-schema.org/draft/2020-12/schema"
NOT_KNOWN = {"$ref": "#/$defs/NotKnown"}
KEPT_OUTSIDE = ("default", "description", "examples", "title")
"""Keys of a property that say what it is, whatever may stand there."""

MIXED = (
    "Area",
    "Arrangement",
    "BatteryType",
    "ChargerType",
    "Equalising",
    "Layout",
    "Shift",
    "Site",
    "Watering",
    "Week",
)
"""Parts whose keys may be spread over a file and the one that it extends or the entry that it starts from."""


STARTED_FROM = {"BatteryType": "battery_types", "ChargerType": "charger_types"}
"""Document of the catalogue from whose entries parts may start."""


def scenario_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what a scenario file may hold, `extends` and `from` included."""
    schema = deepcopy(Scenario.model_json_schema(by_alias=True))
    parts = schema["$defs"]
    schema["$schema"] = DRAFT
    schema["title"] = "batsim scenario"
    schema["properties"]["extends"] = {
        "type": "string",
        "description": "Another scenario file to start from; keys here win, lists are replaced whole.",
        "examples": ["kestrel-lane.yaml"],
    }
    schema["properties"]["drop"] = {
        "type": "array",
        "items": {"type": "string"},
        "description": "Entries of the file that is extended which are not taken over, by their paths.",
        "examples": [["layouts.hoist", "layouts.rollers.attendants"]],
    }
    # With `extends` or `from`, what is required may come from elsewhere; the program still checks the whole.
    schema["anyOf"] = [{"required": ["extends"]}, {"required": schema.pop("required")}]
    for part in MIXED:
        parts[part].pop("required", None)
    names = {part: catalogue_names(types) for part, types in STARTED_FROM.items()}
    for part, known in {**names, "Arrangement": list(catalogue.handling_names())}.items():
        parts[part]["properties"]["from"] = {
            "enum": known,
            "description": "Entry of the catalogue to start from; keys here win.",
        }
    parts["TruckGroup"]["properties"]["class"] = {
        "enum": catalogue_names("truck_classes"),
        "description": "Class from the catalogue; it gives a mean power where none is stated.",
    }
    for part in ("Area", "Layout"):
        parts[part]["properties"]["handling"] = {
            "anyOf": [{"enum": list(catalogue.handling_names())}, {"type": "string"}],
            "description": "Handling arrangement: one of the catalogue's or one of the scenario's own.",
        }
    _let_text_stand_for_blocks(schema)
    _let_values_be_unknown(schema)
    parts["NotKnown"] = _not_known()
    return schema


def study_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what a study file may hold."""
    return StudyFile.model_json_schema(by_alias=True) | {"$schema": DRAFT, "title": "batsim study"}


def _not_known() -> dict[str, Any]:
    """Schema of a value that is not known."""
    ends = FORM_SCHEMAS[BETWEEN] | {"description": "Ends between which the value lies, in the same unit."}
    typical = FORM_SCHEMAS[TYPICAL] | {"description": "Most likely value, where there is one."}
    return block_schema({BETWEEN: ends, TYPICAL: typical}, [BETWEEN]) | {
        "description": "A value that is not known; its typical value, else the middle, stands in for it.",
        "examples": [{BETWEEN: ["3 kW", "4 kW"], TYPICAL: "3.4 kW"}],
    }


def _let_values_be_unknown(node: Any, examples: Sequence[Any] = ()) -> None:  # noqa: ANN401 - any part of a schema
    """Let `{between: [LOW, HIGH]}` stand wherever a number, alone or with a unit, may stand."""
    if not isinstance(node, dict):
        return
    examples = [*node.get("examples", ()), *examples]
    if "anyOf" in node:
        choices = node["anyOf"]
        numbers = [choice for choice in choices if _holds_number(choice, examples)]
        for choice in choices:
            if choice not in numbers:
                _let_values_be_unknown(choice, examples)
        node["anyOf"] = [*choices, NOT_KNOWN] if numbers else choices
    elif _holds_number(node, examples):
        alone = {key: node.pop(key) for key in list(node) if key not in KEPT_OUTSIDE}
        node["anyOf"] = [alone, NOT_KNOWN]
    for inner, its_examples in _inner_parts(node, examples):
        _let_values_be_unknown(inner, its_examples)


def _inner_parts(node: dict[str, Any], examples: Sequence[Any]) -> Iterator[tuple[Any, list[Any]]]:
    """Parts inside a part of a schema, each with the examples of it."""
    blocks = [example for example in examples if isinstance(example, dict)]
    for name, part in node.get("properties", {}).items():
        yield part, [block[name] for block in blocks if name in block]
    for part in (node.get("additionalProperties"), *node.get("patternProperties", {}).values()):
        yield part, [value for block in blocks for value in block.values()]
    yield node.get("items"), [value for example in examples if isinstance(example, list) for value in example]
    for part in node.get("$defs", {}).values():
        yield part, []


def _holds_number(node: dict[str, Any], examples: Sequence[Any]) -> bool:
    """Whether a part of a schema is for a number, alone or as text that begins with one."""
    if node.get("type") in ("integer", "number"):
        return True
    texts = [AMOUNT.fullmatch(each) for each in (*node.get("examples", ()), *examples) if isinstance(each, str)]
    return node.get("type") == "string" and any(each and not units.TWO_PARTS.match(each[2]) for each in texts)


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
    prices = schema["$defs"]["Prices"]["properties"]
    prices["energy"]["anyOf"].insert(0, {"type": "string", "examples": ["0.14 EUR/kWh"]})
    prices["interest"]["anyOf"] = [{"type": "string", "examples": ["6 %"]}, {"$ref": prices["interest"].pop("$ref")}]
    for key in ("watering", "equalising"):
        part = schema["$defs"]["BatteryType"]["properties"][key]
        part["anyOf"] = [{"const": "none"}, *(each for each in part["anyOf"] if each.get("type") != "null")]
