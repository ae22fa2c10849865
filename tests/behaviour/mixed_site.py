"""A mixed site by its numbers, for the room and for its twin: two areas, shifts, breaks, scarce people and chargers.

Cells are ideal ones, so that a discharge and a charge can be written down on half a page: they have 2 V and no
resistance, and no temperature changes them. Peukert's law, the three stages of a charge, gas and water are there.
"""

from itertools import permutations
from typing import NamedTuple

import numpy as np
import yaml

import batsim

DAY_MIN, WEEK_MIN = 1440.0, 10_080.0
WORKDAYS, NIGHTS = (0, 1, 2, 3, 4), (6, 0, 1, 2, 3)
AT_BREAK = ("finish", "finish_then_full_break", "pause")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
CELLS, CELL_V = 24, 2.0
CUT_OUT_SHARE, LEVEL_SHARE, PEUKERT = 0.1, 0.25, 1.2
MAIN_PER_AH, END_PER_AH, CHARGE_FACTOR, EFFICIENCY, STANDBY_KW = 0.18, 0.05, 1.15, 0.86, 0.015
WAY_M_PER_MIN = 100.0
DRIVE_IN_MIN = 0.5


def ticked(minutes: float) -> float:
    """A duration as the room's clock has it: a whole number of ticks of 2^-20 min. [min]"""
    return round(minutes * 2.0**20) / 2.0**20


class Law(NamedTuple):
    """A duration between two limits, all alike; fixed where they are one. [min]"""

    low_min: float
    high_min: float

    def stated(self) -> str | dict[str, str]:
        """As a scenario states it."""
        if self.low_min == self.high_min:
            return f"{self.low_min!r} min"
        return {"low": f"{self.low_min!r} min", "high": f"{self.high_min!r} min"}

    def fixed(self) -> "Law":
        """Its mean, always."""
        mean_min = ticked((self.low_min + self.high_min) / 2.0)
        return Law(mean_min, mean_min)


class Shift(NamedTuple):
    """A shift of eight hours on some weekdays, and its break. [min after midnight, min after its beginning, min]"""

    from_min: float
    break_after_min: float
    break_min: float
    days: tuple[int, ...] = WORKDAYS
    length_min: float = 480.0


class Group(NamedTuple):
    """A truck group: where it belongs, its trucks, and its work. [kW, m]"""

    area: str
    battery: str
    trucks: int
    priority: int
    shifts: tuple[str, ...]
    power_kw: float
    spread: float
    """Of the power from shift to shift: standard deviation over mean. [-]"""
    way_m: float

    @property
    def way_min(self) -> float:
        """How long the way to the room takes. [min]"""
        return ticked(self.way_m / WAY_M_PER_MIN)


class Kind(NamedTuple):
    """A battery type."""

    capacity_ah: float
    cool_down: Law
    watering_every: int
    """Charges."""
    watering: Law


class Area(NamedTuple):
    """What an area has; batteries and chargers by battery type."""

    bound: bool
    """Whether a battery keeps its charger until it has left its bay."""
    stations: int
    people: int
    """Attendants of an exchange."""
    batteries: dict[str, int]
    chargers: dict[str, int]
    exchange: Law
    put_away: Law
    """From when the truck may leave."""
    connecting: Law
    attendants: dict[str, int]
    """By shift; those work in this area alone."""


class Site(NamedTuple):
    """The whole site."""

    shifts: dict[str, Shift]
    attendants: dict[str, int]
    """By shift; those are shared by all areas."""
    groups: dict[str, Group]
    kinds: dict[str, Kind]
    areas: dict[str, Area]
    priorities: tuple[str, ...]
    at_break: str
    season: tuple[int, int, float]
    """First and last calendar week, and the power in them over that of others."""

    @property
    def queues(self) -> list[tuple[str, str]]:
        """Area and battery type of each queue, in order."""
        return [(name, kind) for name, area in self.areas.items() for kind in area.batteries]

    def factor(self, week: int) -> float:
        """Power in a calendar week, counted from 0, over the stated one. [-]"""
        first, last, factor = self.season
        return factor if first <= week % 52 + 1 <= last else 1.0

    def fixed(self) -> "Site":
        """The same with nothing left to chance but how it starts."""
        areas = {
            name: area._replace(
                exchange=area.exchange.fixed(), put_away=area.put_away.fixed(), connecting=area.connecting.fixed()
            )
            for name, area in self.areas.items()
        }
        kinds = {
            name: kind._replace(cool_down=kind.cool_down.fixed(), watering=kind.watering.fixed())
            for name, kind in self.kinds.items()
        }
        groups = {name: group._replace(spread=0.0) for name, group in self.groups.items()}
        return self._replace(areas=areas, kinds=kinds, groups=groups)


