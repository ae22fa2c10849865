"""Rules for the people of a layout: who is named to do something must be there, on duty at once and qualified."""

from collections.abc import Iterator
from dataclasses import dataclass

from batsim.errors import Problem
from batsim.scenario.checks.checked_layout import CheckedLayout
from batsim.scenario.parts.calendar import Window, common, group_windows, manned_windows, overlap_min
from batsim.scenario.parts.group_change import ATTENDANTS, CONNECT_BY, DRIVERS, EXCHANGE_BY, MAINTAIN_BY
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEK_MIN, Week
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData

LOOKED_AT_MIN = 3 * WEEK_MIN
"""Weeks of the calendar in which people and trucks must meet. [min]"""


@dataclass(frozen=True)
class Named:
    """Who is named to exchange, connect or maintain, somewhere in a layout, and the areas that this concerns."""

    key: str
    """Such as `exchange_by`."""
    by: str | dict[str, str]
    layout: str
    areas: dict[str, tuple[Scenario, tuple[TruckGroup, ...]]]
    """By name of the area: the scenario of it alone, and the groups that are meant."""

    @property
    def shifts(self) -> tuple[str, ...]:
        """Shifts of the trucks."""
        return tuple(
            dict.fromkeys(shift for _, groups in self.areas.values() for each in groups for shift in each.shifts)
        )


def people_problems(scenario: Scenario, name: str, source: LocatedData) -> Iterator[Problem]:
    """Find people who are named to do something when, or where, there are none."""
    for keys, by in scenario.layouts[name].stated_by_whom:
        named = _named(scenario, name, keys, by)
        at = ("layouts", name, *keys)
        for rule in _without_attendants(named) if by == ATTENDANTS else ():
            yield source.problem(at, rule, got=f"'{by}'")
        for shift, who in by.items() if isinstance(by, dict) else ():
            if shift not in named.shifts and (who == DRIVERS or named.key == EXCHANGE_BY):
                rule = f"no truck works this shift; name shifts of the trucks ({', '.join(named.shifts)})"
                yield source.problem((*at, shift), rule)
            elif who == ATTENDANTS:
                for rule in _without_attendants(named) or _unmanned_areas(named, shift):
                    yield source.problem((*at, shift), rule, got=f"'{who}'")


def _named(scenario: Scenario, name: str, keys: tuple[str, ...], by: str | dict[str, str]) -> Named:
    """Settle which areas and groups a statement concerns: not the areas that state their own."""
    *place, key = keys
    stated, areas = scenario.layouts[name], scenario.areas_of(name)
    if place[:1] == ["areas"]:
        areas = {place[1]: areas[place[1]]}
    elif not place:
        areas = {area: site for area, site in areas.items() if not area or getattr(stated.areas[area], key) is None}
    group = place[1] if place[:1] == ["trucks"] else None
    groups = {
        area: tuple(each for each in site.trucks if group is None or each.group == group)
        for area, site in areas.items()
    }
    return Named(key, by, name, {area: (areas[area], trucks) for area, trucks in groups.items() if trucks})


def _without_attendants(named: Named) -> list[str]:
    """Rules that are broken by areas in which there are no attendants at all."""
    cure = f"state 'attendants' there or beside the areas, or '{named.key}: {DRIVERS}' there"
    return [
        f"area '{area}' has no attendants; {cure}"
        for area, (site, _) in named.areas.items()
        if area and site.layouts[named.layout].attendants is None
    ]


def _unmanned_areas(named: Named, shift: str) -> Iterator[str]:
    """Rule that is broken by the first area in which attendants cannot do it in a shift."""
    for site, groups in named.areas.values():
        exchanges = named.key == EXCHANGE_BY
        if exchanges and not any(shift in group.shifts for group in groups):
            continue
        if named.key == CONNECT_BY and site.arrangement(named.layout).in_truck:
            continue  # by the shift in which the truck leaves its work: it may be plugged in later
        needed, skill = _needed_to_exchange(site, named.layout) if exchanges else (1, None)
        rule = _unmanned(site, named.layout, shift, needed, skill)
        if rule:
            cure = f"write '{shift}: {DRIVERS}'" if shift in named.shifts else "leave it out"
            yield f"{rule}, or {cure}"
            return


def _unmanned(site: Scenario, name: str, shift: str, needed: int, skill: str | None) -> str:
    """Why so many attendants of an area, one of them qualified, cannot work in a shift; empty where they can."""
    layout, week = site.layouts[name], site.week
    at_work = group_windows(week, [shift], LOOKED_AT_MIN)
    if not isinstance(layout.attendants, dict) or not at_work:
        return ""
    people, there = f"{needed} attendant{'s' * (needed > 1)}", f"on duty in shift '{shift}'"
    if overlap_min(manned_windows(week, layout.attendants, 1, LOOKED_AT_MIN), at_work) <= 0.0:
        return f"no attendants are {there}; put {people} on in its hours"
    manned = manned_windows(week, layout.attendants, needed, LOOKED_AT_MIN)
    if overlap_min(manned, at_work) <= 0.0:
        return f"an exchange takes {people} at once, and fewer are {there}; put {people} on in its hours"
    if skill is None:
        return ""
    qualified = {each: on_duty.with_skill(skill) for each, on_duty in layout.attendants.items()}
    if overlap_min(common(manned, manned_windows(week, qualified, 1, LOOKED_AT_MIN)), at_work) <= 0.0:
        cure = f"write {{attendants: {needed}, {skill}: 1}} for then"
        return f"nobody {there} is qualified for '{skill}', which {layout.handling} asks for; {cure}"
    return ""


