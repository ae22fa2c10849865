"""A decision or a report that is killed at any moment goes on where it was; its file is written whole or not at all."""

import re
import shutil
import signal
import time
from contextlib import suppress
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import NamedTuple

import pytest

from batsim.errors import StudyError
from batsim.study.sweeps.store import Store
from tests.behaviour.killing import PATIENCE_S, nobody_left, processes, started
from tests.behaviour.sweeps import command

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="finds processes in /proc")

SITE = Path(__file__).parents[1] / "unit" / "cases" / "size_small.yaml"
STORE = "runs.store"
ASKED = ("site.yaml", "--store", STORE, "--range", "batteries=8:9", "--weeks", 0.05, "--warm-up", 0, "--workers")
COMMANDS = {
    "decide": (("decide", *ASKED), ("--write", "best.yaml"), "best.yaml"),
    "report": (("report", *ASKED), ("--best", "--output", "page.html"), "page.html"),
}
"""Words of a command before and after the number of its workers, and the file that it writes."""
FOUND = re.compile(r", (\d+) from the store")


class Calm(NamedTuple):
    """A command, and what comes of it when nobody disturbs it."""

    words: tuple[object, ...]
    output: str
    printed: str
    """What it prints, but for how much a store had already."""
    written: bytes
    runs: int
    seconds: float


def calm_of(name: str, workers: int, folder: Path) -> Calm:
    """Run a command undisturbed."""
    before, after, output = COMMANDS[name]
    words = (*before, workers, *after)
    here = begun(folder)
    started_s = time.monotonic()
    done = command(*words, cwd=here)
    seconds = time.monotonic() - started_s
    assert (done.returncode, done.stderr) == (0, "")
    runs = kept(here / STORE)
    assert runs > 10
    return Calm(words, output, done.stdout, (here / output).read_bytes(), runs, seconds)


def begun(folder: Path) -> Path:
    """An empty folder with the site."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    shutil.copy(SITE, folder / "site.yaml")
    return folder


def kept(store: Path) -> int:
    """Runs in a store that nobody writes to; it is looked at as a copy, so that what was left beside it stays."""
    with TemporaryDirectory() as elsewhere, suppress(StudyError):  # of a store that was not yet begun
        for name in (STORE, f"{STORE}-wal"):
            if store.with_name(name).exists():
                shutil.copy(store.with_name(name), elsewhere)
        with Store.open(Path(elsewhere) / STORE, write=False) as opened:
            return len(opened.keys())
    return 0


def kill_once(calm: Calm, folder: Path, random: Random) -> bool:
    """Run a command and kill it at some moment; tell whether it was killed before its end."""
    before = kept(folder / STORE)
    with started(*calm.words, folder=folder) as process:
        time.sleep(random.uniform(0.1, 0.95) * calm.seconds)
        process.send_signal(signal.SIGKILL)
        out, _ = process.communicate(timeout=PATIENCE_S)
        assert nobody_left(process.pid), processes(process.pid)
    assert kept(folder / STORE) >= before
    output = folder / calm.output
    assert not output.exists() or output.read_bytes() == calm.written
    if process.returncode == 0:
        assert FOUND.sub("", out) == calm.printed
        return False
    assert process.returncode == -signal.SIGKILL
    return True


def end_well(calm: Calm, folder: Path) -> None:
    """Let a command that was killed come to its end: what was finished is found, the result is as ever."""
    before = kept(folder / STORE)
    done = command(*calm.words, cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert FOUND.sub("", done.stdout) == calm.printed
    if calm.words[0] == "decide":
        assert int((FOUND.search(done.stdout) or ["", "0"])[1]) == before
    assert (folder / calm.output).read_bytes() == calm.written
    assert kept(folder / STORE) == calm.runs


@pytest.mark.parametrize(
    ("name", "workers", "kills"),
    [
        ("decide", 1, 1),
        ("report", 1, 1),
        *(pytest.param(name, workers, 10, marks=pytest.mark.slow) for name in COMMANDS for workers in (1, 2)),
    ],
)
def test_killed_at_any_moment(tmp_path: Path, name: str, workers: int, kills: int) -> None:
    """Every kill is followed by the same command, undisturbed or killed again."""
    calm = calm_of(name, workers, tmp_path / "calm")
    random, killed, folder = Random(f"{name} {workers} {kills}"), 0, begun(tmp_path / "killed")
    while killed < kills:
        killed += kill_once(calm, folder, random)
        if random.random() < 0.4 or killed == kills:
            end_well(calm, folder)
            folder = begun(tmp_path / "killed")
