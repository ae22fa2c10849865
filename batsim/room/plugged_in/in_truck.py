"""Charging in the truck: trucks are plugged in when work stops, in breaks, and when the battery is nearly discharged.

A charge that work leaves time for costs no downtime. One that falls into the shift does: the truck leaves at its
exchange level, waits for a charging spot, charges to the level at which it returns, and goes back.
"""

from collections.abc import Generator
from functools import partial
from math import inf, nan
from typing import TYPE_CHECKING, NamedTuple

from batsim.record.tables import Drawn
from batsim.record.words import (
    BEING_CONNECTED,
    CHARGE_IN_TRUCK,
    IN_TRUCK,
    ON_CHARGE,
    WAITS_FOR_CURRENT,
)
from batsim.room.on_charge.charge import (
    Begin,
    Course,
    Planned,
    begun,
    ended_at,
    laid_out,
    outcome,
    put_in,
    write_charge,
    write_pauses,
)
from batsim.room.plugged_in.maintenance_in_truck import before_shift, by_driver, maintenance_in_truck
from batsim.room.plugged_in.plugging_in import plug_in, write_plugging
from batsim.room.timing.clock import ASKS, TICKS_PER_MIN, Moment
from batsim.room.use.discharges import DISCHARGED, Discharge, at_power, begins_at_degc, drawn_between, write_discharge
from batsim.room.use.recovery import FromWells
from batsim.room.use.stretch import AtPace

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.on_charge.charge import Piece
    from batsim.room.truck import Truck

FULL = 1.0 - 1e-9
"""Above this state of charge there is nothing to charge; only rounding is below."""


def _work(truck: "Truck", pace: AtPace | None, begin_min: float, end_min: float, level: float) -> float:
    """Work until a level, or the end of the shift's part; take it from the battery and return when it ends. [min]"""
    battery = truck.battery
    before = battery.soc_share
    discharge = Discharge(truck, begin_min, level)
    if pace is not None:
        discharge.gives = pace
        discharge.plan(before, end_min)
        warmth = discharge.warmth(begins_at_degc(truck, begin_min))
    else:
        warmth = at_power(discharge, before, end_min, rested_min=begin_min - battery.used_min)
    first, last = discharge.stretches[0], discharge.stretches[-1]
    wells = discharge.gives if isinstance(discharge.gives, FromWells) else None
    if wells is not None:  # it has recovered since
        before, battery.surplus_ah = wells.soc(first.before), last.after[1]
    after = min(before, last.soc_share)
    if not truck.powers_w:
        (ah, kwh), usable_ah = drawn_between(truck, before, after), truck.queue.plan.capacity_ah
    else:
        ah, kwh, _ = discharge.drawn()
        usable_ah = ah / (before - after) if before > after else 0.0
    if wells is not None:
        usable_ah = wells.wells.most_ah
    truck.usable_ah = usable_ah or truck.usable_ah
    battery.soc_share, battery.used_min = after, last.end_min
    battery.missing_ah += ah
    battery.owed_ah += ah * battery.owed_factor
    write_discharge(
        truck,
        begin_min,
        last.end_min,
        Drawn(before, after, ah, kwh, 0.0, battery.missing_ah / truck.queue.plan.capacity_ah),
        warmth,
    )
    return last.end_min


def _pace(truck: "Truck", level: float) -> AtPace | None:
    """Draw how fast the charge falls until the next charge; None where the power of the shift says so."""
    if truck.run_times is None:
        return None
    soc, capacity_ah = truck.battery.soc_share, truck.queue.plan.cell.capacity_ah
    if truck.turned_away:  # a run time says nothing of what is left: it works for another one
        return AtPace(truck.run_min(), soc, soc, capacity_ah)
    return AtPace(max(truck.run_min(), 1.0 / TICKS_PER_MIN), 1.0, level, capacity_ah)


