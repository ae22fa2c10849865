"""Parts that a site needs once, or once in each space: against acid, for water, for air, for people."""

from collections.abc import Iterator, Mapping, Sequence

from batsim.plan.checks import Check, air_flow, missed
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.survey import (
    has_acid,
    spaces_of,
)
from batsim.scenario.site import Scenario
from batsim.study.prices import (
    part_price,
)


def watered(scenario: Scenario, layout: str, *ways: str) -> bool:
    """Whether any batteries of a layout are watered in one of these ways."""
    return any(watered_so(scenario, name, by) for name in scenario.batteries_of(layout) for by in ways)


def shared_parts(
    scenario: Scenario, layout: str, checks: tuple[Check, ...], air_m3_per_h: Mapping[str, float]
) -> Iterator[EquipmentLine]:
    """What areas share: in each space what waters batteries, what acid asks for and a fan; what protects people."""
    spaces = spaces_of(scenario, layout)
    acid: list[str] = []
    for space, areas in spaces.items():
        where = f"; in the {space}" if len(spaces) > 1 else ""
        if any(watered(site, layout, "single_point", "hand") for site in areas.values()):
            reason = f"demineralised water at the batteries{where}"
            yield _part(scenario, "maintenance", "water cart", 1.0, reason, "device")
        with_acid = [area for area, site in areas.items() if has_acid(site, layout)]
        if with_acid:
            yield from _against_acid(scenario, checks, where)
        acid += with_acid
    if acid:
        attendants = scenario.layouts[layout].attendants_of(acid)
        people = max(map(int, attendants.values()), default=1) if isinstance(attendants, dict) else 1
        reason = "goggles, face shield, apron, gloves: one for each attendant"
        yield _part(scenario, "room", "protective equipment", float(max(1, people)), reason, "device")
    yield from _fans(scenario, list(spaces), checks, air_m3_per_h)


def _fans(
    scenario: Scenario, spaces: Sequence[str], checks: tuple[Check, ...], air_m3_per_h: Mapping[str, float]
) -> Iterator[EquipmentLine]:
    """A fan for each space that has too little air."""
    for space in spaces:
        of_space = [check for check in checks if check.subject == space]
        if missed("air", of_space) or missed("gas", of_space):
            size = f"at least {air_flow(air_m3_per_h.get(space, 0.0))}"
            reason = f"the air of the {space if len(spaces) > 1 else 'room'} is too little or not known"
            yield _part(scenario, "room", "exhaust fan with interlock", 1.0, reason, "room", size=size)


def _against_acid(scenario: Scenario, checks: tuple[Check, ...], where: str) -> Iterator[EquipmentLine]:
    """What acid asks for in a space: the wash where none is near enough, and what holds spilt acid back."""
    if missed("wash", checks):
        size, reason = (
            f"{scenario.figures['wash.minutes'].text} of flow, within reach of the acid work",
            "none near enough is known",
        )
        yield _part(scenario, "room", "eyewash and shower", 1.0, f"{reason}{where}", "room", size=size)
    reason = f"acid that is spilt is held back and neutralised{where}"
    yield _part(scenario, "room", "spill kit", 1.0, reason, "device")


def _part(
    scenario: Scenario, section: str, item: str, number: float, reason: str, life: str, *, size: str = ""
) -> EquipmentLine:
    """A line of a part that is not the arrangement's."""
    return EquipmentLine(section, item, size, number, 0.0, reason, part_price(scenario, item), life, item)


def watered_so(scenario: Scenario, battery: str, by: str) -> bool:
    """Whether batteries of a type are watered so."""
    watering = scenario.batteries[battery].watering
    return watering is not None and watering.by == by
