"""Order in the house: lint, types, layers, sizes, names and files are as the project says."""

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import pytest

import batsim
from batsim.cli import main

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "batsim").rglob("*.py"))
MOST_LINES = 400
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "batsim", "scenarios", "notebooks", "tests",
}  # fmt: skip
README = (ROOT / "README.md").read_text(encoding="utf-8")


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
    """Imports point downwards only."""
    assert "Contracts: 2 kept, 0 broken." in tool("lint-imports", "--no-cache")


# --- files ---


@pytest.mark.parametrize("file", SOURCES, ids=name_of)
def test_a_module_says_what_it_is_and_is_no_longer_than_needed(file: Path) -> None:
    """Its first line is a sentence about it; its length fits a sitting."""
    text = file.read_text(encoding="utf-8")
    first = text.split("\n", 1)[0]

    assert ast.get_docstring(ast.parse(text))
    assert first.startswith('"""')
    assert first.removesuffix('"""').endswith((".", "?"))
    assert len(text.splitlines()) <= MOST_LINES


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


def test_public_names_are_complete_and_in_order() -> None:
    """`__all__` is what the package offers, each name at home where it says."""
    offered = list(batsim.__all__)

    assert offered == sorted(offered)
    assert offered == sorted(batsim._HOMES)
    assert dir(batsim) == sorted([*offered, "__version__"])
    for name in offered:
        assert getattr(batsim, name) is getattr(import_module(batsim._HOMES[name]), name)
        assert getattr(batsim, name).__module__ == batsim._HOMES[name]
        assert getattr(batsim, name).__doc__


def test_public_names_are_known_to_type_checkers() -> None:
    """Those that are loaded late are imported for type checkers too."""
    tree = ast.parse((ROOT / "batsim" / "__init__.py").read_text(encoding="utf-8"))
    homes = {
        alias.name: node.module
        for block in ast.walk(tree)
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert homes == batsim._HOMES
    assert (ROOT / "batsim" / "py.typed").is_file()


def test_a_name_that_is_not_there() -> None:
    """The message is that of any module."""
    with pytest.raises(AttributeError) as caught:
        batsim.simulat  # noqa: B018

    assert str(caught.value) == "module 'batsim' has no attribute 'simulat'"


@pytest.mark.parametrize("file", SOURCES, ids=name_of)
def test_a_list_of_public_names_is_true(file: Path) -> None:
    """Where a module has `__all__`, it is in order and every name exists."""
    module = import_module(name_of(file)) if file.name != "__main__.py" else None
    names = list(getattr(module, "__all__", ()))

    # Constants, classes, functions, each by the alphabet, as ruff sorts them.
    assert names == sorted(names, key=lambda name: (not name.isupper(), name.islower(), name))
    assert [name for name in names if not hasattr(module, name)] == []


def test_importing_is_quick() -> None:
    """The package itself loads nothing heavy."""
    code = (
        "import sys, batsim; print([name for name in ('numpy', 'simpy', 'pandas', 'pydantic') if name in sys.modules])"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == "[]\n"


# --- the README ---


def commands_of_the_readme() -> list[tuple[str, str]]:
    """Every batsim command in the README's code blocks, with the rest of its line."""
    blocks = README.split("\n```")[1::2]
    lines = [line for block in blocks for line in block.splitlines()]
    found = [re.search(r"(?:^|bin/)batsim ([a-z-]+)(.*)", line) for line in lines]
    return [(match[1], match[2]) for match in found if match]


@pytest.mark.parametrize(("command", "rest"), commands_of_the_readme())
def test_commands_of_the_readme_exist(command: str, rest: str) -> None:
    """With the options and the files that they name."""
    options = {name for each in main.commands[command].params for name in each.opts}

    assert set(re.findall(r"(?<!\S)--?[a-z][a-z-]*", rest)) <= options
    assert [name for name in re.findall(r"scenarios/\S+", rest) if not (ROOT / name).is_file()] == []


def test_every_command_is_in_the_readme() -> None:
    """Nobody should have to search for one."""
    assert {command for command, _ in commands_of_the_readme()} == set(main.commands)


def test_files_that_the_readme_names_exist() -> None:
    """Links and paths lead somewhere."""
    links = re.findall(r"\]\((?!https?:|#)([^)#\s]+)", README)
    paths = re.findall(r"`((?:batsim|scenarios|notebooks|tests)/[\w./-]+)`", README)

    assert [path for path in [*links, *paths] if not (ROOT / path).exists()] == []
