"""What was decided, for the terminal: counts, cost, how sure, what lies around."""

import math
from collections.abc import Iterable

from batsim.decision.answer import MISSES, Answer, Trial
from batsim.decision.decide import Decision
from batsim.study.cost import CostLine
from batsim.study.limits import stated_limits
from batsim.study.prices import MARK, summed
from batsim.views.text.lines import columns, hung, sentence
from batsim.views.text.numbers import counted, estimate_text, is_share, measure_of, unit_of
from batsim.views.text.tables import impossible_sentences, run_length, targets_sentence

MOST_NEAR_MISSES = 5
"""Near misses that are listed."""
PLACEHOLDERS = (
    f"{MARK} rests on placeholders of the catalogue for prices, lives or interest, with their range: state your own "
    "under 'prices' before the cost is used."
)
LEFT_OUT = (
    "Cost is what is bought, over its life with interest, and attendants on duty; energy, water, downtime and drivers "
    "are left out. What is owned already costs nothing."
)


def decision_text(decision: Decision, width: int = 100) -> str:
    """Answer for each layout, with the cheapest named when there are several."""
    schedule, answers = decision.schedule, decision.answers
    head = f"{schedule.scenario.site.name}: the cheapest counts that meet the targets; runs of {run_length(schedule)}"
    targets = targets_sentence([limit.text for limit in stated_limits(schedule.scenario) if not limit.season], schedule)
    notes = [LEFT_OUT, *([PLACEHOLDERS] if any(answer.placeholders for answer in answers) else [])]
    if len(answers) > 1:
        cheapest = decision.cheapest
        says = f"No layout meets the targets; '{decision.ranking[0]}' comes nearest."
        if cheapest is not None:
            cost = _cost(cheapest, cheapest.cost_lines)
            says = f"Cheapest layout that meets the targets: '{cheapest.layout}', {cost}."
        notes.insert(0, says)
    notes += impossible_sentences(decision.impossible)
    return "\n\n".join(
        [
            f"{sentence(head, width)}\n{sentence(targets, width)}",
            *(_answer(answer, width) for answer in answers),
            "\n".join(sentence(note, width) for note in notes),
        ]
    )


def _answer(answer: Answer, width: int) -> str:
    """One layout."""
    title = answer.schedule.scenario.handling_title(answer.layout)
    lines = _not_met(answer, width) if answer.chosen is None else _met(answer, answer.chosen, width)
    scenario = answer.schedule.scenario
    others = [limit.text for limit in stated_limits(scenario) if not limit.is_about(scenario, answer.layout)]
    lines += [sentence(f"{text}: no exchanges, so downtime judges", width, 2) for text in dict.fromkeys(others)]
    effort = (
        f"It took {counted(answer.runs, 'run')} of {len(answer.tested)} of the "
        f"{counted(answer.combinations, 'combination')}; all would have taken {answer.full_grid_runs:,} runs."
    )
    return "\n".join([sentence(f"{answer.layout} ({title})", width), *lines, "", sentence(effort, width)])


def _met(answer: Answer, chosen: Trial, width: int) -> list[str]:
    """Counts, cost, how sure, frontier and near misses."""
    counts = [[span.label, str(answer.counts[span.name]), str(span.stated)] for span in answer.ranges]
    lines = [*(f"  {line}" for line in columns([["", "buy", "stated"], *counts], width - 2)), ""]
    for limit in answer.limits:
        value, label = _value(answer, chosen, limit.measure, part=limit.part), measure_of(limit.measure).label
        lines.append(sentence(f"{label}{limit.when}: {value} (target: {limit.text})", width, 2))
    lines.append(sentence(f"cost: {_cost(answer, answer.cost_lines)}", width, 2))
    costs = sorted(answer.cost_lines, key=lambda line: -line.per_year)
    lines += [hung(f"{_bought(line)}: {_cost(answer, [line])}", width, 4) for line in costs if line.number]
    lines += ["", *(sentence(text, width) for text in (_how_sure(answer), _doubt(answer)) if text)]
    lines += ["", *_frontier(answer, width)]
    near = answer.near_misses[:MOST_NEAR_MISSES]
    lines += ["", "Near misses, cheaper:"] if near else []
    lines += [sentence(f"{_counts(answer, trial)}: misses {_missed(answer, trial)}", width, 2) for trial in near]
    if answer.equally_dear:
        chosen_among = (
            f"Of {len(answer.equally_dear)} combinations that cost as much, the one with the least downtime was picked "
            "(Kim and Nelson)."
        )
        lines.append(sentence(chosen_among, width))
    return lines


def _bought(line: CostLine) -> str:
    """How many of what, and how many of them are there already."""
    name = ", ".join(filter(None, (line.unit.name.replace("_", " "), line.unit.lot)))
    thing = name if line.unit.thing == "device" else f"{line.unit.thing} ({name})" if name else line.unit.thing
    return f"{line.number:g} x {thing}" + (f", {line.owned:g} owned" if line.owned else "")


