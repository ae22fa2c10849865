"""What one more of each thing would save: a table for the terminal and the sentence below it."""

import math
from collections.abc import Iterable

from batsim.scenario.settings import Schedule
from batsim.statistics.written import number_text
from batsim.study.bottleneck.bottleneck import Bottleneck, Gain
from batsim.study.differences import signed
from batsim.views.text.lines import measured, sentence
from batsim.views.text.numbers import NO_INTERVALS
from batsim.views.text.tables import answer_text, simulated


def bottleneck_answer(schedule: Schedule, bottlenecks: Iterable[Bottleneck], width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    title = f"{schedule.scenario.site.name}: what one more of each, and each lever, would save"
    blocks = (bottleneck_text(bottleneck, width) for bottleneck in bottlenecks)
    return answer_text(title, f"{simulated(schedule)}; paired", blocks, _note(schedule), width)


def bottleneck_text(bottleneck: Bottleneck, width: int = 100) -> str:
    """Table of what one more of each and each lever saves in a layout, so many characters wide, and the bottleneck."""
    title = bottleneck.schedule.scenario.handling_title(bottleneck.layout)
    lines = [sentence(f"{bottleneck.layout} ({title})", width)]
    rows = [("downtime as it is", number_text(bottleneck.downtime), "min per truck-shift")]
    lines += measured([*rows, *map(_row, bottleneck.gains)], width)
    if bottleneck.lever_gains:
        lines += ["with nothing bought:", *measured([*map(_row, bottleneck.lever_gains)], width)]
    lines += [sentence(f"not tried: {left_out.label}: {left_out.why}", width, 2) for left_out in bottleneck.left_out]
    return "\n".join([*lines, sentence(bottleneck.sentence, width)])


def _row(gain: Gain) -> tuple[str, str, str]:
    """What was added, what it saves, and whether that is clear."""
    interval = gain.interval
    verdict = ("saves" if interval.mean > 0.0 else "costs") if gain.clear else ""
    return gain.what, signed(interval) if math.isfinite(interval.half_width) else f"{interval.mean:+.1f}", verdict


def _note(schedule: Schedule) -> str:
    """Say what the figures are."""
    if schedule.replications < 2:
        return NO_INTERVALS
    return (
        f"Gains in minutes of downtime per truck-shift; ± is the half width of an interval, "
        f"{100 * schedule.confidence:g} % for all of a layout together."
    )
