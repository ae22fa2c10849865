"""YAML text to plain data with the place of every value.

The reader takes the events of PyYAML one by one and goes no deeper than a scenario does, so that no text, however
deeply nested, can exhaust the interpreter's stack. Plain scalars follow the core schema of YAML 1.2 (section 10.3.2):
``22:15``, ``no`` and ``2024-01-01`` stay text. What makes YAML surprising (anchors, tags, merge keys,
duplicate keys) is refused. All problems are collected, each with its place, as far as the text can still be
understood.
"""

import math
import re
import stat
from contextlib import suppress
from pathlib import Path as FilePath
from typing import Any, NoReturn

import yaml

from batsim.errors import Problem, ScenarioError
from batsim.scenario.text.located_data import LocatedData, Location, Path, path_text

# Limits of the reader, not of the trade: a scenario has some kilobytes, some hundred values and six levels.
LARGEST_FILE_BYTES = 1024 * 1024
DEEPEST_LEVEL = 20
MOST_NODES = 20_000  # keys and values
MOST_PROBLEMS = 100
LONGEST_NUMBER = 40  # characters
LONGEST_SHOWN = 60  # characters of a wrong value in a message

# Control characters, foreign line breaks, marks that turn the direction of text, and what is no character.
INVISIBLE = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufffe\uffff]"
)
STAND_IN = "\ufffd"
LINE_BREAK = re.compile(r"\r\n|\r|\n")

