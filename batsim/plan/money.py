"""Money: what a layout costs in a year, for each exchange and each truck-hour, and when it pays back."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from batsim.formulas.annuity import capital_recovery_share, net_present_value, payback_years
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.plan.equipment import EquipmentLine
from batsim.plan.evidence import Evidence
from batsim.plan.room_fit import needed_area_m2
from batsim.scenario.site import Scenario
from batsim.study.cost import WEEKS_PER_YEAR
from batsim.study.prices import Price, price_of, summed

MONTHS_PER_YEAR = 12
HEADINGS = {
    "battery": "watering systems",
    "charger": "chargers",
    "device": "devices and parts",
    "room": "bays, stations, room",
}
"""What is ordered, by the key of its life, put together; batteries stand for themselves."""
LEFT_OUT = "Left out: building work, supply connection, service contracts, training, scrap value, taxes."


class YearlyCostLine(NamedTuple):
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
    lines: tuple[YearlyCostLine, ...]
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
        return self._for_each(self.exchanges_per_year)

    @property
    def per_truck_hour(self) -> Price:
        """For each scheduled truck hour. [currency/h]"""
        return self._for_each(self.truck_hours_per_year)

    def _for_each(self, per_year: float) -> Price:
        return self.per_year.times(1.0 / per_year if per_year > 0.0 else math.nan)

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


def money(scenario: Scenario, layout: str, evidence: Evidence, lines: tuple[EquipmentLine, ...]) -> YearlyCost:
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
    costs = [*_capital(scenario, evidence, lines), *_running(scenario, layout, evidence)]
    return YearlyCost(
        currency=scenario.site.currency,
        lines=tuple(cost for cost in costs if cost.per_year.value > 0.0),
        purchase=summed([line.cost for line in lines]),
        exchanges_per_year=evidence.per_year("days", "exchanges_per_day"),
        truck_hours_per_year=evidence.per_year("truck_hours"),
        interest_share=scenario.prices.interest_share,
        lasting=summed([line.cost for line in lines if not line.is_battery]),
    )


def _capital(scenario: Scenario, evidence: Evidence, lines: tuple[EquipmentLine, ...]) -> Iterator[YearlyCostLine]:
    """Yearly part of what is ordered; batteries last no longer than their use lets them."""
    interest, lives = scenario.prices.interest_share, scenario.prices.lives
    worn = evidence.life_years
    costs: dict[tuple[str, float], list[Price]] = {}
    for line in lines:
        years: float = getattr(lives, f"{line.life}_years")
        if line.is_battery and math.isfinite(worn):
            years = min(years, worn)
        # Batteries are replaced when they are worn, whether they are owned already or not.
        bought = line.price.times(line.number) if line.is_battery else line.cost
        costs.setdefault(("batteries" if line.is_battery else HEADINGS[line.life], years), []).append(bought)
    for (what, years), prices in costs.items():
        bought, because = summed(prices), ""
        yearly = bought.times(capital_recovery_share(interest, years))
        if what == "batteries" and years < lives.battery_years:
            because = f", worn out by use before the {lives.battery_years:g} years that are usual"
        basis = f"{bought.value:,.0f} over {years:.3g} years at {100.0 * interest:g} %{because}"
        yield YearlyCostLine(what, yearly, basis, capital=what != "batteries")


def _running(scenario: Scenario, layout: str, evidence: Evidence) -> Iterator[YearlyCostLine]:
    """People and trucks, energy and its peak, water and floor."""

    def cost(what: str, price: str, amount: float, basis: str) -> YearlyCostLine:
        """So much of what the site states a price for, or the catalogue."""
        stated = getattr(scenario.prices, price)
        return YearlyCostLine(what, price_of(scenario, price, stated).times(amount), basis)

    # Attendants cost while they are on duty, busy or not; drivers for what the battery takes of their time.
    busy, waiting, working = (
        evidence.per_year("days", f"{name}_min_per_day") / 60.0
        for name in ("labour_attendant", "driver_waiting", "labour_driver")
    )
    hours = _hours_on_duty(scenario, layout)
    if hours:
        share = f", {100.0 * busy / hours:.0f} % of them hands-on" if math.isfinite(busy) else ""
        yield cost("attendants on duty", "attendant", hours, f"{hours:,.0f} h a year{share}")
    else:
        yield cost("attendants hands-on", "attendant", busy, f"{busy:,.0f} h a year")
    yield cost("drivers stand by", "driver", waiting, f"{waiting:,.0f} h a year")
    yield cost("drivers hands-on", "driver", working, f"{working:,.0f} h a year")
    minutes = evidence.per_year("truck_shifts", "downtime_min_per_truck_shift")
    shifts = evidence.per_year("truck_shifts")
    basis = f"{minutes / shifts if shifts else 0.0:.1f} min in each of {shifts:,.0f} truck-shifts"
    yield cost("trucks stand", "truck", minutes / 60.0, basis)
    yield _energy(scenario, evidence)
    # The measured time stands for a month; months in and out of season by their weeks.
    peak_kw = evidence.mean_of_year("peak_of_all_weeks_kw")
    lost_kg = evidence.per_year("days", "water_lost_kg_per_day")
    seasons = ", seasons by their weeks" if evidence.seasons else ""
    basis = f"{peak_kw:.0f} kW, peak of all weeks (mean of 15 min{seasons}), in each of {MONTHS_PER_YEAR} months"
    yield cost("demand", "demand", MONTHS_PER_YEAR * peak_kw, basis)
    yield cost("water", "water", lost_kg, f"{lost_kg:,.0f} kg a year")
    # Floor of the bays, where the batteries are measured; else of the room.
    in_truck = scenario.arrangement(layout).in_truck
    area_m2 = 0.0 if in_truck else needed_area_m2(scenario, layout) or scenario.room.area_m2 or 0.0
    yield cost("floor", "floor", area_m2, f"{area_m2:.0f} m² for bays and aisle")


def _hours_on_duty(scenario: Scenario, layout: str) -> float:
    """Attendant hours of a year that are paid; 0 where attendants come only when they are needed. [h]"""
    attendants = scenario.layouts[layout].attendants
    if not isinstance(attendants, dict):
        return 0.0
    shifts = {name: scenario.week.shifts[name] for name in attendants}
    yearly = {name: shift.minutes * len(shift.days) / 60.0 * shift.weeks_a_year for name, shift in shifts.items()}
    return sum(int(number) * yearly[name] for name, number in attendants.items())


def _energy(scenario: Scenario, evidence: Evidence) -> YearlyCostLine:
    """Energy from the wall by the hour of the week."""
    kwh, tariff = evidence.week_kwh, scenario.prices.energy
    whole = WEEKS_PER_YEAR * float(np.sum(kwh))
    if tariff is None:
        return YearlyCostLine("energy", price_of(scenario, "energy", None).times(whole), f"{whole:,.0f} kWh a year")
    prices = [
        next((band.price for band in tariff.bands if band.holds(minute)), tariff.otherwise)
        for minute in QUARTER_MIN * (np.arange(kwh.size) + 0.5)
    ]
    cost = WEEKS_PER_YEAR * float(np.sum(kwh * np.array([price.amount for price in prices])))
    basis = f"{whole:,.0f} kWh a year at {cost / whole:.4f} on average over the bands" if whole else "none"
    return YearlyCostLine("energy", Price(cost, cost, cost, placeholder=False), basis)


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
