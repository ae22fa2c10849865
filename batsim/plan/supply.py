"""Electrical supply: current, apparent power, coincidence from the simulated load, what holding back would save."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.catalogue import figure
from batsim.errors import ScenarioError
from batsim.formulas.supply import (
    apparent_kva,
    coincidence_share,
    continuous_rating_a,
    line_current_a,
    load_factor_share,
)
from batsim.plan.checks import FAILS, HOLDS, ROUNDING, Check, missing
from batsim.plan.evidence import evidence
from batsim.scenario.base import UNLIMITED
from batsim.scenario.batteries import FALLING
from batsim.scenario.week import WEEK_MIN
from batsim.scenario.yaml_text import path_text
from batsim.study.replications import settings

if TYPE_CHECKING:
    from batsim.plan.evidence import Evidence
    from batsim.scenario.site import Scenario
    from batsim.statistics.intervals import Interval
    from batsim.study.replications import Settings


HELD_BACK_REPLICATIONS = 5
"""Replications with chargers held back, paired with as many without: common random numbers make few enough."""


class ChargerLoad(NamedTuple):
    """What chargers of one type draw at most, each."""

    number: float
    charger: str
    kw: float
    """At the wall. [kW]"""
    kva: float
    """Apparent. [kVA]"""
    current_a: float | None
    """In a line. [A]"""
    formula: str
    """How it is worked out, with the numbers."""


class HeldBack(NamedTuple):
    """What a way of holding chargers back saves, and what it costs."""

    what: str
    peak_kw: float
    saved_kw: float
    downtime_min_per_truck_shift: float
    lost_min_per_truck_shift: float
    """More downtime than without. [min]"""


@dataclass(frozen=True)
class Supply:
    """What a layout asks of the supply."""

    loads: tuple[ChargerLoad, ...]
    peak_kw: "Interval"
    peak_kva: "Interval"
    mean_kw: float
    current_a: float | None
    """Line current at the simulated peak. [A]"""
    continuous_a: float | None
    """Rating that the US rule for continuous loads asks for, all chargers at once. [A]"""
    coincidence_share: float
    """Simulated peak over the sum of all chargers' greatest loads. [-]"""
    load_factor_share: float
    """Mean over peak. [-]"""
    held_back: tuple[HeldBack, ...]
    checks: tuple[Check, ...]

    @property
    def all_at_once_kw(self) -> float:
        """All chargers at their greatest load. [kW]"""
        return sum(each.number * each.kw for each in self.loads)

    @property
    def all_at_once_kva(self) -> float:
        """The same, apparent. [kVA]"""
        return sum(each.number * each.kva for each in self.loads)


def supply(
    scenario: "Scenario", layout: str, found: "Evidence", stated: "Settings", workers: int | None = None
) -> Supply:
    """Work out the supply of a layout; simulates it again with chargers held back.

    Parameters
    ----------
    scenario, layout
        What is planned.
    found
        What the simulation says of it.
    stated
        How long it was simulated, and how often at most with chargers held back.
    workers
        As in `run`.
    """
    volts, phases = scenario.supply.voltage_v, scenario.supply.phases
    loads = tuple(_loads(scenario, layout, found))
    peak_kw, peak_kva = (found.runs.interval(layout, name) for name in ("peak_kw", "peak_kva"))
    mean_kw = float(np.mean([np.mean(each.load_kw) for each in found.taken]))
    whole_a = None
    if volts is not None:
        whole_a = sum(each.number * (each.current_a or 0.0) for each in loads)
    factor = figure("supply.continuous_factor").value
    rated = [each.kw for each in loads for _ in range(int(each.number))]
    return Supply(
        loads,
        peak_kw,
        peak_kva,
        mean_kw,
        None if volts is None else line_current_a(peak_kva.mean, volts, phases),
        None if whole_a is None else continuous_rating_a(whole_a, 0.0, factor),
        coincidence_share(peak_kw.mean, np.array(rated)) if rated and peak_kw.mean > 0.0 else float("nan"),
        load_factor_share(mean_kw, peak_kw.mean) if peak_kw.mean > 0.0 else float("nan"),
        tuple(_held_back(scenario, layout, found, stated, workers)),
        (_spare(scenario, peak_kva),),
    )


