"""Money: what a layout costs in a year, for each exchange and each truck-hour, and when it pays back."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from batsim.formulas.annuity import net_present_value, payback_years
from batsim.measures.electrical_load import QUARTER_MIN
from batsim.measures.windows import Floats
from batsim.plan.equipment_line import EquipmentLine
from batsim.plan.evidence import Evidence
from batsim.plan.room_fit import needed_area_m2
from batsim.plan.survey import BATTERY_ROOM, spaces_of
from batsim.scenario.parts.layouts import OnDuty
from batsim.scenario.parts.prices import Tariff
from batsim.scenario.parts.week import Week
from batsim.scenario.site import Scenario
from batsim.study.cost import WEEKS_PER_YEAR
from batsim.study.prices import (
    MONTHS_PER_YEAR,
    NOTHING,
    Price,
    interest_of,
    life_of,
    lot_left_share,
    plain_amount,
    price_of,
    recovery_of,
    summed,
)

HEADINGS = {
    "battery": "watering systems",
    "charger": "chargers",
    "device": "devices and parts",
    "room": "bays, stations, room",
}
"""What is ordered, by the key of its life, put together; batteries stand for themselves."""
BATTERIES = "batteries"
BATTERY, WATERING = "battery", "watering"
"""Inputs of the cost of batteries, before the name of their type, and of watering systems; see `YearlyCostLine`."""
LOST_TIME = ("truck", "driver")
"""Inputs of a yearly cost that stand for time that trucks and drivers lose."""
LEFT_OUT = "Left out: building work, supply connection, service contracts, training, scrap value, taxes."


class YearlyCostLine(NamedTuple):
    """What something costs in a year."""

    what: str
    per_year: Price
    basis: str
    """How it is worked out, with the numbers."""
    capital: bool = False
    """Whether it is the yearly part of a purchase that lasts; batteries are paid as they wear out."""
    input: str = ""
    """Price that it rests on: a field of `Prices` (`driver`, `energy`, ...), `battery NAME`, `watering`, `charger`,
    `device` or `room` with life and interest, or a rent; what rests on one price is dear or cheap together."""


@dataclass(frozen=True)
class YearlyCost:
    """What a layout costs."""

    currency: str
    lines: tuple[YearlyCostLine, ...]
    purchase: Price
    """All that is to be ordered. [currency]"""
    exchanges_per_year: float
    scheduled_hours_per_year: float
    """Truck-hours that the shifts ask for. [h/year]"""
    lost_hours_per_year: float
    """Of these, lost to batteries. [h/year]"""
    lasting: Price
    """What is to be ordered beside batteries. [currency]"""

    @property
    def per_year(self) -> Price:
        """All of it. [currency/year]"""
        return summed(line.per_year for line in self.lines)

    @property
    def running(self) -> dict[str, Price]:
        """What is not the yearly part of a purchase that lasts, by line; batteries as they wear out. [currency/year]"""
        return _by_line(line for line in self.lines if not line.capital)

    @property
    def per_exchange(self) -> Price:
        """For each exchange, or charge in shift time. [currency]"""
        return self._for_each(self.exchanges_per_year)

    @property
    def per_truck_hour(self) -> Price:
        """For each truck-hour worked: scheduled, and not lost to the battery. [currency/h]"""
        return self._for_each(self.scheduled_hours_per_year - self.lost_hours_per_year)

    @property
    def at_equal_work(self) -> Price:
        """Cost for each truck-hour worked, times the scheduled hours: by it layouts are compared. [currency/year]"""
        return self.per_year.times(self.equal_work_factor)

    @property
    def equal_work_factor(self) -> float:
        """Scheduled truck-hours over those that are worked. [-]"""
        worked = self.scheduled_hours_per_year - self.lost_hours_per_year
        return self.scheduled_hours_per_year / worked if worked > 0.0 else math.nan

    @property
    def most_saved(self) -> float:
        """What it would cost less at equal work if no time were lost at all. [currency/year]"""
        lost = sum(line.per_year.value for line in self.lines if line.input in LOST_TIME)
        return self.at_equal_work.value - (self.per_year.value - lost)

    def _for_each(self, per_year: float) -> Price:
        return self.per_year.times(1.0 / per_year if per_year > 0.0 else math.nan)

    @property
    def placeholders(self) -> tuple[str, ...]:
        """Lines that rest on placeholders of the catalogue."""
        lines = (line.what for line in self.lines if line.per_year.placeholder and line.per_year.value)
        return tuple(dict.fromkeys(lines))

    def more_than(self, other: "YearlyCost") -> Price:
        """How much more it costs in a year at equal work, where both pay the same prices. [currency/year]"""
        costs, others = (
            {what: cost.times(of.equal_work_factor) for what, cost in _by_line(of.lines).items()}
            for of in (self, other)
        )
        return _more(costs, others)


def _by_line(lines: Iterable[YearlyCostLine]) -> dict[str, Price]:
    """What lines cost in a year, those of one name together. [currency/year]"""
    costs: dict[str, Price] = {}
    for line in lines:
        costs[line.what] = costs.get(line.what, NOTHING).plus(line.per_year)
    return costs


def _more(these: dict[str, Price], those: dict[str, Price]) -> Price:
    """Sum of the differences, line by line: of a line the prices are the same on both sides."""
    return summed(these.get(what, NOTHING).minus(those.get(what, NOTHING)) for what in {**these, **those})


class Payback(NamedTuple):
    """A layout against the one that is there today; each number between what it lies."""

    against: str
    price: Price
    """What is to be ordered beside batteries. [currency]"""
    saved_per_year: Price
    """Running cost less, batteries as they wear out included, before interest. [currency/year]"""
    years: Price
    """Simple payback; infinite when never, 0 when nothing has to be paid. [years]"""
    discounted_years: Price
    """With interest. [years]"""
    net_present_value: Price
    """Over the life of devices. [currency]"""
    horizon_years: float
    against_records: bool = False
    """Whether records of the site bear out the model of what is there today, in all that they tell."""


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
    costs = [*_capital(scenario, evidence, lines), *_rents(lines), *_running(scenario, layout, evidence)]
    return YearlyCost(
        currency=scenario.site.currency,
        lines=tuple(cost for cost in costs if cost.per_year.value > 0.0),
        purchase=summed([line.cost for line in lines]),
        exchanges_per_year=evidence.per_year("days", "exchanges_per_day"),
        scheduled_hours_per_year=evidence.per_year("truck_hours"),
        lost_hours_per_year=_lost_hours(evidence),
        lasting=summed([line.cost for line in lines if not line.is_battery]),
    )


def _lost_hours(evidence: Evidence) -> float:
    """Truck-hours that are lost to batteries; none where nothing is known of them. [h/year]"""
    hours = evidence.per_year("truck_shifts", "downtime_min_per_truck_shift") / 60.0
    return hours if math.isfinite(hours) else 0.0


def _capital(scenario: Scenario, evidence: Evidence, lines: tuple[EquipmentLine, ...]) -> Iterator[YearlyCostLine]:
    """Yearly part of what is ordered; batteries last no longer than their use lets them."""
    costs: dict[tuple[str, str, str], list[tuple[Price, Price]]] = {}
    several = len({line.name for line in lines if line.is_battery}) > 1
    for line in lines:
        if line.rent.value:
            continue
        worn_years = evidence.life_years(line.area, line.name) if line.is_battery else math.inf
        yearly, basis = _yearly(scenario, line, worn_years if math.isfinite(worn_years) else math.inf)
        # Batteries are replaced when they are worn, whether they are owned already or not.
        bought = line.price.times(line.number) if line.is_battery else line.cost
        key = (_heading(line, several=several), _input(line), basis)
        costs.setdefault(key, []).append((bought, bought.in_a_year(yearly)))
    for (what, rests_on, basis), prices in costs.items():
        bought, per_year = (summed(column) for column in zip(*prices, strict=True))
        text = f"{plain_amount(bought.rounded.value)} {basis}"
        yield YearlyCostLine(what, per_year, text, capital=not what.startswith(BATTERIES), input=rests_on)


def _rents(lines: tuple[EquipmentLine, ...]) -> Iterator[YearlyCostLine]:
    """What is rented, whether it is there already or not."""
    for what, battery in ((f"rent of {BATTERIES}", True), (f"rent of {HEADINGS['charger']}", False)):
        rented = [line for line in lines if line.rent.value and line.is_battery == battery]
        basis = " and ".join(f"{line.number:g} at {plain_amount(line.rent.value)} a year" for line in rented)
        yield YearlyCostLine(what, summed(line.rent.times(line.number) for line in rented), basis, input=what)


def _heading(line: EquipmentLine, *, several: bool) -> str:
    """What a purchase is put together under; batteries by type where there are several."""
    if not line.is_battery:
        return HEADINGS[line.life]
    return f"{BATTERIES} ({line.name})" if several else BATTERIES


def _input(line: EquipmentLine) -> str:
    """Price that a purchase rests on; a battery's is that of its type."""
    if line.is_battery:
        return f"{BATTERY} {line.name}"
    return WATERING if line.life == BATTERY else line.life


