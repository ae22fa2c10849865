"""What a day without a device costs: a table for the terminal and the sentence below it."""

from typing import TYPE_CHECKING

from batsim.views.text.lines import columns, sentence
from batsim.views.text.tables import CAUTION, counted, number_text

if TYPE_CHECKING:
    from batsim.scenario.settings import Schedule
    from batsim.study.day_without import DayWithout

NOTHING = "No layout here depends on a device of which there is a number."


def day_without_answer(schedule: "Schedule", found: "list[DayWithout]", width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    title = sentence(f"{schedule.scenario.site.name}: a day without its devices", width)
    long = f"{counted(schedule.replications, 'replication')} of that week, seed {schedule.seed}; paired"
    head = f"{title}\n{sentence(long, width)}"
    figures = f"± is the half width of a {100 * schedule.confidence:g} % interval."
    if schedule.replications < 2:
        figures = "One replication has no intervals; take more to know how sure this is."
    note = f"{figures} A device that is at work when the day begins finishes that exchange."
    parts = [day_without_text(one, width) for one in found]
    end = f"{sentence(note if found else NOTHING, width)}\n{sentence(CAUTION, width)}"
    return "\n\n".join([head, *parts, end])


def day_without_text(one: "DayWithout", width: int = 100) -> str:
    """Table of one layout and device, and the sentence."""
    rows = [[way, number_text(one.downtime(way)), number_text(one.cost_h(way))] for way in one.lost]
    lines = columns([["", "min per truck-shift that day", "more truck-hours that week"], *rows], width - 2)
    if len(lines) > 1 + len(rows):
        heads = [["", "min per truck-shift", "more truck-hours"], ["", "that day", "that week"]]
        lines = columns([*heads, *rows], width - 2, heads=2)
    head = sentence(f"{one.layout}: {one.device.replace('_', ' ')}", width)
    return "\n".join([head, *(f"  {line}".rstrip() for line in lines), sentence(one.sentence, width)])
