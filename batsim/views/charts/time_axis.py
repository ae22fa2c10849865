"""Time of a run on charts: an axis of weekdays and clock times, and a window in words."""

from batsim.record.facts import RunFacts
from batsim.scenario.parts.week import DAY_MIN
from batsim.views.charts import chart_style as style
from batsim.views.text.trace_text import clock, first_week_note, moment


def clock_axis(ax: style.Axes, facts: RunFacts, from_min: float, to_min: float) -> None:
    """Weekday and time of day at even steps; the week too where there is more than one."""
    weeks = moment(facts, from_min)[0] != moment(facts, to_min - 1.0)[0]

    def label(time_min: float) -> str:
        text = clock(facts, time_min)
        return text + f"\nweek {moment(facts, time_min)[0]}" if weeks else text

    style.time_ticks(ax, from_min, to_min, label)
    ax.set_xlabel("Weekday and time of day")


def span_text(facts: RunFacts, from_min: float, to_min: float) -> str:
    """Write a window of a run, such as `week 1 Tue`, or from when to when."""
    week, day = moment(facts, from_min)
    if from_min % DAY_MIN == 0.0 and to_min - from_min == DAY_MIN:
        return f"week {week} {day}"
    return f"{clock(facts, from_min, weeks=True)} to {clock(facts, to_min, weeks=True)}"


def one_run_note(facts: RunFacts) -> str:
    """Say which run is shown."""
    return f"One run: replication {facts.replication}, seed {facts.seed}{first_week_note(facts)}."
