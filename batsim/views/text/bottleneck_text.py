"""What one more of each thing would save: a table for the terminal and the sentence below it."""

import math
from typing import TYPE_CHECKING

from batsim.study.compare import signed
from batsim.views.text.lines import indented, measured, sentence
from batsim.views.text.tables import CAUTION, number_text, simulated

if TYPE_CHECKING:
    from batsim.scenario.settings import Schedule
    from batsim.study.bottleneck.bottleneck import Bottleneck


def bottleneck_answer(schedule: "Schedule", found: "list[Bottleneck]", width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    end = f"{sentence(_note(schedule), width)}\n{sentence(CAUTION, width)}"
    return "\n\n".join([_heading(schedule, width), *(bottleneck_text(one, width) for one in found), end])


def _heading(schedule: "Schedule", width: int) -> str:
    """Say what was simulated, and for how long."""
    what = f"{schedule.scenario.site.name}: what one more of each would save"
    return f"{sentence(what, width)}\n{sentence(f'{simulated(schedule)}; paired', width)}"


def bottleneck_text(one: "Bottleneck", width: int = 100) -> str:
    """Table of what one more of each saves in a layout, for a terminal so many characters wide, and what binds."""
    arrangement = one.schedule.scenario.arrangement(one.layout)
    lines = [sentence(f"{one.layout} ({arrangement.title})", width)]
    rows = [("downtime as it is", number_text(one.downtime), "min per truck-shift")]
    for gain in one.gains:
        told = math.isfinite(gain.interval.half_width)
        verdict = {1: "saves", -1: "costs", 0: ""}[gain.clear * (1 if gain.interval.mean > 0.0 else -1)]
        rows.append((gain.what, signed(gain.interval) if told else f"{gain.interval.mean:+.1f}", verdict))
    lines += measured(rows, width)
    lines += [indented(f"not tried: {left_out.label}: {left_out.why}", width) for left_out in one.left_out]
    return "\n".join([*lines, sentence(one.sentence, width)])


def _note(schedule: "Schedule") -> str:
    """Say what the figures are."""
    if schedule.replications < 2:
        return "One replication has no intervals; take more to know how sure this is."
    return (
        f"Gains in minutes of downtime per truck-shift; ± is the half width of an interval, "
        f"{100 * schedule.confidence:g} % for all of a layout together."
    )
