"""Ventilation: what the rule asks for, what the simulated gas makes of it, what happens when a fan fails."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from batsim.catalogue import Figures
from batsim.formulas.gassing import hydrogen_l
from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from batsim.formulas.ventilation import (
    area_flow_m3_per_h,
    flow_for_share_m3_per_h,
    free_volume_m3,
    opening_cm2,
)
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.measures.gas import HYDROGEN_DEGC, HYDROGEN_PA
from batsim.measures.windows import Floats
from batsim.plan.checks import ROUNDING, Check, Requirement
from batsim.plan.evidence import Evidence
from batsim.plan.gas_release import GasRelease, coefficient_of, gas_releases, with_a_fault
from batsim.plan.survey import BUILDING, listed, spaces_of
from batsim.scenario.parts.building import Space
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.site import Scenario

HYDROGEN_M3_PER_AH = hydrogen_l(1.0, 1, HYDROGEN_DEGC, HYDROGEN_PA) / 1000.0
"""Hydrogen of an ampere-hour in one cell, at 25 degC and one atmosphere. [m3]"""


@dataclass(frozen=True)
class Ventilation:
    """What a layout asks for in one space."""

    edition: str
    coefficient: float
    """Air for each cell and ampere of gas current. [m3/(h A)]"""
    space_name: str
    """Battery room or building."""
    gassing: tuple[GasRelease, ...]
    lithium: bool
    """Whether there are lithium-ion batteries, which make no gas in normal charging."""
    opening_cm2: float
    """Free area of the inlet, and of the outlet. [cm2]"""
    free_volume_m3: float
    """Room volume, contents left out, that counts as well ventilated. [m3]"""
    full_current_m3_per_h: float
    """Air if every charger gave its whole current into gas. [m3/h]"""
    one_faulty_m3_per_h: float
    """Air with one charger, the largest, that does so. [m3/h]"""
    one_percent_m3_per_h: float
    """Air for 1 % of hydrogen from the rule's gas current, no factor of safety. [m3/h]"""
    area_flow_m3_per_h: float | None
    """Air by floor area as US rules for stationary batteries have it. [m3/h]"""
    simulated_gas_m3_per_h: float
    """Highest simulated flow of hydrogen over a quarter of an hour. [m3/h]"""
    rule_gas_m3_per_h: float
    """Flow of hydrogen that is planned for: what the gas currents stand for. [m3/h]"""
    air_m3_per_h: float | None
    """Air that the room has, by fan or openings. [m3/h]"""
    peak_share: float | None
    """Highest simulated share of hydrogen in the room. [-]"""
    peak_share_at_rule: float | None
    """The same with the air that the rule asks for. [-]"""
    hours_to_limit: float | None
    """Hours from a failed fan to 1 %, at the highest simulated gassing. [h]"""
    hours_to_lower: float | None
    """Hours to the lower flammable limit, 4 %. [h]"""
    checks: tuple[Check, ...]

    @property
    def flow_m3_per_h(self) -> float:
        """Air that the rule asks for. [m3/h]"""
        return sum(release.flow_m3_per_h for release in self.gassing)

    @property
    def simulated_flow_m3_per_h(self) -> float:
        """Air that the rule would ask for with the simulated gas in place of its own. [m3/h]"""
        return self.coefficient * self.simulated_gas_m3_per_h / HYDROGEN_M3_PER_AH

    @property
    def flow_to_order_m3_per_h(self) -> float:
        """Air that is enough for both. [m3/h]"""
        return max(self.flow_m3_per_h, self.simulated_flow_m3_per_h)


class HydrogenWeek(NamedTuple):
    """One week, Monday to Monday, as far as it was measured."""

    replication: int
    """Which, from 0."""
    week: int
    """Which of its calendar weeks, from 0: that in which the measured time begins."""
    time_min: Floats
    """Ends of quarters of an hour, from Monday 00:00 on. (n) [min]"""
    share: Floats
    """Hydrogen in the air of the room. (n) [-]"""
    peak_share: float
    peak_min: float
    """When. [min]"""
    limit_share: float
    """Share that must not be reached. [-]"""
    air_m3_per_h: float
    """Air that was taken. [m3/h]"""
    by_rule: bool
    """Whether that is the air that the rule asks for, because nobody says what the room has."""
    season: str
    """Weeks of its season; empty for a normal week."""


def ventilation(scenario: Scenario, layout: str, evidence: Evidence) -> tuple[Ventilation, ...]:
    """Work out the ventilation of each space in which a layout charges batteries, that of the battery room first."""
    spaces = spaces_of(scenario, layout).items()
    return tuple(_of_space(scenario, layout, evidence, name, areas) for name, areas in spaces)


