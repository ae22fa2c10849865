"""YAML text to plain data with the place of every value.

The reader takes the events of PyYAML one by one and keeps its own stack, so that no text, however deeply
nested, can exhaust the interpreter's. Plain scalars follow the core schema of YAML 1.2 (section 10.3.2):
``22:15``, ``no`` and ``2024-01-01`` stay text. What makes YAML surprising (anchors, tags, merge keys,
duplicate keys) is refused. All problems are collected, each with its place, as far as the text can still be
understood.
"""

import math
import re
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

import yaml

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
NULLS = {"", "~", "null", "Null", "NULL"}
BOOLEANS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
INTEGER = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

ANCHOR_RULE = "anchors and aliases (&, *) are not read; write the value out or use 'extends:'"
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
    (
        r"expected (?:<block|'<document)",
        False,
        "this does not fit the lines above; check indentation, quotes",
    ),
]

KeyPath = tuple[str | int, ...]
Mark = Any
"""A place as PyYAML gives it, of one of its two classes."""


class Location(NamedTuple):
    """Where a value stands; lines and columns are counted from 1."""

    file: str
    line: int
    column: int


class TextProblem(NamedTuple):
    """One thing that is wrong, and where."""

    location: Location
    path: str
    rule: str
    got: str | None


class Document(NamedTuple):
    """Plain data, and where each of its values and keys stands."""

    data: Any
    """Dictionaries, lists, text, whole numbers, floats, booleans and None."""
    locations: dict[KeyPath, Location]
    """The place of each value by its path; the whole document has the path ()."""
    key_locations: dict[KeyPath, Location]
    """The place of each key by the path that ends with it."""


class YamlTextError(Exception):
    """The text cannot be read; `problems` holds everything that is wrong with it, from top to bottom."""

    def __init__(self, problems: list[TextProblem]) -> None:
        super().__init__(problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(f"{p.location.file}:{p.location.line}:{p.location.column}: {p.rule}" for p in self.problems)


def read_file(path: Path) -> Document:
    """Read one YAML file of at most 1 MiB in UTF-8."""
    file = str(path)
    try:
        if path.is_dir():
            _refuse(file, "is a directory; name a file")
        if path.stat().st_size > LARGEST_FILE_BYTES:
            _refuse_size(file)
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE_BYTES + 1)
    except FileNotFoundError:
        _refuse(file, "there is no such file")
    except (OSError, ValueError) as problem:
        _refuse(file, f"cannot be read: {str(getattr(problem, 'strerror', problem)).lower()}")
    if len(raw) > LARGEST_FILE_BYTES:
        _refuse_size(file)
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as problem:
        before = LINE_BREAK.split(raw[: problem.start].decode("utf-8"))
        place = Location(file, len(before), len(before[-1]) + 1)
        _refuse(file, "is not UTF-8 text; save it as UTF-8", place)
    return read_text(text, file)


def read_text(text: str, file: str) -> Document:
    """Read one YAML document whose top level is a mapping; `file` is the name that places show.

    Raises
    ------
    YamlTextError
        With all problems found.
    """
    if len(text) > LARGEST_FILE_BYTES or len(text.encode("utf-8", "surrogatepass")) > LARGEST_FILE_BYTES:
        _refuse_size(file)
    reader = _Reader(file)
    with suppress(_Enough):
        reader.read(reader.without_invisible(text.removeprefix("\ufeff")))
    if reader.problems:
        raise YamlTextError(sorted(reader.problems, key=lambda problem: problem.location[1:]))
    return Document(reader.data, reader.locations, reader.key_locations)


def path_text(path: KeyPath) -> str:
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
            plain = part and not re.search(r"[.\[\]\n]", part)
            text += ("." if text else "") + (part if plain else repr(part))
    return text


class _Enough(Exception):  # noqa: N818  (not an error: the problems are in the reader)
    """Nothing more can or should be read."""


@dataclass(slots=True)
class _Open:
    """A list or mapping whose end has not come yet."""

    path: KeyPath
    content: dict[str, Any] | list[Any]
    kept: bool
    """False under a refused key: read only for its problems."""
    key: str | None = None
    """The key that waits for its value."""
    key_kept: bool = True
    first_lines: dict[str, int] = field(default_factory=dict)


