"""Discharges: how a truck uses up its battery from one visit to the room to the next.

One discharge is one event: when the state of charge will have fallen to a level follows in closed form, and the
calendar turns working minutes into clock time.
"""

from math import exp, inf
from typing import TYPE_CHECKING

from batsim.formulas.discharge import at_factor, discharge_at_power, soc_after
from batsim.record import LEVEL, Drawn, Warmth
from batsim.room.charge import new
from batsim.room.clock import ticked
from batsim.room.recovery import drawn_for, run_down, run_until, scaled, soc_of
from batsim.room.truck import PlannedDischarge
from batsim.room.visits import next_visit
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.room.truck import Truck

CLOSE = 5e-3
"""The capacity factor of a discharge is found when it moves by less than this: what is left is ten times less. [-]"""
MOST_PASSES = 8
DISCHARGED = 1e-6
"""Less than this above the cut-out lasts for some ticks of the clock at most: nothing is left to carry on with."""


def first_discharge(truck: "Truck", level: float) -> bool:
    """Plan the first discharge: of stated length, or from a random state of charge; see `work`."""
    if truck.first_min is not None:
        return _leave_after(truck, 0.0, truck.first_min, drawn_between(truck, 1.0, level), heats=False)
    start = truck.start_soc
    used, all_of_it = 1.0 - start, 1.0 - level
    if truck.run_times is not None:
        minutes = ticked(truck.run_min() * (start - level) / all_of_it)
        truck.battery.missing_ah = drawn_between(truck, 1.0, start).drawn_ah
        return _go_on_time(truck, 0.0, minutes, start, level)
    power_w = truck.power_w()
    rated_h, rated_ah = discharge_at_power(1.0, level, power_w, truck.queue.plan.rated_cell)
    truck.battery.missing_ah = rated_ah * capacity_factor(truck, 0.0, rated_h, rated_ah) * used / all_of_it
    return _go_on_power(truck, 0.0, start, level, power_w, 0.0)


def work(truck: "Truck", start_min: float, level: float) -> bool:
    """Plan the discharge on a full battery from a start to the next visit to the room.

    Fills in when the truck leaves its work, when it joins the queue and what is left in its battery then. The
    ways from and to the room are drawn at the mean rate of the discharge. Returns False when it never comes.
    """
    if truck.run_times is not None:
        return _go_on_time(truck, start_min, truck.run_min(), 1.0, level)
    return _go_on_power(truck, start_min, 1.0, level, truck.power_w(), truck.trip_min)


def carry_on(truck: "Truck", start_min: float, cut_out: float) -> bool:
    """Plan on with what is left, so that the truck comes to the room at its cut-out; see `work`.

    A run time says nothing of what is left: the truck then works for another one, and nothing more is drawn.
    """
    soc = truck.arrival_soc
    if truck.run_times is not None:
        return _leave_after(truck, start_min, truck.run_min(), Drawn(soc, soc, 0.0, 0.0), heats=False)
    power_w = truck.power_w()
    if truck.queue.plan.wells is not None:
        return _go_on_wells(truck, start_min, soc, cut_out, power_w, (0.0, 2.0 * truck.trip_min), watched=False)
    hours, ah = _lasts(truck, start_min, soc, cut_out, power_w)
    minutes = max(0.0, ticked(60.0 * hours - 2.0 * truck.trip_min))
    return _leave_after(truck, start_min, minutes, Drawn(soc, cut_out, ah, power_w * hours / 1000.0), heats=True)


def drawn_between(truck: "Truck", soc_from: float, soc_to: float) -> Drawn:
    """What a discharge takes between two states of charge, at no particular power."""
    cell = truck.queue.plan.cell
    ah = (soc_from - soc_to) * cell.capacity_ah
    kwh = ah * cell.cells * (cell.empty_v + cell.slope_v * (soc_from + soc_to) / 2.0) / 1000.0
    return Drawn(soc_from, soc_to, ah, kwh)


def _go_on_time(truck: "Truck", start_min: float, minutes: float, soc_from: float, level: float) -> bool:
    """Work for a run time that brings the battery to a level."""
    if truck.watchful:
        return _watch(truck, PlannedDischarge(start_min, minutes, soc_from, level, 0.0, 0.0, None, 0.0, 1.0))
    return _leave_after(truck, start_min, minutes, drawn_between(truck, soc_from, level), heats=False)


