"""A room as the screen sees it: what each truck group asks for and when, what an exchange holds, times out of use.

Every time is a mean that leans to the hopeful side: batteries at work and on charge are taken as warm.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.special import ndtr, ndtri

from batsim.formulas.charging import charge_phases, phases_hours
from batsim.formulas.discharge import discharge_at_power
from batsim.room.blueprint import Blueprint, GroupPlan
from batsim.scenario.parts.calendar import Window, group_windows, joined, shift_windows
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.room.exchange_plan import ExchangePlan
    from batsim.scenario.parts.laws import DurationLaw
    from batsim.scenario.parts.week import Week
    from batsim.scenario.site import Scenario

Floats = np.ndarray[Any, np.dtype[np.float64]]

Whole = np.ndarray[Any, np.dtype[np.intp]]

PARTS = 5
"""Lengths of run that stand for their spread."""
LEAST_LENGTH = 0.1
"""Shortest of them over the mean. [-]"""
LEAST_UNDISTURBED = 0.01
"""Least share of the weeks that is taken to be without a holiday in it or before it. [-]"""
IN_STEP = 0.1
"""Spread of the run time below which trucks fall into step: what they meet by chance does not come again. [-]"""
STEP_MIN = 15.0
"""Step of the walk through the week. [min]"""
MOST_WEEKS = 2
"""Weeks of warm-up, and measured ones, that are walked through."""


class Turn(NamedTuple):
    """How long a battery is out of use, chargers not being short. [min]"""

    charge_min: float
    charge_sd_min: float
    cool_min: float
    cool_sd_min: float


class Lasting(NamedTuple):
    """Batteries that last equally long, for the walk through the week."""

    share: float
    first_demand: Floats
    """What is asked for in each step by trucks that have taken none yet. [-]"""
    again: Whole
    """Step in which a truck asks again that takes a battery in a step."""


@dataclass(frozen=True)
class Duty:
    """What a truck group asks of the room."""

    trucks: int
    shift_min: float
    scheduled_share: float
    """Scheduled time over all time."""
    travel_min: float
    """Scheduled time on the way to the room and back, for each exchange. [min]"""
    exchange_min: float
    """Scheduled time at the station, for each exchange. [min]"""
    cycle_min: float
    """Scheduled time from one battery to the next without a wait; infinite when the group never asks. [min]"""
    run_sd_min: float
    turn: Turn
    level_only: bool
    """Whether its trucks come at their level only."""
    in_step: bool
    """Whether its run times hardly vary."""
    meeting_share: float
    """Part of its visits that meet others in working time at least as often as by chance."""
    come_together: int
    """Trucks that come at the same minute when a shift ends and another follows."""
    changes: float
    """How often in a week."""
    demand: Floats
    """Batteries asked for in each step of the walk through the week; none where nothing is known. [-]"""
    lasting: tuple[Lasting, ...]
    """Batteries that last as long as the mean, then those of which each lasts otherwise."""
    at_work_min: Floats
    """Minutes of each step in which its trucks are scheduled. [min]"""


class Server(NamedTuple):
    """Something that an exchange holds: stations, devices of a kind, attendants."""

    field: str
    """Field of `Cells` that counts it."""
    each: float
    """How many of them an exchange holds."""
    minutes: float
    """How long. [min]"""
    sd_min: float


@dataclass(frozen=True)
class Room:
    """A layout as the screen sees it."""

    plan: Blueprint
    duties: tuple[Duty, ...]
    """Groups that ask for batteries."""
    truck_shifts: float
    """Truck-shifts in a week, of all groups."""
    servers: tuple[Server, ...]
    labour_min: float
    """Attendants' minutes for an exchange and its connecting. [min]"""
    on_duty_share: float
    """Time that an attendant on every shift is there, over all time."""
    held_min: float
    """Time that a ready battery is held for an exchange before the discharged one is free; 0 when pulled out on arrival.
    [min]"""
    open_share: float
    """Time in which any truck is scheduled, over all time."""
    always: bool
    """Whether trucks work round the clock but for breaks, and come at their level."""
    first_step: int
    """First measured step of the walk through the week."""
    length_min: float
    warm_up_min: float
    undisturbed_share: float
    """Share of the measured weeks that no holiday touches."""

    @property
    def trucks(self) -> int:
        """Trucks that ask."""
        return sum(duty.trucks for duty in self.duties)


