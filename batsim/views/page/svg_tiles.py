"""Hatches of a drawn figure on tiles as small as what repeats, so that a page and its paper stay light."""

import re

DRAWN, TILE = 72, 24
"""Side of the tile that matplotlib draws, and of the part of it that repeats whatever the hatch: for each of its signs
there are six lines on the tile, or six rows of dots every other of which lies half a step aside. [pt]"""
PATTERN = re.compile(rf'<pattern [^>]*width="{DRAWN}"[^>]*>.*?</pattern>', re.DOTALL)
"""A hatch as matplotlib draws it."""
BESIDE = 1.0
"""How far a line or dot of a hatch reaches beyond its points. [pt]"""
CORNERS = tuple((x, y) for x in (-BESIDE, TILE + BESIDE) for y in (-BESIDE, TILE + BESIDE))
Point = tuple[float, float]


def small_tile(pattern: str) -> str:
    """Cut a pattern to the part of it that repeats.

    Parameters
    ----------
    pattern
        An SVG element that `PATTERN` finds.

    Returns
    -------
    str
        The same pattern on a tile of a third of its side, with the lines and dots that are seen on it.
    """
    pattern = re.sub(rf'(width|height)="(?:{DRAWN}|{DRAWN + 1})"', rf'\1="{TILE}"', pattern)
    return re.sub(r'\bd="([^"]*)"', lambda path: f'd="{_on_tile(path[1])}"', pattern)


def _on_tile(path: str) -> str:
    """Parts of a path, each begun by its M, that are seen on the tile."""
    return "".join(part for part in re.findall(r"M[^M]*", path) if _is_seen(part))


def _is_seen(part: str) -> bool:
    """Whether a line or a dot comes onto the tile: a line that leaves all its corners on one side does not."""
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", part)]
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    if len(points) == 2:
        begin, end = points
        sides = [_side(begin, end, corner) for corner in CORNERS]
        return min(sides) <= 0.0 <= max(sides)
    return all(min(along) <= TILE + BESIDE and max(along) >= -BESIDE for along in zip(*points, strict=True))


def _side(begin: Point, end: Point, corner: Point) -> float:
    """On which side of a line a point lies: its sign."""
    return (end[0] - begin[0]) * (corner[1] - begin[1]) - (end[1] - begin[1]) * (corner[0] - begin[0])