def _yearly(scenario: Scenario, line: EquipmentLine, worn_years: float) -> tuple[Price, str]:
    """Part of a price that a year pays, and in words over how long and at which interest."""
    life, interest = (find(scenario, line.life, line.name).value for find in (life_of, interest_of))
    because = f", worn out by use before the {life:g} years that are usual" if worn_years < life else ""
    left = lot_left_share(scenario, line.name, line.lot) if line.is_battery else 1.0
    years = f"{min(life, worn_years) * left:.3g}"
    text = f"over {years} year{'' if years == '1' else 's'} at {100.0 * interest:g} %{because}"
    text += f", {100.0 * left:g} % of its life left" if left < 1.0 else ""
    return recovery_of(scenario, line.life, line.name, worn_years, left), text


def _running(scenario: Scenario, layout: str, evidence: Evidence) -> Iterator[YearlyCostLine]:
    """People and trucks, energy and its peak, water and floor."""
    yield from _people(scenario, layout, evidence)
    yield _energy(scenario, evidence)
    # The measured time stands for a month; months in and out of season by their weeks.
    peak_kw = evidence.mean_of_year("peak_of_all_weeks_kw")
    lost_kg = evidence.per_year("days", "water_lost_kg_per_day")
    seasons = ", seasons by their weeks" if evidence.seasons else ""
    basis = f"{peak_kw:.0f} kW, peak of all weeks (mean of 15 min{seasons}), in each of {MONTHS_PER_YEAR} months"
    yield _cost(scenario, "demand", "demand", MONTHS_PER_YEAR * peak_kw, basis)
    yield _cost(scenario, "water", "water", lost_kg, f"{lost_kg:,.0f} kg a year")
    # Floor of the bays, where the batteries are measured; else of the room.
    in_room = BATTERY_ROOM in spaces_of(scenario, layout)
    area_m2 = (needed_area_m2(scenario, layout) or scenario.room.area_m2 or 0.0) if in_room else 0.0
    yield _cost(scenario, "floor", "floor", area_m2, f"{area_m2:.0f} m² for bays and aisle")


