"""The store of finished cases: what it holds and refuses, what is left when the disk or somebody is in its way."""

import json
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from hashlib import md5
from pathlib import Path
from typing import Any

import pytest

from batsim.errors import StudyError
from batsim.study.sweeps.store import IN_MEMORY, ROWS_AT_ONCE, CaseRow, FailureRow, Store, merge_stores
from batsim.study.sweeps.store_file import APPLICATION, DAMAGED, FORM

NAMES = ("downtime", "labour")
NOBODY = 65534
"""A user who owns nothing."""
TABLES = {
    "names": "SELECT names FROM names ORDER BY names",
    "cases": "SELECT key, layout, changes, seed, replication, n.names, measures "
    "FROM cases JOIN names AS n ON n.id = cases.names ORDER BY key",
    "failures": "SELECT key, layout, changes, seed, replication, kind, message FROM failures ORDER BY key",
    "studies": "SELECT id, study FROM studies ORDER BY id",
    "points": "SELECT study, number, changes FROM points ORDER BY study, number",
    "manifests": "SELECT manifest FROM manifests ORDER BY id",
}
HOLD = """
import sys
from batsim.study.sweeps.store import Store
with Store.open(sys.argv[1]):
    print("open", flush=True)
    sys.stdin.read()
"""


def case(number: int, measures: bytes = b"eight by") -> CaseRow:
    """A finished case."""
    return CaseRow(number.to_bytes(16, "big"), "north", '{"a":1}', 7, number, measures)


def failure(number: int, message: str = "no way") -> FailureRow:
    """A case without a result."""
    return FailureRow(number.to_bytes(16, "big"), "north", '{"a":1}', 7, number, "failed", message)


def made(path: Path, numbers: range = range(3), measures: bytes = b"eight by") -> Path:
    """A store with some cases."""
    with Store.open(path) as store:
        store.add(NAMES, [case(number, measures) for number in numbers])
    return path


