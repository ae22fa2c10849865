"""Chart of downtime by layout: stacked by cause, with the interval of the total and the target."""

from matplotlib.axes import Axes

from batsim.study.compare import Comparison
from batsim.study.running.replications import DOWNTIME
from batsim.views.charts.chart_style import PART_LOOKS
from batsim.views.charts.stacked_rows import Stack, Words, stacked_rows

WORDS = Words(
    "Downtime by cause",
    "Downtime [min per truck-shift]",
    "No layout has a value of downtime: no truck is scheduled in the measured time.",
)


def downtime_chart(comparison: Comparison, ax: Axes | None = None) -> Axes:
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
        Stack(
            word, colour, hatch,
            [runs.interval(layout, f"{part}_min_per_truck_shift").mean for layout in comparison.ranking],
        )
        for part, (colour, hatch, word) in PART_LOOKS.items()
    ]  # fmt: skip
    target = runs.scenario.targets.downtime_min_per_truck_shift
    return stacked_rows(comparison, DOWNTIME, stacks, WORDS, ax, target)
