"""Which law measured values follow: fitted, chosen, tested, with intervals of what a scenario would state."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from batsim.errors import require
from batsim.statistics.empirical import Steps, empirical, quantiles_of
from batsim.statistics.goodness import Tested, rounded, tested
from batsim.statistics.intervals import Floats, Interval, check_share
from batsim.statistics.laws import LAWS, Law
from batsim.statistics.likelihood import Parameters, profile_interval
from batsim.statistics.mixtures import CLEARLY_BETTER, Mixture, mixture, outliers
from batsim.statistics.rare_events import skewed_interval
from batsim.statistics.samples import Grid, Sample

DURATIONS = ("exponential", "lognormal", "gamma", "hyperexponential", "uniform", "triangular")
"""Laws of a duration that are tried; a fixed one and what was observed need no trial."""
AMOUNTS = ("lognormal", "gamma")
"""Laws of a power or an energy: a mean and a spread."""
SHARES = ("beta",)
"""Laws of a share, such as the depth at exchange."""
CANDIDATES = {"duration": DURATIONS, "amount": AMOUNTS, "share": SHARES}
"""Laws to try, by what was measured."""
FIXED, OBSERVED, NOTHING = "fixed", "observed", "nothing"
"""Laws that are not fitted: always the same, as it was measured, and nothing to go by."""

FEW = 30
"""Values seen to their end below which too few stand behind a law: its parameters are a range rather than a number."""
FEWEST = 5
"""Values seen to their end below which no law is fitted; as many must differ for a law with limits, 3 for others."""
REFUSED = 0.05
"""Share of a law's own draws that must lie as far off as what was measured; below, it is refused. [-]"""
DRAWS = 200
"""Samples drawn to test a law; the standard error of a share of 0.05 is 0.015."""
MOST_TESTED = 2000
"""Values by which a law is tested at most, drawn from all: with more, what is too small to matter would be refused."""
GRIDS = (60.0, 30.0, 15.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.25, 1.0 / 6.0, 0.1, 1.0 / 12.0, 0.05, 0.025, 1.0 / 60.0, 0.01)
"""What values may be rounded to; in minutes down to five seconds and one."""
REMARKED, COARSE = 0.02, 0.25
"""Grid over the standard deviation of the values from which on rounding is reckoned with in the test, and in the fit:
with the greater one, values taken as they are make the variance 0.5 % too great (Sheppard's correction). [-]"""

TOO_COARSE = 0.5
"""Grid over the standard deviation of the values above which two kinds cannot be told from rounding. [-]"""

Marks = np.ndarray[tuple[int], np.dtype[np.bool_]]


class Candidate(NamedTuple):
    """A law that was tried."""

    law: str
    parameters: dict[str, float]
    """By the keys of a scenario, in the unit of the values."""
    log_likelihood: float
    criterion: float
    """Bayesian information criterion; less is better. [-]"""
    distance: float
    """Anderson and Darling's; not a number where it was not tested. [-]"""
    p: float
    """Share of the law's own draws that lie as far off; not a number where it was not tested. [-]"""


