"""The screen: what downtime a layout would have with other counts, in closed form, so that sizing simulates few cells.

It leans to the hopeful side everywhere: what it rejects may be dropped, what it accepts must be simulated. Where it
knows nothing a wait stays at zero: charging in the truck, visits in breaks or when nobody is in line. Maintenance, breakdowns,
bays, ways of devices, power limits, and hours of charging and of the attendants are left out.
"""

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.decision.screen_room import STEP_MIN, Room, Server, room_of
from batsim.decision.screen_tables import Floats, Table, Whole, between, meet, told_apart
from batsim.formulas.renewal import NumberOut, Source, machine_interference, number_out
from batsim.formulas.stock_course import stock_course
from batsim.room.blueprint import blueprint
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario

FIRST_WAIT_MIN, WAIT_RATIO = 0.01, 1.25
"""Waits at which the closed forms are worked out, straight lines in between. [min, -]"""
MOST_CYCLES = 20.0
"""Longest wait told apart, in cycles of a truck and turns of a battery. [-]"""
MOST_SPREAD = 0.3
"""Largest standard deviation of a turn that is reckoned with, in cycles of a truck. [-]"""
NEARLY_NONE = 1e-3
"""Least share of the trucks that is taken to be at work. [-]"""
WHOLE = 0.5
"""Given to batteries and chargers as a fluid, since whole ones may happen to come at a better time. [-]"""
TURNS = 8
"""Turns of a charger over which a backlog is looked at. [-]"""
MANY_TRUCKS = 10
"""Trucks of which some ask whatever the backlog; with fewer it is looked at over one turn only."""
DISORDER = 2.0
"""Spread of the run time, in exchanges, at which half of the chance encounters at a station happen; with less of it
trucks fall into step and meet no more. [-]"""


class Cells(NamedTuple):
    """Counts of a layout to be judged; arrays of one shape (n,), infinite where there is no limit."""

    stations: Floats
    devices: Floats
    """Of each kind that an exchange needs."""
    attendants: Floats
    """On every shift that has any."""
    chargers: Floats
    """Of all types together."""
    batteries: Floats
    """Of all types together, those in the trucks included."""


class Prediction(NamedTuple):
    """What the screen says of each cell; arrays of shape (n,)."""

    downtime_min_per_truck_shift: Floats
    travel_min_per_truck_shift: Floats
    exchange_min_per_truck_shift: Floats
    wait_room_min_per_truck_shift: Floats
    """Wait for stations, devices and attendants together. [min]"""
    wait_battery_min_per_truck_shift: Floats
    found_none_ready_share: Floats
    """Share of asking trucks that find no ready battery."""
    wait_min_per_exchange: Floats
    floor_downtime: Floats
    """Deterministic part of the downtime: travel, exchange, and what rates and the calendar leave short. [min per
    truck-shift]"""


class _Waits(NamedTuple):
    """Waits of each cell. [min]"""

    room: Floats
    battery: Floats
    none_ready: Floats


def screen(scenario: "Scenario", layout: str, cells: Cells) -> Prediction:
    """Predict the downtime of a layout with other counts.

    Parameters
    ----------
    scenario
        The site, as `read` returns it.
    layout
        Name of one of its layouts; its own counts do not matter.
    cells
        Counts, each of shape (n,).

    Returns
    -------
    Prediction
        Each of shape (n,). One more of anything never predicts more downtime.

    Notes
    -----
    The wait of an exchange is the greater of two. Long-run rates: what trucks ask for against spares over exchange and
    turn, chargers over charge, stations, devices and labour (never batteries over the whole loop, except where discharged
    batteries are pulled out on arrival). And chance: round the clock the number of batteries out by renewal theory, in
    working time the machine-interference chain with half of one plus the squared spread of the exchange, each at the
    demand that the wait itself leaves; and trucks that come at the same minute when a shift ends. Where trucks pause,
    the stock goes through the week as a fluid instead.
    """
    cells = Cells(*(np.asarray(each, dtype=float) for each in cells))
    plan = blueprint(scenario, layout, WEEK_MIN, 0.0)
    room = None if plan.exchange is None else room_of(scenario, plan)
    if room is None or not room.duties:
        return Prediction(*(np.zeros(cells.batteries.shape) for _ in Prediction._fields))
    longest = max(duty.cycle_min + sum(duty.turn[::2]) for duty in room.duties)
    steps = math.ceil(math.log(MOST_CYCLES * longest / FIRST_WAIT_MIN) / math.log(WAIT_RATIO))
    waits = np.concatenate([[0.0], FIRST_WAIT_MIN * WAIT_RATIO ** np.arange(steps)])
    at_servers = [_server_waits(room, server, cells, waits) for server in room.servers]
    by_chance = _round_the_clock(room, cells, waits, at_servers) if room.always else None
    floor_battery = _wait_at(room, _stock_rate(room, cells), cells, waits)
    if by_chance is None:
        through = _through_the_week(room, cells)
        floor_battery = np.maximum(floor_battery, through.battery)
        nothing = (np.zeros((1, waits.size)), np.zeros(cells.batteries.shape, dtype=int))
        alone = meet(waits, nothing, at_servers)
        at_room = np.maximum(_at_servers(at_servers, *alone) - through.battery, 0.0)
        by_chance = through._replace(room=at_room, none_ready=np.where(at_room > 0.0, 0.0, through.none_ready))
    floor_room = _wait_at(room, _server_rate(room, cells), cells, waits)
    return _prediction(room, by_chance, floor_battery, floor_room)


