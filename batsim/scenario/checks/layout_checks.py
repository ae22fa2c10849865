"""Rules for one layout: enough of everything, so that it can neither deadlock nor stand still."""

from collections.abc import Iterator

from batsim.catalogue import Figures
from batsim.display import words
from batsim.errors import Problem
from batsim.scenario.checks.charging_checks import hours_problems, power_problems
from batsim.scenario.checks.checked_layout import CheckedLayout
from batsim.scenario.checks.lot_checks import kept_problems, lot_problems
from batsim.scenario.checks.people_checks import attendants_problems, people_problems
from batsim.scenario.checks.room_checks import device_problems, room_problems
from batsim.scenario.chemistry import full_charge_h, profile_of
from batsim.scenario.parts.batteries import SEALED, BatteryType, ChargerType, same_voltage, sealed_rule, too_strong
from batsim.scenario.parts.group_change import InTruck
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import LONGEST_WEEKS
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData

LONGEST_CHARGE_H = 168.0
"""A week: a full charge that takes longer is a slip in a unit. [h]"""


def layout_problems(scenario: Scenario, name: str, source: LocatedData | None = None) -> list[Problem]:
    """Find every broken rule of one layout.

    Parameters
    ----------
    scenario, name
        A scenario and the name of one of its layouts.
    source
        Where it stands in its file. A layout that was made in memory stands nowhere: line and column are 0.
    """
    source = source or LocatedData(scenario.file, None)
    problems: list[Problem] = []
    for area, site in scenario.areas_of(name).items():
        checked = CheckedLayout(site, name, source, area)
        found = [problem for check in CHECKS for problem in check(checked)]
        problems += found or list(room_problems(checked))
    for found_once in (people_problems, power_problems, kept_problems):
        problems += found_once(scenario, name, source)
    return list(dict.fromkeys(problems))  # what areas share is looked at for each


def _batteries(checked: CheckedLayout) -> Iterator[Problem]:
    """A battery for each truck, and a spare where the release rule needs one."""
    stated, trucks = checked.layout.batteries, checked.trucks
    if stated is None:
        if not checked.arrangement.in_truck:
            rule = f"missing: batteries in all, more than the {sum(trucks.values())} that the trucks carry"
            yield checked.problem("batteries", rule=rule)
    elif "" in stated and len(trucks) > 1:
        rule = f"needs a number for each battery type ({', '.join(trucks)})"
        yield checked.problem("batteries", rule=rule, got=str(stated[""]))
    else:
        for battery in trucks:
            if "" not in stated and battery not in stated:
                yield checked.problem("batteries", rule=f"missing: a number for battery type '{battery}'")
            elif rule := _too_few(checked, battery):
                keys = ("batteries",) if "" in stated else ("batteries", battery)
                yield checked.problem(*keys, rule=rule, got=str(checked.batteries[battery]))


def _too_few(checked: CheckedLayout, battery: str) -> str:
    """Rule that the number of batteries of a type breaks; empty where it breaks none."""
    number, in_use = checked.batteries[battery], checked.trucks[battery]
    if checked.arrangement.in_truck:
        return f"charging in the truck needs one battery for each of the {in_use} trucks" if number != in_use else ""
    if number < in_use:
        return f"must be at least {in_use}, one for each truck of battery type '{battery}'"
    if checked.pulled_out_at_arrival:
        return ""
    own = any(group.own_batteries for group in checked.scenario.trucks if group.battery == battery)
    if own and number < 2 * in_use:
        each = f"two each, {2 * in_use} of type '{battery}'"
        return f"would deadlock: trucks that keep batteries of their own need {each}"
    if number == in_use:
        return (
            f"would deadlock: without a spare battery of type '{battery}' no exchange can ever start; "
            f"have at least {in_use + 1}, or set rules.discharged_on_charge to at_arrival"
        )
    return ""


def _chargers(checked: CheckedLayout) -> Iterator[Problem]:
    """Every battery type in use has a charger that fits."""
    chargers = list(checked.layout.chargers_by_type)
    if checked.arrangement.in_truck and checked.layout.charger_leads is not None:
        rule = "is for batteries that are charged out of their trucks"
        yield checked.problem("charger_leads", rule=rule, got=f"'{checked.layout.charger_leads}'")
    served = {charger: checked.scenario.served_by(charger) for charger in chargers}
    unserved = set(checked.trucks).difference(*served.values())
    for battery in checked.trucks:
        if battery in unserved:
            kind = checked.scenario.batteries[battery]
            what = f"{words(kind.chemistry)}, {kind.nominal_v:g} V"
            rule = f"no charger here fits battery type '{battery}' ({what}): by chemistry, voltage and connector"
            yield checked.problem("chargers", rule=rule, got=", ".join(chargers))
        for charger in chargers:
            if battery in served[charger]:
                yield from _currents(checked, battery, charger)
    if not unserved:
        yield from _charger_uses(checked, served)


def _charger_uses(checked: CheckedLayout, served: dict[str, tuple[str, ...]]) -> Iterator[Problem]:
    """Every charger that is counted serves batteries, of one voltage and connector."""
    for number, (count, charger) in enumerate(checked.layout.chargers):
        types = {name: checked.scenario.batteries[name] for name in served[charger]}
        rule = "fits no battery of the trucks; leave it out, or see its chemistry, voltage and connector"
        if types:
            rule = _one_way(charger, checked.scenario.chargers[charger], types, checked.scenario.figures)
        if rule and count < UNLIMITED:
            in_a_list = checked.source.holds(("layouts", checked.name, "chargers", number))
            keys = ("chargers", number) if in_a_list else ("chargers",)
            yield checked.problem(*keys, rule=rule, got=f"{count:g} x {charger}")


