"""Breakdowns and stated outages of stations, devices and chargers.

What breaks down in use finishes what it is doing and goes out of use then; its repair begins then.
"""

from collections.abc import Generator
from heapq import heapify
from math import inf
from typing import TYPE_CHECKING

from batsim.room.clock import CALENDAR, GOING, Moment

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simpy.events import Event

    from batsim.room.blueprint import BreakdownPlan, OutagePlan
    from batsim.room.charging import ChargerPool
    from batsim.room.devices import Unit
    from batsim.room.simulation import Room

Waiting = Generator["Event", None, None]


def start_outages(room: "Room") -> None:
    """Start everything that will put something out of use."""
    for plan in room.blueprint.breakdowns:
        for unit in range(count_of(room, plan.thing)):
            room.env.process(_breaks_down(room, plan, unit))
    for outage in room.blueprint.outages:
        for unit in range(outage.units):
            room.env.process(_is_out(room, outage, unit))


def count_of(room: "Room", thing: int) -> int:
    """How many there are of a kind of thing: stations, then devices, then chargers."""
    facts = room.record.facts
    return int((facts.stations, *facts.device_counts, *facts.charger_counts)[thing])


def _breaks_down(room: "Room", plan: "BreakdownPlan", unit: int) -> Waiting:
    """Life of one unit that breaks down again and again."""
    entity = f"breakdown of {room.record.facts.things[plan.thing]}"
    every: Iterator[float] = room.streams.durations(plan.every, entity, unit, "every")
    repair: Iterator[float] = room.streams.durations(plan.repair, entity, unit, "repair")
    while True:
        yield Moment(room.env).after(next(every), GOING)
        yield from _out_for(room, plan.thing, unit, next(repair))


def _is_out(room: "Room", plan: "OutagePlan", unit: int) -> Waiting:
    """Put one unit out of use for a stated time; what it does when that begins is finished first."""
    yield Moment(room.env).after(plan.from_min, GOING)
    until_min = room.env.now + plan.length_min
    yield from _out_for(room, plan.thing, unit, plan.length_min, until_min)


def _out_for(room: "Room", thing: int, unit: int, minutes: float, until_min: float | None = None) -> Waiting:
    """Take a unit out as soon as it is free, and bring it back after a time, or at a time."""
    env, devices = room.env, len(room.record.facts.devices)
    if thing == 0:
        yield from _take_station(room, unit)
    elif thing <= devices:
        yield from _take_device(room, _unit(room, thing - 1, unit))
    else:
        yield from _take_charger(room, room.charging.pools[thing - 1 - devices])
    back_min = env.now + minutes if until_min is None else max(until_min, env.now)
    told_apart = thing <= devices and not (thing == 0 and room.blueprint.exchange is None)
    room.record.write.outages(thing=thing, unit=unit if told_apart else -1, from_min=env.now, to_min=back_min)
    yield Moment(env).after(0.0)  # when all that goes now has gone
    room.serve()
    yield Moment(env).after(back_min - env.now, CALENDAR)
    if thing == 0:
        _return_station(room, unit)
    elif thing <= devices:
        _unit(room, thing - 1, unit).out -= 1
        _choose_method(room)
        room.serve()
    elif room.blueprint.exchange is None:
        room.charging.pools[thing - 1 - devices].free += 1
        room.spots.call()
    else:
        room.charging.free_charger(room.charging.pools[thing - 1 - devices])
        room.serve()


def _unit(room: "Room", device: int, number: int) -> "Unit":
    """One device, by its kind among all and its number."""
    methods = room.exchange.methods if room.blueprint.exchange is not None else [room.spots]
    kinds = [devices for each in methods for devices in each.devices]
    return kinds[device].units[number]


def _take_device(room: "Room", unit: "Unit") -> Waiting:
    """Take a device out when what it does is over."""
    unit.out += 1
    _choose_method(room)
    yield Moment(room.env).after(0.0)  # when all that goes now has gone
    room.serve()  # what stands by may begin at once
    while (busy_min := unit.free_min - room.env.now) > 0.0:
        if busy_min < inf:
            yield Moment(room.env).after(busy_min)
        else:  # its people have gone home in the middle of it
            told = Moment(room.env)
            unit.told.append(told)
            yield told


def _choose_method(room: "Room") -> None:
    """Have exchanges made by what is not out of use."""
    if room.blueprint.exchange is not None:
        room.exchange.choose_method()


def _take_station(room: "Room", number: int) -> Waiting:
    """Take a station, or a charging spot, out when its truck has left."""
    if room.blueprint.exchange is None:
        spots = room.spots
        if spots.spots >= 1:
            spots.spots -= 1
        else:
            told = Moment(room.env)
            spots.going_out.append(told)
            yield told
        return
    desk = room.exchange
    assert desk.stations is not None  # without a limit nothing breaks down
    desk.station_out[number] += 1
    if number in desk.stations:
        desk.stations.remove(number)
        heapify(desk.stations)
    elif desk.station_out[number] == 1 or number in desk.going_out:
        told = Moment(room.env)
        desk.going_out.setdefault(number, []).append(told)
        yield told


def _return_station(room: "Room", number: int) -> None:
    """Bring a station, or a charging spot, back."""
    if room.blueprint.exchange is None:
        room.spots.spots += 1
        room.spots.call()
        return
    desk = room.exchange
    desk.station_out[number] -= 1
    if not desk.station_out[number]:
        desk.free_station(number)
    room.serve()


def _take_charger(room: "Room", pool: "ChargerPool") -> Waiting:
    """Take a charger out, or the next one that its battery leaves."""
    if pool.free >= 1:
        pool.free -= 1
    else:
        told = Moment(room.env)
        pool.going_out.append(told)
        yield told