def _loads(scenario: "Scenario", layout: str, found: "Evidence") -> "list[ChargerLoad]":
    """Greatest load of each charger: main current at the voltage limit of the main stage."""
    volts, phases = scenario.supply.voltage_v, scenario.supply.phases
    counts = scenario.batteries_of(layout)
    loads = []
    for count in scenario.layouts[layout].chargers:
        charger = scenario.chargers[count.charger]
        fits = [
            scenario.batteries[name]
            for name in counts
            if scenario.batteries[name].chemistry in charger.chemistry
            and (not charger.batteries or name in charger.batteries)
        ]
        if not fits:
            continue
        battery = max(fits, key=lambda each: each.cells * charger.main_current.of(each.capacity.ah))
        per_cell = figure(f"battery.{battery.chemistry}.absorption_v").value
        amps = charger.main_current.of(battery.capacity.ah)
        kw = battery.cells * per_cell * amps / charger.efficiency_share / 1000.0
        kva = apparent_kva(kw, charger.power_factor)
        current = None if volts is None else line_current_a(kva, volts, phases)
        number = float(sum(counts.values())) if count.number >= UNLIMITED else count.number
        formula = (
            f"{battery.cells} cells x {per_cell:g} V x {amps:.0f} A / {100 * charger.efficiency_share:.0f} % = "
            f"{kw:.2f} kW; / power factor {charger.power_factor:g} = {kva:.2f} kVA"
        )
        loads.append(ChargerLoad(number, count.charger, kw, kva, current, formula))
    return loads


def _held_back(
    scenario: "Scenario", layout: str, found: "Evidence", stated: "Settings", workers: int | None
) -> "list[HeldBack]":
    """Simulate a power limit and a stagger, each alone."""
    count = min(stated.replications, HELD_BACK_REPLICATIONS)
    peak, lost = (
        float(np.mean([each.measures[name] for each in found.taken[:count]]))
        for name in ("peak_kw", "downtime_min_per_truck_shift")
    )
    if not peak > 0.0:
        return []
    limit_kw = float(f"{peak * figure('plan.power_limit').value / 100.0:.2g}")
    stagger = figure("plan.stagger")
    ways = [
        (f"power limit of {limit_kw:g} kW", "power_limit", f"{limit_kw:g} kW", _may_share(scenario, layout)),
        (f"{stagger.text} between starts", "stagger", stagger.text, True),
    ]
    tried = []
    for what, key, value, possible in ways:
        if not possible:
            continue
        own = scenario.layouts[layout].charging is not None
        try:
            changed = scenario.replace(
                path_text(("layouts", layout, "charging", key) if own else ("charging", key)), value
            )
        except ScenarioError:  # less than what one charger draws, or charges that are timed on site
            continue
        again = settings(
            changed,
            (layout,),
            count,
            stated.length_min / WEEK_MIN,
            stated.warm_up_min / WEEK_MIN,
            stated.seed,
        )
        held = evidence(again, workers)[layout]
        kw, minutes = held.mean("peak_kw"), held.mean("downtime_min_per_truck_shift")
        tried.append(HeldBack(what, kw, peak - kw, minutes, minutes - lost))
    return tried


def _may_share(scenario: "Scenario", layout: str) -> bool:
    """Tell whether all chargers of a layout can be throttled."""
    types = {count.charger for count in scenario.layouts[layout].chargers}
    return all(scenario.chargers[name].profile not in FALLING for name in types)


def _spare(scenario: "Scenario", peak_kva: "Interval") -> Check:
    """Simulated peak against what the supply can carry."""
    spare = scenario.supply.spare_kva
    name, rule = (
        "power of the supply",
        "simulated 15-min peak; the local wiring rules and a licensed electrician decide",
    )
    high = peak_kva.high if np.isfinite(peak_kva.high) else peak_kva.mean
    limit = "-" if spare is None else f"at most {spare:.0f} kVA"
    if spare is None:
        ask = f"ask what the supply can carry beside everything else ({high:.0f} kVA are needed)"
        changes = "whether the supply must be made stronger, or chargers held back"
        return missing("supply", name, limit, rule, ask, "supply.spare", changes)
    value = f"{peak_kva.mean:.0f} kVA (up to {high:.0f})"
    if high <= spare + ROUNDING:
        return Check("supply", name, HOLDS, value, limit, rule, "The supply carries the simulated peak.")
    cure = "stagger the starts or limit the power first, then ask for a stronger supply"
    return Check("supply", name, FAILS, value, limit, rule, f"{high - spare:.0f} kVA are missing.", cure)
