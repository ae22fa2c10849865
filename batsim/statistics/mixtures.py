"""Two kinds of values in one list, and values that belong to none: mixtures and outliers."""

from typing import NamedTuple

import numpy as np

from batsim.statistics.intervals import Floats
from batsim.statistics.laws import LAWS, Law, gamma_shape
from batsim.statistics.likelihood import Parameters
from batsim.statistics.samples import LEAST_CV, Sample

MIXED = ("lognormal", "gamma")
"""Laws of which two may be mixed."""
CLEARLY_BETTER = 10.0
"""Difference of the information criterion that counts as very strong evidence (Raftery, A. E. (1995) Sociological
Methodology 25, 111-163, from memory)."""
FEWEST_MIXED, FEWEST_OF_KIND = 20, 5
"""Values below which no two kinds are looked for, and values of each kind."""
STARTS = (0.25, 0.5, 0.75, 0.9)
"""Shares at which the values are parted to begin with. [-]"""
LEAST_SHARE, LEAST_WIDTH = 0.005, 0.1
"""Least share of a kind, and its least spread over that of all values: no kind is one value that is often met. [-]"""
ROUNDS, ROUGHLY, SETTLED = 300, 0.05, 1e-4
"""Most rounds of a search, and the gains in log-likelihood at which a first one and the last one end."""
MOST_OUTLIERS, OUTLIERS_SHARE = 10, 0.02
"""Most values, and most of all values, that are looked at as outliers."""
NOT_BY_CHANCE = 0.01
"""Chance that any value of a law lies so far out, from which on it counts as an outlier (Bonferroni). [-]"""


class Kind(NamedTuple):
    """One of two kinds of values."""

    share: float
    """Of all values. [-]"""
    mean: float
    cv: float


class Mixture(NamedTuple):
    """Two kinds of values that agree better with what was measured than one law does."""

    law: str
    kinds: tuple[Kind, Kind]
    """The shorter one first."""
    better_by: float
    """How much lower its information criterion is than that of the best law. [-]"""


def mixture(seen: Floats, best: float) -> Mixture | None:
    """Find two kinds where they are clearly better than one law.

    Parameters
    ----------
    seen
        Values above zero, none of them cut off. Any unit.
    best
        Information criterion (BIC) of the best law. [-]

    Returns
    -------
    Mixture or None
        Of two lognormal or two gamma laws; None when its criterion is not lower by more than 10.

    References
    ----------
    Dempster, A. P., Laird, N. M. & Rubin, D. B. (1977) Journal of the Royal Statistical Society B 39, 1-38 (EM).
    """
    if seen.size < FEWEST_MIXED:
        return None
    logs = np.log(seen)
    rough = [_two(seen, logs, law, _parted(seen, at), ROUGHLY) for law in MIXED for at in STARTS]
    best_rough = max(rough, key=lambda two: two.likelihood)
    if _criterion(best_rough, seen.size) > best:
        return None
    two = _two(seen, logs, best_rough.law, best_rough.second, SETTLED)
    better_by = best - _criterion(two, seen.size)
    first, second = sorted(two.kinds, key=lambda kind: kind.mean)
    enough = min(first.share, second.share) * seen.size >= FEWEST_OF_KIND
    return Mixture(two.law, (first, second), better_by) if enough and better_by > CLEARLY_BETTER else None


class _Two(NamedTuple):
    """Two kinds and what belongs to them."""

    law: str
    likelihood: float
    kinds: tuple[Kind, Kind]
    second: Floats
    """How much each value belongs to the second kind. [-]"""


def _criterion(two: _Two, count: int) -> float:
    """Information criterion of two kinds: two means, two spreads and a share."""
    return 5.0 * float(np.log(count)) - 2.0 * two.likelihood


def _parted(seen: Floats, at: float) -> Floats:
    """Values above a share of them as the second kind."""
    return (seen > np.quantile(seen, at)).astype(np.float64)


