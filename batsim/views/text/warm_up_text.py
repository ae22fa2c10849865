"""How long a warm-up should be, in words."""

from batsim.display import counted
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.study.warm_up import WarmUp
from batsim.views.text.lines import hung, sentence


def warm_up_text(scenario: Scenario, warm_ups: tuple[WarmUp, ...], pilot_weeks: int, width: int = 100) -> str:
    """Warm-up of each layout, and what to state."""
    warm_up_weeks = scenario.simulation.warm_up_min / WEEK_MIN
    longest = max(warm_ups, key=lambda warm_up: (warm_up.too_short, warm_up.weeks))
    pilot = counted(pilot_weeks, "week")
    title = f"{scenario.site.name}: weeks to drop at the start of a run (MSER-5 on a pilot of {pilot})"
    lines = [sentence(title, width)]
    lines += [hung(warm_up.text, width, 2) for warm_up in warm_ups]
    if longest.too_short:
        advice = "The pilot had not settled by its middle: try a longer one, --pilot-weeks."
    elif longest.weeks <= warm_up_weeks:
        advice = f"The scenario's warm-up of {counted(warm_up_weeks, 'week')} is long enough."
    else:
        advice = (
            f"The scenario's warm-up of {counted(warm_up_weeks, 'week')} is short: state warm_up: "
            f"{counted(longest.weeks, 'week')}."
        )
    return "\n".join([*lines, sentence(advice, width)])
