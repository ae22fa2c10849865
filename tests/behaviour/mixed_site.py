"""A mixed site by its numbers, for the room and for its twin: two areas, shifts, breaks, scarce people and chargers.

Cells are ideal ones, so that a discharge and a charge can be written down on half a page: they have 2 V and no
resistance, and no temperature changes them. Peukert's law, the three stages of a charge, gas and water are there.
"""

from typing import NamedTuple

import yaml

import batsim

DAY_MIN, WEEK_MIN = 1440.0, 10_080.0
WORKDAYS, NIGHTS = (0, 1, 2, 3, 4), (6, 0, 1, 2, 3)
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
CELLS, CELL_V = 24, 2.0
CUT_OUT_SHARE, LEVEL_SHARE, PEUKERT = 0.1, 0.25, 1.2
MAIN_PER_AH, END_PER_AH, CHARGE_FACTOR, EFFICIENCY, STANDBY_KW = 0.18, 0.05, 1.15, 0.86, 0.015
WAY_M_PER_MIN = 100.0
DRIVE_IN_MIN = 0.5


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
        mean_min = (self.low_min + self.high_min) / 2.0
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


class Site(NamedTuple):
    """The whole site."""

    shifts: dict[str, Shift]
    attendants: dict[str, int]
    """By shift; those are shared by all areas."""
    groups: dict[str, Group]
    kinds: dict[str, Kind]
    areas: dict[str, Area]
    priorities: tuple[str, ...] = ("exchange", "connect", "watering")
    season: tuple[int, int, float] = (3, 3, 1.15)
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
        "rules": {"priorities": list(site.priorities)},
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
    }
