"""Care of batteries out of trucks: watering, inspection, readings and wash, when due or in rounds.

A charged and cooled battery whose turn it is gets its care before it counts as ready; what is done before a charge
is done on the spent battery as it comes. Attendants take up one kind of care after another as the priorities say,
when nothing more pressing waits. With drivers only, care is done at once.
"""

from collections import deque
from collections.abc import Generator
from functools import partial
from math import inf, nan
from typing import TYPE_CHECKING

from batsim.formulas.gassing import water_deficit_g
from batsim.record import ATTENDANT, DRIVER, OUT_OF_USE, TASKS, WATERED, WATERING
from batsim.room.clock import CALENDAR, GOING, Moment
from batsim.room.attendants import SoloJob
from batsim.room.timetable import Timetable
from batsim.scenario.parts.laws import DurationLaw

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.battery import Battery
    from batsim.room.maintenance_in_truck import Waiting
    from batsim.room.queue import Line
    from batsim.room.battery_plan import LinePlan
    from batsim.room.simulation import Room

AHEAD_MIN = 14 * 1440.0
"""Rounds are laid out this far beyond the horizon. [min]"""
NO_TIME = DurationLaw.model_validate("0 min")


def _time_of(task: int, line: "LinePlan") -> "DurationLaw":
    """Time of a task on batteries of a type; none where it has no such care. [min]"""
    return next((care.time for care in line.care if care.task == task), NO_TIME)


