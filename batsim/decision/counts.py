"""The counts that a plan may choose: what there is to count in a layout, from how few to how many."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from batsim.display import words
from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.study.first_estimate import outline
from batsim.study.running.counts import (
    ATTENDANTS,
    BATTERIES,
    BAYS,
    CHARGERS,
    DEVICES,
    STATIONS,
    Counted,
    can_grow,
    counts_of,
    in_all,
    week_plan,
)

GENEROUS = 1.5
"""Counts begin at so many times what is stated or a rule of thumb says, where what is stated misses a target."""
FEW = 4
"""Stations, and attendants on a shift, at such a beginning: this many at least."""
MOST = 1_000_000
"""Where nothing else limits a count."""

GivenRanges = dict[str, tuple[int, int]]
"""Least and most of a count by the name of its range."""


class CountRange(NamedTuple):
    """Something of which there may be more or fewer."""

    name: str
    """batteries, chargers, stations, attendants, bays or the name of a device; with the type where there are several,
    of attendants with their shift, and with `of` and the area where the layout has areas."""
    counted: Counted
    low: int
    """Fewest that may be chosen."""
    high: int
    """Most that may be chosen."""
    stated: int
    """What the scenario says."""
    generous: int
    """Surely enough, as far as a rule of thumb tells."""
    given: bool = False
    """Whether its ends are given."""
    held: int = 1
    """Of a device, how many one exchange holds."""

    @property
    def kind(self) -> str:
        """batteries, chargers, stations, attendants, bays or devices."""
        return self.counted.kind

    @property
    def area(self) -> str:
        """Area that has it; empty where the layout is one area, and of attendants whom areas share."""
        return self.counted.area

    @property
    def thing(self) -> str:
        """What it is, in words, without its area."""
        name = words(self.name.removesuffix(_of_area(self.area)))
        return f"{ATTENDANTS} ({self.counted.name})" if self.kind == ATTENDANTS else name

    @property
    def label(self) -> str:
        """Its name in words."""
        return self.thing + _of_area(self.area)

    def within(self, low: int, high: int) -> "CountRange":
        """Copy between two given ends."""
        return self._replace(low=low, high=high, generous=min(max(self.generous, low), high), given=True)


def ranges_of(scenario: Scenario, layout: str, given: GivenRanges) -> tuple[CountRange, ...]:
    """Ranges of a layout: those that are given, or of everything that has a limit.

    Raises
    ------
    ScenarioError
        When a range is given of something that the layout does not have, or it is empty.
    """
    every = {count_range.name: count_range for count_range in _every_range(scenario, layout)}
    if not given:
        return tuple(each for each in every.values() if each.low < each.high)
    named = {name: [every[name]] if name in every else _of_all_shifts(name, every) for name in given}
    problems = (_problem(scenario.file, layout, name, given[name], named[name], list(every)) for name in given)
    if found := list(filter(None, problems)):
        raise ScenarioError(scenario.file, found)
    return tuple(each.within(*ends) for name, ends in given.items() for each in named[name])


def _problem(
    file: str, layout: str, name: str, ends: tuple[int, int], named: list[CountRange], known: list[str]
) -> Problem | None:
    """What is wrong with a given range; None where nothing is."""
    if not named:
        rule = f"no count of this name in layout '{layout}'{_meant(name, known)}"
        return Problem(file, 0, 0, f"range {name}", rule)
    least, (low, high) = min([1, *(each.low for each in named)]), ends
    if least <= low <= high:
        return None
    return Problem(file, 0, 0, f"range {name}", f"must rise from {least} or more", f"{low}:{high}")


def _of_all_shifts(name: str, every: dict[str, CountRange]) -> list[CountRange]:
    """Ranges of attendants on each shift, where they are named without one."""
    return [each for each in every.values() if each.kind == ATTENDANTS and name == ATTENDANTS + _of_area(each.area)]


def _meant(name: str, known: list[str]) -> str:
    """End a message with what may be meant by a name: it in each area that has it, or the nearest."""
    in_areas = [each for each in known if each.startswith(f"{name} of ")]
    return f"; say of which area: {', '.join(in_areas)}" if in_areas else did_you_mean(name, known)


def _every_range(scenario: Scenario, layout: str) -> Iterator[CountRange]:
    """Everything that a layout has a limited number of, from the fewest with which it can work."""
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
        self.trucks = sum(group.count for group in site.trucks)

    def ranges(self) -> Iterator[CountRange]:
        """All of them."""
        if self.plan.arrangement.in_truck:
            yield from self._chargers(int(sum(self.site.batteries_of(self.layout).values())))
            return
        yield from self._batteries()
        yield from self._chargers(MOST)
        yield from self._stations()
        yield from self._bays()
        yield from _attendants(self.numbers, self.area)

    def _generous_batteries(self) -> dict[str, int]:
        """Batteries of each type: half as many again as is stated or a rule of thumb says."""
        (in_short,) = (first for first in outline(self.site).layouts if first.name == self.layout)
        per_truck = {
            stock.battery_type: 0.0 if np.isnan(stock.per_truck) else stock.per_truck for stock in in_short.stock
        }
        trucks = self.site.trucks_by_battery
        return {
            name: max(round(GENEROUS * max(number, per_truck[name] * trucks[name])), trucks[name] + 2)
            for name, number in self.site.batteries_of(self.layout).items()
        }

    def _batteries(self) -> Iterator[CountRange]:
        """Batteries of each type, or of each lot of which more can be had: from one more than trucks in all."""
        batteries, trucks_by_battery = self.site.batteries_of(self.layout), self.site.trucks_by_battery
        generous = self._generous_batteries()
        growing = [counted for counted in self.numbers if can_grow(self.site, counted)]
        for counted in [counted for counted in growing if counted.kind == BATTERIES]:
            name, number = counted.name, self.numbers[counted]
            others = int(batteries[name] - number)
            label = " ".join((BATTERIES, *[name] * (len(batteries) > 1), *[counted.lot] * bool(counted.lot)))
            least = max(0, trucks_by_battery[name] + 1 - others)
            yield _range(label, counted, least, MOST, number, max(generous[name] - others, least + 1))

    def _chargers(self, most: int) -> Iterator[CountRange]:
        """Chargers of each type with a limit, up to so many.

        Those that are bought no longer are kept: no fewer, and no more than are there.
        """
        chargers = {counted: number for counted, number in self.numbers.items() if counted.kind == CHARGERS}
        for counted, number in chargers.items():
            if number < UNLIMITED:
                label = f"{CHARGERS} {counted.name}" if len(chargers) > 1 else CHARGERS
                least, up_to = 1, most
                if not can_grow(self.site, counted):
                    least, up_to = int(number), int(number + self._not_in_use(counted))
                generous = max(round(GENEROUS * number), round(number) + 1)
                yield _range(label, counted, least, up_to, number, generous)

    def _not_in_use(self, counted: Counted) -> float:
        """How many are there of chargers that are bought no longer, over those that the areas use."""
        kept = self.scenario.kept(self.layout, counted.name)
        return 0.0 if kept is None else kept.number - in_all(self.all_numbers)[counted.anywhere]

    def _stations(self) -> Iterator[CountRange]:
        """Stations, and devices."""
        plan, generous = self.plan, 1
        if plan.stations < UNLIMITED:
            generous = max(FEW, round(GENEROUS * plan.stations))
            yield _range(STATIONS, Counted(STATIONS, area=self.area), 1, self.trucks, plan.stations, generous)
        for name, held in (plan.exchange.attendants.devices if plan.exchange is not None else {}).items():
            if (number := plan.devices[name]) < UNLIMITED:
                most = max(held * self.trucks, int(number))
                counted = Counted(DEVICES, name, area=self.area)
                enough = max(held * generous, int(number))
                yield _range(name, counted, held, most, number, enough)._replace(held=held)

    def _bays(self) -> Iterator[CountRange]:
        """Bays where a number is stated; else they follow from batteries and stations."""
        stated = self.site.layouts[self.layout].bays
        if stated is not None and stated < UNLIMITED:
            generous = max(round(GENEROUS * stated), round(stated) + 1)
            yield _range(BAYS, Counted(BAYS, area=self.area), 1, MOST, stated, generous)


def _attendants(numbers: dict[Counted, float], area: str) -> Iterator[CountRange]:
    """Attendants of an area, or shared, on each shift: none where there is nothing for them to do."""
    for counted, number in numbers.items():
        if counted.area == area and counted.kind == ATTENDANTS:
            generous = max(FEW, round(GENEROUS * number)) if number else 0
            yield _range(f"{ATTENDANTS} {counted.name}", counted, 0, MOST, number, generous)


def _range(thing: str, counted: Counted, low: int, high: int, stated: float, generous: int) -> CountRange:
    """Range of all whole numbers between two."""
    within = min(max(generous, low), high)
    return CountRange(thing + _of_area(counted.area), counted, low, high, int(stated), within)


def _of_area(area: str) -> str:
    """Words that tell the area; none where the layout is one area."""
    return f" of {area}" if area else ""
