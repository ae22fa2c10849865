"""Logs of the two large sites that are shipped: invented, of rooms that differ from their survey."""

import csv
import io
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from pathlib import Path

import batsim
from batsim.scenario.reading import changed
from batsim.study.event_log import event_log_csv
from tests.runs import record_of

SCENARIOS = Path(__file__).parents[1] / "scenarios"

LOGS = SCENARIOS / "logs"
WEEKS, WEEK_MIN, MONDAY = 4, 10080.0, date(2024, 9, 2)
ACTIVITIES = {"exchanges": "exchange", "charges": "charge", "trucks": "shift"}
COLUMNS = {
    "exchanges": {
        "truck": "truck", "group": "group", "battery": "battery in", "charged_battery": "battery out",
        "arrived": "arrived", "start": "start", "truck_free": "truck free", "end": "end", "soc_start_share": "SOC [%]",
    },
    "charges": {
        "battery": "battery", "battery_type": "battery type", "start": "start", "end": "end",
        "charge_ah": "charge [Ah]", "energy_kwh": "energy [kWh]",
    },
    "trucks": {
        "truck": "truck", "group": "group", "start": "start", "worked_h": "hours [h]", "energy_kwh": "energy [kWh]",
    },
}  # fmt: skip
DIGITS = {"soc_start_share": 1, "charge_ah": 0, "energy_kwh": 1, "worked_h": 2}
HOIST = "handling: {overhead_hoist: {from: overhead_hoist, exchange_times: {truck_waits: {%s}}}}"
TRUTHS: dict[str, tuple[str, str, dict[str, object], bool]] = {
    "kestrel-lane": (
        "hoist",
        HOIST % "mean: 12.6 min, cv: 0.18, law: gamma",
        {"trucks[0].duty.mean_power": "3.7 kW", "layouts.hoist.attendants.room night": 1},
        False,
    ),
    "saltmarsh-road": (
        "today",
        HOIST % "mean: 15.5 min, cv: 0.25",
        {"trucks[1].duty.mean_power": {"early": "3.6 kW", "late": "2.9 kW"}},
        True,
    ),
}
"""Layout that was there, what was otherwise than the survey says, and whether numbers have decimal commas."""


def invented_logs(site: str) -> Iterator[tuple[Path, str]]:
    """File and text of each log of a site."""
    layout, times, otherwise, comma = TRUTHS[site]
    text = f"extends: {SCENARIOS / site}.yaml\n{times}\nsimulation: {{start_week: 36}}\n"
    truth = changed(batsim.read_scenario_text(text), otherwise)
    record = record_of(truth, layout, seed=7, length_min=WEEKS * WEEK_MIN, warm_up_min=WEEK_MIN)
    frame = batsim.event_log(record, MONDAY)
    for kind, activity in ACTIVITIES.items():
        rows = list(csv.DictReader(io.StringIO(event_log_csv(frame[frame["activity"] == activity]))))
        yield LOGS / site / f"{kind}.csv", _text(_spoiled(rows), COLUMNS[kind], comma=comma)


def _spoiled(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Rows as people and loggers leave them: one twice, one the wrong way round, one without an end."""
    third = len(rows) // 3
    rows[third] = {**rows[third], "start": rows[third]["end"], "end": rows[third]["start"]}
    rows[2 * third] = {**rows[2 * third], "end": "", "worked_h": ""}
    return [*rows[: third // 2], rows[third // 2 - 1], *rows[third // 2 :]]


def _text(rows: list[dict[str, str]], columns: Mapping[str, str], *, comma: bool) -> str:
    """A table: with commas and ISO times, or as a country writes it that has decimal commas."""
    sign = ";" if comma else ","
    lines = [sign.join(columns.values())]
    lines += [sign.join(_cell(name, row[name], comma=comma) for name in columns) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(name: str, cell: str, *, comma: bool) -> str:
    """A cell as its logger writes it."""
    if not cell:
        return ""
    if name in DIGITS:
        value = 100.0 * float(cell) if name == "soc_start_share" else float(cell)
        number = f"{value:.{DIGITS[name]}f}"
        return number.replace(".", ",") if comma else number
    if name in ("arrived", "start", "truck_free", "end") and comma:
        return datetime.fromisoformat(cell).strftime("%d.%m.%Y %H:%M:%S")
    return cell