def _prediction(room: Room, found: _Waits, floor_battery: Floats, floor_room: Floats) -> Prediction:
    """Turn waits of an exchange into minutes of a truck-shift."""
    floor = np.maximum(floor_battery, floor_room)
    short = np.maximum(floor - found.room - found.battery, 0.0)
    of_stock = floor_battery >= floor_room
    at_room = found.room + np.where(of_stock, 0.0, short)
    wait = found.room + found.battery + short
    travel, exchange, visits = (np.zeros(wait.shape) for _ in range(3))
    least = np.zeros(wait.shape)
    for duty in room.duties:
        scheduled = WEEK_MIN * duty.scheduled_share * duty.trucks / room.truck_shifts
        each = scheduled / (duty.cycle_min + wait)
        visits += each
        travel += each * duty.travel_min
        exchange += each * duty.exchange_min
        least += scheduled / (duty.cycle_min + floor) * (duty.travel_min + duty.exchange_min + floor)
    return Prediction(
        downtime_min_per_truck_shift=travel + exchange + visits * wait,
        travel_min_per_truck_shift=travel,
        exchange_min_per_truck_shift=exchange,
        wait_room_min_per_truck_shift=visits * at_room,
        wait_battery_min_per_truck_shift=visits * (wait - at_room),
        found_none_ready_share=found.none_ready,
        wait_min_per_exchange=wait,
        floor_downtime=least,
    )


# Long-run rates


def _stock_rate(room: Room, cells: Cells) -> Floats:
    """Exchanges a minute that batteries and chargers allow in the long run."""
    charge = min(duty.turn.charge_min for duty in room.duties)
    turn = min(duty.turn.charge_min + duty.turn.cool_min for duty in room.duties)
    if room.plan.rules.discharged_on_charge == "at_arrival":
        loop = min(duty.cycle_min for duty in room.duties) + turn
        rate = cells.batteries / loop
    else:
        rate = _over(_spares(room, cells), room.held_min + turn)
    chargers: Floats = np.minimum(rate, _over(cells.chargers, turn if room.plan.bound_chargers else charge))
    return chargers


def _server_rate(room: Room, cells: Cells) -> Floats:
    """Exchanges a minute that stations, devices and attendants allow in the long run."""
    rates = [_over(np.floor(getattr(cells, each.field) / each.each), each.minutes) for each in room.servers]
    if room.labour_min > 0.0:
        rates.append(cells.attendants * room.on_duty_share / room.labour_min)
    least: Floats = np.min(rates, axis=0)
    return least


def _over(count: Floats, minutes: float) -> Floats:
    """Rate of so many that take some minutes each; infinite where it takes no time."""
    return count / minutes if minutes > 0.0 else np.where(count > 0.0, math.inf, 0.0)


def _spares(room: Room, cells: Cells) -> Floats:
    """Batteries beyond those in the trucks; none where there are too few for all trucks."""
    return np.maximum(cells.batteries - sum(line.trucks for line in room.plan.queues), 0.0)


def _wait_at(room: Room, rate: Floats, cells: Cells, waits: Floats) -> Floats:
    """Mean wait that brings the trucks' demand down to a long-run rate; what is there at the start comes on top."""
    at_start = (_spares(room, cells) + room.trucks) / room.length_min
    demand = np.sum([each.trucks * each.scheduled_share / (each.cycle_min + waits) for each in room.duties], axis=0)
    found: Floats = np.interp(1.0 / (rate + at_start), 1.0 / (room.undisturbed_share * demand), waits)
    return found


# Stations, devices, attendants


