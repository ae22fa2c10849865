"""What changes when one arrangement takes the place of another: the parts of the two, one list against the other."""

from collections.abc import Iterable
from typing import NamedTuple

from batsim.plan.equipment_line import EquipmentLine

CONVERTED = ("handling", "truck")
"""Sections of the equipment list that an arrangement asks for."""


class PartChange(NamedTuple):
    """A part of which there are more, fewer, or others."""

    item: str
    before: float
    after: float
    size_before: str
    """Dimensions and rating that it had to have; empty where there was none."""
    size: str
    """Those that it has to have afterwards; empty where there is none then."""

    @property
    def other_size(self) -> bool:
        """Whether those that stay need other dimensions."""
        return min(self.before, self.after) > 0.0 and self.size_before != self.size


def conversion(before: Iterable[EquipmentLine], after: Iterable[EquipmentLine]) -> tuple[PartChange, ...]:
    """Parts that change from one equipment list to another; those with the same number and size are left out."""
    old, new = _parts(before), _parts(after)
    none = (0.0, "")
    changes = (
        PartChange(item, number, then, size_before, size)
        for item in dict.fromkeys((*new, *old))
        for (number, size_before), (then, size) in ((old.get(item, none), new.get(item, none)),)
    )
    return tuple(change for change in changes if change.before != change.after or change.other_size)


def _parts(lines: Iterable[EquipmentLine]) -> dict[str, tuple[float, str]]:
    """Number and size of each part on a list; those on several lines together."""
    parts: dict[str, tuple[float, str]] = {}
    for line in lines:
        if line.section in CONVERTED:
            number, size = parts.get(line.item, (0.0, line.size))
            parts[line.item] = (number + line.number, size if line.size in size else f"{size}; {line.size}")
    return parts
