"""A room whose inputs nobody states right, its records, and what spoils them."""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

from batsim.display import Frame
from batsim.record.words import BEING_CONNECTED
from batsim.scenario.reading import changed, read_scenario_text
from batsim.scenario.site import Scenario
from batsim.study.event_log import DONE_TO_BATTERIES, WAY, event_log, event_log_csv
from tests.runs import record_of

WEEKS, WEEK_MIN, MONDAY = 6, 10080.0, date(2024, 9, 2)
SITE = """
site: {name: Osier Bank (invented)}
week:
  shifts:
    early: {days: Mon-Fri, from: "06:00", to: "14:00", breaks: ["09:00 for 30 min"]}
    late: {days: Mon-Fri, from: "14:00", to: "22:00", breaks: ["18:00 for 30 min"]}
trucks:
  - {group: reach, count: 8, shifts: [early, late], battery: lead 48 V 620 Ah,
     duty: {mean_power: 2.8 kW, between_trucks: 10 %, between_shifts: 20 %},
     to_room: {distance: 120 m, speed: 8 km/h}, exchange_at: 25 %}
  - {group: yard, count: 6, shifts: [early, late], battery: lead 48 V 750 Ah,
     duty: {mean_power: 3.4 kW, between_trucks: 10 %, between_shifts: 20 %},
     to_room: {distance: 160 m, speed: 8 km/h}, exchange_at: 25 %}
batteries:
  lead 48 V 620 Ah: {from: vented_lead_acid, cells: 24, capacity: 620 Ah at 5 h, cool_down: 6 h, watering: none}
  lead 48 V 750 Ah: {from: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h, cool_down: 6 h, watering: none}
handling:
  overhead_hoist:
    from: overhead_hoist
    exchange_times: {truck_waits: {mean: 12 min, cv: 0.2, law: gamma}, truck_gone: {mean: 3 min, cv: 0.3, law: gamma}}
    connect_time: {mean: 1.5 min, cv: 0.4}
layouts:
  today:
    {handling: overhead_hoist, batteries: {lead 48 V 620 Ah: 20, lead 48 V 750 Ah: 16},
     chargers: [12 x electronic_iuia, 2 x line_frequency_w], attendants: {early: 1, late: 1}}
present: today
simulation: {length: 4 weeks, warm_up: 1 week, replications: 12}
"""
STATED = read_scenario_text(SITE, "osier-bank.yaml")
"""What the survey says."""


@dataclass
class Hidden:
    """A room as it is."""

    truth: Scenario
    means: dict[tuple[str, str], float]
    """True mean of each input by its title in a calibration, in canonical units."""


def hidden(seed: int) -> Hidden:
    """A room whose powers, times and levels are not what the survey says."""
    random = Random(seed)
    reach, yard = random.uniform(2.2, 3.2), random.uniform(2.6, 3.8)
    waits, gone, connect = random.uniform(8.0, 13.0), random.uniform(2.0, 4.0), random.uniform(1.0, 3.0)
    trucks, shifts, level = random.uniform(0.05, 0.2), random.uniform(0.1, 0.3), random.uniform(0.22, 0.35)
    law = random.choice(["gamma", "lognormal"])
    at = "handling.overhead_hoist"
    duty = {"between_trucks": f"{100 * trucks} %", "between_shifts": f"{100 * shifts} %"}
    truth = changed(
        STATED,
        {
            "trucks[0].duty": {"mean_power": f"{reach} kW", **duty},
            "trucks[1].duty": {"mean_power": f"{yard} kW", **duty},
            "trucks[0].exchange_at": f"{100 * level} %",
            f"{at}.exchange_times": {
                "truck_waits": {"mean": f"{waits} min", "cv": 0.25, "law": law},
                "truck_gone": {"mean": f"{gone} min", "cv": 0.3, "law": "gamma"},
            },
            f"{at}.connect_time": {"mean": f"{connect} min", "cv": 0.4},
        },
    )
    means = {
        ("exchange, truck in the station", "overhead_hoist"): waits,
        ("exchange, battery put away", "overhead_hoist"): gone,
        ("connecting a battery", "overhead_hoist"): connect,
        ("power", "reach"): reach,
        ("power", "yard"): yard,
        ("level at which trucks leave", "reach"): level,
        ("level at which trucks leave", "yard"): 0.25,
        ("way to the room", "reach"): 0.9,
        ("way to the room", "yard"): 1.2,
        **{("spread of power from truck to truck", group): trucks for group in ("reach", "yard")},
        **{("spread of power from shift to shift", group): shifts for group in ("reach", "yard")},
    }
    return Hidden(truth, means)


def records_of(truth: Scenario, seed: int) -> Frame:
    """What loggers would have written of six weeks of a room."""
    record = record_of(truth, "today", seed=seed, length_min=WEEKS * WEEK_MIN, warm_up_min=WEEK_MIN)
    return event_log(record, MONDAY)


