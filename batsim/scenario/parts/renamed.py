"""What words of the first version are called now: keys, words, figures and measures, so that `check` can say so."""

import csv
from collections.abc import Container
from pathlib import Path

with Path(__file__).with_suffix(".csv").open(encoding="utf-8", newline="") as rows:
    RENAMED = {row["old"]: row["new"] for row in csv.DictReader(rows)}
"""By its old name; a word has one new name wherever it stands, and is met only where that may stand."""


def renamed(word: str, known: Container[str]) -> str | None:
    """Name that an old word has now, where that is among the known ones.

    Examples
    --------
    >>> renamed("places", ["bays", "stations"])
    'bays'
    """
    new = RENAMED.get(word)
    return new if new is not None and new in known else None
