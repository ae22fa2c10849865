"""Whether a layout is possible, told before anything is simulated."""

from collections.abc import Callable, Iterable, Iterator

from batsim.plan.checks import Check
from batsim.plan.fit import truck_checks
from batsim.plan.fit_equipment import equipment_checks
from batsim.plan.handling_force import push_checks
from batsim.plan.room_fit import room_checks
from batsim.scenario.site import Scenario

Part = Callable[[Scenario, str], Iterable[Check]]
FORBIDDING: tuple[Part, ...] = (truck_checks, equipment_checks)
"""What makes checks that forbid; the others say what has to be cured."""
PARTS = (*FORBIDDING, push_checks, room_checks)


def checks_at_once(scenario: Scenario, layout: str, parts: tuple[Part, ...] = PARTS) -> Iterator[Check]:
    """Checks of a layout that need no simulation."""
    resolved = scenario.in_layout(layout)
    for part_checks in parts:
        yield from part_checks(resolved, layout)


def impossible_layouts(scenario: Scenario, layouts: Iterable[str]) -> dict[str, str]:
    """Layouts that are impossible, each with the reason as `why` says it."""
    found = {
        name: [check for check in checks_at_once(scenario, name, FORBIDDING) if check.impossible] for name in layouts
    }
    return {name: why(checks) for name, checks in found.items() if checks}


def why(checks: Iterable[Check]) -> str:
    """Say what makes a layout impossible: each of its checks once, with what follows."""
    return " ".join(dict.fromkeys(f"{check.subject}, {check.name}: {check.sentence}" for check in checks))