class CareDesk:
    """Takes care of batteries one by one."""

    def __init__(self, room: "Room") -> None:
        self.room = room
        self.person = DRIVER if room.plan.drivers_only else ATTENDANT
        tasks = {care.task for line in room.plan.lines for care in line.care}
        self.queues: dict[int, deque[tuple[Battery, int]]] = {task: deque() for task in tasks}
        """By task: batteries whose turn it is, with the number of the care among those of their type."""
        self.held: dict[tuple[int, int], list[Battery]] = {}
        """By line and care: batteries that wait for the next round."""
        self.hours: dict[tuple[int, int], Timetable] = {}
        """By line and care: when there are rounds."""
        self.trucks: deque[Waiting] = deque()
        """Trucks that wait for care of the battery in them, first come first."""
        self.laid_down: dict[Battery, tuple[int, float]] = {}
        """Batteries whose care others must take over: which care, and when it began. [-, min]"""
        self.due_since: dict[int, float] = {}
        """By battery. [min]"""
        self.before = [any(care.before_charge for care in line.care) for line in room.plan.lines]
        self.times = {task: room.durations(TASKS[task], partial(_time_of, task)) for task in tasks}
        for line in room.lines:
            for index, care in enumerate(line.plan.care):
                if care.rounds is not None:
                    windows = care.rounds.windows(room.plan.horizon_min + AHEAD_MIN)
                    self.hours[line.number, index] = Timetable(windows)
                    self.held[line.number, index] = []
                    if room.plan.exchange is not None:
                        room.env.process(self._rounds(line, index, windows))

    def is_due(self, battery: "Battery", index: int, time_min: float) -> bool:
        """Tell whether a battery has had its charges, its time or its gassing since the last care of a kind."""
        care = battery.line.plan.care[index]
        if battery.care_charges[index] >= care.charges or battery.gas_ah >= care.gas_ah:
            return True
        return time_min - battery.care_min[index] >= care.minutes

    def in_round(self, line: int, index: int, time_min: float) -> bool:
        """Tell whether a kind of care may begin at a time."""
        hours = self.hours.get((line, index))
        return hours is None or hours.window(time_min)[0] <= time_min

    def before_charge(self, battery: "Battery") -> None:
        """Take in a spent battery; it goes on to the charging desk."""
        self._next(battery, 0, before=True)
        self.room.serve()

    def after_charge(self, battery: "Battery") -> None:
        """Take in a charged and cooled battery; it becomes ready when all that is due is done."""
        self._next(battery, 0, before=False)

    def _next(self, battery: "Battery", index: int, *, before: bool) -> None:
        """Put a battery in turn for the next care that is due, else let it go on."""
        line, now = battery.line, self.room.env.now
        for number, care in enumerate(line.plan.care):
            if number < index or care.before_charge is not before or not self.is_due(battery, number, now):
                continue
            in_turn = self.in_round(line.number, number, now)
            if in_turn or (care.rounds is not None and care.rounds.overdue == "hold"):
                self.room.state(battery, WATERED if care.task == WATERING else OUT_OF_USE)
                self.due_since[battery.number] = now
                if in_turn:
                    self.queues[care.task].append((battery, number))
                else:
                    self.held[line.number, number].append(battery)
                return
        if before:
            self.room.charging.take_in(battery)
        else:
            self.room.charging.make_ready(battery)

    def serve(self, task: int) -> None:
        """Take care of what is due while an attendant is free."""
        queue = self.queues[task]
        while queue and self.room.crew.can_spare(1):
            self._begin(*queue.popleft())

    def _begin(self, battery: "Battery", index: int) -> None:
        """Begin one care of one battery."""
        room, care = self.room, battery.line.plan.care[index]
        minutes = next(self.times[care.task][battery.number])
        start_min = room.env.now
        job = SoloJob(room.crew, self.person, care.task, minutes, partial(self._done, battery, index, start_min))
        end_min = job.begin()
        if end_min < inf:
            self.write(battery, index, (self.due_since.pop(battery.number), start_min, end_min))
        else:
            self.laid_down[battery] = index, start_min

    def _done(self, battery: "Battery", index: int, start_min: float) -> None:
        """End one care: what else is due, or ready."""
        now = self.room.env.now
        due_min = self.due_since.pop(battery.number, None)
        if due_min is not None:  # it was handed over, so its end was not known
            del self.laid_down[battery]
            self.write(battery, index, (due_min, start_min, now))
        self._next(battery, index + 1, before=battery.line.plan.care[index].before_charge)

    def write(self, battery: "Battery", index: int, times: tuple[float, float, float]) -> None:
        """Write the row of a care, which is counted from anew: due, start and end. [min]"""
        care, write = battery.line.plan.care[index], self.room.record.write
        if care.task == WATERING:
            water_kg = water_deficit_g(battery.gas_ah, battery.line.plan.battery.cells) / 1000.0
            write["waterings"]((battery.number, *times, water_kg))
            battery.gas_ah = 0.0
        else:
            write["care"]((battery.number, care.task, *times))
        battery.care_charges[index] = 0.0
        battery.care_min[index] = times[1]

    def write_unfinished(self) -> None:
        """Write rows for batteries whose turn had come, or whose care others must take over, when the run ends."""
        for battery, (index, start_min) in self.laid_down.items():
            self.write(battery, index, (self.due_since[battery.number], start_min, nan))
        waiting = [(battery, index) for queue in self.queues.values() for battery, index in queue]
        waiting += [(battery, index) for (_, index), held in self.held.items() for battery in held]
        for battery, index in waiting:
            care, due_min = battery.line.plan.care[index], self.due_since[battery.number]
            if care.task == WATERING:
                self.room.record.write["waterings"]((battery.number, due_min, nan, nan, nan))
            else:
                self.room.record.write["care"]((battery.number, care.task, due_min, nan, nan))

    def _rounds(self, line: "Line", index: int, windows: list[tuple[float, float]]) -> Generator["Event", None, None]:
        """Begin and end the rounds of one kind of care on the batteries of one line."""
        env, care = self.room.env, line.plan.care[index]
        queue, held = self.queues[care.task], self.held[line.number, index]
        for start, end in windows:
            yield Moment(env).after(max(0.0, start - env.now), CALENDAR)
            queue.extend((battery, index) for battery in held)
            held.clear()
            for entry in [entry for entry in line.ready if self.is_due(entry[2], index, env.now)]:
                line.remove(entry)
                self.room.state(entry[2], WATERED if care.task == WATERING else OUT_OF_USE)
                self.due_since[entry[2].number] = env.now
                queue.append((entry[2], index))
            self.room.serve()
            yield Moment(env).after(end - env.now, GOING)
            left = [battery for battery, number in queue if battery.line is line and number == index]
            for battery in left:
                queue.remove((battery, index))
                if care.rounds is not None and care.rounds.overdue == "hold":
                    held.append(battery)
                else:
                    del self.due_since[battery.number]
                    self._next(battery, index + 1, before=False)
            if left:
                self.room.serve()
