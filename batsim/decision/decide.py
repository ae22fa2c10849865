"""Decision: the cheapest counts of a layout that meet the targets, and how sure that is.

Cells are simulated one after another, each until a sequential test of its targets decides; what misses a target rules
out every cell that has no more of anything. Of cells that are equally dear a selection procedure picks the one that
loses least.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from batsim.catalogue import figure, instead
from batsim.decision.answer import Answer, Tested
from batsim.decision.counts import BATTERIES, CHARGERS, MOST_CELLS, Dimension, Grid, Ranges, dimensions_of, thinned
from batsim.decision.search import Search
from batsim.display import Shows
from batsim.errors import Problem, ScenarioError
from batsim.scenario.reading import changed
from batsim.scenario.settings import Schedule, Settings
from batsim.study.cost import UnitCosts, cost_lines
from batsim.study.limits import limits_of
from batsim.study.running.executors import Runner
from batsim.study.sweeps.cases import restated

if TYPE_CHECKING:
    import pandas as pd

    from batsim.scenario.site import Scenario

OFFSETS = (-4, -2, -1, 1)
"""Batteries fewer and more than the answer on the frontier."""


@dataclass(frozen=True, repr=False)
class Decision(Shows):
    """What each layout needs to meet the targets."""

    schedule: Schedule
    sizes: tuple[Answer, ...]

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.schedule.scenario.site.name}: {', '.join(each.layout for each in self.sizes)}"

    @property
    def cheapest(self) -> Answer | None:
        """Layout that meets the targets at the least cost; None when none does."""
        met = [each for each in self.sizes if each.chosen is not None]
        return min(met, key=lambda each: each.cost_per_year, default=None)

    def __getitem__(self, layout: str) -> Answer:
        return next(each for each in self.sizes if each.layout == layout)

    @property
    def frame(self) -> "pd.DataFrame":
        """Tidy table: layout, counts by name, cost per year, downtime with its interval."""
        import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

        rows = []
        for each in self.sizes:
            interval = each.interval()
            who = {"layout": each.layout, "meets": each.chosen is not None, **each.counts}
            cost = {f"cost_{self.schedule.scenario.site.currency.lower()}_per_year": each.cost_per_year}
            names = ("", "_low", "_high")
            downtime = {f"downtime_min_per_truck_shift{end}": value for end, value in zip(names, interval, strict=True)}
            rows.append(who | cost | downtime)
        return pd.DataFrame(rows)

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        cheapest = self.cheapest
        return {
            **self.schedule.as_json(),
            "layouts": {each.layout: each.as_json() for each in self.sizes},
            "cheapest": None if cheapest is None else cheapest.layout,
        }


def decide(
    scenario: "Scenario",
    settings: Settings = Settings(),
    *,
    ranges: Ranges | None = None,
    indifference: dict[str, float] | None = None,
    same_cost: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Decision:
    """Find the cheapest counts of each layout that meet the scenario's targets.

    Parameters
    ----------
    scenario
        The site; it must state a target.
    settings
        What is run, in place of what the scenario says. Its confidence is the probability that no decision was wrong,
        its replications are those of the answer, after it is found.
    ranges
        Least and most of some counts, by name: batteries, chargers, stations, attendants (on each shift that has any)
        or a device. Only these are chosen then, all else stays as stated.
    indifference
        By target (downtime, waits, none ready, cut-out), how far below it a mean may lie and still be taken for a
        miss; the catalogue's where nothing is given.
    same_cost
        Part of the yearly cost within which counts are equally dear; the catalogue's when not given. [-]
    progress
        Called with a line of text now and then; how much is left nobody knows.

    Returns
    -------
    Decision
        For each layout: counts, cost, intervals, frontier, near misses, and what it took.

    Raises
    ------
    ScenarioError
        When there is no target, a range or an indifference is of nothing, or a layout is not there.
    """
    schedule = settings.schedule(scenario)
    limits = limits_of(scenario, indifference)
    chosen = {layout: dimensions_of(scenario, layout, ranges or {}) for layout in schedule.layouts}
    for layout, dimensions in chosen.items():
        if not dimensions:
            rule = "has no count that could be chosen; all are unlimited or left to the drivers"
            raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    with instead(scenario.stated_figures):
        dear = figure("decide.same_cost").value / 100.0 if same_cost is None else same_cost
    found = []
    with Runner(scenario.with_layouts(schedule.layouts), settings.workers, change=restated) as runner:
        for layout, dimensions in chosen.items():
            search = Search(schedule, layout, limits, runner, progress, dear)
            found.append(_sized(search, dimensions))
    return Decision(schedule, tuple(found))


def _sized(search: Search, dimensions: tuple[Dimension, ...]) -> Answer:
    """Answer one layout: on a grid that is thinned out where counts are many, then one by one around the answer."""
    scenario, layout = search.schedule.scenario, search.layout
    grid = Grid(scenario, layout, tuple(thinned(each) for each in dimensions))
    if len(grid.cells) > MOST_CELLS:
        rule = f"would give {len(grid.cells)} cells; at most {MOST_CELLS} are looked through, so state narrower ranges"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, f"layouts.{layout}", rule)])
    equally_dear: tuple[Tested, ...] = ()
    chosen, best = search.cheapest(grid), None
    if chosen is None:
        best = search.nearest()
    else:
        chosen, equally_dear = search.picked(chosen)
        chosen = search.trimmed(dimensions, chosen)
        chosen = search.looked_at(chosen.cell, search.schedule.replications)
    frontier = () if chosen is None else _frontier(search, dimensions, chosen)
    units = UnitCosts(scenario, layout)
    answer = chosen or best
    answered = scenario if answer is None or answer.refused else changed(scenario, grid.changes(answer.cell))
    return Answer(
        schedule=search.schedule,
        layout=layout,
        dimensions=dimensions,
        limits=search.limits,
        chosen=chosen,
        best=best,
        tested=tuple(search.tested.values()),
        frontier=frontier,
        equally_dear=equally_dear,
        cost_lines=cost_lines(answered, layout, units),
        placeholders=units.placeholders,
        cells=search.cells,
        runs=search.runs,
        confidence=search.schedule.confidence,
        reached_confidence=search.confidence,
        same_cost_share=search.same_cost_share,
        grid_replications=search.schedule.replications,
    )


def _frontier(search: Search, dimensions: tuple[Dimension, ...], chosen: Tested) -> tuple[Tested, ...]:
    """The answer with fewer and more batteries, all else the same; with fewer and more chargers in the truck."""
    kinds = [each.kind for each in dimensions]
    column = kinds.index(BATTERIES) if BATTERIES in kinds else kinds.index(CHARGERS) if CHARGERS in kinds else 0
    cells = [
        (*chosen.cell[:column], chosen.cell[column] + offset, *chosen.cell[column + 1 :])
        for offset in OFFSETS
        if dimensions[column].values[0] <= chosen.cell[column] + offset
    ]
    others = [search.looked_at(cell) for cell in cells]
    return tuple(sorted([chosen, *(each for each in others if not each.refused)], key=lambda each: each.cell[column]))
