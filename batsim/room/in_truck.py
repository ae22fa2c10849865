"""Charging in the truck: trucks are plugged in when work stops, in breaks, and when the battery is nearly spent.

A charge that work leaves time for costs no downtime. One that falls into the shift does: the truck leaves at its
exchange level, waits for a charging spot, charges to the level at which it returns, and goes back.
"""

from collections.abc import Generator
from functools import partial
from math import inf
from typing import TYPE_CHECKING, NamedTuple

from batsim.formulas.charging import Phase, charge_phases, cut, phases_hours, phases_totals, stored_ah_after
from batsim.formulas.discharge import discharge, soc_after
from batsim.record import (
    CHARGE_IN_TRUCK,
    DRIVER,
    IN_TRUCK,
    ON_CHARGE,
    PLUGGING,
    WATERED,
    WATERING,
)
from batsim.room.charging import write_charge
from batsim.room.clock import ASKS, TICKS_PER_MIN, Moment, ticked

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.duty import Truck
    from batsim.room.simulation import Room

FULL = 1.0 - 1e-9
"""Above this state of charge there is nothing to charge; only rounding is below."""


class Stint(NamedTuple):
    """Rate of work between two charges: power, or a share of the charge in a minute."""

    power_w: float
    share_per_min: float


def _new_stint(truck: "Truck", level: float) -> Stint:
    """Draw how hard the truck works until its next charge."""
    if truck.run_times is not None:
        return _even(next(truck.run_times), level)
    return Stint(truck.power_w(), 0.0)


def _even(minutes: float, level: float) -> Stint:
    """Stint that takes a full battery to a level in so many minutes, at least a tick."""
    return Stint(0.0, (1.0 - level) / max(minutes, 1.0 / TICKS_PER_MIN))


def _minutes_to(truck: "Truck", stint: Stint, level: float) -> float:
    """Working minutes until the state of charge has fallen to a level. [min]"""
    soc = truck.battery.soc_share
    if soc <= level:
        return 0.0
    if stint.share_per_min:
        return ticked((soc - level) / stint.share_per_min)
    return ticked(60.0 * discharge(soc, level, stint.power_w, truck.group.cell)[0])


def _work(truck: "Truck", stint: Stint, start: float, end: float, minutes: float) -> None:
    """Take from the battery what so many minutes of work need, and write the stint's row."""
    battery, cell = truck.battery, truck.group.cell
    before = battery.soc_share
    if stint.share_per_min:
        after = max(0.0, before - minutes * stint.share_per_min)
        ah, kwh = truck.taken(before, after)
        usable = cell.capacity_ah
    else:
        after = soc_after(before, minutes / 60.0, stint.power_w, cell)
        ah = discharge(before, after, stint.power_w, cell)[1]
        kwh = stint.power_w * minutes / 60_000.0
        usable = ah / (before - after) if before > after else truck.usable_ah
    truck.usable_ah = usable or truck.usable_ah
    battery.soc_share = after
    battery.missing_ah += ah
    battery.owed_ah += ah * truck.line.plan.profiles[truck.line.plan.chargers[0]].factor
    truck.room.record.write["stints"](
        (truck.number, truck.group.number, battery.number, start, end, before, after, ah, kwh)
    )


def duty_in_truck(room: "Room", truck: "Truck") -> "Generator[Event, None, None]":
    """Life of a truck that keeps its battery."""
    env, table, level = room.env, truck.group.timetable, truck.group.truck.exchange_at_share
    truck.battery.soc_share = truck.start_soc
    truck.usable_ah = truck.group.cell.capacity_ah * truck.group.cell.capacity_factor
    truck.battery.missing_ah = (1.0 - truck.start_soc) * truck.usable_ah
    factor = truck.line.plan.profiles[truck.line.plan.chargers[0]].factor
    truck.battery.owed_ah = truck.battery.missing_ah * factor
    time, first = 0.0, truck.first_min
    stint = _new_stint(truck, level)
    if first is not None:
        stint = _even(first, level)
    while True:
        start, end = table.window(time)
        if start == inf:
            return
        begin = max(time, start)
        minutes = _minutes_to(truck, stint, level)
        if begin + minutes <= end and begin + minutes < inf:
            left = begin + minutes
            _work(truck, stint, begin, left, minutes)
            truck.left_min, truck.joined_min = left, left + truck.trip_min
            yield Moment(env).after(truck.joined_min - env.now, ASKS)
            yield from _charge_in_shift(room, truck)
            time = truck.back_min
        else:
            if end == inf:
                return
            _work(truck, stint, begin, end, end - begin)
            truck.left_min = truck.joined_min = inf
            yield Moment(env).after(end - env.now, ASKS)
            time = table.window(end)[0]
            if time == inf:
                return
            yield from _charge_in_gap(room, truck, end, time)
        stint = _new_stint(truck, level)