def duty_in_truck(area: "Area", truck: "Truck") -> "Generator[Event, None, None]":
    """Life of a truck that keeps its battery."""
    env, table, level = area.env, truck.group.timetable, truck.group.truck.exchange_at_share
    cut_out = truck.queue.plan.battery.discharge_to_share
    truck.battery.soc_share = truck.start_soc
    truck.usable_ah = truck.group.cell.capacity_ah
    truck.battery.missing_ah = (1.0 - truck.start_soc) * truck.usable_ah
    truck.battery.owed_ah = truck.battery.missing_ah * truck.battery.owed_factor
    time, pace = 0.0, _pace(truck, level)
    if truck.first_min is not None:
        minutes = max(truck.first_min, 1.0 / TICKS_PER_MIN)
        pace = AtPace(minutes, 1.0, level, truck.queue.plan.cell.capacity_ah)
    while True:
        start, end = table.window(time)
        if start == inf:
            return
        begin = max(time, start)
        if begin == start and area.plan.drivers.maintain_of:
            begin = yield from before_shift(area, truck, begin, end)
        goes_at = cut_out if truck.turned_away and pace is None else level
        left = _work(truck, pace, begin, end, goes_at if pace is None else pace.level)
        if left < end or (left < inf and truck.battery.soc_share <= goes_at):
            truck.left_min, truck.joined_min = left, left + truck.trip_min
            yield Moment(env).after(truck.joined_min - env.now, ASKS)
            yield from _charge_in_shift(area, truck)
            time = truck.back_min
            if time >= area.horizon_min:
                return
        else:
            if end == inf:
                return
            truck.left_min = truck.joined_min = inf
            yield Moment(env).after(end - env.now, ASKS)
            time = table.window(end)[0]
            if time == inf:
                return
            yield from _charge_in_gap(area, truck, end, time)
        pace = _pace(truck, level)


def _charge_in_shift(area: "Area", truck: "Truck") -> "Generator[Event, None, None]":
    """Charge in shift time: the truck is down from its leaving to its return."""
    env, desk, battery = area.env, area.spots, truck.battery
    truck.arrival_soc = battery.soc_share
    truck.below_cut_out = int(battery.soc_share < truck.queue.plan.battery.discharge_to_share - 1e-9)
    if not desk.take(truck):
        cut_out = truck.queue.plan.battery.discharge_to_share
        has_left = truck.run_times is not None or battery.soc_share > cut_out + DISCHARGED
        if area.rules.if_none_ready == "carry_on" and has_left and not truck.stands_still:
            truck.turn_away()  # it asks again at its cut-out, or after another run time, which says nothing of it
            return
        truck.waits = True
        desk.note(1)
        truck.served = desk.wait(truck)
        yield truck.served
        desk.note(-1)
        truck.waits = False
    truck.turned_away = False
    pool = battery.pool
    assert pool is not None  # taken above
    plug, unplug = next(desk.plug[battery.number]), next(desk.unplug[battery.number])
    plugged = yield from plug_in(area, truck, plug, truck.left_min)
    assert plugged is not None  # the truck waits as long as it takes
    now, over = plugged.start_min, unplug + truck.trip_min
    begin = area.charging.begin(battery, plugged.end_min)
    goal, latest = _goal_in_shift(area, truck, begin, over)
    truck.plugged_min = now
    _until_current(area, truck, plugged.end_min, begin)
    given = yield from _give(area, truck, goal, begin, latest)
    end = given.end_min
    _charged(area, truck, given, now, begin, part=goal < FULL)
    water = 0.0
    if _never_rests(truck) or by_driver(truck, end):
        water = yield from maintenance_in_truck(area, truck, end, inf)
    truck.plugged_min = nan
    free = end + water + unplug
    truck.back_min = free + truck.trip_min
    area.record.write.exchanges(
        came=truck.came(CHARGE_IN_TRUCK, 0),
        charged=battery.number,
        start_min=now,
        truck_free_min=free,
        end_min=free,
        back_min=truck.back_min,
        watering_min=water,
    )
    write_plugging(area, plugged, (end + water, unplug))
    area.charging.write_charger(battery, free)
    Moment(env, partial(desk.give_back, pool)).after(free - env.now)


def _until_current(area: "Area", truck: "Truck", plugged_min: float, begin: Begin) -> None:
    """Write the state of a battery until its current comes on: plugged in, then it may wait. [min]"""
    if plugged_min > area.env.now:
        area.state(truck.battery, BEING_CONNECTED)
    if begin.start_min > plugged_min or area.charging.sharing is not None:
        area.state(truck.battery, WAITS_FOR_CURRENT, plugged_min)


