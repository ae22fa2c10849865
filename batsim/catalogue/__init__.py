"""The data that ships: figures with their sources, and the YAML documents that name them.

Every default is a row of ``figures.csv`` and is asked for by name. Its status tells how far to trust it:

published
    the value stands in the named source
common practice
    usual in the trade, or worked out from the named source as the row says
from memory
    not checked against a text
placeholder
    a proposal, to be replaced by a value of the site
stated
    not the catalogue's: the site states it
"""

import csv
import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from batsim.errors import FigureError

_HERE = Path(__file__).parent
STATED = "stated"
"""Status of a figure that a site states anew."""


class Figure(NamedTuple):
    """One default, its range and where it comes from."""

    name: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    where: str
    status: str
    note: str

    @property
    def text(self) -> str:
        """Value and unit, as a scenario would write them."""
        return self._with_unit(self.value)

    @property
    def low_text(self) -> str:
        """Lower end of the range and unit."""
        return self._with_unit(self.low)

    @property
    def high_text(self) -> str:
        """Upper end of the range and unit."""
        return self._with_unit(self.high)

    @property
    def has_range(self) -> bool:
        """Whether the figure is more than a single value."""
        return self.low < self.high

    def stated(self, value: float) -> "Figure":
        """Copy with another value; its range goes with it in proportion, and always holds it."""
        scale = value / self.value if self.value else 1.0
        low, *_, high = sorted((self.low * scale, value, self.high * scale))
        return self._replace(value=value, low=low, high=high, status=STATED)

    def _with_unit(self, number: float) -> str:
        return f"{number:.10g}" if self.unit == "1" else f"{number:.10g} {self.unit}"


class Source(NamedTuple):
    """What a figure rests on.

    The kind is standard, paper, book, report, regulation, common practice or memory.
    """

    key: str
    citation: str
    kind: str

    @property
    def short(self) -> str:
        """How the citation begins: a standard by its number, a book or a paper by who wrote it.

        Examples
        --------
        >>> [sources()[key].short for key in ("IEC-62485-3", "Copetti-1993", "CODATA")]
        ['IEC 62485-3:2014', 'Copetti', 'CODATA and handbook values']
        """
        return re.split(r"[,;]|: ", self.citation)[0]


class Figures(Mapping[str, Figure]):
    """The figures that hold for a scenario, by name: those of the catalogue, some of them stated anew.

    An explicit value: whoever needs a figure is given them. It is only read, and goes to other processes as it is.

    Parameters
    ----------
    stated
        Figures in place of the catalogue's.
    asked
        Names of all figures that are looked up are added to it, where one is given.

    Examples
    --------
    >>> FIGURES["battery.vented_lead_acid.cool_down"].text
    '8 h'
    """

    __slots__ = ("_asked", "stated")

    def __init__(self, stated: Mapping[str, Figure] | None = None, asked: set[str] | None = None) -> None:
        self.stated: dict[str, Figure] = dict(stated or {})
        self._asked = asked

    def __getitem__(self, name: str) -> Figure:
        if self._asked is not None:
            self._asked.add(name)
        found = self.stated.get(name) or _figures_by_name().get(name)
        if found is None:
            msg = f"figures.csv: no figure '{name}'; {_nearest(name, tuple(_figures_by_name()))}"
            raise FigureError(msg)
        return found

    def __contains__(self, name: object) -> bool:
        return name in _figures_by_name()

    def __iter__(self) -> Iterator[str]:
        return iter(_figures_by_name())

    def __len__(self) -> int:
        return len(_figures_by_name())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Figures) and self.stated == other.stated

    def __hash__(self) -> int:
        return hash(tuple(sorted(self.stated.items())))

    def number(self, name: str) -> float:
        """Value of a figure as a plain number; shares, in percent in the catalogue, from 0 to 1."""
        found = self[name]
        return found.value / 100.0 if found.unit == "%" else found.value

    def noting(self, asked: set[str]) -> "Figures":
        """Return the same figures, which add the name of each that is looked up to a set."""
        return Figures(self.stated, asked)


FIGURES = Figures()
"""The catalogue as it ships."""


def sources() -> dict[str, Source]:
    """All sources by their key."""
    return {row["key"]: Source(**row) for row in _rows("sources.csv")}


def document(name: str) -> Path:
    """Path of a document of the catalogue, such as ``battery_types`` or ``handling/side_rollers``."""
    found = _documents().get(name)
    if found is None:
        msg = f"catalogue: no document '{name}'; {_nearest(name, tuple(_documents()))}"
        raise FigureError(msg)
    return found


def handling_names() -> tuple[str, ...]:
    """Names of the handling arrangements, one for each document in ``handling/``."""
    return tuple(name.removeprefix("handling/") for name in _documents() if name.startswith("handling/"))


@cache
def _rows(file: str) -> tuple[dict[str, Any], ...]:
    with (_HERE / file).open(newline="", encoding="utf-8") as lines:
        return tuple(csv.DictReader(lines))


@cache
def _figures_by_name() -> dict[str, Figure]:
    """All figures, in the order of the file."""
    return {
        row["name"]: Figure(**row | {key: float(row[key]) for key in ("value", "low", "high")})
        for row in _rows("figures.csv")
    }


@cache
def _documents() -> dict[str, Path]:
    paths = sorted(_HERE.rglob("*.yaml"))
    return {path.relative_to(_HERE).with_suffix("").as_posix(): path for path in paths}


def _nearest(name: str, known: tuple[str, ...]) -> str:
    """Say which of the known names is nearest, however far that is."""
    return f"did you mean '{get_close_matches(name, known, n=1, cutoff=0.0)[0]}'?"
