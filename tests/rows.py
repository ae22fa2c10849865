"""Rows of a record written by hand, by the names of their columns."""

from batsim.record import TABLES, Record, Row, coming, standing

PARTS = {"exchanges": ("came", coming), "charges": ("standing", standing)}
"""First parts of rows: the name of the part, and what makes it."""


def write_row(record: Record, table: str, fill: float, **values: float) -> None:
    """Write a row; columns that are not given hold a number of the caller's choice."""
    names = [column.name for column in TABLES[table]]
    assert set(values) <= set(names)
    row = {name: values.get(name, fill) for name in names}
    if table in PARTS:
        part, make = PARTS[table]
        own = next(each for each in Row.__subclasses__() if each.table == table).__annotations__
        row = {part: make(**{name: row[name] for name in names if name not in own})} | {
            name: row[name] for name in own if name != part
        }
    getattr(record.write, table)(**row)
