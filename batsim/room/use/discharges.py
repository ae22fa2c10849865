"""Discharges: how a truck uses up its battery from one visit to the room to the next.

One discharge is one event: when the state of charge will have fallen to a level follows in closed form, shift by
shift at each one's power, and the calendar turns working minutes into clock time.
"""

from bisect import bisect_left, bisect_right
from math import exp, inf
from typing import TYPE_CHECKING, Any

from batsim.formulas.discharge import at_factor
from batsim.record.tables import Drawn, Warmth
from batsim.record.words import DRIVER, FETCHING, IN_BREAK, LEVEL, SHIFT_CHANGE
from batsim.room.timing.clock import ticked
from batsim.room.use.recovery import FromWells
from batsim.room.use.stretch import AtPace, AtPower, Source, Stretch, new
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.room.truck import Truck

CLOSE = 1e-3
"""The capacity factor of a discharge is that of its mean temperature but for less than this. [-]"""
MOST_PASSES = 8
DISCHARGED = 1e-6
"""Less than this above the cut-out lasts for some ticks of the clock at most: nothing is left to carry on with."""
W_MIN_PER_KWH = 60_000.0


class Discharge:
    """A truck's work on one battery, as far as it is planned."""

    __slots__ = (
        "ah",
        "driven_min",
        "gives",
        "keeps_min",
        "level",
        "reason",
        "start_min",
        "stretches",
        "truck",
        "watched",
        "watt_min",
    )

    ah: float
    watt_min: float
    """Ampere-hours and energy drawn in its stretches, where the power is known. [Ah, W min]"""

    gives: Source
    """What gives the power."""
    stretches: list[Stretch]

    def __init__(self, truck: "Truck", start_min: float, level: float, driven_min: float = 0.0) -> None:
        self.truck, self.start_min, self.level, self.driven_min = truck, start_min, level, driven_min
        """Minutes on the way from the room, before work begins. [min]"""
        self.keeps_min = 0.0
        """Minutes of driving that it keeps back, so that it comes to the room at its level. [min]"""
        self.watched = False
        """Whether it may end before its level: at a shift change, in a break, or when called."""

    def plan(self, state: Any, until_min: float = inf) -> None:  # noqa: ANN401 - of whatever gives the power
        """Work out its stretches, one for each shift, until its level, a visit to the room or a time. [min]"""
        self.reason = LEVEL
        truck, gives = self.truck, self.gives
        group, powers_w = truck.group, truck.powers_w
        stretches = self.stretches = []
        starts, table = group.shift_starts, group.timetable
        by_shift = self.watched or bool(powers_w)
        truck.early_min = inf
        begin_min, driven_min = self.start_min, self.driven_min
        shift = max(0, bisect_right(starts, begin_min) - 1)
        while True:
            following = shift + 1
            stop_min = starts[following] if by_shift and following < len(starts) else inf
            last = stop_min >= until_min
            if last:
                stop_min = until_min
            power_w, level = powers_w[shift] if powers_w else 0.0, self.level
            if self.keeps_min:
                level += gives.soc(state) - gives.soc(gives.used(state, power_w, self.keeps_min)[0])
            stretch = gives.part(table, begin_min, stop_min, state, level, power_w, driven_min)
            if self.watched and self._visits(stretch, shift, driven_min):
                return
            stretches.append(stretch)
            if last or stretch.end_min < stop_min or stretch.soc_share <= level or stop_min == inf:
                return
            state, begin_min, driven_min, shift = stretch.after, stop_min, 0.0, following

    def _visits(self, stretch: Stretch, shift: int, driven_min: float) -> bool:
        """Look for a visit to the room before a stretch ends, and end it there."""
        truck, group, table = self.truck, self.truck.group, self.truck.group.timetable
        when = group.truck.exchange_when
        begin_min, end_min, state, _, soc, power_w, _, _ = stretch
        visit_min, reason, cut = inf, LEVEL, stretch

        def reaches(level: float) -> float:
            return self.gives.part(table, begin_min, end_min, state, level, power_w, driven_min).end_min

        if truck.early_min == inf and when.early_below_share is not None and soc <= when.early_below_share:
            truck.early_min = reaches(when.early_below_share)
        at_change = self._at_shift_change(stretch, shift, driven_min) if when.shift_change != "never" else None
        if at_change is not None:
            visit_min, reason, cut = at_change.end_min, SHIFT_CHANGE, at_change
        below_share = when.in_breaks_below_share
        if below_share is not None and soc <= below_share:
            index = bisect_left(group.break_starts, reaches(below_share))
            if index < len(group.break_starts) and group.break_starts[index] < min(end_min, visit_min):
                visit_min, reason = group.break_starts[index], IN_BREAK
                cut = self.gives.upto(table, stretch, visit_min, driven_min)
        if visit_min == inf:
            return False
        self.reason = reason
        self.stretches.append(cut)
        return True

    def _at_shift_change(self, stretch: Stretch, shift: int, driven_min: float) -> Stretch | None:
        """What of a stretch lies before the visit at the change of its shift; None when the truck stays at work."""
        truck, group = self.truck, self.truck.group
        begin_min, end_min, _, _, soc, _, _, _ = stretch
        change_min = group.shift_ends[shift] - (truck.lead_min if truck.leads_min is None else truck.leads_min[shift])
        if not begin_min < change_min <= end_min or (change_min == end_min and soc <= self.level):
            return None
        always = group.truck.exchange_when.shift_change == "always"
        if not always and not _too_little(truck, shift, soc, self.level):  # before the change there is more left
            return None
        cut = self.gives.upto(group.timetable, stretch, change_min, driven_min)
        return cut if always or _too_little(truck, shift, cut.soc_share, self.level) else None

    def end_at(self, visit_min: float) -> None:
        """Have it end at a time before the planned one. [min]"""
        stretches = self.stretches
        while len(stretches) > 1 and stretches[-1].begin_min >= visit_min:
            stretches.pop()
        stretch = stretches.pop()
        driven_min = 0.0 if stretches else self.driven_min
        stretches.append(self.gives.upto(self.truck.group.timetable, stretch, visit_min, driven_min))

    def warmth(self, start_degc: float) -> Warmth:
        """Start, mean and end temperature, its heat spread over its breaks: `formulas.heat`. [degC]"""
        truck, end_min = self.truck, self.stretches[-1].end_min
        ah = watt_min = heat_a2min = 0.0
        tells_current = not isinstance(self.gives, AtPace)
        for _, _, _, _, _, power_w, used_min, part_ah in self.stretches if truck.powers_w else ():
            ah += part_ah
            watt_min += power_w * used_min
            if used_min and tells_current:
                heat_a2min += 3600.0 * part_ah * part_ah / used_min
        self.ah, self.watt_min = ah, watt_min
        span_min = end_min - self.start_min
        stated = truck.group.truck.temperature_degc
        if stated is not None or not 0.0 < span_min < inf:
            flat: Warmth = new(Warmth, (start_degc, start_degc, start_degc))
            return flat
        plan = truck.queue.plan
        top_degc = truck.group.air_degc[int(self.start_min // WEEK_MIN)] + plan.kelvin_per_a2 * heat_a2min / span_min
        spans = span_min / plan.truck_tau_min
        decay, excess = exp(-spans), start_degc - top_degc
        kept_share = (1.0 - decay) / spans
        truck.drift_degc, truck.drift_share = top_degc, 1.0 - kept_share
        warmth: Warmth = new(Warmth, (start_degc, top_degc + excess * kept_share, top_degc + excess * decay))
        return warmth

    def gets_rated(self, factor: float) -> bool:
        """Whether its currents are so weak that they get the rated ampere-hours at this capacity factor and above."""
        rated, gives = self.truck.queue.plan.rated_cell, self.gives
        if factor < rated.kappa_floor or rated.peukert == 1.0 or not isinstance(gives, AtPower):
            return False
        most_a: float = 0.2 * rated.capacity_ah * factor ** (1.0 / (rated.peukert - 1.0))
        return gives.most_a <= most_a

    def drawn(self) -> tuple[float, float, float]:
        """Ampere-hours, energy, and the part of it drawn on the way from the room; after `warmth`. [Ah, kWh, kWh]"""
        _, _, _, _, _, power_w, used_min, _ = self.stretches[0]
        way_min = self.driven_min if self.driven_min < used_min else used_min
        return self.ah, self.watt_min / W_MIN_PER_KWH, power_w * way_min / W_MIN_PER_KWH


def _too_little(truck: "Truck", shift: int, soc: float, level: float) -> bool:
    """Whether a driver thinks that what is left will not last the next shift: by the group's mean, not by its own."""
    use, following = truck.group.shift_use_share, shift + 1
    short = following < len(use) and soc - use[following] < level
    return short and soc <= truck.group.truck.exchange_when.not_above_share


def first_discharge(truck: "Truck", level: float) -> bool:
    """Plan the first discharge: of stated length, or from a random state of charge; see `work`."""
    capacity_ah, soc = truck.queue.plan.cell.capacity_ah, truck.start_soc
    if truck.first_min is not None:
        return _at_pace(Discharge(truck, 0.0, level), AtPace(truck.first_min, 1.0, level, capacity_ah), 1.0)
    truck.battery.missing_ah = (1.0 - soc) * capacity_ah
    if truck.run_times is not None:
        pace = AtPace(ticked(truck.run_min() * (soc - level) / (1.0 - level)), soc, level, capacity_ah)
        return _at_pace(Discharge(truck, 0.0, level), pace, soc, watched=truck.watchful)
    return _go_on_power(truck, 0.0, soc, level)


def work(truck: "Truck", start_min: float, level: float) -> bool:
    """Plan the discharge on a full battery from a start to the next visit to the room.

    Fills in when the truck leaves its work, when it joins the queue and what is left in its battery then. The
    ways from and to the room are driven at the power of the shift. Returns False when it never comes.
    """
    if truck.run_times is not None:
        pace = AtPace(truck.run_min(), 1.0, level, truck.queue.plan.cell.capacity_ah)
        return _at_pace(Discharge(truck, start_min, level), pace, 1.0, watched=truck.watchful)
    return _go_on_power(truck, start_min, 1.0, level, driven_min=truck.trip_min)


def carry_on(truck: "Truck", start_min: float, level: float, *, keeps_min: float = 0.0) -> bool:
    """Plan on with what is left, down to a level, some minutes of driving kept back; see `work`.

    A run time says nothing of what is left: the truck then works for another one, and nothing more is drawn.
    """
    soc = truck.arrival_soc
    if truck.run_times is not None:
        return _at_pace(Discharge(truck, start_min, soc), AtPace(truck.run_min(), soc, soc, 0.0), soc)
    return _go_on_power(truck, start_min, soc, level, driven_min=truck.trip_min, keeps_min=keeps_min, watched=False)


def drawn_between(truck: "Truck", soc_from: float, soc_to: float) -> tuple[float, float]:
    """What a discharge takes between two states of charge, at no particular power. [Ah, kWh]"""
    cell = truck.queue.plan.cell
    ah = (soc_from - soc_to) * cell.capacity_ah
    return ah, ah * cell.cells * (cell.empty_v + cell.slope_v * (soc_from + soc_to) / 2.0) / 1000.0


def at_power(discharge: Discharge, soc: float, until_min: float = inf, *, rested_min: float = 0.0) -> Warmth:
    """Plan a discharge at the capacity that its temperature gives it, after a rest; returns its warmth. [degC]

    The colder the battery gets, the shorter the discharge, and the less it cools: a fixed point. That it drifts as in
    the last discharge is a good first guess, and weak currents get the rated ampere-hours anyhow, so one pass is mostly
    enough.
    """
    truck = discharge.truck
    battery, kind = truck.battery, truck.queue.plan
    health = battery.capacity_share * (1.0 - battery.lost_share * battery.damage)
    start_degc = begins_at_degc(truck, discharge.start_min)
    factor = kind.capacity_at(start_degc + truck.drift_share * (truck.drift_degc - start_degc)) * health
    for _ in range(MOST_PASSES):
        if kind.wells is None:
            discharge.gives = AtPower(at_factor(kind.rated_cell, factor))
            discharge.plan(soc, until_min)
        else:
            discharge.gives = wells = FromWells(kind.wells, kind.rated_cell, factor)
            state = wells.state(battery.missing_ah, battery.surplus_ah)
            discharge.plan(wells.rested(state, rested_min / 60.0), until_min)
        warmth = discharge.warmth(start_degc)
        before, factor = factor, kind.capacity_at(warmth[1]) * health
        if -CLOSE < factor - before < CLOSE or discharge.gets_rated(min(before, factor)):
            break
    return warmth


def begins_at_degc(truck: "Truck", start_min: float) -> float:
    """Temperature of a truck's battery when a discharge begins. [degC]"""
    stated = truck.group.truck.temperature_degc
    return truck.battery.degc_after_rest(start_min, truck.area.air_degc(start_min)) if stated is None else stated


def _go_on_power(
    truck: "Truck",
    start_min: float,
    soc: float,
    level: float,
    *,
    driven_min: float = 0.0,
    keeps_min: float = 0.0,
    watched: bool = True,
) -> bool:
    """Work at the power of each shift until a level, or a visit before it, then drive to the room."""
    discharge = Discharge(truck, start_min, level, driven_min)
    discharge.keeps_min, discharge.watched = keeps_min, watched and truck.watchful
    warmth = at_power(discharge, soc)
    return _until_called(discharge) or _settle(discharge, soc, warmth)


def _at_pace(discharge: Discharge, pace: AtPace, soc: float, *, watched: bool = False) -> bool:
    """Work for a time that brings the battery to a level, or until a visit before it."""
    discharge.gives, discharge.watched = pace, watched
    discharge.plan(soc)
    return _until_called(discharge) or _settle(discharge, soc)


def _until_called(discharge: Discharge) -> bool:
    """Leave a discharge open that a call may end early."""
    truck, left_min = discharge.truck, discharge.stretches[-1].end_min
    if truck.early_min >= left_min or truck.early_min == inf:
        return False
    truck.early_min = max(truck.early_min, truck.area.env.now)
    truck.discharge, truck.left_min, truck.reason = discharge, left_min, discharge.reason
    truck.joined_min = left_min + truck.trip_min
    return True


def leave_at(truck: "Truck", visit_min: float) -> None:
    """Settle a discharge that was open to a call: the truck leaves its work at a time."""
    discharge, reason = truck.discharge, truck.reason
    assert discharge is not None  # there is a discharge to settle
    truck.discharge = None
    if visit_min < discharge.stretches[-1].end_min:
        discharge.end_at(visit_min)
    _settle(discharge, discharge.gives.soc(discharge.stretches[0].before))
    truck.reason = reason


def _settle(discharge: Discharge, soc_from: float, warmth: Warmth | None = None) -> bool:
    """Note how the truck will come to the room after a discharge, and write its row; False when it never comes."""
    truck, last = discharge.truck, discharge.stretches[-1]
    battery, left_min, soc = truck.battery, last.end_min, last.soc_share
    truck.left_min, truck.reason, truck.fetched_min = left_min, discharge.reason, 0.0
    if warmth is None:
        warmth = discharge.warmth(begins_at_degc(truck, discharge.start_min))
    if truck.powers_w:
        ah, kwh, way_kwh = discharge.drawn()
        if left_min < inf and truck.trip_min:
            soc, trip_ah, trip_min = _drive(truck, discharge, last)
            trip_kwh = last.power_w * trip_min / W_MIN_PER_KWH
            ah, kwh, way_kwh = ah + trip_ah, kwh + trip_kwh, way_kwh + trip_kwh
        elif isinstance(discharge.gives, FromWells):
            battery.surplus_ah = last.after[1]
    else:
        (ah, kwh), way_kwh = drawn_between(truck, soc_from, soc), 0.0
    battery.soc_share = truck.arrival_soc = soc
    battery.missing_ah += ah
    truck.below_cut_out = int(soc < truck.queue.plan.battery.discharge_to_share - DISCHARGED)
    truck.joined_min = left_min + truck.trip_min + truck.fetched_min
    depth_share = battery.missing_ah / truck.queue.plan.capacity_ah
    drawn: Drawn = new(Drawn, (soc_from, soc, ah, kwh, way_kwh, depth_share))
    write_discharge(truck, discharge.start_min, left_min, drawn, warmth)
    return left_min < inf


def _drive(truck: "Truck", discharge: Discharge, last: Stretch) -> tuple[float, float, float]:
    """Drive to the room: state of charge there, ampere-hours drawn, minutes driven; a truck that stops is fetched."""
    gives, way_min = discharge.gives, truck.trip_min
    after, ah = gives.used(last.after, last.power_w, way_min)
    soc = gives.soc(after)
    if isinstance(gives, FromWells):
        truck.battery.surplus_ah = after[1]
    if soc <= 0.0 or not (ah or isinstance(gives, AtPace)):  # empty, or too weak for the power
        hours_ah = gives.used(gives.full, last.power_w, way_min)[1]
        way_min *= min(1.0, ah / hours_ah) if hours_ah else 0.0
        truck.fetched_min = fetched_min = truck.group.fetch_min
        begin_min, write = last.end_min + truck.trip_min, truck.area.record.write.work
        end_min = begin_min + fetched_min
        write(
            area=truck.area.number,
            person=DRIVER,
            task=FETCHING,
            start_min=begin_min,
            end_min=end_min,
            hands_on_min=fetched_min,
        )
    return soc, ah, way_min


def write_discharge(truck: "Truck", start_min: float, end_min: float, drawn: Drawn, warmth: Warmth) -> None:
    """Warm and wear the battery, and write the row of a discharge."""
    battery = truck.battery
    ageing_degc = battery.used(start_min, end_min, warmth, truck.area.air_degc(start_min))
    truck.area.record.write.discharges(
        truck=truck.number,
        group=truck.group.number,
        battery=battery.number,
        start_min=start_min,
        end_min=end_min,
        drawn=drawn,
        warmth=warmth,
        ageing_degc=ageing_degc,
        damage=battery.wear(drawn.drawn_ah, ageing_degc),
    )
