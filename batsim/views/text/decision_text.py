"""What was decided, for the terminal: what to do, the best plans beside today, how sure, what lies around."""

import math
from collections.abc import Iterator
from itertools import groupby

from batsim.decision.answer import MEETS, NOT_THE_MARGIN, Answer, Level
from batsim.decision.counts import CountRange
from batsim.decision.decide import Decision, best_name
from batsim.decision.space import Point
from batsim.decision.steps import Step
from batsim.decision.trials import BOUGHT, Trial
from batsim.display import counted
from batsim.statistics.intervals import Interval
from batsim.statistics.written import number_text
from batsim.study.limits import MISSED, Limit, stated_limits
from batsim.study.prices import MARK, Price, plain_amount
from batsim.views.text.decision_table import beside_one_another, decision_table, price_of_plan
from batsim.views.text.kept_together import KEPT
from batsim.views.text.lines import columns, hung, listed, sentence
from batsim.views.text.numbers import estimate_text, is_share, unit_of
from batsim.views.text.tables import impossible_sentences, run_length

MOST_NEAR_MISSES, MOST_LEVELS = 2, 3
"""Near misses that are listed, and plans for other levels of each target."""
MOST_DEARER = 0.25
"""Part of the cost by which the plan for a stricter target may be dearer: what is farther off was seen by chance."""
ONE_IN_100 = 0.01
WHOLE = 100.0
"""Sum of money from which on nobody counts the cents."""
PLACEHOLDERS = (
    f"{MARK} rests on placeholders of the catalogue and their range: state your own under 'prices' before use."
)
COST = (
    "Cost of a year at equal work: what is bought, over its life with interest (what is there already costs nothing), "
    "attendants, drivers, trucks that stand, energy and its peak, wear, water, floor."
)
OF_BOUGHT = (
    "Cost is what is bought, over its life with interest (what is there already costs nothing), and attendants on "
    "duty; energy, water, downtime and drivers are left out."
)
CAUTION = (
    "batsim plan says whether the parts fit and what the room needs. Drivers who exchange, connect or water batteries "
    "must be trained for it; local codes and competent, licensed people decide."
)


def decision_text(decision: Decision, width: int = 100) -> str:
    """What to do, the best plan of each layout beside today, how sure that is, and what lies around it."""
    first = decision.first
    parts = [_head(decision, width)]
    if first is not None:
        parts += [what_to_do(decision, first, width), columns(decision_table(decision), width)]
    parts.append(_plans(decision, width))
    if first is not None and first.chosen is not None:
        parts.append([sentence(text, width) for text in how_sure(decision, first)])
        parts += [_near_misses(first, width), _levels(first, width)]
    parts.append([sentence(text, width) for text in _notes(decision)])
    return "\n\n".join("\n".join(lines) for lines in parts if lines)


def _head(decision: Decision, width: int) -> list[str]:
    """What was asked: the site, the runs, the targets with what is tested of them."""
    schedule = decision.schedule
    limits = [limit for answer in decision.answers for limit in answer.limits if not limit.season]
    texts = dict.fromkeys(f"{limit.text} ({limit.tested_text})" for limit in limits)
    when = " in normal weeks and in each season" if schedule.scenario.seasons else ""
    return [
        sentence(f"{schedule.scenario.site.name}: the cheapest plan of each layout that meets the targets", width),
        sentence(f"Runs of {run_length(schedule)}; {_effort(decision)}", width),
        sentence(f"Targets{when}, in brackets what is tested so that there is a margin: {'; '.join(texts)}.", width),
    ]


def _effort(decision: Decision) -> str:
    """How much was simulated, and how much of that a store had already."""
    plans = counted(sum(answer.plans for answer in decision.answers), "plan")
    found = f", {decision.found:,} from the store" if decision.found else ""
    return f"{counted(decision.runs, 'run')} of {plans}{found}"


# --- what to do ---