@dataclass(frozen=True, eq=False)
class Fitted:
    """What values follow, and how sure that is."""

    law: str
    """Word of a scenario; `observed` where no law agrees with them, `fixed` where all are the same, `nothing` where
    none was seen to its end."""
    parameters: dict[str, Interval]
    """What a scenario states of the law; empty for `observed` and `nothing`. Unit of the values."""
    mean: Interval
    """Mean of all; limits are not numbers where they cannot be told. Unit of the values."""
    candidates: tuple[Candidate, ...]
    """Laws that were tried, the best first."""
    values: Floats
    """All values, as they were given."""
    censored: Marks
    """Which of them were cut off."""
    confidence: float
    few: bool
    """Whether fewer than `FEW` values stand behind it: a scenario should then say `{between: ...}`."""
    rounded_to: float | None = None
    """What the values are rounded to, where that is coarse beside their spread."""
    zeros: int = 0
    """Values that are nothing."""
    outliers: tuple[float, ...] = ()
    """Values that the law would not give; they are part of the fit all the same."""
    mixture: Mixture | None = None
    """Two kinds that agree clearly better than any one law."""

    @property
    def chosen(self) -> Candidate | None:
        """What was tried of the law that was chosen."""
        return next((each for each in self.candidates if each.law == self.law), None)

    @property
    def seen(self) -> int:
        """Values that were seen to their end."""
        return int(np.sum(~self.censored))

    @property
    def measured(self) -> Steps:
        """Share that is over by each value, with its band."""
        return empirical(self.values, self.censored, self.confidence)

    @property
    def observed(self) -> Floats:
        """As many values as were given, to be drawn again: the measured ones, those cut off spread over longer ones."""
        steps, count = self.measured, self.values.size
        return quantiles_of(steps, (np.arange(count) + 0.5) / count) if steps.at.size else np.empty(0)

    @property
    def drawn_law(self) -> Candidate | None:
        """Law to draw beside what was measured: the chosen one, or the best of those that were refused."""
        return self.chosen or next(iter(self.candidates), None)

    def below(self, values: Floats) -> Floats:
        """Share of `drawn_law` below each value; not numbers where there is none. [-]"""
        law = self.drawn_law
        if law is None:
            return np.full(values.shape, np.nan)
        return LAWS[law.law].below(values, tuple(law.parameters.values()))

    def curve(self, points: int = 200) -> tuple[Floats, Floats]:
        """Values from the least to the greatest one, so many of them, and the share of `drawn_law` below each."""
        at = np.linspace(float(self.values.min()), float(self.values.max()), points)
        return at, self.below(at)

    def steps(self, most: int = 400) -> Steps:
        """Share that is over by each value, of so many of them at most, evenly by their ranks."""
        all_of_them = self.measured
        count = all_of_them.at.size
        some = np.unique(np.linspace(0, count - 1, min(most, count)).round().astype(int))
        return Steps(*(part[some] for part in all_of_them))

    def quantile_points(self, most: int = 200) -> tuple[Floats, Floats]:
        """Quantiles of `drawn_law`, and the measured values that belong to them, so many of them at most."""
        law, steps = self.drawn_law, self.steps(most)
        if law is None:
            return np.empty(0), np.empty(0)
        return LAWS[law.law].quantile(steps.middle, *law.parameters.values()), steps.at


def fit(
    values: ArrayLike,
    *,
    censored: ArrayLike | None = None,
    candidates: str | Sequence[str] = "duration",
    confidence: float = 0.95,
    seed: int = 0,
) -> Fitted:
    """Find the law that values follow.

    Parameters
    ----------
    values
        Independent values, 0 or more. Any unit.
    censored
        Which of them were cut off: the true one is longer (a charge that was broken off, an exchange still under way).
    candidates
        What was measured, `duration`, `amount` (a power, an energy) or `share`; or the laws to try.
    confidence
        Probability that an interval holds the true parameter, between 0 and 1. [-]
    seed
        Seed of the draws by which laws are tested, and of the values that are drawn to test them by.

    Returns
    -------
    Fitted
        Of the laws whose information criterion is within 10 of the least one, the best that is not refused by Anderson
        and Darling's test; `observed` where all are.

    Raises
    ------
    ValueError
        When a value is below zero or not finite, a law is not known, there is not a mark for each value, or the
        confidence is not between 0 and 1.

    Notes
    -----
    Maximum likelihood; cut-off values count by the share of the law above them. The criterion is
    k ln(values seen to their end) - 2 ln L, a limit of a range counted twice (Volinsky, C. T. & Raftery, A. E. (2000)
    Biometrics 56, 256-262, from memory, for values that are cut off). The test draws 200 samples of the fitted law, cut
    off and rounded as the values are, and fits each anew.
    Intervals come from the profile likelihood; those of limits (uniform, triangular) from the same draws, mirrored.
    Two kinds are not looked for where values were cut off or are rounded to more than half their standard deviation.
    Laws with limits are not tried where values were cut off, nor those of positive values where some are nothing and
    are not so by rounding.

    Examples
    --------
    >>> fitted = fit([4.0, 4.0, 4.0])
    >>> fitted.law, fitted.parameters["fixed"].mean, fitted.few
    ('fixed', 4.0, True)
    """
    check_share("confidence", confidence)
    names = CANDIDATES.get(candidates, (candidates,)) if isinstance(candidates, str) else candidates
    unknown = [name for name in names if name not in LAWS]
    require(not unknown, f"candidates must be of {', '.join((*CANDIDATES, *LAWS))} (got {', '.join(unknown)})")
    given = np.asarray(values, dtype=np.float64).ravel()
    marks: Marks = np.zeros(given.size, dtype=np.bool_) if censored is None else np.asarray(censored, np.bool_).ravel()
    require(given.size == marks.size, f"there must be a mark for each value (got {marks.size} for {given.size})")
    require(np.all((given >= 0.0) & (given < np.inf)), "values must be finite and 0 or more")
    return _Fit(given, marks, confidence, seed).fitted(names)


