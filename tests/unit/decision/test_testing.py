"""The test of a plan on replications drawn from known laws: how often it errs, when it ends, and what it says."""

from collections.abc import Mapping

import numpy as np
import pytest
from scipy import stats

from batsim.decision import testing
from batsim.decision.testing import (
    AT_ONCE,
    EARLY_LOOKS,
    EARLY_SHARE,
    FIRST_STAGE,
    LOOKS,
    MOST_REPLICATIONS,
    chance_of,
)
from batsim.decision.trials import DECIDING
from batsim.study.limits import NONE_READY, WAITS, Limit
from tests.unit.decision.made_up import DOWNTIME, MadeUpTrials, Said, space_of

TIMES = 400
"""Plans that are tested to count errors."""
UNLIKELY = 1e-4
"""Chance that a count of errors is beyond what is let pass, though the test keeps its promise."""
WITHIN = "wait_within_target_share"
NONE = "found_none_ready_share"
CUT_OUT = "trucks_below_cut_out"
WAITING = Limit(WAITS, WITHIN, -0.95, -1.0, 0.025, "95 % of waits under 3 min")
OUT = Limit("cut-out", CUT_OUT, 0.0, 1.0, 0.5, "at most 0 trucks below cut-out")

Law = tuple[float, float]
"""Mean and standard deviation of a normal law."""


def outcome(
    laws: Mapping[str, Law], *limits: Limit, chance: float = 0.05, seed: int = 1, rule: str = ""
) -> testing.Tested:
    """What is found of a plan whose measures follow normal laws, one replication independent of the other."""
    generator = np.random.default_rng(seed)
    values = {name: generator.normal(mean, spread, MOST_REPLICATIONS) for name, (mean, spread) in laws.items()}

    def room(point: tuple[int, ...], number: int) -> Said:
        return Said(0.0, {name: float(series[number]) for name, series in values.items()})

    return testing.tested(MadeUpTrials(space_of((), {}), room, refused=lambda _: rule), limits, (), chance)


def most_often(chance: float, times: int = TIMES) -> int:
    """Most errors in so many plans that a chance of each explains."""
    return int(stats.binom.ppf(1.0 - UNLIKELY, times, chance))


# --- errors ---


def test_all_plans_together_use_no_more_than_the_whole_chance() -> None:
    """The first a half, each that follows half of the one before."""
    chances = [chance_of(number, 0.05) for number in range(60)]
    assert chances[0] == 0.025
    assert np.divide(chances[1:], chances[:-1]) == pytest.approx(0.5)
    assert sum(chances[:10]) < 0.05
    assert sum(chances) <= 0.05


@pytest.mark.parametrize("spread", [0.3, 1.0, 2.0])
@pytest.mark.parametrize("chance", [0.025, 0.2])
def test_a_plan_that_misses_its_target_by_nothing_seldom_passes(spread: float, chance: float) -> None:
    """Its mean lies on the target; replications differ by less, and by more, than what makes no difference."""
    laws = {DECIDING: (DOWNTIME.most, spread * DOWNTIME.indifference)}
    passed = sum(outcome(laws, DOWNTIME, chance=chance, seed=seed).meets for seed in range(TIMES))
    assert passed <= most_often(chance)


def test_a_plan_that_misses_one_of_two_targets_seldom_passes() -> None:
    """Though it keeps the other by far, and though both are tested with the whole chance."""
    laws = {DECIDING: (DOWNTIME.most, DOWNTIME.indifference), WITHIN: (0.99, 0.002)}
    passed = sum(outcome(laws, WAITING, DOWNTIME, seed=seed).meets for seed in range(TIMES))
    assert passed <= most_often(0.05)


@pytest.mark.parametrize(
    ("limit", "law"),
    [
        (DOWNTIME, (DOWNTIME.most - DOWNTIME.indifference, DOWNTIME.indifference)),
        (WAITING, (0.95 + 0.025, 0.02)),
    ],
)
def test_a_plan_that_keeps_its_target_by_what_makes_no_difference_passes(limit: Limit, law: Law) -> None:
    """Also where the measure must be large."""
    found = [outcome({limit.measure: law}, limit, seed=seed) for seed in range(TIMES)]
    assert sum(not each.meets for each in found) <= most_often(0.05)
    assert all(each.sure and each.missed == (() if each.meets else (limit.label,)) for each in found)


def test_early_looks_seldom_err() -> None:
    """On the border that is tested: each look passes no more plans than its share of the chance."""
    laws, chance = {DECIDING: (DOWNTIME.tested, DOWNTIME.indifference)}, 0.4
    found = [outcome(laws, DOWNTIME, chance=chance, seed=seed) for seed in range(TIMES)]
    early = [each for each in found if each.trial.replications in EARLY_LOOKS]
    for errors in (sum(each.meets for each in early), sum(not each.meets for each in early)):
        assert 0 < errors <= most_often(chance * EARLY_SHARE)


# --- when it ends ---


def test_when_it_is_looked() -> None:
    assert LOOKS[: len(EARLY_LOOKS) + 2] == (*EARLY_LOOKS, FIRST_STAGE, FIRST_STAGE + AT_ONCE)
    assert LOOKS[-1] == MOST_REPLICATIONS
    assert list(LOOKS) == sorted(set(LOOKS))