def what_to_do(decision: Decision, first: Answer, width: int) -> list[str]:
    """The best plan in a sentence, and the steps to it."""
    name = f"'{best_name(decision.scenario, first.layout)}' ({decision.scenario.handling_title(first.layout)})"
    costs = f"{price_of_plan(first.told).text} {_currency(first)} a year{_than_today(decision, first)}"
    if first.chosen is None:
        missed = " and ".join(_missed(first, first.told, limit) for limit in first.missed(first.told))
        nearest = f"{name} comes nearest{f', with {missed}' if missed else ''}, at {costs}."
        says = f"No plan that was looked at meets the targets. {nearest}"
    else:
        says = f"What to do: {name} meets the targets at the least cost, {costs}."
    if not decision.steps:
        return [sentence(f"{says} Nothing changes of what is stated.", width)]
    says += " Step by step, what needs no purchase first:" if len(decision.steps) > 1 else ""
    numbered = enumerate(decision.steps, start=1)
    last = len(decision.steps)
    texts = (_step(step, decision.steps[0].before if number == last else None) for number, step in numbered)
    steps = (listed(text, width, first=f"  {number}. ") for number, text in enumerate(texts, start=1))
    return [sentence(says, width), *steps]


def _than_today(decision: Decision, first: Answer) -> str:
    """How much cheaper it is than what is there today; nothing where that is not known."""
    today = decision.today
    if today is None or today.refused or decision.objective == BOUGHT:
        return ""
    more = first.told.money().more_than(today.money())
    if not (math.isfinite(more.value) and more.value):
        return ""
    amount = more if more.value > 0.0 else Price(-more.value, -more.high, -more.low, more.placeholder)
    return f", {amount.text} {'more' if more.value > 0.0 else 'less'} than today's '{today.space.layout}'"


def _step(step: Step, today: Trial | None) -> str:
    """What a step changes, orders, and saves in minutes and in money; the last one what is to be ordered in all.

    That is more where today's layout lacks something as it stands.
    """
    currency = step.after.scenario.site.currency
    order = f"Order {step.to_order.text} {currency}" if step.to_order.value else "Nothing to buy"
    if today is not None and 0.0 < today.to_order.value <= step.after.to_order.value:
        order += f", {step.after.to_order.value_text} with what '{today.space.layout}' lacks"
    gains = [
        (step.minutes, number_text(_size(step.minutes)), "min per truck-shift"),
        (step.cost, _amount(_size(step.cost)), f"{currency} a year"),
    ]
    texts = [f"{'saves' if less else 'adds'} {' and '.join(each)}" for less, each in _alike(gains)]
    gained = ", ".join(texts) or "changes neither downtime nor cost"
    return f"{step.words[:1].upper()}{step.words[1:]}. {order}; {gained}."


def _alike(gains: list[tuple[Interval, str, str]]) -> Iterator[tuple[bool, list[str]]]:
    """What is saved together, and what is added together; what stays as it is left out."""
    changing = [gain for gain in gains if gain[0].mean]
    for less, group in groupby(changing, key=lambda gain: gain[0].mean < 0.0):
        yield less, [f"{number} {unit}" for _, number, unit in group]


def _size(interval: Interval) -> Interval:
    """A difference without its sign."""
    return interval.turned if interval.mean < 0.0 else interval


def _amount(interval: Interval) -> str:
    """A sum of money with its half width, both to the digits that carries."""
    value, low, _, _ = Price(*interval, placeholder=False).rounded
    texts = [plain_amount(round(amount) if value > WHOLE else amount) for amount in (value, value - low)]
    return " ± ".join(texts) if low < value else texts[0]


# --- each plan ---


def _plans(decision: Decision, width: int) -> list[str]:
    """Counts and levers of each best plan, the best layout first; of one that misses a target, which and how near."""
    ranked = [*decision.ranking, *(each.layout for each in decision.answers if each.layout not in decision.ranking)]
    lines = [sentence("Plans, with what is stated in brackets where that is another number:", width)]
    for answer in (decision[layout] for layout in ranked):
        counts, *texts = _of_plan(answer)
        lines.append(hung(f"{best_name(decision.scenario, answer.layout)}: {counts}", width, 2))
        lines += [listed(text, width, first="    - ") for text in texts]
    return lines