def scenario_of(site: Site) -> batsim.Scenario:
    """The site as a scenario."""
    first, last, factor = site.season
    stated = {
        "site": {"name": "Mixed site (invented)"},
        "week": {"shifts": {name: _shift(shift) for name, shift in site.shifts.items()}},
        "trucks": [_group(name, group) for name, group in site.groups.items()],
        "batteries": {name: _battery(kind) for name, kind in site.kinds.items()},
        "chargers": {f"rack {name}": _charger(name) for name in site.kinds},
        "charging": {"too_warm_or_cold": "start"},
        "rules": {"priorities": list(site.priorities), "at_break": site.at_break},
        "demand": {"weeks": {f"{first}-{last}": f"{100.0 * factor!r} %"}},
        "figures": IDEAL_CELLS,
        "handling": {name: _handling(name, area) for name, area in site.areas.items()},
        "layouts": {
            "room": {
                "attendants": site.attendants,
                "areas": {name: _area(site, name, area) for name, area in site.areas.items()},
            }
        },
    }
    return batsim.read_scenario_text(yaml.safe_dump(stated, sort_keys=False, width=200))


IDEAL_CELLS = {
    "battery.vented_lead_acid.empty_v": f"{CELL_V} V",
    "battery.vented_lead_acid.slope_v": "1e-9 V",
    "battery.vented_lead_acid.resistance": "1e-9 Ohm Ah",
    "battery.vented_lead_acid.acceptance_per_k": "0 1/K",
    "battery.vented_lead_acid.voltage_per_k": "-1e-12 V/K",
    "battery.vented_lead_acid.capacity_lost": "1e-9 %",
}


def _shift(shift: Shift) -> dict[str, object]:
    break_at = _clock(shift.from_min + shift.break_after_min)
    return {
        "days": [DAYS[day] for day in shift.days],
        "from": _clock(shift.from_min),
        "length": f"{shift.length_min} min",
        "breaks": [f"{break_at} for {shift.break_min} min"],
    }


def _clock(minutes: float) -> str:
    """A time of day."""
    return f"{int(minutes) // 60 % 24:02d}:{int(minutes) % 60:02d}"


def _group(name: str, group: Group) -> dict[str, object]:
    return {
        "group": name,
        "count": group.trucks,
        "shifts": list(group.shifts),
        "battery": group.battery,
        "priority": group.priority,
        "exchange_at": f"{100.0 * LEVEL_SHARE} %",
        "duty": {
            "mean_power": f"{group.power_kw} kW",
            "between_trucks": "0 %",
            "between_shifts": f"{100.0 * group.spread} %",
        },
        "to_room": {"distance": f"{group.way_m} m", "speed": f"{WAY_M_PER_MIN * 60.0 / 1000.0} km/h"},
        "temperature": "30 degC",
    }


def _battery(kind: Kind) -> dict[str, object]:
    return {
        "chemistry": "vented_lead_acid",
        "cells": CELLS,
        "capacity": f"{kind.capacity_ah} Ah at 5 h",
        "discharge_to": f"{100.0 * CUT_OUT_SHARE} %",
        "peukert": PEUKERT,
        "cool_down": kind.cool_down.stated(),
        "watering": {"every": f"{kind.watering_every} charges", "time": kind.watering.stated()},
        "equalising": "none",
        "charge_below": "80 degC",
    }


def _charger(kind: str) -> dict[str, object]:
    return {
        "profile": "IUIa",
        "chemistry": ["vented_lead_acid"],
        "batteries": [kind],
        "main_current": f"{100.0 * MAIN_PER_AH} A per 100 Ah",
        "end_current": f"{100.0 * END_PER_AH} A per 100 Ah",
        "charge_factor": CHARGE_FACTOR,
        "efficiency": f"{100.0 * EFFICIENCY} %",
        "power_factor": 0.9,
        "standby": f"{1000.0 * STANDBY_KW} W",
    }


