"""Calibrations of a small site to logs that are made from runs of it, each once."""

from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import batsim
from batsim.study.event_log import event_log_csv
from tests.sites import SURVEYED

LAYOUT, MONDAY = "hoist", date(2024, 3, 4)
TRUTH = {"trucks[0].duty.mean_power": "2.3 kW", f"layouts.{LAYOUT}.chargers": "2 x electronic_iuia"}
"""What the site that was logged has otherwise than it is stated."""
KINDS = ("exchanges", "charges", "trucks", "steps")


def log_of(scenario: batsim.Scenario, weeks: float) -> list[str]:
    """Lines of the log of a run."""
    record = batsim.simulate(scenario, LAYOUT, 0, batsim.Settings(weeks=weeks, warm_up_weeks=0.0, seed=5))
    return event_log_csv(batsim.event_log(record, MONDAY)).splitlines()


def calibrated(
    scenario: batsim.Scenario, lines: list[str], replications: int = 4, kinds: tuple[str, ...] = KINDS
) -> batsim.Calibration:
    """A site calibrated to the lines of a log, read as some kinds."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "log <b> & more.csv"
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        settings = batsim.Settings(replications=replications, warm_up_weeks=0.0, workers=1)
        return batsim.calibrate(scenario, layout=LAYOUT, settings=settings, **dict.fromkeys(kinds, file))


@cache
def with_a_gap() -> batsim.Calibration:
    """Three weeks of a site where trucks work harder and chargers are fewer than is stated; nine rows make no sense."""
    lines = log_of(batsim.changed(SURVEYED, TRUTH), 3)
    broken = [number for number, line in enumerate(lines) if ",exchange," in line][:9]
    for number in broken:
        lines[number] = lines[number].replace(",trucks,", ",<i>nobody</i>,")
    return calibrated(SURVEYED, lines)


@cache
def of_few_days() -> batsim.Calibration:
    """Three days of the site as it is stated: no whole week, and few rows of anything."""
    return calibrated(SURVEYED, log_of(SURVEYED, 3.0 / 7.0))


@cache
def of_times_alone() -> batsim.Calibration:
    """Stopwatch times without a day: nothing to simulate beside."""
    return calibrated(SURVEYED, ["step,duration [min]", *(f"connect,{1.0 + number / 20.0}" for number in range(20))],
                      kinds=("steps",))  # fmt: skip
