"""A check of the plan: what is asked of a value, by which rule, and what cures it when it fails."""

from collections.abc import Iterable
from typing import NamedTuple

from batsim.catalogue import STATED, Figure, sources

OK, TO_CHECK, FAILS, NOT_KNOWN = "OK", "to check", "fails", "not known"
VERDICTS = (FAILS, TO_CHECK, NOT_KNOWN, OK)
"""The gravest first."""
PLATE = "the truck's plate"
PRACTICE = "common practice, no source"
ROUNDING = 1e-6
"""A difference this small comes from decimals, not from the site."""
GEOMETRY = "geometry"


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


class Requirement(NamedTuple):
    """What is asked of something, before anybody looks whether it is met: a check without its verdict."""

    subject: str
    name: str
    rule: str
    changes: str = ""
    """What it would change to know the value."""
    limit: str = "-"

    def within(self, limit: str) -> "Requirement":
        """The same with its limit."""
        return self._replace(limit=limit)

    def ok(self, value: str, sentence: str) -> Check:
        """It is met."""
        return self._judged(OK, value, sentence, "")

    def to_check(self, value: str, sentence: str, cure: str) -> Check:
        """Somebody has to look at it."""
        return self._judged(TO_CHECK, value, sentence, cure)

    def fails(self, value: str, sentence: str, cure: str) -> Check:
        """It is not met."""
        return self._judged(FAILS, value, sentence, cure)

    def not_known(self, ask: str, path: str) -> Check:
        """It cannot be judged before something is found out on site."""
        return self._judged(NOT_KNOWN, "-", f"Not known: {ask}.", "")._replace(ask=ask, path=path, changes=self.changes)

    def _judged(self, verdict: str, value: str, sentence: str, cure: str) -> Check:
        return Check(self.subject, self.name, verdict, value, self.limit, self.rule, sentence, cure)


def cited(figure: Figure) -> str:
    """Source of a figure in a few words: its citation up to the first comma but one, and the place in it."""
    if figure.status == STATED:
        return "stated for this site"
    source = sources()[figure.source]
    if source.kind in ("common practice", "memory"):
        return source.citation
    return f"{source.citation.split(';')[0].split(', ')[0]}, {figure.where}"


def mm(value: float) -> str:
    """Write a length, in inches too: half the trade measures in them."""
    return f"{value:.0f} mm ({value / 25.4:.1f} in)"


def span(least: float, most: float) -> str:
    """Write a length, or from which to which it can be set. [mm]"""
    return mm(least) if least == most else f"{mm(least)} to {mm(most)}"


def air_flow(m3_per_h: float) -> str:
    """Write a flow of air."""
    return f"{m3_per_h:,.0f} m³/h"


def free_area(cm2: float) -> str:
    """Write the free area of an opening."""
    area_m2 = cm2 / 1e4
    return f"{area_m2:,.1f} m²" if area_m2 >= 1.0 else f"{area_m2:.2f} m²"


def ordered(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Checks with the gravest first, else in their order."""
    return tuple(sorted(checks, key=lambda check: VERDICTS.index(check.verdict)))
