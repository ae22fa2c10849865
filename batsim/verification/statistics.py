"""Statistics: intervals, precision, warm-up, selection, fitted laws and sensitivity against printed examples."""

from typing import Any

import numpy as np

from batsim.statistics.designs import sobol
from batsim.statistics.empirical import empirical
from batsim.statistics.fitting import fit
from batsim.statistics.indices import sobol_indices
from batsim.statistics.intervals import simultaneous, student_interval, variance_reduction
from batsim.statistics.laws import LAWS
from batsim.statistics.precision import Precision, replications_needed
from batsim.statistics.quantiles import quantile_ranks
from batsim.statistics.samples import Sample
from batsim.statistics.sequential import kim_nelson_constants
from batsim.statistics.variance import split_variance
from batsim.statistics.warm_up import mser

Floats = np.ndarray[Any, np.dtype[np.float64]]
Numbers = dict[str, float]

NONE = np.empty(0)
BASE_POINTS = 8192
"""Of the design behind indices of sensitivity."""


def student(values: list[float], confidence: float) -> Numbers:
    """Student's interval of some values."""
    interval = student_interval(np.array(values), confidence)
    return {
        "mean": interval.mean, "half width": interval.half_width, "variance": float(np.var(values, ddof=1)),
        "low": interval.low, "high": interval.high,
    }  # fmt: skip


def paired(first: list[float], second: list[float], confidence: float) -> Numbers:
    """Student's interval of the differences of two runs of values."""
    return student(list(np.array(first) - np.array(second)), confidence)


def _with_moments(count: int, mean: float, sd: float) -> Floats:
    """Values with exactly this mean and standard deviation."""
    values = np.arange(count, dtype=float)
    moved: Floats = mean + sd * (values - values.mean()) / values.std(ddof=1)
    return moved


def student_of_moments(count: float, mean: float, sd: float, confidence: float) -> Numbers:
    """Student's interval from a mean and a standard deviation."""
    return student(list(_with_moments(int(count), mean, sd)), confidence)


def several(statements: float, count: float, overall: float) -> Numbers:
    """Confidence of each of several statements, and Student's quantile for it."""
    each = simultaneous(overall, int(statements))
    half_width = student_interval(_with_moments(int(count), 0.0, float(np.sqrt(count))), each).half_width
    return {"confidence of each": each, "quantile": half_width}


def difference(correlation: float) -> Numbers:
    """Variance of a difference over that of independent runs: standard deviations 4 and 5, 25 pairs."""
    one = _with_moments(25, 0.0, 1.0)
    other = one**2 - np.mean(one**2)
    other /= other.std(ddof=1)
    first, second = 4.0 * one, 5.0 * (correlation * one + np.sqrt(1.0 - correlation**2) * other)
    return {"ratio": 1.0 / variance_reduction(first, second)}


def ranks(count: float, percent: float) -> Numbers:
    """Ranks of ordered values between which a percentile lies at 95 %."""
    found = quantile_ranks(int(count), percent / 100.0, 0.95)
    assert found is not None  # there are enough values
    return {"low": found.low, "high": found.high, "coverage": found.coverage}


def replications(confidence: float, mean: float, variance: float) -> Numbers:
    """Replications for a half width of 0.25, and of 10 % of the mean, after ten of them."""
    return {
        "of 0.25": replications_needed(variance, confidence, Precision(absolute=0.25), n0=10),
        "of 10 %": replications_needed(variance, confidence, Precision(relative=0.10), n0=10, mean=mean),
    }


def warm_up(batch: float) -> Numbers:
    """Cut of a series that settles: 10 - 8 exp(-i/12) + 0.3 ((7 i^2 + 3 i) mod 11 - 5), i = 1 to 150."""
    i = np.arange(1.0, 151.0)
    series: Floats = np.round(10.0 - 8.0 * np.exp(-i / 12.0) + 0.3 * ((7 * i**2 + 3 * i) % 11 - 5), 4)
    found = mser(series, batch=int(batch))
    return {"cut off": found.observations, "mean of the rest": found.mean}


def kim_nelson(alternatives: float, first_stage: float, alpha: float) -> Numbers:
    """Constants of the selection of the best."""
    eta, h2 = kim_nelson_constants(int(alternatives), int(first_stage), alpha)
    return {"eta": eta, "h2": h2}


def bearings(values: list[float]) -> Numbers:
    """Lognormal and gamma law of life times."""
    drawn = Sample(np.array(values), NONE)
    mean, cv = LAWS["lognormal"].estimate(drawn)
    variance = np.log1p(cv**2)
    shape = LAWS["gamma"].estimate(drawn)
    return {
        "mean of logarithms": float(np.log(mean) - variance / 2.0),
        "deviation of logarithms": float(np.sqrt(variance)),
        "shape": 1.0 / shape[1] ** 2,
        "log-likelihood": float(LAWS["gamma"].likelihood(drawn)(shape)),
    }


def remissions(ended: list[float], lasting: list[float]) -> Numbers:
    """Mean of an exponential law where some have not ended, and the curve of those that last."""
    values, lasts = np.array(ended + lasting), np.repeat([False, True], [len(ended), len(lasting)])
    curve = empirical(values, lasts, 0.95)
    still = {f"lasts {at:g} weeks": 1.0 - share for at, share in zip(curve.at, curve.share, strict=True)}
    return {"mean, weeks": fit(values, censored=lasts, candidates=("exponential",)).mean.mean, **still}


def variance_split(values: list[list[float]]) -> Numbers:
    """Variance between and within groups."""
    split = split_variance(np.array(values), 0.95)
    return {
        "between": split.from_inputs, "within": split.from_noise,
        "least share": split.input_share.low, "greatest share": split.input_share.high,
    }  # fmt: skip


def ishigami(a: float, b: float) -> Numbers:
    """First-order and total indices of Ishigami's function."""
    design = sobol(BASE_POINTS, 3, 2)
    x = np.pi * (2.0 * design.rows - 1.0)
    outputs = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
    found = sobol_indices(design, outputs, confidence=0.95, seed=1, resamples=1)
    return {
        **{f"first {number}": float(value) for number, value in enumerate(found.first.value, 1)},
        **{f"total {number}": float(value) for number, value in enumerate(found.total.value, 1)},
    }


FUNCTIONS = {
    function.__name__: function
    for function in (
        student, paired, student_of_moments, several, difference, ranks, replications, warm_up, kim_nelson, bearings,
        remissions, variance_split, ishigami,
    )
}  # fmt: skip
"""What the table names."""
