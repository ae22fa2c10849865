"""A commented scenario to start from: layouts that are possible for each truck group, written as YAML."""

import json
import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from jinja2 import Environment, PackageLoader

from batsim.catalogue import FIGURES
from batsim.display import listed
from batsim.errors import Problem, ScenarioError
from batsim.formulas.rules_of_thumb import SHIFT_HOURS, batteries_per_truck
from batsim.scenario.parts.batteries import RatedCapacity
from batsim.scenario.parts.calendar import full_day_min, group_windows, overlap_min
from batsim.scenario.parts.group_change import ATTENDANTS, DRIVERS
from batsim.scenario.parts.week import WEEK_MIN, Week
from batsim.scenario.reading import catalogue_data, read_scenario_text
from batsim.scenario.survey import CELL_V, CHEMISTRY, COMMAND, BatteryChoice, Survey, SurveyedGroup, battery_choice

IN_TRUCK = "in_truck"
EXCHANGES = {"side_rollers": "side", "portable_stands": "side", "overhead_hoist": "top"}
"""Arrangements that exchange, and where batteries leave for which each is written."""
NAMES = {
    "side_rollers": "side rollers",
    "portable_stands": "portable stands",
    "overhead_hoist": "hoist",
    IN_TRUCK: "in the truck",
}
"""Names of layouts and areas, by arrangement."""
TODAY, LIGHT = "today", "light work in the truck"
LEAD, LITHIUM = "lead", "lithium"
STANDARD = {LEAD: "electronic_iuia", "gel": "gel_iu", LITHIUM: "lithium_cc_cv"}
"""Charger to start from, by battery."""
FAST = "fast_iuia"
LITHIUM_CURRENT = FIGURES["charger.lithium_cc_cv.main_current"]
LITHIUM_WAYS = ((0.6, ""), (1.0, ""), (1.0, LITHIUM_CURRENT.high_text), (1.5, LITHIUM_CURRENT.high_text))
"""Energy of a lithium-ion battery over that of the battery in whose place it is tried, and the main current of its
charger where it is not the usual one; the least first."""
STEP_AH = 10.0
"""Capacities that nobody stated are rounded up to this. [Ah]"""
PLAIN = re.compile(r"(?:[^\W\d]|\d+ (?:x )?[^\W\d])[\w/%.+-]*(?: [\w/%.+-]+)*")
"""Text that YAML takes for text without quotes."""
WORDS = ("true", "false", "null")
COVERED = 0.9
"""Part of a shift of the trucks in which there must be attendants so that they exchange then."""


class ChargedInTruck(NamedTuple):
    """A way to charge the trucks of a group where they stand."""

    charger: str
    """Charger to start from."""
    battery: BatteryChoice
    main_current: str = ""
    """Main current of the charger, where it is not the usual one."""


class PlannedArea(NamedTuple):
    """One area of a layout, with its counts by name."""

    handling: str
    groups: tuple[str, ...]
    chargers: Mapping[str, float]
    batteries: Mapping[str, int] = {}
    stations: float = 1
    devices: Mapping[str, float] = {}
    attendants: Mapping[str, int] = {}

    @property
    def key(self) -> tuple[str, tuple[str, ...]]:
        """What tells it from other areas, whatever its counts."""
        return self.handling, self.groups


class PlannedLayout(NamedTuple):
    """One layout: its areas, and the battery types that it changes, by group."""

    name: str
    areas: tuple[PlannedArea, ...]
    batteries: Mapping[str, str]

    @property
    def served(self) -> dict[str, str]:
        """Arrangement of each truck group."""
        return {group: area.handling for area in self.areas for group in area.groups}


