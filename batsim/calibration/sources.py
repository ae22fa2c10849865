"""Rows of logs that laws are fitted to, with what the scenario knows about them: group, shift, arrangement."""

from collections.abc import Iterable, Mapping
from functools import cached_property

import numpy as np

from batsim.calibration.log import Log
from batsim.calibration.weeks import ShiftTimes, SplitWeeks
from batsim.display import Frame, frame_of
from batsim.measures.windows import Flags, Floats
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.site import Scenario

Words = np.ndarray[tuple[int], np.dtype[np.object_]]


class Sources:
    """Rows of the weeks that are fitted, by kind of log.

    Parameters
    ----------
    scenario
        The site, in the layout of today.
    layout
        Its name.
    logs
        By kind.
    weeks
        How the weeks are used.
    """

    def __init__(self, scenario: Scenario, layout: str, logs: Mapping[str, Log], weeks: SplitWeeks) -> None:
        self.scenario, self.layout, self.weeks = scenario, layout, weeks
        self.rows: dict[str, Frame] = {kind: self._fitted(log) for kind, log in logs.items()}

    def of(self, kind: str) -> Frame:
        """Rows of a kind; none where there is no such log."""
        return self.rows[kind] if kind in self.rows else frame_of([])

    @cached_property
    def shifts(self) -> ShiftTimes:
        """Shifts of the trucks."""
        return ShiftTimes(self.scenario, self.weeks)

    @cached_property
    def areas(self) -> dict[str, Scenario]:
        """The site area by area."""
        return self.scenario.areas_of(self.layout)

    @property
    def groups(self) -> tuple[TruckGroup, ...]:
        """Truck groups."""
        return self.scenario.trucks

    def _fitted(self, log: Log) -> Frame:
        """Rows of the weeks that are fitted; all where no time says when they were."""
        if "week" not in log.rows or not log.rows["week"].notna().any():
            return log.rows
        return log.rows[~log.rows["week"].isin(self.weeks.held_out)].reset_index(drop=True)

    def group_of(self, rows: Frame) -> Words:
        """Truck group of each row: as it says, the one of its battery type or area, or the only one; else empty."""
        found = words(rows, "group")
        for column, groups in (("battery_type", self._by_type()), ("area", self._by_area())):
            cells = words(rows, column)
            known = {cell: names[0] if len(names) == 1 else "" for cell, names in groups.items()}
            found = np.where(found == "", [known.get(cell, "") for cell in cells], found)
        if len(self.groups) == 1:
            found[:] = self.groups[0].group
        return found

    def handling_of(self, rows: Frame) -> Words:
        """Handling arrangement of each row: that of its area or group, or the only one; else empty."""
        by_group = {
            group.group: view.layouts[self.layout].handling for view in self.areas.values() for group in view.trucks
        }
        if len(set(by_group.values())) == 1:
            return np.full(len(rows), next(iter(by_group.values())), dtype=object)
        return np.array([by_group.get(group, "") for group in self.group_of(rows)], dtype=object)

    def type_of(self, rows: Frame) -> Words:
        """Battery type of each row: as it says, that of its group, or the only one; else empty."""
        of_group = {group.group: group.battery for group in self.groups}
        found = words(rows, "battery_type")
        found = np.where(found == "", [of_group.get(group, "") for group in self.group_of(rows)], found)
        if len(set(of_group.values())) == 1:
            found[:] = next(iter(of_group.values()))
        return found

    def shift_of(self, rows: Frame, group: TruckGroup) -> Words:
        """Shift of a group in which each row begins: as it says, or by its time; else empty."""
        found = words(rows, "shift")
        if "start_min" in rows:
            found = np.where(found == "", self.shifts.of(group.shifts, floats(rows, "start_min")), found)
        return found

    def demand_of(self, rows: Frame) -> Floats:
        """Factor on the work in the week of each row. [-]"""
        if "week" not in rows:
            return np.ones(len(rows))
        weeks = floats(rows, "week")
        factors = {
            week: self.scenario.demand.in_week(self.weeks.calendar_week(int(week)))
            for week in np.unique(weeks[np.isfinite(weeks)])
        }
        return np.array([factors.get(week, 1.0) for week in weeks])

    def _by_type(self) -> dict[str, list[str]]:
        return _grouped((group.battery, group.group) for group in self.groups)

    def _by_area(self) -> dict[str, list[str]]:
        return _grouped((name, group.group) for name, view in self.areas.items() if name for group in view.trucks)


def floats(rows: Frame, column: str) -> Floats:
    """Numbers of a column; not numbers where there is no such column."""
    if column not in rows:
        return np.full(len(rows), np.nan)
    return rows[column].to_numpy(dtype=np.float64)


def marks(rows: Frame, column: str) -> Flags:
    """Marks of a column; none where there is no such column."""
    return rows[column].to_numpy(dtype=bool) if column in rows else np.zeros(len(rows), dtype=bool)


def words(rows: Frame, column: str) -> Words:
    """Words of a column; empty ones where there is no such column."""
    if column not in rows:
        return np.full(len(rows), "", dtype=object)
    return rows[column].to_numpy(dtype=object).copy()


def _grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    grouped: dict[str, list[str]] = {}
    for key, value in pairs:
        grouped.setdefault(key, []).append(value)
    return grouped
