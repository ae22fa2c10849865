"""A table with a header, as a spreadsheet or a stopwatch saves it: rows of cells, each with its line."""

import csv
import re
from collections.abc import Container, Iterator
from io import StringIO
from pathlib import Path as FilePath
from typing import NamedTuple

from batsim import units
from batsim.scenario.parts.faults import wrong
from batsim.scenario.text.yaml_text import LINE_BREAK

SEPARATORS = "\t;,"
"""What may stand between cells, the surest first: a comma may belong to a number, or to a column and its unit."""
UNIT_OF_COLUMN = re.compile(r"(.*\S) ?(?:\[ ?(\S+) ?\]|\( ?(\S+) ?\)|, (\S+))")
MEBIBYTE = 1024 * 1024
NO_ROW = re.compile(r"\s*#(?!\s*[\t;,])|sep=.\s*$")
"""A comment, or the line that tells a spreadsheet what separates; a '#' in a cell of its own heads a column."""


class Column(NamedTuple):
    """One column, as its header calls it."""

    header: str
    """As it is written, such as 'time [s]'."""
    name: str
    """Without the unit."""
    unit: str | None
    """Unit of a duration that it states, if any."""


class Row(NamedTuple):
    """One row that is not empty."""

    line: int
    cells: list[str]


class Table(NamedTuple):
    """A table that was read."""

    line: int
    """Line of the header."""
    columns: list[Column]
    rows: list[Row]

    def places_of(self, name: str) -> list[int]:
        """Where columns of a name stand in a row; the name may be that of the whole header or without its unit."""
        wanted = _one_line(name)
        whole = [place for place, column in enumerate(self.columns) if column.header == wanted]
        return whole or [place for place, column in enumerate(self.columns) if column.name == wanted]


def text_of(file: FilePath, most_bytes: int) -> str:
    """Text of a file; a ValueError says why it cannot be read."""
    try:
        if not file.is_file():
            wrong("no such file")
        if file.stat().st_size > most_bytes:
            wrong(f"is larger than {most_bytes // MEBIBYTE} MiB")
        raw = file.read_bytes()
    except OSError as error:
        wrong(f"cannot be read: {str(error.strerror).lower()}")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = len(LINE_BREAK.split(raw[: error.start].decode("utf-8")))
        wrong(f"is not UTF-8 text in line {line}; save it as UTF-8")


def read_table(text: str, unit_names: Container[str] = units.DURATION) -> Table | None:
    """Read a table; None where there is not even a header.

    Tabs, semicolons or commas separate cells, whichever the header has, in this order. Cells may stand in double
    quotes. What stands after a comma and a blank in a header belongs to it where it is one of the names of units.

    Raises
    ------
    csv.Error
        When a quote is not closed.
    """
    separator = next((each for each in SEPARATORS if _separates(text, each, unit_names)), ";")
    rows = _rows(text, separator)
    first = next(rows, None)
    if first is None:
        return None
    return Table(
        first.line,
        [_column(cell) for cell in _header(text, separator, unit_names)],
        [Row(line, [_one_line(cell) for cell in cells]) for line, cells in rows],
    )


def _separates(text: str, separator: str, unit_names: Container[str]) -> bool:
    """Whether the header has several cells with a separator; quotes may show that it is another one."""
    try:
        return len(_header(text, separator, unit_names)) > 1
    except csv.Error:
        return False


def _header(text: str, separator: str, unit_names: Container[str]) -> list[str]:
    """Cells of the header; the unit after a comma and a blank, as in `time, s`, belongs to the cell before it."""
    cells: list[str] = []
    for cell in next(_rows(text, separator), Row(0, [])).cells:
        if cells and cell[:1] == " " and cell.strip() in unit_names:
            cells[-1] += f", {cell.strip()}"
        else:
            cells.append(cell)
    return cells


def _rows(text: str, separator: str) -> Iterator[Row]:
    """Rows that are not empty, cells as they are."""
    lines = ("\n" if NO_ROW.match(line) else line for line in StringIO(text, newline=""))
    reader = csv.reader(lines, delimiter=separator, strict=True)
    line = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            yield Row(line, cells)
        line = reader.line_num + 1


def _column(cell: str) -> Column:
    """Take a header apart into name and unit."""
    header = _one_line(cell)
    parts = UNIT_OF_COLUMN.fullmatch(header)
    unit = parts and next(filter(None, parts.groups()[1:]))
    return Column(header, str(parts and parts[1]), unit) if unit in units.DURATION else Column(header, header, None)


def _one_line(text: str) -> str:
    """A text without blanks around it, breaks or more than one blank in it."""
    return " ".join(text.split())
