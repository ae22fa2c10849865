"""A sweep for the terminal: what was run, what came out, which inputs matter."""

import json
import math
from collections import Counter

from batsim.display import counted
from batsim.statistics.intervals import Interval
from batsim.statistics.written import number_text
from batsim.study.sweeps.sensitivity import MEANINGS
from batsim.study.sweeps.sweep_result import Sweep
from batsim.views.text.lines import columns, hung, listed, sentence
from batsim.views.text.numbers import are, estimate_text, is_share, label_with_unit, measure_of

MOST_POINTS = 40
"""Points that are listed one by one."""
MOST_INPUTS = 20
"""Inputs that are listed, those that matter most."""
MOST_FAILURES = 5
"""Points without a result that are listed one by one."""
LETTERS = 26
SHARES = ("rank correlation", "first order", "total")


def sweep_text(sweep: Sweep, store: str, width: int = 100) -> str:
    """Tables of a sweep, with where its cases are kept."""
    blocks = [_heading(sweep, store, width)]
    if sweep.failures:
        blocks.append(_failures(sweep, width))
    if sweep.missing:
        missing = f"{are(sweep.missing, 'case')} not in this store: run the other shards, put the stores together with"
        blocks.append(sentence(f"{missing} merge.", width))
        return "\n\n".join(blocks)
    for measure in sweep.measures:
        blocks.append(_points(sweep, measure, width))
        blocks += [_sensitivity(sweep, layout, measure, width) for layout in sweep.layouts]
    confidence = f"{100 * sweep.agenda.schedule.confidence:g} %"
    blocks.append(
        sentence(
            f"± and the limits are those of {confidence} intervals. All points share their random numbers, so that "
            f"chance does not pass for an effect. Every measure of every case: batsim export {store} cases.csv.",
            width,
        )
    )
    return "\n\n".join(blocks)


def _heading(sweep: Sweep, store: str, width: int) -> str:
    """Say what was run."""
    agenda, tally = sweep.agenda, sweep.tally
    question = f"{sentence(agenda.study.question, width)}\n" if agenda.study.question else ""
    counts = (
        f"{agenda.study.scenario.site.name}: {agenda.study.design.text}, {counted(len(agenda.points), 'point')}, "
        f"{counted(len(sweep.layouts), 'layout')}, {counted(agenda.schedule.replications, 'replication')} each"
    )
    work = f"{counted(tally.cases, 'case')}: {tally.run} run in {tally.wall_s:.1f} s, {tally.found} there before"
    if tally.failed:
        work += f", {tally.failed} without a result"
    return f"{question}{sentence(counts, width)}\n{sentence(f'{work}; kept in {store}', width)}"


def _failures(sweep: Sweep, width: int) -> str:
    """Name the first points without a result, and why."""
    points = Counter((failure.layout, failure.changes, failure.kind, failure.message) for failure in sweep.failures)
    lines = [f"{counted(len(sweep.failures), 'case')} without a result:"]
    for (layout, changes, kind, message), count in list(points.items())[:MOST_FAILURES]:
        inputs = [f"{path} = {value}" for path, value in json.loads(changes or "{}").items()]
        where = ", ".join([layout, counted(count, "replication"), *inputs])
        rule = " ".join(line.strip() for line in message.splitlines()[-1:])
        lines.append(hung(f"{where}: {kind}: {rule}", width, 2))
    if len(points) > MOST_FAILURES:
        lines.append(f"  and {counted(len(points) - MOST_FAILURES, 'point')} more")
    return "\n".join(lines)


def _points(sweep: Sweep, measure: str, width: int) -> str:
    """Means of a measure: point by point when they are few, else over all points."""
    points = sweep.agenda.points
    if points.cube.size or len(points) > MOST_POINTS:
        named, rows = [], _over_all_points(sweep, measure)
    else:
        paths = list(dict.fromkeys(path for point in points.all for path in point))
        marks = {path: chr(ord("A") + number) for number, path in enumerate(paths[:LETTERS])}
        named = [listed(path, width, first=f"{marks.get(path, input_name(path))}: ") for path in paths]
        rows = _point_by_point(sweep, measure, marks)
    return "\n".join(
        [*named, sentence(label_with_unit(measure), width), *columns([["", *sweep.layouts], *rows], width)]
    )


def _over_all_points(sweep: Sweep, measure: str) -> list[list[str]]:
    """Mean and spread of a measure."""
    spreads = [sweep.spread(layout, measure) for layout in sweep.layouts]
    rows = []
    for number, name in enumerate(("mean over all points", "5 % of points below", "95 % of points below")):
        values = [Interval(spread[number], math.nan, math.nan) for spread in spreads]
        rows.append([name, *(number_text(value, share=is_share(measure)) for value in values)])
    return rows


def _point_by_point(sweep: Sweep, measure: str, marks: dict[str, str]) -> list[list[str]]:
    """Mean of a measure at each point, whose inputs have a letter."""
    rows = []
    for number, point in enumerate(sweep.agenda.points.all):
        found = [
            (sweep.interval(layout, measure, number), sweep.few_events(layout, measure, number))
            for layout in sweep.layouts
        ]
        inputs = ", ".join(f"{marks.get(path, input_name(path))} {value}" for path, value in point.items())
        cells = [estimate_text(interval, count, share=is_share(measure)) for interval, count in found]
        rows.append([inputs or "as stated", *cells])
    return rows


def input_name(path: str) -> str:
    """Path of an input; a figure of the catalogue by its name alone."""
    return path.removeprefix("figures.").strip("'")


def _sensitivity(sweep: Sweep, layout: str, measure: str, width: int) -> str:
    """Which inputs matter in a layout."""
    sensitivity = sweep.sensitivity(layout, measure)
    kinds = list(dict.fromkeys(row.kind for row in sensitivity.rows))
    paths = list(dict.fromkeys(row.path for row in sensitivity.rows))
    texts = {(row.path, row.kind): _index_text(row.value, row.low, row.high) for row in sensitivity.rows}
    rows = [[input_name(path), *(texts[path, kind] for kind in kinds)] for path in paths[:MOST_INPUTS]]
    unit = "" if {kinds[0], sensitivity.unit} & {*SHARES, "1"} else f", {sensitivity.unit}"
    head = f"What matters for {measure_of(measure).label} in '{layout}'{unit}"
    lines = [sentence(head, width), *columns([["", *kinds], *rows], width)]
    if len(paths) > MOST_INPUTS:
        lines.append(f"and {counted(len(paths) - MOST_INPUTS, 'input')} that matter less")
    lines += [sentence(f"{kind}: {MEANINGS[kind]}", width) for kind in kinds]
    if sensitivity.left_out:
        lines.append(sentence(f"{are(sensitivity.left_out, 'point', ' without a result')} left out.", width))
    return "\n".join(lines)


def _index_text(value: float, low: float, high: float) -> str:
    """A value with its limits."""
    if not math.isfinite(value):
        return "-"
    return f"{value:.2f} ({low:.2f} to {high:.2f})" if math.isfinite(low) else f"{value:.2f}"
