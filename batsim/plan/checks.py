"""A check of the plan: what is asked of a value, by which rule, and what cures it when it fails."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from batsim.catalogue import sources

if TYPE_CHECKING:
    from batsim.catalogue import Figure

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
    """holds, look, fails or not known."""
    value: str
    """What was found, with its unit."""
    limit: str
    """What is allowed, with its unit."""
    rule: str
    """Where the limit comes from, with its edition."""
    sentence: str
    """What follows, in a sentence."""
    cure: str = ""
    """What can be done when it does not hold."""
    ask: str = ""
    """What to find out on site when it is not known."""
    path: str = ""
    """Where the scenario states it."""
    changes: str = ""
    """What the answer would change."""


def cited(figure: "Figure") -> str:
    """Source of a figure in a few words: its citation up to the first comma but one, and the bay in it."""
    source = sources()[figure.source]
    if source.kind in ("common practice", "memory"):
        return source.citation
    return f"{source.citation.split(';')[0].split(', ')[0]}, {figure.where}"


def mm(value: float) -> str:
    """Write a length, in inches too: half the trade measures in them."""
    return f"{value:.0f} mm ({value / 25.4:.1f} in)"


def missing(subject: str, name: str, limit: str, rule: str, ask: str, path: str, changes: str) -> Check:
    """A check that cannot be made before something is found out."""
    sentence = f"Not known: {ask}."
    return Check(subject, name, NOT_KNOWN, "-", limit, rule, sentence, "", ask, path, changes)


def ordered(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Checks with the gravest first, else in their order."""
    return tuple(sorted(checks, key=lambda check: VERDICTS.index(check.verdict)))
