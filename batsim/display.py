"""What shows itself: in a few words at a prompt, as a table in a notebook; tables, and words in a row."""

import re
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    import pandas as pd

Frame: TypeAlias = "pd.DataFrame"

VIEW = "batsim.views.page.notebook"
"""Module that knows how each of them looks."""


LETTERS = {"iu": "IU", "iui": "IUI", "iuia": "IUIa", "w": "W", "wowa": "WoWa", "cc": "CC", "cv": "CV"}
"""Charge characteristics by how they stand in names of the catalogue."""
TOGETHER = ("lead acid", "lithium ion", "valve regulated", "ride on")
"""Words that are written with a hyphen."""


class Shows:
    """Something that shows itself to people.

    Scenario, record and results lie below the views in the data flow, so what they look like in a notebook is asked
    for by name, and only when a notebook asks.
    """

    __slots__ = ()

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        raise NotImplementedError

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.in_short}>"

    def _repr_html_(self) -> str:
        return str(import_module(VIEW).html_of(self))


def frame_of(rows: Any, columns: list[str] | None = None) -> Frame:  # noqa: ANN401 - all that pandas takes
    """Tidy table of rows, or of columns by name; pandas is loaded when somebody asks for one."""
    import pandas as pd  # noqa: PLC0415 - heavy, and only people need it

    return pd.DataFrame(rows, columns=columns)


def listed(words: Sequence[str], last: str = "and") -> str:
    """Join words with commas and a last 'and' or 'or'."""
    return f" {last} ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def words(name: str) -> str:
    """Name of a kind of the catalogue as people write it, with its letters, numbers and units.

    Examples
    --------
    >>> words("electronic_iuia"), words("hand_pallet_truck"), words("counterbalance_2_0t_48v")
    ('electronic IUIa', 'hand pallet truck', 'counterbalance 2.0 t 48 V')
    >>> words("vented_lead_acid")
    'vented lead-acid'
    """
    text = " ".join(LETTERS.get(word, word) for word in name.split("_"))
    text = re.sub(r"\b(\d+)(?: (\d+))?t\b", lambda found: f"{'.'.join(filter(None, found.groups()))} t", text)
    text = re.sub(r"\b(\d+)v\b", r"\1 V", text)
    for together in TOGETHER:
        text = text.replace(together, together.replace(" ", "-"))
    return text


def counted(number: float, thing: str) -> str:
    """Write a count with its noun, such as `1 week`, `2.5 weeks` or `1,200 batteries`."""
    text = f"{number:,.0f}" if number == round(number) else f"{number:g}"
    if number == 1:
        return f"{text} {thing}"
    return f"{text} {thing.removesuffix('y')}ies" if thing.endswith("ry") else f"{text} {thing}s"
