"""The one ranking of layouts, and which to recommend: what is possible, then targets, then the cost of a year.

`order` ranks for comparisons, plans, reports and decisions alike.
"""

import math
from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.plan.checks import FAILS, NOT_KNOWN, TO_CHECK
from batsim.plan.equipment import STANDBY_METHOD
from batsim.plan.plan import LayoutPlan, Plan
from batsim.plan.possible import why
from batsim.plan.survey import in_area
from batsim.statistics.intervals import ROUNDING
from batsim.study.compare import Comparison
from batsim.study.limits import DOWNTIME_TARGET, MISSED, NO_EXCHANGES, TargetResult

DOWNTIME = "downtime_min_per_truck_shift"
SAME_COST = "plan.same_cost"
"""Figure that says which costs are about the same."""
EXCHANGE_NOT_WORTH = "Do not buy exchange equipment"
MISS_DIGITS = 2
"""Digits to which misses are told apart: what is the same to a percent of the limit is a tie."""
MOST_ORDERED = 5
"""Kinds of things that the recommendation names; the list has the rest."""


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


class Recommendation(NamedTuple):
    """What to do, and the reasons."""

    layout: str
    """The recommended layout; where there is no clear winner, the one that comes nearest or costs least."""
    says: str
    """The recommendation in a sentence."""
    reasons: tuple[str, ...]
    risks: tuple[str, ...]
    """The main risks of the recommended layout, the gravest first."""
    ranking: tuple[str, ...]
    """All layouts, the best first."""


def recommend(plan: Plan) -> Recommendation:
    """Recommend one of the layouts of a plan: the first in `order`, by its cost in a year.

    One that is impossible is never recommended; where all are, the sentence says so.
    """
    ranking = order_of_plans(plan.layouts.values())
    best, *others = (plan.layouts[name] for name in ranking)
    verdicts = "; ".join(f"{target.target}: {target.verdict}" for target in best.targets)
    reasons = [f"Targets: {verdicts}." if verdicts else "The scenario states no targets.", f"Checks: {best.counts}."]
    if others:
        reasons.append(_against(best, others, plan.scenario.site.currency))
    if best.advice.says:
        reasons.append(_usual_choice(best))
    says = _sentence(best, others, plan.scenario.figures)
    return Recommendation(best.layout, says, tuple(reasons), _risks(best), ranking)


def _sentence(best: LayoutPlan, others: list[LayoutPlan], figures: Figures) -> str:
    """The recommendation in a sentence, what to order for it, and what has to be cured first."""
    if best.impossible:
        reasons = "; ".join(f"layout '{plan.layout}': {why(plan.impossible)}" for plan in (best, *others))
        return f"No layout is possible: {reasons}"
    level = [other for other in others if _as_good(other, best, figures)]
    if best.targets_missed:
        says = f"No layout meets the targets; layout '{best.layout}' comes nearest."
    elif best.in_truck and any(not other.in_truck for other in others):
        says = f"{EXCHANGE_NOT_WORTH}: charge in the truck (layout '{best.layout}')."
    elif level:
        says = _of_level_cost(best, level)
    else:
        says = f"Choose layout '{best.layout}'."
    return says + _orders(best) + _cure(best)


def _orders(best: LayoutPlan) -> str:
    """What to order, the dearest first, and what it costs, as a sentence."""
    numbers: dict[str, float] = defaultdict(float)
    costs: dict[str, float] = defaultdict(float)
    for line in best.equipment:
        if line.to_order and line.item != STANDBY_METHOD:
            numbers[line.item] += line.to_order
            costs[line.item] += line.cost.value
    if not numbers:
        return " Nothing is to be ordered."
    dearest = sorted(numbers, key=lambda item: -costs[item])
    named = [f"{numbers[item]:g} x {item}" for item in dearest[:MOST_ORDERED]]
    more = f" and {len(numbers) - len(named)} more of its list" if len(numbers) > len(named) else ""
    return f" Order {', '.join(named)}{more}: {best.money.purchase.as_quoted.text} {best.money.currency} in all."


def _usual_choice(best: LayoutPlan) -> str:
    """When the arrangement is usually chosen, with what here is not so."""
    against = f" Not so here: {'; '.join(best.advice.speaks_against)}." if best.advice.speaks_against else ""
    return f"Usual choice: {best.advice.says}{against}"


def _of_level_cost(best: LayoutPlan, level: list[LayoutPlan]) -> str:
    """Say that other layouts cost the same as the best, or about the same."""
    names = " and ".join(f"'{layout.layout}'" for layout in (best, *level))
    if all(_same_cost(other, best) for other in level):
        return f"No difference seen in cost: layouts {names} cost the same."
    return f"No clear winner: layouts {names} cost about the same, '{best.layout}' the least."


def _cure(best: LayoutPlan) -> str:
    """What has to be cured first, as a sentence; empty where nothing fails."""
    failing = [check.about for check in best.checks if check.verdict == FAILS]
    return f" First cure what fails: {'; '.join(dict.fromkeys(failing))}." if failing else ""


def _as_good(other: LayoutPlan, best: LayoutPlan, figures: Figures) -> bool:
    """Whether a layout is possible, stands as well to targets and checks, and costs about the same."""
    near = figures[SAME_COST].value / 100.0
    same = (other.targets_missed, other.failing > 0) == (best.targets_missed, best.failing > 0)
    cheap = other.money.at_equal_work.value <= best.money.at_equal_work.value * (1.0 + near)
    return not other.impossible and same and cheap


def _same_cost(other: LayoutPlan, best: LayoutPlan) -> bool:
    """Whether two layouts cost the same in a year, but for rounding."""
    return math.isclose(other.money.at_equal_work.value, best.money.at_equal_work.value, rel_tol=ROUNDING)


def _against(best: LayoutPlan, others: list[LayoutPlan], currency: str) -> str:
    """What the others cost, lose or miss, or that they are impossible."""
    parts, lost = [], best.evidence.mean(DOWNTIME)
    for other in others:
        if other.impossible:
            parts.append(f"layout '{other.layout}' is impossible ({why(other.impossible).rstrip('.')})")
            continue
        dearer = other.money.at_equal_work.value >= best.money.at_equal_work.value
        one, less = (other.money, best.money) if dearer else (best.money, other.money)
        more = f"{one.more_than(less).text} {currency} a year {'more' if dearer else 'less'}"
        text = f"layout '{other.layout}' costs {more}"
        if _same_cost(other, best):
            text = f"layout '{other.layout}' costs the same a year"
        text += f", loses {other.evidence.mean(DOWNTIME):.1f} min per truck-shift (against {lost:.1f})"
        if other.targets_missed:
            text += ", and misses a target"
        if other.failing:
            text += f", and {other.failing} of its checks {'fails' if other.failing == 1 else 'fail'}"
        parts.append(text)
    sentence = "; ".join(parts)
    return f"{sentence[0].upper()}{sentence[1:]}."


def _risks(plan: LayoutPlan) -> tuple[str, ...]:
    """Three main risks: what fails, what is not known and would change most, what stops everything."""

    def of(verdict: str) -> list[str]:
        return [f"{check.about}: {check.sentence}" for check in plan.checks if check.verdict == verdict]

    standing_by = [line for line in plan.equipment if line.item == STANDBY_METHOD]
    alone = [in_area(line.area, f"{line.item}: {line.reason}.") for line in standing_by]
    return (*of(FAILS), *alone, *of(TO_CHECK), *of(NOT_KNOWN))[:3]
