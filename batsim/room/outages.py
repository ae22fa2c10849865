"""Breakdowns and stated outages of stations, devices and chargers.

What breaks down in use finishes what it is doing and goes out of use then; its repair begins then.
"""

from collections.abc import Generator
from heapq import heapify
from math import inf
from typing import TYPE_CHECKING

from batsim.room.timing.clock import CALENDAR, GOING, Moment

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.exchanging.devices import Unit
    from batsim.room.on_charge.charging import ChargerPool
    from batsim.room.plans.area_plan import BreakdownPlan, OutagePlan

Waiting = Generator["Event", None, None]


def start_outages(area: "Area") -> None:
    """Start everything that will put something out of use."""
    for plan in area.plan.breakdowns:
        for unit in range(count_of(area, plan.thing)):
            area.env.process(_breaks_down(area, plan, unit))
    for outage in area.plan.outages:
        for unit in range(outage.units):
            area.env.process(_is_out(area, outage, unit))


def count_of(area: "Area", thing: int) -> int:
    """How many there are of a kind of thing: stations, then devices, then chargers."""
    plan = area.plan
    chargers = (charger.count for charger in plan.chargers)
    return int((plan.stations, *plan.devices.values(), *plan.standby_devices.values(), *chargers)[thing])


def _number_of(area: "Area", thing: int) -> int:
    """Number of a kind of thing of an area among those of all areas."""
    plan, facts = area.plan, area.record.facts
    if thing == 0:
        return area.number
    devices = len(plan.devices) + len(plan.standby_devices)
    if thing <= devices:
        return len(facts.areas) + plan.first_device + thing - 1
    return facts.first_charger + plan.first_charger + thing - 1 - devices


def _breaks_down(area: "Area", plan: "BreakdownPlan", unit: int) -> Waiting:
    """Life of one unit that breaks down again and again."""
    entity = area.plan.of_area(f"breakdown of {area.plan.things[plan.thing]}")
    every: Iterator[float] = area.streams.durations(plan.every, entity, unit, "every")
    repair: Iterator[float] = area.streams.durations(plan.repair, entity, unit, "repair")
    while True:
        yield Moment(area.env).after(next(every), GOING)
        yield from _out_for(area, plan.thing, unit, next(repair))


def _is_out(area: "Area", plan: "OutagePlan", unit: int) -> Waiting:
    """Put one unit out of use for a stated time; what it does when that begins is finished first."""
    yield Moment(area.env).after(plan.from_min, GOING)
    until_min = area.env.now + plan.length_min
    yield from _out_for(area, plan.thing, unit, plan.length_min, until_min)


def _out_for(area: "Area", thing: int, unit: int, minutes: float, until_min: float | None = None) -> Waiting:
    """Take a unit out as soon as it is free, and bring it back after a time, or at a time."""
    env, devices = area.env, len(area.plan.devices) + len(area.plan.standby_devices)
    if thing == 0:
        yield from _take_station(area, unit)
    elif thing <= devices:
        yield from _take_device(area, _unit(area, thing - 1, unit))
    else:
        yield from _take_charger(area, area.charging.pools[thing - 1 - devices])
    back_min = env.now + minutes if until_min is None else max(until_min, env.now)
    told_apart = thing <= devices and not (thing == 0 and area.plan.exchange is None)
    number = _number_of(area, thing)
    area.record.write.outages(thing=number, unit=unit if told_apart else -1, from_min=env.now, to_min=back_min)
    yield Moment(env).after(0.0)  # when all that goes now has gone
    area.serve()
    yield Moment(env).after(back_min - env.now, CALENDAR)
    if thing == 0:
        _return_station(area, unit)
    elif thing <= devices:
        _unit(area, thing - 1, unit).out -= 1
        _choose_method(area)
        area.serve()
    elif area.plan.exchange is None:
        area.charging.pools[thing - 1 - devices].free += 1
        area.spots.call()
    else:
        area.charging.free_charger(area.charging.pools[thing - 1 - devices])
        area.serve()


def _unit(area: "Area", device: int, number: int) -> "Unit":
    """One device, by its kind among all and its number."""
    methods = area.exchange.methods if area.plan.exchange is not None else [area.spots]
    kinds = [devices for each in methods for devices in each.devices]
    return kinds[device].units[number]


def _take_device(area: "Area", unit: "Unit") -> Waiting:
    """Take a device out when what it does is over."""
    unit.out += 1
    _choose_method(area)
    yield Moment(area.env).after(0.0)  # when all that goes now has gone
    area.serve()  # what stands by may begin at once
    while (busy_min := unit.free_min - area.env.now) > 0.0:
        if busy_min < inf:
            yield Moment(area.env).after(busy_min)
        else:  # its people have gone home in the middle of it
            told = Moment(area.env)
            unit.told.append(told)
            yield told


def _choose_method(area: "Area") -> None:
    """Have exchanges made by what is not out of use."""
    if area.plan.exchange is not None:
        area.exchange.choose_method()


def _take_station(area: "Area", number: int) -> Waiting:
    """Take a station, or a charging spot, out when its truck has left."""
    if area.plan.exchange is None:
        spots = area.spots
        if spots.spots >= 1:
            spots.spots -= 1
        else:
            told = Moment(area.env)
            spots.going_out.append(told)
            yield told
        return
    desk = area.exchange
    assert desk.stations is not None  # without a limit nothing breaks down
    desk.station_out[number] += 1
    if number in desk.stations:
        desk.stations.remove(number)
        heapify(desk.stations)
    elif desk.station_out[number] == 1 or number in desk.going_out:
        told = Moment(area.env)
        desk.going_out.setdefault(number, []).append(told)
        yield told


def _return_station(area: "Area", number: int) -> None:
    """Bring a station, or a charging spot, back."""
    if area.plan.exchange is None:
        area.spots.spots += 1
        area.spots.call()
        return
    desk = area.exchange
    desk.station_out[number] -= 1
    if not desk.station_out[number]:
        desk.free_station(number)
    area.serve()


def _take_charger(area: "Area", pool: "ChargerPool") -> Waiting:
    """Take a charger out, or the next one that its battery leaves."""
    if pool.free >= 1:
        pool.free -= 1
    else:
        told = Moment(area.env)
        pool.going_out.append(told)
        yield told
