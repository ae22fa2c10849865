"""What an arrangement needs beside its steps: parts to order, sizes that fit, what is pushed by hand, when it suits."""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from batsim.scenario.parts.faults import Fault
from batsim.scenario.parts.fit import Equipment
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Words

FOR_EACH = ("truck", "battery", "spare_battery", "bay", "station", "device", "room")
FITTED = ("rollers", "opening")
DIMENSIONS = (
    "length_in_truck",
    "width_in_truck",
    "height_in_truck",
    "deck_length",
    "deck_width",
    "roller_height",
    "fork_length",
    "fork_length_in_truck",
    "fork_width",
    "fork_lift",
    "hook_spacing",
    "hook_height",
    "opening_length",
    "opening_height",
    "gap_beside_truck",
    "way_beside_truck",
    "way_out",
    "way_out_in_part",
)
"""What is computed from the survey's measures; how stands in `batsim/plan/dimensions.csv`."""
RESTS_ON = {"fork_width": "forks_under", "fork_lift": "forks_under", "hook_height": "lifts"}
"""What an arrangement must name for some of them."""
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
    """What the survey may find on a truck that needs no other: rollers under its battery, or a side that opens far
    enough for the battery."""
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
    forks_under: NameText | None = None
    """What these forks go under, the battery on it: a stand, or a frame in the truck."""
    rolls_on: NameText | None = None
    """The part on which the battery rolls out of the truck and into it, such as a roller bed or a pull-out frame."""
    rolls_onto: tuple[NameText, ...] = ()
    """Equipment whose rollers must be as high as the battery's floor in the truck."""
    beside: NameText | None = None
    """Device that comes to the side of the truck."""
    approval: bool = True
    """Whether the truck's maker has to approve the change equipment."""
    sizes: dict[NameText, Equipment] = Field(default_factory=dict)
    """What the arrangement itself says of equipment, by its name; the site's own comes before it."""
    dimensions: dict[NameText, tuple[Annotated[str, Words(*DIMENSIONS)], ...]] = Field(default_factory=dict)
    """Dimensions that are computed from the survey, by equipment: part, device or what batteries stand on."""
    parts: tuple[Part, ...] = ()
    """Parts to order."""
    pushes: tuple[Push, ...] = ()
    """What is pushed or pulled with a battery on it."""
    advice: Advice = Field(default_factory=dict)  # type: ignore[assignment]
    """When it is usually chosen."""

    def _faults(self) -> Iterator[Fault]:
        """Some dimensions rest on what forks go under, or on what lifts the battery."""
        for name, keys in self.dimensions.items():
            for number, key in enumerate(keys):
                named = RESTS_ON.get(key)
                if named is not None and getattr(self, named) is None:
                    yield Fault(("dimensions", name, number), f"rests on '{named}' of the same block; add it", key)
