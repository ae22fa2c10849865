"""Duty: a truck works its shifts on a battery until it must go for another one."""

from collections.abc import Generator
from math import inf
from typing import TYPE_CHECKING

from batsim.record import EARLY, LEVEL
from batsim.room.clock import ASKS, Moment, Timed
from batsim.room.discharges import DISCHARGED, carry_on, first_discharge, leave_at, work

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.simulation import Room
    from batsim.room.truck import Truck


def duty(room: "Room", truck: "Truck") -> "Generator[Event, None, None]":
    """Life of a truck whose batteries are exchanged."""
    env, desk = room.env, room.exchange
    level = truck.group.truck.exchange_at_share
    cut_out = truck.queue.plan.battery.discharge_to_share
    rules = room.blueprint.rules
    may_carry_on, patience_min = rules.if_none_ready == "carry_on", rules.patience_min
    goes_on = first_discharge(truck, level)
    while goes_on:
        if truck.discharge is not None:
            yield from _wait_for_call(room, truck, truck.early_min)
        else:
            yield Timed(env, truck.joined_min - env.now, [], ASKS)
            while truck.stood_min and truck.leaves_later():
                if truck.joined_min == inf:
                    return
                yield Moment(env).after(truck.joined_min - env.now, ASKS)
        truck.stood_min = 0.0
        comes_early = truck.reason != LEVEL and not truck.run_times and truck.arrival_soc > level
        if comes_early:
            turns_back = not truck.queue.has_one_for(truck, env.now + patience_min)
        else:
            has_left = truck.run_times or truck.arrival_soc > cut_out + DISCHARGED
            turns_back = may_carry_on and has_left and not truck.queue.has_one_for(truck)
        if turns_back:
            truck.turn_away()
            if desk.by_drivers and room.trucks_waiting:  # at work again, its driver may lend a hand
                room.attendants.look_again(truck.back_min)
            down_to, keeps_min = (level, 0.0) if comes_early else (cut_out, truck.trip_min)
            goes_on = carry_on(truck, truck.back_min, down_to, keeps_min=keeps_min)
            continue
        served = desk.ask(truck)
        if truck.reason == EARLY:  # the next one may be called
            desk.call_early()
        yield served
        truck.battery = truck.charged
        goes_on = work(truck, truck.back_min, level)


def _wait_for_call(room: "Room", truck: "Truck", early_min: float) -> "Generator[Event, None, None]":
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
        leave_at(truck, env.now)
    else:
        leave_at(truck, truck.left_min)
    yield Moment(env).after(truck.joined_min - env.now, ASKS)
    if truck.reason == EARLY:
        desk.coming -= 1
