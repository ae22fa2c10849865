"""One page on a calibration: its verdict, what was read, inputs beside what was stated, the model beside records."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from matplotlib.figure import Figure

from batsim.calibration.beside import Beside
from batsim.calibration.calibrate import Calibration
from batsim.calibration.closing import Closing
from batsim.calibration.finding import Finding
from batsim.calibration.log import Log
from batsim.calibration.read_log import KINDS
from batsim.plan.survey import sentence_of
from batsim.statistics.fitting import FIXED, NOTHING
from batsim.views.charts.beside_chart import beside_chart, beside_text, compared_chart, compared_text
from batsim.views.charts.fit_chart import fit_chart, fit_notes, fit_text
from batsim.views.page.inline_svg import for_a_page, inline_svg
from batsim.views.page.templates import templates
from batsim.views.text.calibration_rows import (
    COMPARED_HEAD,
    LOG_HEAD,
    STATED_HEAD,
    compared_rows,
    differing_first,
    gap_texts,
    headline,
    left_out_texts,
    log_rows,
    measured_text,
    stated_rows,
    stated_sentence,
    titled,
)

MOST_PICTURES = 16
"""Laws that are drawn, so that a page of a large site can still be sent; the others are told in words."""
MOST_LEFT_OUT = 5
"""Rows that are shown of those that a log leaves out."""
MOST_CLOSERS, LEAST_CLOSED = 6, 0.05
"""Inputs that are shown, and the part of the gap that each closes at least. [-, -]"""
WAIT = "wait_min"
CAUTIONS = (
    "A model that gives today's numbers can still be wrong about tomorrow's: what a plan changes (another arrangement, "
    "other counts, other work) is not in these records.",
    "Inputs that the records do not tell stay as they were stated; no record confirms them.",
    "Two inputs may do the same to the numbers: what would close a gap is where to look, not what is so.",
    "Records hold what was logged. Visits that nobody wrote down are in no law and in no count.",
)
"""What holds for every calibration."""
NOT_INDEPENDENT = (
    "No week could be held out: the model is judged by weeks to which it was fitted, and looks better for it."
)
INSIDE_IS_NOT_RIGHT = (
    "Inside the limits is not the same as right: few weeks vary, and for {title} all from {low} to {high} would have "
    "passed."
)


class Law(NamedTuple):
    """A measured input: its picture where it has one, and what is to be said of it."""

    title: str
    svg: str
    """Nothing where there is no picture."""
    told: str
    said: tuple[str, ...]
    """What it hangs on, and what else is to be known."""


class Picture(NamedTuple):
    """A chart as it stands in the page."""

    svg: str
    title: str


def calibration_html(calibration: Calibration) -> str:
    """Write one self-contained page on a calibration.

    Parameters
    ----------
    calibration
        What `batsim.calibrate` returns.

    Returns
    -------
    str
        HTML. It needs nothing from outside; everything that comes from the scenario or from a log is escaped.
    """
    page = templates().get_template("calibration.html.j2")
    with for_a_page():
        pictures, laws = list(_pictures(calibration.beside)), list(_laws(calibration))
    return page.render(
        title=calibration.scenario.site.name,
        layout=calibration.layout,
        records=calibration.records,
        says=headline(calibration),
        said=[calibration.verdict, stated_sentence(calibration)],
        stated=(STATED_HEAD, stated_rows(calibration)),
        pictures=pictures,
        closing=None if calibration.closing is None else _closing(calibration.closing),
        laws=laws,
        cautions=list(_cautions(calibration)),
        written=calibration.fitted_text,
        **_read(calibration.logs),
        **_judged(calibration),
    )


def _read(logs: Mapping[str, Log]) -> dict[str, Any]:
    """What was read of the logs, and what was left out."""
    return {
        "logs": (LOG_HEAD, log_rows(logs)),
        "not_given": [kind for kind in KINDS if kind not in logs],
        "left_out": [text for log in logs.values() for text in left_out_texts(log, MOST_LEFT_OUT)],
        "gaps": list(gap_texts(logs)),
        "clocks": [f"{sentence_of(kind)}: {log.clock}" for kind, log in logs.items()],
        "not_read": [(kind, ", ".join(log.not_read)) for kind, log in logs.items() if log.not_read],
    }


def _judged(calibration: Calibration) -> dict[str, Any]:
    """Which weeks were fitted and held out, and the model beside these."""
    weeks, beside = calibration.weeks, calibration.beside
    told: dict[str, Any] = {
        "fitted": weeks.text(weeks.fitted),
        "held_out": weeks.text(weeks.held_out) if weeks.independent else "",
        "compared": (COMPARED_HEAD, []),
    }
    if beside is None:
        return told
    return told | {
        "compared": (COMPARED_HEAD, compared_rows(beside)),
        "confidence": f"{100.0 * beside.schedule.confidence:g} %",
        "notes": beside.notes,
    }


def _pictures(beside: Beside | None) -> Iterator[Picture]:
    """Draw the model beside the records."""
    if beside is not None and beside.deciding:
        yield _drawn("compared", "All numbers that decide", compared_chart(beside), compared_text(beside))
        yield _drawn("hours", "Over the hours of the day", beside_chart(beside), beside_text(beside))


def _drawn(prefix: str, title: str, figure: Figure, told: str) -> Picture:
    """Take a chart into the page."""
    return Picture(inline_svg(figure, prefix, title, told), title)


def _laws(calibration: Calibration) -> Iterator[Law]:
    """Draw the laws, those of inputs that differ first."""
    drawn = 0
    for finding in differing_first(calibration):
        said = (*(f"{sentence_of(test.sentence)}." for test in finding.depends), *_remark(finding))
        fitted, title = finding.fitted, titled(calibration, finding)
        what = sentence_of(finding.values_of or finding.what)
        if fitted is None:
            if said:
                yield Law(title, "", "", said)
        elif fitted.law in (FIXED, NOTHING) or drawn == MOST_PICTURES:
            yield Law(title, "", fit_text(fitted, what, finding.unit), said)
        else:
            drawn += 1
            figure = fit_chart(fitted, what, finding.unit)
            svg = inline_svg(figure, f"law{drawn}", title, fit_text(fitted, what, finding.unit))
            yield Law(title, svg, fit_notes(fitted, finding.unit), said)


def _remark(finding: Finding) -> list[str]:
    """What else is to be said of a finding, in sentences."""
    drawn = f"Here stands the {finding.values_of}; from it follows {finding.what}: {measured_text(finding)}."
    said = [drawn] if finding.values_of else []
    return [*said, f"{sentence_of(finding.remark)}."] if finding.remark else said


def _closing(closing: Closing) -> dict[str, Any]:
    """What would close the gap."""
    found = [each for each in closing.closers if each.in_words and closing.closed_share(each) >= LEAST_CLOSED]
    rows = [
        (sentence_of(each.in_words), f"{100.0 * closing.closed_share(each):.0f} %", str(len(each.missed)))
        for each in found[:MOST_CLOSERS]
    ]
    return {"sentence": closing.sentence, "rows": rows, "tried": len(closing.closers)}


def _cautions(calibration: Calibration) -> Iterator[str]:
    """What to keep in mind."""
    yield from CAUTIONS
    beside = calibration.beside
    if beside is None:
        return
    if not calibration.weeks.independent:
        yield NOT_INDEPENDENT
    number = next((each for each in beside.deciding if each.measure == WAIT), next(iter(beside.deciding), None))
    if number is not None:
        low, high = number.amount(number.simulated.low), number.amount(number.simulated.high)
        yield INSIDE_IS_NOT_RIGHT.format(title=number.title, low=low, high=high)
