"""Charts of the report, each with its caption."""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from batsim.decision.ranking import recommend
from batsim.views.charts.downtime_chart import downtime_chart
from batsim.views.charts.hydrogen_chart import hydrogen_chart
from batsim.views.charts.labour_chart import labour_chart
from batsim.views.charts.load_chart import load_chart
from batsim.views.charts.room_plan_chart import room_plan_chart
from batsim.views.charts.waits_chart import waits_chart
from batsim.views.charts.week_chart import week_chart
from batsim.views.page.inline_svg import for_a_page, inline_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from batsim.plan.plan import Plan
    from batsim.study.room_over import RoomOver


class Chart(NamedTuple):
    """A chart as it stands in the page."""

    svg: str
    title: str
    caption: str
    tall: bool
    """Whether it has several panels one below the other, and so takes more of a sheet."""


class Wanted(NamedTuple):
    """A chart before it is drawn."""

    name: str
    """Before its ids."""
    title: str
    caption: str
    draw: "Callable[[], Figure]"


def charts_of(found: "Plan", room: "RoomOver | None") -> list[Chart]:
    """Draw the charts of a plan; that of a week only where it is given."""
    with for_a_page():
        return [_chart(each) for each in _wanted(found, room)]


def _chart(wanted: Wanted) -> Chart:
    """Draw a chart."""
    figure = wanted.draw()
    svg = inline_svg(figure, wanted.name, wanted.title, wanted.caption)
    return Chart(svg, wanted.title, wanted.caption, len(figure.axes) > 1)


def _wanted(found: "Plan", room: "RoomOver | None") -> Iterator[Wanted]:
    """Charts in the order of the page."""
    comparison, name = found.comparison, recommend(found).layout
    text = "Where trucks lose their minutes: downtime per truck-shift by cause, with the interval of the total."
    yield Wanted("downtime", "Downtime by cause", text, lambda: _figure(downtime_chart(comparison)))
    text = "Hands-on minutes of a working day by person and task."
    yield Wanted("labour", "Labour by person and task", text, lambda: _figure(labour_chart(comparison)))
    text = "How long exchanges wait: share of those that start within so many minutes of joining the line."
    yield Wanted("waits", "Waits", text, lambda: _figure(waits_chart(found.waits)))
    if room is not None:
        text = f"The room of {room.layout} over a week: mean and band of quarters of an hour."
        yield Wanted("week", "The room over a week", text, lambda: week_chart(room))
    evidence, air = found.layouts[name].evidence, found.layouts[name].ventilation
    text = f"Load of all chargers of {name} over a week, mean of 15 min, with the peak of the replications."
    yield Wanted("load", "Electrical load", text, lambda: _figure(load_chart(evidence)))
    if air.flow_m3_per_h and air.peak_share is not None:
        text = f"Hydrogen in the air of the {air.space_name} of {name}, well mixed; near cells there is more."
        yield Wanted("hydrogen", "Hydrogen", text, lambda: _figure(hydrogen_chart(evidence, air)))
    if found.scenario.layouts[name].floor is not None:
        text = f"The room of {name} to scale, as the scenario states it: no design of a room."
        yield Wanted("plan", "Plan of the room", text, lambda: _figure(room_plan_chart(found.scenario, name)))


def _figure(axes: "Axes") -> "Figure":
    """Figure that axes belong to."""
    figure = axes.get_figure(root=True)
    assert figure is not None  # charts make one
    return figure
