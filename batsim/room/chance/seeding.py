"""Seeds of many random streams at once: exactly those that numpy's `SeedSequence` gives one after the other.

A room has hundreds of streams, and making a `SeedSequence` for each took a good part of a short run. Its hash is
published and will not change, so here it is done for all streams in one go. A test holds the two against each other.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.random import SeedSequence
from numpy.random.bit_generator import ISeedSequence

Words = np.ndarray[tuple[int, int], np.dtype[np.uint32]]
State = np.ndarray[Any, np.dtype[np.uint64]]
States = np.ndarray[tuple[int, int], np.dtype[np.uint64]]

POOL = 4
"""Words in the pool of a `SeedSequence`."""
FIRST_IN, TIMES_IN = 0x43B0D7E5, 0x931E8875
"""First constant by which words are hashed into the pool, and what takes it to the next one."""
FIRST_OUT, TIMES_OUT = 0x8B51F9DD, 0x58F38DED
"""The same for the words that are read from the pool."""
TIMES_OLD, TIMES_NEW = np.uint32(0xCA01F9DD), np.uint32(0x4973F715)
"""By what the pool, and a word that is mixed into it, are multiplied."""
HALF = np.uint32(16)
"""Bits in half a word."""


class Seeded(ISeedSequence):
    """What a bit generator is seeded with, worked out before."""

    def __init__(self, state: State) -> None:
        self.state = state

    def generate_state(self, n_words: int, dtype: Any = np.uint64) -> State:  # noqa: ANN401 - as numpy states it
        """Give the words to a generator that asks for as many of this kind as there are."""
        assert n_words == self.state.size and dtype == np.uint64  # noqa: PT018 - PCG64 asks for both
        return self.state


def stream_states(seed: int, replication: int, keys: Sequence[tuple[int, int, int]]) -> States:
    """Words that seed the streams of one replication.

    Parameters
    ----------
    seed, replication
        Whole numbers from 0 on.
    keys
        Three numbers below 2**32 for each stream.

    Returns
    -------
    array, shape (streams, 4)
        For each key ``SeedSequence(seed, spawn_key=(replication, *key)).generate_state(4, np.uint64)``.

    Raises
    ------
    ValueError
        If seed or replication is below 0.

    References
    ----------
    O'Neill 2015, seed_seq without its faults (randutils), as written out in the documentation of
    `numpy.random.SeedSequence`.
    """
    first = SeedSequence(seed, spawn_key=(replication,))
    hashed = POOL * (POOL + max(POOL, _words(seed)) - POOL + _words(replication))
    rise = _constants(FIRST_IN, TIMES_IN, hashed + 3 * POOL + 1)[hashed:]
    pool: Words = np.tile(first.pool, (len(keys), 1))
    words: Words = np.array(keys, dtype=np.uint32).reshape(-1, 3)
    for number in range(3):
        begin = POOL * number
        word = words[:, number, None] ^ rise[begin : begin + POOL]
        word *= rise[begin + 1 : begin + POOL + 1]
        word ^= word >> HALF
        pool = TIMES_OLD * pool - TIMES_NEW * word
        pool ^= pool >> HALF
    fall = _constants(FIRST_OUT, TIMES_OUT, 2 * POOL + 1)
    out = np.tile(pool, 2) ^ fall[:-1]
    out *= fall[1:]
    out ^= out >> HALF
    low, high = out[:, 0::2].astype(np.uint64), out[:, 1::2].astype(np.uint64)
    return low | high << np.uint64(32)


def _words(number: int) -> int:
    """Words of 32 bits that a whole number takes."""
    return max(1, -(-int(number).bit_length() // 32))


def _constants(first: int, times: int, count: int) -> "np.ndarray[tuple[int], np.dtype[np.uint32]]":
    """Constants of a hash, each the one before times the same factor."""
    return np.array([first * pow(times, power, 2**32) % 2**32 for power in range(count)], dtype=np.uint32)
