"""Electrical supply: current, apparent power, coincidence from the simulated load, what holding back would save."""

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import NamedTuple

import numpy as np

from batsim.errors import ScenarioError
from batsim.formulas.phases import peak_wall_kw
from batsim.formulas.supply import (
    apparent_kva,
    coincidence_share,
    continuous_rating_a,
    line_current_a,
    load_factor_share,
)
from batsim.plan.checks import ROUNDING, Check, Requirement
from batsim.plan.evidence import Evidence, evidence_of_each
from batsim.plan.survey import coldest_degc
from batsim.scenario.chemistry import greatest_load, thermal_of
from batsim.scenario.parts.batteries import FALLING
from batsim.scenario.parts.kinds import UNLIMITED
from batsim.scenario.reading import changed
from batsim.scenario.settings import Schedule, Settings
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import path_text
from batsim.statistics.intervals import Interval

DOWNTIME = "downtime_min_per_truck_shift"
HELD_BACK_REPLICATIONS = 5
"""Replications with chargers held back, paired with as many without: common random numbers make few enough."""


class ChargerLoad(NamedTuple):
    """What chargers of one type in one area draw at most, each."""

    number: float
    charger: str
    kw: float
    """At the wall. [kW]"""
    kva: float
    """Apparent. [kVA]"""
    current_a: float | None
    """Per phase. [A]"""
    formula: str
    """How it is worked out, with the numbers."""
    area: str
    """Empty where the layout is one area."""


class HeldBack(NamedTuple):
    """What a way of holding chargers back saves, and what it costs."""

    what: str
    peak_kw: float
    saved_kw: float
    downtime_min_per_truck_shift: float
    lost_min_per_truck_shift: float
    """More downtime than without. [min]"""


@dataclass(frozen=True)
class SupplyPlan:
    """What a layout asks of the supply."""

    loads: tuple[ChargerLoad, ...]
    peak_kw: Interval
    """Simulated peak of a week. [kW]"""
    peak_kva: Interval
    greatest_kw: Interval
    """Simulated peak of all weeks. [kW]"""
    greatest_kva: Interval
    mean_kw: float
    current_a: float | None
    """Current per phase at the simulated peak. [A]"""
    continuous_a: float | None
    """Rating that the US rule for continuous loads asks for, all chargers at once. [A]"""
    coincidence_share: float
    """Simulated peak over the sum of all chargers' greatest loads. [-]"""
    load_factor_share: float
    """Mean over peak. [-]"""
    held_back: tuple[HeldBack, ...]
    not_tried: tuple[str, ...]
    """Ways of holding back that are not possible here, and why."""
    checks: tuple[Check, ...]

    @property
    def all_at_once_kw(self) -> float:
        """All chargers at their greatest load. [kW]"""
        return sum(load.number * load.kw for load in self.loads)

    @property
    def all_at_once_kva(self) -> float:
        """The same, apparent. [kVA]"""
        return sum(load.number * load.kva for load in self.loads)


def supply(
    scenario: Scenario,
    layout: str,
    evidence: Evidence,
    tried: tuple[HeldBack, ...] = (),
    not_tried: tuple[str, ...] = (),
) -> SupplyPlan:
    """Work out the supply of a layout for all of its areas together.

    Parameters
    ----------
    scenario, layout
        What is planned.
    evidence
        What the simulation says of it.
    tried, not_tried
        What `held_back` brings.
    """
    volts, phases = scenario.supply.voltage_v, scenario.supply.phases
    loads = _of_areas(scenario, layout)
    interval = evidence.runs.interval
    peak_kw, peak_kva = interval(layout, "peak_kw"), interval(layout, "peak_kva")
    greatest_kw, greatest_kva = (_greatest(evidence, f"peak_of_all_weeks_{unit}") for unit in ("kw", "kva"))
    mean_kw = float(np.mean([np.mean(run.load_kw) for run in evidence.replications]))
    charged, rated = peak_kw.mean > 0.0, np.array([load.kw for load in loads for _ in range(int(load.number))])
    current_a = None if volts is None else line_current_a(peak_kva.mean, volts, phases)
    return SupplyPlan(
        loads=loads,
        peak_kw=peak_kw,
        peak_kva=peak_kva,
        greatest_kw=greatest_kw,
        greatest_kva=greatest_kva,
        mean_kw=mean_kw,
        current_a=current_a,
        continuous_a=None if volts is None else _continuous_a(scenario, loads),
        coincidence_share=coincidence_share(peak_kw.mean, rated) if rated.size and charged else np.nan,
        load_factor_share=load_factor_share(mean_kw, peak_kw.mean) if charged else np.nan,
        held_back=tried,
        not_tried=not_tried,
        checks=(_spare(scenario, layout, tried, greatest_kw, greatest_kva),),
    )