def _of_plan(answer: Answer) -> Iterator[str]:
    """Counts of a plan, what it does otherwise than stated, what it misses, and where its range ends."""
    trial = answer.trial
    if trial is None or trial.refused:
        yield from _refused(trial)
        return
    yield _counts(answer, trial) or "counts as stated"
    yield from (lever.label(answer.space.scenario) for lever in answer.levers)
    if answer.chosen is None:
        stands = "; ".join(_stands(answer, trial, limit) for limit in answer.limits)
        yield f"nearest to the targets, which no plan that was looked at meets: {stands}"
    yield from _judged_by_downtime(answer)
    if answer.at_ends:
        could = "could come nearer" if answer.chosen is None else "could be cheaper"
        yield f"at the end of the range of {', '.join(answer.at_ends)}: with a wider --range it {could}"


def _judged_by_downtime(answer: Answer) -> Iterator[str]:
    """Targets that say nothing of a layout without exchanges, each once."""
    scenario = answer.schedule.scenario
    texts = [limit.text for limit in stated_limits(scenario) if not limit.is_about(scenario, answer.layout)]
    yield from (f"{text}: no exchanges, so downtime judges" for text in dict.fromkeys(texts))


def _refused(trial: Trial | None) -> Iterator[str]:
    """That nothing could be simulated, and the rules that are broken."""
    yield "no plan could be simulated"
    yield from (line.strip() for line in ("" if trial is None else trial.refused).splitlines()[1:])


def _counts(answer: Answer, trial: Trial) -> str:
    """Counts of a plan that have an effect, each with what is stated."""
    return "; ".join(
        f"{each.label} {number}" + (f"{KEPT}({each.stated})" if number != each.stated else "")
        for each, number in _effective(answer, trial)
    )


def _effective(answer: Answer, trial: Trial) -> list[tuple[CountRange, int]]:
    """Ranges whose counts have an effect in a plan, with their numbers."""
    counted_ones = {what for what, _ in answer.space.changes(trial.point).numbers}
    pairs = zip(answer.space.ranges, trial.point, strict=False)
    return [(each, number) for each, number in pairs if each.counted in counted_ones]


def _stands(answer: Answer, trial: Trial, limit: Limit) -> str:
    """How a plan stands to one target by its means."""
    missed, in_margin = (trial.miss([limit], tested=tested) > 0.0 for tested in (False, True))
    verdict = MISSED if missed else NOT_THE_MARGIN if in_margin else MEETS
    return f"{limit.text}{limit.when}: {verdict}, {_limit_value(answer, trial, limit)}"


# --- how sure, and what lies around ---


def how_sure(decision: Decision, first: Answer) -> Iterator[str]:
    """Say how sure the best plan is, and what would turn it."""
    yield f"How sure: {_tested(decision, first)} {_rival(first)}"
    if given_up := [f"'{best_name(decision.scenario, each.layout)}'" for each in decision.answers if each.given_up]:
        yield f"Searched no further than to a plan that is dearer by a quarter and more: {', '.join(given_up)}."
    if decision.doubt is not None and len(decision.answers) > 1:
        yield decision.doubt.sentence
    if decision.draws is not None:
        yield decision.draws.sentence


def _tested(decision: Decision, first: Answer) -> str:
    """How the best plan was tested."""
    name = best_name(decision.scenario, first.layout)
    replications = counted(first.tests[-1].trial.replications, "replication")
    if not first.sure:
        return f"'{name}' is so near to a target that {replications} do not tell; its means meet all of them."
    chance = 100.0 * (1.0 - first.confidence)
    return (
        f"'{name}' was tested on {replications} that the search had not seen; a plan that misses a target "
        f"passes in at most {chance:.3g} of 100 decisions."
    )


def _rival(first: Answer) -> str:
    """Which other plan may be cheaper."""
    by = f"cheaper by more than {100.0 * first.same_cost_share:g} %"
    if not first.rivals or first.rivals[0][1] < ONE_IN_100:
        return f"That another of the plans looked at is {by} has a chance below 1 in 100."
    trial, chance = first.rivals[0]
    differs = _differs(first, trial)
    return f"Of the other plans looked at the likeliest to be {by} ({100.0 * chance:.0f} in 100): {differs}."


def _near_misses(first: Answer, width: int) -> list[str]:
    """Cheaper plans that nearly meet the targets."""
    lines = []
    for trial in _nearly(first):
        missed = ", ".join(_missed(first, trial, limit) for limit in first.missed(trial))
        saves = f"saves {_about(_saved(first, trial))} {_currency(first)} a year"
        text = f"{_differs(first, trial)}: {saves}, but {first.verdict(trial)}: {missed}"
        lines.append(listed(text, width, first="  - "))
    return [sentence("Cheaper, but near misses:", width), *lines] if lines else []


