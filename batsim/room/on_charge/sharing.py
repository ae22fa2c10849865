"""Chargers that share a power limit: who is in the main stage is throttled, anew at each change.

A charge whose current falls by itself keeps what it takes; what is left of the limit goes in equal proportion to
those in their main stage, and to those in a last stage that is held down. Each of them is counted with the most
that it will draw before it can be throttled again, so that no passage to a higher voltage breaks the limit. A
change is a start, an end, and the passage from one stage to the next. Between two changes every charge runs on in
closed form, so one event for each change is all it costs. Chargers whose current falls along a line, and equalising
charges, cannot be throttled: they wait until there is room for them.
"""

from collections.abc import Callable
from functools import partial
from math import exp, inf
from typing import TYPE_CHECKING

from batsim.formulas.charging import charge_phases
from batsim.formulas.phases import Phase, cut, greatest_va, phases_totals, rest_of
from batsim.room.timing.clock import Moment, ticked
from batsim.room.timing.timetable import Timetable
from batsim.scenario.parts.batteries import FALLING

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.formulas.phases import Profile
    from batsim.room.battery import Battery
    from batsim.room.on_charge.charge import Piece, Planned
    from batsim.room.simulation import Room

SAME = 1e-9
"""Shares nearer than this are the same; below it nothing flows. [-]"""
JUST_BELOW = 1e-6
"""Part by which a last stage is held down where its full current is just too much. [-]"""
ALMOST_KW = 1e-6
HOLDING = ("IU", "CC-CV")
"""Characteristics that end with their held voltage."""
ROUNDING_MIN = 1e-6
"""A change this near is now: times of changes are rounded to ticks. [min]"""