def _of_space(
    scenario: Scenario, layout: str, evidence: Evidence, name: str, areas: Mapping[str, Scenario]
) -> Ventilation:
    """Work out the ventilation of a space for all areas that charge there."""
    figures, space = scenario.figures, space_of(scenario, name)
    edition = scenario.standards.ventilation
    coefficient = coefficient_of(edition, figures).value
    gassing = tuple(
        release for area, site in areas.items() for release in gas_releases(site, layout, area, coefficient)
    )
    flow = sum(release.flow_m3_per_h for release in gassing)
    rule_gas = sum(release.chargers * release.cells * release.gas_a for release in gassing) * HYDROGEN_M3_PER_AH
    all_faulty, one_faulty = with_a_fault(gassing, coefficient)
    limit, lower = figures.number("ventilation.limit"), figures.number("ventilation.lower_flammable")
    highest = _highest_gas(evidence, name)
    free, air = free_m3(space, figures), _air(space, figures)
    hours = [None if free is None else hours_to_share(highest, 0.0, free, share) for share in (limit, lower)]
    asked = Ventilation(
        edition=edition,
        coefficient=coefficient,
        space_name=name,
        gassing=gassing,
        lithium=any(_has_lithium(site, layout) for site in areas.values()),
        opening_cm2=opening_cm2(flow, figures["ventilation.opening"].value),
        free_volume_m3=free_volume_m3(flow, figures["ventilation.free_volume"].value),
        full_current_m3_per_h=all_faulty,
        one_faulty_m3_per_h=flow + one_faulty,
        one_percent_m3_per_h=flow_for_share_m3_per_h(rule_gas, limit),
        area_flow_m3_per_h=_area_flow(space, figures),
        simulated_gas_m3_per_h=highest,
        rule_gas_m3_per_h=rule_gas,
        air_m3_per_h=air,
        peak_share=_peak(evidence, name, air, free),
        peak_share_at_rule=_peak(evidence, name, flow or None, free),
        hours_to_limit=hours[0],
        hours_to_lower=hours[1],
        checks=(),
    )
    return replace(asked, checks=tuple(_checks(asked, scenario))) if flow else asked


def _highest_gas(evidence: Evidence, space: str) -> float:
    """Highest flow of hydrogen in a space over a quarter of an hour. [m3/h]"""
    runs = (run for part in evidence.parts for run in part.replications)
    return max(float(np.max(run.gas_m3_per_h(in_truck=space == BUILDING), initial=0.0)) for run in runs)


def _has_lithium(scenario: Scenario, layout: str) -> bool:
    """Whether any batteries of an area are lithium-ion."""
    return any(scenario.batteries[name].chemistry == "lithium_ion" for name in scenario.batteries_of(layout))


def _area_flow(space: Space, figures: Figures) -> float | None:
    """Air by floor area, where that is known. [m3/h]"""
    if space.area_m2 is None:
        return None
    return area_flow_m3_per_h(space.area_m2, figures["ventilation.area_flow"].value / 3600.0)


def _air(space: Space, figures: Figures) -> float | None:
    """Air by fan, or through openings at the air speed of the rule; None when nobody says. [m3/h]"""
    if space.fan_m3_per_h is None and space.openings_m2 is None:
        return None
    through = (space.openings_m2 or 0.0) * 1e4 / figures["ventilation.opening"].value
    return max(space.fan_m3_per_h or 0.0, through)


def space_of(scenario: Scenario, name: str) -> Space:
    """Where batteries give off their gas: the building when they are charged in the truck, else the battery room."""
    return scenario.building if name == BUILDING else scenario.room


def free_m3(space: Space, figures: Figures) -> float | None:
    """Volume of the room without its contents; contents take the usual share when nobody says. [m3]"""
    if space.volume_m3 is None:
        return None
    share = figures["ventilation.contents"].value / 100.0 if space.contents_share is None else space.contents_share
    return space.volume_m3 * (1.0 - share)


def _courses(evidence: Evidence, space: str, air_m3_per_h: float, free_m3: float) -> list[Floats]:
    """Share of hydrogen in a space over all replications, well mixed. [-]"""
    step_h = QUARTER_MIN / 60.0
    return [
        hydrogen_over_time(run.gas_m3_per_h(in_truck=space == BUILDING), step_h, air_m3_per_h, free_m3)
        for run in evidence.replications
    ]


def _peak(evidence: Evidence, space: str, air_m3_per_h: float | None, free_m3: float | None) -> float | None:
    """Highest share of hydrogen over all replications; None where air or volume is not known. [-]"""
    if air_m3_per_h is None or free_m3 is None:
        return None
    courses = [course for part in evidence.parts for course in _courses(part, space, air_m3_per_h, free_m3)]
    return max(float(np.max(course)) for course in courses)


def _checks(asked: Ventilation, scenario: Scenario) -> Iterator[Check]:
    """Air, gas, volume, hydrogen and temperature."""
    figures, space = scenario.figures, space_of(scenario, asked.space_name)
    path = "building" if asked.space_name == BUILDING else "room"
    missing = [side for side in ("length", "width", "height") if getattr(space, f"{side}_m") is None]
    yield _enough_air(asked, path, figures)
    yield _planned_for(asked, figures)
    yield _well_ventilated(asked, space, path, missing, figures)
    yield _mixed(asked, path, missing, figures)
    yield _temperature(asked, scenario)


