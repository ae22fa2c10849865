"""Plain tables for the terminal: a comparison side by side, and one layout in full."""

import csv
import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from batsim.decision.ranking import order_of_runs, order_sentence
from batsim.decision.sizing import sizing_sentence
from batsim.display import counted
from batsim.measures.names import COUNTS, PART_LABELS
from batsim.scenario.parts.week import name_of_weeks
from batsim.scenario.settings import Schedule
from batsim.study.compare import Comparison
from batsim.study.limits import MET
from batsim.study.running.runs import DOWNTIME, PrecisionGoal, Runs
from batsim.study.waits import whole_shifts_waited
from batsim.views.text.lines import columns, measured, one_block, sentence
from batsim.views.text.numbers import (
    NO_INTERVALS,
    count_text,
    is_share,
    measure_of,
    plain_number,
    unit_of,
    value_text,
)
from batsim.views.text.part_tables import parts_text
from batsim.views.text.side_by_side import side_by_side

CAUTION = (
    "Whether the parts fit, ventilation, supply, cost: batsim plan. Batteries are heavy and hold acid, "
    "charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it to licensed, "
    "competent people."
)
"""The usual cautions, under every answer."""
MORE = "Bottlenecks: batsim bottleneck. A day without a device: batsim day-without. See it: batsim day, batsim trace."
"""Where to look next, under a comparison."""
LOST = "Work that trucks miss is lost, not done later: compare energy, water and battery life per hour worked."
"""How to read what a layout that loses much does not draw."""
MOST_BESIDE = 6
"""Layouts that are shown side by side; more have a line each."""
MOST_COUNTED = 6
"""Counts of few events that are told below a table."""
MOST_SHARE = 0.9
"""Part of the replications for which a value is given that they do not exceed."""


class ComparedNumber(NamedTuple):
    """A row of the comparison: label, measure, what follows the numbers."""

    label: str
    measure: str
    unit: str
    shown_when_zero: str
    per_truck: str
    """Whether the number for each truck stands behind."""
    in_season: str
    """Whether the table of a season has it too."""


with Path(__file__).with_name("compared_numbers.csv").open(newline="", encoding="utf-8") as _lines:
    COMPARED_NUMBERS = [ComparedNumber(**row) for row in csv.DictReader(_lines)]
"""Labels are short enough for four layouts to stand beside one another in 100 characters."""
AFTER_DOWNTIME = "lost_hours_per_day"
"""Number before which the downtime of each truck group stands."""
CHANCE = "chance of being best"
"""Last row of numbers, where there are several layouts."""
MEASURES_IN_A_LINE = (
    (DOWNTIME, "downtime", "min/shift"),
    ("labour_min_per_day", "labour", "min/day"),
    ("batteries", "batteries", ""),
    ("chargers", "chargers", ""),
    ("peak_kw", "peak", "kW"),
)
"""Measures, heads and units where many layouts have a line each."""


def comparison_text(comparison: Comparison, width: int = 100) -> str:
    """Table of a comparison for a terminal so many characters wide, with the verdict and the cautions below."""
    normal, *seasons = comparison.parts
    lines = [heading(comparison.runs, width), "", *_table(normal, number_rows(comparison.runs), width)]
    lines += parts_text(comparison.runs, width)
    for season in seasons:
        title, numbers = season_title(season.runs.schedule), number_rows(season.runs, beside=comparison.runs)
        lines += ["", sentence(f"{title}:", width), "", *_table(season, numbers, width)]
        lines += parts_text(season.runs, width)
    return "\n".join([*lines, *_notes(comparison, width)])


def _table(comparison: Comparison, numbers: list[list[str]], width: int) -> list[str]:
    """Layouts side by side; where they are many, one below the other."""
    if len(comparison.layouts) > MOST_BESIDE:
        return _one_below_the_other(comparison, width)
    return side_by_side(_rows(comparison, numbers), width)


def season_title(schedule: Schedule) -> str:
    """Say which season it is, how much work it has, and how long it was simulated."""
    season = schedule.season
    assert season is not None  # nothing else has this title
    work = 100.0 * schedule.scenario.demand.in_week(season.first)
    return f"In {name_of_weeks(season.text)} (work {work:g} %, {counted(schedule.weeks, 'week')} measured)"


def season_rows(comparison: Comparison) -> list[list[str]]:
    """Numbers of each season as `number_rows`, with its weeks before the label."""
    return [
        [f"{name_of_weeks(weeks)}: {row[0].strip()}", *row[1:]]
        for weeks, season in comparison.seasons.items()
        for row in number_rows(season, beside=comparison.runs)
    ]


