"""The compiled build of a released wheel gives the same numbers as the sources, to the last bit."""

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
CASES = [
    *(ROOT / "scenarios" / f"{name}.yaml" for name in ("frostholm-cold-store", "larkfield-bottling", "saltmarsh-road")),
    ROOT / "scenarios" / "two-battery-carriage.yaml",
    *sorted((ROOT / "tests" / "behaviour" / "cases").glob("*.yaml")),
]


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the package as a released wheel holds it."""
    for needed in ("hatchling", "mypyc", "setuptools"):
        pytest.importorskip(needed, reason=f"{needed} is needed to build a compiled wheel")
    if shutil.which("cc") is None or not Path(sysconfig.get_paths()["include"], "Python.h").exists():
        pytest.skip("a C compiler and the headers of Python are needed to build a compiled wheel")
    made = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(made)]
    enabled = {**os.environ, "HATCH_BUILD_HOOK_ENABLE_CUSTOM": "true"}
    built = subprocess.run(build, cwd=ROOT, env=enabled, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stdout + built.stderr
    (wheel,) = made.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(made / "package")
    return made / "package"


def found(package: Path) -> dict[str, Any]:
    """Digests that a package gives, and where one of its modules is."""
    command = [sys.executable, "-W", "error", str(Path(__file__).with_name("digests.py")), *map(str, CASES)]
    environment = {**os.environ, "PYTHONPATH": str(package)}
    told = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
    answer: dict[str, Any] = json.loads(told)
    assert Path(answer["module"]).is_relative_to(package)
    return answer


@pytest.mark.slow
def test_compiled_and_plain_agree_to_the_last_bit(package: Path):
    plain, compiled = found(ROOT), found(package)
    assert plain["module"].endswith("truck.py")
    assert not compiled["module"].endswith("truck.py")
    assert len(plain["digests"]) > 20
    assert compiled["digests"] == plain["digests"]
