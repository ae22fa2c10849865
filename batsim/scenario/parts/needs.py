"""What an arrangement needs beside its steps: parts to order, sizes that fit, what is pushed by hand, when it suits."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import Fault
from batsim.scenario.parts.fit import Equipment
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Words

FOR_EACH = ("truck", "battery", "spare_battery", "bay", "station", "device", "room")
FITTED = ("rollers", "opens", "opens_wide")
SECTIONS = ("handling", "truck", "maintenance", "room")


class Part(Frozen):
    """A part to order, and how many of it."""

    part: NameText
    """What it is."""
    for_each: Annotated[str, Words(*FOR_EACH)]
    """What it is counted by: so many for each truck, battery, battery beyond one for each truck, bay, station,
    device, or for the room."""
    device: NameText | None = None
    """The device, where it is counted by one."""
    number: Annotated[int, Count(least=1, most=20)] = 1
    """How many for each."""
    section: Annotated[str, Words(*SECTIONS)] = "handling"
    """Where it stands in the equipment list: handling equipment, truck side, maintenance, room."""
    watered_by: Annotated[str, Words("hand", "single_point")] | None = None
    """Needed only where batteries are watered so."""
    removal: Annotated[str, Words("side", "top")] | None = None
    """Needed only for trucks whose battery leaves that way; for each truck, or where there is any such truck."""
    fitted: Annotated[str, Words(*FITTED)] | None = None
    """What the survey may find on a truck that has it already: rollers under its battery, a side that opens, or one
    that opens far enough for a device along it."""
    size_of: NameText | None = None
    """Equipment whose sizes it has; its own when not stated."""
    why: str = ""
    """Why it is needed, in a few words."""

    def _faults(self) -> Iterator[Fault]:
        """A device is named where it counts, and nowhere else."""
        if (self.for_each == "device") != (self.device is not None):
            yield Fault(("device",), "goes with 'for_each: device', and only with it")


class Push(Frozen):
    """Something that is pushed or pulled with a battery on it."""

    what: NameText
    """What is moved, in words."""
    equipment: tuple[NameText, ...] = Field(min_length=1)
    """Equipment that moves along; the first is what people push."""
    on: Annotated[str, Words("floor", "rollers")] = "floor"
    """Whether it goes over the floor, or the battery over rollers."""


class Advice(Frozen):
    """When an arrangement is usually chosen; shown beside the numbers, never instead of them."""

    trucks_from: Annotated[int, Count()] = 0
    """Fewest trucks for which it is usual."""
    trucks_to: Annotated[int, Count(least=1)] | None = None
    """Most trucks for which it is usual; no limit when not stated."""
    shifts_from: Annotated[int, Count(least=1, most=4)] = 1
    """Fewest shifts."""
    shifts_to: Annotated[int, Count(least=1, most=4)] | None = None
    """Most shifts; no limit when not stated."""
    needs_owned: tuple[NameText, ...] = ()
    """Equipment that is usually there already where it is chosen."""
    movable: Annotated[str, Words("yes", "no")] = "no"
    """Whether the room can be moved with it."""
    says: str = ""
    """The usual reasons, in a sentence or two."""


class Needs(Frozen):
    """What an arrangement asks of trucks, batteries and equipment."""

    removal: Annotated[str, Words("side", "top", "any")] = "any"
    """Where the battery must leave the truck."""
    lifts: NameText | None = None
    """Device that lifts the battery; it hangs from a spreader beam."""
    forks: NameText | None = None
    """Device whose forks go under the battery or what it stands on."""
    carrier: NameText | None = None
    """What the battery rolls on, and the forks go under: a trolley or a stand."""
    rolls_onto: tuple[NameText, ...] = ()
    """Equipment whose rollers must be as high as the battery's floor in the truck."""
    beside: NameText | None = None
    """Device that comes to the side of the truck, past its door."""
    approval: bool = True
    """Whether the truck's maker has to approve the change equipment."""
    sizes: dict[NameText, Equipment] = Field(default_factory=dict)
    """Sizes that are usually ordered, by equipment."""
    parts: tuple[Part, ...] = ()
    """Parts to order."""
    pushes: tuple[Push, ...] = ()
    """What is pushed or pulled with a battery on it."""
    advice: Advice = Field(default_factory=dict)  # type: ignore[assignment]
    """When it is usually chosen."""
