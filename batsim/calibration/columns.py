"""Columns that a log of a site may have, and which of them a table has."""

import csv
import re
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

from batsim import units
from batsim.errors import Problem
from batsim.scenario.parts.faults import did_you_mean, shown
from batsim.scenario.text.observed import MOST_NAMES
from batsim.scenario.text.tables import UNIT_OF_COLUMN, Table

YES = "yes"
"""Marks a column that every log of a kind needs; another word in its place is common to columns of which one is."""
DIMENSIONS = {"duration": "duration", "share": "share", "charge": "capacity", "energy": "energy"}
"""What a column of amounts holds, by what it is: a key of `batsim.units.DIMENSIONS`."""
PLAIN_SHARE = "1"
"""Unit of a share that is written from 0 to 1."""
PER_CENT = re.compile(r"(.*\S) ?(%)")
"""A header such as `soc %`."""
ENDINGS = {"share": PLAIN_SHARE, "percent": "%", "pct": "%"}
"""Ends of a header that say the unit of a share, beside the units themselves."""
PEOPLE = frozenset({
    "attendant", "badge", "driver", "drivername", "employee", "initials", "operator", "operatorname", "person",
    "personnel", "signature", "signed", "staff", "user", "username", "worker",
})  # fmt: skip
"""Words of headers of columns that hold names of people: not read, even where they are mapped."""
PEOPLE_ALONE = frozenset({"by", "done by", "name", "names", "who"})
"""Headers that mean people where they stand alone."""


class Column(NamedTuple):
    """A column that a kind of log may have."""

    name: str
    words: tuple[str, ...]
    """What else its header may be."""
    what: str
    """name, time, duration, share, charge, energy, or a name of the scenario: group, step and others."""
    needed: str
    """`yes`, a word for those of which one is needed, or nothing."""
    meaning: str

    @property
    def dimension(self) -> str | None:
        """Key of `batsim.units.DIMENSIONS`; None where it holds no amount."""
        return DIMENSIONS.get(self.what)


class Found(NamedTuple):
    """A column of a table."""

    column: Column
    place: int
    """Which cell of a row."""
    header: str
    unit: str | None
    """As its header or the caller says; None where cells have none, or each its own."""


