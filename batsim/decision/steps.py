"""Steps from today to the best plan, what costs nothing first, each simulated with all that go before it."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from batsim.decision.answer import Answer
from batsim.decision.counts import ranges_of
from batsim.decision.space import Point, Space
from batsim.decision.trials import DECIDING, Run, Trial, Trials
from batsim.statistics.intervals import Interval, student_interval
from batsim.study.levers import Choice, Lever, choices_of
from batsim.study.prices import NOTHING, Price
from batsim.study.running.counts import ATTENDANTS
from batsim.study.running.runs import interval_json

REPLICATIONS = 8
"""Replications of each step, unless more were run."""


class Step(NamedTuple):
    """One change, on top of those before it."""

    words: str
    before: Trial
    after: Trial
    confidence: float

    @property
    def minutes(self) -> Interval:
        """Downtime that it adds; below zero where it saves. [min per truck-shift]"""
        before, after = (trial.of(("", ""), self._both)[DECIDING] for trial in (self.before, self.after))
        return student_interval(after - before, self.confidence)

    @property
    def cost(self) -> Interval:
        """Yearly cost that it adds at equal work; below zero where it saves. [currency/year]"""
        before, after = self.before.cost_values(self._both), self.after.cost_values(self._both)
        return student_interval(after - before, self.confidence)

    @property
    def to_order(self) -> Price:
        """What is to be ordered for it beyond what the steps before it order; nothing where they order as much."""
        before, after = self.before.to_order, self.after.to_order
        return NOTHING if after.value <= before.value else after.minus(before)

    @property
    def _both(self) -> int:
        """Replications that before and after have in common."""
        return min(self.before.replications, self.after.replications)

    def as_json(self) -> dict[str, Any]:
        """Plain data for `json.dump`."""
        return {
            "step": self.words,
            "layout": self.after.space.layout,
            "to_order": self.to_order._asdict(),
            "downtime_min_per_truck_shift": interval_json(self.minutes),
            "cost_per_year": interval_json(self.cost),
        }


def steps_to(answer: Answer, today: Trial | None, run: Run) -> tuple[Step, ...]:
    """Simulate what leads from today, or from the layout as stated, to an answer.

    Where today's layout is another one, it first does what costs nothing and is part of the answer, as far as that
    gains; then the answer's layout takes its place.

    Parameters
    ----------
    answer
        The best of all.
    today
        The layout that is there today; None where the scenario names none.
    run
        Runs jobs.
    """
    if answer.trial is None or answer.trial.refused:
        return ()
    if today is None or today.space.layout == answer.layout:
        return tuple(_within(answer, run))
    return tuple(_into(answer, today, run))


def _within(answer: Answer, run: Run) -> Iterator[Step]:
    """Steps inside one layout: each lever, then people, then things."""
    space, goal = answer.space, answer.point
    trials = Trials(answer.schedule, space, run, objective=answer.objective)
    stated = (*(each.stated for each in space.ranges), *(0 for _ in space.choices))  # whatever the ranges let it
    at = trials.one(stated, REPLICATIONS)
    if at.refused:
        return
    points = [*_best_first(trials, stated, {each: goal[each] for each in range(len(space.ranges), len(goal))})]
    points.append(_with_people(space, points[-1] if points else stated, goal))
    for point in (*points, goal):
        after = answer.told if point == goal else trials.one(point, REPLICATIONS)
        if point != at.point and not after.refused:
            yield Step(_words(space, at.point, point), at, after, answer.confidence)
            at = after


def _best_first(trials: Trials, point: Point, ways: dict[int, int]) -> Iterator[Point]:
    """Points on the way that turns some choices, each time the one with which a year costs least then."""
    left = {position: way for position, way in ways.items() if way != point[position]}
    while left:
        turned = {position: (*point[:position], way, *point[position + 1 :]) for position, way in left.items()}
        looked_at = trials.look(list(turned.values()), REPLICATIONS)
        cost = {position: trial.cost(REPLICATIONS) for position, trial in zip(turned, looked_at, strict=True)}
        position = min(turned, key=cost.__getitem__)
        point = turned[position]
        del left[position]
        yield point


def _with_people(space: Space, point: Point, goal: Point) -> Point:
    """A point with the attendants of a plan."""
    people = {position for position, each in enumerate(space.ranges) if each.kind == ATTENDANTS}
    return tuple(goal[position] if position in people else number for position, number in enumerate(point))


def _into(answer: Answer, today: Trial, run: Run) -> Iterator[Step]:
    """Steps on today's layout that cost nothing, then the change to another."""
    scenario, layout = answer.schedule.scenario, today.space.layout
    space = Space(scenario, layout, (), tuple(_same(answer.levers, choices_of(scenario, layout))))
    trials = Trials(answer.schedule, space, run, objective=answer.objective)
    at, before = today, space.stated
    for point in _best_first(trials, before, dict.fromkeys(range(len(space.choices)), 1)):
        after = trials.one(point, REPLICATIONS)
        step = Step(_words(space, before, point), at, after, answer.confidence)
        if after.refused or not step.cost.mean < 0.0:
            break
        yield step
        at, before = after, point
    done = space.levers(before)
    there = {each.label: each.stated for each in ranges_of(scenario, layout, {})}
    numbers = _counted(answer.space, answer.point, there)
    change = f"'{answer.layout}' in place of '{layout}'" + (f", with {', '.join(numbers)}" if numbers else "")
    words = "; ".join([change, *(lever.label(scenario) for lever in answer.levers if lever not in done)])
    yield Step(words, at, answer.told, answer.confidence)


def _same(levers: tuple[Lever, ...], choices: list[Choice]) -> Iterator[Choice]:
    """Choices of a layout between what it does and what an answer does otherwise."""
    for choice in choices:
        for way in choice.options:
            if way and all(lever in levers for lever in way):
                yield replace_options(choice, way)


def replace_options(choice: Choice, way: tuple[Lever, ...]) -> Choice:
    """A choice between what is stated and one other way."""
    return choice._replace(options=((), way))


def _words(space: Space, before: Point, after: Point) -> str:
    """What changes, in words."""
    first = len(space.ranges)
    turned = [
        lever.label(space.scenario)
        for choice, way, was in zip(space.choices, after[first:], before[first:], strict=True)
        for lever in (choice.options[way] if way != was else ())
    ]
    counted = [
        f"{each.label} {number} in place of {was}"
        for each, number, was in zip(space.ranges, after, before, strict=False)
        if number != was
    ]
    return "; ".join([*turned, *counted])


def _counted(space: Space, point: Point, today: Mapping[str, int]) -> list[str]:
    """Counts in words, each with how many of the same there are today where that is another number."""
    nobody = {each.counted for each in space.ranges} - {counted for counted, _ in space.changes(point).numbers}
    return [
        f"{each.label} {number}" + (f" (today {today[each.label]})" if today.get(each.label, number) != number else "")
        for each, number in zip(space.ranges, point, strict=False)
        if each.counted not in nobody
    ]
