"""When an arrangement is usually chosen, held against the site: beside the numbers, never instead of them."""

from collections.abc import Iterator
from typing import NamedTuple

from batsim.plan.stock import stock_of
from batsim.plan.survey import words
from batsim.scenario.parts.needs import Advice
from batsim.scenario.site import Scenario


class UsualChoice(NamedTuple):
    """What speaks for and against an arrangement at a site, by common practice."""

    says: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


def usual_choice(scenario: Scenario, layout: str) -> UsualChoice:
    """Hold the usual reasons against the site."""
    usual, there_already = scenario.arrangement(layout).needs.advice, stock_of(scenario, layout)
    reasons = [
        *_fleet(usual, sum(group.count for group in scenario.trucks)),
        *_shifts(usual, max(len(group.shifts) for group in scenario.trucks)),
    ]
    for name in usual.needs_owned:
        there = there_already.get(name, 0.0) > 0.0
        reasons.append((f"{words(name)} {'is there already' if there else 'would have to be bought'}", there))
    if usual.movable == "yes":
        reasons.append(("the room can be moved with it", True))
    speaks_for, against = (tuple(text for text, holds in reasons if holds is wanted) for wanted in (True, False))
    return UsualChoice(usual.says, speaks_for, against)


def _fleet(usual: Advice, trucks: int) -> Iterator[tuple[str, bool]]:
    """Trucks against the usual number: in words, and whether that speaks for it."""
    least, most = usual.trucks_from, usual.trucks_to
    if least or most is not None:
        text = f"{least} or more" if most is None else f"{max(1, least)} to {most}"
        yield f"{_counted(trucks, 'truck')}, where {text} are usual", least <= trucks <= (most or trucks)


def _shifts(usual: Advice, shifts: int) -> Iterator[tuple[str, bool]]:
    """Shifts of a truck against the usual number: in words, and whether that speaks for it."""
    least, most = usual.shifts_from, usual.shifts_to
    if least > 1 or most is not None:
        text = f"{least} or more are" if most is None else f"at most {most} {'is' if most == 1 else 'are'}"
        yield f"{_counted(shifts, 'shift')}, where {text} usual", least <= shifts <= (most or shifts)


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"
