"""What to recommend of the layouts of a plan: what to do, what it brings against today, what it costs, what is open."""

import math
from collections import defaultdict
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.decision.ranking import DOWNTIME, order_of_plans
from batsim.plan.checks import FAILS, NOT_KNOWN, TO_CHECK, Check
from batsim.plan.equipment import STANDBY_METHOD
from batsim.plan.plan import LayoutPlan, Plan
from batsim.plan.possible import why
from batsim.plan.survey import in_area
from batsim.statistics.intervals import ROUNDING, simultaneous, student_interval
from batsim.statistics.written import mean_text
from batsim.study.differences import difference_of
from batsim.study.limits import MET
from batsim.study.running.runs import Runs

SAME_COST = "plan.same_cost"
"""Figure that says which costs are about the same."""
EXCHANGE_NOT_WORTH = "Do not buy exchange equipment"
CHANGES = "what is bought, over its life; people; trucks that stand still; energy"
"""Of what costs of a year consist that layouts do not share."""
TODAY = "today"
"""A layout of this name says itself that it is there today."""
MOST_ORDERED = 6
"""Kinds of things that the recommendation names; the list has the rest."""


class Recommendation(NamedTuple):
    """What to do, what it brings and costs, what is open, and the reasons."""

    layout: str
    """The recommended layout; where there is no clear winner, the one that comes nearest or costs least."""
    says: str
    """What to do."""
    brings: str
    """What trucks lose then, and what they lose today."""
    costs: str
    """What it costs in a year, with its range, and what that is against today."""
    order: str
    """What to order, the dearest first, and what that costs."""
    opens: str
    """What is open: checks that could forbid it and are not known, and what has to be cured; empty where nothing is."""
    of_targets: str
    """How it stands to the targets."""
    checks: str
    """How many checks there are of each verdict."""
    against: str
    """What the other layouts cost, lose or miss; empty where there are none."""
    usual: str
    """When the arrangement is usually chosen, with what here is not so; empty where nothing is known of that."""
    risks: tuple[str, ...]
    """The main risks of the recommended layout, the gravest first."""
    ranking: tuple[str, ...]
    """All layouts, the best first."""

    @property
    def reasons(self) -> tuple[str, ...]:
        """Targets, checks, what the others cost and lose, and the usual choice."""
        return tuple(filter(None, (self.of_targets, self.checks, self.against, self.usual)))

    @property
    def headline(self) -> str:
        """All but the order in one paragraph."""
        return " ".join(filter(None, (self.says, self.brings, self.costs, self.opens)))


def recommend(plan: Plan) -> Recommendation:
    """Recommend one of the layouts of a plan: the first in `order`, by its cost in a year.

    One that is impossible is never recommended; where all are, the sentence says so. Where a check that could forbid it
    is not known, it is recommended on condition.
    """
    ranking = order_of_plans(plan.layouts.values())
    best, *others = (plan.layouts[name] for name in ranking)
    return Recommendation(
        layout=best.layout,
        says=_what_to_do(best, others, plan.scenario.figures),
        brings="" if best.impossible else _brings(plan, best),
        costs="" if best.impossible else _costs(plan, best),
        order="" if best.impossible else _orders(best),
        opens="" if best.impossible else " ".join(filter(None, (_not_known(best), _cure(best)))),
        of_targets=_of_targets(best),
        checks=f"Checks: {best.counts}.",
        against=_against(best, others, plan.scenario.site.currency) if others else "",
        usual=_usual_choice(best) if best.advice.says else "",
        risks=_risks(best),
        ranking=ranking,
    )


def _of_targets(best: LayoutPlan) -> str:
    """How it stands to its targets: those that are surely met are counted where others are not."""
    if not best.targets:
        return "The scenario states no targets."
    short = [target for target in best.targets if target.verdict != MET] or best.targets
    met = len(best.targets) - len(short)
    texts = [f"{target.target}: {target.verdict}" for target in short]
    return f"Targets: {'; '.join(texts)}{f'; {met} more {MET}' if met else ''}."


def _what_to_do(best: LayoutPlan, others: list[LayoutPlan], figures: Figures) -> str:
    """The recommendation in a sentence."""
    if best.impossible:
        reasons = "; ".join(f"layout '{plan.layout}': {why(plan.impossible)}" for plan in (best, *others))
        return f"No layout is possible: {reasons}"
    unknown = _unknown(best)
    on_condition = f", if this holds: {'; '.join(unknown)}" if unknown else ""
    if best.targets_missed:
        return f"No layout meets the targets; layout '{best.layout}' comes nearest."
    if best.in_truck and any(not other.in_truck for other in others):
        return f"{EXCHANGE_NOT_WORTH}: charge in the truck (layout '{best.layout}'){on_condition}."
    level = [other for other in others if _as_good(other, best, figures)]
    if level:
        return _of_level_cost(best, level)
    return f"{'Layout' if on_condition else 'Choose layout'} '{best.layout}'{on_condition}."


