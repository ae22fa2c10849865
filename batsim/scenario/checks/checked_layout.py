"""A layout that is being checked: its parts at hand, and problems at its keys."""

from dataclasses import dataclass
from functools import cached_property

from batsim.errors import Problem
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.layouts import SHARED, Equipped, Layout
from batsim.scenario.parts.lots import BatteryCount
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, Path

ALIASES = {field.alias for field in Equipped.model_fields.values()}


@dataclass(frozen=True)
class CheckedLayout:
    """A layout of a scenario, and the located data that it was read from."""

    scenario: Scenario
    """Its truck groups are those of the layout, or of one area of it."""
    name: str
    source: LocatedData
    area: str = ""
    """Area that is looked at; the layout has no others in `scenario`."""

    @cached_property
    def layout(self) -> Layout:
        """The layout."""
        return self.scenario.layouts[self.name]

    @cached_property
    def arrangement(self) -> Arrangement:
        """Its handling arrangement."""
        return self.scenario.arrangement(self.name)

    @cached_property
    def trucks(self) -> dict[str, int]:
        """Trucks by battery type."""
        return self.scenario.trucks_by_battery

    @cached_property
    def batteries(self) -> dict[str, BatteryCount]:
        """Batteries by type, those in the trucks included."""
        return self.scenario.batteries_of(self.name)

    @property
    def pulled_out_at_arrival(self) -> bool:
        """Whether discharged batteries leave their trucks before an exchange can start."""
        return self.scenario.rules.discharged_on_charge == "at_arrival"

    def problem(self, *keys: str | int, rule: str, got: str | None = None, of_key: bool = False) -> Problem:
        """Make a problem at some keys of the layout."""
        return self.source.problem((*self._at(keys), *keys), rule, got=got, of_key=of_key)

    def _at(self, keys: tuple[str | int, ...]) -> Path:
        """Where some keys are stated: in the area, or in the layout what it shares with others."""
        layout = ("layouts", self.name)
        if not self.area:
            return layout
        stated_there = keys[0] in SHARED and self.source.holds((*layout, keys[0]))
        shared = keys[0] not in Equipped.model_fields.keys() | ALIASES
        own = (*layout, "areas", self.area)
        return layout if shared or (stated_there and not self.source.holds((*own, keys[0]))) else own
