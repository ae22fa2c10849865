"""The counts that a decision may choose: ranges with their values and costs, and every combination of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError
from batsim.room.area_plan import AreaPlan
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.first_estimate import outline
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    STATIONS,
    Counted,
    Counts,
    can_grow,
    counts_of,
    week_plan,
)

Ints = np.ndarray[tuple[int, int], np.dtype[np.int64]]

MOST_VALUES = 16
"""Values of one range in the first round; more are thinned out evenly and filled in around the answer."""
BEYOND = 1.5
"""Counts go up to so many times what is stated."""
FEW = 4
"""Stations and attendants on a shift go up to this at least."""

GivenRanges = dict[str, tuple[int, int]]
"""Least and most of a count by the name of its range."""


class CountRange(NamedTuple):
    """Something of which there may be more or fewer."""

    name: str
    """batteries, chargers, stations, attendants or the name of a device; with the type where there are several."""
    counted: tuple[Counted, ...]
    """What has the number: one thing, or the attendants of each shift that has any."""
    values: tuple[int, ...]
    """What may be chosen, rising."""
    stated: int
    """What the scenario says."""

    @property
    def kind(self) -> str:
        """batteries, chargers, stations, attendants or devices."""
        return self.counted[0].kind

    @property
    def label(self) -> str:
        """Its name in words."""
        return self.name.replace("_", " ")

    def within(self, low: int, high: int) -> "CountRange":
        """Copy with every value between two."""
        return self._replace(values=tuple(range(low, high + 1)))

    def thinned(self) -> "CountRange":
        """Copy with at most so many values, evenly spread, both ends and what is stated among them."""
        if len(self.values) <= MOST_VALUES:
            return self
        picked = {self.values[round(position)] for position in np.linspace(0, len(self.values) - 1, MOST_VALUES)}
        return self._replace(values=tuple(sorted(picked | ({self.stated} & set(self.values)))))


@dataclass(frozen=True)
class Grid:
    """All combinations of some ranges of a layout."""

    scenario: Scenario
    layout: str
    ranges: tuple[CountRange, ...]

    @cached_property
    def combinations(self) -> "Ints":
        """A row for each, a column for each range; more devices than the stations can use are left out."""
        combinations = np.array(list(product(*(count_range.values for count_range in self.ranges))), dtype=np.int64)
        kinds = [count_range.kind for count_range in self.ranges]
        if STATIONS not in kinds:
            return combinations
        stations, exchange = combinations[:, kinds.index(STATIONS)], self.blueprint.exchange
        held = exchange.attendants.devices if exchange is not None else {}
        keep = np.ones(len(combinations), dtype=bool)
        for column, count_range in enumerate(self.ranges):
            if count_range.kind == DEVICES:
                usable = np.maximum(stations * held.get(count_range.counted[0].name, 1), min(count_range.values))
                keep &= combinations[:, column] <= usable
        return combinations[keep]

    @cached_property
    def blueprint(self) -> AreaPlan:
        """Layout as it is stated."""
        return week_plan(self.scenario, self.layout)

    @cached_property
    def units(self) -> UnitCosts:
        """What one more of each thing costs."""
        return UnitCosts(self.scenario, self.layout)

    @cached_property
    def costs(self) -> Floats:
        """Cost of each combination in a year, bays included. [currency/year]"""
        return self.costs_of(self.combinations)

    def costs_of(self, combinations: "Ints") -> Floats:
        """Cost of any combinations in a year. [currency/year]"""
        numbers, total = self._numbers(combinations), np.zeros(len(combinations))
        for line in cost_lines(self.scenario, self.layout, self.units):
            number = numbers.get(line.unit.counted, line.number)
            total += np.maximum(number - line.owned, 0.0) * line.unit.per_year
        return total

    def _numbers(self, combinations: "Ints") -> dict[Counted, Floats]:
        """Numbers of what combinations change; charging spots go with chargers, bays with batteries and stations."""
        stated = counts_of(self.scenario, self.layout)
        numbers: dict[Counted, Floats] = {
            counted: combinations[:, column].astype(np.float64)
            for column, count_range in enumerate(self.ranges)
            for counted in count_range.counted
        }

        def more(kind: str) -> Floats:
            """How many more of a kind than stated."""
            added = [number - stated[counted] for counted, number in numbers.items() if counted.kind == kind]
            return np.asarray(sum(added, np.zeros(len(combinations))))

        arrangement = self.blueprint.arrangement
        if arrangement.in_truck:
            numbers[Counted(STATIONS)] = stated[Counted(STATIONS)] + more(CHARGERS)
        elif self.scenario.layouts[self.layout].bays is None:
            numbers[Counted(BAYS)] = stated[Counted(BAYS)] + more(BATTERIES) + more(STATIONS) * arrangement.empty_bays
        return numbers

    def unit_cost(self, count_range: CountRange) -> float:
        """Cost of one more of it in a year; of an attendant, of one on every shift. [currency/year]"""
        spot = count_range.kind == CHARGERS and self.blueprint.arrangement.in_truck
        counted = (*count_range.counted, *[Counted(STATIONS)] * spot)
        return sum(self.units.by_counted[thing].per_year for thing in counted)

    def counts(self, combination: tuple[int, ...]) -> Counts:
        """Counts of the layout in a combination."""
        chosen = zip(self.ranges, combination, strict=True)
        return Counts(
            self.layout, tuple((counted, number) for count_range, number in chosen for counted in count_range.counted)
        )


def ranges_of(scenario: Scenario, layout: str, given: GivenRanges) -> tuple[CountRange, ...]:
    """Ranges of a layout: those that are given, or of everything that has a limit.

    Raises
    ------
    ScenarioError
        When a range is given of something that the layout does not have, or it is empty.
    """
    every = {count_range.name: count_range for count_range in _every_range(scenario, layout)}
    problems = []
    for name, (low, high) in given.items():
        if name not in every:
            rule = f"no count of this name in layout '{layout}'{did_you_mean(name, list(every))}"
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", rule))
        elif not (least := min(1, *every[name].values)) <= low <= high:
            rule = f"must rise from {least} or more"
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", rule, f"{low}:{high}"))
    if problems:
        raise ScenarioError(scenario.file, problems)
    if given:
        return tuple(every[name].within(low, high) for name, (low, high) in given.items())
    return tuple(count_range for count_range in every.values() if len(count_range.values) > 1)


def _every_range(scenario: Scenario, layout: str) -> Iterator[CountRange]:
    """Everything that a layout has a limited number of, with the values that are looked through when none are given."""
    numbers, built = counts_of(scenario, layout), week_plan(scenario, layout)
    if built.arrangement.in_truck:
        yield from _chargers(scenario, layout, numbers, 0.0, sum(scenario.batteries_of(layout).values()))
        return
    most = _most_batteries(scenario, layout)
    yield from _batteries(scenario, layout, numbers, most)
    yield from _chargers(scenario, layout, numbers, BEYOND, next(iter(most.values())))
    yield from _stations(built, sum(group.count for group in scenario.trucks))
    on_duty = {counted: number for counted, number in numbers.items() if counted.kind == ATTENDANTS and number}
    if on_duty:
        most_people = max(FEW, round(BEYOND * max(on_duty.values())))
        yield _range(ATTENDANTS, tuple(on_duty), 1, most_people, max(on_duty.values()))


def _most_batteries(scenario: Scenario, layout: str) -> dict[str, int]:
    """Batteries of each type up to which is looked: half as many again as is stated or a rule of thumb says."""
    (in_short,) = (first for first in outline(scenario).layouts if first.name == layout)
    per_truck = {stock.battery: 0.0 if np.isnan(stock.per_truck) else stock.per_truck for stock in in_short.stock}
    trucks = scenario.in_layout(layout).trucks_by_battery
    return {
        name: max(round(BEYOND * max(number, per_truck[name] * trucks[name])), trucks[name] + 2)
        for name, number in scenario.batteries_of(layout).items()
    }


def _batteries(
    scenario: Scenario, layout: str, numbers: dict[Counted, float], most: dict[str, int]
) -> Iterator[CountRange]:
    """Batteries of each type, or of each lot of which more can be had: from one more than trucks in all."""
    batteries, trucks_by_battery = scenario.batteries_of(layout), scenario.in_layout(layout).trucks_by_battery
    for counted in [counted for counted in numbers if counted.kind == BATTERIES and can_grow(scenario, counted)]:
        name, number = counted.name, numbers[counted]
        others = int(batteries[name] - number)
        label = " ".join((BATTERIES, *[name] * (len(batteries) > 1), *[counted.lot] * bool(counted.lot)))
        least = max(0, trucks_by_battery[name] + 1 - others)
        yield _range(label, (counted,), least, max(most[name] - others, least + 1), number)


def _chargers(
    scenario: Scenario, layout: str, numbers: dict[Counted, float], beyond: float, most: int
) -> Iterator[CountRange]:
    """Chargers of each type with a limit, up to so many, and so many times what is stated.

    Those that are bought no longer are kept: no fewer, and no more than are there.
    """
    chargers = {counted: number for counted, number in numbers.items() if counted.kind == CHARGERS}
    for counted, number in chargers.items():
        if number < UNLIMITED:
            label = f"{CHARGERS} {counted.name}" if len(chargers) > 1 else CHARGERS
            least, up_to = 1, max(round(beyond * number), most)
            if not can_grow(scenario, counted):
                kept = scenario.kept(layout, counted.name)
                least, up_to = int(number), int(number if kept is None else kept.number)
            yield _range(label, (counted,), least, up_to, number)


def _stations(built: AreaPlan, trucks: int) -> Iterator[CountRange]:
    """Stations, and devices as far as an exchange at each of them needs them."""
    most_stations = 1
    if built.stations < UNLIMITED:
        most_stations = max(FEW, round(BEYOND * built.stations))
        yield _range(STATIONS, (Counted(STATIONS),), 1, min(most_stations, trucks), built.stations)
    for name, held in (built.exchange.attendants.devices if built.exchange is not None else {}).items():
        if (number := built.devices[name]) < UNLIMITED:
            yield _range(name, (Counted(DEVICES, name),), held, max(held * most_stations, int(number)), number)


def _range(name: str, counted: tuple[Counted, ...], low: int, high: int, stated: float) -> CountRange:
    """Range of all whole numbers between two."""
    return CountRange(name, counted, tuple(range(low, high + 1)), int(stated))
