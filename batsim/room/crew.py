"""Attendants: on duty by shift, held by one job at a time, gone for breaks."""

from collections.abc import Generator
from itertools import pairwise
from typing import TYPE_CHECKING

from batsim.room.clock import CALENDAR, Moment

if TYPE_CHECKING:
    from simpy.core import Environment
    from simpy.events import Event

    from batsim.room.simulation import Room
    from batsim.scenario.calendar import Window


class Person:
    """One attendant."""

    __slots__ = ("back_min", "break_due_min", "busy", "crossing", "on_duty")

    def __init__(self, crossing: "Crossing") -> None:
        self.on_duty = False
        self.busy = False
        self.break_due_min = 0.0
        """Length of a break that waits for the end of the job. [min]"""
        self.back_min = 0.0
        """End of a break that began late. [min]"""
        self.crossing = crossing


class Crossing:
    """Work that runs into breaks, for the rule that lays it down until the break is over."""

    def __init__(self, windows: "tuple[Window, ...]", breaks: frozenset[float]) -> None:
        self.gaps = [(end, start) for (_, end), (start, _) in pairwise(windows) if end in breaks]

    def end_of(self, start_min: float, work_min: float) -> float:
        """When work is done that is laid down in every break; it runs over the end of a shift. [min]"""
        time, left = start_min, work_min
        for begin, end in self.gaps:
            if end <= time:
                continue
            if time + left <= begin:
                break
            left -= max(0.0, begin - time)
            time = end
        return time + left


class Crew:
    """All attendants of a layout; unlimited ones are never counted, drivers stand in for them likewise."""

    def __init__(self, room: "Room") -> None:
        self.room = room
        self.limited = room.plan.crew_limited
        self.free: list[Person] = []
        self.move_breaks = room.plan.rules.crew_break == "finish_then_full_break"
        if self.limited:
            for count, windows, breaks in room.plan.crew_shifts:
                crossing = Crossing(windows, breaks)
                people = [Person(crossing) for _ in range(count)]
                room.env.process(self._calendar(room.env, people, windows, breaks))

    def can_spare(self, count: int) -> bool:
        """Tell whether so many attendants are on duty and free."""
        return not self.limited or len(self.free) >= count

    def take(self, count: int) -> list[Person]:
        """Keep attendants for a job."""
        if not self.limited or not count:
            return []
        if count == 1:
            taken = [self.free.pop(0)]
            taken[0].busy = True
            return taken
        taken, self.free[:count] = self.free[:count], []
        for person in taken:
            person.busy = True
        return taken

    def give_back(self, people: list[Person]) -> None:
        """End a job: who is still on duty is free again, or takes the break that the job delayed."""
        for person in people:
            person.busy = False
            if person.break_due_min:
                self._take_break(person)
            elif person.on_duty:
                self.free.append(person)

    def _take_break(self, person: Person) -> None:
        """Take the whole of a delayed break from now on."""
        length, person.break_due_min = person.break_due_min, 0.0
        person.back_min = self.room.env.now + length

        def back(_: "Event") -> None:
            if person.on_duty and not person.busy and person not in self.free:
                self.free.append(person)
                self.room.serve()

        Moment(self.room.env, back).after(length, CALENDAR)

    def _calendar(
        self, env: "Environment", people: list[Person], windows: "tuple[Window, ...]", breaks: frozenset[float]
    ) -> Generator["Event", None, None]:
        """Bring the people of one shift on duty and take them off again, window by window.

        At the start of a break, someone in the middle of a job finishes it first. Under the rule
        `finish_then_full_break` the break then moves as a whole; otherwise it still ends on time.
        """
        for index, (start, end) in enumerate(windows):
            if start > env.now:
                yield Moment(env).after(start - env.now, CALENDAR)
            for person in people:
                person.on_duty = True
                if not person.busy and person.back_min <= env.now:
                    self.free.append(person)
            self.room.serve()
            yield Moment(env).after(end - env.now, CALENDAR)
            for person in people:
                person.on_duty = False
                if person in self.free:
                    self.free.remove(person)
                elif person.busy and self.move_breaks and end in breaks:
                    person.break_due_min = windows[index + 1][0] - end
            self.room.note_causes()
