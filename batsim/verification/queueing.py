"""Queueing theory: small rooms simulated for long against exact steady states."""

from collections.abc import Callable, Mapping
from math import log
from typing import Any

import numpy as np

from batsim.scenario.reading import changed, read
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.running.replications import run
from batsim.study.running.runs import Runs
from batsim.verification.agreement import Replicated
from batsim.verification.check import HERE

Floats = np.ndarray[Any, np.dtype[np.float64]]
Values = Mapping[str, Floats]

REPLICATIONS = 40
"""Independent runs behind each interval."""
FIRST_SEED = 31
"""Seed of rooms under a steady demand, to which their spares are added."""

QUANTITIES: dict[str, Callable[[Values, int], Floats]] = {
    "availability, share": lambda v, _: v["availability_share"],
    "trucks down": lambda v, trucks: trucks * (1.0 - v["availability_share"]),
    "trucks waiting": lambda v, _: v["trucks_waiting_mean"],
    "trucks not waiting, share": lambda v, trucks: 1.0 - v["trucks_waiting_mean"] / trucks,
    "exchanges, 1/h": lambda v, _: v["exchanges_per_day"] / 24.0,
    "exchanges, 1/min": lambda v, _: v["exchanges_per_day"] / 1440.0,
    "down, h": lambda v, _: v["down_min_per_exchange"] / 60.0,
    "down, min": lambda v, _: v["down_min_per_exchange"],
    "wait, h": lambda v, _: v["wait_min_per_exchange"] / 60.0,
    "wait, min": lambda v, _: v["wait_min_per_exchange"],
    "trucks that wait, share": lambda v, _: v["waited_share"],
    "stations busy, share": lambda v, _: v["station_busy_share"],
    "chargers busy, share": lambda v, _: v["charger_busy_share"],
    "time with none ready, share": lambda v, _: v["none_ready_time_share"],
    "trucks that find none, share": lambda v, _: v["found_none_ready_share"],
    "trucks that find one, share": lambda v, _: 1.0 - v["found_none_ready_share"],
    "ready batteries": lambda v, _: v["ready_batteries_mean"],
}
"""Quantities of queueing theory, each from measures of all replications and the number of trucks."""


def room(file: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """Read one of the scenarios in `cases/`, with some things stated otherwise."""
    scenario = read(HERE / "cases" / f"{file}.yaml")
    for path, value in (changes or {}).items():
        whole = isinstance(value, float) and value.is_integer()
        scenario = changed(scenario, {path: int(value) if whole else value})
    return scenario


def steady(
    file: str, weeks: float, layout: str = "one", changes: Mapping[str, Any] | None = None, workers: int | None = 1
) -> dict[str, Replicated]:
    """Simulate a layout for long."""
    scenario = room(file, changes)
    runs = run(scenario, Settings(layouts=layout, replications=REPLICATIONS, weeks=weeks, workers=workers))
    values, controls = runs.values[layout], tuple(mean_times(scenario, layout, runs).values())
    trucks = scenario.trucks[0].count
    return {name: Replicated(of(values, trucks), controls) for name, of in QUANTITIES.items()}


def lost(
    file: str, weeks: float, changes: Mapping[str, Any] | None = None, workers: int | None = 1
) -> dict[str, Replicated]:
    """Simulate trucks that work on when they find no charger; what they ran then ends in no charge, so no controls."""
    settings = Settings(layouts="one", replications=REPLICATIONS, weeks=weeks, workers=workers)
    values = run(room(file, changes), settings).values["one"]
    return {"chargers busy, share": Replicated(values["charger_busy_share"])}


def mean_times(scenario: Scenario, layout: str, runs: Runs) -> dict[str, Floats]:
    """How far the realised mean run, exchange and charge times were off the stated ones, by replication.

    Each is the number finished less the time discharged over the stated mean, in proportion: zero in the mean. Constant
    times vary in nothing and are left out.
    """
    values, length_min = runs.values[layout], runs.schedule.length_min
    finished = values["exchanges_per_day"] * length_min / 1440.0
    discharged = {
        "run": (scenario.trucks[0].run_time_min, values["availability_share"] * scenario.trucks[0].count),
        "exchange": (scenario.layouts[layout].exchange_time_min, values["station_busy_share"] * values["stations"]),
        "charge": (scenario.batteries["plain"].charge_time_min, values["charger_busy_share"] * values["chargers"]),
    }
    return {
        name: (finished - busy * length_min / law.mean) / np.mean(finished)
        for name, (law, busy) in discharged.items()
        if law is not None and law.kind != "fixed" and np.all(np.isfinite(busy))
    }


def steady_demand(
    trucks: float, per_h: float, turn_round: str | Mapping[str, Any], spares: float, weeks: float, warm_up_weeks: float,
    workers: int | None = 1,
) -> dict[str, Replicated]:  # fmt: skip
    """Simulate so many trucks that those few that wait slow nothing down."""
    number, run_h = int(trucks), trucks / per_h
    scenario = room(
        "palm",
        {
            "trucks[0].count": number,
            "trucks[0].run_time.mean": f"{run_h:g} h",
            # What is left of an exponential time has the same law: the demand is steady from the start.
            "trucks[0].first_run": [f"{-run_h * log((n + 0.5) / number):.6f} h" for n in range(number)],
            "batteries.plain.charge_time": turn_round,
            "layouts.one.batteries": number + int(spares),
        },
    )
    settings = Settings(
        replications=REPLICATIONS, weeks=weeks, warm_up_weeks=warm_up_weeks, seed=FIRST_SEED + int(spares),
        workers=workers,
    )  # fmt: skip
    return {"trucks that find none, share": Replicated(run(scenario, settings).values["one"]["found_none_ready_share"])}


FUNCTIONS = {function.__name__: function for function in (steady, lost, steady_demand)}
"""What the table names."""