def _return_level(truck: "Truck") -> float:
    """Real state of charge that brings the truck to the level at which it returns to work."""
    battery, level = truck.battery, truck.group.in_truck.return_at_share
    capacity = truck.queue.plan.capacity_ah
    lacking = (level - battery.soc_share) * truck.usable_ah
    return min(1.0, max(level, 1.0 - max(0.0, battery.missing_ah - lacking) / capacity))


def _goal_in_shift(area: "Area", truck: "Truck", begin: Begin, over: float) -> tuple[float, float]:
    """State of charge at which a charge in scheduled time stops, and when it has to end at the latest. [-, min]

    A truck that would come back in a break or after work stays plugged in: there is time to charge on.
    """
    if truck.battery.number in area.charge_times:
        return 1.0, inf
    goal = _return_level(truck)
    if goal >= FULL:
        return 1.0, inf
    planned = area.charging.planned(truck.battery, begin, None, goal)
    back = laid_out(planned.phases, begin.start_min, area.charging.open_hours)[1] + over
    table = truck.group.timetable
    window_start, _ = table.window(back)
    if window_start == inf or back >= window_start:
        return goal, inf
    in_break = table.gap_start(back) in truck.group.breaks
    ceiling = _after_work_goal(area, truck, window_start) if not in_break else truck.group.in_truck.ceiling_share
    return (ceiling, window_start - over) if ceiling > goal else (goal, inf)


def _after_work_goal(area: "Area", truck: "Truck", gap_end: float) -> float:
    """Full, or the ceiling when the last full charge is not yet long enough ago."""
    rules = truck.group.in_truck
    return 1.0 if gap_end - truck.battery.full_min >= rules.full_every_min else rules.ceiling_share


def _charge_in_gap(area: "Area", truck: "Truck", gap_start: float, gap_end: float) -> "Generator[Event, None, None]":
    """Charge in a break or after work; the truck is at work again when the gap ends."""
    env, desk, battery = area.env, area.spots, truck.battery
    is_break = gap_start in truck.group.breaks
    if is_break and not truck.group.in_truck.in_breaks:
        return
    target = _goal_in_gap(area, truck, gap_end, is_break=is_break)
    plug, unplug = next(desk.plug[battery.number]), next(desk.unplug[battery.number])
    latest = gap_end - truck.trip_min - unplug
    arrival = gap_start + truck.trip_min
    enough_ah = max(_left_ah(truck), truck.queue.plan.capacity_ah * (1.0 - min(target, FULL)))
    if arrival + plug >= latest or battery.missing_ah <= enough_ah:
        return
    yield from _until(area, arrival)
    if not desk.take(truck):
        called = desk.wait(truck)
        yield env.any_of([called, Moment(env).after(max(0.0, latest - plug - env.now), ASKS)])
        if not called.triggered:
            desk.leave_queue(truck)
            return
    truck.turned_away = False
    pool = battery.pool
    assert pool is not None  # taken above
    plugged = yield from plug_in(area, truck, plug, gap_start, latest)
    if plugged is None:
        area.charging.write_charger(battery, env.now)
        Moment(env, partial(desk.give_back, pool)).after(0.0)
        return
    now = plugged.start_min
    begin = area.charging.begin(battery, plugged.end_min)
    _until_current(area, truck, plugged.end_min, begin)
    if begin.start_min >= latest:
        given = Given((), latest, Planned((), 0.0, 0.0, 0.0), done=False)
    else:
        given = yield from _give(area, truck, target, begin, latest)
    end = given.end_min
    _charged(area, truck, given, now, begin, part=target < FULL)
    write_plugging(area, plugged, (max(end, latest), unplug))
    area.charging.write_charger(battery, end)
    Moment(env, partial(desk.give_back, pool)).after(end - env.now)
    if not is_break and battery.soc_share == 1.0:
        yield from maintenance_in_truck(area, truck, end, latest)


def _goal_in_gap(area: "Area", truck: "Truck", gap_end: float, *, is_break: bool) -> float:
    """State of charge at which a charge in a break or after work stops; a timed charge is always a full one."""
    goal = truck.group.in_truck.ceiling_share if is_break else _after_work_goal(area, truck, gap_end)
    return 1.0 if goal >= FULL or truck.battery.number in area.charge_times else goal


def _until(area: "Area", time: float) -> "Generator[Event, None, None]":
    """Let time pass, if there is any to pass."""
    if time > area.env.now:
        yield Moment(area.env).after(time - area.env.now, ASKS)


