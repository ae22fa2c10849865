"""Plain tables for the terminal: a comparison side by side, and one layout in full."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import PARTS
from batsim.study.running.replications import DOWNTIME
from batsim.views.text.lines import columns, entry, head_size, heads_of, measured, one_block, sentence

if TYPE_CHECKING:
    from batsim.scenario.settings import Schedule
    from batsim.statistics.intervals import Interval
    from batsim.study.compare import Comparison
    from batsim.study.running.replications import PrecisionGoal, Runs

CAUTION = (
    "Whether the parts fit, ventilation, supply, money: batsim plan. Batteries are heavy and hold acid, "
    "charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it to licensed, "
    "competent people."
)
"""The usual cautions, under every answer."""


MORE = "What binds: batsim bottleneck. A day without a device: batsim day-without. See it: batsim day, batsim trace."
"""Where to look next, under a comparison."""


MOST_BESIDE = 6
"""Layouts that are shown side by side; more have a line each."""
MOST_NAME = 24
"""Characters of a layout's name that stand in one line above its column."""
MOST_SHARE = 0.9
"""Part of the replications of which it is told what they do not exceed."""


class Row(NamedTuple):
    """A row of the comparison: label, measure, what follows the numbers, and whether it is shown when zero."""

    label: str
    measure: str
    unit: str
    always: bool = True
    per_truck: bool = False


ROWS = (
    Row("downtime", "downtime_min_per_truck_shift", "min per truck-shift"),
    *(
        Row(f"  {part.replace('wait_', 'waits for ').replace('_', ' ')}", f"{part}_min_per_truck_shift", "", False)
        for part in PARTS
    ),
    Row("wait", "wait_min_per_exchange", "min per exchange"),
    Row("  95th percentile", "wait_min_p95", "min"),
    Row("exchanges or charges", "exchanges_per_day", "per working day"),
    Row("labour, hands-on", "labour_min_per_day", "min per working day"),
    Row("  by attendants", "labour_attendant_min_per_day", "", False),
    Row("  by drivers", "labour_driver_min_per_day", "", False),
    Row("drivers wait", "driver_waiting_min_per_day", "min per working day"),
    Row("batteries", "batteries", "in all (per truck)", True, True),
    Row("  fewest ready", "ready_batteries_min", "at any time", False),
    Row("chargers", "chargers", ""),
    Row("stations or spots", "stations", ""),
    Row("attendants busy", "attendants_busy_share", "of time on duty", False),
    Row("energy from the wall", "energy_kwh_per_day", "kWh per working day"),
    Row("peak load", "peak_kw", "kW, mean of 15 min"),
    Row("too warm or cold", "delayed_min_per_charge", "min before a charge", False),
    Row("water lost", "water_lost_kg_per_day", "kg per working day", False),
    Row("battery life", "life_years", "years, use alone"),
    Row("trucks below cut-out", "trucks_below_cut_out", "times", False),
)


def number_text(interval: "Interval", *, share: bool = False) -> str:
    """Write a mean with its half width, to the digits that the half width carries; a dash for nothing."""
    mean, half = interval.mean, interval.half_width
    if not math.isfinite(mean):
        return "-"
    if share:
        mean, half = 100.0 * mean, 100.0 * half
    unit = " %" if share else ""
    if not math.isfinite(half):
        return f"{mean:.1f}{unit}" if mean % 1 else f"{mean:.0f}{unit}"
    if half == 0.0:
        return f"{mean:.6g}{unit}" if mean % 1 == 0 else f"{mean:.2f}{unit}"
    digits = 0 if half >= 9.5 else 1 if half >= 0.095 else 2
    if abs(mean) >= 100.0:
        digits = 0 if half >= 0.5 else 1
    return f"{mean:.{digits}f} ± {half:.{digits}f}{unit}"


def comparison_text(comparison: "Comparison", width: int = 100) -> str:
    """Table of a comparison for a terminal so many characters wide, with the verdict and the cautions below."""
    runs = comparison.runs
    lines = [heading(runs, width), ""]
    rows = shown_rows(runs)
    if len(runs.layouts) > MOST_BESIDE:
        lines += _one_below_the_other(comparison, width)
        return "\n".join([*lines, *_notes(comparison, width)])
    cells = {
        layout: [cell_text(runs, layout, row) for row in rows]
        + [chance_text(comparison, layout)] * (len(runs.layouts) > 1)
        + _target_cells(comparison, layout)
        for layout in runs.layouts
    }
    targets = comparison.targets(runs.layouts[0])
    several = ["chance of being best"] if len(runs.layouts) > 1 else []
    labels = [row.label for row in rows] + several + [f"target: {target.name}" for target in targets]
    units = [row.unit for row in rows] + [f"in {_deciding(comparison)}"] * len(several) + [""] * len(targets)
    lines += _side_by_side(labels, cells, units, width)
    return "\n".join([*lines, *_notes(comparison, width)])