def _go_on_power(
    truck: "Truck", start_min: float, soc_from: float, level: float, power_w: float, trip_back_min: float
) -> bool:
    """Work at a mean power until a level, then drive to the room."""
    if truck.queue.plan.wells is not None:
        return _go_on_wells(truck, start_min, soc_from, level, power_w, (truck.trip_min, trip_back_min))
    hours, ah = _lasts(truck, start_min, soc_from, level, power_w)
    minutes = max(0.0, ticked(60.0 * hours - trip_back_min))
    if truck.watchful:
        factor = truck.capacity_at_work
        return _watch(
            truck, PlannedDischarge(start_min, minutes, soc_from, level, power_w, 0.0, None, trip_back_min, factor)
        )
    with_trip = 1.0 + truck.trip_min / (60.0 * hours) if hours else 1.0
    arrival = soc_from - (soc_from - level) * with_trip
    drawn: Drawn = new(Drawn, (soc_from, arrival, ah * with_trip, power_w * hours * with_trip / 1000.0))
    return _leave_after(truck, start_min, minutes, drawn, heats=True)


def _go_on_wells(
    truck: "Truck",
    start_min: float,
    soc_from: float,
    level: float,
    power_w: float,
    trips: tuple[float, float],
    *,
    watched: bool = True,
) -> bool:
    """Work at a mean power until a level, recovering in breaks, then drive to the room.

    Trips: minutes driven beyond the level, and minutes of the run that are not work. [min]
    """
    battery, plan = truck.battery, truck.queue.plan
    rated_h, rated_ah = discharge_at_power(soc_from, level, power_w, plan.rated_cell)
    if plan.wells is None or not 0.0 < rated_h < inf:
        return _leave_after(
            truck, start_min, 0.0 if rated_h == 0.0 else inf, Drawn(soc_from, soc_from, 0.0, 0.0), heats=False
        )
    wells = scaled(plan.wells, capacity_factor(truck, start_min, rated_h, rated_ah))
    amps, (beyond_min, not_work_min) = rated_ah / rated_h, trips
    state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
    if truck.watchful and watched:
        worked_min = run_down(wells, truck.group.timetable, start_min, state, amps, level)[0]
        minutes = max(0.0, ticked(worked_min - not_work_min)) if worked_min < inf else inf
        return _watch(
            truck, PlannedDischarge(start_min, minutes, soc_from, level, power_w, amps, wells, not_work_min, 1.0)
        )
    worked_min, state = run_down(wells, truck.group.timetable, start_min, state, amps, level)
    if worked_min == inf:
        return _leave_after(
            truck,
            start_min,
            inf,
            Drawn(soc_from, level, wells.most_ah - battery.missing_ah - state[0], 0.0),
            heats=False,
        )
    held_ah, battery.surplus_ah = drawn_for(*state, amps, beyond_min / 60.0, wells)
    hours = (worked_min + beyond_min) / 60.0
    arrival = soc_of(held_ah, battery.surplus_ah, wells)
    minutes = max(0.0, ticked(worked_min - not_work_min))
    return _leave_after(
        truck, start_min, minutes, Drawn(soc_from, arrival, amps * hours, power_w * hours / 1000.0), heats=True
    )


def _lasts(truck: "Truck", start_min: float, soc_from: float, soc_to: float, power_w: float) -> tuple[float, float]:
    """Working hours and ampere-hours between two states of charge, at the temperature that the work brings."""
    rated_h, rated_ah = discharge_at_power(soc_from, soc_to, power_w, truck.queue.plan.rated_cell)
    factor = truck.capacity_at_work = capacity_factor(truck, start_min, rated_h, rated_ah)
    return rated_h * factor, rated_ah * factor