def tables(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Rows of a store as SQLite reads them."""
    with closing(sqlite3.connect(path)) as connection:
        return {name: connection.execute(query).fetchall() for name, query in TABLES.items()}


def pragma(path: Path, what: str) -> Any:
    """Ask SQLite about a file, or tell it something."""
    with closing(sqlite3.connect(path)) as connection:
        row = connection.execute(f"PRAGMA {what}").fetchone()
    return None if row is None else row[0]


def told(doing: Callable[[], object]) -> str:
    """Message of what is refused."""
    with pytest.raises(StudyError) as caught:
        doing()
    return str(caught.value)


# --- opening ---


def test_a_new_store_is_empty_and_marked(tmp_path: Path) -> None:
    """In its head is what tells it from other files; of the two files beside it only the lock stays."""
    path = tmp_path / "new.store"
    with Store.open(path) as store:
        assert (store.path, store.keys(), store.failures()) == (path, set(), {})
        assert (store.studies(), list(store.points("x"))) == ({}, [])

    assert (pragma(path, "application_id"), pragma(path, "user_version")) == (APPLICATION, FORM)
    assert APPLICATION.to_bytes(4, "big") == b"bats"
    assert tables(path) == {name: [] for name in TABLES}
    assert sorted(each.name for each in tmp_path.iterdir()) == ["new.store", "new.store.lock"]
    assert (tmp_path / "new.store.lock").read_bytes() == b""


def test_it_is_in_wal_mode(tmp_path: Path) -> None:
    """Also when it is opened again; what is added goes to the log first."""
    path = made(tmp_path / "a.store")
    with Store.open(path) as store:
        assert pragma(path, "journal_mode") == "wal"
        assert store._connection.execute("PRAGMA synchronous").fetchone() == (1,)
        before = path.read_bytes()
        store.add(NAMES, [case(9)])
        assert path.read_bytes() == before
        assert (tmp_path / "a.store-wal").stat().st_size > 0

    assert path.read_bytes() != before
    assert not (tmp_path / "a.store-wal").exists()


@pytest.mark.parametrize("name", ["a b.store", "a?mode=ro.store", "a#b.store", "a%41.store", "é.store", "nosuffix"])
def test_any_name_of_a_file(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen from where the command is given, as text; also such as mean something in an address."""
    monkeypatch.chdir(tmp_path)
    with Store.open(name) as store:
        store.add(NAMES, [case(1)])
    with Store.open(name, write=False) as store:
        assert store.keys() == {case(1).key}
    assert merge_stores("whole", [name]) == {name: 1}
    assert {each.name for each in tmp_path.iterdir()} == {name, f"{name}.lock", "whole", "whole.lock"}


def test_an_empty_file_becomes_a_store(tmp_path: Path) -> None:
    """Such as mktemp makes; but it is none as long as nobody has written to it."""
    path = tmp_path / "empty.store"
    path.touch()

    assert told(lambda: Store.open(path, write=False)) == (
        f"{path}: this is not a store of batsim; choose another name"
    )
    assert path.read_bytes() == b""
    assert tables(made(path))["cases"] != []


def test_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is written to the disk, and two of them know nothing of one another."""
    monkeypatch.chdir(tmp_path)
    with Store.open(IN_MEMORY) as one, Store.open(IN_MEMORY) as other:
        one.add(NAMES, [case(1)])
        assert (one.keys(), other.keys()) == ({case(1).key}, set())
    assert list(tmp_path.iterdir()) == []


def test_reading_only_changes_nothing(tmp_path: Path) -> None:
    """No lock, no log, and not to be written to."""
    path = made(tmp_path / "a.store")
    (tmp_path / "a.store.lock").unlink()
    before = path.read_bytes()
    with Store.open(path, write=False) as store:
        assert store.keys() == {case(number).key for number in range(3)}
        assert told(lambda: store.add(NAMES, [case(9)])) == (
            f"{path}: cannot be written or opened here; choose a folder that exists and can be written to"
        )

    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes() == before


def test_a_store_that_is_not_there_cannot_be_read(tmp_path: Path) -> None:
    """And is not made; a folder is none."""
    for path in (tmp_path / "nosuch.store", tmp_path):
        assert told(lambda path=path: Store.open(path, write=False)) == f"{path}: there is no such store"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("measures", [128, 250])
def test_a_case_takes_little_more_than_its_measures(tmp_path: Path, measures: int) -> None:
    """Those of a site without areas, and of one with three; cases come in any order of their keys."""
    path = tmp_path / "a.store"
    with Store.open(path) as store:
        for first in range(0, 1000, 100):
            keyed = [case(number, bytes(8 * measures)) for number in range(first, first + 100)]
            store.add(NAMES, [each._replace(key=md5(each.key).digest()) for each in keyed])

    assert path.stat().st_size / 1000 < 1.35 * 8 * measures + 250


# --- what is no store ---


@pytest.mark.parametrize("text", ["study: What matters?\n", "a line of some text\n" * 200])
@pytest.mark.parametrize("write", [True, False])
def test_a_file_that_is_no_database(tmp_path: Path, text: str, write: bool) -> None:
    """Is left as it is."""
    path = tmp_path / "study.yaml"
    path.write_text(text, encoding="utf-8")

    assert told(lambda: Store.open(path, write=write)) == (
        f"{path}: this is not a store of batsim, or it is damaged; choose another name"
    )
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize("write", [True, False])
def test_a_database_of_somebody_else(tmp_path: Path, write: bool) -> None:
    """The same."""
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript("CREATE TABLE cases (id INTEGER); INSERT INTO cases VALUES (1);")
    before = path.read_bytes()

    assert told(lambda: Store.open(path, write=write)) == (
        f"{path}: this is not a store of batsim; choose another name"
    )
    assert path.read_bytes() == before


@pytest.mark.parametrize(("form", "which"), [(FORM - 1, "an earlier"), (FORM + 1, "a later")])
@pytest.mark.parametrize("write", [True, False])
def test_a_store_of_another_form(tmp_path: Path, form: int, which: str, write: bool) -> None:
    """The message says what to do, and nothing is changed in it."""
    path = made(tmp_path / "a.store")
    pragma(path, f"user_version = {form}")
    before = path.read_bytes()

    assert told(lambda: Store.open(path, write=write)) == (
        f"{path}: this store was made by {which} version of batsim (form {form}, this one reads form {FORM}); "
        "export it with that version, or choose another name"
    )
    assert path.read_bytes() == before


def test_a_store_that_was_refused_is_not_held(tmp_path: Path) -> None:
    """Once it is mended, it can be opened."""
    path = made(tmp_path / "a.store")
    pragma(path, "user_version = 9")
    told(lambda: Store.open(path))
    pragma(path, f"user_version = {FORM}")

    with Store.open(path) as store:
        assert len(store.keys()) == 3


def test_a_damaged_store(tmp_path: Path) -> None:
    """Its head is whole, the rest is not."""
    path = made(tmp_path / "a.store", range(2000))
    data = path.read_bytes()
    path.write_bytes(data[:8192] + b"\xaa" * (len(data) - 8192))

    assert told(lambda: Store.open(path)) == f"{path}: {DAMAGED}"


def content(path: Path) -> tuple[object, ...]:
    """All that a store tells."""
    with Store.open(path, write=False) as store:
        keys, studies = sorted(store.keys()), store.studies()
        return keys, store.measures(keys), store.failures(), studies, [list(store.points(study)) for study in studies]


def full(path: Path) -> Path:
    """A store with something in each table."""
    with Store.open(path) as store:
        store.add(NAMES, [case(number, bytes(range(32))) for number in range(40)], [failure(99)])
        store.put_study("one", {"question": "Which?", "names": NAMES}, [{"a": number} for number in range(30)])
        store.begin_manifest({"run": 1})
    return path


def outcomes_of_damage(path: Path, step: int) -> set[str]:
    """What becomes of a store of which one byte is another, for every so-manyeth byte."""
    good, whole, found = path.read_bytes(), content(path), set()
    for at in range(0, len(good), step):
        for change in (0x01, 0x80, 0xFF):
            path.write_bytes(good[:at] + bytes([good[at] ^ change]) + good[at + 1 :])
            try:
                found.add("same" if content(path) == whole else f"differs in silence: byte {at} by {change}")
            except StudyError as error:
                found.add(str(error).partition(": ")[2].partition(";")[0])
    return found


EXPECTED = {"same", "this store is damaged: not all that it holds is what was written"}
"""What may become of it: a byte that holds nothing may be any."""


def test_a_damaged_byte_is_found(tmp_path: Path) -> None:
    """Wherever it stands: an error in words, or all that it tells is as before."""
    found = outcomes_of_damage(full(tmp_path / "a.store"), step=211)

    assert found >= EXPECTED
    assert not any("silence" in outcome for outcome in found)


@pytest.mark.slow
def test_every_damaged_byte_is_found(tmp_path: Path) -> None:
    """The same, with none left out."""
    assert not any("silence" in outcome for outcome in outcomes_of_damage(full(tmp_path / "a.store"), step=1))


@pytest.mark.parametrize("table", ["cases", "failures", "studies", "points", "manifests", "names"])
def test_a_row_that_somebody_changed_is_found(tmp_path: Path, table: str) -> None:
    """SQLite finds nothing wrong with it; its digest does."""
    path = full(tmp_path / "a.store")
    column = {"studies": "study", "points": "changes", "manifests": "manifest", "names": "names"}.get(table, "layout")
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"UPDATE {table} SET {column} = {column} || ' '")
        connection.commit()

    for write in (True, False):
        assert told(lambda: Store.open(path, write=write)) == f"{path}: {DAMAGED}"  # noqa: B023 - called at once


def test_a_store_without_one_of_its_tables(tmp_path: Path) -> None:
    """Somebody removed it."""
    path = made(tmp_path / "a.store")
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TABLE studies")

    assert told(lambda: Store.open(path)) == f"{path}: {DAMAGED}"


def test_a_store_whose_list_of_tables_is_damaged_is_not_begun_anew(tmp_path: Path) -> None:
    """It seems to have none, but it has pages: what is in them is not written over."""
    path = full(tmp_path / "a.store")
    data = bytearray(path.read_bytes())
    data[103:105] = b"\x00\x00"  # how many tables there are: cells of the first page, by SQLite's file format
    path.write_bytes(data)

    for write in (True, False):
        assert told(lambda: Store.open(path, write=write)) == f"{path}: {DAMAGED}"  # noqa: B023 - called at once
    assert path.read_bytes() == data


def test_a_store_that_was_killed_before_it_had_tables(tmp_path: Path) -> None:
    """It has one page without anything, and becomes a store."""
    path = tmp_path / "a.store"
    pragma(path, "journal_mode = WAL")
    assert path.stat().st_size > 0

    assert len(tables(made(path))["cases"]) == 3


def test_a_lock_that_is_none(tmp_path: Path) -> None:
    """The message names the file that is in the way."""
    path = made(tmp_path / "a.store")
    lock = tmp_path / "a.store.lock"
    lock.write_bytes(b"words\n" * 1000)

    assert told(lambda: Store.open(path)) == (
        f"{lock}: this is not the empty file by which a store is held; move it away"
    )


def test_a_folder_in_the_way(tmp_path: Path) -> None:
    """A journal that is no file."""
    path = made(tmp_path / "a.store")
    (tmp_path / "a.store-journal").mkdir()

    assert told(lambda: Store.open(path)) == (
        f"{path}: it, or a file of its name that ends in -wal, -shm or -journal, cannot be read; see what is in its way"
    )


# --- where nothing can be written ---


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder in which everybody may look."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@contextmanager
def sealed(folder: Path) -> Iterator[None]:
    """Take away the right to write to a folder and its files, also from the superuser, for whom no right counts."""
    mighty = hasattr(os, "geteuid") and os.geteuid() == 0
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    if mighty:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if mighty:
            os.seteuid(0)
        folder.chmod(0o755)


def test_a_folder_that_cannot_be_written_to(open_folder: Path) -> None:
    """A new store is refused, and so is one that is there; that one can still be read."""
    path, new = made(open_folder / "a.store"), open_folder / "new.store"
    rule = "cannot be written or opened here; choose a folder that exists and can be written to"
    before = path.read_bytes()
    with sealed(open_folder):
        assert told(lambda: Store.open(new)) == f"{new}: {rule}"
        assert told(lambda: Store.open(path)) == f"{path}: {rule}"
        assert told(lambda: merge_stores(new, [path])) == f"{new}: {rule}"
        with Store.open(path, write=False) as store:
            assert len(store.keys()) == 3
    (open_folder / "a.store.lock").unlink()
    with sealed(open_folder):
        assert told(lambda: Store.open(path)) == f"{path}: {rule}"

    assert list(open_folder.iterdir()) == [path]
    assert path.read_bytes() == before


def test_a_file_that_cannot_be_written_to(open_folder: Path) -> None:
    """In a folder that can: refused as soon as there is something to write."""
    path = made(open_folder / "a.store")
    with sealed(open_folder):
        pass
    open_folder.chmod(0o777)
    (open_folder / "a.store.lock").chmod(0o666)
    mighty = os.geteuid() == 0
    if mighty:
        os.seteuid(NOBODY)
    try:
        message = told(lambda: begun(path))
    finally:
        if mighty:
            os.seteuid(0)

    assert message == f"{path}: cannot be written or opened here; choose a folder that exists and can be written to"
    assert tables(path)["manifests"] == []


def begun(path: Path) -> None:
    """Open a store and write to it."""
    with Store.open(path) as store:
        store.begin_manifest({})


@pytest.mark.parametrize("name", ["nosuch/a.store", "file/a.store", "folder"])
def test_a_bay_where_no_file_can_be(tmp_path: Path, name: str) -> None:
    """A folder that is not there, a file that is no folder, a folder that is no file."""
    (tmp_path / "file").touch()
    (tmp_path / "folder").mkdir()
    path = tmp_path / name

    assert told(lambda: Store.open(path)) == (
        f"{path}: cannot be written or opened here; choose a folder that exists and can be written to"
    )


# --- a full disk ---


FULL = "the disk is full; what was finished before is kept: free some space and run the same command again"


def fill(store: Store) -> None:
    """Let the disk have no more room than the store takes."""
    count = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {count}")


def test_a_full_disk_keeps_what_was_there(tmp_path: Path) -> None:
    """What does not fit is not there by half, and fits once there is room."""
    path = made(tmp_path / "a.store")
    before = tables(path)
    many = [case(number, b"x" * 500) for number in range(10, 200)]
    with Store.open(path) as store:
        fill(store)
        assert told(lambda: store.add(("others",), many, [failure(900)])) == f"{path}: {FULL}"
        assert store.keys() == {case(number).key for number in range(3)}
        assert told(lambda: store.put_study("s", {}, map(str, range(2000)))) == f"{path}: {FULL}"
        assert told(lambda: store.begin_manifest({"text": "x" * 50_000})) == f"{path}: {FULL}"
        assert store._connection.in_transaction is False
        assert store.studies() == {}
    assert tables(path) == before
    assert pragma(path, "integrity_check") == "ok"

    with Store.open(path) as store:
        store.add(("others",), many)
        assert len(store.keys()) == 193


def test_a_full_disk_when_stores_are_put_together(tmp_path: Path) -> None:
    """Nothing of that store is taken over, and the other is let go."""
    path, other = made(tmp_path / "a.store"), made(tmp_path / "b.store", range(10, 200), b"x" * 500)
    before = tables(path)
    with Store.open(path) as store:
        fill(store)
        assert told(lambda: store.take_over(other)) == f"{path}: {FULL}"
        attached = store._connection.execute("PRAGMA database_list").fetchall()

    assert [name for _, name, _ in attached if name != "temp"] == ["main"]
    assert tables(path) == before


def test_a_disk_that_is_full_before_there_is_a_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is made once there is room."""
    path, connect = tmp_path / "a.store", sqlite3.connect

    def without_room(*arguments: Any, **options: Any) -> sqlite3.Connection:
        connection = connect(*arguments, **options)
        connection.execute("PRAGMA max_page_count = 2")
        return connection

    with monkeypatch.context() as patch:
        patch.setattr(sqlite3, "connect", without_room)
        assert told(lambda: Store.open(path)) == f"{path}: {FULL}"

    assert len(tables(made(path))["cases"]) == 3


# --- somebody else ---


HELD = "another process is writing to this store; wait for it, or choose another name"


def test_one_writer_and_many_readers(tmp_path: Path) -> None:
    """The second writer is refused at once; readers see what is finished, and no more."""
    path = made(tmp_path / "a.store")
    with Store.open(path) as store, Store.open(path, write=False) as reader:
        assert told(lambda: Store.open(path)) == f"{path}: {HELD}"
        assert told(lambda: merge_stores(path, [])) == f"{path}: {HELD}"
        store.add(NAMES, [case(9)])
        with store._at_once() as connection:
            connection.execute("DELETE FROM cases")
            assert len(reader.keys()) == 4
            assert reader.measures([case(9).key]) == {case(9).key: case(9).measures}
            with Store.open(path, write=False) as late:
                assert len(late.keys()) == 4

    with Store.open(path) as store:
        assert store.keys() == set()


def test_a_writer_that_comes_while_somebody_reads(tmp_path: Path) -> None:
    """Reads on undisturbed, with what was there when it began, whatever the writer moves about."""
    path = tmp_path / "a.store"
    rows = [case(number * 7919 % 10_007, bytes(400)) for number in range(4000)]
    with Store.open(path) as store:
        store.add(NAMES, rows[:2000])
        store.put_study("s", {}, map(str, range(3000)))
    with Store.open(path, write=False) as reader:
        points = reader.points("s")
        read = [next(points) for _ in range(3)]
        with Store.open(path) as store:
            store.put_study("r", {}, map(str, range(3000)))
            store.add(NAMES, rows[2000:])
        read += points
        assert read == list(map(str, range(3000)))
        assert reader.keys() == {row.key for row in rows}

    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.store", "a.store.lock"]


def test_a_log_that_cannot_be_read(open_folder: Path) -> None:
    """What a killed writer left beside a store in a folder that cannot be written to is not passed over."""
    path = made(open_folder / "a.store")
    with Store.open(path) as store:
        store.add(NAMES, [case(9)])
        log = (open_folder / "a.store-wal").read_bytes()
    (open_folder / "a.store-wal").write_bytes(log)
    with sealed(open_folder):
        assert told(lambda: Store.open(path, write=False)) == (
            f"{path}: cannot be written or opened here; choose a folder that exists and can be written to"
        )


def test_a_process_that_is_killed_lets_go(tmp_path: Path) -> None:
    """However it ended."""
    path = made(tmp_path / "a.store")
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        assert told(lambda: Store.open(path)) == f"{path}: {HELD}"
        process.kill()
        process.wait()

    assert len(tables(made(path, range(5)))["cases"]) == 5


def test_a_process_that_knows_nothing_of_the_lock(tmp_path: Path) -> None:
    """Such as a database browser that is in the middle of a change."""
    path = made(tmp_path / "a.store")
    with Store.open(path) as store, closing(sqlite3.connect(path, isolation_level=None)) as browser:
        browser.execute("BEGIN IMMEDIATE")
        store._connection.execute("PRAGMA busy_timeout = 0")
        assert told(lambda: store.add(NAMES, [case(9)])) == (
            f"{path}: another process is using this store; wait for it"
        )
        browser.execute("ROLLBACK")
        store.add(NAMES, [case(9)])
        assert len(store.keys()) == 4


# --- cases ---


def test_what_is_added_comes_back(tmp_path: Path) -> None:
    """Every part of it, also when the store is opened again."""
    with Store.open(tmp_path / "a.store") as store:
        store.add(NAMES, [case(2), case(1, b"\0\xff")], [failure(3)])
    with Store.open(tmp_path / "a.store", write=False) as store:
        assert store.keys() == {case(1).key, case(2).key}
        assert store.measures([case(1).key, case(2).key]) == {case(1).key: b"\0\xff", case(2).key: b"eight by"}
        assert store.failures() == {failure(3).key: failure(3)}

    assert tables(tmp_path / "a.store")["cases"] == [
        (*case(1)[:5], json.dumps(NAMES), b"\0\xff"),
        (*case(2)[:5], json.dumps(NAMES), b"eight by"),
    ]


def test_measures_of_very_many_cases(tmp_path: Path) -> None:
    """More than one question can hold; keys that are not there are left out."""
    numbers = range(2 * ROWS_AT_ONCE + 1)
    rows = [case(number, number.to_bytes(8, "big")) for number in numbers]
    with Store.open(tmp_path / "a.store") as store:
        store.add(NAMES, rows)
        found = store.measures([*(row.key for row in rows), case(5000).key])
        assert found == {row.key: row.measures for row in rows}
        assert store.measures([]) == {}


def test_adding_twice_is_adding_once(tmp_path: Path) -> None:
    """What came first stands."""
    path = made(tmp_path / "a.store")
    before = tables(path)
    made(path)
    made(path, range(3), b"others")

    assert tables(path) == before


def test_names_are_kept_once(tmp_path: Path) -> None:
    """Cases of other measures have their own."""
    with Store.open(tmp_path / "a.store") as store:
        store.add(NAMES, [case(1)])
        store.add(("other",), [case(2)])
        store.add(NAMES, [case(3)])
    found = tables(tmp_path / "a.store")

    assert sorted(found["names"]) == sorted([(json.dumps(NAMES),), ('["other"]',)])
    assert [row[5] for row in found["cases"]] == [json.dumps(NAMES), '["other"]', json.dumps(NAMES)]


def test_a_failure_that_becomes_a_case(tmp_path: Path) -> None:
    """Is a failure no longer; one that fails again is told as it was the last time."""
    with Store.open(tmp_path / "a.store") as store:
        store.add(NAMES, [], [failure(1), failure(2)])
        store.add(NAMES, [case(1)], [failure(2, "again")])
        assert store.failures() == {failure(2).key: failure(2, "again")}
        assert store.keys() == {case(1).key}


def test_all_or_nothing(tmp_path: Path) -> None:
    """One row that is no good leaves no trace of the others."""
    path = made(tmp_path / "a.store")
    before = tables(path)
    bad: Any = failure(9)._replace(message=None)
    with Store.open(path) as store:
        assert told(lambda: store.add(("new",), [case(7)], [failure(8), bad])) == (
            f"{path}: the store cannot be used: NOT NULL constraint failed: failures.message; choose another name"
        )

    assert tables(path) == before


def test_an_interrupt_while_writing(tmp_path: Path) -> None:
    """The same: nothing of it is there, and the store can be written to again."""
    path = made(tmp_path / "a.store")
    before = tables(path)

    def interrupted() -> Iterator[FailureRow]:
        yield failure(8)
        raise KeyboardInterrupt

    with Store.open(path) as store:
        with pytest.raises(KeyboardInterrupt):
            store.add(("new",), [case(7)], interrupted())
        assert store.failures() == {}
    assert tables(path) == before
    made(path, range(5))


# --- studies and runs ---


def test_a_study_is_kept_once(tmp_path: Path) -> None:
    """With its points in their order; another one beside it."""
    points = [json.dumps({"a": number}) for number in range(12)]
    with Store.open(tmp_path / "a.store") as store:
        store.put_study("one", {"question": "Où?"}, points)
        store.put_study("one", {"question": "another"}, ["{}"])
        store.put_study("two", {}, [])
        assert store.studies() == {"one": {"question": "Où?"}, "two": {}}
        assert list(store.points("one")) == points
        assert (list(store.points("two")), list(store.points("three"))) == ([], [])

    assert tables(tmp_path / "a.store")["studies"][0] == ("one", r'{"question": "O\u00f9?"}')


def test_runs_in_their_order(tmp_path: Path) -> None:
    """One that has not ended stays as it began."""
    with Store.open(tmp_path / "a.store") as store:
        first, second = store.begin_manifest({"run": 1}), store.begin_manifest({"run": 2})
        store.end_manifest(first, {"run": 1, "ended": True})
        assert first != second

    assert tables(tmp_path / "a.store")["manifests"] == [('{"run": 1, "ended": true}',), ('{"run": 2}',)]


# --- stores put together ---


def test_stores_that_share_nothing(tmp_path: Path) -> None:
    """Every row of both; a second time nothing is new."""
    for number, numbers in enumerate((range(3), range(5, 9))):
        with Store.open(tmp_path / f"{number}.store") as store:
            store.add(("only here", str(number)), [], [failure(100 + number)])
            store.add(NAMES, map(case, numbers))
            store.put_study("both", {"question": "?"}, ["{}", '{"a": 1}'])
            store.put_study(f"study {number}", {}, ["{}"])
            store.begin_manifest({"run": number})
    parts = [tmp_path / "0.store", tmp_path / "1.store"]
    one, other = map(tables, parts)

    assert merge_stores(tmp_path / "whole.store", parts) == {str(parts[0]): 3, str(parts[1]): 4}
    whole = tables(tmp_path / "whole.store")
    assert whole["cases"] == one["cases"] + other["cases"]
    assert whole["failures"] == one["failures"] + other["failures"]
    assert whole["manifests"] == one["manifests"] + other["manifests"]
    assert whole["studies"] == sorted({*one["studies"], *other["studies"]})
    assert whole["points"] == sorted({*one["points"], *other["points"]})
    assert (tables(parts[0]), tables(parts[1])) == (one, other)
    assert merge_stores(tmp_path / "whole.store", parts[::-1]) == {str(parts[1]): 0, str(parts[0]): 0}
    assert tables(tmp_path / "whole.store") == whole


def test_stores_that_hold_the_same(tmp_path: Path) -> None:
    """Only what is missing is new."""
    one, other = made(tmp_path / "1.store", range(4)), made(tmp_path / "2.store", range(2, 7))

    assert merge_stores(one, [other]) == {str(other): 3}
    assert tables(one)["cases"] == tables(made(tmp_path / "3.store", range(7)))["cases"]


def test_stores_that_contradict_one_another(tmp_path: Path) -> None:
    """Nothing is taken over, not even what does not; the message says how many cases do."""
    one, other = made(tmp_path / "1.store", range(4)), made(tmp_path / "2.store", range(2, 9), b"others")
    before = tables(one)

    assert told(lambda: merge_stores(one, [other])) == (
        f"{other}: 2 of its cases have other numbers here; one of the two was made by a changed model"
    )
    assert tables(one) == before


@pytest.mark.parametrize("order", [("good", "bad"), ("bad", "good")])
def test_what_failed_in_one_store_only(tmp_path: Path, order: tuple[str, str]) -> None:
    """It is a case, whichever comes first; what failed in both is told as here."""
    with Store.open(tmp_path / "good") as store:
        store.add(NAMES, [case(1)], [failure(2, "good")])
    with Store.open(tmp_path / "bad") as store:
        store.add(NAMES, [], [failure(1), failure(2, "bad")])

    merge_stores(tmp_path / "whole", [tmp_path / name for name in order])

    with Store.open(tmp_path / "whole", write=False) as store:
        assert store.keys() == {case(1).key}
        assert store.failures() == {failure(2).key: failure(2, order[0])}


def test_a_store_into_itself(tmp_path: Path) -> None:
    """Changes nothing, by whatever name."""
    path = made(tmp_path / "a.store")
    before = tables(path)
    (tmp_path / "link.store").symlink_to(path)
    again = [path, tmp_path / "." / "a.store", tmp_path / "link.store"]

    assert merge_stores(path, again) == {str(each): 0 for each in again}
    assert tables(path) == before


def test_a_store_that_is_being_written_to(tmp_path: Path) -> None:
    """What is finished there is taken over, and its writer is not disturbed."""
    path, whole = made(tmp_path / "a.store"), tmp_path / "b.store"
    with Store.open(path) as store:
        store.add(NAMES, [case(9)])
        with store._at_once() as connection:
            connection.execute("DELETE FROM failures")
            assert merge_stores(whole, [path]) == {str(path): 4}
        store.add(NAMES, [case(10)])

    assert merge_stores(whole, [path]) == {str(path): 1}
    assert sorted(each.name for each in tmp_path.iterdir()) == ["a.store", "a.store.lock", "b.store", "b.store.lock"]


def test_what_cannot_be_put_together(tmp_path: Path) -> None:
    """What came before in the list is there, and the rest can be had later."""
    one, none, text = made(tmp_path / "1.store"), tmp_path / "nosuch.store", tmp_path / "text.store"
    text.write_text("not a store", encoding="utf-8")
    whole = tmp_path / "whole.store"

    assert told(lambda: merge_stores(whole, [one, none])) == f"{none}: there is no such store"
    assert told(lambda: merge_stores(whole, [one, text])) == (
        f"{text}: this is not a store of batsim, or it is damaged; choose another name"
    )
    assert not none.exists()
    assert tables(whole) == tables(one)
    assert merge_stores(whole, [made(tmp_path / "2.store", range(3, 5))]) == {str(tmp_path / "2.store"): 2}
