"""Random streams: one for each (seed, replication, entity, purpose), drawn in blocks.

The same keys give the same draws in every layout (common random numbers), and a truck or battery more shifts
nobody else's draws. Laws are drawn by inversion where a closed inverse exists, so that layouts whose times
differ in scale still move together.
"""

import math
from collections.abc import Callable, Iterator
from itertools import repeat
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np
from numpy.random import PCG64, Generator, SeedSequence

from batsim.room.clock import TICKS_PER_MIN, ticked

if TYPE_CHECKING:
    from batsim.scenario.laws import DurationLaw

FIRST_BLOCK, LARGEST_BLOCK = 16, 256
"""Draws made at once: few at first, for short runs, then twice as many each time."""

Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
Weights = np.ndarray[tuple[int, int], np.dtype[np.float64]]
Sampler = Callable[[Generator, int], Floats]


class Streams:
    """All streams of one replication."""

    def __init__(self, seed: int, replication: int) -> None:
        self.seed, self.replication = seed, replication

    def generator(self, entity: str, number: int, purpose: str) -> Generator:
        """Generator of one stream, independent of all others."""
        key = (self.replication, crc32(entity.encode()), number, crc32(purpose.encode()))
        return Generator(PCG64(SeedSequence(self.seed, spawn_key=key)))

    def durations(self, law: "DurationLaw", entity: str, number: int, purpose: str) -> Iterator[float]:
        """Endless draws of a duration, in whole ticks. [min]"""
        if law.kind == "fixed":
            return repeat(ticked(law.fixed_min or 0.0))
        return _drawn(sampler(law), self.generator(entity, number, purpose))

    def factors(self, cv: float, entity: str, number: int, purpose: str) -> Iterator[float]:
        """Endless positive factors with mean 1 and a coefficient of variation, lognormal."""
        if cv == 0.0:
            return repeat(1.0)
        variance = math.log1p(cv * cv)
        return _factors(variance, self.generator(entity, number, purpose))


def _sizes() -> Iterator[int]:
    """Sizes of one block after the other."""
    size = FIRST_BLOCK
    while True:
        yield size
        size = min(2 * size, LARGEST_BLOCK)


def _drawn(sample: Sampler, generator: Generator) -> Iterator[float]:
    """Hand out draws one by one from blocks, each rounded to a tick."""
    for size in _sizes():
        block = sample(generator, size)
        yield from (np.rint(block * TICKS_PER_MIN) / TICKS_PER_MIN).tolist()


def _factors(variance: float, generator: Generator) -> Iterator[float]:
    """Hand out lognormal factors of mean 1."""
    sigma, shift = math.sqrt(variance), -variance / 2.0
    for size in _sizes():
        yield from np.exp(shift + sigma * generator.standard_normal(size)).tolist()


def sampler(law: "DurationLaw") -> Sampler:
    """Make the function that draws a law: (generator, size) to minutes."""
    mean, cv = law.mean, law.cv or 0.0
    low, high = law.low_min or 0.0, law.high_min or 0.0
    match law.kind:
        case "fixed":
            return lambda _, size: np.full(size, mean)
        case "uniform":
            return lambda generator, size: low + (high - low) * generator.random(size)
        case "triangular":
            return _triangular(low, law.typical_min or 0.0, high)
        case "exponential":
            return lambda generator, size: -mean * np.log1p(-generator.random(size))
        case "lognormal" | "gamma" if cv == 0.0:
            return lambda _, size: np.full(size, mean)
        case "lognormal":
            sigma = math.sqrt(math.log1p(cv * cv))
            middle = math.log(mean) - sigma * sigma / 2.0 if mean else -math.inf
            return lambda generator, size: np.exp(middle + sigma * generator.standard_normal(size))
        case "gamma":
            shape = 1.0 / (cv * cv)
            return lambda generator, size: generator.gamma(shape, mean / shape, size)
        case "hyperexponential":
            return _hyperexponential(mean, cv)
    values = np.array(law.observed_min)
    return lambda generator, size: values[generator.integers(0, values.size, size)]


def _triangular(low: float, typical: float, high: float) -> Sampler:
    """Triangular law by its closed inverse."""
    width = high - low
    if width == 0.0:
        return lambda _, size: np.full(size, low)
    corner = (typical - low) / width

    def draw(generator: Generator, size: int) -> Floats:
        u = generator.random(size)
        rising = low + np.sqrt(u * width * (typical - low))
        falling = high - np.sqrt((1.0 - u) * width * (high - typical))
        return np.where(u < corner, rising, falling)

    return draw


def _hyperexponential(mean: float, cv: float) -> Sampler:
    """Two exponential branches with balanced means (Whitt 1982): p = (1 + sqrt((c2-1)/(c2+1)))/2."""
    squared = cv * cv
    share = (1.0 + math.sqrt((squared - 1.0) / (squared + 1.0))) / 2.0
    means = mean / (2.0 * share), mean / (2.0 * (1.0 - share))

    def draw(generator: Generator, size: int) -> Floats:
        branch, u = generator.random(size), generator.random(size)
        return np.where(branch < share, means[0], means[1]) * -np.log1p(-u)

    return draw


def exchange_times(
    streams: Streams,
    laws: "list[tuple[str, DurationLaw]]",
    entity: str,
    number: int,
    columns: Weights,
) -> Iterator[tuple[float, ...]]:
    """Endless rows of times of one truck's exchanges.

    Parameters
    ----------
    streams, entity, number
        Streams of the replication, and the keys of the truck's own.
    laws
        Name and duration of each step, in order.
    columns
        Matrix (steps, outputs): each output is the sum of step times weighted by its column, such as the time
        until the truck may leave, or the hands-on minutes of attendants.
    """
    if all(law.kind == "fixed" for _, law in laws):
        times = np.array([[ticked(law.fixed_min or 0.0) for _, law in laws]])
        return repeat(tuple((times @ columns)[0].tolist()))
    return _exchange_rows(streams, laws, entity, number, columns)


def _exchange_rows(
    streams: Streams,
    laws: "list[tuple[str, DurationLaw]]",
    entity: str,
    number: int,
    columns: Weights,
) -> Iterator[tuple[float, ...]]:
    """Draw blocks of step times, each step from its own stream, and weigh them together."""
    draws = [
        (sampler(law), None if law.kind == "fixed" else streams.generator(entity, number, f"step {name}"))
        for name, law in laws
    ]
    for size in _sizes():
        block = np.stack([sample(generator, size) for sample, generator in draws], axis=1)  # type: ignore[arg-type]
        ticks = np.rint(block * TICKS_PER_MIN) / TICKS_PER_MIN
        yield from map(tuple, (ticks @ columns).tolist())
