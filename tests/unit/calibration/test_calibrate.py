"""Inputs of a site from its records, written as a scenario; small logs made by hand."""

import json
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

import batsim
from batsim.calibration.calibrate import Calibration
from batsim.calibration.finding import Finding
from batsim.errors import ScenarioError
from batsim.scenario.reading import read
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from tests.behaviour.hidden_room import SITE

TWO = Settings(replications=2, workers=1, warm_up_weeks=0)
DAYS = [f"2024-09-{day:02d}" for day in range(2, 7)]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Scenario:
    """A site in a file."""
    file = tmp_path_factory.mktemp("site") / "osier-bank.yaml"
    file.write_text(SITE, encoding="utf-8")
    return read(file)


def table(folder: Path, name: str, header: str, rows: Iterable[object]) -> str:
    """A log as a file."""
    file = folder / name
    file.write_text("\n".join([header, *map(str, rows)]) + "\n", encoding="utf-8")
    return str(file)


def exchanges(folder: Path, minutes: tuple[int, ...] = (9, 10, 11, 12, 13, 14)) -> str:
    """Exchanges of one week: so long in the station, three minutes more until the battery is away."""
    rows = [
        f"T{truck},reach,{day}T{6 + 2 * truck:02d}:00,{day}T{6 + 2 * truck:02d}:{lasts:02d},"
        f"{day}T{6 + 2 * truck:02d}:{lasts + 2 + truck % 3},24 %"
        for day in DAYS
        for truck, lasts in enumerate(minutes)
    ]
    return table(folder, "exchanges.csv", "truck,group,start,truck free,end,soc", rows)


def trucks(folder: Path, kw: dict[str, float], spread: float = 0.0) -> str:
    """Hours and energy of eight trucks of a group over five days, by shift."""
    random = np.random.default_rng(1)
    rows = [
        f"T{truck},reach,{shift},{day},7.5,{7.5 * mean * (1.0 + spread * random.standard_normal()):.3f}"
        for day in DAYS
        for shift, mean in kw.items()
        for truck in range(8)
    ]
    return table(folder, "trucks.csv", "truck,group,shift,date,hours [h],energy [kWh]", rows)


def by_title(found: Calibration) -> dict[str, Finding]:
    return {each.title: each for each in found.findings}


def test_times_of_an_exchange(site: Scenario, tmp_path: Path) -> None:
    """Until the truck is free and from then on, as laws of the arrangement; the mean by hand is 11.5 and 3 min."""
    found = batsim.calibrate(site, exchanges=exchanges(tmp_path), settings=TWO)
    station, away = (
        by_title(found)[f"exchange, {part}, overhead_hoist"] for part in ("truck in the station", "battery put away")
    )
    steps = found.calibrated.handling["overhead_hoist"].steps

    assert (station.mean.mean, station.stated, station.rows) == (pytest.approx(11.5, abs=0.02), 12.0, 30)
    assert away.mean.mean == pytest.approx(3.0, abs=0.02)
    assert sum(step.law.mean for step in steps if step.truck == "waits") == pytest.approx(11.5, abs=0.05)
    assert sum(step.law.mean for step in steps if step.truck == "gone") == pytest.approx(3.0, abs=0.05)


def test_an_exchange_under_way_when_the_log_ends(site: Scenario, tmp_path: Path) -> None:
    """Counts as cut off, at 16:18: one truck has been in the station for 12 min, one battery on its way for 6 min."""
    log = Path(exchanges(tmp_path))
    under_way = "T7,reach,2024-09-06T16:06,,,24 %\nT8,reach,2024-09-06T16:02,2024-09-06T16:12,,24 %\n"
    log.write_text(f"{log.read_text(encoding='utf-8')}{under_way}", encoding="utf-8")
    titles = by_title(batsim.calibrate(site, exchanges=str(log), settings=TWO))
    station = titles["exchange, truck in the station, overhead_hoist"].fitted
    away = titles["exchange, battery put away, overhead_hoist"].fitted

    assert station is not None
    assert away is not None
    assert station.values[station.censored].tolist() == pytest.approx([12.0])
    assert away.values[away.censored].tolist() == pytest.approx([6.0])
    assert (station.seen, away.seen) == (31, 30)


