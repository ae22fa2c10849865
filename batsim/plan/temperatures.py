"""Whether batteries are charged as warm as they may be, and whether their electrolyte could freeze."""

from collections.abc import Iterator
from math import ceil, floor
from typing import NamedTuple

from batsim.catalogue import Figures
from batsim.formulas.electrolyte import freezing_degc, gravity_from_soc, gravity_that_freezes
from batsim.measures.warmth import Hardship
from batsim.plan.checks import Check, Requirement, cited, of_area
from batsim.plan.evidence import Evidence
from batsim.plan.survey import coldest_degc
from batsim.scenario.chemistry import LITHIUM
from batsim.scenario.parts.batteries import BatteryType
from batsim.scenario.site import Scenario

WATER = (1.0, 0.0)
"""Specific gravity and freezing point of water. [-, degC]"""
GRAVITIES = (1100, 1150, 1160, 1220, 1250, 1280)
"""Specific gravities of the table of freezing points in the catalogue, in thousandths."""


def temperature_checks(scenario: Scenario, layout: str, evidence: Evidence) -> Iterator[Check]:
    """Check each battery type of each area of a layout."""
    for area, site in scenario.areas_of(layout).items():
        for name in site.batteries_of(layout):
            yield from of_area(area, _of_type(site, layout, name, evidence.hardship(area, name)))


def _of_type(scenario: Scenario, layout: str, name: str, went: Hardship) -> Iterator[Check]:
    """Check one battery type of an area, which went through something."""
    yield _charging(scenario, layout, name, went)
    cold = freezing(scenario, name)
    if cold is not None:
        yield _frozen(cold, name, scenario.figures, went.least_left_share)


def _charging(scenario: Scenario, layout: str, name: str, went: Hardship) -> Check:
    """Temperature of batteries at the start of their charges, as simulated, against what they may have."""
    battery, air = scenario.batteries[name], scenario.site.room_air
    low, high = battery.charging_degc(scenario.figures)
    rule = _whose_limits(battery, scenario.figures)
    start = Requirement("charge start", f"battery '{name}'", battery=name, rule=rule, low=low, high=high, went=went)
    if not went.charges:
        return start.case("no charge")
    if went.outside:
        cold = went.coldest_degc < low
        waits = scenario.charging_of(layout).too_warm_or_cold == "wait"
        if not waits and low <= min(air) and max(air) <= high:
            return start.case("not waited")
        too_cold = f"too cold, {'lithium' if battery.chemistry == LITHIUM else 'lead'}"
        coldest, warmest = floor(went.coldest_degc), ceil(went.warmest_degc)
        return start.case(too_cold if cold else "too warm", coldest=coldest, warmest=warmest)
    if min(air) < low or max(air) > high:
        return start.case("season", coldest=min(air), warmest=max(air))
    return start.case("ok")


def _whose_limits(battery: BatteryType, figures: Figures) -> str:
    """Where the temperatures come from between which charges may begin."""
    stated = {"charge_from": battery.charge_from_degc, "charge_below": battery.charge_below_degc}
    whose = {
        cited(figures[f"battery.{battery.chemistry}.{key}"]) if degc is None else "stated for this battery type"
        for key, degc in stated.items()
    }
    return "; ".join(sorted(whose))


class Cold(NamedTuple):
    """Electrolyte of a lead-acid battery type in air below the freezing point of water."""

    coldest_degc: float
    """Coldest air of the year about it. [degC]"""
    freezes: tuple[tuple[float, float], ...]
    """Specific gravities and their freezing points. [-, degC]"""
    gravities: tuple[tuple[float, float], ...]
    """Specific gravities and the charge left to which they belong, from empty to full. [-, -]"""

    def freezes_degc(self, left_share: float) -> float:
        """Freezing point at a charge that is left. [degC]"""
        return freezing_degc(gravity_from_soc(max(0.0, left_share), self.gravities), self.freezes)

    @property
    def least_share(self) -> float:
        """Charge from which on it does not freeze in the coldest air; no more than all. [-]"""
        (empty, _), (full, _) = self.gravities
        gravity = gravity_that_freezes(max(self.coldest_degc, self.freezes[-1][1]), self.freezes)
        return min(1.0, max(0.0, (gravity - empty) / (full - empty)))


def freezing(scenario: Scenario, name: str) -> Cold | None:
    """Electrolyte of a battery type that the cold could freeze; None for lithium-ion, and where it never freezes."""
    figures, battery, coldest = scenario.figures, scenario.batteries[name], coldest_degc(scenario, name)
    if battery.chemistry == LITHIUM or coldest >= WATER[1]:
        return None
    of_acid = [(key / 1000.0, figures[f"electrolyte.freezes.{key}"].value) for key in GRAVITIES]
    empty_v, slope_v = (figures[f"battery.{battery.chemistry}.{key}_v"].value for key in ("empty", "slope"))
    empty = empty_v - figures["electrolyte.voltage_less_gravity"].value
    return Cold(coldest, (WATER, *of_acid), ((empty, 0.0), (empty + slope_v, 1.0)))


def _frozen(cold: Cold, name: str, figures: Figures, left_share: float) -> Check:
    """Coldest air about a battery type against the freezing point of its electrolyte, discharged as simulated."""
    fits = Requirement(
        "freezing",
        f"battery '{name}'",
        cold=cold,
        left=left_share,
        freezes=cold.freezes_degc(left_share),
        empty=cold.freezes_degc(0.0),
        source=figures["electrolyte.freezes.1160"],
    )
    if cold.coldest_degc <= cold.freezes_degc(left_share):
        return fits.case("ice")
    return fits.case("ok" if cold.coldest_degc > cold.freezes_degc(0.0) else "empty")