class _Reader:
    """Collects data, places and problems while the events pass by."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.data: Any = None
        self.locations: dict[KeyPath, Location] = {}
        self.key_locations: dict[KeyPath, Location] = {}
        self.problems: list[TextProblem] = []
        self.stack: list[_Open] = []
        self.nodes = 0

    def problem(self, place: Location, path: KeyPath, rule: str, got: str | None = None) -> None:
        self.problems.append(TextProblem(place, path_text(path), rule, got and got[:LONGEST_SHOWN]))
        if len(self.problems) == MOST_PROBLEMS:
            rule = f"more than {MOST_PROBLEMS - 1} problems; the rest is not listed"
            self.problems[-1] = TextProblem(place, "", rule, None)
            raise _Enough

    def without_invisible(self, text: str) -> str:
        """Report the first invisible character of each line and replace all of them."""
        for number, line in enumerate(LINE_BREAK.split(text), start=1):
            if found := INVISIBLE.search(line):
                self.problem(Location(self.file, number, found.start() + 1), (), _invisible_rule(found[0]))
        return INVISIBLE.sub(STAND_IN, text)

    def read(self, text: str) -> None:
        """Take the events one by one."""
        loader: Any = yaml.SafeLoader(text)
        documents = 0
        try:
            while loader.check_event():
                event = loader.get_event()
                if isinstance(event, yaml.NodeEvent):
                    self.node(event)
                elif isinstance(event, yaml.CollectionEndEvent):
                    self.stack.pop()
                elif isinstance(event, yaml.DocumentStartEvent):
                    documents += 1
                    if documents > 1:
                        rule = "a second document starts here; one file holds one document"
                        self.problem(self.location(event.start_mark), (), rule)
                        break
        except yaml.MarkedYAMLError as error:
            self.problem(*self.syntax(error))
            return
        except (ValueError, OverflowError):  # from chr() and int() inside PyYAML
            rule = "not valid YAML: the number of a character or version is out of range"
            self.problem(self.location(loader.get_mark()), (), rule)
            return
        if documents == 0:
            self.problem(Location(self.file, 1, 1), (), "is empty; a scenario starts with a key such as 'site:'")
        elif not isinstance(self.data, dict):
            got = {list: "a list", type(None): "nothing"}.get(type(self.data), "one value")
            self.problem(self.locations[()], (), "the top level must be lines of 'key: value'", got)

    def syntax(self, error: yaml.MarkedYAMLError) -> tuple[Location, KeyPath, str]:
        """Say in plain words what PyYAML could not read."""
        mark: Mark = error.problem_mark
        begin: Mark = error.context_mark or mark
        says, rule = f"{error.context} | {error.problem}", str(error.problem)
        for expression, at_begin, words in SYNTAX_RULES:
            if found := re.search(expression, says):
                rule = words.format(*found.groups(), line=begin.line + 1)
                mark = begin if at_begin else mark
                break
        return self.location(mark), (), rule if rule in (ANCHOR_RULE, TAG_RULE) else f"not valid YAML: {rule}"

    def node(self, event: yaml.NodeEvent) -> None:
        """Take a key, a value, or the begin of a list or mapping."""
        place = self.location(event.start_mark)
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self.problem(place, (), f"more than {MOST_NODES:,} keys and values; a scenario has some hundred")
            raise _Enough
        top = self.stack[-1] if self.stack else None
        if top is not None and isinstance(top.content, dict) and top.key is None:
            self.key(event, top, place)
        else:
            self.value(event, top, place)

    def key(self, event: yaml.NodeEvent, top: _Open, place: Location) -> None:
        """Take a key as the text that is written, and judge whether its value is kept."""
        key: str = event.value if isinstance(event, yaml.ScalarEvent) else "?"
        path = (*top.path, key)
        top.key, top.key_kept = key, False
        self.refuse_properties(event, path, place)
        if isinstance(event, yaml.CollectionStartEvent):
            self.problem(place, top.path, "a list or mapping cannot be a key; write the key as text")
            self.open(event, path, place, kept=False)
        if not isinstance(event, yaml.ScalarEvent):
            return
        self.refuse_invisible(key, path, place)
        if event.style is None and key == "<<":
            self.problem(place, path, "merge keys (<<) are not read; use 'extends:'")
        elif event.style is None and not key:
            self.problem(place, top.path, "a key is missing before ':'")
        elif key in top.first_lines:
            first = top.first_lines[key]
            self.problem(place, path, f"duplicate key {key!r}; the first stands in line {first}, keep one")
        else:
            top.key_kept = True
            top.first_lines[key] = place.line
            if top.kept:
                self.key_locations[path] = place

    def value(self, event: yaml.NodeEvent, top: _Open | None, place: Location) -> None:
        """Take a value and store it under its path."""
        path: KeyPath = ()
        kept = True
        if top is not None:
            last = top.key if top.key is not None else len(top.content)
            path, kept = (*top.path, last), top.kept and top.key_kept
        self.refuse_properties(event, path, place)
        if isinstance(event, yaml.CollectionStartEvent):
            value: Any = self.open(event, path, place, kept=kept)
        else:
            value = self.scalar(event, path, place) if isinstance(event, yaml.ScalarEvent) else None
        if top is None:
            self.data = value
        elif isinstance(top.content, list):
            top.content.append(value)
        elif top.key is not None:
            if top.key_kept:
                top.content[top.key] = value
            top.key = None
        if kept:
            self.locations[path] = place

    def open(
        self, event: yaml.CollectionStartEvent, path: KeyPath, place: Location, *, kept: bool
    ) -> dict[str, Any] | list[Any]:
        """Begin a list or mapping."""
        if len(self.stack) == DEEPEST_LEVEL:
            self.problem(place, path, f"nested deeper than {DEEPEST_LEVEL} levels")
            raise _Enough
        content: dict[str, Any] | list[Any] = {} if isinstance(event, yaml.MappingStartEvent) else []
        self.stack.append(_Open(path, content, kept))
        return content

    def scalar(self, event: yaml.ScalarEvent, path: KeyPath, place: Location) -> str | float | bool | None:
        """Resolve a scalar by the core schema; quoted and block scalars are text."""
        text: str = event.value
        self.refuse_invisible(text, path, place)
        if event.style is not None:
            return text
        if text in NULLS:
            return None
        if text in BOOLEANS:
            return BOOLEANS[text]
        if NOT_FINITE.fullmatch(text):
            rule = "infinite and undefined numbers (.inf, .nan) are not read; write a number"
            self.problem(place, path, rule, text)
            return None
        return self.number(text, path, place)

    def number(self, text: str, path: KeyPath, place: Location) -> str | float | None:
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

    def refuse_properties(self, event: yaml.NodeEvent, path: KeyPath, place: Location) -> None:
        """Report an anchor, an alias or a tag."""
        if event.anchor is not None:
            sign = "*" if isinstance(event, yaml.AliasEvent) else "&"
            self.problem(place, path, ANCHOR_RULE, f"{sign}{event.anchor}")
        tag = getattr(event, "tag", None)
        if tag is not None:
            self.problem(place, path, TAG_RULE, tag.replace("tag:yaml.org,2002:", "!!"))

    def refuse_invisible(self, text: str, path: KeyPath, place: Location) -> None:
        """Report an invisible character that was written as an escape."""
        if found := INVISIBLE.search(text):
            self.problem(place, path, _invisible_rule(found[0]))

    def location(self, mark: Mark) -> Location:
        return Location(self.file, mark.line + 1, mark.column + 1)


def _invisible_rule(character: str) -> str:
    return f"the invisible character U+{ord(character):04X} is not read; delete it"


def _refuse(file: str, rule: str, place: Location | None = None) -> NoReturn:
    raise YamlTextError([TextProblem(place or Location(file, 1, 1), "", rule, None)])


def _refuse_size(file: str) -> NoReturn:
    _refuse(file, "file is larger than 1 MiB; a scenario is a few kilobytes")
