"""The scenario: a site, its trucks and batteries, the layouts to compare and how long to simulate."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Annotated, NamedTuple

from pydantic import Field, PrivateAttr

from batsim.catalogue import FIGURES, Figures
from batsim.display import Shows
from batsim.scenario.factors import Between
from batsim.scenario.parts.air import Air, read_air
from batsim.scenario.parts.batteries import BatteryType, ChargerType
from batsim.scenario.parts.building import BatteryRoom, Space, Standards, Supply
from batsim.scenario.parts.calibration import Calibration
from batsim.scenario.parts.charging_rules import ChargingRules
from batsim.scenario.parts.demand import Demand
from batsim.scenario.parts.fit import Equipment
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Quantity, by_default, reads
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.parts.prices import Prices
from batsim.scenario.parts.quantities import Minutes
from batsim.scenario.parts.rules import Rules
from batsim.scenario.parts.targets import Targets
from batsim.scenario.parts.trucks import TruckGroup
from batsim.scenario.parts.week import WEEKS_A_YEAR, Week, Weeks

MeasuredTime = Annotated[float, Quantity("duration", least=60.0)]
Confidence = Annotated[float, Quantity("share", least=0.5, most=0.999)]


class Site(Frozen):
    """Where it is."""

    name: NameText
    """Name for tables and reports."""
    currency: str = Field("EUR", pattern=r"^[A-Z]{3}$")
    """Three letters of ISO 4217."""
    room_air: Annotated[Air, read_air] = by_default("site.room_temperature", "room_temperature")
    """Air of the battery room and, unless a group says otherwise, of the work: all year, or {winter, summer}. [degC]"""


class Simulation(Frozen):
    """How long and how often to simulate."""

    replications: Annotated[int, Count(least=1, most=100_000)] = by_default("simulation.replications")
    """Independent runs."""
    length_min: MeasuredTime = by_default("simulation.length", "length")
    """Measured time of one run. [min]"""
    warm_up_min: Minutes = by_default("simulation.warm_up", "warm_up")
    """Time before it that is dropped. [min]"""
    start_week: Annotated[int, Count(least=1, most=52)] = 1
    """Calendar week of the first measured week, for temperatures that go with the seasons."""
    seed: Annotated[int, Count(most=2**31 - 1)] = 1
    """Seed of all random streams."""
    confidence_share: Confidence = by_default("simulation.confidence", "confidence")
    """Confidence of the intervals. [%]"""


@reads({"type": "string"}, {"type": "number"}, examples=["8 h", 1.2])
def keep_figure(value: object) -> object:
    """Keep a figure in place of the catalogue's; `unknowns.figures_instead` has read it before."""
    return value


class Kept(NamedTuple):
    """How many there are of what can no longer be had."""

    number: float
    where: str
    """owned, or in the layout of today."""

    @property
    def text(self) -> str:
        """Such as `12 are there (owned)`."""
        return f"{self.number:g} {'is' if self.number == 1 else 'are'} there ({self.where})"


