"""batsim: discrete-event simulation of motive-power battery rooms.

    >>> import batsim
    >>> site = batsim.read("scenarios/kestrel-lane.yaml")            # doctest: +SKIP
    >>> batsim.compare(site, batsim.Settings(replications=20))                        # doctest: +SKIP

Names are loaded when they are first used, so that `import batsim` is quick.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batsim.decision.answer import Answer
    from batsim.decision.decide import Decision, decide
    from batsim.decision.ranking import Recommendation, recommend
    from batsim.errors import BatsimError, FigureError, ScenarioError, SimulationError, StudyError
    from batsim.measures.battery_course import battery_course, first_cycle
    from batsim.measures.by_hour import attendants_by_hour
    from batsim.measures.event_trace import event_frame, event_trace
    from batsim.measures.room_course import room_course
    from batsim.plan.plan import Plan, plan_layouts
    from batsim.record import Record
    from batsim.room.simulation import simulate
    from batsim.scenario.reading import changed, read, read_scenario_text
    from batsim.scenario.settings import Schedule, Settings
    from batsim.scenario.site import Scenario
    from batsim.scenario.study_file import Study
    from batsim.study.bottleneck.bottleneck import Bottleneck, bottleneck
    from batsim.study.compare import Comparison, compare
    from batsim.study.day_without import DayWithout, day_without
    from batsim.study.room_over import room_over
    from batsim.study.running.replications import Runs, run
    from batsim.study.sweeps.export import export_store
    from batsim.study.sweeps.sensitivity import sensitivity
    from batsim.study.sweeps.store import merge_stores
    from batsim.study.sweeps.sweep import read_study, sweep
    from batsim.study.sweeps.sweep_result import Sweep
    from batsim.study.uncertain import UncertainComparison, compare_uncertain
    from batsim.study.waits import waits_over
    from batsim.study.warm_up import warm_up
    from batsim.views.charts.battery_chart import battery_chart, cycle_chart
    from batsim.views.charts.bottleneck_chart import bottleneck_chart
    from batsim.views.charts.downtime_chart import downtime_chart
    from batsim.views.charts.frontier_chart import frontier_chart
    from batsim.views.charts.hydrogen_chart import hydrogen_chart
    from batsim.views.charts.labour_chart import labour_chart
    from batsim.views.charts.life_line_chart import life_line_chart
    from batsim.views.charts.load_chart import load_chart
    from batsim.views.charts.room_chart import room_chart
    from batsim.views.charts.room_plan_chart import room_plan_chart
    from batsim.views.charts.sensitivity_chart import indices_chart, tornado_chart
    from batsim.views.charts.waits_chart import waits_chart
    from batsim.views.charts.week_chart import day_chart, week_chart

__version__ = "0.1.0"

_HOMES = {
    "Answer": "batsim.decision.answer",
    "BatsimError": "batsim.errors",
    "Bottleneck": "batsim.study.bottleneck.bottleneck",
    "Comparison": "batsim.study.compare",
    "DayWithout": "batsim.study.day_without",
    "Decision": "batsim.decision.decide",
    "FigureError": "batsim.errors",
    "Plan": "batsim.plan.plan",
    "Recommendation": "batsim.decision.ranking",
    "Record": "batsim.record",
    "Runs": "batsim.study.running.replications",
    "Scenario": "batsim.scenario.site",
    "ScenarioError": "batsim.errors",
    "Schedule": "batsim.scenario.settings",
    "Settings": "batsim.scenario.settings",
    "SimulationError": "batsim.errors",
    "Study": "batsim.scenario.study_file",
    "StudyError": "batsim.errors",
    "Sweep": "batsim.study.sweeps.sweep_result",
    "UncertainComparison": "batsim.study.uncertain",
    "attendants_by_hour": "batsim.measures.by_hour",
    "battery_chart": "batsim.views.charts.battery_chart",
    "battery_course": "batsim.measures.battery_course",
    "bottleneck": "batsim.study.bottleneck.bottleneck",
    "bottleneck_chart": "batsim.views.charts.bottleneck_chart",
    "changed": "batsim.scenario.reading",
    "compare": "batsim.study.compare",
    "compare_uncertain": "batsim.study.uncertain",
    "cycle_chart": "batsim.views.charts.battery_chart",
    "day_chart": "batsim.views.charts.week_chart",
    "day_without": "batsim.study.day_without",
    "decide": "batsim.decision.decide",
    "downtime_chart": "batsim.views.charts.downtime_chart",
    "event_frame": "batsim.measures.event_trace",
    "event_trace": "batsim.measures.event_trace",
    "export_store": "batsim.study.sweeps.export",
    "first_cycle": "batsim.measures.battery_course",
    "frontier_chart": "batsim.views.charts.frontier_chart",
    "hydrogen_chart": "batsim.views.charts.hydrogen_chart",
    "indices_chart": "batsim.views.charts.sensitivity_chart",
    "labour_chart": "batsim.views.charts.labour_chart",
    "life_line_chart": "batsim.views.charts.life_line_chart",
    "load_chart": "batsim.views.charts.load_chart",
    "merge_stores": "batsim.study.sweeps.store",
    "plan_layouts": "batsim.plan.plan",
    "read": "batsim.scenario.reading",
    "read_scenario_text": "batsim.scenario.reading",
    "read_study": "batsim.study.sweeps.sweep",
    "recommend": "batsim.decision.ranking",
    "room_chart": "batsim.views.charts.room_chart",
    "room_course": "batsim.measures.room_course",
    "room_over": "batsim.study.room_over",
    "room_plan_chart": "batsim.views.charts.room_plan_chart",
    "run": "batsim.study.running.replications",
    "sensitivity": "batsim.study.sweeps.sensitivity",
    "simulate": "batsim.room.simulation",
    "sweep": "batsim.study.sweeps.sweep",
    "tornado_chart": "batsim.views.charts.sensitivity_chart",
    "waits_chart": "batsim.views.charts.waits_chart",
    "waits_over": "batsim.study.waits",
    "warm_up": "batsim.study.warm_up",
    "week_chart": "batsim.views.charts.week_chart",
}

__all__ = [
    "Answer",
    "BatsimError",
    "Bottleneck",
    "Comparison",
    "DayWithout",
    "Decision",
    "FigureError",
    "Plan",
    "Recommendation",
    "Record",
    "Runs",
    "Scenario",
    "ScenarioError",
    "Schedule",
    "Settings",
    "SimulationError",
    "Study",
    "StudyError",
    "Sweep",
    "UncertainComparison",
    "attendants_by_hour",
    "battery_chart",
    "battery_course",
    "bottleneck",
    "bottleneck_chart",
    "changed",
    "compare",
    "compare_uncertain",
    "cycle_chart",
    "day_chart",
    "day_without",
    "decide",
    "downtime_chart",
    "event_frame",
    "event_trace",
    "export_store",
    "first_cycle",
    "frontier_chart",
    "hydrogen_chart",
    "indices_chart",
    "labour_chart",
    "life_line_chart",
    "load_chart",
    "merge_stores",
    "plan_layouts",
    "read",
    "read_scenario_text",
    "read_study",
    "recommend",
    "room_chart",
    "room_course",
    "room_over",
    "room_plan_chart",
    "run",
    "sensitivity",
    "simulate",
    "sweep",
    "tornado_chart",
    "waits_chart",
    "waits_over",
    "warm_up",
    "week_chart",
]


def __getattr__(name: str) -> object:
    """Load a public name from its home on first use."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    msg = f"module 'batsim' has no attribute '{name}'"
    raise AttributeError(msg)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
