"""What a survey has brought so far: truck groups, who works when, and what is there today."""

import math
from collections.abc import Iterable, Iterator
from typing import Annotated, Any, NamedTuple

from pydantic import Field, PrivateAttr, ValidationError

from batsim.errors import ScenarioError
from batsim.scenario.parts.batteries import RatedCapacity, read_rated_capacity
from batsim.scenario.parts.faults import Fault, did_you_mean, shown
from batsim.scenario.parts.fit import REMOVALS
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Quantity, Words, by_default
from batsim.scenario.parts.layouts import MOST_ATTENDANTS, Area
from batsim.scenario.parts.quantities import KilowattHours, Kilowatts, Metres
from batsim.scenario.parts.week import Shift
from batsim.scenario.reading import catalogue_data
from batsim.scenario.text.located_data import LocatedData, Path
from batsim.scenario.text.problems import problems_of
from batsim.scenario.text.yaml_text import read_text
from batsim.units import parse

COMMAND = "batsim new"
"""Stands for a file in messages about what no option of its own states."""
USUAL_SHIFTS: dict[str, dict[str, Any]] = {
    "day": {"days": "Mon-Fri", "from": "07:00", "to": "15:30", "breaks": ["12:00 for 30 min"]},
    "early": {"days": "Mon-Fri", "from": "06:00", "to": "14:00", "breaks": ["09:30 for 20 min"]},
    "late": {"days": "Mon-Fri", "from": "14:00", "to": "22:00", "breaks": ["18:00 for 20 min"]},
    "night": {"days": "Sun-Thu", "from": "22:00", "to": "06:00", "breaks": ["02:00 for 20 min"]},
}
"""Hours of shifts that are only named."""
IN_A_DAY = {1: ("day",), 2: ("early", "late"), 3: ("early", "late", "night")}
"""Names of the shifts of a day, by how many there are."""
CHEMISTRY = {"lead": "vented_lead_acid", "gel": "valve_regulated", "lithium": "lithium_ion"}
CELL_V = {"lead": 2.0, "gel": 2.0, "lithium": 3.2}
"""Nominal voltage of a cell. [V]"""
USUAL_CLASS = {
    24.0: "pallet_ride_on_24v",
    36.0: "reach_1_6t_48v",
    48.0: "counterbalance_2_0t_48v",
    80.0: "counterbalance_2_5t_80v",
}
"""Truck class to start from where none is stated, by voltage. [V]"""
ROUNDING = 1e-9


class BatteryChoice(NamedTuple):
    """A battery type to write into a scenario."""

    name: str
    kind: str
    """lead, gel or lithium."""
    volts: float
    start: str
    """Entry of the catalogue that it starts from."""
    cells: int | None
    """Cells, where the entry has none or others. [-]"""
    capacity: RatedCapacity
    as_catalogue: bool
    """Whether the entry is it, capacity and mass included."""

    @property
    def kwh(self) -> float:
        """Nominal energy. [kWh]"""
        cells = self.cells or round(self.volts / CELL_V[self.kind])
        return cells * CELL_V[self.kind] * self.capacity.ah / 1000.0


def battery_choice(kind: str, volts: float, capacity: RatedCapacity | None) -> BatteryChoice | None:
    """Battery type of a kind and voltage; None where neither the survey nor the catalogue has a capacity."""
    entry = f"{CHEMISTRY[kind]}_{volts:g}v"
    known = catalogue_data("battery_types").get(entry)
    usual: RatedCapacity | None = read_rated_capacity.read(known["capacity"]) if known and "capacity" in known else None
    chosen = capacity or usual
    if chosen is None:
        return None
    name = f"{kind} {volts:g} V {chosen.ah:g} Ah"
    if chosen == usual:
        return BatteryChoice(name, kind, volts, entry, None, chosen, as_catalogue=True)
    # a lithium-ion battery has so many cells that it is no weaker than the lead-acid one
    cells = math.floor(volts / CELL_V[kind]) + 1 if kind == "lithium" else round(volts / CELL_V[kind])
    return BatteryChoice(name, kind, volts, CHEMISTRY[kind], cells, chosen, as_catalogue=False)


