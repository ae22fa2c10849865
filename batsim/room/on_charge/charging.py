"""The charging desk: a discharged battery waits in its bay for a charger, is connected, charged, and cools down.

The end of a charge follows in closed form from the battery's real state, so a charge costs one event, and a
cool-down one more. A charger on loose leads is free when the charge ends; one bound to its bay is taken until
the battery leaves that bay. Under a power limit chargers share, see `sharing`.
"""

from bisect import insort
from functools import partial
from math import exp, inf, nan
from typing import TYPE_CHECKING

from batsim.formulas.charging import charge_phases, equalising_phase
from batsim.formulas.heat import cool_down_h
from batsim.formulas.phases import Phase
from batsim.record.words import COOLING, ON_CHARGE, READY, WAITS_FOR_CHARGER, WAITS_FOR_CURRENT
from batsim.room.on_charge.charge import (
    Begin,
    Course,
    Outcome,
    Planned,
    accepting_degc,
    begun,
    held_gas_a,
    laid_out,
    new,
    outcome,
    put_in,
    write_charge,
    write_pauses,
)
from batsim.room.on_charge.sharing import Running
from batsim.room.timing.clock import Moment, Timed, ticked
from batsim.scenario.parts.week import DAY_MIN

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.formulas.phases import Profile
    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.plans.battery_plan import EqualisingPlan
    from batsim.room.queue import Queue
    from batsim.scenario.chemistry import Thermal


LIMIT_PASSES = 2
"""Looks at a voltage limit that falls as the battery warms up: they bring its temperature to within a kelvin."""


class ChargerPool:
    """Chargers of one type."""

    def __init__(self, number: int, count: float) -> None:
        self.number = number
        self.free = count
        self.going_out: list[Moment] = []
        """Chargers that go out of use when their battery has left: what is to be told then."""


