"""The counts that sizing may choose: dimensions with their values and costs, and every cell of their grid."""

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from batsim.errors import Problem, ScenarioError
from batsim.room.blueprint import Blueprint, blueprint_of
from batsim.scenario.parts.base import UNLIMITED, did_you_mean
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.text.yaml_text import path_text
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.first_estimate import outline

if TYPE_CHECKING:
    from batsim.scenario.parts.layouts import OnDuty
    from batsim.scenario.site import Scenario

    Ints = np.ndarray[tuple[int, int], np.dtype[np.int64]]
    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]

BATTERIES, CHARGERS, STATIONS, ATTENDANTS = "batteries", "chargers", "stations", "attendants"
MOST_VALUES = 16
"""Values of one dimension in the first round; more are thinned out evenly and filled in around the answer."""
MOST_CELLS = 200_000
BEYOND = 1.5
"""Counts go up to so many times what is stated."""
FEW = 4
"""Stations and attendants on a shift go up to this at least."""

Ranges = dict[str, tuple[int, int]]
"""Least and most of a count by the name of its dimension."""


class Dimension(NamedTuple):
    """Something of which there may be more or fewer."""

    name: str
    """batteries, chargers, stations, attendants or the name of a device; with the type where there are several."""
    kind: str
    """batteries, chargers, stations, attendants or device."""
    of: str
    """Type of battery or charger, kind of device."""
    values: tuple[int, ...]
    """What may be chosen, rising."""
    stated: int
    """What the scenario says."""

    @property
    def label(self) -> str:
        """Its name in words."""
        return self.name.replace("_", " ")

    def within(self, low: int, high: int) -> "Dimension":
        """Copy with every value between two."""
        return self._replace(values=tuple(range(low, high + 1)))


