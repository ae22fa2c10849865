"""What has to fit together: batteries, the trucks' compartments, what moves batteries and what they stand on."""

from typing import Annotated, Any, NamedTuple

from pydantic import Field

from batsim import units
from batsim.scenario.parts.faults import Fault, read_pair, refuse
from batsim.scenario.parts.kinds import Count, Frozen, Kind, NameText, Quantity, Words
from batsim.scenario.parts.quantities import Kilograms, Millimetres, ShareAbove0
from batsim.scenario.parts.schemas import block_schema, with_help

REMOVALS = ("side", "top", "either", "none")
BASES = ("flat", "rollers")
YES_NO = ("yes", "no")
BEAM = "spreader beam"
"""Equipment that hangs between a hoist and a battery."""


class Window(NamedTuple):
    """Least and greatest of something."""

    least: float
    most: float

    def holds(self, value: float) -> bool:
        """Whether a value lies in it, its ends included."""
        return self.least <= value <= self.most


class WindowText(Kind):
    """One value, or `{from: ..., to: ...}`."""

    def __init__(self, dimension: str) -> None:
        self.quantity, unit = Quantity(dimension, above=0.0), units.DIMENSIONS[dimension].canonical
        self.ends = {"from": f"The least. [{unit}]", "to": f"The most. [{unit}]"}
        value = self.quantity.schema
        self.schema: dict[str, Any] = {"anyOf": [value, block_schema(with_help(value, self.ends), self.ends)]}

    def read(self, value: object) -> Window:
        """Read both ends; one value is both."""
        form = f"needs one value such as '{self.quantity.schema['examples'][0]}', or {{from: ..., to: ...}}"
        least, most = read_pair(value, self.ends, self.quantity.read, form)
        if isinstance(value, dict) and most < least:
            refuse([Fault(("to",), "must be at least 'from'", str(value["to"]))])
        return Window(least, most)


class Dimensions(Frozen):
    """Outer sizes of a battery in its tray, as it stands in the truck."""

    length_mm: Millimetres = Field(alias="length")
    """Along the truck. [mm]"""
    width_mm: Millimetres = Field(alias="width")
    """Across the truck, the way it leaves at the side. [mm]"""
    height_mm: Millimetres = Field(alias="height")
    """Height, without cables. [mm]"""


class Opening(Frozen):
    """The side of a truck as it opens today."""

    length_mm: Millimetres | None = Field(None, alias="length")
    """Clear length along the truck. [mm]"""
    height_mm: Millimetres | None = Field(None, alias="height")
    """Clear height over the floor or the rollers that the battery stands on. [mm]"""
    stands_out_mm: Annotated[float, Quantity("length", least=0.0)] | None = Field(None, alias="stands_out")
    """How far anything still stands out from the side while it is open. [mm]"""


class Compartment(Frozen):
    """Where the battery sits in a truck, and how it leaves."""

    length_mm: Millimetres | None = Field(None, alias="length")
    """Clear length, along the truck. [mm]"""
    width_mm: Millimetres | None = Field(None, alias="width")
    """Clear width, across the truck. [mm]"""
    height_mm: Millimetres | None = Field(None, alias="height")
    """Clear height over the floor or the rollers that the battery stands on. [mm]"""
    floor: Annotated[str, Words("rollers", "flat")] | None = None
    """Whether the battery stands on rollers or on a flat floor."""
    floor_height_mm: Millimetres | None = Field(None, alias="floor_height")
    """Top of that floor or of its rollers over the ground. [mm]"""
    battery_mass_kg: Annotated[Window, WindowText("mass")] | None = Field(None, alias="battery_mass")
    """Least and greatest battery mass on the truck's plate. [kg]"""
    voltage_v: Annotated[float, Quantity("voltage", above=0.0)] | None = Field(None, alias="voltage")
    """Nominal voltage on the truck's plate; from its class when not stated. [V]"""
    connector: NameText | None = None
    """Battery connector of the truck, as it is marked."""
    removal: Annotated[str, Words(*REMOVALS)] | None = None
    """Where the battery leaves; from the truck's class when not stated."""
    opening: Opening = Field(default_factory=dict)  # type: ignore[assignment]
    """How the side opens."""
    fork_depth_mm: Millimetres | None = Field(None, alias="fork_depth")
    """How far forks may go in under the battery from the open side, before they meet the truck. [mm]"""
    maker_approves: Annotated[str, Words(*YES_NO)] | None = None
    """Whether the truck's maker approves the change equipment for this truck and tray; the document was seen."""


class Equipment(Frozen):
    """Sizes and limits of one kind of equipment, as its plate and a tape measure tell."""

    rated_mass_kg: Kilograms | None = Field(None, alias="rated_mass")
    """Greatest mass that it may carry or lift. [kg]"""
    own_mass_kg: Kilograms | None = Field(None, alias="own_mass")
    """Its own mass, where it is pushed along with the battery. [kg]"""
    moved: Annotated[str, Words("by_hand", "powered")] | None = None
    """Whether people push and pull it, or a motor does."""
    resistance_share: ShareAbove0 | None = Field(None, alias="resistance")
    """Force to keep it rolling over its weight; from the state of the floor when not stated. [%]"""
    fork_length_mm: Millimetres | None = Field(None, alias="fork_length")
    """Length of forks. [mm]"""
    forks_over_both_mm: Millimetres | None = Field(None, alias="forks_over_both")
    """Width over both forks. [mm]"""
    raised_mm: Millimetres | None = Field(None, alias="raised")
    """Height of raised forks over the ground. [mm]"""
    fork_room_mm: Millimetres | None = Field(None, alias="fork_room")
    """Clear width that it leaves forks to go under it. [mm]"""
    length_mm: Millimetres | None = Field(None, alias="length")
    """Length, the way a battery comes onto it: across the truck. [mm]"""
    width_mm: Millimetres | None = Field(None, alias="width")
    """Width, along the truck. [mm]"""
    lift_from_mm: Millimetres | None = Field(None, alias="lift_from")
    """Height that forks must reach to lift it off the ground. [mm]"""
    roller_height_mm: Annotated[Window, WindowText("length")] | None = Field(None, alias="roller_height")
    """Top of its rollers over the ground, or from lowest to highest where it can be set. [mm]"""
    way_out_mm: Millimetres | None = Field(None, alias="way_out")
    """How far it lets a battery come out of the truck. [mm]"""
    hook_spacing_mm: Annotated[Window, WindowText("length")] | None = Field(None, alias="hook_spacing")
    """Between which distances the hooks of a spreader beam can be set. [mm]"""
    insulated: Annotated[str, Words(*YES_NO)] | None = None
    """Whether a spreader beam is insulated."""
    hook_height_mm: Millimetres | None = Field(None, alias="hook_height")
    """Highest position of the hook over the ground. [mm]"""
    takes_up_mm: Millimetres | None = Field(None, alias="takes_up")
    """Height that it takes up: a beam with its hooks over the lifting eyes, what a battery rolls on under it. [mm]"""
    people: Annotated[int, Count(least=1, most=4)] | None = None
    """People who push or pull it together."""
