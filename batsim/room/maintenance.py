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
from batsim.record import ATTENDANT, DRIVER, OUT_OF_USE, TASKS, WATERED, WATERING
from batsim.room.attendants import SoloJob
from batsim.room.clock import CALENDAR, GOING, Moment
from batsim.room.timetable import Timetable
from batsim.scenario.parts.laws import DurationLaw

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.battery_plan import BatteryPlan
    from batsim.room.maintenance_in_truck import Waiting
    from batsim.room.queue import Queue
    from batsim.room.simulation import Room

AHEAD_MIN = 14 * 1440.0
"""Rounds are laid out this far beyond the horizon. [min]"""
NO_TIME = DurationLaw.model_validate("0 min")


def _time_of(task: int, queue: "BatteryPlan") -> "DurationLaw":
    """Time of a task on batteries of a type; none where it has no such maintenance. [min]"""
    return next((maintenance.time for maintenance in queue.maintenance if maintenance.task == task), NO_TIME)


class MaintenanceDesk:
    """Takes care of batteries one by one."""

    def __init__(self, room: "Room") -> None:
        self.room = room
        self.person = DRIVER if room.blueprint.drivers_only else ATTENDANT
        tasks = {maintenance.task for queue in room.blueprint.battery_plans for maintenance in queue.maintenance}
        self.queues: dict[int, deque[tuple[Battery, int]]] = {task: deque() for task in tasks}
        """By task: batteries whose turn it is, with the number of the maintenance among those of their type."""
        self.held: dict[tuple[int, int], list[Battery]] = {}
        """By queue and maintenance: batteries that wait for the next round."""
        self.hours: dict[tuple[int, int], Timetable] = {}
        """By queue and maintenance: when there are rounds."""
        self.trucks: deque[Waiting] = deque()
        """Trucks that wait for care of the battery in them, first come first."""
        self.laid_down: dict[Battery, tuple[int, float]] = {}
        """Batteries whose maintenance others must take over: which maintenance, and when it began. [-, min]"""
        self.due_since: dict[int, float] = {}
        """By battery. [min]"""
        self.before = [
            any(maintenance.before_charge for maintenance in queue.maintenance)
            for queue in room.blueprint.battery_plans
        ]
        self.times = {task: room.durations(TASKS[task], partial(_time_of, task)) for task in tasks}
        for queue in room.queues:
            for index, maintenance in enumerate(queue.plan.maintenance):
                if maintenance.rounds is not None:
                    windows = maintenance.rounds.windows(room.blueprint.horizon_min + AHEAD_MIN)
                    self.hours[queue.number, index] = Timetable(windows)
                    self.held[queue.number, index] = []
                    if room.blueprint.exchange is not None:
                        room.env.process(self._rounds(queue, index, windows))

    def is_due(self, battery: "Battery", index: int, time_min: float) -> bool:
        """Tell whether a battery has had its charges, its time or its gassing since the last care of a kind."""
        maintenance = battery.queue.plan.maintenance[index]
        if battery.maintenance_charges[index] >= maintenance.charges or battery.gas_ah >= maintenance.gas_ah:
            return True
        return time_min - battery.maintenance_min[index] >= maintenance.minutes

    def in_round(self, queue: int, index: int, time_min: float) -> bool:
        """Tell whether a kind of maintenance may begin at a time."""
        hours = self.hours.get((queue, index))
        return hours is None or hours.window(time_min)[0] <= time_min

    def before_charge(self, battery: "Battery") -> None:
        """Take in a discharged battery; it goes on to the charging desk."""
        self._next(battery, 0, before=True)
        self.room.serve()

    def after_charge(self, battery: "Battery") -> None:
        """Take in a charged and cooled battery; it becomes ready when all that is due is done."""
        self._next(battery, 0, before=False)

    def _next(self, battery: "Battery", index: int, *, before: bool) -> None:
        """Put a battery in turn for the next care that is due, else let it go on."""
        queue, now = battery.queue, self.room.env.now
        for number, maintenance in enumerate(queue.plan.maintenance):
            if number < index or maintenance.before_charge is not before or not self.is_due(battery, number, now):
                continue
            in_turn = self.in_round(queue.number, number, now)
            if in_turn or (maintenance.rounds is not None and maintenance.rounds.overdue == "hold"):
                self.room.state(battery, WATERED if maintenance.task == WATERING else OUT_OF_USE)
                self.due_since[battery.number] = now
                if in_turn:
                    self.queues[maintenance.task].append((battery, number))
                else:
                    self.held[queue.number, number].append(battery)
                return
        if before:
            self.room.charging.take_in(battery)
        else:
            self.room.charging.make_ready(battery)

    def serve(self, task: int) -> None:
        """Take care of what is due while an attendant is free."""
        queue = self.queues[task]
        while queue and self.room.attendants.can_spare(1):
            self._begin(*queue.popleft())

    def _begin(self, battery: "Battery", index: int) -> None:
        """Begin one care of one battery."""
        room, maintenance = self.room, battery.queue.plan.maintenance[index]
        minutes = next(self.times[maintenance.task][battery.number])
        start_min = room.env.now
        job = SoloJob(
            room.attendants, self.person, maintenance.task, minutes, partial(self._done, battery, index, start_min)
        )
        end_min = job.begin()
        if end_min < inf:
            self.write(battery, index, (self.due_since.pop(battery.number), start_min, end_min))
        else:
            self.laid_down[battery] = index, start_min

    def _done(self, battery: "Battery", index: int, start_min: float) -> None:
        """End one maintenance: what else is due, or ready."""
        now = self.room.env.now
        due_min = self.due_since.pop(battery.number, None)
        if due_min is not None:  # it was handed over, so its end was not known
            del self.laid_down[battery]
            self.write(battery, index, (due_min, start_min, now))
        self._next(battery, index + 1, before=battery.queue.plan.maintenance[index].before_charge)

    def write(self, battery: "Battery", index: int, times: tuple[float, float, float]) -> None:
        """Write the row of a maintenance, which is counted from anew: due, start and end. [min]"""
        maintenance, write = battery.queue.plan.maintenance[index], self.room.record.write
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
                self.room.record.write.waterings(battery=battery.number, due_min=due_min)
            else:
                self.room.record.write.maintenance(battery=battery.number, task=maintenance.task, due_min=due_min)

    def _rounds(self, queue: "Queue", index: int, windows: list[tuple[float, float]]) -> Generator["Event", None, None]:
        """Begin and end the rounds of one kind of maintenance on the batteries of one queue."""
        env, maintenance = self.room.env, queue.plan.maintenance[index]
        waiting, held = self.queues[maintenance.task], self.held[queue.number, index]
        for start, end in windows:
            yield Moment(env).after(max(0.0, start - env.now), CALENDAR)
            waiting.extend((battery, index) for battery in held)
            held.clear()
            for entry in [entry for entry in queue.ready if self.is_due(entry[2], index, env.now)]:
                queue.remove(entry)
                self.room.state(entry[2], WATERED if maintenance.task == WATERING else OUT_OF_USE)
                self.due_since[entry[2].number] = env.now
                waiting.append((entry[2], index))
            self.room.serve()
            yield Moment(env).after(end - env.now, GOING)
            left = [battery for battery, number in waiting if battery.queue is queue and number == index]
            for battery in left:
                waiting.remove((battery, index))
                if maintenance.rounds is not None and maintenance.rounds.overdue == "hold":
                    held.append(battery)
                else:
                    del self.due_since[battery.number]
                    self._next(battery, index + 1, before=False)
            if left:
                self.room.serve()