@dataclass(frozen=True)
class Grid:
    """All cells of some dimensions of a layout."""

    scenario: "Scenario"
    layout: str
    dimensions: tuple[Dimension, ...]

    @cached_property
    def cells(self) -> "Ints":
        """Counts, a row for each cell, a column for each dimension; more devices than stations can use are left out."""
        cells = np.array(list(product(*(each.values for each in self.dimensions))), dtype=np.int64)
        names = [each.kind for each in self.dimensions]
        if STATIONS not in names:
            return cells
        stations = cells[:, names.index(STATIONS)]
        keep = np.ones(len(cells), dtype=bool)
        for column, each in enumerate(self.dimensions):
            if each.kind == "device":
                usable = np.maximum(stations * self.held.get(each.of, 1), min(each.values))
                keep &= cells[:, column] <= usable
        return cells[keep]

    @cached_property
    def plan(self) -> Blueprint:
        """Layout as it is stated."""
        return blueprint_of(self.scenario, self.layout, WEEK_MIN, 0.0)

    @cached_property
    def held(self) -> dict[str, int]:
        """Devices that one exchange holds."""
        return dict(self.plan.exchange.devices) if self.plan.exchange is not None else {}

    @cached_property
    def units(self) -> UnitCosts:
        """What one more of each thing costs."""
        return UnitCosts(self.scenario, self.layout)

    @cached_property
    def costs(self) -> "Floats":
        """Cost of each cell in a year, bays included. [currency/year]"""
        return self.costs_of(self.cells)

    def costs_of(self, cells: "Ints") -> "Floats":
        """Cost of any cells in a year. [currency/year]"""
        more, total = self._more(cells), np.zeros(len(cells))
        for line in cost_lines(self.scenario, self.layout, self.units):
            number = line.number + more.get((line.unit.thing, line.unit.name), 0)
            total += np.maximum(number - line.owned, 0.0) * line.unit.per_year
        return total

    def _more(self, cells: "Ints") -> dict[tuple[str, str], "Floats"]:
        """How many more of each thing cells have than is stated; bays and spots go with what stands there."""
        stated, in_truck = self.scenario.layouts[self.layout], self.plan.arrangement.in_truck
        attendants = stated.attendants if isinstance(stated.attendants, dict) else {}
        found: dict[tuple[str, str], Floats] = {}
        bays, stations = np.zeros(len(cells)), np.zeros(len(cells))
        for column, each in enumerate(self.dimensions):
            number = cells[:, column].astype(np.float64)
            match each.kind:
                case "batteries":
                    found["battery", each.of] = number - each.stated
                    bays += number - each.stated
                case "chargers":
                    found["charger", each.of] = number - each.stated
                    stations += number - each.stated if in_truck else 0.0
                case "stations":
                    stations += number - each.stated
                    bays += (number - each.stated) * self.plan.arrangement.empty_bays
                case "attendants":
                    found |= {("attendant", shift): number - int(attendants[shift]) for shift in self.shifts}
                case _:
                    found["device", each.of] = number - each.stated
        found["station", ""] = stations
        if stated.bays is None and not in_truck:
            found["bay", ""] = bays
        return found

    def unit_cost(self, dimension: Dimension) -> float:
        """Cost of one more of it in a year; of an attendant, of one on every shift. [currency/year]"""
        units = self.units
        match dimension.kind:
            case "batteries":
                return units.batteries[dimension.of].per_year
            case "chargers":
                spot = units.station.per_year if self.plan.arrangement.in_truck else 0.0
                return units.chargers[dimension.of].per_year + spot
            case "stations":
                return units.station.per_year
            case "attendants":
                return sum(units.attendants[shift].per_year for shift in self.shifts)
        return units.devices[dimension.of].per_year

    @property
    def _chargers(self) -> list[tuple[str, float]]:
        """Chargers by type, as stated."""
        return list(zip(self.plan.charger_names, self.plan.charger_counts, strict=True))

    @cached_property
    def shifts(self) -> tuple[str, ...]:
        """Shifts on which there are attendants."""
        attendants = self.scenario.layouts[self.layout].attendants
        return tuple(shift for shift, count in attendants.items() if count) if isinstance(attendants, dict) else ()

    def changes(self, cell: "Floats | Ints | tuple[int, ...]") -> dict[str, Any]:
        """What a cell states otherwise, by path of the scenario."""
        stated = self.scenario.layouts[self.layout]
        numbers = np.asarray(cell).tolist()
        counts: dict[Dimension, int] = dict(zip(self.dimensions, numbers, strict=True))
        found: dict[str, Any] = {}
        batteries = {each.of: number for each, number in counts.items() if each.kind == BATTERIES}
        if batteries:
            found[BATTERIES] = self.scenario.batteries_of(self.layout) | batteries
        chargers = {each.of: number for each, number in counts.items() if each.kind == CHARGERS}
        if chargers:
            kept_chargers: dict[str, float] = dict(self._chargers)
            found[CHARGERS] = [f"{_whole(count)} x {name}" for name, count in {**kept_chargers, **chargers}.items()]
        devices: dict[str, float] = {each.of: number for each, number in counts.items() if each.kind == "device"}
        if devices:
            kept: dict[str, float] = {**stated.devices, **devices}
            found["devices"] = {name: _whole(count) for name, count in kept.items()}
        for each, number in counts.items():
            if each.kind == STATIONS:
                found[STATIONS] = number
            elif each.kind == ATTENDANTS and isinstance(stated.attendants, dict):
                found["attendants"] = {shift: _attendants(on_it, number) for shift, on_it in stated.attendants.items()}
        return {path_text(("layouts", self.layout, key)): value for key, value in found.items()}


def dimensions_of(scenario: "Scenario", layout: str, ranges: Ranges) -> tuple[Dimension, ...]:
    """Dimensions of a layout: those of which a range is given, or all that have a limit.

    Raises
    ------
    ScenarioError
        When a range is given of something that the layout does not have, or it is empty.
    """
    every = {each.name: each for each in _dimensions(scenario, layout)}
    problems = []
    for name, (low, high) in ranges.items():
        if name not in every:
            rule = f"no count of this name in layout '{layout}'{did_you_mean(name, list(every))}"
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", rule))
        elif not 1 <= low <= high:
            problems.append(Problem(scenario.file, 0, 0, f"range {name}", "must rise from 1 or more", f"{low}:{high}"))
    if problems:
        raise ScenarioError(scenario.file, problems)
    if ranges:
        return tuple(every[name].within(low, high) for name, (low, high) in ranges.items())
    return tuple(each for each in every.values() if len(each.values) > 1)


