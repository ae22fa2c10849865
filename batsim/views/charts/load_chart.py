"""Chart of the electrical load of a layout over a mean week, with its peak."""

from batsim.measures.mean_week import mean_week
from batsim.plan.evidence import Evidence
from batsim.scenario.parts.week import moment_text
from batsim.views.charts import chart_style as style
from batsim.views.text.numbers import counted

SIZE_IN = (10.0, 4.0)
HEADROOM = 1.15
NONE = "No charger takes any power in the measured time."


def load_chart(evidence: Evidence, ax: style.AxesOrNew = None) -> style.Axes:
    """Draw the load of all chargers over a mean week.

    Parameters
    ----------
    evidence
        What the replications of a layout say: an entry of `batsim.plan.evidence.evidence`.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Mean load in each quarter of an hour, a band from 5 % to 95 % of the weeks, the peak of a week as tables state
        it, and the highest quarter of all weeks.
    """
    ax = style.axes_for(ax, SIZE_IN)
    week = mean_week([run.load_kw for run in evidence.replications], evidence.runs.schedule.warm_up_min)
    style.heading(
        ax,
        f"{evidence.layout}: load at the wall over a mean week",
        f"Means of a quarter of an hour, standby included, over {counted(round(week.weeks, 2), 'week')} of "
        f"{counted(evidence.runs.replications, 'replication')}.",
    )
    if not week.peak > 0.0:
        return style.nothing(ax, NONE)
    style.frame(ax)
    edges = week.edges_min
    band = style.band(ax, edges, week.low, week.high, style.BLUE, "////")
    line = ax.stairs(week.mean, edges, baseline=None, color=style.BLACK, linewidth=1.4)
    peak_kw = evidence.mean("peak_kw")
    level = ax.axhline(peak_kw, color=style.VERMILION, linewidth=1.2, linestyle="--")
    mark = style.mark_peak(ax, week.peak_min, week.peak, style.VERMILION)
    ax.set_ylim(0.0, HEADROOM * week.peak)
    style.week_axis(ax, float(edges[0]), float(edges[-1]))
    style.axis_words(ax, "Weekday", "Load [kW]")
    greatest = f"greatest of all weeks {week.peak:.0f} kW, {moment_text(week.peak_min)}"
    style.legend_below(
        ax,
        {"mean": line, "5 % to 95 % of the weeks": band, f"peak of a week {peak_kw:.0f} kW": level, greatest: mark},
    )
    return ax
