"""Maintenance of batteries out of trucks: watering, inspection, readings and wash, when due or in rounds.

A charged and cooled battery whose turn it is gets its maintenance before it counts as ready; what is done before a
charge is done on the discharged battery as it comes. Attendants take up one kind of maintenance after another as the
priorities say, when nothing more pressing waits. With drivers only, maintenance is done at once.
"""

from collections import deque
from collections.abc import Generator
from functools import partial
from math import inf, nan
from typing import TYPE_CHECKING

from batsim.formulas.gassing import water_deficit_g
from batsim.record.words import ATTENDANT, DRIVER, TASK_STATES, TASKS, WATERING
from batsim.room.people.solo_job import SoloJob
from batsim.room.timing.clock import CALENDAR, GOING, Moment
from batsim.room.timing.timetable import Timetable
from batsim.scenario.parts.laws import DurationLaw

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.plans.battery_plan import BatteryPlan, MaintenancePlan
    from batsim.room.queue import Queue
    from batsim.scenario.parts.maintenance import Rounds

AHEAD_MIN = 14 * 1440.0
"""Rounds are laid out this far beyond the horizon. [min]"""
NO_TIME = DurationLaw.model_validate("0 min")


def _time_of(task: int, plan: "BatteryPlan") -> "DurationLaw":
    """Time of a task on batteries of a type; none where it has no such maintenance. [min]"""
    return next((maintenance.time for maintenance in plan.maintenance if maintenance.task == task), NO_TIME)


