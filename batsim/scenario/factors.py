"""What may take more than one value in a study: an input that is not known, or one that a study varies."""

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from math import exp, isfinite, log1p, sqrt
from typing import NamedTuple

from batsim import units
from batsim.scenario.parts.faults import Fault, Faults, shown, wrong

BETWEEN, TYPICAL, VALUES, MEAN, CV = "between", "typical", "values", "mean", "cv"
FORMS = (
    "needs a list of values, {between: [LOW, HIGH]}, {between: [LOW, HIGH], typical: VALUE} or {mean: VALUE, cv: 0.1}"
)
BETWEEN_FORM = (
    "needs {between: [LOW, HIGH]}, also with a typical value, such as {between: [3 kW, 4 kW], typical: 3.4 kW}"
)
AMOUNT = re.compile(r"\s*([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?)\s*(.*?)\s*")
TAIL_SHARE = 0.005
"""Part of a law without ends that is cut off at either side. [-]"""
WIDE_SHARE = 0.05
"""Part of a law without ends that lies beyond its low and its high value. [-]"""
NUMBER_OF = "x "
"""Begin of the unit of a number of things, such as `44 x electronic_iuia`."""
MOST_VALUES = 10_000
"""Values of one factor."""


class StatedNumber(NamedTuple):
    """A number as it stands in a scenario, with its unit as text."""

    number: float
    unit: str
    whole: bool
    """Whether it counts things: a whole number without a unit, or such as `44 x electronic_iuia`."""

    def text(self, number: float) -> object:
        """Write another number of the same kind as YAML would hold it."""
        value = round(number) if self.whole else float(f"{number:.6g}")
        return f"{value:.10g} {self.unit}" if self.unit else value


class Factor(ABC):
    """An input with more than one possible value, by the share of its law that lies below."""

    path: str
    """Where it stands in a scenario, such as `trucks[0].duty.mean_power`."""

    @abstractmethod
    def at(self, share: float) -> object:
        """Value below which a share of the law lies, as YAML would hold it."""

    @property
    @abstractmethod
    def text(self) -> str:
        """What it may be, in words."""

    @property
    def low(self) -> object:
        """Low value for changing one thing at a time."""
        return self.at(0.0)

    @property
    def high(self) -> object:
        """High value for the same."""
        return self.at(1.0)

    @property
    def middle(self) -> object:
        """Value that stands for it where only one can."""
        return self.at(0.5)

    @property
    def levels(self) -> tuple[object, ...]:
        """Values of a grid: low, middle and high unless it states its own."""
        return tuple(dict.fromkeys((self.low, self.middle, self.high)))

    @property
    def numbers(self) -> tuple[float, ...]:
        """A number for each of those, which rises with it."""
        return tuple(map(float, range(len(self.levels))))

    @property
    def count(self) -> int:
        """How many values it has, each as likely as another; 0 where there is no end of them."""
        return 0


