"""The stock of batteries walked through time where trucks pause: step by step, as a fluid, for many stocks at once."""

from typing import Any, NamedTuple

import numpy as np

Floats = np.ndarray[Any, np.dtype[np.float64]]
Whole = np.ndarray[Any, np.dtype[np.intp]]


class Course(NamedTuple):
    """What the stock of batteries comes to over a time; arrays of shape (n,)."""

    waiting_min: Floats
    """Minutes of work that trucks lose to waiting for a battery. [min]"""
    asked: Floats
    """Batteries asked for."""
    taken: Floats
    """Batteries taken."""
    at_work: Floats
    """Those of them taken in scheduled time."""
    none_ready: Floats
    """Batteries asked for while none was ready."""


def stock_course(
    demand: Floats,
    at_work_min: Floats,
    first: int,
    trucks: float,
    spares: Floats,
    chargers: Floats,
    charge_steps: int,
    cool_steps: int,
    *,
    at_arrival: bool = False,
    bound: bool = False,
    again: list[tuple[float, Whole]] | None = None,
) -> Course:
    """Walk through time with batteries as a fluid: what is asked for, taken, on charge, cooling and ready.

    Parameters
    ----------
    demand
        Batteries that the fleet asks for in each step when no truck waits; shape (t,). [-]
    at_work_min
        Minutes of each step in which a truck is scheduled, the mean of the fleet; shape (t,). [min]
    first
        Number of the first step that counts; all spares are ready at the start.
    trucks
        Number of trucks. [-]
    spares, chargers
        Batteries beyond those in the trucks, and chargers; shape (n,). [-]
    charge_steps, cool_steps
        Length of a charge, and of the cool-down after it.
    at_arrival
        Whether a discharged battery is pulled out when it comes, not when another one is taken for it.
    bound
        Whether a battery keeps its charger until it is taken.
    again
        How long batteries last: share of each length and, for each step, the step in which those that take a battery
        ask for the next; shape (t,). Demand is then that of the first batteries only. Else a truck may ask at
        any time, however fresh its battery is.

    Returns
    -------
    Course
        Sums over the steps that count. A wait counts from the step after the call, to the one before the battery.

    Examples
    --------
    Two trucks ask one hour after the other, one spare is back after three: the second waits for more than an hour.

    >>> one = np.array([1.0])
    >>> course = stock_course(np.array([1.0, 1.0, 0.0, 0.0]), np.full(4, 60.0), 0, 2.0, one, one, 1, 2)
    >>> float(course.taken[0]), float(course.waiting_min[0])
    (2.0, 60.0)
    """
    size, span = charge_steps + cool_steps + 1, 1
    if again is not None:
        span += max(int(np.max(steps - np.arange(demand.size))) for _, steps in again)
    due, beyond = np.zeros((span, spares.size)), np.maximum(spares - chargers, 0.0)
    charged, cooled = np.zeros((size, spares.size)), np.zeros((size, spares.size))
    ready, waiting, discharged, busy = spares.astype(float), 0.0 * spares, 0.0 * spares, 0.0 * spares
    lost, asked_for, taken, at_work, none = (np.zeros(spares.size) for _ in range(5))
    full = max(float(np.max(at_work_min)), 1e-9)
    for step, (wanted, minutes) in enumerate(zip(demand, at_work_min, strict=True)):
        now = step % size
        busy -= cooled[now] if bound else charged[now]
        ready += cooled[now]
        before = waiting.copy()
        asked = due[step % span] + wanted if again is not None else wanted * (1.0 - waiting / trucks)
        waiting += asked
        out = np.minimum(waiting, ready)
        ready -= out
        waiting -= out
        due[step % span] = 0.0
        for share, steps in again or ():
            due[steps[step] % span] += share * out
        discharged += asked if at_arrival else out
        beyond = np.maximum(beyond - out, 0.0)
        free = chargers - busy - (ready - beyond if bound else 0.0)
        begun = np.minimum(discharged, np.maximum(free, 0.0))
        discharged -= begun
        charged[now] = cooled[now] = 0.0
        if size > 1 if bound else charge_steps:
            busy += begun
            charged[(step + charge_steps) % size] = begun
        if size > 1:
            cooled[(step + size - 1) % size] = begun
        else:
            ready += begun
        if step >= first:
            lost += minutes * np.minimum(waiting, before)
            asked_for += asked
            taken += out
            at_work += minutes / full * out
            none += np.minimum(np.minimum(asked, waiting), before)
    return Course(lost, asked_for, taken, at_work, none)
