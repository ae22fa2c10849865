"""Whether a plan meets its targets: a sequential test of each on replications that the search has not seen.

A plan that misses a target is named with no more than the stated chance, however many are tried: the first may take
half of that chance, the second a quarter, and so on; of the several targets of a plan it takes only one that it misses
to stop it, so they share nothing.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from batsim.decision.space import Point
from batsim.decision.trials import Trial, Trials
from batsim.statistics.intervals import Interval
from batsim.statistics.sequential import Feasibility
from batsim.study.limits import Limit
from batsim.study.running.estimates import judged

EARLY_LOOKS, EARLY_SHARE = (4, 8), 0.1
"""Replications after which a plan that meets or misses its targets by far is decided, and the part of all chance of a
wrong decision that these looks may use."""
FIRST_STAGE = 16
"""Replications of a plan before its targets are first decided on by the sequential test."""
MOST_REPLICATIONS, AT_ONCE = 200, 2
"""Replications of one plan, and how many follow at a time; what is undecided after the most is decided by its means,
and said."""
LOOKS = (*EARLY_LOOKS, *range(FIRST_STAGE, MOST_REPLICATIONS + 1, AT_ONCE))
"""Replications after which it is looked whether a plan is decided."""

Verdict = Literal["feasible", "infeasible"]


class Tested(NamedTuple):
    """What a test of a plan found."""

    trial: Trial
    meets: bool
    """Whether it meets all targets with their margin."""
    missed: tuple[str, ...]
    """Labels of the targets that it does not meet with their margin."""
    sure: bool
    """Whether the tests decided; False where the most replications were spent and its means had to."""


def tested(trials: Trials, limits: Sequence[Limit], point: Point, chance: float) -> Tested:
    """Simulate a plan until tests decide whether it meets its targets.

    Parameters
    ----------
    trials
        Simulates points, on other replications than those of the search.
    limits
        Targets.
    point
        The plan.
    chance
        With which it may be found to meet them though it misses one. [-]
    """
    tests = [_Test(limit, chance) for limit in limits]
    verdicts: list[Verdict | None] = []
    trial = trials.trial(point)
    for look in LOOKS:
        trial = trials.one(point, look)
        if trial.refused:
            return Tested(trial, meets=False, missed=(), sure=True)
        verdicts = [test.verdict(trial) for test in tests]
        if _is_decided(verdicts):
            break
    told = [verdict or _by_its_mean(trial, limit) for verdict, limit in zip(verdicts, limits, strict=True)]
    missed = tuple(limit.label for limit, verdict in zip(limits, told, strict=True) if verdict == "infeasible")
    return Tested(trial, not missed, missed, _is_decided(verdicts))


def _by_its_mean(trial: Trial, limit: Limit) -> Verdict:
    """What the mean says where the test could not tell."""
    return "infeasible" if trial.signed_mean(limit) > limit.tested else "feasible"


def _is_decided(verdicts: Sequence[Verdict | None]) -> bool:
    """Whether one target is missed, or all are met."""
    return "infeasible" in verdicts or None not in verdicts


def chance_of(number: int, chance: float) -> float:
    """Chance that the plan of a number, from 0, may use up: all together use no more than the whole. [-]"""
    return chance / 2.0 ** (number + 1)


class _Test:
    """Test of one target of one plan, fed with its replications as they come."""

    def __init__(self, limit: Limit, chance: float) -> None:
        self._limit = limit
        self._sequential = Feasibility(
            limit.tested, limit.indifference / 2.0, chance * (1.0 - EARLY_SHARE), FIRST_STAGE
        )
        self._early_confidence = 1.0 - 2.0 * chance * EARLY_SHARE / len(EARLY_LOOKS)

    def verdict(self, trial: Trial) -> Verdict | None:
        """What is decided by the replications that say something; a measure without any meaning keeps every limit."""
        limit, values = self._limit, trial.of(self._limit.part)
        says = ~np.isnan(values[limit.measure])
        if not says.any():
            return "feasible"
        if says.size in EARLY_LOOKS:  # what is met or missed by far
            told = {name: series[says] for name, series in values.items()}
            return self._by_far(judged(told, limit.measure, self._early_confidence))
        signed = limit.sign * values[limit.measure][says]
        return self._sequential.add(signed[self._sequential.replications :].tolist())

    def _by_far(self, interval: Interval) -> Verdict | None:
        """What an interval tells; nothing where it holds what is tested."""
        _, low, high = interval if self._limit.sign > 0.0 else interval.turned
        if high <= self._limit.tested:
            return "feasible"
        return "infeasible" if low > self._limit.tested else None