def capacity_factor(truck: "Truck", start_min: float, rated_h: float, rated_ah: float) -> float:
    """Capacity of a truck's battery in a discharge, over the rated one.

    The colder the battery gets, the shorter the discharge, and the less it cools: a fixed point. The last discharge's
    drift is a good first guess, so one pass is mostly enough.
    """
    battery, group, plan = truck.battery, truck.group, truck.queue.plan
    capacity_at, health = plan.capacity_at, battery.capacity_share * (1.0 - battery.lost_share * battery.damage)
    stated = group.truck.temperature_degc
    if stated is not None:
        truck.warmth = Warmth(stated, stated, stated)
        return capacity_at(stated) * health
    start_degc = battery.degc_after_rest(start_min, truck.room.air_degc(start_min))
    truck.warmth = new(Warmth, (start_degc, start_degc, start_degc))
    factor = capacity_at(start_degc + truck.drift_k) * health
    if not 0.0 < rated_h < inf:
        return factor
    amps, rated_min, advance = rated_ah / rated_h, 60.0 * rated_h, group.timetable.advance
    for _ in range(MOST_PASSES):
        minutes = rated_min * factor
        span_min = advance(start_min, minutes) - start_min
        if not 0.0 < span_min < inf:
            break
        truck.warmth = warmth = _warmed(truck, start_min, start_degc, amps, minutes, span_min)
        before, factor = factor, capacity_at(warmth[1]) * health
        if -CLOSE < factor - before < CLOSE:
            break
    truck.drift_k = truck.warmth[1] - start_degc
    return factor