def ways_in_truck(group: SurveyedGroup) -> list[ChargedInTruck]:
    """Ways to charge the trucks of a group where they stand: with what is there, faster, with more of lithium-ion."""
    own = group.battery_type
    ways = [ChargedInTruck(STANDARD[own.kind], own)]
    if own.kind == LEAD:
        ways.append(ChargedInTruck(FAST, own))
    if own.kind == LITHIUM:
        ways.append(ways[0]._replace(main_current=LITHIUM_CURRENT.high_text))
    for share, current in LITHIUM_WAYS:
        if own.kind != LITHIUM or share > 1.0:
            ways.append(ChargedInTruck(STANDARD[LITHIUM], _lithium(own, share), current))
    return ways


def _lithium(own: BatteryChoice, share: float) -> BatteryChoice:
    """Lithium-ion battery with a share of the energy of another, of the same voltage."""
    cells = math.floor(own.volts / CELL_V[LITHIUM]) + 1
    ah = math.ceil(1000.0 * share * own.kwh / (cells * CELL_V[LITHIUM]) / STEP_AH) * STEP_AH
    choice = battery_choice(LITHIUM, own.volts, RatedCapacity(ah, own.capacity.rate_h))
    assert choice is not None  # with a capacity there is always one
    return choice


class Starter:
    """The layouts of a site that was surveyed.

    Parameters
    ----------
    survey
        What is known.
    in_truck
        By group, which of its `ways_in_truck` is taken; the first where nothing is said.
    """

    def __init__(self, survey: Survey, in_truck: Mapping[str, int] | None = None) -> None:
        self.survey, chosen = survey, in_truck or {}
        self.groups = {group.group: group for group in survey.groups}
        self.in_truck = {name: ways_in_truck(group)[chosen.get(name, 0)] for name, group in self.groups.items()}
        self.chargers: dict[str, dict[str, str]] = {}
        """Charger types of the site's own, as YAML holds them."""
        for group in survey.groups:
            self.usual_charger(group)

    def layouts(self) -> list[PlannedLayout]:
        """Layouts to compare: each way to exchange where some group can be served so, and all charged in the truck.

        A group that cannot be served so is served as comes next, in the truck if nothing else is possible. Where some
        groups do well in their trucks as they are and others do not, one more layout leaves those there.
        """
        everyone = dict.fromkeys(self.groups, IN_TRUCK)
        light = [name for name, group in self.groups.items() if self.in_truck[name] == ways_in_truck(group)[0]]
        first, *others = [self._layout(self._served(main), main) for main in EXCHANGES]
        mixed = self._layout(first.served | dict.fromkeys(light, IN_TRUCK), next(iter(EXCHANGES)), LIGHT)
        plans: list[PlannedLayout] = []
        for plan in (first, *others, mixed):
            if plan.served not in (everyone, *(each.served for each in plans)):
                plans.append(plan)
        return [*plans, self._layout(everyone)]

    def _served(self, main: str) -> dict[str, str]:
        """Arrangement of each group where one is preferred."""
        served = {}
        for name, group in self.groups.items():
            leaves = EXCHANGES.values() if group.leaves == "either" else (group.leaves,)
            served[name] = next((each for each in (main, *EXCHANGES) if EXCHANGES[each] in leaves), IN_TRUCK)
        return served

    def _layout(self, served: Mapping[str, str], main: str = IN_TRUCK, name: str = "") -> PlannedLayout:
        """One layout, by the arrangement of each group, with its main one first; counts by rule of thumb."""
        areas = [self._area(each, served) for each in dict.fromkeys([main, *NAMES]) if each in served.values()]
        changes = {
            group: way.battery.name
            for group, way in self.in_truck.items()
            if served[group] == IN_TRUCK and way.battery != self.groups[group].battery_type
        }
        return PlannedLayout(name or listed([NAMES[area.handling] for area in areas]), tuple(areas), changes)

    def _area(self, handling: str, served: Mapping[str, str]) -> PlannedArea:
        """One area of a layout."""
        groups = [self.groups[name] for name, each in served.items() if each == handling]
        names = tuple(group.group for group in groups)
        if handling == IN_TRUCK:
            return PlannedArea(handling, names, self._chargers_in_truck(groups))
        chargers: Counter[str] = Counter()
        batteries: dict[str, int] = {}
        for battery in dict.fromkeys(group.battery_type for group in groups):
            alike = [group for group in groups if group.battery_type == battery]
            trucks, work_h = sum(group.count for group in alike), max(map(self._work_h, alike))
            per_truck = batteries_per_truck(SHIFT_HOURS, 0.0, SHIFT_HOURS, SHIFT_HOURS, work_h)
            batteries[battery.name] = math.ceil(trucks * per_truck) + math.ceil(math.sqrt(trucks))
            chargers[self.usual_charger(alike[0])] += batteries[battery.name] - trucks + 1
        return PlannedArea(handling, names, chargers, batteries, attendants=self._attendants(handling, groups))

    def _chargers_in_truck(self, groups: Sequence[SurveyedGroup]) -> dict[str, float]:
        """A charger for each truck; groups that share a battery type have the faster one of theirs."""
        ways = [self.in_truck[group.group] for group in groups]
        fastest = {way.battery: way for way in sorted(ways, key=lambda way: way.charger == FAST)}
        chargers: Counter[str] = Counter()
        for group, own in zip(groups, ways, strict=True):
            way = fastest[own.battery]
            chargers[self._charger(way.charger, group.volts, way.main_current)] += group.count
        return dict(chargers)

    def _work_h(self, group: SurveyedGroup) -> float:
        """Hours of work of a truck on a day."""
        return full_day_min(Week(shifts=self.survey.shifts), group.shifts) / 60.0

    def usual_charger(self, group: SurveyedGroup) -> str:
        """Name of the charger type to start from for a group."""
        return self._charger(STANDARD[group.battery], group.volts)

    def _charger(self, entry: str, volts: float, main_current: str = "") -> str:
        """Name of a charger type: that of the catalogue, unless it needs a voltage or has another current."""
        one_voltage = len({group.volts for group in self.survey.groups}) == 1
        own = {} if one_voltage else {"voltage": f"{volts:g} V"}
        own |= {"main_current": main_current} if main_current else {}
        if not own:
            return entry
        name = f"{'fast ' if main_current else ''}{entry}{'' if one_voltage else f' {volts:g} V'}"
        self.chargers[name] = {"from": entry, **own}
        return name

    def _attendants(self, handling: str, groups: Sequence[SurveyedGroup]) -> dict[str, int]:
        """Attendants as they are today, or one on each shift; one where drivers are too few to exchange alone."""
        drivers: Counter[str] = Counter()
        for group in groups:
            drivers.update(dict.fromkeys(group.shifts, group.count))
        if self.survey.attendants is None:
            return dict.fromkeys(drivers, 1)
        attendants = {shift: number for shift, number in self.survey.attendants.items() if number}
        alone = [shift for shift, number in drivers.items() if number < _people(handling)]
        return attendants | {shift: 1 for shift in alone if not self._covers(attendants, shift)}

    def _covers(self, attendants: Mapping[str, int], shift: str) -> bool:
        """Whether there are attendants all through a shift, or nearly so."""
        week = Week(shifts=self.survey.shifts)
        worked, manned = (group_windows(week, names, WEEK_MIN) for names in ([shift], list(attendants)))
        return overlap_min(worked, manned) >= COVERED * sum(end - start for start, end in worked)

    def _exchange_by(self, attendants: Mapping[str, int], groups: Sequence[str]) -> dict[str, str]:
        """Who exchanges by shift of some groups where attendants do not cover all of them: drivers there."""
        shifts = dict.fromkeys(shift for group in groups for shift in self.groups[group].shifts)
        by = {shift: ATTENDANTS if self._covers(attendants, shift) else DRIVERS for shift in shifts}
        return by if attendants and DRIVERS in by.values() else {}

    def text(self, plans: Sequence[PlannedLayout]) -> str:
        """Write a scenario that reads well, with what was told and what is a guess marked as such."""
        loader = PackageLoader("batsim.scenario", ".")
        texts = Environment(loader=loader, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True)
        texts.filters["flow"] = flow
        of_groups = [group.battery_type for group in self.survey.groups]
        changed = {way.battery.name: way.battery for way in self.in_truck.values()}
        needed = [changed[name] for plan in plans for name in plan.batteries.values()]
        return texts.get_template("starter.yaml.j2").render(
            survey=self.survey,
            shifts=self.survey.data["shifts"],
            batteries=list(dict.fromkeys([*of_groups, *needed])),
            chargers=self.chargers,
            chemistry=CHEMISTRY,
            layouts={plan.name: self._block(plan) for plan in plans} | self._today(),
            figures=FIGURES,
        )

    def _block(self, plan: PlannedLayout) -> dict[str, Any]:
        """A layout as YAML holds it."""
        changes = {group: {"battery": battery} for group, battery in plan.batteries.items()}
        attendants: dict[str, int] = {}
        for area in plan.areas:
            attendants |= {shift: max(number, attendants.get(shift, 0)) for shift, number in area.attendants.items()}
        blocks = {NAMES[area.handling]: {"for": list(area.groups)} | _area_block(area) for area in plan.areas}
        return self._of_areas(blocks, attendants) | ({"trucks": changes} if changes else {})

    def _today(self) -> dict[str, dict[str, Any]]:
        """What is there today, as a layout."""
        blocks = {listed(area["for"]): dict(area) for area in self.survey.data.get("today", ())}
        attendants = {shift: number for shift, number in (self.survey.attendants or {}).items() if number}
        return {TODAY: self._of_areas(blocks, attendants)} if blocks else {}

    def _of_areas(self, blocks: Mapping[str, dict[str, Any]], attendants: Mapping[str, int]) -> dict[str, Any]:
        """A layout as YAML holds it, of areas that share attendants; one that is alone is the layout itself."""
        for block in blocks.values():
            by = self._exchange_by(attendants, block["for"]) if block["handling"] != IN_TRUCK else {}
            block.update({"exchange_by": by} if by else {})
        shared = {"attendants": dict(attendants)} if attendants else {}
        first, *others = blocks.values()
        if others:
            return shared | {"areas": dict(blocks)}
        return {key: value for key, value in first.items() if key != "for"} | shared


