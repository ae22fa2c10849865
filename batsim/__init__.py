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
    from batsim.measures.by_hour import crew_by_hour
    from batsim.measures.event_trace import event_frame, event_trace
    from batsim.measures.room_course import room_course
    from batsim.record import Record
    from batsim.room.simulation import simulate
    from batsim.scenario.reading import read, read_scenario_text
    from batsim.scenario.site import Scenario
    from batsim.study.compare import Comparison, compare
    from batsim.study.day_without import DayWithout, day_without
    from batsim.study.one_more import OneMore, one_more
    from batsim.study.replications import Runs, run
    from batsim.views.battery_chart import battery_chart, cycle_chart
    from batsim.views.room_chart import room_chart

__version__ = "0.1.0"

_HOMES = {
    "BatsimError": "batsim.errors",
    "Comparison": "batsim.study.compare",
    "DayWithout": "batsim.study.day_without",
    "FigureError": "batsim.errors",
    "OneMore": "batsim.study.one_more",
    "Record": "batsim.record",
    "Runs": "batsim.study.replications",
    "Scenario": "batsim.scenario.site",
    "ScenarioError": "batsim.errors",
    "SimulationError": "batsim.errors",
    "battery_chart": "batsim.views.battery_chart",
    "battery_course": "batsim.measures.battery_course",
    "compare": "batsim.study.compare",
    "crew_by_hour": "batsim.measures.by_hour",
    "cycle_chart": "batsim.views.battery_chart",
    "day_without": "batsim.study.day_without",
    "event_frame": "batsim.measures.event_trace",
    "event_trace": "batsim.measures.event_trace",
    "first_cycle": "batsim.measures.battery_course",
    "one_more": "batsim.study.one_more",
    "read": "batsim.scenario.reading",
    "read_scenario_text": "batsim.scenario.reading",
    "room_chart": "batsim.views.room_chart",
    "room_course": "batsim.measures.room_course",
    "run": "batsim.study.replications",
    "simulate": "batsim.room.simulation",
}

__all__ = [
    "BatsimError",
    "Comparison",
    "DayWithout",
    "FigureError",
    "OneMore",
    "Record",
    "Runs",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "battery_chart",
    "battery_course",
    "compare",
    "crew_by_hour",
    "cycle_chart",
    "day_without",
    "event_frame",
    "event_trace",
    "first_cycle",
    "one_more",
    "read",
    "read_scenario_text",
    "room_chart",
    "room_course",
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
