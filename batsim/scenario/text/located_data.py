"""Plain data that remembers where in which file each value stands."""

import re
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.scenario.factors import BETWEEN
from batsim.scenario.parts.faults import Faults, did_you_mean

Path = tuple[str | int, ...]

EVERY = "*"
"""In place of a number or a name in a path: each of them."""
KEY = re.compile(r"\.?(?:'([^']*)'|\"([^\"]*)\"|([^.\[\]]+))|\[(\d{1,9}|\*)\]")
"""A key of a path: a name, in quotes of either kind where it holds dots, or a number."""

NAMED = ("batteries", "chargers", "handling", "layouts")
"""Sections whose parts have names of the site; one that is not there cannot be changed."""
STATEMENTS = {
    "at_ends",
    "charge_time",
    "connect_time",
    "cool_down",
    "pull_out_time",
    "every",
    "exchange_time",
    "first_run",
    "plug_time",
    "repair",
    "run_time",
    "time",
    "truck_gone",
    "truck_waits",
    "unplug_time",
    "whole",
}
"""Keys whose blocks make one statement, a law for instance, so that two of them are not mixed."""
STATEMENTS_BY_NAME = {"step_times"}
"""Keys whose blocks hold such statements, each under a name of its own."""


class Location(NamedTuple):
    """Where a value stands; lines and columns are counted from 1."""

    file: str
    line: int
    column: int


