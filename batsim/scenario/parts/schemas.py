"""JSON Schemas of the kinds of value that a part of a scenario may hold."""

from collections.abc import Iterable, Mapping
from typing import Any

TEXT = {"type": "string"}
TEXTS = {"type": "array", "items": TEXT}
"""JSON Schemas of a text and of a list of texts."""


def text_schema(*examples: str, pattern: str | None = None) -> dict[str, Any]:
    """JSON Schema of a text."""
    return {**TEXT, "examples": list(examples), **({} if pattern is None else {"pattern": pattern})}


def block_schema(keys: Mapping[str, dict[str, Any]], required: Iterable[str] = ()) -> dict[str, Any]:
    """JSON Schema of a block of keys, by the schemas of their values."""
    needed = {"required": list(required)} if required else {}
    return {"type": "object", "properties": dict(keys), **needed, "additionalProperties": False}


def with_help(value: dict[str, Any], keys: Mapping[str, str]) -> dict[str, dict[str, Any]]:
    """JSON Schemas of the values of keys, of one kind, each with its help."""
    return {key: value | {"description": text} for key, text in keys.items()}


def schema_of_any(*choices: dict[str, Any], examples: Iterable[object]) -> dict[str, Any]:
    """JSON Schema of what may be written in more than one way."""
    return {"anyOf": list(choices), "examples": list(examples)}
