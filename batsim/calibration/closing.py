"""What would close a gap between a model and its logs: inputs tried otherwise, one at a time, on the same work."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, pairwise
from typing import Any, NamedTuple

import numpy as np

from batsim.calibration.beside import Beside, courses
from batsim.calibration.candidates import LOOK_AT, Candidate, Otherwise, allowed, candidates
from batsim.calibration.course import Course, Key
from batsim.display import Frame, Shows, frame_of, listed
from batsim.scenario.settings import Settings
from batsim.statistics.intervals import Floats
from batsim.study.running.runs import plain

REPLICATIONS = 3
"""Runs of each input otherwise: differences of runs of the same random work are told apart by few."""
FURTHER = 3
"""Inputs that are followed beyond their last step, where the gap is still closing there."""
MOST_STEPS = 2
"""Steps that each of them is followed."""
LITTLE_SHARE = 0.3
"""Part of the gap below which what an input closes is no explanation."""
MOST_RIVALS, NEARLY = 3, 0.5
"""Other inputs that are told, and how much of what the best closes they close at least. [-]"""
MOST_SHARE = 0.8
"""Part of the gap above which what an input closes is as good as all."""
Point = tuple[float, Floats]
"""A step of an input, and the gaps there in half-widths."""


class Closer(NamedTuple):
    """An input, and the value at which the gap is least when it alone is otherwise."""

    candidate: Candidate
    step: float
    """How much more or less than stated; between the steps that were run by interpolation, of counts a whole number."""
    left: float
    """Sum of squared gaps that is left, in half-widths."""
    missed: tuple[Key, ...]
    """Numbers that the model would still not give."""

    @property
    def in_words(self) -> str:
        """Such as `1 attendant fewer (late shift)`; empty where it is best as it is stated."""
        return self.candidate.in_words(self.step) if self.step else ""


@dataclass(frozen=True, repr=False)
class Closing(Shows):
    """Inputs that would close the gap between a model and its logs."""

    beside: Beside
    gap: float
    """Sum of squared gaps of the numbers that decide, in half-widths."""
    closers: tuple[Closer, ...]
    """Every input that was tried, the one that closes most first."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return self.sentence

    def closed_share(self, closer: Closer) -> float:
        """Part of the gap that an input closes. [-]"""
        return 1.0 - closer.left / self.gap

    @cached_property
    def best(self) -> Closer | None:
        """The input that closes most alone; none where each closes little."""
        first = next(iter(self.closers), None)
        return first if first is not None and self.closed_share(first) > LITTLE_SHARE else None

    @cached_property
    def rivals(self) -> tuple[Closer, ...]:
        """Other inputs that close nearly as much: within a squared half-width, and half of what the best closes."""
        best = self.best
        if best is None:
            return ()
        near = (
            closer
            for closer in self.closers
            if closer is not best
            and closer.left <= best.left + 1.0
            and self.closed_share(closer) >= NEARLY * self.closed_share(best)
        )
        return tuple(islice(near, MOST_RIVALS))

    @property
    def sentence(self) -> str:
        """What would close the gap, and where to look."""
        if self.best is None:
            return "No input that was tried closes the gap alone: look for what is done otherwise than it is stated."
        share = f"{100.0 * self.closed_share(self.best):.0f} % of the squared gaps"
        count = len(self.best.missed)
        rest = f", {count} number{'s' * (count > 1)} would still not be given" if count else ""
        it = "it" if self.closed_share(self.best) > MOST_SHARE else "part of it"
        names = listed([each.in_words for each in (self.best, *self.rivals)], "or")
        words = f"{names} would close {it} ({share}{rest})"
        look = listed(list(dict.fromkeys(LOOK_AT[each.candidate.kind] for each in (self.best, *self.rivals))))
        return f"{words[0].upper()}{words[1:]}: {look}."

    @property
    def verdict(self) -> str:
        """What the model gives and what it does not, what would close that, and where to look."""
        return f"{self.beside.verdict} {self.sentence}"

    @property
    def frame(self) -> Frame:
        """Tidy table: input, step, in_words, closed_share, left; the input that closes most first."""
        return frame_of(
            [
                (each.candidate.label, each.step, each.in_words, self.closed_share(each), each.left)
                for each in self.closers
            ],
            columns=["input", "step", "in_words", "closed_share", "left"],
        )

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "gap": plain(self.gap),
            "inputs": [
                {
                    "input": each.candidate.label,
                    "kind": each.candidate.kind,
                    "step": plain(each.step),
                    "in_words": each.in_words,
                    "left": plain(each.left),
                    "closed_share": plain(self.closed_share(each)),
                    "still_missed": [{"measure": measure, "where": where.name} for measure, where in each.missed],
                }
                for each in self.closers
            ],
            "sentence": self.sentence,
        }


