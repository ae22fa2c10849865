"""Names that fit: wrapped, or cut in the middle."""

import re
from collections.abc import Iterable
from textwrap import fill, wrap

from batsim.views.text.kept_together import KEPT, numbers_with_units

NAME_LETTERS, NAME_LINES = 26, 2
"""Letters in a line of a name beside an axis, and its lines."""
CUT = "…"
TOLD = 40
"""Letters of a name that stand in a title or a note."""
LONG_NAME = re.compile(rf"(?<!\w)'([^']{{{TOLD + 1},}})'(?!\w)")
BEFORE_NUMBER = re.compile(r"(?<=\bcv) |(?<=\btarget) (?=\d)|(?<=\btarget of) (?=\d)")
"""The space between a number and what it is."""


def names_fit(
    names: Iterable[str], letters: int = NAME_LETTERS, lines: int = NAME_LINES, *, paths: bool = False
) -> list[str]:
    r"""Names wrapped, or cut in the middle where they are longer than that; no two different ones become the same.

    Paths in a scenario are wrapped at their dots.

    Examples
    --------
    >>> names_fit(["rollers", "a very long name of a layout"], 10)
    ['rollers', 'a very l…a\nlayout']
    """
    whole = list(names)
    fitted = [_fit(name, letters, lines, paths=paths) for name in whole]
    if len(set(fitted)) < len(set(whole)):
        fitted = [
            text if fitted.count(text) == 1 else _fit(f"{number}: {name}", letters, lines, paths=paths)
            for number, (name, text) in enumerate(zip(whole, fitted, strict=True), 1)
        ]
    return fitted


def _fit(name: str, letters: int, lines: int, *, paths: bool) -> str:
    """One name, in so many lines at most."""
    name = " ".join(name.split())
    if paths:
        name = name.replace(" ", KEPT).replace(".", ". ")
    kept = wrap(name, letters)
    most = letters * lines
    while len(kept) > lines:
        most -= 1
        head = (most + 1) // 2
        kept = wrap(f"{name[:head].rstrip()}{CUT}{name[len(name) - (most - head) :].lstrip()}", letters)
    text = "\n".join(kept)
    if paths:
        text = text.replace(". ", ".").replace(KEPT, " ")
    return f" {text}" if text.startswith("_") else text


def with_short_names(text: str) -> str:
    """A text in which long names in quotes are cut."""
    return LONG_NAME.sub(lambda found: f"'{names_fit([found[1]], TOLD, 1)[0]}'", text)


def in_lines(text: str, letters: int) -> str:
    r"""A text in lines of so many letters, long names in it cut; words with a hyphen and numbers with units stay whole.

    Examples
    --------
    >>> in_lines("95 % wait no longer than 11.1 min", 30)
    '95 % wait no longer than\n11.1 min'
    >>> in_lines("only it keeps the target of 15", 28)
    'only it keeps the target\nof 15'
    """
    whole = BEFORE_NUMBER.sub(KEPT, numbers_with_units(with_short_names(text)))
    return fill(whole, letters, break_on_hyphens=False).replace(KEPT, " ")