def _notes(comparison: "Comparison", width: int) -> list[str]:
    """What stands below the table: targets, verdict, how to read it, cautions."""
    runs, lines = comparison.runs, [""]
    targets = comparison.targets(runs.layouts[0])
    if targets:
        lines.append(sentence(f"Targets: {'; '.join(target.target for target in targets)}.", width))
    if comparison.verdict:
        lines.append(sentence(comparison.verdict, width))
    if comparison.precision_sentence:
        lines.append(sentence(comparison.precision_sentence, width))
    confidence = f"{100 * runs.confidence:g} %"
    if runs.replications > 1:
        note = f"± is the half width of a {confidence} interval for each mean; differences are paired."
        if comparison.common_numbers:
            note += f" {comparison.common_numbers}"
    else:
        note = "One replication has no intervals; take more to know how sure this is."
    return [*lines, *(sentence(text, width) for text in (note, MORE, CAUTION))]


def _deciding(comparison: "Comparison") -> str:
    """Measure that decides, in a word."""
    measure = comparison.deciding
    return "downtime" if measure == DOWNTIME else MEASURES.get(measure, WITHIN_TARGET).label


def chance_text(comparison: "Comparison", layout: str) -> str:
    """Chance that a layout is the best."""
    chance = comparison.chance_best[layout]
    return f"{100 * chance:.0f} %" if math.isfinite(chance) else "-"


def _one_below_the_other(comparison: "Comparison", width: int) -> list[str]:
    """Many layouts: a line for each, the best first."""
    runs = comparison.runs
    heads = ["", "downtime", "labour", "batteries", "chargers", "peak", "best", "targets met"]
    units = ["", "min/shift", "min/day", "", "", "kW", "", ""]
    names = ["downtime_min_per_truck_shift", "labour_min_per_day", "batteries", "chargers", "peak_kw"]
    rows = [heads, units]
    for layout in comparison.ranking:
        verdicts = [target.verdict for target in comparison.targets(layout)]
        met = f"{verdicts.count('met')} of {len(verdicts)}" if verdicts else "-"
        values = [number_text(runs.interval(layout, name)) for name in names]
        rows.append([layout, *values, chance_text(comparison, layout), met])
    return one_block(rows, width, heads=2) or columns(rows, width, heads=2)


def runs_text(runs: "Runs", measures: tuple[str, ...], width: int = 100) -> str:
    """Every measure of each layout, one layout after another, with how sure they are and the cautions below."""
    layouts = [layout_text(runs, layout, width) for layout in runs.layouts]
    notes = run_notes(runs, measures, width)
    return "\n\n".join([heading(runs, width), *layouts, notes, sentence(CAUTION, width)])


def run_notes(runs: "Runs", measures: tuple[str, ...], width: int = 100) -> str:
    """How sure the means are, what lies beyond them, and what a sharper answer would take."""
    confidence, lines = f"{100 * runs.confidence:g} %", []
    if runs.replications < 2:
        return "One replication has no intervals; take more to know how sure this is."
    for layout in runs.layouts:
        parts = []
        for measure in measures:
            about, share = MEASURES.get(measure, WITHIN_TARGET), measure.endswith("_share")
            unit = "" if share or about.unit == "1" else f" {about.unit}"
            most = runs.quantile(layout, measure, MOST_SHARE)
            if math.isfinite(most.mean):
                text = f"{about.label} in 9 of 10 replications at most {_plain(most.mean, share=share)}{unit}"
                if math.isfinite(most.low):
                    limits = f"{_plain(most.low, share=share)} to {_plain(most.high, share=share)}"
                    text += f" ({limits})"
                parts.append(text)
        stranded = runs.probability(layout, "trucks_below_cut_out")
        parts.append(
            f"a truck below cut-out in {100 * stranded.mean:.0f} % of replications "
            f"({100 * stranded.low:.0f} to {100 * stranded.high:.0f} %)"
        )
        lines.append(sentence(f"{layout}: {'; '.join(parts)}.", width))
    lines.append(sentence(f"± and the limits are those of {confidence} intervals.", width))
    if runs.goal is not None:
        lines.append(sentence(_reached(runs, runs.goal), width))
    return "\n".join(lines)


def _reached(runs: "Runs", goal: "PrecisionGoal") -> str:
    """Say whether a precision is reached, else what it would take."""
    means = {layout: runs.interval(layout, goal.measure) for layout in runs.layouts}
    nothing = [layout for layout, interval in means.items() if not math.isfinite(interval.mean)]
    if nothing:
        names = ", ".join(nothing)
        said = f"{goal.measure} has no value in {names}, so nothing can be said of its precision there."
        rest = tuple(layout for layout in runs.layouts if layout not in nothing)
        return (
            f"{said} {_reached(replace(runs, schedule=replace(runs.schedule, layouts=rest)), goal)}" if rest else said
        )
    short = [layout for layout, interval in means.items() if not goal.precision.reached(interval)]
    spent = f"{runs.replications} replications"
    if not short:
        return f"{goal.measure} is known to {goal.text} in every layout after {spent}."
    needed = {layout: runs.replications_needed(layout, goal.measure, goal.precision) for layout in short}
    layout = max(needed, key=lambda each: needed[each])
    weeks = needed[layout] * runs.schedule.weeks
    return (
        f"{goal.measure} is not yet known to {goal.text} in {len(short)} of {len(runs.layouts)} layouts after "
        f"{spent}, the budget. {layout} would take about {needed[layout]} replications, or as many weeks "
        f"({weeks:,.0f}) in fewer, longer ones."
    )