@pytest.mark.parametrize(
    ("law", "meets", "replications"),
    [
        ((DOWNTIME.most - 5.0, 0.2), True, EARLY_LOOKS[0]),
        ((DOWNTIME.most + 5.0, 0.2), False, EARLY_LOOKS[0]),
        ((DOWNTIME.tested - 0.2, 0.02), True, EARLY_LOOKS[0]),
        ((DOWNTIME.tested + 0.2, 0.02), False, EARLY_LOOKS[0]),
        ((DOWNTIME.most - 5.0, 2.0), True, EARLY_LOOKS[1]),
        ((DOWNTIME.most + 5.0, 2.0), False, EARLY_LOOKS[1]),
        ((DOWNTIME.tested - 0.1, 0.2), True, FIRST_STAGE),
        ((DOWNTIME.tested + 0.1, 0.2), False, FIRST_STAGE),
    ],
)
def test_the_farther_from_its_target_the_sooner_a_plan_is_decided(law: Law, meets: bool, replications: int) -> None:
    """By far after a few replications, else by the sequential test, which begins later."""
    found = outcome({DECIDING: law}, DOWNTIME)
    assert (found.meets, found.sure) == (meets, True)
    assert found.missed == (() if meets else ("downtime",))
    assert found.trial.replications == replications


def test_the_nearer_to_its_target_the_longer_it_takes() -> None:
    """On the average of 40 plans."""
    mean = [
        np.mean([outcome({DECIDING: (DOWNTIME.tested - below, 1.0)}, DOWNTIME, seed=seed).trial.replications
                 for seed in range(40)])
        for below in (3.0, 0.75, 0.25)
    ]  # fmt: skip
    assert mean == sorted(mean)
    assert EARLY_LOOKS[0] <= mean[0] < EARLY_LOOKS[1] < mean[1] < mean[2] - EARLY_LOOKS[1]


def test_one_target_that_is_missed_ends_it() -> None:
    """What is not decided by then is told as missed where its mean is."""
    laws = {DECIDING: (DOWNTIME.most + 5.0, 0.2), WITHIN: (0.96, 0.05)}
    kept, missed = (outcome(laws | {WITHIN: (mean, 0.05)}, WAITING, DOWNTIME) for mean in (0.99, 0.92))
    for found in (kept, missed):
        assert (found.meets, found.sure, found.trial.replications) == (False, True, EARLY_LOOKS[0])
    assert (kept.missed, missed.missed) == (("downtime",), ("waits", "downtime"))


@pytest.mark.parametrize(("shift", "meets"), [(-0.01, True), (0.01, False)])
def test_what_is_undecided_after_the_most_replications_goes_by_its_mean(shift: float, meets: bool) -> None:
    """And says that it is not sure: replications differ by forty times what makes no difference."""
    spread = 40.0 * DOWNTIME.indifference
    series = np.random.default_rng(3).normal(0.0, spread, MOST_REPLICATIONS)
    series += DOWNTIME.tested + shift - series.mean()
    trials = MadeUpTrials(space_of((), {}), lambda _, number: Said(0.0, {DECIDING: float(series[number])}))
    found = testing.tested(trials, [DOWNTIME], (), 0.05)
    assert (found.meets, found.sure, found.trial.replications) == (meets, False, MOST_REPLICATIONS)
    assert found.missed == (() if meets else ("downtime",))


def test_no_more_is_simulated_than_it_takes() -> None:
    """A plan that has replications already is judged by these first."""
    trials = MadeUpTrials(space_of((), {}), lambda *_: Said(0.0, {DECIDING: DOWNTIME.most - 5.0}))
    first = testing.tested(trials, [DOWNTIME], (), 0.05)
    assert trials.runs == first.trial.replications == EARLY_LOOKS[0]
    assert testing.tested(trials, [DOWNTIME], (), 0.05) == first
    assert trials.runs == EARLY_LOOKS[0]


# --- what has no mean ---


def test_a_measure_without_a_meaning_keeps_every_limit() -> None:
    """Where nobody asks for a battery none is found missing; the other target decides."""
    nobody = Limit(NONE_READY, NONE, 0.0, 1.0, 0.005, "at most 0 % of trucks find none ready")
    laws = {NONE: (np.nan, 0.0)}
    alone = outcome(laws, nobody)
    assert (alone.meets, alone.missed, alone.sure) == (True, (), True)
    assert alone.trial.replications == EARLY_LOOKS[0]
    for mean, meets in ((DOWNTIME.most - 5.0, True), (DOWNTIME.most + 5.0, False)):
        assert outcome(laws | {DECIDING: (mean, 0.2)}, nobody, DOWNTIME).meets is meets


@pytest.mark.parametrize(("mean", "meets"), [(DOWNTIME.most - 5.0, True), (DOWNTIME.most + 5.0, False)])
def test_a_replication_that_says_nothing_settles_nothing(mean: float, meets: bool) -> None:
    """In the first of all nobody came for a battery; the others tell."""
    trials = MadeUpTrials(
        space_of((), {}), lambda _, number: Said(0.0, {DECIDING: mean + 0.1 * (number % 3) if number else np.nan})
    )
    found = testing.tested(trials, [DOWNTIME], (), 0.05)
    assert (found.meets, found.sure) == (meets, True)


def test_nothing_seen_in_a_few_replications_shows_little() -> None:
    """No truck below cut-out in eight may be one in a few; in four it is not three in each."""
    laws = {CUT_OUT: (0.0, 0.0), "visits": (400.0, 0.0)}
    for most, replications in ((0.0, FIRST_STAGE), (3.0, EARLY_LOOKS[0])):
        found = outcome(laws, OUT._replace(most=most))
        assert (found.meets, found.sure, found.trial.replications) == (True, True, replications)


def test_a_plan_that_breaks_a_rule_meets_nothing() -> None:
    """No target of it is missed, and nothing is simulated."""
    found = outcome({DECIDING: (DOWNTIME.most - 5.0, 0.2)}, DOWNTIME, rule="too many")
    assert (found.meets, found.missed, found.sure) == (False, (), True)
    assert (found.trial.refused, found.trial.replications) == ("too many", 0)
