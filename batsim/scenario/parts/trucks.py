"""Truck groups: how many, when they work, what they draw, when they need another battery."""

from collections.abc import Iterator
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from batsim.scenario.parts.air import Air, read_air
from batsim.scenario.parts.faults import Fault, Faults, each_entry, read_by_name, read_pair, refuse, wrong
from batsim.scenario.parts.fit import Compartment
from batsim.scenario.parts.kinds import Count, Frozen, Kind, NameText, Quantity, Words, by_default, reads
from batsim.scenario.parts.laws import DurationLaw
from batsim.scenario.parts.quantities import (
    Celsius,
    KilowattHours,
    Metres,
    MetresPerMinute,
    Minutes,
    Share,
    ShareAbove0,
    Spread,
)
from batsim.scenario.parts.schemas import TEXT, TEXTS, block_schema, with_help

SHIFT_CHANGE = ("never", "if_short", "always")


POWER = Quantity("power", above=0.0)


@reads(TEXT, {"type": "object", "additionalProperties": TEXT}, examples=["3.4 kW", {"early": "3.6 kW", "late": "3 kW"}])
def read_power(value: object) -> float | dict[str, float]:
    """A mean power, one for all shifts or one for each by name. [kW]"""
    return read_by_name(value, POWER.read) if isinstance(value, dict) else POWER.read(value)


class Duty(Frozen):
    """What a truck draws from its battery while it works."""

    mean_kw: Annotated[float | dict[str, float], read_power] | None = Field(None, alias="mean_power")
    """Mean power over scheduled working time, at the battery; by shift where shifts differ. [kW]"""
    energy_per_shift_kwh: KilowattHours | None = Field(None, alias="energy_per_shift")
    """Energy taken in one shift, instead of a mean power. [kWh]"""
    between_trucks_share: Spread = by_default("truck.between_trucks", "between_trucks")
    """Spread from truck to truck: standard deviation over mean. [%]"""
    between_shifts_share: Spread = by_default("truck.between_shifts", "between_shifts")
    """Spread from one battery filling to the next on the same truck. [%]"""

    def _faults(self) -> Iterator[Fault]:
        """Want either a mean power or an energy per shift."""
        if (self.mean_kw is None) == (self.energy_per_shift_kwh is None):
            yield Fault((), "needs either 'mean_power' (such as 3.4 kW) or 'energy_per_shift' (such as 24 kWh)")

    def times(self, factor: float) -> "Duty":
        """Return the duty of trucks that draw so many times as much."""
        kw, kwh = self.mean_kw, self.energy_per_shift_kwh
        if isinstance(kw, dict):
            return self.model_copy(update={"mean_kw": {shift: factor * each for shift, each in kw.items()}})
        return self.model_copy(update={"mean_kw": kw and factor * kw, "energy_per_shift_kwh": kwh and factor * kwh})

    def kw_in(self, shift: str, shift_min: float) -> float:
        """Mean power in a shift of so many working minutes. [kW]"""
        if self.mean_kw is None:
            return (self.energy_per_shift_kwh or 0.0) / (shift_min / 60.0) if shift_min else 0.0
        return self.mean_kw[shift] if isinstance(self.mean_kw, dict) else self.mean_kw


class ToRoom(Frozen):
    """The way from work to the battery room."""

    distance_m: Metres = Field(alias="distance")
    """One way. [m]"""
    speed_m_per_min: MetresPerMinute = by_default("travel.speed", "speed")
    """Mean driving speed on that way. [m/min]"""


FIRST_EVERY = {"first": "Working time until the first truck asks.", "every": "Working time from one truck to the next."}


