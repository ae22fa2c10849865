"""How the room is run where more than one way is usual."""

from typing import Annotated

from batsim.scenario.parts.faults import Fault, each_entry, refuse, wrong
from batsim.scenario.parts.kinds import Frozen, Words, by_default, reads
from batsim.scenario.parts.layouts import RELEASE
from batsim.scenario.parts.quantities import Minutes
from batsim.scenario.parts.schemas import TEXTS

TASK_ORDER = ("exchange", "connect", "watering", "inspection", "readings", "wash")
"""Tasks of attendants, the most pressing first."""


@reads(TEXTS | {"items": Words(*TASK_ORDER).schema, "uniqueItems": True, "examples": [list(TASK_ORDER)]})
def read_priorities(value: object) -> tuple[str, ...]:
    """Tasks of attendants in the order in which they are taken up; those left out follow in the usual order."""
    if not isinstance(value, list | tuple):
        wrong(f"needs a list of tasks, such as [{', '.join(TASK_ORDER)}]")
    words = each_entry(enumerate(value), Words(*TASK_ORDER).read)
    refuse([Fault((n,), "is named twice", f"'{word}'") for n, word in enumerate(words) if word in words[:n]])
    return (*words, *(task for task in TASK_ORDER if task not in words))


class Rules(Frozen):
    """How the room is run where more than one way is usual."""

    discharged_on_charge: Annotated[str, Words(*RELEASE)] = "with_exchange"
    """When the discharged battery may go on charge: with the exchange, or on arrival, pulled out at once."""
    at_break: Annotated[str, Words("finish", "finish_then_full_break", "pause", "put_back")] = "finish"
    """What an attendant does when a break begins in the middle of a job: finish it, finish it and take the whole break
    then, lay it down, or put the battery back and begin the step again after the break."""
    at_shift_end: Annotated[str, Words("finish", "hand_over", "put_back")] = "finish"
    """What an attendant does when the shift ends in the middle of a job: finish it, hand it over to the next shift as
    it is, or put the battery back so that the next shift begins the step again."""
    priorities: Annotated[tuple[str, ...], read_priorities] = TASK_ORDER
    """Order in which attendants take up what waits for them."""
    if_none_ready: Annotated[str, Words("wait", "carry_on")] = "wait"
    """What a truck at its exchange level does that finds no ready battery left for it: wait, or work on down to the
    cut-out."""
    patience_min: Minutes = by_default("rules.patience", "patience")
    """Longest time that a truck above its exchange level waits for a battery; if none is ready or will be by then for
    it, it goes back to work and comes again at its level. [min]"""
