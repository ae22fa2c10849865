"""A room is simulated, its records spoiled; calibrate must find its inputs, every spoiled row, and no gap."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

import batsim
from batsim.calibration.calibrate import Calibration
from batsim.scenario.settings import Settings
from tests.behaviour.hidden_room import FORM, STATED, Hidden, Spoiled, hidden, records_of, spoiled

SOME, MANY = 1, 100
LEAST_SHARE = 0.9
"""Share of rooms in which the 95 % interval of an input must hold it."""


def calibrated(seed: int, folder: Path) -> tuple[Hidden, Spoiled, Calibration]:
    """A hidden room, its spoiled records and what is found in them."""
    room = hidden(seed)
    records = spoiled(records_of(room.truth, 1000 + seed), folder, seed)
    kinds = {kind: str(file) for kind, file in records.files.items()}
    return (
        room,
        records,
        batsim.calibrate(STATED, **kinds, settings=Settings(replications=12, seed=5, workers=1), times=FORM),
    )


def recovered(room: Hidden, found: Calibration) -> dict[str, bool]:
    """Which inputs lie in the interval that was found for them; those that are missing do not."""
    by_title = {(each.what, each.of): each for each in found.findings}
    return {
        f"{what}, {of}": (what, of) in by_title and bool(replace(by_title[what, of], stated=mean).as_stated)
        for (what, of), mean in room.means.items()
    }


def listed_lines(records: Spoiled, found: Calibration) -> dict[str, set[int]]:
    """Spoiled lines that are not among those left out."""
    return {kind: lines - {each.line for each in found.logs[kind].left_out} for kind, lines in records.lines.items()}


@pytest.mark.parametrize("seed", range(SOME))
def test_a_hidden_room_is_found(seed: int, tmp_path: Path) -> None:
    """Inputs within their intervals, spoiled rows by line, no gap between the records and the model."""
    room, records, found = calibrated(seed, tmp_path)
    inside = recovered(room, found)

    assert {kind: lines for kind, lines in listed_lines(records, found).items() if lines} == {}
    assert sum(inside.values()) >= len(inside) - 1, inside
    assert found.beside is not None
    assert found.beside.holds, found.verdict
    assert found.closing is None


@pytest.mark.slow
def test_a_hundred_hidden_rooms_are_found(tmp_path: Path) -> None:
    """Every input within its interval in nine of ten rooms, every spoiled row listed in all, no gap in nine of ten."""
    inside: Counter[str] = Counter({f"{what}, {of}": 0 for what, of in hidden(0).means})
    missing, holds = [], 0
    for seed in range(MANY):
        folder = tmp_path / str(seed)
        folder.mkdir()
        room, records, found = calibrated(seed, folder)
        inside.update(name for name, there in recovered(room, found).items() if there)
        missing += [(seed, kind, lines) for kind, lines in listed_lines(records, found).items() if lines]
        assert found.beside is not None
        holds += found.beside.holds

    assert missing == []
    assert min(inside.values()) >= LEAST_SHARE * MANY, dict(inside)
    assert holds >= LEAST_SHARE * MANY, holds
