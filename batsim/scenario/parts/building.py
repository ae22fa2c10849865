"""What a survey finds in the building: the battery room, the building, the supply; and the rules that are to hold."""

from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.fit import YES_NO
from batsim.scenario.parts.kinds import Count, Frozen, Quantity, Words
from batsim.scenario.parts.quantities import Metres

VENTILATION_RULES = ("IEC 62485-3:2014", "EN 50272-3:2002")
PUSH_TABLES = ("hse_l23_men", "hse_l23_women", "ccohs", "insurers", "snook_men_90", "snook_women_90", "en_1005_3")

Metre = Annotated[float, Quantity("distance", above=0.0)]
Flow = Annotated[float, Quantity("volume_flow", least=0.0)]


class Space(Frozen):
    """A room in which batteries are charged."""

    length_m: Metre | None = Field(None, alias="length")
    """Inside length. [m]"""
    width_m: Metre | None = Field(None, alias="width")
    """Inside width. [m]"""
    height_m: Metre | None = Field(None, alias="height")
    """Clear height. [m]"""
    contents_share: Annotated[float, Quantity("share", least=0.0, most=0.95)] | None = Field(None, alias="contents")
    """Part of the room that its contents take up. [%]"""
    openings_m2: Annotated[float, Quantity("area", least=0.0)] | None = Field(None, alias="openings")
    """Free area of the inlet to the outside, and of the outlet, the smaller of the two. [m2]"""
    fan_m3_per_h: Flow | None = Field(None, alias="fan")
    """Air that fans take out of the room. [m3/h]"""

    @property
    def area_m2(self) -> float | None:
        """Floor area. [m2]"""
        return None if self.length_m is None or self.width_m is None else self.length_m * self.width_m

    @property
    def volume_m3(self) -> float | None:
        """Volume, contents included. [m3]"""
        return None if self.area_m2 is None or self.height_m is None else self.area_m2 * self.height_m


class BatteryRoom(Space):
    """The battery room."""

    floor_load_kn_per_m2: Annotated[float, Quantity("floor_load", above=0.0)] | None = Field(None, alias="floor_load")
    """Load that the floor may carry. [kN/m2]"""
    floor: Annotated[str, Words("good", "uneven")] | None = None
    """Whether the floor is hard, flat and well kept, or uneven."""
    slope_share: Annotated[float, Quantity("share", least=0.0, most=0.2)] | None = Field(None, alias="slope")
    """Steepest slope on the way of a battery. [%]"""
    aisle_m: Metre | None = Field(None, alias="aisle")
    """Clear width in front of the bays. [m]"""
    beside_truck_m: Metre | None = Field(None, alias="beside_truck")
    """Clear way beside a truck at an exchange station, from the side at which its battery leaves. [m]"""
    wash_m: Metres | None = Field(None, alias="wash")
    """Way from the acid work to the eyewash and shower. [m]"""
    acid_proof: Annotated[str, Words(*YES_NO)] | None = None
    """Whether the floor stands acid and leads charges off, and what is spilt can be held back."""


class Supply(Frozen):
    """The electrical supply of the chargers."""

    voltage_v: Annotated[float, Quantity("voltage", above=0.0)] | None = Field(None, alias="voltage")
    """Between lines, or of the single phase. [V]"""
    phases: Annotated[int, Count(least=1, most=3)] = 3
    """Phases: 1 or 3."""
    spare_kva: Annotated[float, Quantity("apparent_power", above=0.0)] | None = Field(None, alias="spare")
    """What it can carry for chargers beside everything else. [kVA]"""


class Standards(Frozen):
    """Rules that are to hold where editions and countries differ; a competent person confirms them with local codes."""

    ventilation: Annotated[str, Words(*VENTILATION_RULES)] = VENTILATION_RULES[0]
    """Edition of the ventilation rule for traction batteries."""
    push: Annotated[str, Words(*PUSH_TABLES)] = PUSH_TABLES[0]
    """Table of push and pull forces."""


__all__ = ["PUSH_TABLES", "VENTILATION_RULES", "BatteryRoom", "Space", "Standards", "Supply"]
