"""Seeds of all streams of a replication at once: the same as numpy's own, one by one."""

import numpy as np
import pytest
from numpy.random import PCG64, Generator, SeedSequence

from batsim.room.chance.seeding import Seeded, stream_states
from batsim.room.chance.streams import Streams

KEYS = [
    (0, 0, 0),
    (1, 2, 3),
    (2**32 - 1, 2**32 - 1, 2**32 - 1),
    *((int(a), int(b), int(c)) for a, b, c in np.random.default_rng(1).integers(0, 2**32, (50, 3))),
]


@pytest.mark.published(source="NumPy, random sampling", where="SeedSequence: its state, and PCG64 seeded with it")
@pytest.mark.parametrize("seed", [0, 1, 2**31 - 1, 2**32, 2**96 + 5, 2**128 - 1, 2**128, 2**300 + 7])
@pytest.mark.parametrize("replication", [0, 1, 999, 2**32 - 1, 2**32, 2**70])
def test_streams_are_seeded_as_numpy_seeds_them(seed, replication):
    """Seeds and replications of one word and of many, more than the pool holds among them."""
    states = stream_states(seed, replication, KEYS)
    assert states.shape == (len(KEYS), 4)
    for key, state in zip(KEYS, states, strict=True):
        sequence = SeedSequence(seed, spawn_key=(replication, *key))
        assert state.tolist() == sequence.generate_state(4, np.uint64).tolist()
        assert PCG64(Seeded(state)).state == PCG64(sequence).state


def test_no_streams_have_no_seeds():
    assert stream_states(1, 0, []).shape == (0, 4)


@pytest.mark.parametrize(("seed", "replication"), [(-1, 0), (1, -1)])
def test_a_seed_below_zero_is_refused(seed, replication):
    with pytest.raises(ValueError, match=r"^expected non-negative integer$"):
        stream_states(seed, replication, KEYS)


def test_it_does_not_matter_when_a_stream_is_asked_for():
    """Alone, or together with others that are drawn from before and after it."""
    alone = Streams(5, 2).generator("truck", 7, "run").random(10).tolist()
    streams = Streams(5, 2)
    first = streams.ask("truck", 6, "run")
    asked = streams.ask("truck", 7, "run")
    first.generator().random(3)
    later = streams.ask("truck", 8, "run")
    later.generator().random(3)
    assert asked.generator().random(10).tolist() == alone


def test_two_streams_differ():
    generators: list[Generator] = [Streams(5, 2).generator("truck", number, "run") for number in range(2)]
    first, second = (generator.random(10).tolist() for generator in generators)
    assert first != second
