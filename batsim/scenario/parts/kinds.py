"""What every part of a scenario is made of: a frozen model, and the kinds of value that it may hold."""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from operator import gt, le, lt
from typing import Annotated, Any, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, model_validator
from pydantic.annotated_handlers import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from batsim import units
from batsim.catalogue import FIGURES, Figures
from batsim.scenario.parts.faults import Fault, did_you_mean, refuse, wrong
from batsim.scenario.parts.schemas import TEXT, schema_of_any, text_schema

Limit = float | None
UNLIMITED = math.inf
"""A count without a limit, as the word `unlimited` says it."""


def by_default(name: str, alias: str | None = None) -> Any:  # noqa: ANN401 - a field of any type
    """Make a field whose default is a figure: of the scenario while one is read, else of the catalogue as it ships."""
    usual = FIGURES[name].text
    return Field(default_factory=lambda: UsualFigure(name), alias=alias, json_schema_extra={"default": usual})


class UsualFigure(NamedTuple):
    """Stands for a figure until the figures that hold are known."""

    name: str


def figures_of(info: ValidationInfo) -> Figures:
    """Figures that hold for what is being validated: the context of its validation."""
    return FIGURES if info.context is None else info.context


class Frozen(BaseModel):
    """A part of a scenario: read-only, refuses unknown keys, help stands under each field.

    Attributes carry their unit as a suffix; the key in YAML (the alias) does not, because there the
    value carries its unit in its text.
    """

    model_config = ConfigDict(
        extra="forbid", frozen=True, use_attribute_docstrings=True, validate_default=True, hide_input_in_errors=True
    )

    @model_validator(mode="after")
    def _consistent(self, info: ValidationInfo) -> Self:
        """Refuse a part whose keys do not go together."""
        refuse([*self._faults(), *self._faults_with(figures_of(info))])
        return self

    def _faults(self) -> Iterable[Fault]:
        """Find broken rules between keys; a part that has such rules states them here."""
        return ()

    def _faults_with(self, figures: Figures) -> Iterable[Fault]:
        """Find broken rules that rest on figures."""
        return ()


class Kind:
    """A kind of value that is read from what YAML holds; says what is wrong in the user's words."""

    schema: dict[str, Any]

    def read(self, value: object) -> Any:  # noqa: ANN401 - each kind reads its own type
        """Turn what YAML holds into the value, or raise a ValueError that states the rule."""
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: type, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(self._validated)

    def _validated(self, value: object, info: ValidationInfo) -> Any:  # noqa: ANN401 - each kind reads its own type
        """Read what is stated, or the figure that stands for it."""
        return self.read(figures_of(info)[value.name].text if isinstance(value, UsualFigure) else value)

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return dict(self.schema)


class ReadBy(Kind):
    """A kind of value that a function reads."""

    def __init__(self, schema: dict[str, Any], function: Callable[[object], Any]) -> None:
        self.schema, self.function = schema, function

    def read(self, value: object) -> Any:  # noqa: ANN401 - each kind reads its own type
        """Read it, or raise a ValueError that states the rule."""
        return self.function(value)


def reads(*choices: dict[str, Any], examples: Sequence[object] = ()) -> Callable[[Callable[[object], Any]], ReadBy]:
    """Make a function that reads what YAML holds a kind of value, with its JSON Schema: one, or any of several."""
    schema = schema_of_any(*choices, examples=examples) if examples else choices[0]
    return lambda function: ReadBy(schema, function)


class Bounds(NamedTuple):
    """Between what a number must lie; None where there is no limit."""

    above: Limit
    least: Limit
    most: Limit

    def hold(self, value: float, show: Callable[[float], str]) -> float:
        """Return the number if it lies within, or raise a ValueError that names the limit."""
        limits = (("above", self.above, le), ("at least", self.least, lt), ("at most", self.most, gt))
        for words, limit, beyond in limits:
            if limit is not None and beyond(value, limit):
                wrong(f"must be {words} {show(limit)}")
        return value


class Quantity(Kind):
    """A number with a unit, written as text; read into the canonical unit of its dimension."""

    def __init__(
        self, dimension: str, *, above: Limit = None, least: Limit = None, most: Limit = None, hint: str = ""
    ) -> None:
        self.dimension, self.bounds, self.hint = dimension, Bounds(above, least, most), hint
        self.schema = text_schema(units.DIMENSIONS[dimension].example, pattern=r"^\s*[-+]?[0-9.]")

    def read(self, value: object) -> float:
        """Read the text; the limits are stated in the canonical unit; the hint follows what is wrong with a unit."""
        try:
            number = units.parse(value, self.dimension)
        except units.UnitError as error:
            wrong(f"{error}{self.hint}")
        return self.bounds.hold(number, lambda limit: units.show(limit, self.dimension))


class Number(Kind):
    """A plain number without a unit, such as a Peukert exponent or a coefficient of variation."""

    def __init__(self, *, above: Limit = None, least: Limit = None, most: Limit = None) -> None:
        self.bounds = Bounds(above, least, most)
        self.schema = {"type": "number"}

    def read(self, value: object) -> float:
        """Read a number; text from the catalogue that holds nothing but a number counts as one."""
        if isinstance(value, str) and re.fullmatch(r"\s*[-+]?\d{1,15}(\.\d{1,15})?\s*", value):
            value = float(value)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            wrong("needs a plain number, without a unit")
        return self.bounds.hold(float(value), lambda limit: f"{limit:g}")


class Count(Kind):
    """A whole number of things; where it makes sense also the word `unlimited`."""

    def __init__(self, *, least: int = 0, unlimited: bool = False, most: int = 100_000) -> None:
        self.least, self.unlimited, self.most = least, unlimited, most
        whole = {"type": "integer", "minimum": least, "maximum": most}
        self.schema = {"anyOf": [whole, {"const": "unlimited"}]} if unlimited else whole

    def read(self, value: object) -> Any:  # noqa: ANN401 - a whole number unless it may be unlimited
        """Read a count; unlimited becomes infinity."""
        also = " or the word unlimited" if self.unlimited else ""
        if self.unlimited and value == "unlimited":
            return UNLIMITED
        if isinstance(value, str) and re.fullmatch(r"\d{1,15}", value):
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int):
            wrong(f"needs a whole number{also}")
        if value < self.least:
            wrong(f"must be at least {self.least}")
        if value > self.most:
            wrong(f"must be at most {self.most}{also}")
        return value


class Words(Kind):
    """One of a few words."""

    def __init__(self, *choices: str) -> None:
        self.choices = choices
        self.schema = {"enum": list(choices)}

    def read(self, value: object) -> str:
        """Read the word; anything else is answered with the choices."""
        if value not in self.choices:
            head, last = ", ".join(self.choices[:-1]), self.choices[-1]
            hint = did_you_mean(value, (), self.choices) if isinstance(value, str) else ""
            raise ValueError(f"must be {head} or {last}{hint}" if head else f"must be {last}")
        return str(value)


@reads(TEXT | {"minLength": 1, "maxLength": 200})
def read_name(value: object) -> str:
    """A name that people give to a thing: one line of text, not empty.

    Numbers and yes/no values are not names until they stand in quotes.
    """
    if not isinstance(value, str):
        wrong("needs a name as text; put it in quotes")
    if not value.strip() or not value.isprintable() or len(value) > 200:
        wrong("needs a name of 1 to 200 printable characters")
    return value


NameText = Annotated[str, read_name]