@reads(
    TEXT,
    TEXTS,
    block_schema(with_help(TEXT, FIRST_EVERY), FIRST_EVERY),
    examples=["60 min", ["60 min", "65 min"], {"first": "1 h", "every": "1 h"}],
)
def read_first_runs(value: object) -> tuple[float, ...] | tuple[tuple[float, float]] | None:
    """When each truck first asks: one law for all, a list, or one after another.

    Read into working minutes of each truck; a pair (first, every) stands for a sequence.
    """
    if value is None:
        return None
    duration = Quantity("duration", least=0.0)
    if isinstance(value, dict):
        form = "needs {first: 1 h, every: 30 min}, a list with one duration for each truck, or one duration"
        return (read_pair(value, FIRST_EVERY, duration.read, form),)
    if isinstance(value, list):
        return tuple(each_entry(enumerate(value), duration.read))
    return ((duration.read(value), 0.0),)


class Roster(NamedTuple):
    """How trucks of a group are spread over some time before the end of a shift."""

    over_min: float
    """The time. [min]"""
    anew: bool
    """Whether each truck's place is drawn anew for every shift; else all keep theirs, evenly spaced."""


ANEW = "anew"
ROSTER_KINDS: dict[str, Kind] = {"over": Quantity("duration", least=0.0), "each": Words("in_turn", ANEW)}
ROSTER_SCHEMA = block_schema(
    {
        "over": TEXT | {"description": "The time over which they go."},
        "each": ROSTER_KINDS["each"].schema
        | {"description": "Each in its fixed turn, or at a time drawn anew for every shift."},
    },
    ["over"],
)


@reads(TEXT, ROSTER_SCHEMA, examples=["45 min", {"over": "45 min", "each": "anew"}])
def read_roster(value: object) -> Roster:
    """How trucks are spread over a time: evenly in a fixed turn, or each at a time drawn anew for every shift."""
    if not isinstance(value, dict):
        return Roster(ROSTER_KINDS["over"].read(value), anew=False)
    if "over" not in value or not value.keys() <= ROSTER_KINDS.keys():
        wrong("needs a time such as 45 min, or {over: 45 min, each: anew}")
    found: dict[str, Any] = {}
    faults: list[Fault] = []
    for key, entry in value.items():
        try:
            (found[key],) = each_entry([(key, entry)], ROSTER_KINDS[key].read)
        except Faults as error:
            faults += error.faults
    refuse(faults)
    return Roster(found["over"], found.get("each") == ANEW)


class ExchangeWhen(Frozen):
    """What sends a truck for another battery before its exchange level does; nothing when not stated."""

    shift_change: Annotated[str, Words(*SHIFT_CHANGE)] = "never"
    """At the end of a shift: never, if what is left will not last the next shift, or always."""
    before_shift_end_min: Minutes = Field("0 min", alias="before_shift_end")  # type: ignore[assignment]
    """How long before the end of the shift a truck goes for it. [min]"""
    spread: Annotated[Roster, read_roster] = "0 min"  # type: ignore[assignment]
    """Time before that over which the trucks of the group go one after another, not all at once: in a fixed turn, or
    `{over: 45 min, each: anew}`. [min]"""
    not_above_share: ShareAbove0 = by_default("truck.exchange_not_above", "not_above")
    """State of charge above which no truck goes at the end of a shift, short as it may be for the next one. [%]"""
    in_breaks_below_share: ShareAbove0 | None = Field(None, alias="in_breaks_below")
    """State of charge below which a truck goes at the start of a break. [%]"""
    early_below_share: ShareAbove0 | None = Field(None, alias="early_below")
    """State of charge below which a truck goes whenever no truck waits and an exchange could start. [%]"""


