"""Times of the steps of exchanges, drawn for a truck in blocks: all its steps at once."""

from collections.abc import Iterator, Sequence
from itertools import repeat
from typing import TYPE_CHECKING

import numpy as np

from batsim.room.chance.streams import (
    FIRST_BLOCK,
    Inverse,
    Sampler,
    Stream,
    Triangle,
    inverse,
    is_triangle,
    sampler,
    sizes,
    triangle,
    triangular,
)
from batsim.room.timing.clock import TICKS_PER_MIN, ticked

if TYPE_CHECKING:
    from batsim.room.chance.streams import Streams
    from batsim.scenario.parts.laws import DurationLaw

Purpose = str | int
Weights = np.ndarray[tuple[int, int], np.dtype[np.float64]]
Times = tuple[float, ...]

FIRST_ROWS = 32
"""Rows drawn at once at first where all laws are drawn by their inverse; others stay with the usual block."""
TOGETHER: Purpose = "times together"
"""Stream of all steps of an exchange that take long or short together."""


class StepTimes:
    """Laws of the steps of an exchange, and what is wanted of their times.

    Parameters
    ----------
    laws
        Stream and duration of each step, in order; those of the stream `TOGETHER` share one quantile in each
        exchange, so that the range of the whole is the sum of theirs.
    columns
        Matrix (steps, outputs): each output is the sum of step times weighted by its column, such as the time
        until the truck may leave, or the hands-on minutes of attendants.
    """

    def __init__(self, laws: "Sequence[tuple[Purpose, DurationLaw]]", columns: Weights) -> None:
        self.laws, self.columns = laws, columns
        self.fixed_min = np.array([[ticked(law.fixed_min or 0.0)] for _, law in laws])
        """Minutes of the steps that are always the same; 0 for the others. [min]"""
        self.varied: list[int] = []
        self.triangles: list[int] = []
        """Steps with a triangular law: its closed inverse is worked out for all of them at once."""
        self.inverses: dict[int, Inverse] = {}
        self.samplers: dict[int, Sampler] = {}
        for step, (purpose, law) in enumerate(laws):
            if law.kind == "fixed":
                continue
            self.varied.append(step)
            if is_triangle(law):
                self.triangles.append(step)
            elif purpose == TOGETHER:
                self.inverses[step] = inverse(law)
            else:
                self.samplers[step] = sampler(law)
        self.corners = _corners([laws[step][1] for step in self.triangles])
        self.first_rows = FIRST_BLOCK if self.samplers else FIRST_ROWS

    def of(self, streams: "Streams", entity: str, number: int) -> Iterator[Times]:
        """Endless rows of times of one truck's exchanges; each step that varies alone from a stream of its own."""
        if not self.varied:
            return repeat(tuple((self.fixed_min.T @ self.columns)[0].tolist()))
        purposes = dict.fromkeys(self.laws[step][0] for step in self.varied)
        return self._rows({purpose: streams.ask(entity, number, purpose) for purpose in purposes})

    def _rows(self, asked: dict[Purpose, Stream]) -> Iterator[Times]:
        """Draw blocks of step times and weigh them together."""
        generators = {purpose: stream.generator() for purpose, stream in asked.items()}
        triangles = [self.laws[step][0] for step in self.triangles]
        inverted = dict.fromkeys((*triangles, *(self.laws[step][0] for step in self.inverses)))
        width = self.columns.shape[1]
        for size in sizes(self.first_rows):
            block = np.repeat(self.fixed_min, size, axis=1)
            shares = {purpose: generators[purpose].random(size) for purpose in inverted}
            for step, sample in self.samplers.items():
                block[step] = sample(generators[self.laws[step][0]], size)
            for step, minutes_below in self.inverses.items():
                block[step] = minutes_below(shares[TOGETHER])
            if self.corners is not None:
                block[self.triangles] = triangular(np.array([shares[each] for each in triangles]), self.corners)
            ticks = np.rint(block * TICKS_PER_MIN) / TICKS_PER_MIN
            numbers = iter((ticks.T @ self.columns).reshape(-1).tolist())
            yield from zip(*[numbers] * width, strict=True)  # so many at a time


def _corners(laws: "list[DurationLaw]") -> Triangle | None:
    """Corners of triangular laws together; None without any."""
    return triangle(*laws) if laws else None