def _continuous_a(scenario: Scenario, loads: Iterable[ChargerLoad]) -> float:
    """Rating that the US rule for continuous loads asks for, all chargers at once. [A]"""
    all_a = sum(load.number * (load.current_a or 0.0) for load in loads)
    return continuous_rating_a(all_a, 0.0, scenario.figures["supply.continuous_factor"].value)


def _greatest(evidence: Evidence, measure: str) -> Interval:
    """The interval of a measure whose end is the highest of the normal weeks and the seasons."""
    return max((part.runs.interval(part.layout, measure) for part in evidence.parts), key=_end)


def _of_areas(scenario: Scenario, layout: str) -> tuple[ChargerLoad, ...]:
    """Greatest load of each charger of each area."""
    areas = scenario.areas_of(layout).items()
    return tuple(load for area, site in areas for load in _loads(site, layout, area))


def _loads(scenario: Scenario, layout: str, area: str) -> Iterator[ChargerLoad]:
    """Greatest load of each charger of an area, on the battery on which it gives most."""
    batteries, volts = scenario.batteries_of(layout), scenario.supply.voltage_v
    for count in scenario.layouts[layout].chargers:
        charger = scenario.chargers[count.charger]
        loads = []
        for name in batteries:
            battery = scenario.batteries[name]
            if charger.fits(name, battery, scenario.figures):
                amps, per_cell = greatest_load(
                    charger, battery, scenario.figures, _coldest_degc(scenario, layout, name)
                )
                kw = peak_wall_kw(amps, per_cell, battery.cells, charger.efficiency_share)
                loads.append((kw, f"{battery.cells} cells x {per_cell:.4g} V x {amps:.0f} A"))
        if not loads:
            continue
        kw, factors = max(loads)
        kva = apparent_kva(kw, charger.power_factor)
        current_a = None if volts is None else line_current_a(kva, volts, scenario.supply.phases)
        formula = (
            f"{factors} / {100 * charger.efficiency_share:.0f} % = {kw:.2f} kW; "
            f"/ power factor {charger.power_factor:g} = {kva:.2f} kVA"
        )
        number = float(sum(batteries.values())) if count.number >= UNLIMITED else count.number
        yield ChargerLoad(number, count.charger, kw, kva, current_a, formula, area)


def _coldest_degc(scenario: Scenario, layout: str, name: str) -> float:
    """Coldest that the electrolyte of a battery type may be when its charge begins. [degC]"""
    room_degc, battery = min(scenario.site.room_air), scenario.batteries[name]
    coldest = coldest_degc(scenario, name)
    from_degc = thermal_of(battery, scenario.figures).charge_from_degc
    waits = scenario.charging_of(layout).too_warm_or_cold == "wait"
    return max(coldest, from_degc) if waits and room_degc >= from_degc else coldest


def held_back(
    evidence: dict[str, Evidence], schedule: Schedule, layouts: Sequence[str], settings: Settings = Settings()
) -> dict[str, tuple[tuple[HeldBack, ...], tuple[str, ...]]]:
    """Simulate a power limit and a stagger, each alone, for all layouts together.

    Parameters
    ----------
    evidence
        What the simulation says without them, by layout.
    schedule
        How long it was simulated, and how often at most with chargers held back.
    layouts
        Those to try.
    settings
        Their workers hold.

    Returns
    -------
    dict
        By layout: what each way saves and costs, and a sentence for each that cannot be tried.
    """
    ways = {layout: _throttled_runs(schedule, layout, _paired(evidence[layout], "peak_kw")) for layout in layouts}
    schedules = [throttled for runs, _ in ways.values() for _, throttled in runs]
    held = iter(evidence_of_each(schedules, Settings(workers=settings.workers)))
    return {
        layout: (tuple(_saved(what, next(held)[layout], evidence[layout]) for what, _ in runs), tuple(refused))
        for layout, (runs, refused) in ways.items()
    }


