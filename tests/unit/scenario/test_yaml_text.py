"""YAML text to plain data: every value at its place, every refusal to the letter, no text too hostile."""

import os
import pickle
import re
import time
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from batsim.errors import ScenarioError
from batsim.scenario.text.located_data import path_text
from batsim.scenario.text.yaml_text import DEEPEST_LEVEL, LARGEST_FILE_BYTES, MOST_NODES, read_file, read_text

ANCHORS = "anchors and aliases (&, *) are not read; write the value out or use 'extends:'"
TAGS = "tags (!...) are not read; write plain values"
SIZE = "file is larger than 1 MiB; a scenario is a few kilobytes"
EMPTY = "is empty; a scenario starts with a key such as 'site:'"
TOP_LEVEL = "the top level must be lines of 'key: value'"
UNFIT = "not valid YAML: this does not fit the lines above; check indentation, quotes"
ESCAPE = "not valid YAML: unknown escape after \\ in double quotes; use single quotes"
OUT_OF_RANGE = "not valid YAML: the number of a character or version is out of range"
NESTED = "nested deeper than 20 levels"
NOT_FINITE = "infinite and undefined numbers (.inf, .nan) are not read; write a number"


def problems(text: str) -> list[tuple[int, int, str, str, str | None]]:
    """Return all problems of a text as (line, column, path, rule, got)."""
    with pytest.raises(ScenarioError) as caught:
        read_text(text, "a.yaml")
    assert {problem.file for problem in caught.value.problems} == {"a.yaml"}
    return [(p.line, p.column, p.path, p.rule, p.got) for p in caught.value.problems]


def only_problem(text: str) -> tuple[int, int, str]:
    """Return line, column and rule of a text with one problem."""
    ((line, column, _, rule, _),) = problems(text)
    return line, column, rule


def problems_of_file(path: Path) -> list[tuple[int, int, str]]:
    """Return all problems of a file as (line, column, rule)."""
    with pytest.raises(ScenarioError) as caught:
        read_file(path)
    assert {problem.file for problem in caught.value.problems} == {str(path)}
    return [(p.line, p.column, p.rule) for p in caught.value.problems]


# --- what is read ---


@pytest.mark.parametrize(
    ("scalar", "value"),
    [
        ("", None),
        ("~", None),
        ("null", None),
        ("NULL", None),
        ("nUll", "nUll"),
        ("true", True),
        ("False", False),
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("12", 12),
        ("-12", -12),
        ("+12", 12),
        ("012", 12),
        ("0o17", 15),
        ("0x1F", 31),
        ("0b11", "0b11"),
        ("-0x1F", "-0x1F"),
        ("1_000", "1_000"),
        ("1,000", "1,000"),
        ("1.5", 1.5),
        ("-1.5e3", -1500.0),
        (".5", 0.5),
        ("12.", 12.0),
        ("1e3", 1000.0),
        ("1e-400", 0.0),
        (".", "."),
        ("e3", "e3"),
        ("22:15", "22:15"),
        ("1:30:00", "1:30:00"),
        ("2024-01-01", "2024-01-01"),
        ("=", "="),
        ("8 h", "8 h"),
        ("25 %", "25 %"),
        ("44 x IUIa 120 A", "44 x IUIa 120 A"),
        ("9" * 40, int("9" * 40)),
        ("'12'", "12"),
        ('"true"', "true"),
        ("''", ""),
        ("'<<'", "<<"),
        ("'.nan'", ".nan"),
        ('"a\\tb\\n"', "a\tb\n"),
        ("|\n  12\n", "12\n"),
        (">-\n  12\n", "12"),
        ("[]", []),
        ("{}", {}),
        ("[1, [a: b]]", [1, [{"a": "b"}]]),
    ],
)
def test_scalars_follow_the_core_schema(scalar: str, value: object) -> None:
    """Plain scalars are what YAML 1.2 says, quoted and block scalars are text."""
    found = read_text(f"key: {scalar}", "a.yaml").data["key"]

    assert found == value
    assert type(found) is type(value)


