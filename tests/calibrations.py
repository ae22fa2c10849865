"""Calibrations of small sites to logs that are made from runs of them, each once."""

from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import batsim
from batsim.study.event_log import event_log_csv
from tests.sites import SURVEYED

LAYOUT, MONDAY = "hoist", date(2024, 3, 4)
TRUTH = {"trucks[0].duty.mean_power": "2.3 kW"}
"""What the site that was logged has otherwise than it is stated."""
Edit = Callable[[list[str]], list[str]]


def log_of(scenario: batsim.Scenario, weeks: float) -> list[str]:
    """Lines of the log of a run."""
    record = batsim.simulate(scenario, LAYOUT, 0, batsim.Settings(weeks=weeks, warm_up_weeks=0.0, seed=5))
    return event_log_csv(batsim.event_log(record, MONDAY)).splitlines()


def calibrated(
    scenario: batsim.Scenario, lines: list[str], replications: int = 4, kinds: str = "exchanges charges trucks steps"
) -> batsim.Calibration:
    """A site calibrated to the lines of a log, read as some kinds."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "log <b> & more.csv"
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        settings = batsim.Settings(replications=replications, warm_up_weeks=0.0, workers=1)
        return batsim.calibrate(scenario, layout=LAYOUT, settings=settings, **dict.fromkeys(kinds.split(), file))


@cache
def with_a_gap() -> batsim.Calibration:
    """Three weeks of trucks that work harder than is stated, of which the charges of a few days are missing."""
    return calibrated(SURVEYED, log_of(batsim.changed(SURVEYED, TRUTH), 3))
