"""Charts of the report, each with its caption."""

from collections.abc import Iterator
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from batsim.decision.recommendation import recommend
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


class Charts(NamedTuple):
    """Charts of a report: the picture of the answer, those that say why and what it costs, and those of the annex."""

    answer: DrawnChart
    why: list[DrawnChart]
    cost: list[DrawnChart]
    annex: list[DrawnChart]


def charts_of(plans: Plan, room: RoomOver | None) -> Charts:
    """Draw the charts of plans in the order of the page; that of a week only where it is given."""
    with for_a_page():
        first, *others = _charts(plans, room)
        return Charts(first, [], [], others)


def _drawn(prefix: str, title: str, caption: str, chart: Axes | Figure) -> DrawnChart:
    """Take a chart into the page, its ids beginning with a prefix."""
    figure = chart.get_figure(root=True)
    assert figure is not None  # charts make one
    return DrawnChart(inline_svg(figure, prefix, title, caption), title, caption, len(figure.axes) > 1)


def _charts(plans: Plan, room: RoomOver | None) -> Iterator[DrawnChart]:
    """Draw the charts one after another."""
    comparison, layout = plans.comparison, recommend(plans).layout
    text = "Where trucks lose their minutes: downtime per truck-shift by cause, with the interval of the total."
    yield _drawn("downtime", "Downtime by cause", text, downtime_chart(comparison))
    if comparison.runs.areas:
        text = "Where trucks of each area lose their minutes; the line is the target of the site."
        yield _drawn("areas", "Downtime by area", text, downtime_chart(comparison.by_area))
    text = "Hands-on minutes of a working day by person and task; no allowance for rest is added."
    yield _drawn("labour", "Labour by person and task", text, labour_chart(comparison))
    text = "How long exchanges wait: share of those that start within so many minutes of the truck's arrival."
    yield _drawn("waits", "Waits", text, waits_chart(plans.waits))
    if room is not None:
        text = f"The room of layout '{room.layout}' over a week: mean and band of quarters of an hour."
        yield _drawn("week", "The room over a week", text, week_chart(room))
    evidence = plans.layouts[layout].evidence
    text = f"Load of all chargers of layout '{layout}' over a week, mean of 15 min, with the peak of the replications."
    yield _drawn("load", "Electrical load", text, load_chart(evidence))
    for number, air in enumerate(plans.layouts[layout].ventilations):
        if air.flow_m3_per_h and air.peak_share is not None:
            of = f"{air.space_name} of layout '{layout}'"
            text = f"Hydrogen in the air of the {of}, well mixed; near cells there is more."
            yield _drawn(f"hydrogen{number or ''}", "Hydrogen", text, hydrogen_chart(evidence, air))
    for number, (area, stated) in enumerate(plans.scenario.layouts[layout].by_area.items()):
        if stated.floor is not None:
            of = f"area '{area}' of " if area else ""
            text = f"The room of {of}layout '{layout}' to scale, as the scenario states it: no design of a room."
            chart = room_plan_chart(plans.scenario, layout, area=area)
            yield _drawn(f"plan{number or ''}", "Plan of the room", text, chart)
