"""The points of a study: its design on the unit cube, turned into values of its factors."""

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod
from typing import Any

import numpy as np

from batsim.catalogue import FIGURES
from batsim.errors import Problem, ScenarioError
from batsim.room.plans.blueprint import blueprint_of
from batsim.scenario.factors import Between, Factor, StatedNumber
from batsim.scenario.reading import build, source_of
from batsim.scenario.site import Scenario
from batsim.scenario.study_file import GRID, LATIN_HYPERCUBE, MORRIS, MOST_POINTS, ONE_AT_A_TIME, Design, Study
from batsim.scenario.text.located_data import path_text
from batsim.scenario.unknowns import FIGURES_KEY
from batsim.statistics.designs import MorrisDesign, SobolDesign, latin_hypercube, morris, one_at_a_time, sobol
from batsim.statistics.intervals import Floats

Point = dict[str, Any]
"""What is stated otherwise at a point, by path."""


@dataclass(frozen=True)
class Points:
    """Points of a study in the order of its design."""

    factors: tuple[Factor, ...]
    design: Design
    seed: int

    @cached_property
    def made(self) -> MorrisDesign | SobolDesign | None:
        """Design with a structure of its own, which its evaluation needs."""
        if self.design.kind == MORRIS:
            return morris(self.design.number, len(self.factors), self.design.levels, self.seed)
        if self.design.kind in (GRID, ONE_AT_A_TIME, LATIN_HYPERCUBE):
            return None
        return sobol(self.design.number, len(self.factors), self.seed)

    @cached_property
    def cube(self) -> Floats:
        """Points on the unit cube (points, factors); of a grid and of one at a time, there is none."""
        count = len(self.factors)
        if self.made is not None:
            return self.made.rows
        if self.design.kind == LATIN_HYPERCUBE:
            return latin_hypercube(self.design.number, count, self.seed)
        return np.empty((0, count))

    @cached_property
    def all(self) -> tuple[Point, ...]:
        """Every point."""
        paths = [factor.path for factor in self.factors]
        if self.design.kind == GRID:
            rows = product(*(factor.levels for factor in self.factors))
            return tuple(dict(zip(paths, values, strict=True)) for values in rows)
        if self.design.kind == ONE_AT_A_TIME:
            return tuple(self._stepped(steps) for steps in one_at_a_time(len(self.factors)).tolist())
        return tuple(
            {factor.path: factor.at(share) for factor, share in zip(self.factors, shares, strict=True)}
            for shares in self.cube.tolist()
        )

    def _stepped(self, steps: list[float]) -> Point:
        """Point at which factors are at their low (-1) or high (1) end, or as stated (0)."""
        return {
            factor.path: factor.low if step < 0 else factor.high
            for factor, step in zip(self.factors, steps, strict=True)
            if step
        }

    def __len__(self) -> int:
        number, factors = self.design.number, len(self.factors)
        match self.design.kind:
            case "grid":
                return prod(len(factor.levels) for factor in self.factors)
            case "one_at_a_time":
                return 2 * factors + 1
            case "morris":
                return number * (factors + 1)
            case "sobol":
                return number * (factors + 2)
        return number


def points_of(study: Study, seed: int) -> Points:
    """Points of a study, the figures of the catalogue among its factors where it asks for them.

    Raises
    ------
    ScenarioError
        When there would be too many, or the catalogue adds nothing and there is nothing else.
    """
    factors = study.factors
    if study.catalogue:
        varied = {factor.path for factor in factors}
        ranged = ranged_figures(study.scenario, study.layouts)
        factors = (*factors, *(factor for factor in ranged if factor.path not in varied))
    points = Points(factors, study.design, seed)
    if len(points) > MOST_POINTS:
        rule = f"gives {len(points)} points; at most {MOST_POINTS} are run, so state fewer values or another design"
        raise ScenarioError(study.file, [Problem(study.file, 0, 0, "design", rule)])
    return points


def figures_asked(scenario: Scenario, layouts: tuple[str, ...]) -> set[str]:
    """Names of the figures of the catalogue that the layouts rest on when they are simulated."""
    asked: set[str] = set()
    noting = build(source_of(scenario), asked)
    for layout in layouts:
        blueprint_of(noting, layout, noting.simulation.length_min, noting.simulation.warm_up_min)
    return asked


def ranged_figures(scenario: Scenario, layouts: tuple[str, ...]) -> tuple[Between, ...]:
    """Figures of the catalogue that the layouts rest on and that have a range, as factors from low to high."""
    asked = figures_asked(scenario, layouts)
    return tuple(
        Between(
            path_text((FIGURES_KEY, figure.name)),
            (_amount(figure.low, figure.unit), _amount(figure.high, figure.unit)),
            _amount(figure.value, figure.unit),
        )
        for figure in FIGURES.values()
        if figure.name in asked and figure.has_range and figure.name not in scenario.figures.stated
    )


def _amount(number: float, unit: str) -> StatedNumber:
    return StatedNumber(number, "" if unit == "1" else unit, whole=False)
