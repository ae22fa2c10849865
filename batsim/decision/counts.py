"""The counts that a decision may choose: ranges with their values and costs, and every combination of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod
from typing import NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError
from batsim.measures.windows import Flags
from batsim.room.plans.area_plan import AreaPlan
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats
from batsim.study.cost import CostLine, UnitCosts, cost_lines, paid_counts
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
    in_all,
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
    """batteries, chargers, stations, attendants or the name of a device; with the type where there are several, and
    with `of` and the area where the layout has areas."""
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
    def area(self) -> str:
        """Area that has it; empty where the layout is one area, and of attendants whom areas share."""
        return self.counted[0].area

    @property
    def thing(self) -> str:
        """What it is, in words, without its area."""
        return self.name.removesuffix(_of_area(self.area)).replace("_", " ")

    @property
    def label(self) -> str:
        """Its name in words."""
        return self.thing + _of_area(self.area)

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
    def blocks(self) -> tuple[tuple[int, ...], ...]:
        """Positions of the ranges of each area, those of what areas share among them; one where there are no areas."""
        columns, areas = list(enumerate(self.ranges)), {count_range.area for count_range in self.ranges}
        return tuple(
            tuple(column for column, count_range in columns if count_range.area in (area, ""))
            for area in [area for area in self.plans if area in areas] or [""]
        )

    def around(self, block: tuple[int, ...], counts: tuple[int, ...]) -> "Ints":
        """Every combination of one block, all else as in some counts: a row for each, a column for each range."""
        values = [
            count_range.values if column in block else (counts[column],)
            for column, count_range in enumerate(self.ranges)
        ]
        combinations = np.array(list(product(*values)), dtype=np.int64)
        return combinations[self.usable(combinations)]

    def holds(self, counts: tuple[int, ...]) -> bool:
        """Whether counts are one of its combinations."""
        chosen = zip(counts, self.ranges, strict=True)
        return all(number in each.values for number, each in chosen) and bool(self.usable(np.array([counts]))[0])

    @cached_property
    def greatest(self) -> tuple[int, ...]:
        """As many of everything as may be chosen, but no more devices than the stations can use."""
        most = np.array([[count_range.values[-1] for count_range in self.ranges]], dtype=np.int64)
        for column, usable in self._usable_devices(most):
            most[0, column] = max(value for value in self.ranges[column].values if value <= usable[0])
        return tuple(most[0].tolist())

    @cached_property
    def size(self) -> int:
        """Combinations in all."""
        of_areas = [column for column, count_range in enumerate(self.ranges) if count_range.area in self.plans]
        shared = prod(len(each.values) for column, each in enumerate(self.ranges) if column not in of_areas)
        own = [tuple(column for column in block if column in of_areas) for block in self.blocks]
        return shared * prod(len(self.around(block, self.greatest)) for block in own)

    def usable(self, combinations: "Ints") -> Flags:
        """Whether there are no more devices than the stations of their area can use."""
        keep = np.ones(len(combinations), dtype=bool)
        for column, usable in self._usable_devices(combinations):
            keep &= combinations[:, column] <= usable
        return keep

    def _usable_devices(self, combinations: "Ints") -> Iterator[tuple[int, "Floats"]]:
        """Columns of devices, each with how many of them the stations of their area can use."""
        of_stations = {each.area: column for column, each in enumerate(self.ranges) if each.kind == STATIONS}
        for column, devices in enumerate(self.ranges):
            if devices.kind == DEVICES and devices.area in of_stations:
                exchange = self.plans[devices.area].exchange
                held = exchange.attendants.devices if exchange is not None else {}
                usable = combinations[:, of_stations[devices.area]] * held.get(devices.counted[0].name, 1)
                yield column, np.maximum(usable, devices.values[0])

    @cached_property
    def plans(self) -> dict[str, AreaPlan]:
        """Areas as they are stated, by name."""
        return {area: week_plan(site, self.layout) for area, site in self.scenario.areas_of(self.layout).items()}

    @cached_property
    def units(self) -> UnitCosts:
        """What one more of each thing costs."""
        return UnitCosts(self.scenario, self.layout)

    @cached_property
    def stated(self) -> dict[Counted, float]:
        """How many there are of everything, as the layout is stated."""
        return counts_of(self.scenario, self.layout)

    @cached_property
    def _paid(self) -> list[tuple[CostLine, dict[Counted, float]]]:
        """What each thing costs, and how many of it each area has that are paid."""
        paid = paid_counts(self.scenario, self.layout)
        return [
            (line, {counted: number for counted, number in paid.items() if counted.anywhere == line.unit.counted})
            for line in cost_lines(self.scenario, self.layout, self.units)
        ]

    def costs_of(self, combinations: "Ints") -> Floats:
        """Cost of any combinations in a year, bays included. [currency/year]"""
        numbers, total = self._numbers(combinations), np.zeros(len(combinations))
        for line, paid in self._paid:
            in_all = sum(
                (numbers.get(counted, number) for counted, number in paid.items()), np.zeros(len(combinations))
            )
            total += np.maximum(in_all - line.owned, 0.0) * line.unit.per_year
        return total

    def _numbers(self, combinations: "Ints") -> dict[Counted, Floats]:
        """Numbers of what combinations change; charging spots go with chargers, bays with batteries and stations."""
        numbers: dict[Counted, Floats] = {
            counted: combinations[:, column].astype(np.float64)
            for column, count_range in enumerate(self.ranges)
            for counted in count_range.counted
        }

        def more(kind: str, area: str) -> Floats:
            """How many more of a kind than stated."""
            of_kind = [counted for counted in numbers if (counted.kind, counted.area) == (kind, area)]
            added = [numbers[counted] - self.stated[counted] for counted in of_kind]
            return np.asarray(sum(added, np.zeros(len(combinations))))

        for area, plan in self.plans.items():
            stations, bays = Counted(STATIONS, area=area), Counted(BAYS, area=area)
            if plan.arrangement.in_truck:
                numbers[stations] = self.stated[stations] + more(CHARGERS, area)
            elif self.scenario.layouts[self.layout].by_area[area].bays is None:
                of_stations = more(STATIONS, area) * plan.arrangement.empty_bays
                numbers[bays] = self.stated[bays] + more(BATTERIES, area) + of_stations
        return numbers

    def unit_cost(self, count_range: CountRange) -> float:
        """Cost of one more of it in a year; of an attendant, of one on every shift. [currency/year]"""
        plan = self.plans.get(count_range.area)
        spot = count_range.kind == CHARGERS and plan is not None and plan.arrangement.in_truck
        counted = (*count_range.counted, *[Counted(STATIONS)] * spot)
        return sum(self.units.by_counted[thing.anywhere].per_year for thing in counted)

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
            rule = f"no count of this name in layout '{layout}'{_meant(name, list(every))}"
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", rule))
        elif not (least := min(1, *every[name].values)) <= low <= high:
            rule = f"must rise from {least} or more"
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", rule, f"{low}:{high}"))
    if problems:
        raise ScenarioError(scenario.file, problems)
    if given:
        return tuple(every[name].within(low, high) for name, (low, high) in given.items())
    return tuple(count_range for count_range in every.values() if len(count_range.values) > 1)


def _meant(name: str, known: list[str]) -> str:
    """End a message with what may be meant by a name: it in each area that has it, or the nearest."""
    in_areas = [each for each in known if each.startswith(f"{name} of ")]
    return f"; say of which area: {', '.join(in_areas)}" if in_areas else did_you_mean(name, known)


def _every_range(scenario: Scenario, layout: str) -> Iterator[CountRange]:
    """Everything that a layout has a limited number of, with the values that are looked through when none are given."""
    numbers, in_truck = counts_of(scenario, layout), True
    for area, site in scenario.areas_of(layout).items():
        of_area = _OfArea(scenario, site, layout, area, numbers)
        in_truck &= of_area.plan.arrangement.in_truck
        yield from of_area.ranges()
    if not in_truck and scenario.layouts[layout].areas:
        yield from _attendants(numbers, "")


class _OfArea:
    """Ranges of what one area has."""

    def __init__(
        self, scenario: Scenario, site: Scenario, layout: str, area: str, numbers: dict[Counted, float]
    ) -> None:
        self.scenario, self.site, self.layout, self.area, self.all_numbers = scenario, site, layout, area, numbers
        self.numbers = {counted: number for counted, number in numbers.items() if counted.area == area}
        self.plan = week_plan(site, layout)

    def ranges(self) -> Iterator[CountRange]:
        """All of them."""
        if self.plan.arrangement.in_truck:
            yield from self._chargers(0.0, sum(self.site.batteries_of(self.layout).values()))
            return
        most = self._most_batteries()
        yield from self._batteries(most)
        yield from self._chargers(BEYOND, next(iter(most.values())))
        yield from self._stations()
        yield from _attendants(self.numbers, self.area)

    def _most_batteries(self) -> dict[str, int]:
        """Batteries of each type up to which is looked: half as many again as is stated or a rule of thumb says."""
        (in_short,) = (first for first in outline(self.site).layouts if first.name == self.layout)
        per_truck = {
            stock.battery_type: 0.0 if np.isnan(stock.per_truck) else stock.per_truck for stock in in_short.stock
        }
        trucks = self.site.trucks_by_battery
        return {
            name: max(round(BEYOND * max(number, per_truck[name] * trucks[name])), trucks[name] + 2)
            for name, number in self.site.batteries_of(self.layout).items()
        }

    def _batteries(self, most: dict[str, int]) -> Iterator[CountRange]:
        """Batteries of each type, or of each lot of which more can be had: from one more than trucks in all."""
        batteries, trucks_by_battery = self.site.batteries_of(self.layout), self.site.trucks_by_battery
        growing = [counted for counted in self.numbers if can_grow(self.site, counted)]
        for counted in [counted for counted in growing if counted.kind == BATTERIES]:
            name, number = counted.name, self.numbers[counted]
            others = int(batteries[name] - number)
            label = " ".join((BATTERIES, *[name] * (len(batteries) > 1), *[counted.lot] * bool(counted.lot)))
            least = max(0, trucks_by_battery[name] + 1 - others)
            yield _range(label, (counted,), least, max(most[name] - others, least + 1), number)

    def _chargers(self, beyond: float, most: int) -> Iterator[CountRange]:
        """Chargers of each type with a limit, up to so many, and so many times what is stated.

        Those that are bought no longer are kept: no fewer, and no more than are there.
        """
        chargers = {counted: number for counted, number in self.numbers.items() if counted.kind == CHARGERS}
        for counted, number in chargers.items():
            if number < UNLIMITED:
                label = f"{CHARGERS} {counted.name}" if len(chargers) > 1 else CHARGERS
                least, up_to = 1, max(round(beyond * number), most)
                if not can_grow(self.site, counted):
                    least, up_to = int(number), int(number + self._not_in_use(counted))
                yield _range(label, (counted,), least, up_to, number)

    def _not_in_use(self, counted: Counted) -> float:
        """How many are there of chargers that are bought no longer, over those that the areas use."""
        kept = self.scenario.kept(self.layout, counted.name)
        return 0.0 if kept is None else kept.number - in_all(self.all_numbers)[counted.anywhere]

    def _stations(self) -> Iterator[CountRange]:
        """Stations, and devices as far as an exchange at each of them needs them."""
        plan, most_stations, trucks = self.plan, 1, sum(group.count for group in self.site.trucks)
        if plan.stations < UNLIMITED:
            most_stations = max(FEW, round(BEYOND * plan.stations))
            counted = Counted(STATIONS, area=self.area)
            yield _range(STATIONS, (counted,), 1, min(most_stations, trucks), plan.stations)
        for name, held in (plan.exchange.attendants.devices if plan.exchange is not None else {}).items():
            if (number := plan.devices[name]) < UNLIMITED:
                counted = Counted(DEVICES, name, area=self.area)
                yield _range(name, (counted,), held, max(held * most_stations, int(number)), number)


def _attendants(numbers: dict[Counted, float], area: str) -> Iterator[CountRange]:
    """Attendants of an area, or shared, on each shift that has any."""
    of_area = {counted: number for counted, number in numbers.items() if counted.area == area}
    on_duty = {counted: number for counted, number in of_area.items() if counted.kind == ATTENDANTS and number}
    if on_duty:
        most_people = max(FEW, round(BEYOND * max(on_duty.values())))
        yield _range(ATTENDANTS, tuple(on_duty), 1, most_people, max(on_duty.values()))


def _range(thing: str, counted: tuple[Counted, ...], low: int, high: int, stated: float) -> CountRange:
    """Range of all whole numbers between two."""
    return CountRange(thing + _of_area(counted[0].area), counted, tuple(range(low, high + 1)), int(stated))


def _of_area(area: str) -> str:
    """Words that tell the area; none where the layout is one area."""
    return f" of {area}" if area else ""
