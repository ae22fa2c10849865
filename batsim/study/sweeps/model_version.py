"""Which model made a result: the version of batsim, and a digest of the code and figures that settle its numbers."""

import ast
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

SETTLING = ("catalogue", "formulas", "measures", "record.py", "room", "scenario", "units.py")
"""Parts of the package on which a number may depend; what is made of the numbers later does not count."""
SUFFIXES = {".py", ".csv", ".yaml"}
"""Files that are part of the model."""
PACKAGE = "batsim"
DIGITS = 12
DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


@cache
def model_version() -> str:
    """Such as `0.1.0+3f9c41d20b7e`; the same on every machine that has the same code."""
    digest = sha256()
    package = Path(__file__).parents[2]
    for part in SETTLING:
        root = package / part
        files = [root] if root.is_file() else sorted(path for path in root.rglob("*") if path.suffix in SUFFIXES)
        for file in files:
            digest.update(file.relative_to(package).as_posix().encode() + b"\0")
            digest.update(_settling(file) + b"\0")
    return f"{version(PACKAGE)}+{digest.hexdigest()[:DIGITS]}"


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