def _rows(comparison: Comparison, numbers: list[list[str]]) -> list[list[str]]:
    """Names of layouts, then their numbers, chances of being the best, and verdicts on the targets, with units."""
    rows = [["", *comparison.layouts, ""], *numbers]
    if len(comparison.layouts) > 1:
        deciding = "downtime" if comparison.deciding == DOWNTIME else measure_of(comparison.deciding).label
        rows.append([CHANCE, *(chance_text(comparison, name) for name in comparison.layouts), f"in {deciding}"])
    if comparison.impossible:
        possible = ["no" if name in comparison.impossible else "yes" for name in comparison.layouts]
        rows.append(["possible", *possible, ""])
    for results in zip(*map(comparison.targets, comparison.layouts), strict=True):
        rows.append([f"target: {results[0].title}", *(result.verdict for result in results), ""])
    return rows


def _notes(comparison: Comparison, width: int) -> list[str]:
    """What stands below the table: how to read it, cautions, and last the answer: targets, verdict, ranking."""
    runs = comparison.runs
    reads = [
        *(note for part in comparison.parts for note in shift_notes(part.runs)),
        comparison.warm_up_sentence,
        comparison.precision_sentence,
        *few_notes(runs, shown_measures(runs)),
    ]
    if runs.replications > 1:
        note = f"± is the half width of a {100 * runs.confidence:g} % interval for each mean; differences are paired."
        reads.append(f"{note} {comparison.common_numbers}".rstrip())
    else:
        reads.append(NO_INTERVALS)
    targets = [target.target for target in comparison.parts[0].targets(runs.layouts[0])]
    answer = [
        targets_sentence(targets, runs.schedule) if targets else "",
        *comparison.verdicts,
        comparison.worst_area_sentence,
        comparison.worst_group_sentence,
        *impossible_sentences(comparison.impossible),
        sizing_sentence(comparison),
        order_sentence(comparison),
    ]
    blocks = ((*reads, LOST, age_note(runs)), (MORE, CAUTION), answer)
    return [line for block in blocks for line in ("", *(sentence(note, width) for note in block if note))]


def impossible_sentences(impossible: Mapping[str, str]) -> list[str]:
    """Say of each layout that is impossible why it is."""
    return [f"Layout '{layout}' is impossible: {reason}" for layout, reason in impossible.items()]


def shift_notes(runs: Runs) -> list[str]:
    """Say of each layout where the 95th percentile of its waits is a whole shift that it is."""
    return [
        f"95th percentile of the waits, '{layout}': {wait:,.0f} min are a whole shift ({shift:,.0f} min of work) or "
        "more, so one exchange in twenty costs a truck all of it."
        for layout, (wait, shift) in whole_shifts_waited(runs).items()
    ]


def targets_sentence(targets: list[str], schedule: Schedule) -> str:
    """Name the targets, and when they are judged."""
    when = ", in normal weeks and in each season" if schedule.scenario.seasons else ""
    return f"Targets{when}: {'; '.join(targets)}."


def shown_measures(runs: Runs) -> tuple[str, ...]:
    """Measures of which a comparison shows the means."""
    return tuple(row.measure for row in COMPARED_NUMBERS if _is_shown(runs, row))


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


def chance_text(comparison: Comparison, layout: str) -> str:
    """Chance that a layout is the best."""
    chance = comparison.chance_best[layout]
    return f"{100 * chance:.0f} %" if math.isfinite(chance) else "-"


def _one_below_the_other(comparison: Comparison, width: int) -> list[str]:
    """Many layouts: a line for each, the best first."""
    runs = comparison.runs
    names, heads, units = zip(*MEASURES_IN_A_LINE, strict=True)
    rows = [["", *heads, "best", "targets met"], ["", *units, "", ""]]
    for layout in order_of_runs(comparison):
        verdicts = [target.verdict for target in comparison.targets(layout)]
        met = f"{verdicts.count(MET)} of {len(verdicts)}" if verdicts else "-"
        met = "impossible" if layout in comparison.impossible else met
        values = [value_text(runs, layout, name) for name in names]
        rows.append([layout, *values, chance_text(comparison, layout), met])
    return one_block(rows, width, heads=2) or columns(rows, width, heads=2)


def runs_text(runs: Runs, measures: tuple[str, ...], width: int = 100) -> str:
    """Every measure of each layout, one layout after another, with how sure they are and the cautions below."""
    notes = run_notes(runs, measures, width)
    texts = [text for layout in runs.layouts for text in layout_texts(runs, layout, width)]
    return "\n\n".join([heading(runs, width), *texts, notes, sentence(CAUTION, width)])


