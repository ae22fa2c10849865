"""Doubt: how sure it is which of several decided plans is best, and which price would turn it.

Plans rest on the same prices, so that a price which is not known moves all of them at once: prices and replications are
drawn, and nothing is simulated. What a scenario marks as not known moves the simulation itself: see `draws`.
"""

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from batsim.errors import require
from batsim.plan.money import BATTERY, HEADINGS, WATERING, YearlyCost
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import ROUNDING, Floats, check_count
from batsim.study.prices import NOTHING, Price, price_of
from batsim.study.running.runs import plain

PRICE_DRAWS = 2_000
"""Draws of the prices: the standard error of a chance is 0.011 at most."""
MOST_TOLD = 3
"""Turns that the sentence names."""
UNITS = {
    "attendant": "an hour of an attendant",
    "driver": "an hour of a driver",
    "truck": "an hour of a truck that stands",
    "energy": "a kWh from the wall",
    "demand": "a kW of the peak of a month",
    "water": "a kg of water",
    "floor": "a square metre of floor in a year",
}
"""Inputs of a yearly cost that have a price for a unit, and that unit in words."""
THINGS = {WATERING: HEADINGS[BATTERY], **{life: HEADINGS[life] for life in ("charger", "device", "room")}}
"""Inputs that are the yearly part of purchases, in words."""

Flags = np.ndarray[Any, np.dtype[np.bool_]]


class Turn(NamedTuple):
    """A price at which another plan is as cheap as the best, all other prices as they are taken to be."""

    input: str
    """As `YearlyCostLine` names it."""
    rival: str
    """Plan that is cheaper beyond it."""
    factor: float
    """What the input costs there over what it is taken to cost, in the plans that can be best together. [-]"""
    price: float
    """Price of a unit there; not a number where the input has none. [currency/unit]"""
    reach_share: float
    """How far it lies on the way from what the price is taken to be to the end of its range. [-]"""

    @property
    def inside(self) -> bool:
        """Whether it lies inside the range of the price."""
        return self.reach_share <= 1.0

    def words(self, currency: str) -> str:
        """What would have to be so, such as `an hour of a driver costs more than 52 EUR`."""
        dearer = self.factor > 1.0
        if self.input in UNITS:
            return f"{UNITS[self.input]} costs {'more' if dearer else 'less'} than {_digits(self.price)} {currency}"
        battery = self.input.removeprefix(f"{BATTERY} ")
        things = THINGS.get(self.input, f"'{self.input}'" if battery == self.input else f"batteries '{battery}'")
        by = _digits(100.0 * abs(self.factor - 1.0))
        return f"{things} are more than {by} % {'dearer' if dearer else 'cheaper'} in a year"


@dataclass(frozen=True)
class Doubt:
    """How sure it is which plan costs least, as far as prices and replications tell."""

    currency: str
    in_question: tuple[str, ...]
    """Plans that are possible and meet their targets, the cheapest first; only they can be best."""
    level: tuple[str, ...]
    """Others of them that cost the same as the first."""
    chance_best: Mapping[str, float]
    """By plan the share of draws at which it is the cheapest; a draw at which several are is shared. [-]"""
    turns: tuple[Turn, ...]
    """What each price alone would turn, upwards and downwards, inside its range or not; the nearest first."""
    prices_known: bool
    """Whether no price has a range, so that the chance rests on the replications alone."""

    @property
    def best(self) -> str:
        """The cheapest plan in question; empty where there is none."""
        return self.in_question[0] if self.in_question else ""

    @property
    def sentence(self) -> str:
        """How sure it is, and what would turn it."""
        if not self.in_question:
            return "No plan is possible and meets its targets."
        if len(self.in_question) == 1:
            return f"Only '{self.best}' is possible and meets its targets."
        return f"{self._chance_sentence} {self._turn_sentence}".rstrip()

    @property
    def _chance_sentence(self) -> str:
        """In how many of 100 draws the best plan is the cheapest, and another where that is so more often."""
        drawn = "the replications" if self.prices_known else "the prices that are not known"
        says = f"In {_of_hundred(self.chance_best[self.best])} of 100 draws of {drawn} '{self.best}' is the cheapest."
        likeliest = max(self.in_question, key=lambda name: self.chance_best[name])
        if self.chance_best[likeliest] > self.chance_best[self.best]:
            says += f" More often it is '{likeliest}', in {_of_hundred(self.chance_best[likeliest])}."
        return says

    @property
    def _turn_sentence(self) -> str:
        """What would turn it inside the ranges of prices; empty where no price has one."""
        if self.level:
            names = " and ".join(f"'{name}'" for name in self.level)
            return f"At the prices as they are taken to be it costs the same as {names}."
        if self.prices_known:
            return ""
        inside = [turn for turn in self.turns if turn.inside][:MOST_TOLD]
        if not inside:
            return "No single price inside its range turns it."
        texts = [f"if {turn.words(self.currency)}: then '{turn.rival}' is cheaper" for turn in inside]
        return f"It would turn {'; or '.join(texts)}."

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        turns = [
            turn._asdict() | {"price": plain(turn.price), "inside": turn.inside, "words": turn.words(self.currency)}
            for turn in self.turns
        ]
        return {"best": self.best, "chance_best": dict(self.chance_best), "turns": turns, "sentence": self.sentence}