def _warmed(
    truck: "Truck", start_min: float, start_degc: float, amps: float, worked_min: float, span_min: float
) -> Warmth:
    """Start, mean and end temperature over a discharge, its heat spread over its breaks: `formulas.heat`. [degC]"""
    plan = truck.queue.plan
    rise_k = plan.kelvin_per_a2 * amps * amps * worked_min / span_min
    top_degc = truck.group.air_degc[int(start_min // WEEK_MIN)] + rise_k
    spans = span_min / plan.truck_tau_min
    decay = exp(-spans)
    excess = start_degc - top_degc
    warmth: Warmth = new(Warmth, (start_degc, top_degc + excess * (1.0 - decay) / spans, top_degc + excess * decay))
    return warmth


def _watch(truck: "Truck", discharge: PlannedDischarge) -> bool:
    """Plan a discharge that may end before its level is reached: at a shift change, in a break, or when called."""
    when, table, start_min = truck.group.truck.exchange_when, truck.group.timetable, discharge.start_min
    left_min = table.advance(start_min, discharge.minutes) if discharge.minutes < inf else inf
    break_after_min = early_min = inf
    if when.in_breaks_below_share is not None:
        break_after_min = table.advance(start_min, _minutes_to(truck, discharge, when.in_breaks_below_share))
    if when.early_below_share is not None:
        early_min = table.advance(start_min, _minutes_to(truck, discharge, when.early_below_share))
    truck.left_min, truck.reason = next_visit(truck, discharge.start_min, left_min, break_after_min)
    if early_min < truck.left_min and early_min < inf:
        truck.planned = discharge, max(early_min, truck.room.env.now)
        truck.joined_min = truck.left_min + truck.trip_min
        return True
    return _write_until_visit(truck, discharge)


def _minutes_to(truck: "Truck", discharge: PlannedDischarge, level: float) -> float:
    """Working minutes of a discharge until the state of charge is at a level. [min]"""
    if level >= discharge.soc_from:
        return 0.0
    if not discharge.power_w:
        return ticked(discharge.minutes * (discharge.soc_from - level) / (discharge.soc_from - discharge.level))
    if discharge.wells is not None:
        battery, wells = truck.battery, discharge.wells
        state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
        minutes = run_down(wells, truck.group.timetable, discharge.start_min, state, discharge.amps, level)[0]
    else:
        cell = at_factor(truck.queue.plan.rated_cell, discharge.factor)
        minutes = 60.0 * discharge_at_power(discharge.soc_from, level, discharge.power_w, cell)[0]
    return max(0.0, ticked(minutes - discharge.driven_min)) if minutes < inf else inf


def leave_at(truck: "Truck", visit_min: float) -> None:
    """Settle a discharge that was open to a call: the truck leaves its work at a time."""
    assert truck.planned is not None  # there is a discharge to settle
    discharge, truck.planned = truck.planned[0], None
    truck.left_min = visit_min
    _write_until_visit(truck, discharge)


def _write_until_visit(truck: "Truck", discharge: PlannedDischarge) -> bool:
    """Write a discharge that ends when the truck leaves for the room; see `work`."""
    worked_min, drawn = _drawn_by(truck, discharge, truck.left_min)
    warm_up(truck, discharge.start_min, truck.left_min, worked_min, drawn.drawn_ah if discharge.power_w else 0.0)
    return _come_with(truck, discharge.start_min, drawn)


def _leave_after(truck: "Truck", start_min: float, minutes: float, drawn: Drawn, *, heats: bool) -> bool:
    """Plan to leave work after so many working minutes, and write the discharge; its warmth is known if it heats."""
    truck.reason = LEVEL
    left_min = truck.left_min = truck.group.timetable.advance(start_min, minutes)
    if not heats:
        warm_up(truck, start_min, left_min, minutes, 0.0)
    return _come_with(truck, start_min, drawn)


def _come_with(truck: "Truck", start_min: float, drawn: Drawn) -> bool:
    """Note how the truck will come to the room after a discharge, and write its row; False when it never comes."""
    battery, left_min = truck.battery, truck.left_min
    battery.soc_share = truck.arrival_soc = soc = drawn.soc_to_share
    battery.missing_ah += drawn.drawn_ah
    truck.below_cut_out = int(soc < truck.queue.plan.battery.discharge_to_share)
    truck.joined_min = left_min + truck.trip_min
    write_discharge(truck, start_min, left_min, drawn)
    return left_min < inf


def warm_up(truck: "Truck", start_min: float, end_min: float, worked_min: float, ah: float) -> None:
    """Work out the warmth of a discharge of known length, from the ampere-hours that heat; 0 where unknown."""
    stated = truck.group.truck.temperature_degc
    start_degc = stated
    if start_degc is None:
        start_degc = truck.battery.degc_after_rest(start_min, truck.room.air_degc(start_min))
    truck.warmth = new(Warmth, (start_degc, start_degc, start_degc))
    if stated is None and worked_min > 0.0 and end_min < inf:
        amps = 60.0 * ah / worked_min
        truck.warmth = _warmed(truck, start_min, start_degc, amps, worked_min, end_min - start_min)


def write_discharge(truck: "Truck", start_min: float, end_min: float, drawn: Drawn) -> None:
    """Warm and wear the battery, and write the row of a discharge."""
    battery = truck.battery
    _, mean_degc, battery.degc = truck.warmth
    battery.degc_min = end_min
    truck.room.record.write.discharges(
        truck=truck.number,
        group=truck.group.number,
        battery=battery.number,
        start_min=start_min,
        end_min=end_min,
        drawn=drawn,
        warmth=truck.warmth,
        damage=battery.wear(drawn.drawn_ah, mean_degc),
    )


def _drawn_by(truck: "Truck", discharge: PlannedDischarge, visit_min: float) -> tuple[float, Drawn]:
    """Working minutes up to a visit, and what is drawn by then and on the way to the room. [min, see `Drawn`]"""
    if visit_min == inf:  # it never comes: all that it has is drawn, some time
        return 0.0, drawn_between(truck, discharge.soc_from, discharge.level)
    worked_min = truck.group.timetable.worked(discharge.start_min, visit_min)
    if not discharge.power_w:
        share = worked_min / discharge.minutes if discharge.minutes else 1.0
        soc = discharge.soc_from - (discharge.soc_from - discharge.level) * min(1.0, share)
        return worked_min, drawn_between(truck, discharge.soc_from, soc)
    hours = (worked_min + discharge.driven_min + truck.trip_min) / 60.0
    kwh = discharge.power_w * hours / 1000.0
    if discharge.wells is not None:
        battery, wells = truck.battery, discharge.wells
        state = (wells.most_ah - battery.missing_ah, battery.surplus_ah)
        state = run_until(wells, truck.group.timetable, discharge.start_min, state, discharge.amps, visit_min)
        held_ah, battery.surplus_ah = drawn_for(*state, discharge.amps, hours - worked_min / 60.0, wells)
        return worked_min, Drawn(
            discharge.soc_from, soc_of(held_ah, battery.surplus_ah, wells), discharge.amps * hours, kwh
        )
    cell = at_factor(truck.queue.plan.rated_cell, discharge.factor)
    soc = soc_after(discharge.soc_from, hours, discharge.power_w, cell)
    ah = discharge_at_power(discharge.soc_from, soc, discharge.power_w, cell)[1]
    return worked_min, Drawn(discharge.soc_from, soc, ah, kwh)
