"""Every measure by name: unit, label for people, and what exactly it counts."""

from typing import NamedTuple

from batsim.record import PERSONS, TASKS


class Measure(NamedTuple):
    """A measure of one replication."""

    name: str
    unit: str
    label: str
    meaning: str


PARTS = (
    "travel",
    "wait_station",
    "wait_battery",
    "wait_place",
    "wait_crew",
    "wait_device",
    "exchange",
    "charge_in_truck",
    "watering",
)
"""Causes of downtime; they add up to it."""

_PART_MEANING = {
    "travel": "on the way to the room and back",
    "wait_station": "in a line whose first truck lacks a station (in the truck: a charging spot)",
    "wait_battery": "in a line whose first truck lacks a ready battery",
    "wait_place": "in a line whose first truck lacks an empty place for the spent battery",
    "wait_crew": "in a line whose first truck lacks attendants",
    "wait_device": "in a line whose first truck lacks a device",
    "exchange": "at the station until the truck may leave",
    "charge_in_truck": "plugged in during scheduled time",
    "watering": "watered in the truck during scheduled time",
}

_FIXED = (
    Measure(
        "downtime_min_per_truck_shift",
        "min",
        "downtime per truck-shift",
        "scheduled minutes, breaks excluded, that a truck loses to its battery in one shift",
    ),
    *(
        Measure(f"{part}_min_per_truck_shift", "min", part.replace("_", " "), f"downtime {meaning}")
        for part, meaning in _PART_MEANING.items()
    ),
    Measure(
        "availability_share",
        "1",
        "availability",
        "share of scheduled truck time in which the truck is not down for its battery",
    ),
    Measure(
        "exchanges_per_day",
        "1/day",
        "exchanges per working day",
        "exchanges finished in a working day; in the truck: charges that fell into scheduled time",
    ),
    Measure(
        "wait_min_per_exchange",
        "min",
        "wait per exchange",
        "mean scheduled time from joining the line to the start, of exchanges started",
    ),
    Measure(
        "wait_min_p95",
        "min",
        "wait, 95th percentile",
        "scheduled time from joining the line to the start that 95 % of exchanges do not exceed",
    ),
    Measure("waited_share", "1", "exchanges that waited", "share of exchanges started that did not start at once"),
    Measure(
        "down_min_per_exchange",
        "min",
        "truck away per exchange",
        "scheduled time from leaving work to being back at work, of exchanges finished",
    ),
    Measure(
        "trucks_waiting_mean", "trucks", "trucks waiting", "mean number of trucks in line, over the site's working time"
    ),
    Measure(
        "found_none_ready_share",
        "1",
        "trucks that found none ready",
        "share of asking trucks that find no ready battery of their type when they join the line",
    ),
    Measure(
        "none_ready_time_share",
        "1",
        "time with none ready",
        "share of all time in which some battery type has no ready battery",
    ),
    Measure(
        "station_busy_share",
        "1",
        "stations busy",
        "share of the site's working time in which a station holds a truck under exchange",
    ),
    Measure("charger_busy_share", "1", "chargers busy", "share of all time in which a charger gives current"),
    Measure("crew_busy_share", "1", "crew busy", "share of attendants' time on duty in which a job keeps them"),
    Measure(
        "labour_min_per_day",
        "min/day",
        "labour per working day",
        "people-minutes of hands-on work in a working day, a driver's waiting left out",
    ),
    *(
        Measure(f"labour_{person}_min_per_day", "min/day", f"labour of {person}s", f"its part done by {person}s")
        for person in PERSONS
    ),
    *(
        Measure(f"labour_{task}_min_per_day", "min/day", f"labour for {task}", f"its part for task '{task}'")
        for task in TASKS
    ),
    *(
        Measure(
            f"labour_{person}_{task}_min_per_day",
            "min/day",
            f"{task} by {person}s",
            f"its part for task '{task}' done by {person}s",
        )
        for person in PERSONS
        for task in TASKS
    ),
    Measure(
        "driver_waiting_min_per_day",
        "min/day",
        "drivers waiting per working day",
        "scheduled minutes in which drivers stand by while their truck waits, is exchanged or is charged",
    ),
    Measure("batteries", "batteries", "batteries", "batteries in all, those in trucks included"),
    Measure("batteries_per_truck", "1", "batteries per truck", "batteries over trucks"),
    Measure("chargers", "chargers", "chargers", "chargers in all"),
    Measure("stations", "stations", "stations", "exchange stations; in the truck: charging spots"),
    Measure("ready_batteries_mean", "batteries", "ready batteries", "mean number of ready batteries, over all time"),
    Measure(
        "ready_batteries_min",
        "batteries",
        "fewest ready batteries",
        "smallest number of ready batteries of any one type at any time",
    ),
    Measure("energy_kwh_per_day", "kWh/day", "energy per working day", "energy from the wall in a working day"),
    Measure("peak_kw", "kW", "peak load", "greatest mean load of chargers in a quarter of an hour, at the wall"),
    Measure(
        "unfinished_exchanges", "1", "unfinished exchanges", "exchanges asked for but not finished when the run ends"
    ),
    Measure(
        "stranded_trucks",
        "1",
        "trucks below cut-out",
        "times a truck came below its battery's cut-out before it reached the room, in the measured time",
    ),
)

MEASURES: dict[str, Measure] = {measure.name: measure for measure in _FIXED}
"""All measures, in the order in which they are shown."""

WITHIN_TARGET = Measure(
    "wait_within_target_share", "1", "waits within target", "share of exchanges started that met the target for waits"
)
"""Measured only when the scenario states a target for waits."""