class MaintenanceDesk:
    """Maintains batteries one by one."""

    def __init__(self, area: "Area") -> None:
        self.area = area
        self.person = DRIVER if area.plan.drivers_only else ATTENDANT
        plans = {plan.number: plan.maintenance for plan in area.plan.battery_plans}
        tasks = {maintenance.task for of_type in plans.values() for maintenance in of_type}
        self.queues: dict[int, deque[tuple[Battery, int]]] = {task: deque() for task in tasks}
        """By task: batteries whose turn it is, with the number of the maintenance among those of their type."""
        self.held: dict[tuple[int, int], list[Battery]] = {}
        """By queue and maintenance: batteries that wait for the next round."""
        self.hours: dict[tuple[int, int], Timetable] = {}
        """By queue and maintenance: when there are rounds."""
        self.laid_down: dict[Battery, tuple[int, float]] = {}
        """Batteries whose maintenance others must take over: which maintenance, and when it began. [-, min]"""
        self.due_since: dict[int, float] = {}
        """By battery. [min]"""
        self.before = {
            queue: any(maintenance.before_charge for maintenance in of_type) for queue, of_type in plans.items()
        }
        """By queue: whether anything is done before a charge."""
        self.times = {task: area.durations(TASKS[task], partial(_time_of, task)) for task in tasks}
        for queue in area.queues:
            for index, maintenance in enumerate(queue.plan.maintenance):
                if maintenance.rounds is not None:
                    self._lay_out_rounds(queue, index, maintenance.rounds)

    def _lay_out_rounds(self, queue: "Queue", index: int, rounds: "Rounds") -> None:
        """Put the rounds of one kind of maintenance into the calendar."""
        windows = rounds.windows(self.area.horizon_min + AHEAD_MIN)
        self.hours[queue.number, index] = Timetable(windows)
        self.held[queue.number, index] = []
        if self.area.plan.exchange is not None:
            self.area.env.process(self._rounds(queue, index, windows))

    def is_due(self, battery: "Battery", index: int, time_min: float) -> bool:
        """Whether a battery has had its charges, its time or its gassing since the last maintenance of a kind."""
        maintenance = battery.queue.plan.maintenance[index]
        if battery.maintenance_charges[index] >= maintenance.charges or battery.gas_ah >= maintenance.gas_ah:
            return True
        return time_min - battery.maintenance_min[index] >= maintenance.minutes

    def in_round(self, queue: int, index: int, time_min: float) -> bool:
        """Whether a kind of maintenance may begin at a time."""
        hours = self.hours.get((queue, index))
        return hours is None or hours.window(time_min)[0] <= time_min

    def before_charge(self, battery: "Battery") -> None:
        """Take in a discharged battery; it goes on to the charging desk."""
        self._next(battery, 0, before=True)
        self.area.serve()

    def after_charge(self, battery: "Battery") -> None:
        """Take in a charged and cooled battery; it becomes ready when all that is due is done."""
        self._next(battery, 0, before=False)

    def _next(self, battery: "Battery", index: int, *, before: bool) -> None:
        """Put a battery in turn for the next maintenance that is due, else let it go on."""
        queue, now = battery.queue, self.area.env.now
        for number in range(index, len(queue.plan.maintenance)):
            maintenance = queue.plan.maintenance[number]
            if maintenance.before_charge is not before or not self.is_due(battery, number, now):
                continue
            if self.in_round(queue.number, number, now):
                self._wait(battery, maintenance.task)
                self.queues[maintenance.task].append((battery, number))
                return
            if _holds(maintenance):
                self._wait(battery, maintenance.task)
                self.held[queue.number, number].append(battery)
                return
        if before:
            self.area.charging.take_in(battery)
        else:
            self.area.charging.make_ready(battery)

    def _wait(self, battery: "Battery", task: int) -> None:
        """Let a battery wait for a task from now on."""
        self.area.state(battery, TASK_STATES[task][0])
        self.due_since[battery.number] = self.area.env.now

    def begin_first(self, task: int) -> bool:
        """Begin a task on the battery that has waited longest for it; False when no attendant is free."""
        if not self.area.attendants.can_spare(1):
            return False
        self._begin(*self.queues[task].popleft())
        return True

    def due_first_min(self, task: int) -> float:
        """Since when the battery waits that has waited longest for a task. [min]"""
        return self.due_since[self.queues[task][0][0].number]

    def _begin(self, battery: "Battery", index: int) -> None:
        """Begin one maintenance of one battery."""
        area, maintenance = self.area, battery.queue.plan.maintenance[index]
        minutes = next(self.times[maintenance.task][battery.number])
        start_min = area.env.now
        done = partial(self._done, battery, index, start_min)
        job = SoloJob(area, battery, self.person, maintenance.task, minutes, done)
        end_min = job.work_with(area.attendants.take(1))
        if end_min < inf:
            self.write(battery, index, (self.due_since.pop(battery.number), start_min, end_min))
        else:
            self.laid_down[battery] = index, start_min

    def _done(self, battery: "Battery", index: int, start_min: float) -> None:
        """End one maintenance: what else is due, or ready."""
        now = self.area.env.now
        due_min = self.due_since.pop(battery.number, None)
        if due_min is not None:  # it was handed over, so its end was not known
            del self.laid_down[battery]
            self.write(battery, index, (due_min, start_min, now))
        self._next(battery, index + 1, before=battery.queue.plan.maintenance[index].before_charge)

    def write(self, battery: "Battery", index: int, times: tuple[float, float, float]) -> None:
        """Write the row of a maintenance, which is counted from anew: due, start and end. [min]"""
        maintenance, write = battery.queue.plan.maintenance[index], self.area.record.write
        due, start, end = times
        if maintenance.task == WATERING:
            water_kg = water_deficit_g(battery.gas_ah, battery.queue.plan.battery.cells) / 1000.0
            write.waterings(battery=battery.number, due_min=due, start_min=start, end_min=end, water_kg=water_kg)
            battery.gas_ah = 0.0
        else:
            write.maintenance(battery=battery.number, task=maintenance.task, due_min=due, start_min=start, end_min=end)
        battery.maintenance_charges[index] = 0.0
        battery.maintenance_min[index] = start

    def write_unfinished(self) -> None:
        """Write rows for batteries that wait for maintenance, or for others to take it over, when the run ends."""
        for battery, (index, start_min) in self.laid_down.items():
            self.write(battery, index, (self.due_since[battery.number], start_min, nan))
        waiting = [(battery, index) for queue in self.queues.values() for battery, index in queue]
        waiting += [(battery, index) for (_, index), held in self.held.items() for battery in held]
        for battery, index in waiting:
            maintenance, due_min = battery.queue.plan.maintenance[index], self.due_since[battery.number]
            if maintenance.task == WATERING:
                self.area.record.write.waterings(battery=battery.number, due_min=due_min)
            else:
                self.area.record.write.maintenance(battery=battery.number, task=maintenance.task, due_min=due_min)

    def _rounds(self, queue: "Queue", index: int, windows: list[tuple[float, float]]) -> Generator["Event", None, None]:
        """Begin and end the rounds of one kind of maintenance on the batteries of one queue."""
        env = self.area.env
        for start, end in windows:
            yield Moment(env).after(max(0.0, start - env.now), CALENDAR)
            self._begin_round(queue, index)
            yield Moment(env).after(end - env.now, GOING)
            left = self._close_round(queue, index)
            yield Moment(env).after(0.0)  # when all that goes now has gone
            self._go_on_without(left, index)

    def _begin_round(self, queue: "Queue", index: int) -> None:
        """Put in turn what is held for the round, and what is ready and due."""
        task, held = queue.plan.maintenance[index].task, self.held[queue.number, index]
        self.queues[task].extend((battery, index) for battery in held)
        held.clear()
        for entry in [entry for entry in queue.ready if self.is_due(entry[2], index, self.area.env.now)]:
            queue.remove(entry)
            self._wait(entry[2], task)
            self.queues[task].append((entry[2], index))
        self.area.serve()

    def _close_round(self, queue: "Queue", index: int) -> "list[Battery]":
        """Hold for the next round what was not reached; returns what may go on without."""
        maintenance = queue.plan.maintenance[index]
        waiting = self.queues[maintenance.task]
        left = [battery for battery, number in waiting if battery.queue is queue and number == index]
        for battery in left:
            waiting.remove((battery, index))
        if _holds(maintenance):
            self.held[queue.number, index].extend(left)
            return []
        return left

    def _go_on_without(self, batteries: "list[Battery]", index: int) -> None:
        """Let batteries go on whose round is over."""
        for battery in batteries:
            del self.due_since[battery.number]
            self._next(battery, index + 1, before=False)
        self.area.serve()


def _holds(maintenance: "MaintenancePlan") -> bool:
    """Whether a battery that is due waits for the next round, rather than go on without."""
    return maintenance.rounds is not None and maintenance.rounds.overdue == "hold"
