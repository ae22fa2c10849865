"""Reading one area out of the record of a site, numbered as if there were no other."""

from collections.abc import Iterable
from typing import Any

from batsim.record.facts import AreaFacts, RunFacts
from batsim.record.record import Record
from batsim.record.tables import TABLES
from tests.behaviour.ledger import group_of_truck, rows_of

Row = dict[str, Any]
BATTERIES = ("battery", "discharged", "charged")


def area_named(facts: RunFacts, name: str) -> AreaFacts:
    """The area of that name."""
    return next(area for area in facts.areas if area.name == name)


def things_of(facts: RunFacts, area: AreaFacts) -> list[int]:
    """Numbers of what may be out of use in an area: its stations, then devices, then chargers."""
    devices = [len(facts.areas) + number for number in area.devices]
    return [facts.areas.index(area), *devices, *(facts.first_charger + number for number in area.chargers)]


def numbers_in(record: Record, area: AreaFacts) -> dict[str, dict[int, int]]:
    """By column: the number within the area of what has a number within the site."""
    facts = record.facts
    by_group = {group: number for number, group in enumerate(sorted(area.groups, key=facts.groups.__getitem__))}
    numbers = {
        "group": by_group,
        "truck": _in_turn([n for g in by_group for n, group in enumerate(group_of_truck(record)) if group == g]),
        "queue": _in_turn(sorted(area.queues, key=lambda queue: facts.battery_types[queue].battery_type)),
        "charger": _in_turn(area.chargers),
        "device": _in_turn(area.devices),
        "thing": _in_turn(things_of(facts, area)),
        "area": {facts.areas.index(area): 0},
    }
    queues = numbers["queue"]
    batteries = _in_turn([n for q in queues for n, queue in enumerate(facts.type_numbers) if queue == q])
    return numbers | {name: {**batteries, -1: -1} for name in BATTERIES}


def _in_turn(numbers: Iterable[int]) -> dict[int, int]:
    """Number from 0 on what has these numbers."""
    return {number: position for position, number in enumerate(numbers)}


def tables_of(record: Record, name: str) -> dict[str, list[Row]]:
    """Every table of an area, row by row in the order in which they were written; numbers are those in the area."""
    numbers = numbers_in(record, area_named(record.facts, name))
    return {table: [_numbered(row, numbers) for row in _rows_in(record, table, numbers)] for table in TABLES}


def _rows_in(record: Record, table: str, numbers: dict[str, dict[int, int]]) -> list[Row]:
    """Rows of a table that are about an area; groups and trucks and batteries tell it."""
    key = next(column.name for column in TABLES[table] if column.name in numbers)
    return [row for row in rows_of(record, table) if row[key] in numbers[key]]


def _numbered(row: Row, numbers: dict[str, dict[int, int]]) -> Row:
    """A row with the numbers in the area; text, so that what never came equals itself."""
    return {
        name: repr(numbers[name][value] if name in numbers and value == value else value) for name, value in row.items()
    }
