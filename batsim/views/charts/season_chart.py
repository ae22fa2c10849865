"""Chart of downtime in normal weeks and in seasons, by layout and cause."""

import math
from collections.abc import Iterator
from typing import NamedTuple

from batsim.measures.names import LOST_TO, PART_LABELS
from batsim.plan.plan import Plan
from batsim.scenario.parts.week import name_of_weeks
from batsim.statistics.intervals import Interval
from batsim.statistics.written import mean_text, number_text
from batsim.study.running.runs import DOWNTIME, Runs
from batsim.study.truck_shift import lost_minutes
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.minutes_chart import AXIS
from batsim.views.charts.solid_rows import AROUND_IN, ROW_IN, Part, Row, draw_rows
from batsim.views.charts.stacked_charts import DOWNTIME_WORDS, premises
from batsim.views.text.numbers import short_number

NORMAL = "normal weeks"
NOTE = "Each layout in normal weeks, below it in the season."
NO_SEASON = "The scenario states no season: every week is like any other."


class WeeksOf(NamedTuple):
    """A layout in a class of weeks."""

    layout: str
    weeks: str
    """`normal weeks`, or such as `weeks 47-51`."""
    runs: Runs

    @property
    def total(self) -> Interval:
        """Its downtime. [min per truck-shift]"""
        return self.runs.interval(self.layout, DOWNTIME)

    @property
    def lost(self) -> dict[str, float]:
        """The same by cause. [min per truck-shift]"""
        return lost_minutes(self.runs, self.layout)


def season_chart(plans: Plan, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw the downtime of each layout in normal weeks and in each season, by cause.

    Parameters
    ----------
    plans
        What `batsim.plan_layouts` returns.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout and class of weeks, as in `minutes_chart`, waits by what is waited for; a sentence in
        place of them where the scenario states no season.
    """
    rows = list(_rows(plans))
    ax = style.axes_for_rows(ax, len(rows), style.COLUMN_IN, ROW_IN, AROUND_IN)
    if not plans.comparison.seasons:
        return style.empty(ax, _finding(plans), NO_SEASON, style.FINDING_PT)
    if not any(math.isfinite(row.total.mean) for row in rows):
        return style.empty(ax, _finding(plans), DOWNTIME_WORDS.empty, style.FINDING_PT)
    beside = [_beside(row, plans.scenario.present) for row in rows]
    draw_rows(ax, beside, _parts(rows), plans.scenario.targets.downtime_min_per_truck_shift)
    ax.set_xlabel(AXIS, fontsize=style.WORD_PT)
    style.heading(ax, _finding(plans), f"{NOTE} {premises(plans.comparison.runs)}", style.FINDING_PT)
    return ax


def season_text(plans: Plan) -> str:
    """Say in words what `season_chart` draws, with its numbers."""
    if not plans.comparison.seasons:
        return NO_SEASON
    texts = []
    for row in _rows(plans):
        lost = {PART_LABELS[part]: minutes for part, minutes in row.lost.items() if minutes}
        of_it = ", ".join(f"{label} {short_number(minutes)}" for label, minutes in lost.items())
        texts.append(f"'{row.layout}', {row.weeks} {number_text(row.total)}{f' ({of_it})' * bool(of_it)}")
    return f"{_finding(plans)}. Minutes per truck-shift: {'; '.join(texts)}. {premises(plans.comparison.runs)}"


def _rows(plans: Plan) -> Iterator[WeeksOf]:
    """Each layout in normal weeks and in each season, the best layout first."""
    comparison = plans.comparison
    classes = {NORMAL: comparison.runs, **{name_of_weeks(text): runs for text, runs in comparison.seasons.items()}}
    for layout in comparison.ranking:
        yield from (WeeksOf(layout, weeks, runs) for weeks, runs in classes.items())


def _beside(row: WeeksOf, present: str | None) -> Row:
    """A row with its name: that of the layout, and below it the season."""
    name = row.layout if row.weeks == NORMAL else f"in {row.weeks}"
    return Row(name, row.total, number_text(row.total), row.layout == present)


def _parts(rows: list[WeeksOf]) -> list[Part]:
    """Causes of downtime, those of waits each for itself, in the colours of what time is lost to."""
    lost = [row.lost for row in rows]
    return [
        Part(
            palette.LOST_LOOKS[word],
            [each[part] for each in lost],
            (PART_LABELS[part], *([part.removeprefix("wait_")] if part.startswith("wait_") else [])),
        )
        for word, parts in LOST_TO.items()
        for part in parts
    ]


def _finding(plans: Plan) -> str:
    """What the bars say of the best layout, as a sentence without its full stop."""
    of_best = [row for row in _rows(plans) if row.layout == plans.comparison.ranking[0]]
    normal, *seasons = of_best
    if not seasons:
        return "No season"
    worst = max(seasons, key=lambda row: (math.isfinite(row.total.mean), row.total.mean))
    target = plans.scenario.targets.downtime_min_per_truck_shift
    minutes = [mean_text(row.total) for row in (worst, normal)]
    says = f"In {worst.weeks} layout '{worst.layout}' loses {minutes[0]} min per truck-shift, in {NORMAL} {minutes[1]}"
    return says if target is None else f"{says}; target {target:g}"