def test_drivers_who_stay_to_the_end(site: Scenario, tmp_path: Path) -> None:
    """One time for the whole exchange."""
    rows = [f"T{n},reach,{day}T{10 + n}:00,{day}T{10 + n}:{10 + n}" for day in DAYS for n in range(6)]
    found = batsim.calibrate(site, exchanges=table(tmp_path, "x.csv", "truck,group,start,end", rows), settings=TWO)
    whole = by_title(found)["exchange from begin to end, overhead_hoist"]

    assert (whole.mean.mean, whole.stated) == (pytest.approx(12.5, abs=0.05), 15.0)
    assert whole.path == ("handling", "overhead_hoist", "exchange_times", "whole")
    assert sum(step.law.mean for step in found.calibrated.handling["overhead_hoist"].steps) == pytest.approx(
        12.5, abs=0.1
    )


def test_steps_by_their_names(site: Scenario, tmp_path: Path) -> None:
    """All steps of a part were timed: they stand in place of the whole; few rows become a range."""
    waits = [step.step for step in site.handling["overhead_hoist"].steps if step.truck == "waits"]
    rows = [f"{step},{60 + 6 * n + 10 * k}" for k, step in enumerate(waits) for n in range(8)]
    found = batsim.calibrate(site, steps=table(tmp_path, "steps.csv", "step,time [s]", rows), settings=TWO)
    first = by_title(found)[f"exchange, {waits[0]}, overhead_hoist"]

    assert (first.mean.mean, first.rows, first.few) == (pytest.approx(81.0 / 60.0, abs=0.01), 8, True)
    assert first.path == ("handling", "overhead_hoist", "step_times", waits[0])
    assert "between" in json.dumps(first.data())
    assert found.beside is None
    assert "no whole week" in found.verdict


def test_power_by_shift(site: Scenario, tmp_path: Path) -> None:
    """Where shifts differ clearly each has its own power; the other group keeps what is stated."""
    found = batsim.calibrate(site, trucks=trucks(tmp_path, {"early": 3.0, "late": 2.4}, 0.05), settings=TWO)
    duty = found.calibrated.trucks[0].duty

    assert duty is not None
    assert duty.mean_kw == {"early": pytest.approx(3.0, rel=0.03), "late": pytest.approx(2.4, rel=0.03)}
    assert found.calibrated.trucks[1] == site.trucks[1]


def test_one_power_where_shifts_do_not_differ(site: Scenario, tmp_path: Path) -> None:
    """Its spreads are those of the rows: none from truck to truck, a tenth from shift to shift."""
    found = batsim.calibrate(site, trucks=trucks(tmp_path, {"early": 2.5, "late": 2.5}, 0.1), settings=TWO)
    duty, spread = found.calibrated.trucks[0].duty, by_title(found)["spread of power from shift to shift, reach"]

    assert duty is not None
    assert duty.mean_kw == pytest.approx(2.5, rel=0.03)
    assert duty.between_shifts_share == pytest.approx(0.1, abs=0.02)
    assert duty.between_trucks_share < 0.04
    assert spread.mean.low < 0.1 < spread.mean.high
    assert by_title(found)["power, reach"].as_stated is False


def test_the_level_at_which_trucks_leave(site: Scenario, tmp_path: Path) -> None:
    """What is left on arrival, and what the way takes: 24 % and a tenth of a per cent of 120 m."""
    level = by_title(batsim.calibrate(site, exchanges=exchanges(tmp_path), settings=TWO))[
        "level at which trucks leave, reach"
    ]

    assert 0.2405 < level.mean.mean < 0.2425
    assert level.path == ("trucks", 0, "exchange_at")


