"""Damaged tables of durations timed on site are read, or refused with words that say where and what is wrong."""

from collections import Counter
from pathlib import Path
from random import Random

import pytest

import batsim
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.site import Scenario
from tests.behaviour.damaged_tables import Table, damaged, written
from tests.behaviour.sweeps import TWO_ROOMS

FILES, CHUNK = 10_000, 1000
SIMULATED = 20
"""Of so many files one is simulated, where it can be read."""
STEPS = ("drive up", "swap", "put away")
HEADERS = (
    "", "step", "time", "time [s]", "time (min)", "time, s", "time [kg]", "who", "what was done", "[s]", "s", "x",
)  # fmt: skip
COLUMNS = ("file: times.csv, column: time", "file: times.csv, column: 'time [s]'", "column: time", "file: times.csv")
STATED = (
    "", "", "", "", ", step: swap", ", step: swap", ", step: lift", ", step_column: step",
    ", step: swap, step_column: who",
    ", unit: s", ", unit: h", ", unit: kg", ", decimal: comma", ", decimal: point", ", decimal: both",
)  # fmt: skip
ENCODINGS = ("utf-8", "utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1")
TIMED = "time: {mean: 10 min, cv: 0.3, law: gamma}"
SETTINGS = batsim.Settings(replications=2, weeks=0.05, warm_up_weeks=0.0, workers=1)


def sound(random: Random) -> Table:
    """A table of timed steps, or durations with one on each line."""
    if random.random() < 0.2:
        return [[f"{random.randint(1, 99)} s"] for _ in range(20)]
    rows = [[random.choice(STEPS), random.choice("AB"), f"{random.randint(1, 99)}.5"] for _ in range(20)]
    return [["step", "who", "time [s]"], *rows]


def in_bytes(text: str, random: Random) -> bytes:
    """A text as a file has it: ends of lines, an encoding, sometimes cut short or with other bytes in it."""
    text = text.replace("\n", random.choice(("\n", "\n", "\r\n", "\r")))
    raw = text.encode(random.choice(ENCODINGS), errors="replace")
    match random.randrange(10):
        case 0:
            return raw[: random.randrange(len(raw) + 1)]
        case 1:
            at = random.randrange(len(raw) + 1)
            return raw[:at] + random.randbytes(random.choice((1, 3, 200))) + raw[at + 1 :]
        case _:
            return raw


def tried(number: int, folder: Path) -> str:
    """Read a scenario with the damaged table of this number; say what came of it."""
    random = Random(number)
    table = sound(random)
    lines = len(table[0]) == 1
    text = written(damaged(table, random, HEADERS), random.choice((",", ";", "\t")))
    (folder / "times.csv").write_bytes(in_bytes(text, random))
    column = f"{{{random.choice(COLUMNS) if random.random() < 0.1 else COLUMNS[0]}{random.choice(STATED)}}}"
    observed = "times.csv" if lines else column
    file = folder / "site.yaml"
    stated = TWO_ROOMS.read_text(encoding="utf-8").replace(TIMED, f"time: {{observed: {observed}}}")
    file.write_text(stated, encoding="utf-8")
    try:
        scenario = batsim.read(file)
    except batsim.ScenarioError as error:
        return "refused" if all(each.file and each.line and each.path for each in error.problems) else "not said where"
    assert all(0.0 <= minutes < float("inf") for minutes in law(scenario).observed_min or ())
    if number % SIMULATED == 0:
        batsim.compare(scenario, SETTINGS)
        return "simulated"
    return "read"


def law(scenario: Scenario) -> DurationLaw:
    """What was timed."""
    timed = scenario.handling["by hand"].steps[1].time_min
    assert timed is not None
    assert timed.observed_min
    return timed


def test_some_damaged_tables(tmp_path: Path) -> None:
    """None ends in an error of our own."""
    done = Counter(tried(number, tmp_path) for number in range(160))

    assert min(done[what] for what in ("read", "refused")) > 10
    assert done["simulated"] > 0
    assert not done["not said where"]


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, FILES, CHUNK))
def test_damaged_tables(tmp_path: Path, first: int) -> None:
    """The same for all."""
    done = Counter(tried(number, tmp_path) for number in range(first, first + CHUNK))

    assert min(done[what] for what in ("read", "refused")) > CHUNK // 10
    assert done["simulated"] > CHUNK // SIMULATED // 10
    assert not done["not said where"]
