"""Plain tables for the terminal: a comparison side by side, and one layout in full."""

import math
from typing import NamedTuple

from batsim.measures.names import COUNTS, PART_LABELS
from batsim.scenario.settings import Schedule
from batsim.study.compare import Comparison
from batsim.study.running.replications import DOWNTIME, PrecisionGoal, Runs
from batsim.views.text.lines import columns, entry, head_size, heads_of, measured, one_block, packed, sentence
from batsim.views.text.numbers import (
    NO_INTERVALS,
    count_text,
    counted,
    estimate_text,
    is_share,
    measure_of,
    plain_number,
    unit_of,
)

CAUTION = (
    "Whether the parts fit, ventilation, supply, money: batsim plan. Batteries are heavy and hold acid, "
    "charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it to licensed, "
    "competent people."
)
"""The usual cautions, under every answer."""
MORE = "Bottlenecks: batsim bottleneck. A day without a device: batsim day-without. See it: batsim day, batsim trace."
"""Where to look next, under a comparison."""
MOST_BESIDE = 6
"""Layouts that are shown side by side; more have a line each."""
MOST_NAME = 24
"""Characters of a layout's name that stand in one line above its column."""
MOST_COUNTED = 6
"""Counts of few events that are told below a table."""
MOST_SHARE = 0.9
"""Part of the replications for which a value is given that they do not exceed."""


SHORT_PART_LABELS = {
    "travel": "way there and back",
    "fetch": "fetched when empty",
    "help": "lends a hand",
    "wait_station": "wait for a station",
    "wait_battery": "wait for a battery",
    "wait_bay": "wait for a bay",
    "wait_attendant": "wait for attendant",
    "wait_device": "wait for a device",
    "exchange": "exchange",
    "charge_in_truck": "charge in truck",
    "watering": "watering in truck",
}
"""Causes of downtime, short enough for four layouts to stand beside one another in 100 characters."""


class ComparedNumber(NamedTuple):
    """A row of the comparison: label, measure, what follows the numbers, and whether it is shown when zero."""

    label: str
    measure: str
    unit: str
    always: bool = True
    per_truck: bool = False


COMPARED_NUMBERS = (
    ComparedNumber("downtime", DOWNTIME, "min per truck-shift"),
    *(
        ComparedNumber(f"  {label}", f"{part}_min_per_truck_shift", "", always=False)
        for part, label in SHORT_PART_LABELS.items()
    ),
    ComparedNumber("work lost", "lost_hours_per_day", "truck-hours a working day"),
    ComparedNumber("wait", "wait_min_per_exchange", "min per exchange"),
    ComparedNumber("  95th percentile", "wait_min_p95", "min"),
    ComparedNumber("exchanges or charges", "exchanges_per_day", "per working day"),
    ComparedNumber("labour, hands-on", "labour_min_per_day", "min per working day"),
    ComparedNumber("  by attendants", "labour_attendant_min_per_day", "", always=False),
    ComparedNumber("  by drivers", "labour_driver_min_per_day", "", always=False),
    ComparedNumber("drivers wait", "driver_waiting_min_per_day", "min per working day"),
    ComparedNumber("batteries", "batteries", "in all (per truck)", per_truck=True),
    ComparedNumber("  fewest ready", "ready_batteries_min", "at any time", always=False),
    ComparedNumber("chargers", "chargers", ""),
    ComparedNumber("stations or spots", "stations", ""),
    ComparedNumber("attendants busy", "attendants_busy_share", "of time on duty", always=False),
    ComparedNumber("energy from the wall", "energy_kwh_per_day", "kWh per working day"),
    ComparedNumber("  per hour worked", "energy_kwh_per_truck_hour", "kWh per truck-hour"),
    ComparedNumber("peak load", "peak_kw", "kW, mean of 15 min"),
    ComparedNumber("too warm or cold", "delayed_min_per_charge", "min before a charge", always=False),
    ComparedNumber("water lost", "water_lost_kg_per_day", "kg per working day", always=False),
    ComparedNumber("cycle life", "life_years", "years at this duty"),
    ComparedNumber("  in hours worked", "life_truck_hours", "truck-hours per battery"),
    ComparedNumber("stopped empty", "stopped_empty", "times", always=False),
    ComparedNumber("trucks below cut-out", "trucks_below_cut_out", "times", always=False),
)
CHANCE = "chance of being best"
"""Last row of numbers, where there are several layouts."""


