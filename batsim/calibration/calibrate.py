"""Calibration of a site: inputs fitted to its records, and its layout of today beside weeks that were not used."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import ndtri

from batsim.calibration.beside import Beside, beside
from batsim.calibration.calibrated import calibrated, calibrated_text, fitted_text
from batsim.calibration.closing import Closing, closing
from batsim.calibration.columns import columns_by_kind
from batsim.calibration.finding import Finding
from batsim.calibration.log import Log
from batsim.calibration.read_log import KINDS, read_log
from batsim.calibration.sources import Sources
from batsim.calibration.time_findings import time_findings
from batsim.calibration.truck_findings import truck_findings
from batsim.calibration.weeks import SplitWeeks, split_weeks
from batsim.display import Frame, Shows, counted, frame_of, listed
from batsim.errors import Problem, ScenarioError
from batsim.scenario.parts.faults import did_you_mean
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import path_text
from batsim.statistics.intervals import simultaneous
from batsim.study.running.runs import interval_json, plain

HOLD_OUT_SHARE = 0.25
"""Share of the whole weeks that are held out when nothing is said. [-]"""
ROWS = {"exchanges": "exchange", "charges": "charge", "trucks": "truck-shift", "steps": "timing"}
"""What a row of each kind of log is."""
NOT_INDEPENDENT = "No week could be held out: these are weeks to which it was fitted."
NOT_BESIDE = "The records have no whole week with times, so the model was not set beside them."


@dataclass(frozen=True, repr=False)
class Calibration(Shows):
    """What the records of a site say: inputs, and how its model stands beside them."""

    scenario: Scenario
    """The site as it was stated."""
    layout: str
    """Its layout of today."""
    logs: Mapping[str, Log]
    """By kind."""
    weeks: SplitWeeks
    findings: tuple[Finding, ...]
    calibrated: Scenario
    """The site with what was fitted in place of what it states."""
    beside: Beside | None
    """The model beside the records; none where these have no whole week."""
    closing: Closing | None
    """What would close a gap; none where there is none."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.scenario.site.name}: {self.layout}, {self.records}"

    @property
    def records(self) -> str:
        """What was read, such as `412 exchanges and 398 charges`."""
        return listed([counted(len(log.rows), ROWS[kind]) for kind, log in self.logs.items()])

    @property
    def differs(self) -> tuple[Finding, ...]:
        """What was stated otherwise than it was measured."""
        return tuple(finding for finding in self.findings if finding.as_stated is False)

    @property
    def verdict(self) -> str:
        """What it comes to, in sentences."""
        if self.beside is None:
            return NOT_BESIDE
        said = self.beside.verdict if self.closing is None else self.closing.verdict
        return said if self.weeks.independent else f"{said} {NOT_INDEPENDENT}"

    @property
    def summary(self) -> dict[str, Any]:
        """How the model stands beside the records, for the key of a scenario."""
        gives, misses = (
            ([], []) if self.beside is None else (self.beside.given, [each.title for each in self.beside.gaps])
        )
        return {
            "layout": self.layout,
            "records": self.records,
            "fitted": self.weeks.text(self.weeks.fitted),
            "judged": self.weeks.text(self.weeks.judged),
            "independent": self.weeks.independent,
            "gives": list(gives),
            "misses": misses,
            "verdict": self.verdict,
        }

    def text(self, beside: str | Path) -> str:
        """Text of a scenario that extends the site's, to be saved at a place."""
        return calibrated_text(self.scenario, self.findings, self.weeks, beside, self.summary)

    @property
    def fitted_text(self) -> str:
        """What was fitted as YAML, each value with its origin."""
        return fitted_text(self.scenario, self.findings, self.weeks)

    @property
    def frame(self) -> Frame:
        """Tidy table of what was fitted: what, of, law, mean, low, high, stated, as_stated, unit, rows, path."""
        return frame_of(
            [
                (each.what, each.of, each.law, *each.mean, each.stated, each.as_stated, each.dimension, each.rows,
                 path_text(each.path) if each.path else "")
                for each in self.findings
            ],
            columns=["what", "of", "law", "mean", "low", "high", "stated", "as_stated", "dimension", "rows", "path"],
        )  # fmt: skip

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "site": self.scenario.site.name,
            "layout": self.layout,
            "logs": {
                kind: {
                    "file": log.file, "rows": log.read, "used": len(log.rows), "used_share": plain(log.used_share),
                    "left_out": [str(each.problem) for each in log.left_out],
                    "gaps": [each._asdict() for each in log.gaps],
                }
                for kind, log in self.logs.items()
            },
            "fitted_weeks": self.weeks.text(self.weeks.fitted),
            "judged_weeks": self.weeks.text(self.weeks.judged),
            "independent": self.weeks.independent,
            "findings": [
                {
                    "what": each.what, "of": each.of, "law": each.law, "mean": interval_json(each.mean),
                    "stated": None if each.stated is None else plain(each.stated), "as_stated": each.as_stated,
                    "unit": each.dimension, "rows": each.rows, "path": path_text(each.path) if each.path else None,
                    "value": each.data(), "depends": [test.sentence for test in each.depends], "remark": each.remark,
                }
                for each in self.findings
            ],
            "beside": None if self.beside is None else self.beside.as_json(),
            "closing": None if self.closing is None else self.closing.as_json(),
            "verdict": self.verdict,
        }  # fmt: skip