class Scenario(Shows, Frozen):
    """What an analyst states about a site, read and checked."""

    question: str = ""
    """The question that this scenario answers."""
    site: Site
    """The site."""
    week: Week
    """The working week."""
    trucks: tuple[TruckGroup, ...] = Field(min_length=1)
    """Truck groups."""
    batteries: dict[NameText, BatteryType] = Field(min_length=1)
    """Battery types by name; `from:` takes one from the catalogue as a start."""
    chargers: dict[NameText, ChargerType] = Field(default_factory=dict)
    """Charger types by name, beside those of the catalogue."""
    handling: dict[NameText, Arrangement] = Field(default_factory=dict)
    """The site's own handling arrangements, beside those of the catalogue."""
    layouts: dict[NameText, Layout] = Field(min_length=1)
    """Candidate answers by name."""
    charging: ChargingRules = Field(default_factory=dict)  # type: ignore[assignment]
    """How chargers are held back: power limit, hours, delay; a layout may state its own."""
    demand: Demand = Field(default_factory=dict)  # type: ignore[assignment]
    """How much is to be done over what the truck groups state: by week, and with a growing fleet."""
    rules: Rules = Field(default_factory=dict)  # type: ignore[assignment]
    """How the room is run where more than one way is usual."""
    targets: Targets = Field(default_factory=dict)  # type: ignore[assignment]
    """What the room must reach."""
    prices: Prices = Field(default_factory=dict)  # type: ignore[assignment]
    """What things cost; placeholders of the catalogue where nothing is stated."""
    present: NameText | None = None
    """Layout that is there today: payback is against it."""
    calibration: Calibration | None = None
    """What the records of the site say of the model of that layout, as `batsim calibrate` found it."""
    equipment: dict[NameText, Equipment] = Field(default_factory=dict)
    """Sizes and limits of equipment, by its name in the arrangements: devices, what batteries stand on, parts."""
    room: BatteryRoom = Field(default_factory=dict)  # type: ignore[assignment]
    """The battery room."""
    building: Space = Field(default_factory=dict)  # type: ignore[assignment]
    """The building in which trucks are charged in the truck."""
    supply: Supply = Field(default_factory=dict)  # type: ignore[assignment]
    """The electrical supply of the chargers."""
    standards: Standards = Field(default_factory=dict)  # type: ignore[assignment]
    """Rules that are to hold, where editions and countries differ."""
    simulation: Simulation = Field(default_factory=dict)  # type: ignore[assignment]
    """How long and how often to simulate."""
    restated: dict[NameText, Annotated[str | float, keep_figure]] = Field(default_factory=dict, alias="figures")
    """Figures of the catalogue that this site states anew, by name, each in the unit of the catalogue."""

    _file: str = PrivateAttr("")
    _source: object | None = PrivateAttr(None)
    _unknowns: tuple[Between, ...] = PrivateAttr(())
    _figures: Figures = PrivateAttr(FIGURES)
    _as_stated: tuple[TruckGroup, ...] | None = PrivateAttr(None)
    """Truck groups as the site states them, where `trucks` are those of a layout."""
    _resolved: tuple[Layout, tuple[TruckGroup, ...]] | None = PrivateAttr(None)
    """Layout whose groups `trucks` are, and those groups."""
    _numbers: dict[str, int] | None = PrivateAttr(None)
    """Number of each truck group in the file, where `trucks` are those of one area."""

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.site.name}: {', '.join(self.layouts)}"

    @property
    def file(self) -> str:
        """Name of the file it was read from."""
        return self._file

    @property
    def unknowns(self) -> tuple[Between, ...]:
        """Inputs that are not known, stated as `{between: [LOW, HIGH]}`; their middle stands in for them."""
        return tuple(unknown for unknown in self._unknowns if unknown.layout is None or unknown.layout in self.layouts)

    @property
    def calibration_of_today(self) -> Calibration | None:
        """How the layout of today stands beside records of the site; None where nobody set it beside them."""
        found = self.calibration
        return found if found is not None and found.layout == self.present else None

    @property
    def figures(self) -> Figures:
        """Figures that hold: the catalogue's, and those that this site states anew."""
        return self._figures

    @property
    def source(self) -> object | None:
        """What it was read from, for whoever reads; None when it was changed in memory since."""
        return self._source

    @property
    def seasons(self) -> tuple[Weeks, ...]:
        """Calendar weeks that are set apart, by `demand` or by shifts with weeks of their own, in order."""
        of_demand = [weeks for weeks, _ in self.demand.weeks]
        of_shifts = [weeks for shift in self.week.shifts.values() for weeks in shift.weeks or ()]
        return tuple(sorted({*of_demand, *of_shifts}))

    def in_weeks(self, season: Weeks | None = None) -> "Scenario":
        """Return a copy whose runs begin with a season, or lie in normal weeks for ever.

        A season comes after the weeks before it: the warm-up has the work of those. Holidays keep their calendar week.
        """
        if not self.seasons:
            return self
        if season is None:
            demand = self.demand.model_copy(update={"weeks": ()})
            return self.model_copy(update={"week": self.week.in_normal_weeks(), "demand": demand})
        later = season.first - self.simulation.start_week
        holidays = tuple(
            (number - later + years * WEEKS_A_YEAR, day) for number, day in self.week.holidays for years in (-1, 0, 1)
        )
        week = self.week.model_copy(update={"holidays": holidays})
        simulation = self.simulation.model_copy(update={"start_week": season.first})
        return self.model_copy(update={"week": week, "simulation": simulation})

    def with_layouts(self, names: Sequence[str]) -> "Scenario":
        """Return a copy with only these layouts, which must be there."""
        if set(names) >= set(self.layouts):
            return self
        layouts = {name: layout for name, layout in self.layouts.items() if name in names}
        present = self.present if self.present in layouts else None
        return self.model_copy(update={"layouts": layouts, "present": present})

    def in_layout(self, name: str) -> "Scenario":
        """Return a copy whose truck groups are those of a layout, with what it changes of them.

        Whoever works one layout out begins with this. The copy may be asked for any layout again, as this one may.
        """
        return _in_layout(SameScenario(self), name)

    def _in_layout(self, name: str) -> "Scenario":
        """Return that copy, or this one where its groups are those of the layout already."""
        layout, stated = self.layouts[name], self._as_stated or self.trucks
        if not layout.trucks and stated is self.trucks:
            return self
        if self._resolved is not None and layout is self._resolved[0] and self.trucks is self._resolved[1]:
            return self
        groups = tuple(layout.trucks[each.group].of(each) if each.group in layout.trucks else each for each in stated)
        resolved = self.model_copy(update={"trucks": groups})
        resolved._as_stated, resolved._resolved = stated, (layout, resolved.trucks)
        return resolved

    def areas_of(self, layout: str) -> "dict[str, Scenario]":
        """By name of each area of a layout: the scenario of that area alone, as if there were no other.

        Its truck groups are those that the area serves, as in `in_layout`. Its layout has no areas any more: what is
        shared stands in it too. A layout of one area is that area, under no name.
        """
        if not self.layouts[layout].areas:
            return {"": self.in_layout(layout)}
        return dict(_areas_of(SameScenario(self), layout))

    def _of_area(self, layout: str, name: str) -> "Scenario":
        """Return a copy of one area alone; the truck groups are those of the layout."""
        groups = self.layouts[layout].areas[name].groups
        view = self.model_copy(
            update={
                "trucks": tuple(group for group in self.trucks if group.group in groups),
                "layouts": {layout: self.layouts[layout].of_area(name)},
                "present": layout if self.present == layout else None,
            }
        )
        view._as_stated = tuple(group for group in self._as_stated or self.trucks if group.group in groups)
        view._numbers = {group.group: number for number, group in enumerate(self.trucks) if group.group in groups}
        return view

    def number_of(self, group: str) -> int:
        """Number of a truck group in the file, from 0: paths have it."""
        if self._numbers is not None:
            return self._numbers[group]
        return next(number for number, each in enumerate(self.trucks) if each.group == group)

    def with_layout(self, name: str, layout: Layout) -> "Scenario":
        """Return a copy with a layout in place of the one of that name, or beside the others; it is not checked."""
        changed = self.model_copy(update={"layouts": {**self.layouts, name: layout}})
        changed._source = None
        return changed

    def with_figures(self, figures: Figures) -> "Scenario":
        """Return a copy for which these figures hold from now on; what was read with others stays as it is."""
        changed = self.model_copy()
        changed._figures = figures
        return changed

    def arrangement(self, layout: str) -> Arrangement:
        """Handling arrangement of a layout, with the charger leads that the layout states."""
        stated = self.layouts[layout]
        arrangement = self.handling[stated.handling]
        if stated.charger_leads is None:
            return arrangement
        return arrangement.model_copy(update={"charger_leads": stated.charger_leads})

    def handling_title(self, layout: str) -> str:
        """Title of the handling arrangement of a layout, or of each of its areas with their names."""
        titles = {area: site.arrangement(layout).title for area, site in self.areas_of(layout).items()}
        return "; ".join(f"{area}: {title}" if area else title for area, title in titles.items())

    def standby(self, layout: str) -> Arrangement | None:
        """Handling arrangement that stands by in a layout, if any."""
        stated = self.layouts[layout].standby
        return None if stated is None else self.handling[stated.handling]

    def served_by(self, charger: str) -> tuple[str, ...]:
        """Battery types of the trucks (see `in_layout`) that a charger fits: by chemistry, voltage and connector."""
        kind = self.chargers[charger]
        return tuple(name for name in self.trucks_by_battery if kind.fits(name, self.batteries[name], self.figures))

    def charging_of(self, layout: str) -> ChargingRules:
        """How chargers are held back in a layout: its own rules, or those of the scenario."""
        own = self.layouts[layout].charging
        return self.charging if own is None else own

    @property
    def trucks_by_battery(self) -> dict[str, int]:
        """Trucks by battery type; of a layout, see `in_layout`."""
        counts: dict[str, int] = {}
        for group in self.trucks:
            counts[group.battery] = counts.get(group.battery, 0) + group.count
        return counts

    def batteries_of(self, layout: str) -> dict[str, BatteryCount]:
        """Batteries by type in a layout, those in the trucks included."""
        if self.layouts[layout].areas:
            counts: dict[str, BatteryCount] = {}
            for site in self.areas_of(layout).values():
                for name, count in site.batteries_of(layout).items():
                    counts[name] = count.plus(counts.get(name, BatteryCount(0)))
            return counts
        stated = self.layouts[layout].batteries or {}
        in_trucks = self.in_layout(layout).trucks_by_battery
        if "" in stated:
            return {next(iter(in_trucks)): stated[""]}
        return {name: stated.get(name, BatteryCount(count)) for name, count in in_trucks.items()}

    def kept(self, layout: str, name: str, lot: str = "") -> Kept | None:
        """How many there are of what can no longer be had: a charger type, or a lot of a battery type.

        None where nothing says so: then the number that a layout counts is there.
        """
        for each in (layout, *([] if self.present is None else [self.present])):
            owned = self.layouts[each].owned.get(name)
            if owned is not None:
                return Kept(owned.lots.get(lot, 0) if lot else int(owned), "owned")
        if self.present is None:
            return None
        number: float = self.layouts[self.present].chargers_by_type.get(name, 0)
        if lot:
            number = self.batteries_of(self.present).get(name, BatteryCount(0)).lots.get(lot, 0)
        return Kept(number, f"in layout '{self.present}'")


class SameScenario:
    """A scenario as a key of a cache: by identity, kept alive by the cache."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario

    def __hash__(self) -> int:
        return id(self.scenario)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, SameScenario) and self.scenario is other.scenario


@lru_cache(maxsize=128)
def _in_layout(same: SameScenario, layout: str) -> Scenario:
    """The scenario in a layout, the same one to whoever asks again."""
    return same.scenario._in_layout(layout)


@lru_cache(maxsize=128)
def _areas_of(same: SameScenario, layout: str) -> dict[str, Scenario]:
    """Scenarios of the areas that a layout states, the same ones to whoever asks again."""
    resolved = same.scenario.in_layout(layout)
    return {name: resolved._of_area(layout, name) for name in resolved.layouts[layout].areas}
