"""Money: what a layout costs in a year, for each exchange and each truck-hour, and when it pays back."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from batsim.formulas.annuity import capital_recovery_share, net_present_value, payback_years
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.plan.room_fit import needed_area_m2
from batsim.study.cost import WEEKS_PER_YEAR
from batsim.study.prices import Price, price_of, summed

if TYPE_CHECKING:
    from batsim.plan.equipment import EquipmentLine
    from batsim.plan.evidence import Evidence
    from batsim.scenario.parts.prices import Lives
    from batsim.scenario.site import Scenario

MONTHS_PER_YEAR = 12
LEFT_OUT = "Left out: building work, supply connection, service contracts, training, scrap value, taxes."


class CostLine(NamedTuple):
    """What something costs in a year."""

    what: str
    per_year: Price
    basis: str
    """How it is worked out, with the numbers."""
    capital: bool = False
    """Whether it is the yearly part of a purchase that lasts; batteries are paid as they wear out."""


@dataclass(frozen=True)
class YearlyCost:
    """What a layout costs."""

    currency: str
    lines: tuple[CostLine, ...]
    purchase: Price
    """All that is to be ordered. [currency]"""
    exchanges_per_year: float
    truck_hours_per_year: float
    interest_share: float
    lasting: Price
    """What is to be ordered beside batteries. [currency]"""

    @property
    def per_year(self) -> Price:
        """All of it. [currency/year]"""
        return summed([line.per_year for line in self.lines])

    @property
    def running_per_year(self) -> float:
        """What is not the yearly part of a purchase that lasts; batteries as they wear out. [currency/year]"""
        return sum(line.per_year.value for line in self.lines if not line.capital)

    @property
    def per_exchange(self) -> Price:
        """For each exchange, or charge in shift time. [currency]"""
        return self.per_year.times(1.0 / self.exchanges_per_year) if self.exchanges_per_year > 0.0 else _none()

    @property
    def per_truck_hour(self) -> Price:
        """For each scheduled truck hour. [currency/h]"""
        return self.per_year.times(1.0 / self.truck_hours_per_year) if self.truck_hours_per_year > 0.0 else _none()

    @property
    def placeholders(self) -> tuple[str, ...]:
        """Lines that rest on placeholders of the catalogue."""
        return tuple(line.what for line in self.lines if line.per_year.placeholder and line.per_year.value)


class Payback(NamedTuple):
    """A layout against the one that is there today."""

    against: str
    price: float
    """What is to be ordered beside batteries. [currency]"""
    saved_per_year: float
    """Running cost less, batteries as they wear out included, before interest. [currency/year]"""
    years: float
    """Simple payback; infinite when never, 0 when nothing has to be paid. [years]"""
    discounted_years: float
    """With interest. [years]"""
    net_present_value: float
    """Over the life of devices. [currency]"""
    horizon_years: float


def _none() -> Price:
    return Price(math.nan, math.nan, math.nan, placeholder=False)


def money(scenario: "Scenario", layout: str, evidence: "Evidence", lines: "tuple[EquipmentLine, ...]") -> YearlyCost:
    """Add up what a layout costs.

    Parameters
    ----------
    scenario, layout
        What is planned, with its prices.
    evidence
        What the simulation says of it.
    lines
        Its equipment list.
    """
    days = evidence.days_per_year
    costs = [
        *_capital(scenario, evidence, lines),
        *_people(scenario, layout, evidence, days),
        _trucks(scenario, evidence),
        _energy(scenario, evidence),
        _demand(scenario, evidence),
        _water(scenario, evidence, days),
        _floor(scenario, layout),
    ]
    return YearlyCost(
        currency=scenario.site.currency,
        lines=tuple(cost for cost in costs if cost.per_year.value > 0.0),
        purchase=summed([line.cost for line in lines]),
        exchanges_per_year=evidence.mean("exchanges_per_day") * days,
        truck_hours_per_year=evidence.truck_hours_per_year,
        interest_share=scenario.prices.interest_share,
        lasting=summed([line.cost for line in lines if not line.battery]),
    )


def _capital(scenario: "Scenario", evidence: "Evidence", lines: "tuple[EquipmentLine, ...]") -> list[CostLine]:
    """Yearly part of what is ordered; batteries last no longer than their use lets them."""
    interest, lives = scenario.prices.interest_share, scenario.prices.lives
    worn = evidence.mean("life_years")
    costs: dict[tuple[str, float], list[Price]] = {}
    for line in lines:
        years = _years(lives, line.life)
        if line.battery and math.isfinite(worn):
            years = min(years, worn)
        # Batteries are replaced when they are worn, whether they are owned already or not.
        bought = line.price.times(line.number) if line.battery else line.cost
        costs.setdefault((_heading(line), years), []).append(bought)
    result = []
    for (what, years), prices in costs.items():
        bought, because = summed(prices), ""
        yearly = bought.times(capital_recovery_share(interest, years))
        if what == "batteries" and years < lives.battery_years:
            because = f", worn out by use before the {lives.battery_years:g} years that are usual"
        basis = f"{bought.value:,.0f} over {years:.3g} years at {100.0 * interest:g} %{because}"
        result.append(CostLine(what, yearly, basis, capital=what != "batteries"))
    return result


def _heading(line: "EquipmentLine") -> str:
    if line.life == "battery":
        return "batteries" if line.battery else "watering systems"
    return {"charger": "chargers", "device": "devices and parts", "room": "bays, stations, room"}[line.life]


def _years(lives: "Lives", life: str) -> float:
    years: float = getattr(lives, f"{life}_years")
    return years


def _people(scenario: "Scenario", layout: str, evidence: "Evidence", days: float) -> list[CostLine]:
    """Attendants on duty, busy or not; drivers for what the battery costs them."""
    lines = []
    wage, hours = price_of(scenario, "attendant", scenario.prices.attendant), _hours_on_duty(scenario, layout)
    busy = evidence.mean("labour_attendant_min_per_day") * days / 60.0
    if hours:
        share = f", {100.0 * busy / hours:.0f} % of them hands-on" if math.isfinite(busy) else ""
        lines.append(CostLine("attendants on duty", wage.times(hours), f"{hours:,.0f} h a year{share}"))
    elif math.isfinite(busy) and busy > 0.0:
        lines.append(CostLine("attendants hands-on", wage.times(busy), f"{busy:,.0f} h a year"))
    driver = price_of(scenario, "driver", scenario.prices.driver)
    waiting, working = (
        evidence.mean(name) * days / 60.0 for name in ("driver_waiting_min_per_day", "labour_driver_min_per_day")
    )
    for what, spent in (("drivers stand by", waiting), ("drivers hands-on", working)):
        lines.append(CostLine(what, driver.times(spent), f"{spent:,.0f} h a year"))
    return lines


def _hours_on_duty(scenario: "Scenario", layout: str) -> float:
    """Attendant hours of a year that are paid; 0 where attendants come only when they are needed. [h]"""
    attendants = scenario.layouts[layout].attendants
    if not isinstance(attendants, dict):
        return 0.0
    shifts = {name: scenario.week.shifts[name] for name in attendants}
    weekly = {name: shift.minutes * len(shift.days) / 60.0 for name, shift in shifts.items()}
    return WEEKS_PER_YEAR * sum(int(number) * weekly[name] for name, number in attendants.items())


def _trucks(scenario: "Scenario", evidence: "Evidence") -> CostLine:
    """Truck hours lost, drivers left out."""
    price = price_of(scenario, "truck", scenario.prices.truck)
    minutes = evidence.mean("downtime_min_per_truck_shift")
    basis = f"{minutes:.1f} min in each of {evidence.truck_shifts_per_year:,.0f} truck-shifts"
    return CostLine("trucks stand", price.times(minutes * evidence.truck_shifts_per_year / 60.0), basis)


def _energy(scenario: "Scenario", evidence: "Evidence") -> CostLine:
    """Energy from the wall by the hour of the week."""
    kwh, tariff = evidence.week_kwh, scenario.prices.energy
    whole = WEEKS_PER_YEAR * float(np.sum(kwh))
    if tariff is None:
        price = price_of(scenario, "energy", None).times(whole)
        return CostLine("energy", price, f"{whole:,.0f} kWh a year")
    rates = np.array([_rate(scenario, QUARTER_MIN * (quarter + 0.5)) for quarter in range(kwh.size)])
    cost = WEEKS_PER_YEAR * float(np.sum(kwh * rates))
    basis = f"{whole:,.0f} kWh a year at {cost / whole:.4f} on average over the bands" if whole else "none"
    return CostLine("energy", Price(cost, cost, cost, placeholder=False), basis)


def _rate(scenario: "Scenario", minute: float) -> float:
    tariff = scenario.prices.energy
    assert tariff is not None  # asked for before
    band = next((band for band in tariff.bands if band.holds(minute)), None)
    return tariff.otherwise.amount if band is None else band.price.amount


def _demand(scenario: "Scenario", evidence: "Evidence") -> CostLine:
    """Demand charge on the peak of each month, as the measured time stands for a month."""
    price = price_of(scenario, "demand", scenario.prices.demand)
    peak = _finite(evidence.mean("peak_kw"))
    basis = f"{peak:.0f} kW, mean of 15 min, in each of {MONTHS_PER_YEAR} months"
    return CostLine("demand", price.times(MONTHS_PER_YEAR * peak), basis)


def _water(scenario: "Scenario", evidence: "Evidence", days: float) -> CostLine:
    """Water that charging uses up."""
    lost = _finite(evidence.mean("water_lost_kg_per_day") * days)
    price = price_of(scenario, "water", scenario.prices.water)
    return CostLine("water", price.times(lost), f"{lost:,.0f} kg a year")


def _finite(number: float) -> float:
    """A number, 0 where nothing was measured."""
    return number if math.isfinite(number) else 0.0


def _floor(scenario: "Scenario", layout: str) -> CostLine:
    """Floor of the bays, where the batteries are measured; else of the room."""
    in_truck = scenario.arrangement(layout).in_truck
    area = None if in_truck else needed_area_m2(scenario, layout) or scenario.room.area_m2
    price = price_of(scenario, "floor", scenario.prices.floor)
    basis = "" if area is None else f"{area:.0f} m² for bays and aisle"
    return CostLine("floor", price.times(area or 0.0), basis)


def payback(layout: YearlyCost, present: YearlyCost, against: str, horizon_years: float) -> Payback:
    """Compare a layout with what is there today, whose equipment need not be bought.

    Parameters
    ----------
    layout, present
        What both cost.
    against
        Name of the layout that is there today.
    horizon_years
        Years over which the net present value is taken. [years]
    """
    price = layout.lasting.value
    saved = present.running_per_year - layout.running_per_year
    years = payback_years(price, saved) if price > 0.0 else 0.0
    discounted = payback_years(price, saved, layout.interest_share) if price > 0.0 else 0.0
    flows = np.array([-price, *[saved] * max(1, round(horizon_years))])
    return Payback(
        against, price, saved, years, discounted, net_present_value(flows, layout.interest_share), horizon_years
    )