class ChargingDesk:
    """Brings discharged batteries to ready."""

    def __init__(self, area: "Area") -> None:
        plan, shared = area.plan, area.room
        self.area, self.write_state = area, area.record.write.battery_states
        self.pools = [
            ChargerPool(number, charger.count) for number, charger in enumerate(plan.chargers, start=plan.first_charger)
        ]
        pools = {pool.number: pool for pool in self.pools}
        self.pools_of = {queue.number: [pools[number] for number in queue.chargers] for queue in plan.battery_plans}
        """By queue: chargers that fit its batteries, in the order in which they are taken."""
        self.connecting = area.connecting
        self.bound = plan.bound_chargers
        self.open_hours = shared.blueprint.open_windows
        self.rules = shared.blueprint.charging
        self.waits = self.rules.too_warm_or_cold == "wait"
        self.starts = shared.starts
        """Starts that are settled on the site, in order, for staggered starts. [min]"""
        self.delay_min = ticked(self.rules.delay_min)
        self.held = bool(self.rules.stagger_min) or self.open_hours is not None
        self.sharing = shared.sharing
        """Power limit that chargers of all areas share; None without."""
        self.may_pause = self.sharing is not None or self.open_hours is not None
        """Whether a charge can be without current for a time."""

    def receive(self, battery: "Battery", by_driver_since_min: float | None = None) -> None:
        """Take in a discharged battery that stands in its bay.

        The driver who brought it may plug it in; told is then when its exchange began. [min]
        """
        if by_driver_since_min is not None:
            self.connecting.driver_brings(battery, by_driver_since_min)
        battery.discharged_min = self.area.env.now
        if self.area.maintenance.before[battery.queue.number]:
            self.area.maintenance.before_charge(battery)
        else:
            self.take_in(battery)
        self.connecting.driver_stays = False

    def take_in(self, battery: "Battery") -> None:
        """Give a discharged battery a charger that fits, or have it wait for one."""
        for pool in self.pools_of[battery.queue.number]:
            if pool.free >= 1:
                self._assign(battery, pool)
                return
        self.area.state(battery, WAITS_FOR_CHARGER)
        battery.queue.discharged.append(battery)

    def release(self, battery: "Battery") -> None:
        """Free a battery's charger for the one that has waited longest, of those it fits."""
        pool = battery.pool
        if pool is None:
            return
        self.write_charger(battery, self.area.env.now)
        battery.pool = None
        if pool.going_out:
            pool.going_out.pop(0).after(0.0)
            return
        self.free_charger(pool)

    def write_charger(self, battery: "Battery", to_min: float) -> None:
        """Write the row of a charger that a battery leaves; a number of minutes that is none: not in this run."""
        pool = battery.pool
        assert pool is not None  # it has one
        write, from_min = self.area.record.write.chargers, battery.charger_min
        write(charger=pool.number, battery=battery.number, from_min=from_min, to_min=to_min)
        battery.charger_min = nan

    def free_charger(self, pool: ChargerPool) -> None:
        """Have a free charger supply the battery that has waited longest, of those it fits."""
        pool.free += 1
        longest: Queue | None = None
        for queue in self.area.queues:
            fits = queue.discharged and pool in self.pools_of[queue.number]
            if fits and (longest is None or queue.discharged[0].discharged_min < longest.discharged[0].discharged_min):
                longest = queue
        if longest is not None:
            self._assign(longest.discharged.popleft(), pool)

    def unfinished(self) -> "list[Battery]":
        """Batteries that wait when the run ends: for a charger, for a person, or for others to take over."""
        return [
            *(battery for queue in self.area.queues for battery in queue.discharged),
            *self.connecting.waiting,
            *self.connecting.laid_down,
        ]

    def _assign(self, battery: "Battery", pool: ChargerPool) -> None:
        """Give a battery its charger and have it connected."""
        pool.free -= 1
        battery.pool = pool
        now = battery.charger_min = self.area.env.now
        if self.connecting.instant:
            self.charge(battery, now, now)
        else:
            self.connecting.take_in(battery, now)

    def charge(self, battery: "Battery", connected_min: float, free_min: float) -> None:
        """Settle when the current comes on and, unless chargers share a power limit, the whole charge."""
        area = self.area
        law = area.charge_times.get(battery.number)
        minutes = None if law is None else next(law)
        begin = self.begin(battery, free_min)
        course = self._course(battery, begin, minutes)
        too_warm = course.result.end_degc > battery.queue.plan.thermal.charge_end_below_degc
        if self.waits and too_warm and not course.planned.timed:
            course = self._course(battery, self._cooler(battery, begin, course.result), minutes)
        times = (battery.discharged_min, connected_min)
        if course.begin.start_min > free_min or self.sharing is not None:
            self.write_state(battery=battery.number, state=WAITS_FOR_CURRENT, from_min=free_min)
        if self.sharing is None:
            self._settle(battery, times, course)
        else:
            share = partial(self._share, battery, times, course)
            Moment(area.env, share).after(course.begin.start_min - area.env.now)

    def _course(self, battery: "Battery", begin: Begin, minutes: float | None) -> Course:
        """Work out a full charge that has all the power it asks for."""
        planned = self.planned(battery, begin, minutes)
        pieces, end_min = laid_out(planned.phases, begin.start_min, self.open_hours)
        course: Course = new(Course, (begin, planned, pieces, outcome(battery, planned, begin, end_min, full=True)))
        return course

    def _share(self, battery: "Battery", times: tuple[float, float], course: Course, _: "Event") -> None:
        """Let a charge take its part of the power that is allowed, from now on until it is full."""
        assert self.sharing is not None  # asked before
        running = self.running(battery, course.planned)
        running.done = partial(self._shared, running, times, course.begin)
        running.write = partial(self._under_way, running, times, course.begin)
        self.sharing.begin(running)

    def _shared(self, running: Running, times: tuple[float, float], begin: Begin) -> None:
        """Settle a charge that has come to its end under a power limit."""
        self._settle(running.battery, times, _shared_course(running, begin, self.area.env.now))

    def _under_way(self, running: Running, times: tuple[float, float], begin: Begin, end_min: float) -> None:
        """Write a charge that the end of the run leaves unfinished, with its end as planned."""
        self._book(running.battery, times, _shared_course(running, begin, end_min))

    def running(self, battery: "Battery", planned: Planned, to_soc: float = 1.0) -> Running:
        """Make ready a charge that shares its power."""
        pool, plan = battery.pool, battery.queue.plan
        assert pool is not None  # it is connected to a charger
        profiles = plan.profiles[pool.number]
        return Running(battery, profiles.at(planned.degc), profiles.kw_per_a, planned, to_soc)

    def _settle(self, battery: "Battery", times: tuple[float, float], course: Course) -> None:
        """Book a charge, and see to what comes after."""
        area, end_min = self.area, course.result.end_min
        cooled_min = battery.ready_min = self._book(battery, times, course)
        now = area.env.now
        if self.bound or cooled_min == end_min:
            # Nobody has to be told when the charge ends: the charger stays taken, or there is no cool-down.
            Timed(area.env, cooled_min - now, [partial(self._cooled, battery)])
        elif end_min <= now:
            self._charged(battery, cooled_min)
        else:
            Timed(area.env, end_min - now, [partial(self._charged, battery, cooled_min)])

    def _book(self, battery: "Battery", times: tuple[float, float], course: Course) -> float:
        """Put a charge into the battery and write its rows; returns when the battery has cooled down. [min]

        Times: discharged and connected. [min]
        """
        pool, end_min, write_state = battery.pool, course.result.end_min, self.write_state
        assert pool is not None  # a battery is connected to a charger
        put_in(battery, course.result, course.planned, full=True)
        cooled_min = end_min + self._cool_down_min(battery, end_min)
        write_charge(self.area, battery, pool.number, (*times, cooled_min), course, full=True)
        write_state(battery=battery.number, state=ON_CHARGE, from_min=course.begin.start_min)
        if self.may_pause:
            write_pauses(self.area, battery, course)
        if cooled_min > end_min:
            write_state(battery=battery.number, state=COOLING, from_min=end_min)
        return cooled_min

    def begin(self, battery: "Battery", free_min: float) -> Begin:
        """When the current comes on, once a charger and whoever connects it are done with the battery."""
        start_min, delayed_min = free_min + self.delay_min, 0.0
        air_degc = self.area.air_degc(start_min)
        degc = battery.degc_after_rest(start_min, air_degc)
        if self.waits and battery.number not in self.area.charge_times:
            thermal = battery.queue.plan.thermal
            if not thermal.charge_from_degc <= degc <= thermal.charge_below_degc:
                delayed_min = _until_right_min(thermal, degc, air_degc)
        if self.held or delayed_min:
            start_min = self._open(start_min + delayed_min)
            degc = battery.degc_after_rest(start_min, air_degc)
        begin: Begin = new(Begin, (start_min, degc, air_degc, delayed_min))
        return begin

    def _open(self, start_min: float) -> float:
        """First time from here on at which a charge may start: staggered, and in the hours of charging. [min]"""
        start_min = self._in_hours(start_min)
        stagger_min = self.rules.stagger_min
        if stagger_min:
            self.starts[:] = [start for start in self.starts if start > self.area.env.now - stagger_min]
            for taken in self.starts:  # in order: the first gap is the one
                if taken - stagger_min < start_min < taken + stagger_min:
                    start_min = self._in_hours(taken + stagger_min)
            insort(self.starts, start_min)
        return start_min

    def _in_hours(self, time_min: float) -> float:
        """First time from here on in the hours of charging. [min]"""
        return time_min if self.open_hours is None else max(time_min, self.open_hours.window(time_min)[0])

    def _cooler(self, battery: "Battery", begin: Begin, result: Outcome) -> Begin:
        """Put off a charge that would make the battery too warm."""
        thermal = battery.queue.plan.thermal
        over_k = result.end_degc - thermal.charge_end_below_degc
        # The end is as much cooler as the start, less what decays meanwhile.
        start_degc = begin.degc - over_k * exp((result.end_min - begin.start_min) / (60.0 * thermal.room_tau_h))
        hours = cool_down_h(begin.degc, begin.air_degc, start_degc, thermal.room_tau_h)
        if hours == inf:
            return begin
        late_min = ticked(60.0 * hours)
        if begin.start_min in self.starts:
            self.starts.remove(begin.start_min)
        start_min = self._open(begin.start_min + late_min)
        degc = battery.degc_after_rest(start_min, begin.air_degc)
        return Begin(start_min, degc, begin.air_degc, begin.delayed_min + late_min)

    def _cool_down_min(self, battery: "Battery", end_min: float) -> float:
        """Length of the cool-down: as stated, or until the battery is cool enough if that is sooner. [min]"""
        stated_min = next(self.area.cool_downs[battery.number])
        cool_to = battery.queue.plan.cool_to_degc
        if cool_to is None:
            return stated_min
        hours = cool_down_h(battery.degc, self.area.air_degc(end_min), cool_to, battery.queue.plan.thermal.room_tau_h)
        return min(stated_min, ticked(60.0 * hours)) if hours < inf else stated_min

    def planned(
        self, battery: "Battery", begin: Begin, minutes: float | None, to_soc: float = 1.0, *, equalise: bool = True
    ) -> Planned:
        """Plan a charge; one of stated length returns the same ampere-hours at an even current."""
        plan, pool = battery.queue.plan, battery.pool
        profiles = plan.profiles[pool.number if pool is not None else plan.chargers[0]]
        capacity_ah, missing_ah = plan.capacity_ah, battery.missing_ah
        if minutes is not None:
            return Planned(
                (_even(minutes, missing_ah, profiles.rated, capacity_ah),), 0.0, 0.0, profiles.rated_degc, timed=True
            )
        degc = begin.degc
        if plan.warms_acceptance:
            degc = accepting_degc(plan, profiles.rated, missing_ah, begin.degc, begin.air_degc)
            for _ in range(LIMIT_PASSES):
                profile = profiles.at(degc)
                if profile.absorption_v == profiles.rated.absorption_v:
                    break
                degc = accepting_degc(plan, profile, missing_ah, begin.degc, begin.air_degc)
        profile = profiles.at(degc)
        owed_ah = battery.owed_ah or profile.factor * missing_ah
        phases = charge_phases(profile, capacity_ah, missing_ah, owed_ah, to_soc)
        left_ah = side_gas_a = 0.0
        if profile.kind == "IU":
            left_ah, side_gas_a = (1.0 - profile.full_soc) * capacity_ah, held_gas_a(plan, profile, degc)
        equalising = plan.equalising
        if equalise and equalising is not None and to_soc >= 1.0 and _is_due(equalising, battery, begin.start_min):
            hours = equalising.length_min / 60.0
            missing_last_ah = (1.0 - phases[-1].soc_to) * capacity_ah if phases else missing_ah
            last = equalising_phase(
                hours, equalising.amps, equalising.volts_per_cell, missing_last_ah, capacity_ah, profile.tau_h
            )
            return Planned((*phases, last), 0.0, side_gas_a, degc, equalising.length_min)
        planned: Planned = new(Planned, (phases, left_ah, side_gas_a, degc, 0.0, False))
        return planned

    def _charged(self, battery: "Battery", cooled_min: float, _: "Event | None" = None) -> None:
        """Free the charger at the end of a charge; the battery goes on to cool down."""
        self.release(battery)
        Timed(self.area.env, cooled_min - self.area.env.now, [partial(self._cooled, battery)])

    def _cooled(self, battery: "Battery", _: "Event") -> None:
        """End a cool-down: the battery is full, and gets water if that is due, else it is ready."""
        battery.soc_share = 1.0
        battery.count_charge()
        if not self.bound and battery.pool is not None:
            self.release(battery)
        if battery.maintenance_charges:
            self.area.maintenance.after_charge(battery)
        else:
            self.make_ready(battery)
        self.area.serve()

    def put_out(self, battery: "Battery", bay: int) -> None:
        """Stand a spare, ready, in a bay; before a charger of its own where they are bound, while there are any."""
        battery.bay = bay
        self.make_ready(battery)
        if self.bound:
            self._bind(battery)

    def _bind(self, battery: "Battery") -> None:
        """Let a spare keep a charger."""
        for pool in self.pools_of[battery.queue.number]:
            if pool.free >= 1:
                pool.free -= 1
                battery.pool, battery.charger_min = pool, 0.0
                return

    def make_ready(self, battery: "Battery") -> None:
        """Let a battery into the ready stock."""
        self.write_state(battery=battery.number, state=READY, from_min=self.area.env.now)
        battery.queue.put_ready(battery)


