"""Every check of `batsim verify` holds; what says so stands in its table, beside its number."""

import pytest

from batsim.catalogue import sources
from batsim.verification.check import LONG, SUBJECTS, cases_of
from batsim.verification.verify import outcomes_of


def _status(check):
    """Marker of what stands behind a check."""
    source = sources()[check.source]
    if source.kind == "worked out":
        return pytest.mark.worked_out(where=check.where)
    if source.kind == "common practice":
        return pytest.mark.common_practice(where=check.where)
    return pytest.mark.published(source=source.citation, where=check.where)


def _param(case):
    """A case, marked with its source, and as slow where it takes long."""
    marks = [_status(case.checks[0]), *[pytest.mark.slow] * (case.part == LONG)]
    return pytest.param(case, id=case.checks[0].name, marks=marks)


@pytest.mark.parametrize("case", [_param(case) for subject in SUBJECTS for case in cases_of(subject)])
def test_check(case):
    """The number of the source, within what is allowed; simulated ones in an interval that is narrow."""
    outcomes = list(outcomes_of(case))

    table = [f"{each.check.name}: {each.check.printed} got {each.got:.6g} ± {each.half_width:.3g}" for each in outcomes]
    print("\n".join(table))  # noqa: T201 - a table that anyone can reprint
    assert [line for line, each in zip(table, outcomes, strict=True) if not each.holds] == []
