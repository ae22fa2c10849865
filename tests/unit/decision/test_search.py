"""The search on made-up rooms, where it is known which plan is best: it is found, and few others are looked at."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from types import SimpleNamespace
from typing import NamedTuple

import numpy as np
import pytest

from batsim.decision.comparing import FINE
from batsim.decision.counts import CountRange
from batsim.decision.search import MOST_REPAIRS, Search
from batsim.decision.space import Point
from batsim.decision.trials import DECIDING
from batsim.statistics.intervals import Floats
from batsim.study.levers import (
    AT_LEVEL,
    BY_DRIVERS,
    CHARGER_LEADS,
    CHARGING,
    DELAY,
    EXCHANGE_BY,
    EXCHANGE_WHEN,
    LOOSE_LEADS,
    SPREAD,
    WITHOUT_ATTENDANTS,
    Choice,
    Lever,
)
from batsim.study.limits import Limit
from batsim.study.running.counts import ATTENDANTS, BATTERIES, CHARGERS, STATIONS, Counted
from tests.unit.decision.made_up import DOWNTIME, MadeUpTrials, Said, space_of

BATTERY, CHARGER, STATION = 1500.0, 400.0, 900.0
ATTENDANT = 40_000.0
"""Prices of one more. [currency/year]"""
A_MINUTE = 15_000.0
"""What a minute per truck-shift costs. [currency/year]"""
ALL_ELSE = 50_000.0
"""What any plan costs. [currency/year]"""
LOOSE = DOWNTIME._replace(most=1000.0, indifference=50.0)
"""A target that every plan meets."""
ROOM = (
    CountRange("batteries", Counted(BATTERIES, "lead"), 5, 16, 12, 16),
    CountRange("chargers", Counted(CHARGERS, "iuia"), 1, 10, 6, 9),
    CountRange("stations", Counted(STATIONS), 1, 4, 2, 4),
    CountRange("attendants early", Counted(ATTENDANTS, "early"), 0, 3, 2, 3),
    CountRange("attendants late", Counted(ATTENDANTS, "late"), 0, 3, 2, 3),
)
"""A grid of 7,680."""
PRICES = (BATTERY, CHARGER, STATION, ATTENDANT, ATTENDANT)
EARLY, LATE = 3, 4
"""Positions of the attendants."""


class Effect(NamedTuple):
    """What a lever does."""

    factors: Mapping[int, float] = {}
    """By position: part of what is lost for want of it that remains."""
    cost: float = 0.0
    """What it costs. [currency/year]"""


@dataclass(frozen=True)
class Room:
    """A room that loses so many minutes for want of each thing, whatever there is of the others."""

    lost_min: tuple[Floats, ...]
    """For each range the minutes that are lost, from the fewest on."""
    ranges: tuple[CountRange, ...] = ROOM
    prices: tuple[float, ...] = PRICES
    choices: tuple[Choice, ...] = ()
    effects: Mapping[Lever, Effect] = field(default_factory=dict)
    a_minute: float = A_MINUTE
    apart: bool = False
    """Whether what is lost for want of each thing is a measure of its own."""
    noise: float = 0.0
    """Part by which replications differ; by half of it each plan beside it."""
    broken: Callable[[Point], bool] = lambda _: False
    """Whether a plan breaks a rule."""

    def parts(self, point: Point) -> list[float]:
        """Minutes lost for want of each thing."""
        lost = [float(by[number - each.low])
                for by, number, each in zip(self.lost_min, point, self.ranges, strict=False)]  # fmt: skip
        for lever in self.levers(point):
            for position, factor in self.effects[lever].factors.items():
                lost[position] *= factor
        return lost

    def levers(self, point: Point) -> Iterator[Lever]:
        """What is done otherwise."""
        for choice, way in zip(self.choices, point[len(self.ranges) :], strict=True):
            yield from choice.options[way]

    def bought(self, point: Point) -> float:
        """Cost of things and people."""
        nobody = any(lever.kind == WITHOUT_ATTENDANTS for lever in self.levers(point))
        return sum(
            price * number
            for price, number, each in zip(self.prices, point, self.ranges, strict=False)
            if not (nobody and each.kind == ATTENDANTS)
        )

    def cost(self, point: Point) -> float:
        """Of everything, on the average of all replications there might be."""
        extra = sum(self.effects[lever].cost for lever in self.levers(point))
        return self.bought(point) + ALL_ELSE + extra + self.a_minute * sum(self.parts(point))

    def says(self, point: Point, number: int) -> Said:
        """One replication: all plans have its good or bad luck."""
        luck = 1.0
        if self.noise:
            own = np.random.default_rng([number, *point]).normal()
            luck += self.noise * (np.random.default_rng(number).normal() + 0.5 * own)
        parts = [luck * part for part in self.parts(point)]
        running = self.cost(point) - self.bought(point) + (luck - 1.0) * self.a_minute * sum(self.parts(point))
        named = {f"for want of {each.name}": part for each, part in zip(self.ranges, parts, strict=True)}
        return Said(running, {DECIDING: sum(parts), **named}, self.a_minute * sum(parts))

    def rule(self, point: Point) -> str:
        """None, unless a count is out of its range or the plan breaks a rule."""
        over = any(not each.low <= number <= each.high for each, number in zip(self.ranges, point, strict=False))
        return "no room" if over or self.broken(point) else ""

    def trials(self) -> MadeUpTrials:
        """Trials of its plans."""
        prices = {each.counted: price for each, price in zip(self.ranges, self.prices, strict=True)}
        return MadeUpTrials(space_of(self.ranges, prices, self.choices), self.says, self.bought, self.rule)

    def search(self, *limits: Limit) -> Search:
        """A search for the best of them."""
        return Search(self.trials(), limits)

    def every(self) -> Iterator[Point]:
        """All plans."""
        space = self.trials().space
        counts = [range(each.low, each.high + 1) for each in self.ranges]
        for point in product(*counts, *(range(len(choice.options)) for choice in self.choices)):
            if not self.rule(point) and (not self.choices or space.without_idle(point) == point):
                yield point

    def meets(self, point: Point, limits: Iterable[Limit]) -> bool:
        """Whether it keeps what is tested."""
        parts = self.parts(point)
        values = {f"for want of {each.name}": part for each, part in zip(self.ranges, parts, strict=True)}
        values[DECIDING] = sum(parts)
        return all(limit.sign * values[limit.measure] <= limit.tested for limit in limits)

    def best(self, *limits: Limit) -> Point:
        """The best of all plans, by looking at every one."""
        return min((point for point in self.every() if self.meets(point, limits)), key=self.cost)


def simulated(search: Search) -> int:
    """How many plans were looked at."""
    return sum(trial.replications > 0 for trial in search.trials.tried.values())


def falling(first: float, factor: float, number: int) -> Floats:
    """Minutes that fall by a factor with each more."""
    return np.array([first * factor**each for each in range(number)])


def drawn(seed: int, **how: object) -> Room:
    """A room of which each thing loses and costs something else."""
    generator = np.random.default_rng(seed)
    lost = tuple(
        falling(generator.uniform(1.0, 12.0), generator.uniform(0.2, 0.8), each.high - each.low + 1) for each in ROOM
    )
    prices = tuple(price * generator.uniform(0.3, 2.0) for price in PRICES)
    stated = [int(generator.integers(max(1, each.low), each.high + 1)) for each in ROOM]
    ranges = tuple(
        each._replace(stated=number, generous=max(each.generous, number))
        for each, number in zip(ROOM, stated, strict=True)
    )
    return replace(Room(lost, ranges, prices), **how)  # type: ignore[arg-type]


def with_levers(room: Room, *levers: tuple[str, Lever, Effect]) -> Room:
    """A room in which some things may be done otherwise."""
    choices = tuple(Choice(subject, ((), (lever,)), lever.of) for subject, lever, _ in levers)
    return replace(room, choices=choices, effects={lever: effect for _, lever, effect in levers})


def by_drivers(shift: str, position: int, cost: float) -> tuple[str, Lever, Effect]:
    """Drivers exchange in a shift: nobody is waited for."""
    return EXCHANGE_BY, Lever(BY_DRIVERS, "", shift=shift), Effect({position: 0.0}, cost)


# --- the best of all ---


@pytest.mark.parametrize("seed", range(10))
def test_the_best_of_all_counts_is_found(seed: int) -> None:
    """What each thing saves falls with its number, whatever there is of the others: no plan is better."""
    room = drawn(seed)
    search = room.search(LOOSE)
    found = search.best()
    assert room.cost(found.point) == pytest.approx(room.cost(room.best(LOOSE)), rel=1e-6)
    assert search.meets(found)


def targets_apart(room: Room, seed: int) -> list[Limit]:
    """A target of its own for what is lost for want of each thing, between what the fewest and the most lose."""
    generator = np.random.default_rng(seed)
    return [
        Limit(each.name, f"for want of {each.name}", most, 1.0, 0.05 * most, "")
        for each, lost in zip(room.ranges, room.lost_min, strict=True)
        for most in [float(np.exp(generator.uniform(np.log(1.2 * lost[-1]), np.log(lost[0]))))]
    ]


@pytest.mark.parametrize("seed", range(10))
def test_the_fewest_that_meet_targets_are_found(seed: int) -> None:
    """Each target is about one thing, and lost time costs next to nothing; what is stated misses most of them."""
    room = drawn(seed, a_minute=1.0)
    limits = targets_apart(room, seed)
    found = room.search(*limits).best()
    assert found.point == room.best(*limits)


def test_what_is_stated_misses_a_target_in_most_of_those_rooms() -> None:
    """So that the way to the target is part of what was found."""
    rooms = [(drawn(seed), seed) for seed in range(12)]
    assert sum(not room.meets(room.trials().space.stated, targets_apart(room, seed)) for room, seed in rooms) >= 6


@pytest.mark.parametrize("seed", range(8))
def test_no_step_away_is_better(seed: int) -> None:
    """Where all things together have to meet one target: none of one thing, nor of one for another of its kind."""
    room = drawn(seed, a_minute=2000.0)
    space = room.trials().space
    enough, most = (sum(room.parts(point)) for point in (space.generous, room.best(LOOSE)))
    target = DOWNTIME._replace(most=(enough + most) / 2.0, indifference=0.02 * enough)
    found = room.search(target).best()
    assert room.meets(found.point, [target])
    for move, step in product(space.counting, (-1, 1)):
        point = space.moved(found.point, move, step)
        if not room.rule(point) and room.meets(point, [target]):
            assert room.cost(point) >= room.cost(found.point) * (1.0 - 1e-6)


def test_more_than_the_target_needs_pays_where_lost_time_is_dear() -> None:
    """A battery fewer would still meet the target, but a minute lost costs more than what it saves."""
    lost = (falling(20.0, 0.6, 12), falling(10.0, 0.5, 10))
    cheap = Room(lost, ROOM[:2], PRICES[:2], a_minute=200.0)
    target = DOWNTIME._replace(most=3.0, indifference=0.1)
    fewest, found = (replace(cheap, a_minute=price).search(target).best().point for price in (200.0, 20_000.0))
    assert found == replace(cheap, a_minute=20_000.0).best(target)
    assert all(mine > theirs for mine, theirs in zip(found, fewest, strict=True))
    assert cheap.meets(fewest, [target])


def test_one_of_a_dear_thing_is_given_for_one_of_a_cheap_one() -> None:
    """Each person and each charger saves a minute, of which the target spares none: neither can go by itself."""
    ranges = (ROOM[1], ROOM[EARLY])
    lost = tuple(np.arange(each.high - each.low, -1.0, -1.0) for each in ranges)
    room = Room(lost, ranges, (CHARGER, ATTENDANT), a_minute=10.0)
    target = DOWNTIME._replace(most=5.1, indifference=0.2)
    assert room.trials().space.stated == (6, 2)
    assert not any(room.meets(point, [target]) for point in ((5, 2), (6, 1)))
    assert room.search(target).best().point == room.best(target) == (8, 0)


@pytest.mark.parametrize("seed", range(6))
def test_luck_leads_no_farther_than_it_must(seed: int) -> None:
    """Replications differ by a fiftieth, plans beside that by half as much: what is found is hardly dearer."""
    room = drawn(seed, noise=0.02)
    found, best = room.search(LOOSE).best(), room.best(LOOSE)
    assert room.cost(found.point) <= 1.02 * room.cost(best)


# --- levers ---


def test_a_lever_that_pays_by_itself_is_turned() -> None:
    """Each way of a choice is looked at; one that costs more than it saves is left."""
    room = drawn(1)
    room = replace(room, lost_min=room.lost_min[:3], ranges=room.ranges[:3], prices=room.prices[:3])
    over, at_level = Lever(SPREAD, "docks"), Lever(AT_LEVEL, "docks")
    room = with_levers(room, (CHARGER_LEADS, Lever(LOOSE_LEADS, ""), Effect({1: 0.9}, 1e5)),
                       (CHARGING, Lever(DELAY, ""), Effect({1: 1.1}, -4000.0)))  # fmt: skip
    room = replace(
        room,
        choices=(*room.choices, Choice(EXCHANGE_WHEN, ((), (over,), (at_level,)), "docks")),
        effects={**room.effects, over: Effect({2: 0.8}, 10.0), at_level: Effect({2: 0.5}, 20.0)},
    )
    found, best = room.search(LOOSE).best(), room.best(LOOSE)
    assert found.point[3:] == best[3:] == (0, 1, 2)
    assert room.cost(found.point) <= 1.005 * room.cost(best)


PEOPLE = Room((falling(4.0, 0.1, 12), falling(9.0, 0.1, 4), falling(9.0, 0.1, 4)), (ROOM[0], *ROOM[EARLY:]),
              (BATTERY, ATTENDANT, ATTENDANT))  # fmt: skip
"""A room in which one attendant is needed on each shift."""


def test_levers_that_pay_with_fewer_people_alone_are_found() -> None:
    """Drivers of a shift cost more than is lost in waiting for two attendants, but less than one of them is paid."""
    room = with_levers(PEOPLE, by_drivers("early", 1, 30_000.0), by_drivers("late", 2, 30_000.0))
    best = room.best(LOOSE)
    for turned in ((1, 0), (0, 1), (1, 1)):
        assert room.cost((best[0], 2, 2, *turned)) > room.cost((best[0], 2, 2, 0, 0))
    assert best[1:] == (0, 0, 1, 1)
    assert room.search(LOOSE).best().point == best


def test_who_exchanges_may_differ_from_shift_to_shift() -> None:
    """Drivers are cheap in the early shift alone."""
    room = with_levers(PEOPLE, by_drivers("early", 1, 20_000.0), by_drivers("late", 2, 90_000.0))
    best = room.best(LOOSE)
    assert best[1:] == (0, 1, 1, 0)
    assert room.search(LOOSE).best().point == best


def test_a_lever_that_pays_with_more_of_something_alone_is_found() -> None:
    """Drivers who do it all need chargers nearer at hand: they pay with two more of these alone."""
    room = Room((falling(6.0, 0.5, 10), falling(30.0, 0.01, 4)), (ROOM[1], ROOM[EARLY]), (CHARGER, ATTENDANT))
    room = with_levers(room, (EXCHANGE_BY, Lever(WITHOUT_ATTENDANTS, ""), Effect({0: 8.0, 1: 0.0}, 42_500.0)))
    best = room.best(LOOSE)
    assert best == (10, 1, 1)  # one attendant stands in a plan without any
    assert room.cost((8, 1, 1)) > room.cost((8, 1, 0)) > room.cost(best)
    assert room.search(LOOSE).best().point == best


def test_a_lever_that_relieves_the_room_is_found_with_the_people_whom_it_spares() -> None:
    """Spread trucks need one attendant fewer for the target; by itself that costs, and time lost is cheap."""
    room = Room((falling(1.0, 0.5, 12), falling(12.0, 0.4, 4)), (ROOM[0], ROOM[EARLY]), (BATTERY, ATTENDANT),
                a_minute=10.0)  # fmt: skip
    over = Lever(SPREAD, "docks")
    room = with_levers(room, (EXCHANGE_WHEN, over, Effect({1: 0.35}, 2000.0)))
    target = DOWNTIME._replace(most=2.5, indifference=0.1)
    best = room.best(target)
    assert best[1:] == (1, 1)
    assert not room.meets((best[0], 1, 0), [target])
    assert room.cost((best[0], 2, 1)) > room.cost((best[0], 2, 0))
    assert room.search(target).best().point == best


def test_a_cheap_lever_that_misses_the_target_by_little_is_found_with_one_more() -> None:
    """Drivers do it all: a station more is needed then, which is cheaper than the people."""
    room = Room((falling(2.0, 0.5, 12), falling(8.0, 0.5, 4), falling(8.0, 0.01, 4), falling(8.0, 0.01, 4)),
                (ROOM[0], *ROOM[2:]), (BATTERY, *PRICES[2:]), a_minute=100.0)  # fmt: skip
    nobody = Lever(WITHOUT_ATTENDANTS, "")
    room = with_levers(room, (EXCHANGE_BY, nobody, Effect({1: 1.6, 2: 0.0, 3: 0.0}, 500.0)))
    target = DOWNTIME._replace(most=5.0, indifference=0.1)
    best = room.best(target)
    assert best[-1] == 1
    assert not room.meets((best[0], best[1] - 1, *best[2:]), [target])
    found = room.search(target).best()
    assert found.point[-1] == 1
    assert room.meets(found.point, [target])
    assert room.cost(found.point) <= 1.02 * room.cost(best)


# --- where it starts ---


def test_it_starts_where_the_target_is_missed() -> None:
    """As stated by far; enough of everything meets it."""
    lost = (falling(30.0, 0.7, 12), falling(20.0, 0.6, 10), falling(10.0, 0.5, 4))
    room = Room(lost, tuple(each._replace(stated=each.low) for each in ROOM[:3]), PRICES[:3], a_minute=10.0)
    target = DOWNTIME._replace(most=6.0, indifference=0.2)
    space = room.trials().space
    assert not room.meets(space.stated, [target])
    assert room.meets(space.generous, [target])
    found = room.search(target).best()
    assert room.meets(found.point, [target])
    assert room.cost(found.point) <= 1.02 * room.cost(room.best(target))


def test_what_is_enough_by_the_rule_of_thumb_may_be_too_little() -> None:
    """Neither it nor what is stated meets the target: steps lead on from there."""
    ranges = tuple(each._replace(stated=each.low + 1, generous=each.low + 2) for each in ROOM[:2])
    room = Room((falling(30.0, 0.7, 12), falling(20.0, 0.6, 10)), ranges, PRICES[:2], a_minute=10.0)
    target = DOWNTIME._replace(most=6.0, indifference=0.2)
    assert not room.meets(room.trials().space.generous, [target])
    found = room.search(target).best()
    assert room.meets(found.point, [target])
    assert room.cost(found.point) <= 1.02 * room.cost(room.best(target))


def test_what_brings_it_nearest_for_its_cost_is_added() -> None:
    """An attendant more would meet the target at once, some chargers do as well and cost next to nothing."""
    ranges = (ROOM[1]._replace(stated=2), ROOM[EARLY]._replace(stated=1))
    room = Room((falling(6.0, 0.7, 10), falling(8.0, 0.5, 4)), ranges, (CHARGER, ATTENDANT), a_minute=10.0)
    target = DOWNTIME._replace(most=6.5, indifference=0.2)
    assert not room.meets((2, 1), [target])
    assert room.meets((2, 2), [target])
    found = room.search(target).best()
    assert found.point == room.best(target)
    assert found.point[1] == 1


def test_a_plan_that_breaks_a_rule_is_never_looked_at() -> None:
    """There is no room for more than ten batteries; what is stated is nine, and more are enough by a rule of thumb."""
    room = drawn(3, broken=lambda point: point[0] > 10)
    room = replace(room, ranges=(room.ranges[0]._replace(stated=9), *room.ranges[1:]))
    search = room.search(LOOSE)
    assert search.best().point == room.best(LOOSE)
    refused = [trial for point, trial in search.trials.tried.items() if point[0] > 10]
    assert refused
    assert all(trial.refused and trial.replications == 0 for trial in refused)


def test_where_what_is_stated_breaks_a_rule_it_starts_from_enough_of_everything() -> None:
    """Nine batteries are too few, and so are ten."""
    room = drawn(3, broken=lambda point: point[0] <= 10)
    room = replace(room, ranges=(room.ranges[0]._replace(stated=9), *room.ranges[1:]))
    assert room.search(LOOSE).best().point == room.best(LOOSE)


def test_where_all_that_is_tried_breaks_a_rule_that_is_said() -> None:
    search = drawn(3, broken=lambda _: True).search(LOOSE)
    found = search.best()
    assert (found.refused, found.replications) == ("no room", 0)
    assert not search.meets(found)


@pytest.mark.parametrize("seed", range(6))
def test_where_nothing_meets_the_target_the_nearest_is_told(seed: int) -> None:
    """The most of everything misses it by a third: nothing is nearer."""
    room = drawn(seed)
    least = sum(room.parts(tuple(each.high for each in room.ranges)))
    target = DOWNTIME._replace(most=0.75 * least, indifference=0.01 * least)
    search = room.search(target)
    found = search.best()
    assert not search.meets(found)
    assert sum(room.parts(found.point)) == pytest.approx(least, rel=0.02)


# --- after a test ---


@pytest.mark.parametrize("seed", range(4))
def test_after_a_test_that_failed_the_next_plan_betters_the_missed_target(seed: int) -> None:
    """By a tenth of what makes no difference at least, and is dearer by no more than that takes; time after time."""
    room = drawn(seed, a_minute=500.0)
    limits = targets_apart(room, seed)
    missed = limits[seed % 2]  # batteries or chargers, of which there may be more
    search = room.search(*limits)
    at = search.best()
    for _ in range(3):
        before, at = at, search.after(at, [missed.label])
        better = before.signed_mean(missed) - 0.1 * missed.indifference
        stricter = [limit.tested_at(better) if limit is missed else limit for limit in limits]
        if not search.meets(at):  # there is no more of it
            assert not any(room.meets(point, stricter) for point in room.every())
            return
        assert search.meets(at)
        assert at.signed_mean(missed) <= better
        assert room.meets(at.point, limits)
        assert room.cost(at.point) <= 1.01 * room.cost(room.best(*stricter))


def test_after_a_test_that_failed_the_cheapest_cure_is_taken() -> None:
    """A charger or two more, not an attendant; though one would cure it at once."""
    ranges = (ROOM[1]._replace(stated=2), ROOM[EARLY]._replace(stated=1))
    room = Room((falling(6.0, 0.7, 10), falling(8.0, 0.5, 4)), ranges, (CHARGER, ATTENDANT), a_minute=10.0)
    search = room.search(DOWNTIME._replace(most=6.5, indifference=0.2))
    at = search.best()
    assert at.point == (4, 1)
    assert search.after(at, [DOWNTIME.label]).point == (5, 1)


def test_where_nothing_betters_a_failed_plan_that_is_told() -> None:
    """There is no more of anything."""
    room = Room((falling(8.0, 0.5, 3),), (CountRange("chargers", Counted(CHARGERS, "iuia"), 1, 3, 3, 3),), (CHARGER,))
    search = room.search(DOWNTIME)
    at = search.best()
    assert (at.point, search.meets(at)) == ((3,), True)
    after = search.after(at, [DOWNTIME.label])
    assert after.point == (3,)
    assert not search.meets(after)


# --- how much it looks at ---


@pytest.mark.parametrize("seed", range(12))
def test_few_plans_of_all_are_looked_at(seed: int) -> None:
    """Sixty of 7,680, and most of them once: less than half of what as many replications of each would be."""
    search = drawn(seed).search(LOOSE)
    found = search.best()
    assert simulated(search) <= 60
    assert found.replications == FINE
    assert search.trials.runs <= FINE * simulated(search) / 2.0


def test_few_of_a_small_grid_are_looked_at() -> None:
    """A twentieth of 1,200."""
    lost = (falling(20.0, 0.6, 10), falling(10.0, 0.5, 10), falling(6.0, 0.3, 4), falling(9.0, 0.1, 3))
    ranges = (ROOM[0]._replace(high=14, generous=14), ROOM[1], ROOM[2], ROOM[EARLY]._replace(high=2, generous=2))
    room = Room(lost, ranges, PRICES[:4])
    search = room.search(DOWNTIME)
    assert search.best().point == room.best(DOWNTIME)
    assert simulated(search) <= sum(1 for _ in room.every()) / 20
    assert sum(1 for _ in room.every()) == 1200


@pytest.mark.parametrize(("batteries", "chargers"), [(6, 3), (47, 110), (290, 20)])
def test_long_steps_are_halved(batteries: int, chargers: int) -> None:
    """Of 400 batteries and as many chargers: how many are needed is found, however far that is from what is stated."""
    ranges = (ROOM[0]._replace(high=400, stated=200, generous=300), ROOM[1]._replace(high=400, stated=80, generous=120))
    lost = tuple(np.array([float(max(0, need - number)) ** 2 for number in range(each.low, each.high + 1)])
                 for need, each in zip((batteries, chargers), ranges, strict=True))  # fmt: skip
    search = Room(lost, ranges, PRICES[:2]).search(LOOSE._replace(most=1e9))
    assert search.best().point == (batteries, chargers)
    assert simulated(search) <= 45


def test_levers_are_looked_at_with_few_more() -> None:
    """Seven levers make 128 times as many plans; no more than four times as many are looked at."""
    generator = np.random.default_rng(2)
    levers = [
        by_drivers("early", EARLY, 30_000.0),
        by_drivers("late", LATE, 30_000.0),
        (CHARGER_LEADS, Lever(LOOSE_LEADS, ""), Effect({1: 0.8}, 500.0)),
        (CHARGING, Lever(DELAY, ""), Effect({1: 1.1}, -2000.0)),
        *((EXCHANGE_WHEN, Lever(SPREAD, group), Effect({2: float(generator.uniform(0.6, 1.2))}, 100.0))
          for group in ("docks", "aisles", "yard")),
    ]  # fmt: skip
    for seed in range(3):
        search = with_levers(drawn(seed), *levers).search(LOOSE)
        search.best()
        assert simulated(search) <= 240


# --- what must not matter ---


@pytest.mark.parametrize("seed", range(4))
def test_it_is_the_same_however_often_it_is_asked(seed: int) -> None:
    """The same plans in the same order."""
    searches = [drawn(seed, noise=0.05).search(LOOSE) for _ in range(2)]
    assert searches[0].best().point == searches[1].best().point
    assert list(searches[0].trials.tried) == list(searches[1].trials.tried)


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_prices_and_ranges_does_not_matter(seed: int) -> None:
    """Nor that in which targets are stated."""
    room = drawn(seed, a_minute=1.0)
    limits = targets_apart(room, seed)
    found = room.search(*limits).best().point

    by_counted = room.search(*reversed(limits))
    units = by_counted.space.units.by_counted
    by_counted.space.__dict__["units"] = SimpleNamespace(by_counted=dict(reversed(units.items())))
    assert by_counted.best().point == found

    back = slice(None, None, -1)
    turned = replace(room, lost_min=room.lost_min[back], ranges=room.ranges[back], prices=room.prices[back])
    assert turned.search(*limits).best().point == found[back]


# --- what single steps do not find ---


def test_one_dear_thing_is_given_for_several_cheap_ones() -> None:
    """An attendant for eight chargers; one for one misses the target."""
    lost = (6.0 * 0.8 ** np.arange(1, 19), 16.0 * 0.5 ** np.arange(7))
    ranges = (
        CountRange("chargers", Counted(CHARGERS, "iuia"), 1, 18, 6, 9),
        CountRange("attendants early", Counted(ATTENDANTS, "early"), 0, 6, 2, 4),
    )
    room = Room(lost, ranges, (500.0, 30_000.0), a_minute=500.0)
    target = DOWNTIME._replace(most=9.0, indifference=0.45)
    assert room.best(target) == (10, 1)
    assert room.search(target).best().point == (10, 1)


SIX = tuple(CountRange(f"stations of {area}", Counted(STATIONS, "", area), 1, 12, 1, 2) for area in "abcdef")


def test_a_start_far_from_its_targets_takes_several_steps_at_once() -> None:
    """Six areas that each need four stations more: one after another is more than may be spent."""
    lost = tuple(20.0 * 0.7 ** np.arange(12) for _ in SIX)
    room = Room(lost, SIX, (1_000.0,) * 6, a_minute=1.0)
    target = DOWNTIME._replace(most=30.0, indifference=1.5)
    search = room.search(target)
    found = search.best()

    assert sum(room.parts(found.point)) <= 30.0 - 0.75
    assert sum(found.point) > 6 + MOST_REPAIRS
    assert found.cost() <= 1.02 * room.cost((5, 5, 5, 5, 5, 5))


def test_a_lever_that_pays_with_more_of_two_things_together_is_found() -> None:
    """Drivers exchange late: that needs a second station and a second attendant early, neither of use alone."""
    stations, early, late = (each._replace(stated=1) for each in ROOM[2:])
    by_drivers_late = Lever(BY_DRIVERS, "", shift="late")
    prices = {stations.counted: STATION, early.counted: ATTENDANT, late.counted: ATTENDANT}

    def says(point: Point, _: int) -> Said:
        number, of_early, of_late, turned = point
        enough = min(number, of_early) >= 2 if turned else min(of_early, of_late) >= 1
        return Said(5_000.0 if turned else 60_000.0, {DECIDING: 5.0 if enough else 40.0}, 1e6)

    def bought(point: Point) -> float:
        return float(np.dot(point[:3], list(prices.values())))

    choices = (Choice(EXCHANGE_BY, ((), (by_drivers_late,)), ""),)
    trials = MadeUpTrials(space_of((stations, early, late), prices, choices), says, bought)
    search = Search(trials, [DOWNTIME])
    assert search.meets(trials.one((1, 1, 1, 0), FINE))
    for missing in ((1, 1, 1, 1), (2, 1, 1, 1), (1, 2, 1, 1)):
        assert not search.meets(trials.one(missing, FINE))
    assert search.best().point == (2, 2, 0, 1)


TWO_SHIFTS = (
    CountRange("attendants early", Counted(ATTENDANTS, "early"), 0, 3, 2, 3),
    CountRange("attendants late", Counted(ATTENDANTS, "late"), 0, 3, 2, 3),
)


def test_attendants_come_back_on_the_shift_that_needs_them() -> None:
    """Doing without any is better than two on each shift, one on the early shift alone better still."""
    lost = tuple(12.0 * 0.1 ** np.arange(4) for _ in TWO_SHIFTS)
    room = Room(lost, TWO_SHIFTS, (20_000.0, 20_000.0), a_minute=2_000.0)
    room = with_levers(
        room,
        by_drivers("early", 0, 35_000.0),
        by_drivers("late", 1, 2_000.0),
        (EXCHANGE_BY, Lever(WITHOUT_ATTENDANTS, ""), Effect({0: 0.0, 1: 0.0}, 37_000.0)),
    )
    best = room.best(LOOSE)
    assert best == (1, 0, 0, 1, 0)
    assert room.cost((2, 2, 0, 0, 0)) > room.cost((1, 1, 0, 0, 1)) > room.cost(best)
    assert room.search(LOOSE).best().point == best


def test_more_pays_though_no_plan_was_seen_that_loses_less() -> None:
    """Of batteries, all that is counted."""
    lost = (40.0 * 0.9 ** np.arange(26),)
    ranges = (CountRange("batteries", Counted(BATTERIES, "lead"), 5, 30, 6, 9),)
    room = Room(lost, ranges, (900.0,), a_minute=500.0)
    target = DOWNTIME._replace(most=80.0, indifference=0.5)
    assert room.search(target).best().point == room.best(target) == (13,)


def test_chargers_are_counted_again_where_charging_changes() -> None:
    """A delay pays, and then three chargers more."""
    ranges = (CountRange("chargers", Counted(CHARGERS, "iuia"), 1, 18, 6, 9),)
    room = Room((6.0 * 0.7 ** np.arange(1, 19),), ranges, (500.0,), a_minute=1_500.0)
    room = with_levers(room, (CHARGING, Lever(DELAY, ""), Effect({0: 3.0}, -8_000.0)))
    target = DOWNTIME._replace(most=20.0, indifference=0.5)
    assert room.best(target) == (8, 1)
    assert room.search(target).best().point == (8, 1)


def test_a_plan_between_two_that_break_a_rule_is_found() -> None:
    """As stated there are too few, and enough is too many."""
    ranges = (CountRange("chargers", Counted(CHARGERS, "iuia"), 1, 18, 2, 14),)
    room = Room((6.0 * 0.7 ** np.arange(18),), ranges, (500.0,), broken=lambda point: not 5 <= point[0] <= 11)
    assert room.search(LOOSE).best().point == room.best(LOOSE) == (11,)


def test_a_rival_that_had_bad_luck_is_looked_at_again() -> None:
    """In the first six replications one more battery seems dearer; it is cheaper, and more of them tell."""
    ranges = (CountRange("batteries", Counted(BATTERIES, "plain"), 1, 12, 5, 5),)

    def says(point: Point, number: int) -> Said:
        luck = 0.0
        if point == (6,):
            luck = (500.0 if number < FINE else -800.0) + (3_000.0, -3_000.0)[number % 2]
        return Said(1e6 + 50_000.0 * abs(point[0] - 5.5) + luck, {DECIDING: 1.0}, 1e6)

    trials = MadeUpTrials(space_of(ranges, {ranges[0].counted: 1.0}), says)
    found = Search(trials, [LOOSE]).best()
    assert np.mean(trials.tried[6,].costs[:FINE]) > np.mean(trials.tried[5,].costs[:FINE])
    assert found.point == (6,)
    assert found.replications > FINE


def test_what_is_stated_is_repaired_where_only_its_first_replication_meets_the_target() -> None:
    """A lucky one: on both together it misses by a little, and a charger more would do."""
    room = Room((falling(8.0, 0.7, 10),), (ROOM[1]._replace(stated=4),), (CHARGER,), a_minute=10.0)

    def says(point: Point, number: int) -> Said:
        minutes = room.parts(point)[0] + (1.0 if number else -1.0)
        return Said(ALL_ELSE, {DECIDING: minutes}, 1e6)

    lost = room.parts((4,))[0]
    target = DOWNTIME._replace(most=lost + 0.04, indifference=0.1)
    trials = MadeUpTrials(space_of(room.ranges, {room.ranges[0].counted: CHARGER}), says, room.bought)
    search = Search(trials, [target])
    assert trials.one((4,), 1).miss([target]) == 0.0
    assert trials.one((4,), 2).miss([target]) > 0.0
    found = search.best()
    assert search.meets(found)
    assert found.point[0] > 4
