"""All checks in one go: numbers of standards, books, tables and worked cases against what the program comes to."""

import csv
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from batsim.catalogue import sources
from batsim.display import Frame, Shows, frame_of
from batsim.verification import batteries, charging, gas, handling, money, queueing, safety, statistics, supply
from batsim.verification.agreement import CONFIDENCE, HOLDS, NARROW, NARROW_SHARE, Outcome, judged
from batsim.verification.check import HERE, QUICK, SUBJECTS, Case, cases_of

DIGITS = 6
"""Of numbers in tables."""
MODULES: dict[str, Mapping[str, Callable[..., Mapping[str, Any]]]] = {
    "batteries": batteries.FUNCTIONS, "charging": charging.FUNCTIONS, "gas": gas.FUNCTIONS, "supply": supply.FUNCTIONS,
    "money": money.FUNCTIONS, "statistics": statistics.FUNCTIONS, "queueing": queueing.FUNCTIONS,
    "handling": handling.FUNCTIONS, "safety": safety.FUNCTIONS,
}  # fmt: skip
"""What the tables name, by subject."""
COLUMNS = (
    "subject",
    "check",
    "expected",
    "got",
    "half_width",
    "within",
    "unit",
    "verdict",
    "source",
    "where",
    "citation",
)


class OfSubject(NamedTuple):
    """What is left of the checks of a subject in short."""

    subject: str
    checks: int
    holding: int
    sources: tuple[str, ...]
    """Keys in the catalogue's sources, each once."""

    @property
    def against(self) -> str:
        """The sources in a few words each."""
        return ", ".join(dict.fromkeys(sources()[key].short for key in self.sources))


def in_short(rows: Iterable[Mapping[str, Any]]) -> list[OfSubject]:
    """Count checks by subject, given as rows of `Verification.frame`."""
    subjects: dict[str, list[Mapping[str, Any]]] = {}
    for row in rows:
        subjects.setdefault(row["subject"], []).append(row)
    return [
        OfSubject(
            subject, len(of_it), sum(row["verdict"] == HOLDS for row in of_it),
            tuple(dict.fromkeys(row["source"] for row in of_it)),
        )
        for subject, of_it in subjects.items()
    ]  # fmt: skip


@dataclass(frozen=True, repr=False)
class Verification(Shows):
    """Checks that were run, each with what came out."""

    outcomes: tuple[Outcome, ...]

    @property
    def failing(self) -> tuple[Outcome, ...]:
        """Those that fail."""
        return tuple(outcome for outcome in self.outcomes if not outcome.holds)

    @property
    def by_subject(self) -> list[OfSubject]:
        """How many there are of each subject, and how many hold."""
        return in_short(self.rows)

    @property
    def rows(self) -> list[dict[str, Any]]:
        """A row for each check, by `COLUMNS`."""
        return [dict(zip(COLUMNS, _row(outcome), strict=True)) for outcome in self.outcomes]

    @property
    def in_short(self) -> str:
        """How many hold."""
        return self.sentence

    @property
    def sentence(self) -> str:
        """How many hold, and which do not."""
        count, failing = len(self.outcomes), self.failing
        if not failing:
            return f"All {count} checks are OK."
        names = "; ".join(outcome.check.name for outcome in failing)
        return f"{len(failing)} of {count} checks {'fails' if len(failing) == 1 else 'fail'}: {names}."

    @property
    def note(self) -> str:
        """How to read it."""
        return (
            f"Got ± half width is simulated: its {100.0 * CONFIDENCE:g} % interval must have the expected value in it "
            f"and be narrow, at most {100.0 * NARROW:g} % of the value, or {NARROW_SHARE:g} of a share. The rest must "
            "be as near as is said: half of the last digit that the source prints, unless it says otherwise."
        )

    @property
    def frame(self) -> Frame:
        """Tidy table: a row for each check, with its source and the place in it."""
        return frame_of(self.rows, columns=list(COLUMNS))

    def as_json(self) -> dict[str, Any]:
        """Everything as plain data for `json.dump`."""
        return {
            "checks": self.rows,
            "count": len(self.outcomes),
            "failing": [outcome.check.name for outcome in self.failing],
            "note": self.note,
        }


def _row(outcome: Outcome) -> tuple[object, ...]:
    """Cells of a check, by `COLUMNS`."""
    check, half = outcome.check, outcome.half_width
    simulated = half == half  # noqa: PLR0124 - it is a number
    return (
        check.subject, check.name, check.expected, _rounded(outcome.got), _rounded(half) if simulated else None,
        None if simulated else _rounded(check.within), check.unit, outcome.verdict, check.source, check.where,
        check.citation,
    )  # fmt: skip


def recorded() -> list[OfSubject]:
    """The quick set as it came out when this version was released, in short; nothing is run."""
    with (HERE / "recorded.csv").open(newline="", encoding="utf-8") as lines:
        return in_short(csv.DictReader(lines))


def _rounded(number: float) -> float:
    """A number to the digits of a table."""
    return float(f"{number:.{DIGITS}g}")


def verify(
    *, full: bool = False, workers: int | None = 1, progress: Callable[[int, int], None] | None = None
) -> Verification:
    """Run the checks against the outside again: standards, books, tables, queueing theory, worked cases.

    Parameters
    ----------
    full
        Whether to run those as well that take long; without it all formulas and short runs of the room.
    workers
        Processes for runs of the room; the numbers are the same with any number of them.
    progress
        Called with the number of cases that are done, and of all.

    Returns
    -------
    Verification
        Every check with what is expected, what came out, its source and the verdict.

    Examples
    --------
    >>> verify().holds  # doctest: +SKIP
    True
    """
    cases = cases_in(full=full)
    outcomes: list[Outcome] = []
    for done, case in enumerate(cases):
        if progress is not None:
            progress(done, len(cases))
        outcomes += outcomes_of(case, workers)
    if progress is not None:
        progress(len(cases), len(cases))
    return Verification(tuple(outcomes))


def cases_in(*, full: bool) -> list[Case]:
    """All cases of the quick set, or of the full one."""
    return [case for subject in SUBJECTS for case in cases_of(subject) if full or case.part == QUICK]


def outcomes_of(case: Case, workers: int | None = 1) -> Iterator[Outcome]:
    """Run one case, and compare each of its numbers."""
    shared = {"workers": workers} if case.subject == "queueing" else {}
    values = MODULES[case.subject][case.function](**case.given, **shared)
    for check in case.checks:
        yield judged(check, values[check.quantity])