def _people(handling: str) -> int:
    """People whom an exchange needs at once."""
    steps = catalogue_data(f"handling/{handling}")["steps"]
    return max(len(step["by"]) if isinstance(step["by"], list) else 1 for step in steps)


def survey_problems(survey: Survey) -> list[Problem]:
    """Rules that a scenario with what is there today breaks, by its own keys."""
    starter = Starter(survey)
    try:
        read_scenario_text(starter.text(starter.layouts()[-1:]))
    except ScenarioError as error:
        today = f"layouts.{TODAY}"
        options = ["--today" if problem.path.startswith(today) else COMMAND for problem in error.problems]
        return [problem._replace(file=file, line=0) for file, problem in zip(options, error.problems, strict=True)]
    return []


def _area_block(area: PlannedArea) -> dict[str, Any]:
    """An area as YAML holds it."""
    chargers = [f"{number:g} x {name}" for name, number in area.chargers.items()]
    block = {
        "handling": area.handling,
        "stations": None if area.handling == IN_TRUCK else area.stations,
        "devices": area.devices,
        "batteries": next(iter(area.batteries.values())) if len(area.batteries) == 1 else area.batteries,
        "chargers": chargers[0] if len(chargers) == 1 else chargers,
    }
    return {key: value for key, value in block.items() if value}


def flow(value: object) -> str:
    """Write plain data as YAML on one line."""
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{flow(key)}: {flow(inner)}' for key, inner in value.items())}}}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return f"[{', '.join(map(flow, value))}]"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, str) and PLAIN.fullmatch(value) and value.lower() not in WORDS:
        return value
    return json.dumps(value, ensure_ascii=False)
