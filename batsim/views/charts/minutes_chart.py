"""Chart of the minutes of a truck-shift that layouts lose, with what they are lost to."""

import math

from batsim.plan.plan import Plan
from batsim.statistics.written import mean_text, number_text
from batsim.study.compare import Comparison
from batsim.study.limits import DOWNTIME_TARGET, MET
from batsim.study.running.runs import DOWNTIME
from batsim.study.truck_shift import lost_minutes, lost_to
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.solid_rows import AROUND_IN, ROW_IN, Part, Row, draw_rows
from batsim.views.charts.stacked_charts import DOWNTIME_WORDS, premises
from batsim.views.text.layout_names import marks
from batsim.views.text.numbers import short_number

AXIS = "Downtime [min per truck-shift]"


def minutes_chart(plans: Plan, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw the minutes of a truck-shift that each layout loses, with today's and the target.

    Parameters
    ----------
    plans
        What `batsim.plan_layouts` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout, the best first: way, waiting, exchanging or charging, other; the whisker is the interval
        of all of them, the line the target; what is there today is in bold. The title says what it comes to.
    """
    comparison = plans.comparison
    ax = style.axes_for_rows(ax, len(comparison.ranking), style.COLUMN_IN, ROW_IN, AROUND_IN)
    title = _finding(comparison)
    if not _known(comparison):
        return style.empty(ax, title, DOWNTIME_WORDS.empty, style.FINDING_PT)
    lost = [lost_to(lost_minutes(comparison.runs, layout)) for layout in comparison.ranking]
    parts = [Part(look, [each[word] for each in lost]) for word, look in palette.LOST_LOOKS.items()]
    target = comparison.runs.scenario.targets.downtime_min_per_truck_shift
    draw_rows(ax, [_row(comparison, layout) for layout in comparison.ranking], parts, target)
    ax.set_xlabel(AXIS, fontsize=style.WORD_PT)
    style.heading(ax, title, premises(comparison.runs), style.FINDING_PT)
    return ax


def minutes_text(plans: Plan) -> str:
    """Say in words what `minutes_chart` draws, with its numbers."""
    comparison = plans.comparison
    rows = []
    for layout in comparison.ranking if _known(comparison) else ():
        lost = lost_to(lost_minutes(comparison.runs, layout))
        of_it = ", ".join(f"{word} {short_number(minutes)}" for word, minutes in lost.items() if minutes)
        total = number_text(comparison.interval(layout, DOWNTIME))
        rows.append(f"'{layout}'{_mark(comparison, layout)} {total}{f' ({of_it})' * bool(of_it)}")
    said = f"{_finding(comparison)}."
    return f"{said} Minutes per truck-shift: {'; '.join(rows)}. {premises(comparison.runs)}" if rows else said


def _known(comparison: Comparison) -> list[str]:
    """Layouts whose downtime has a value, the best first."""
    return [layout for layout in comparison.ranking if math.isfinite(comparison.interval(layout, DOWNTIME).mean)]


def _row(comparison: Comparison, layout: str) -> Row:
    """A layout as a row."""
    total = comparison.interval(layout, DOWNTIME)
    text = f"{number_text(total)}{_mark(comparison, layout)}"
    return Row(layout, total, text, layout == comparison.runs.scenario.present)


def _mark(comparison: Comparison, layout: str) -> str:
    """Say of a layout that it is there today, or impossible; empty for any other."""
    return marks(layout, comparison.runs.scenario.present, impossible=layout in comparison.impossible)


def _finding(comparison: Comparison) -> str:
    """What the bars say, as a sentence without its full stop."""
    known, present = [each for each in _known(comparison) if each not in comparison.impossible], _present(comparison)
    if not known:
        return "No layout that is possible has a value of downtime"
    best, *others = known
    least = _minutes(comparison, best)
    if best == present:
        says = f"Today's layout '{best}' loses {least} min per truck-shift" + (", the least" if others else "")
    elif present:
        says = f"Layout '{best}' loses {least} min per truck-shift, today's layout {_minutes(comparison, present)}"
    else:
        says = f"Layout '{best}' loses {least} min per truck-shift" + (", the least" if others else "")
    return says + _beside_target(comparison, known)


def _present(comparison: Comparison) -> str | None:
    """What is there today, where it is among the layouts and has a value."""
    present = comparison.runs.scenario.present
    return present if present in _known(comparison) else None


def _minutes(comparison: Comparison, layout: str) -> str:
    return mean_text(comparison.interval(layout, DOWNTIME))


def _beside_target(comparison: Comparison, known: list[str]) -> str:
    """How the layouts stand to the target of downtime, as the end of a sentence; empty without one."""
    target = comparison.runs.scenario.targets.downtime_min_per_truck_shift
    if target is None:
        return ""
    kept = [layout for layout in known if _keeps(comparison, layout)]
    if len(kept) == 1 and len(known) > 1:
        only = "only it keeps" if kept == known[:1] else f"only '{kept[0]}' keeps"
        return f"; {only} the target of {target:g}"
    return f"; the target is {target:g}"


def _keeps(comparison: Comparison, layout: str) -> bool:
    """Whether a layout surely keeps the target of all trucks on downtime in normal weeks."""
    wanted = [each for each in comparison.parts[0].targets(layout) if each.name == DOWNTIME_TARGET and not each.group]
    return all(each.verdict == MET for each in wanted)