def path_text(path: Path) -> str:
    """Write a path as in messages.

    Examples
    --------
    >>> path_text(("trucks", 0, "duty", "mean_power"))
    'trucks[0].duty.mean_power'
    >>> path_text(("layouts", "side rollers", "v1.2"))
    "layouts.side rollers.'v1.2'"
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += "." * bool(text) + (repr(part) if not part or re.search(r"[.\[\]\n]", part) else part)
    return text


@dataclass
class LocatedData:
    """Nested dicts and lists as YAML held them, with the location of every key and value."""

    file: str
    data: Any
    locations: dict[Path, Location] = field(default_factory=dict)
    key_locations: dict[Path, Location] = field(default_factory=dict)

    def copy(self) -> "LocatedData":
        """Copy deeply, so that a change to one never shows in the other."""
        return LocatedData(self.file, deepcopy(self.data), dict(self.locations), dict(self.key_locations))

    def at(self, path: Path) -> Any:  # noqa: ANN401 - whatever YAML held
        """Value at a path, or None where the path leads nowhere."""
        value = self.data
        for key in path:
            try:
                value = value[key]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def entries(self, path: Path) -> list[tuple[str | int, Any]]:
        """Keys or numbers of the entries of what stands at a path, each with its value; none where it has none."""
        value = self.at(path)
        return list(value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ())

    def walk(self, path: Path = ()) -> Iterator[tuple[Path, Any]]:
        """Everything inside of what stands at a path, by its own path; what replaces it meanwhile is gone into."""
        for key, value in self.entries(path):
            yield (*path, key), value
            yield from self.walk((*path, key))

    def blocks(self, path: Path) -> list[tuple[str | int, dict[str, Any]]]:
        """Entries of what stands at a path that are blocks of keys."""
        return [(key, value) for key, value in self.entries(path) if isinstance(value, dict)]

    def holds(self, path: Path) -> bool:
        """Whether the path leads to a value."""
        return not path or path[-1] in dict(self.entries(path[:-1]))

    def put(self, path: Path, value: "LocatedData") -> None:
        """Set what stands at a path to other marked data, locations included."""
        parent = self.at(path[:-1])
        parent[path[-1]] = deepcopy(value.data)
        for mine, theirs in ((self.locations, value.locations), (self.key_locations, value.key_locations)):
            for inner, place in theirs.items():
                mine[path + inner] = place

    def part(self, path: Path) -> "LocatedData":
        """Cut out what stands at a path."""
        size = len(path)
        return LocatedData(
            self.file,
            deepcopy(self.at(path)),
            {key[size:]: place for key, place in self.locations.items() if key[:size] == path},
            {key[size:]: place for key, place in self.key_locations.items() if key[:size] == path and key != path},
        )

    def over(self, base: "LocatedData") -> "LocatedData":
        """Lay this over a base: keys of both are kept, this one wins, lists and laws are not mixed."""
        merged = LocatedData(self.file, _merge(base.data, self.data), dict(self.locations), dict(self.key_locations))
        for mine, theirs in ((merged.locations, base.locations), (merged.key_locations, base.key_locations)):
            mine.update({path: place for path, place in theirs.items() if not self._covers(path, base)})
        return merged

    def _covers(self, path: Path, base: "LocatedData") -> bool:
        """Whether what a base holds at a path is hidden by something here."""
        for size in range(len(path)):
            here = path[:size]
            if not self.holds(here):
                return False
            if not _mix(here, base.at(here), self.at(here)):
                return True
        return self.holds(path)

    def location(self, path: Path, *, of_key: bool = False) -> Location:
        """Where a value or its key stands; the nearest part around it where it has no place of its own."""
        if of_key and path in self.key_locations:
            return self.key_locations[path]
        for size in range(len(path), -1, -1):
            if path[:size] in self.locations:
                return self.locations[path[:size]]
        return Location(self.file, 0, 0)

    def problem(self, path: Path, rule: str, *, got: str | None = None, of_key: bool = False) -> Problem:
        """Make a problem at the place where a path stands."""
        return Problem(*self.location(path, of_key=of_key), path_text(path), rule, got)

    def problems_in(self, error: ValueError, path: Path) -> list[Problem]:
        """Problems of what stands at a path, from the error of whoever read it: each broken rule at its own place."""
        if isinstance(error, Faults):
            return [self.problem(path + fault.path, fault.rule, got=fault.got) for fault in error.faults]
        return [self.problem(path, str(error))]

    def replaced(self, path: str, value: object) -> "LocatedData":
        """Copy with one value set; the copy has no location for what was set."""
        keys = self._keys(path)
        changed = self.copy()
        changed._open_sections(keys)
        parent, last = changed.at(keys[:-1]), keys[-1]
        if not isinstance(parent, dict) and not (isinstance(parent, list) and last in range(len(parent))):
            raise self._no_path(path, "leads to nothing in this scenario")
        parent[last] = deepcopy(value)  # type: ignore[index]
        for locations in (changed.locations, changed.key_locations):
            for inner in [keys, *(inner for inner in locations if inner[: len(keys)] == keys)]:
                locations[inner] = Location(self.file, 0, 0)
        return changed

    def drop(self, path: str) -> None:
        """Take an entry of a block out, with all that is in it and where it stood; each of them where a `*` stands.

        Raises
        ------
        ScenarioError
            When it is no path, leads to nothing here, or to an entry of a list.
        """
        for place in map(self._keys, self.spread(path)):
            parent = self.at(place[:-1])
            if isinstance(parent, list):
                raise self._no_path(path, "lists are not mixed; state the list anew, without this entry")
            if not isinstance(parent, dict) or place[-1] not in parent:
                known = [str(key) for key, _ in self.entries(place[:-1])]
                raise self._no_path(path, f"nothing to drop there{did_you_mean(str(place[-1]), known)}")
            del parent[place[-1]]
            for locations in (self.locations, self.key_locations):
                for inner in [inner for inner in locations if inner[: len(place)] == place]:
                    del locations[inner]

    def _open_sections(self, keys: Path) -> None:
        """Open the sections that lead to a path where they are left to their defaults, but no part with a name."""
        for size in range(1, len(keys)):
            around, key = self.at(keys[: size - 1]), keys[size - 1]
            named = size == 2 and keys[0] in NAMED
            if self.at(keys[:size]) is None and isinstance(around, dict) and isinstance(key, str) and not named:
                around[key] = {}
                self.key_locations[keys[:size]] = Location(self.file, 0, 0)

    def spread(self, path: str) -> list[str]:
        """Paths that a path with a `*` in place of a number or a name stands for; the path itself without one.

        Raises
        ------
        ScenarioError
            When it is no path, or stands for nothing here.
        """
        places: list[Path] = [()]
        for key in self._keys(path):
            places = [
                (*place, inner)
                for place in places
                for inner in ([entry for entry, _ in self.entries(place)] if key == EVERY else [key])
            ]
        if not places:
            raise self._no_path(path, "stands for nothing in this scenario")
        return [path_text(place) for place in places]

    def layout_of(self, path: str) -> str | None:
        """Layout that a path lies in; None when it concerns all, or more than one."""
        keys = self._keys(path)
        return str(keys[1]) if len(keys) > 1 and keys[0] == "layouts" and keys[1] != EVERY else None

    def _keys(self, path: str) -> Path:
        """Split the text of a path into keys; a name with dots in it stands in quotes."""
        keys: list[str | int] = []
        rest = path
        while match := KEY.match(rest):
            name = next((name for name in match.groups()[:3] if name is not None), None)
            keys.append((EVERY if match[4] == EVERY else int(match[4])) if name is None else name)
            rest = rest[match.end() :]
        if rest or not keys:
            raise self._no_path(path, "needs a path such as layouts.hoist.stations or trucks[0].count")
        return tuple(keys)

    def _no_path(self, path: str, rule: str) -> ScenarioError:
        """Error for a path that cannot be used."""
        return ScenarioError(self.file, [Problem(self.file, 0, 0, path, rule)])


def _merge(base: object, top: object, path: Path = ()) -> object:
    """Merge mappings key by key; anything else is taken from the top."""
    if isinstance(base, dict) and isinstance(top, dict) and _mix(path, base, top):
        merged = dict(base)
        for inner, value in top.items():
            merged[inner] = _merge(base[inner], value, (*path, inner)) if inner in base else value
        return merged
    return top


def _mix(path: Path, base: object, top: object) -> bool:
    """Whether two values at a path are mixed: both are blocks, and not one statement each."""
    if not isinstance(base, dict) or not isinstance(top, dict) or BETWEEN in base or BETWEEN in top:
        return False
    return not STATEMENTS.intersection(path[-1:]) and not STATEMENTS_BY_NAME.intersection(path[-2:-1])