def _handling(name: str, area: Area) -> dict[str, object]:
    by = f"{area.people} attendants" if area.people > 1 else "attendant"
    return {
        "title": f"Exchange in the {name}",
        "bay": "bay",
        "charger_leads": "bound_to_bay" if area.bound else "loose",
        "connects": "attendant",
        "connect_time": area.connecting.stated(),
        "steps": [
            {"step": "drive in", "by": "driver", "time": f"{DRIVE_IN_MIN} min"},
            {"step": "exchange", "by": by, "time": area.exchange.stated()},
            {"step": "put away", "by": "attendant", "time": area.put_away.stated(), "truck": "gone"},
        ],
    }


def _area(site: Site, name: str, area: Area) -> dict[str, object]:
    return {
        "for": [group for group, each in site.groups.items() if each.area == name],
        "handling": name,
        "stations": area.stations,
        "batteries": area.batteries,
        "chargers": [f"{number} x rack {kind}" for kind, number in area.chargers.items()],
        "bays": "unlimited",
        "attendants": area.attendants,
    }


def random_site(seed: int) -> Site:
    """A site whose every number is left to chance, within limits in which people, chargers and batteries are scarce."""
    chance = np.random.default_rng(seed)

    def whole(low: int, high: int) -> int:
        return int(chance.integers(low, high + 1))

    def real(low: float, high: float) -> float:
        return round(float(chance.uniform(low, high)), 4)

    def law(low: float, high: float) -> Law:
        first = real(low, high)
        return Law(first, round(first + real(0.0, high - low), 2))

    def break_of(from_min: float, days: tuple[int, ...] = WORKDAYS) -> Shift:
        return Shift(from_min, 30.0 * whole(5, 10), 5.0 * whole(3, 9), days)

    begins = {"early": 360.0, "late": 840.0}
    shifts = {name: break_of(begin) for name, begin in begins.items()}
    shifts |= {"night": break_of(1320.0, NIGHTS)}
    shifts |= {f"room {name}": break_of(begin) for name, begin in begins.items()}
    of_group = {
        "reach": ("north", "big"),
        "tow": ("north", "big"),
        "carts": ("north", "small"),
        "heavy": ("south", "big"),
    }
    kinds = {
        "big": Kind(10.0 * whole(50, 70), law(90.0, 200.0), whole(2, 7), law(6.0, 12.0)),
        "small": Kind(10.0 * whole(25, 35), law(60.0, 150.0), whole(2, 7), law(4.0, 9.0)),
    }
    groups = {}
    for name, (area, kind) in of_group.items():
        power_kw = kinds[kind].capacity_ah * real(0.004, 0.0065)
        days = ("early", "late", "night") if name == "tow" else ("early", "late")
        trucks = whole(2, 3) if name == "tow" else whole(5, 8)
        groups[name] = Group(area, kind, trucks, whole(1, 2), days, round(power_kw, 2), 0.15, 10.0 * whole(5, 25))
    attendants = {"room early": whole(1, 3), "room late": whole(1, 3)}
    areas: dict[str, Area] = {}
    for name in ("north", "south"):
        batteries, chargers = {}, {}
        for kind in kinds:
            trucks = sum(group.trucks for group in groups.values() if (group.area, group.battery) == (name, kind))
            if trucks:
                batteries[kind] = round(trucks * real(2.0, 3.3))
                chargers[kind] = max(2, round((batteries[kind] - trucks * 0.3) * real(0.5, 0.8)))
        areas[name] = Area(
            not areas,
            whole(1, 2),
            whole(1, 2) if areas and min(attendants.values()) > 1 else 1,
            batteries,
            chargers,
            law(5.0, 12.0),
            law(1.0, 3.0),
            law(1.0, 4.0),
            {"room late": 1} if areas and chance.integers(2) else {},
        )
    orders = list(permutations(("exchange", "connect", "watering")))
    return Site(
        shifts,
        attendants,
        groups,
        kinds,
        areas,
        orders[whole(0, 5)],
        AT_BREAK[whole(0, 2)],
        (whole(3, 4), 4, 1.0 + real(0.05, 0.3)),
    )