def room_of(scenario: "Scenario", plan: Blueprint) -> Room:
    """Work out what the screen needs to know of a layout whose batteries are exchanged."""
    exchange = plan.exchange
    assert exchange is not None  # the batteries are exchanged
    week = scenario.week.model_copy(update={"holidays": ()})
    stated = scenario.simulation
    warm_up, length = _shortened(stated.warm_up_min), _shortened(stated.length_min)
    edges: Floats = np.arange(int((warm_up + length) // STEP_MIN) + 1, dtype=np.float64) * STEP_MIN
    servers = _servers(plan, exchange)
    duties = [_duty(scenario, plan, group, week, edges, servers[0].minutes) for group in plan.groups]
    weeks = max(1.0, stated.length_min / WEEK_MIN)
    labour, on_duty = _attendants(plan, exchange, servers)
    asking = tuple(duty for duty in duties if duty.cycle_min < math.inf)
    at_arrival = plan.rules.discharged_on_charge == "at_arrival"
    shifts = sorted({name for group in scenario.trucks for name in group.shifts})
    site = _worked(group_windows(week, shifts, 2 * WEEK_MIN), np.array([0.0, WEEK_MIN]))
    return Room(
        plan=plan,
        duties=asking,
        truck_shifts=sum(WEEK_MIN * duty.scheduled_share * duty.trucks / duty.shift_min for duty in duties),
        servers=servers,
        labour_min=labour,
        on_duty_share=on_duty,
        held_min=0.0 if at_arrival else servers[0].minutes,
        open_share=float(site[1] - site[0]) / WEEK_MIN,
        always=all(
            duty.level_only and len(_spans(week, group)) == 1 for duty, group in zip(duties, plan.groups, strict=True)
        ),
        first_step=math.ceil(warm_up / STEP_MIN),
        length_min=stated.length_min,
        warm_up_min=stated.warm_up_min,
        undisturbed_share=max(
            LEAST_UNDISTURBED, 1.0 - 2.0 * len({number for number, _ in scenario.week.holidays}) / weeks
        ),
    )


def _shortened(minutes: float) -> float:
    """Time without the whole weeks beyond those that are walked through. [min]"""
    return minutes - WEEK_MIN * max(0.0, minutes // WEEK_MIN - MOST_WEEKS)


def _duty(
    scenario: "Scenario", plan: Blueprint, group: GroupPlan, week: "Week", edges: Floats, exchange_min: float
) -> Duty:
    """Work out what a truck group asks for."""
    when, ends = group.truck.exchange_when, group.shift_ends
    windows = group_windows(week, group.truck.shifts, float(edges[-1]) + 2 * WEEK_MIN)
    spans = _spans(week, group)
    at_a_change = when.shift_change != "never"
    unknown = when.in_breaks_below_share is not None or when.early_below_share is not None
    into_the_gap = 0.0
    if at_a_change:
        last = [end for _, end in spans]
        into_the_gap = sum(any(abs(end - each) < 1.0 for each in last) for end in ends) / max(1, len(ends))
    run, run_sd = _run(scenario, plan, group)
    in_step = run_sd <= IN_STEP * run
    out_of_work = when.in_breaks_below_share is not None or (in_step and len(windows) > 1)
    at_work_share = 0.0 if out_of_work else 1.0 - into_the_gap
    scheduled = at_work_share * _scheduled_part(windows, 2.0 * group.trip_min + exchange_min)
    cycle = run + scheduled * (2.0 * group.trip_min + exchange_min)
    worked = _worked(windows, edges)
    demand = group.truck.count * np.diff(worked) / cycle if cycle > 0.0 else np.zeros(worked.size - 1)
    if at_a_change:
        since = np.searchsorted([start for start, _ in spans], edges[:-1], side="right") - 1
        begun = _worked(windows, np.array([max(start, 0.0) for start, _ in spans]))
        demand = np.where((since >= 0) & (worked[:-1] - begun[np.maximum(since, 0)] < run), 0.0, demand)
    together = 0
    if at_a_change and not unknown and not when.spread_min and plan.rules.if_none_ready == "wait":
        together = int(_short_share(when.shift_change, group.shift_min, run, run_sd) * group.truck.count)
    return Duty(
        trucks=group.truck.count,
        shift_min=group.shift_min,
        scheduled_share=float(_worked(windows, np.array([WEEK_MIN]))[0]) / WEEK_MIN,
        travel_min=2.0 * scheduled * group.trip_min,
        exchange_min=scheduled * exchange_min,
        cycle_min=cycle,
        run_sd_min=run_sd,
        turn=_turn(plan, group),
        level_only=not at_a_change and not unknown,
        in_step=in_step,
        meeting_share=0.0 if unknown or (at_a_change and when.spread_min) else at_work_share,
        come_together=together,
        changes=(1.0 - into_the_gap) * len(set(np.mod(ends, WEEK_MIN))),
        demand=np.zeros_like(demand) if unknown else demand,
        lasting=tuple(
            Lasting(
                share,
                np.where((worked[:-1] < longer * cycle) & ~np.bool_(unknown), np.diff(worked) / (longer * cycle), 0.0)
                * group.truck.count,
                np.searchsorted(worked[1:], worked[1:] + longer * cycle),
            )
            for share, longer in _lengths(run_sd / cycle if 0.0 < cycle < math.inf else 0.0)
        ),
        at_work_min=np.diff(worked),
    )


def _lengths(cv: float) -> list[tuple[float, float]]:
    """Share and length of batteries over the mean: all alike, then five parts of a spread."""
    middles = ndtri((np.arange(PARTS) + 0.5) / PARTS)
    longer = np.maximum(1.0 + cv * middles, LEAST_LENGTH)
    return [(1.0, 1.0), *((1.0 / PARTS, float(each)) for each in longer / np.mean(longer))]


def _short_share(rule: str, shift_min: float, run_min: float, run_sd_min: float) -> float:
    """Share of trucks that come at a shift change: all, or those whose battery lasts for this shift but not the next.

    Batteries taken within a shift make it more.
    """
    if rule == "always":
        return 1.0 if run_sd_min <= 0.0 else float(ndtr((run_min - shift_min) / run_sd_min))
    if run_sd_min <= 0.0:
        return float(shift_min <= run_min < 2.0 * shift_min)
    return max(0.0, float(ndtr((2.0 * shift_min - run_min) / run_sd_min) - ndtr((shift_min - run_min) / run_sd_min)))


def _spans(week: "Week", group: GroupPlan) -> list[Window]:
    """Times from the start of a group's work to its end, breaks and handover left in, as far as the runs need. [min]"""
    whole = {"breaks": (), "handover_min": 0.0}
    until = (2 * MOST_WEEKS + 3) * WEEK_MIN
    shifts = [week.shifts[name].model_copy(update=whole) for name in group.truck.shifts]
    return joined([span for shift in shifts for span in shift_windows(shift, until)])


def _worked(windows: list[Window], times: Floats) -> Floats:
    """Scheduled minutes before each time. [min]"""
    edges = np.array(windows).reshape(-1)
    done = np.cumsum([end - start for start, end in windows])
    both = np.stack([done - np.diff(np.array(windows), axis=1)[:, 0], done], axis=1).reshape(-1)
    worked: Floats = np.interp(times, edges, both)
    return worked


def _scheduled_part(windows: list[Window], minutes: float) -> float:
    """Part of some minutes that is scheduled, when they begin at any moment of work."""
    if minutes <= 0.0:
        return 1.0
    times = np.arange(0.0, WEEK_MIN, 1.0)
    begin, done = _worked(windows, times), _worked(windows, times + minutes)
    at_work = np.diff(begin, append=begin[-1:])
    return float(np.sum(at_work * (done - begin)) / (np.sum(at_work) * minutes))


def _run(scenario: "Scenario", plan: Blueprint, group: GroupPlan) -> tuple[float, float]:
    """Work on one battery, as long as it may last on average, and its spread. [min]"""
    first = scenario.simulation.start_week
    weeks = max(1, round(scenario.simulation.length_min / WEEK_MIN))
    factor = sum(scenario.demand.in_week(first + week) for week in range(weeks)) / weeks
    goes_on = plan.rules.if_none_ready == "carry_on"
    law, draws = group.truck.run_time_min, group.truck.duty
    if law is not None and goes_on:
        return math.inf, 0.0  # whenever none is ready
    if law is not None:
        return law.mean / factor, deviation(law) / factor
    line = plan.queues[group.queues[0]]
    level = line.battery.discharge_to_share if goes_on else group.truck.exchange_at_share
    power, cell = group.power_w * factor, line.rated_cell
    if line.wells is not None:
        cell = cell._replace(peukert=1.0, kappa_floor=0.0)
    hours, ah = discharge_at_power(1.0, level, power, cell)
    if not 0.0 < hours < math.inf:
        return hours * 60.0, 0.0
    degc = group.truck.temperature_degc
    if degc is None:
        degc = max(group.air_degc[0], plan.room_air_degc[0]) + line.kelvin_per_a2 * (ah / hours) ** 2
    spread = draws.between_shifts_share if draws is not None else 0.0
    longer = (1.0 + spread**2) ** (cell.peukert * (cell.peukert + 1.0) / 2.0)
    run = 60.0 * hours * max(cell.capacity_factor, line.capacity_at(degc)) * longer - group.trip_min
    return max(run, 0.0), spread * max(run, 0.0)


def _turn(plan: Blueprint, group: GroupPlan) -> Turn:
    """Charge and cool-down of a battery, with the fastest charger that fits it."""
    line = plan.queues[group.queues[0]]
    cool, stated = line.battery.cool_down_min, line.battery.charge_time_min
    before = plan.arrangement.connect_time_min.mean + plan.charging.delay_min
    sd = 0.0
    if stated is not None:
        charge, sd = stated.mean, deviation(stated)
    else:
        level, warm = group.truck.exchange_at_share, line.thermal.charge_end_below_degc
        ah = (1.0 - level) * line.capacity_ah
        if group.power_w:
            ah = min(ah, discharge_at_power(1.0, level, group.power_w, line.rated_cell)[1])
        profiles = [line.profiles[number].at(warm) for number in line.chargers]
        charge = min(
            60.0 * phases_hours(charge_phases(each, line.capacity_ah, ah, each.factor * ah)) for each in profiles
        )
    if line.cool_to_degc is not None:
        return Turn(before + charge, sd, 0.0, 0.0)
    return Turn(before + charge, sd, cool.mean, deviation(cool))


def _servers(plan: Blueprint, exchange: "ExchangePlan") -> tuple[Server, ...]:
    """What an exchange holds and for how long; the stations first."""
    laws = [law for _, law in exchange.laws]
    means = np.cumsum([law.mean for law in laws])
    sds = np.sqrt(np.cumsum([deviation(law) ** 2 for law in laws]))
    leaves = next(instant.step for instant in exchange.instants if instant.truck)
    found = [Server("stations", 1.0, float(means[leaves]), float(sds[leaves]))]
    for name, last in exchange.device_steps.items():
        found.append(Server("devices", exchange.devices[name], float(means[last]), float(sds[last])))
    if plan.attendants_limited and exchange.attendants:
        last = exchange.people_step
        found.append(Server("attendants", exchange.attendants, float(means[last]), float(sds[last])))
    return tuple(found)


def _attendants(plan: Blueprint, exchange: "ExchangePlan", servers: tuple[Server, ...]) -> tuple[float, float]:
    """Attendants' minutes for an exchange, and the share of time in which one of each shift is there."""
    if not plan.attendants_limited:
        return 0.0, math.inf
    labour = sum(law.mean * hands.attendants for (_, law), hands in zip(exchange.laws, exchange.hands, strict=True))
    if not plan.connect_by_driver:
        labour += plan.arrangement.connect_time_min.mean
    windows = [window for shift in plan.attendant_shifts for window in shift.windows if window[0] < WEEK_MIN]
    longest = max(server.minutes for server in servers)
    # What has begun is finished after the shift.
    on_duty = sum(min(end, WEEK_MIN) - start + longest for start, end in windows)
    return labour, on_duty / WEEK_MIN


def deviation(law: "DurationLaw") -> float:
    """Standard deviation of a duration. [min]"""
    low, high = law.low_min or 0.0, law.high_min or 0.0
    match law.kind:
        case "fixed":
            return 0.0
        case "uniform":
            return (high - low) / math.sqrt(12.0)
        case "triangular":
            mode = law.typical_min or 0.0
            return math.sqrt((low**2 + mode**2 + high**2 - low * mode - low * high - mode * high) / 18.0)
        case "exponential":
            return law.mean
        case "observed":
            return float(np.std(law.observed_min or (0.0,)))
    return law.mean * (law.cv or 0.0)
