"""Whether a layout is possible, told before anything is simulated."""

from collections.abc import Callable, Iterable, Iterator

from batsim.plan.checks import Check, of_area
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.handling_force import push_checks
from batsim.plan.room_fit import room_checks
from batsim.scenario.site import Scenario

AreaPart = Callable[[Scenario, str], Iterable[Check]]
FORBIDDING: tuple[AreaPart, ...] = (truck_checks, equipment_checks)
"""What makes checks that forbid, of each area; the others say what has to be cured."""


def checks_at_once(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Checks of a layout that need no simulation: of each of its areas, then of the room that they share."""
    yield from _of_areas(scenario, layout, (*FORBIDDING, push_checks))
    yield from room_checks(scenario, layout)


def _of_areas(scenario: Scenario, layout: str, parts: tuple[AreaPart, ...]) -> Iterator[Check]:
    """Checks of each area of a layout as if there were no other."""
    for part_checks in parts:
        for area, site in scenario.areas_of(layout).items():
            yield from of_area(area, part_checks(site, layout))


def impossible_layouts(scenario: Scenario, layouts: Iterable[str]) -> dict[str, str]:
    """Layouts that are impossible, each with the reason as `why` says it."""
    found = {name: [check for check in _of_areas(scenario, name, FORBIDDING) if check.impossible] for name in layouts}
    return {name: why(checks) for name, checks in found.items() if checks}


def why(checks: Iterable[Check]) -> str:
    """Say what makes a layout impossible: each of its checks once, with what follows."""
    return " ".join(dict.fromkeys(f"{check.about}: {check.sentence}" for check in checks))