def test_what_is_written_reads_as_what_was_run(site: Scenario, tmp_path: Path) -> None:
    """The same scenario, with its origin at the end of each line, and how the model stands beside the records."""
    found = batsim.calibrate(
        site, exchanges=exchanges(tmp_path), trucks=trucks(tmp_path, {"early": 3.0}, 0.1), settings=TWO
    )
    file = tmp_path / "calibrated.yaml"
    text = found.text(file)
    file.write_text(text, encoding="utf-8")
    again = read(file)

    assert again.handling == found.calibrated.handling
    assert again.trucks == found.calibrated.trucks
    assert again.calibration is not None
    assert (again.calibration.layout, again.calibration.judged, again.calibration.independent) == (
        "today", "week 36 of 2024", False,
    )  # fmt: skip
    assert again.calibration_of_today is again.calibration
    assert "# from 30 exchanges, week 36 of 2024" in text
    assert text.splitlines()[0].startswith("# Osier Bank (invented), with what its records say")


def test_what_lies_nearly_at_the_stated_value_is_not_written(site: Scenario, tmp_path: Path) -> None:
    """Clocks of loggers show no more."""
    rows = [f"way to the room,reach,{53.9 + n % 2 / 5}" for n in range(40)]
    found = batsim.calibrate(site, steps=table(tmp_path, "w.csv", "step,group,time [s]", rows), settings=TWO)
    way = by_title(found)["way to the room, reach"]

    assert (way.as_stated, way.stated, way.is_written) == (True, pytest.approx(0.9), False)
    assert found.calibrated.trucks == site.trucks


@pytest.mark.parametrize(
    ("asked", "rule"),
    [
        ({}, "needs a log: exchanges, charges, trucks, steps, one or more"),
        ({"exchanges": "x.csv", "layout": "tomorow"}, "layout: no layout of this name; one of: today (got 'tomorow')"),
        ({"exchanges": "x.csv", "hold_out": 1.0}, "hold-out: must be at least 0 % and below 100 % (got 100 %)"),
        ({"exchanges": "none.csv"}, "no such file"),
    ],
    ids=["no log", "layout", "hold-out", "file"],
)
def test_what_cannot_be_asked(site: Scenario, asked: dict[str, object], rule: str) -> None:
    with pytest.raises(ScenarioError) as error:
        batsim.calibrate(site, **asked)  # type: ignore[arg-type]

    assert rule in str(error.value)


def test_everything_wrong_is_told_at_once(site: Scenario, tmp_path: Path) -> None:
    """Of both logs, and of what is stated of columns that none of them has."""
    bad = table(tmp_path, "bad.csv", "lorry,begin", ["1,x"])
    with pytest.raises(ScenarioError) as error:
        batsim.calibrate(site, exchanges=bad, charges=bad, mapping={"": {"strat": "begin"}, "steps": {"step": "x"}})

    said = str(error.value)
    assert "strat: no log has such a column; did you mean 'start'?" in said
    assert "steps: is stated of a log that is not given; name its file" in said
    assert "exchanges need" in said
    assert "charges need" in said


def test_a_scenario_of_no_file_cannot_be_extended(site: Scenario, tmp_path: Path) -> None:
    found = batsim.calibrate(batsim.read_scenario_text(SITE), exchanges=exchanges(tmp_path), settings=TWO)

    with pytest.raises(ScenarioError, match="stands in no file that another one could extend"):
        found.text(tmp_path / "x.yaml")


def test_plain_data(site: Scenario, tmp_path: Path) -> None:
    """For JSON and for tables."""
    found = batsim.calibrate(site, exchanges=exchanges(tmp_path), settings=TWO)

    data = json.loads(json.dumps(found.as_json(), allow_nan=False))
    assert (data["layout"], data["logs"]["exchanges"]["rows"], data["independent"]) == ("today", 30, False)
    assert found.frame["path"][0] == "handling.overhead_hoist.exchange_times.truck_waits"
    assert found.records == "30 exchanges"
