"""Laws that values follow, in the parameters that a scenario states: likelihood, survival, quantiles, estimates."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import (
    betaincc,
    betaincinv,
    betaln,
    digamma,
    expit,
    gammaincc,
    gammainccinv,
    gammaln,
    log_ndtr,
    ndtri,
    polygamma,
)

from batsim.statistics.intervals import Floats
from batsim.statistics.likelihood import Likelihood, Parameters, highest
from batsim.statistics.samples import LEAST_CV, Sample

LOG_2PI = float(np.log(2.0 * np.pi))
TINY = 1e-300
"""Chance below which none is told apart. [-]"""
MOST_CV = 20.0
"""Greatest one that a scenario takes. [-]"""


@dataclass(frozen=True)
class Law:
    """A law with the keys that state it, in their order."""

    keys: tuple[str, ...]
    log_density: Callable[..., float]
    """Sum of the log densities of what a sample has seen: (sample, *parameters)."""
    log_survival: Callable[..., Floats]
    """Logarithm of the share above each value: (values, *parameters)."""
    quantile: Callable[..., Floats]
    """Values below which shares lie: (shares, *parameters)."""
    estimate: Callable[[Sample], Parameters]
    """Parameters of the highest likelihood, rounding left aside."""
    takes: Callable[[Sample], bool]
    """Whether the law can be fitted to a sample."""
    regular: bool = True
    """Whether its range hangs on no parameter, so that its likelihood makes intervals."""
    counted: int = 2
    """Parameters as the information criterion counts them: a limit of a range twice, since by chance alone it gains
    twice as much likelihood as another parameter (worked out: 2 ln of the ratio is chi-squared on 2 degrees of freedom
    for the end of a uniform law)."""
    least: Parameters = (0.0, 0.0, 0.0)
    """Least values of its parameters."""

    def likelihood(self, sample: Sample) -> Likelihood:
        """Log-likelihood of parameters, by cells where rounding is coarse, of what was cut off by the share above."""
        grouped = sample.grouped and self.regular

        def of(parameters: Parameters) -> float:
            if any(value < least for value, least in zip(parameters, self.least, strict=False)):
                return -np.inf
            value = self._of_cells(sample, parameters) if grouped else self.log_density(sample, *parameters)
            return value + float(np.sum(self.log_survival(sample.cut, *parameters))) if sample.cut.size else value

        return of

    def _of_cells(self, sample: Sample, parameters: Parameters) -> float:
        """Log-likelihood of rounded values, as of a density that is even over each cell."""
        low, high, count = sample.cells
        inside = np.exp(self.log_survival(low, *parameters)) - np.exp(self.log_survival(high, *parameters))
        return float(count @ np.log(np.maximum(inside, TINY) / (high - low)))

    def fitted(self, sample: Sample) -> Parameters:
        """Parameters of the highest likelihood, rounding reckoned with."""
        best = self.estimate(sample)
        return highest(self.likelihood(sample), best) if sample.grouped and self.regular else best

    def below(self, values: Floats, parameters: Parameters) -> Floats:
        """Share of the law below each value. [-]"""
        share: Floats = -np.expm1(self.log_survival(values, *parameters))
        return share


def _estimate(law: str, start: Callable[[Sample], Parameters]) -> Callable[[Sample], Parameters]:
    """Make what searches the estimate of a law from a start."""
    return lambda sample: highest(LAWS[law].likelihood(sample), start(sample))


def _mean_and_cv(sample: Sample) -> Parameters:
    """Where a search begins: what was cut off lengthens the mean."""
    return (sample.total + float(np.sum(sample.cut))) / sample.events, sample.cv


# --- exponential ---


def _exponential_density(sample: Sample, mean: float) -> float:
    return -sample.events * float(np.log(mean)) - sample.total / mean


def _exponential_estimate(sample: Sample) -> Parameters:
    """Everything that was lived through over what came to its end."""
    return (_mean_and_cv(sample)[0],)


# --- lognormal ---


def _log_parameters(mean: float, cv: float) -> tuple[float, float]:
    """Mean and standard deviation of the logarithm."""
    variance = float(np.log1p(cv * cv))
    return float(np.log(mean)) - variance / 2.0, max(float(np.sqrt(variance)), LEAST_CV)


def _lognormal_density(sample: Sample, mean: float, cv: float) -> float:
    middle, sigma = _log_parameters(mean, cv)
    n = sample.events
    squares = n * (sample.log_variance + (sample.log_total / n - middle) ** 2)
    return -n * (float(np.log(sigma)) + LOG_2PI / 2.0) - sample.log_total - squares / (2.0 * sigma**2)


def _lognormal_survival(values: Floats, mean: float, cv: float) -> Floats:
    middle, sigma = _log_parameters(mean, cv)
    with np.errstate(divide="ignore"):
        share: Floats = log_ndtr((middle - np.log(values)) / sigma)
    return share


def _lognormal_quantile(shares: Floats, mean: float, cv: float) -> Floats:
    middle, sigma = _log_parameters(mean, cv)
    values: Floats = np.exp(middle + sigma * ndtri(shares))
    return values


def _lognormal_estimate(sample: Sample) -> Parameters:
    if sample.cut.size:
        return _estimate("lognormal", _mean_and_cv)(sample)
    variance = max(sample.log_variance, LEAST_CV**2)
    return float(np.exp(sample.log_total / sample.events + variance / 2.0)), float(np.sqrt(np.expm1(variance)))


# --- gamma ---


def _gamma_density(sample: Sample, mean: float, cv: float) -> float:
    shape = 1.0 / max(cv, LEAST_CV) ** 2
    scale, n = mean / shape, sample.events
    ends = n * (float(gammaln(shape)) + shape * float(np.log(scale)))
    return (shape - 1.0) * sample.log_total - sample.total / scale - ends


def _gamma_survival(values: Floats, mean: float, cv: float) -> Floats:
    shape = 1.0 / max(cv, LEAST_CV) ** 2
    with np.errstate(divide="ignore", under="ignore"):
        share: Floats = np.log(gammaincc(shape, values * shape / mean))
    return share


def _gamma_quantile(shares: Floats, mean: float, cv: float) -> Floats:
    shape = 1.0 / max(cv, LEAST_CV) ** 2
    values: Floats = np.asarray(mean / shape * gammainccinv(shape, 1.0 - shares))
    return values


def gamma_shape(log_of_mean_less_mean_log: float) -> float:
    """Shape of the highest likelihood, from ln mean(x) - mean(ln x).

    References
    ----------
    Minka, T. P. (2002) Estimating a Gamma distribution (from memory): start and generalised Newton steps.
    """
    gap = max(log_of_mean_less_mean_log, LEAST_CV**2 / 2.0)
    shape = (3.0 - gap + np.sqrt((gap - 3.0) ** 2 + 24.0 * gap)) / (12.0 * gap)
    for _ in range(6):
        lower = np.log(shape) - digamma(shape) - gap
        shape = 1.0 / (1.0 / shape + lower / (shape**2 * (1.0 / shape - polygamma(1, shape))))
    return float(shape)


def _gamma_estimate(sample: Sample) -> Parameters:
    if sample.cut.size:
        return _estimate("gamma", _mean_and_cv)(sample)
    mean = sample.total / sample.events
    return mean, 1.0 / float(np.sqrt(gamma_shape(float(np.log(mean)) - sample.log_total / sample.events)))


# --- hyperexponential ---


def _branches(mean: float, cv: float) -> tuple[float, float, float]:
    """Share of the first branch and the means of both, which are balanced (Whitt 1982)."""
    squared = cv * cv
    share = (1.0 + float(np.sqrt(max(0.0, squared - 1.0) / (squared + 1.0)))) / 2.0
    return share, mean / (2.0 * share), mean / (2.0 * (1.0 - share))


def _hyperexponential_density(sample: Sample, mean: float, cv: float) -> float:
    if cv > MOST_CV:
        return -np.inf
    share, first, second = _branches(mean, cv)
    shares = share / first * np.exp(-sample.seen / first), (1.0 - share) / second * np.exp(-sample.seen / second)
    with np.errstate(divide="ignore"):
        return float(np.sum(np.log(shares[0] + shares[1])))


def _hyperexponential_survival(values: Floats, mean: float, cv: float) -> Floats:
    share, first, second = _branches(mean, cv)
    with np.errstate(divide="ignore"):
        log_share: Floats = np.log(share * np.exp(-values / first) + (1.0 - share) * np.exp(-values / second))
    return log_share


def _hyperexponential_quantile(shares: Floats, mean: float, cv: float) -> Floats:
    """By halving: from zero to what the slow branch alone would give."""
    target = np.log1p(-shares)
    low, high = np.zeros_like(target), -target * _branches(mean, cv)[2]
    for _ in range(60):
        middle = (low + high) / 2.0
        above = _hyperexponential_survival(middle, mean, cv) > target
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return high


# --- laws with limits ---


def _uniform_survival(values: Floats, low: float, high: float) -> Floats:
    with np.errstate(divide="ignore"):
        share: Floats = np.log(1.0 - np.clip((values - low) / (high - low), 0.0, 1.0))
    return share


def _triangular_density(sample: Sample, low: float, typical: float, high: float) -> float:
    rising, falling = sample.seen[sample.seen < typical], sample.seen[sample.seen > typical]
    sides = np.sum(np.log((rising - low) / (typical - low))), np.sum(np.log((high - falling) / (high - typical)))
    return float(sides[0] + sides[1]) + sample.events * float(np.log(2.0 / (high - low)))


def _triangular_survival(values: Floats, low: float, typical: float, high: float) -> Floats:
    width = high - low
    x = np.clip(values, low, high)
    rising = 1.0 - (x - low) ** 2 / (width * max(typical - low, 1e-300))
    falling = (high - x) ** 2 / (width * max(high - typical, 1e-300))
    with np.errstate(divide="ignore"):
        share: Floats = np.log(np.where(x < typical, rising, falling))
    return share


def _triangular_quantile(shares: Floats, low: float, typical: float, high: float) -> Floats:
    width, left = high - low, typical - low
    rising = low + np.sqrt(shares * width * left)
    values: Floats = np.where(shares * width < left, rising, high - np.sqrt((1.0 - shares) * width * (high - typical)))
    return values


def _triangular_estimate(sample: Sample) -> Parameters:
    """Limits by a search; for given ones the most frequent value of the highest likelihood is one of those seen.

    References
    ----------
    Oliver, E. H. (1972) The American Statistician 26(3), 43-44 (from memory): the mode is an order statistic.
    """
    x, n = sample.seen, sample.events
    width = x[-1] - x[0]

    def limits(free: Parameters) -> tuple[float, float]:
        low = float(x[0]) * float(expit(-np.log(free[1]))) if len(free) > 1 else 0.0
        return low, float(x[-1] + width * free[0])

    def by_mode(free: Parameters) -> tuple[Floats, float, float]:
        low, high = limits(free)
        left, right = np.log(np.maximum(x - low, 1e-12 * width)), np.log(np.maximum(high - x, 1e-12 * width))
        up = np.cumsum(left) - (np.arange(n) + 1.0) * left
        down = np.cumsum(right[::-1])[::-1] - np.arange(n, 0, -1) * right
        return up + down - n * np.log((high - low) / 2.0), low, high

    free = highest(lambda free: float(np.max(by_mode(free)[0])), (0.05, 0.1) if x[0] > 0.0 else (0.05,))
    heights, low, high = by_mode(free)
    return low, float(x[int(np.argmax(heights))]), high


# --- shares ---


def _beta_shapes(mean: float, cv: float) -> tuple[float, float]:
    """Both shapes of a beta law; below zero where there is none."""
    whole = (1.0 - mean) / (mean * cv * cv) - 1.0
    return mean * whole, (1.0 - mean) * whole


def _beta_density(sample: Sample, mean: float, cv: float) -> float:
    first, second = _beta_shapes(mean, cv)
    if min(first, second) <= 0.0:
        return -np.inf
    rest = (second - 1.0) * sample.log_rest_total
    return (first - 1.0) * sample.log_total + rest - sample.events * float(betaln(first, second))


def _beta_survival(values: Floats, mean: float, cv: float) -> Floats:
    first, second = _beta_shapes(mean, cv)
    with np.errstate(divide="ignore"):
        share: Floats = np.log(betaincc(first, second, np.clip(values, 0.0, 1.0)))
    return share


def _beta_quantile(shares: Floats, mean: float, cv: float) -> Floats:
    values: Floats = np.asarray(betaincinv(*_beta_shapes(mean, cv), shares))
    return values


MEAN_CV = ("mean", "cv")


LAWS = {
    "exponential": Law(
        ("mean",),
        _exponential_density,
        lambda values, mean: -values / mean,
        lambda shares, mean: -mean * np.log1p(-shares),
        _exponential_estimate,
        lambda sample: sample.total > 0.0,
        counted=1,
    ),
    "lognormal": Law(
        MEAN_CV,
        _lognormal_density,
        _lognormal_survival,
        _lognormal_quantile,
        _lognormal_estimate,
        lambda sample: sample.positive,
    ),
    "gamma": Law(
        MEAN_CV, _gamma_density, _gamma_survival, _gamma_quantile, _gamma_estimate, lambda sample: sample.positive
    ),
    "hyperexponential": Law(
        MEAN_CV,
        _hyperexponential_density,
        _hyperexponential_survival,
        _hyperexponential_quantile,
        _estimate("hyperexponential", lambda sample: (_mean_and_cv(sample)[0], max(1.2, sample.cv))),
        lambda sample: sample.total > 0.0 and (sample.cv > 1.0 or sample.cut.size > 0),
        least=(0.0, 1.0),
    ),
    "uniform": Law(
        ("low", "high"),
        lambda sample, low, high: -sample.events * float(np.log(high - low)),
        _uniform_survival,
        lambda shares, low, high: low + (high - low) * shares,
        lambda sample: (float(sample.seen[0]), float(sample.seen[-1])),
        lambda sample: not sample.cut.size,
        regular=False,
        counted=4,
    ),
    "triangular": Law(
        ("low", "typical", "high"),
        _triangular_density,
        _triangular_survival,
        _triangular_quantile,
        _triangular_estimate,
        lambda sample: not sample.cut.size,
        regular=False,
        counted=5,
    ),
    "beta": Law(
        MEAN_CV,
        _beta_density,
        _beta_survival,
        _beta_quantile,
        _estimate("beta", lambda sample: (min(0.99, _mean_and_cv(sample)[0]), sample.cv)),
        lambda sample: sample.positive and sample.seen[-1] < 1.0,
    ),
}
"""Laws that can be fitted, by the words of a scenario; `beta` is for shares, which no scenario draws by a law."""