@dataclass(frozen=True)
class Between(Factor):
    """Something between two ends, each value as likely as another, or with one that is most likely (triangular)."""

    path: str
    ends: tuple[StatedNumber, StatedNumber]
    typical: StatedNumber | None = None
    layout: str | None = None
    """Layout that it belongs to; None where it concerns all of them."""

    def at(self, share: float) -> object:
        """Value below which a share of the law lies."""
        (low, _, whole), (high, _, _) = self.ends
        if whole and self.typical is None:  # each whole number with the same chance
            value = min(low + share * (high - low + 1.0) // 1.0, high)
        elif self.typical is None or high == low:
            value = low + share * (high - low)
        elif share < (self.typical.number - low) / (high - low):
            value = low + sqrt(share * (high - low) * (self.typical.number - low))
        else:
            value = high - sqrt((1.0 - share) * (high - low) * (high - self.typical.number))
        return self.ends[0].text(value)

    @property
    def middle(self) -> object:
        """Its typical value, else halfway."""
        low, high = self.ends
        return low.text((low.number + high.number) / 2.0 if self.typical is None else self.typical.number)

    @property
    def count(self) -> int:
        """Whole numbers from end to end."""
        (low, _, whole), (high, _, _) = self.ends
        return int(high - low) + 1 if whole and self.typical is None else 0

    @property
    def text(self) -> str:
        """Such as `between 3 kW and 4 kW, typically 3.4 kW`."""
        low, high = (end.text(end.number) for end in self.ends)
        typical = f", typically {self.typical.text(self.typical.number)}" if self.typical is not None else ""
        return f"between {low} and {high}{typical}"


@dataclass(frozen=True)
class Around(Factor):
    """A positive quantity about a mean with a coefficient of variation, lognormal; tails of half a percent are cut."""

    path: str
    mean: StatedNumber
    cv: float

    def at(self, share: float) -> object:
        """Value below which a share of the law lies."""
        from scipy.special import ndtri  # noqa: PLC0415 - heavy, and only studies need it

        variance = log1p(self.cv * self.cv)
        kept = min(max(share, TAIL_SHARE), 1.0 - TAIL_SHARE)
        return self.mean.text(self.mean.number * exp(sqrt(variance) * float(ndtri(kept)) - variance / 2.0))

    @property
    def low(self) -> object:
        """Value below which a twentieth of the law lies."""
        return self.at(WIDE_SHARE)

    @property
    def high(self) -> object:
        """Value above which a twentieth of the law lies."""
        return self.at(1.0 - WIDE_SHARE)

    @property
    def middle(self) -> object:
        """Its mean."""
        return self.mean.text(self.mean.number)

    @property
    def text(self) -> str:
        """Such as `about 3.4 kW, cv 0.1`."""
        return f"about {self.middle}, cv {self.cv:g}"


@dataclass(frozen=True)
class Choice(Factor):
    """One of a list of values, each as likely as another; a value may be anything that YAML holds."""

    path: str
    values: tuple[object, ...]

    def at(self, share: float) -> object:
        """Value by its position, from the lowest where they are numbers, else as they are listed."""
        return self.values[self._rising[min(int(share * len(self.values)), len(self.values) - 1)]]

    @property
    def levels(self) -> tuple[object, ...]:
        """All its values, as they are listed."""
        return self.values

    @cached_property
    def numbers(self) -> tuple[float, ...]:
        """Its values as numbers where all are such, with the same unit; else their positions."""
        try:
            amounts = [_amount(value, ()) for value in self.values]
        except Faults:
            amounts = []
        if len({amount.unit for amount in amounts}) == 1:
            return tuple(amount.number for amount in amounts)
        return tuple(map(float, range(len(self.values))))

    @property
    def count(self) -> int:
        """All of them."""
        return len(self.values)

    @cached_property
    def _rising(self) -> list[int]:
        """Positions of its values, from the lowest."""
        return sorted(range(len(self.values)), key=self.numbers.__getitem__)

    @property
    def text(self) -> str:
        """Such as `one of 70, 76, 82`."""
        return f"one of {', '.join(map(str, self.values))}"


def factor_of(path: str, stated: object) -> Factor:
    """Read what a study says of a path.

    Raises
    ------
    Faults, ValueError
        When it is none of the forms, its ends have different units or stand in the wrong order.
    """
    values = stated[VALUES] if isinstance(stated, dict) and set(stated) == {VALUES} else stated
    if isinstance(values, list):
        if not 1 <= len(values) <= MOST_VALUES:
            wrong(f"needs from 1 to {MOST_VALUES} values")
        return Choice(path, tuple(values))
    if isinstance(stated, dict) and BETWEEN in stated:
        return between_of(path, stated)
    if not isinstance(stated, dict) or set(stated) != {MEAN, CV}:
        wrong(FORMS)
    return _around_of(path, stated)


def _around_of(path: str, stated: dict[str, object]) -> Around:
    """Read `{mean: VALUE, cv: 0.1}`; errors as for `factor_of`."""
    mean, cv = _amount(stated[MEAN], (MEAN,)), stated[CV]
    if isinstance(cv, bool) or not isinstance(cv, int | float) or not 0.0 < cv <= 2.0:
        raise Faults([Fault((CV,), "needs a plain number above 0, at most 2", shown(cv))])
    if not mean.number > 0.0:
        raise Faults([Fault((MEAN,), "must be above 0", shown(stated[MEAN]))])
    return Around(path, mean, float(cv))


def between_of(path: str, stated: dict[str, object]) -> Between:
    """Read `{between: [LOW, HIGH]}`, also with a typical value; errors as for `factor_of`."""
    ends = stated.get(BETWEEN)
    if set(stated) - {BETWEEN, TYPICAL} or not isinstance(ends, list) or len(ends) != 2:
        wrong(BETWEEN_FORM)
    values: dict[tuple[str | int, ...], object] = {(BETWEEN, 0): ends[0], (BETWEEN, 1): ends[1]}
    if TYPICAL in stated:
        values = {(BETWEEN, 0): ends[0], (TYPICAL,): stated[TYPICAL], (BETWEEN, 1): ends[1]}
    low, *typical, high = _rising(values)
    return Between(path, (low, high), typical[0] if typical else None)


def _rising(values: dict[tuple[str | int, ...], object]) -> list[StatedNumber]:
    """Read amounts of one unit that rise, by where they stand; they count things where all of them do."""
    amounts = [_amount(value, where) for where, value in values.items()]
    units_written = sorted({amount.unit or "none" for amount in amounts})
    if len(units_written) > 1:
        raise Faults([Fault((), "all numbers need the same unit", " and ".join(units_written))])
    numbers = [amount.number for amount in amounts]
    if numbers != sorted(numbers) or not numbers[0] < numbers[-1]:
        raise Faults([Fault((), "must rise", ", ".join(map(str, values.values())))])
    return [amount._replace(whole=all(other.whole for other in amounts)) for amount in amounts]


def _amount(value: object, where: tuple[str | int, ...]) -> StatedNumber:
    """Read a number, alone or with a unit."""
    if isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value):
        return StatedNumber(float(value), "", isinstance(value, int))
    match = AMOUNT.fullmatch(value) if isinstance(value, str) else None
    if match is None or units.TWO_PARTS.match(match[2]):  # 14:30 and 1 h 30 min are two numbers
        raise Faults([Fault(where, "needs a number, or a number with its unit such as '3 kW'", shown(value))])
    unit = units.PLURALS.get(match[2], match[2])  # 1 day and 3 days have the same unit
    counted = not unit or unit.startswith(NUMBER_OF)
    return StatedNumber(float(match[1]), unit, whole=counted and match[1].lstrip("+-").isdigit())
