"""What a day without a device costs: a table for the terminal and the sentence below it."""

from collections.abc import Sequence

from batsim.display import counted
from batsim.scenario.settings import Schedule
from batsim.statistics.written import number_text
from batsim.study.day_without import BEGINS, DayWithout
from batsim.views.text.lines import columns, sentence
from batsim.views.text.numbers import NO_INTERVALS
from batsim.views.text.tables import answer_text

NOTHING = "No layout here depends on a device of which there is a number."


def day_without_answer(schedule: Schedule, days: Sequence[DayWithout], width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    title = f"{schedule.scenario.site.name}: a day without its devices"
    long = f"{counted(schedule.replications, 'replication')} of that week, seed {schedule.seed}; paired"
    figures = f"± is the half width of a {100 * schedule.confidence:g} % interval."
    note = (
        f"{figures if schedule.replications > 1 else NO_INTERVALS} A device that is at work when the day begins "
        f"finishes that exchange. {BEGINS}"
    )
    return answer_text(title, long, (day_without_text(day, width) for day in days), note if days else NOTHING, width)


def day_without_text(day: DayWithout, width: int = 100) -> str:
    """Table of one layout and device, and the sentence."""
    rows = [[way, number_text(day.downtime(way)), number_text(day.cost_h(way))] for way in day.lost]
    lines = columns([["", "min per truck-shift that day", "more truck-hours that week"], *rows], width - 2)
    if len(lines) > 1 + len(rows):
        heads = [["", "min per truck-shift", "more truck-hours"], ["", "that day", "that week"]]
        lines = columns([*heads, *rows], width - 2, heads=2)
    head = sentence(f"{day.layout}: {day.title}", width)
    return "\n".join([head, *(f"  {line}".rstrip() for line in lines), sentence(day.sentence, width)])
