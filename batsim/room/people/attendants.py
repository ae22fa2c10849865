"""Attendants: on duty by shift, held by one job at a time, gone for breaks and at the end of their shift."""

from collections import deque
from collections.abc import Generator, Iterator, Sequence
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING, Protocol

from batsim.record.words import ATTENDANT
from batsim.room.timing.clock import CALENDAR, GOING, Moment
from batsim.room.timing.crossing import Crossing
from batsim.room.timing.timetable import Timetable

if TYPE_CHECKING:
    from simpy.core import Environment
    from simpy.events import Event

    from batsim.room.people.service import Service
    from batsim.room.plans.area_plan import AttendantShift
    from batsim.room.simulation import Room


class Person:
    """One attendant."""

    def __init__(self, crew: "Attendants", crossing: Crossing, skills: frozenset[str]) -> None:
        self.crew = crew
        self.on_duty = False
        self.busy = False
        self.skills = skills
        """What exchanges ask for and this one is qualified for."""
        self.break_due_min = 0.0
        """Length of a break that waits for the end of the job. [min]"""
        self.back_min = 0.0
        """End of a break that began late. [min]"""
        self.leaves_min = inf
        """End of the present shift. [min]"""
        self.until_min = inf
        """End of the present time on duty: of the shift, or the start of a break. [min]"""
        self.crossing = crossing


class Unmanned(Protocol):
    """A job whose people have gone home in the middle of it."""

    needed: int
    skill: str | None

    def work_with(self, people: list[Person]) -> object:
        """Go on with other people."""


