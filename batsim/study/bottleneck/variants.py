"""A layout with one more of each thing: which variants there are, each read and checked anew."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, NamedTuple

from batsim.errors import Problem, ScenarioError
from batsim.room.blueprint import Blueprint, blueprint
from batsim.scenario.parts.base import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN

if TYPE_CHECKING:
    from batsim.scenario.parts.layouts import Layout, OnDuty
    from batsim.scenario.site import Scenario

Changes = dict[str, object]
"""By key of the layout: what stands there instead, as YAML would hold it."""


class Addition(NamedTuple):
    """One more of a thing."""

    label: str
    """Such as `one more station`."""
    thing: str
    """What it is one more of, such as `the station`."""
    kind: str
    """station, device, attendants, charger, battery, bay, set-down bay or spot."""
    changes: Changes
    parts: tuple[str, ...] = ()
    """Labels of what it is made of, where it is more than one: attendants on all shifts, a station with its devices."""


class Variant(NamedTuple):
    """A scenario in which a layout has one more of a thing."""

    addition: Addition
    scenario: "Scenario"


class LeftOut(NamedTuple):
    """What was not tried, and why."""

    label: str
    why: str


def variants(scenario: "Scenario", layout: str) -> tuple[list[Variant], list[LeftOut]]:
    """Make every variant of a layout with one more of something that has a limit.

    Parameters
    ----------
    scenario
        The site.
    layout
        Name of one of its layouts.

    Returns
    -------
    variants, left out
        Scenarios with the changed layout; what breaks a rule when it is read, with the rule.
    """
    stated, plan = scenario.layouts[layout], blueprint(scenario, layout, WEEK_MIN, 0.0)
    made, left_out = [], []
    for addition in _additions(stated, plan, scenario.batteries_of(layout)):
        try:
            made.append(Variant(addition, _changed(scenario, layout, addition.changes)))
        except ScenarioError as error:
            left_out.append(LeftOut(addition.label, "; ".join(_rule(problem) for problem in error.problems)))
    return made, left_out


def _changed(scenario: "Scenario", layout: str, changes: Changes) -> "Scenario":
    """Scenario with other values under some keys of a layout."""
    quote = '"' if "'" in layout else "'"
    for key, value in changes.items():
        scenario = scenario.replace(f"layouts.{quote}{layout}{quote}.{key}", value)
    return scenario


def _rule(problem: Problem) -> str:
    """Say a broken rule without its bay: the variant stands in no file."""
    return problem.rule if problem.got is None else f"{problem.rule} (got {problem.got})"


def _additions(stated: "Layout", plan: Blueprint, batteries: dict[str, int]) -> Iterator[Addition]:
    """One more of everything that a layout has a limited number of."""
    if plan.arrangement.in_truck:
        yield from _devices(stated, plan)
        yield from _spots(stated, plan)
        return
    yield from _stations(stated, plan)
    yield from _devices(stated, plan)
    yield from _attendants(stated)
    yield from _chargers(stated, plan)
    yield from _batteries(stated, batteries)
    if stated.bays != UNLIMITED:
        word = plan.arrangement.bay
        yield Addition(f"one more {word}", f"the {word}s", "bay", {"bays": int(plan.bays) + 1})
    if 0 < plan.set_down_bays < UNLIMITED:
        more: Changes = {"set_down_bays": int(plan.set_down_bays) + 1}
        yield Addition("one more set-down bay", "the set-down bays", "set-down bay", more)


def _stations(stated: "Layout", plan: Blueprint) -> Iterator[Addition]:
    """One more station, alone and with all that one exchange holds there."""
    if plan.stations == UNLIMITED:
        return
    thing = "the station" if plan.stations == 1 else "the stations"
    stations: Changes = {"stations": int(plan.stations) + 1}
    yield Addition("one more station", thing, "station", stations)
    held = plan.exchange.devices if plan.exchange is not None else {}
    scarce = [name for name in held if plan.devices[name] < UNLIMITED]
    if not scarce:
        return
    devices = {**_counts(stated.devices), **{name: int(plan.devices[name]) + held[name] for name in scarce}}
    set_down = {} if stated.set_down_bays in (None, UNLIMITED) else {
        "set_down_bays": int(plan.set_down_bays) + plan.arrangement.set_down_bays
    }  # fmt: skip
    words = " and ".join(name.replace("_", " ") for name in scarce)
    its = "its" if plan.stations == 1 else "their"
    parts = ("one more station", *(f"one more {name.replace('_', ' ')}" for name in scarce), "one more set-down bay")
    changes: Changes = {**stations, "devices": devices, **set_down}
    with_devices = f"one more station with its {words}"
    yield Addition(with_devices, f"{thing} with {its} {words}", "station", changes, parts)
    if isinstance(stated.attendants, dict) and plan.exchange is not None and plan.exchange.attendants:
        every = (
            "one more attendant on every shift"
            if len(stated.attendants) > 1
            else f"one more attendant on {next(iter(stated.attendants))}"
        )
        label = f"{with_devices} and attendants"
        changes = {**changes, "attendants": _attendant_changes(stated.attendants)[1]}
        yield Addition(
            label, f"{thing} with {its} {words} and attendants", "station", changes, (*parts, with_devices, every)
        )


def _devices(stated: "Layout", plan: Blueprint) -> Iterator[Addition]:
    """One more of each kind of device; where none is stated there are as many as one exchange holds."""
    for name, count in plan.devices.items():
        if count < UNLIMITED:
            word = name.replace("_", " ")
            thing = f"the {word}" if count == 1 else f"the {word}s"
            devices = {**_counts(stated.devices), name: int(count) + 1}
            yield Addition(f"one more {word}", thing, "device", {"devices": devices})


def _counts(devices: dict[str, float]) -> dict[str, object]:
    """Write counts as YAML holds them."""
    return {name: "unlimited" if count == UNLIMITED else int(count) for name, count in devices.items()}


def _attendants(stated: "Layout") -> Iterator[Addition]:
    """One more attendant on each shift, and one on every shift where there are several."""
    if not isinstance(stated.attendants, dict):
        return
    now, more = _attendant_changes(stated.attendants)
    for shift, after in more.items():
        attendants: Changes = {"attendants": {**now, shift: after}}
        yield Addition(f"one more attendant on {shift}", f"the attendants on {shift}", "attendants", attendants)
    if len(more) > 1:
        label = "one more attendant on every shift"
        each = tuple(f"one more attendant on {shift}" for shift in more)
        yield Addition(label, "the attendants", "attendants", {"attendants": more}, each)


def _attendant_changes(attendants: "Mapping[str, OnDuty]") -> tuple[Changes, Changes]:
    """Attendants as it is and with one more on every shift, who is qualified as somebody there is."""
    now: Changes = {}
    more: Changes = {}
    for shift, on_it in attendants.items():
        count, skills = int(on_it), on_it.qualified
        if skills is None:
            now[shift], more[shift] = count, count + 1
        else:
            now[shift] = {"attendants": count, **skills}
            more[shift] = {"attendants": count + 1, **{skill: number + 1 for skill, number in skills.items()}}
    return now, more


def _chargers(stated: "Layout", plan: Blueprint) -> Iterator[Addition]:
    """One more charger of each type."""
    for name, count in zip(plan.charger_names, plan.charger_counts, strict=True):
        if count < UNLIMITED:
            of = f" ({name})" if len(plan.charger_names) > 1 else ""
            yield Addition(f"one more charger{of}", f"the chargers{of}", "charger", _one_charger_more(stated, name))


def _one_charger_more(stated: "Layout", name: str) -> Changes:
    """Chargers with one more of a type; where a type stands in two entries, in the first."""
    entries, added = [], False
    for number, charger in stated.chargers:
        more = int(charger == name and not added)
        added = added or bool(more)
        entries.append(f"{'unlimited' if number == UNLIMITED else int(number) + more} x {charger}")
    return {"chargers": entries}


def _batteries(stated: "Layout", batteries: dict[str, int]) -> Iterator[Addition]:
    """One more battery of each type that trucks use."""
    written = stated.batteries or {}
    for name, count in batteries.items():
        of = f" ({name})" if len(batteries) > 1 else ""
        counts = count + 1 if "" in written else {**written, name: count + 1}
        yield Addition(f"one more battery{of}", f"the batteries{of}", "battery", {"batteries": counts})


def _spots(stated: "Layout", plan: Blueprint) -> Iterator[Addition]:
    """One more charging spot with its charger; the spots that are not stated follow from the chargers."""
    spots: Changes = {}
    if stated.stations is not None and stated.stations < UNLIMITED:
        spots = {"stations": int(stated.stations) + 1}
    for name, count in zip(plan.charger_names, plan.charger_counts, strict=True):
        chargers = _one_charger_more(stated, name) if count < UNLIMITED else {}
        if spots or chargers:
            of = f" ({name})" if len(plan.charger_names) > 1 else ""
            label = f"one more charging spot with its charger{of}" if chargers else "one more charging spot"
            yield Addition(label, f"the charging spots{of}", "spot", {**spots, **chargers})
