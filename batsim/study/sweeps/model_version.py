"""Which model made a result: the version of batsim, and a digest of the code and figures that settle its numbers."""

from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

SETTLING = ("catalogue", "formulas", "measures", "record.py", "room", "scenario", "units.py")
"""Parts of the package on which a number may depend; what is made of the numbers later does not count."""
PACKAGE = "batsim"
DIGITS = 12


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
            digest.update(file.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return f"{version(PACKAGE)}+{digest.hexdigest()[:DIGITS]}"


SUFFIXES = {".py", ".csv", ".yaml"}
"""Files that are part of the model."""
