"""What keeps the rows of a log that make sense, and remembers why the others are left out."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from batsim.calibration.log import LeftOut
from batsim.measures.windows import Flags


class Sieve:
    """Rows of a log on their way to being used.

    Parameters
    ----------
    file
        Name of the file.
    lines
        Line of each row.
    cells
        Cells of the columns that are read, by name.
    """

    def __init__(self, file: str, lines: Sequence[int], cells: dict[str, list[str]]) -> None:
        self.file, self.lines, self.cells = file, np.array(lines, dtype=int), cells
        self.kept: Flags = np.ones(len(lines), dtype=bool)
        self._left_out: list[LeftOut] = []

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """All that is left out, line by line."""
        return tuple(sorted(self._left_out, key=lambda each: each.line))

    def leave_out(self, those: Flags, reason: str, column: str, rule: str | Callable[[int], str]) -> None:
        """Leave rows out.

        Parameters
        ----------
        those
            Flags of the rows.
        reason
            In a few words, the same for all of a kind.
        column
            Name of the column that it is about.
        rule
            What is wrong, or what says so by the number of a row.
        """
        cells = self.cells.get(column)
        for row in np.flatnonzero(those).tolist():
            text = rule if isinstance(rule, str) else rule(row)
            got = "" if cells is None else repr(cells[row])
            self._left_out.append(
                LeftOut(self.file, int(self.lines[row]), reason, column, text, got if got != "''" else "")
            )
        self.kept &= ~those

    def only_kept(self, those: Iterable[bool]) -> Flags:
        """Flags of rows that are still kept."""
        return np.asarray(those, dtype=bool) & self.kept
