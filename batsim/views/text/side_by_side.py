"""Layouts beside one another: a column each, in as many blocks as the width asks for."""

from batsim.views.text.lines import aligned, entry, head_size, packed, sentence

MOST_NAME = 24
"""Characters of a layout's name that stand in one line above its column."""


def side_by_side(rows: list[list[str]], width: int) -> list[str]:
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
