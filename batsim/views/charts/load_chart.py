"""Chart of the electrical load of a layout over a mean week, with its peak."""

from batsim.display import counted
from batsim.measures.mean_week import MeanWeek, mean_week
from batsim.measures.profile import QUARTER_HOUR_MIN
from batsim.plan.evidence import Evidence
from batsim.scenario.parts.week import moment_text
from batsim.statistics.written import mean_text
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

SIZE_IN = (10.0, 4.0)
HEADROOM = 1.15
PEAK = "peak_kw"
NONE = "No charger takes any power in the measured time."


def load_chart(evidence: Evidence, ax: style.AxesOrNew = None, *, title: str = "") -> style.Axes:
    """Draw the load of all chargers over a mean week.

    Parameters
    ----------
    evidence
        What the replications of a layout say: an entry of `batsim.plan.evidence.evidence`.
    ax
        Axes to draw on; those of a new figure when not given.
    title
        Stands above; what the chart shows when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Mean load in each quarter of an hour, a band from 5 % to 95 % of the weeks, the peak of a week as tables state
        it, and the highest quarter of all weeks.
    """
    ax = style.axes_for(ax, SIZE_IN)
    week = _week(evidence)
    style.heading(ax, title or f"{evidence.layout}: load at the wall over a mean week", _note(evidence, week))
    if not week.peak > 0.0:
        return style.nothing(ax, NONE)
    style.frame(ax)
    edges = week.edges_min
    band = style.band(ax, edges, week.low, week.high, palette.BLUE, "////")
    line = ax.stairs(week.mean, edges, baseline=None, color=palette.BLACK, linewidth=1.4)
    peak_kw = evidence.mean(PEAK)
    level = ax.axhline(peak_kw, color=palette.VERMILION, linewidth=1.2, linestyle="--")
    mark = style.mark_peak(ax, week.peak_min, week.peak, palette.VERMILION)
    ax.set_ylim(0.0, HEADROOM * week.peak)
    style.week_axis(ax, float(edges[0]), float(edges[-1]))
    style.axis_words(ax, "Weekday", "Load [kW]")
    of_week, of_all = _peaks(evidence, week)
    style.legend_below(ax, {"mean": line, "5 % to 95 % of the weeks": band, of_week: level, of_all: mark}, 2)
    return ax


def load_text(evidence: Evidence) -> str:
    """Say in words what `load_chart` draws, with its numbers."""
    week = _week(evidence)
    if not week.peak > 0.0:
        return NONE
    extremes = week.extremes
    least, most = (
        f"{kw:,.0f} kW ({moment_text(QUARTER_HOUR_MIN * at)})"
        for kw, at in ((extremes.least, extremes.least_at), (extremes.most, extremes.most_at))
    )
    return (
        f"{evidence.layout}: load at the wall over a mean week, on average {extremes.mean:,.0f} kW, least {least}, "
        f"most {most}; {'; '.join(_peaks(evidence, week))}. {_note(evidence, week)}"
    )


def _week(evidence: Evidence) -> MeanWeek:
    """Load over the mean week."""
    return mean_week([run.load_kw for run in evidence.replications], evidence.runs.schedule.warm_up_min)


def _note(evidence: Evidence, week: MeanWeek) -> str:
    """What is drawn, and how the two peaks differ."""
    return (
        f"Means of a quarter of an hour, standby included, over {counted(round(week.weeks, 2), 'week')} of "
        f"{counted(evidence.runs.replications, 'replication')}. Tables state the mean of the weeks' peaks; the "
        "greatest of them all is higher where weeks differ."
    )


def peak_text(evidence: Evidence) -> str:
    """Peak of a week as tables state it. [kW]"""
    return mean_text(evidence.interval(PEAK))


def _peaks(evidence: Evidence, week: MeanWeek) -> tuple[str, str]:
    """Peak as tables state it, and the greatest of all, in words."""
    greatest = f"greatest quarter of all weeks {week.peak:,.0f} kW, {moment_text(week.peak_min)}"
    return f"peak load as tables state it: mean of the weeks' peaks {peak_text(evidence)} kW", greatest