@cache
def columns_by_kind() -> dict[str, dict[str, Column]]:
    """All that is declared in `columns.csv`: columns by kind of log and name."""
    kinds: dict[str, dict[str, Column]] = {}
    with Path(__file__).with_name("columns.csv").open(newline="", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            words = tuple(word.strip() for word in row["words"].split(";"))
            column = Column(row["name"], words, row["what"], row["needed"], row["meaning"])
            kinds.setdefault(row["kind"], {})[column.name] = column
    return kinds


def plain(header: str) -> str:
    """A header without capitals, blanks, underscores and the like.

    Examples
    --------
    >>> plain("Truck_No.")
    'truckno'
    """
    return re.sub(r"[\W_]+", "", header.casefold())


def known_units(column: Column) -> tuple[str, ...]:
    """Units in which a column of amounts may be written."""
    if column.dimension is None:
        return ()
    own = tuple(units.DIMENSIONS[column.dimension].units)
    return (*own, PLAIN_SHARE) if column.what == "share" else own


@cache
def _names(kind: str) -> dict[str, tuple[str, str | None]]:
    """Column and unit of each header that is known, as `plain` writes it."""
    names: dict[str, tuple[str, str | None]] = {}
    for column in columns_by_kind()[kind].values():
        ends = {plain(unit): unit for unit in known_units(column) if plain(unit)}
        ends |= ENDINGS if column.what == "share" else {}
        for word in map(plain, (column.name, *column.words)):
            names.setdefault(word, (column.name, None))
            for end, unit in ends.items():
                if end != PLAIN_SHARE:
                    names.setdefault(word + end, (column.name, unit))
    return names


def of_people(header: str) -> bool:
    """Whether a column holds names of people.

    Examples
    --------
    >>> [of_people(header) for header in ("Driver_No", "Name", "step name", "truck")]
    [True, True, False, False]
    """
    words = re.findall(r"[^\W_]+", header.casefold())
    return " ".join(words) in PEOPLE_ALONE or any(word in PEOPLE or word.removesuffix("s") in PEOPLE for word in words)


def needs(kind: str) -> dict[str, list[str]]:
    """What a kind of log needs: names of columns of which one is needed, by the word for them or its own name."""
    needed: dict[str, list[str]] = {}
    for column in columns_by_kind()[kind].values():
        if column.needed:
            needed.setdefault(column.name if column.needed == YES else column.needed, []).append(column.name)
    return needed


class Header:
    """The header of a table, and which of its columns are read as what.

    Parameters
    ----------
    file
        Name of the file, for messages.
    kind
        Of the log.
    table
        The table.
    mapping, stated
        Headers and units by name of the column, as the caller says.
    """

    def __init__(
        self, file: str, kind: str, table: Table, mapping: Mapping[str, str], stated: Mapping[str, str]
    ) -> None:
        self.file, self.kind, self.table = file, kind, table
        self.mapping, self.stated = mapping, stated
        self.columns = columns_by_kind()[kind]
        self.problems: list[Problem] = []
        self.found: dict[str, Found] = {}
        self._find()
        self._check_needed()

    @property
    def not_read(self) -> tuple[str, ...]:
        """Headers of columns that are not read."""
        read = {found.place for found in self.found.values()}
        return tuple(each.header for place, each in enumerate(self.table.columns) if place not in read)

    def _find(self) -> None:
        """Find columns by what they are mapped to, then by their names; say what is wrong."""
        self._check_names("mapping", self.mapping)
        self._check_names("units", self.stated)
        places = {name: self._mapped(name, header) for name, header in self.mapping.items() if name in self.columns}
        self._find_others(places)
        for name, stands in places.items():
            if stands is not None:
                header = self.table.columns[stands].header
                self.found[name] = Found(self.columns[name], stands, header, self._unit(self.columns[name], header))

    def _check_names(self, what: str, names: Iterable[str]) -> None:
        """Say which names are those of no column."""
        for strange in [name for name in names if name not in self.columns]:
            self._say(
                what, f"{self.kind} have no such column{did_you_mean(strange, list(self.columns))}", shown(strange)
            )

    def _find_others(self, places: dict[str, int | None]) -> None:
        """Find columns that are not mapped, by their names."""
        taken = set(places.values())
        for place, column in enumerate(self.table.columns):
            name = None if place in taken else self._name_of(column.header)
            if name is not None and name not in self.mapping:
                places[name] = self._surest(name, places.get(name), place)

    def _mapped(self, name: str, header: str) -> int | None:
        """Where a column stands that a name is mapped to."""
        headers = [each.header for each in self.table.columns]
        places = self.table.places_of(header)
        places = places or [place for place, each in enumerate(headers) if plain(each) == plain(header)]
        if len(places) != 1:
            rule = f"{len(places)} columns are called so; call them differently" if places else "no such column"
            near = "" if places else did_you_mean(header, headers)
            self._say(f"mapping.{name}", f"{rule} in line {self.table.line} of the table{near}", shown(header))
            return None
        if of_people(headers[places[0]]):
            self._say(f"mapping.{name}", "holds names of people, which are not read; leave it out", shown(header))
            return None
        return places[0]

    def _surest(self, name: str, one: int | None, other: int) -> int:
        """Which of two columns a name stands for: the one that is called so."""
        if one is None:
            return other
        headers = [self.table.columns[place].header for place in (one, other)]
        named = [plain(_taken_apart(header)[0]) == plain(name) for header in headers]
        if named[0] == named[1]:
            self._say(name, f"two columns may be meant, {' and '.join(map(shown, headers))}; map one of them")
        return other if named[1] and not named[0] else one

    def _name_of(self, header: str) -> str | None:
        """Name of the column that a header stands for."""
        if of_people(header):
            return None
        names = _names(self.kind)
        name = names.get(plain(header)) or names.get(plain(_taken_apart(header)[0]))
        return name and name[0]

    def _unit(self, column: Column, header: str) -> str | None:
        """Unit of a column of amounts, as its header or the caller says."""
        stated, known, path = self.stated.get(column.name), known_units(column), f"units.{column.name}"
        if not known:
            if stated is not None:
                self._say(path, f"a {column.what} has no unit; leave it out", shown(stated))
            return None
        said = self._unit_in(header, column)
        for unit, where in ((stated, path), (said, column.name)):
            if unit is not None and unit not in known:
                self._say(where, f"needs a unit of {column.what}: {', '.join(known)}", shown(unit))
                return known[0]
        if stated is not None and said not in (None, stated):
            rule = f"the header in line {self.table.line} of the table says '{header}'; state one unit"
            self._say(path, rule, shown(stated))
        return stated or said

    def _unit_in(self, header: str, column: Column) -> str | None:
        """Unit that a header says."""
        name, unit = _names(self.kind).get(plain(header), ("", None))
        return _taken_apart(header)[1] or (unit if name == column.name else None)

    def _check_needed(self) -> None:
        """Say which columns are missing."""
        there = self.found.keys() | set(self.mapping)
        headers = ", ".join(shown(each.header) for each in self.table.columns[:MOST_NAMES])
        for names in needs(self.kind).values():
            if there.isdisjoint(names):
                what = f"a column '{names[0]}'" if len(names) == 1 else f"one of the columns {', '.join(names)}"
                self._say("", f"{self.kind} need {what}; map it to one of these: {headers}")

    def _say(self, path: str, rule: str, got: str | None = None) -> None:
        self.problems.append(Problem(self.file, self.table.line, 1, path, rule, got))


def _taken_apart(header: str) -> tuple[str, str | None]:
    """Name and unit of a header such as `energy (kWh)`."""
    parts = UNIT_OF_COLUMN.fullmatch(header) or PER_CENT.fullmatch(header)
    if parts is None:
        return header, None
    return parts[1], next(filter(None, parts.groups()[1:]))
