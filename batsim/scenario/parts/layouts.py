"""Layouts: candidate answers, each an arrangement with its counts."""

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import reduce
from typing import Annotated, NamedTuple, Self

from pydantic import Field

from batsim.scenario.parts.breakdowns import Breakdown, Outage, Standby
from batsim.scenario.parts.charging_rules import ChargingRules
from batsim.scenario.parts.faults import Fault, each_entry, read_by_name, wrong
from batsim.scenario.parts.fixed import read_fixed
from batsim.scenario.parts.floor import Floor
from batsim.scenario.parts.group_change import ATTENDANTS, BY_WHOM_KEYS, DRIVERS, GroupChange, InTruck, read_by_whom
from batsim.scenario.parts.handling import LEADS
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Words, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.lots import COUNTS, BatteryCount, changed_counts, read_battery_counts, read_count
from batsim.scenario.parts.schemas import TEXT, TEXTS, block_schema, with_help

MOST_ATTENDANTS = 200
PICKING = ("longest_rested", "nearest", "fullest", "least_worn", "most_worn")
CHARGER_ORDER = ("as_listed", "strongest_first", "most_efficient_first")
RELEASE = ("with_exchange", "at_arrival")


class ChargerCount(NamedTuple):
    """So many chargers of a type."""

    number: float
    charger: str


@reads(TEXT, TEXTS, examples=["44 x electronic_iuia", ["30 x electronic_iuia", "4 x gel_iu"]])
def read_charger_counts(value: object) -> tuple[ChargerCount, ...]:
    """Chargers by count and type, such as `44 x electronic_iuia`; several as a list."""
    if isinstance(value, list) and value:
        return tuple(each_entry(enumerate(value), _charger_count))
    return (_charger_count(value),)


def _charger_count(value: object) -> ChargerCount:
    """Read one count and type."""
    count, cross, charger = str(value).partition(" x ")
    if not cross or not charger.strip() or not re.fullmatch(r"\s*(\d{1,5}|unlimited)\s*", count):
        wrong("needs a count and a charger type, such as '44 x electronic_iuia'")
    return ChargerCount(Count(least=1, unlimited=True).read(count.strip()), charger.strip())


class OnDuty(int):
    """Attendants on one shift: a number, and how many of them are qualified for what."""

    qualified: dict[str, int] | None
    """How many of them are qualified, by skill; None when all are for everything."""

    def __new__(cls, number: int, qualified: dict[str, int] | None = None) -> "OnDuty":
        """Make it from how many, and how many are qualified for what."""
        made = super().__new__(cls, number)
        made.qualified = qualified
        return made

    def __reduce__(self) -> tuple[type["OnDuty"], tuple[int, dict[str, int] | None]]:
        return OnDuty, (int(self), self.qualified)

    def with_skill(self, skill: str | None) -> int:
        """How many have a skill."""
        if skill is None or self.qualified is None:
            return int(self)
        return self.qualified.get(skill, 0)

    def plus(self, others: "OnDuty") -> "OnDuty":
        """These and others together; who is for everything has every skill that the others state."""
        skills = dict.fromkeys([*(self.qualified or ()), *(others.qualified or ())])
        qualified = {skill: self.with_skill(skill) + others.with_skill(skill) for skill in skills}
        return OnDuty(int(self) + int(others), qualified or None)

    def of(self, number: int) -> "OnDuty":
        """Another number of attendants, with as many more or fewer of them qualified."""
        if self.qualified is None:
            return OnDuty(number)
        more = number - int(self)
        return OnDuty(number, {skill: max(0, min(number, count + more)) for skill, count in self.qualified.items()})


FROM_ZERO = {"type": "integer", "minimum": 0}
IN_ALL = with_help(FROM_ZERO, {"attendants": "Attendants in all; the other keys say how many are qualified."})
QUALIFIED = block_schema(IN_ALL, IN_ALL) | {"additionalProperties": FROM_ZERO}


@reads(
    {"const": "unlimited"},
    {"type": "object", "additionalProperties": {"anyOf": [FROM_ZERO, QUALIFIED]}},
    examples=[{"early": 1, "late": 1}, {"early": {"attendants": 2, "hoist": 1}}, "unlimited"],
)
def read_attendant_counts(value: object) -> dict[str, OnDuty] | str:
    """Attendants: their number by shift, or `unlimited`."""
    if isinstance(value, dict):
        return read_by_name(value, _on_duty)
    if value == DRIVERS:
        wrong("'attendants: drivers' is now written 'exchange_by: drivers'")
    if value != "unlimited":
        wrong("needs attendants by shift such as {early: 1, late: 1}, or the word unlimited")
    return value


