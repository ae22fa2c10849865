"""Made-up rooms for tests of decisions: what a plan costs and how long its trucks stand are plain functions of it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import numpy as np

import batsim
from batsim.decision.counts import CountRange
from batsim.decision.space import Point, Space
from batsim.decision.trials import DECIDING, Trial, Trials
from batsim.scenario.settings import Settings
from batsim.study.levers import Choice
from batsim.study.limits import Limit
from batsim.study.running.counts import Counted
from batsim.study.running.estimates import Table

SMALL = batsim.read(Path(__file__).parents[1] / "cases" / "size_small.yaml")
SCHEDULE = Settings(workers=1).schedule(SMALL)
DOWNTIME = Limit("downtime", DECIDING, 10.0, 1.0, 0.5, "downtime at most 10 min per truck-shift")


class Said(NamedTuple):
    """What one replication of a plan says."""

    running: float
    """Cost of all but what is bought and people. [currency/year]"""
    measures: Mapping[str, float]
    lost: float = 0.0
    """Part of it for which time is lost. [currency/year]"""


Room = Callable[[Point, int], Said]
"""What comes of a point in the replication of a number."""


@dataclass
class MadeUpTrial(Trial):
    """A point of which it is known what comes of it."""

    price: float = 0.0
    """Of what is bought and of people. [currency/year]"""
    said: list[Mapping[str, float]] = field(default_factory=list)
    """Measures of each replication."""

    @property
    def bought(self) -> float:  # type: ignore[override]
        """As stated."""
        return self.price

    def waited_share(self, kind: str) -> float:
        """Nobody tells what is waited for."""
        return 1.0

    def say(self, said: Said) -> None:
        """Add a replication."""
        self.taken.append(())
        self.said.append(said.measures)
        self.costs.append(self.price + said.running)
        self.saved.append(said.lost)

    def _table(self, part: tuple[str, str], replications: int) -> Table:
        """The same in every part."""
        return {name: np.array([each[name] for each in self.said[:replications]]) for name in self.said[0]}


class MadeUpTrials(Trials):
    """Looks at points of a made-up room."""

    def __init__(
        self,
        space: Space,
        room: Room,
        bought: Callable[[Point], float] = lambda _: 0.0,
        refused: Callable[[Point], str] = lambda _: "",
    ) -> None:
        super().__init__(SCHEDULE, space, lambda _: [])
        self.room, self.price_of, self.rule_of = room, bought, refused

    def trial(self, point: Point) -> Trial:
        """New where there is none."""
        if point not in self.tried:
            rule = self.rule_of(point)
            self.tried[point] = MadeUpTrial(self.space, point, SCHEDULE, rule, price=self.price_of(point))
        return self.tried[point]

    def look(self, points: Sequence[Point], replications: int) -> list[Trial]:
        """Ask the room as often as this at least."""
        trials = [self.trial(point) for point in points]
        for trial in trials:
            assert isinstance(trial, MadeUpTrial)
            while not trial.refused and trial.replications < replications:
                trial.say(self.room(trial.point, trial.replications))
                self.runs += 1
        return trials

    @property
    def simulated(self) -> list[Trial]:
        """Points that were looked at."""
        return [trial for trial in self.tried.values() if trial.replications]


def space_of(ranges: Sequence[CountRange], prices: Mapping[Counted, float], choices: Sequence[Choice] = ()) -> Space:
    """A space with prices of one more of each thing."""
    space = Space(SMALL, "room", tuple(ranges), tuple(choices))
    units = {counted: SimpleNamespace(per_year=price) for counted, price in prices.items()}
    space.__dict__["units"] = SimpleNamespace(by_counted=units)
    return space