def _enough_air(asked: Ventilation, path: str, figures: Figures) -> Check:
    """Air that there is against what the rule asks for."""
    there, wanted = asked.air_m3_per_h, asked.flow_m3_per_h
    enough = Requirement("air", asked.space_name, air=asked, path=path, figures=figures)
    if there is None:
        return enough.case("no air")
    return enough.case("ok" if there >= wanted - ROUNDING else "too little", short=wanted - there)


def _planned_for(asked: Ventilation, figures: Figures) -> Check:
    """Simulated gas against the gas that is planned for, or that the air there is good for by the same rule."""
    gas = Requirement("gas", asked.space_name, air=asked, figures=figures)
    if asked.simulated_gas_m3_per_h <= asked.rule_gas_m3_per_h * (1.0 + ROUNDING):
        return gas.case("ok")
    enough = (asked.air_m3_per_h or 0.0) >= asked.simulated_flow_m3_per_h - ROUNDING
    return gas.case("air for it" if enough else "too much")


def _well_ventilated(asked: Ventilation, space: Space, path: str, missing: list[str], figures: Figures) -> Check:
    """Free volume for natural ventilation; not needed where a fan brings the air."""
    free = free_m3(space, figures)
    volume = Requirement("free volume", asked.space_name, air=asked, path=path, figures=figures, free=free)
    if (space.fan_m3_per_h or 0.0) >= asked.flow_m3_per_h - ROUNDING:
        return volume.case("fan", fan=space.fan_m3_per_h)
    if free is None:
        return volume.case("no size", sides=listed(missing), side=missing[0])
    return volume.case("ok" if free >= asked.free_volume_m3 - ROUNDING else "too small")


def _mixed(asked: Ventilation, path: str, missing: list[str], figures: Figures) -> Check:
    """Simulated hydrogen in the room."""
    limit = figures["ventilation.limit"]
    hydrogen = Requirement("hydrogen", asked.space_name, air=asked, path=path, limit=limit)
    if asked.peak_share is None:
        return hydrogen.case("no size", sides=listed(missing), side=missing[0]) if missing else hydrogen.case("no air")
    percent = 100.0 * asked.peak_share
    return hydrogen.case("ok" if percent <= limit.value else "too much", percent=percent)


def _temperature(asked: Ventilation, scenario: Scenario) -> Check:
    """Air of the room over the year."""
    figures, air = scenario.figures, scenario.site.room_air
    low, high = figures["room.temperature_low"], figures["room.temperature_high"]
    coldest, warmest = sorted((air.winter_degc, air.summer_degc))
    span = f"{coldest:g} to {warmest:g}" if coldest != warmest else f"{coldest:g}"
    fit = Requirement("temperature", asked.space_name, figures=figures, low=low, high=high, span=span)
    needs = {"heat": coldest < low.value, "cool": warmest > high.value}
    how = " and ".join(what for what, needed in needs.items() if needed)
    return fit.case("outside" if how else "ok", how=how)


def hydrogen_week(evidence: Evidence, asked: Ventilation) -> HydrogenWeek | None:
    """Follow hydrogen in a space over all replications and pick the week with most of it.

    Parameters
    ----------
    evidence
        What the replications of a layout say.
    asked
        Ventilation of a space in which the layout charges.

    Returns
    -------
    HydrogenWeek or None
        None when the size of the space is not known, or there is no air to reckon with.
    """
    scenario = evidence.runs.scenario
    free = free_m3(space_of(scenario, asked.space_name), scenario.figures)
    air = asked.air_m3_per_h if asked.air_m3_per_h is not None else asked.flow_m3_per_h
    if free is None or not air > 0.0:
        return None
    part, replication, course = max(
        (
            (part, replication, course)
            for part in evidence.parts
            for replication, course in enumerate(_courses(part, asked.space_name, air, free))
        ),
        key=lambda found: float(np.max(found[2])),
    )
    season = part.runs.schedule.season
    ends: Floats = evidence.runs.schedule.warm_up_min % WEEK_MIN + QUARTER_MIN * np.arange(1.0, course.size + 1.0)
    week = int((ends[np.argmax(course)] - QUARTER_MIN) // WEEK_MIN)
    mine = (ends > week * WEEK_MIN) & (ends <= (week + 1) * WEEK_MIN)
    times, share = ends[mine] - week * WEEK_MIN, course[mine]
    at = int(np.argmax(share))
    limit = scenario.figures["ventilation.limit"].value / 100.0
    return HydrogenWeek(
        replication,
        week,
        times,
        share,
        float(share[at]),
        float(times[at]),
        limit,
        air,
        asked.air_m3_per_h is None,
        "" if season is None else season.text,
    )