def comparison_text(comparison: Comparison, width: int = 100) -> str:
    """Table of a comparison for a terminal so many characters wide, with the verdict and the cautions below."""
    runs = comparison.runs
    lines = [heading(runs, width), ""]
    if len(runs.layouts) > MOST_BESIDE:
        lines += _one_below_the_other(comparison, width)
        return "\n".join([*lines, *_notes(comparison, width)])
    rows = shown_rows(runs)
    targets = comparison.targets(runs.layouts[0])
    labels = [*(row.label for row in rows), CHANCE, *(f"target: {target.name}" for target in targets)]
    units = [*(row.unit for row in rows), f"in {_deciding(comparison)}", *("" for _ in targets)]
    cells = {layout: _cells(comparison, layout, rows) for layout in runs.layouts}
    if len(runs.layouts) < 2:
        for column in (labels, units, *cells.values()):
            del column[len(rows)]
    return "\n".join([*lines, *_side_by_side(labels, cells, units, width), *_notes(comparison, width)])


def _cells(comparison: Comparison, layout: str, rows: list[ComparedNumber]) -> list[str]:
    """Numbers of a layout, its chance of being the best, and its verdicts on the targets."""
    numbers = [cell_text(comparison.runs, layout, row) for row in rows]
    verdicts = [target.verdict for target in comparison.targets(layout)]
    return [*numbers, chance_text(comparison, layout), *verdicts]


def _notes(comparison: Comparison, width: int) -> list[str]:
    """What stands below the table: targets, verdict, how to read it, cautions."""
    runs = comparison.runs
    targets = comparison.targets(runs.layouts[0])
    notes = [f"Targets: {'; '.join(target.target for target in targets)}."] if targets else []
    notes += [comparison.verdict, comparison.warm_up_sentence, comparison.precision_sentence]
    notes += [*few_notes(runs, shown_measures(runs))]
    if runs.replications > 1:
        note = f"± is the half width of a {100 * runs.confidence:g} % interval for each mean; differences are paired."
        notes.append(f"{note} {comparison.common_numbers}".rstrip())
    else:
        notes.append(NO_INTERVALS)
    return ["", *(sentence(note, width) for note in (*notes, age_note(runs), MORE, CAUTION) if note)]


def shown_measures(runs: Runs) -> tuple[str, ...]:
    """Measures of which a comparison shows the means."""
    return tuple(row.measure for row in shown_rows(runs))


def few_notes(runs: Runs, measures: tuple[str, ...]) -> list[str]:
    """Sentence on the measures whose events are too few for an interval: how many, of how many, in how many runs."""
    found = [
        f"{measure_of(measure).label}, '{layout}': {count_text(count, measure)}"
        for measure in measures
        for layout in runs.layouts
        if (count := runs.count(layout, measure)) is not None and count[0].events
    ]
    if not found:
        return []
    more = f"; and {len(found) - MOST_COUNTED} more" if len(found) > MOST_COUNTED else ""
    return [f"Too few events for an interval: {'; '.join(found[:MOST_COUNTED])}{more}."]


def _deciding(comparison: Comparison) -> str:
    """Measure that decides, in a word."""
    return "downtime" if comparison.deciding == DOWNTIME else measure_of(comparison.deciding).label


def chance_text(comparison: Comparison, layout: str) -> str:
    """Chance that a layout is the best."""
    chance = comparison.chance_best[layout]
    return f"{100 * chance:.0f} %" if math.isfinite(chance) else "-"


def _one_below_the_other(comparison: Comparison, width: int) -> list[str]:
    """Many layouts: a line for each, the best first."""
    runs = comparison.runs
    heads = ["", "downtime", "labour", "batteries", "chargers", "peak", "best", "targets met"]
    units = ["", "min/shift", "min/day", "", "", "kW", "", ""]
    names = ["downtime_min_per_truck_shift", "labour_min_per_day", "batteries", "chargers", "peak_kw"]
    rows = [heads, units]
    for layout in comparison.ranking:
        verdicts = [target.verdict for target in comparison.targets(layout)]
        met = f"{verdicts.count('met')} of {len(verdicts)}" if verdicts else "-"
        values = [value_text(runs, layout, name) for name in names]
        rows.append([layout, *values, chance_text(comparison, layout), met])
    return one_block(rows, width, heads=2) or columns(rows, width, heads=2)