class _Inputs(NamedTuple):
    """Inputs that are not known, and what each costs in each plan at equal work. [currency/year]

    A row for each input, a column for each plan; all lines of an input are at their low ends together, and at their
    high ends, so that a price for a unit is what is drawn.
    """

    names: tuple[str, ...]
    value: Floats
    low: Floats
    high: Floats

    def costs(self, draws: int, generator: np.random.Generator) -> Floats:
        """How much more each plan costs at draws of them (triangular), a row for each draw. [currency/year]"""
        low, value, high = (ends.sum(axis=1) for ends in (self.low, self.value, self.high))
        more = generator.triangular(low, value, high, size=(draws, len(self.names))) - value
        # A way as a part of that to an end of the range; towards the other end, and without any way to go, nothing.
        up, down = (
            np.divide(np.maximum(sign * more, 0.0), way, out=np.zeros_like(more), where=way > 0.0)
            for sign, way in ((1.0, high - value), (-1.0, value - low))
        )
        costs: Floats = up @ (self.high - self.value) + down @ (self.low - self.value)
        return costs


def doubt_of(
    scenario: Scenario,
    costs: Mapping[str, YearlyCost],
    replications: Mapping[str, Floats],
    in_question: Collection[str],
    *,
    draws: int = PRICE_DRAWS,
    seed: int | None = None,
) -> Doubt:
    """Say how sure it is which plan costs least in a year at equal work.

    Parameters
    ----------
    scenario
        The site, with its prices.
    costs
        By plan what it costs, all at the same prices.
    replications
        By plan its cost at equal work in each replication, paired. [currency/year]
    in_question
        Plans that are possible and meet their targets; one whose cost is no number is never best either.
    draws, seed
        Draws of the prices that are not known and of the replications, and where they begin; the scenario's seed when
        not given.

    Raises
    ------
    ValueError
        When there are no draws, or plans do not have equally many replications.
    """
    check_count("draws", draws, 1)
    at_equal_work = _at_equal_work(costs, in_question)
    names = list(at_equal_work)
    sizes = {replications[name].size for name in names}
    require(len(sizes) <= 1 and 0 not in sizes, f"plans need equally many replications (got {sorted(sizes)})")
    chance = dict.fromkeys(costs, 0.0)
    if not names:
        return Doubt("", (), (), chance, (), prices_known=True)
    at_value = np.array(list(at_equal_work.values()))
    inputs = _inputs([costs[name] for name in names])
    generator = np.random.default_rng(scenario.simulation.seed if seed is None else seed)
    noise = _noise(np.column_stack([replications[name] for name in names]), draws, generator)
    drawn = at_value + inputs.costs(draws, generator) + noise
    chance |= dict(zip(names, shares_cheapest(drawn).tolist(), strict=True))
    level = _cheapest(at_value[None])[0]
    turns = _turns(scenario, inputs, names, np.where(level, np.inf, at_value - at_value[0]))
    return Doubt(
        currency=costs[names[0]].currency,
        in_question=tuple(names),
        level=tuple(names[1 : np.count_nonzero(level)]),
        chance_best=chance,
        turns=tuple(sorted(turns, key=lambda turn: turn.reach_share)),
        prices_known=not inputs.names,
    )


