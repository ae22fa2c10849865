"""Chart of a few batteries over time: in the truck, waiting, on charge, cooling, ready."""

from collections import Counter
from collections.abc import Sequence

from batsim.measures.battery_course import Stretch, battery_stretches
from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.words import STATES
from batsim.views.charts import chart_style as style
from batsim.views.charts import palette
from batsim.views.charts.time_axis import clock_axis, one_run_note, span_text

WIDTH_IN, ROW_IN, AROUND_IN = 11.0, 0.34, 2.0
HEIGHT = 0.74
BELOW_PT = 54.0
"""Where the legend begins below the axis: under ticks of two lines and their word. [pt]"""


def life_line_chart(
    record: Record, batteries: Sequence[int], from_min: float, to_min: float, ax: style.AxesOrNew = None
) -> style.Axes:
    """Draw the states of a few batteries over a window of a run.

    Parameters
    ----------
    record
        What a run left behind, see `batsim.simulate`.
    batteries
        Their numbers in the record, from 0; the first is drawn at the top. The chart counts from 1, as the trace does.
    from_min, to_min
        The window; it is cut at the start and at the end of the run. [min]
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A row for each battery, a colour and a hatch for each state.

    Raises
    ------
    ValueError
        If no battery is named, one does not exist, or the window is empty, endless or outside the run.
    """
    rows = [battery_stretches(record, battery, from_min, to_min) for battery in batteries]
    if not rows:
        msg = "a chart needs at least one battery (got none)"
        raise ValueError(msg)
    facts = record.facts
    begin, end = max(from_min, 0.0), min(to_min, facts.horizon_min)
    ax = style.axes_for_rows(ax, len(rows), WIDTH_IN, ROW_IN, AROUND_IN)
    style.frame(ax, "x")
    legend = _bars(ax, rows)
    style.names_at(ax, [f"{battery + 1}{_type(facts, battery)}" for battery in batteries])
    clock_axis(ax, facts, begin, end)
    ax.set_ylabel("Battery", fontsize=10.0)
    style.legend_below(ax, legend, 5, BELOW_PT)
    style.heading(ax, f"{facts.title}: what batteries do, {span_text(facts, begin, end)}", one_run_note(facts))
    return ax


def life_line_text(record: Record, batteries: Sequence[int], from_min: float, to_min: float) -> str:
    """Say in words what `life_line_chart` draws: how long each battery is in each state."""
    facts, told = record.facts, []
    begin, end = max(from_min, 0.0), min(to_min, facts.horizon_min)
    for battery in batteries:
        minutes: Counter[str] = Counter()
        for part in battery_stretches(record, battery, from_min, to_min):
            minutes[part.state] += round(min(part.to_min, end) - max(part.from_min, begin))
        states = ", ".join(f"{state} {minutes[state]:,} min" for state in STATES if minutes[state])
        told.append(f"battery {battery + 1}{_type(facts, battery)} {states}")
    return f"{facts.title}: what batteries do, {span_text(facts, begin, end)}: {'; '.join(told)}. {one_run_note(facts)}"


def _bars(ax: style.Axes, rows: Sequence[Sequence[Stretch]]) -> style.Legend:
    """Draw the states of batteries, one below the other; each state with what stands for it in the legend."""
    legend: style.Legend = {}
    for state in STATES:
        look = palette.fill_of(*palette.STATE_LOOKS[state][:2])
        for row, stretches in enumerate(rows):
            spans = [(part.from_min, part.to_min - part.from_min) for part in stretches if part.state == state]
            if spans:
                legend[state] = ax.broken_barh(spans, (row - HEIGHT / 2.0, HEIGHT), **look)
    return legend


def _type(facts: RunFacts, battery: int) -> str:
    """Type of a battery, where there are several."""
    return f" ({facts.battery_types[facts.type_numbers[battery]].name})" if len(facts.battery_types) > 1 else ""
