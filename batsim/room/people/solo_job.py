"""A job of one attendant on a battery: connecting or maintaining it."""

from collections.abc import Callable
from math import inf
from typing import TYPE_CHECKING

from batsim.record.words import TASK_STATES
from batsim.room.timing.clock import Moment, Timed

if TYPE_CHECKING:
    from simpy.events import Event

    from batsim.room.area import Area
    from batsim.room.battery import Battery
    from batsim.room.people.attendants import Person


class SoloJob:
    """A job of one attendant on a battery, from its start to its end through breaks and changes of shift."""

    __slots__ = (
        "area",
        "battery",
        "left_min",
        "needed",
        "people",
        "person",
        "skill",
        "task",
        "then",
        "whole_min",
    )

    def __init__(
        self,
        area: "Area",
        battery: "Battery",
        person: int,
        task: int,
        minutes: float,
        then: Callable[[], None],
    ) -> None:
        self.area, self.battery = area, battery
        self.person, self.task = person, task
        self.whole_min = self.left_min = minutes
        self.then = then
        self.needed = 1
        self.skill: str | None = None
        self.people: list[Person] = []

    def work_with(self, people: "list[Person]") -> float:
        """Begin or go on; returns when it will be done, infinity where others must take over. [min]"""
        area, self.people = self.area, people
        attendants, worked_min = area.attendants, self.left_min
        env, task = area.env, self.task
        now = env.now
        end_min = now + worked_min
        waits, done = TASK_STATES[task]
        attendants.write_state(battery=self.battery.number, state=done, from_min=now)
        if attendants.stays(people, now, end_min):
            Timed(env, worked_min, [self._done])
            attendants.write_work(people, self.area.number, task, now, end_min, worked_min, person=self.person)
            return end_min
        end_min = attendants.end_of(people, now, worked_min)
        stop_min = attendants.stop_of(people)
        if end_min <= stop_min:
            Moment(env, self._done).after(end_min - now)
        else:
            left_min = min(worked_min, end_min - stop_min)
            worked_min -= left_min
            self.left_min = self.whole_min if attendants.again_after_shift else left_min
            Moment(env, self._left).after(stop_min - now)
        until_min = min(end_min, stop_min)
        for begin, end in attendants.gaps_of(people, now, until_min):
            area.state(self.battery, waits, begin)
            area.state(self.battery, done, end)
        worked_min = attendants.worked_min(people, now, until_min, worked_min)
        if worked_min:
            attendants.write_work(people, self.area.number, task, now, until_min, worked_min, person=self.person)
        return end_min if end_min <= stop_min else inf

    def _left(self, _: "Event") -> None:
        """Go home in the middle of it."""
        self.area.state(self.battery, TASK_STATES[self.task][0])
        self.area.attendants.let_go(self, self.people)
        self.area.serve()

    def _done(self, _: "Event") -> None:
        """Let the attendant go, see to what follows, and let everyone have what is free."""
        self.area.attendants.give_back(self.people)
        self.then()
        self.area.serve()
