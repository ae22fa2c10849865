"""What was fitted, as the text of a scenario that extends that of the site; each value with its origin."""

from collections.abc import Mapping, Sequence
from copy import deepcopy
from pathlib import Path as FilePath
from typing import Any

from batsim import catalogue
from batsim.calibration.finding import Finding
from batsim.calibration.weeks import SplitWeeks
from batsim.display import counted
from batsim.scenario.reading import stated_data
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import Path
from batsim.scenario.text.plain_yaml import seen_from, yaml_text

HEAD = "# {}, with what its records say; written by batsim calibrate. All else stands in the extended file.\n"
"""First line; the braces stand for the name of the site."""
HANDLING, FROM, TRUCKS = "handling", "from", "trucks"


def calibrated_text(
    scenario: Scenario,
    findings: Sequence[Finding],
    weeks: SplitWeeks,
    beside: str | FilePath,
    calibration: Mapping[str, Any] | None = None,
) -> str:
    """Write what was fitted as a scenario file.

    Parameters
    ----------
    scenario
        The site, as it was read from a file.
    findings
        Those that are written are, the others stay as the site states them.
    weeks
        Weeks that they come from.
    beside
        Where the text will be saved; the file of the site is named from there.
    calibration
        How the model stands beside the records, for its key in the scenario.

    Raises
    ------
    ScenarioError
        When the scenario was changed in memory since it was read.
    """
    stated, data = stated_data(scenario), _Data()
    notes: dict[Path, str] = {}
    written = [finding for finding in findings if finding.is_written]
    if any(finding.path[0] == TRUCKS for finding in written):
        data[TRUCKS] = deepcopy(stated[TRUCKS])
    for finding in written:
        _start(data, stated, finding.path)
        _put(data, finding.path, finding.data())
        notes[finding.path] = f"from {counted(finding.rows, finding.row)}, {weeks.text(weeks.fitted)}"
    head = {"extends": seen_from(FilePath(beside).parent, FilePath(scenario.file))}
    last = {"calibration": dict(calibration)} if calibration else {}
    return HEAD.format(scenario.site.name) + yaml_text({**head, **data, **last}, notes)


class _Data(dict[str, Any]):
    """Blocks of the file that is written."""


def _start(data: dict[str, Any], stated: Mapping[str, Any], path: Path) -> None:
    """Let an arrangement of the catalogue start from itself, unless the site has one of its name."""
    if path[0] == HANDLING:
        name = str(path[1])
        own = stated.get(HANDLING) or {}
        block = data.setdefault(HANDLING, {}).setdefault(name, {})
        if name not in own and name in catalogue.handling_names():
            block.setdefault(FROM, name)


def _put(data: dict[str, Any], path: Path, value: Any) -> None:  # noqa: ANN401 - what YAML holds
    """Put a value at a path; what stands in its way and is no block goes."""
    node: Any = data
    for key in path[:-1]:
        if isinstance(node, dict) and not isinstance(node.get(key), dict | list):
            node[key] = {}
        node = node[key]
    node[path[-1]] = value
