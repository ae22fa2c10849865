"""Plain tables for the terminal: a comparison side by side, and one layout in full."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.measures.names import PARTS
from batsim.scenario.week import WEEK_MIN
from batsim.study.compare import DECIDING

if TYPE_CHECKING:
    from batsim.statistics.intervals import Interval
    from batsim.study.compare import Comparison
    from batsim.study.replications import Runs
    from batsim.study.sequential import Wanted

CAUTION = (
    "Whether the parts fit, ventilation, supply, money: batsim plan. Batteries are heavy and hold acid,\n"
    "charging makes hydrogen, connectors can arc, loads can fall: follow local codes and leave it to\n"
    "licensed, competent people."
)
"""The usual cautions, under every answer."""


MORE = "What binds: batsim one-more. A day without a device: batsim day-without. See it: batsim day, batsim trace."
"""Where to look next, under a comparison."""


MOST_BESIDE = 6
"""Layouts that are shown side by side; more have a line each."""
LEAST_NAME = 20
"""Characters of a layout's name that are kept whatever the width."""
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
    Row("labour, hands on", "labour_min_per_day", "min per working day"),
    Row("  by attendants", "labour_attendant_min_per_day", "", False),
    Row("  by drivers", "labour_driver_min_per_day", "", False),
    Row("drivers wait", "driver_waiting_min_per_day", "min per working day"),
    Row("batteries", "batteries", "in all (per truck)", True, True),
    Row("  fewest ready", "ready_batteries_min", "at any time", False),
    Row("chargers", "chargers", ""),
    Row("stations or spots", "stations", ""),
    Row("crew busy", "crew_busy_share", "of time on duty", False),
    Row("energy from the wall", "energy_kwh_per_day", "kWh per working day"),
    Row("peak load", "peak_kw", "kW, mean of 15 min"),
    Row("too warm or cold", "put_off_min_per_charge", "min before a charge", False),
    Row("water lost", "water_lost_kg_per_day", "kg per working day", False),
    Row("battery life", "life_years", "years, use alone"),
    Row("trucks below cut-out", "stranded_trucks", "times", False),
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
    lines = [heading(runs), ""]
    rows = shown_rows(runs)
    if len(runs.layouts) > MOST_BESIDE:
        lines += _one_below_the_other(comparison, width)
        return "\n".join([*lines, *_notes(comparison, width)])
    cells = {
        layout: [cell_text(runs, layout, row) for row in rows]
        + [_chance(comparison, layout)] * (len(runs.layouts) > 1)
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
    return [*lines, sentence(note, width), sentence(MORE, width), CAUTION]


def _deciding(comparison: "Comparison") -> str:
    """Measure that decides, in a word."""
    measure = comparison.deciding
    return "downtime" if measure == DECIDING else MEASURES.get(measure, WITHIN_TARGET).label


def _chance(comparison: "Comparison", layout: str) -> str:
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
        rows.append([layout, *values, _chance(comparison, layout), met])
    taken = sum(2 + max(len(row[column]) for row in rows) for column in range(1, len(heads)))
    most = max(LEAST_NAME, width - taken)
    return columns([[_cut(row[0], most), *row[1:]] for row in rows], width)


def _cut(name: str, most: int) -> str:
    """Cut a long name in its middle: names of many layouts tend to differ at their ends."""
    if len(name) <= most:
        return name
    tail = (most - 3) * 2 // 3
    return f"{name[: most - 3 - tail]}...{name[-tail:]}"


def run_notes(runs: "Runs", measures: tuple[str, ...], wanted: "Wanted | None", width: int = 100) -> str:
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
        stranded = runs.probability(layout, "stranded_trucks")
        parts.append(
            f"a truck below cut-out in {100 * stranded.mean:.0f} % of replications "
            f"({100 * stranded.low:.0f} to {100 * stranded.high:.0f} %)"
        )
        lines.append(sentence(f"{layout}: {'; '.join(parts)}.", width))
    lines.append(sentence(f"± and the limits are those of {confidence} intervals.", width))
    if wanted is not None:
        lines.append(sentence(_reached(runs, wanted), width))
    return "\n".join(lines)


def _reached(runs: "Runs", wanted: "Wanted") -> str:
    """Say whether a precision is reached, else what it would take."""
    means = {layout: runs.interval(layout, wanted.measure) for layout in runs.layouts}
    nothing = [layout for layout, interval in means.items() if not math.isfinite(interval.mean)]
    if nothing:
        names = ", ".join(nothing)
        said = f"{wanted.measure} has no value in {names}, so nothing can be said of its precision there."
        rest = tuple(layout for layout in runs.layouts if layout not in nothing)
        return f"{said} {_reached(replace(runs, layouts=rest), wanted)}" if rest else said
    short = [layout for layout, interval in means.items() if not wanted.precision.reached(interval)]
    spent = f"{runs.replications} replications"
    if not short:
        return f"{wanted.measure} is known to {wanted.text} in every layout after {spent}."
    needed = {layout: runs.replications_needed(layout, wanted.measure, wanted.precision) for layout in short}
    layout = max(needed, key=lambda each: needed[each])
    weeks = needed[layout] * runs.weeks
    return (
        f"{wanted.measure} is not yet known to {wanted.text} in {len(short)} of {len(runs.layouts)} layouts after "
        f"{spent}, the budget. {layout} would take about {needed[layout]} replications, or as many weeks "
        f"({weeks:,.0f}) in fewer, longer ones."
    )


def _plain(value: float, *, share: bool) -> str:
    """Write a number without an interval."""
    return f"{100 * value:.1f} %" if share else f"{value:.1f}" if abs(value) < 100.0 else f"{value:.0f}"


def columns(rows: list[list[str]], width: int) -> list[str]:
    """Align rows: the first column to the left, the others to the right; in blocks when they are too wide."""
    first = max(len(row[0]) for row in rows)
    widths = [max(len(row[column]) for row in rows) for column in range(1, len(rows[0]))]
    blocks: list[list[int]] = [[]]
    used = first
    for column, wide in enumerate(widths, start=1):
        if blocks[-1] and used + wide + 2 > width:
            blocks.append([])
            used = first
        blocks[-1].append(column)
        used += wide + 2
    lines: list[str] = []
    for number, block in enumerate(blocks):
        lines += [""] if number else []
        for row in rows:
            cells = "".join(f"  {row[column]:>{widths[column - 1]}}" for column in block)
            lines.append(f"{row[0]:<{first}}{cells}".rstrip())
    return lines


def heading(runs: "Runs") -> str:
    """Say in two lines what was simulated."""
    scenario = runs.scenario
    trucks = sum(group.count for group in scenario.trucks)
    shifts = len({name for group in scenario.trucks for name in group.shifts})
    warm_up = runs.warm_up_min / WEEK_MIN
    return (
        f"{scenario.site.name}: {counted(trucks, 'truck')}, {counted(shifts, 'shift')}, "
        f"{counted(len(runs.layouts), 'layout')}\n{counted(runs.replications, 'replication')} of "
        f"{counted(runs.weeks, 'week')} after a warm-up of {counted(warm_up, 'week')}, seed {runs.seed}"
    )


def layout_text(runs: "Runs", layout: str) -> str:
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
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    arrangement = runs.scenario.arrangement(layout)
    lines = [f"{layout} ({arrangement.title})"]
    lines += [f"  {label:<{widths[0]}}  {value:>{widths[1]}}  {unit}".rstrip() for label, value, unit in rows]
    return "\n".join(lines)


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
    """Lay layouts side by side, in as many blocks as the width asks for."""
    label_width = max(map(len, labels))
    unit_width = max(map(len, units))
    names = {layout: _short(layout) for layout in cells}
    column = {layout: max(len(names[layout]), *map(len, texts)) for layout, texts in cells.items()}
    blocks: list[list[str]] = [[]]
    used = label_width + unit_width + 2
    for layout in cells:
        if blocks[-1] and used + sum(column[each] + 2 for each in [*blocks[-1], layout]) > width:
            blocks.append([])
        blocks[-1].append(layout)
    lines: list[str] = []
    for number, block in enumerate(blocks):
        if number:
            lines.append("")
        head = "  ".join(f"{names[layout]:>{column[layout]}}" for layout in block)
        lines.append(f"{'':<{label_width}}  {head}".rstrip())
        for position, label in enumerate(labels):
            values = "  ".join(f"{cells[layout][position]:>{column[layout]}}" for layout in block)
            lines.append(f"{label:<{label_width}}  {values}  {units[position]}".rstrip())
    return lines


def _short(name: str, most: int = 24) -> str:
    """Cut a long name for a column head."""
    return name if len(name) <= most else f"{name[: most - 3]}..."


def sentence(text: str, width: int) -> str:
    """Break a sentence into lines of the width."""
    lines, line = [], ""
    for word in text.replace(" %", "\N{NO-BREAK SPACE}%").split(" "):
        if line and len(line) + 1 + len(word) > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}".strip()
    return "\n".join([*lines, line]).replace("\N{NO-BREAK SPACE}", " ")


def listed(text: str, width: int, *, first: str = "  - ") -> str:
    """Write an entry of a list: what follows its first line stands under its text."""
    under = " " * len(first)
    head, *rest = sentence(text, width - len(first)).split("\n")
    return "\n".join([first + head, *(under + line for line in rest)])


def counted(number: float, thing: str) -> str:
    """Write a count with its noun."""
    return f"{number:g} {thing}{'' if number == 1 else 's'}"
