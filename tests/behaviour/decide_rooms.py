"""Rooms on which the search for the best plan is held against brute force, and sites on which it is against chance.

Of a small room every plan in a box is simulated, most of them a few times, those that may be the best many times; what
is best is written down here. Of a large site random plans are drawn.
"""

import itertools
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

import batsim
from batsim.decision.counts import GivenRanges, ranges_of
from batsim.decision.space import Point, Space
from batsim.decision.trials import Run, Trial, Trials
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.statistics.intervals import Floats
from batsim.study.levers import (
    BY_DRIVERS,
    CHARGER_LEADS,
    CHARGING,
    DELAY,
    EXCHANGE_BY,
    EXCHANGE_WHEN,
    IN_BREAKS,
    LOOSE_LEADS,
    POWER_LIMIT,
    SPREAD,
    Lever,
    choices_of,
)
from batsim.study.limits import Limit, limits_of
from batsim.study.running.estimates import pooled

CASES = Path(__file__).parent / "cases"
LAYOUT = "room"
"""Name of the layout in every room and site here."""
STAGES = (3, 12, 40, 120)
"""Replications of the plans that are still in question, stage by stage."""
SURE = 3.0
"""Standard errors of a difference that tell."""
LEAST_DEARER, LEAST_MISS = 0.02, 0.1
"""Parts of the cost, and of what a target allows, by which a plan must be worse to be out after the first stage."""
AT_FIRST = 2
"""Replications of a site as stated that tell its peak."""
NEAR_MISS = 0.2
"""Miss of a target, as a part of what it allows, up to which a random plan is looked at more than once."""
MOST_DRAWS = 20_000
"""Random plans that are drawn at most."""


class Plan(NamedTuple):
    """A plan in words."""

    counts: dict[str, int]
    """By name of the range."""
    levers: frozenset[Lever] = frozenset()
    """What is done otherwise than stated."""


class Room(NamedTuple):
    """A small room: the box that brute force looks through, and what it found."""

    file: str
    ranges: GivenRanges
    subjects: tuple[str, ...]
    """What the levers are about that may be chosen."""
    size: int
    """Different plans in the box."""
    best: Plan
    """The cheapest of all that keep what is tested of every target; no other plan in the box is the same in effect."""
    dearer_share: float
    """By how much the next one that keeps them is dearer, as a part of the cost of the best, about. [-]"""
    peak_kw: float = 0.0
    """Peak as stated, of which a power limit is a part. [kW]"""


ROOMS: dict[str, Room] = {
    # More batteries and chargers than the target needs pay by the time that is not lost.
    "round the clock": Room(
        "decide_round_the_clock.yaml",
        {"batteries": (9, 17), "chargers": (4, 8), "stations": (1, 4)},
        (),
        180,
        Plan({"batteries": 14, "chargers": 5, "stations": 2}),
        0.005,
    ),
    # Attendants pay in one shift, drivers in the other; with one attendant fewer the target is missed.
    "who exchanges": Room(
        "decide_who_exchanges.yaml",
        {
            "batteries": (10, 14),
            "stations": (1, 2),
            "cart": (1, 2),
            "attendants room early": (0, 2),
            "attendants room late": (0, 2),
        },
        (EXCHANGE_BY,),
        740,
        Plan(
            {"batteries": 13, "stations": 2, "cart": 2, "attendants room early": 2, "attendants room late": 0},
            frozenset({Lever(BY_DRIVERS, "", shift="late")}),
        ),
        0.006,
    ),
    # Only a long spread lets few attendants do; one fewer at noon would be cheaper still, but misses the target.
    "shift change": Room(
        "decide_shift_change.yaml",
        {"batteries": (14, 16), "chargers": (6, 8), "stations": (1, 2), "attendants": (1, 2)},
        (EXCHANGE_WHEN,),
        576,
        Plan(
            {"batteries": 15, "chargers": 7, "stations": 1, "attendants noon": 2, "attendants evening": 1},
            frozenset({Lever(SPREAD, "trucks", 60.0)}),
        ),
        0.005,
    ),
    # Loose leads pay only with fewer chargers, visits in breaks only with more batteries; 14 batteries are cheaper
    # but miss a target, and 13 without visits in breaks cost little more.
    "waits": Room(
        "decide_waits.yaml",
        {"batteries": (12, 17), "chargers": (4, 9), "stations": (1, 3)},
        (CHARGER_LEADS, EXCHANGE_WHEN),
        432,
        Plan(
            {"batteries": 15, "chargers": 5, "stations": 2},
            frozenset({Lever(IN_BREAKS, "trucks"), Lever(LOOSE_LEADS, "")}),
        ),
        0.008,
    ),
    # A delay pays only with more slow chargers, since the night gets shorter by it; without it fewer of them do.
    "in the truck": Room(
        "decide_in_truck.yaml",
        {"chargers strong 48 V": (1, 4), "chargers slow 48 V": (1, 4), "chargers slow 24 V": (1, 4)},
        (CHARGING,),
        256,
        Plan(
            {"chargers strong 48 V": 1, "chargers slow 48 V": 2, "chargers slow 24 V": 2},
            frozenset({Lever(DELAY, ""), Lever(POWER_LIMIT, "", 25.0)}),
        ),
        0.017,
        peak_kw=31.6,
    ),
    # Drivers exchange in the yard, attendants in the hall; drivers everywhere are cheaper, but miss the hall's target.
    "two areas": Room(
        "decide_two_areas.yaml",
        {
            "batteries of hall": (9, 11),
            "batteries of yard": (5, 7),
            "attendants room early": (1, 2),
            "attendants room late": (1, 2),
        },
        (EXCHANGE_BY,),
        585,
        Plan(
            {
                "batteries of hall": 10,
                "batteries of yard": 6,
                "attendants room early": 1,
                "attendants room late": 1,
            },
            frozenset({Lever(BY_DRIVERS, "yard", shift="early"), Lever(BY_DRIVERS, "yard", shift="late")}),
        ),
        0.005,
    ),
}
SITES = {
    "depot": "decide_large_depot.yaml",
    "warehouse": "decide_large_warehouse.yaml",
    "halls": "decide_large_halls.yaml",
}
"""Large sites, by name: their files. About one random plan in ten keeps their targets."""