def _at_equal_work(costs: Mapping[str, YearlyCost], in_question: Collection[str]) -> dict[str, float]:
    """Cost at equal work of plans in question where it is a number, the cheapest first. [currency/year]"""
    values = {name: costs[name].at_equal_work.value for name in costs if name in in_question}
    names = [name for name, value in values.items() if math.isfinite(value)]
    return {name: values[name] for name in sorted(names, key=values.__getitem__)}


def _inputs(costs: list[YearlyCost]) -> _Inputs:
    """Inputs of plans whose price has a range."""
    found: dict[str, list[Price]] = {}
    for column, cost in enumerate(costs):
        for line in cost.lines:
            of_plans = found.setdefault(line.input or line.what, [NOTHING] * len(costs))
            of_plans[column] = of_plans[column].plus(line.per_year.times(cost.equal_work_factor))
    ends = np.array([[each[:3] for each in prices] for prices in found.values()]).reshape(-1, len(costs), 3)
    value, low, high = np.moveaxis(ends, -1, 0)
    open_ones = np.flatnonzero(value.any(axis=1) & (low < high).any(axis=1))
    names = tuple(list(found)[number] for number in open_ones)
    return _Inputs(names, value[open_ones], low[open_ones], high[open_ones])


def _turns(scenario: Scenario, inputs: _Inputs, names: list[str], leads: Floats) -> Iterator[Turn]:
    """What each input alone turns, upwards and downwards, against plans that are behind the first by so much."""
    for number, name in enumerate(inputs.names):
        value = inputs.value[number]
        unit_price = price_of(scenario, name, None).value if name in UNITS else math.nan
        for end in (inputs.high[number], inputs.low[number]):
            gains = (end - value)[0] - (end - value)
            gaining = gains > ROUNDING * np.maximum(leads, np.max(np.abs(end)))
            reaches = np.divide(leads, gains, out=np.full_like(leads, np.inf), where=gaining)
            nearest = int(np.argmin(reaches))
            reach_share = float(reaches[nearest])
            factor = 1.0 + reach_share * float(np.sum(end - value) / np.sum(value))
            if math.isfinite(reach_share) and factor >= 0.0:
                yield Turn(name, names[nearest], factor, unit_price * factor, reach_share)


def _noise(replications: Floats, draws: int, generator: np.random.Generator) -> Floats:
    """How far means over replications lie from the true ones, drawn by resampling, the same ones for all plans.

    Spread so that their variance is that of the mean by the divisor n - 1; nothing with one replication.
    """
    count = replications.shape[0]
    picks = generator.integers(count, size=(draws, count))
    wider = math.sqrt(count / (count - 1)) if count > 1 else 0.0
    noise: Floats = wider * (replications[picks].mean(axis=1) - replications.mean(axis=0))
    return noise


def _cheapest(costs: Floats) -> Flags:
    """Which plans cost least in each row, but for rounding; none where no cost is a number."""
    known = np.where(np.isfinite(costs), costs, np.inf)
    least = known.min(axis=1, keepdims=True)
    near = least + ROUNDING * np.abs(np.where(np.isfinite(costs), costs, 0.0)).max(axis=1, keepdims=True)
    cheapest: Flags = np.isfinite(costs) & (known <= near)
    return cheapest


def shares_cheapest(costs: Floats) -> Floats:
    """Share of the rows in which each column costs least; a row in which several do is shared. [-]"""
    cheapest = _cheapest(costs)
    shares: Floats = (cheapest / np.maximum(cheapest.sum(axis=1, keepdims=True), 1)).mean(axis=0)
    return shares


def _digits(amount: float) -> str:
    """A number to three digits."""
    return Price(amount, amount, amount, placeholder=False).text


def _of_hundred(chance: float) -> int:
    """How many of 100; all or none only where it is so."""
    return round(100.0 * chance) if chance in (0.0, 1.0) else min(max(round(100.0 * chance), 1), 99)