class Attendants:
    """Attendants of an area, or those whom areas share; unlimited ones are never counted, nor are drivers for them."""

    service: "Service"

    def __init__(
        self,
        room: "Room",
        shifts: "Sequence[AttendantShift]",
        skills: frozenset[str],
        *,
        limited: bool = True,
        drivers: Timetable | None = None,
        others: "Attendants | None" = None,
    ) -> None:
        rules = room.blueprint.rules
        self.room, self.write_state = room, room.record.write.battery_states
        self.limited = limited
        self.drivers = drivers
        """When drivers, who do all that there is to do, are at work; None where attendants do it."""
        self.others = others
        """Attendants who work here beside these: those whom areas share."""
        self.wake_min = 0.0
        """When those who wait for somebody to come are looked at again. [min]"""
        self.free: list[Person] = []
        self.move_breaks = rules.at_break == "finish_then_full_break"
        self.stops_in_breaks = rules.at_break in ("pause", "put_back")
        self.again_after_break = rules.at_break == "put_back"
        self.hands_over = self.limited and rules.at_shift_end != "finish"
        self.again_after_shift = rules.at_shift_end == "put_back"
        self.unmanned: deque[tuple[int, Unmanned]] = deque()
        """Jobs whose people have gone home, first come first, each with its turn among all that wait."""
        self._crossings: dict[frozenset[Crossing], Crossing] = {}
        on_duty = [(self._people_of(shift, skills), shift) for shift in shifts]
        self.all_alike = others is None and all(person.skills == skills for people, _ in on_duty for person in people)
        """Whether it does not matter who is taken."""
        for people, shift in on_duty:
            room.env.process(self._calendar(room.env, people, shift))

    def can_spare(self, count: int, skill: str | None = None) -> bool:
        """Whether so many attendants are on duty and free, one of them qualified where that is asked for."""
        if not self.limited:
            return self.drivers is None or self._driver_is_there(self.drivers)
        free = self.free if self.others is None else [*self.free, *self.others.free]
        return len(free) >= count and (skill is None or any(skill in person.skills for person in free))

    def _driver_is_there(self, drivers: Timetable) -> bool:
        """Whether drivers are at work; if not, whoever waits is looked at again when they come."""
        now = self.room.env.now
        if drivers.window(now)[0] <= now:
            return True
        self.look_again(drivers.next_start(now))
        return False

    def look_again(self, time_min: float) -> None:
        """Have everyone who waits looked at when somebody comes: nothing else would happen then. [min]"""
        now = self.room.env.now
        if time_min < inf and not now < self.wake_min <= time_min:
            self.wake_min = time_min
            Moment(self.room.env, lambda _: self.service.serve()).after(time_min - now, CALENDAR)

    def take(self, count: int, skill: str | None = None) -> list[Person]:
        """Keep attendants for a job: a qualified one where that is asked for, else those who can do least beside.

        An area's own attendants go before those whom it shares.
        """
        if not self.limited or not count:
            return []
        if count == 1 and self.all_alike:
            person = self.free.pop(0)
            person.busy = True
            return [person]
        free = sorted(self.free, key=_skills)
        if self.others is not None:
            free += sorted(self.others.free, key=_skills)
        if skill is not None:
            free.sort(key=lambda person: skill not in person.skills)
            free[1:] = sorted(free[1:], key=lambda person: (person.crew is not self, len(person.skills)))
        for person in free[:count]:
            person.crew.free.remove(person)
            person.busy = True
        return free[:count]

    def give_back(self, people: list[Person]) -> None:
        """End a job: who is still on duty is free again, or takes the break that the job delayed."""
        for person in people:
            person.busy = False
            if person.break_due_min:
                self._take_break(person)
            elif person.on_duty:
                person.crew.free.append(person)

    def end_of(self, people: list[Person], start_min: float, work_min: float) -> float:
        """When work is done by these people, their breaks seen to as the rule says. [min]"""
        if not people or not self.stops_in_breaks:
            return start_min + work_min
        return self._crossing(people).end_of(start_min, work_min, again=self.again_after_break)

    def worked_min(self, people: list[Person], start_min: float, end_min: float, work_min: float) -> float:
        """Minutes that work up to a time has taken these people: more than it needs where it is begun again. [min]"""
        if not people or not self.again_after_break:
            return work_min
        return self._crossing(people).worked(start_min, end_min)

    def stays(self, people: list[Person], start_min: float, end_min: float) -> bool:
        """Whether nothing of what these people begin can fall into a break or be left to others."""
        if not people or not (self.stops_in_breaks or self.hands_over):
            return True
        if self.stops_in_breaks and self._crossing(people).next_gap_min(start_min) < end_min:
            return False
        return end_min <= self.stop_of(people)

    def gaps_of(self, people: list[Person], start_min: float, end_min: float) -> list[tuple[float, float]]:
        """Breaks in which what these people do between two times lies still. [min]"""
        return self._crossing(people).gaps_in(start_min, end_min) if people and self.stops_in_breaks else []

    def write_work(
        self,
        people: list[Person],
        area: int,
        task: int,
        start_min: float,
        end_min: float,
        hands_on_min: float,
        count: int = 1,
        person: int = ATTENDANT,
    ) -> None:
        """Write what so many people do between two times: people-minutes of hands-on work in it. [min]

        Where that runs into breaks or over the end of a shift each has rows of his own, one for each stretch of it, and
        hands-on work goes by their length.
        """
        write = self.room.record.write.work
        if not people or end_min <= min([each.until_min for each in people]):
            write(
                area=area,
                person=person,
                task=task,
                start_min=start_min,
                end_min=end_min,
                hands_on_min=hands_on_min,
                people=count,
            )
            return
        stretches = [stretch for each in people for stretch in self._stretches(each, start_min, end_min)]
        kept_min = sum(end - begin for begin, end, _ in stretches)
        for begin, end, overtime in stretches:
            worked_min = hands_on_min * (end - begin) / kept_min
            write(
                area=area,
                person=ATTENDANT,
                task=task,
                start_min=begin,
                end_min=end,
                hands_on_min=worked_min,
                overtime=overtime,
            )

    def _stretches(self, person: Person, start_min: float, end_min: float) -> Iterator[tuple[float, float, int]]:
        """Cut the time that a job keeps somebody at breaks and the end of the shift; whether it is overtime. [min]

        Nobody works in a break for which work lies still. One that the job delays begins after it, so what is done in
        its place is no overtime.
        """
        time, leaves_min = start_min, max(person.leaves_min, start_min)
        breaks = [] if self.move_breaks else person.crossing.gaps_in(start_min, min(end_min, leaves_min))
        for begin, end in breaks:
            if begin > time:
                yield time, begin, 0
            if not self.stops_in_breaks:
                yield begin, end, 1
            time = end
        if time < min(end_min, leaves_min):
            yield time, min(end_min, leaves_min), 0
        if leaves_min < end_min:
            yield leaves_min, end_min, 1

    def stop_of(self, people: list[Person]) -> float:
        """When these people lay a job down for others; never where they finish what they have begun. [min]"""
        return min(person.leaves_min for person in people) if people and self.hands_over else inf

    def let_go(self, job: Unmanned, people: list[Person]) -> None:
        """Let people go home in the middle of a job; the job waits for others."""
        for person in people:
            person.busy = False
            if self.room.env.now >= person.leaves_min:
                person.break_due_min = 0.0
            elif person.break_due_min:
                self._take_break(person)
            elif person.on_duty:
                person.crew.free.append(person)
        self.unmanned.append((next(self.service.turns), job))

    def take_up_first(self) -> bool:
        """Have the job that others laid down first taken up again; False when there are not the people for it."""
        _, job = self.unmanned[0]
        can = self.can_spare(job.needed, job.skill)
        if can:
            self.unmanned.popleft()
            job.work_with(self.take(job.needed, job.skill))
        return can

    def _crossing(self, people: list[Person]) -> Crossing:
        """Breaks of all these people together."""
        first = people[0].crossing
        if all(person.crossing is first for person in people):
            return first
        key = frozenset(person.crossing for person in people)
        if key not in self._crossings:
            self._crossings[key] = Crossing([gap for crossing in key for gap in crossing.gaps])
        return self._crossings[key]

    def _take_break(self, person: Person) -> None:
        """Take the whole of a delayed break from now on."""
        length, person.break_due_min = person.break_due_min, 0.0
        person.back_min = self.room.env.now + length

        def back(_: "Event") -> None:
            crew = person.crew
            if person.on_duty and not person.busy and person not in crew.free:
                crew.free.append(person)
                crew.service.serve()

        Moment(self.room.env, back).after(length, CALENDAR)

    def _calendar(
        self, env: "Environment", people: list[Person], shift: "AttendantShift"
    ) -> Generator["Event", None, None]:
        """Bring the people of one shift on duty and take them off again, window by window.

        At the start of a break, someone in the middle of a job finishes it first. Under the rule
        `finish_then_full_break` the break then moves as a whole; otherwise it still ends on time.
        """
        leaves = _leaving_times(shift)
        for index, (start, end) in enumerate(shift.windows):
            if start > env.now:
                yield Moment(env).after(start - env.now, CALENDAR)
            self._come(people, leaves[index], end)
            yield Moment(env).after(end - env.now, GOING)
            break_min = shift.windows[index + 1][0] - end if self.move_breaks and end in shift.breaks else 0.0
            self._go(people, break_min)

    def _come(self, people: list[Person], leaves_min: float, until_min: float) -> None:
        """Bring people on duty: when their shift ends, and this part of it. [min]"""
        for person in people:
            person.on_duty = True
            person.leaves_min, person.until_min = leaves_min, until_min
            if not person.busy and person.back_min <= self.room.env.now:
                self.free.append(person)
        # All who come at one instant come together: an area's own people before those of all areas.
        Moment(self.room.env, lambda _: self.service.serve()).after(0.0, CALENDAR)

    def _go(self, people: list[Person], break_min: float) -> None:
        """Take people off duty; those who are busy take the whole of their break later, if it moves. [min]"""
        for person in people:
            person.on_duty = False
            if person in self.free:
                self.free.remove(person)
            elif person.busy and break_min:
                person.break_due_min = break_min
        self.service.note_gone()

    def _people_of(self, shift: "AttendantShift", skills: frozenset[str]) -> list[Person]:
        """Attendants of a shift, the qualified ones first; of their skills those that exchanges ask for."""
        gaps = [(end, start) for (_, end), (start, _) in pairwise(shift.windows) if end in shift.breaks]
        crossing, on_duty = Crossing(gaps), shift.on_duty
        return [
            Person(self, crossing, frozenset(skill for skill in skills if number < on_duty.with_skill(skill)))
            for number in range(on_duty)
        ]


def _leaving_times(shift: "AttendantShift") -> list[float]:
    """For each window of a shift, when its people go home: at the first end that no break follows. [min]"""
    leaves, leaves_min = [], inf
    for _, end in reversed(shift.windows):
        leaves_min = leaves_min if end in shift.breaks else end
        leaves.append(leaves_min)
    return leaves[::-1]


def _skills(person: Person) -> int:
    """How many skills somebody has that are asked for."""
    return len(person.skills)
