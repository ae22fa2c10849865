"""Colours and hatches of all charts, and what is drawn with them."""

import csv
from pathlib import Path
from typing import Any

from batsim.measures.names import PART_LABELS

Look = tuple[str, str, str]
"""Colour, hatch and words."""

COLOURS = {
    "blue": "#0072B2", "vermilion": "#D55E00", "green": "#009E73", "black": "#000000", "sky": "#56B4E9",
    "orange": "#E69F00", "yellow": "#F0E442", "purple": "#CC79A7", "grey": "#999999", "white": "#FFFFFF",
}  # fmt: skip
"""Palette of Okabe and Ito, "Color Universal Design", 2002: told apart with any kind of colour vision. The hatches tell
what is filled apart in grey print."""
BLUE, VERMILION, GREEN, BLACK, SKY, ORANGE, YELLOW, PURPLE, GREY, WHITE = COLOURS.values()

with Path(__file__).with_name("looks.csv").open(newline="", encoding="utf-8") as _lines:
    _LOOKS = list(csv.DictReader(_lines))


def looks_of(what: str) -> dict[str, Look]:
    """Looks of all that is of a kind, by its name, as `looks.csv` says."""
    return {row["name"]: (COLOURS[row["colour"]], row["hatch"], row["words"]) for row in _LOOKS if row["of"] == what}


STATE_LOOKS, TASK_LOOKS, CAUSE_LOOKS = looks_of("state"), looks_of("task"), looks_of("cause of a wait")
PART_LOOKS = {part: (*look[:2], PART_LABELS[part]) for part, look in looks_of("cause of downtime").items()}
"""Causes of downtime, in the words of its measures; what a queue lacks looks as in the chart of a room."""
LOST_LOOKS, COST_LOOKS = looks_of("lost to"), looks_of("yearly cost")
"""What truck time is lost to, and what a year's cost goes to: plain colours, each with one meaning in all charts."""
CHARGER_LOOKS = {name: look[:2] for name, look in looks_of("charger").items()}
"""Colour and hatch of what chargers do, but for being free."""

LINES: tuple[tuple[str, Any], ...] = tuple(
    zip(
        (BLUE, VERMILION, GREEN, PURPLE, ORANGE, BLACK, SKY) * 3,
        ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)), (0, (1, 1)), (0, (8, 2))) * 3,
        strict=False,
    )
)
"""Colour and dashes of lines; no two are the same, and neighbours differ in both."""
EDGE: dict[str, Any] = {"edgecolor": "0.3", "linewidth": 0.5}
"""Edge of what is filled."""


def fill_of(colour: str, hatch: str) -> dict[str, Any]:
    """How something filled is drawn: pale, hatched, with an edge."""
    return {"facecolor": pale(colour), "hatch": hatch, **EDGE}


def solid_of(colour: str, hatch: str = "") -> dict[str, Any]:
    """How something is drawn whose colour is its meaning: full colour, white edge and hatch."""
    return {"facecolor": colour, "hatch": hatch, "edgecolor": WHITE, "linewidth": 0.8}


def pale(colour: str) -> tuple[float, float, float]:
    """Mix a colour with white, so that the hatch and the word on it can be read."""
    from matplotlib.colors import to_rgb

    red, green, blue = to_rgb(colour)
    return 0.45 * red + 0.55, 0.45 * green + 0.55, 0.45 * blue + 0.55


def ink_on(colour: str) -> str:
    """Black or white, whichever stands out more from a colour. (WCAG 2.2, relative luminance and contrast ratio)"""
    from matplotlib.colors import to_rgb

    linear = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour))
    luminance = sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
    return BLACK if (luminance + 0.05) / 0.05 > 1.05 / (luminance + 0.05) else WHITE