class SurveyedGroup(Frozen):
    """A truck group, as far as a survey has brought it."""

    group: NameText = "trucks"
    """Name of the group."""
    count: Annotated[int, Count(least=1, most=2000)]
    """Trucks in use."""
    truck_class: NameText | None = Field(None, alias="class")
    """Class from the catalogue; it gives voltage, removal and power where they are not known yet."""
    voltage_v: Annotated[float, Quantity("voltage", above=0.0, most=400.0)] | None = Field(None, alias="voltage")
    """Nominal voltage of the battery. [V]"""
    battery: Annotated[str, Words(*CHEMISTRY)] = "lead"
    """Battery: lead, gel or lithium."""
    capacity: Annotated[RatedCapacity, read_rated_capacity] | None = None
    """Rated capacity with its rate; that of the catalogue at this voltage when not known. [Ah, h]"""
    shifts: tuple[NameText, ...] = Field(min_length=1)
    """Names of the shifts that the trucks work; `read_survey` fills in all of the site when not stated."""
    mean_kw: Kilowatts | None = Field(None, alias="mean_power")
    """Mean power at work; that of the class when neither it nor the energy is known. [kW]"""
    energy_per_shift_kwh: KilowattHours | None = Field(None, alias="energy_per_shift")
    """Energy that a truck takes in a shift. [kWh]"""
    removal: Annotated[str, Words(*REMOVALS)] | None = None
    """Where the battery leaves: side, top, either, or none where it stays in; that of the class when not known."""
    distance_m: Metres = by_default("travel.distance", "distance")
    """Way from work to the battery room. [m]"""

    def _faults(self) -> Iterator[Fault]:
        """Want what the catalogue cannot stand in for."""
        classes = list(catalogue_data("truck_classes"))
        if self.truck_class is not None and self.truck_class not in classes:
            yield Fault(
                ("class",), f"not in the catalogue{did_you_mean(self.truck_class, classes)}", shown(self.truck_class)
            )
        elif self.voltage_v is None and self.truck_class is None:
            yield Fault(("voltage",), "missing: nominal voltage of the battery, such as 48 V")
        else:
            yield from self._power_faults()
            yield from self._battery_faults()

    def _power_faults(self) -> Iterator[Fault]:
        """Want one power, stated or of the class."""
        stated = [value for value in (self.mean_kw, self.energy_per_shift_kwh) if value is not None]
        if len(stated) > 1:
            yield Fault(("mean_power",), "'energy_per_shift' is stated too; keep one of the two")
        if not stated and self.usual_class is None:
            rule = f"no truck class stands in for {self.volts:g} V; state 'mean_power', 'energy_per_shift' or a 'class'"
            yield Fault(("mean_power",), rule)

    def _battery_faults(self) -> Iterator[Fault]:
        """Want whole cells and a capacity, stated or of the catalogue."""
        cells = self.volts / CELL_V[self.battery]
        if self.battery != "lithium" and abs(cells - round(cells)) > ROUNDING:
            yield Fault(("voltage",), f"{self.battery} batteries have cells of 2 V", f"{self.volts:g} V")
        elif battery_choice(self.battery, self.volts, self.capacity) is None:
            known = f"{self.battery}, {self.volts:g} V"
            yield Fault(
                ("capacity",), f"missing: the catalogue has no battery to start from ({known}); '750 Ah at 5 h'"
            )

    @property
    def usual_class(self) -> str | None:
        """Truck class that is stated, or usual for the voltage."""
        return self.truck_class or USUAL_CLASS.get(self.voltage_v or 0.0)

    @property
    def volts(self) -> float:
        """Nominal voltage, stated or of the class. [V]"""
        if self.voltage_v is not None:
            return self.voltage_v
        return parse(catalogue_data("truck_classes")[str(self.truck_class)]["voltage"], "voltage")

    @property
    def leaves(self) -> str:
        """Where the battery leaves, stated or of the class."""
        usual = catalogue_data("truck_classes").get(self.usual_class or "", {})
        return self.removal or str(usual.get("removal", "side"))

    @property
    def battery_type(self) -> BatteryChoice:
        """Battery type of its trucks."""
        choice = battery_choice(self.battery, self.volts, self.capacity)
        assert choice is not None  # else it is refused
        return choice