class Given(NamedTuple):
    """What a truck got while it was plugged in."""

    pieces: "Sequence[Piece]"
    end_min: float
    planned: Planned
    done: bool
    """Whether the charge came to the end that was planned for it."""


def _give(area: "Area", truck: "Truck", to_soc: float, begin: Begin, latest: float) -> "Generator[Event, None, Given]":
    """Charge to a state of charge, or until a time; timed charges are always full ones."""
    battery, desk = truck.battery, area.charging
    law = area.charge_times.get(battery.number)
    minutes = None if law is None else next(law)
    planned = desk.planned(battery, begin, minutes, to_soc)
    pieces, end = laid_out(planned.phases, begin.start_min, area.charging.open_hours)
    if end > latest and planned.equalising_min:
        planned = desk.planned(battery, begin, minutes, to_soc, equalise=False)
        pieces, end = laid_out(planned.phases, begin.start_min, area.charging.open_hours)
    if desk.sharing is None:
        if end <= latest:
            return Given(pieces, end, planned, done=True)
        pieces = ended_at(pieces, latest)
        return Given(pieces, latest, planned._replace(phases=tuple(each for _, each in pieces)), done=False)
    yield from _until(area, begin.start_min)
    running = desk.running(battery, planned, to_soc)
    over = Moment(area.env)
    running.done = lambda: over.after(0.0)

    def write(end_min: float) -> None:
        given = Given(running.flowed, end_min, running.so_far(), done=True)
        _charged(area, truck, given, begin.start_min, begun(battery, begin, running.pieces), part=to_soc < FULL)

    running.write = write
    desk.sharing.begin(running)
    if latest < inf:
        yield area.env.any_of([over, Moment(area.env).after(max(0.0, latest - area.env.now), ASKS)])
    else:
        yield over
    if not over.triggered:
        desk.sharing.stop(running)
    only_equalising = bool(planned.equalising_min) and len(running.left) <= len(running.equalising)
    equalising_min = planned.equalising_min if over.triggered else 0.0
    planned = running.so_far()._replace(equalising_min=equalising_min)
    return Given(running.pieces, area.env.now, planned, done=over.triggered or only_equalising)


def _left_ah(truck: "Truck") -> float:
    """Most that a full charge leaves missing, with any of the chargers. [Ah]"""
    plan = truck.queue.plan
    return max(
        (1.0 - each.rated.full_soc) * plan.capacity_ah if each.kind == "IU" else 0.0 for each in plan.profiles.values()
    )


def _charged(area: "Area", truck: "Truck", given: Given, plugged_min: float, begin: Begin, *, part: bool) -> None:
    """Put a charge into the battery and write its rows.

    A part charge stops before gassing and needs no overcharge: what it returns is settled, charge factor and all.
    A full charge that is cut short is not: the next one goes on where it stopped.
    """
    if not given.pieces and not given.done:
        area.state(truck.battery, IN_TRUCK, given.end_min)
        return
    battery, plan = truck.battery, truck.queue.plan
    number = battery.pool.number if battery.pool is not None else 0
    full = given.done and not part
    begin = begun(battery, begin, given.pieces)
    result = outcome(battery, given.planned, begin, given.end_min, full=full)
    put_in(battery, result, given.planned, full=full)
    if not full:
        factor = plan.profiles[number].factor if part else 1.0
        battery.owed_ah = max(0.0, battery.owed_ah - factor * result.given_ah)
    before = battery.soc_share
    risen = min(1.0 - battery.missing_ah / plan.capacity_ah, before + result.stored_ah / truck.usable_ah)
    battery.soc_share = 1.0 if full else max(before, risen)
    battery.count_charge(result.stored_ah / (plan.capacity_ah * (1.0 - truck.group.truck.exchange_at_share)))
    times = (min(truck.joined_min, plugged_min), plugged_min, given.end_min)
    course = Course(begin, given.planned, given.pieces, result)
    write_charge(area, battery, number, times, course, full=full)
    area.state(battery, ON_CHARGE, begin.start_min)
    if area.charging.may_pause:
        write_pauses(area, battery, course)
    area.state(battery, IN_TRUCK, given.end_min)


def _never_rests(truck: "Truck") -> bool:
    """Whether the truck's calendar has no gaps other than breaks."""
    table = truck.group.timetable
    return table.always or all(end in truck.group.breaks for end in table.ends[:-1])
