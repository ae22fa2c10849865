"""Damaged stores are read or refused with words; what is finished in them is never told wrong and never lost."""

import shutil
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import pytest

import batsim
from batsim.errors import StudyError
from batsim.study.sweeps.store import Store
from tests.behaviour.damaged_stores import damaged
from tests.behaviour.sweeps import bits, swept

FILES, CHUNK = 10_000, 1000
USED = 10
"""Of so many stores one is used by the command that made it, put into another one and exported."""
SMALL = Path(__file__).parents[1] / "unit" / "cases" / "size_small.yaml"
SETTINGS = batsim.Settings(replications=2, weeks=0.05, warm_up_weeks=0.0, workers=1)
NAME = "a.store"


class Made(NamedTuple):
    """A store in a folder, with what it holds and what comes of it."""

    folder: Path
    use: Callable[[Path], Any]
    """The command that made it, on a store."""
    rows: dict[str, Any]
    outcome: Any
    is_study: bool


def decided(store: Path) -> Any:
    """What a small decision says, but for how many of its runs were found."""
    found = batsim.decide(batsim.read(SMALL), SETTINGS, ranges={"batteries": (8, 9)}, store=store)
    return found.as_json()


def studied(store: Path) -> Any:
    """Values of a small study."""
    return bits(swept(store))


def held(store: Path, *, write: bool = False) -> dict[str, Any]:
    """All that a store tells, but for its manifests."""
    with Store.open(store, write=write) as opened:
        studies = opened.studies()
        points = {f"points of {name}": list(opened.points(name)) for name in studies}
        cases = opened.named_measures(sorted(opened.keys()))
        return {**points, **studies, **{key.hex(): case for key, case in cases.items()}}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> list[Made]:
    """A store of a study, one of a decision, and one of a study whose process was killed when all was done."""
    stores = []
    for use in (studied, decided):
        folder = tmp_path_factory.mktemp(use.__name__)
        outcome = use(folder / NAME)
        stores.append(Made(folder, use, held(folder / NAME), outcome, use is studied))
    calm, killed = stores[0], tmp_path_factory.mktemp("killed")
    source = tmp_path_factory.mktemp("source") / NAME
    with Store.open(source) as store:
        store.take_over(calm.folder / NAME)
        for name in (NAME, f"{NAME}-wal"):
            shutil.copy(source.with_name(name), killed / name)
    return [*stores, calm._replace(folder=killed)]


def tried(made: list[Made], number: int, folder: Path) -> str:
    """Open the damaged store of this number, and use some; say what came of it."""
    random = Random(number)
    whole = random.choice(made)
    here = folder / "here"
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(whole.folder, here)
    store = here / NAME
    damaged(store, random)
    with_log = store.with_name(f"{NAME}-wal").exists()
    before = store.read_bytes() if store.is_file() else None
    became = told(whole, store, write=False, logged=with_log)
    assert with_log or before is None or store.read_bytes() == before
    became = f"{became}, {told(whole, store, write=True, logged=with_log)}"
    if "refused" in became and before is not None and not with_log:
        assert store.read_bytes() == before
    if number % USED == 0:
        used(whole, store, folder)
    return became


def told(whole: Made, store: Path, *, write: bool, logged: bool) -> str:
    """Open a store; what it tells is true, and all of it where there is no log that may be damaged."""
    try:
        rows = held(store, write=write)
    except StudyError as error:
        in_words(error, store)
        return "refused"
    assert rows.items() <= whole.rows.items()
    assert logged or rows == whole.rows
    return "read"


def in_words(error: StudyError, store: Path) -> None:
    """Say which file it is about and, where there is a file, what to do."""
    first, _, rest = str(error).partition(": ")
    assert first in (str(store), f"{store}.lock")
    assert rest == "there is no such store" or "; " in rest, rest


def used(whole: Made, store: Path, folder: Path) -> None:
    """Go on with a store, put it into another one, and export it: as with a whole one, or not at all."""
    with suppress(StudyError):
        assert whole.use(store) == whole.outcome
    with suppress(StudyError):
        into = folder / "into.store"
        into.unlink(missing_ok=True)
        batsim.merge_stores(into, [store])
        assert held(into).items() <= whole.rows.items()
    if whole.is_study:
        table = folder / "table.csv"
        table.unlink(missing_ok=True)
        try:
            batsim.export_store(store, table)
        except StudyError:
            assert not table.exists()


def test_some_damaged_stores(made: list[Made], tmp_path: Path) -> None:
    """None ends in an error of our own."""
    done = Counter(tried(made, number, tmp_path) for number in range(150))

    assert done["refused, refused"] > 50
    assert done["read, read"] > 10


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, FILES, CHUNK))
def test_damaged_stores(made: list[Made], tmp_path: Path, first: int) -> None:
    """The same for all."""
    done = Counter(tried(made, number, tmp_path) for number in range(first, first + CHUNK))

    assert done["refused, refused"] > CHUNK // 3
    assert done["read, read"] > CHUNK // 15
