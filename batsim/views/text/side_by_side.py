"""Layouts beside one another: a column each, in as many blocks as the width asks for."""

import re

from batsim.views.text.lines import LEAST_LABEL, aligned, entry, head_size, packed, sentence

MOST_NAME = 24
"""Characters of a layout's name that stand in one line above its column."""
COMMAS = re.compile(r"(?<=\d),(?=\d{3}(?!\d))")
"""Between the thousands of a number."""


SHORT_UNITS = {
    "min per truck-shift": "min/shift",
    "truck-hours a working day": "h/day",
    "min per exchange": "min each",
    "per working day": "a day",
    "min per working day": "min/day",
    "in all (per truck)": "(per truck)",
    "at any time": "",
    "of all time": "",
    "of time on duty": "",
    "kWh per working day": "kWh/day",
    "kWh per truck-hour": "kWh/h",
    "kW, mean of 15 min": "kW, 15 min",
    "min before a charge": "min",
    "kg per working day": "kg/day",
    "years at this duty": "years",
    "truck-hours per battery": "h",
}
"""Units as they stand behind the name of a number where the terminal is narrow."""


def side_by_side(rows: list[list[str]], width: int) -> list[str]:
    """Lay layouts side by side: in one piece if that can be, else in as many blocks as the width asks for.

    The unit stands last in its row; where that is too wide for one piece, behind the name of the number; where that is
    too wide still, in short, and no blanks stand about the plus-minus sign; then no commas between thousands either.
    Where not even one layout fits, each is a list.
    """
    named = [[_named(row[0], row[-1]), *row[1:-1]] for row in rows]
    short = [[_named(row[0], SHORT_UNITS.get(row[-1], row[-1])), *map(_closed_up, row[1:-1])] for row in rows]
    bare = [[row[0], *map(_without_commas, row[1:])] for row in short]
    whole = _in_one_piece(rows, width) or _in_one_piece(named, width)
    whole = whole or _in_one_piece(short, width, LEAST_LABEL) or _in_one_piece(bare, width, LEAST_LABEL)
    return whole or _in_blocks(rows, width)


def _named(label: str, unit: str) -> str:
    """Label with its unit behind it."""
    return f"{label}, {unit}" if unit else label


def _closed_up(cell: str) -> str:
    """A number without blanks about its plus-minus sign."""
    return cell.replace(" ± ", "±")


def _without_commas(cell: str) -> str:
    """A number without commas between its thousands."""
    return COMMAS.sub("", cell)


def _in_one_piece(rows: list[list[str]], width: int, least: int = 0) -> list[str]:
    """Lay layouts side by side, names of numbers broken to no fewer characters than asked; nothing where too wide."""
    labels = max(len(row[0]) for row in rows)
    cells = list(zip(*rows, strict=True))[1:]
    for most in (0,) if least else (MOST_NAME, 0):
        sizes = [_size(column, most) for column in cells]
        room = width - sum(sizes) - 2 * len(sizes)
        if room >= min(labels, least or labels):
            padded = [[*row[:-1], row[-1].ljust(sizes[-1])] for row in rows] if rows[0][-1] == "" else rows
            return aligned(padded, 1, min(labels, room), sizes)
    return []


def _size(column: tuple[str, ...], most: int) -> int:
    """Characters of a column, its head broken where it is longer than its cells and the most."""
    widest = max(map(len, column[1:]))
    return max(widest, head_size(column[0], max(widest, most)))


def _in_blocks(rows: list[list[str]], width: int) -> list[str]:
    """Lay layouts side by side, in as many blocks as the width asks for; as lists where not even one fits."""
    first, last = max(len(row[0]) for row in rows), max(len(row[-1]) for row in rows)
    room = width - first - last - 4
    sizes = _layout_sizes(rows, room)
    if not sizes:
        return _one_list_each(rows, width)
    lines: list[str] = []
    for block in packed(sizes, room + 2):
        lines += [""] if lines else []
        part = [[row[0], *(row[column] for column in block), row[-1].ljust(last)] for row in rows]
        lines += aligned(part, 1, first, [*(sizes[column] for column in block), last])
    return lines


def _layout_sizes(rows: list[list[str]], room: int) -> dict[int, int]:
    """Characters of the column of each layout, its name broken; nothing where one does not fit into the room."""
    sizes = {}
    for number, (layout, *cells) in enumerate(list(zip(*rows, strict=True))[1:-1], start=1):
        widest = max(map(len, cells))
        if widest > room:
            return {}
        sizes[number] = max(widest, head_size(layout, max(widest, min(MOST_NAME, room))))
    return sizes


def _one_list_each(rows: list[list[str]], width: int) -> list[str]:
    """Write layouts one below the other, each number with its label before it and its unit behind."""
    (_, *layouts, _), *numbers = rows
    lines: list[str] = []
    for column, layout in enumerate(layouts, start=1):
        lines += [*([""] if lines else []), sentence(layout, width)]
        lines += [entry(row[0], row[column], row[-1], width) for row in numbers]
    return lines
