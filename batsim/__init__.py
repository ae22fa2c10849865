"""batsim: discrete-event simulation of motive-power battery rooms.

    >>> import batsim
    >>> site = batsim.read("scenarios/kestrel-lane.yaml")            # doctest: +SKIP
    >>> batsim.compare(site, replications=20)                        # doctest: +SKIP

Names are loaded when they are first used, so that `import batsim` is quick.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.errors import BatsimError, FigureError, ScenarioError, SimulationError
    from batsim.measures.battery_course import battery_course, first_cycle
    from batsim.record import Record
    from batsim.room.simulation import simulate
    from batsim.scenario.reading import read, read_scenario_text
    from batsim.scenario.site import Scenario
    from batsim.study.compare import Comparison, compare
    from batsim.study.replications import Runs, run
    from batsim.views.battery_chart import battery_chart, cycle_chart

__version__ = "0.1.0"

_HOMES = {
    "BatsimError": "batsim.errors",
    "Comparison": "batsim.study.compare",
    "FigureError": "batsim.errors",
    "Record": "batsim.record",
    "Runs": "batsim.study.replications",
    "Scenario": "batsim.scenario.site",
    "ScenarioError": "batsim.errors",
    "SimulationError": "batsim.errors",
    "battery_chart": "batsim.views.battery_chart",
    "battery_course": "batsim.measures.battery_course",
    "compare": "batsim.study.compare",
    "cycle_chart": "batsim.views.battery_chart",
    "first_cycle": "batsim.measures.battery_course",
    "read": "batsim.scenario.reading",
    "read_scenario_text": "batsim.scenario.reading",
    "run": "batsim.study.replications",
    "simulate": "batsim.room.simulation",
}

__all__ = [
    "BatsimError",
    "Comparison",
    "FigureError",
    "Record",
    "Runs",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "battery_chart",
    "battery_course",
    "compare",
    "cycle_chart",
    "first_cycle",
    "read",
    "read_scenario_text",
    "run",
    "simulate",
]


def __getattr__(name: str) -> object:
    """Load a public name from its home on first use."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    msg = f"module 'batsim' has no attribute '{name}'"
    raise AttributeError(msg)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
