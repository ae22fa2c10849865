"""How long a warm-up should be, in words."""

from typing import TYPE_CHECKING

from batsim.scenario.parts.week import WEEK_MIN
from batsim.views.text.lines import hung, sentence
from batsim.views.text.tables import counted

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario
    from batsim.study.warm_up import WarmUp


def warm_up_text(scenario: "Scenario", found: "tuple[WarmUp, ...]", pilot_weeks: int, width: int = 100) -> str:
    """Warm-up of each layout, and what to state."""
    stated = scenario.simulation.warm_up_min / WEEK_MIN
    longest = max(found, key=lambda each: (each.too_short, each.weeks))
    title = f"{scenario.site.name}: weeks to drop at the start of a run (MSER-5 on a pilot of {pilot_weeks} weeks)"
    lines = [sentence(title, width)]
    lines += [hung(each.text, width, 2) for each in found]
    if longest.too_short:
        advice = "The pilot was still on its way at its middle: try a longer one, --pilot-weeks."
    elif longest.weeks <= stated:
        advice = f"The scenario's warm-up of {counted(stated, 'week')} is long enough."
    else:
        enough = counted(longest.weeks, "week")
        advice = f"The scenario's warm-up of {counted(stated, 'week')} is short: state warm_up: {enough}."
    return "\n".join([*lines, sentence(advice, width)])
