"""A comparison over what is not known, for the terminal."""

import math
from typing import TYPE_CHECKING

from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.compare import label_of
from batsim.study.running.replications import UNITS
from batsim.views.text.lines import columns, hung, sentence
from batsim.views.text.sweep_text import input_name
from batsim.views.text.tables import counted

if TYPE_CHECKING:
    from batsim.statistics.intervals import Interval
    from batsim.study.uncertain import UncertainComparison


def uncertain_text(found: "UncertainComparison", width: int = 100) -> str:
    """Tables with the verdict below."""
    stated = found.schedule
    head = (
        f"{stated.scenario.site.name}: {found.draws} draws of what is not known, "
        f"{counted(len(found.layouts), 'layout')}, {stated.replications} replications of "
        f"{counted(stated.length_min / WEEK_MIN, 'week')} at each, seed {stated.seed}"
    )
    lines = [sentence(head, width), "Not known:"]
    lines += [hung(f"{each.path}: {each.text}", width, 2) for each in found.points.factors]
    rows = [["", *found.layouts], ["best in so many draws", *(_share(found, layout) for layout in found.layouts)]]
    for measure in found.measures:
        unit = UNITS[measure]
        name = f"{label_of(measure)}{'' if unit == '1' else f', {unit}'}"
        spreads = [found.spread(layout, measure) for layout in found.layouts]
        rows.append([name, *(_number(each.mean) for each in spreads)])
        rows.append(["  5 % to 95 % of draws", *(f"{_number(each.low)} to {_number(each.high)}" for each in spreads)])
        parts = [found.split(layout, measure).input_share.mean for layout in found.layouts]
        rows.append(["  of its variance, not known", *(_percent(each) for each in parts)])
    lines += ["", *columns(rows, width), "", *([sentence(found.verdict, width)] if found.verdict else [])]
    if found.swayed_by:
        best, other = found.ranking[:2]
        lines.append(sentence(f"What sways the lead of {best} over {other} (rank correlation, -1 to 1):", width))
        lines += [hung(f"{input_name(path)}: {_correlation(each)}", width, 2) for path, each in found.swayed_by]
    note = (
        "The rest of the variance is chance between replications: more draws or weeks reduce it. What is not known "
        "stays until it is found out on site."
    )
    return "\n".join([*lines, sentence(note, width)])


def _share(found: "UncertainComparison", layout: str) -> str:
    chance = found.chance_best[layout]
    return f"{100 * chance.mean:.0f} % ({100 * chance.low:.0f} to {100 * chance.high:.0f})"


def _correlation(found: "Interval") -> str:
    if not math.isfinite(found.mean):
        return "-"
    limits = f" ({found.low:+.2f} to {found.high:+.2f})" if math.isfinite(found.half_width) else ""
    return f"{found.mean:+.2f}{limits}"


def _number(value: float) -> str:
    if not math.isfinite(value):
        return "-"
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.1f}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if math.isfinite(share) else "-"
