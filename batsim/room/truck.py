"""One truck: what it is, how it came to the room, and what is drawn for it at random."""

from array import array
from collections.abc import Iterator
from itertools import repeat
from math import inf, nan
from typing import TYPE_CHECKING

import numpy as np

from batsim.record.tables import coming
from batsim.record.words import LEVEL, TURNED_AWAY
from batsim.room.chance.streams import first_factors
from batsim.room.timing.clock import Moment, ticked
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.record.tables import Coming
    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.chance.streams import Stream
    from batsim.room.plans.group_plan import GroupPlan
    from batsim.room.use.discharges import Discharge


class Truck:
    """One truck and what is going on with it."""

    __slots__ = (
        "area",
        "arrival_soc",
        "back_min",
        "battery",
        "below_cut_out",
        "call",
        "charged",
        "discharge",
        "drift_degc",
        "drift_share",
        "early_min",
        "entity",
        "exchange_times",
        "factor",
        "factors",
        "fetched_min",
        "first_min",
        "group",
        "helps_until_min",
        "joined_min",
        "lead_min",
        "lead_stream",
        "leads_min",
        "left_min",
        "number",
        "plugged_min",
        "position",
        "power_stream",
        "powers_w",
        "queue",
        "ready_found",
        "reason",
        "run_times",
        "served",
        "start",
        "start_soc",
        "stood_min",
        "trip_min",
        "turn",
        "turned_away",
        "usable_ah",
        "waits",
        "warmth",
        "watchful",
    )

    turn: int
    """When it joined the queue, among all that wait."""

    def __init__(self, area: "Area", number: int, group: "GroupPlan", position: int, battery: "Battery") -> None:
        self.area, self.number, self.group = area, number, group
        self.battery = self.charged = battery
        self.queue, self.trip_min = battery.queue, group.trip_min
        streams, truck = area.streams, group.truck
        # Streams go by the name of the group and the position: a truck more in one group shifts nobody in another.
        self.entity, self.position = f"truck of group {truck.group}", position
        self.factor = 1.0
        self.factors: Iterator[float] = repeat(1.0)
        """Factors on its power beside that of others; the first one is its own."""
        self.power_stream: Stream | None = None
        self.powers_w: array[float] = array("d")
        """Its power in each shift of its group. [W]"""
        self.run_times: Iterator[float] | None = None
        self.lead_stream: Stream | None = None
        self._ask_streams()
        self.start = streams.ask(self.entity, position, "start")
        self.exchange_times: list[Iterator[tuple[float, ...]]] = []
        """Times of its exchanges, by each method."""
        when = truck.exchange_when
        self.watchful = (
            when.shift_change != "never" or when.in_breaks_below_share is not None or when.early_below_share is not None
        )
        """Whether it may go for another battery before its level is reached."""
        self.lead_min = ticked(when.before_shift_end_min + when.spread.over_min * position / truck.count)
        """How long before the end of its shift it goes, where it has a fixed turn. [min]"""
        self.leads_min: array[float] | None = None
        """The same for each shift of its group, where it is drawn anew for every shift. [min]"""
        self.first_min = _first_run(group.truck.first_run_min, position)
        """Working time until it first asks; None for a random start. [min]"""
        self.start_soc = 1.0

        # Its present discharge.
        self.discharge: Discharge | None = None
        """Its discharge, while it may still be called early, and from when on."""
        self.early_min: float = inf
        """From when on it may be called. [min]"""
        self.drift_degc = self.drift_share = 0.0
        """Temperature to which its last discharge drifted, and how much of the way its mean had gone: a first guess."""
        self.usable_ah = 0.0
        """Ampere-hours of a whole state of charge in its last discharge. [Ah]"""

        # Its present visit to the room.
        self.left_min = self.joined_min = self.back_min = 0.0
        self.arrival_soc, self.below_cut_out, self.reason = 1.0, 0, LEVEL
        self.fetched_min = 0.0
        """Part of its way in which it stood with an empty battery until it was fetched. [min]"""
        self.ready_found: int = 0
        self.call: Moment
        self.served: Moment
        self.waits = False
        self.helps_until_min = self.stood_min = 0.0
        """Until when its driver lends a hand elsewhere; how long it has stood for that, not yet made up. [min]"""
        self.turned_away = False
        """Whether it found no charging spot, or no battery, when it last asked for one."""
        self.plugged_min = nan
        """Since when it has been plugged in within scheduled time. [min]"""

    def _ask_streams(self) -> None:
        """Ask for the streams of its run times, or of its powers."""
        truck, streams = self.group.truck, self.area.streams
        if truck.exchange_when.spread.anew:
            self.lead_stream = streams.ask(self.entity, self.position, "turn before each shift end")
        if truck.run_time_min is not None:
            self.run_times = streams.durations(truck.run_time_min, self.entity, self.position, "run")
        elif truck.duty is not None:
            self.factors = streams.factors(truck.duty.between_trucks_share, self.entity, self.position, "factor")
            if truck.duty.between_shifts_share:
                self.power_stream = streams.ask(self.entity, self.position, "power in each shift")

    def ask_exchanges(self) -> None:
        """Ask for the times of its exchanges, by each method."""
        for method in self.area.exchange.methods:
            entity = f"{self.entity} by standby" if method.number else self.entity
            times = method.plan.step_times if method.in_steps else method.plan.times
            self.exchange_times.append(times.of(self.area.streams, entity, self.position))

    def draw_start(self) -> None:
        """Draw what is settled at the start: how it differs from other trucks, and how full its battery is."""
        self.factor = next(self.factors)
        group = self.group
        if self.run_times is None:
            powers_w = self.factor * np.array(group.shift_power_w)
            if self.power_stream is not None:
                assert group.truck.duty is not None  # it has a spread
                powers_w *= first_factors(self.power_stream, group.truck.duty.between_shifts_share, powers_w.size)
            self.powers_w.frombytes(powers_w.tobytes())
        if self.lead_stream is not None:
            when = group.truck.exchange_when
            shares = self.lead_stream.generator().random(len(group.shift_ends))
            self.leads_min = array("d", map(ticked, when.before_shift_end_min + when.spread.over_min * shares))
        if self.first_min is None:
            level = group.truck.exchange_at_share
            self.start_soc = level + (1.0 - level) * float(self.start.generator().random())

    def write_shifts(self) -> None:
        """Write down the power of each of its shifts that begins before the run ends."""
        group, area = self.group, self.area
        write, horizon_min = area.record.write.truck_shifts, area.horizon_min
        for start_min, end_min, power_w in zip(group.shift_starts, group.shift_ends, self.powers_w, strict=False):
            if start_min < horizon_min:
                write(truck=self.number, group=group.number, start_min=start_min, end_min=end_min, power_w=power_w)

    def run_min(self) -> float:
        """Run time of the next discharge, by the demand of the week in which it is planned. [min]"""
        assert self.run_times is not None  # asked before
        demand = self.group.demand[int(self.area.env.now // WEEK_MIN)]
        minutes = next(self.run_times)
        return minutes if demand == 1.0 else ticked(minutes / demand)

    def came(self, kind: int, ready_found: float) -> "Coming":
        """How it came to the room, for the record."""
        return coming(
            truck=self.number,
            group=self.group.number,
            queue=self.queue.number,
            kind=kind,
            discharged=self.battery.number,
            soc_share=self.arrival_soc,
            below_cut_out=self.below_cut_out,
            ready_found=ready_found,
            left_min=self.left_min,
            joined_min=self.joined_min,
            reason=self.reason,
            fetched_min=self.fetched_min,
        )

    def leaves_later(self) -> bool:
        """Work later what it stood for, before it leaves at its level; else wait for its driver to be back."""
        way_min, stood_min, left_min = self.joined_min - self.left_min, self.stood_min, self.left_min
        self.stood_min = 0.0
        if self.reason == LEVEL:
            self.left_min = self.group.timetable.advance(left_min, stood_min)
        else:
            self.left_min = max(left_min, self.helps_until_min)
        self.joined_min = self.left_min + way_min
        return self.left_min > left_min

    @property
    def stands_still(self) -> bool:
        """Whether it has been turned away and could do no work since: its battery does not give the power any more."""
        return self.turned_away and self.left_min <= self.back_min

    def turn_away(self) -> None:
        """Go back to work, for no battery is ready or no charging spot is free."""
        now = self.area.env.now
        self.back_min, self.turned_away = now + self.trip_min, True
        self.area.record.write.exchanges(
            came=self.came(TURNED_AWAY, 0),
            charged=self.battery.number,
            start_min=now,
            truck_free_min=now,
            end_min=now,
            back_min=self.back_min,
        )


def _first_run(stated: "tuple[float, ...] | tuple[tuple[float, float]] | None", position: int) -> float | None:
    """Working time until a truck of a group first asks, where the scenario says so. [min]"""
    if stated is None:
        return None
    first = stated[0]
    if isinstance(first, tuple):
        return ticked(first[0] + position * first[1])
    return ticked(stated[position])  # type: ignore[arg-type]
