"""Facts of the room that a record came from, which its measures need."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from batsim.errors import require


@dataclass(frozen=True)
class TypeFacts:
    """What measures need to know about a battery type: all of one queue, or those that one truck keeps."""

    name: str
    battery_type: str
    """Name of the type, the same for batteries that trucks keep."""
    trucks: int
    cells: int
    capacity_ah: float
    """Capacity at the 5 h rate. [Ah]"""
    room_tau_h: float
    """Thermal time constant in its bay. [h]"""
    truck_tau_h: float
    """Thermal time constant in a truck. [h]"""
    charge_from_degc: float
    """Electrolyte temperature from which a charge may begin. [degC]"""
    charge_below_degc: float
    """Electrolyte temperature up to which a charge may begin. [degC]"""
    use_below_degc: float
    """Electrolyte temperature above which use counts as a hot start. [degC]"""
    vented_share: float
    """Share of its gas that leaves it. [-]"""
    life_ah: float
    """Ampere-hours that it gives in its life at the depth of the cycle test. [Ah]"""
    calendar_years: float
    """Life that age alone allows. [years]"""
    discharge_to_share: float
    """Cut-out. [-]"""
    water_reserve_ah: float
    """Ampere-hours of gassing that use up the water above the plates; infinite where none is added. [Ah]"""
    batteries: int
    lots: tuple[str, ...] = ()
    """Names of its lots; none where lots are not told apart."""


@dataclass(frozen=True)
class AreaFacts:
    """What measures need to know about an area."""

    name: str
    """Empty where the layout is one area."""
    in_truck: bool
    """Whether batteries are charged in the truck."""
    stations: float
    bay: str
    """What holds a battery out of a truck."""
    bays: float
    groups: tuple[int, ...]
    """Numbers of the truck groups that it serves."""
    queues: tuple[int, ...]
    """Numbers of its queues."""
    devices: tuple[int, ...]
    """Numbers of its kinds of device."""
    chargers: tuple[int, ...]
    """Numbers of its charger types."""
    windows: tuple[tuple[float, float], ...]
    """When trucks of any of its groups work. [min]"""
    drivers_maintain: bool = False
    """Whether drivers are named to maintain batteries: their truck stands or waits meanwhile."""


@dataclass(frozen=True)
class RunFacts:
    """What a record needs to know about the room it came from."""

    layout: str
    areas: tuple[AreaFacts, ...]
    seed: int
    replication: int
    horizon_min: float
    warm_up_min: float
    groups: tuple[str, ...]
    group_trucks: tuple[int, ...]
    group_windows: tuple[tuple[tuple[float, float], ...], ...]
    group_shift_min: tuple[float, ...]
    """Mean working minutes of one shift. [min]"""
    site_windows: tuple[tuple[float, float], ...]
    """When trucks of any group work. [min]"""
    minutes_per_working_day: float
    """Site working minutes of a week over its working days. [min]"""
    battery_types: tuple[TypeFacts, ...]
    devices: tuple[str, ...]
    """Kinds of device of all areas; in each those of the standby method last."""
    device_counts: tuple[float, ...]
    chargers: tuple[str, ...]
    charger_counts: tuple[float, ...]
    charger_efficiency: tuple[float, ...]
    charger_power_factor: tuple[float, ...]
    charger_standby_kw: tuple[float, ...]
    """Power from the wall while a charger gives no current. [kW]"""
    attendant_windows: tuple[tuple[float, float, int], ...]
    """Attendants on duty: from, to, how many. Empty when attendants is unlimited or drivers do it all."""

    @property
    def title(self) -> str:
        """Name of the layout, with that of its area where it has only one and that is named."""
        area = self.areas[0].name if len(self.areas) == 1 else ""
        return f"{self.layout}, {area}" if area else self.layout

    def area_named(self, name: str) -> AreaFacts:
        """Area of a name; an area without one where the layout states none.

        Raises
        ------
        ValueError
            If the layout has no area of that name.
        """
        names = ", ".join(area.name for area in self.areas)
        rule = f"an area must be one of the layout, which has {names or 'no areas'} (got {name})"
        require(any(area.name == name for area in self.areas), rule)
        return next(area for area in self.areas if area.name == name)

    @property
    def things(self) -> tuple[str, ...]:
        """Kinds of thing that may be out of use, in the order of the outages table: stations of each area first."""
        return (*("station" for _ in self.areas), *self.devices, *self.chargers)

    @cached_property
    def area_of_thing(self) -> tuple[int, ...]:
        """Number of the area of each kind of thing."""
        return (
            *range(len(self.areas)),
            *self._areas_of(len(self.devices), [area.devices for area in self.areas]),
            *self._areas_of(len(self.chargers), [area.chargers for area in self.areas]),
        )

    @property
    def first_charger(self) -> int:
        """Number of the first charger type among the things."""
        return len(self.areas) + len(self.devices)

    @property
    def in_truck(self) -> bool:
        """Whether all batteries are charged in the truck."""
        return all(area.in_truck for area in self.areas)

    @property
    def stations(self) -> float:
        """Exchange stations and charging spots of all areas."""
        return sum(area.stations for area in self.areas)

    @cached_property
    def area_of_queue(self) -> tuple[AreaFacts, ...]:
        """Area of each queue."""
        return tuple(self.areas[number] for number in self.queue_areas)

    @cached_property
    def queue_areas(self) -> tuple[int, ...]:
        """Number of the area of each queue."""
        return self._areas_of(len(self.battery_types), [area.queues for area in self.areas])

    @cached_property
    def group_areas(self) -> tuple[int, ...]:
        """Number of the area that serves each truck group."""
        return self._areas_of(len(self.groups), [area.groups for area in self.areas])

    @staticmethod
    def _areas_of(count: int, by_area: Sequence[Iterable[int]]) -> tuple[int, ...]:
        """Number of the area of each of so many kinds, of which each area has some."""
        areas = {kind: number for number, kinds in enumerate(by_area) for kind in kinds}
        return tuple(areas[kind] for kind in range(count))

    @property
    def trucks(self) -> int:
        """Trucks in all groups."""
        return sum(self.group_trucks)

    @property
    def batteries(self) -> int:
        """Batteries in all types."""
        return len(self.type_numbers)

    @cached_property
    def type_numbers(self) -> tuple[int, ...]:
        """Number of the battery type of each battery, which is that of its queue."""
        return tuple(number for number, kind in enumerate(self.battery_types) for _ in range(kind.batteries))
