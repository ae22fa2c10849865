"""What was fitted, as the text of a scenario that extends that of the site; each value with its origin."""

from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from pathlib import Path as FilePath
from typing import Any

from batsim import catalogue
from batsim.calibration.finding import Finding
from batsim.calibration.weeks import SplitWeeks
from batsim.display import counted
from batsim.errors import Problem, ScenarioError
from batsim.scenario.reading import read_scenario_text, stated_data
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import Path, path_text
from batsim.scenario.text.plain_yaml import seen_from, yaml_text

HEAD = "# {}, with what its records say; written by batsim calibrate. All else stands in the extended file.\n"
"""First line; the braces stand for the name of the site."""
NO_FILE = "stands in no file that another one could extend; save it, and read it from there"
HANDLING, FROM, TRUCKS = "handling", "from", "trucks"
EXCHANGE_TIMES, STEP_TIMES, WHOLE = "exchange_times", "step_times", "whole"
PART_OF = {"waits": "truck_waits", "gone": "truck_gone"}
"""Key of the part of an exchange to which a step belongs, by what its truck does."""


def calibrated(scenario: Scenario, findings: Sequence[Finding]) -> Scenario:
    """The site with what was fitted in place of what it states.

    Parameters
    ----------
    scenario
        The site, as it was read.
    findings
        Those that are written are taken, the others stay as the site states them.
    """
    data: dict[str, Any] = stated_data(scenario)
    for path in in_the_way(scenario, data, findings):
        del data[HANDLING][path[1]][path[2]][path[3]]
    _take(data, data, findings)
    return read_scenario_text(yaml_text(data), scenario.file)


def calibrated_text(
    scenario: Scenario,
    findings: Sequence[Finding],
    weeks: SplitWeeks,
    beside: str | FilePath,
    calibration: Mapping[str, Any],
) -> str:
    """Write what was fitted as a scenario file that extends that of the site.

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
        When the scenario stands in no file, or was changed in memory since it was read.
    """
    if not FilePath(scenario.file).is_file():
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "", NO_FILE)])
    head: dict[str, Any] = {"extends": seen_from(FilePath(beside).parent, FilePath(scenario.file))}
    if drop := [path_text(path) for path in in_the_way(scenario, stated_data(scenario), findings)]:
        head["drop"] = drop
    data, notes = _fitted(scenario, findings, weeks)
    return HEAD.format(scenario.site.name) + yaml_text({**head, **data, "calibration": dict(calibration)}, notes)


def fitted_text(scenario: Scenario, findings: Sequence[Finding], weeks: SplitWeeks) -> str:
    """What was fitted as YAML, each value with its origin; parameters as for `calibrated_text`."""
    data, notes = _fitted(scenario, findings, weeks)
    return yaml_text(data, notes) if data else ""


def _fitted(
    scenario: Scenario, findings: Sequence[Finding], weeks: SplitWeeks
) -> tuple[dict[str, Any], dict[Path, str]]:
    """What was fitted as a scenario states it, and the origin of each value."""
    data: dict[str, Any] = {}
    _take(data, stated_data(scenario), findings)
    notes = {
        finding.path: f"from {counted(finding.rows, finding.row)}, {weeks.text(weeks.fitted)}"
        for finding in findings
        if finding.is_written
    }
    return data, notes


def in_the_way(scenario: Scenario, stated: Mapping[str, Any], findings: Sequence[Finding]) -> list[Path]:
    """Times on site that are stated of parts of an exchange, where others of the same part come in their place."""
    found: dict[Path, None] = {}
    for path in (finding.path for finding in findings if finding.is_written):
        if path[0] == HANDLING and path[2] in (EXCHANGE_TIMES, STEP_TIMES):
            of = {step.step: PART_OF[step.truck] for step in scenario.handling[str(path[1])].stated_steps}
            own = (stated.get(HANDLING) or {}).get(path[1]) or {}
            found |= dict.fromkeys((HANDLING, path[1], *other) for other in _others(own, path[2:], of))
    return list(found)


def _others(own: Mapping[str, Any], put: Path, of: Mapping[str, str]) -> Iterator[Path]:
    """Times of an arrangement that do not go with what is put there: of the same part, or of the whole."""
    part = of.get(str(put[1]), put[1])
    for section in (EXCHANGE_TIMES, STEP_TIMES):
        for name in own.get(section) or {}:
            beside = section == put[0] == STEP_TIMES or (section, name) == put
            other = of.get(name, name)
            if not beside and (other == part or WHOLE in (other, part)):
                yield section, name


def _take(data: dict[str, Any], stated: Mapping[str, Any], findings: Sequence[Finding]) -> None:
    """Put what was fitted into data that lie over what is stated."""
    for finding in findings:
        if not finding.is_written:
            continue
        if finding.path[0] == TRUCKS and TRUCKS not in data:  # lists are replaced whole
            data[TRUCKS] = deepcopy(stated[TRUCKS])
        _start(data, stated, finding.path)
        _put(data, finding.path, finding.data())


def _start(data: dict[str, Any], stated: Mapping[str, Any], path: Path) -> None:
    """Let an arrangement of the catalogue start from itself, unless the site has one of its name."""
    if path[0] == HANDLING:
        name = str(path[1])
        new = name not in (stated.get(HANDLING) or {}) and name in catalogue.handling_names()
        block = data.setdefault(HANDLING, {}).setdefault(name, {})
        if new:
            block.setdefault(FROM, name)


def _put(data: dict[str, Any], path: Path, value: Any) -> None:  # noqa: ANN401 - what YAML holds
    """Put a value at a path; what stands in its way and is no block goes."""
    node: Any = data
    for key in path[:-1]:
        if isinstance(node, dict) and not isinstance(node.get(key), dict | list):
            node[key] = {}
        node = node[key]
    node[path[-1]] = value
