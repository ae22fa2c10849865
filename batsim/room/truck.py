"""One truck: what it is, how it came to the room, and what is drawn for it at random."""

from collections.abc import Iterator
from itertools import repeat
from math import nan
from typing import TYPE_CHECKING, NamedTuple

from batsim.record import LEVEL, TURNED_AWAY, Warmth, coming
from batsim.room.clock import Moment, ticked
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.formulas.kibam import Wells
    from batsim.record import Coming
    from batsim.room.battery import Battery
    from batsim.room.group_plan import GroupPlan
    from batsim.room.simulation import Room


class PlannedDischarge(NamedTuple):
    """A discharge as planned, down to the exchange level."""

    start_min: float
    minutes: float
    """Working minutes until the level. [min]"""
    soc_from: float
    level: float
    power_w: float
    """Mean power; 0 where run times are stated. [W]"""
    amps: float
    """Mean current of a battery that recovers in breaks. [A]"""
    wells: "Wells | None"
    driven_min: float
    """Minutes on the way from the room, which count as use. [min]"""
    factor: float
    """Capacity of the battery over the rated one. [-]"""


class Truck:
    """One truck and what is going on with it."""

    __slots__ = (
        "amps",
        "arrival_soc",
        "back_min",
        "battery",
        "below_cut_out",
        "call",
        "capacity_at_work",
        "cell",
        "charged",
        "discharge_factors",
        "drift_k",
        "entity",
        "exchange_times",
        "factor",
        "factors",
        "first_min",
        "group",
        "joined_min",
        "lead_min",
        "left_min",
        "number",
        "planned",
        "plugged_min",
        "position",
        "queue",
        "ready_found",
        "reason",
        "room",
        "run_times",
        "served",
        "start",
        "start_soc",
        "trip_min",
        "turned_away",
        "usable_ah",
        "waits",
        "warmth",
        "watchful",
        "wells",
    )

    def __init__(self, room: "Room", number: int, group: "GroupPlan", position: int, battery: "Battery") -> None:
        self.room, self.number, self.group = room, number, group
        self.battery = self.charged = battery
        self.queue, self.trip_min = battery.queue, group.trip_min
        streams, truck = room.streams, group.truck
        # Streams go by group and position, so that a truck more in one group shifts nobody in another.
        self.entity, self.position = f"truck of group {group.number}", position
        self.factor = 1.0
        self.factors: Iterator[float] = repeat(1.0)
        """Factors on its power beside that of others; the first one is its own."""
        self.discharge_factors: Iterator[float] | None = None
        self.run_times: Iterator[float] | None = None
        if truck.run_time_min is not None:
            self.run_times = streams.durations(truck.run_time_min, self.entity, position, "run")
        elif truck.duty is not None:
            self.factors = streams.factors(truck.duty.between_trucks_share, self.entity, position, "factor")
            self.discharge_factors = streams.factors(truck.duty.between_shifts_share, self.entity, position, "stint")
        self.start = streams.ask(self.entity, position, "start")
        self.exchange_times: list[Iterator[tuple[float, ...]]] = []
        """Times of its exchanges, by each method."""
        when = truck.exchange_when
        self.watchful = (
            when.shift_change != "never" or when.in_breaks_below_share is not None or when.early_below_share is not None
        )
        """Whether it may go for another battery before its level is reached."""
        self.lead_min = ticked(when.before_shift_end_min + when.spread_min * position / truck.count)
        """How long before the end of its shift it goes. [min]"""
        self.first_min = _first_run(group.truck.first_run_min, position)
        """Working time until it first asks; None for a random start. [min]"""
        self.start_soc = 1.0

        # Its present discharge.
        self.planned: tuple[PlannedDischarge, float] | None = None
        """Its discharge, while it may still be called early, and from when on. [-, min]"""
        self.warmth = Warmth(0.0, 0.0, 0.0)
        """Start, mean and end temperature of its battery in the discharge worked out last. [degC]"""
        self.drift_k = 0.0
        """Mean less start temperature of its last discharge, a first guess for the next. [K]"""
        self.capacity_at_work = 1.0
        """Capacity of its battery in the discharge worked out last, over the rated one. [-]"""
        self.usable_ah = 0.0
        self.wells: Wells | None = None
        self.amps = 0.0
        """Two wells and mean current of the present discharge, when it is charged in the truck. [A]"""
        self.cell = group.cell
        """Its battery at the temperature of the present discharge, when it is charged in the truck."""

        # Its present visit to the room.
        self.left_min = self.joined_min = self.back_min = 0.0
        self.arrival_soc, self.below_cut_out, self.reason = 1.0, 0, LEVEL
        self.ready_found = 0
        self.call: Moment
        self.served: Moment
        self.waits = False
        self.turned_away = False
        """Whether it found no charging spot, or no battery, when it last asked for one."""
        self.plugged_min = nan
        """Since when it has been plugged in within scheduled time. [min]"""

    def ask_exchanges(self) -> None:
        """Ask for the times of its exchanges, by each method."""
        for method in self.room.exchange.methods:
            entity = f"{self.entity} by standby" if method.number else self.entity
            times = method.plan.step_times if method.in_steps else method.plan.times
            self.exchange_times.append(times.of(self.room.streams, entity, self.position))

    def draw_start(self) -> None:
        """Draw what is settled at the start: how it differs from other trucks, and how full its battery is."""
        self.factor = next(self.factors)
        if self.first_min is None:
            level = self.group.truck.exchange_at_share
            self.start_soc = level + (1.0 - level) * float(self.start.generator().random())

    def power_w(self) -> float:
        """Mean power of the next discharge, by the demand of the week in which it is planned. [W]"""
        assert self.discharge_factors is not None  # there are run times or a duty
        demand = self.group.demand[int(self.room.env.now // WEEK_MIN)]
        return demand * self.group.power_w * self.factor * next(self.discharge_factors)

    def run_min(self) -> float:
        """Run time of the next discharge, by the demand of the week in which it is planned. [min]"""
        assert self.run_times is not None  # asked before
        demand = self.group.demand[int(self.room.env.now // WEEK_MIN)]
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
        )

    def turn_away(self) -> None:
        """Go back to work, for no battery is ready or no charging spot is free."""
        now = self.room.env.now
        self.back_min, self.turned_away = now + self.trip_min, True
        self.room.record.write.exchanges(
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