def test_keys_are_text_exactly_as_written() -> None:
    """No key turns into a number, a truth value or nothing."""
    text = "no: 1\n012: 2\ntrue: 3\n~: 4\n'<<': 5\n22:15: 6\n'': 7\nlead 48 V 750 Ah: 8\n1.0: 9\n"

    assert read_text(text, "a.yaml").data == {
        "no": 1,
        "012": 2,
        "true": 3,
        "~": 4,
        "<<": 5,
        "22:15": 6,
        "": 7,
        "lead 48 V 750 Ah": 8,
        "1.0": 9,
    }


SMALL = """\
# a comment
site:
  name: "Somewhere"
trucks:
  - group: one
    duty: {mean_power: 3.4 kW,
            cv: 0.2}
  - {}
empty:
"""


def test_places_of_a_small_document() -> None:
    """Each value and each key has its line and column, counted by hand."""
    document = read_text(SMALL, "a.yaml")

    assert document.data == {
        "site": {"name": "Somewhere"},
        "trucks": [{"group": "one", "duty": {"mean_power": "3.4 kW", "cv": 0.2}}, {}],
        "empty": None,
    }
    assert {path_text(path): place[1:] for path, place in document.locations.items()} == {
        "": (2, 1),
        "site": (3, 3),
        "site.name": (3, 9),
        "trucks": (5, 3),
        "trucks[0]": (5, 5),
        "trucks[0].group": (5, 12),
        "trucks[0].duty": (6, 11),
        "trucks[0].duty.mean_power": (6, 24),
        "trucks[0].duty.cv": (7, 17),
        "trucks[1]": (8, 5),
        "empty": (9, 7),
    }
    assert {path_text(path): place[1:] for path, place in document.key_locations.items()} == {
        "site": (2, 1),
        "site.name": (3, 3),
        "trucks": (4, 1),
        "trucks[0].group": (5, 5),
        "trucks[0].duty": (6, 5),
        "trucks[0].duty.mean_power": (6, 12),
        "trucks[0].duty.cv": (7, 13),
        "empty": (9, 1),
    }
    assert {place.file for place in document.locations.values()} == {"a.yaml"}


@pytest.mark.parametrize("line_break", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("begin", ["", "\ufeff"])
def test_line_breaks_and_byte_order_mark_change_nothing(line_break: str, begin: str) -> None:
    """Files from any system read alike, places included."""
    expected = read_text(SMALL, "a.yaml")

    assert read_text(begin + SMALL.replace("\n", line_break), "a.yaml") == expected


def test_document_marks_are_allowed() -> None:
    """One document may have its begin, end and version marked."""
    assert read_text("%YAML 1.2\n---\na: 1\n...\n", "a.yaml").data == {"a": 1}


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ((), ""),
        (("trucks", 0, "duty", "mean_power"), "trucks[0].duty.mean_power"),
        (("layouts", "side rollers", "stations"), "layouts.side rollers.stations"),
        (("layouts", "v1.2", "a[b"), "layouts.'v1.2'.'a[b'"),
        (("a]", ""), "'a]'.''"),
        (("driver's", "a\nb"), "driver's.'a\\nb'"),
        ((0, 1, "a"), "[0][1].a"),
    ],
)
def test_paths_as_in_messages(path: tuple[str | int, ...], text: str) -> None:
    """A path reads as one would say it; names with dots or brackets are quoted."""
    assert path_text(path) == text


# --- what is refused ---