def _on_duty(value: object) -> OnDuty:
    """Read a number of attendants, or a block that says how many of them are qualified for what."""
    if not isinstance(value, dict):
        return OnDuty(Count(most=MOST_ATTENDANTS).read(value))
    if "attendants" not in value:
        wrong("needs the attendants and how many of them are qualified, such as {attendants: 2, hoist: 1}")
    qualified = read_by_name(value, Count(most=MOST_ATTENDANTS).read)
    in_all = qualified.pop("attendants")
    for skill, count in qualified.items():
        if count > in_all:
            wrong(f"{count} are qualified for '{skill}', of {in_all} attendant{'s' * (in_all != 1)} in all")
    return OnDuty(in_all, qualified)


@reads({"type": "object", "additionalProperties": COUNTS}, examples=[{"hoist": 1, "bays": 20}])
def read_owned(value: object) -> dict[str, BatteryCount]:
    """What is there already, by name, such as `{hoist: 1, electronic_iuia: 10}`; batteries of lots by lot."""
    if not isinstance(value, dict):
        wrong("needs how many of each are there already, such as {hoist: 1, electronic_iuia: 10}")
    return read_by_name(value, read_count)


class Equipped(Frozen):
    """What an area states of its own, or a layout of one area: how batteries are reached, and the counts."""

    handling: NameText = Field("", validate_default=False)
    """Handling arrangement: one of the catalogue's or one of the scenario's own."""
    stations: Annotated[float, Count(least=1, unlimited=True)] | None = None
    """Exchange stations; in the truck: charging spots, one for each charger when not stated."""
    batteries: Annotated[dict[str, BatteryCount], read_battery_counts] | None = None
    """Batteries in all, those in the trucks included, and of each lot where their type has lots, the first in the
    trucks at the start; in the truck: one each when not stated."""
    chargers: Annotated[tuple[ChargerCount, ...], read_charger_counts] = Field((), validate_default=False)
    """Chargers by type."""
    charger_order: Annotated[str, Words(*CHARGER_ORDER)] = "as_listed"
    """Which of the free chargers a battery gets where several types fit: in the order of `chargers`, the greatest main
    current first, or the best efficiency first."""
    bays: Annotated[float, Count(least=1, unlimited=True)] | None = None
    """Bays for batteries out of trucks; when not stated, spares plus the empty ones that exchanges at all
    stations need."""
    devices: dict[NameText, Annotated[float, Count(least=1, unlimited=True)]] = Field(default_factory=dict)
    """Devices by name; what one exchange holds when not stated."""
    attendants: Annotated[dict[str, OnDuty] | str, read_attendant_counts] | None = None
    """Attendants by shift, with how many of them are qualified for what where that matters; drivers do it all
    themselves when not stated."""
    exchange_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who exchanges batteries, always or by the truck's shift; attendants do the rest where there are any, and this too
    when not stated."""
    connect_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who connects batteries to their chargers, in the truck who plugs it in, always or by shift; who exchanges them
    when not stated, in the truck its driver."""
    maintain_by: Annotated[str | dict[str, str], read_by_whom] | None = None
    """Who waters, inspects and washes batteries, always or by shift: a truck whose driver does it stands meanwhile;
    attendants where there are any when not stated, else drivers beside their work."""
    charger_leads: Annotated[str, Words(*LEADS)] | None = None
    """How chargers are connected, in place of what the arrangement says: one bound to a bay is taken until the battery
    leaves that bay, on loose leads it is free when the charge ends."""
    set_down_bays: Annotated[float, Count(least=1, unlimited=True)] | None = None
    """Set-down bays beside the stations; what one exchange needs at each station when not stated."""
    floor: Floor | None = None
    """Where bays and stations are; exchange times then follow from the ways."""
    standby: Standby | None = None
    """How exchanges are made while the layout's own devices are out."""
    breakdowns: dict[NameText, Breakdown] = Field(default_factory=dict)
    """What breaks down: station, a device, a charger type, or charger for all types."""
    out: tuple[Outage, ...] = ()
    """What is out of use on stated days."""
    reserve_for_shift_change: Annotated[int, Count()] = 0
    """Ready batteries of each type that only trucks get that come for the shift change."""
    exchange_time_min: DurationLaw | None = Field(None, alias="exchange_time")
    """Whole exchange as timed on site, in place of the arrangement's steps. [min]"""
    picking: Annotated[str, Words(*PICKING)] = "longest_rested"
    """Which ready battery is taken: by its rest, its bay, its charge, or the share of its life that is used up."""
    in_truck: InTruck = Field(default_factory=dict)  # type: ignore[assignment]
    """Rules for charging in the truck."""

    def _faults(self) -> Iterator[Fault]:
        """Want an arrangement and chargers, which no other key can stand for."""
        for key in ("handling", "chargers"):
            if not getattr(self, key):
                what = type(self).model_fields[key].description or ""
                yield Fault((key,), f"missing: {what[:1].lower()}{what[1:].partition('.')[0]}")

    @property
    def chargers_by_type(self) -> dict[str, float]:
        """Number of chargers of each type, however often a type is listed."""
        counts: dict[str, float] = {}
        for number, charger in self.chargers:
            counts[charger] = counts.get(charger, 0.0) + number
        return counts

    def with_counts(
        self,
        *,
        batteries: Mapping[str, int | Mapping[str, int]] | None = None,
        chargers: Mapping[str, float] | None = None,
        stations: float | None = None,
        bays: float | None = None,
        set_down_bays: float | None = None,
        devices: Mapping[str, float] | None = None,
        attendants: Mapping[str, int] | None = None,
    ) -> Self:
        """Return a copy with other counts; what is not given stays as it is.

        Parameters
        ----------
        batteries, chargers, devices
            Number in all by type or kind; types and kinds that are not named keep theirs. Of batteries with lots a
            number by lot; lots that are not named keep theirs.
        stations, bays, set_down_bays
            Number in all; `inf` for no limit.
        attendants
            Number by shift. As many more or fewer are qualified as there are more or fewer of them.

        Returns
        -------
        Equipped
            Not yet checked against the scenario: `checks.layout_checks.layout_problems` does that.
        """
        numbers = {"stations": stations, "bays": bays, "set_down_bays": set_down_bays}
        changes: dict[str, object] = {key: number for key, number in numbers.items() if number is not None}
        if batteries:
            changes["batteries"] = changed_counts(self.batteries or {}, batteries)
        if chargers:
            by_type = {**self.chargers_by_type, **chargers}
            changes["chargers"] = tuple(ChargerCount(number, charger) for charger, number in by_type.items())
        if devices:
            changes["devices"] = {**self.devices, **devices}
        if attendants:
            changes["attendants"] = self._with_attendants(attendants)
        return self.model_copy(update=changes)

    def _with_attendants(self, numbers: Mapping[str, int]) -> dict[str, OnDuty]:
        """Attendants with other numbers on some shifts."""
        on_duty = self.attendants if isinstance(self.attendants, dict) else {}
        return on_duty | {shift: on_duty.get(shift, OnDuty(0)).of(number) for shift, number in numbers.items()}


