"""Rules on mixed stock: batteries are counted by lot, and what can no longer be had is kept to what is there."""

from collections.abc import Iterator

from batsim.errors import Problem
from batsim.scenario.checks.checked_layout import CheckedLayout
from batsim.scenario.parts.faults import Fault, did_you_mean, shown
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path


def lot_problems(checked: CheckedLayout) -> Iterator[Problem]:
    """Batteries of a type with lots are counted by lot, others are not; what is in a truck is not picked."""
    stated = checked.layout.batteries or {}
    for battery in checked.trucks:
        keys = ("batteries",) if battery not in stated else ("batteries", battery)
        counted = stated.get(battery, stated.get(""))
        if counted is not None or checked.arrangement.in_truck:
            for fault in lot_faults(checked.scenario, battery, counted):
                yield checked.problem(*keys, *fault.path, rule=fault.rule, got=fault.got)
    if checked.arrangement.in_truck and checked.layout.picking != "longest_rested":
        rule = "is for batteries that are exchanged; charged in the truck, each truck keeps its own"
        yield checked.problem("picking", rule=rule, got=f"'{checked.layout.picking}'")


def lot_faults(scenario: Scenario, battery: str, counted: BatteryCount | None) -> Iterator[Fault]:
    """Find a number without lots, or with lots that the type does not have; the path is that within the count."""
    known, named = list(scenario.batteries[battery].lots), {} if counted is None else counted.lots
    got = None if counted is None else counted.text
    if not known and named:
        yield Fault((), f"battery type '{battery}' has no lots; count it in one number, or state them there", got)
        return
    if known and not named:
        example = ", ".join(f"{number} x {name}" for number, name in zip((20, 13, 5), known, strict=False))
        yield Fault((), f"needs how many of each lot of '{battery}', such as [{example}]", got)
    for position, name in enumerate(named):
        if name not in known:
            rule = f"no lot of this name under battery type '{battery}'{did_you_mean(name, known)}"
            yield Fault((position,), rule, shown(name))


def kept_problems(scenario: Scenario, layout: str, source: LocatedData) -> Iterator[Problem]:
    """Find more than there are of what can no longer be had, over all areas of a layout."""
    for name, number in scenario.layouts[layout].chargers_by_type.items():
        kept = scenario.kept(layout, name) if scenario.chargers[name].discontinued else None
        if kept is not None and number > kept.number:
            rule = f"{kept.text}, and can no longer be bought; have at most as many, or another type"
            yield source.problem(_at(scenario, layout, "chargers"), rule, got=f"{number:g} x {name}")
    for name, lot, number in _old_lots(scenario, layout):
        kept = scenario.kept(layout, name, lot)
        if kept is not None and number > kept.number:
            rule = f"{kept.text}; have at most as many, or state a price or rent for which more can be had"
            yield source.problem(_at(scenario, layout, "batteries", name), rule, got=f"{number} x {lot}")


def _old_lots(scenario: Scenario, layout: str) -> Iterator[tuple[str, str, int]]:
    """Battery type, lot and number of what a layout counts of lots of which no more can be had."""
    for name, counted in scenario.batteries_of(layout).items():
        lots = scenario.batteries[name].lots
        for lot, number in counted.lots.items():
            if lot in lots and not lots[lot].can_grow:
                yield name, lot, number


def _at(scenario: Scenario, layout: str, *keys: str) -> Path:
    """Where a layout counts things: in itself, or in the first area that does."""
    stated = scenario.layouts[layout]
    kind, name = keys[0], keys[-1]
    for area, equipped in stated.areas.items():
        if kind == "chargers" or name in (equipped.batteries or {}):
            return ("layouts", layout, "areas", area, *keys)
    by_type = kind == "chargers" or name in (stated.batteries or {})
    return ("layouts", layout, *(keys if by_type else keys[:1]))