def _nearly(first: Answer) -> list[Trial]:
    """Near misses that save what is worth it, the cheapest first."""
    return [trial for trial in first.near_misses if _saved(first, trial) > _same(first)][:MOST_NEAR_MISSES]


def _levels(first: Answer, width: int) -> list[str]:
    """What other levels of the targets would save or cost."""
    lines = []
    for level in _telling(first):
        gain = f"{'saves' if level.saves > 0.0 else 'adds'} {_about(abs(level.saves))} {_currency(first)} a year"
        target = f"{level.limit.text}{level.limit.when}"
        lines.append(listed(f"{target}: {gain} with {_differs(first, level.trial)}", width, first="  - "))
    return [sentence(f"With another target for '{first.layout}', all else as wanted:", width), *lines] if lines else []


def _telling(first: Answer) -> Iterator[Level]:
    """Levels that tell something: a looser one that saves what is wanted now, a stricter one that costs more.

    Of those with the same plan the strictest, and none whose plan is told as a near miss.
    """
    nearly = [trial.point for trial in _nearly(first)]
    wanted = {limit.label: limit.most for limit in first.limits}
    for label, levels in groupby(first.levels, key=lambda level: level.limit.label):
        seen: list[Point] = []
        for level in levels:
            looser, point = level.limit.most > wanted[label], level.trial.point
            gains = level.saves > _same(first) and first.verdict(level.trial) != MEETS
            tells = gains if looser else -MOST_DEARER * first.cost_per_year < level.saves < -_same(first)
            if tells and point not in (*nearly, *seen) and len(seen) < MOST_LEVELS:
                seen.append(point)
                yield level


def _same(first: Answer) -> float:
    """Difference of cost that makes none. [currency/year]"""
    return first.same_cost_share * first.cost_per_year


def _saved(first: Answer, trial: Trial) -> float:
    """How much cheaper a plan is than the answer, as the search saw both. [currency/year]"""
    mine = first.searched[first.point]
    both = min(mine.replications, trial.replications)
    return mine.cost(both) - trial.cost(both)


def _about(amount: float) -> str:
    """A sum to three digits."""
    return Price(amount, amount, amount, placeholder=False).text


def _differs(answer: Answer, trial: Trial) -> str:
    """How a plan differs from the answer."""
    mine, space, first = answer.point, answer.space, len(answer.space.ranges)
    changed = [
        f"{each.label} {number}"
        for each, number, of_mine in zip(space.ranges, trial.point, mine, strict=False)
        if number != of_mine
    ]
    for choice, way, of_mine in zip(space.choices, trial.point[first:], mine[first:], strict=True):
        if way != of_mine:
            labels = [lever.label(space.scenario) for lever in choice.options[way]]
            changed += labels or [f"not '{lever.label(space.scenario)}'" for lever in choice.options[of_mine]]
    return ", ".join(changed)


def _missed(answer: Answer, trial: Trial, limit: Limit) -> str:
    """A target that a plan does not meet with its margin, and how far it is."""
    return f"{limit.label} {_limit_value(answer, trial, limit)}"


def _limit_value(answer: Answer, trial: Trial, limit: Limit) -> str:
    """Mean of a limit's measure in a plan, with its half width and unit."""
    confidence = answer.confidence
    interval = trial.interval(limit.measure, confidence, limit.part)
    count = trial.few_events(limit.measure, confidence, limit.part)
    return f"{estimate_text(interval, count, share=is_share(limit.measure))} {unit_of(limit.measure)}".rstrip()


def _currency(answer: Answer) -> str:
    """Currency of the site."""
    return answer.schedule.scenario.site.currency


def _notes(decision: Decision) -> Iterator[str]:
    """What is impossible, what the cost is of, what it rests on, and who decides."""
    yield from impossible_sentences(decision.impossible)
    yield OF_BOUGHT if decision.objective == BOUGHT else COST
    if any(column.price.placeholder or column.to_order.placeholder for column in beside_one_another(decision)):
        yield PLACEHOLDERS
    yield CAUTION