class _Fit:
    """What one fit is about."""

    def __init__(self, values: Floats, censored: Marks, confidence: float, seed: int) -> None:
        self.values, self.censored, self.confidence, self.seed = values, censored, confidence, seed
        seen = np.sort(values[~censored])
        self.zeros = int(np.sum(seen == 0.0))
        self.grid = grid_of(seen)
        cut = np.sort(values[censored])
        cut = cut[cut > 0.0]  # what is cut off at once says nothing
        self.sample = Sample(seen if self.grid is None else rounded(seen, self.grid.width), cut, self.grid)

    def fitted(self, names: Sequence[str]) -> Fitted:
        """Fit, choose, test."""
        sample = self.sample
        if not sample.events:
            return self._told(NOTHING, {}, Interval(np.nan, np.nan, np.nan))
        if sample.seen[0] == sample.seen[-1] and not np.any(sample.cut > sample.seen[-1]):
            always = float(np.mean(self.values[~self.censored]))
            alone = Interval(always, always, always) if sample.events >= FEWEST else Interval(always, np.nan, np.nan)
            return self._told(FIXED, {FIXED: alone}, alone)
        laws = {name: LAWS[name] for name in names if self._may_be(LAWS[name])}
        estimates = {name: law.fitted(sample) for name, law in laws.items()}
        tried = sorted(
            (self._candidate(name, estimates[name]) for name in laws), key=lambda candidate: candidate.criterion
        )
        tests: dict[str, Tested] = {}
        law = self._chosen(tried, tests)
        tried = [self._with_test(each, tests.get(each.law)) for each in tried]
        found = self._intervals(law, estimates[law], tests[law]) if law != OBSERVED else {}
        mean = found["mean"] if "mean" in found else self._mean()
        return self._told(law, found, mean, candidates=tuple(tried), **self._oddities(law, tried))

    def _may_be(self, law: Law) -> bool:
        """Whether a law can be fitted to the values at all."""
        sample = self.sample
        return sample.events >= FEWEST and sample.different >= (3 if law.regular else FEWEST) and law.takes(sample)

    def _candidate(self, name: str, parameters: Parameters) -> Candidate:
        """What was tried of a law, not tested yet."""
        law = LAWS[name]
        likelihood = law.likelihood(self.sample)(parameters)
        criterion = law.counted * float(np.log(self.sample.events)) - 2.0 * likelihood
        return Candidate(name, dict(zip(law.keys, parameters, strict=True)), likelihood, criterion, np.nan, np.nan)

    def _chosen(self, tried: list[Candidate], tests: dict[str, Tested]) -> str:
        """Best law that is not refused, of those not clearly worse than the best; puts down what was tested."""
        part = self._part(self.sample.seen)
        for candidate in tried:
            if candidate.criterion > tried[0].criterion + CLEARLY_BETTER:
                break
            law = LAWS[candidate.law]
            parameters = tuple(candidate.parameters.values()) if part is self.sample else law.fitted(part)
            tests[candidate.law] = tested(law, parameters, part, DRAWS, self.seed)
            if tests[candidate.law].p >= REFUSED:
                return candidate.law
        return OBSERVED

    def _part(self, seen: Floats) -> Sample:
        """Values to test by: all, or so many drawn from them."""
        cut = self.sample.cut
        count = seen.size + cut.size
        if count <= MOST_TESTED:
            return self.sample if seen.size == self.sample.events else Sample(seen, cut, self.grid)
        some = np.sort(np.random.default_rng(self.seed).choice(count, MOST_TESTED, replace=False))
        return Sample(seen[some[some < seen.size]], cut[some[some >= seen.size] - seen.size], self.grid)

    @staticmethod
    def _with_test(candidate: Candidate, test: Tested | None) -> Candidate:
        return candidate if test is None else candidate._replace(distance=test.distance, p=test.p)

    def _intervals(self, name: str, best: Parameters, test: Tested) -> dict[str, Interval]:
        """Interval of each parameter."""
        law = LAWS[name]
        if law.regular:
            likelihood = law.likelihood(self.sample)
            events, confidence = float(self.sample.events), self.confidence
            return {
                key: profile_interval(likelihood, best, which, events, confidence, law.least[which])
                for which, key in enumerate(law.keys)
            }
        ends = np.quantile(test.drawn, [(1.0 + self.confidence) / 2.0, (1.0 - self.confidence) / 2.0], axis=0)
        mirrored = np.maximum(0.0, np.array(best) + np.array(test.parameters) - ends)
        return {
            key: Interval(value, min(value, float(low)), max(value, float(high)))
            for key, value, low, high in zip(law.keys, best, *mirrored, strict=True)
        }

    def _mean(self) -> Interval:
        """Mean of what was measured, by no law."""
        if not self.sample.cut.size:
            return skewed_interval(self.values[~self.censored], self.confidence)
        steps = empirical(self.values, self.censored, self.confidence)
        rises = np.diff(steps.share, prepend=0.0)
        rises[-1] += 1.0 - steps.share[-1]
        return Interval(float(np.sum(rises * steps.at)), np.nan, np.nan)

    def _oddities(self, law: str, tried: list[Candidate]) -> dict[str, Any]:
        """Outliers of the law, and two kinds among the other values."""
        name = next((each.law for each in tried if each.law == law or (law == OBSERVED and LAWS[each.law].regular)), "")
        if not name or not LAWS[name].regular or not self.sample.positive:
            return {}
        far = outliers(LAWS[name], self.sample)
        rest = self._part(self.sample.seen[~np.isin(self.sample.seen, far)])
        two = None
        fine = self.grid is None or self.grid.width <= TOO_COARSE * float(np.std(rest.seen))
        if fine and not rest.cut.size and rest.different >= FEWEST and name in DURATIONS:
            two = mixture(rest.seen, min(self._criterion(each.law, rest) for each in tried))
        return {"outliers": tuple(far.tolist()), "mixture": two}

    @staticmethod
    def _criterion(name: str, sample: Sample) -> float:
        """Information criterion of a law, fitted to a sample."""
        law = LAWS[name]
        best = law.fitted(sample)
        return law.counted * float(np.log(sample.events)) - 2.0 * law.likelihood(sample)(best)

    def _told(self, law: str, parameters: dict[str, Interval], mean: Interval, **more: Any) -> Fitted:  # noqa: ANN401 - fields
        """Put down what was found."""
        few = self.sample.events < FEW
        return Fitted(
            law, parameters, mean, more.pop("candidates", ()), self.values, self.censored, self.confidence, few,
            self.grid and self.grid.width, self.zeros, **more,
        )  # fmt: skip


def grid_of(seen: Floats) -> Grid | None:
    """What values are rounded to, where that can be seen beside their spread; None where it cannot.

    Examples
    --------
    >>> grid_of(np.array([3.0, 4.0, 4.0, 7.0])), grid_of(np.array([3.0, 4.01, 4.2, 7.0]))
    (Grid(width=1.0, coarse=True), None)
    """
    deviation = float(np.std(seen)) if seen.size else 0.0
    if deviation == 0.0:
        return None
    for width in (width for width in GRIDS if width >= REMARKED * deviation):
        if np.all(np.abs(seen / width - np.rint(seen / width)) < 1e-6):
            return Grid(width, width >= COARSE * deviation)
    return None
