"""When an arrangement is usually chosen, held against the site: beside the numbers, never instead of them."""

from collections.abc import Collection, Iterator
from typing import NamedTuple

from batsim.display import words
from batsim.plan.stock import names_of, stock_of
from batsim.plan.survey import each_once, sentence_of
from batsim.scenario.parts.needs import Advice
from batsim.scenario.site import Scenario


class UsualChoice(NamedTuple):
    """What speaks for and against an arrangement at a site, by common practice."""

    says: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


def usual_choice(scenario: Scenario, layout: str) -> UsualChoice:
    """Hold the usual reasons for the arrangement of each area against what it serves."""
    there_already = names_of(stock_of(scenario, layout))
    areas = scenario.areas_of(layout)
    usual = {area: site.arrangement(layout).needs.advice for area, site in areas.items()}
    says = each_once(((area, advice.says) for area, advice in usual.items() if advice.says), areas)
    reasons = [(area, *reason) for area, site in areas.items() for reason in _reasons(usual[area], site, there_already)]
    return UsualChoice(
        " ".join(map(sentence_of, says)),
        tuple(each_once([(area, text) for area, text, speaks_for in reasons if speaks_for], areas)),
        tuple(each_once([(area, text) for area, text, speaks_for in reasons if not speaks_for], areas)),
    )


def _reasons(usual: Advice, scenario: Scenario, there_already: Collection[str]) -> Iterator[tuple[str, bool]]:
    """Usual reasons against an area: each in words, and whether it speaks for the arrangement."""
    yield from _fleet(usual, sum(group.count for group in scenario.trucks))
    yield from _shifts(usual, max(len(group.shifts) for group in scenario.trucks))
    for name in usual.needs_owned:
        there = name in there_already
        yield f"{words(name)} {'is there already' if there else 'would have to be bought'}", there
    if usual.movable == "yes":
        yield "the room can be moved with it", True


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
