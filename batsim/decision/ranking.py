"""The one ranking of layouts: what is possible, then targets, then the cost of a year.

`order` ranks for comparisons, plans, reports and decisions alike.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

from batsim.plan.plan import LayoutPlan
from batsim.study.compare import Comparison
from batsim.study.limits import DOWNTIME_TARGET, MISSED, NO_EXCHANGES, TargetResult

DOWNTIME = "downtime_min_per_truck_shift"
MISS_DIGITS = 2
"""Digits to which misses are told apart: what is the same to a percent of the limit is a tie."""


class Standing(NamedTuple):
    """What a layout is ranked by."""

    layout: str
    impossible: bool
    targets: tuple[TargetResult, ...]
    downtime_min: float
    """Mean downtime. [min per truck-shift]"""
    cost: float
    """Settles ties. [currency/year]"""
    place: int = 0
    """Settles what costs the same, or where no cost is known."""

    @property
    def miss_share(self) -> float:
        """Greatest miss of a target, as a part of its limit; 0 where all are kept. [-]"""
        return max((target.miss_share for target in self.targets), default=0.0)

    @property
    def judged_by_others(self) -> bool:
        """Whether a target on exchanges says nothing of it, and no target on downtime judges it in its place."""
        names = {target.name for target in self.targets}
        without = any(target.verdict == NO_EXCHANGES for target in self.targets)
        return without and DOWNTIME_TARGET not in names


def order(standings: Iterable[Standing]) -> tuple[str, ...]:
    """Rank layouts, the best first.

    What is possible goes first; then what meets its targets; then by the greatest miss of a target over its limit; ties
    by cost. A layout without exchanges meets no target on exchanges: it is judged by the target on downtime, and where
    there is none, by the downtime of the layout with exchanges that comes nearest to the targets.
    """
    all_of_them = tuple(standings)

    def key(standing: Standing) -> tuple[bool, float, float, int]:
        miss, cost = _miss_beside(standing, all_of_them), standing.cost
        told_apart = round(miss, MISS_DIGITS) if math.isfinite(miss) else miss
        return standing.impossible, told_apart, cost if math.isfinite(cost) else math.inf, standing.place

    return tuple(standing.layout for standing in sorted(all_of_them, key=key))


def _miss_beside(standing: Standing, others: tuple[Standing, ...]) -> float:
    """Greatest miss of a layout; of one that a target says nothing of, no less than that of the nearest of the others.

    To that is added by how much more downtime it has, as a part of theirs.
    """
    judges = [other for other in others if not other.judged_by_others and not other.impossible]
    if not standing.judged_by_others or not judges:
        return standing.miss_share
    nearest = min(judges, key=lambda other: (other.miss_share, -other.downtime_min))
    more = standing.downtime_min - nearest.downtime_min
    over = 0.0 if more <= 0.0 else more / nearest.downtime_min if nearest.downtime_min else math.inf
    return max(standing.miss_share, nearest.miss_share + over)


def order_of_runs(comparison: Comparison) -> tuple[str, ...]:
    """Rank the layouts of a comparison; where their cost is not known, ties go by the measure that decides."""
    places = {layout: place for place, layout in enumerate(comparison.ranking)}
    return order(
        Standing(
            layout=layout,
            impossible=layout in comparison.impossible,
            targets=comparison.targets(layout),
            downtime_min=comparison.interval(layout, DOWNTIME).mean,
            cost=comparison.costs.get(layout, 0.0),
            place=places[layout],
        )
        for layout in comparison.layouts
    )


def order_of_plans(plans: Iterable[LayoutPlan]) -> tuple[str, ...]:
    """Rank planned layouts; ties by their cost in a year at equal work."""
    return order(
        Standing(
            layout=plan.layout,
            impossible=bool(plan.impossible),
            targets=plan.targets,
            downtime_min=plan.evidence.mean(DOWNTIME),
            cost=plan.money.at_equal_work.value,
        )
        for plan in plans
    )


def order_sentence(comparison: Comparison) -> str:
    """Say how the layouts of a comparison stand to targets and cost, the best first; empty with nothing to rank."""
    ranked = [layout for layout in order_of_runs(comparison) if layout not in comparison.impossible]
    if len(ranked) < 2:
        return ""
    if not comparison.targets(ranked[0]):
        names = ", ".join(f"'{layout}'" for layout in ranked)
        return f"By cost in a year, the cheapest first: {names} (batsim plan)." if comparison.costs else ""
    texts = "; ".join(f"'{layout}' {_standing_text(comparison.targets(layout))}" for layout in ranked)
    if comparison.costs:
        return f"By targets, then by cost in a year (batsim plan), the best first: {texts}."
    return f"By targets, the best first: {texts}. Cost settles what is level: batsim plan."


def _standing_text(targets: tuple[TargetResult, ...]) -> str:
    """How a layout stands to the targets, in a few words."""
    worst = max(targets, key=lambda target: target.miss_share)
    if worst.miss_share > 0.0:
        sure = "misses" if worst.verdict == MISSED else "may miss"
        return f"{sure} {worst.title} by {100.0 * worst.miss_share:.0f} % of the limit"
    none = [target.title for target in targets if target.verdict == NO_EXCHANGES]
    return f"has no exchanges to judge by {' and '.join(none)}" if none else "meets them"
