"""Where finished cases are kept: one SQLite file with one writer, rows known by their content."""

import json
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from batsim.errors import StudyError, require
from batsim.study.running.jobs import Job
from batsim.study.sweeps.agenda import cases_of
from batsim.study.sweeps.points import Point
from batsim.study.sweeps.store_file import DIGESTED, connected, hold, prepare, told

IN_MEMORY = ":memory:"
"""In place of a file: a store that is gone when it is closed."""
ROWS_AT_ONCE = 500
"""Rows that are asked for with one statement; SQLite takes at most 999 values in one."""
CASES_AT_ONCE = 2000
"""Cases whose measures are held at once when a study is read."""


Names = tuple[str, ...]
"""Names of measures, in their order."""


class CaseRow(NamedTuple):
    """A finished case."""

    key: bytes
    layout: str
    changes: str
    seed: int
    replication: int
    measures: bytes


class FailureRow(NamedTuple):
    """A case without a result."""

    key: bytes
    layout: str
    changes: str
    seed: int
    replication: int
    kind: str
    message: str


class Store:
    """An open store."""

    def __init__(
        self, path: Path, connection: sqlite3.Connection, lock: sqlite3.Connection | None, address: str = ""
    ) -> None:
        self.path, self._connection, self._lock, self._address = path, connection, lock, address

    @classmethod
    def open(cls, path: str | Path, *, write: bool = True) -> "Store":
        """Open a store, and make it when it is to be written to and not there.

        Raises
        ------
        StudyError
            When it is not there, not a store, of another form, cannot be written to, or is being written to.
        """
        if path == IN_MEMORY:
            connection = sqlite3.connect(IN_MEMORY, uri=True, isolation_level=None)
            prepare(Path(IN_MEMORY), connection, write=True)
            return cls(Path(IN_MEMORY), connection, None)
        path = Path(path)
        require(write or path.is_file(), f"{path}: there is no such store", StudyError)
        pipe = path.exists() and not (path.is_file() or path.is_dir())
        require(not pipe, f"{path}: this is a pipe or a device, no file for a store", StudyError)
        lock = hold(path) if write else None
        try:
            with told(path):
                connection, address = connected(path, write=write)
        except BaseException:
            if lock is not None:
                lock.close()
            raise
        return cls(path, connection, lock, address)

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close it; what was added is on the disk."""
        self._connection.close()
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def keys(self) -> set[bytes]:
        """Keys of all finished cases."""
        with told(self.path):
            return {key for (key,) in self._connection.execute("SELECT key FROM cases")}

    def measures(self, keys: Iterable[bytes]) -> dict[bytes, bytes]:
        """Measures of finished cases by key; keys that are not there are left out."""
        return {key: measures for key, _, measures in self._rows(keys)}

    def named_measures(self, keys: Iterable[bytes]) -> dict[bytes, tuple[Names, bytes]]:
        """The same, each with the names of its measures."""
        found = list(self._rows(keys))
        names = {number: self._names(number) for number in {number for _, number, _ in found}}
        return {key: (names[number], measures) for key, number, measures in found}

    def _rows(self, keys: Iterable[bytes]) -> Iterator[tuple[bytes, int, bytes]]:
        """Key, number of the names and measures of finished cases that are there."""
        asked = list(keys)
        with told(self.path):
            for start in range(0, len(asked), ROWS_AT_ONCE):
                some = asked[start : start + ROWS_AT_ONCE]
                marks = ",".join("?" * len(some))
                yield from self._connection.execute(
                    f"SELECT key, names, measures FROM cases WHERE key IN ({marks})", some
                ).fetchall()

    def _names(self, number: int) -> Names:
        """Names of the measures of some rows."""
        with told(self.path):
            row = self._connection.execute("SELECT names FROM names WHERE id = ?", (number,)).fetchone()
        return tuple(json.loads(row[0]))

    def finished(self, study: dict[str, Any], points: Iterable[Point]) -> Iterator[tuple[int, Point, Job, bytes]]:
        """Finished cases of a study: number of the point, point, job and measures, in the order of the points."""
        cases = ((number, point, case) for number, point in enumerate(points) for case in cases_of(study, point))
        while some := list(islice(cases, CASES_AT_ONCE)):
            measures = self.measures({case.key for _, _, case in some})
            for number, point, (key, job) in some:
                if key in measures:
                    yield number, point, job, measures[key]

    def failures(self) -> dict[bytes, FailureRow]:
        """Cases without a result, by key."""
        with told(self.path):
            rows = self._connection.execute(f"SELECT {DIGESTED['failures']} FROM failures ORDER BY key")
            return {row[0]: FailureRow(*row) for row in rows}

    def add(self, names: tuple[str, ...], cases: Iterable[CaseRow], failures: Iterable[FailureRow] = ()) -> None:
        """Add what is finished, all or nothing; a case that had failed before is a failure no longer."""
        cases = list(cases)
        with self._at_once() as connection:
            number = _names_id(connection, json.dumps(names))
            connection.executemany(
                "INSERT OR IGNORE INTO cases SELECT ?1, ?2, ?3, ?4, ?5, id, ?6, "
                "digest_of(?1, ?2, ?3, ?4, ?5, ?6, digest) FROM names WHERE id = ?7",
                [(*case, number) for case in cases],
            )
            connection.executemany("DELETE FROM failures WHERE key = ?", [(case.key,) for case in cases])
            connection.executemany(
                "INSERT OR REPLACE INTO failures "
                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, digest_of(?1, ?2, ?3, ?4, ?5, ?6, ?7))",
                failures,
            )

    def put_study(self, name: str, study: dict[str, Any], points: Iterable[Any]) -> None:
        """Keep what a study asks for, once."""
        with self._at_once() as connection:
            if connection.execute("SELECT 1 FROM studies WHERE id = ?", (name,)).fetchone() is None:
                connection.execute("INSERT INTO studies VALUES (?1, ?2, digest_of(?1, ?2))", (name, _json(study)))
                rows = ((name, number, _json(point)) for number, point in enumerate(points))
                connection.executemany("INSERT INTO points VALUES (?1, ?2, ?3, digest_of(?1, ?2, ?3))", rows)

    def studies(self) -> dict[str, dict[str, Any]]:
        """What studies asked for, by their digest."""
        with told(self.path):
            return {name: json.loads(text) for name, text in self._connection.execute("SELECT id, study FROM studies")}

    def points(self, study: str) -> Iterator[Any]:
        """Changes at the points of a study, in their order."""
        with told(self.path):
            rows = self._connection.execute("SELECT changes FROM points WHERE study = ? ORDER BY number", (study,))
            for (changes,) in rows:
                yield json.loads(changes)

    def begin_manifest(self, manifest: dict[str, Any]) -> int:
        """Write down that a run begins; return its number."""
        with self._at_once() as connection:
            insert = "INSERT INTO manifests (manifest, digest) VALUES (?1, digest_of(?1))"
            number = connection.execute(insert, (_json(manifest),)).lastrowid
            assert number is not None  # a row was inserted
            return number

    def end_manifest(self, number: int, manifest: dict[str, Any]) -> None:
        """Write down how a run ended."""
        with self._at_once() as connection:
            update = "UPDATE manifests SET manifest = ?1, digest = digest_of(?1) WHERE id = ?2"
            connection.execute(update, (_json(manifest), number))

    def take_over(self, other: Path) -> int:
        """Take over everything of another store; return how many cases are new.

        Raises
        ------
        StudyError
            When the same case has other numbers there.
        """
        if other.exists() and self.path.exists() and other.samefile(self.path):
            return 0
        with Store.open(other, write=False) as theirs, told(self.path):
            # Its own reader stays open to clear away what this one leaves beside the file.
            address = theirs._address.replace("mode=rw", "mode=ro")
            self._connection.execute("ATTACH DATABASE ? AS other", (address,))
            try:
                with self._at_once() as connection:
                    return _taken_over(connection, other)
            finally:
                self._connection.execute("DETACH DATABASE other")

    @contextmanager
    def _at_once(self) -> Iterator[sqlite3.Connection]:
        """Do several things or none of them."""
        with told(self.path):
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    self._connection.execute("ROLLBACK")
                raise


def merge_stores(into: str | Path, stores: Iterable[str | Path]) -> dict[str, int]:
    """Put stores together, such as those of the shards of a study.

    Parameters
    ----------
    into
        Store that takes everything over; made if it is not there.
    stores
        Those that are read.

    Returns
    -------
    dict
        New cases by the name of each store.

    Raises
    ------
    StudyError
        When one cannot be used, or the same case has other numbers in two of them.
    """
    with Store.open(into) as store:
        return {str(other): store.take_over(Path(other)) for other in stores}


def measures_at(measures: bytes, places: list[int]) -> list[float | None]:
    """Measures of a case at some places; a case whose target for waits was taken away lacks the last one."""
    values = np.frombuffer(measures, "<f8").tolist()
    return [values[place] if 0 <= place < len(values) else None for place in places]


def _json(data: object) -> str:
    """Plain data as text in ASCII: the name of a file need not be text in UTF-8."""
    return json.dumps(data)


def _names_id(connection: sqlite3.Connection, names: str) -> int:
    connection.execute("INSERT OR IGNORE INTO names (names, digest) VALUES (?1, digest_of(?1))", (names,))
    return int(connection.execute("SELECT id FROM names WHERE names = ?", (names,)).fetchone()[0])


def _taken_over(connection: sqlite3.Connection, other: Path) -> int:
    """Copy the rows of the attached store."""
    differ = connection.execute(
        "SELECT count(*) FROM cases AS mine JOIN other.cases AS theirs USING (key) "
        "WHERE mine.measures != theirs.measures"
    ).fetchone()[0]
    rule = f"{other}: {differ} of its cases have other numbers here; one of the two was made by a changed model"
    require(not differ, rule, StudyError)
    before = connection.execute("SELECT count(*) FROM cases").fetchone()[0]
    for number, names in connection.execute("SELECT id, names FROM other.names").fetchall():
        connection.execute(
            "INSERT OR IGNORE INTO cases SELECT key, layout, changes, seed, replication, ?, measures, digest "
            "FROM other.cases WHERE names = ?",
            (_names_id(connection, names), number),
        )
    connection.execute("INSERT OR IGNORE INTO failures SELECT * FROM other.failures")
    connection.execute("DELETE FROM failures WHERE key IN (SELECT key FROM cases)")
    connection.execute("INSERT OR IGNORE INTO studies SELECT * FROM other.studies")
    connection.execute("INSERT OR IGNORE INTO points SELECT * FROM other.points")
    connection.execute(
        "INSERT INTO manifests (manifest, digest) SELECT manifest, digest FROM other.manifests "
        "WHERE manifest NOT IN (SELECT manifest FROM main.manifests) ORDER BY id"
    )
    return int(connection.execute("SELECT count(*) FROM cases").fetchone()[0]) - int(before)
