"""What goes out: files that are whole or not there, text that a spreadsheet does not take for a formula."""

import errno
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from secrets import token_hex
from shutil import copymode
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

FORMULA = re.compile(r"[\s]*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
"""How text begins that a spreadsheet may calculate with, by the list of OWASP, "CSV Injection"."""
NO_FILE = "it is a pipe or a device"
AMOUNT = re.compile(r"[-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?(?: [A-Za-z%][A-Za-z0-9%/]*)?")
"""A number, perhaps with a unit: nothing to calculate."""


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Write a file whole or not at all: what is there stays until the new one is finished.

    Parameters
    ----------
    path
        The file; of a link, what it leads to.

    Yields
    ------
    Path
        Name in the same folder to write to, with the same ending; renamed in the end, deleted when something fails.

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    target = path.resolve() if path.is_symlink() else path
    if target.exists():
        _writable(target)
    beside = target.with_name(f".{token_hex(8)}{target.suffix}")
    try:
        yield beside
        if target.exists():
            copymode(target, beside)
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)


def _writable(target: Path) -> None:
    """Want a file that may be written over; a folder or a pipe may not."""
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(target))
    if not target.is_file():
        raise OSError(NO_FILE)
    if not os.access(target, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(target))


def cell(value: object) -> object:
    """Text as a spreadsheet may show it: with an apostrophe before it where it would be taken for a formula.

    Examples
    --------
    >>> [cell(value) for value in ("hoist", "=1+1", "-5 degC", -5.0)]
    ['hoist', "'=1+1", '-5 degC', -5.0]
    """
    if isinstance(value, str) and FORMULA.match(value) and not AMOUNT.fullmatch(value):
        return f"'{value}"
    return value


def csv_text(frame: "pd.DataFrame") -> str:
    """A table as CSV (RFC 4180) whose text is safe in a spreadsheet."""
    words = frame.select_dtypes(exclude="number").columns
    safe = frame.assign(**{name: frame[name].map(cell) for name in words}).rename(columns=cell)
    return str(safe.to_csv(index=False, lineterminator="\n"))
