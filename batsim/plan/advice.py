"""When an arrangement is usually chosen, held against the site: beside the numbers, never instead of them."""

from typing import TYPE_CHECKING, NamedTuple

from batsim.plan.survey import words

if TYPE_CHECKING:
    from batsim.scenario.site import Scenario


class Advice(NamedTuple):
    """What speaks for and against an arrangement at a site, by common practice."""

    says: str
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]


def advice(scenario: "Scenario", layout: str) -> Advice:
    """Hold the usual reasons against the site."""
    arrangement = scenario.arrangement(layout)
    usual, stated = arrangement.needs.advice, scenario.layouts[layout]
    trucks = sum(group.count for group in scenario.trucks)
    shifts = max(len(group.shifts) for group in scenario.trucks)
    speaks_for: list[str] = []
    against: list[str] = []

    def weigh(text: str, *, holds: bool) -> None:
        (speaks_for if holds else against).append(text)

    fleet = f"{trucks} trucks"
    if usual.trucks_from or usual.trucks_to is not None:
        most = "" if usual.trucks_to is None else f" to {usual.trucks_to}"
        holds = usual.trucks_from <= trucks <= (usual.trucks_to or trucks)
        span = f"{usual.trucks_from} or more" if usual.trucks_to is None else f"{max(1, usual.trucks_from)}{most}"
        weigh(f"{fleet}, where {span} are usual", holds=holds)
    if usual.shifts_from > 1 or usual.shifts_to is not None:
        holds = usual.shifts_from <= shifts <= (usual.shifts_to or shifts)
        span = f"{usual.shifts_from} or more" if usual.shifts_to is None else f"at most {usual.shifts_to}"
        weigh(
            f"{shifts} shift{'s' if shifts > 1 else ''}, where {span} {'is' if span.endswith(' 1') else 'are'} usual",
            holds=holds,
        )
    for name in usual.needs_owned:
        there = bool({name, "devices"} & set(stated.owned))
        weigh(f"{words(name)} {'is there already' if there else 'would have to be bought'}", holds=there)
    if usual.movable == "yes":
        weigh("the room can be moved with it", holds=True)
    return Advice(usual.says, tuple(speaks_for), tuple(against))