def thinned(dimension: Dimension) -> Dimension:
    """Copy with at most so many values, evenly spread, both ends and what is stated among them."""
    values = dimension.values
    if len(values) <= MOST_VALUES:
        return dimension
    picked = {values[round(bay)] for bay in np.linspace(0, len(values) - 1, MOST_VALUES)}
    if dimension.stated in values:
        picked.add(dimension.stated)
    return dimension._replace(values=tuple(sorted(picked)))


def _dimensions(scenario: "Scenario", layout: str) -> list[Dimension]:
    """All dimensions of a layout with the ranges that are looked through when none are given."""
    stated, plan = scenario.layouts[layout], blueprint_of(scenario, layout, WEEK_MIN, 0.0)
    found: list[Dimension] = []
    batteries = scenario.batteries_of(layout)
    if not plan.arrangement.in_truck:
        found += _batteries(scenario, layout, batteries)
    in_all = sum(batteries.values())
    several = len(plan.charger_names) > 1
    for name, count in zip(plan.charger_names, plan.charger_counts, strict=True):
        if count < UNLIMITED:
            most = (
                in_all if plan.arrangement.in_truck else max(round(BEYOND * count), found[0].values[-1] if found else 1)
            )
            label = f"{CHARGERS} {name}" if several else CHARGERS
            found.append(Dimension(label, CHARGERS, name, tuple(range(1, int(most) + 1)), int(count)))
    if plan.arrangement.in_truck:
        return found
    most_stations = max(FEW, round(BEYOND * plan.stations)) if plan.stations < UNLIMITED else 0
    if most_stations:
        values = tuple(range(1, min(most_stations, sum(line.trucks for line in plan.battery_plans)) + 1))
        found.append(Dimension(STATIONS, STATIONS, "", values, int(plan.stations)))
    held = plan.exchange.devices if plan.exchange is not None else {}
    for name, count in plan.devices.items():
        if count < UNLIMITED and name in held:
            most = max(held[name] * max(most_stations, 1), int(count))
            found.append(Dimension(name, "device", name, tuple(range(held[name], most + 1)), int(count)))
    if isinstance(stated.attendants, dict) and any(stated.attendants.values()):
        most = max(FEW, round(BEYOND * max(stated.attendants.values())))
        on_duty = int(max(stated.attendants.values()))
        found.append(Dimension(ATTENDANTS, ATTENDANTS, "", tuple(range(1, most + 1)), on_duty))
    return found


def _batteries(scenario: "Scenario", layout: str, counts: dict[str, int]) -> list[Dimension]:
    """Batteries of each type: from one more than trucks to half as many again as is stated or a rule of thumb says."""
    stock = {each.battery: each for one in outline(scenario).layouts if one.name == layout for each in one.stock}
    found = []
    for name, count in counts.items():
        trucks = sum(group.count for group in scenario.trucks if group.battery == name)
        thumb = stock[name].per_truck * trucks if stock[name].per_truck == stock[name].per_truck else 0.0
        most = max(round(BEYOND * max(count, thumb)), trucks + 2)
        label = f"{BATTERIES} {name}" if len(counts) > 1 else BATTERIES
        found.append(Dimension(label, BATTERIES, name, tuple(range(trucks + 1, most + 1)), count))
    return found


def _whole(count: float) -> int | str:
    """Write a count as YAML holds it."""
    return "unlimited" if count == UNLIMITED else int(count)


def _attendants(on_it: "OnDuty", number: int) -> object:
    """Attendants of a shift as YAML holds them, with as many more or fewer of them qualified."""
    if not on_it:
        return 0
    if on_it.qualified is None:
        return number
    skills = {skill: max(0, min(number, count + number - int(on_it))) for skill, count in on_it.qualified.items()}
    return {"attendants": number, **skills}
