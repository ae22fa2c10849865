"""The room's clock: ticks that make sums exact, and the order of things at one instant.

Every duration is a whole number of ticks of 2**-20 minutes (57 microseconds). Sums and differences of such
numbers are exact in floating point for the next 16,000 years, so two things that fall due at the same
instant really compare equal, in whatever order their times were added up.
"""

from collections.abc import Callable
from heapq import heappop, heappush

from simpy.core import Environment
from simpy.events import PENDING, Event, EventPriority

TICKS_PER_MIN = 1048576.0
"""Ticks in a minute, 2**20."""

GOING = EventPriority(1)
"""First at an instant: people go off duty, things go out of use, rounds close; nobody may begin anything yet."""
ENDS = EventPriority(2)
"""Then work that ends, batteries that become ready: what begins now, begins without those whose time is over."""
CALENDAR = EventPriority(3)
"""Then people come on duty, things come back, rounds open."""
ASKS = EventPriority(4)
"""Last: trucks that arrive and ask."""


def ticked(minutes: float) -> float:
    """Round a duration to whole ticks. [min]"""
    return round(minutes * TICKS_PER_MIN) / TICKS_PER_MIN


class Clock(Environment):
    """The kernel's environment; its time, which a run reads more often than all else, is read without a call."""

    __slots__ = ("_now",)

    def run_to(self, until_min: float) -> None:
        """Let all happen that falls due before a time: as `run` does, without two calls for each event. [min]"""
        queue = self._queue
        while queue and queue[0][0] < until_min:
            self._now, _, _, event = heappop(queue)
            callbacks, event.callbacks = event.callbacks, None  # type: ignore[assignment]
            for callback in callbacks:
                callback(event)
            if not event._ok:
                raise event._value
        self._now = until_min


Clock.now = Clock._now  # type: ignore[method-assign, assignment, misc]

Then = Callable[[Event], None]


class Moment(Event):
    """Something that will happen once; when, may be settled later than what will follow it.

    A truck that waits in a queue waits for the moment its exchange is over. The moment is set when the exchange
    starts, so waiting costs no event of its own.
    """

    _ok = True
    _defused = False

    def __init__(self, env: Environment, *then: Then) -> None:
        self.env = env
        self.callbacks: list[Then] = [*then]
        self._value = PENDING

    def after(self, delay_min: float, priority: EventPriority = ENDS) -> "Moment":
        """Settle that it happens so many minutes from now."""
        self._value = None
        self.env.schedule(self, priority, delay_min)
        return self


class Timed(Moment):
    """A moment that is settled from the start: so many minutes from now."""

    _value = None

    def __init__(self, env: Environment, delay_min: float, then: list[Then], priority: EventPriority = ENDS) -> None:
        self.env = env
        self.callbacks = then
        heappush(env._queue, (env._now + delay_min, priority, next(env._eid), self))
