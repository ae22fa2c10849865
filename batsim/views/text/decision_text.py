"""What sizing found, for the terminal: counts, cost, how sure, what lies around."""

import math
from typing import TYPE_CHECKING

from batsim.decision.answer import MISSES
from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.scenario.parts.week import WEEK_MIN
from batsim.views.text.lines import columns, hung, indented, sentence
from batsim.views.text.tables import counted, number_text

if TYPE_CHECKING:
    from batsim.decision.answer import Answer, Trial
    from batsim.decision.decide import Decision

MOST_NEAR_MISSES = 5
"""Near misses that are listed."""
PLACEHOLDERS = (
    "Prices that the scenario does not state are placeholders of the catalogue: state your own under 'prices' before "
    "the cost is used."
)
LEFT_OUT = (
    "Cost is what is bought, over its life with interest, and attendants on duty; energy, water, downtime and drivers "
    "are left out. What is owned already costs nothing."
)


def decision_text(found: "Decision", width: int = 100) -> str:
    """Answer for each layout, with the cheapest named when there are several."""
    scenario, stated = found.schedule.scenario, found.schedule
    first, weeks = found.answers[0], counted(stated.length_min / WEEK_MIN, "week")
    lines = [
        sentence(
            f"{scenario.site.name}: the cheapest counts that meet the targets; runs of {weeks} after "
            f"{stated.warm_up_min / WEEK_MIN:g}, seed {stated.seed}",
            width,
        ),
        sentence(f"Targets: {'; '.join(limit.text for limit in first.limits)}.", width),
    ]
    blocks = ["\n".join(lines), *(_size(each, width) for each in found.answers)]
    cheapest = found.cheapest
    notes = []
    if len(found.answers) > 1:
        notes.append(
            f"Cheapest layout that meets the targets: {cheapest.layout}, {_money(cheapest, cheapest.cost_per_year)}."
            if cheapest is not None
            else "No layout meets the targets."
        )
    notes.append(LEFT_OUT)
    if any(each.placeholders for each in found.answers):
        notes.append(PLACEHOLDERS)
    blocks.append("\n".join(sentence(note, width) for note in notes))
    return "\n\n".join(blocks)


def _size(found: "Answer", width: int) -> str:
    """One layout."""
    title = found.schedule.scenario.arrangement(found.layout).title
    lines = [sentence(f"{found.layout} ({title})", width)]
    if found.chosen is None:
        lines += _not_met(found, width)
    else:
        lines += _answer(found, found.chosen, width)
    lines.append(sentence(_effort(found), width))
    return "\n".join(lines)


def _answer(found: "Answer", chosen: "Trial", width: int) -> list[str]:
    """Counts, how sure, cost, frontier and near misses."""
    stated = {each.name: each.stated for each in found.ranges}
    rows = [["", "buy", "stated"]]
    rows += [[each.label, str(found.counts[each.name]), str(stated[each.name])] for each in found.ranges]
    lines = [*(f"  {line}" for line in columns(rows, width - 2)), ""]
    for limit in found.limits:
        value = _measure(found, chosen, limit.measure)
        lines.append(indented(f"{_label(limit.measure)}: {value} (target: {limit.text})", width))
    lines.append(indented(f"cost: {_money(found, chosen.cost_per_year)}", width))
    for line in sorted(found.cost_lines, key=lambda each: -each.per_year):
        name = f" ({line.unit.name.replace('_', ' ')})" if line.unit.name and line.unit.thing != "device" else ""
        thing = line.unit.name.replace("_", " ") if line.unit.thing == "device" else line.unit.thing
        owned = f", {line.owned:g} owned" if line.owned else ""
        lines.append(hung(f"{line.number:g} x {thing}{name}{owned}: {_money(found, line.per_year)}", width, 4))
    lines += ["", sentence(_sure(found), width)]
    if doubt := _doubt(found):
        lines.append(sentence(doubt, width))
    lines += ["", *_frontier(found, width)]
    near = found.near_misses[:MOST_NEAR_MISSES]
    if near:
        lines += ["", "Near misses, cheaper:"]
        lines += [indented(f"{_counts(found, each)}: misses {_missed(found, each)}", width) for each in near]
    if found.equally_dear:
        lines.append(
            sentence(
                f"Of {len(found.equally_dear)} combinations that cost as much, the one that loses least was picked "
                "(Kim and Nelson).",
                width,
            )
        )
    return [*lines, ""]


def _not_met(found: "Answer", width: int) -> list[str]:
    """Which target cannot be met, and how near the best comes."""
    best = found.best
    ranges = ", ".join(f"{each.label} {each.values[0]} to {each.values[-1]}" for each in found.ranges)
    lines = [indented(f"The targets cannot be met with {ranges}.", width)]
    if best is None or best.refused:
        rules = [] if best is None else [line.strip() for line in best.refused.splitlines()[1:]]
        return [*lines, *(indented(rule, width) for rule in rules), ""]
    lines.append(indented(f"The nearest, {_counts(found, best)}:", width))
    for limit in found.limits:
        verdict = "missed" if limit.name in best.missed else "met"
        lines.append(indented(f"{limit.text}: {verdict}, {_measure(found, best, limit.measure)}", width, 4))
    lines.append(indented("Look at what binds there (batsim bottleneck), or ask whether the target is right.", width))
    return [*lines, ""]


