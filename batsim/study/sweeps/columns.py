"""What a store keeps of each case: every measure of the site; where a layout states areas, what tells parts apart."""

from math import nan
from typing import NamedTuple

import numpy as np

from batsim.measures import MEASURES, WITHIN_TARGET
from batsim.record.record import Record
from batsim.scenario.site import Scenario
from batsim.study.running.jobs import measure_names, measures_of, results_of

OF_PARTS = (
    "downtime_min_per_truck_shift",
    "wait_min_per_exchange",
    "wait_min_p95",
    WITHIN_TARGET.name,
    "exchanges_per_day",
    "batteries",
    "batteries_per_truck",
    "ready_batteries_min",
    "energy_drawn_kwh_per_day",
    "energy_charged_kwh_per_day",
    "life_years",
)
"""Measures of an area, a truck group or a battery type that are kept; not a number where it has no such measure."""


class PartColumn(NamedTuple):
    """A measure of a part of the site."""

    kind: str
    """A field of `Results`."""
    word: str
    """What people call it."""
    part: str
    """Its name."""
    measure: str

    @property
    def name(self) -> str:
        """Name of the column, such as `downtime_min_per_truck_shift of area yard`."""
        return f"{self.measure} of {self.word} {self.part}"


def part_columns(scenario: Scenario) -> list[PartColumn]:
    """Columns on parts of the site, those of any layout; none where no layout states areas."""
    areas = dict.fromkeys(name for layout in scenario.layouts.values() for name in layout.areas)
    parts = [("areas", "area", name) for name in areas]
    parts += [("groups", "group", group.group) for group in scenario.trucks]
    parts += [("battery_types", "battery", name) for name in scenario.batteries]
    return [PartColumn(*part, measure) for part in parts for measure in OF_PARTS] if areas else []


def names_of(scenario: Scenario) -> tuple[str, ...]:
    """Names of all columns, in their order; those of parts come last."""
    columns = part_columns(scenario)
    if not columns:
        return measure_names(scenario)
    return (*MEASURES, WITHIN_TARGET.name, *(column.name for column in columns))


def measured(record: Record, scenario: Scenario) -> bytes:
    """Values of all columns as the bytes that a store keeps: 8-byte floats, the least byte first."""
    columns = part_columns(scenario)
    if not columns:
        return np.fromiter(measures_of(record, scenario).values(), "<f8").tobytes()
    results = results_of(record, scenario)
    values = [results.site.get(name, nan) for name in (*MEASURES, WITHIN_TARGET.name)]
    values += [getattr(results, kind).get(part, {}).get(measure, nan) for kind, _, part, measure in columns]
    return np.array(values, "<f8").tobytes()


def meaning_of(name: str) -> tuple[str, str]:
    """Unit and meaning of a column, by its name."""
    measure, _, part = name.partition(" of ")
    found = MEASURES.get(measure, WITHIN_TARGET)
    return found.unit, f"{part}: {found.meaning}" if part else found.meaning