class Survey(Frozen):
    """What a survey has brought so far."""

    site: NameText
    """Name of the site."""
    currency: str = Field("EUR", pattern=r"^[A-Z]{3}$")
    """Three letters of ISO 4217."""
    shifts: dict[NameText, Shift] = Field(min_length=1)
    """Shifts of trucks and attendants by name."""
    groups: tuple[SurveyedGroup, ...] = Field(min_length=1)
    """Truck groups."""
    attendants: dict[NameText, Annotated[int, Count(most=MOST_ATTENDANTS)]] | None = None
    """Attendants of the battery room by shift; in shifts that have none drivers exchange."""
    today: tuple[Area, ...] = ()
    """What is there today, by the groups that it serves."""

    _data: dict[str, Any] = PrivateAttr(default_factory=dict)

    @property
    def data(self) -> dict[str, Any]:
        """The same as plain data, as it was stated."""
        return self._data

    def _faults(self) -> Iterator[Fault]:
        """Find names that are not there, or twice."""
        names = [group.group for group in self.groups]
        for number, group in enumerate(self.groups):
            if group.group in names[:number]:
                yield Fault(("groups", number, "group"), "another group has this name", shown(group.group))
            yield from self._unknown(group.shifts, ("groups", number, "shifts"), self.shifts, "shift")
        yield from self._unknown(self.attendants or (), ("attendants",), self.shifts, "shift")
        yield from self._today_faults(names) if self.today else ()

    def _today_faults(self, names: list[str]) -> Iterator[Fault]:
        """Find groups that are not there, or are not served exactly once today."""
        served: list[str] = []
        for number, area in enumerate(self.today):
            yield from self._unknown(area.groups, ("today", number, "for"), names, "truck group")
            for name in set(area.groups) & set(served):
                yield Fault(("today", number, "for"), "is served twice today", shown(name))
            served += area.groups
        for name in [name for name in names if name not in served]:
            yield Fault(("today",), f"does not say how group '{name}' is served")

    @staticmethod
    def _unknown(names: Iterable[str], at: Path, known: Iterable[str], what: str) -> Iterator[Fault]:
        """Names that are not among those that are known."""
        known = list(known)
        for name in [name for name in names if name not in known]:
            yield Fault(at, f"no {what} of this name{did_you_mean(name, known)}", shown(name))


def read_survey(source: LocatedData) -> Survey:
    """Check what a survey brought.

    Parameters
    ----------
    source
        site, currency, shifts, groups, attendants and today, as YAML would hold them. Shifts that are only named, by
        `shifts` without hours, by groups or attendants, have their usual hours; what is there today serves all groups
        unless it says otherwise.

    Raises
    ------
    ScenarioError
        With everything that is wrong, each where it was stated.
    """
    source = source.copy()
    _complete(source.data)
    try:
        survey = Survey.model_validate(source.data)
    except ValidationError as error:
        raise ScenarioError(source.file, problems_of(error, source, Survey)) from None
    survey._data = source.data
    return survey


def _complete(data: dict[str, Any]) -> None:
    """Add hours of usual shifts, all shifts where a group names none, and all groups where today names none."""
    groups, shifts = _blocks(data, "groups"), data.setdefault("shifts", {})
    listed = [group["shifts"] for group in groups if isinstance(group.get("shifts"), list)]
    _add_usual(shifts, [*shifts, *(str(name) for names in listed for name in names)])
    if not shifts:
        _add_usual(shifts, IN_A_DAY[1])
    for group in groups:
        group.setdefault("shifts", list(shifts))
    _add_usual(shifts, data.get("attendants") or ())
    for area in _blocks(data, "today"):
        area.setdefault("for", [group.get("group", "trucks") for group in groups])


def _blocks(data: dict[str, Any], key: str) -> list[dict[str, Any]]:
    """Entries of a list that are blocks of keys."""
    return [entry for entry in data.get(key, ()) if isinstance(entry, dict)]


def _add_usual(shifts: dict[str, Any], names: Iterable[str]) -> None:
    """Give shifts that are only named their usual hours."""
    for name in list(names):
        if name in USUAL_SHIFTS and shifts.get(name) is None:
            shifts[name] = dict(USUAL_SHIFTS[name])


def located_option(option: str, text: str) -> LocatedData:
    """Read the text of an option, keys and values as in YAML, the braces around them left out."""
    braces = "" if text.lstrip().startswith("{") else "{}"
    source = read_text(f"{braces[:1]}{text}{braces[1:]}", option)
    shift = len(braces[:1])
    for locations in (source.locations, source.key_locations):
        for path, place in locations.items():
            locations[path] = place._replace(column=max(1, place.column - shift))
    return source
