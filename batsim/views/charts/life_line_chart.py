"""Chart of a few batteries over time: in the truck, discharged, on charge, cooling, ready."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from batsim.measures.battery_stretches import battery_stretches
from batsim.views.charts.chart_style import LOOKS, Size, axes_for, fill_of, frame, heading, legend_below, names_at
from batsim.views.charts.time_axis import clock_axis, span_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from batsim.record import Record

WIDTH_IN, ROW_IN, AROUND_IN = 11.0, 0.34, 2.0
LEAST_ROWS, HEIGHT = 2, 0.74
BELOW_PT = 54.0
"""Where the legend begins below the axis: under ticks of two lines and their word. [pt]"""
ORDER = (0, 7, 1, 2, 3, 4, 5, 6, 8)
"""States in the order in which a battery goes through them."""


def life_line_chart(
    record: "Record", batteries: "Sequence[int]", from_min: float, to_min: float, ax: "Axes | None" = None
) -> "Axes":
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
    ax = axes_for(ax, Size(WIDTH_IN, AROUND_IN + ROW_IN * max(LEAST_ROWS, len(rows))))
    frame(ax, "x")
    handles, words = [], []
    for state in (list(LOOKS)[code] for code in ORDER):
        colour, hatch, _ = LOOKS[state]
        drawn = None
        for row, stretches in enumerate(rows):
            spans = [(each.from_min, each.to_min - each.from_min) for each in stretches if each.state == state]
            if spans:
                drawn = ax.broken_barh(spans, (row - HEIGHT / 2.0, HEIGHT), **fill_of(colour, hatch))
        if drawn is not None:
            handles.append(drawn)
            words.append(state)
    several = len(facts.queues) > 1
    names = [
        f"{number + 1} ({facts.queues[facts.battery_queues[number]]})" if several else f"{number + 1}"
        for number in batteries
    ]
    names_at(ax, names)
    clock_axis(ax, facts, begin, end)
    ax.set_ylabel("Battery", fontsize=10.0)
    legend_below(ax, handles, words, 5, BELOW_PT)
    first = "; week 1 is the first after the warm-up" if facts.warm_up_min else ""
    heading(
        ax,
        f"{facts.layout}: what batteries do, {span_text(facts, begin, end)}",
        f"One run: replication {facts.replication}, seed {facts.seed}{first}.",
    )
    return ax
