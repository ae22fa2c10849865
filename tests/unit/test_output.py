"""Files that are whole or not there, and text that a spreadsheet takes for text."""

import os
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from batsim.output import NO_FILE, cell, csv_text, replacing


def test_a_file_is_replaced_at_the_end(tmp_path: Path) -> None:
    """What was there stays until the new one is whole; the mode stays, nothing is left beside it."""
    file = tmp_path / "page.html"
    file.write_text("old", encoding="utf-8")
    file.chmod(0o640)

    with replacing(file) as beside:
        beside.write_text("new", encoding="utf-8")
        assert (file.read_text(encoding="utf-8"), beside.suffix, beside.parent) == ("old", ".html", tmp_path)

    assert file.read_text(encoding="utf-8") == "new"
    assert file.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("error", [OSError("disk full"), KeyboardInterrupt()])
def test_what_fails_leaves_everything_as_it_was(tmp_path: Path, error: BaseException) -> None:
    """An interrupted write too."""
    file = tmp_path / "page.html"
    file.write_text("old", encoding="utf-8")

    def write() -> None:
        with replacing(file) as beside:
            beside.write_text("ne", encoding="utf-8")
            raise error

    with pytest.raises(type(error)):
        write()

    assert file.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [file]


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    """What it leads to is replaced."""
    (tmp_path / "far").mkdir()
    link, file = tmp_path / "page.html", tmp_path / "far" / "page.html"
    file.write_text("old", encoding="utf-8")
    link.symlink_to(file)

    with replacing(link) as beside:
        beside.write_text("new", encoding="utf-8")

    assert link.is_symlink()
    assert file.read_text(encoding="utf-8") == "new"


@pytest.mark.parametrize(("make", "reason"), [(Path.mkdir, "Is a directory"), (os.mkfifo, NO_FILE)])
def test_what_is_no_file_is_not_replaced(tmp_path: Path, make: Callable[[Path], None], reason: str) -> None:
    """Nor a pipe that somebody reads from."""
    make(tmp_path / "page.html")

    with pytest.raises(OSError, match=reason), replacing(tmp_path / "page.html"):
        pytest.fail("it was written to")


def test_what_must_not_be_written_to_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Though its folder may be written to."""
    (tmp_path / "page.html").touch(mode=0o444)
    monkeypatch.setattr(os, "access", lambda *_: False)  # the tests may run as root

    with pytest.raises(PermissionError), replacing(tmp_path / "page.html"):
        pytest.fail("it was written to")


@pytest.mark.parametrize(
    "text",
    [
        "=1+1", "+1+1", "-1+1", "@SUM(1+1)*cmd|' /C calc'!A0", " =1+1", "\t=1", "\r=1", "-2 +3", "\uff1d1+1", "=",
        '=HYPERLINK("http://127.0.0.1/"&A1,"x")', "-5 degC+1", "- 5",
    ],
)  # fmt: skip
def test_what_looks_like_a_formula_is_text(text: str) -> None:
    """An apostrophe stands before it."""
    assert cell(text) == f"'{text}"


@pytest.mark.parametrize("value", ["hoist", "a=b", "", "-5", "-5 degC", "+1.5e3 kW", "-0.5 m3/h", -5, -5.0, None, True])
def test_anything_else_stays(value: object) -> None:
    """Amounts below zero too."""
    assert cell(value) == value


def test_a_table_is_safe() -> None:
    """Names in its cells, and those of its columns; numbers stay numbers."""
    frame = pd.DataFrame({"=a": ["=1", "b,c", None], "number": [-1.5, float("nan"), 2.0], "flag": [True, False, True]})

    assert csv_text(frame) == "'=a,number,flag\n'=1,-1.5,True\n\"b,c\",,False\n,2.0,True\n"