class TruckGroup(Frozen):
    """Trucks that share class, duty and battery type."""

    group: NameText
    """Name of the group."""
    count: Annotated[int, Count(least=1, most=2000)]
    """Trucks in use."""
    truck_class: NameText | None = Field(None, alias="class")
    """Class from the catalogue; it gives a mean power where none is stated."""
    shifts: tuple[NameText, ...] = Field(min_length=1)
    """Names of the shifts that the trucks work."""
    battery: NameText
    """Battery type."""
    duty: Duty | None = None
    """Power or energy drawn at work."""
    run_time_min: DurationLaw | None = Field(None, alias="run_time")
    """Working time on one battery, instead of `duty` (for sites that only know hours per battery). [min]"""
    first_run_min: Annotated[Any, read_first_runs] = Field(None, alias="first_run")
    """Working time until each truck first asks for a battery; drawn at random when not stated. [min]"""
    to_room: ToRoom | None = None
    """The way to the battery room; none means next door."""
    exchange_at_share: Share = by_default("truck.exchange_at", "exchange_at")
    """State of charge at which the truck leaves for the room. [%]"""
    exchange_when: ExchangeWhen = Field(default_factory=dict)  # type: ignore[assignment]
    """What sends a truck before that level is reached: a shift change, a break, nobody waiting."""
    priority: Annotated[int, Count(least=1, most=9)] = 1
    """Order of waiting trucks: trucks of priority 1 go before those of 2, and so on."""
    own_batteries: bool = False
    """Whether each truck keeps batteries of its own, evenly shared out; pooled when not stated."""
    compartment: Compartment = Field(default_factory=dict)  # type: ignore[assignment]
    """Where the battery sits, and how it leaves."""
    air: Annotated[Air, read_air] | None = None
    """Air about the trucks at work; the air of the battery room when not stated. [degC]"""
    temperature_degc: Celsius | None = Field(None, alias="temperature")
    """Temperature of the electrolyte at work where it is known; worked out from its heat when not stated. [degC]"""

    def _faults(self) -> Iterator[Fault]:
        """Check what needs two keys."""
        if len(set(self.shifts)) < len(self.shifts):
            yield Fault(("shifts",), "names a shift twice", ", ".join(self.shifts))
        powers = None if self.duty is None else self.duty.mean_kw
        if isinstance(powers, dict) and powers.keys() != set(self.shifts):
            rule = f"needs a power for each shift of the group, {', '.join(self.shifts)}, and no other"
            yield Fault(("duty", "mean_power"), rule, ", ".join(powers) or "none")
        yield from self.run_time_faults()
        yield from self.exchange_when_faults()
        listed = self.first_run_min
        if listed is not None and len(listed) != self.count and not isinstance(next(iter(listed), None), tuple):
            rule = f"needs one duration for each of the {self.count} trucks"
            yield Fault(("first_run",), rule, f"{len(listed)} durations")

    def run_time_faults(self) -> Iterator[Fault]:
        """Find what is wrong with how long the trucks work on one battery."""
        if self.duty is not None and self.run_time_min is not None:
            yield Fault(("run_time",), "stands in place of 'duty'; keep one of the two")
        if self.duty is None and self.run_time_min is None:
            yield Fault((), "needs 'duty', 'run_time' or a truck 'class' from the catalogue")
        if self.run_time_min is not None and self.run_time_min.mean <= 0.0:
            yield Fault(("run_time",), "must be above 0 min on average")

    def exchange_when_faults(self) -> Iterator[Fault]:
        """Find levels of early visits that no truck could come back from, or that are never met."""
        when, early_share = self.exchange_when, self.exchange_when.early_below_share
        levels = {"in_breaks_below": when.in_breaks_below_share, "early_below": early_share}
        if when.shift_change == "if_short":
            levels["not_above"] = when.not_above_share
        for key, share in levels.items():
            if share is not None and share <= self.exchange_at_share:
                rule = f"must lie above 'exchange_at' ({100 * self.exchange_at_share:g} %)"
                yield Fault(("exchange_when", key), rule, f"{100 * share:g} %")
        when = self.exchange_when
        if "not_above_share" in when.model_fields_set:
            if when.shift_change != "if_short":
                rule = "is read where 'shift_change' is if_short; write that, or leave it out"
                yield Fault(("exchange_when", "not_above"), rule, f"shift_change: {when.shift_change}")
            elif when.not_above_share <= self.exchange_at_share:
                rule = f"must lie above 'exchange_at' ({100 * self.exchange_at_share:g} %)"
                yield Fault(("exchange_when", "not_above"), rule, f"{100 * when.not_above_share:g} %")
        if early_share == 1.0:
            rule = "must lie below 100 %; else a truck would go again as soon as it is back"
            yield Fault(("exchange_when", "early_below"), rule, "100 %")
