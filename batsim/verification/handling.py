"""Handling arithmetic: schedules without chance worked by hand, counts and hours as the trade reckons them."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from batsim.catalogue import FIGURES
from batsim.formulas.rules_of_thumb import batteries_per_truck
from batsim.room.simulation import simulate
from batsim.scenario.parts.week import DAY_MIN, WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.study.running.replications import run
from batsim.verification.queueing import room

Numbers = dict[str, float]


def counts(run_h: float, exchange_h: float, charge_h: float, cool_h: float) -> Numbers:
    """Batteries for each truck, and for twenty of them."""
    found = batteries_per_truck(run_h, exchange_h, charge_h, cool_h)
    return {"batteries per truck": found, "batteries for 20": math.ceil(20 * found - 1e-9)}


def burst(file: str, changes: Mapping[str, Any], layout: str = "one") -> Numbers:
    """Waits of trucks that come together, from the record of a day."""
    scenario = room(file, changes)
    exchanges = simulate(scenario, layout).columns("exchanges")
    joined, waits = exchanges["joined_min"], exchanges["start_min"] - exchanges["joined_min"]
    down_min = float(np.sum(exchanges["truck_free_min"] - joined))
    return {
        "mean wait, min": float(np.mean(waits)),
        "longest wait, min": float(np.max(waits)),
        "over after, min": float(np.max(exchanges["truck_free_min"]) - np.min(joined)),
        "trucks that wait": float(np.mean(waits > 0.0)),
        "truck hours lost, h": down_min / 60.0,
        "truck minutes lost, min": down_min,
    }


def schedule(
    file: str, layout: str = "one", hours: float = 0.0, warm_up_h: float = 0.0, changes: Mapping[str, Any] | None = None
) -> Numbers:
    """Measures of a run without chance; as long as its scenario says where nothing is given."""
    weeks = hours * 60.0 / WEEK_MIN or None
    settings = Settings(layouts=layout, replications=1, weeks=weeks, warm_up_weeks=warm_up_h * 60.0 / WEEK_MIN)
    values = {name: float(each[0]) for name, each in run(room(file, changes), settings).values[layout].items()}
    return {
        "availability": values["availability_share"],
        "mean wait, min": values["wait_min_per_exchange"],
        "exchanges a day": values["exchanges_per_day"],
        "stations busy": values["station_busy_share"],
        "unfinished exchanges": values["unfinished_exchanges"],
        "labour, min a day": values["labour_min_per_day"],
        "exchanging, min a day": values["labour_exchange_min_per_day"],
        "watering, min a day": values["labour_watering_min_per_day"],
    }


def changes_in_a_year(exchange_min: float, days: float) -> Numbers:
    """Hours that 20 trucks lose with an exchange every 12 h, from ten days without chance."""
    scenario = room(
        "stations",
        {
            "trucks[0].count": 20, "trucks[0].run_time": f"{DAY_MIN / 2.0 - exchange_min:g} min",
            "trucks[0].first_run": "6 h", "layouts.one.stations": 20,
            "layouts.one.exchange_time": f"{exchange_min:g} min", "simulation.length": "10 days",
            "simulation.warm_up": "0 h",
        },
    )  # fmt: skip
    values = run(scenario, Settings(layouts="one", replications=1, workers=1)).values["one"]
    hours = float(values["exchanges_per_day"][0] * values["down_min_per_exchange"][0]) * days / 60.0
    return {"hours, h": hours, "cost at 31.7 an hour": 31.7 * hours, "cost of a truck": 31.7 * hours / 20.0}


def watering(vehicles: float, times: float) -> Numbers:
    """Hours of watering 24 cells in a year by hand and by one point, by the usual times of the catalogue."""
    charges = vehicles * times
    by_hand_h = charges * 24 * FIGURES["watering.by_hand_per_cell"].value / 60.0
    one_point_h = charges * FIGURES["watering.single_point"].value / 60.0
    return {"by hand, h": by_hand_h, "by one point, h": one_point_h}


FUNCTIONS = {function.__name__: function for function in (counts, burst, schedule, changes_in_a_year, watering)}
"""What the table names."""
