"""How a duration varies: fixed, between limits, by mean and spread, or as it was observed."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field, model_validator

from batsim import units
from batsim.scenario.parts.faults import Fault, each_entry, shown, wrong
from batsim.scenario.parts.kinds import Frozen, NameText, Number, Quantity, Words, reads
from batsim.scenario.parts.quantities import Minutes
from batsim.scenario.parts.schemas import TEXT, TEXTS

KEYS = {
    "fixed": ("fixed",),
    "triangular": ("low", "typical", "high"),
    "uniform": ("low", "high"),
    "exponential": ("mean",),
    "lognormal": ("mean", "cv"),
    "gamma": ("mean", "cv"),
    "hyperexponential": ("mean", "cv"),
    "observed": ("observed",),
}
"""The laws by name, and the keys that make one."""
BY_QUANTILE = tuple(law for law in KEYS if law != "hyperexponential")
"""Laws whose times can be drawn by a quantile that several steps share."""


STEP_COLUMN = "step"
"""Column that names the step of each row, unless another one is stated."""


class ObservedColumn(Frozen):
    """Durations in a column of a table with a header; empty cells are left out."""

    file: NameText
    """Name of the table's file, beside the scenario."""
    column: NameText
    """Column that holds the durations, as its header calls it; its unit may be left out."""
    unit: Annotated[str, Words(*units.DURATION)] | None = None
    """Unit of the durations; not needed where the header has it: `time [s]`, `time (s)` or `time, s`."""
    step: NameText | None = None
    """Only rows of this step; without it all rows."""
    step_column: NameText | None = None
    """Column that names the step of each row; `step` unless stated."""
    decimal: Annotated[str, Words("point", "comma")] | None = None
    """Sign before decimals; needed only where a comma may as well separate thousands."""

    def _faults(self) -> Iterator[Fault]:
        """Find a column of steps of which none is asked for."""
        if self.step_column is not None and self.step is None:
            yield Fault(("step_column",), "needs 'step', the name that is looked for in it", shown(self.step_column))


@reads(TEXTS, TEXT, ObservedColumn.model_json_schema(), examples=["times.csv", {"file": "times.csv", "column": "time"}])
def read_observed(value: object) -> tuple[float, ...]:
    """Durations as they were timed; drawn again with equal chance (bootstrap).

    Read a list of durations; a file or a column of a table has become its list before this.
    """
    if not isinstance(value, list) or not value:
        wrong("needs a list of durations, a file with one duration on each line, or {file, column} of a table")
    return tuple(each_entry(enumerate(value), Quantity("duration", least=0.0).read))


class DurationLaw(Frozen):
    """A duration and how it varies from one time to the next."""

    fixed_min: Minutes | None = Field(None, alias="fixed")
    """Always the same. [min]"""
    low_min: Minutes | None = Field(None, alias="low")
    """Least value of a triangular (with `typical`) or uniform law. [min]"""
    typical_min: Minutes | None = Field(None, alias="typical")
    """Most frequent value of a triangular law. [min]"""
    high_min: Minutes | None = Field(None, alias="high")
    """Greatest value. [min]"""
    mean_min: Minutes | None = Field(None, alias="mean")
    """Mean of an exponential, lognormal, gamma or hyperexponential law. [min]"""
    cv: Annotated[float, Number(least=0.0, most=20.0)] | None = None
    """Coefficient of variation: standard deviation over mean. [-]"""
    law: Annotated[str, Words(*KEYS)] | None = None
    """Which law; where it follows from the other keys it need not be said."""
    observed_min: Annotated[tuple[float, ...], read_observed] | None = Field(None, alias="observed")
    """Timed durations, drawn again with equal chance. [min]"""

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, value: object) -> object:
        """Let a lone duration stand for a fixed one."""
        return value if isinstance(value, dict) else {"fixed": value}

    def _faults(self) -> Iterator[Fault]:
        """Find keys that do not make one law together."""
        keys = self._keys()
        if sorted(keys) != sorted(KEYS[self.kind]):
            yield Fault((), self._form(), ", ".join(keys) or "nothing")
            return
        limits = [value for value in (self.low_min, self.typical_min, self.high_min) if value is not None]
        if limits != sorted(limits):
            got = ", ".join(units.show(value, "duration") for value in limits)
            yield Fault((), "low, typical and high must rise in this order", got)
        if self.kind == "hyperexponential" and (self.cv or 0.0) <= 1.0:
            rule = "a hyperexponential law needs a cv above 1; use gamma or lognormal below"
            yield Fault(("cv",), rule, f"{self.cv:g}")

    def _form(self) -> str:
        """Rule for its keys."""
        if self.law is not None:
            return f"law '{self.law}' goes with {' and '.join(KEYS[self.law])}, no more and no less"
        return (
            "needs one duration such as '4 min', or {low, typical, high}, {low, high}, {mean, cv}, "
            "{mean, law: exponential} or {observed}"
        )

    def _keys(self) -> list[str]:
        """Keys that are stated, the name of the law left out."""
        fields = type(self).model_fields.items()
        return [field.alias or name for name, field in fields if name != "law" and getattr(self, name) is not None]

    @property
    def kind(self) -> str:
        """Name of the law, said or following from the keys."""
        if self.law is not None:
            return self.law
        if self.observed_min is not None:
            return "observed"
        if self.mean_min is not None:
            return "lognormal"
        if self.low_min is not None:
            return "uniform" if self.typical_min is None else "triangular"
        return "fixed"

    @property
    def mean(self) -> float:
        """Mean of the law. [min]"""
        stated = [getattr(self, f"{key}_min") for key in KEYS[self.kind] if key != "cv"]
        values = self.observed_min or stated
        return sum(value or 0.0 for value in values) / len(values)

    def times(self, factor: float) -> "DurationLaw":
        """Return the law of so many times the duration, as variable as this one."""
        update: dict[str, object] = {
            f"{key}_min": factor * value
            for key in ("fixed", "low", "typical", "high", "mean")
            if (value := getattr(self, f"{key}_min")) is not None
        }
        if self.observed_min is not None:
            update["observed_min"] = tuple(factor * value for value in self.observed_min)
        return self.model_copy(update=update)

    @property
    def always_zero(self) -> bool:
        """True when every draw is zero."""
        return self.kind == "fixed" and not self.fixed_min