def space_of(room: Room) -> Space:
    """Space of a room: its box, and the levers that are about its subjects."""
    scenario = batsim.read(CASES / room.file)
    found = choices_of(scenario, LAYOUT, room.peak_kw)
    choices = tuple(choice for choice in found if choice.subject in room.subjects)
    return Space(scenario, LAYOUT, ranges_of(scenario, LAYOUT, room.ranges), choices)


def whole_space(scenario: Scenario, run: Run) -> Space:
    """Space of a large site: all that may be counted, and every lever."""
    counts_alone = Space(scenario, LAYOUT, ranges_of(scenario, LAYOUT, {}))
    stated = trials_of(counts_alone, run).one(counts_alone.stated, AT_FIRST)
    peak_kw = stated.evidence().mean_of_year("peak_of_all_weeks_kw")
    return Space(scenario, LAYOUT, counts_alone.ranges, tuple(choices_of(scenario, LAYOUT, peak_kw)))


def trials_of(space: Space, run: Run, *, first: int = 0) -> Trials:
    """Trials of the points of a space, from a replication on."""
    return Trials(Settings(layouts=LAYOUT).schedule(space.scenario), space, run, first)


def targets_of(space: Space) -> tuple[Limit, ...]:
    """Targets that say something of the layout."""
    return tuple(limit for limit in limits_of(space.scenario) if limit.is_about(space.scenario, LAYOUT))


def plan_of(space: Space, point: Point) -> Plan:
    """A point in words."""
    counts = {each.name: number for each, number in zip(space.ranges, point, strict=False)}
    return Plan(counts, frozenset(space.levers(point)))


def point_of(space: Space, plan: Plan) -> Point:
    """Point of a plan."""
    ways = (
        next((way for way, levers in enumerate(choice.options) if plan.levers & set(levers)), 0)
        for choice in space.choices
    )
    return (*(plan.counts[each.name] for each in space.ranges), *ways)


# --- brute force ---


class Brute(NamedTuple):
    """What brute force found in a box."""

    best: tuple[Trial, ...]
    """The cheapest of all that keep what is tested of every target; several where they are the same in effect."""
    second: Trial
    """The next one that keeps it."""
    dearer_share: float
    """By how much that is dearer, as a part of the cost of the best. [-]"""
    dearer_errors: float
    """Standard errors of the paired difference by which others that keep the targets are dearer; the least of all."""
    kept_errors: float
    """Standard errors by which the best keeps what is tested; the least of all targets."""
    missed_errors: float
    """Standard errors by which what is not surely dearer misses what is tested; the least of all such plans."""

    @property
    def is_clear(self) -> bool:
        """Whether chance has no part in it."""
        return min(self.dearer_errors, self.kept_errors, self.missed_errors) > SURE


def grid(space: Space) -> list[Point]:
    """All points of the box, those that are the same plan once."""
    counts = [range(each.low, each.high + 1) for each in space.ranges]
    ways = [range(len(choice.options)) for choice in space.choices]
    return list(dict.fromkeys(space.without_idle(point) for point in itertools.product(*counts, *ways)))


