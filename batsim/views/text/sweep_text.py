"""A sweep for the terminal: what was run, what came out, which inputs matter."""

import json
import math
from typing import TYPE_CHECKING

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.statistics.intervals import Interval
from batsim.study.sweeps.sensitivity import MEANINGS
from batsim.views.text.lines import columns, hung, listed, sentence
from batsim.views.text.tables import number_text

if TYPE_CHECKING:
    from batsim.study.sweeps.sweep_result import Sweep

MOST_POINTS = 40
"""Points that are listed one by one."""
MOST_INPUTS = 20
"""Inputs that are listed, those that matter most."""
MOST_FAILURES = 5
"""Points without a result that are told one by one."""
LETTERS = 26
SHARES = ("rank correlation", "first order", "total")


def sweep_text(sweep: "Sweep", store: str, width: int = 100) -> str:
    """Tables of a sweep, with where its cases are kept."""
    blocks = [_heading(sweep, store, width)]
    if sweep.failures:
        blocks.append(_failures(sweep, width))
    if sweep.missing:
        rest = (
            f"{_counted(sweep.missing, 'case')} not in this store: run the other shards, put the stores together with"
        )
        blocks.append(sentence(f"{rest} merge.", width))
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


def _heading(sweep: "Sweep", store: str, width: int) -> str:
    """Say what was run."""
    agenda, tally = sweep.agenda, sweep.tally
    question = f"{sentence(agenda.study.question, width)}\n" if agenda.study.question else ""
    counts = (
        f"{agenda.study.scenario.site.name}: {agenda.design_text}, {len(agenda.points)} points, "
        f"{len(sweep.layouts)} layout{'s' if len(sweep.layouts) > 1 else ''}, "
        f"{agenda.schedule.replications} replication{'s' if agenda.schedule.replications > 1 else ''} each"
    )
    work = f"{tally.cases} cases: {tally.run} run in {tally.wall_s:.1f} s, {tally.found} there before"
    if tally.failed:
        work += f", {tally.failed} without a result"
    return f"{question}{sentence(counts, width)}\n{sentence(f'{work}; kept in {store}', width)}"


def _failures(sweep: "Sweep", width: int) -> str:
    """Tell the first cases without a result."""
    groups: dict[tuple[str, str, str, str], int] = {}
    for each in sweep.failures:
        who = (each.layout, each.changes, each.kind, each.message)
        groups[who] = groups.get(who, 0) + 1
    lines = [f"{len(sweep.failures)} case{'' if len(sweep.failures) == 1 else 's'} without a result:"]
    for (layout, changes, kind, message), count in list(groups.items())[:MOST_FAILURES]:
        stated = ", ".join(f"{path} = {value}" for path, value in json.loads(changes or "{}").items())
        where = f"{layout}, {count} replication{'' if count == 1 else 's'}{f', {stated}' if stated else ''}"
        rule = " ".join(line.strip() for line in message.splitlines()[-1:])
        lines.append(hung(f"{where}: {kind}: {rule}", width, 2))
    if len(groups) > MOST_FAILURES:
        more = len(groups) - MOST_FAILURES
        lines.append(f"  and {more} point{'' if more == 1 else 's'} more")
    return "\n".join(lines)


def _points(sweep: "Sweep", measure: str, width: int) -> str:
    """Means of a measure: point by point when they are few, else over all points."""
    about = MEASURES.get(measure, WITHIN_TARGET)
    share = measure.endswith("_share")
    head = f"{about.label}{'' if share or about.unit == '1' else f', {about.unit}'}"
    points = sweep.agenda.points
    rows = [["", *sweep.layouts]]
    if points.cube.size or len(points) > MOST_POINTS:
        spread = [sweep.spread(layout, measure) for layout in sweep.layouts]
        for name, which in (("mean over all points", 0), ("5 % of points below", 1), ("95 % of points below", 2)):
            values = [Interval(each[which], math.nan, math.nan) for each in spread]
            rows.append([name, *(number_text(each, share=share) for each in values)])
        return "\n".join([sentence(head, width), *columns(rows, width)])
    names = list(dict.fromkeys(path for point in points.all for path in point))
    marks = {
        path: chr(ord("A") + number) if number < LETTERS else input_name(path) for number, path in enumerate(names)
    }
    for number, point in enumerate(points.all):
        cells = [sweep.interval(layout, measure, number) for layout in sweep.layouts]
        text = ", ".join(f"{marks[path]} {value}" for path, value in point.items()) or "as stated"
        rows.append([text, *(number_text(each, share=share) for each in cells)])
    named = [listed(path, width, first=f"{mark}: ") for path, mark in marks.items()]
    return "\n".join([*named, sentence(head, width), *columns(rows, width)])


def input_name(path: str) -> str:
    """Path of an input; a figure of the catalogue by its name alone."""
    return path.removeprefix("figures.").strip("'")


def _sensitivity(sweep: "Sweep", layout: str, measure: str, width: int) -> str:
    """Which inputs matter in a layout."""
    found = sweep.sensitivity(layout, measure)
    kinds = list(dict.fromkeys(row.kind for row in found.rows))
    rows = [["", *kinds]]
    paths = list(dict.fromkeys(row.path for row in found.rows))
    for path in paths[:MOST_INPUTS]:
        mine = {row.kind: row for row in found.rows if row.path == path}
        values = [_index_text(mine[kind].value, mine[kind].low, mine[kind].high) for kind in kinds]
        rows.append([input_name(path), *values])
    unit = "" if kinds[0] in SHARES else f", {found.unit}" if found.unit != "1" else ""
    about = MEASURES.get(measure, WITHIN_TARGET).label
    lines = [sentence(f"What matters for {about} in '{layout}'{unit}", width), *columns(rows, width)]
    if len(paths) > MOST_INPUTS:
        lines.append(f"and {len(paths) - MOST_INPUTS} inputs that matter less")
    lines += [sentence(f"{kind}: {MEANINGS[kind]}", width) for kind in kinds]
    if found.left_out:
        lines.append(sentence(f"{_counted(found.left_out, 'point', 'without a result ')} left out.", width))
    return "\n".join(lines)


def _counted(count: int, what: str, which: str = "") -> str:
    """Such as `3 cases are`."""
    return f"{count} {what} {which}is" if count == 1 else f"{count} {what}s {which}are"


def _index_text(value: float, low: float, high: float) -> str:
    """A value with its limits."""
    if not math.isfinite(value):
        return "-"
    if not math.isfinite(low):
        return f"{value:.2f}"
    return f"{value:.2f} ({low:.2f} to {high:.2f})"
