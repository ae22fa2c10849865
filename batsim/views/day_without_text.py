"""What a day without a device costs: a table for the terminal and the sentence below it."""

from typing import TYPE_CHECKING

from batsim.views.one_more_text import wrapped
from batsim.views.tables import CAUTION, number_text

if TYPE_CHECKING:
    from batsim.study.day_without import DayWithout
    from batsim.study.replications import Settings

NOTHING = "No layout here depends on a device of which there is a number."


def day_without_answer(settings: "Settings", found: "list[DayWithout]", width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    replications = f"{settings.replications} replication{'s' * (settings.replications != 1)}"
    title = f"{settings.scenario.site.name}: a day without its devices"
    head = f"{title}\n{replications} of that week, seed {settings.seed}; paired"
    figures = f"± is the half width of a {100 * settings.confidence:g} % interval."
    if settings.replications < 2:
        figures = "One replication has no intervals; take more to know how sure this is."
    note = f"{figures} A device that is at work when the day begins finishes that exchange."
    parts = [day_without_text(one, width) for one in found]
    end = [*wrapped(note if found else NOTHING, width), CAUTION]
    return "\n\n".join([head, *parts, "\n".join(end)])


def day_without_text(one: "DayWithout", width: int = 100) -> str:
    """Table of one layout and device, and the sentence."""
    rows = [(way, number_text(one.downtime(way)), number_text(one.cost_h(way))) for way in one.found]
    lines = _table([("", "min per truck-shift that day", "more truck-hours that week"), *rows])
    if max(map(len, lines)) > width:
        lines = _table([("", "min per truck-shift", "more truck-hours"), ("", "that day", "that week"), *rows])
    head = wrapped(f"{one.layout}: {one.device.replace('_', ' ')}", width)
    return "\n".join([*head, *lines, *wrapped(one.sentence, width)])


def _table(rows: list[tuple[str, str, str]]) -> list[str]:
    """Lay out a way and two figures in each line."""
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    return [f"  {way:<{widths[0]}}  {day:>{widths[1]}}  {week:>{widths[2]}}".rstrip() for way, day, week in rows]
