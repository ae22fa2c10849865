"""Every measure by name: unit, label for people, and what exactly it counts, as `measures.csv` says."""

import csv
from pathlib import Path
from typing import NamedTuple


class Measure(NamedTuple):
    """A measure of one replication."""

    name: str
    unit: str
    label: str
    better: str
    """Whether `more` or `less` of it is better."""
    meaning: str


with Path(__file__).with_name("measures.csv").open(newline="", encoding="utf-8") as _lines:
    _MEASURES = [Measure(**row) for row in csv.DictReader(_lines)]

MEASURES = {measure.name: measure for measure in _MEASURES[:-1]}
"""All measures that are always taken, in the order in which they are shown."""
WITHIN_TARGET = _MEASURES[-1]
"""Measured only when the scenario states a target for waits."""
MORE_IS_BETTER = {measure.name for measure in _MEASURES if measure.better == "more"}
"""Measures of which more is better; of all others less."""
PARTS = (
    "travel", "fetch", "help", "wait_station", "wait_battery", "wait_bay", "wait_attendant", "wait_device", "exchange",
    "charge_in_truck", "watering",
)  # fmt: skip
PART_LABELS = {part: MEASURES[f"{part}_min_per_truck_shift"].label for part in PARTS}
"""Causes of downtime in words; they add up to it."""
