"""Duty: a truck works its shifts on a battery until it must go for another one."""

from collections.abc import Generator
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import EARLY, LEVEL
from batsim.room.timing.clock import ASKS, Moment, Timed
from batsim.room.use.discharges import DISCHARGED, carry_on, first_discharge, leave_at, work

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.truck import Truck


def duty(area: "Area", truck: "Truck") -> "Generator[Event, None, None]":
    """Life of a truck whose batteries are exchanged."""
    env, desk = area.env, area.exchange
    level = truck.group.truck.exchange_at_share
    goes_on = first_discharge(truck, level)
    while goes_on:
        if truck.discharge is not None:
            yield from _wait_for_call(area, truck, truck.early_min)
        else:
            yield Timed(env, truck.joined_min - env.now, [], ASKS)
            while truck.stood_min and truck.leaves_later():
                if truck.joined_min == inf:
                    return
                yield Moment(env).after(truck.joined_min - env.now, ASKS)
        truck.stood_min = 0.0
        comes_early = truck.reason != LEVEL and not truck.run_times and truck.arrival_soc > level
        if _turns_back(area, truck, comes_early):
            goes_on = _go_back(area, truck, comes_early)
            continue
        served = desk.ask(truck)
        if truck.reason == EARLY:  # the next one may be called
            area.service.call_early()
        yield served
        truck.battery = truck.charged
        goes_on = work(truck, truck.back_min, level)


def _turns_back(area: "Area", truck: "Truck", comes_early: bool) -> bool:
    """Whether a truck goes back to work: too early to wait for a battery, or able to carry on without."""
    rules, queue = area.rules, truck.queue
    if comes_early:
        return not queue.has_one_for(truck, area.env.now + rules.patience_min)
    if rules.if_none_ready != "carry_on" or truck.stands_still:
        return False
    has_left = truck.run_times or truck.arrival_soc > queue.plan.battery.discharge_to_share + DISCHARGED
    return has_left and not queue.has_one_for(truck)


def _go_back(area: "Area", truck: "Truck", comes_early: bool) -> bool:
    """Send a truck back to work without another battery; see `work`."""
    truck.turn_away()
    if area.exchange.by_drivers and area.trucks_waiting:  # at work again, its driver may lend a hand
        area.attendants.look_again(truck.back_min)
    if comes_early:
        return carry_on(truck, truck.back_min, truck.group.truck.exchange_at_share)
    cut_out = truck.queue.plan.battery.discharge_to_share
    return carry_on(truck, truck.back_min, cut_out, keeps_min=truck.trip_min)


def _wait_for_call(area: "Area", truck: "Truck", early_min: float) -> "Generator[Event, None, None]":
    """Let a truck work until its level, or from some time on until an exchange could start at once."""
    env, desk = area.env, area.exchange
    yield Moment(env).after(early_min - env.now, ASKS)
    if not desk.could_start(truck):
        truck.call = call = Moment(env)

        def in_any_case(_: "Event") -> None:
            if not call.triggered:
                call.after(0.0)

        if truck.left_min < inf:
            Moment(env, in_any_case).after(truck.left_min - env.now, ASKS)
        truck.turn = next(area.service.turns)
        desk.early.append(truck)
        yield call
        if truck in desk.early:
            desk.early.remove(truck)
    if env.now < truck.left_min:
        truck.reason = EARLY
        area.service.coming += 1
        leave_at(truck, env.now)
    else:
        leave_at(truck, truck.left_min)
    yield Moment(env).after(truck.joined_min - env.now, ASKS)
    if truck.reason == EARLY:
        area.service.coming -= 1