def test_every_problem_is_reported_at_once() -> None:
    """One reading finds all problems, in the order of the lines."""
    text = """\
site: &here {name: A}
again: *here
trucks:
  - {count: !!int 3, count: 4}
  - <<: {a: 1}
    life: .inf
  - ? [1, &x 2]
    : {z: 1, z: 2}
trucks: {b: 1, b: 2}
: nothing
"""
    assert problems(text) == [
        (1, 7, "site", ANCHORS, "&here"),
        (2, 8, "again", ANCHORS, "*here"),
        (4, 13, "trucks[0].count", TAGS, "!!int"),
        (4, 22, "trucks[0].count", "duplicate key 'count'; the first stands in line 4, keep one", None),
        (5, 5, "trucks[1].<<", "merge keys (<<) are not read; use 'extends:'", None),
        (6, 11, "trucks[1].life", NOT_FINITE, ".inf"),
        (7, 7, "trucks[2]", "a list or mapping cannot be a key; write the key as text", None),
        (7, 11, "trucks[2].?[1]", ANCHORS, "&x"),
        (8, 14, "trucks[2].?.z", "duplicate key 'z'; the first stands in line 8, keep one", None),
        (9, 1, "trucks", "duplicate key 'trucks'; the first stands in line 3, keep one", None),
        (9, 16, "trucks.b", "duplicate key 'b'; the first stands in line 9, keep one", None),
        (10, 1, "", UNFIT, None),  # here PyYAML stops
    ]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("*x : 1", (1, 1, "?", ANCHORS, "*x")),
        ("&k a: 1", (1, 1, "a", ANCHORS, "&k")),
        ("a: &" + "x" * 100, (1, 4, "a", ANCHORS, "&" + "x" * 59)),
        ("a: !truck {}", (1, 4, "a", TAGS, "!truck")),
        ("a: ! 12", (1, 4, "a", TAGS, "!")),
        ("!!map {a: 1}", (1, 1, "", TAGS, "!!map")),
        ("? !!str a\n: 1", (1, 3, "a", TAGS, "!!str")),
        ("a: !!python/object:os.system x", (1, 4, "a", TAGS, "!!python/object:os.system")),
        (
            "a: {1: x, '1': y}",
            (1, 11, "a.1", "duplicate key '1'; the first stands in line 1, keep one", None),
        ),
        ("? {a: 1}\n: 2", (1, 3, "", "a list or mapping cannot be a key; write the key as text", None)),
        ("?\n: 1", (1, 2, "", "a key is missing before ':'", None)),
        ("a: -.INF", (1, 4, "a", NOT_FINITE, "-.INF")),
        ("a: .NaN", (1, 4, "a", NOT_FINITE, ".NaN")),
        ("a: 1e999", (1, 4, "a", "the number is too large to calculate with; write a smaller one", "1e999")),
        (
            "a: " + "9" * 41,
            (1, 4, "a", "a number has at most 40 characters; shorten it, or quote it if it is text", None),
        ),
        ("a: 1\n---\nb: 2", (2, 1, "", "a second document starts here; one file holds one document", None)),
        ("- a", (1, 1, "", TOP_LEVEL, "a list")),
        ("a:b", (1, 1, "", TOP_LEVEL, "one value")),
        ("--- ~", (1, 5, "", TOP_LEVEL, "nothing")),
        ("", (1, 1, "", EMPTY, None)),
        ("\ufeff", (1, 1, "", EMPTY, None)),
        ("# only\n\n# comments\n", (1, 1, "", EMPTY, None)),
    ],
)
def test_refused_contents(text: str, expected: tuple[int, int, str, str, str | None]) -> None:
    """What makes YAML surprising is refused at its place, with the cure."""
    assert problems(text) == [expected]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a:\n\t- 1", (2, 1, "not valid YAML: a tab stands here; use spaces")),
        ("a:\t1", (1, 3, "not valid YAML: a tab stands here; use spaces")),
        ("a: @b", (1, 4, "not valid YAML: a value cannot start with @; put it in quotes")),
        ("a: %b", (1, 4, "not valid YAML: a value cannot start with %; put it in quotes")),
        ("a: `b`", (1, 4, "not valid YAML: a value cannot start with `; put it in quotes")),
        ("a: 1\nb\nc: 2", (2, 1, "not valid YAML: this key has no ':' with a space after it")),
        ('a: "b\nc: 1', (1, 4, "not valid YAML: a quote is opened here and never closed")),
        ("a: 'b\n---\nc: 1", (1, 4, "not valid YAML: a quote is opened here and never closed")),
        ('a: "C:\\path"', (1, 8, ESCAPE)),
        ('a: "\\xZZ"', (1, 7, ESCAPE)),
        ('a: "\\UFFFFFFFF"', (1, 7, OUT_OF_RANGE)),
        ("%YAML 1." + "9" * 5000 + "\n---\na: 1", (1, 9, OUT_OF_RANGE)),
        ("a: *.csv", (1, 4, ANCHORS)),
        ("a: & b", (1, 4, ANCHORS)),
        ("a: !x!", (1, 4, TAGS)),
        ("a: !foo!bar 1", (1, 4, TAGS)),
        ("a: !%zz", (1, 4, TAGS)),
        ("%YAML 2.0\n---\na: 1", (1, 1, "not valid YAML: lines that start with % are not read; delete them")),
        ("%", (1, 2, "not valid YAML: lines that start with % are not read; delete them")),
        ("a: |x\n b", (1, 5, "not valid YAML: after | or > the text starts on the next line")),
        ("a: > x\n b", (1, 6, "not valid YAML: after | or > the text starts on the next line")),
        ("a: - b", (1, 4, "not valid YAML: a list item (-) cannot stand here; check the indentation")),
        ("a: ? b", (1, 4, "not valid YAML: a question mark cannot stand here; put the text in quotes")),
        (
            "a: b: c",
            (
                1,
                5,
                "not valid YAML: a second ':' cannot stand here; check the indentation, or quote the text",
            ),
        ),
        ("a:\n  [1, 2\nb: 3", (3, 2, "not valid YAML: what was opened in line 2 needs a ',' or ']' here")),
        ("a: {b: 1 {", (1, 10, "not valid YAML: what was opened in line 1 needs a ',' or '}' here")),
        ("a: [1,,2]", (1, 7, "not valid YAML: a value is missing here")),
        ("a: 'x' y", (1, 8, UNFIT)),
        ("  a: 1\n b: 2", (2, 2, UNFIT)),
        ("- a\nb: 1", (2, 1, UNFIT)),
        ("a: 1\n...\nb: 2\n}", (3, 1, UNFIT)),
    ],
)
def test_invalid_yaml_is_said_in_plain_words(text: str, expected: tuple[int, int, str]) -> None:
    """What PyYAML cannot read becomes one sentence at the line and column of the fault."""
    assert only_problem(text) == expected


