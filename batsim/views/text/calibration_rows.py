"""Rows of tables of a calibration: inputs stated beside measured, measured beside simulated, what a log gave."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from math import isfinite
from pathlib import Path

from batsim.calibration.beside import Beside
from batsim.calibration.calibrate import NOT_BESIDE, Calibration
from batsim.calibration.compared import Compared
from batsim.calibration.finding import Finding
from batsim.calibration.log import Gap, Log
from batsim.display import counted, listed
from batsim.plan.survey import inside, sentence_of
from batsim.statistics.fitting import OBSERVED
from batsim.statistics.intervals import Interval

AS_STATED = {True: "as stated", False: "differs", None: "cannot be told"}
"""How a measured input stands to the stated one."""
NOT_STATED, NO_LAW = "not stated", "-"
STATED_HEAD = ("What", "Stated", "Measured", "Law", "Rows", "Verdict")
COMPARED_HEAD = ("What", "Measured", "In the model", "From", "To", "Verdict")
LOG_HEAD = ("Log", "File", "Rows", "Used", "Left out")


def headline(calibration: Calibration) -> str:
    """What a calibration comes to, in a sentence."""
    beside, weeks = calibration.beside, calibration.weeks
    if beside is None:
        return NOT_BESIDE
    count, when = len(beside.deciding), weeks.text(weeks.judged)
    if beside.schedule.replications < 2 or not count:
        return beside.verdict
    if beside.holds:
        return f"The model gives all {counted(count, 'number')} that were measured in {when}."
    titles = [each.title for each in beside.gaps]
    return f"The model gives all but {len(titles)} of {counted(count, 'number')} measured in {when}: {listed(titles)}."


def stated_sentence(calibration: Calibration) -> str:
    """Which inputs were stated otherwise than they were measured."""
    known = [each for each in calibration.findings if each.as_stated is not None]
    if not known:
        return "No input could be set beside what was stated."
    if not calibration.differs:
        return f"All {counted(len(known), 'input')} that could be compared are as stated."
    told = [
        f"{titled(calibration, each)} ({stated_text(each)} stated, {measured_text(each)} measured)"
        for each in calibration.differs
    ]
    verb = "differs" if len(told) == 1 else "differ"
    return f"{len(told)} of {counted(len(known), 'input')} {verb} from what was stated: {'; '.join(told)}."


def stated_rows(calibration: Calibration) -> list[tuple[str, ...]]:
    """A row of `STATED_HEAD` for each input that was measured, those that differ first."""
    return [
        (titled(calibration, each), stated_text(each), measured_text(each), law_text(each), f"{each.rows:,}",
         verdict_of(each))
        for each in differing_first(calibration)
    ]  # fmt: skip


def titled(calibration: Calibration, finding: Finding) -> str:
    """What was measured and whose, an arrangement by its title."""
    arrangement = calibration.scenario.handling.get(finding.of)
    of = finding.of if arrangement is None else inside(arrangement.title)
    return sentence_of(f"{finding.what}, {of}" if of else finding.what)


def differing_first(calibration: Calibration) -> list[Finding]:
    """What was measured, what was stated otherwise at the top."""
    return sorted(calibration.findings, key=lambda each: each.as_stated is not False)


def compared_rows(beside: Beside) -> list[tuple[str, ...]]:
    """A row of `COMPARED_HEAD` for each number that decides, those outside first."""
    return [_compared(each) for each in beside.gaps_first]


def _compared(each: Compared) -> tuple[str, ...]:
    """A number of the logs beside that of the model."""
    numbers = (each.measured, *each.simulated.interval)
    return (sentence_of(each.title), *map(each.amount, numbers), each.verdict)


def log_rows(logs: Mapping[str, Log]) -> list[tuple[str, ...]]:
    """A row of `LOG_HEAD` for each log."""
    return [
        (
            sentence_of(kind),
            Path(log.file).name,
            f"{log.read:,}",
            f"{100.0 * log.used_share:.3g} %" if log.read else "-",
            reasons(log),
        )
        for kind, log in logs.items()
    ]


def reasons(log: Log) -> str:
    """How many rows were left out, and why."""
    if not log.left_out:
        return "nothing"
    return ", ".join(f"{count:,} {reason}" for reason, count in sorted(log.reasons.items(), key=lambda each: -each[1]))


def left_out_texts(log: Log, most: int) -> list[str]:
    """The first rows that were left out, each with its line and reason."""
    texts = [str(each._replace(file=Path(log.file).name).problem) for each in log.left_out]
    more = [f"{len(texts) - most:,} more in {Path(log.file).name}"] if len(texts) > most else []
    return texts[:most] + more


def gap_texts(logs: Mapping[str, Log]) -> Iterator[str]:
    """When loggers were silent."""
    for kind, log in logs.items():
        for gap in log.gaps:
            yield f"{sentence_of(kind)}: {gap_text(gap, log)}"


def gap_text(gap: Gap, log: Log) -> str:
    """From when to when a logger was silent."""
    begin, end = (moment(log.first_monday, at) for at in (gap.from_min, gap.to_min))
    usual, after = counted(round(gap.usual_h), "hour"), f"{Path(log.file).name}, after line {gap.after_line}"
    return f"nothing from {begin} to {end}, {usual} in which something usually begins ({after}); was the logger on?"


def moment(first_monday: date | None, at_min: float) -> str:
    """When it is so many minutes after the first Monday, such as `Tue 5 Mar 2024 14:05`."""
    assert first_monday is not None  # a log with times has one
    at = datetime.combine(first_monday, time()) + timedelta(minutes=at_min)
    return f"{at:%a} {at.day} {at:%b %Y %H:%M}"


def stated_text(finding: Finding) -> str:
    """What the scenario states, with its unit."""
    return NOT_STATED if finding.stated is None else f"{_number(finding, finding.stated)} {finding.unit}".strip()


def measured_text(finding: Finding) -> str:
    """What was measured, with its interval and unit."""
    mean: Interval = finding.mean
    says = f"{_number(finding, mean.mean)} {finding.unit}".strip()
    if not (isfinite(mean.low) and isfinite(mean.high)) or mean.low == mean.high:
        return says
    return f"{says} ({_number(finding, mean.low)} to {_number(finding, mean.high)})"


def law_text(finding: Finding) -> str:
    """Law that it follows."""
    return "as observed" if finding.law == OBSERVED else finding.law or NO_LAW


def verdict_of(finding: Finding) -> str:
    """How it stands to what was stated."""
    return NOT_STATED if finding.stated is None else AS_STATED[finding.as_stated]


def _number(finding: Finding, value: float) -> str:
    """A number in the unit in which people see it, to four digits."""
    return f"{finding.in_people_units * value:.4g}"
