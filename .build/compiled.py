"""Compiles the hot path of a run from its own type hints, when a released wheel is built; a plain install does not.

`HATCH_BUILD_HOOK_ENABLE_CUSTOM=true python -m build --wheel` makes such a wheel; what is compiled stands in
`pyproject.toml`, beside the hook. The sources stay in the wheel; nothing is written into the source tree.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CompiledRoom(BuildHookInterface):
    """Puts a compiled module beside each source that is named in the hook's `compile` and not in its `less`."""

    PLUGIN_NAME = "custom"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile, and have the wheel carry what came of it."""
        self.made = Path(tempfile.mkdtemp(prefix="compiled-room-"))
        libraries = self.made / "lib"
        _compile(Path(self.root), self._sources(), self.made, libraries)
        for library in (path for path in libraries.rglob("*") if path.suffix in {".so", ".pyd"}):
            build_data["force_include"][str(library)] = library.relative_to(libraries).as_posix()
        build_data["pure_python"] = False
        build_data["infer_tag"] = True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove what has been put into the wheel."""
        shutil.rmtree(self.made)

    def _sources(self) -> list[str]:
        """Files to compile, from the root of the project."""
        root = Path(self.root)
        named, less = (
            {path.relative_to(root).as_posix() for pattern in self.config[key] for path in root.glob(pattern)}
            for key in ("compile", "less")
        )
        return sorted(named - less)


def _compile(root: Path, sources: list[str], made: Path, libraries: Path) -> None:
    """Compile sources into a folder of libraries; mypy takes its settings from the root of the project."""
    from mypyc.build import mypycify  # noqa: PLC0415 - only a released wheel needs it
    from setuptools import Distribution  # noqa: PLC0415
    from setuptools.command.build_ext import build_ext  # noqa: PLC0415

    started_in = Path.cwd()
    os.chdir(root)
    try:
        cache = ["--cache-dir", str(made / "cache")]
        extensions = mypycify([*cache, *sources], opt_level="3", debug_level="0", target_dir=str(made))
        command = build_ext(Distribution({"name": "batsim", "ext_modules": extensions}))
        command.build_lib, command.build_temp = str(libraries), str(made / "temp")
        command.ensure_finalized()
        command.run()
    finally:
        os.chdir(started_in)