def test_unforeseen_words_of_the_parser_are_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """A message of PyYAML that the table does not know is shown as it is."""
    monkeypatch.setattr("batsim.scenario.text.yaml_text.SYNTAX_RULES", [])

    assert only_problem("a: b: c") == (1, 5, "not valid YAML: mapping values are not allowed here")


@pytest.mark.parametrize(
    ("character", "number"),
    [
        ("\x00", "0000"),
        ("\x1b", "001B"),
        ("\x7f", "007F"),
        ("\x85", "0085"),
        ("\u2028", "2028"),
        ("\u202e", "202E"),
        ("\u2066", "2066"),
        ("\ufeff", "FEFF"),
        ("\ud800", "D800"),
        ("\uffff", "FFFF"),
    ],
)
def test_invisible_characters_are_refused(character: str, number: str) -> None:
    """The first invisible character of each line is named, written raw or as an escape."""
    rule = f"the invisible character U+{number} is not read; delete it"

    assert problems(f"a: b\r\nc: x{character}{character}\n{character}: &x 1") == [
        (2, 5, "", rule, None),
        (3, 1, "", rule, None),
        (3, 4, "\ufffd", ANCHORS, "&x"),
    ]
    assert problems(f'"\\u{number}": "\\u{number}"')[1] == (1, 11, path_text((character,)), rule, None)


def test_long_lists_of_problems_are_cut() -> None:
    """After 99 problems the reader stops and says so."""
    found = problems("\n".join(f"k{number}: *x" for number in range(1000)))

    assert found[98] == (99, 6, "k98", ANCHORS, "*x")
    assert found[99:] == [(100, 6, "", "more than 99 problems; the rest is not listed", None)]
    assert len(problems("\n".join(f"k{number}: *x" for number in range(99)))) == 99


def test_error_shows_its_problems_and_can_be_sent_to_another_process() -> None:
    """The text of the error has one line for each problem; pickling keeps them."""
    with pytest.raises(ScenarioError) as caught:
        read_text("a: *x\nb: !y z", "a.yaml")

    assert (
        str(caught.value)
        == f"a.yaml: 2 problems\n  a.yaml:1:4: a: {ANCHORS} (got *x)\n  a.yaml:2:4: b: {TAGS} (got !y)"
    )
    assert pickle.loads(pickle.dumps(caught.value)).problems == caught.value.problems


# --- limits ---