def _shared_course(running: Running, begin: Begin, end_min: float) -> Course:
    """What a charge under a power limit has come to at its end. [min]"""
    planned, begin = running.so_far(), begun(running.battery, begin, running.pieces)
    result = outcome(running.battery, planned, begin, end_min, full=True)
    return Course(begin, planned, running.flowed, result)


def _is_due(equalising: "EqualisingPlan", battery: "Battery", start_min: float) -> bool:
    """Whether a charge that begins now is one after which the battery is equalised."""
    since_min = start_min - battery.equalised_min
    return since_min >= equalising.every_min and int(start_min // DAY_MIN) % 7 in equalising.days


def _until_right_min(thermal: "Thermal", degc: float, air_degc: float) -> float:
    """Time in which a battery outside the temperatures of a charge comes to their nearer end. [min]

    None in a room that never brings it there: it is charged all the same, and counted.
    """
    if degc > thermal.charge_below_degc:
        hours = cool_down_h(degc, air_degc, thermal.charge_below_degc, thermal.room_tau_h)
    else:
        hours = cool_down_h(-degc, -air_degc, -thermal.charge_from_degc, thermal.room_tau_h)
    return ticked(60.0 * hours) if hours < inf else 0.0


def _even(minutes: float, missing_ah: float, profile: "Profile", capacity_ah: float) -> Phase:
    """One phase of stated length that returns the ampere-hours with their charge factor."""
    hours = minutes / 60.0
    amps = profile.factor * missing_ah / hours if hours else 0.0
    return Phase(hours, amps, 0.0, profile.absorption_v, 1.0 - missing_ah / capacity_ah, 1.0)
