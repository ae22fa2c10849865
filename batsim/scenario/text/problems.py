"""What pydantic finds wrong, said in the user's words at the user's line."""

import difflib
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from batsim.errors import Problem
from batsim.scenario.parts.faults import NEAR, Faults, did_you_mean, shown
from batsim.scenario.parts.renamed import renamed
from batsim.scenario.text.located_data import LocatedData, Path

RULES = {
    "model_type": "needs a block of keys",
    "model_attributes_type": "needs a block of keys",
    "dict_type": "needs a block of keys",
    "tuple_type": "needs a list, in square brackets or with a '-' before each entry",
    "string_type": "needs text; put it in quotes",
    "bool_type": "needs true or false",
    "bool_parsing": "needs true or false",
    "too_short": "needs at least one entry",
    "string_pattern_mismatch": "needs the three capital letters of a currency, such as EUR",
}

READ_BEFORE = {"extends": ("Scenario",), "drop": ("Scenario",), "from": ("Arrangement", "BatteryType", "ChargerType")}
"""Keys that the reader has used up before a part is checked, and the parts that may have them."""


def problems_of(error: ValidationError, source: LocatedData, model: type[BaseModel]) -> list[Problem]:
    """Turn every finding into one problem with its location, path, rule and the value found."""
    findings = error.errors(include_url=False)
    meant = {
        (*finding["loc"][:-1], _nearest_key(finding["loc"], model))
        for finding in findings
        if finding["type"] == "extra_forbidden"
    }
    problems = []
    for finding in findings:
        path: Path = tuple(part for part in finding["loc"] if part != "[key]")
        match finding["type"]:
            case "too_short" if source.at(path):
                pass  # the entries are there, but wrong, and have their own problems
            case "missing" if {path, (*path[:-1], "from")} & meant:
                pass  # it is there, but misspelt
            case "extra_forbidden":
                problems.append(source.problem(path, _unknown_key(path, model), of_key=True))
            case "missing":
                problems.append(source.problem(path, _missing(path, model)))
            case _:
                problems += _broken_rules(finding, source, _existing(source, path))
    return problems


def _broken_rules(finding: ErrorDetails, source: LocatedData, path: Path) -> list[Problem]:
    """Problems of a value that breaks a rule, or some rules inside of it."""
    error = finding.get("ctx", {}).get("error")
    if isinstance(error, Faults):
        return source.problems_in(error, path)
    rule = str(error or RULES.get(finding["type"]) or finding["msg"][:1].lower() + finding["msg"][1:])
    return [source.problem(path, rule, got=shown(source.at(path)))]


def _existing(source: LocatedData, path: Path) -> Path:
    """Shorten a path to the part that the user wrote."""
    while path and not source.holds(path):
        path = path[:-1]
    return path


def _unknown_key(path: Path, model: type[BaseModel]) -> str:
    """Answer an unknown key with the nearest known one."""
    if str(path[-1])[:1].isdigit():
        return "unknown key; inside { } a comma starts the next key, so decimals take a point"
    return f"unknown key{did_you_mean(str(path[-1]), [key for key in _keys_at(path[:-1], model) if key != path[-1]])}"


def _nearest_key(path: Path, model: type[BaseModel]) -> str | None:
    """Return the known key that an unknown one is taken for."""
    word, known = str(path[-1]), _keys_at(path[:-1], model)
    return renamed(word, known) or next(iter(difflib.get_close_matches(word, known, n=1, cutoff=NEAR)), None)


def _keys_at(path: Path, model: type[BaseModel]) -> list[str]:
    """Keys that the block at a path may have."""
    inner = _model_at(path, model)
    if inner is None:
        return []
    before = [word for word, parts in READ_BEFORE.items() if inner.__name__ in parts]
    return [field.alias or name for name, field in inner.model_fields.items()] + before


def _missing(path: Path, model: type[BaseModel]) -> str:
    """Say what is missing, with the first sentence of its help."""
    inner = _model_at(path[:-1], model)
    for name, field in inner.model_fields.items() if inner is not None else ():
        if path[-1] in (name, field.alias) and field.description:
            what = field.description.split(". ")[0].split(" [")[0].rstrip(".")
            return f"missing: {what[:1].lower()}{what[1:]}"
    return "missing"


def _model_at(path: Path, model: type[BaseModel]) -> type[BaseModel] | None:
    """Model that describes the block at a path."""
    kind: Any = _bare(model)
    for part in path:
        kind = _bare(_part_of(kind, part))
    return kind if isinstance(kind, type) and issubclass(kind, BaseModel) else None


def _part_of(kind: Any, part: str | int) -> Any:  # noqa: ANN401 - annotations are of any type
    """Type of a part of a model, a dictionary or a list; None where there is no such part."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        fields = {field.alias or name: field for name, field in kind.model_fields.items()}
        return fields[str(part)].annotation if part in fields else None
    if get_origin(kind) is dict:
        return get_args(kind)[1]
    return get_args(kind)[0] if get_origin(kind) is tuple else None


def _bare(kind: Any) -> Any:  # noqa: ANN401 - annotations are of any type
    """Strip what wraps a type: annotations, and the alternative None."""
    while get_origin(kind) in (Annotated, Union, UnionType):
        kind = next(arg for arg in get_args(kind) if arg is not NoneType)
    return kind