def test_twenty_levels_are_read_and_one_more_is_not() -> None:
    """The depth limit counts the mapping at the top."""
    inside = DEEPEST_LEVEL - 1

    assert read_text("a: " + "[" * inside + "]" * inside, "a.yaml").locations.keys() >= {("a", *[0] * (inside - 1))}
    assert only_problem("a: " + "[" * DEEPEST_LEVEL + "]" * DEEPEST_LEVEL) == (1, 23, NESTED)


@pytest.mark.parametrize(
    ("text", "column"),
    [("[" * 5000, 21), ("a: " + "[" * 5000 + "]" * 5000, 23), ("{a: " * 5000, 81), ("- " * 5000, 41)],
)
def test_deep_nesting_ends_in_a_message(text: str, column: int) -> None:
    """Five thousand brackets exhaust nothing."""
    assert problems(text) == [(1, column, path_text_at_limit(text), NESTED, None)]


def path_text_at_limit(text: str) -> str:
    """Return the path of the first value beyond the depth limit in a text of one kind of bracket."""
    if text.startswith("{"):
        return ".".join("a" * DEEPEST_LEVEL)
    return "a" + "[0]" * (DEEPEST_LEVEL - 1) if text.startswith("a") else "[0]" * DEEPEST_LEVEL


def test_deep_keys_end_in_a_message() -> None:
    """Nesting inside of keys counts as well."""
    assert problems("? " * 5000)[-1][3] == NESTED


def test_number_of_keys_and_values_is_limited() -> None:
    """The reader stops at once beyond 20,000 nodes."""
    most = (MOST_NODES - 1) // 2
    text = "".join(f"k{number}: {number}\n" for number in range(most))
    rule = "more than 20,000 keys and values; a scenario has some hundred"

    assert len(read_text(text, "a.yaml").data) == most
    assert only_problem(text + "x: 1\ny: 2\n") == (most + 1, 4, rule)


def test_alias_bomb_is_refused_without_growing() -> None:
    """Every anchor and alias is named, nothing is multiplied."""
    text = "a0: &a0 [x, x]\n" + "".join(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]\n" for n in range(1, 30))
    found = problems(text)

    assert len(found) == 30 + 2 * 29
    assert {rule for _, _, _, rule, _ in found} == {ANCHORS}