class Running:
    """A charge under way or waiting for power."""

    def __init__(
        self, battery: "Battery", profile: "Profile", kw_per_a: float, planned: "Planned", to_soc: float
    ) -> None:
        self.battery, self.profile, self.planned = battery, profile, planned
        self.kw_per_a = kw_per_a
        """Power from the wall for an ampere at a volt per cell. [kW/(A V)]"""
        self.rigid = planned.timed or profile.kind in FALLING
        self.to_soc = to_soc
        self.pieces: list[Piece] = []
        """What it has given so far."""
        self.flowed = self.pieces
        """What is written of it; at the end of a run not what was still to come."""
        self.left: tuple[Phase, ...] = planned.phases
        """What is still to come, from `since_min` on, if nothing changes."""
        self.since_min = 0.0
        self.flowing = False
        self.missing_ah = battery.missing_ah
        self.owed_ah = battery.owed_ah or profile.factor * battery.missing_ah
        self.share = 1.0
        """Part of its main current that it may take. [-]"""
        last = planned.phases[-1:] if planned.equalising_min else ()
        self.equalising = last
        held_v = max(profile.empty_v, profile.absorption_v)
        last_a = 0.0 if profile.kind in HOLDING else profile.end_a
        self.main_kw = profile.main_a * held_v * kw_per_a
        """Most power up to the end of its main stage when it is not throttled. [kW]"""
        self.last_kw = last_a * profile.finish_v * kw_per_a
        """Power of its last stage when it is not throttled. [kW]"""
        self.last_share = last_a / profile.main_a if profile.main_a else 0.0
        """Part of its main current below which its last stage is throttled too. [-]"""
        below = self.last_share * (1.0 - JUST_BELOW)
        self.corners = (below, self.last_share, self.last_kw / self.main_kw if self.main_kw else 0.0)
        """Parts of its main current at which `most_kw` bends or steps. [-]"""
        self.in_last_stage = False
        """Whether it has come to its last stage, which is held down as long as it can be throttled."""
        self.done: Callable[[], object]
        """What is to be done at its end."""
        self.write: Callable[[float], object]
        """What writes it when the run ends before it does; takes its planned end. [min]"""

    def most_kw(self, share: float) -> float:
        """Most power from the wall at a part of its main current, now and in the stages that cannot be throttled. [kW]

        Below `last_share` its last stage can be throttled, so only the present one counts.
        """
        if self.in_last_stage:
            return self.last_kw * min(1.0, share / self.last_share)
        if share < self.last_share:
            return share * self.main_kw
        return max(share * self.main_kw, self.last_kw)

    def needed_kw(self, coming: tuple[Phase, ...]) -> float:
        """Most power from the wall in phases to come; the equalising charge at their end asks for its own. [kW]"""
        own = coming[:-1] if self.equalising and len(coming) > 1 else coming
        return max((greatest_va(phase) * self.kw_per_a for phase in own), default=0.0)

    def coming(self, now: float) -> tuple[Phase, ...]:
        """Phases from now on, as planned."""
        return rest_of(self.left, (now - self.since_min) / 60.0) if self.flowing else self.left

    def in_main_stage(self, coming: tuple[Phase, ...]) -> bool:
        """Whether its current can be throttled and raised again; so it can in a last stage that is held down."""
        if self.rigid or len(coming) <= len(self.equalising):
            return False
        first = coming[0]
        if first.acceptance_per_h:
            return first.amps < self.profile.end_a * (1.0 - SAME)
        return first.decay_per_h == 0.0

    def settle(self, now: float) -> None:
        """Book what has flowed until now."""
        if self.flowing:
            hours = (now - self.since_min) / 60.0
            capacity_ah, begin = self.battery.queue.plan.capacity_ah, self.since_min
            for phase in cut(self.left, hours):
                if phase.hours > ROUNDING_MIN / 60.0:
                    self.pieces.append((begin, phase))
                begin += 60.0 * phase.hours
                self.missing_ah -= (phase.soc_to - phase.soc_from) * capacity_ah
                self.owed_ah -= phases_totals((phase,), 0)[1]
            self.left = rest_of(self.left, hours)
            while self.left and self.left[0].hours < ROUNDING_MIN / 60.0:
                self.left = self.left[1:]
            self._look_ahead()
        self.since_min = now

    def throttle(self, share: float, now: float) -> None:
        """Go on from now with a part of the main current."""
        self.settle(now)
        self.share, self.flowing = share, share > SAME
        if self.flowing and not self.rigid:
            capacity_ah = self.battery.queue.plan.capacity_ah
            profile = self.profile._replace(main_a=share * self.profile.main_a)
            phases = charge_phases(profile, capacity_ah, self.missing_ah, max(0.0, self.owed_ah), self.to_soc)
            self.equalising = _going_on(phases, self.equalising)
            self.left = (*phases, *self.equalising)
            self._look_ahead()

    def _look_ahead(self) -> None:
        """See whether its last stage has come."""
        if self.left and self.left[0].acceptance_per_h:
            self.in_last_stage = True

    def so_far(self) -> "Planned":
        """Plan of what it has given."""
        return self.planned._replace(phases=tuple(phase for _, phase in self.pieces))

    def next_change_min(self, *, free: bool) -> float:
        """When its present phase ends; while nobody is held back, all that it may do without asking. [min]"""
        if not self.flowing or not self.left:
            return inf
        own = self.left[:1]
        if free:
            own = self.left[:-1] if self.equalising and len(self.left) > 1 else self.left
        return self.since_min + 60.0 * sum(phase.hours for phase in own)