def _two(seen: Floats, logs: Floats, law: str, second: Floats, settled: float) -> _Two:
    """Kinds by turns of what belongs where and what follows from it."""
    least, total = LEAST_WIDTH * float(np.std(logs)), -np.inf
    for _ in range(ROUNDS):
        kinds = (_kind(seen, logs, 1.0 - second, law, least), _kind(seen, logs, second, law, least))
        one, other = (np.log(kind.share) + _log_density(law, seen, logs, kind) for kind in kinds)
        both = np.logaddexp(one, other)
        second, before, total = np.exp(other - both), total, float(np.sum(both))
        if total - before < settled:
            break
    return _Two(law, total, kinds, second)


def _kind(seen: Floats, logs: Floats, weights: Floats, law: str, least: float) -> Kind:
    """Kind of the highest likelihood from how much each value belongs to it."""
    share = float(np.clip(np.mean(weights), LEAST_SHARE, 1.0 - LEAST_SHARE))
    parts = (weights + 1e-12) / float(np.sum(weights + 1e-12))
    mean, log_mean = float(parts @ seen), float(parts @ logs)
    if law == "gamma":
        return Kind(share, mean, max(least, 1.0 / float(np.sqrt(gamma_shape(np.log(mean) - log_mean)))))
    variance = max(least**2, LEAST_CV**2, float(parts @ (logs - log_mean) ** 2))
    return Kind(share, float(np.exp(log_mean + variance / 2.0)), float(np.sqrt(np.expm1(variance))))


def _log_density(law: str, seen: Floats, logs: Floats, kind: Kind) -> Floats:
    """Log density of each value, by the sum over a sample of one: both laws are sums of terms in x and ln x."""
    density: Floats
    if law == "gamma":
        shape = 1.0 / kind.cv**2
        one = Sample(np.ones(1), np.empty(0))
        base = LAWS[law].log_density(one, kind.mean, kind.cv) + shape / kind.mean
        density = base + (shape - 1.0) * logs - seen * shape / kind.mean
        return density
    variance = float(np.log1p(kind.cv**2))
    middle = np.log(kind.mean) - variance / 2.0
    density = -logs - (logs - middle) ** 2 / (2.0 * variance) - np.log(2.0 * np.pi * variance) / 2.0
    return density


def outliers(law: Law, sample: Sample) -> Floats:
    """Values that a law fitted to the others would give by chance in one list of a hundred at most.

    Parameters
    ----------
    law
        What the values follow.
    sample
        Values.

    Returns
    -------
    array
        The outliers in rising order: of the furthest ten (or 2 %) as many as lie so far out, the nearest of them
        judged by the law fitted to those that are nearer still. They are told, nothing is left out by this.

    References
    ----------
    Rosner, B. (1983) Technometrics 25, 165-172, for the order, from the nearest of the suspects outwards (from memory).
    """
    most = min(MOST_OUTLIERS, max(1, int(OUTLIERS_SHARE * sample.events)), sample.events - 3)
    seen, suspects = sample.seen, []
    parameters = law.fitted(sample) if most > 0 else ()
    for _ in range(most):
        low, high = _tails(law, seen[[0, -1]], parameters)  # the furthest is one of the ends: values rise
        far, rest = (seen[:1], seen[1:]) if low <= high else (seen[-1:], seen[:-1])
        if rest[0] == rest[-1]:
            break
        parameters = law.fitted(Sample(rest, sample.cut, sample.grid))
        suspects.append((float(far[0]), float(_tails(law, far, parameters)[0])))
        seen = rest
    limit = NOT_BY_CHANCE / sample.events
    count = max((number for number, (_, tail) in enumerate(suspects, 1) if tail < limit), default=0)
    return np.sort(np.array([value for value, _ in suspects[:count]]))


def _tails(law: Law, values: Floats, parameters: Parameters) -> Floats:
    """Chance to lie as far out as each value, on either side."""
    above = np.exp(law.log_survival(values, *parameters))
    return 2.0 * np.minimum(above, law.below(values, parameters))