def _one_way(charger: str, kind: ChargerType, types: dict[str, BatteryType], figures: Figures) -> str:
    """Rule that a charger breaks by batteries of more than one voltage or connector; empty where it breaks none."""
    volts = {name: battery.nominal_v for name, battery in types.items()}
    marked = {name: battery.connector for name, battery in types.items() if battery.connector is not None}
    one_voltage = same_voltage(min(volts.values()), max(volts.values()), figures)
    if kind.voltage_v is None and not one_voltage:
        return _apart(charger, "voltage", {name: f"{each:g} V" for name, each in volts.items()})
    if kind.connector is None and len(set(marked.values())) > 1:
        return _apart(charger, "connector", marked)
    return ""


def _apart(charger: str, key: str, ways: dict[str, str]) -> str:
    """Rule that a charger breaks by what parts its batteries, with the cure."""
    would = " and ".join(f"{way} ('{name}')" for name, way in ways.items())
    cure = " and ".join(f"'{charger} {way}' with '{key}: {way}'" for way in dict.fromkeys(ways.values()))
    rule = f"would charge batteries of {would}, and a charger has one {key}"
    return f"{rule}; state a type for each and count them here: {cure}"


def _currents(checked: CheckedLayout, battery: str, charger: str) -> Iterator[Problem]:
    """Find charge currents that never fill a battery type, which are slips in a unit."""
    scenario, kind = checked.scenario, checked.scenario.batteries[battery]
    end = scenario.chargers[charger].end_current
    if kind.chemistry == SEALED and end is not None and too_strong(end, kind.capacity.ah, scenario.figures):
        got = f"{end.text} on {kind.capacity.ah:g} Ah of '{battery}'"
        yield checked.source.problem(("chargers", charger, "end_current"), sealed_rule(scenario.figures), got=got)
        return
    profile = profile_of(scenario.chargers[charger], kind, scenario.figures)
    if profile.end_a > profile.main_a:
        rule = "the end current must not be above the main current"
        got = f"{profile.end_a:g} A and {profile.main_a:g} A on '{battery}'"
        yield checked.source.problem(("chargers", charger), rule, got=got)
        return
    stated_min = 0.0 if kind.charge_time_min is None else kind.charge_time_min.mean
    if stated_min > LONGEST_WEEKS * WEEK_MIN:
        got = f"{stated_min / WEEK_MIN:,.0f} weeks on average"
        rule = f"takes longer than any run ({LONGEST_WEEKS:,} weeks); check its unit"
        yield checked.source.problem(("batteries", battery, "charge_time"), rule, got=got)
    hours = full_charge_h(scenario.chargers[charger], kind, scenario.figures)
    if kind.charge_time_min is None and hours > LONGEST_CHARGE_H:
        rule = f"takes {hours:.0f} h to charge '{battery}'; check main_current, end_current and the capacity"
        yield checked.source.problem(("chargers", charger), rule)


def _bays(checked: CheckedLayout) -> Iterator[Problem]:
    """Bays for all spares and the empty ones an exchange needs."""
    bays, arrangement = checked.layout.bays, checked.arrangement
    if bays is None or bays == UNLIMITED or arrangement.in_truck:
        return
    batteries = sum(checked.batteries.values())
    spares = batteries - sum(checked.trucks.values())
    rule = ""
    if checked.pulled_out_at_arrival:
        if bays < batteries:
            rule = f"discharged batteries pulled out at arrival need a bay for each of the {batteries} batteries"
    elif bays < spares + arrangement.empty_bays:
        what = f"{spares} spare batteries and {arrangement.empty_bays} empty {arrangement.bay} for the exchange"
        rule = f"would deadlock: {what} need at least {spares + arrangement.empty_bays} bays"
    if rule:
        yield checked.problem("bays", rule=rule, got=f"{bays:g}")


def _devices(checked: CheckedLayout) -> Iterator[Problem]:
    """Devices that the arrangement knows, and enough for one exchange."""
    layout, arrangement = checked.layout, checked.arrangement
    yield from device_problems(checked, ("devices",), layout.handling, layout.devices, arrangement.devices_held)
    standby = checked.scenario.standby(checked.name)
    taken = max(arrangement.set_down_bays, standby.set_down_bays if standby is not None else 0)
    if layout.set_down_bays is not None and layout.set_down_bays < taken:
        rule = f"would deadlock: one exchange takes {taken}"
        yield checked.problem("set_down_bays", rule=rule, got=f"{layout.set_down_bays:g}")


def _charge_in_truck(checked: CheckedLayout) -> Iterator[Problem]:
    """Charge levels of charging in the truck must lie above the level that sends a truck to charge."""
    if not checked.arrangement.in_truck:
        return
    layout, found = checked.layout, dict[tuple[str, ...], tuple[InTruck, float]]()
    for group in checked.scenario.trucks:
        rules = layout.in_truck_of(group.group)
        own: tuple[str, ...] = () if rules is layout.in_truck else ("trucks", group.group)
        keys = (*own, "in_truck")
        found[keys] = rules, max(group.exchange_at_share, found[keys][1] if keys in found else 0.0)
    for keys, (rules, latest) in found.items():
        for key, share in (("ceiling", rules.ceiling_share), ("return_at", rules.return_at_share)):
            if share <= latest:
                rule = f"must lie above the level at which trucks go to charge ({100 * latest:g} %)"
                yield checked.problem(*keys, key, rule=rule, got=f"{100 * share:g} %")


CHECKS = (
    _batteries,
    lot_problems,
    _chargers,
    _bays,
    _devices,
    attendants_problems,
    _charge_in_truck,
    hours_problems,
)
"""What is looked at in each area of a layout."""
