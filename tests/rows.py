"""Rows of a record written by hand, by the names of their columns."""

from math import nan

from batsim.record.facts import RunFacts
from batsim.record.record import Record
from batsim.record.tables import TABLES, Row, part_columns


def write_row(record: Record, table: str, fill: float, **values: float) -> None:
    """Write a row; columns that are not given hold a number of the caller's choice."""
    names = [column.name for column in TABLES[table]]
    assert set(values) <= set(names)
    row = {}
    for name, hint in next(each for each in Row.__subclasses__() if each.table == table).__annotations__.items():
        part = tuple(values.get(column.name, fill) for column in part_columns(hint))
        row[name] = part or values.get(name, fill)
    getattr(record.write, table)(**row)


def made(facts: RunFacts, **tables: list[dict[str, float]]) -> Record:
    """Write a record: rows as dictionaries, nan in place of numbers that are not named."""
    record = Record(facts)
    for table, rows in tables.items():
        for row in rows:
            write_row(record, table, nan, **row)
    return record
