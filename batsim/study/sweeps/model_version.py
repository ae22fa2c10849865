"""Which model made a result: the version of batsim, and a digest of the code and figures that settle its numbers."""

import ast
from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

SETTLING = ("catalogue", "formulas", "measures", "record", "room", "scenario", "units.py")
"""Parts of the package on which a number may depend; what is made of the numbers later does not count."""
SUFFIXES = {".py", ".csv", ".yaml"}
"""Files that are part of the model."""
PACKAGE = "batsim"
DIGITS = 12
DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


@cache
def model_version(*further: str) -> str:
    """Such as `0.1.0+3f9c41d20b7e`; the same on every machine that has the same code.

    Parameters
    ----------
    further
        Other parts of the package on which the numbers of whoever asks depend, such as `study/levers.py`; a digest of
        them follows, such as `0.1.0+3f9c41d20b7e+81c3ea0954bd`.
    """
    if further:
        return f"{model_version()}+{_digest_of(further)}"
    return f"{version(PACKAGE)}+{_digest_of(SETTLING)}"


def _digest_of(parts: Iterable[str]) -> str:
    """Digest of the files that are parts of the package, or lie in folders that are."""
    digest = sha256()
    package = Path(__file__).parents[2]
    for part in parts:
        root = package / part
        files = [root] if root.is_file() else sorted(path for path in root.rglob("*") if path.suffix in SUFFIXES)
        for file in files:
            digest.update(file.relative_to(package).as_posix().encode() + b"\0")
            digest.update(_settling(file) + b"\0")
    return digest.hexdigest()[:DIGITS]


def _settling(file: Path) -> bytes:
    """What of a file may settle a number: of code all but comments, layout and docstrings."""
    data = file.read_bytes().replace(b"\r\n", b"\n")
    if file.suffix != ".py":
        return data
    tree = ast.parse(data)
    for node in ast.walk(tree):
        if isinstance(node, DOCUMENTED):
            node.body = [statement for statement in node.body if not _is_text(statement)]
    return ast.unparse(tree).encode()


def _is_text(node: ast.stmt) -> bool:
    """True for a docstring, or for the text below a field or constant."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
