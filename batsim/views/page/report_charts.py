"""Charts of the report, each with its caption."""

from collections.abc import Iterator
from typing import NamedTuple

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from batsim.decision.recommendation import recommend
from batsim.plan.plan import Plan
from batsim.plan.seen import Seen
from batsim.views.charts.chart_style import COLUMN_IN
from batsim.views.charts.cost_chart import cost_chart, cost_text
from batsim.views.charts.heat_chart import heat_chart, heat_text
from batsim.views.charts.hydrogen_chart import hydrogen_chart, hydrogen_text
from batsim.views.charts.lanes_chart import lanes_chart, lanes_text
from batsim.views.charts.load_chart import load_chart, load_text
from batsim.views.charts.minutes_chart import minutes_chart, minutes_text
from batsim.views.charts.room_plan_chart import room_plan_chart, room_plan_text
from batsim.views.charts.season_chart import season_chart, season_text
from batsim.views.charts.stacked_charts import downtime_chart, downtime_text, labour_chart, labour_text
from batsim.views.charts.truck_shift_chart import truck_shift_chart, truck_shift_text
from batsim.views.charts.waits_chart import waits_chart, waits_text
from batsim.views.charts.week_chart import week_chart, week_text
from batsim.views.page import chart_findings as finding
from batsim.views.page.inline_svg import for_a_page, inline_svg


class DrawnChart(NamedTuple):
    """A chart as it stands in the page."""

    svg: str
    title: str
    caption: str
    tall: bool
    """Whether it has several panels one below the other, and so takes more of a sheet."""
    wide: bool
    """Whether it is wider than a printed column, so that its words can be read on a sheet that lies across alone."""


class Charts(NamedTuple):
    """Charts of a report: the picture of the answer, those that say why and what it costs, and those of the annex."""

    answer: DrawnChart
    why: list[DrawnChart]
    cost: list[DrawnChart]
    annex: list[DrawnChart]


def charts_of(plans: Plan, looked_at: Seen | None) -> Charts:
    """Draw the charts of plans; those of runs that were looked at once more only where there are such."""
    with for_a_page():
        return Charts(
            answer=_drawn("minutes", "Minutes lost", "", minutes_chart(plans), minutes_text(plans)),
            why=list(_reasons(plans, looked_at)),
            cost=[_drawn("costs", "Cost of a year", "", cost_chart(plans), cost_text(plans))],
            annex=list(_behind(plans, looked_at)),
        )


def _drawn(prefix: str, title: str, caption: str, chart: Axes | Figure, told: str) -> DrawnChart:
    """Take a chart into the page, its ids beginning with a prefix; what it draws is told in words to who cannot see."""
    figure = chart.get_figure(root=True)
    assert figure is not None  # charts make one
    tall, wide = len(figure.axes) > 1, figure.get_figwidth() > COLUMN_IN
    return DrawnChart(inline_svg(figure, prefix, title, told), title, caption, tall, wide)


def _reasons(plans: Plan, looked_at: Seen | None) -> Iterator[DrawnChart]:
    """Draw what says why: the worst hour."""
    if looked_at is not None:
        worst = looked_at.worst
        yield _drawn("worst", "The worst hour", "", lanes_chart(worst), lanes_text(worst))


def _behind(plans: Plan, looked_at: Seen | None) -> Iterator[DrawnChart]:
    """Draw the charts of the annex one after another."""
    comparison, layout = plans.comparison, recommend(plans).layout
    runs = comparison.runs
    text = "Where trucks lose their minutes: downtime per truck-shift by cause, with the interval of the total."
    chart = downtime_chart(comparison, title=finding.downtime_finding(comparison, layout))
    yield _drawn("downtime", "Downtime by cause", text, chart, downtime_text(comparison))
    if runs.areas:
        text = "Where trucks of each area lose their minutes; the line is the target of the site."
        by_area = comparison.by_area
        chart = downtime_chart(by_area, title=finding.area_finding(by_area))
        yield _drawn("areas", "Downtime by area", text, chart, downtime_text(by_area))
    yield from _of_seasons(plans)
    text = f"From scheduled to working minutes of a truck-shift of layout '{layout}'."
    yield _drawn("shift", "A truck-shift", text, truck_shift_chart(runs, layout), truck_shift_text(runs, layout))
    if looked_at is not None and looked_at.lost is not None:
        lost = looked_at.lost
        text = f"When trucks lose their minutes in layout '{lost.layout}': truck-minutes lost in each hour of the week."
        yield _drawn("lost", "Lost minutes by hour", text, heat_chart(lost), heat_text(lost))
    text = "Hands-on minutes of a working day by person and task; no allowance for rest is added."
    chart = labour_chart(comparison, title=finding.labour_finding(comparison, layout))
    yield _drawn("labour", "Labour by person and task", text, chart, labour_text(comparison))
    text = "How long exchanges wait: share of those that start within so many minutes of the truck's arrival."
    chart = waits_chart(plans.waits, title=finding.waits_finding(plans.waits, comparison, layout))
    yield _drawn("waits", "Waits", text, chart, waits_text(plans.waits))
    if looked_at is not None and looked_at.room is not None:
        room = looked_at.room
        text = f"The room of layout '{room.layout}' over a week: mean and band of each hour."
        yield _drawn(
            "week", "The room over a week", text, week_chart(room, title=finding.week_finding(room)), week_text(room)
        )
    yield from _of_services(plans, layout)
    yield from _of_rooms(plans, layout)


def _of_seasons(plans: Plan) -> Iterator[DrawnChart]:
    """Draw normal weeks and seasons, where there are any."""
    if plans.scenario.seasons:
        text = "What trucks lose in normal weeks, and below that in the weeks of each season."
        yield _drawn("seasons", "Seasons", text, season_chart(plans), season_text(plans))


def _of_services(plans: Plan, layout: str) -> Iterator[DrawnChart]:
    """Draw the load, and the hydrogen in each space in which there is any."""
    evidence = plans.layouts[layout].evidence
    text = f"Load of all chargers of layout '{layout}' over a week, mean of 15 min, with the peak of the replications."
    chart = load_chart(evidence, title=finding.load_finding(evidence))
    yield _drawn("load", "Electrical load", text, chart, load_text(evidence))
    limit = plans.scenario.figures["ventilation.limit"].text
    for number, air in enumerate(plans.layouts[layout].ventilations):
        if air.flow_m3_per_h and air.peak_share is not None:
            of = f"{air.space_name} of layout '{layout}'"
            text = f"Hydrogen in the air of the {of}, well mixed; near cells there is more."
            chart = hydrogen_chart(evidence, air, title=finding.hydrogen_finding(air, limit))
            yield _drawn(f"hydrogen{number or ''}", "Hydrogen", text, chart, hydrogen_text(evidence, air))


def _of_rooms(plans: Plan, layout: str) -> Iterator[DrawnChart]:
    """Draw the room, or that of each area, where positions are stated."""
    for number, (area, stated) in enumerate(plans.scenario.layouts[layout].by_area.items()):
        if stated.floor is not None:
            of = f"area '{area}' of " if area else ""
            text = f"The room of {of}layout '{layout}' to scale, as the scenario states it: no design of a room."
            title = finding.room_finding(plans.scenario, layout, area)
            chart = room_plan_chart(plans.scenario, layout, area=area, title=title)
            told = room_plan_text(plans.scenario, layout, area=area)
            yield _drawn(f"plan{number or ''}", "Plan of the room", text, chart, told)
