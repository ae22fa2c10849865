"""A calibration as text: what was read, what it says beside what was stated, and the model beside the records."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from batsim.calibration.beside import Beside
from batsim.calibration.calibrate import Calibration
from batsim.calibration.compared import INSIDE, Compared
from batsim.calibration.finding import Finding
from batsim.calibration.log import Log
from batsim.display import counted
from batsim.display import listed as joined
from batsim.views.text.calibration_rows import (
    gap_text,
    law_text,
    measured_text,
    reasons,
    stated_sentence,
    stated_text,
)
from batsim.views.text.lines import columns, hung, one_block, sentence
from batsim.views.text.numbers import are

SHOWN = 3
"""Rows that are told of each reason, and gaps of each log."""
FEW = "fewer than 30 rows: written as a range"
MEASURED_HEADS = ["", "stated", "measured", "law", "rows"]
BESIDE_HEADS = ["", "measured", "model", "from", "to", ""]


def calibration_text(found: Calibration, width: int = 100) -> str:
    """What logs say of a site: what was left out, inputs, the model beside the records, and the verdict."""
    blocks = [
        [sentence(f"{found.scenario.site.name}: layout '{found.layout}' beside its records", width)],
        [line for log in found.logs.values() for line in _read(log, width)],
        list(_inputs(found, width)),
        [] if found.beside is None else list(_beside(found, found.beside, width)),
        [
            sentence(stated_sentence(found), width),
            sentence(f"Verdict: {found.verdict}", width),
        ],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _read(log: Log, width: int) -> Iterator[str]:
    """What was used of a log, and why the rest was not."""
    used = f"{len(log.rows):,} of {log.read:,} rows used" if log.read else "no rows"
    share = f" ({100.0 * log.used_share:.3g} %)" if log.left_out else ""
    others = f"; {are(log.others, 'row')} about something else" if log.others else ""
    left = f"; left out: {reasons(log)}" if log.left_out else ""
    yield hung(f"{log.kind}: {log.file}, {used}{share}{others}{left}", width)
    by_reason = sorted(log.left_out, key=lambda each: each.reason)
    for _, those in groupby(by_reason, key=lambda each: each.reason):
        some = list(those)
        yield from (hung(str(each.problem), width, 2) for each in some[:SHOWN])
        if len(some) > SHOWN:
            yield hung(f"and {len(some) - SHOWN:,} more: {some[0].reason}", width, 2)
    yield from (hung(gap_text(gap, log), width, 2) for gap in log.gaps[:SHOWN])
    if len(log.gaps) > SHOWN:
        yield hung(f"and {len(log.gaps) - SHOWN} more gaps", width, 2)


def _inputs(found: Calibration, width: int) -> Iterator[str]:
    """Inputs as they were measured, beside those that are stated."""
    if not found.findings:
        yield sentence("The records have too few rows for any input of the scenario.", width)
        return
    yield sentence(f"Measured in {found.weeks.text(found.weeks.fitted)}, beside what the scenario states:", width)
    rows = [
        [each.title, stated_text(each), measured_text(each), law_text(each), f"{each.rows:,}"]
        for each in found.findings
    ]
    yield from one_block([MEASURED_HEADS, *rows], width) or columns([MEASURED_HEADS, *rows], width)
    whose: dict[tuple[str, str], list[str]] = {}
    for finding in found.findings:
        for remark in _remarks(finding):
            whose.setdefault((finding.what, remark), []).append(finding.of)
    for (what, remark), of in whose.items():
        yield hung(f"{what}, {joined(of)}: {remark}", width)


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
