"""What logs say of one input of a scenario: fitted, beside what was stated, and how it is written."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, isfinite, log
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtri

from batsim import units
from batsim.scenario.factors import BETWEEN, TYPICAL
from batsim.scenario.text.located_data import Path
from batsim.statistics.dependence import Dependence
from batsim.statistics.fitting import FEW, FIXED, NOTHING, OBSERVED, Fitted
from batsim.statistics.intervals import Interval

MOST_OBSERVED = 60
"""Durations of an observed law that are written, evenly by their ranks."""
DIGITS, VALUE = 4, "value"
SAME_SHARE = 0.005
"""What is so near to a stated mean, as a part of it, is the same: clocks of loggers show no more. [-]"""
UNIT_OF = {"duration": "min", "power": "kW", "share": "%", "speed": "m/min", "1": ""}


class Measured(NamedTuple):
    """What goes into a scenario: numbers by their keys, in canonical units."""

    numbers: dict[str, Interval]
    """A law by its own keys; `value` for a lone quantity."""
    law: str = ""
    """Word of a scenario where it is a law."""
    observed: tuple[float, ...] = ()
    """Durations of an observed law. [min]"""


@dataclass(frozen=True, eq=False)
class Finding:
    """An input of the scenario as logs have it."""

    what: str
    """In the words of the trade, such as `exchange, truck in the station`."""
    of: str
    """Whose: a handling arrangement, a truck group, a battery type."""
    dimension: str
    """Key of `batsim.units.DIMENSIONS` of its values, or 1."""
    measured: Measured
    mean: Interval
    """What is set beside the stated one. [canonical unit]"""
    stated: float | None
    """Mean that the scenario states. [canonical unit]"""
    rows: int
    """Rows behind it."""
    row: str
    """What a row is, such as `exchange`."""
    path: Path = ()
    """Where it is written; nowhere when empty."""
    fitted: Fitted | None = None
    """Law of the values, for the picture."""
    values_of: str = ""
    """What these values are, where they are not of what is set beside the stated mean."""
    depends: tuple[Dependence, ...] = ()
    """What was tested, the clear ones first."""
    remark: str = ""
    """What else is to be said."""
    wider: float = 1.0
    """How many times as wide the interval is by which it is judged, so that all of a calibration hold together. [-]"""
    written_as: str = ""
    """Dimension of what is written, where that is not its own."""

    @property
    def title(self) -> str:
        """What and whose."""
        return f"{self.what}, {self.of}" if self.of else self.what

    @property
    def unit(self) -> str:
        """Unit in which people see it."""
        return UNIT_OF[self.dimension]

    @property
    def in_people_units(self) -> float:
        """Factor from the canonical unit to that in which people see it."""
        return 100.0 if self.dimension == "share" else 1.0

    @property
    def few(self) -> bool:
        """Whether so few rows stand behind it that a scenario should state a range."""
        return self.rows < FEW

    @property
    def as_stated(self) -> bool | None:
        """Whether the stated mean lies within the interval, or is as good as the same.

        None where that cannot be told: it lies outside, but by no more than one of many inputs does by chance.
        """
        if self.stated is None:
            return None
        if self._is_same:
            return True
        if not (isfinite(self.mean.low) and isfinite(self.mean.high)):
            return None
        if self.mean.low <= self.stated <= self.mean.high:
            return True
        low, high = (self.mean.mean + self.wider * (end - self.mean.mean) for end in self.mean[1:])
        return None if low <= self.stated <= high else False

    @property
    def is_written(self) -> bool:
        """Whether a scenario gets it: it has a place there, and is not what stands there already."""
        alone = self.law == FIXED or list(self.measured.numbers) == [VALUE]
        return bool(self.path) and not (alone and self._is_same)

    @property
    def _is_same(self) -> bool:
        """Whether the mean is so near to the stated one that it is the same."""
        return self.stated is not None and abs(self.mean.mean - self.stated) <= SAME_SHARE * abs(self.stated)

    @property
    def law(self) -> str:
        """Name of the law, or nothing."""
        return self.fitted.law if self.fitted is not None else ""

    def data(self, numbers: Mapping[str, float] | None = None) -> Any:  # noqa: ANN401 - what YAML holds
        """As a scenario states it: with ranges where there are few rows, or with given numbers."""
        if self.measured.observed:
            return {OBSERVED: [self._text(value) for value in self.measured.observed]}
        stated = {key: self._stated(key, numbers) for key in self.measured.numbers}
        if list(stated) in ([VALUE], [FIXED]):
            return next(iter(stated.values()))
        named = self.measured.law if self.measured.law in ("exponential", "gamma", "hyperexponential") else ""
        return {**stated, **({"law": named} if named else {})}

    def written(self, path: Path, measured: Measured, dimension: str) -> "Finding":
        """The same where a scenario states it as another quantity."""
        return replace(self, path=path, measured=measured, written_as=dimension)

    def drawn(self, random: np.random.Generator, confidence: float) -> Any:  # noqa: ANN401 - what YAML holds
        """With numbers drawn within their intervals, as if their logarithms were normal to either side."""
        numbers = {
            key: _draw(interval, random.standard_normal(), float(ndtri((1.0 + confidence) / 2.0)))
            for key, interval in self.measured.numbers.items()
        }
        return self.data(_in_order(numbers))

    def _stated(self, key: str, numbers: Mapping[str, float] | None) -> Any:  # noqa: ANN401 - what YAML holds
        interval = self.measured.numbers[key]
        ranged = self.few and isfinite(interval.low) and interval.low < interval.high
        if numbers is None and ranged:
            return {
                BETWEEN: [self._text(interval.low, key), self._text(interval.high, key)],
                TYPICAL: self._text(interval.mean, key),
            }
        return self._text(interval.mean if numbers is None else numbers[key], key)

    def _text(self, number: float, key: str = "") -> Any:  # noqa: ANN401 - text or a bare number
        """A number as YAML holds it, to four digits."""
        short = float(f"{number:.{DIGITS}g}")
        dimension = self.written_as or self.dimension
        if key == "cv" or dimension == "1":
            return short
        return units.show(short, dimension, UNIT_OF[dimension])


def measured_law(fitted: Fitted, *, shared: bool = False) -> Measured:
    """What a scenario states of a fitted law; as observed where none fits, or where steps cannot share it."""
    if fitted.law == NOTHING:
        return Measured({})
    if fitted.law == OBSERVED or (shared and fitted.law == "hyperexponential"):
        values = fitted.observed
        ranks = np.unique(((np.arange(MOST_OBSERVED) + 0.5) / MOST_OBSERVED * values.size).astype(int))
        chosen = np.sort(values)[ranks]
        return Measured({}, OBSERVED, tuple(float(value) for value in chosen * (values.mean() / chosen.mean())))
    return Measured(dict(fitted.parameters), fitted.law)


def _draw(interval: Interval, normal: float, reach: float) -> float:
    """A number within an interval: log-normal to either side of its mean, normal where it may be nothing or below."""
    end = interval.high if normal > 0.0 else interval.low
    if not isfinite(end):
        return interval.mean
    if interval.mean > 0.0 and end > 0.0:
        return interval.mean * exp(abs(normal) / reach * log(end / interval.mean))
    return max(0.0, interval.mean + abs(normal) / reach * (end - interval.mean))


def _in_order(numbers: dict[str, float]) -> dict[str, float]:
    """Limits of a law in rising order."""
    if "low" not in numbers:
        return numbers
    return dict(zip(numbers, sorted(numbers.values()), strict=True))