def _cost(scenario: Scenario, what: str, price: str, amount: float, basis: str) -> YearlyCostLine:
    """So much of what the site states a price for, or the catalogue."""
    stated = getattr(scenario.prices, price)
    return YearlyCostLine(what, price_of(scenario, price, stated).times(amount), basis, input=price)


def _people(scenario: Scenario, layout: str, evidence: Evidence) -> Iterator[YearlyCostLine]:
    """Attendants, trucks that stand and their drivers.

    Attendants cost while they are on duty, busy or not; where there are as many as are needed, while they are hands-on.
    A lost hour costs truck and driver once, whatever the driver
    does in it: on the way, waiting or hands-on; what drivers do beside it is paid too.
    """
    beside = evidence.per_year("days", "driver_outside_downtime_min_per_day") / 60.0
    on_duty = _hours_on_duty(scenario, layout)
    hours, called, busy = sum(on_duty.values()), 0.0, 0.0
    for area, site in scenario.areas_of(layout).items():
        hands_on = evidence.attended_hours_per_year(area)
        limited = isinstance(site.layouts[layout].attendants, dict)
        busy, called = (busy + hands_on, called) if limited else (busy, called + hands_on)
    teams = [f"{of:,.0f} h " + (f"of area '{area}'" if area else "shared") for area, of in on_duty.items()]
    each = f": {' and '.join(teams)}" if any(on_duty) else ""
    basis = f"{hours:,.0f} h a year{_share(busy, hours, 'hands-on')}{each}"
    yield _cost(scenario, "attendants on duty", "attendant", hours, basis)
    yield _cost(scenario, "attendants hands-on", "attendant", called, f"{called:,.0f} h a year")
    lost, shifts = _lost_hours(evidence), evidence.per_year("truck_shifts")
    on_the_way = evidence.per_year("truck_shifts", "travel_min_per_truck_shift") / 60.0
    each = f"{60.0 * lost / shifts if shifts else 0.0:.1f} min in each of {shifts:,.0f} truck-shifts"
    yield _cost(scenario, "trucks standing", "truck", lost, f"{lost:,.0f} h a year: {each}")
    basis = f"the same {lost:,.0f} h a year{_share(on_the_way, lost, 'on the way')}"
    yield _cost(scenario, "their drivers", "driver", lost, basis)
    basis = f"{beside:,.0f} h a year: after shifts, connecting, maintenance"
    yield _cost(scenario, "drivers outside downtime", "driver", beside, basis)


