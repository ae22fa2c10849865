"""One exchange under way: when each step ends, what it holds, and what it gives back when.

Mostly all its times are settled at the start. Where attendants go home in the middle of it and hand it over, they are
settled in parts: up to the end of the shift, and again when others take it up.
"""

from heapq import heappush
from itertools import accumulate
from math import inf, nan
from operator import mul
from typing import TYPE_CHECKING

from batsim.record.words import DRIVER, EXCHANGE, EXCHANGING, IN_TRANSFER, IN_TRUCK, LAID_DOWN
from batsim.room.plans.exchange_plan import WHERE_LEFT
from batsim.room.timing.clock import Moment, Timed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.exchanging.devices import Unit
    from batsim.room.exchanging.exchange import ExchangeDesk, Method
    from batsim.room.people.attendants import Person
    from batsim.room.plans.exchange_plan import ExchangePlan, Instant
    from batsim.room.truck import Truck

Held = list[tuple[int, "Unit"]]
"""Devices that an exchange holds: number of the kind among those of its method, and which."""


class ExchangeJob:
    """One exchange and what it holds."""

    __slots__ = (
        "back_min",
        "bay",
        "came",
        "charged",
        "desk",
        "discharged",
        "done",
        "driven_min",
        "end_min",
        "free_min",
        "held",
        "left_min",
        "method",
        "metres",
        "minutes",
        "needed",
        "next_instant",
        "next_step",
        "part_min",
        "people",
        "people_min",
        "plan",
        "ready_min",
        "skill",
        "start_min",
        "station",
        "truck",
    )

    def __init__(
        self,
        desk: "ExchangeDesk",
        method: "Method",
        plan: "ExchangePlan",
        truck: "Truck",
        charged: "Battery",
        station: int,
        people: "list[Person]",
        held: Held,
        done: Moment,
    ) -> None:
        self.desk, self.method, self.plan, self.truck = desk, method, plan, truck
        self.discharged, self.charged = truck.battery, charged
        self.station, self.people, self.held, self.done = station, people, held, done
        self.bay = charged.bay
        self.start_min = desk.area.env.now
        # How the truck came; it may be at work again before an exchange that is handed over is done.
        self.came = truck.came(EXCHANGE, truck.ready_found)
        self.free_min = self.end_min = self.back_min = self.people_min = nan
        self.next_instant = 0
        """Number of the instant that happens next."""

    def begin(self) -> None:
        """Begin: settle every instant at which something is given back, and write the rows."""
        desk, method, now = self.desk, self.method, self.start_min
        write_state = desk.write.battery_states
        if not desk.at_arrival:
            write_state(battery=self.discharged.number, state=IN_TRANSFER, from_min=now)
        write_state(battery=self.charged.number, state=IN_TRANSFER, from_min=now)
        times = next(self.truck.exchange_times[method.number])
        self.metres = [0.0] * len(method.devices)
        if method.in_steps:
            self._begin_in_steps(list(times))
            return
        attended_min, driven_min, *delays = times
        self._settle_all(delays)
        if self.plan.attendants:
            self._write_attended(now, self.people_min, attended_min)
        self._book(driven_min)

    def _settle_all(self, delays: "Sequence[float]") -> None:
        """Settle every instant, then until when each device is held, so many minutes from now."""
        now, instants = self.start_min, self.plan.instants
        for instant, delay_min in zip(instants, delays, strict=False):  # those of the devices follow
            self._settle(instant, now + delay_min, delay_min)
        first = len(instants)
        for kind, unit in self.held:
            unit.free_min = now + delays[first + kind]
            self._write_device(kind, unit)

    def _settle(self, instant: "Instant", time_min: float, delay_min: float) -> None:
        """Settle when an instant happens, so many minutes from now."""
        _, truck, end, people = instant
        if truck:
            leaving = self.truck
            self.free_min, leaving.charged = time_min, self.charged
            self.back_min = leaving.back_min = time_min + leaving.trip_min
            self.done.callbacks.insert(0, self._give_back)
            self.done.after(delay_min)
        else:
            Timed(self.done.env, delay_min, [self._give_back])
        if people:
            self.people_min = time_min
        if end:
            self.end_min = time_min

    def _book(self, driven_min: float) -> None:
        """Write the rows of the exchange, as soon as all its times are settled."""
        self.write()
        if driven_min:
            write, start_min, end_min, area = self.desk.write.work, self.start_min, self.free_min, self.desk.area.number
            write(
                area=area,
                person=DRIVER,
                task=EXCHANGING,
                start_min=start_min,
                end_min=end_min,
                hands_on_min=driven_min,
            )

    def write(self) -> None:
        """Write the row of the exchange, as far as its times are known."""
        self.desk.write.exchanges(
            came=self.came,
            charged=self.charged.number,
            start_min=self.start_min,
            truck_free_min=self.free_min,
            end_min=self.end_min,
            back_min=self.back_min,
            station=self.station,
            standby=self.method.number,
        )

    def _write_attended(self, start_min: float, end_min: float, attended_min: float) -> None:
        """Write what its attendants do."""
        count, write = self.plan.attendants, self.desk.area.attendants.write_work
        write(self.people, self.desk.area.number, EXCHANGING, start_min, end_min, attended_min, count)

    def _write_device(self, kind: int, unit: "Unit") -> None:
        """Write until when a device is held."""
        device, number, end_min, metres = self.method.devices[kind].kind, unit.number, unit.free_min, self.metres[kind]
        self.desk.write.devices(device=device, unit=number, start_min=self.start_min, end_min=end_min, metres=metres)

    def _begin_in_steps(self, minutes: list[float]) -> None:
        """Begin an exchange whose steps are worked out one by one: with ways, breaks or changes of shift."""
        plan, attendants = self.plan, self.desk.area.attendants
        if plan.has_legs:
            self._add_ways(minutes)
        ends = list(accumulate(minutes))
        breaks: list[tuple[float, float]] = []
        if attendants.stops_in_breaks and not plan.attendants:
            ends = self._ends_of_driver(minutes)
            breaks = self.truck.group.crossing.gaps_in(self.start_min, self.start_min + ends[-1])
        people_min = self.start_min + ends[plan.people_step] if plan.attendants else 0.0
        if attendants.stays(self.people, self.start_min, people_min):
            self._settle_all([ends[step] for step in plan.ends])
            self._lie_still(breaks)
            begun_min = self.start_min
            if people_min > begun_min:
                attended_min = sum(map(mul, minutes, plan.attendants_busy))
                self._write_attended(begun_min, people_min, attended_min)
            self._book(sum(map(mul, minutes, plan.drivers_busy)) if plan.drivers_busy else 0.0)
            if plan.helpers:
                self.desk.call_helpers(self.truck, plan.helpers, begun_min + ends[plan.helper_step])
            return
        self.minutes = minutes
        self.needed, self.skill = plan.attendants, plan.skill
        self.next_step, self.driven_min = 0, 0.0
        self.left_min = minutes[0]
        self.ready_min = self.start_min
        self._go_on()

    def _ends_of_driver(self, minutes: list[float]) -> list[float]:
        """Ends of the steps, from the start, of a driver who lays them down in breaks, or begins them again after."""
        crossing, again = self.truck.group.crossing, self.desk.area.attendants.again_after_break
        ends, time = [], self.start_min
        for length_min in minutes:
            time = crossing.end_of(time, length_min, again=again)
            ends.append(time - self.start_min)
        return ends

    def _add_ways(self, minutes: list[float]) -> None:
        """Add the time of each way to its step, and leave each device where its last way ends."""
        floor, metres = self.desk.floor, self.metres
        assert floor is not None  # ways follow from positions
        at_station = floor.bays + self.station
        points = [at_station, self.discharged.bay, self.bay, *([at_station] * len(metres))]
        for kind, unit in self.held:
            points[WHERE_LEFT + kind] = unit.point
        for step, device, begin, end, table_min, way_m in self.method.routes:
            from_point, to_point = points[begin], points[end]
            minutes[step] += table_min[from_point][to_point]
            metres[device] += way_m[from_point][to_point]
            points[WHERE_LEFT + device] = to_point
        for kind, unit in self.held:
            unit.point = points[WHERE_LEFT + kind]

    def _go_on(self) -> None:
        """Settle the steps from the next one on: to the end, or to the end of the attendants' shift."""
        attendants, plan = self.desk.area.attendants, self.plan
        people, stop_min = self.people, attendants.stop_of(self.people)
        self.part_min, time = self.desk.area.env.now, self.ready_min
        ends: dict[int, float] = {}
        breaks: list[tuple[float, float]] = []
        first, attended_min = self.next_step, 0.0
        for step in range(first, len(plan.hands)):
            hands, begun_min = plan.hands[step], time
            minutes = self.left_min if step == first else self.minutes[step]
            time = attendants.end_of(people, time, minutes) if hands.attendants else time + minutes
            if hands.attendants:
                breaks += attendants.gaps_of(people, begun_min, min(time, stop_min))
            if hands.attendants and time > stop_min:
                self._lay_down(step, begun_min, time - stop_min, minutes)
                worked_min = minutes - min(minutes, time - stop_min)
                if worked_min:
                    worked_min = attendants.worked_min(people, begun_min, stop_min, worked_min)
                self._settle_to(first, ends, attended_min + hands.attendants * worked_min, stop_min)
                self._lie_still(breaks)
                self.driven_min += hands.drivers * worked_min
                return
            ends[step] = time
            if hands.attendants:
                minutes = attendants.worked_min(people, begun_min, time, minutes)
            attended_min += hands.attendants * minutes
            self.driven_min += hands.drivers * minutes
        self.next_step = len(plan.hands)
        self._settle_to(first, ends, attended_min, None)
        self._lie_still(breaks)
        self.desk.unsettled.pop(self, None)
        self._book(self.driven_min)

    def _lay_down(self, step: int, begun_min: float, over_min: float, minutes: float) -> None:
        """Note from where others take over when the shift ends in the middle of a step."""
        self.next_step = step
        self.ready_min = begun_min
        self.left_min = minutes if self.desk.area.attendants.again_after_shift else min(minutes, over_min)
        self.desk.unsettled[self] = None

    def _settle_to(self, first: int, ends: dict[int, float], attended_min: float, stop_min: float | None) -> None:
        """Settle the instants and devices of the steps that are known to end, and write what the attendants do."""
        plan, desk = self.plan, self.desk
        env = desk.area.env
        self.people_min = self.part_min
        for instant in plan.instants:
            if instant.step in ends:
                self._settle(instant, ends[instant.step], ends[instant.step] - env.now)
        last_steps = list(plan.device_steps.values())
        for kind, unit in self.held:
            last = last_steps[kind]
            if last >= first:
                unit.hold_until(ends.get(last, inf))
            if last in ends:
                self._write_device(kind, unit)
        if stop_min is not None:
            Moment(env, self._left).after(max(0.0, stop_min - env.now))
            self.people_min = stop_min
        if plan.attendants and self.people_min > self.part_min:
            self._write_attended(self.part_min, self.people_min, attended_min)

    def _lie_still(self, breaks: list[tuple[float, float]]) -> None:
        """Write breaks in which the exchange lies still."""
        for start_min, end_min in breaks:
            self._write_state(LAID_DOWN, start_min)
            self._write_state(IN_TRANSFER, end_min)

    def _write_state(self, state: int, from_min: float) -> None:
        """Write the state of the batteries that are then neither in the truck nor in their bay. [min]"""
        write_state = self.desk.write.battery_states
        if not self.desk.at_arrival:
            write_state(battery=self.discharged.number, state=state, from_min=from_min)
        if not from_min >= self.free_min:
            write_state(battery=self.charged.number, state=state, from_min=from_min)

    def _left(self, _: "Event") -> None:
        """Let the attendants go home; others will take over."""
        area = self.desk.area
        self._write_state(LAID_DOWN, max(area.env.now, self.ready_min))
        area.attendants.let_go(self, self.people)
        self.people = []
        area.serve()

    def work_with(self, people: "list[Person]") -> None:
        """Go on with other attendants."""
        self.people = people
        self.ready_min = max(self.ready_min, self.desk.area.env.now)
        self._write_state(IN_TRANSFER, self.ready_min)
        self._go_on()

    def _give_back(self, _: "Event") -> None:
        """Give back what is not needed after the next instant, then see who can use it."""
        desk, plan = self.desk, self.plan
        area = desk.area
        _step, truck, is_end, people = plan.instants[self.next_instant]
        self.next_instant += 1
        if people:
            area.attendants.give_back(self.people)
        if truck:
            desk.free_station(self.station)
            charged = self.charged
            if desk.bays_needed or desk.at_arrival:
                heappush(desk.empty, self.bay)
            charged.bay = -1
            desk.write.battery_states(battery=charged.number, state=IN_TRUCK, from_min=area.env.now)
            if charged.pool is not None:
                area.charging.release(charged)
        if is_end:
            desk.set_down += plan.set_down_bays
            if not desk.at_arrival:
                area.charging.receive(self.discharged, None if plan.attendants else self.start_min)
        area.serve()
