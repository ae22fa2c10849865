"""Start-up is quick: help and version load nothing heavy, and `import batsim` next to nothing."""

import subprocess
import sys

import pytest

HEAVY = ("numpy", "pandas", "scipy", "matplotlib")
SEEN = f"import sys; print(*sorted(set({HEAVY!r}) & set(sys.modules)))"


def output_of(code: str) -> str:
    """What a fresh interpreter prints; it must end well."""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["run", "--help"], ["compare", "--help"]])
def test_help_and_version_load_nothing_heavy(words: list[str]):
    run = (
        f"from batsim.cli import main\ntry:\n    main({words!r})\nexcept SystemExit as end:\n    assert not end.code\n"
    )
    lines = output_of(run + SEEN).splitlines()
    assert len(lines) > 1
    assert lines[-1] == ""


def test_importing_batsim_loads_nothing_heavy():
    assert output_of(f"import batsim\n{SEEN}").strip() == ""


def test_a_name_is_loaded_when_it_is_used():
    """Reading and checking needs no numbers library either."""
    code = "import batsim, sys\nassert 'pydantic' not in sys.modules\nbatsim.read\nassert 'pydantic' in sys.modules\n"
    assert output_of(f"{code}{SEEN}").strip() == ""