def _needed_to_exchange(site: Scenario, name: str) -> tuple[int, str | None]:
    """Attendants that an exchange needs at once, and what one of them must be qualified for."""
    arrangement = site.arrangement(name)
    if site.layouts[name].exchange_time_min is not None:
        return 1, None
    most = max((step.by.attendants for step in arrangement.steps), default=0)
    return max(1, most), arrangement.skill


def _by_drivers(checked: CheckedLayout, group: TruckGroup) -> list[bool]:
    """Whether drivers of a group exchange its batteries, in each of its shifts."""
    return [checked.layout.exchanged_by_drivers(shift, group.group) for shift in group.shifts]


def _all_by_drivers(checked: CheckedLayout) -> bool:
    """Whether drivers exchange all batteries, in all shifts."""
    return all(all(_by_drivers(checked, group)) for group in checked.scenario.trucks)


def attendants_problems(checked: CheckedLayout) -> Iterator[Problem]:
    """Enough attendants at once, qualified where that is asked for, in hours when trucks work; in normal weeks too."""
    week = checked.scenario.week
    normal = week.in_normal_weeks()
    problems = list(_attendants_in(checked, week))
    yield from problems if problems or normal is week else _attendants_in(checked, normal, " in normal weeks")
    yield from _standby(checked)


def _standby(checked: CheckedLayout) -> Iterator[Problem]:
    """Somebody is qualified for what stands by, where attendants exchange."""
    stands_by, attendants = checked.scenario.standby(checked.name), checked.layout.attendants
    skill = None if stands_by is None else stands_by.skill
    if skill is None or not isinstance(attendants, dict):
        return
    if not _all_by_drivers(checked) and not any(each.with_skill(skill) for each in attendants.values()):
        rule = f"nobody is qualified for '{skill}'; write {{attendants: 2, {skill}: 1}} for a shift of 'attendants'"
        handling = checked.layout.standby.handling if checked.layout.standby else ""
        yield checked.problem("standby", "handling", rule=rule, got=f"'{handling}'")


def _attendants_in(checked: CheckedLayout, week: Week, when: str = "") -> Iterator[Problem]:
    """Attendants with the shifts of one week."""
    layout = checked.layout
    needed, skill = _needed_attendants(checked)
    if not isinstance(layout.attendants, dict) or not needed:
        return
    people = f"{needed} attendant{'s' * (needed > 1)}"
    got = ", ".join(f"{shift}: {count}" for shift, count in layout.attendants.items()) or "nobody"
    manned = manned_windows(week, layout.attendants, needed, LOOKED_AT_MIN)
    if not manned:
        rule = f"{layout.handling} needs {people} on duty at once on at least one shift{when}"
        yield checked.problem("attendants", rule=rule, got=got)
        return
    if skill is not None:
        qualified = {shift: on_duty.with_skill(skill) for shift, on_duty in layout.attendants.items()}
        manned = common(manned, manned_windows(week, qualified, 1, LOOKED_AT_MIN))
    if not manned:
        who = f"nobody is qualified for '{skill}', which {layout.handling} asks for"
        rule = f"{who}; write {{attendants: 2, {skill}: 1}}"
        yield checked.problem("attendants", rule=rule, got=got)
        return
    if not checked.arrangement.in_truck:
        for group in _unserved_groups(checked, week, manned):
            works = f"'{group.group}' works {', '.join(group.shifts)}; put {people} on one of these shifts"
            rule = f"nobody is on duty when exchanges fall due{when}: {works}"
            yield checked.problem("attendants", rule=rule, got=got)


def _unserved_groups(checked: CheckedLayout, week: Week, manned: list[Window]) -> Iterator[TruckGroup]:
    """Groups whose trucks never work while those are on duty who exchange their batteries."""
    for group in checked.scenario.trucks:
        at_work = group_windows(week, group.shifts, LOOKED_AT_MIN)
        if at_work and not any(_by_drivers(checked, group)) and overlap_min(manned, at_work) <= 0.0:
            yield group


def _needed_attendants(checked: CheckedLayout) -> tuple[int, str | None]:
    """Attendants that one job of a layout needs at most, and what one of them must be qualified for."""
    layout, arrangement, groups = checked.layout, checked.arrangement, checked.scenario.trucks
    maintained = int(any(_maintained_by_attendants(checked, group) for group in groups))
    connects = int(any(_connected_by_attendants(checked, group) for group in groups))
    if arrangement.in_truck or _all_by_drivers(checked):
        return max(maintained, connects), None
    if layout.exchange_time_min is not None:
        return 1, None
    most = max([maintained, connects, *(step.by.attendants for step in arrangement.steps)])
    return most, arrangement.skill


def _maintained_by_attendants(checked: CheckedLayout, group: TruckGroup) -> bool:
    """Whether attendants maintain batteries of a group at some time."""
    named = all(checked.layout.names_drivers(MAINTAIN_BY, shift, group.group) for shift in group.shifts)
    return checked.scenario.batteries[group.battery].is_maintained and not named


def _connected_by_attendants(checked: CheckedLayout, group: TruckGroup) -> bool:
    """Whether attendants connect batteries of a group at some time."""
    layout, arrangement = checked.layout, checked.arrangement
    if layout.by_whom(CONNECT_BY, group.group) is None:
        return arrangement.connects == "attendant" and not all(_by_drivers(checked, group))
    return any(layout.names_attendants(CONNECT_BY, shift, group.group) for shift in group.shifts)
