"""Lines that fit a width: sentences, entries of lists, and tables that break where they must."""

import re
import textwrap
from collections.abc import Sequence
from itertools import zip_longest
from typing import TypeVar

from batsim.views.text.kept_together import KEPT

Column = TypeVar("Column")

LEAST_NAME, LEAST_LABEL = 24, 20
"""Characters to which names of rows are broken at most so that a table stays in one piece, and labels of numbers."""
MOST_HEADS = (24, 12)
"""Characters to which long heads of columns are broken: rather the first, else the second."""
HANGING = 4
"""Blanks by which the further lines of an entry are set in."""


def sentence(text: str, width: int, by: int = 0) -> str:
    """Break a sentence into lines of the width, `by` blanks from the left; a longer word sticks out."""
    return "\n".join(_broken(text, width, " " * by, " " * by))


def listed(text: str, width: int, *, first: str = "  - ") -> str:
    """Write an entry of a list: what follows its first line stands under its text."""
    return "\n".join(_broken(text, width, first, " " * len(first)))


def hung(text: str, width: int, by: int = 0) -> str:
    """Break a line whose further lines are set in from its first, `by` blanks from the left."""
    if by + len(text) <= width:
        return " " * by + text.replace(KEPT, " ")
    return "\n".join(_broken(text, width, " " * by, " " * (by + HANGING)))


def entry(label: str, value: str, unit: str, width: int, by: int = 2) -> str:
    """Write one number of a list, `label: value unit`, the value and the beginning of its unit in one line."""
    name = label.lstrip(" ")
    first, blank, rest = unit.partition(" ")
    number = f"{value} {first}".rstrip().replace(" ", KEPT)
    return hung(f"{name}: {number}{blank}{rest}", width, by + len(label) - len(name))


def measured(rows: list[tuple[str, str, str]], width: int, by: int = 2) -> list[str]:
    """Write numbers one below the other, each with its label before it and its unit behind; as a list where narrow."""
    labels, values, units = (max(map(len, column)) for column in zip(*rows, strict=True))
    room = width - by - values - units - 2 - 2 * bool(units)
    first = _widest(rows, room)
    if room < min(labels, LEAST_LABEL) or first > room:
        return [entry(label, value, unit, width, by) for label, value, unit in rows]
    lines: list[str] = []
    for label, value, unit in rows:
        head, *rest = _name(label, room)
        lines += [f"{head:<{first}}  {value:>{values}}  {unit}".rstrip(), *rest]
    return [" " * by + line for line in lines]


def columns(rows: list[list[str]], width: int, heads: int = 1) -> list[str]:
    """Align rows: the first column to the left, the others to the right.

    A table that is too wide has the heads of its columns broken, else it is cut into blocks in which names of rows take
    at most half of the width; where not even one column fits beside them, each row becomes a list.

    Parameters
    ----------
    rows
        Cells, the rows of heads first.
    width
        Characters of a line.
    heads
        How many rows are heads; the second says the units.
    """
    return _whole(rows, width, heads) or _blocks(rows, width, heads) or _list(rows, width, heads)


def one_block(rows: list[list[str]], width: int, heads: int = 1) -> list[str]:
    """Align rows as `columns` does, but in one piece, with their names broken if need be; nothing when too wide."""
    if whole := _whole(rows, width, heads):
        return whole
    sizes = _sizes(rows, heads, MOST_HEADS[-1])
    room = width - sum(sizes) - 2 * len(sizes)
    first = _widest(rows, room)
    return aligned(rows, heads, first, sizes) if room >= LEAST_NAME and first <= room else []


def _whole(rows: list[list[str]], width: int, heads: int) -> list[str]:
    """Align rows in one piece with their names whole; nothing when they are too wide for that."""
    first = max(len(row[0]) for row in rows)
    for most in (max(map(len, rows[0])), *MOST_HEADS):
        sizes = _sizes(rows, heads, most)
        if first + sum(sizes) + 2 * len(sizes) <= width:
            return aligned(rows, heads, first, sizes)
    return []