def _charge_in_shift(room: "Room", truck: "Truck") -> "Generator[Event, None, None]":
    """Charge in shift time: the truck is down from its leaving to its return."""
    env, desk, battery = room.env, room.spots, truck.battery
    truck.arrival_soc = battery.soc_share
    truck.below_cut_out = int(battery.soc_share < truck.line.plan.battery.discharge_to_share - 1e-9)
    if not desk.take(truck):
        truck.in_line = True
        desk.note(1)
        truck.served = desk.wait(truck)
        yield truck.served
        desk.note(-1)
        truck.in_line = False
    pool = battery.pool
    assert pool is not None  # taken above
    now = env.now
    plug, unplug = next(desk.plug[battery.number]), next(desk.unplug[battery.number])
    start = now + plug
    goal = 1.0 if room.charge_times[battery.number] is not None else _return_level(truck)
    phases = _phases(room, truck, goal)
    end = start + ticked(60.0 * phases_hours(phases))
    full, part = goal >= FULL, goal < FULL
    if part:
        phases, end, full, part = _stay_through_gap(room, truck, phases, start, end, unplug + truck.trip_min)
    _charged(room, truck, phases, (now, start, end), full=full, part=part)
    water = 0.0
    if room.watering.is_due(battery) and _never_rests(truck):
        water = _water(room, truck, end)
    free = end + water + unplug
    truck.back_min = free + truck.trip_min
    who = (truck.number, truck.group.number, truck.line.number, CHARGE_IN_TRUCK, battery.number, battery.number)
    came = (truck.arrival_soc, truck.below_cut_out, 0, truck.left_min, truck.joined_min)
    room.record.write["exchanges"]((*who, *came, now, free, free, truck.back_min, water))
    room.record.write["work"]((DRIVER, PLUGGING, now, start, plug, 1))
    room.record.write["work"]((DRIVER, PLUGGING, end + water, free, unplug, 1))
    Moment(env, partial(desk.give_back, pool)).after(free - now)


def _return_level(truck: "Truck") -> float:
    """Real state of charge that brings the truck to the level at which it returns to work."""
    battery, capacity = truck.battery, truck.line.plan.cell.capacity_ah
    lacking = (truck.room.plan.in_truck.return_at_share - battery.soc_share) * truck.usable_ah
    return min(1.0, 1.0 - max(0.0, battery.missing_ah - lacking) / capacity)


def _stay_through_gap(
    room: "Room", truck: "Truck", phases: tuple[Phase, ...], start: float, end: float, over: float
) -> tuple[tuple[Phase, ...], float, bool, bool]:
    """Stay plugged in when the truck would come back in a break or after work: there is time to charge on.

    Returns phases and end of the charge, whether it makes the battery full, and whether it is a part charge.
    """
    table = truck.group.timetable
    back = end + over
    window_start, _ = table.window(back)
    if window_start == inf or back >= window_start:
        return phases, end, False, True
    in_break = table.gap_start(back) in truck.group.breaks
    ceiling = room.plan.in_truck.ceiling_share if in_break else 1.0
    longer = _phases(room, truck, ceiling)
    until_full = phases_hours(longer)
    hours = min(until_full, (window_start - over - start) / 60.0)
    if 60.0 * hours <= end - start:
        return phases, end, False, True
    full = ceiling >= FULL and hours == until_full
    return cut(longer, hours), start + ticked(60.0 * hours), full, ceiling < FULL


