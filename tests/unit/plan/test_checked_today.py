"""Whether the situation of today was set beside records: what a plan says of it, and that each word can turn."""

from typing import Any

import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.views.text.plan_text import NOT_CHECKED, UNCHECKED, payback_sentence, pays_back, plan_text, today_text
from tests.sites import SURVEYED

SHORT = Settings(("rollers", "stands"), replications=2, weeks=0.3, warm_up_weeks=0.1, workers=1)
HOLDS: dict[str, Any] = {
    "layout": "stands", "records": "412 exchanges", "fitted": "weeks 10-12 of 2024", "judged": "week 13 of 2024",
    "independent": True, "gives": ["exchanges", "waits"], "misses": [], "verdict": "The model gives all.",
}  # fmt: skip
HEAD = "Today's situation was set beside its own records (412 exchanges; week 13 of 2024"


def checked(**otherwise: Any) -> batsim.Scenario:
    """The site with stands today, and records of that."""
    return batsim.changed(SURVEYED, {"present": "stands", "calibration": {**HOLDS, **otherwise}})


@pytest.mark.parametrize(
    ("scenario", "holds", "asks", "says"),
    [
        (batsim.changed(SURVEYED, {"present": "stands"}), False, True, f"Not checked: {NOT_CHECKED}."),
        (checked(), True, False, f"{HEAD}): the model gives what was measured."),
        (
            checked(independent=False), True, False,
            f"{HEAD}, to which it was fitted): the model gives what was measured.",
        ),
        (checked(misses=["waits", "energy"]), False, False, f"{HEAD}): the model does not give waits, energy."),
        (checked(gives=[]), False, False, f"{HEAD}): nothing could be compared."),
        (checked(layout="hoist"), False, True, f"Not checked: {NOT_CHECKED}."),
    ],
    ids=["nobody asked", "holds", "fitted to the same", "misses", "nothing", "another layout"],
)  # fmt: skip
def test_what_a_plan_says_of_today(scenario: batsim.Scenario, holds: bool, asks: bool, says: str) -> None:
    """The mark of a payback, the question for records, the sentence."""
    plans = batsim.plan_layouts(scenario, SHORT)
    rollers = plans.layouts["rollers"]

    assert rollers.payback is not None
    assert rollers.payback.against_records is holds
    assert (UNCHECKED in payback_sentence(rollers), UNCHECKED in pays_back(rollers)) == (not holds, not holds)
    assert pays_back(rollers, doubt=False) == pays_back(rollers).replace(f" ({UNCHECKED})", "")
    assert ("calibration" in [question.path for question in plans.questions]) is asks
    assert today_text(scenario) == says
    assert says in " ".join(plan_text(plans).split())


def test_nobody_says_what_is_there_today() -> None:
    assert today_text(SURVEYED) == ""
