"""Reading a record as a bookkeeper does: rows by truck or battery, and what is held at one instant."""

import math
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import batsim
from batsim.measures.windows import Worked
from batsim.record.record import Record
from batsim.record.tables import TABLES
from batsim.scenario.parts.calendar import Begin, group_windows
from batsim.scenario.reading import build, source_of
from batsim.scenario.site import Scenario
from tests.behaviour.strategies import WEEK_MIN
from tests.runs import record_of

CASES = Path(__file__).parent / "cases"


def room(changes: dict[str, object] | None = None, case: str = "warm_room.yaml") -> Scenario:
    """A room of `cases` with several replacements, checked once when all are made."""
    stated = source_of(batsim.read(CASES / case))
    for path, value in (changes or {}).items():
        stated = stated.replaced(path, value)
    return build(stated)


def run(scenario: Scenario, weeks: float = 1.0, layout: str = "room", seed: int = 7) -> Record:
    """One replication without warm-up."""
    return record_of(scenario, layout, seed=seed, replication=0, length_min=weeks * WEEK_MIN, warm_up_min=0.0)


def rows_of(record: Record, table: str) -> list[dict[str, Any]]:
    """Rows of a table as dictionaries; numbers of trucks, batteries and the like as whole numbers."""
    names = [column.name for column in TABLES[table]]
    whole = [column.unit == "-" and not column.name.endswith(("_share", "damage")) for column in TABLES[table]]
    return [
        {
            name: int(value) if counts and not math.isnan(value) else value
            for name, counts, value in zip(names, whole, row, strict=True)
        }
        for row in record.rows(table)
    ]


def by(key: str, rows: list[dict[str, Any]]) -> dict[int, list[dict[str, Any]]]:
    """Rows by truck or battery, in the order in which they were written."""
    found = defaultdict(list)
    for row in rows:
        found[row[key]].append(row)
    return found


def most_at_once(stays: list[tuple[float, float, float]]) -> float:
    """Greatest sum of what is held at one instant; what ends at an instant is free for what starts then."""
    changes = sorted([(start, 1, held) for start, _, held in stays] + [(end, 0, -held) for _, end, held in stays])
    level = most = 0.0
    for _, _, change in changes:
        level += change
        most = max(most, level)
    return most


def started(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows whose activity has begun."""
    return [row for row in rows if not math.isnan(row["start_min"])]


def calendars(record: Record) -> list[Worked]:
    """Working minutes up to a clock time, for each truck group."""
    return [Worked(windows) for windows in record.facts.group_windows]


def group_of_truck(record: Record) -> list[int]:
    """Group of each truck."""
    return [group for group, count in enumerate(record.facts.group_trucks) for _ in range(count)]


def manned(
    scenario: Scenario, attendants: dict[str, int], record: Record
) -> Iterator[tuple[float, float, int, list[tuple[float, float]]]]:
    """Each shift of each attendants: start, end, attendants, and its working windows."""
    until_min, warm_up_min = record.facts.horizon_min + WEEK_MIN, record.facts.warm_up_min
    week = scenario.week
    for name, count in attendants.items():
        unbroken = week.shifts[name].model_copy(update={"breaks": (), "handover_min": 0.0})
        whole = week.model_copy(update={"shifts": {name: unbroken}})
        windows = group_windows(week, [name], until_min, Begin(warm_up_min))
        for begin, end in group_windows(whole, [name], until_min, Begin(warm_up_min)):
            yield begin, end, count, [window for window in windows if begin <= window[0] and window[1] <= end]