def calibrate(
    scenario: Scenario,
    *,
    exchanges: str | Path | None = None,
    charges: str | Path | None = None,
    trucks: str | Path | None = None,
    steps: str | Path | None = None,
    layout: str | None = None,
    hold_out: float = HOLD_OUT_SHARE,
    settings: Settings = Settings(),
    strict: bool = False,
    mapping: Mapping[str, Mapping[str, str]] | None = None,
    units: Mapping[str, Mapping[str, str]] | None = None,
    decimal: str | None = None,
    times: str | None = None,
    zone: str | None = None,
) -> Calibration:
    """Fit the inputs of a site to its records, and set its layout of today beside weeks that were not used.

    Parameters
    ----------
    scenario
        The site, as it was read from a file.
    exchanges, charges, trucks, steps
        Tables, as `read_log` reads them; one or more.
    layout
        The one that the records are of: `present`, or the only one, when not given.
    hold_out
        Share of the whole weeks that laws are not fitted to. [-]
    settings
        Replications, seed, confidence, workers and progress of the runs.
    strict
        Whether to refuse logs of which a row would be left out.
    mapping, units
        By kind of log, as for `read_log`; under an empty name for all of them.
    decimal, times, zone
        As for `read_log`.

    Returns
    -------
    Calibration
        What was fitted, and the model beside the records.

    Raises
    ------
    ScenarioError
        With everything that is wrong, in the logs or in what is asked.
    """
    files = {
        kind: file for kind, file in zip(KINDS, (exchanges, charges, trucks, steps), strict=True) if file is not None
    }
    layout = _layout_of(scenario, layout, files, hold_out)
    logs = _logs(files, scenario, strict, mapping or {}, units or {}, decimal, times, zone)
    weeks = split_weeks(logs.values(), scenario, hold_out)
    confidence = settings.schedule(scenario).confidence
    sources = Sources(scenario.in_layout(layout), layout, logs, weeks)
    findings = _judged_together([*time_findings(sources, confidence), *truck_findings(sources, confidence)], confidence)
    fitted, judged = calibrated(scenario, findings), _judged(logs, weeks)
    compared = closes = None
    if judged:
        compared = beside(fitted, layout, judged, weeks.judged, _draws(findings, settings, scenario), settings)
        closes = None if compared.holds else closing(compared, settings)
    return Calibration(scenario, layout, logs, weeks, findings, fitted, compared, closes)


