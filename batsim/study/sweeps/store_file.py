"""The file of a store: its tables and their form, digests that show damage, the right to write, errors in words."""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import blake2b
from pathlib import Path

from batsim.errors import StudyError, require

FORM = 2
"""Form of the tables; a store of another form is refused."""


APPLICATION = 0x62617473
"""What SQLite keeps in the head of the file, so that any other file is told from a store ("bats")."""


TABLES = """
CREATE TABLE names (id INTEGER PRIMARY KEY, names TEXT NOT NULL UNIQUE, digest BLOB NOT NULL);
CREATE TABLE cases (
    key BLOB PRIMARY KEY, layout TEXT NOT NULL, changes TEXT NOT NULL, seed INTEGER NOT NULL,
    replication INTEGER NOT NULL, names INTEGER NOT NULL REFERENCES names (id), measures BLOB NOT NULL,
    digest BLOB NOT NULL
);
CREATE TABLE failures (
    key BLOB PRIMARY KEY, layout TEXT NOT NULL, changes TEXT NOT NULL, seed INTEGER NOT NULL,
    replication INTEGER NOT NULL, kind TEXT NOT NULL, message TEXT NOT NULL, digest BLOB NOT NULL
) WITHOUT ROWID;
CREATE TABLE studies (id TEXT PRIMARY KEY, study TEXT NOT NULL, digest BLOB NOT NULL) WITHOUT ROWID;
CREATE TABLE points (
    study TEXT NOT NULL, number INTEGER NOT NULL, changes TEXT NOT NULL, digest BLOB NOT NULL,
    PRIMARY KEY (study, number)
) WITHOUT ROWID;
CREATE TABLE manifests (id INTEGER PRIMARY KEY, manifest TEXT NOT NULL, digest BLOB NOT NULL);
"""
"""Cases have row numbers: without them a row of more than a quarter of a page takes a page of its own."""


DIGESTED = {
    "names": "names",
    "cases": "key, layout, changes, seed, replication, measures, (SELECT digest FROM names WHERE id = cases.names)",
    "failures": "key, layout, changes, seed, replication, kind, message",
    "studies": "id, study",
    "points": "study, number, changes",
    "manifests": "manifest",
}
"""What the digest of each row is made of; numbers that are given anew when stores are put together are left out."""


DIGEST_BYTES = 8


PAGE_BYTES = 8192
"""Page of the file, which holds some rows of a case, also of a site of several areas with two kilobytes of measures."""


DAMAGED = "this store is damaged: not all that it holds is what was written; choose another name"


RULES = {
    "full": "the disk is full; what was finished before is kept: free some space and run the same command again",
    "readonly|unable to open": "cannot be written or opened here; choose a folder that exists and can be written to",
    "not a database|malformed": "this is not a store of batsim, or it is damaged; choose another name",
    "decode|user-defined|too big|no such|corrupt|unsupported": DAMAGED,
    "disk I/O": "it, or a file of its name that ends in -wal, -shm or -journal, cannot be read; see what is in its way",
    "locked|busy": "another process is using this store; wait for it",
}
"""What SQLite says when something is wrong, and what a user is told of it; the first that fits."""


def connected(path: Path, *, write: bool) -> tuple[sqlite3.Connection, str]:
    """Open the file of a store; return the address under which that went, too.

    Readers are seen by a writer that comes later. Where they cannot make themselves seen, in a folder that cannot be
    written to, nobody writes; but what a writer left in its log there cannot be read.
    """
    logged = path.with_name(f"{path.name}-wal").exists()
    modes = ("rwc",) if write else ("rw",) if logged else ("rw", "ro&immutable=1")
    for mode in modes:
        address = f"{path.absolute().as_uri()}?mode={mode}"
        connection = sqlite3.connect(address, uri=True, isolation_level=None)
        try:
            prepare(path, connection, write=write)
        except BaseException as error:
            connection.close()
            if mode == modes[-1] or not isinstance(error, sqlite3.OperationalError):
                raise
        else:
            break
    return connection, address


def prepare(path: Path, connection: sqlite3.Connection, *, write: bool) -> None:
    """Make the tables of a new store; refuse what is no store, or not of this form."""
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    form = connection.execute("PRAGMA user_version").fetchone()[0]
    empty = application == form == 0 and _has_nothing(connection)
    connection.create_function("digest_of", -1, digest_of, deterministic=True)
    if empty and write:
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.executescript(
            f"BEGIN IMMEDIATE; PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {FORM}; {TABLES} COMMIT;"
        )
    else:
        require(application == APPLICATION, f"{path}: this is not a store of batsim; choose another name", StudyError)
        made = f"made by {'an earlier' if form < FORM else 'a later'} version of batsim (form {form}, this one reads"
        cure = "export it with that version, or choose another name"
        require(form == FORM, f"{path}: this store was {made} form {FORM}); {cure}", StudyError)
        require(_is_whole(connection), f"{path}: {DAMAGED}", StudyError)
    connection.execute("PRAGMA synchronous = NORMAL" if write else "PRAGMA query_only = ON")


def _has_nothing(connection: sqlite3.Connection) -> bool:
    """Whether there are no tables, nor room for any: a store whose list of tables is damaged has pages."""
    tables: int = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    pages: int = connection.execute("PRAGMA page_count").fetchone()[0]
    return tables == 0 and pages <= 1


def digest_of(*values: object) -> bytes:
    """Digest of the values of a row."""
    return blake2b(repr(values).encode(), digest_size=DIGEST_BYTES).digest()


def _is_whole(connection: sqlite3.Connection) -> bool:
    """Whether the tables are as SQLite made them, and every row as it was written."""
    if connection.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
        return False
    return not any(
        connection.execute(f"SELECT 1 FROM {table} WHERE digest IS NOT digest_of({columns}) LIMIT 1").fetchone()
        for table, columns in DIGESTED.items()
    )


def hold(path: Path) -> sqlite3.Connection:
    """Hold the right to write to a store; the system gives it back however this process ends.

    The empty file beside the store stays: to remove it could take it from under another process that waits for it.
    """
    lock = path.with_name(f"{path.name}.lock")
    with told(path):
        connection = sqlite3.connect(lock, timeout=0.0, isolation_level=None)
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.DatabaseError as error:
            connection.close()
            if "locked" in str(error):
                msg = f"{path}: another process is writing to this store; wait for it, or choose another name"
                raise StudyError(msg) from error
            if re.search("not a database|malformed|disk I/O", str(error)):
                msg = f"{lock}: this is not the empty file by which a store is held; move it away"
                raise StudyError(msg) from error
            raise
    return connection


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Say what SQLite found in the user's words."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:  # the words of SQLite may be what is damaged
        rules = (rule for words, rule in RULES.items() if re.search(words, str(error)))
        msg = f"{path}: {next(rules, f'the store cannot be used: {error}; choose another name')}"
        raise StudyError(msg) from error