def _server_waits(room: Room, server: Server, cells: Cells, waits: Floats) -> Table:
    """Wait for a server when exchanges wait so long in all."""
    counts, rows = told_apart(np.floor(getattr(cells, server.field) / server.each))
    meeting = [duty.trucks * duty.scheduled_share * duty.meeting_share / room.open_share for duty in room.duties]
    at_work = sum(meeting)
    at_once = np.array([_together(room, server.minutes, count) for count in counts])
    table = np.repeat(at_once[:, None], waits.size, axis=1)
    if at_work <= 0.0 or server.minutes <= 0.0:
        return table, rows
    trucks = math.ceil(at_work - 1e-9)
    rate = sum(each / duty.cycle_min for each, duty in zip(meeting, room.duties, strict=True))
    elsewhere = max(trucks / rate - server.minutes, server.minutes / trucks) + waits
    spread = min(duty.run_sd_min for duty in room.duties) / (DISORDER * server.minutes)
    by_chance = spread**2 / (1.0 + spread**2)
    variability = (by_chance + (server.sd_min / server.minutes) ** 2) / 2.0
    for row, count in enumerate(counts):
        if 1.0 <= count < trucks:
            servers, minutes = np.full(waits.size, count), np.full(waits.size, server.minutes)
            wait = variability * machine_interference(trucks, servers, elsewhere, minutes).wait_min
            table[row] = np.maximum(table[row], np.interp(waits, waits + wait, wait))
    return table, rows


def _together(room: Room, minutes: float, servers: float) -> float:
    """Wait of trucks that come at the same minute, spread over all exchanges. [min]"""
    lost = 0.0
    for duty in room.duties if servers >= 1.0 else ():
        before = np.floor(np.arange(duty.come_together) / servers)
        lost += duty.changes * minutes * float(np.sum(before))
    visits = sum(WEEK_MIN * duty.trucks * duty.scheduled_share / duty.cycle_min for duty in room.duties)
    return lost / visits


def _at_servers(tables: list[Table], bay: Whole, part: Floats) -> Floats:
    """Longest of the waits for each server, which is what they come to together at least."""
    low, high = (np.max([values[rows, each] for values, rows in tables], axis=0) for each in (bay, bay + 1))
    longest: Floats = low * (1.0 - part) + high * part
    return longest


# Batteries round the clock


def _round_the_clock(room: Room, cells: Cells, waits: Floats, at_servers: list[Table]) -> _Waits:
    """Waits by chance where trucks never pause together."""
    none_ready, wait = _stock_waits(room, cells, waits)
    if any(duty.in_step for duty in room.duties):
        none_ready, wait = ((0.0 * table, rows) for table, rows in (none_ready, wait))
    bay, part = meet(waits, wait, at_servers)
    start = max(duty.cycle_min + duty.turn.charge_min + duty.turn.cool_min for duty in room.duties)
    settled = max(0.0, 1.0 - max(0.0, start - room.warm_up_min) / room.length_min)
    return _Waits(
        room=settled * _at_servers(at_servers, bay, part),
        battery=settled * between(wait, bay, part),
        none_ready=settled * between(none_ready, bay, part),
    )


def _stock_waits(room: Room, cells: Cells, waits: Floats) -> tuple[Table, Table]:
    """Share of trucks that find none ready, and the mean wait for a battery, when exchanges wait so long in all.

    Trucks that wait for a battery ask less often: on average, as the wait says, or at those times when some wait. The
    more hopeful of the two, since the first is too much for few trucks, the second where chargers are short.
    """
    spares, of_spares = told_apart(_spares(room, cells))
    chargers, of_chargers = told_apart(cells.chargers)
    rate = np.sum([duty.trucks / (duty.cycle_min + waits) for duty in room.duties], axis=0)
    most = max(duty.turn.charge_min + duty.turn.cool_min for duty in room.duties)
    # Mean backlog of constant charges: sum over n of E[(calls in n charges - n chargers)+] / n (Crommelin, Spitzer,
    # from memory), cut off.
    backlog = np.zeros((waits.size, chargers.size))
    turns_seen = TURNS if room.trucks >= MANY_TRUCKS else 1
    for turns in range(1, 1 + turns_seen if not room.plan.bound_chargers else 1):
        backlog += _law(room, waits, times=turns).shortage(turns * chargers)[1] / turns
    queues = np.minimum(backlog / rate[:, None], most)
    plenty = _short(room, waits, spares, _law(room, waits, cooled=True, held=True))
    found = np.empty((2, chargers.size, spares.size, waits.size))
    for row in range(chargers.size):
        found[:, row] = plenty
        if np.max(queues[:, row]) > FIRST_WAIT_MIN:
            found[:, row] = _short(room, waits, spares, _law(room, waits, queues[:, row], cooled=True, held=True))
    if room.plan.bound_chargers:
        by_chargers = _short(room, waits, chargers, _law(room, waits, cooled=True))
        found = np.maximum(found, by_chargers[:, :, None, :])
    rows = of_chargers * spares.size + of_spares
    none_ready, wait = found.reshape(2, chargers.size * spares.size, waits.size)
    return (none_ready, rows), (wait, rows)