class Area(Equipped):
    """One of several areas of a layout: the truck groups that it serves, and what it has of its own."""

    groups: tuple[NameText, ...] = Field(alias="for", min_length=1)
    """Truck groups that it serves, each in one area."""


SHARED = ("attendants", *BY_WHOM_KEYS, "in_truck")
"""What a layout may state for all of its areas, and each area of its own: its attendants are more of them."""


def together(
    first: dict[str, OnDuty] | str | None, second: dict[str, OnDuty] | str | None
) -> dict[str, OnDuty] | str | None:
    """Attendants of both in one; without limit where one of them is, none where both are."""
    if not isinstance(first, dict) or not isinstance(second, dict):
        return next((each for each in (first, second) if isinstance(each, str)), first if second is None else second)
    return {shift: first.get(shift, OnDuty(0)).plus(second.get(shift, OnDuty(0))) for shift in {**first, **second}}


class Layout(Equipped):
    """One candidate answer."""

    areas: dict[NameText, Area] = Field(default_factory=dict)
    """Areas that serve truck groups each in its own way; what they share stands beside them. One area needs none."""
    charging: ChargingRules | None = None
    """How chargers are held back, in place of the scenario's rules."""
    owned: Annotated[dict[str, BatteryCount], read_owned] = Field(default_factory=dict)
    """What is already there, by name, and how many: more than that is bought."""
    fixed: Annotated[tuple[str, ...], read_fixed] = Field((), validate_default=False)
    """What may not change where the best plan is decided: `counts`, `levers`, or some of them by name."""
    trucks: dict[NameText, GroupChange] = Field(default_factory=dict)
    """What this layout changes of truck groups, by their names: battery type, what sends them, who exchanges."""

    def _faults(self) -> Iterator[Fault]:
        """Want attendants where they are to do something, and in an area what is not shared."""
        if not self.areas:
            yield from super()._faults()
        for name in sorted(self.model_fields_set & Equipped.model_fields.keys() - set(SHARED)) if self.areas else ():
            key = Equipped.model_fields[name].alias or name
            yield Fault((key,), "belongs to one area; state it under 'areas', in the area that has it")
        if any(place.attendants is not None for place in (self, *self.areas.values())):
            return
        for keys, by in self.stated_by_whom:
            if ATTENDANTS in (by.values() if isinstance(by, dict) else (by,)):
                yield Fault(keys, "needs 'attendants' by shift such as {early: 1, late: 1}", ATTENDANTS)

    @property
    def stated_by_whom(self) -> Iterator[tuple[tuple[str, ...], str | dict[str, str]]]:
        """Where it states who exchanges, connects or maintains, for all groups or for some, and what it says there."""
        places: list[tuple[tuple[str, ...], Equipped | GroupChange]] = [((), self)]
        places += [(("areas", name), area) for name, area in self.areas.items()]
        places += [(("trucks", group), change) for group, change in self.trucks.items()]
        for keys, place in places:
            for key in BY_WHOM_KEYS:
                if getattr(place, key) is not None:
                    yield (*keys, key), getattr(place, key)

    def attendants_of(self, areas: Iterable[str]) -> dict[str, OnDuty] | str | None:
        """Attendants whom areas share, and those of some areas beside them."""
        own = (self.areas[area].attendants for area in areas if area in self.areas)
        return reduce(together, own, self.attendants)

    @property
    def by_area(self) -> "dict[str, Equipped]":
        """Its areas by name; a layout of one area is that itself, under no name."""
        return dict(self.areas) if self.areas else {"": self}

    @property
    def chargers_by_type(self) -> dict[str, float]:
        """Number of chargers of each type in all areas."""
        counts: dict[str, float] = {}
        for area in self.areas.values():
            for charger, number in area.chargers_by_type.items():
                counts[charger] = counts.get(charger, 0.0) + number
        return counts if self.areas else super().chargers_by_type

    def of_area(self, name: str) -> "Layout":
        """Return the layout of one area alone: what it has of its own, and what it shares with others."""
        area = self.areas[name]
        own = {key: getattr(area, key) for key in Equipped.model_fields}
        for key in SHARED:
            if key not in area.model_fields_set:
                own[key] = getattr(self, key)
        own["attendants"] = together(self.attendants, area.attendants)
        changes = {group: change for group, change in self.trucks.items() if group in area.groups}
        return self.model_copy(update={**own, "areas": {}, "trucks": changes})

    def with_area(self, name: str, area: Equipped) -> "Layout":
        """Return a copy with an area in place of the one of that name; under no name it is the layout itself."""
        if not name:
            assert isinstance(area, Layout)  # a layout of one area
            return area
        return self.model_copy(update={"areas": {**self.areas, name: area}})

    @property
    def drivers_only(self) -> bool:
        """Whether drivers do everything."""
        return self.attendants is None

    def exchanged_by_drivers(self, shift: str, group: str) -> bool:
        """Whether drivers of a truck group exchange batteries in a shift."""
        return self.drivers_only or self.names_drivers("exchange_by", shift, group)

    def names_drivers(self, key: str, shift: str, group: str) -> bool:
        """Whether drivers are named under a key (`exchange_by` ...) for a truck group in a shift."""
        by = self.by_whom(key, group)
        return by is not None and (self.drivers_only or (by.get(shift) if isinstance(by, dict) else by) == DRIVERS)

    def names_attendants(self, key: str, shift: str, group: str) -> bool:
        """Whether somebody is named under a key (`exchange_by` ...) for a truck group, and in a shift no drivers."""
        return self.by_whom(key, group) is not None and not self.names_drivers(key, shift, group)

    def by_whom(self, key: str, group: str) -> str | dict[str, str] | None:
        """What is stated under a key (`exchange_by` ...) for a truck group: its own, or what holds for all."""
        own = getattr(self.trucks[group], key) if group in self.trucks else None
        stated: str | dict[str, str] | None = getattr(self, key) if own is None else own
        return stated

    def in_truck_of(self, group: str) -> InTruck:
        """Rules for charging in the trucks of a group."""
        own = self.trucks[group].in_truck if group in self.trucks else None
        return self.in_truck if own is None else own
