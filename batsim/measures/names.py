"""Every measure by name: unit, label for people, and what exactly it counts."""

from typing import NamedTuple

from batsim.record import PERSONS, TASKS


class Measure(NamedTuple):
    """A measure of one replication."""

    name: str
    unit: str
    label: str
    meaning: str


PART_LABELS = {
    "travel": "way to the room and back",
    "wait_station": "waits for a station",
    "wait_battery": "waits for a battery",
    "wait_bay": "waits for a bay",
    "wait_attendant": "waits for an attendant",
    "wait_device": "waits for a device",
    "exchange": "exchange",
    "charge_in_truck": "charge in the truck",
    "watering": "watering in the truck",
}
"""Causes of downtime in words; they add up to it."""

_PART_MEANING = {
    "travel": "on the way to the room and back",
    "wait_station": "in a queue whose first truck lacks a station (in the truck: a charging spot)",
    "wait_battery": "in a queue whose first truck lacks a ready battery",
    "wait_bay": "in a queue whose first truck lacks an empty bay for the discharged battery",
    "wait_attendant": "in a queue whose first truck lacks attendants",
    "wait_device": "in a queue whose first truck lacks a device",
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
        Measure(f"{part}_min_per_truck_shift", "min", PART_LABELS[part], f"downtime {meaning}")
        for part, meaning in _PART_MEANING.items()
    ),
    Measure(
        "worst_week_downtime_min_per_truck_shift",
        "min",
        "downtime in the worst week",
        "downtime per truck-shift in that measured week that has most of it",
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
        "mean scheduled time from joining the queue to the start, of exchanges started",
    ),
    Measure(
        "wait_min_p95",
        "min",
        "wait, 95th percentile",
        "scheduled time from joining the queue to the start that 95 % of exchanges do not exceed",
    ),
    Measure("waited_share", "1", "exchanges that waited", "share of exchanges started that did not start at once"),
    Measure(
        "down_min_per_exchange",
        "min",
        "truck away per exchange",
        "scheduled time from leaving work to being back at work, of exchanges finished",
    ),
    Measure(
        "trucks_waiting_mean",
        "trucks",
        "trucks waiting",
        "mean number of trucks waiting, over the site's working time",
    ),
    Measure(
        "found_none_ready_share",
        "1",
        "trucks that found none ready",
        "share of asking trucks that find no ready battery of their type when they join the queue",
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
    Measure(
        "device_busy_share",
        "1",
        "devices busy",
        "share of the site's working time in which an exchange holds a device, all kinds together",
    ),
    Measure("charger_busy_share", "1", "chargers busy", "share of all time in which a charger gives current"),
    Measure(
        "attendants_busy_share", "1", "attendants busy", "share of attendants' time on duty in which a job keeps them"
    ),
    Measure(
        "attendants_on_duty_min_per_day",
        "min/day",
        "attendants on duty",
        "attendants' minutes on duty in a working day, breaks left out",
    ),
    Measure(
        "attendants_idle_min_per_day",
        "min/day",
        "attendants idle",
        "attendants' minutes on duty less those kept by jobs, in a working day",
    ),
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
    Measure(
        "energy_kwh_per_day",
        "kWh/day",
        "energy per working day",
        "energy from the wall in a working day, chargers' standby included",
    ),
    Measure("standby_kwh_per_day", "kWh/day", "standby per working day", "its part taken by chargers without current"),
    Measure(
        "energy_charged_kwh_per_day",
        "kWh/day",
        "energy charged per working day",
        "energy into batteries, at their poles",
    ),
    Measure(
        "energy_drawn_kwh_per_day", "kWh/day", "energy drawn per working day", "energy that trucks take from batteries"
    ),
    Measure("peak_kw", "kW", "peak load", "greatest mean load of chargers in a quarter of an hour, at the wall"),
    Measure(
        "peak_kva",
        "kVA",
        "peak apparent power",
        "greatest mean apparent power in a quarter of an hour, chargers added up as if all were in phase",
    ),
    Measure("use_degc_mean", "degC", "batteries in use", "mean electrolyte temperature over the time in use"),
    Measure(
        "charged_degc_mean", "degC", "batteries after charge", "mean electrolyte temperature at the end of a charge"
    ),
    Measure("charged_degc_max", "degC", "warmest battery", "highest electrolyte temperature at the end of a charge"),
    Measure(
        "hot_starts_share",
        "1",
        "hot starts",
        "share of discharges that begin with a battery warmer than one that should be used",
    ),
    Measure(
        "delayed_share",
        "1",
        "charges delayed by temperature",
        "share of charges that waited because the battery was too warm or cold",
    ),
    Measure(
        "delayed_min_per_charge",
        "min",
        "delay by temperature per charge",
        "mean time that charges waited for their temperature",
    ),
    Measure(
        "outside_temperature_share",
        "1",
        "charges outside temperature",
        "share of charges that began with a battery colder or warmer than it should be charged",
    ),
    Measure(
        "hydrogen_m3_per_day",
        "m3/day",
        "hydrogen per working day",
        "hydrogen that leaves the batteries, at 25 degC and one atmosphere",
    ),
    Measure("water_lost_kg_per_day", "kg/day", "water lost per working day", "water that gassing takes from batteries"),
    Measure("water_added_kg_per_day", "kg/day", "water added per working day", "water put in at waterings"),
    Measure(
        "waterings_per_battery_per_week", "1/week", "waterings per battery", "waterings of a battery in a calendar week"
    ),
    Measure(
        "equalising_per_battery_per_week",
        "1/week",
        "equalising charges per battery",
        "equalising charges of a battery in a calendar week",
    ),
    Measure(
        "low_water_share",
        "1",
        "waterings on low water",
        "share of waterings that came after the water above the plates was used up",
    ),
    Measure(
        "cycles_per_battery_per_year",
        "1/year",
        "cycles per battery",
        "cycles of 80 % depth that draw the same ampere-hours, of the mean battery in a year at this pace",
    ),
    Measure(
        "use_of_most_used_battery",
        "1",
        "use of the most used battery",
        "ampere-hours drawn from the most used battery over those of the mean battery",
    ),
    Measure(
        "deep_discharges_share", "1", "deep discharges", "share of discharges that end below the battery's cut-out"
    ),
    Measure("full_charges_share", "1", "full charges", "share of charges that end full"),
    Measure(
        "life_years",
        "years",
        "cycle life at this duty",
        "years from new to 80 % of the capacity at this pace, of the mean battery; ageing with time alone is left out",
    ),
    Measure(
        "life_years_of_most_worn", "years", "cycle life of the most worn battery", "the same for the battery worn most"
    ),
    Measure(
        "life_years_by_throughput",
        "years",
        "cycle life by throughput",
        "years until a battery has given the ampere-hours of its cycle test, whatever the depth and temperature",
    ),
    Measure(
        "unfinished_exchanges", "1", "unfinished exchanges", "exchanges asked for but not finished when the run ends"
    ),
    Measure(
        "trucks_below_cut_out",
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

MORE_IS_BETTER = frozenset(
    {
        "availability_share",
        WITHIN_TARGET.name,
        "life_years",
        "life_years_of_most_worn",
        "life_years_by_throughput",
        "ready_batteries_mean",
        "ready_batteries_min",
        "full_charges_share",
    }
)
"""Measures of which more is better; of all others less."""