def _share(part: float, whole: float, what: str) -> str:
    """Which share of hours goes to something, to stand behind them; empty where that is not known."""
    return f", {100.0 * part / whole:.0f} % of them {what}" if whole and math.isfinite(part) else ""


def _hours_on_duty(scenario: Scenario, layout: str) -> dict[str, float]:
    """Attendant hours of a year that are paid: of those whom areas share, and of each area's own by its name. [h]

    Nobody is on duty where attendants come only when they are needed.
    """
    stated = scenario.layouts[layout]
    teams = {"": stated.attendants, **{area: own.attendants for area, own in stated.areas.items()}}
    hours = {area: _yearly_hours(scenario.week, team) for area, team in teams.items() if isinstance(team, dict)}
    return {area: in_a_year for area, in_a_year in hours.items() if in_a_year}


def _yearly_hours(week: Week, attendants: dict[str, OnDuty]) -> float:
    """Hours of a year for which attendants are on duty. [h]"""
    shifts = {name: week.shifts[name] for name in attendants}
    yearly = {name: shift.minutes * len(shift.days) / 60.0 * shift.weeks_a_year for name, shift in shifts.items()}
    return sum(int(number) * yearly[name] for name, number in attendants.items())


def _energy(scenario: Scenario, evidence: Evidence) -> YearlyCostLine:
    """Energy from the wall by the hour of the week."""
    kwh, tariff = evidence.week_kwh, scenario.prices.energy
    whole = WEEKS_PER_YEAR * float(np.sum(kwh))
    if tariff is None:
        cost_of_all = price_of(scenario, "energy", None).times(whole)
        return YearlyCostLine("energy", cost_of_all, f"{whole:,.0f} kWh a year", input="energy")
    cost = WEEKS_PER_YEAR * float(np.sum(kwh * _by_quarter(tariff, kwh.size)))
    basis = f"{whole:,.0f} kWh a year at {cost / whole:.4f} on average over the bands" if whole else "none"
    return YearlyCostLine("energy", Price(cost, cost, cost, placeholder=False), basis, input="energy")


@lru_cache(maxsize=8)
def _by_quarter(tariff: Tariff, quarters: int) -> Floats:
    """Prices of the quarter hours of the week. [currency/kWh]"""
    prices = [
        next((band.price for band in tariff.bands if band.holds(minute)), tariff.otherwise)
        for minute in QUARTER_MIN * (np.arange(quarters) + 0.5)
    ]
    return np.array([price.amount for price in prices])


def payback(
    layout: YearlyCost, present: YearlyCost, against: str, horizon_years: float, interest_share: Price
) -> Payback:
    """Compare a layout with what is there today, whose equipment need not be bought.

    Parameters
    ----------
    layout, present
        What both cost, at the same prices.
    against
        Name of the layout that is there today.
    horizon_years
        Years over which the net present value is taken. [years]
    interest_share
        Interest of a year. [-]
    """
    price, saved = layout.lasting, _more(present.running, layout.running)
    mark = price.placeholder or saved.placeholder
    # The best case pays least, saves most and asks for least interest.
    cases = ((price.value, saved.value), (price.low, saved.high), (price.high, saved.low))
    shares = zip(cases, interest_share[:3], strict=True)
    simple, discounted = (
        [payback_years(*case) for case in cases],
        [payback_years(*case, share) for case, share in shares],
    )
    years = max(1, round(horizon_years))
    worth, most, least = (
        [net_present_value([-paid, *[gain] * years], share) for share in interest_share[:3]] for paid, gain in cases
    )
    counted = mark or interest_share.placeholder
    return Payback(
        against=against,
        price=price,
        saved_per_year=saved,
        years=Price(simple[0], simple[1], simple[2], mark),
        discounted_years=Price(discounted[0], discounted[1], discounted[2], counted),
        net_present_value=Price(worth[0], min(least), max(most), counted),
        horizon_years=horizon_years,
    )
