"""Visits to the room that come before the exchange level: at a shift change, in a break, or early when nobody waits.

All but the early ones follow from the calendar, so they are known when a discharge is planned and cost no event.
"""

from bisect import bisect_left, bisect_right
from math import inf
from typing import TYPE_CHECKING

from batsim.record import IN_BREAK, LEVEL, SHIFT_CHANGE

if TYPE_CHECKING:
    from batsim.room.truck import Truck


def next_visit(truck: "Truck", start_min: float, left_min: float, break_after_min: float) -> tuple[float, int]:
    """When a truck goes for another battery, and why.

    Parameters
    ----------
    truck
        The truck.
    start_min
        When its discharge begins. [min]
    left_min
        When it reaches its exchange level at work. [min]
    break_after_min
        From when on it would go in a break; infinite when never. [min]
    """
    visit_min, reason = left_min, LEVEL
    change_min = _shift_change(truck, start_min, left_min)
    if change_min < visit_min:
        visit_min, reason = change_min, SHIFT_CHANGE
    if break_after_min < visit_min:
        starts = truck.group.break_starts
        index = bisect_left(starts, break_after_min)
        if index < len(starts) and starts[index] < visit_min:
            visit_min, reason = starts[index], IN_BREAK
    return visit_min, reason


def _shift_change(truck: "Truck", start_min: float, left_min: float) -> float:
    """When a truck goes for a shift change; infinite when it does not. [min]

    What is left will not last the next shift when the level is reached in it: so the last shift end before that
    is the one to go at, and under the rule `always` the first one after the start.
    """
    rule, ends = truck.group.truck.exchange_when.shift_change, truck.group.shift_ends
    if rule == "never":
        return inf
    first = bisect_right(ends, start_min + truck.lead_min)
    last = bisect_left(ends, left_min) - 1
    index = first if rule == "always" else max(first, last)
    if index >= len(ends) or (rule == "if_short" and last < first):
        return inf
    return ends[index] - truck.lead_min
