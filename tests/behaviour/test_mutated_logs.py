"""Damaged logs are read, with what was left out told, or refused with words."""

from collections import Counter
from pathlib import Path
from random import Random

import numpy as np
import pytest

import batsim
from batsim.study.event_log import event_log_csv
from tests.behaviour.damaged_tables import Table, damaged, written
from tests.runs import record_of
from tests.sites import KESTREL

FILES, CHUNK = 3000, 500
KINDS = ("exchanges", "charges", "trucks", "steps")
FORM = "%d.%m.%Y %H:%M:%S"
HEADERS = (
    "", "truck", "group", "battery", "start", "end", "duration", "duration [s]", "duration [kWh]", "soc", "soc [%]",
    "charge [Ah]", "energy", "energy (kWh)", "hours", "step", "activity", "shift", "driver", "name", "[min]", "x",
)  # fmt: skip
OPTIONS: dict[str, tuple[object, ...]] = {
    "decimal": (None, None, None, "point", "comma", "both"),
    "times": (None, None, None, FORM, "%Y", "%", "%d/%m/%Y %H:%M", "\ud800"),
    "zone": (None, None, "Europe/Madrid", "America/New_York", "UTC", "Nowhere", "../UTC", ""),
    "mapping": (None, None, {"start": "end"}, {"truck": "driver"}, {"x": "y"}, {"start": ""}),
    "units": (None, None, {"duration": "s"}, {"charge": "kWh"}, {"soc_start": "1"}, {"truck": "s"}),
    "strict": (False, False, False, True),
    "scenario": (None, KESTREL, KESTREL),
}


@pytest.fixture(scope="module")
def tables() -> list[Table]:
    """A log of events of a day, and plain logs of each kind."""
    record = record_of(KESTREL, "hoist", length_min=720.0, warm_up_min=0.0)
    events = [line.split(",") for line in event_log_csv(batsim.event_log(record)).splitlines()]
    rows = [
        (f"T{n}", "docks", f"2024-03-0{4 + n % 5}T{8 + n % 9:02d}:{n:02d}:00", str(5 + n % 4), "25") for n in range(40)
    ]
    plain = [["truck", "group", "start", "duration [min]", "soc [%]"], *map(list, rows)]
    charges = [
        ["battery", "start", "duration [h]", "charge [Ah]"],
        *([f"B{n}", at, "8", "500"] for n, _, at, _, _ in rows),
    ]
    shifts = [
        ["truck", "shift", "date", "hours [h]", "energy [kWh]"],
        *([t, "early", at[:10], "7", "20"] for t, _, at, *_ in rows),
    ]
    steps = [
        ["step", "who", "time [s]"],
        *([step, "A", s] for step, s in (("walk", "12"), ("connect", "70"), ("wait", "8,5"))),
    ]
    return [events, plain, charges, shifts, steps]


def tried(tables: list[Table], number: int, folder: Path) -> str:
    """Read the damaged log of this number; say what came of it."""
    random = Random(number)
    table = damaged(random.choice(tables), random, HEADERS)
    text = written(table, random.choice((",", ";", "\t")))
    file = folder / "log.csv"
    file.write_text(text, encoding="utf-8")
    options = {name: random.choice(values) for name, values in OPTIONS.items()}
    if random.random() < 0.5:
        options = {"scenario": options["scenario"]}
    try:
        log = batsim.read_log(file, random.choice(KINDS), **options)  # type: ignore[arg-type]
    except batsim.ScenarioError as error:
        return "refused" if all(problem.rule and problem.file for problem in error.problems) else "not said why"
    _adds_up(log)
    return "read, some left out" if log.left_out else "read"


def _adds_up(log: batsim.Log) -> None:
    """Each row is used or left out, with a reason; what is used makes sense."""
    assert len(log.rows) + len({each.line for each in log.left_out}) == log.read
    assert not {each.line for each in log.left_out} & set(log.rows["line"])
    for name in log.rows.columns:
        if name.endswith("_share"):
            assert log.rows[name].dropna().between(0.0, 1.0).all()
        elif name in ("duration_min", "worked_min", "charge_ah", "energy_kwh"):
            assert (log.rows[name].dropna() >= 0.0).all()
            assert np.isfinite(log.rows[name].dropna()).all()
    assert log.used_share != log.used_share or 0.0 <= log.used_share <= 1.0


def test_some_damaged_logs(tables: list[Table], tmp_path: Path) -> None:
    """None ends in an error of our own."""
    done = Counter(tried(tables, number, tmp_path) for number in range(300))

    assert min(done[what] for what in ("read", "read, some left out", "refused")) > 10
    assert not done["not said why"]


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, FILES, CHUNK))
def test_damaged_logs(tables: list[Table], tmp_path: Path, first: int) -> None:
    """The same for all."""
    done = Counter(tried(tables, number, tmp_path) for number in range(first, first + CHUNK))

    assert min(done[what] for what in ("read", "read, some left out", "refused")) > 20
    assert not done["not said why"]