@pytest.mark.parametrize(
    "text",
    [
        "\x07" * LARGEST_FILE_BYTES,
        "\x07\n" * (LARGEST_FILE_BYTES // 2),
        "\t" * LARGEST_FILE_BYTES,
        "[" * LARGEST_FILE_BYTES,
        "{a0: " * 200_000,
        "a: [" + "{}," * 300_000,
        "!" * LARGEST_FILE_BYTES,
        "a: " + "9" * 1_000_000,
    ],
)
def test_hostile_texts_end_soon(text: str) -> None:
    """No text of a megabyte keeps the reader busy."""
    begin = time.perf_counter()
    problems(text)

    assert time.perf_counter() - begin < 5


def test_text_of_one_mebibyte_is_read_and_a_byte_more_is_not() -> None:
    """The size counts bytes, not characters."""
    text = "a: 1\n#" + "ü" * ((LARGEST_FILE_BYTES - 6) // 2)

    assert read_text(text, "a.yaml").data == {"a": 1}
    assert only_problem(text + "x") == (1, 1, SIZE)
    assert only_problem("x" * (LARGEST_FILE_BYTES + 1)) == (1, 1, SIZE)


# --- files ---


def test_file_with_byte_order_mark_is_read(tmp_path: Path) -> None:
    """UTF-8 is read with or without its mark."""
    path = tmp_path / "a.yaml"
    path.write_bytes(b"\xef\xbb\xbfname: D\xc3\xa9p\xc3\xb4t\r\n")
    document = read_file(path)

    assert document.data == {"name": "Dépôt"}
    assert document.locations[("name",)] == (str(path), 1, 7)


@pytest.mark.parametrize(
    ("content", "place"),
    [(b"a: 1\nb: \xfc", (2, 4)), (b"\xff\xfea\x00", (1, 1)), (b"\xc3\xbc\r\n\xc3\xbc\xc3", (2, 2))],
)
def test_file_that_is_not_utf8_is_refused_at_the_byte(tmp_path: Path, content: bytes, place: tuple[int, int]) -> None:
    """The first byte that is no UTF-8 is named by line and column."""
    path = tmp_path / "a.yaml"
    path.write_bytes(content)

    assert problems_of_file(path) == [(*place, "is not UTF-8 text; save it as UTF-8")]


def test_large_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """A file of 2 MB ends in one message."""
    path = tmp_path / "a.yaml"
    path.write_bytes(b"a" * 2_000_000)

    assert problems_of_file(path) == [(1, 1, SIZE)]


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs an endless device")
def test_endless_device_is_refused() -> None:
    """A file that claims no size is read no further than the limit."""
    assert problems_of_file(Path("/dev/zero")) == [(1, 1, SIZE)]


def test_missing_file_and_directory_are_refused(tmp_path: Path) -> None:
    """The message says what is wrong with the name."""
    assert problems_of_file(tmp_path / "none.yaml") == [(1, 1, "there is no such file")]
    assert problems_of_file(tmp_path) == [(1, 1, "is a directory; name a file")]
    assert problems_of_file(tmp_path / "a\0b") == [(1, 1, "cannot be read: embedded null byte")]


@pytest.mark.skipif(os.name != "posix", reason="the words are those of the operating system")
def test_unreadable_file_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The reason of the operating system is passed on."""
    path = tmp_path / "a.yaml"
    path.write_text("a: 1")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)

    assert problems_of_file(path) == [(1, 1, "cannot be read: permission denied")]
    monkeypatch.undo()
    assert problems_of_file(path / "b.yaml") == [(1, 1, "cannot be read: not a directory")]


# --- anything ---

VISIBLE = st.characters(
    codec="utf-8", exclude_categories=("Cc", "Cs"), exclude_characters="\u2028\u2029\ufeff\ufffe\uffff"
).filter(lambda character: not re.match("[\u202a-\u202e\u2066-\u2069]", character))
# YAML 1.1, in which PyYAML writes, leaves some texts unquoted that are numbers in YAML 1.2.
NUMBER_LIKE = re.compile(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?|0o[0-7]+|0x[0-9a-fA-F]+")
TEXT = st.text(VISIBLE, max_size=12).filter(lambda text: not NUMBER_LIKE.fullmatch(text))
TRAPS = st.sampled_from(
    ["no", "22:15", "1_000", "~", "null", "<<", "=", "", "- a", "a: b", "#", "'", '"', "2024-01-01"]
)
SCALARS = (
    st.none()
    | st.booleans()
    | st.integers(-(2**63), 2**63)
    | st.floats(allow_nan=False, allow_infinity=False)
    | TEXT
    | TRAPS
)
PLAIN_DATA = st.dictionaries(
    TEXT | TRAPS,
    st.recursive(
        SCALARS,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT | TRAPS, inner, max_size=4),
        max_leaves=12,
    ),
    max_size=5,
)


class WithoutAliases(yaml.SafeDumper):
    """Write equal parts out again instead of naming them."""

    def ignore_aliases(self, data: object) -> bool:
        """Never name a part."""
        return True


@given(data=PLAIN_DATA, flow=st.sampled_from([True, False, None]))
@settings(deadline=None)
def test_what_pyyaml_writes_is_read_back(data: dict[str, Any], flow: bool | None) -> None:
    """Nested plain data survive writing and reading, and every value has a place."""
    text = yaml.dump(data, Dumper=WithoutAliases, default_flow_style=flow, allow_unicode=True, sort_keys=False)
    document = read_text(text, "a.yaml")

    assert document.data == data
    assert repr(document.data) == repr(data)
    assert document.locations.keys() == set(paths_of(data, ()))


def paths_of(value: object, path: tuple[str | int, ...]) -> list[tuple[str | int, ...]]:
    """List the path of a value and of everything inside of it."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(each for key, item in inner for each in paths_of(item, (*path, key)))]


@given(text=st.text(st.sampled_from("ab: -?,[]{}\n'\"&*!|>%@#<~.0\t\\x\r\x07") | VISIBLE, max_size=40))
@settings(max_examples=400, deadline=None)
def test_any_text_is_read_or_refused(text: str) -> None:
    """Nothing but a document or a list of problems comes back."""
    try:
        found = len(read_text(text, "a.yaml").locations)
    except ScenarioError as error:
        found = len(error.problems)

    assert found > 0
