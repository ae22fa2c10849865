"""Fills of the charts for drawings that a page makes itself: pale colours, hatched as in grey print."""

from collections import Counter
from collections.abc import Iterable

from matplotlib.colors import to_hex

from batsim.views.charts import palette

TILE = 16
"""Side of the tile that a hatch repeats."""
LINES = "/\\|-"
"""Signs of a hatch that are lines; `+` and `x` are two of them each."""
CROSSED = {"+": "|-", "x": "/\\"}
DOTS = {".": (1.1, "#4d4d4d"), "o": (1.8, "none"), "O": (3.0, "none"), "*": (2.2, "#4d4d4d")}
"""Radius and fill of the signs that are dots."""


def plain_fill(look: palette.Look) -> str:
    """Colour of a look, pale; white stays white."""
    return to_hex(palette.pale(look[0]))


def hatch_tile(hatch: str) -> str:
    """Draw a hatch on a tile, as SVG; a sign that is written more often stands closer.

    Examples
    --------
    >>> hatch_tile("|")
    '<path d="M8 0v16"/>'
    """
    signs = Counter("".join(CROSSED.get(sign, sign) for sign in hatch))
    lines = "".join(_lines(sign, signs[sign]) for sign in LINES if sign in signs)
    dots = "".join(_dots(sign, signs[sign]) for sign in DOTS if sign in signs)
    return (f'<path d="{lines}"/>' if lines else "") + dots


def _lines(sign: str, number: int) -> str:
    """Write so many lines over a tile, evenly apart."""
    step = TILE / number
    places = [f"{step * (which + 0.5):g}" for which in range(number)]
    if sign == "|":
        return "".join(f"M{place} 0v{TILE}" for place in places)
    if sign == "-":
        return "".join(f"M0 {place}h{TILE}" for place in places)
    begins = [f"{step * which:g}" for which in range(-number, number)]
    return "".join(f"M{begin} {TILE}l{TILE}-{TILE}" if sign == "/" else f"M{begin} 0l{TILE} {TILE}" for begin in begins)


def _dots(sign: str, number: int) -> str:
    """Write dots on a tile: one in its middle, or four."""
    radius, fill = DOTS[sign]
    places = [TILE // 2] if number == 1 else [TILE // 4, 3 * TILE // 4]
    return "".join(f'<circle cx="{x}" cy="{y}" r="{radius}" fill="{fill}"/>' for x in places for y in places)


def fill_of(look: palette.Look, prefix: str) -> str:
    """What a shape is filled with: a colour, or the pattern of its look, see `patterns`."""
    colour, hatch, _ = look
    return f"url(#{_name(colour, hatch, prefix)})" if hatch else plain_fill(look)


def patterns(looks: Iterable[palette.Look], prefix: str) -> str:
    """Define the patterns of looks that are hatched, each once; their ids begin with a prefix."""
    hatched = dict.fromkeys((colour, hatch) for colour, hatch, _ in looks if hatch)
    return "".join(
        f'<pattern id="{_name(colour, hatch, prefix)}" width="{TILE}" height="{TILE}" patternUnits="userSpaceOnUse">'
        f'<rect width="{TILE}" height="{TILE}" fill="{plain_fill((colour, hatch, ""))}"/>'
        f'<g fill="none" stroke="#4d4d4d" stroke-width=".7">{hatch_tile(hatch)}</g></pattern>'
        for colour, hatch in hatched
    )


def _name(colour: str, hatch: str, prefix: str) -> str:
    """Id of a pattern, the same for the same look."""
    return f"{prefix}-{colour.removeprefix('#').lower()}-{hatch.encode().hex()}"
