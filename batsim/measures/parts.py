"""The same measures of a part of the site: one truck group, or one battery type."""

from dataclasses import replace
from functools import cached_property

import numpy as np

from batsim.measures.downtime import downtime_measures
from batsim.measures.electrical_load import energy_charged, energy_drawn
from batsim.measures.exchanges import exchange_measures
from batsim.measures.gas import gas_measures
from batsim.measures.names import MEASURES, WITHIN_TARGET
from batsim.measures.stock import stock_measures
from batsim.measures.warmth import warmth_measures
from batsim.measures.wear import wear_measures
from batsim.measures.windows import Flags, Floats, Measured, Whole, stays
from batsim.measures.work import work_hours
from batsim.record.record import Record


class OfGroup(Measured):
    """The rows of one truck group, as if it were alone; batteries and queues are those of all."""

    def __init__(self, record: Record, number: int) -> None:
        super().__init__(record)
        self.number, facts = number, record.facts
        self.facts = replace(
            facts,
            groups=(facts.groups[number],),
            group_trucks=(facts.group_trucks[number],),
            group_windows=(facts.group_windows[number],),
            group_shift_min=(facts.group_shift_min[number],),
            site_windows=facts.group_windows[number],
        )

    def columns(self, table: str) -> dict[str, Floats]:
        """Columns of a table, of the group's own rows where rows have a group."""
        if table not in self._columns:
            columns = self.record.columns(table)
            if "group" in columns:
                mine = columns["group"] == self.number
                columns = {name: column[mine] for name, column in columns.items()}
                columns["group"] = np.zeros_like(columns["group"])
            self._columns[table] = columns
        return self._columns[table]

    @cached_property
    def working_days(self) -> float:
        """Working days of the site: what a group does in a day is part of what the site does."""
        return Measured(self.record).working_days


class OfType(Measured):
    """The rows of batteries of one type, as if there were no other; trucks are all those of the site."""

    def __init__(self, record: Record, name: str) -> None:
        super().__init__(record)
        facts = record.facts
        self.queues = [number for number, kind in enumerate(facts.battery_types) if kind.battery_type == name]
        numbers = np.flatnonzero(np.isin(facts.type_numbers, self.queues))
        self.batteries: Whole = numbers
        self._new_queue = np.zeros(len(facts.battery_types))
        self._new_queue[self.queues] = np.arange(len(self.queues))
        self._new_battery = np.zeros(facts.batteries)
        self._new_battery[numbers] = np.arange(numbers.size)
        self.facts = replace(facts, battery_types=tuple(facts.battery_types[number] for number in self.queues))

    @cached_property
    def stays(self) -> tuple[Whole, Whole, Floats, Floats]:
        """Stays of its batteries in their states."""
        battery, state, since, until = stays(self.record)
        mine: Flags = np.isin(battery, self.batteries)
        numbers: Whole = self._new_battery[battery[mine]].astype(np.intp)
        return numbers, state[mine], since[mine], until[mine]

    def columns(self, table: str) -> dict[str, Floats]:
        """Columns of a table, of the type's own rows where rows have a battery or a queue; both numbered anew."""
        if table not in self._columns:
            columns = self.record.columns(table)
            for name, own, anew in (
                ("queue", self.queues, self._new_queue),
                ("battery", self.batteries, self._new_battery),
            ):
                if name in columns:
                    mine = np.isin(columns[name], own)
                    columns = {each: column[mine] for each, column in columns.items()}
                    columns[name] = anew[columns[name].astype(int)]
            self._columns[table] = columns
        return self._columns[table]


def group_measures(record: Record, number: int, wait_target_min: float | None = None) -> dict[str, float]:
    """Measures of one truck group: those that are its own.

    Parameters
    ----------
    record
        What the run left behind.
    number
        Of the group, in the order of the scenario.
    wait_target_min
        Wait that counts as within target; None when there is no target. [min]

    Returns
    -------
    dict
        Value by name. What a day holds adds up over groups to what the site has.
    """
    measured = OfGroup(record, number)
    found = downtime_measures(measured)
    del found["driver_waiting_min_per_day"]  # what drivers do by hand is not told apart by groups
    return _in_order(
        {
            **found,
            **work_hours(measured),
            **exchange_measures(measured, wait_target_min),
            **energy_drawn(measured),
        }
    )


def type_measures(record: Record, name: str) -> dict[str, float]:
    """Measures of one battery type: its stock, its energy, how warm it gets and how long it lasts.

    Parameters
    ----------
    record
        What the run left behind.
    name
        Of the type.

    Returns
    -------
    dict
        Value by name. What a day holds adds up over types to what the site has.
    """
    measured = OfType(record, name)
    trucks = sum(kind.trucks for kind in measured.facts.battery_types)
    return _in_order(
        {
            "batteries": float(measured.facts.batteries),
            "batteries_per_truck": measured.facts.batteries / trucks,
            **stock_measures(measured),
            **energy_charged(measured),
            **energy_drawn(measured),
            **warmth_measures(measured),
            **gas_measures(measured),
            **wear_measures(measured),
        }
    )


def _in_order(found: dict[str, float]) -> dict[str, float]:
    """Measures in their usual order."""
    return {name: float(found[name]) for name in (*MEASURES, WITHIN_TARGET.name) if name in found}