def _blocks(rows: list[list[str]], width: int, heads: int) -> list[str]:
    """Align as many columns as fit, and the others below; nothing when not even one fits."""
    first = _widest(rows, width // 2)
    fitting = (sizes for most in MOST_HEADS if first + 2 + max(sizes := _sizes(rows, heads, most)) <= width)
    sizes = next(fitting, [])
    lines: list[str] = []
    for block in packed(dict(enumerate(sizes, start=1)), width - first):
        lines += [""] if lines else []
        part = [[row[0], *(row[column] for column in block)] for row in rows]
        lines += aligned(part, heads, first, [sizes[column - 1] for column in block])
    return lines


def packed(sizes: dict[Column, int], width: int) -> list[list[Column]]:
    """Split columns into blocks of as many as fit beside one another, two blanks before each; at least one in each."""
    blocks: list[list[Column]] = []
    used = 0
    for column, size in sizes.items():
        if not blocks or used + size + 2 > width:
            blocks.append([])
            used = 0
        blocks[-1].append(column)
        used += size + 2
    return blocks


def _list(rows: list[list[str]], width: int, heads: int) -> list[str]:
    """Write each row as a name with its numbers below, each with the head of its column."""
    corner = rows[0][0].strip(" ")
    lines = []
    for name, *values in rows[heads:]:
        indent = len(name) - len(name.lstrip(" "))
        lines.append(hung(f"{corner}: {name.lstrip(' ')}" if corner else name.lstrip(" "), width, indent))
        for column, value in enumerate(values, start=1):
            units = " ".join(row[column] for row in rows[1:heads]).strip(" ")
            head = rows[0][column]
            if value and head:
                lines.append(entry(head, value, units, width, indent + 2))
            elif value:
                lines.append(hung(value, width, indent + 2))
    return lines


def head_size(head: str, most: int) -> int:
    """Characters of the widest line of a head that is broken where it is longer than the most."""
    return max(len(line) for line in _head(head, most))


def _head(text: str, size: int) -> list[str]:
    """Break the head of a column."""
    return textwrap.wrap(text, max(1, size), break_on_hyphens=False) or [""]


def _name(text: str, size: int) -> list[str]:
    """Break the name of a row; its further lines are set in."""
    if len(text) <= size:
        return [text]
    name = text.lstrip(" ")
    indent = len(text) - len(name)
    return _broken(name, size, " " * indent, " " * (indent + 2))


def _widest(rows: Sequence[Sequence[str]], size: int) -> int:
    """Characters of the widest line of the names of rows, broken where they are longer than the size."""
    return max(len(line) for row in rows for line in _name(row[0], size))


def _sizes(rows: list[list[str]], heads: int, most: int) -> list[int]:
    """Characters of each column but the first, its heads broken where they are longer than its values and the most."""
    sizes = []
    for column in range(1, len(rows[0])):
        values = max(len(row[column]) for row in rows[heads:])
        broken = [head_size(row[column], max(values, most)) for row in rows[:heads]]
        sizes.append(max(values, *broken))
    return sizes


def aligned(rows: list[list[str]], heads: int, first: int, sizes: list[int]) -> list[str]:
    """Write columns of so many characters beside the names."""
    lines: list[str] = []
    for number, row in enumerate(rows):
        name, cells = _name(row[0], first), row[1:]
        if 0 < number < heads and not "".join(row):
            continue  # no column of this block has a unit
        levels = [cells]
        if number < heads:
            levels = _heads(cells, sizes)
            name = [""] * (len(levels) - len(name)) + name
        for label, level in zip_longest(name, levels, fillvalue=""):
            values = "".join(f"  {cell:>{size}}" for cell, size in zip(level, sizes, strict=False))
            lines.append(f"{label:<{first}}{values}".rstrip())
    return lines


def _heads(heads: list[str], sizes: list[int]) -> list[list[str]]:
    """Break the heads of columns into lines of so many characters, the last of each just above its column."""
    broken = [_head(head, size) for head, size in zip(heads, sizes, strict=True)]
    high = max(map(len, broken))
    return [list(level) for level in zip(*([""] * (high - len(lines)) + lines for lines in broken), strict=True)]


def _broken(text: str, width: int, before: str = "", under: str = "") -> list[str]:
    """Break a text at blanks into lines of so many characters; a percent sign and a half width stay with their number.

    A word that is longer than a line has one of its own and sticks out.
    """
    together = re.sub(" ± (?=[0-9])", f"{KEPT}±{KEPT}", text.replace(" %", f"{KEPT}%"))
    lines = textwrap.wrap(
        re.sub(" +", " ", together.strip(" ")), max(1, width), initial_indent=before, subsequent_indent=under,
        break_long_words=False, break_on_hyphens=False, replace_whitespace=False, expand_tabs=False,
    )  # fmt: skip
    return [line.replace(KEPT, " ") for line in lines] or [before]
