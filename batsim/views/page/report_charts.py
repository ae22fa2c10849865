"""Charts of the report, each with its caption."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from batsim.decision.ranking import recommend
from batsim.plan.plan import Plan
from batsim.study.room_over import RoomOver
from batsim.views.charts.hydrogen_chart import hydrogen_chart
from batsim.views.charts.load_chart import load_chart
from batsim.views.charts.room_plan_chart import room_plan_chart
from batsim.views.charts.stacked_charts import downtime_chart, labour_chart
from batsim.views.charts.waits_chart import waits_chart
from batsim.views.charts.week_chart import week_chart
from batsim.views.page.inline_svg import for_a_page, inline_svg


class DrawnChart(NamedTuple):
    """A chart as it stands in the page."""

    svg: str
    title: str
    caption: str
    tall: bool
    """Whether it has several panels one below the other, and so takes more of a sheet."""


class ChartToDraw(NamedTuple):
    """A chart before it is drawn."""

    prefix: str
    """Before its ids."""
    title: str
    caption: str
    draw: Callable[[], Axes | Figure]


def charts_of(plans: Plan, room: RoomOver | None) -> list[DrawnChart]:
    """Draw the charts of plans; that of a week only where it is given."""
    with for_a_page():
        return [_drawn(chart) for chart in _charts(plans, room)]


def _drawn(chart: ChartToDraw) -> DrawnChart:
    """Draw a chart."""
    figure = chart.draw().get_figure(root=True)
    assert figure is not None  # charts make one
    svg = inline_svg(figure, chart.prefix, chart.title, chart.caption)
    return DrawnChart(svg, chart.title, chart.caption, len(figure.axes) > 1)


def _charts(plans: Plan, room: RoomOver | None) -> Iterator[ChartToDraw]:
    """Charts in the order of the page."""
    comparison, layout = plans.comparison, recommend(plans).layout
    text = "Where trucks lose their minutes: downtime per truck-shift by cause, with the interval of the total."
    yield ChartToDraw("downtime", "Downtime by cause", text, lambda: downtime_chart(comparison))
    text = "Hands-on minutes of a working day by person and task; no allowance for rest is added."
    yield ChartToDraw("labour", "Labour by person and task", text, lambda: labour_chart(comparison))
    text = "How long exchanges wait: share of those that start within so many minutes of the truck's arrival."
    yield ChartToDraw("waits", "Waits", text, lambda: waits_chart(plans.waits))
    if room is not None:
        text = f"The room of layout '{room.layout}' over a week: mean and band of quarters of an hour."
        yield ChartToDraw("week", "The room over a week", text, lambda: week_chart(room))
    evidence, air = plans.layouts[layout].evidence, plans.layouts[layout].ventilation
    text = f"Load of all chargers of layout '{layout}' over a week, mean of 15 min, with the peak of the replications."
    yield ChartToDraw("load", "Electrical load", text, lambda: load_chart(evidence))
    if air.flow_m3_per_h and air.peak_share is not None:
        text = (
            f"Hydrogen in the air of the {air.space_name} of layout '{layout}', well mixed; near cells there is more."
        )
        yield ChartToDraw("hydrogen", "Hydrogen", text, lambda: hydrogen_chart(evidence, air))
    if plans.scenario.layouts[layout].floor is not None:
        text = f"The room of layout '{layout}' to scale, as the scenario states it: no design of a room."
        yield ChartToDraw("plan", "Plan of the room", text, lambda: room_plan_chart(plans.scenario, layout))
