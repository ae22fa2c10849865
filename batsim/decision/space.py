"""What a plan may choose: counts and levers as one space of points, and what a point costs before it is simulated."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from batsim.decision.counts import CountRange
from batsim.errors import ScenarioError
from batsim.scenario.site import Scenario
from batsim.study.cost import CostLine, UnitCosts, cost_lines
from batsim.study.levers import (
    AT_LEVEL,
    BY_ATTENDANTS,
    BY_DRIVERS,
    CHARGING,
    NOT_ABOVE,
    WITHOUT_ATTENDANTS,
    Choice,
    Lever,
)
from batsim.study.running.counts import ATTENDANTS, BATTERIES, BAYS, CHARGERS, DEVICES, STATIONS, Counts, with_counts

Point = tuple[int, ...]
"""A number for each range, then for each choice the number of the way in which it is done."""
Move = dict[int, int]
"""By position in a point: how much one step adds to a count, or the way that is taken."""
MANY = (BATTERIES, CHARGERS, BAYS)
"""What there is a lot of, so that its first steps are long."""
WHO = (BY_DRIVERS, BY_ATTENDANTS)
"""Levers that say who exchanges."""
LONG, SHORT = 8, 4
"""Parts of the way from the fewest to enough that the first steps are: of what there is a lot of, and of the rest."""


@dataclass(frozen=True)
class Space:
    """All points of a layout.

    Parameters
    ----------
    scenario, layout
        The site and the layout as stated.
    ranges
        Counts that may be chosen.
    choices
        What may be done in one of several ways.
    """

    scenario: Scenario
    layout: str
    ranges: tuple[CountRange, ...]
    choices: tuple[Choice, ...] = ()

    @property
    def stated(self) -> Point:
        """The layout as stated, as far as the ranges let it."""
        counts = (min(max(each.stated, each.low), each.high) for each in self.ranges)
        return (*counts, *(0 for _ in self.choices))

    @property
    def generous(self) -> Point:
        """Enough of everything, as far as a rule of thumb tells, all else as stated."""
        return (*(max(each.generous, number) for each, number in zip(self.ranges, self.stated, strict=False)),
                *(0 for _ in self.choices))  # fmt: skip

    @property
    def fewest(self) -> Point:
        """As few of everything as may be, all else as stated."""
        return (*(each.low for each in self.ranges), *(0 for _ in self.choices))

    def levers(self, point: Point) -> tuple[Lever, ...]:
        """What is done otherwise than stated."""
        ways = zip(self.choices, point[len(self.ranges) :], strict=True)
        return tuple(lever for choice, way in ways for lever in choice.options[way])

    def without_idle(self, point: Point) -> Point:
        """The same plan with whatever has no effect in it at one value, so that each plan is one point.

        Nobody counts attendants, or asks who exchanges, where drivers do it all; nor is a level asked for at a shift
        change at which no truck comes. One attendant stands on each shift then: from there a plan with attendants is
        found again.
        """
        levers = self.levers(point)
        nobody = any(lever.kind == WITHOUT_ATTENDANTS for lever in levers)
        elsewhen = {lever.of for lever in levers if lever.kind == AT_LEVEL}
        idle = [nobody and each.kind == ATTENDANTS for each in self.ranges]
        idle += [_has_no_effect(choice, elsewhen, nobody=nobody) for choice in self.choices]
        numbers = zip(point, self._at_rest, idle, strict=True)
        return tuple(rest if has_none else number for number, rest, has_none in numbers)

    @cached_property
    def _at_rest(self) -> Point:
        """Values of what has no effect: one attendant on each shift that has any, all else as stated."""
        counts = (
            min(each.stated, max(1, each.low)) if each.kind == ATTENDANTS else number
            for each, number in zip(self.ranges, self.stated, strict=False)
        )
        return (*counts, *(0 for _ in self.choices))

    def changes(self, point: Point) -> Counts:
        """What a job carries."""
        levers = self.levers(point)
        nobody = any(lever.kind == WITHOUT_ATTENDANTS for lever in levers)
        numbers = tuple(
            (each.counted, number)
            for each, number in zip(self.ranges, point, strict=False)
            if not (nobody and each.kind == ATTENDANTS)
        )
        return Counts(self.layout, numbers, levers)

    def made(self, point: Point) -> Scenario:
        """Scenario in which the layout is that of a point.

        Raises
        ------
        ScenarioError
            When it breaks a rule.
        """
        return with_counts(self.scenario, self.changes(point))

    def attempt(self, point: Point) -> tuple[Scenario | None, str]:
        """Scenario of a point, or the rule that it breaks."""
        try:
            return self.made(point), ""
        except ScenarioError as error:
            return None, str(error)

    @cached_property
    def units(self) -> UnitCosts:
        """What one more of each thing costs."""
        return UnitCosts(self.scenario, self.layout)

    def cost_lines(self, scenario: Scenario) -> tuple[CostLine, ...]:
        """What a year of what is bought and of attendants costs, thing by thing, in the scenario of a point."""
        return cost_lines(scenario, self.layout, self.units)

    @cached_property
    def counting(self) -> tuple[Move, ...]:
        """Steps by which counts change: what goes together first, then each alone, the dearest step first."""
        alone: list[Move] = [{position: 1} for position in range(len(self.ranges))]
        together = [move for area in dict.fromkeys(each.area for each in self.ranges) for move in self._together(area)]
        return (*sorted(together, key=self._dearness), *sorted(alone, key=self._dearness), *self._trading())

    @property
    def counting_of_charging(self) -> tuple[Move, ...]:
        """Those of chargers and batteries, on which it hangs when charges end."""
        kinds = (BATTERIES, CHARGERS)
        return tuple(move for move in self.counting if all(self.ranges[each].kind in kinds for each in move))

    @property
    def adding(self) -> tuple[Move, ...]:
        """Those that do not trade one thing for another."""
        return tuple(move for move in self.counting if -1 not in move.values())

    def _trading(self) -> Iterator[Move]:
        """One fewer of a thing for one more of the same kind in an area: attendants of other shifts, other types."""
        for (one, mine), (other, theirs) in combinations(enumerate(self.ranges), 2):
            if mine.area == theirs.area and mine.kind == theirs.kind != DEVICES:
                yield {one: -1, other: 1}

    def _together(self, area: str) -> Iterator[Move]:
        """Stations with the devices that an exchange holds at each, and attendants on all shifts that have any."""
        stations, devices, attendants = (self._of_kind(area, kind) for kind in (STATIONS, DEVICES, ATTENDANTS))
        if devices and stations:
            yield dict.fromkeys(stations, 1) | {position: self.ranges[position].held for position in devices}
        if len(shifts := [position for position in attendants if self.ranges[position].stated]) > 1:
            yield dict.fromkeys(shifts, 1)

    def _of_kind(self, area: str, kind: str) -> list[int]:
        """Positions of what there is of a kind in an area."""
        return [position for position, each in enumerate(self.ranges) if (each.area, each.kind) == (area, kind)]

    def _dearness(self, move: Move) -> float:
        """What its first step costs in a year, less than nothing. [currency/year]"""
        units = self.units.by_counted
        each = {position: units.get(self.ranges[position].counted.anywhere) for position in move}
        return -self.first_step(move) * sum(unit.per_year * move[position] for position, unit in each.items() if unit)

    def first_step(self, move: Move) -> int:
        """Length of its first step: a part of the way from the fewest to enough."""
        longest = 1
        for position in () if -1 in move.values() else move:  # a trade is of one
            each = self.ranges[position]
            parts = LONG if each.kind in MANY else SHORT
            longest = max(longest, (each.generous - each.low) // parts)
        return longest

    def moved(self, point: Point, move: Move, steps: int) -> Point:
        """Point some steps on, or back, as far as the ranges go."""
        counts = list(point)
        for position, each in move.items():
            low, high = self.ranges[position].low, self.ranges[position].high
            counts[position] = min(max(counts[position] + steps * each, low), high)
        return self.without_idle(tuple(counts))

    @property
    def turning(self) -> tuple[Move, ...]:
        """Every other way of each choice but of charging; other people in all shifts of an area, or in all but one."""
        return tuple(move for move in self._turning if not self.concerns(move, CHARGING))

    @property
    def turning_of_charging(self) -> tuple[Move, ...]:
        """Every other way of charging: runs with a power limit take long, so these are looked at last."""
        return tuple(move for move in self._turning if self.concerns(move, CHARGING))

    @cached_property
    def _turning(self) -> tuple[Move, ...]:
        """All of them."""
        choices = list(enumerate(self.choices, len(self.ranges)))
        together = self._all_shifts
        but_one = [{**move, position: 0} for move in together for position in move]
        # Without attendants nobody asks who exchanges: they come back together with that.
        nobody: Move = {position: 0 for position, choice in choices if _is_about(choice, WITHOUT_ATTENDANTS)}
        back = [nobody | move for move in ((*together, *but_one) if nobody else but_one)]
        alone = [{position: way} for position, choice in choices for way in range(len(choice.options))]
        return (*together, *(dict.fromkeys(move, 0) for move in together), *back, *alone)

    @property
    def _all_shifts(self) -> list[Move]:
        """The other people in all shifts of an area."""
        together: dict[str, Move] = {}
        for position, choice in enumerate(self.choices, len(self.ranges)):
            if _is_about(choice, *WHO):
                together.setdefault(choice.of, {})[position] = 1
        return [move for move in together.values() if len(move) > 1]

    def turned(self, point: Point, move: Move) -> Point:
        """Point with other ways of some choices."""
        return self.without_idle(tuple(move.get(position, number) for position, number in enumerate(point)))

    def matters(self, move: Move, group: str) -> bool:
        """Whether a change may matter to a truck group, to any where that is empty.

        In its area, of people whom areas share, or of who exchanges in all shifts of another area, which spares these.
        """
        if not group or (len(move) > 1 and min(move) >= len(self.ranges)):
            return True
        area = self._areas[group]
        return any(self._area_at(position) in ("", area) for position in move)

    @cached_property
    def _areas(self) -> dict[str, str]:
        """Area of each truck group."""
        areas = self.scenario.areas_of(self.layout).items()
        return {group.group: area for area, site in areas for group in site.trucks}

    def _area_at(self, position: int) -> str:
        """Area of a range or a choice; empty where it is of all."""
        if position < len(self.ranges):
            return self.ranges[position].area
        of = self.choices[position - len(self.ranges)].of
        return self._areas.get(of, of)

    def concerns(self, move: Move, subject: str) -> bool:
        """Whether a turn is about a subject of levers."""
        return any(self.choices[position - len(self.ranges)].subject == subject for position in move)


def _has_no_effect(choice: Choice, elsewhen: Collection[str], *, nobody: bool) -> bool:
    """Whether a choice has none: without attendants, or where trucks of a group do not come at the shift change."""
    return (nobody and _is_about(choice, *WHO)) or (choice.of in elsewhen and _is_about(choice, NOT_ABOVE))


def _is_about(choice: Choice, *kinds: str) -> bool:
    """Whether all levers of a choice are of some kinds."""
    return all(lever.kind in kinds for way in choice.options for lever in way)