def runs_text(runs: Runs, measures: tuple[str, ...], width: int = 100) -> str:
    """Every measure of each layout, one layout after another, with how sure they are and the cautions below."""
    layouts = [layout_text(runs, layout, width) for layout in runs.layouts]
    notes = run_notes(runs, measures, width)
    return "\n\n".join([heading(runs, width), *layouts, notes, sentence(CAUTION, width)])


def run_notes(runs: Runs, measures: tuple[str, ...], width: int = 100) -> str:
    """How sure the means are, what lies beyond them, and what a sharper answer would take."""
    if runs.replications < 2:
        return NO_INTERVALS
    notes = []
    for layout in runs.layouts:
        parts = [text for measure in measures if (text := _in_nine_of_ten(runs, layout, measure))]
        below = runs.probability(layout, "trucks_below_cut_out")
        parts.append(
            f"a truck below cut-out in {100 * below.mean:.0f} % of replications "
            f"({100 * below.low:.0f} to {100 * below.high:.0f} %)"
        )
        notes.append(f"{layout}: {'; '.join(parts)}.")
    notes += few_notes(runs, tuple(measure for measure in runs.measures if measure not in COUNTS))
    notes.append(f"± and the limits are those of {100 * runs.confidence:g} % intervals.")
    if runs.goal is not None:
        notes.append(_precision(runs, runs.goal))
    return "\n".join(sentence(note, width) for note in notes)


def _in_nine_of_ten(runs: Runs, layout: str, measure: str) -> str:
    """What most replications do not exceed in a measure; empty where it has no value."""
    most, share, unit = runs.quantile(layout, measure, MOST_SHARE), is_share(measure), unit_of(measure)
    if not math.isfinite(most.mean):
        return ""
    value = f"{plain_number(most.mean, share=share)} {unit}".rstrip()
    text = f"{measure_of(measure).label} in 9 of 10 replications at most {value}"
    if not math.isfinite(most.low):
        return text
    return f"{text} ({plain_number(most.low, share=share)} to {plain_number(most.high, share=share)})"


def _precision(runs: Runs, goal: PrecisionGoal) -> str:
    """Say whether a precision is reached, else what it would take."""
    means = {layout: runs.interval(layout, goal.measure) for layout in runs.layouts}
    without = [layout for layout, interval in means.items() if not math.isfinite(interval.mean)]
    texts = []
    if without:
        names = ", ".join(without)
        texts.append(f"{goal.measure} has no value in {names}, so nothing can be said of its precision there.")
    known = {layout: interval for layout, interval in means.items() if layout not in without}
    if known:
        short = [layout for layout, interval in known.items() if not goal.precision.reached(interval)]
        texts.append(_still_to_run(runs, goal, short, len(known)))
    return " ".join(texts)


def _still_to_run(runs: Runs, goal: PrecisionGoal, short: list[str], known: int) -> str:
    """Say what the layouts that are short of a precision would take."""
    spent = f"{runs.replications} replications"
    if not short:
        return f"{goal.measure} is known to {goal.text} in every layout after {spent}."
    needed = {layout: runs.replications_needed(layout, goal.measure, goal.precision) for layout in short}
    layout = max(needed, key=lambda name: needed[name])
    return (
        f"{goal.measure} is not yet known to {goal.text} in {len(short)} of {known} layouts after {spent}, the budget. "
        f"{layout} would take about {needed[layout]} replications, or as many weeks "
        f"({needed[layout] * runs.schedule.weeks:,.0f}) in fewer, longer ones."
    )


def heading(runs: Runs, width: int = 100) -> str:
    """Say what was simulated, and for how long."""
    scenario = runs.scenario
    trucks = sum(group.count for group in scenario.trucks)
    shifts = len({name for group in scenario.trucks for name in group.shifts})
    what = (
        f"{scenario.site.name}: {counted(trucks, 'truck')}, {counted(shifts, 'shift')}, "
        f"{counted(len(runs.layouts), 'layout')}"
    )
    return f"{sentence(what, width)}\n{sentence(simulated(runs.schedule), width)}"


