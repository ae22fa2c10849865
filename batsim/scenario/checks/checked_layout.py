"""A layout that is being checked: its parts at hand, and problems at its keys."""

from dataclasses import dataclass
from functools import cached_property

from batsim.errors import Problem
from batsim.scenario.parts.handling import Arrangement
from batsim.scenario.parts.layouts import Layout
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData


@dataclass(frozen=True)
class CheckedLayout:
    """A layout of a scenario, and the located data that it was read from."""

    scenario: Scenario
    name: str
    source: LocatedData

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
    def batteries(self) -> dict[str, int]:
        """Batteries by type, those in the trucks included."""
        return self.scenario.batteries_of(self.name)

    @property
    def pulled_out_at_arrival(self) -> bool:
        """Whether discharged batteries leave their trucks before an exchange can start."""
        return self.scenario.rules.discharged_on_charge == "at_arrival"

    def problem(self, *keys: str | int, rule: str, got: str | None = None, of_key: bool = False) -> Problem:
        """Make a problem at some keys of the layout."""
        return self.source.problem(("layouts", self.name, *keys), rule, got=got, of_key=of_key)
