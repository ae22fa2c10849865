"""A check of the plan: what is asked of a value, by which rule, and what cures it when it fails."""

import csv
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any, NamedTuple

from batsim.catalogue import STATED, Figure, sources
from batsim.display import words
from batsim.plan.survey import equipment_path, in_area, inside
from batsim.scenario.parts.fit import Window

OK, TO_CHECK, FAILS, NOT_KNOWN = "OK", "to check", "fails", "not known"
VERDICTS = (FAILS, TO_CHECK, NOT_KNOWN, OK)
"""The gravest first."""
FORBIDS = "forbids"
"""Stands in place of a verdict before the cases of a check that forbids what fails it."""
ROUNDING = 1e-6
"""A difference this small comes from decimals, not from the site."""


class Check(NamedTuple):
    """One check."""

    subject: str
    """What it is about: trucks, equipment, the room."""
    name: str
    """What is checked, in a few words."""
    verdict: str
    """OK, to check, fails or not known."""
    value: str
    """What the site has, with its unit."""
    limit: str
    """What is allowed, with its unit."""
    rule: str
    """Where the limit comes from, with its edition."""
    sentence: str
    """What follows, in a sentence."""
    cure: str = ""
    """What can be done when it fails."""
    ask: str = ""
    """What to find out on site when it is not known."""
    path: str = ""
    """Where the scenario states it."""
    changes: str = ""
    """What the answer would change."""
    forbids: bool = False
    """Whether a layout must not be used where it fails."""
    area: str = ""
    """Area that it is about; empty where it is about all of them, or the layout is one area."""

    @property
    def about(self) -> str:
        """What is checked of what, and where."""
        return in_area(self.area, f"{self.subject}, {self.name}")

    @property
    def impossible(self) -> bool:
        """Whether it makes a layout impossible: it forbids and fails, and nothing that can be added cures it."""
        return self.forbids and self.verdict == FAILS and not self.cure


@cache
def _rows() -> dict[tuple[str, str], dict[str, str]]:
    """Rows of `checks.csv`, by check and case; that without a case holds what its cases have in common."""
    with Path(__file__).with_name("checks.csv").open(newline="", encoding="utf-8") as lines:
        return {(row["check"], row["case"]): row for row in csv.DictReader(lines)}


class Requirement:
    """What is asked of something, before anybody looks whether it is met: a check of `checks.csv` without its case.

    Parameters
    ----------
    check
        Its key in `checks.csv`.
    subject
        What it is about.
    facts
        What stands for the braces in its texts.
    """

    def __init__(self, check: str, subject: str, **facts: object) -> None:
        self.check, self.subject, self.facts = check, subject, facts

    def case(self, case: str, **facts: object) -> Check:
        """Judge it: one of its cases, with what else its texts ask for."""
        usual, row = _rows()[self.check, ""], _rows()[self.check, case]
        unknown = row["verdict"] == NOT_KNOWN
        columns = ("name", "rule", "limit", "sentence", "cure", *(("path", "changes") if unknown else ("value",)))
        known = self.facts | facts
        texts = {column: _TEXTS.vformat(row[column] or usual[column], (), known) for column in columns}
        if unknown:
            ask = texts["sentence"]
            texts |= {"value": "-", "sentence": f"Not known: {ask}.", "ask": ask}
        forbids = usual["verdict"] == FORBIDS
        return Check(subject=self.subject, verdict=row["verdict"], **texts, forbids=forbids)


def of_area(area: str, checks: Iterable[Check]) -> Iterator[Check]:
    """Checks that are about one area."""
    return (check._replace(area=area) for check in checks)


def missed(check: str, checks: Iterable[Check]) -> bool:
    """Whether a check, by its key, fails or cannot be made yet."""
    name = _rows()[check, ""]["name"]
    return any(made.name == name and made.verdict in (FAILS, NOT_KNOWN) for made in checks)


def cited(figure: Figure) -> str:
    """Source of a figure in a few words: its citation up to the first comma but one, and the place in it."""
    if figure.status == STATED:
        return "stated for this site"
    source = sources()[figure.source]
    if source.kind in ("common practice", "memory"):
        return source.citation
    where = figure.where.replace(" degC", " °C").replace(" degF", " °F")
    return f"{source.citation.split(';')[0].split(', ')[0]}, {where}"


def mm(value: float) -> str:
    """Write a length. [mm]"""
    return f"{value:,.0f} mm"


def span(window: Window) -> str:
    """Write a length, or from which to which it can be set. [mm]"""
    return mm(window.least) if window.least == window.most else f"{mm(window.least)} to {mm(window.most)}"


def air_flow(m3_per_h: float) -> str:
    """Write a flow of air."""
    return f"{m3_per_h:,.0f} m³/h"


def free_area(cm2: float) -> str:
    """Write the free area of an opening."""
    area_m2 = cm2 / 1e4
    return f"{area_m2:,.1f} m²" if area_m2 >= 1.0 else f"{area_m2:.2f} m²"


def degrees(degc: float) -> str:
    """Write a temperature, without a minus before nothing."""
    return f"{round(degc, 1) + 0.0:.1f}"


def share(part: float) -> str:
    """Write a part of something in hundredths, with a blank as everywhere."""
    return f"{100.0 * part:.0f} %"


FORMS: dict[str, Callable[[Any], str]] = {
    "mm": mm, "span": span, "air": air_flow, "area": free_area, "cited": cited, "words": words, "inside": inside,
    "at": equipment_path, "degc": degrees, "share": share,
}  # fmt: skip
"""How a fact is written, by what stands after its colon in `checks.csv`; else as Python formats it."""


class _Texts(Formatter):
    """Fills the braces of texts."""

    def format_field(self, value: Any, format_spec: str) -> Any:  # noqa: ANN401 - as its base class declares it
        form = FORMS.get(format_spec)
        return super().format_field(value, format_spec) if form is None else form(value)


_TEXTS = _Texts()


def filled(text: str, **facts: object) -> str:
    """Text with its facts in place of the braces."""
    return _TEXTS.vformat(text, (), facts)


def ordered(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Checks with the gravest first, else in their order."""
    return tuple(sorted(checks, key=lambda check: VERDICTS.index(check.verdict)))