def _saved(what: str, held: Evidence, usual: Evidence) -> HeldBack:
    """What a way of holding back saves and costs against as many replications without it."""
    kw, minutes = held.mean("peak_kw"), held.mean(DOWNTIME)
    return HeldBack(what, kw, _paired(usual, "peak_kw") - kw, minutes, minutes - _paired(usual, DOWNTIME))


def _paired(evidence: Evidence, measure: str) -> float:
    """Mean of a measure over as many replications as chargers are held back in."""
    return float(np.mean([run.results.site[measure] for run in evidence.replications[:HELD_BACK_REPLICATIONS]]))


def _throttled_runs(schedule: Schedule, layout: str, peak_kw: float) -> tuple[list[tuple[str, Schedule]], list[str]]:
    """Ways to hold the chargers of a layout back, in words and to be run; a sentence for each that is not possible."""
    runs: list[tuple[str, Schedule]] = []
    refused: list[str] = []
    if not peak_kw > 0.0:
        return runs, refused
    scenario = schedule.scenario
    limit_kw = float(f"{peak_kw * scenario.figures['plan.power_limit'].value / 100.0:.2g}")
    stagger = scenario.figures["plan.stagger"]
    count = min(schedule.replications, HELD_BACK_REPLICATIONS)
    for what, key, value in (
        (f"power limit of {limit_kw:g} kW", "power_limit", f"{limit_kw:g} kW"),
        (f"{stagger.text} between starts", "stagger", stagger.text),
    ):
        throttled = _throttled(scenario, layout, key, value)
        if isinstance(throttled, str):
            refused.append(f"{what} was not tried: {throttled}")
            continue
        run = dataclasses.replace(schedule, scenario=throttled, layouts=(layout,), replications=count)
        runs.append((what, run))
    return runs, refused


def _throttled(scenario: Scenario, layout: str, key: str, value: str) -> Scenario | str:
    """The scenario with the chargers of a layout held back; why not, where that is not possible."""
    chargers = (scenario.chargers[name] for name in scenario.layouts[layout].chargers_by_type)
    if key == "power_limit" and any(charger.profile in FALLING for charger in chargers):
        return "chargers with a falling current cannot be throttled"
    own = ("layouts", layout, "charging") if scenario.layouts[layout].charging is not None else ("charging",)
    try:
        return changed(scenario, {path_text((*own, key)): value})
    except ScenarioError as error:  # such as less than one charger draws, or charges that are timed on site
        return error.problems[0].rule


def _end(interval: Interval) -> float:
    """Upper end of an interval; the mean where it has none."""
    return interval.high if np.isfinite(interval.high) else interval.mean


def _spare(scenario: Scenario, layout: str, tried: Sequence[HeldBack], peak_kw: Interval, peak_kva: Interval) -> Check:
    """Simulated peak of all weeks against what the supply can carry."""
    spare, high = scenario.supply.spare_kva, _end(peak_kva)
    power = Requirement("supply", "supply", spare=spare, peak=peak_kva, high=high)
    if spare is None:
        return power.case("no answer")
    if high <= spare + ROUNDING:
        return power.case("ok")
    cures = [way.what for way in tried if way.peak_kw * high / peak_kw.mean <= spare]
    cures = cures or list(_power_limit(scenario, layout, spare))
    return power.case("too little", short=high - spare, cure=", or ".join([*cures, f"a supply of {ceil(high)} kVA"]))


def _power_limit(scenario: Scenario, layout: str, spare_kva: float) -> Iterator[str]:
    """Power limit under which chargers never draw more than the supply carries, where one is possible."""
    factors = [scenario.chargers[name].power_factor for name in scenario.layouts[layout].chargers_by_type]
    limit = f"{floor(spare_kva * min(factors))} kW"
    if isinstance(_throttled(scenario, layout, "power_limit", limit), Scenario):
        yield f"a power limit of {limit} (charging.power_limit), and a look at what it delays"
