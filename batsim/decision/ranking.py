"""Which layout to recommend, and why: targets first, then what fits, then money."""

import math
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.plan.checks import FAILS, NOT_KNOWN, TO_CHECK
from batsim.plan.equipment import STANDBY_METHOD
from batsim.plan.plan import LayoutPlan, Plan
from batsim.statistics.intervals import ROUNDING

DOWNTIME = "downtime_min_per_truck_shift"
SAME_COST = "plan.same_cost"
"""Figure that says which costs are about the same."""
EXCHANGE_NOT_WORTH = "Do not buy exchange equipment"


class Recommendation(NamedTuple):
    """What to do, and the reasons."""

    layout: str
    """The recommended layout; where there is no clear winner, the one that comes nearest or costs least."""
    says: str
    """The recommendation in a sentence."""
    reasons: tuple[str, ...]
    risks: tuple[str, ...]
    """The main risks of the recommended layout, the gravest first."""


def recommend(plan: Plan) -> Recommendation:
    """Recommend one of the layouts of a plan.

    A layout whose targets are surely missed, or with a check that fails, is only recommended when there is no other.
    Of the rest the cheapest in a year, people and standing trucks included, is recommended.
    """
    best, *others = sorted(
        plan.layouts.values(),
        key=lambda layout: (layout.targets_missed, layout.failing > 0, layout.money.per_year.value),
    )
    verdicts = "; ".join(f"{target.target}: {target.verdict}" for target in best.targets)
    reasons = [f"Targets: {verdicts}." if verdicts else "The scenario states no targets.", f"Checks: {best.counts}."]
    if others:
        reasons.append(_against(best, others, plan.scenario.site.currency))
    if best.targets_missed:
        reasons.append("Let 'batsim decide' find counts that meet the targets, then plan with those.")
    if best.advice.says:
        reasons.append(f"Usual choice: {best.advice.says}")
    return Recommendation(best.layout, _sentence(best, others, plan.scenario.figures), tuple(reasons), _risks(best))


def _sentence(best: LayoutPlan, others: list[LayoutPlan], figures: Figures) -> str:
    """The recommendation in a sentence, and what has to be cured first."""
    level = [other for other in others if _as_good(other, best, figures)]
    if best.targets_missed:
        says = f"No layout meets the targets; layout '{best.layout}' comes nearest."
    elif best.in_truck and any(not other.in_truck for other in others):
        says = f"{EXCHANGE_NOT_WORTH}: charge in the truck (layout '{best.layout}')."
    elif level:
        says = _of_level_cost(best, level)
    else:
        says = f"Choose layout '{best.layout}'."
    return says + _cure(best)


def _of_level_cost(best: LayoutPlan, level: list[LayoutPlan]) -> str:
    """Say that other layouts cost the same as the best, or about the same."""
    names = " and ".join(f"'{layout.layout}'" for layout in (best, *level))
    if all(_same_cost(other, best) for other in level):
        return f"No difference seen in cost: layouts {names} cost the same."
    return f"No clear winner: layouts {names} cost about the same, '{best.layout}' the least."


def _cure(best: LayoutPlan) -> str:
    """What has to be cured first, as a sentence; empty where nothing fails."""
    failing = [f"{check.subject}, {check.name}" for check in best.checks if check.verdict == FAILS]
    return f" First cure what fails: {'; '.join(dict.fromkeys(failing))}." if failing else ""


def _as_good(other: LayoutPlan, best: LayoutPlan, figures: Figures) -> bool:
    """Whether a layout stands as well to targets and checks, and costs about the same."""
    near = figures[SAME_COST].value / 100.0
    same = (other.targets_missed, other.failing > 0) == (best.targets_missed, best.failing > 0)
    return same and other.money.per_year.value <= best.money.per_year.value * (1.0 + near)


def _same_cost(other: LayoutPlan, best: LayoutPlan) -> bool:
    """Whether two layouts cost the same in a year, but for rounding."""
    return math.isclose(other.money.per_year.value, best.money.per_year.value, rel_tol=ROUNDING)


def _against(best: LayoutPlan, others: list[LayoutPlan], currency: str) -> str:
    """What the others cost, lose or miss."""
    parts, lost = [], best.evidence.mean(DOWNTIME)
    for other in others:
        more = other.money.per_year.value - best.money.per_year.value
        text = f"layout '{other.layout}' costs {abs(more):,.0f} {currency} a year {'more' if more >= 0.0 else 'less'}"
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
        return [f"{check.subject}, {check.name}: {check.sentence}" for check in plan.checks if check.verdict == verdict]

    alone = [f"{line.item}: {line.reason}." for line in plan.equipment if line.item == STANDBY_METHOD]
    return (*of(FAILS), *alone, *of(TO_CHECK), *of(NOT_KNOWN))[:3]
