"""The search for the cheapest cell of a grid: what to simulate next, and what each result rules out."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from batsim.catalogue import figure
from batsim.decision.answer import DECIDING, Tested, worst_miss
from batsim.decision.counts import Dimension, Grid
from batsim.errors import BatsimError, SimulationError
from batsim.scenario.reading import changed
from batsim.scenario.settings import Schedule
from batsim.statistics.intervals import student_interval
from batsim.statistics.sequential import Feasibility, KimNelson
from batsim.study.limits import Limit
from batsim.study.running.executors import Runner
from batsim.study.running.jobs import REFUSED, Failure, Job
from batsim.study.sweeps.cases import changes_of

if TYPE_CHECKING:
    Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
    Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]
    Indices = np.ndarray[tuple[int], np.dtype[np.int64]]
    Table = np.ndarray[tuple[int, int], np.dtype[np.float64]]
    Ints = np.ndarray[tuple[int, int], np.dtype[np.int64]]

EARLY_LOOKS, EARLY_SHARE = (4, 8), 0.1
"""Replications after which a cell that meets or misses its targets by far is decided, and the part of all chance of a
wrong decision that these looks may use."""
FIRST_STAGE = 16
"""Replications of a cell before its targets are first decided on by the sequential test."""
AT_ONCE = 2
"""Replications that follow at a time."""
MOST_REPLICATIONS = 200
"""Of one cell; what is undecided then is decided by its means, and said."""
NEAR_DECISIONS, FAR_DECISIONS = 10, 60
"""Cells near their targets, and others, over which the chance of a wrong decision is spread (Bonferroni); when there
are more of the first, the confidence that is reached is less, and is told."""
CANDIDATES, CROWD = 200, 4000
"""Cells among which the next one to simulate is looked for, and by which it is told how much each would rule out."""
PICKED_FROM = 3
"""Cells that are equally dear, among which the one that loses least is picked."""
ROUNDING = 1e-9


class Search:
    """Looks for the cheapest cell of a layout that meets the targets.

    Parameters
    ----------
    schedule
        Scenario, seed, length and warm-up of a run, and confidence.
    layout
        Name of the layout.
    limits
        Targets.
    runner
        Runs jobs.
    progress
        Called with a line of text for each cell that is decided.
    same_cost_share
        Part of the cost of the answer within which counts are equally dear. [-]
    """

    def __init__(
        self,
        schedule: Schedule,
        layout: str,
        limits: tuple[Limit, ...],
        runner: Runner,
        progress: Callable[[str], None] | None,
        same_cost_share: float,
    ) -> None:
        self.schedule, self.layout, self.limits = schedule, layout, limits
        self.tested: dict[tuple[int, ...], Tested] = {}
        self.cells = self.runs = 0
        self.grid: Grid
        """Grid that is looked through."""
        self._runner, self._progress = runner, progress
        self.same_cost_share = same_cost_share
        self._alpha = 1.0 - schedule.confidence
        self.near_decisions = 0
        """Cells that took the sequential test."""
        self._too_many: set[tuple[int, ...]] = set()
        """Cells that break a rule because there are too many of something."""

    @property
    def confidence(self) -> float:
        """Probability that no decision was wrong by more than the indifference."""
        near = max(1.0, self.near_decisions / NEAR_DECISIONS)
        far = max(1.0, len(self.tested) / FAR_DECISIONS)
        return max(0.0, 1.0 - self._alpha * ((1.0 - EARLY_SHARE) * near + EARLY_SHARE * far))

    def cheapest(self, grid: Grid) -> Tested | None:
        """Find the cheapest cell of a grid that meets the targets; None when none does.

        From the greatest cell down to one that is cheap, then whatever cheaper cell rules out most if it misses, until
        none is left. Cells that are cheaper than the best so far by less than what counts as equally dear are not
        looked at here.
        """
        self.grid, self.cells = grid, len(grid.cells)
        first = self._decided(tuple(grid.cells.max(axis=0).tolist()))
        stated = tuple(each.stated for each in grid.dimensions)
        if first.cell in self._too_many and (grid.cells == stated).all(axis=1).any():
            first = self._decided(stated)
        known = self._descended(first) if first.meets else None
        while True:
            most = np.inf if known is None else known.cost_per_year * (1.0 - self.same_cost_share)
            cheaper = self._open() & (grid.costs < most)
            if not cheaper.any():
                return known
            found = self._decided(self._ruling_out_most(grid.cells[cheaper]))
            known = found if found.meets else known

    def _open(self) -> "Flags":
        """Cells of the grid that neither were simulated nor are ruled out.

        A cell that misses a target rules out every cell that has no more of anything; one that breaks a rule because
        there are too many of something, such as more bays than the floor holds, every cell with no fewer.
        """
        cells = self.grid.cells
        open_ = np.ones(len(cells), dtype=bool)
        for each in self.tested.values():
            if each.cell in self._too_many:
                open_ &= ~(cells >= each.cell).all(axis=1)
            else:
                open_ &= ~(_no_more(cells, each.cell) if not each.meets else (cells == each.cell).all(axis=1))
        return open_

    def _descended(self, known: Tested) -> Tested:
        """Go down from a great cell, one count after the other, the one first on which most can be saved.

        What misses a target here has much of everything else, so it rules out much.
        """
        dimensions = self.grid.dimensions
        saving = [self.grid.unit_cost(each) * (each.values[-1] - each.values[0]) for each in dimensions]
        for column in sorted(range(len(dimensions)), key=lambda number: -saving[number]):
            values = [each for each in dimensions[column].values if each < known.cell[column]]
            while values:
                middle = len(values) // 2
                cell = _other(known.cell, column, values[middle])
                if not (self.grid.cells == cell).all(axis=1).any():
                    break
                found = self._with(known, column, values[middle])
                if found.meets:
                    known, values = found, values[:middle]
                else:
                    values = values[middle + 1 :]
        return known

    def trimmed(self, dimensions: tuple[Dimension, ...], known: Tested) -> Tested:
        """Take away one thing after another, the dearest first, until with one fewer of anything a target is missed."""
        order = sorted(range(len(dimensions)), key=lambda column: -self.grid.unit_cost(dimensions[column]))
        while True:
            before = known
            for column in order:
                known = self._fewest(dimensions[column], column, known)
            if known.cell == before.cell:
                return known

    def _fewest(self, dimension: Dimension, column: int, known: Tested) -> Tested:
        """Fewest of one thing with which the targets are still met, all else the same; found by halving."""
        values = [each for each in dimension.values if each < known.cell[column]]
        values = [each for each in values if not self._ruled_out(_other(known.cell, column, each))]
        while values:
            middle = len(values) // 2
            found = self._with(known, column, values[middle])
            if found.meets:
                known, values = found, values[:middle]
            else:
                values = values[middle + 1 :]
        return known

    def _with(self, known: Tested, column: int, number: int) -> Tested:
        """Decide on a cell that differs in one count."""
        return self._decided(_other(known.cell, column, number))

    def _decided(self, cell: tuple[int, ...]) -> Tested:
        """Decide on a cell."""
        return self.test(cell, float(self.grid.costs_of(np.array([cell]))[0]))

    def nearest(self) -> Tested:
        """Of the cells that were simulated, the one that comes nearest to the targets."""
        return min(self.tested.values(), key=lambda each: worst_miss(each, self.limits))

    def picked(self, known: Tested) -> tuple[Tested, tuple[Tested, ...]]:
        """Of cells that are equally dear and no dearer than the answer, pick the one that loses least (Kim, Nelson)."""
        low, high = known.cost_per_year * (1.0 - self.same_cost_share), known.cost_per_year * (1.0 + ROUNDING)
        dear = self.grid.cells[self._open() & (self.grid.costs >= low) & (self.grid.costs <= high)]
        nearest = np.argsort(np.abs(dear - known.cell).sum(axis=1), kind="stable")[: PICKED_FROM - 1]
        tested = [self._decided(tuple(cell)) for cell in dear[nearest].tolist()]
        meeting = [known, *(each for each in tested if each.meets)]
        if len(meeting) == 1:
            return known, ()
        tolerance = next((each.indifference for each in self.limits if each.measure == DECIDING), None)
        if tolerance is None:
            tolerance = figure("decide.indifference_downtime").value / 100.0 * known.values[DECIDING].mean()
        return self._raced(meeting, tolerance), tuple(meeting)

    def _raced(self, meeting: list[Tested], tolerance: float) -> Tested:
        """Find the one of several cells that loses least."""
        race = KimNelson(len(meeting), FIRST_STAGE, 1.0 - self.schedule.confidence, max(tolerance, ROUNDING))
        selected, replication = None, 0
        while selected is None and replication < MOST_REPLICATIONS:
            for number in race.still_in:
                meeting[number] = self.looked_at(meeting[number].cell, max(replication + 1, FIRST_STAGE))
            selected = race.add(np.array([_value(one, replication) for one in meeting]))
            replication += 1
        if selected is None:
            selected = min(race.still_in, key=lambda number: float(np.mean(meeting[number].values[DECIDING])))
        return meeting[selected]

    def test(self, cell: tuple[int, ...], cost: float) -> Tested:
        """Decide whether a cell meets the targets, replication by replication."""
        if cell in self.tested:
            return self.tested[cell]
        alpha = self._alpha * (1.0 - EARLY_SHARE) / (NEAR_DECISIONS * len(self.limits))
        tests = [Feasibility(each.tested, each.indifference / 2.0, alpha, FIRST_STAGE) for each in self.limits]
        values: dict[str, list[float]] = {}
        refused, count = "", EARLY_LOOKS[0]
        while True:
            refused = self._extend(cell, values, count)
            if refused:
                break
            seen = [(limit, values[limit.measure]) for limit in self.limits]
            if count in EARLY_LOOKS:
                decisions = [self._early(limit, each) for limit, each in seen]
            else:
                decisions = [_decision(test, limit, each) for test, (limit, each) in zip(tests, seen, strict=True)]
            if "infeasible" in decisions or None not in decisions or count >= MOST_REPLICATIONS:
                break
            later = [look for look in (*EARLY_LOOKS, FIRST_STAGE) if look > count]
            count = later[0] if later else min(count + AT_ONCE, MOST_REPLICATIONS)
        self.near_decisions += count >= FIRST_STAGE
        if refused:
            found = Tested(cell, cost, meets=False, missed=(), refused=refused, values={})
            if self._breaks_a_rule_with_more(cell):
                self._too_many.add(cell)
        else:
            missed = tuple(
                limit.name
                for limit, decision in zip(self.limits, decisions, strict=True)
                if decision == "infeasible" or (decision is None and _mean(limit, values) > limit.most)
            )
            sure = "infeasible" in decisions or None not in decisions
            found = Tested(cell, cost, not missed, missed, "", _arrays(values), sure)
        self.tested[cell] = found
        if self._progress is not None:
            self._progress(f"{self.layout}: {len(self.tested)} cells simulated, {self.runs} runs")
        return found

    def _breaks_a_rule_with_more(self, cell: tuple[int, ...]) -> bool:
        """Tell whether a cell that breaks a rule still does with what is stated of everything that it has less of."""
        more = tuple(max(number, each.stated) for number, each in zip(cell, self.grid.dimensions, strict=True))
        try:
            changed(self.schedule.scenario, self.grid.changes(more))
        except BatsimError:
            return True
        return False

    def _early(self, limit: Limit, values: list[float]) -> str | None:
        """Decide after a few replications on a target that is met or missed by far (Student's interval)."""
        found = limit.sign * np.array(values)
        if np.isnan(found).any():
            return "feasible"
        looks = FAR_DECISIONS * len(EARLY_LOOKS) * len(self.limits)
        interval = student_interval(found, 1.0 - 2.0 * self._alpha * EARLY_SHARE / looks)
        return "infeasible" if interval.low > limit.most else "feasible" if interval.high <= limit.most else None

    def looked_at(self, cell: tuple[int, ...], replications: int = EARLY_LOOKS[-1]) -> Tested:
        """Simulate a cell at least so often, whatever its targets."""
        known = self.tested.get(cell)
        if known is not None and (known.refused or known.replications >= replications):
            return known
        values = {} if known is None else {name: each.tolist() for name, each in known.values.items()}
        refused = self._extend(cell, values, replications)
        if known is not None:
            found = known._replace(values=_arrays(values))
            self.tested[cell] = found
            return found
        missed = () if refused else tuple(each.name for each in self.limits if _mean(each, values) > each.most)
        cost = float(self.grid.costs_of(np.array([cell]))[0])
        return Tested(cell, cost, not missed and not refused, missed, refused, _arrays(values))

    def _extend(self, cell: tuple[int, ...], values: dict[str, list[float]], count: int) -> str:
        """Add replications of a cell up to a count; return the rule that it breaks, if it breaks one."""
        done = len(next(iter(values.values()), ()))
        stated = self.schedule
        changes = changes_of(self.grid.changes(cell))
        jobs = [
            Job(self.layout, number, stated.seed, stated.length_min, stated.warm_up_min, 0, changes)
            for number in range(done, count)
        ]
        for outcome in self._runner.run(jobs):
            if isinstance(outcome, Failure):
                if outcome.kind == REFUSED:
                    return outcome.message
                raise _raised(outcome)
            for name, value in outcome.items():
                values.setdefault(name, []).append(value)
        self.runs += len(jobs)
        return ""

    @staticmethod
    def _ruling_out_most(cells: "Ints") -> tuple[int, ...]:
        """Cell with which most others have to go if it misses: most have no more of anything than it."""
        candidates = cells[_evenly(len(cells), CANDIDATES)]
        crowd = cells[_evenly(len(cells), CROWD)]
        lesser = [np.count_nonzero(_no_more(crowd, cell)) for cell in candidates]
        return tuple(candidates[int(np.argmax(lesser))].tolist())

    def _ruled_out(self, cell: tuple[int, ...]) -> bool:
        """Tell whether a cell has no more of anything than one that misses a target."""
        return any(
            not each.meets
            and each.cell not in self._too_many
            and all(mine <= theirs for mine, theirs in zip(cell, each.cell, strict=True))
            for each in self.tested.values()
        )


def _other(cell: tuple[int, ...], column: int, number: int) -> tuple[int, ...]:
    """Cell with another count of one thing."""
    return (*cell[:column], number, *cell[column + 1 :])


def _no_more(cells: "Ints", cell: "tuple[int, ...] | np.ndarray[Any, Any]") -> "Flags":
    """Cells that have no more of anything than one."""
    return np.asarray((cells <= np.asarray(cell)).all(axis=1))


def _evenly(count: int, most: int) -> "np.ndarray[Any, np.dtype[np.int64]]":
    """Return at most so many of the first whole numbers, evenly spread."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.int64))


def _decision(test: Feasibility, limit: Limit, values: list[float]) -> str | None:
    """Feed a test with what is new; a measure that has no meaning in a layout keeps every limit."""
    if any(np.isnan(values)):
        return "feasible"
    return test.add([limit.sign * value for value in values[test.replications :]])


def _mean(limit: Limit, values: dict[str, list[float]]) -> float:
    """Mean of a limit's measure with its sign."""
    return limit.sign * float(np.mean(values[limit.measure]))


def _arrays(values: dict[str, list[float]]) -> "dict[str, Floats]":
    return {name: np.array(each) for name, each in values.items()}


def _value(cell: Tested, replication: int) -> float:
    """Deciding measure of one replication; not a number where the cell is out of the race."""
    found = cell.values[DECIDING]
    return float(found[replication]) if replication < len(found) else np.nan


def _raised(failure: Failure) -> BaseException:
    return failure.error if failure.error is not None else SimulationError(failure.message)