# Plain scalars of the YAML 1.2 core schema.
WORDS: dict[str, bool | None] = {"": None, "~": None, "null": None, "Null": None, "NULL": None}
WORDS |= {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
INTEGER = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

SIZE_RULE = "file is larger than 1 MiB; a scenario is a few kilobytes"
ANCHOR_RULE = "anchors and aliases (&, *) are not read; write the value out or use 'extends:'"
UNFIT_RULE = "this does not fit the lines above; check indentation, quotes"
TAG_RULE = "tags (!...) are not read; write plain values"

# What PyYAML says (its context, a bar, its problem), whether the place to show is where the list, mapping or
# text in question begins, and the rule in plain words: {0} is the first group, {line} the line of that begin.
SYNTAX_RULES = [
    (r"directive|YAML document|duplicate", False, "lines that start with % are not read; delete them"),
    (r" an (?:anchor|alias) \|", True, ANCHOR_RULE),
    (r" a tag \||tag handle", True, TAG_RULE),
    (r"found character '\\t'", False, "a tab stands here; use spaces"),
    (r"found character '(.)'", False, "a value cannot start with {0}; put it in quotes"),
    (r"could not find expected ':'", True, "this key has no ':' with a space after it"),
    (r"quoted scalar \| found unexpected", True, "a quote is opened here and never closed"),
    (r"escape", False, "unknown escape after \\ in double quotes; use single quotes"),
    (r"a block scalar \|", False, "after | or > the text starts on the next line"),
    (r"sequence entries", False, "a list item (-) cannot stand here; check the indentation"),
    (r"mapping keys", False, "a question mark cannot stand here; put the text in quotes"),
    (r"mapping values", False, "a second ':' cannot stand here; check the indentation, or quote the text"),
    (r"expected ',' or '(.)'", False, "what was opened in line {line} needs a ',' or '{0}' here"),
    (r"expected the node content", False, "a value is missing here"),
    (r"expected (?:<block|'<document)", False, UNFIT_RULE),
]


def read_file(path: FilePath) -> LocatedData:
    """Read one YAML file of at most 1 MiB in UTF-8; errors as for `read_text`."""
    file = str(path)
    try:
        _refuse_no_file(path.stat().st_mode, file)
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        _refuse(file, "there is no such file")
    except (OSError, ValueError) as problem:
        _refuse(file, f"cannot be read: {str(getattr(problem, 'strerror', problem)).lower()}")
    if len(raw) > LARGEST_FILE_BYTES:
        _refuse(file, SIZE_RULE)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as problem:
        before = LINE_BREAK.split(raw[: problem.start].decode("utf-8"))
        _refuse(file, "is not UTF-8 text; save it as UTF-8", len(before), len(before[-1]) + 1)
    return read_text(text, file)


def read_text(text: str, file: str) -> LocatedData:
    """Read one YAML document whose top level is a mapping; `file` is the name that places show.

    Raises
    ------
    ScenarioError
        With all problems found.
    """
    if len(text.encode("utf-8", "surrogatepass")) > LARGEST_FILE_BYTES:
        _refuse(file, SIZE_RULE)
    reader = _Reader(file)
    with suppress(_Enough):
        reader.read(reader.without_invisible(text.removeprefix("\ufeff")))
    if reader.problems:
        raise ScenarioError(file, reader.problems)
    return reader.source


class _Enough(Exception):  # noqa: N818  (not an error: the problems are in the reader)
    """Nothing more can or should be read."""


class _Reader:
    """Collects data, places and problems while the events pass by."""

    def __init__(self, file: str) -> None:
        self.source = LocatedData(file, None)
        self.problems: list[Problem] = []
        self.nodes = 0
        self.loader: Any = None

    def problem(self, place: Location, path: Path, rule: str, got: str | None = None) -> None:
        self.problems.append(Problem(*place, path_text(path), rule, got and got[:LONGEST_SHOWN]))
        if len(self.problems) == MOST_PROBLEMS:
            rule = f"more than {MOST_PROBLEMS - 1} problems; the rest is not listed"
            self.problems[-1] = Problem(*place, "", rule)
            raise _Enough

    def without_invisible(self, text: str) -> str:
        """Report the first invisible character of each line and replace all of them."""
        for number, line in enumerate(LINE_BREAK.split(text), start=1):
            if character := INVISIBLE.search(line):
                place = Location(self.source.file, number, character.start() + 1)
                self.problem(place, (), _invisible_rule(character[0]))
        return INVISIBLE.sub(STAND_IN, text)

    def read(self, text: str) -> None:
        """Read the document, as far as it can be understood."""
        try:
            self.loader = yaml.SafeLoader(text)
            self.document()
        except yaml.MarkedYAMLError as error:
            self.problem(*self.syntax(error))
        except (ValueError, OverflowError):  # from chr() and int() inside PyYAML
            rule = "not valid YAML: the number of a character or version is out of range"
            self.problem(self.location(self.loader.get_mark()), (), rule)

    def document(self) -> None:
        """Read the one document that there is to be."""
        self.loader.get_event()
        if isinstance(self.loader.get_event(), yaml.StreamEndEvent):
            place = Location(self.source.file, 1, 1)
            self.problem(place, (), "is empty; a scenario starts with a key such as 'site:'")
            return
        self.source.data = self.value(self.loader.get_event(), (), kept=True)
        self.loader.get_event()
        if isinstance(event := self.loader.get_event(), yaml.DocumentStartEvent):
            rule = "a second document starts here; one file holds one document"
            self.problem(self.location(event.start_mark), (), rule)
        if not isinstance(self.source.data, dict):
            got = {list: "a list", type(None): "nothing"}.get(type(self.source.data), "one value")
            self.problem(self.source.locations[()], (), "the top level must be lines of 'key: value'", got)

    def syntax(self, error: yaml.MarkedYAMLError) -> tuple[Location, Path, str]:
        """Say in plain words what PyYAML could not read."""
        mark: Any = error.problem_mark
        begin: Any = error.context_mark or mark
        says, rule = f"{error.context} | {error.problem}", str(error.problem)
        for expression, at_begin, words in SYNTAX_RULES:
            if match := re.search(expression, says):
                rule = words.format(*match.groups(), line=begin.line + 1)
                mark = begin if at_begin else mark
                break
        return self.location(mark), (), rule if rule in (ANCHOR_RULE, TAG_RULE) else f"not valid YAML: {rule}"

    def place_of(self, event: yaml.NodeEvent, path: Path) -> Location:
        """Place of a key or value; report too many of them, and an anchor, an alias or a tag."""
        place = self.location(event.start_mark)
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self.problem(place, (), f"more than {MOST_NODES:,} keys and values; a scenario has some hundred")
            raise _Enough
        if event.anchor is not None:
            sign = "*" if isinstance(event, yaml.AliasEvent) else "&"
            self.problem(place, path, ANCHOR_RULE, f"{sign}{event.anchor}")
        if (tag := getattr(event, "tag", None)) is not None:
            self.problem(place, path, TAG_RULE, tag.replace("tag:yaml.org,2002:", "!!"))
        return place

    def value(self, event: yaml.NodeEvent, path: Path, *, kept: bool) -> Any:  # noqa: ANN401 - whatever YAML holds
        """Read a value; under a refused key it is read only for its problems, not kept."""
        place = self.place_of(event, path)
        if kept:
            self.source.locations[path] = place
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event, path, place)
        return self.collection(event, path, place, kept=kept) if isinstance(event, yaml.CollectionStartEvent) else None

    def collection(
        self, event: yaml.CollectionStartEvent, path: Path, place: Location, *, kept: bool
    ) -> dict[str, Any] | list[Any]:
        """Read a list or mapping to its end."""
        if len(path) == DEEPEST_LEVEL:
            self.problem(place, path, f"nested deeper than {DEEPEST_LEVEL} levels")
            raise _Enough
        entries: list[Any] = []
        block: dict[str, Any] = {}
        first_lines: dict[str, int] = {}
        while not isinstance(inner := self.loader.get_event(), yaml.CollectionEndEvent):
            if isinstance(event, yaml.SequenceStartEvent):
                entries.append(self.value(inner, (*path, len(entries)), kept=kept))
                continue
            key = inner.value if isinstance(inner, yaml.ScalarEvent) else "?"
            key_place = self.key(inner, (*path, key), first_lines)
            value = self.value(self.loader.get_event(), (*path, key), kept=kept and key_place is not None)
            if key_place is not None:
                block[key] = value
                if kept:
                    self.source.key_locations[(*path, key)] = key_place
        return entries if isinstance(event, yaml.SequenceStartEvent) else block

    def key(self, event: yaml.NodeEvent, path: Path, first_lines: dict[str, int]) -> Location | None:
        """Read a key as the text that is written; return its place, or None where it is refused."""
        place = self.place_of(event, path)
        if isinstance(event, yaml.CollectionStartEvent):
            self.problem(place, path[:-1], "a list or mapping cannot be a key; write the key as text")
            self.collection(event, path, place, kept=False)
        if not isinstance(event, yaml.ScalarEvent):
            return None
        key: str = event.value
        self.refuse_invisible(key, path, place)
        if event.style is None and key == "<<":
            self.problem(place, path, "merge keys (<<) are not read; use 'extends:'")
        elif event.style is None and not key:
            self.problem(place, path[:-1], "a key is missing before ':'")
        elif key in first_lines:
            self.problem(place, path, f"duplicate key {key!r}; the first stands in line {first_lines[key]}, keep one")
        else:
            first_lines[key] = place.line
            return place
        return None

    def scalar(self, event: yaml.ScalarEvent, path: Path, place: Location) -> str | float | bool | None:
        """Resolve a scalar by the core schema; quoted and block scalars are text."""
        text: str = event.value
        self.refuse_invisible(text, path, place)
        if event.style is not None:
            return text
        if text in WORDS:
            return WORDS[text]
        if NOT_FINITE.fullmatch(text):
            rule = "infinite and undefined numbers (.inf, .nan) are not read; write a number"
            self.problem(place, path, rule, text)
            return None
        return self.number(text, path, place)

    def number(self, text: str, path: Path, place: Location) -> str | float | None:
        """Read a plain scalar as a number if it is one."""
        whole = INTEGER.fullmatch(text)
        if not (whole or FLOAT.fullmatch(text)):
            return text
        if len(text) > LONGEST_NUMBER:
            rule = f"a number has at most {LONGEST_NUMBER} characters; shorten it, or quote it if it is text"
            self.problem(place, path, rule)
            return None
        value = int(text, 0 if text[:2] in {"0o", "0x"} else 10) if whole else float(text)
        if math.isinf(value):
            self.problem(place, path, "the number is too large to calculate with; write a smaller one", text)
        return value

    def refuse_invisible(self, text: str, path: Path, place: Location) -> None:
        """Report an invisible character that was written as an escape."""
        if character := INVISIBLE.search(text):
            self.problem(place, path, _invisible_rule(character[0]))

    def location(self, mark: Any) -> Location:  # noqa: ANN401 - one of PyYAML's two kinds
        return Location(self.source.file, mark.line + 1, mark.column + 1)


def _refuse_no_file(mode: int, file: str) -> None:
    """Refuse a folder, and a pipe: that may never end, and is read only once."""
    if stat.S_ISDIR(mode):
        _refuse(file, "is a directory; name a file")
    if stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode):
        _refuse(file, "is a pipe; write what comes from it to a file and name that")


def _invisible_rule(character: str) -> str:
    return f"the invisible character U+{ord(character):04X} is not read; delete it"


def _refuse(file: str, rule: str, line: int = 1, column: int = 1) -> NoReturn:
    raise ScenarioError(file, [Problem(file, line, column, "", rule)])
