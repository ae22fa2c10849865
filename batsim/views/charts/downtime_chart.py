"""Chart of downtime by layout: stacked by cause, with the interval of the total and the target."""

from typing import TYPE_CHECKING

from batsim.measures.names import PARTS
from batsim.study.compare import DECIDING
from batsim.views.charts.chart_style import PART_LOOKS
from batsim.views.charts.stacked_rows import Stack, stacked_rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from batsim.study.compare import Comparison

NO_TRUCKS = "No layout has a value of downtime: no truck is scheduled in the measured time."


def downtime_chart(comparison: "Comparison", ax: "Axes | None" = None) -> "Axes":
    """Draw the downtime of each layout, cause by cause.

    Parameters
    ----------
    comparison
        What `batsim.compare` returns; one layout is enough.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout in the order of the ranking, the whisker an interval of the total, the line the target.
    """
    runs = comparison.runs
    stacks = [
        Stack(look[2], look[0], look[1], [runs.interval(layout, f"{part}_min_per_truck_shift").mean
                                          for layout in comparison.ranking])
        for part, look in ((part, PART_LOOKS[part]) for part in PARTS)
    ]  # fmt: skip
    totals = [runs.interval(layout, DECIDING) for layout in comparison.ranking]
    return stacked_rows(
        comparison,
        stacks,
        totals,
        "Downtime by cause",
        "Downtime [min per truck-shift]",
        NO_TRUCKS,
        ax,
        target=runs.scenario.targets.downtime_min_per_truck_shift,
    )