def _plain(value: float, *, share: bool) -> str:
    """Write a number without an interval."""
    return f"{100 * value:.1f} %" if share else f"{value:.1f}" if abs(value) < 100.0 else f"{value:.0f}"


def heading(runs: "Runs", width: int = 100) -> str:
    """Say what was simulated, and for how long."""
    scenario = runs.scenario
    trucks = sum(group.count for group in scenario.trucks)
    shifts = len({name for group in scenario.trucks for name in group.shifts})
    what = (
        f"{scenario.site.name}: {counted(trucks, 'truck')}, {counted(shifts, 'shift')}, "
        f"{counted(len(runs.layouts), 'layout')}"
    )
    return f"{sentence(what, width)}\n{sentence(simulated(runs.schedule), width)}"


def simulated(schedule: "Schedule") -> str:
    """Say how often and for how long was simulated."""
    return (
        f"{counted(schedule.replications, 'replication')} of {counted(schedule.weeks, 'week')} after a warm-up of "
        f"{counted(schedule.warm_up_weeks, 'week')}, seed {schedule.seed}"
    )


def layout_text(runs: "Runs", layout: str, width: int = 100) -> str:
    """Every measure of one layout, with its unit; what has no meaning in it is left out."""
    rows = []
    for name in runs.measures:
        interval = runs.interval(layout, name)
        measure = MEASURES.get(name, WITHIN_TARGET)
        if not math.isfinite(interval.mean) or (interval.mean == 0.0 and name.startswith("labour_")):
            continue
        share = name.endswith("_share")
        part_of_labour = name.startswith("labour_") and name.count("_") > 4
        indent = "  " if name.removesuffix("_min_per_truck_shift") in PARTS or part_of_labour else ""
        unit = "" if share or measure.unit == "1" else measure.unit
        rows.append((indent + measure.label, number_text(interval, share=share), unit))
    title = sentence(f"{layout} ({runs.scenario.arrangement(layout).title})", width)
    return "\n".join([title, *measured(rows, width)])


def shown_rows(runs: "Runs") -> list[Row]:
    """Rows that have something to show in any layout."""
    return [
        row for row in ROWS if row.always or any(runs.interval(name, row.measure).mean > 0.0 for name in runs.layouts)
    ]


def cell_text(runs: "Runs", layout: str, row: Row) -> str:
    """Text of one number in a comparison."""
    text = number_text(runs.interval(layout, row.measure), share=row.measure.endswith("_share"))
    if row.per_truck:
        text += f" ({runs.interval(layout, 'batteries_per_truck').mean:.2f})"
    return text


def _target_cells(comparison: "Comparison", layout: str) -> list[str]:
    """Verdicts on the targets."""
    return [target.verdict for target in comparison.targets(layout)]


def _side_by_side(labels: list[str], cells: dict[str, list[str]], units: list[str], width: int) -> list[str]:
    """Lay layouts side by side, in as many blocks as the width asks for; as lists where not even one fits."""
    label_width = max(map(len, labels))
    unit_width = max(map(len, units))
    room = width - label_width - unit_width - 4
    values = {layout: max(map(len, texts)) for layout, texts in cells.items()}
    if max(values.values()) > room:
        return _one_list_each(labels, cells, units, width)
    size = {layout: max(wide, head_size(layout, max(wide, min(MOST_NAME, room)))) for layout, wide in values.items()}
    blocks: list[list[str]] = [[]]
    used = label_width + unit_width + 2
    for layout in cells:
        if blocks[-1] and used + sum(size[each] + 2 for each in [*blocks[-1], layout]) > width:
            blocks.append([])
        blocks[-1].append(layout)
    lines: list[str] = []
    for number, block in enumerate(blocks):
        lines += [""] if number else []
        for level in heads_of(block, [size[layout] for layout in block]):
            lines.append(f"{'':<{label_width}}  {'  '.join(level)}".rstrip())
        for position, label in enumerate(labels):
            numbers = "  ".join(f"{cells[layout][position]:>{size[layout]}}" for layout in block)
            lines.append(f"{label:<{label_width}}  {numbers}  {units[position]}".rstrip())
    return lines


def _one_list_each(labels: list[str], cells: dict[str, list[str]], units: list[str], width: int) -> list[str]:
    """Write layouts one below the other, each number with its label before it and its unit behind."""
    lines: list[str] = []
    for number, (layout, texts) in enumerate(cells.items()):
        lines += [""] if number else []
        lines.append(sentence(layout, width))
        lines += [entry(label, text, unit, width) for label, text, unit in zip(labels, texts, units, strict=True)]
    return lines


def counted(number: float, thing: str) -> str:
    """Write a count with its noun."""
    return f"{number:g} {thing}{'' if number == 1 else 's'}"
