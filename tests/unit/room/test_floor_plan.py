"""Ways in a room: those of a small one by hand, and what a very large one takes."""

import tracemalloc

import numpy as np
import pytest

import batsim
from batsim.room.plans.floor_plan import MOST_KEPT, FloorPlan, Matrix, Table, floor_plan
from batsim.scenario.parts.floor import Floor
from batsim.scenario.parts.handling import Device
from tests.sites import KESTREL

ROW = {"row": "A", "at": ["0 m", "4 m"], "pitch": "1 m", "levels": 2, "level_height": "3 m"}
FLOOR = Floor.model_validate({"stations": {"at": ["2 m", "0 m"], "pitch": "5 m"}, "rows": [ROW]})
MEGABYTE = 2**20


def plan(bays: int, path: str = "aisles") -> FloorPlan:
    """Two stations and a row of bays on two levels, with one device."""
    speeds = {"loaded": "60 m/min", "empty": "120 m/min", "lift": "6 m/min"}
    device = Device.model_validate({"path": path, **speeds})
    return floor_plan(FLOOR, bays, 2, [device], [])


@pytest.mark.parametrize(("path", "metres"), [("aisles", 6.0), ("overhead", 4.0)])
def test_ways_of_a_small_room(path: str, metres: float) -> None:
    """From bay 1 to station 1: 2 m along and 4 m across; from the bay above it 3 m down as well."""
    ways = plan(6, path).ways[0]

    assert (ways.metres[0][6], ways.metres[6][0], ways.metres[3][6]) == (metres, metres, metres)
    assert ways.loaded_min[0][6] == pytest.approx(metres / 60.0, abs=1e-3)
    assert ways.empty_min[3][6] == pytest.approx(metres / 120.0 + 0.5, abs=1e-3)


def test_memory_grows_with_the_bays_and_not_with_their_square() -> None:
    """Five thousand bays, and ways from a hundred of them: the square of the bays would be gigabytes."""
    tracemalloc.start()
    large = plan(5_000)
    for point in range(0, 5_000, 50):
        assert large.ways[0].loaded_min[point][5_000] > 0.0
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 100 * MEGABYTE


def test_a_table_keeps_so_much() -> None:
    """And works out again what it has let go, to the same numbers."""
    asked: list[int] = []

    def row(point: int) -> Matrix:
        asked.append(point)
        return np.array([float(point)])

    table = Table(MOST_KEPT // 2, row)

    first = [table[point] for point in (1, 2, 1, 3, 1)]

    assert first == [[1.0], [2.0], [1.0], [3.0], [1.0]]
    assert asked == [1, 2, 3, 1]


def test_a_floor_of_too_many_ways_is_refused() -> None:
    """In words, before any of them is worked out."""
    changes = {"layouts.'side rollers'.bays": 100_000, "layouts.'side rollers'.stations": 11}

    with pytest.raises(batsim.ScenarioError, match="too large: 100,000 bays for each of 11 stations"):
        batsim.changed(KESTREL, changes)
