"""What tests of studies have in common: a small study, what its store holds, a run of it as a process."""

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import fields
from functools import cache
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.sweeps.sweep import sweep
from batsim.study.sweeps.sweep_result import Sweep

BATSIM = Path(sys.executable).with_name("batsim")
TWO_ROOMS = Path(__file__).parent / "cases" / "two_rooms.yaml"
BATTERIES, RUN_TIME = "layouts.north.batteries", "trucks[0].run_time.mean"
VARY: dict[str, Any] = {BATTERIES: [14, 16, 18], RUN_TIME: ["4 h", "5 h", "6 h"]}
POINTS, CASES = 9, 24
"""Points of that grid; its cases: nine for the north room, three for the south room, which has no other batteries."""
SHORT: dict[str, Any] = {"vary": VARY, "weeks": 0.05, "warm_up_weeks": 0.0, "replications": 2, "workers": 1}
TABLES = {
    "cases": "SELECT key, layout, changes, seed, replication, n.names, measures "
    "FROM cases JOIN names AS n ON n.id = cases.names ORDER BY key",
    "failures": "SELECT key, layout, changes, seed, replication, kind, message FROM failures ORDER BY key",
    "studies": "SELECT id, study FROM studies ORDER BY id",
    "points": "SELECT study, number, changes FROM points ORDER BY study, number",
}
STUDY = """\
study: Which matters more, batteries or run time?
scenario: {scenario}
vary:
  layouts.north.batteries: [14, 16, 18]
  trucks[0].run_time.mean: [4 h, 5 h, 6 h]
design: grid
simulation: {{replications: {replications}, length: {weeks} weeks, warm_up: 0 weeks}}
"""


@contextmanager
def importable_takes() -> Iterator[ModuleType]:
    """Functions of `study_takes.py`, by a name under which other processes find them too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parent)
        yield import_module("study_takes")


@cache
def rooms() -> Scenario:
    """The two rooms."""
    return batsim.read(TWO_ROOMS)


def swept(store: str | Path | None = None, **changes: Any) -> Sweep:
    """Run the small study with some things stated otherwise."""
    given = SHORT | changes
    settings = {key: given.pop(key) for key in list(given) if key in {field.name for field in fields(Settings)}}
    return sweep(rooms(), Settings(**settings), store=store, **given)


def tables(store: str | Path) -> dict[str, list[tuple[Any, ...]]]:
    """Rows of a store as SQLite reads them, without what depends on the order of work."""
    with closing(sqlite3.connect(f"{Path(store).absolute().as_uri()}?mode=ro", uri=True)) as connection:
        return {name: connection.execute(query).fetchall() for name, query in TABLES.items()}


def manifests(store: str | Path) -> list[str]:
    """Manifests of a store, as text."""
    with closing(sqlite3.connect(f"{Path(store).absolute().as_uri()}?mode=ro", uri=True)) as connection:
        return [text for (text,) in connection.execute("SELECT manifest FROM manifests ORDER BY id")]


def bits(found: Sweep) -> dict[tuple[str, str], bytes]:
    """Values of a sweep, to the last bit."""
    return {
        (layout, measure): np.ascontiguousarray(table).tobytes()
        for layout, by_measure in found.values.items()
        for measure, table in by_measure.items()
    }


def study_file(folder: Path, *, replications: int = 2, weeks: float = 0.05) -> Path:
    """Write the small study as a file."""
    file = folder / "small.yaml"
    text = STUDY.format(scenario=TWO_ROOMS, replications=replications, weeks=weeks)
    file.write_text(text, encoding="utf-8")
    return file


def command(*arguments: object, **options: Any) -> "subprocess.CompletedProcess[str]":
    """Run batsim as a process of its own; what it prints is text."""
    done: subprocess.CompletedProcess[str] = subprocess.run(
        [BATSIM, *map(str, arguments)], capture_output=True, text=True, check=False, **options
    )
    return done