Cells = dict[str, str]
KEPT = {
    "exchanges": (
        "truck", "group", "battery", "charged_battery", "arrived", "start", "truck_free", "end", "soc_start_share",
    ),
    "charges": ("battery", "battery_type", "start", "end", "charge_ah", "energy_kwh"),
    "trucks": ("truck", "group", "start", "end", "worked_h", "energy_kwh"),
    "steps": ("activity", "truck", "group", "battery", "battery_type", "start", "end"),
}  # fmt: skip
ACTIVITIES = {
    "exchanges": ("exchange",), "charges": ("charge",), "trucks": ("shift",),
    "steps": (WAY, DONE_TO_BATTERIES[BEING_CONNECTED]),
}  # fmt: skip
HEADERS = {
    "exchanges": {
        "soc_start_share": "state of charge [%]",
        "truck_free": "truck free",
        "charged_battery": "battery out",
    },
    "charges": {"charge_ah": "charged [Ah]", "energy_kwh": "work [kWh]"},
    "trucks": {"worked_h": "hours worked [min]", "energy_kwh": "energy [kWh]", "start": "begin"},
    "steps": {"activity": "step"},
}
FORM = "%d.%m.%Y %H:%M:%S"
"""How all of them write times."""


@dataclass
class Spoiled:
    """Records as files, with the lines that make no sense."""

    files: dict[str, Path]
    lines: dict[str, set[int]] = field(default_factory=dict)
    """Lines that must be listed, by kind."""


def spoiled(frame: Frame, folder: Path, seed: int) -> Spoiled:
    """Write four logs with the faults that loggers and people make, and remember on which lines."""
    found, random = Spoiled({}), Random(seed)
    for kind, columns in KEPT.items():
        text = event_log_csv(frame[frame["activity"].isin(ACTIVITIES[kind])])
        rows = [{name: row[name] for name in columns} for row in csv.DictReader(io.StringIO(text))]
        rows = _with_noise(rows, random) if kind == "exchanges" else rows
        faults = [_Fault(rows, number, random) for number in sorted(random.sample(range(20, len(rows) - 20), 9))]
        wrong = {id(row) for fault, spoil in zip(faults, SPOIL[kind] * 3, strict=False) for row in spoil(fault)}
        found.lines[kind] = {number for number, row in enumerate(rows, start=2) if id(row) in wrong}
        found.files[kind] = _written(rows, kind, folder / f"{kind}.csv")
    return found


class _Fault:
    """A row that goes wrong."""

    def __init__(self, rows: list[Cells], number: int, random: Random) -> None:
        self.rows, self.row, self.random = rows, rows[number], random

    def double(self) -> list[Cells]:
        """The row stands twice; the second is left out."""
        copy = dict(self.row)
        self.rows.insert(self.rows.index(self.row) + 1, copy)
        return [copy]

    def backwards(self) -> list[Cells]:
        """It ends before it began."""
        self.row["start"], self.row["end"] = self.row["end"], self.row["start"]
        return [self.row]

    def no_end(self) -> list[Cells]:
        """Its end is missing, and its truck or battery goes on later."""
        self.row["end"] = ""
        return [self.row]

    def swapped(self) -> list[Cells]:
        """Day and month are exchanged, where that is a day at all."""
        times = {name: datetime.fromisoformat(self.row[name]) for name in ("arrived", "start", "truck_free", "end")}
        if any(time.day > 12 or time.day == time.month for time in times.values()):
            return self.double()
        for name, time in times.items():
            self.row[name] = time.replace(day=time.month, month=time.day).isoformat()
        return [self.row]

    def unknown(self) -> list[Cells]:
        """A group that the site has not."""
        self.row["group"] = "forklifts"
        return [self.row]

    def too_much(self) -> list[Cells]:
        """Ten times the ampere-hours."""
        self.row["charge_ah"] = f"{10 * float(self.row['charge_ah'])}"
        return [self.row]

    def no_number(self) -> list[Cells]:
        """Somebody wrote a question mark."""
        self.row["energy_kwh"] = "?"
        return [self.row]


Spoil = Callable[[_Fault], list[Cells]]
SPOIL: dict[str, tuple[Spoil, ...]] = {
    "exchanges": (_Fault.double, _Fault.backwards, _Fault.swapped, _Fault.unknown, _Fault.no_end),
    "charges": (_Fault.double, _Fault.too_much, _Fault.backwards, _Fault.no_number, _Fault.no_end),
    "trucks": (_Fault.double, _Fault.unknown, _Fault.no_number),
    "steps": (_Fault.double, _Fault.backwards, _Fault.no_end),
}


def _with_noise(rows: list[Cells], random: Random) -> list[Cells]:
    """Clocks that are some seconds off from row to row."""
    for row in rows:
        off = timedelta(seconds=random.randint(-5, 5))
        for name in ("arrived", "start", "truck_free", "end"):
            if row[name]:
                row[name] = (datetime.fromisoformat(row[name]) + off).isoformat()
    return rows


def _written(rows: list[Cells], kind: str, file: Path) -> Path:
    """A log in units, signs and forms of its own."""
    comma = kind in ("exchanges", "trucks")
    lines = [";".join(HEADERS[kind].get(name, name) for name in KEPT[kind])]
    for row in rows:
        cells = [_cell(name, row[name]) for name in KEPT[kind]]
        lines.append(";".join(cell.replace(".", ",") if comma and _is_number(cell) else cell for cell in cells))
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def _cell(name: str, cell: str) -> str:
    """A cell in the units and the form of its log."""
    if name == "soc_start_share" and cell:
        return f"{100.0 * float(cell):.2f}"
    if name == "worked_h" and cell:
        return f"{60.0 * float(cell):.1f}"
    if cell and name in ("arrived", "start", "truck_free", "end"):
        return datetime.fromisoformat(cell).strftime(FORM)
    return cell


def _is_number(cell: str) -> bool:
    return cell.replace(".", "").isdigit() and "." in cell and len(cell.split(".")) == 2
