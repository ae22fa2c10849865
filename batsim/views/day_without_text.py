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
    confidence = f"{100 * settings.confidence:g} %"
    note = (
        f"± is the half width of a {confidence} interval. A device that is at work when the day begins finishes that "
        "exchange."
    )
    parts = [day_without_text(one, width) for one in found] or [NOTHING]
    return "\n\n".join([head, *parts, "\n".join([*wrapped(note, width), CAUTION])])


def day_without_text(one: "DayWithout", width: int = 100) -> str:
    """Table of one layout and device, and the sentence."""
    rows = [(way, number_text(one.downtime(way)), number_text(one.cost_h(way))) for way in one.found]
    heads = ("", "min per truck-shift that day", "more truck-hours that week")
    widths = [max(len(row[column]) for row in (heads, *rows)) for column in range(3)]
    lines = [f"{one.layout}: {one.device.replace('_', ' ')}"]
    lines += [
        f"  {way:<{widths[0]}}  {day:>{widths[1]}}  {week:>{widths[2]}}".rstrip() for way, day, week in (heads, *rows)
    ]
    return "\n".join([*lines, *wrapped(one.sentence, width)])