class SharedPower:
    """All charges that share the limit."""

    def __init__(self, room: "Room", limit_kw: float) -> None:
        blueprint = room.blueprint
        standby_kw = sum(charger.count * charger.standby_kw for charger in blueprint.chargers if charger.count < inf)
        self.room, self.limit_kw = room, limit_kw - standby_kw
        self.open_hours = blueprint.open_windows or Timetable([], always=True)
        self.charges: list[Running] = []
        self.free = True
        """Whether there is power enough for all, whatever stage they come to; equalising asks anew."""
        self.timer = 0
        self.timer_min = inf

    def begin(self, charge: Running) -> None:
        """Let a charge take part from now on."""
        charge.since_min = self.room.env.now
        charge.share = 0.0
        if charge.left:
            self.charges.append(charge)
            self._share_out()
        else:
            charge.done()

    def stop(self, charge: Running) -> None:
        """Take a charge out before its end; what it has given is in its pieces."""
        charge.settle(self.room.env.now)
        charge.flowing = False
        if charge in self.charges:
            self.charges.remove(charge)
            self._share_out()

    def write_under_way(self, horizon_min: float) -> None:
        """Write the charges that the end of a run leaves unfinished, with the end that they would have alone. [min]"""
        for charge in self.charges:
            charge.settle(horizon_min)
            charge.flowed = list(charge.pieces)
            end_min = horizon_min
            for phase in charge.left:
                charge.pieces.append((end_min, phase))
                end_min += 60.0 * phase.hours
            charge.write(end_min)

    def _share_out(self) -> None:
        """Divide the limit anew, and look again at the next change.

        Power of those that cannot be throttled comes first; the rest goes to the others in equal shares. A charge that
        thereby passes to another stage needs other power than it was counted with, so then all is divided once more.
        """
        now = self.room.env.now
        opens_min, closes_min = self.open_hours.window(now)
        if opens_min > now:
            self._pause(now)
            self._look_again(opens_min)
            return
        coming = {charge: charge.coming(now) for charge in self.charges}
        main = [charge for charge, phases in coming.items() if charge.in_main_stage(phases)]
        share = _greatest_share(main, max(0.0, self._left_kw(coming, main, now)))
        if _throttle(main, share, now) and share > SAME:
            self._share_out()
            return
        self.free = share == 1.0 and all(charge.flowing for charge in self.charges)
        changes = [charge.next_change_min(free=self.free) for charge in self.charges]
        self._look_again(min([*changes, closes_min]))

    def _pause(self, now: float) -> None:
        """Let no current flow outside the hours of charging."""
        for charge in self.charges:
            if charge.flowing:
                charge.throttle(0.0, now)

    def _left_kw(self, coming: "dict[Running, tuple[Phase, ...]]", main: "list[Running]", now: float) -> float:
        """Power left for the main stage, once those that cannot be throttled have theirs, or wait for it. [kW]"""
        left_kw = self.limit_kw - sum(
            charge.needed_kw(phases) for charge, phases in coming.items() if charge.flowing and charge not in main
        )
        for charge, phases in coming.items():
            if charge.flowing or charge in main:
                continue
            needed_kw = charge.needed_kw(phases)
            # Alone it always may, for the limit is checked at the temperature of the rating.
            if needed_kw <= left_kw + ALMOST_KW or not any(other.flowing for other in self.charges):
                left_kw -= needed_kw
                charge.since_min, charge.flowing = now, True
        return left_kw

    def _look_again(self, time_min: float) -> None:
        """Have the shares settled anew at a time, or sooner if that is wanted already."""
        if time_min < self.timer_min:
            self.timer += 1
            delay = max(0.0, ticked(time_min - self.room.env.now))
            self.timer_min = self.room.env.now + delay
            Moment(self.room.env, partial(self._changed, self.timer)).after(delay)

    def _changed(self, number: int, _: "Event") -> None:
        """Pass charges on to their next stage, end those that are over, and divide anew."""
        if number != self.timer:
            return
        self.timer_min = inf
        now, ended = self.room.env.now, []
        for charge in self.charges:
            change_min = charge.next_change_min(free=self.free)
            if change_min <= now + ROUNDING_MIN:
                charge.settle(max(now, change_min))
                charge.since_min = now
                if charge.equalising and len(charge.left) == 1:
                    charge.flowing = False  # the equalising charge waits for power of its own
                if not charge.left:
                    ended.append(charge)
        self.charges = [charge for charge in self.charges if charge not in ended]
        self._share_out()
        for charge in ended:
            charge.done()


def _throttle(main: list[Running], share: float, now: float) -> bool:
    """Give charges their share of their main current; whether one has thereby passed to another stage."""
    passed = False
    for charge in main:
        if not -SAME < charge.share - share < SAME or not charge.flowing:
            before = charge.in_last_stage
            charge.throttle(share, now)
            passed |= charge.in_last_stage != before or not charge.in_main_stage(charge.left)
    return passed


def _greatest_share(main: list[Running], left_kw: float) -> float:
    """Greatest part of their main current that charges may take together: a straight line from bend to bend. [-]"""
    low = low_kw = 0.0
    for high in sorted({1.0, *(corner for charge in main for corner in charge.corners if 0.0 < corner < 1.0)}):
        high_kw = sum(charge.most_kw(high) for charge in main)
        if high_kw > left_kw:
            return low + (high - low) * (left_kw - low_kw) / (high_kw - low_kw)
        low, low_kw = high, high_kw
    return 1.0


def _going_on(phases: tuple[Phase, ...], equalising: tuple[Phase, ...]) -> tuple[Phase, ...]:
    """Let an equalising charge go on from where the phases before it end."""
    if not phases or not equalising:
        return equalising
    soc, last = phases[-1].soc_to, equalising[0]
    reached = 1.0 - (1.0 - soc) * exp(-last.acceptance_per_h * last.hours)
    return (last._replace(soc_from=soc, soc_to=reached),)
