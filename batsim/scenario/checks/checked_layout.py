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
    whole: Scenario
    """The same with all areas of the layout."""
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
        return layout if not self.area or self.shares(keys[0]) else (*layout, "areas", self.area)

    def shares(self, key: str | int) -> bool:
        """Whether the area shares what stands under a key with others: the layout states it, and it does not."""
        if not self.area or key not in Equipped.model_fields.keys() | ALIASES:
            return bool(self.area)
        layout = ("layouts", self.name)
        there, here = (self.source.holds((*at, key)) for at in (layout, (*layout, "areas", self.area)))
        return key in SHARED and there and not here
