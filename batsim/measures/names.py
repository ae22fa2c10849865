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
LOST_TO = {
    "way": ("travel",),
    "waiting": tuple(part for part in PARTS if part.startswith("wait_")),
    "exchanging or charging": ("exchange", "charge_in_truck"),
    "other": ("fetch", "help", "watering"),
}
"""What trucks lose time to, in four words: each with the causes of downtime that are of its kind."""


class Rare(NamedTuple):
    """What is counted behind a measure that may rest on few events."""

    events: str
    """Measure: events of a run; a share stands for its part of the whole."""
    of: str
    """Measure: how often they could have happened in a run; empty where that has no number."""


_SHARES = {
    "found_none_ready_share": "asks",
    "waited_share": "exchanges_started",
    "wait_within_target_share": "exchanges_started",
    "hot_starts_share": "discharges_started",
    "deep_discharges_share": "discharges_ended",
    "delayed_share": "charges_started",
    "outside_temperature_share": "charges_started",
    "full_charges_share": "charges_ended",
    "low_water_share": "waterings",
}
POOLED = _SHARES | {
    "wait_min_per_exchange": "exchanges_started",
    "down_min_per_exchange": "exchanges_per_day",
    "delayed_min_per_charge": "charges_started",
    "charged_degc_mean": "charges_started",
}
"""Ratios that are pooled over replications: by what each replication weighs, a measure too."""
RARE = {
    **{share: Rare(share, of) for share, of in _SHARES.items()},
    "wait_min_per_exchange": Rare("waited_share", "exchanges_started"),
    "delayed_min_per_charge": Rare("delayed_share", "charges_started"),
    "trucks_below_cut_out": Rare("trucks_below_cut_out", "visits"),
    "none_ready_time_share": Rare("none_ready_spells", ""),
    "stopped_empty": Rare("stopped_empty", "visits"),
    "fetch_min_per_truck_shift": Rare("stopped_empty", "visits"),
    **{f"{part}_min_per_truck_shift": Rare(part.replace("wait", "waits"), "visits")
       for part in PARTS if part.startswith("wait_")},
}  # fmt: skip
"""Measures of which a count is told where their events are few."""
COUNTS = {
    "visits",
    "none_ready_spells",
    *_SHARES.values(),
    *(part.replace("wait", "waits") for part in PARTS if part.startswith("wait_")),
}
"""Measures that are there to be divided by or counted, not to be shown alone."""