def _sure(found: "Answer") -> str:
    """Say how sure the answer is."""
    zone = "; ".join(f"{limit.name} {_zone(limit.indifference, limit.measure)}" for limit in found.limits)
    sure = f"at {100 * found.reached_confidence:.1f} % confidence"
    meets = f"{sure[:1].upper()}{sure[1:]} this meets the targets, and no combination"
    if found.chosen is not None and not found.chosen.sure:
        meets = f"By its means this meets the targets, which is not sure; {sure} no combination"
    return (
        f"{meets} that is cheaper by more than {100 * found.same_cost_share:g} % meets them by more than "
        f"what makes no difference ({zone}). With one fewer of anything a target is missed, or met by less than that."
    )


def _doubt(found: "Answer") -> str:
    """Name combinations that were too near to a target for the tests; empty when there are none."""
    near = [each for each in found.tested if not each.sure]
    if not near:
        return ""
    answer = found.chosen is not None and any(each.counts == found.chosen.counts for each in near)
    which = "the answer among them" if answer and len(near) > 1 else "the answer" if answer else "not the answer"
    number = "1 combination was" if len(near) == 1 else f"{len(near)} combinations were"
    return (
        f"{number} still too near to a target after {max(each.replications for each in near)} replications ({which}) "
        "and decided by the means: a wider --indifference or longer runs (--weeks) would tell."
    )


def _effort(found: "Answer") -> str:
    """Say what it took."""
    return (
        f"It took {found.runs} runs of {len(found.tested)} of the {found.combinations} combinations; "
        f"all would have taken {found.full_grid_runs} runs."
    )


def _frontier(found: "Answer", width: int) -> list[str]:
    """Fewer and more batteries against downtime, targets and cost."""
    column = found.frontier_column
    label = found.ranges[column].label
    measures = list(dict.fromkeys(["downtime_min_per_truck_shift", *(limit.measure for limit in found.limits)]))
    heads = [_label(name) for name in measures]
    rows = [[label, *heads, f"{found.schedule.scenario.site.currency} a year", ""]]
    for each in found.frontier:
        values = [_measure(found, each, name, unit=False) for name in measures]
        mark = "<- answer" if found.chosen is not None and each.counts == found.chosen.counts else ""
        verdict = _verdict(found, each)
        rows.append([str(each.counts[column]), *values, f"{each.cost_per_year:,.0f}", f"{verdict} {mark}".strip()])
    head = sentence(f"Frontier, all else as above (± {100 * found.confidence:g} % interval):", width)
    return [head, *columns(rows, width)]


def _verdict(found: "Answer", tested: "Trial") -> str:
    """Say whether a combination meets the targets, and which it misses."""
    verdict = found.verdict(tested)
    return f"{MISSES} {', '.join(found.surely_missed(tested))}" if verdict == MISSES else verdict


def _counts(found: "Answer", tested: "Trial") -> str:
    """Counts in words, with their cost."""
    counts = ", ".join(
        f"{number} x {_one(each.label)}" for each, number in zip(found.ranges, tested.counts, strict=True)
    )
    return f"{counts} ({_money(found, tested.cost_per_year)})"


def _missed(found: "Answer", tested: "Trial") -> str:
    """What a combination misses, and by how much."""
    parts = [
        f"{limit.name} ({_measure(found, tested, limit.measure)})"
        for limit in found.limits
        if limit.name in tested.missed
    ]
    return ", ".join(parts) or "nothing by much"


def _measure(found: "Answer", tested: "Trial", measure: str, *, unit: bool = True) -> str:
    """Mean of a measure with its half width."""
    share = measure.endswith("_share")
    text = number_text(tested.interval(measure, found.confidence), share=share)
    symbol = MEASURES.get(measure, WITHIN_TARGET).unit
    return f"{text} {symbol}" if unit and not share and symbol != "1" else text


def _label(measure: str) -> str:
    return MEASURES.get(measure, WITHIN_TARGET).label


def _zone(value: float, measure: str) -> str:
    return f"{100.0 * value:.2g} points" if measure.endswith("_share") else f"{value:.2g}"


def _one(label: str) -> str:
    """A thing in the singular, as it stands after a count."""
    return {"batteries": "battery"}.get(label, label.removesuffix("s"))


def _money(found: "Answer", amount: float) -> str:
    if not math.isfinite(amount):
        return "-"
    return f"{amount:,.0f} {found.schedule.scenario.site.currency} a year"
