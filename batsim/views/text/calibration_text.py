"""A calibration as text: what was read, what it says beside what was stated, and the model beside the records."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import groupby
from math import isfinite

from batsim.calibration.beside import Beside
from batsim.calibration.calibrate import Calibration
from batsim.calibration.compared import INSIDE, Compared
from batsim.calibration.finding import Finding
from batsim.calibration.log import Gap, Log
from batsim.display import counted
from batsim.display import listed as joined
from batsim.statistics.fitting import FIXED, NOTHING, OBSERVED
from batsim.views.text.lines import columns, hung, sentence
from batsim.views.text.numbers import are

SHOWN = 3
"""Rows that are told of each reason, and gaps of each log."""
FEW = "fewer than 30 rows: written as a range"
MEASURED_HEADS = ["", "stated", "measured", "between", "law", "rows"]
BESIDE_HEADS = ["", "measured", "model", "from", "to", ""]


def calibration_text(found: Calibration, width: int = 100) -> str:
    """What logs say of a site: what was left out, inputs, the model beside the records, and the verdict."""
    blocks = [
        [sentence(f"{found.scenario.site.name}: layout '{found.layout}' beside its records", width)],
        [line for log in found.logs.values() for line in _read(log, width)],
        list(_inputs(found, width)),
        [] if found.beside is None else list(_beside(found, found.beside, width)),
        [
            *(sentence(f"Stated otherwise than measured: {differs_text(found)}", width) for _ in found.differs[:1]),
            sentence(f"Verdict: {found.verdict}", width),
        ],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _read(log: Log, width: int) -> Iterator[str]:
    """What was used of a log, and why the rest was not."""
    used = f"{len(log.rows):,} of {log.read:,} rows used" if log.read else "no rows"
    reasons = ", ".join(f"{number:,} {reason}" for reason, number in log.reasons.items())
    share = f" ({100.0 * log.used_share:.3g} %)" if log.left_out else ""
    others = f"; {are(log.others, 'row')} about something else" if log.others else ""
    yield hung(f"{log.kind}: {log.file}, {used}{share}{others}{f'; left out: {reasons}' if reasons else ''}", width)
    by_reason = sorted(log.left_out, key=lambda each: each.reason)
    for _, those in groupby(by_reason, key=lambda each: each.reason):
        some = list(those)
        yield from (hung(str(each.problem), width, 2) for each in some[:SHOWN])
        if len(some) > SHOWN:
            yield hung(f"and {len(some) - SHOWN:,} more: {some[0].reason}", width, 2)
    yield from (hung(gap_sentence(gap, log.first_monday), width, 2) for gap in log.gaps[:SHOWN])
    if len(log.gaps) > SHOWN:
        yield hung(f"and {len(log.gaps) - SHOWN} more gaps", width, 2)


def gap_sentence(gap: Gap, first_monday: date | None) -> str:
    """When a logger was silent."""
    monday = datetime.combine(first_monday or date.min, time())
    ends = (f"{monday + timedelta(minutes=minutes):%a %Y-%m-%d %H:%M}" for minutes in (gap.from_min, gap.to_min))
    return f"no row from {' to '.join(ends)}, {gap.usual_h:.3g} h in which there usually are some: was the logger on?"


def _inputs(found: Calibration, width: int) -> Iterator[str]:
    """Inputs as they were measured, beside those that are stated."""
    if not found.findings:
        yield sentence("The records have too few rows for any input of the scenario.", width)
        return
    yield sentence(f"Measured in {found.weeks.text(found.weeks.fitted)}, beside what the scenario states:", width)
    yield from columns([MEASURED_HEADS, *(_input(each) for each in found.findings)], width)
    whose: dict[tuple[str, str], list[str]] = {}
    for finding in found.findings:
        for remark in _remarks(finding):
            whose.setdefault((finding.what, remark), []).append(finding.of)
    for (what, remark), of in whose.items():
        yield hung(f"{what}, {joined(of)}: {remark}", width)


def _input(finding: Finding) -> list[str]:
    """Row of an input."""
    stated = "-" if finding.stated is None else _digits(finding.in_people_units * finding.stated)
    low, high = (_digits(finding.in_people_units * end) for end in finding.mean[1:])
    between = f"{low} to {high}" if low != high and isfinite(finding.mean.low) else ""
    law = {OBSERVED: "observed", FIXED: "always", NOTHING: "", "": ""}.get(finding.law, finding.law)
    return [
        finding.title,
        stated,
        amount(finding, finding.mean.mean),
        between,
        law,
        f"{finding.rows:,}",
    ]


def amount(finding: Finding, value: float) -> str:
    """A value of a finding with its unit."""
    return f"{_digits(finding.in_people_units * value)} {finding.unit}".rstrip()


def _digits(value: float) -> str:
    """A value of an input, to three digits or whole."""
    return f"{value:,.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"


def differs_text(found: Calibration) -> str:
    """What was stated otherwise than it was measured, in a sentence."""
    said = [
        f"{each.title} {amount(each, each.stated)}, measured {amount(each, each.mean.mean)} "
        f"({amount(each, each.mean.low)} to {amount(each, each.mean.high)})"
        for each in found.differs
        if each.stated is not None
    ]
    return f"{'; '.join(said)}."


def _remarks(finding: Finding) -> Iterator[str]:
    """What else is to be said of an input."""
    if finding.few and finding.path:
        yield f"{FEW}."
    if finding.remark:
        yield f"{finding.remark}."
    fitted = finding.fitted
    if not finding.path:
        return
    if fitted is not None and fitted.outliers:
        yield f"{counted(len(fitted.outliers), 'row')} too far from the law, kept all the same."
    if fitted is not None and fitted.mixture is not None:
        yield "two kinds agree better than one law; were two things logged as one?"
    yield from (f"{test.sentence}." for test in finding.depends)


def _beside(found: Calibration, beside: Beside, width: int) -> Iterator[str]:
    """The model beside the records."""
    runs = counted(beside.schedule.replications, "run")
    weeks = found.weeks.text(found.weeks.judged)
    yield sentence(
        f"The model with these inputs beside {weeks} ({runs}, each with inputs drawn within their intervals):", width
    )
    yield from columns([BESIDE_HEADS, *_compared(beside.deciding)], width)
    yield from (hung(note, width) for note in beside.notes)


def _compared(numbers: Sequence[Compared]) -> Iterator[list[str]]:
    """Rows of numbers, measured and simulated."""
    for each in numbers:
        simulated = each.simulated
        cells = [each.amount(value) for value in (each.measured, simulated.mean, simulated.low, simulated.high)]
        where = f" ({each.where.text})" if each.where.text else ""
        yield [f"{each.about.short}{where}", *cells, "" if each.verdict == INSIDE else each.verdict]
