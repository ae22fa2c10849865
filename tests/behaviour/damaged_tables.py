"""Damaged tables: valid ones with some cells, headers, rows or columns changed, the same for the same random."""

from collections.abc import Callable
from random import Random

Table = list[list[str]]
CELLS = (
    "", " ", "0", "-1", "1e9", "1e400", "nan", "inf", "-0", "1,5", "1.5", "1,250", "1.250,5", "50 %", "7 h", "3 Ah",
    "x", "=1+1", "'=1+1", '"', '""', "#", "sep=;", ";", "\t", "é☃", "x" * 300, "docks", "doks", "T1", "charge",
    "exchange", "early", "2024-01-01", "2024-01-01T00:00:00", "2024-01-01T00:00:00Z", "2024-13-01T00:00",
    "2024-02-30T00:00", "0001-01-01T00:00", "9999-12-31T23:59:59", "2024-03-31T02:30", "2024-10-27T02:30:00+02:00",
    "01.02.2024 03:04:05", "24:00", "12",
)  # fmt: skip
"""Cells that nobody expects, or that lie at an edge."""


def damaged(table: Table, random: Random, headers: tuple[str, ...]) -> Table:
    """A table with one to six changes: of a cell, a header, a row or a column."""
    table = [list(row) for row in table]
    for _ in range(random.choice((1, 1, 2, 3, 6))):
        change = random.choice((_cell, _cell, _cell, _header, _row, _column))
        change(table, random, headers)
    return table


def written(table: Table, separator: str) -> str:
    """A table as a file has it, with quotes where a cell holds what separates cells."""
    return "\n".join(separator.join(f'"{cell}"' if separator in cell else cell for cell in row) for row in table)


def _cell(table: Table, random: Random, _: object) -> None:
    row = random.choice(table[1:] or table)
    if row:
        row[random.randrange(len(row))] = random.choice(
            (random.choice(CELLS), random.choice(random.choice(table) or [""]))
        )


def _header(table: Table, random: Random, headers: tuple[str, ...]) -> None:
    if table[0]:
        table[0][random.randrange(len(table[0]))] = random.choice(headers)


def _row(table: Table, random: Random, _: object) -> None:
    at = random.randrange(len(table))
    match random.randrange(4):
        case 0 if len(table) > 1:
            del table[at]
        case 1:
            table.insert(at, list(random.choice(table)))
        case 2:
            table[at] = table[at][: random.randrange(len(table[at]) + 1)]
        case _:
            table[at] = [*table[at], random.choice(CELLS)]


def _column(table: Table, random: Random, _: object) -> None:
    place = random.randrange(max(1, len(table[0])))
    change: Callable[[str], str] = random.choice((lambda _: "", lambda cell: cell.replace(".", ","), str.swapcase))
    for row in table[random.randrange(2) :]:
        if place < len(row):
            row[place] = change(row[place])
