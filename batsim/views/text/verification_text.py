"""The checks against the outside, for the terminal: a row for each, by subject, and the count below."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import groupby

from batsim import __version__
from batsim.verification.agreement import FAILS, ROUNDING, Outcome
from batsim.verification.verify import Verification
from batsim.views.text.lines import LEAST_NAME, aligned, columns, hung, sentence

HEAD = ["", "expected", "got", "±", "unit", "source", "verdict"]
SOURCE = HEAD.index("source")
LONGEST_NUMBER = 9
"""Letters of a number that is shown as its source prints it; a longer one is cut to six digits."""


def verification_text(found: Verification, width: int = 100) -> str:
    """Everything that the command prints: the checks of each subject, their sources, the counts, the answer."""
    title = sentence(f"batsim {__version__}: checks against standards, books, tables and theory", width)
    blocks = [title, *_subjects(found, width), _sources(found, width), "\n".join(columns(_counts(found), width))]
    return "\n\n".join([*blocks, f"{sentence(found.note, width)}\n{sentence(found.sentence, width)}"])


def _subjects(found: Verification, width: int) -> Iterator[str]:
    """Table of each subject; several numbers of one case stand below its name."""
    for subject, of_it in groupby(found.outcomes, key=lambda outcome: outcome.check.subject):
        yield "\n".join([f"{subject}:", *_table(list(of_it), width)])


def _table(outcomes: list[Outcome], width: int) -> Iterator[str]:
    """Table of checks; where it would be too wide the source stands behind the case, and has no column."""
    rows = [_row(outcome, f"  {outcome.check.name}") for outcome in outcomes]
    for heads, has_source in ((HEAD, True), (_without_source(HEAD), False)):
        cells = rows if has_source else list(map(_without_source, rows))
        sizes = [max(map(len, column)) for column in zip(heads, *cells, strict=True)][1:]
        first = width - sum(sizes) - 2 * len(sizes)
        if first >= LEAST_NAME:
            yield from aligned([heads], 1, first, sizes)
            yield from _below_their_cases(outcomes, width, (first, sizes), has_source=has_source)
            return
    yield from columns([HEAD, *rows], width)


def _below_their_cases(
    outcomes: list[Outcome], width: int, layout: tuple[int, list[int]], *, has_source: bool
) -> Iterator[str]:
    """Rows of checks, with the name of a case across the table where it has several numbers, or is long."""
    first, _ = layout
    for case, of_it in groupby(outcomes, key=lambda outcome: outcome.check.case):
        several = list(of_it)
        if has_source and len(several) == 1 and len(several[0].check.name) <= first - 2:
            yield from aligned([_row(several[0], f"  {several[0].check.name}")], 0, *layout)
            continue
        yield hung(case if has_source else f"{case} ({several[0].check.source})", width, 2)
        for outcome in several:
            row = _row(outcome, f"    {outcome.check.label}")
            yield from aligned([row if has_source else _without_source(row)], 0, *layout)


def _without_source(row: list[str]) -> list[str]:
    """A row without the column of the source."""
    return [*row[:SOURCE], *row[SOURCE + 1 :]]


def _row(outcome: Outcome, name: str) -> list[str]:
    """Cells of a check; what follows ± is the half width of what is simulated, else how near it must be."""
    check, half = outcome.check, outcome.half_width
    printed = check.printed if len(check.printed) <= LONGEST_NUMBER else f"{check.expected:.6g}"
    near = half if half == half else check.within  # noqa: PLR0124 - it is a number
    verdict = outcome.verdict.upper() if outcome.verdict == FAILS else outcome.verdict
    return [name, printed, f"{outcome.got:.6g}", _near(near), check.unit, check.source, verdict]


def _near(number: float) -> str:
    """A half width to two digits, without an exponent."""
    return f"{Decimal(f'{number:.2g}'):f}" if number > ROUNDING else "0"


def _sources(found: Verification, width: int) -> str:
    """What stands behind the names of the sources."""
    cited = {outcome.check.source: outcome.check.citation for outcome in found.outcomes}
    return "\n".join(["sources:", *(hung(f"{key}: {cited[key]}", width, 2) for key in sorted(cited, key=str.lower))])


def _counts(found: Verification) -> list[list[str]]:
    """How many checks of each subject hold."""
    counts = [(each.subject, each.checks, each.holding, each.checks - each.holding) for each in found.by_subject]
    return [["", "checks", "OK", "fail"], *([subject, *map(str, numbers)] for subject, *numbers in counts)]
