"""Numbers in the cells of a log, with their units."""

import re
from collections.abc import Sequence

import numpy as np

from batsim import units
from batsim.calibration.columns import PLAIN_SHARE, Column, Found, known_units
from batsim.errors import Problem
from batsim.measures.windows import Flags, Floats
from batsim.scenario.parts.faults import shown
from batsim.scenario.text.observed import NUMBER, OTHER, SIGNS, doubtful_signs

AMOUNT = re.compile(rf"({NUMBER.pattern}) ?([^\d\s].*)?")
LARGEST = units.LARGEST_NUMBER


class Amounts:
    """Cells of a column of amounts.

    Parameters
    ----------
    file, line
        Name of the file and line of its header, for messages.
    found
        The column.
    cells, lines
        Its cells, and their lines.
    decimal
        `point` or `comma` where that is stated.
    """

    def __init__(
        self, file: str, line: int, found: Found, cells: Sequence[str], lines: Sequence[int], decimal: str | None
    ) -> None:
        self.found, self.decimal = found, decimal
        self._factors = _factors(found.column)
        self._any = next(iter(self._factors))
        """A unit to go on with where none is known."""
        self.problems: list[Problem] = []
        """What is wrong with the column as a whole."""
        self.values: Floats = np.full(len(cells), np.nan)
        """In minutes, Ah or kWh, shares from 0 to 1; not a number where nothing stands."""
        self.wrong: Flags = np.zeros(len(cells), dtype=bool)
        """Cells that are no amounts."""
        numbers, bare = {}, False
        for row, cell in enumerate(cells):
            part = AMOUNT.fullmatch(cell)
            if part is None:
                self.wrong[row] = bool(cell)
                continue
            unit = part[2] or found.unit
            bare |= unit is None
            numbers[lines[row]] = part[1]
            self._take(row, part[1], unit)
        self._check_unit(file, line, bare)
        faults = doubtful_signs(numbers) if decimal is None else []
        self.problems += [Problem(file, int(f.path[0]), 1, found.column.name, f.rule, f.got) for f in faults]

    def _take(self, row: int, number: str, unit: str | None) -> None:
        """Take one amount in; a unit or a decimal sign that cannot be makes it wrong."""
        factor = self._factors.get(unit or self._any)
        if factor is None or (self.decimal is not None and SIGNS[OTHER[self.decimal]] in number):
            self.wrong[row] = True
            return
        value = float(number.replace(",", ".")) * factor
        self.wrong[row] = not abs(value) <= LARGEST
        self.values[row] = np.nan if self.wrong[row] else value

    def _check_unit(self, file: str, line: int, bare: bool) -> None:
        """Want a unit where cells have none."""
        if bare:
            header, unit = self.found.header, self._any
            rule = f"column {shown(header)} has no unit; call it '{header} [{unit}]', or state its unit"
            self.problems.append(Problem(file, line, 1, self.found.column.name, rule))


def _factors(column: Column) -> dict[str, float]:
    """Size of each unit that a column may have."""
    sizes = units.DIMENSIONS[str(column.dimension)].units
    return {unit: 1.0 if unit == PLAIN_SHARE else float(sizes[unit]) for unit in known_units(column)}
