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


class Record(Shows):
    """The rows of one run, and the facts of its room.

    ``write.exchanges(...)`` and the like take the numbers of one row by name.
    """

    def __init__(self, facts: RunFacts) -> None:
        self.facts = facts
        self._flat: dict[str, list[float]] = {name: [] for name in TABLES}
        self._packed = {name: array("d") for name in TABLES}
        self.write = Writers(self._flat)

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.facts.title}, replication {self.facts.replication}, seed {self.facts.seed}"

    @property
    def whole(self) -> "Record":
        """The record of the whole site; this one, unless it is a part of it."""
        return self

    def pack(self) -> None:
        """Move what has been written into packed arrays, a quarter of the size."""
        for name, numbers in self._flat.items():
            if numbers:
                self._packed[name].frombytes(pack(f"{len(numbers)}d", *numbers))
                numbers.clear()

    def count(self, table: str) -> int:
        """Rows of a table."""
        return len(self._numbers(table)) // len(TABLES[table])

    def rows(self, table: str) -> list[tuple[float, ...]]:
        """Rows of a table as tuples, in the order in which they were written."""
        numbers, width = self._numbers(table), len(TABLES[table])
        return [tuple(numbers[start : start + width]) for start in range(0, len(numbers), width)]

    def _numbers(self, table: str) -> "array[float]":
        """All numbers of a table, row after row."""
        self.pack()
        return self._packed[table]

    def columns(self, table: str) -> "dict[str, np.ndarray[Any, np.dtype[np.float64]]]":
        """Columns of a table as arrays, in the order in which rows were written."""
        import numpy as np  # noqa: PLC0415 - the record can be made without numpy

        names = [column.name for column in TABLES[table]]
        matrix = np.array(self._numbers(table)).reshape(-1, len(names))
        return dict(zip(names, matrix.T.copy(), strict=True))

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