def _short(room: Room, waits: Floats, spares: Floats, law: NumberOut) -> Floats:
    """Share that finds none ready, and mean wait for a battery, by spares and wait in all; shape (2, s, waits)."""
    trucks = float(room.trucks)
    rate = np.sum([duty.trucks / (duty.cycle_min + waits) for duty in room.duties], axis=0)
    none_ready, waiting = (each.T for each in law.shortage(spares))
    none_when, waiting_when = (each.T for each in law.shortage(spares, trucks))
    wait_when = waiting_when / (rate * np.maximum(1.0 - waiting_when / trucks, NEARLY_NONE))
    for row in range(spares.size):
        # These are by the waits for other things: by all waits, they come where both are added up.
        both = waits + wait_when[row]
        wait_when[row], none_when[row] = (np.interp(waits, both, each[row]) for each in (wait_when, none_when))
    return np.minimum([none_ready, waiting / rate], [none_when, wait_when])


def _law(
    room: Room, waits: Floats, queue: Floats | float = 0.0, times: int = 1, *, cooled: bool = False, held: bool = False
) -> NumberOut:
    """Law of the batteries on charge; with those that cool, and those that an exchange holds.

    Times are scheduled ones, so a turn is as much shorter as trucks have breaks.
    """
    sources = []
    for duty in room.duties:
        turn, cycle = duty.turn, duty.cycle_min + waits
        away = turn.charge_min + (turn.cool_min if cooled else 0.0) + (room.held_min if held else 0.0) + queue
        sd = math.hypot(turn.charge_sd_min, turn.cool_sd_min if cooled else 0.0)
        sources.append(
            Source(
                trucks=duty.trucks,
                cycle_min=cycle,
                cv=duty.run_sd_min / cycle,
                away_min=times * duty.scheduled_share * (away + 0.0 * waits),
                away_sd_min=np.minimum(duty.scheduled_share * sd, MOST_SPREAD * cycle),
            )
        )
    return number_out(sources)


# Batteries where trucks pause


def _through_the_week(room: Room, cells: Cells) -> _Waits:
    """Waits for a battery that the calendar alone makes, the stock being a fluid."""
    spares, of_spares = told_apart(_spares(room, cells))
    chargers, of_chargers = told_apart(cells.chargers)
    shape = (chargers.size, spares.size)
    rows = of_chargers * spares.size + of_spares
    stock, free = np.tile(spares, chargers.size), np.repeat(chargers, spares.size)
    charge = int(min(duty.turn.charge_min for duty in room.duties) // STEP_MIN)
    turn = int(min(duty.turn.charge_min + duty.turn.cool_min for duty in room.duties) // STEP_MIN)
    demand = np.sum([duty.demand for duty in room.duties], axis=0)
    rates = np.array([duty.trucks * duty.scheduled_share / duty.cycle_min for duty in room.duties])
    shares = rates / np.sum(rates)
    standing = sum(
        share * (duty.travel_min + duty.exchange_min) for share, duty in zip(shares, room.duties, strict=True)
    )
    ways: list[tuple[Floats, list[tuple[float, Whole]] | None]] = [(demand, None)]
    for points in ((0,), range(1, len(room.duties[0].lasting))):
        lasting = [
            (share * duty.lasting[n].share, duty.lasting[n])
            for share, duty in zip(shares, room.duties, strict=True)
            for n in points
        ]
        first = np.sum(
            [each.share * each.first_demand for duty in room.duties for each in (duty.lasting[n] for n in points)],
            axis=0,
        )
        ways.append((first, [(share, each.again) for share, each in lasting]))
    found = []
    # Trucks ask at any time, or batteries last equally long, or not quite: the most hopeful of the three.
    for asked, kinds in ways:
        course = stock_course(
            demand=asked,
            at_work_min=np.sum([duty.trucks * duty.at_work_min for duty in room.duties], axis=0) / room.trucks,
            first=room.first_step,
            trucks=float(room.trucks),
            spares=stock + WHOLE,
            chargers=free + WHOLE,
            charge_steps=charge,
            cool_steps=turn - charge,
            at_arrival=room.plan.rules.discharged_on_charge == "at_arrival",
            bound=room.plan.bound_chargers,
            again=kinds,
        )
        taken, asked_for = np.maximum(course.taken, 1.0), np.maximum(course.asked, 1.0)
        # Those who wait until after work are exchanged then, and lose no time by it.
        off_work = standing * (1.0 - course.at_work / taken)
        found.append((course.waiting_min / taken - off_work, course.none_ready / asked_for))
    hopeful = np.maximum(np.min(found, axis=0), 0.0).reshape(2, *shape)
    # A cell waits no longer than any that has less.
    least = np.minimum.accumulate(np.minimum.accumulate(hopeful, axis=1), axis=2)
    wait, none = room.undisturbed_share * least.reshape(2, stock.size)
    known = all(duty.level_only and not duty.in_step for duty in room.duties)
    return _Waits(np.zeros(rows.shape), wait[rows], none[rows] if known else np.zeros(rows.shape))
