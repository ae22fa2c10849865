"""Rules for one layout: enough of everything, so that it can neither deadlock nor stand still."""

from collections.abc import Iterator

from batsim.errors import Problem
from batsim.formulas.charging import charge_phases
from batsim.formulas.phases import phases_hours
from batsim.scenario.checks.charging_checks import charging_problems
from batsim.scenario.checks.room_checks import room_problems
from batsim.scenario.chemistry import capacity_ah, profile_of
from batsim.scenario.parts.base import UNLIMITED, did_you_mean
from batsim.scenario.parts.calendar import common, group_windows, manned_windows, overlap_min
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path
from batsim.scenario.text.problems import problem

LONGEST_CHARGE_H = 168.0
"""A week: a full charge that takes longer is a slip in a unit. [h]"""


def layout_problems(scenario: Scenario, name: str, source: LocatedData | None = None) -> list[Problem]:
    """Find every broken rule of one layout.

    Parameters
    ----------
    scenario, name
        A scenario and the name of one of its layouts.
    stated
        Where it stands in its file. A layout that was made in memory stands nowhere: line and column are 0.
    """
    source = source or LocatedData(scenario.file, None)
    checks = (_batteries, _chargers, _bays, _devices, _attendants, _charge_in_truck, charging_problems)
    found = [each for check in checks for each in check(scenario, name, source)]
    return found or list(room_problems(scenario, name, source))


def _in_trucks(scenario: Scenario) -> dict[str, int]:
    """Trucks by battery type."""
    counts: dict[str, int] = {}
    for group in scenario.trucks:
        counts[group.battery] = counts.get(group.battery, 0) + group.count
    return counts


