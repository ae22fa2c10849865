"""Order in the house: lint, types, layers, complexity, names and files are as the project says."""

import ast
import inspect
import re
import shutil
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import grimp
import pytest
from radon.complexity import cc_visit
from radon.raw import analyze

import batsim
from batsim.cli import main

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "batsim").rglob("*.py"))
LONG = 400
"""Lines from which a file is mentioned: it may be right, but somebody should have thought about it."""
MOST_COMPLEX, COMPLEX, COMPLEX_PER_1000_LINES = 15, 10, 1.5
"""Paths through one block at most; what counts as many; how many such blocks there may be in 1,000 code lines."""
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "batsim", "scenarios", "notebooks",
    "tests",
}  # fmt: skip
GUIDES = sorted((ROOT / "batsim" / "guide").glob("*.md"))
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = "\n\n".join([README, *(guide.read_text(encoding="utf-8") for guide in GUIDES)])
"""All that a user may read."""


def name_of(file: Path) -> str:
    """Dotted name of a module of the package."""
    return ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def tool(*arguments: str) -> str:
    """Run a tool that is installed beside the interpreter, and return what it says; it must find nothing."""
    path = Path(sys.executable).with_name(arguments[0])
    done = subprocess.run([path, *arguments[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def tracked() -> list[str]:
    """Files under version control; a package that was unpacked somewhere has none."""
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("not a repository")
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.split("\0")[:-1]


# --- tools ---


@pytest.mark.parametrize("folder", ["batsim", "tests", "notebooks"])
def test_lint(folder: str) -> None:
    """Ruff, with the rules of pyproject.toml."""
    tool("ruff", "check", "--no-cache", folder)


def test_types() -> None:
    """Mypy in strict mode."""
    assert tool("mypy").startswith("Success: no issues found")


def test_layers() -> None:
    """Imports point downwards only, between packages and inside them."""
    said = tool("lint-imports", "--no-cache")

    assert re.search(r"Contracts: (\d+) kept, 0 broken", said)


def imports(*, for_types: bool) -> "dict[str, set[str]]":
    """Modules that each module of the package imports, those that only type checkers see included or not."""
    graph = grimp.build_graph("batsim", exclude_type_checking_imports=not for_types, cache_dir=None)
    return {name: set(graph.find_modules_directly_imported_by(name)) for name in graph.modules}


@pytest.mark.parametrize("for_types", [False, True], ids=["when run", "for type checkers"])
def test_no_two_modules_import_each_other(for_types: bool) -> None:
    """Only the activities of a room know the room that they are part of, and that for type checkers alone."""
    imported = imports(for_types=for_types)
    pairs = [(one, other) for one in imported for other in imported[one] if one < other and one in imported[other]]

    assert [pair for pair in pairs if not (for_types and all(name.startswith("batsim.room.") for name in pair))] == []


ROOM = (
    {"simulation"},
    {"area", "outages", "duty", "initial_state"},
    {"plugged_in"},
    {"exchanging", "on_charge", "maintaining"},
    {"people"},
    {"truck", "battery", "queue", "use"},
    {"plans"},
    {"chance"},
    {"timing"},
)
"""Parts of the room, each resting on those that stand below it."""


def test_parts_of_the_room_rest_on_one_another_one_way() -> None:
    """When the room runs; type checkers see its activities know one another."""
    level = {part: number for number, parts in enumerate(ROOM) for part in parts}

    def of(module: str) -> int | None:
        part = module.removeprefix("batsim.room.").partition(".")[0]
        return level[part] if module.startswith("batsim.room.") else None

    pairs = [(one, other) for one, others in imports(for_types=False).items() for other in others]
    known = [(one, other, of(one), of(other)) for one, other in pairs]
    upwards = [(one, other) for one, other, high, low in known if high is not None and low is not None and low < high]
    assert upwards == []
    assert level.keys() == {
        path.stem for path in (ROOT / "batsim" / "room").iterdir() if not path.name.startswith("__")
    }


def test_what_is_complex_is_rare() -> None:
    """No block has more paths than somebody can hold in mind, and few come near it."""
    texts = {file: file.read_text(encoding="utf-8") for file in SOURCES}
    blocks = [
        (block.complexity, f"{file.relative_to(ROOT)}:{block.lineno} {block.name}")
        for file, text in texts.items()
        for block in cc_visit(text)
        if block.complexity > COMPLEX
    ]
    lines = sum(analyze(text).sloc for text in texts.values())

    assert [block for block in sorted(blocks, reverse=True) if block[0] > MOST_COMPLEX] == []
    assert 1000.0 * len(blocks) / lines <= COMPLEX_PER_1000_LINES, sorted(blocks, reverse=True)


# --- files ---


def says_what_it_is(text: str) -> bool:
    """Whether the first line of a module is a sentence about it."""
    first = text.split("\n", 1)[0]
    return first.startswith('"""') and first.removesuffix('"""').endswith((".", "?"))


def test_every_module_says_what_it_is() -> None:
    """Its first line is a sentence about it; one that is long is mentioned (`pytest -rP`)."""
    texts = {name_of(file): file.read_text(encoding="utf-8") for file in SOURCES}
    for name, text in texts.items():
        if (count := len(text.splitlines())) > LONG:
            print(f"{name} has {count} lines")  # noqa: T201 - shown when asked for

    assert [name for name, text in texts.items() if not says_what_it_is(text)] == []


def test_no_module_is_named_for_nothing() -> None:
    """A name says what is inside."""
    assert {"utils", "util", "helpers", "common", "misc"} & {file.stem for file in SOURCES} == set()


def test_the_top_level_is_short() -> None:
    """A newcomer finds the way at a glance."""
    names = {file.split("/")[0] for file in tracked()}

    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def test_what_is_made_is_not_kept() -> None:
    """No caches or builds under version control, and no file that is too large to read."""
    files = tracked()

    assert [file for file in files if re.search(r"__pycache__|\.pyc$|\.egg-info|^dist/|^build/|_cache/", file)] == []
    assert [file for file in files if (ROOT / file).is_file() and (ROOT / file).stat().st_size > 2**20] == []


# --- the package ---


def test_one_version() -> None:
    """The package and its description agree."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        assert tomllib.load(file)["project"]["version"] == batsim.__version__


def homes() -> dict[str, str]:
    """Where each public name lives, as the stub of the package says."""
    stub = ast.parse((ROOT / "batsim" / "__init__.pyi").read_text(encoding="utf-8"))
    return {
        alias.name: f"batsim.{node.module}"
        for node in stub.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_public_names_are_at_home_where_the_stub_says() -> None:
    """The stub is the one list of them, which type checkers read too."""
    assert sorted(batsim.__all__) == sorted(homes())
    assert dir(batsim) == sorted([*homes(), "__version__"])
    assert (ROOT / "batsim" / "py.typed").is_file()
    for name, home in homes().items():
        assert getattr(batsim, name) is getattr(import_module(home), name)
        assert getattr(batsim, name).__module__ == home
        assert getattr(batsim, name).__doc__


def test_what_public_functions_return_is_public() -> None:
    """Every class of the package in what a function says that it returns."""
    functions = [getattr(batsim, name) for name in homes() if inspect.isfunction(getattr(batsim, name))]
    returned = {
        found
        for function in functions
        for found in re.findall(r"batsim[\w.]*\.([A-Z]\w*)", str(function.__annotations__["return"]))
    }

    assert len(functions) > 30
    assert len(returned) > 10
    assert returned - set(homes()) == set()


def test_a_name_that_is_not_there() -> None:
    """Is said."""
    with pytest.raises(AttributeError) as caught:
        batsim.simulat  # noqa: B018

    assert str(caught.value) == "No batsim attribute simulat"


def test_lists_of_public_names_are_true() -> None:
    """Where a module has `__all__`, it is in order and every name exists."""
    modules = [import_module(name_of(file)) for file in SOURCES if file.name != "__main__.py"]
    listed = [(module, list(getattr(module, "__all__", ()))) for module in modules]

    # Constants, classes, functions, each by the alphabet, as ruff sorts them.
    assert [
        module.__name__
        for module, names in listed
        if names != sorted(names, key=lambda name: (not name.isupper(), name.islower(), name))
    ] == []
    assert [name for module, names in listed for name in names if not hasattr(module, name)] == []


def test_importing_is_quick() -> None:
    """The package itself loads nothing heavy."""
    code = (
        "import sys, batsim; print([name for name in ('numpy', 'simpy', 'pandas', 'pydantic') if name in sys.modules])"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


# --- the README ---


def commands_in(text: str) -> list[tuple[str, str]]:
    """Every batsim command in the code blocks of a text, with the rest of its line."""
    blocks = text.split("\n```")[1::2]
    lines = [line for block in blocks for line in block.splitlines()]
    found = [re.search(r"(?:^|bin/|\$ )batsim ([a-z-]+)(.*)", line) for line in lines]
    return [(match[1], match[2]) for match in found if match]


@pytest.mark.parametrize(("command", "rest"), commands_in(PAGES))
def test_commands_that_are_shown_exist(command: str, rest: str) -> None:
    """With the options and the files that they name."""
    options = {name for each in main.commands[command].params for name in each.opts}

    assert set(re.findall(r"(?<!\S)--?[a-z][a-z-]*", rest)) <= options
    assert [name for name in re.findall(r"scenarios/\S+", rest) if not (ROOT / name).is_file()] == []


def test_every_command_is_in_the_readme() -> None:
    """Nobody should have to search for one."""
    assert {command for command, _ in commands_in(README)} == set(main.commands)


TEXTS = ("README.md", "DEVELOPERS.md", *(str(guide.relative_to(ROOT)) for guide in GUIDES))


@pytest.mark.parametrize("name", TEXTS)
def test_files_that_a_text_names_exist(name: str) -> None:
    """Links and paths lead somewhere, but for NAMES to fill in; what stands after `::` is a name in that file."""
    text = (ROOT / name).read_text(encoding="utf-8")
    links = re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text)
    paths = re.findall(r"`((?:batsim|scenarios|notebooks|tests)/[\w./-]*)(?:::(\w+))?`", text)

    files = [path for path in [*links, *(path for path, _ in paths)] if not re.search(r"\b[A-Z]+(_|\.(?!md))", path)]

    assert [path for path in files if not (ROOT / path).exists()] == []
    words = [(path, word) for path, word in paths if word]
    assert [(path, word) for path, word in words if word not in (ROOT / path).read_text(encoding="utf-8")] == []


def test_guides_have_a_title_and_sections() -> None:
    """Each is a text that can be printed on its own."""
    assert "model" in [guide.stem for guide in GUIDES]
    for guide in GUIDES:
        text = guide.read_text(encoding="utf-8")
        assert text.startswith("# ")
        assert text.count("\n## ") >= 2


def test_the_readme_names_every_guide() -> None:
    """Reference stands in the guide; who reads the README knows where."""
    assert [guide.stem for guide in GUIDES if f"| `{guide.stem}` |" not in README] == []
    assert len(README.splitlines()) <= 150
