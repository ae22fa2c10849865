"""Which layout to recommend, and why: targets first, then what fits, then money."""

from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import figure
from batsim.plan.checks import FAILS, TO_CHECK
from batsim.plan.equipment import STANDBY_METHOD

if TYPE_CHECKING:
    from batsim.plan.plan import LayoutPlan

DOWNTIME = "downtime_min_per_truck_shift"
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


def recommend(plans: "dict[str, LayoutPlan]", currency: str) -> Recommendation:
    """Recommend one of several layouts.

    A layout whose targets are surely missed, or with a check that fails, is only recommended when there is no other.
    Of the rest the cheapest in a year, people and standing trucks included, is recommended.
    """
    ranked = sorted(plans.values(), key=lambda each: (each.targets_missed, each.failing > 0, each.money.per_year.value))
    best = ranked[0]
    reasons = [_targets(best), _fit(best)]
    others = ranked[1:]
    if others:
        reasons.append(_against(best, others, currency))
    if best.targets_missed:
        reasons.append("Let 'batsim decide' find counts that meet the targets, then plan with those.")
    if best.advice.says:
        reasons.append(f"Usual choice: {best.advice.says}")
    level = [each for each in others if _as_good(each, best)]
    if best.targets_missed:
        says = f"No layout meets the targets; {best.layout} comes nearest."
    elif best.in_truck and any(not each.in_truck for each in others):
        says = f"{EXCHANGE_NOT_WORTH}: charge in the truck (layout '{best.layout}')."
    elif level:
        names = " and ".join([best.layout, *(each.layout for each in level)])
        says = f"No clear winner: {names} cost about the same, {best.layout} the least."
    else:
        says = f"Choose {best.layout}."
    if best.failing:
        failing = [f"{check.subject}, {check.name}" for check in best.checks if check.verdict == FAILS]
        says += f" First cure what fails: {'; '.join(dict.fromkeys(failing))}."
    return Recommendation(best.layout, says, tuple(each for each in reasons if each), _risks(best))


def _as_good(other: "LayoutPlan", best: "LayoutPlan") -> bool:
    """Tell whether a layout stands as well to targets and checks, and costs about the same."""
    near = figure("plan.same_cost").value / 100.0
    same = (other.targets_missed, other.failing > 0) == (best.targets_missed, best.failing > 0)
    return same and other.money.per_year.value <= best.money.per_year.value * (1.0 + near)


def _targets(plan: "LayoutPlan") -> str:
    """How it stands to the targets."""
    if not plan.targets:
        return "The scenario states no targets."
    words = "; ".join(f"{each.target}: {each.verdict}" for each in plan.targets)
    return f"Targets: {words}."


def _fit(plan: "LayoutPlan") -> str:
    """What the checks say."""
    return f"Checks: {plan.counts}."


def _against(best: "LayoutPlan", others: "list[LayoutPlan]", currency: str) -> str:
    """What the others cost, lose or miss."""
    parts, lost = [], best.evidence.mean(DOWNTIME)
    for each in others:
        more = each.money.per_year.value - best.money.per_year.value
        text = f"{each.layout} costs {abs(more):,.0f} {currency} a year {'more' if more >= 0.0 else 'less'}"
        text += f", loses {each.evidence.mean(DOWNTIME):.1f} min per truck-shift (against {lost:.1f})"
        if each.targets_missed:
            text += ", and misses a target"
        if each.failing:
            text += f", and {each.failing} of its checks fail"
        parts.append(text)
    return f"{'; '.join(parts)}."


def _risks(plan: "LayoutPlan") -> tuple[str, ...]:
    """Three main risks: what fails, what is not known and would change most, what stops everything."""
    failing = [f"{check.subject}, {check.name}: {check.sentence}" for check in plan.checks if check.verdict == FAILS]
    single = [f"{line.item}: {line.reason}." for line in plan.equipment if line.item == STANDBY_METHOD]
    open_questions = [f"{check.subject}, {check.name}: {check.sentence}" for check in plan.checks if check.ask]
    looks = [f"{check.subject}, {check.name}: {check.sentence}" for check in plan.checks if check.verdict == TO_CHECK]
    return tuple([*failing, *single, *looks, *open_questions][:3])
