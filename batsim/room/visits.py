"""Visits to the room that come before the exchange level: at a shift change, in a break, or early when nobody waits.

All but the early ones follow from the calendar, so they are known when a discharge is planned and cost no event.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Generator
from math import inf
from typing import TYPE_CHECKING, NamedTuple

from batsim.formulas.discharge import at_factor, discharge_at_power, soc_after
from batsim.record import EARLY, IN_BREAK, LEVEL, SHIFT_CHANGE
from batsim.room.clock import ASKS, Moment
from batsim.room.recovery import drawn_for, run_until, soc_of

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.formulas.kibam import Wells
    from batsim.room.discharges import Worker
    from batsim.room.duty import Truck
    from batsim.room.simulation import Room


Taken = tuple[float, float, float, float]
"""State of charge before and after, ampere-hours, energy. [-, -, Ah, kWh]"""


class Discharge(NamedTuple):
    """A discharge as planned, down to the exchange level."""

    start_min: float
    minutes: float
    """Working minutes until the level. [min]"""
    soc_from: float
    level: float
    power_w: float
    """Mean power; 0 where run times are stated. [W]"""
    amps: float
    """Mean current of a battery that recovers in breaks. [A]"""
    wells: "Wells | None"
    driven_min: float
    """Minutes on the way from the room, which count as use. [min]"""
    factor: float
    """Capacity of the battery over the rated one. [-]"""


def next_visit(truck: "Worker", discharge: Discharge, left_min: float, break_after_min: float) -> tuple[float, int]:
    """When a truck goes for another battery, and why.

    Parameters
    ----------
    truck, discharge
        The truck and its discharge.
    left_min
        When it reaches its exchange level at work. [min]
    break_after_min
        From when on it would go in a break; infinite when never. [min]
    """
    visit_min, reason = left_min, LEVEL
    change_min = _shift_change(truck, discharge.start_min, left_min)
    if change_min < visit_min:
        visit_min, reason = change_min, SHIFT_CHANGE
    if break_after_min < visit_min:
        starts = truck.group.break_starts
        index = bisect_left(starts, break_after_min)
        if index < len(starts) and starts[index] < visit_min:
            visit_min, reason = starts[index], IN_BREAK
    return visit_min, reason


def _shift_change(truck: "Worker", start_min: float, left_min: float) -> float:
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


def part_of(truck: "Worker", discharge: Discharge, visit_min: float) -> tuple[float, Taken]:
    """Working minutes up to a visit, and what is drawn by then and on the way to the room. [min, see `Taken`]"""
    if visit_min == inf:  # it never comes: all that it has is drawn, some time
        return 0.0, (discharge.soc_from, discharge.level, *truck.taken(discharge.soc_from, discharge.level))
    worked_min = truck.group.timetable.worked(discharge.start_min, visit_min)
    if not discharge.power_w:
        share = worked_min / discharge.minutes if discharge.minutes else 1.0
        soc = discharge.soc_from - (discharge.soc_from - discharge.level) * min(1.0, share)
        return worked_min, (discharge.soc_from, soc, *truck.taken(discharge.soc_from, soc))
    hours = (worked_min + discharge.driven_min + truck.trip_min) / 60.0
    kwh = discharge.power_w * hours / 1000.0
    if discharge.wells is not None:
        battery, wells = truck.battery, discharge.wells
        state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
        state = run_until(wells, truck.group.timetable, discharge.start_min, state, discharge.amps, visit_min)
        held_ah, battery.surplus_ah = drawn_for(*state, discharge.amps, hours - worked_min / 60.0, wells)
        return worked_min, (discharge.soc_from, soc_of(held_ah, battery.surplus_ah, wells), discharge.amps * hours, kwh)
    cell = at_factor(truck.queue.plan.rated_cell, discharge.factor)
    soc = soc_after(discharge.soc_from, hours, discharge.power_w, cell)
    ah = discharge_at_power(discharge.soc_from, soc, discharge.power_w, cell)[1]
    return worked_min, (discharge.soc_from, soc, ah, kwh)


def wait_for_call(room: "Room", truck: "Truck", early_min: float) -> "Generator[Event, None, None]":
    """Let a truck work until its level, or from some time on until an exchange could start at once."""
    env, desk = room.env, room.exchange
    yield Moment(env).after(early_min - env.now, ASKS)
    if not desk.could_start(truck):
        truck.call = call = Moment(env)

        def in_any_case(_: "Event") -> None:
            if not call.triggered:
                call.after(0.0)

        if truck.left_min < inf:
            Moment(env, in_any_case).after(truck.left_min - env.now, ASKS)
        desk.early.append(truck)
        yield call
        if truck in desk.early:
            desk.early.remove(truck)
    if env.now < truck.left_min:
        truck.reason = EARLY
        desk.coming += 1
        truck.settle(env.now)
    else:
        truck.settle(truck.left_min)
    yield Moment(env).after(truck.joined_min - env.now, ASKS)
    if truck.reason == EARLY:
        desk.coming -= 1