def simulated(schedule: Schedule) -> str:
    """Say how often and for how long was simulated."""
    return f"{counted(schedule.replications, 'replication')} of {run_length(schedule)}"


def run_length(schedule: Schedule) -> str:
    """Say for how long each run was simulated, and with which seed."""
    weeks, warm_up = counted(schedule.weeks, "week"), counted(schedule.warm_up_weeks, "week")
    return f"{weeks} after {warm_up} of warm-up, seed {schedule.seed}"


def layout_text(runs: Runs, layout: str, width: int = 100) -> str:
    """Every measure of one layout, with its unit; what has no meaning in it is left out."""
    rows = []
    for name in runs.measures:
        interval = runs.interval(layout, name)
        empty = not math.isfinite(interval.mean) or (interval.mean == 0.0 and name.startswith("labour_"))
        if empty or name in COUNTS:
            continue
        part_of_labour = name.startswith("labour_") and name.count("_") > 4
        indent = "  " if part_of_labour or name.removesuffix("_min_per_truck_shift") in PART_LABELS else ""
        rows.append((indent + measure_of(name).label, value_text(runs, layout, name), unit_of(name)))
    title = sentence(f"{layout} ({runs.scenario.arrangement(layout).title})", width)
    return "\n".join([title, *measured(rows, width)])


def shown_rows(runs: Runs) -> list[ComparedNumber]:
    """Rows that have something to show in any layout."""
    return [
        row
        for row in COMPARED_NUMBERS
        if row.always or any(runs.interval(name, row.measure).mean > 0.0 for name in runs.layouts)
    ]


def cell_text(runs: Runs, layout: str, row: ComparedNumber) -> str:
    """Text of one number in a comparison."""
    text = value_text(runs, layout, row.measure)
    if row.per_truck:
        text += f" ({runs.interval(layout, 'batteries_per_truck').mean:.2f})"
    return text


def value_text(runs: Runs, layout: str, measure: str) -> str:
    """Mean of a measure with its half width, or with the number of its events where they are few."""
    interval, count = runs.interval(layout, measure), runs.count(layout, measure)
    return estimate_text(interval, count, share=is_share(measure))


def age_note(runs: Runs) -> str:
    """Say up to which age batteries last, where some would last longer by their duty alone; else nothing."""
    years = runs.scenario.prices.lives.battery_years
    if any(runs.interval(layout, "life_years").mean > years for layout in runs.layouts):
        return f"A cycle life above {years:g} years is limited by age."
    return ""


def _side_by_side(labels: list[str], cells: dict[str, list[str]], units: list[str], width: int) -> list[str]:
    """Lay layouts side by side, in as many blocks as the width asks for; as lists where not even one fits."""
    first, last = max(map(len, labels)), max(map(len, units))
    room = width - first - last - 4
    values = {layout: max(map(len, texts)) for layout, texts in cells.items()}
    if max(values.values()) > room:
        return _one_list_each(labels, cells, units, width)
    size = {layout: max(wide, head_size(layout, max(wide, min(MOST_NAME, room)))) for layout, wide in values.items()}
    lines: list[str] = []
    for block in packed(size, width - first - last - 2):
        lines += [""] if lines else []
        heads = heads_of(block, [size[layout] for layout in block])
        lines += [f"{'':<{first}}  {'  '.join(level)}".rstrip() for level in heads]
        for position, (label, unit) in enumerate(zip(labels, units, strict=True)):
            numbers = "  ".join(f"{cells[layout][position]:>{size[layout]}}" for layout in block)
            lines.append(f"{label:<{first}}  {numbers}  {unit}".rstrip())
    return lines


def _one_list_each(labels: list[str], cells: dict[str, list[str]], units: list[str], width: int) -> list[str]:
    """Write layouts one below the other, each number with its label before it and its unit behind."""
    lines: list[str] = []
    for layout, texts in cells.items():
        lines += [""] if lines else []
        lines.append(sentence(layout, width))
        lines += [entry(label, text, unit, width) for label, text, unit in zip(labels, texts, units, strict=True)]
    return lines
