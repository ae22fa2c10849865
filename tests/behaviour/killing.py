"""What tests have in common that kill batsim: its processes, and what its store holds at any moment."""

import os
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from tests.behaviour.sweeps import BATSIM

PATIENCE_S = 45.0
GONE_S = 5.0
"""Time within which the processes of a killed command are gone."""


def processes(session: int) -> dict[int, int]:
    """Processes of a session that are alive, each with its parent."""
    found = {}
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            with suppress(OSError):
                state, parent, _, of = (folder / "stat").read_text().rpartition(")")[2].split()[:4]
                if int(of) == session and state not in "ZX":
                    found[int(folder.name)] = int(parent)
    return found


def workers_of(coordinator: int) -> list[int]:
    """Processes that work for a sweep: they are started by a process that it has started."""
    alive = processes(coordinator)
    return sorted(pid for pid, parent in alive.items() if alive.get(parent) == coordinator)


def finished(store: Path) -> int:
    """Cases in a store that may be written to at this moment, or not be there."""
    with suppress(sqlite3.OperationalError):
        address = f"{store.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            return int(connection.execute("SELECT count(*) FROM cases").fetchone()[0])
    return 0


def wait_until(enough: Any, seconds: float) -> bool:
    """Wait for something; tell whether it came."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if enough():
            return True
        time.sleep(0.01)
    return False


@contextmanager
def started(*arguments: object, folder: Path | None = None) -> "Iterator[subprocess.Popen[str]]":
    """Run batsim in a session of its own; whatever is left of it in the end is killed."""
    process = subprocess.Popen(
        [BATSIM, *map(str, arguments)],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        for pid in processes(process.pid):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        process.communicate()


def nobody_left(session: int) -> bool:
    """Tell whether all processes of a session end by themselves."""
    return wait_until(lambda: not processes(session), GONE_S)
