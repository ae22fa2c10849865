"""Damaged stores: whole ones whose bytes, tables or neighbours were changed, the same for the same random."""

import gzip
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from random import Random

PAGE, HEAD = 4096, 200
TABLES = ("names", "cases", "failures", "studies", "points", "manifests")
COLUMNS = (
    "id",
    "names",
    "digest",
    "key",
    "layout",
    "changes",
    "seed",
    "measures",
    "study",
    "number",
    "manifest",
    "kind",
)
VALUES = ("NULL", "0", "-1", "1.5", "''", "'x'", "x''", "x'ff'", "'[]'", "'{}'", "1e999", "zeroblob(100000)", "rowid")
STATEMENTS = (
    "DROP TABLE {table}",
    "DELETE FROM names",
    "UPDATE {table} SET {column} = {value}",
    "UPDATE {table} SET {column} = {value}",
    "UPDATE {table} SET {column} = CAST({column} AS TEXT)",
    "ALTER TABLE {table} RENAME COLUMN {column} TO other",
    "ALTER TABLE {table} RENAME TO other",
    "ALTER TABLE {table} ADD COLUMN other",
    "ALTER TABLE {table} DROP COLUMN {column}",
    "DROP TABLE {table}; CREATE TABLE {table} (x)",
    "DROP TABLE {table}; CREATE VIEW {table} AS SELECT 1 AS {column}",
    "CREATE TABLE other (x); INSERT INTO other VALUES (1)",
    "CREATE TRIGGER other AFTER INSERT ON cases BEGIN DELETE FROM cases; END",
    "PRAGMA user_version = {number}",
    "PRAGMA application_id = {number}",
    "PRAGMA page_size = 512; PRAGMA journal_mode = DELETE; VACUUM",
    "PRAGMA journal_mode = DELETE",
    "PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = {value} WHERE name = '{table}'",
    "PRAGMA writable_schema = ON; UPDATE sqlite_master SET rootpage = {number} WHERE name = '{table}'",
    "PRAGMA writable_schema = ON; DELETE FROM sqlite_master",
)
"""What somebody might do to a store with other tools."""
BESIDE = ("-wal", "-shm", "-journal", ".lock")


def damaged(store: Path, random: Random) -> None:
    """Change a store, or a file beside it."""
    change: Callable[[Path, Random], None] = random.choice(
        (*(4 * (_bytes,)), _stretch, _cut, _pages, *(3 * (_by_sql,)), _other, _beside)
    )
    change(store, random)


def _bytes(store: Path, random: Random) -> None:
    """One to four other bytes, often in the head of the file."""
    data = bytearray(store.read_bytes())
    for _ in range(random.choice((1, 1, 2, 4))):
        at = random.randrange(HEAD if random.random() < 0.4 else len(data))
        data[at] = random.choice((0, 255, random.randrange(256)))
    store.write_bytes(data)


def _stretch(store: Path, random: Random) -> None:
    """A stretch of zeros, of ones or of anything, as a worn disk gives back."""
    data = store.read_bytes()
    at, length = random.randrange(len(data)), random.choice((8, 100, PAGE, 3 * PAGE))
    other = random.choice((bytes(length), b"\xff" * length, random.randbytes(length)))
    store.write_bytes((data[:at] + other + data[at + length :])[: len(data)])


def _cut(store: Path, random: Random) -> None:
    """Cut short, or made longer."""
    data = store.read_bytes()
    at = random.randrange(1, len(data))
    match random.randrange(3):
        case 0:
            store.write_bytes(data[:at])
        case 1:
            store.write_bytes(data[: max(1, at // PAGE) * PAGE])
        case _:
            store.write_bytes(data + random.choice((bytes(PAGE), random.randbytes(100), data)))


def _pages(store: Path, random: Random) -> None:
    """Two pages exchanged, or one in place of the other."""
    data = store.read_bytes()
    pages = [data[at : at + PAGE] for at in range(0, len(data), PAGE)]
    one, other = random.randrange(len(pages)), random.randrange(len(pages))
    pages[one], pages[other] = pages[other], random.choice((pages[one], pages[other]))
    store.write_bytes(b"".join(pages))


def _by_sql(store: Path, random: Random) -> None:
    """Changed with other tools; what SQLite refuses is left as it is."""
    statement = random.choice(STATEMENTS).format(
        table=random.choice(TABLES),
        column=random.choice(COLUMNS),
        value=random.choice(VALUES),
        number=random.choice((0, 1, 2, 3, 99, -1, 2**31 - 1)),
    )
    with closing(sqlite3.connect(store)) as connection, suppress(sqlite3.Error):
        connection.executescript(statement)


def _other(store: Path, random: Random) -> None:
    """Another file of that name, or none."""
    data = store.read_bytes()
    store.unlink()
    match random.randrange(8):
        case 0:
            store.mkdir()
        case 1:
            store.symlink_to(store)
        case 2:
            store.symlink_to(store.with_name("nowhere") / "a.store")
        case 3:
            with closing(sqlite3.connect(store)) as connection:
                connection.executescript("CREATE TABLE cases (key, names, measures); CREATE TABLE names (id, names);")
        case _:
            words = (
                b"study: What?\n",
                b"a;b\n1;2\n",
                b"PK\x03\x04" + data[:500],
                b"\x89PNG\r\n" + data,
                b"\x00" * 99,
                b"SQLite format 3\x00",
            )
            store.write_bytes(random.choice((gzip.compress(data, mtime=0), data[:16], *words)))


def _beside(store: Path, random: Random) -> None:
    """A file beside it that is none of ours."""
    beside = store.with_name(store.name + random.choice(BESIDE))
    kept = beside.read_bytes() if beside.exists() else store.read_bytes()
    match random.randrange(5):
        case 0:
            beside.unlink(missing_ok=True)
            beside.mkdir()
        case 1:
            beside.write_bytes(kept[: random.randrange(len(kept) + 1)])
        case 2:
            at = random.randrange(len(kept) + 1)
            beside.write_bytes(kept[:at] + random.randbytes(8) + kept[at + 8 :])
        case 3:
            beside.write_bytes(b"words\n" * 1000)
        case _:
            beside.write_bytes(random.randbytes(100_000))