def _brings(plan: Plan, best: LayoutPlan) -> str:
    """What trucks lose, beside what they lose in the layout of today."""
    today = plan.scenario.present
    says = f"Trucks lose {_lost(best)} min per truck-shift"
    if today is None:
        return f"{says}."
    if today == best.layout:
        return f"{says}; it is the layout of today."
    before = mean_text(plan.comparison.interval(today, DOWNTIME))
    name = "" if today == TODAY else f" ('{today}')"
    return f"{says} instead of {before} min today{name}.{_lose_more(plan.comparison.runs, best.layout, today)}"


def _lose_more(runs: Runs, layout: str, today: str) -> str:
    """Truck groups that surely lose more than today, as a sentence, so that a mean hides none; empty with one group."""
    said = []
    for group, part in runs.groups.items() if len(runs.groups) > 1 else ():
        more = difference_of(part.pooled(layout, DOWNTIME), part.pooled(today, DOWNTIME))
        if student_interval(more, simultaneous(runs.confidence, len(runs.groups))).low > 0.0:
            after, before = (mean_text(part.interval(name, DOWNTIME)) for name in (layout, today))
            said.append(f"{group} ({after} instead of {before} min)")
    return f" More than today is lost by {', '.join(said)}." if said else ""


def _lost(layout: LayoutPlan) -> str:
    """Minutes of a truck-shift that are lost in a layout."""
    return mean_text(layout.evidence.interval(DOWNTIME))


def _costs(plan: Plan, best: LayoutPlan) -> str:
    """What it costs in a year, and how much less or more than the layout of today, at equal work."""
    currency, today = best.money.currency, plan.layouts.get(plan.scenario.present or "")
    amount = f"{best.money.at_equal_work.text} {currency}"
    says = f"A year costs {amount} in all that the choice changes: {CHANGES}"
    if today is None or today is best:
        return f"{says}."
    dearer = best.money.at_equal_work.value > today.money.at_equal_work.value
    one, other = (best.money, today.money) if dearer else (today.money, best.money)
    than = f"{one.more_than(other).text} {currency} {'more' if dearer else 'less'}"
    return f"{says}; {than} than today's {today.money.at_equal_work.value_text}."


def _orders(best: LayoutPlan) -> str:
    """What to order, the dearest first, and what it costs, as a sentence."""
    numbers: dict[str, float] = defaultdict(float)
    costs: dict[str, float] = defaultdict(float)
    for line in best.equipment:
        if line.to_order and line.item != STANDBY_METHOD:
            numbers[line.item] += line.to_order
            costs[line.item] += line.cost.value
    if not numbers:
        return "Nothing is to be ordered."
    dearest = sorted(numbers, key=lambda item: -costs[item])
    named = [f"{numbers[item]:g} x {item}" for item in dearest[:MOST_ORDERED]]
    left = len(numbers) - len(named)
    more = f" and {left} more line{'s' * (left > 1)} of the order list" if left else ""
    return f"Order {', '.join(named)}{more}: {best.money.purchase.as_quoted.text} {best.money.currency} in all."


def _open(best: LayoutPlan) -> list[Check]:
    """Checks that could forbid a layout and are not known."""
    return [check for check in best.checks if check.forbids and check.verdict == NOT_KNOWN]


def _unknown(best: LayoutPlan) -> list[str]:
    """The same in a few words: what is checked, each once, and of what."""
    about: dict[str, dict[str, None]] = defaultdict(dict)
    for check in _open(best):
        alone = check.area in ("", check.subject)
        about[check.name][check.subject if alone else in_area(check.area, check.subject)] = None
    return [f"{name} ({'; '.join(of)})" for name, of in about.items()]


def _not_known(best: LayoutPlan) -> str:
    """What has to be found out before anything is ordered, as a sentence."""
    asks = list(dict.fromkeys(check.ask for check in _open(best)))
    return f"Before anything is ordered, since it could forbid it: {'; '.join(asks)}." if asks else ""


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
    """What has to be cured, as a sentence; empty where nothing fails."""
    failing = [check.about for check in best.checks if check.verdict == FAILS]
    return f"To be cured first: {'; '.join(dict.fromkeys(failing))}." if failing else ""


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
    parts = []
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
        text += f", loses {_lost(other)} min per truck-shift (against {_lost(best)})"
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
