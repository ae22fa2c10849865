"""A part of a record: rows of an area, a truck group, a battery type or a lot of it, as if there were nothing else."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from batsim.record.facts import RunFacts, TypeFacts
from batsim.record.record import Record
from batsim.scenario.parts.calendar import joined

if TYPE_CHECKING:
    from batsim.record.blocks import Block

T = TypeVar("T")


class Chosen(NamedTuple):
    """Numbers, in the whole, of what belongs to a part, in their order."""

    areas: tuple[int, ...]
    groups: tuple[int, ...]
    queues: tuple[int, ...]
    devices: tuple[int, ...]
    chargers: tuple[int, ...]
    batteries: tuple[int, ...] | None = None
    """All those of its queues where they are not named."""


class RecordPart(Record):
    """A record of a part alone; trucks, batteries, queues, devices, chargers and things are numbered anew.

    Rows keep their order. A row belongs to the part when all that it names does. A day is a working day of the whole
    site, see `whole`; attendants whom areas share are on duty in none of them.
    """

    def __init__(self, record: Record, chosen: Chosen) -> None:
        super().__init__(facts_of_part(record.facts, chosen))
        self._record, self._chosen = record, chosen
        self._taken: set[str] = set()

    @property
    def whole(self) -> Record:
        """The record of the whole site."""
        return self._record.whole

    @cached_property
    def _kept(self) -> dict[str, list[int]]:
        """Numbers in the whole of what the part has, by the column that names it; those that it has not all."""
        facts, chosen = self._record.facts, self._chosen
        group_of = [group for group, count in enumerate(facts.group_trucks) for _ in range(count)]
        group_kept, batteries = set(chosen.groups), _batteries_of(facts, chosen)
        things = [
            *chosen.areas,
            *(len(facts.areas) + number for number in chosen.devices),
            *(facts.first_charger + number for number in chosen.chargers),
        ]
        kept: dict[str, tuple[Sequence[int], int]] = {
            "area": (chosen.areas, len(facts.areas)),
            "group": (chosen.groups, len(facts.groups)),
            "truck": ([truck for truck, group in enumerate(group_of) if group in group_kept], len(group_of)),
            "queue": (chosen.queues, len(facts.battery_types)),
            **dict.fromkeys(("battery", "discharged", "charged"), (batteries, facts.batteries)),
            "device": (chosen.devices, len(facts.devices)),
            "charger": (chosen.chargers, len(facts.chargers)),
            "thing": (things, len(facts.things)),
        }
        return {name: list(numbers) for name, (numbers, count) in kept.items() if len(numbers) < count}

    def _blocks(self, table: str) -> "list[Block]":
        """All blocks of rows of a table, taken from the whole once."""
        if table not in self._taken:
            self._packed[table] = self._take(table)
            self._taken.add(table)
        return self._packed[table]

    def _take(self, table: str) -> "list[Block]":
        """Take the rows of the part; all of them where they name nothing that it has not."""
        import numpy as np  # noqa: PLC0415 - the record can be made without numpy

        columns = self._record.columns(table)
        if self._kept.keys().isdisjoint(columns):
            return self._record._blocks(table)
        mine = np.ones(self._record.count(table), dtype=bool)
        for name in self._kept.keys() & columns.keys():
            named = columns[name] >= 0.0  # -1 or not a number where there is none
            anew = np.full(max(self._kept[name], default=0) + 2, -1.0)
            anew[self._kept[name]] = np.arange(len(self._kept[name]))
            number = anew[np.where(named, np.minimum(columns[name], anew.size - 1), 0.0).astype(int)]
            mine &= ~named | (number >= 0.0)
            columns[name] = np.where(named, number, columns[name])
        return [tuple(column[mine] for column in columns.values())]


def _batteries_of(facts: RunFacts, chosen: Chosen) -> Sequence[int]:
    """Numbers of the batteries of a part: those that are named, or all of its queues."""
    if chosen.batteries is not None:
        return chosen.batteries
    queues = set(chosen.queues)
    return [number for number, queue in enumerate(facts.type_numbers) if queue in queues]


def of_area(record: Record, name: str) -> Record:
    """Part of a record: one area of the layout.

    Parameters
    ----------
    record
        What a run of the whole site left behind.
    name
        Of the area; a layout without areas is one without a name.

    Raises
    ------
    ValueError
        If the layout has no area of this name.
    """
    return RecordPart(record, _chosen(record.facts, [record.facts.areas.index(record.facts.area_named(name))]))


def of_group(record: Record, number: int) -> Record:
    """Part of a record: one truck group, by its number, with all batteries of its area."""
    areas = [place for place, area in enumerate(record.facts.areas) if number in area.groups]
    return RecordPart(record, _chosen(record.facts, areas)._replace(groups=(number,)))


def of_battery_type(record: Record, name: str) -> Record:
    """Part of a record: the batteries of one type, with all trucks of the areas that have it."""
    facts = record.facts
    queues = tuple(number for number, kind in enumerate(facts.battery_types) if kind.battery_type == name)
    areas = [place for place, area in enumerate(facts.areas) if not set(queues).isdisjoint(area.queues)]
    return RecordPart(record, _chosen(facts, areas)._replace(queues=queues))


def of_lot(record: Record, name: str, lot: str) -> Record:
    """Part of a record: the batteries of one lot of a type, with all trucks of the areas that have it."""
    facts = record.facts
    queues = tuple(number for number, kind in enumerate(facts.battery_types) if kind.battery_type == name)
    areas = [place for place, area in enumerate(facts.areas) if not set(queues).isdisjoint(area.queues)]
    lots = zip(lots_of(record), facts.type_numbers, strict=True)
    batteries = tuple(number for number, (each, queue) in enumerate(lots) if each == lot and queue in queues)
    return RecordPart(record, _chosen(facts, areas)._replace(queues=queues, batteries=batteries))


def lots_of(record: Record) -> tuple[str, ...]:
    """Lot of each battery, by its number; empty where lots are not told apart."""
    rows, types = record.columns("batteries"), record.facts.battery_types
    lots = (types[int(queue)].lots for queue in rows["queue"])
    return tuple(names[int(lot)] if names else "" for names, lot in zip(lots, rows["lot"], strict=True))


def _chosen(facts: RunFacts, numbers: Sequence[int]) -> Chosen:
    """Everything in some areas."""
    areas = [facts.areas[number] for number in numbers]
    return Chosen(
        areas=tuple(numbers),
        groups=tuple(sorted(chain(*(area.groups for area in areas)))),
        queues=tuple(chain(*(area.queues for area in areas))),
        devices=tuple(chain(*(area.devices for area in areas))),
        chargers=tuple(chain(*(area.chargers for area in areas))),
    )


def facts_of_part(facts: RunFacts, chosen: Chosen) -> RunFacts:
    """Facts of a part of a room, as if there were nothing else."""
    groups, chargers, areas = chosen.groups, chosen.chargers, _taken(facts.areas, chosen.areas)
    group_windows = _taken(facts.group_windows, groups)
    all_groups = len(groups) == sum(len(area.groups) for area in areas)
    windows = chain(*((area.windows for area in areas) if all_groups else group_windows))
    return replace(
        facts,
        areas=tuple(
            replace(
                area,
                groups=_anew(area.groups, groups),
                queues=_anew(area.queues, chosen.queues),
                devices=_anew(area.devices, chosen.devices),
                chargers=_anew(area.chargers, chargers),
            )
            for area in areas
        ),
        groups=_taken(facts.groups, groups),
        group_trucks=_taken(facts.group_trucks, groups),
        group_windows=group_windows,
        group_shift_min=_taken(facts.group_shift_min, groups),
        site_windows=tuple(joined(list(windows))),
        battery_types=_types_of_part(facts, chosen),
        devices=_taken(facts.devices, chosen.devices),
        device_counts=_taken(facts.device_counts, chosen.devices),
        chargers=_taken(facts.chargers, chargers),
        charger_counts=_taken(facts.charger_counts, chargers),
        charger_efficiency=_taken(facts.charger_efficiency, chargers),
        charger_power_factor=_taken(facts.charger_power_factor, chargers),
        charger_standby_kw=_taken(facts.charger_standby_kw, chargers),
        attendant_windows=facts.attendant_windows if len(chosen.areas) == len(facts.areas) else (),
    )


def _types_of_part(facts: RunFacts, chosen: Chosen) -> tuple[TypeFacts, ...]:
    """Battery types of a part, with the number of batteries that it has of them."""
    if chosen.batteries is None:
        return _taken(facts.battery_types, chosen.queues)
    queues = [facts.type_numbers[number] for number in chosen.batteries]
    return tuple(replace(facts.battery_types[queue], batteries=queues.count(queue)) for queue in chosen.queues)


def _taken(whole: Sequence[T], numbers: Sequence[int]) -> tuple[T, ...]:
    """Some of a whole, by their numbers."""
    return tuple(whole[number] for number in numbers)


def _anew(numbers: Sequence[int], kept: Sequence[int]) -> tuple[int, ...]:
    """Numbers of those that are kept, counted anew."""
    return tuple(kept.index(number) for number in numbers if number in kept)
