"""What one more of each thing would save: a table for the terminal and the sentence below it."""

import math
import textwrap
from typing import TYPE_CHECKING

from batsim.scenario.week import WEEK_MIN
from batsim.study.compare import signed
from batsim.views.tables import CAUTION, number_text

if TYPE_CHECKING:
    from batsim.study.one_more import OneMore
    from batsim.study.replications import Settings

INDENT = "  "


def one_more_answer(settings: "Settings", found: "list[OneMore]", width: int = 100) -> str:
    """Everything that the command prints: layouts one after another, a note on the figures, the cautions."""
    note = "\n".join(wrapped(_note(settings), width))
    return "\n\n".join([_heading(settings), *(one_more_text(one, width) for one in found), f"{note}\n{CAUTION}"])


def _heading(settings: "Settings") -> str:
    """Say in two lines what was simulated."""
    return (
        f"{settings.scenario.site.name}: what one more of each would save\n"
        f"{_count(settings.replications, 'replication')} of {_count(settings.length_min / WEEK_MIN, 'week')} after a "
        f"warm-up of {_count(settings.warm_up_min / WEEK_MIN, 'week')}, seed {settings.seed}; paired"
    )


def one_more_text(one: "OneMore", width: int = 100) -> str:
    """Table of what one more of each saves in a layout, for a terminal so many characters wide, and what binds."""
    arrangement = one.settings.scenario.arrangement(one.layout)
    lines = [*wrapped(f"{one.layout} ({arrangement.title})", width)]
    rows = [("downtime as it is", number_text(one.downtime), "min per truck-shift")]
    for gain in one.gains:
        told = math.isfinite(gain.interval.half_width)
        verdict = {1: "saves", -1: "costs", 0: ""}[gain.clear * (1 if gain.interval.mean > 0.0 else -1)]
        rows.append((gain.what, signed(gain.interval) if told else f"{gain.interval.mean:+.1f}", verdict))
    widths = [max(len(row[column]) for row in rows) for column in (0, 1)]
    last = max(len(row[2]) for row in rows)
    widths[0] = min(widths[0], width - len(INDENT) - widths[1] - last - 4)
    for what, value, note in rows:
        first, *rest = textwrap.wrap(what, widths[0]) or [""]
        lines.append(f"{INDENT}{first:<{widths[0]}}  {value:>{widths[1]}}  {note}".rstrip())
        lines += [f"{INDENT}{part}" for part in rest]
    for left_out in one.left_out:
        lines += wrapped(f"not tried: {left_out.label}: {left_out.why}", width, INDENT)
    return "\n".join([*lines, *wrapped(one.sentence, width)])


def _note(settings: "Settings") -> str:
    """Say what the figures are."""
    if settings.replications < 2:
        return "One replication has no intervals; take more to know how sure this is."
    return (
        f"Gains in minutes of downtime per truck-shift; ± is the half width of an interval, "
        f"{100 * settings.confidence:g} % for all of a layout together."
    )


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """Break a text into lines; a percent sign stays with its number."""
    kept = text.replace(" %", "\N{NO-BREAK SPACE}%").replace(" ± ", "\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}")
    lines = textwrap.wrap(
        kept,
        width,
        initial_indent=indent,
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def _count(number: float, thing: str) -> str:
    """Write a count with its noun."""
    return f"{number:g} {thing}{'' if number == 1 else 's'}"
