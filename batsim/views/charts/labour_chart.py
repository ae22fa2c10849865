"""Chart of labour by layout: minutes of a working day by person and task."""

from matplotlib.axes import Axes

from batsim.record import PERSONS
from batsim.study.compare import Comparison
from batsim.views.charts.chart_style import TASK_LOOKS
from batsim.views.charts.stacked_rows import Stack, Words, stacked_rows

TALL, LOW = 0.72, 0.36
"""Height of what attendants do and of what drivers do, in rows."""
HEIGHTS = dict(zip(PERSONS, (TALL, LOW), strict=True))
WORDS = Words(
    "Labour by person and task",
    "Hands-on work [people-minutes per working day]",
    "No layout has a value of labour: there is no working day in the measured time.",
    "High: attendants. Low: drivers; their waiting is left out.",
)


def labour_chart(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Draw the labour of a working day in each layout, by person and task.

    Parameters
    ----------
    comparison
        What `batsim.compare` returns; one layout is enough.
    ax
        Axes to draw on; those of a new figure when not given.

    Returns
    -------
    matplotlib.axes.Axes
        A bar for each layout in the order of the ranking: high where attendants work, low where drivers do. The
        whisker is an interval of the total. A driver's waiting is no labour and is left out.
    """
    runs = comparison.runs
    stacks = [
        Stack(
            f"{word}, {person}s", colour, hatch,
            [runs.interval(layout, f"labour_{person}_{task}_min_per_day").mean for layout in comparison.ranking],
            HEIGHTS[person],
        )
        for person in PERSONS
        for task, (colour, hatch, word) in TASK_LOOKS.items()
    ]  # fmt: skip
    return stacked_rows(comparison, "labour_min_per_day", stacks, WORDS, ax)
