"""Scenarios and studies that are shipped, to begin with: by name, with the files that they refer to."""

import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from os.path import normpath
from pathlib import Path
from typing import Any

ENDING = ".yaml"
SCHEMA = re.compile(r"^# yaml-language-server: \$schema=(\S+)$", re.MULTILINE)
"""Where a file names the schema by which editors know its keys."""


@cache
def examples() -> dict[str, Path]:
    """Scenarios, then studies, that are shipped, by name."""
    home = _home()
    return {path.stem: path for folder in (home, home / "studies") for path in sorted(folder.glob(f"*{ENDING}"))}


def example(name: str) -> Path:
    """Where a shipped scenario or study is.

    Parameters
    ----------
    name
        Its name without an ending, such as ``kestrel-lane``.

    Returns
    -------
    Path
        The file, for `batsim.read` or, of a study, for `batsim.sweep`.

    Raises
    ------
    ValueError
        When there is none of this name.
    """
    if name not in examples():
        rule = f"there is no scenario of this name; one of: {', '.join(examples())} (got {name!r})"
        raise ValueError(rule)
    return examples()[name]


def is_study(file: Path) -> bool:
    """Whether a shipped file is a study."""
    return file.parent != _home()


def beside(file: Path) -> dict[str, Path]:
    """Files that a shipped one needs, in turn those that they need, by the way to them from its folder."""
    found: dict[str, Path] = {}
    waiting = [(".", file)]
    for folder, one in waiting:
        for name in _named_in(one):
            way = Path(normpath(Path(folder, name))).as_posix()
            if way not in found:
                found[way] = one.parent / name
                waiting.append((str(Path(way).parent), found[way]))
    return found


def _home() -> Path:
    """Folder of the examples: inside the package, where it is installed, else that of the repository."""
    package = Path(str(files("batsim")))
    inside = package / "examples"
    return inside if inside.is_dir() else package.parent / "scenarios"


def _named_in(file: Path) -> list[str]:
    """Every file that a YAML file names: its schema, and each text that is the name of a file."""
    from batsim.scenario.text.yaml_text import read_file  # noqa: PLC0415 - heavy, and help asks for the names alone

    if file.suffix != ENDING:
        return []
    schema = SCHEMA.findall(file.read_text(encoding="utf-8"))
    return [*schema, *(text for text in _texts(read_file(file).data) if (file.parent / text).is_file())]


def _texts(data: Any) -> Iterator[str]:  # noqa: ANN401 - whatever YAML holds
    """Every text in plain data."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict | list):
        for part in data.values() if isinstance(data, dict) else data:
            yield from _texts(part)
