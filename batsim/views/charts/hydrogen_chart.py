"""Chart of hydrogen in the room over the simulated week with most of it, beside the limit."""

from batsim.plan.evidence import Evidence
from batsim.plan.ventilation import HydrogenWeek, Ventilation, hydrogen_week
from batsim.scenario.parts.week import WEEK_MIN, moment_text, name_of_weeks
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette

SIZE_IN = (10.0, 4.0)
HEADROOM = 1.15
NEEDED = "Length, width and height of the {} and its air have to be known for this chart."


def hydrogen_chart(
    evidence: Evidence, ventilation: Ventilation, ax: style.AxesOrNew = None, *, title: str = ""
) -> style.Axes:
    """Draw the hydrogen in the air of the room.

    Parameters
    ----------
    evidence
        What the replications of a layout say: an entry of `batsim.plan.evidence.evidence`.
    ventilation
        The layout's ventilation, as `batsim.plan.ventilation.ventilation` returns it.
    ax
        Axes to draw on; those of a new figure when not given.
    title
        Stands above; what the chart shows when not given.

    Returns
    -------
    matplotlib.axes.Axes
        Share of hydrogen over the week, Monday to Monday, that comes nearest to the limit; a sentence instead
        where size or air of the room are not known.
    """
    ax = style.axes_for(ax, SIZE_IN)
    week, title = hydrogen_week(evidence, ventilation), title or _title(evidence, ventilation)
    if week is None:
        return style.empty(ax, title, NEEDED.format(ventilation.space_name))
    style.heading(ax, title, _note(week))
    style.frame(ax)
    percent = 100.0 * week.share
    filled = ax.fill_between(week.time_min, percent, 0.0, **palette.fill_of(palette.GREEN, "....") | {"linewidth": 0.0})
    ax.plot(week.time_min, percent, color=palette.BLACK, linewidth=1.3)
    limit = ax.axhline(100.0 * week.limit_share, color=palette.VERMILION, linewidth=1.4, linestyle="--")
    style.mark_peak(ax, week.peak_min, 100.0 * week.peak_share, palette.BLACK)
    ax.set_ylim(0.0, HEADROOM * 100.0 * max(week.limit_share, week.peak_share))
    style.week_axis(ax, 0.0, WEEK_MIN)
    style.axis_words(ax, "Weekday", "Hydrogen [% of the air]")
    peak, quarter = _numbers(week)
    style.legend_below(ax, {quarter: limit, peak: filled}, 2)
    return ax


def hydrogen_text(evidence: Evidence, ventilation: Ventilation) -> str:
    """Say in words what `hydrogen_chart` draws, with its numbers."""
    week = hydrogen_week(evidence, ventilation)
    says = NEEDED.format(ventilation.space_name) if week is None else f"{'; '.join(_numbers(week))}. {_note(week)}"
    return f"{_title(evidence, ventilation)}: {says}"


def _title(evidence: Evidence, ventilation: Ventilation) -> str:
    return f"{evidence.layout}: hydrogen in the {ventilation.space_name}"


def _note(week: HydrogenWeek) -> str:
    """Which week is drawn, with what air."""
    source = "as the rule asks for; nobody says what there is" if week.by_rule else "as stated"
    return (
        f"The simulated week with most of it ({_when(week)}), air of {week.air_m3_per_h:,.0f} m³/h, {source}. "
        "Well mixed: near the cells and under covers there is more."
    )


def _numbers(week: HydrogenWeek) -> tuple[str, str]:
    """The most hydrogen, and the limit."""
    return (
        f"hydrogen, at most {100.0 * week.peak_share:.2f} % ({moment_text(week.peak_min)})",
        f"limit: {100.0 * week.limit_share:g} %, a quarter of the lower flammable limit",
    )


def _when(week: HydrogenWeek) -> str:
    """Say which week it is, and of which season."""
    season = f" of the season in {name_of_weeks(week.season)}" if week.season else ""
    return f"week {week.week + 1} of one simulated run{season}"