def _layout_of(scenario: Scenario, layout: str | None, files: Mapping[str, object], hold_out: float) -> str:
    """Layout that the records are of; refuse what cannot be asked, all at once."""
    name = layout or scenario.present or (next(iter(scenario.layouts)) if len(scenario.layouts) == 1 else None)
    problems = []
    if not files:
        problems.append(Problem(scenario.file, 0, 0, "", f"needs a log: {', '.join(KINDS)}, one or more"))
    if name is None:
        rule = f"say which layout the records are of, or state it as 'present': {', '.join(scenario.layouts)}"
        problems.append(Problem(scenario.file, 0, 0, "layout", rule))
    elif name not in scenario.layouts:
        rule = f"no layout of this name; one of: {', '.join(scenario.layouts)}"
        problems.append(Problem(scenario.file, 0, 0, "layout", rule, f"'{name}'"))
    if not 0.0 <= hold_out < 1.0:
        problems.append(
            Problem(scenario.file, 0, 0, "hold-out", "must be at least 0 % and below 100 %", f"{100 * hold_out:g} %")
        )
    if problems or name is None:
        raise ScenarioError(scenario.file, problems)
    return name


def _logs(
    files: Mapping[str, str | Path],
    scenario: Scenario,
    strict: bool,
    mapping: Mapping[str, Mapping[str, str]],
    units: Mapping[str, Mapping[str, str]],
    decimal: str | None,
    times: str | None,
    zone: str | None,
) -> dict[str, Log]:
    """Read all logs, counted from the earliest Monday of them; what is wrong is told of all at once."""
    problems = [*_of_no_log(files, mapping, scenario.file), *_of_no_log(files, units, scenario.file)]

    logs = {}
    for kind, file in files.items():
        try:
            logs[kind] = read_log(
                file, kind, scenario=scenario, mapping=_own(kind, mapping), units=_own(kind, units), decimal=decimal,
                times=times, zone=zone, strict=strict,
            )  # fmt: skip
        except ScenarioError as error:
            problems += error.problems
    if problems:
        raise ScenarioError(scenario.file, problems)
    mondays = [log.first_monday for log in logs.values() if log.first_monday is not None]
    return {kind: log.counted_from(min(mondays)) if mondays else log for kind, log in logs.items()}


def _own(kind: str, given: Mapping[str, Mapping[str, str]]) -> dict[str, str]:
    """What is stated of the columns of a kind of log, and of columns of all logs where it has them."""
    columns = columns_by_kind()[kind]
    return {**{name: text for name, text in given.get("", {}).items() if name in columns}, **given.get(kind, {})}


def _of_no_log(files: Mapping[str, object], given: Mapping[str, Mapping[str, str]], file: str) -> list[Problem]:
    """Say what is stated of columns that none of the logs can have, and of logs that are not given."""
    known = list(dict.fromkeys(name for kind in files for name in columns_by_kind()[kind]))
    strange = [name for name in given.get("", {}) if name not in known]
    missing = [kind for kind in given if kind and kind not in files]
    return [
        *(Problem(file, 0, 0, name, f"no log has such a column{did_you_mean(name, known)}") for name in strange),
        *(Problem(file, 0, 0, kind, "is stated of a log that is not given; name its file") for kind in missing),
    ]


def _judged_together(findings: Sequence[Finding], confidence: float) -> tuple[Finding, ...]:
    """Findings whose intervals hold together when they are set beside what is stated (Bonferroni, normal quantiles)."""
    stated = sum(finding.stated is not None for finding in findings)
    if not stated:
        return tuple(findings)
    wider = float(ndtri((1.0 + simultaneous(confidence, stated)) / 2.0) / ndtri((1.0 + confidence) / 2.0))
    return tuple(replace(finding, wider=wider) for finding in findings)


def _judged(logs: Mapping[str, Log], weeks: SplitWeeks) -> dict[str, Log]:
    """Logs that have events in the weeks by which the model is judged."""
    return {
        kind: log
        for kind, log in logs.items()
        if weeks.judged and "week" in log.rows and log.rows["week"].isin(weeks.judged).any()
    }


def _draws(findings: tuple[Finding, ...], settings: Settings, scenario: Scenario) -> list[dict[str, Any]]:
    """Inputs drawn within their intervals, once for each replication."""
    schedule = settings.schedule(scenario)
    random = np.random.default_rng([schedule.seed, len(findings)])
    return [
        {path_text(each.path): each.drawn(random, schedule.confidence) for each in findings if each.is_written}
        for _ in range(schedule.replications)
    ]
