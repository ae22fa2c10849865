"""Random streams: one for each (seed, replication, entity, purpose), drawn in blocks.

The same keys give the same draws in every layout (common random numbers), and a truck or battery more shifts
nobody else's draws. Laws are drawn by inversion where a closed inverse exists, so that layouts whose times
differ in scale still move together.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from itertools import repeat
from typing import Any, NamedTuple
from zlib import crc32

import numpy as np
from numpy.random import PCG64, Generator

from batsim.room.chance.seeding import Seeded, State, stream_states
from batsim.room.timing.clock import TICKS_PER_MIN, ticked
from batsim.scenario.parts.laws import DurationLaw

FIRST_BLOCK, LARGEST_BLOCK = 16, 256
"""Draws made at once: few at first, for short runs, then twice as many each time."""

Floats = np.ndarray[tuple[int], np.dtype[np.float64]]
Numbers = np.ndarray[Any, np.dtype[np.float64]]
Sampler = Callable[[Generator, int], Floats]
Inverse = Callable[[Floats], Numbers]


class Stream:
    """One stream, seeded when it is first drawn from: together with all others that have been asked for by then."""

    def __init__(self, streams: "Streams", number: int) -> None:
        self._streams, self._number = streams, number

    def generator(self) -> Generator:
        """Make its generator, at its start."""
        seeded = Seeded(self._streams.state(self._number))
        return Generator(PCG64(seeded))  # type: ignore[arg-type] # numpy's stubs know only one kind of seed sequence


class Streams:
    """All streams of one replication."""

    def __init__(self, seed: int, replication: int) -> None:
        self.seed, self.replication = seed, replication
        self._keys: list[tuple[int, int, int]] = []
        """Keys of all streams, in the order in which they were asked for."""
        self._states: list[State] = []
        """What seeds them, as far as it has been worked out."""

    def ask(self, entity: str, number: int, purpose: str | int) -> Stream:
        """Ask for one stream, independent of all others; its purpose in words, or the number that stands for them."""
        self._keys.append((_code(entity), number, _code(purpose)))
        return Stream(self, len(self._keys) - 1)

    def state(self, number: int) -> State:
        """What seeds a stream, by the order in which it was asked for."""
        states = self._states
        if number >= len(states):
            states.extend(stream_states(self.seed, self.replication, self._keys[len(states) :]))
        return states[number]

    def generator(self, entity: str, number: int, purpose: str) -> Generator:
        """Generator of one stream; where there are many, `ask` for all of them first."""
        return self.ask(entity, number, purpose).generator()

    def durations(self, law: DurationLaw, entity: str, number: int, purpose: str) -> Iterator[float]:
        """Endless draws of a duration, in whole ticks. [min]"""
        return self.durations_of_all(law, entity, (number,), purpose)[0]

    def durations_of_all(
        self, law: DurationLaw, entity: str, numbers: Sequence[int], purpose: str
    ) -> list[Iterator[float]]:
        """Endless draws of a duration for each of many, in whole ticks. [min]"""
        if law.kind == "fixed":
            return [repeat(ticked(law.fixed_min or 0.0))] * len(numbers)
        asked = [self.ask(entity, number, purpose) for number in numbers]
        if is_triangle(law):
            ready = triangle(law)
            return [_triangles(ready, stream) for stream in asked]
        return [_drawn(law, stream) for stream in asked]

    def factors(self, cv: float, entity: str, number: int, purpose: str) -> Iterator[float]:
        """Endless positive factors with mean 1 and a coefficient of variation, lognormal."""
        if cv == 0.0:
            return repeat(1.0)
        return _factors(math.log1p(cv * cv), self.ask(entity, number, purpose))


def first_factors(stream: Stream, cv: float, count: int) -> Floats:
    """First so many of the lognormal factors of mean 1 of a stream."""
    variance = math.log1p(cv * cv)
    return np.exp(math.sqrt(variance) * stream.generator().standard_normal(count) - variance / 2.0)


@lru_cache(maxsize=1024)
def _code(name: str | int) -> int:
    """Number that stands for an entity or a purpose; a number stands for itself."""
    return name if isinstance(name, int) else crc32(name.encode())


class Triangle(NamedTuple):
    """Triangular law made ready for its closed inverse; of many laws where these are arrays."""

    low: Any
    high: Any
    width: Any
    rise: Any
    """From the lowest to the typical value."""
    fall: Any
    """From the typical to the highest value."""
    turn: Any
    """Share of the values below the typical one."""


def is_triangle(law: DurationLaw) -> bool:
    """Whether a law is triangular, and not a triangle without width."""
    return law.kind == "triangular" and law.low_min != law.high_min


def triangle(*laws: DurationLaw) -> Triangle:
    """Make one triangular law ready, or many as columns of arrays."""
    corners = [(law.low_min or 0.0, law.typical_min or 0.0, law.high_min or 0.0) for law in laws]
    low, typical, high = corners[0] if len(corners) == 1 else np.array(corners).T[:, :, None]
    width, rise = high - low, typical - low
    return Triangle(low, high, width, rise, high - typical, rise / width)


def sizes(first: int = FIRST_BLOCK) -> Iterator[int]:
    """Sizes of one block after the other."""
    size = first
    while True:
        yield size
        size = min(2 * size, LARGEST_BLOCK)


def _drawn(law: DurationLaw, stream: Stream) -> Iterator[float]:
    """Hand out draws one by one from blocks, each rounded to a tick."""
    sample, generator = sampler(law), stream.generator()
    for size in sizes():
        block = sample(generator, size)
        yield from (np.rint(block * TICKS_PER_MIN) / TICKS_PER_MIN).tolist()


def _triangles(law: Triangle, stream: Stream) -> Iterator[float]:
    """Hand out draws of a triangular law: number by number, which for so few is faster than whole blocks."""
    low, high, width, rise, fall, turn = law
    random, root = stream.generator().random, math.sqrt
    for size in sizes():
        for u in random(size).tolist():
            minutes = low + root(u * width * rise) if u < turn else high - root((1.0 - u) * width * fall)
            yield round(minutes * TICKS_PER_MIN) / TICKS_PER_MIN


def _factors(variance: float, stream: Stream) -> Iterator[float]:
    """Hand out lognormal factors of mean 1."""
    sigma, shift, generator = math.sqrt(variance), -variance / 2.0, stream.generator()
    for size in sizes():
        yield from np.exp(shift + sigma * generator.standard_normal(size)).tolist()


@lru_cache(maxsize=256)
def sampler(law: DurationLaw) -> Sampler:
    """Make the function that draws a law: (generator, size) to minutes."""
    assert not is_triangle(law)  # those are drawn by their closed inverse
    return SAMPLERS[law.kind](law)


def _always(minutes: float | None) -> Sampler:
    """Make what always gives the same."""
    return lambda _, size: np.full(size, minutes or 0.0)


def _uniform(law: DurationLaw) -> Sampler:
    """Make what draws a uniform law."""
    low, high = law.low_min or 0.0, law.high_min or 0.0
    return lambda generator, size: low + (high - low) * generator.random(size)


def _exponential(law: DurationLaw) -> Sampler:
    """Make what draws an exponential law."""
    mean = law.mean
    return lambda generator, size: -mean * np.log1p(-generator.random(size))


def _lognormal(law: DurationLaw) -> Sampler:
    """Make what draws a lognormal law."""
    mean, cv = law.mean, law.cv
    if not cv:
        return _always(mean)
    sigma = math.sqrt(math.log1p(cv * cv))
    middle = math.log(mean) - sigma * sigma / 2.0 if mean else -math.inf
    return lambda generator, size: np.exp(middle + sigma * generator.standard_normal(size))


def _gamma(law: DurationLaw) -> Sampler:
    """Make what draws a gamma law."""
    mean, cv = law.mean, law.cv
    if not cv:
        return _always(mean)
    shape = 1.0 / (cv * cv)
    return lambda generator, size: generator.gamma(shape, mean / shape, size)


def _hyperexponential(law: DurationLaw) -> Sampler:
    """Two exponential branches with balanced means (Whitt 1982): p = (1 + sqrt((c2-1)/(c2+1)))/2."""
    mean, cv = law.mean, law.cv or 0.0
    squared = cv * cv
    share = (1.0 + math.sqrt((squared - 1.0) / (squared + 1.0))) / 2.0
    means = mean / (2.0 * share), mean / (2.0 * (1.0 - share))

    def draw(generator: Generator, size: int) -> Floats:
        branch, u = generator.random(size), generator.random(size)
        return np.where(branch < share, means[0], means[1]) * -np.log1p(-u)

    return draw


def _observed(law: DurationLaw) -> Sampler:
    """Make what draws from timed durations."""
    values = np.array(law.observed_min)
    return lambda generator, size: values[generator.integers(0, values.size, size)]


SAMPLERS: dict[str, Callable[[DurationLaw], Sampler]] = {
    "fixed": lambda law: _always(law.mean),
    "uniform": _uniform,
    "triangular": lambda law: _always(law.low_min),
    "exponential": _exponential,
    "lognormal": _lognormal,
    "gamma": _gamma,
    "hyperexponential": _hyperexponential,
    "observed": _observed,
}
"""What makes ready each law; a triangular one without width."""


@lru_cache(maxsize=256)
def inverse(law: DurationLaw) -> Inverse:
    """Make the function that gives the minutes below which a share of the draws of a law lies. [-] to [min]

    Raises
    ------
    KeyError
        If the law is hyperexponential: steps that vary together do not take it.
    """
    assert not is_triangle(law)  # those are drawn many at a time
    return INVERSES[law.kind](law)


def _even_quantile(law: DurationLaw) -> Inverse:
    """Make the inverse of a uniform law."""
    low, high = law.low_min or 0.0, law.high_min or 0.0
    return lambda shares: low + (high - low) * shares


def _exponential_quantile(law: DurationLaw) -> Inverse:
    """Make the inverse of an exponential law."""
    mean = law.mean
    return lambda shares: -mean * np.log1p(-shares)


def _lognormal_quantile(law: DurationLaw) -> Inverse:
    """Make the inverse of a lognormal law."""
    from scipy.special import ndtri  # noqa: PLC0415 - few scenarios need it

    mean, variance = law.mean, math.log1p((law.cv or 0.0) ** 2)
    return lambda shares: mean * np.exp(math.sqrt(variance) * ndtri(shares) - variance / 2.0)


def _gamma_quantile(law: DurationLaw) -> Inverse:
    """Make the inverse of a gamma law."""
    from scipy.special import gammaincinv  # noqa: PLC0415 - few scenarios need it

    if not law.cv:
        return _constant(law.mean)
    shape = 1.0 / law.cv**2
    scale = law.mean / shape
    return lambda shares: np.asarray(scale * gammaincinv(shape, shares), dtype=np.float64)


def _observed_quantile(law: DurationLaw) -> Inverse:
    """Make the inverse of timed durations."""
    values: Floats = np.sort(np.array(law.observed_min))
    return lambda shares: values[(shares * values.size).astype(int)]


def _constant(minutes: float | None) -> Inverse:
    """Make the inverse of what always gives the same."""
    return lambda shares: np.full(shares.size, minutes or 0.0)


INVERSES: dict[str, Callable[[DurationLaw], Inverse]] = {
    "uniform": _even_quantile,
    "triangular": lambda law: _constant(law.low_min),
    "exponential": _exponential_quantile,
    "lognormal": _lognormal_quantile,
    "gamma": _gamma_quantile,
    "observed": _observed_quantile,
}
"""What makes ready the inverse of each law that has one; a triangular one without width."""


def triangular(u: Numbers, laws: Triangle) -> Numbers:
    """Minutes below which a share u of each of many triangular laws lies, one row for each."""
    low, high, width, rise, fall, turn = laws
    rising = low + np.sqrt(u * width * rise)
    falling = high - np.sqrt((1.0 - u) * width * fall)
    minutes: Numbers = np.where(u < turn, rising, falling)
    return minutes