def brute(trials: Trials, limits: Sequence[Limit], stages: Sequence[int] = STAGES) -> Brute:
    """Simulate every plan of the box, those that may be the best more and more often."""
    following = dict(itertools.pairwise(stages))
    trials.look(grid(trials.space), stages[0])
    while looks := [
        (trial.point, following[trial.replications])
        for trial in possibly_best(trials, limits, stages[0])
        if trial.replications in following
    ]:
        for point, replications in looks:
            trials.one(point, replications)
    return found_of(trials, limits)


def possibly_best(trials: Trials, limits: Sequence[Limit], few: int) -> list[Trial]:
    """Plans that neither surely miss what is tested nor are surely dearer than one that surely keeps it.

    What was simulated a few times only must be worse by much.
    """
    tried = tried_of(trials)
    best = min((trial for trial in tried if keeps_by(trial, limits) > SURE), key=Trial.cost, default=None)
    found = []
    for trial in tried:
        dearer, miss = (LEAST_DEARER, LEAST_MISS) if trial.replications <= few else (0.0, 0.0)
        if not surely_misses(trial, limits, miss) and (best is None or not surely_dearer(trial, best, dearer)):
            found.append(trial)
    return found


def tried_of(trials: Trials) -> list[Trial]:
    """All that was simulated."""
    return [trial for trial in trials.tried.values() if not trial.refused]


def found_of(trials: Trials, limits: Sequence[Limit]) -> Brute:
    """Sum up all that was tried."""
    tried = tried_of(trials)
    most = max(trial.replications for trial in tried)
    keeping = [trial for trial in tried if trial.miss(limits) == 0.0]
    best = min((trial for trial in keeping if trial.replications == most), key=Trial.cost)
    same = tuple(trial for trial in keeping if not np.any(beyond(trial, best)))
    others = [trial for trial in keeping if trial not in same]
    missing = [trial for trial in tried if trial not in keeping and not surely_dearer(trial, best, 0.0)]
    second = min(others, key=lambda trial: float(np.mean(beyond(trial, best))))
    return Brute(
        same,
        second,
        float(np.mean(beyond(second, best))) / best.cost(),
        min(errors_of(beyond(trial, best)) for trial in others),
        keeps_by(best, limits),
        min((-keeps_by(trial, limits) for trial in missing), default=np.inf),
    )


def beyond(trial: Trial, best: Trial) -> Floats:
    """By how much a plan is dearer than another, in each replication that both have. [currency/year]"""
    count = min(trial.replications, best.replications)
    return trial.cost_values(count) - best.cost_values(count)


def errors_of(values: Floats) -> float:
    """Mean of values in its standard errors; infinite where they do not vary, 0 where all are 0."""
    mean, error = float(np.mean(values)), float(np.std(values, ddof=1)) / np.sqrt(values.size)
    if error:
        return mean / error
    return float(np.copysign(np.inf, mean)) if mean else 0.0


def keeps_by(trial: Trial, limits: Sequence[Limit]) -> float:
    """Standard errors by which a plan keeps what is tested of its worst target; below zero where it misses it."""
    return min(-errors_of(over_of(trial, limit)) for limit in limits)


def over_of(trial: Trial, limit: Limit) -> Floats:
    """How far each replication is over what is tested; the unit of the target."""
    return limit.sign * pooled(trial.of(limit.part), limit.measure) - limit.tested


def surely_misses(trial: Trial, limits: Sequence[Limit], least: float) -> bool:
    """Whether a plan misses what is tested of a target by more than chance, and by so large a part of it."""
    overs = [(over_of(trial, limit), limit.allowed or limit.indifference) for limit in limits]
    return any(errors_of(over) > SURE and np.mean(over) > least * allowed for over, allowed in overs)


def surely_dearer(trial: Trial, best: Trial, least: float) -> bool:
    """Whether a plan is dearer than another by more than chance, and by so large a part of the cost."""
    more = beyond(trial, best)
    return errors_of(more) > SURE and float(np.mean(more)) > least * best.cost()


# --- random plans ---


def random_point(space: Space, chance: np.random.Generator) -> Point:
    """Draw a plan: counts between the fewest and enough, and any way of each choice."""
    counts = [int(chance.integers(each.low, each.generous, endpoint=True)) for each in space.ranges]
    ways = [int(chance.integers(len(choice.options))) for choice in space.choices]
    return space.without_idle((*counts, *ways))


def random_plans(trials: Trials, limits: Sequence[Limit], number: int, replications: int, *, seed: int) -> list[Trial]:
    """Draw random plans until so many keep what is tested of every target; the means tell.

    What misses by far in one replication is not looked at again.
    """
    chance = np.random.default_rng(seed)
    found: dict[Point, Trial] = {}
    for _ in range(MOST_DRAWS):
        if len(found) == number:
            break
        point = random_point(trials.space, chance)
        if trials.one(point, 1).miss(limits) > NEAR_MISS:
            continue
        trial = trials.one(point, replications)
        if trial.miss(limits) == 0.0:
            found[point] = trial
    return list(found.values())