def _charge_in_gap(room: "Room", truck: "Truck", gap_start: float, gap_end: float) -> "Generator[Event, None, None]":
    """Charge in a break or after work; the truck is at work again when the gap ends."""
    env, desk, battery = room.env, room.spots, truck.battery
    is_break = gap_start in truck.group.breaks
    rules = room.plan.in_truck
    target = rules.ceiling_share if is_break else 1.0
    if is_break and not rules.in_breaks:
        return
    plug, unplug = next(desk.plug[battery.number]), next(desk.unplug[battery.number])
    latest = gap_end - truck.trip_min - unplug
    arrival = gap_start + truck.trip_min
    capacity, left_ah = truck.line.plan.cell.capacity_ah, max(truck.line.plan.left_ah.values())
    enough_ah = max(left_ah, capacity * (1.0 - min(target, FULL)))
    if arrival + plug >= latest or battery.missing_ah <= enough_ah:
        return
    yield from _until(room, arrival)
    if not desk.take(truck):
        called = desk.wait(truck)
        yield env.any_of([called, Moment(env).after(max(0.0, latest - plug - env.now), ASKS)])
        if not called.triggered:
            desk.leave_line(truck)
            return
    pool = battery.pool
    assert pool is not None  # taken above
    now = env.now
    start = now + plug
    phases = _phases(room, truck, target)
    until_done = phases_hours(phases)
    hours = min(until_done, max(0.0, latest - start) / 60.0)
    end = start + ticked(60.0 * hours)
    part = target < FULL and room.charge_times[battery.number] is None
    _charged(room, truck, cut(phases, hours), (now, start, end), full=hours == until_done and not part, part=part)
    if not is_break and room.watering.is_due(battery) and battery.soc_share == 1.0:
        _water(room, truck, end, latest)
    room.record.write["work"]((DRIVER, PLUGGING, now, start, plug, 1))
    room.record.write["work"]((DRIVER, PLUGGING, max(end, latest), max(end, latest) + unplug, unplug, 1))
    Moment(env, partial(desk.give_back, pool)).after(end - now)


def _until(room: "Room", time: float) -> "Generator[Event, None, None]":
    """Let time pass, if there is any to pass."""
    if time > room.env.now:
        yield Moment(room.env).after(time - room.env.now, ASKS)


def _phases(room: "Room", truck: "Truck", to_soc: float) -> tuple[Phase, ...]:
    """Phases of a charge to a state of charge; timed charges are always full ones."""
    battery = truck.battery
    law = room.charge_times[battery.number]
    if law is not None:
        return room.charging.phases_of(battery, next(law))
    number = battery.pool.number if battery.pool is not None else truck.line.plan.chargers[0]
    profile = truck.line.plan.profiles[number]
    goal = 1.0 if to_soc >= FULL else to_soc
    return charge_phases(profile, truck.line.plan.cell.capacity_ah, battery.missing_ah, battery.owed_ah, goal)


def _charged(
    room: "Room",
    truck: "Truck",
    phases: tuple[Phase, ...],
    times: tuple[float, float, float],
    *,
    full: bool,
    part: bool,
) -> None:
    """Put a charge into the battery and write its rows; times are plugged in, current on, current off. [min]

    A part charge stops before gassing and needs no overcharge: what it returns is settled, charge factor and all.
    A full charge that is cut short is not: the next one goes on where it stopped.
    """
    battery, capacity = truck.battery, truck.line.plan.cell.capacity_ah
    number = battery.pool.number if battery.pool is not None else 0
    before = 1.0 - battery.missing_ah / capacity
    hours, ah, kwh = phases_totals(phases, truck.line.plan.battery.cells)
    left_ah = truck.line.plan.left_ah[number] if room.charge_times[battery.number] is None else 0.0
    stored = battery.missing_ah - left_ah if full else stored_ah_after(phases, hours, capacity)
    battery.missing_ah -= stored
    factor = truck.line.plan.profiles[number].factor if part else 1.0
    battery.owed_ah = 0.0 if full else max(0.0, battery.owed_ah - factor * ah)
    battery.soc_share = 1.0 if full else min(1.0, battery.soc_share + stored / truck.usable_ah)
    battery.charges += stored / (capacity * (1.0 - truck.group.truck.exchange_at_share))
    place = (battery.number, truck.line.number, number, -1)
    plugged, start, end = times
    since = min(truck.joined_min, plugged)
    after = 1.0 - battery.missing_ah / capacity
    write_charge(room, place, (since, plugged, start, end, end), (before, after, ah, kwh), phases)
    room.state_at(battery, ON_CHARGE, start)
    room.state_at(battery, IN_TRUCK, end)


def _never_rests(truck: "Truck") -> bool:
    """Tell whether the truck's calendar has no gaps other than breaks."""
    table = truck.group.timetable
    return table.always or all(end in truck.group.breaks for end in table.ends[:-1])


def _water(room: "Room", truck: "Truck", since: float, latest: float = inf) -> float:
    """Water the battery in the truck if there is time for it; minutes it took."""
    battery = truck.battery
    minutes = next(room.watering_times[battery.number])
    if since + minutes > latest:
        return 0.0
    room.record.write["waterings"]((battery.number, since, since, since + minutes))
    room.record.write["work"]((room.watering.person, WATERING, since, since + minutes, minutes, 1))
    room.state_at(battery, WATERED, since)
    room.state_at(battery, IN_TRUCK, since + minutes)
    battery.charges = 0.0
    return minutes