def closing(compared: Beside, settings: Settings = Settings()) -> Closing | None:
    """Find the input that would close the gap between a model and its logs.

    Parameters
    ----------
    compared
        A layout beside its logs.
    settings
        Their workers and progress hold.

    Returns
    -------
    Closing or None
        How much each input closes when it alone is otherwise; None where there is no gap.
    """
    if compared.holds:
        return None
    layout = compared.layout
    tried = candidates(compared.schedule.scenario, layout)
    search = _Search(compared, settings)
    search.run([Otherwise(each, step) for each in tried for step in each.steps])
    for _ in range(MOST_STEPS):
        closers = sorted((search.closer(each) for each in tried), key=lambda each: each.left)
        search.run([Otherwise(each.candidate, step) for each in closers[:FURTHER] for step in search.beyond(each)])
    closers = sorted((search.closer(each) for each in tried), key=lambda each: each.left)
    return Closing(compared, search.gap, tuple(closers))


class _Search:
    """Gaps of the numbers that decide, as they are and with inputs otherwise."""

    def __init__(self, compared: Beside, settings: Settings) -> None:
        self.compared, self.settings = compared, settings
        self.replications = min(REPLICATIONS, compared.schedule.replications)
        self.keys = [(each.measure, each.where) for each in compared.deciding]
        self.now: Floats = np.array([each.gap_in_half_widths for each in compared.deciding])
        self.own = [{key: float(compared.simulated[key][number]) for key in self.keys} for number in self.numbers]
        self.moves: dict[Candidate, dict[float, Floats]] = {}
        """By candidate and step, how far the numbers of the model move. [half-widths]"""

    @property
    def numbers(self) -> range:
        """Replications that are compared."""
        return range(self.replications)

    @property
    def gap(self) -> float:
        """Sum of squared gaps as they are. [half-widths]"""
        return float(np.sum(self.now**2))

    def run(self, inputs: Sequence[Otherwise]) -> None:
        """Run inputs otherwise and note how far the numbers of the model move."""
        runs = courses(self.compared, inputs, self.replications, self.settings)
        for (candidate, step), otherwise in zip(inputs, runs, strict=True):
            moved = [
                self._places(after) - self._places(before) for before, after in zip(self.own, otherwise, strict=True)
            ]
            self.moves.setdefault(candidate, {})[step] = np.nan_to_num(np.mean(moved, axis=0))

    def _places(self, run: Course) -> Floats:
        """Where the numbers of a run lie. [half-widths]"""
        pairs = zip(self.keys, self.compared.deciding, strict=True)
        return np.array([each.simulated.half_widths(run.get(key, np.nan)) for key, each in pairs])

    def closer(self, candidate: Candidate) -> Closer:
        """Value of an input at which the gap is least, as the steps that were run tell."""
        points = [(0.0, self.now), *((step, self.now - move) for step, move in self.moves[candidate].items())]
        points.sort(key=lambda point: point[0])
        best = min((self._between(candidate, *pair) for pair in pairwise(points)), key=lambda point: point[2])
        step, gaps, left = best
        missed = tuple(key for key, gap in zip(self.keys, gaps, strict=True) if abs(gap) > 1.0)
        return Closer(candidate, step, left, missed)

    @staticmethod
    def _between(candidate: Candidate, one: Point, other: Point) -> tuple[float, Floats, float]:
        """Step from one to another at which the gap is least, the gaps there and the sum of their squares."""
        (start, gaps), (end, gaps_there) = one, other
        way = gaps_there - gaps
        length = float(np.sum(way**2))
        part = min(1.0, max(0.0, -float(np.sum(gaps * way)) / length)) if length else 0.0
        if candidate.counted is not None:
            part = float(np.sum(gaps_there**2) < np.sum(gaps**2))
        least = gaps + part * way
        return start + part * (end - start), least, float(np.sum(least**2))

    def beyond(self, closer: Closer) -> list[float]:
        """The next step of an input whose gap is still closing at its last; none where a rule forbids it."""
        candidate, step = closer.candidate, closer.step
        steps = self.moves[candidate]
        if not step or step not in (min(steps), max(steps)):
            return []
        further = step + min((each for each in steps if each * step > 0.0), key=abs)
        tried = allowed(self.compared.schedule.scenario, self.compared.layout, candidate._replace(steps=(further,)))
        return list(tried.steps)