def _not_met(answer: Answer, width: int) -> list[str]:
    """Which target cannot be met, and how near the best comes."""
    best = answer.best
    ranges = ", ".join(f"{span.label} {span.values[0]} to {span.values[-1]}" for span in answer.ranges)
    lines = [sentence(f"The targets cannot be met with {ranges}.", width, 2)]
    if best is None or best.refused:
        rules = [] if best is None else [line.strip() for line in best.refused.splitlines()[1:]]
        return [*lines, *(sentence(rule, width, 2) for rule in rules)]
    lines.append(sentence(f"The nearest, {_counts(answer, best)}:", width, 2))
    for limit in answer.limits:
        verdict = "missed" if limit.label in best.missed else "met"
        value = _value(answer, best, limit.measure, part=limit.part)
        lines.append(sentence(f"{limit.text}{limit.when}: {verdict}, {value}", width, 4))
    advice = "Look for the bottleneck there (batsim bottleneck), or ask whether the target is right."
    return [*lines, sentence(advice, width, 2)]


def _how_sure(answer: Answer) -> str:
    """Say how sure the answer is."""
    zone = "; ".join(
        f"{limit.title} {_zone(limit.indifference, limit.measure)}" for limit in answer.limits if not limit.season
    )
    sure = f"at {100 * answer.reached_confidence:.1f} % confidence"
    meets = f"{sure[:1].upper()}{sure[1:]} this meets the targets, and no combination that"
    if answer.chosen is not None and not answer.chosen.sure:
        meets = f"By its means this meets the targets, which is not sure; {sure} no combination that"
    if len({span.area for span in answer.ranges} - {""}) > 1:
        meets += " differs in one area alone and"
    return (
        f"{meets} is cheaper by more than {100 * answer.same_cost_share:g} % meets them by more than "
        f"what makes no difference ({zone}). With one fewer of anything a target is missed, or met by less than that."
    )


def _doubt(answer: Answer) -> str:
    """Name combinations that were too near to a target for the tests; empty when there are none."""
    near = [trial for trial in answer.tested if not trial.sure]
    if not near:
        return ""
    which = "not the answer"
    if answer.chosen is not None and answer.chosen.counts in {trial.counts for trial in near}:
        which = "the answer among them" if len(near) > 1 else "the answer"
    return (
        f"{counted(len(near), 'combination')} {'was' if len(near) == 1 else 'were'} still too near to a target after "
        f"{max(trial.replications for trial in near)} replications ({which}) and decided by the means: a wider "
        "--indifference or longer runs (--weeks) would tell."
    )


def _frontier(answer: Answer, width: int) -> list[str]:
    """Fewer and more batteries against downtime, targets and cost."""
    column = answer.frontier_column
    measures = list(dict.fromkeys(["downtime_min_per_truck_shift", *(limit.measure for limit in answer.limits)]))
    heads = [measure_of(name).label for name in measures]
    rows = [[answer.ranges[column].label, *heads, f"{answer.schedule.scenario.site.currency} a year", ""]]
    for trial in answer.frontier:
        values = [_value(answer, trial, name, unit=False) for name in measures]
        verdict = answer.verdict(trial)
        if verdict == MISSES:
            verdict += f" {', '.join(answer.surely_missed(trial))}"
        if answer.chosen is not None and trial.counts == answer.chosen.counts:
            verdict += " <- answer"
        rows.append([str(trial.counts[column]), *values, f"{trial.cost_per_year:,.0f}", verdict])
    head = sentence(f"Frontier, all else as above (± {100 * answer.confidence:g} % interval):", width)
    return [head, *columns(rows, width)]


def _counts(answer: Answer, trial: Trial) -> str:
    """Counts in words, with their cost."""
    names = [
        {"batteries": "battery"}.get(span.thing, span.thing.removesuffix("s")) + span.label.removeprefix(span.thing)
        for span in answer.ranges
    ]
    counts = ", ".join(f"{number} x {name}" for name, number in zip(names, trial.counts, strict=True))
    return f"{counts} ({_money(answer, trial.cost_per_year)})"


def _missed(answer: Answer, trial: Trial) -> str:
    """What a combination misses, and by how much."""
    missed = [
        f"{limit.label} ({_value(answer, trial, limit.measure, part=limit.part)})"
        for limit in answer.limits
        if limit.label in trial.missed
    ]
    return ", ".join(missed) or "nothing by much"


def _value(answer: Answer, trial: Trial, measure: str, *, unit: bool = True, part: tuple[str, str] = ("", "")) -> str:
    """Mean of a measure with its half width, in normal weeks or in a season, of all groups or of one."""
    confidence = answer.confidence
    interval, count = trial.interval(measure, confidence, part), trial.few_events(measure, confidence, part)
    text = estimate_text(interval, count, share=is_share(measure))
    return f"{text} {unit_of(measure)}".rstrip() if unit else text


def _zone(value: float, measure: str) -> str:
    return f"{100.0 * value:.2g} points" if is_share(measure) else f"{value:.2g}"


def _cost(answer: Answer, lines: Iterable[CostLine]) -> str:
    """What lines cost together, rounded to what is known, with its range."""
    return f"{summed(line.cost for line in lines).text} {answer.schedule.scenario.site.currency} a year"


def _money(answer: Answer, amount: float) -> str:
    if not math.isfinite(amount):
        return "-"
    return f"{amount:,.0f}{MARK * answer.placeholders} {answer.schedule.scenario.site.currency} a year"
