"""The record of a run: a few narrow tables, one for each activity, and the facts of its room.

Numpy appears when the run is over, pandas only when a person asks for a table.
"""

from array import array
from struct import pack
from typing import TYPE_CHECKING, Any

from batsim.display import Frame, Shows, frame_of
from batsim.record.facts import RunFacts
from batsim.record.tables import TABLES, Writers

if TYPE_CHECKING:
    import numpy as np

    from batsim.record.blocks import Block


BLOCK = 65_536
"""Numbers of a table that are packed together."""


class Record(Shows):
    """The rows of one run, and the facts of its room.

    ``write.exchanges(...)`` and the like take the numbers of one row by name.
    """

    def __init__(self, facts: RunFacts) -> None:
        self.facts = facts
        self._flat: dict[str, list[float]] = {name: [] for name in TABLES}
        self._moved = {name: array("d") for name in TABLES}
        self._packed: dict[str, list[Block]] = {name: [] for name in TABLES}
        self.write = Writers(self._flat)

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.facts.title}, replication {self.facts.replication}, seed {self.facts.seed}"

    @property
    def whole(self) -> "Record":
        """The record of the whole site; this one, unless it is a part of it."""
        return self

    def move(self) -> None:
        """Move what has been written out of the lists, soon enough that they stay in the processor's cache."""
        for name, numbers in self._flat.items():
            if numbers:
                self._moved[name].frombytes(pack(f"{len(numbers)}d", *numbers))
                numbers.clear()
                if len(self._moved[name]) >= BLOCK:
                    self._pack(name, narrow=True)

    def _pack(self, table: str, *, narrow: bool) -> None:
        """Make a block of rows of what has been moved."""
        from batsim.record.blocks import block, narrowed  # noqa: PLC0415 - the record can be made without numpy

        columns = block(self._moved[table], len(TABLES[table]))
        self._packed[table].append(narrowed(columns) if narrow else columns)
        self._moved[table] = array("d")

    def count(self, table: str) -> int:
        """Rows of a table."""
        return sum(columns[0].size for columns in self._blocks(table))

    def rows(self, table: str) -> list[tuple[float, ...]]:
        """Rows of a table as tuples, in the order in which they were written."""
        return list(zip(*(column.tolist() for column in self.columns(table).values()), strict=True))

    def _blocks(self, table: str) -> "list[Block]":
        """All blocks of rows of a table, in the order in which they were written."""
        self.move()
        if self._moved[table]:
            self._pack(table, narrow=False)  # it is about to be read
        return self._packed[table]

    def columns(self, table: str) -> "dict[str, np.ndarray[Any, np.dtype[np.float64]]]":
        """Columns of a table as arrays, in the order in which rows were written."""
        from batsim.record.blocks import joined  # noqa: PLC0415 - the record can be made without numpy

        names = [column.name for column in TABLES[table]]
        return dict(zip(names, joined(self._blocks(table), len(names)), strict=True))

    def frame(self, table: str) -> Frame:
        """Table for people: codes written as words, times in minutes from Monday 00:00.

        Rows that ran over the horizon carry ``finished`` False.
        """
        frame = frame_of(self.columns(table))
        for column in TABLES[table]:
            if column.words:
                frame[column.name] = [column.words[int(code)] for code in frame[column.name]]
        if "end_min" in frame:
            frame["finished"] = frame["end_min"] < self.facts.horizon_min
        return frame