def _batteries(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """A battery for each truck, and a spare where the release rule needs one."""
    layout = scenario.layouts[name]
    path: Path = ("layouts", name, "batteries")
    trucks = _in_trucks(scenario)
    in_truck = scenario.arrangement(name).in_truck
    if layout.batteries is None:
        if not in_truck:
            total = sum(trucks.values())
            rule = f"missing: batteries in all, more than the {total} that the trucks carry"
            yield problem(source, path, rule)
        return
    if "" in layout.batteries and len(trucks) > 1:
        rule = f"needs a number for each battery type ({', '.join(trucks)})"
        yield problem(source, path, rule, got=str(layout.batteries[""]))
        return
    counts = scenario.batteries_of(name)
    for battery, in_use in trucks.items():
        at = path if "" in layout.batteries else (*path, battery)
        if "" not in layout.batteries and battery not in layout.batteries:
            yield problem(source, path, f"missing: a number for battery type '{battery}'")
        elif in_truck and counts[battery] != in_use:
            rule = f"charging in the truck needs one battery for each of the {in_use} trucks"
            yield problem(source, at, rule, got=str(counts[battery]))
        elif counts[battery] < in_use:
            rule = f"must be at least {in_use}, one for each truck of battery type '{battery}'"
            yield problem(source, at, rule, got=str(counts[battery]))
        elif (
            not in_truck
            and counts[battery] < 2 * in_use
            and scenario.rules.discharged_on_charge == "with_exchange"
            and any(group.own_batteries for group in scenario.trucks if group.battery == battery)
        ):
            rule = (
                f"would deadlock: trucks that keep batteries of their own need two each, {2 * in_use} of type "
                f"'{battery}'"
            )
            yield problem(source, at, rule, got=str(counts[battery]))
        elif not in_truck and counts[battery] == in_use and scenario.rules.discharged_on_charge == "with_exchange":
            rule = (
                f"would deadlock: without a spare battery of type '{battery}' no exchange can ever start; "
                f"have at least {in_use + 1}, or set rules.discharged_on_charge to at_arrival"
            )
            yield problem(source, at, rule, got=str(counts[battery]))


def _chargers(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Every battery type in use has a charger that fits."""
    layout = scenario.layouts[name]
    for battery in _in_trucks(scenario):
        kind = scenario.batteries[battery]
        fitting = [each.charger for each in layout.chargers if scenario.chargers[each.charger].fits(battery, kind)]
        if not fitting:
            rule = f"no charger here fits battery type '{battery}' ({kind.chemistry.replace('_', ' ')})"
            got = ", ".join(count.charger for count in layout.chargers)
            yield problem(source, ("layouts", name, "chargers"), rule, got=got)
        for charger in fitting:
            yield from _currents(scenario, battery, charger, source)


def _currents(scenario: Scenario, battery: str, charger: str, source: LocatedData) -> Iterator[Problem]:
    """Find charge currents that never fill a battery type, which are slips in a unit."""
    kind = scenario.batteries[battery]
    profile = profile_of(scenario.chargers[charger], kind, scenario.figures)
    path: Path = ("chargers", charger)
    if profile.end_a > profile.main_a:
        got = f"{profile.end_a:g} A and {profile.main_a:g} A on '{battery}'"
        yield problem(source, path, "the end current must not be above the main current", got=got)
        return
    ah = capacity_ah(kind, scenario.figures)
    hours = phases_hours(charge_phases(profile, ah, ah, profile.factor * ah))
    if kind.charge_time_min is None and hours > LONGEST_CHARGE_H:
        rule = f"takes {hours:.0f} h to charge '{battery}'; check main_current, end_current and the capacity"
        yield problem(source, path, rule)


def _bays(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Bays for all spares and the empty ones an exchange needs."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    if layout.bays is None or layout.bays == UNLIMITED or arrangement.in_truck:
        return
    trucks = _in_trucks(scenario)
    batteries = sum(scenario.batteries_of(name).values())
    spares = batteries - sum(trucks.values())
    if scenario.rules.discharged_on_charge == "at_arrival":
        if layout.bays < batteries:
            rule = f"discharged batteries pulled out at arrival need a bay for each of the {batteries} batteries"
            yield problem(source, ("layouts", name, "bays"), rule, got=f"{layout.bays:g}")
    elif layout.bays < spares + arrangement.empty_bays:
        rule = (
            f"would deadlock: {spares} spare batteries and {arrangement.empty_bays} empty "
            f"{arrangement.bay} for the exchange need at least {spares + arrangement.empty_bays} bays"
        )
        yield problem(source, ("layouts", name, "bays"), rule, got=f"{layout.bays:g}")


def _devices(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Devices that the arrangement knows, and enough for one exchange."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    held = {device: kind.held for device, kind in arrangement.devices.items()}
    if arrangement.in_truck:
        held = dict(arrangement.watering_devices)
    yield from device_problems(("layouts", name, "devices"), layout.handling, layout.devices, held, source)
    standby = scenario.standby(name)
    taken = max(arrangement.set_down_bays, standby.set_down_bays if standby is not None else 0)
    if layout.set_down_bays is not None and layout.set_down_bays < taken:
        rule = f"would deadlock: one exchange takes {taken}"
        yield problem(source, ("layouts", name, "set_down_bays"), rule, got=f"{layout.set_down_bays:g}")


def device_problems(
    path: Path, handling: str, counts: dict[str, float], held: dict[str, int], source: LocatedData
) -> Iterator[Problem]:
    """Find devices that an arrangement does not know, and too few of those that it does."""
    for device, count in counts.items():
        if device not in held:
            rule = f"{handling} uses no such device{did_you_mean(device, list(held))}"
            yield problem(source, (*path, device), rule, of_key=True)
        elif count < held[device]:
            rule = f"would deadlock: one exchange holds {held[device]}; have at least {held[device]}"
            yield problem(source, (*path, device), rule, got=f"{count:g}")


def _attendants(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Enough attendants at once, in hours when trucks work."""
    layout, arrangement = scenario.layouts[name], scenario.arrangement(name)
    path: Path = ("layouts", name, "attendants")
    if not isinstance(layout.attendants, dict):
        return
    skill = None
    if arrangement.in_truck or layout.drivers_exchange:
        needed = 0
    elif layout.exchange_time_min is not None:
        needed = 1
    else:
        needed = max([0, *(step.by.attendants for step in arrangement.steps)])
        skill = next((step.skill for step in arrangement.steps if step.skill), None)
    connects = arrangement.connects == "attendant" and not arrangement.in_truck and not layout.drivers_exchange
    needed = max(needed, int(connects or has_maintenance(scenario)))
    if not needed:
        return
    manned = manned_windows(scenario.week, layout.attendants, needed, 3 * WEEK_MIN)
    stated_attendants = ", ".join(f"{shift}: {count}" for shift, count in layout.attendants.items()) or "nobody"
    if not manned:
        rule = f"{layout.handling} needs {needed} attendant{'s' * (needed > 1)} on duty at once on at least one shift"
        yield problem(source, path, rule, got=stated_attendants)
        return
    qualified = {shift: on_duty.with_skill(skill) for shift, on_duty in layout.attendants.items()}
    if skill is not None:
        manned = common(manned, manned_windows(scenario.week, qualified, 1, 3 * WEEK_MIN))
    if not manned:
        rule = (
            f"nobody is qualified for '{skill}', which {layout.handling} asks for; write {{attendants: 2, {skill}: 1}}"
        )
        yield problem(source, path, rule, got=stated_attendants)
        return
    if arrangement.in_truck:
        return
    for group in scenario.trucks:
        at_work = group_windows(scenario.week, group.shifts, 3 * WEEK_MIN)
        if at_work and overlap_min(manned, at_work) <= 0.0:
            rule = (
                f"is never on shift when exchanges fall due: '{group.group}' works "
                f"{', '.join(group.shifts)}; put {needed} attendant{'s' * (needed > 1)} on one of these shifts"
            )
            yield problem(source, path, rule, got=stated_attendants)


def has_maintenance(scenario: Scenario) -> bool:
    """Tell whether any battery in use is watered, inspected, read or washed."""
    types = (scenario.batteries[group.battery] for group in scenario.trucks)
    return any(
        each is not None for kind in types for each in (kind.watering, kind.inspection, kind.readings, kind.wash)
    )


def _charge_in_truck(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Charge levels of charging in the truck must lie above the level that sends a truck to charge."""
    layout = scenario.layouts[name]
    if not scenario.arrangement(name).in_truck:
        return
    latest = max(group.exchange_at_share for group in scenario.trucks)
    for key, share in (
        ("ceiling", layout.in_truck.ceiling_share),
        ("return_at", layout.in_truck.return_at_share),
    ):
        if share <= latest:
            rule = f"must lie above the level at which trucks go to charge ({100 * latest:g} %)"
            yield problem(source, ("layouts", name, "in_truck", key), rule, got=f"{100 * share:g} %")
