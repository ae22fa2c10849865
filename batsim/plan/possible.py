"""Whether a layout is possible, told before anything is simulated."""

from collections.abc import Iterable, Iterator

from batsim.plan.checks import Check
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.handling_force import push_checks
from batsim.plan.room_fit import room_checks
from batsim.scenario.site import Scenario

PARTS = (truck_checks, equipment_checks, push_checks, room_checks)


def checks_at_once(scenario: Scenario, layout: str) -> Iterator[Check]:
    """Checks of a layout that need no simulation."""
    resolved = scenario.in_layout(layout)
    for part_checks in PARTS:
        yield from part_checks(resolved, layout)


def impossible_layouts(scenario: Scenario, layouts: Iterable[str]) -> dict[str, str]:
    """Layouts that are impossible, each with the reason as `why` says it."""
    found = {name: [check for check in checks_at_once(scenario, name) if check.impossible] for name in layouts}
    return {name: why(checks) for name, checks in found.items() if checks}


def why(checks: Iterable[Check]) -> str:
    """Say what makes a layout impossible: each of its checks once, with what follows."""
    return " ".join(dict.fromkeys(f"{check.subject}, {check.name}: {check.sentence}" for check in checks))
