"""Damaged scenarios and studies are read or refused with words; what is read is simulated, planned and reported."""

from collections import Counter
from pathlib import Path

import pytest

from tests.behaviour.mutations import PLANNED, Damaged

FILES, CHUNK, LEAST_REPORTED = 20_000, 1000, 2


def test_some_damaged_files(tmp_path: Path) -> None:
    """None ends in an error of our own; many are still scenarios."""
    damaged = Damaged(tmp_path)

    done = Counter(what for number in range(160) for what in damaged.tried(number, runs=number % 8 == 0))

    assert done["read"] > 20
    assert done["simulated"] > 0


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, FILES, CHUNK))
def test_damaged_files(tmp_path: Path, first: int) -> None:
    """The same with all that are read simulated, and some planned and reported."""
    damaged = Damaged(tmp_path)

    done = Counter(what for number in range(first, first + CHUNK) for what in damaged.tried(number))

    assert done["simulated"] > CHUNK // 5
    assert done["planned"] > CHUNK // 5 // PLANNED // 2
    assert done["reported"] > LEAST_REPORTED
