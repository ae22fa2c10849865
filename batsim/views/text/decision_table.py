"""Decided plans beside one another and beside today: downtime, counts, people, cost, targets."""

import math
from collections.abc import Callable, Iterator
from functools import partial
from typing import NamedTuple

from batsim.decision.answer import MEETS, NOT_THE_MARGIN, Answer
from batsim.decision.decide import Decision, best_name
from batsim.decision.trials import DECIDING, Trial
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.site import Scenario
from batsim.statistics.written import number_text
from batsim.study.limits import MET, MISSED, NOT_SURE, WAITS, Limit, limits_of
from batsim.study.prices import Price, plain_amount, summed
from batsim.study.running.counts import ATTENDANTS, BATTERIES, CHARGERS, DEVICES, STATIONS, counts_of, in_all
from batsim.views.text.numbers import is_share, plain_number

VERDICTS = {MEETS: NOT_SURE, NOT_THE_MARGIN: "no margin"}
"""How a plan that did not pass its test stands to the targets, by what its means say; others miss one."""
NO_LIMIT, NOBODY = "no limit", "none"
KINDS = {"batteries": BATTERIES, "chargers": CHARGERS, "stations": STATIONS, "devices": DEVICES}
"""What is counted in all, by the words for it."""
WIDEST = len("1.23 ± 0.45 %")
"""Characters of a cell with a half width."""
NOTHING = ("", "-", "0")
"""What a row says where it says nothing."""


class Column(NamedTuple):
    """A plan in the table."""

    name: str
    trial: Trial
    targets: str
    """How it stands to the targets, in a word."""
    confidence: float

    @property
    def price(self) -> Price:
        """What it costs in a year."""
        return price_of_plan(self.trial)

    @property
    def to_order(self) -> Price:
        """What is to be ordered for it."""
        return self.trial.to_order

    @property
    def attendants(self) -> str:
        """Attendants on duty by shift."""
        scenario, layout = self.trial.scenario, self.trial.space.layout
        stated = scenario.layouts[layout]
        if any(isinstance(place.attendants, str) for place in (stated, *stated.areas.values())):
            return NO_LIMIT
        numbers = in_all(counts_of(scenario, layout))
        return ", ".join(f"{number:.0f}" for each, number in numbers.items() if each.kind == ATTENDANTS) or NOBODY

    def number(self, kind: str) -> str:
        """How many of a kind it has in all areas."""
        numbers = in_all(counts_of(self.trial.scenario, self.trial.space.layout))
        total = sum(number for counted, number in numbers.items() if counted.kind == kind)
        return NO_LIMIT if total == UNLIMITED else f"{total:,.0f}"

    def value(self, measure: str, group: str = "") -> str:
        """Mean of a measure with its half width; the mean alone where few events carry none, or it would be wide."""
        part = "", group
        if measure not in self.trial.of(part):
            return "-"
        interval, share = self.trial.interval(measure, self.confidence, part), is_share(measure)
        text = number_text(interval, share=share)
        if self.trial.few_events(measure, self.confidence, part) or len(text) > WIDEST:
            return plain_number(interval.mean, share=share)
        return text

    def mean(self, measure: str) -> str:
        """Mean of a measure alone."""
        mean = float(self.trial.of(("", ""))[measure].mean())
        return f"{mean:,.0f}" if math.isfinite(mean) else "-"


Row = tuple[str, Callable[[Column], str]]
"""Name of a row, and what it says of a plan."""


def price_of_plan(trial: Trial) -> Price:
    """What a plan costs in a year with its range: at equal work, or of what is bought where that is made least."""
    if trial.cost_of_bought:
        return summed(line.cost for line in trial.space.cost_lines(trial.scenario))
    return trial.money().at_equal_work


def beside_one_another(decision: Decision) -> list[Column]:
    """Today, and the best plan of each layout, the best first."""
    scenario, confidence, today = decision.scenario, decision.schedule.confidence, decision.today
    answers = [decision[layout] for layout in decision.ranking]
    best = [Column(best_name(scenario, each.layout), each.told, _verdict(each), confidence) for each in answers]
    if today is None:
        return best
    limits = [limit for limit in limits_of(scenario) if limit.is_about(scenario, today.space.layout)]
    targets = MISSED if today.miss(limits, tested=False) else MET
    return [Column(f"today ({today.space.layout})", today, targets, confidence), *best]


def _verdict(answer: Answer) -> str:
    """How a plan stands to the targets, in a word."""
    return MET if answer.chosen is not None else VERDICTS.get(answer.verdict(answer.told), MISSED)


def decision_table(decision: Decision) -> list[list[str]]:
    """Rows with a name and a cell for each plan; what no plan has is left out."""
    plans, scenario = beside_one_another(decision), decision.scenario
    rows = [
        (label, [cell(plan) for plan in plans])
        for label, cell in (*_measured(scenario), *_counted(), *_cost(scenario.site.currency))
    ]
    telling = [[label, *cells] for label, cells in rows if any(cell not in NOTHING for cell in cells)]
    return [["", *(plan.name for plan in plans)], *telling]


def _measured(scenario: Scenario) -> Iterator[Row]:
    """Downtime, of each truck group where there are several, and waits where there is a target on them."""
    yield "downtime, min per truck-shift", lambda plan: plan.value(DECIDING)
    for group in scenario.trucks if len(scenario.trucks) > 1 else ():
        yield f"  {group.group}", partial(Column.value, measure=DECIDING, group=group.group)
    for limit in limits_of(scenario):
        if limit.name == WAITS and limit.part == ("", ""):
            yield limit.text.partition(" of ")[2], partial(_of_limit, limit, scenario)


def _of_limit(limit: Limit, scenario: Scenario, plan: Column) -> str:
    """What a target is about; a dash where it says nothing of the layout."""
    return plan.value(limit.measure) if limit.is_about(scenario, plan.trial.space.layout) else "-"


def _counted() -> Iterator[Row]:
    """How many of everything there are, and what people have to do."""
    for label, kind in KINDS.items():
        yield label, partial(Column.number, kind=kind)
    yield "attendants, by shift", lambda plan: plan.attendants
    yield "  busy, of their time", lambda plan: plan.value("attendants_busy_share")
    yield "drivers hands-on, min a day", lambda plan: plan.mean("labour_driver_min_per_day")


def _cost(currency: str) -> Iterator[Row]:
    """Cost of a year, between what it lies, what is to be ordered, and how it stands to the targets."""
    yield f"cost, thousand {currency} a year", lambda plan: plan.price.in_thousands.value_text
    yield "  between", lambda plan: _between(plan.price)
    yield f"to order, thousand {currency}", lambda plan: plan.to_order.in_thousands.value_text
    yield "targets", lambda plan: plan.targets


def _between(price: Price) -> str:
    """Range of a sum in thousands; empty where it has none."""
    if not price.low < price.high:
        return ""
    low, high = (plain_amount(end) for end in price.in_thousands.rounded[1:3])
    return f"{low} to {high}"
