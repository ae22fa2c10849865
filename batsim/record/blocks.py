"""Blocks of rows: the columns of what has been written by some time, packed as narrow as their numbers allow."""

from array import array
from typing import Any, NamedTuple

import numpy as np

Column = np.ndarray[Any, np.dtype[Any]]


class Steps(NamedTuple):
    """A column of times of the clock: the first of them, and from each to the next, which may lie before it."""

    first: float
    """In ticks."""
    ticks: np.ndarray[Any, np.dtype[np.int32]]

    @property
    def size(self) -> int:
        """Numbers in the column."""
        return self.ticks.size + 1

    @property
    def whole(self) -> Column:
        """The times themselves. [min]"""
        later = np.cumsum(self.ticks, dtype=np.float64)  # whole numbers: exact
        return (self.first + np.concatenate(([0.0], later))) / TICKS_PER_MIN


Block = tuple[Column | Steps, ...]
"""Columns of some rows, in order; a column of one and the same number holds it once."""
TICKS_PER_MIN = 1_048_576.0
"""Ticks of the clock in a minute: times of a run are whole numbers of them."""
NARROW = (np.int8, np.int16, np.float32)
"""What whole numbers and stated values fit into; the last has all that the others have."""
FEW = 16
"""Numbers that mostly tell whether a column fits a type."""


def block(numbers: "array[float]", width: int) -> tuple[Column, ...]:
    """Columns of rows of a width whose numbers stand row after row."""
    return tuple(np.array(numbers).reshape(-1, width).T.copy())


def narrowed(columns: tuple[Column, ...]) -> Block:
    """Return the same numbers, to the last bit, in less memory.

    Examples
    --------
    >>> [column.dtype.name for column in narrowed(block(array("d", [3.0, 0.1, 7.0, 0.2]), 2))]
    ['int8', 'float64']
    """
    with np.errstate(invalid="ignore", over="ignore"):  # of numbers that do not fit
        return tuple(map(_narrow, columns))


def joined(blocks: list[Block], width: int) -> tuple[Column, ...]:
    """Columns of all blocks one after the other, as new arrays of floats."""
    if not blocks:
        return tuple(np.empty((width, 0)))
    return tuple(
        np.concatenate([column.whole if isinstance(column, Steps) else column for column in columns], dtype=np.float64)
        for columns in zip(*blocks, strict=True)
    )


def _narrow(column: Column) -> Column | Steps:
    """Put a column into the smallest type that has all its numbers: a code, a count, a stated value, a time."""
    if _fits(column[:FEW], NARROW[-1]):
        bits = column.view(np.int64)
        if (bits == bits[0]).all():
            return np.broadcast_to(column[:1].copy(), column.shape)
        for kind in NARROW:
            if _fits(column[:FEW], kind) and _fits(column, kind):
                return column.astype(kind)
    steps = _steps(column)
    return column.copy() if steps is None else steps  # not a part of a matrix that would be kept with it


def _steps(column: Column) -> Steps | None:
    """Put times into steps; None where some number is no time of the clock, or a step is too far."""
    ticks = column * TICKS_PER_MIN
    if not (ticks[:FEW] == np.rint(ticks[:FEW])).all():
        return None
    later = np.diff(ticks)
    if not (np.abs(later) <= np.iinfo(np.int32).max).all():
        return None
    steps = Steps(float(ticks[0]), later.astype(np.int32))
    return steps if (steps.whole.view(np.int64) == column.view(np.int64)).all() else None


def _fits(column: Column, kind: type[np.number[Any]]) -> bool:
    """Whether a type has all numbers of a column: they come back with the same bits."""
    back = column.astype(kind).astype(np.float64)
    return bool((back.view(np.int64) == column.view(np.int64)).all())