def answer_text(title: str, simulated_text: str, blocks: Iterable[str], note: str, width: int) -> str:
    """Everything that a command prints: what was asked and simulated, blocks, a note on the figures, the cautions."""
    head = f"{sentence(title, width)}\n{sentence(simulated_text, width)}"
    return "\n\n".join([head, *blocks, f"{sentence(note, width)}\n{sentence(CAUTION, width)}"])


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
    notes += shift_notes(runs)
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
    known = [layout for layout, interval in means.items() if math.isfinite(interval.mean)]
    texts = []
    if len(known) < len(means):
        names = ", ".join(layout for layout in means if layout not in known)
        texts.append(f"{goal.measure} has no value in {names}, so nothing can be said of its precision there.")
    if known:
        short = [layout for layout in known if not goal.precision.reached(means[layout])]
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
    weeks = counted(schedule.weeks, "normal week" if schedule.scenario.seasons else "week")
    warm_up = counted(schedule.warm_up_weeks, "week")
    return f"{weeks} after {warm_up} of warm-up, seed {schedule.seed}"


def layout_texts(runs: Runs, layout: str, width: int = 100) -> list[str]:
    """Every measure of one layout, and of each area that it states."""
    sites, areas = runs.scenario.areas_of(layout), runs.parts_of(layout)["areas"]
    handled = {area: site.arrangement(layout).title for area, site in sites.items()}
    whole = f"areas {', '.join(areas)}" if areas else handled[""]
    texts = [_measures_text(runs, layout, f"{layout} ({whole})", width)]
    for area, part in areas.items():
        texts.append(_measures_text(part, layout, f"{layout}, {area} ({handled[area]})", width))
    return texts


def _measures_text(runs: Runs, layout: str, title: str, width: int) -> str:
    """Every measure, with its unit, under a title; what has no meaning is left out."""
    rows = []
    for name in runs.measures:
        interval = runs.interval(layout, name)
        empty = not math.isfinite(interval.mean) or (interval.mean == 0.0 and name.startswith("labour_"))
        if empty or name in COUNTS:
            continue
        part_of_labour = name.startswith("labour_") and name.count("_") > 4
        indent = "  " if part_of_labour or name.removesuffix("_min_per_truck_shift") in PART_LABELS else ""
        rows.append((indent + measure_of(name).label, value_text(runs, layout, name), unit_of(name)))
    return "\n".join([sentence(title, width), *measured(rows, width)])


def number_rows(runs: Runs, beside: Runs | None = None) -> list[list[str]]:
    """Numbers that have something to show in any layout: label, text for each layout, unit.

    Of a season those that its table has, and `beside` are the runs of the normal weeks, in which they may show.
    """
    rows = []
    for row in COMPARED_NUMBERS:
        if row.measure == AFTER_DOWNTIME:
            rows += _group_rows(runs)
        if (beside is None or row.in_season) and (_is_shown(runs, row) or (beside and _is_shown(beside, row))):
            rows.append([row.label, *(_cell(runs, layout, row) for layout in runs.layouts), row.unit])
    return rows


def _group_rows(runs: Runs) -> list[list[str]]:
    """Downtime of each truck group, where there are several."""
    if len(runs.groups) < 2:
        return []
    return [
        [f"  of {group}", *(value_text(part, layout, DOWNTIME) for layout in part.layouts), ""]
        for group, part in runs.groups.items()
    ]


def _is_shown(runs: Runs, row: ComparedNumber) -> bool:
    """Whether a number has something to show in any layout."""
    return bool(row.shown_when_zero) or any(runs.interval(layout, row.measure).mean > 0.0 for layout in runs.layouts)


def _cell(runs: Runs, layout: str, row: ComparedNumber) -> str:
    """Text of one number in a comparison; of few events how many there were says more than their mean."""
    few = runs.count(layout, row.measure)
    if few is not None and few[0].events and not few[1]:
        return counted(few[0].events, "time")
    text = value_text(runs, layout, row.measure)
    return f"{text} ({runs.interval(layout, 'batteries_per_truck').mean:.2f})" if row.per_truck else text


def age_note(runs: Runs) -> str:
    """Say in which layouts batteries would last longer by their duty alone than age allows; else nothing."""
    names = [f"'{name}'" for name in runs.layouts if runs.interval(name, "limited_by_age_share").mean > 0.0]
    return f"The cycle life is limited by age in layout{'s' * (len(names) > 1)} {', '.join(names)}." if names else ""
