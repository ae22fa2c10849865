"""Public names of batsim, each with its home; this list is the only one."""

from .calibration.beside import Beside as Beside, beside as beside
from .calibration.calibrate import Calibration as Calibration, calibrate as calibrate
from .calibration.closing import Closing as Closing, closing as closing
from .calibration.finding import Finding as Finding
from .calibration.log import Log as Log
from .calibration.logs_of import logs_of as logs_of
from .calibration.read_log import read_log as read_log
from .catalogue import Figures as Figures
from .decision.answer import Answer as Answer
from .decision.compared import compare as compare, compare_uncertain as compare_uncertain
from .decision.decide import Decision as Decision, decide as decide
from .decision.recommendation import Recommendation as Recommendation, recommend as recommend
from .errors import (
    BatsimError as BatsimError,
    FigureError as FigureError,
    ScenarioError as ScenarioError,
    SimulationError as SimulationError,
    StudyError as StudyError,
)
from .measures.battery_course import battery_course as battery_course, first_cycle as first_cycle
from .measures.by_hour import attendants_by_hour as attendants_by_hour
from .measures.event_trace import event_frame as event_frame, event_trace as event_trace
from .measures.events import Event as Event
from .measures.room_course import RoomCourse as RoomCourse, room_course as room_course
from .plan.plan import Plan as Plan, plan_layouts as plan_layouts
from .plan.survey_sheet import SurveySheet as SurveySheet, survey as survey
from .record.part import of_area as of_area
from .record.record import Record as Record
from .room.simulation import simulate as simulate
from .scenario.examples import example as example
from .scenario.reading import changed as changed, read as read, read_scenario_text as read_scenario_text
from .scenario.settings import Schedule as Schedule, Settings as Settings
from .scenario.site import Scenario as Scenario
from .scenario.study_file import Study as Study
from .statistics.dependence import (
    Dependence as Dependence,
    differs_between as differs_between,
    differs_over_day as differs_over_day,
    differs_over_weeks as differs_over_weeks,
    like_the_one_before as like_the_one_before,
    steps_together as steps_together,
)
from .statistics.fitting import Fitted as Fitted, fit as fit
from .statistics.intervals import Interval as Interval
from .study.bottleneck.bottleneck import Bottleneck as Bottleneck, bottleneck as bottleneck
from .study.compare import Comparison as Comparison
from .study.event_log import event_log as event_log
from .study.day_without import DayWithout as DayWithout, day_without as day_without
from .study.lost_by_hour import LostByHour as LostByHour, lost_by_hour as lost_by_hour
from .study.replay.replay import Replay as Replay, replay as replay
from .study.room_over import RoomOver as RoomOver, room_over as room_over
from .study.running.replications import run as run
from .study.running.runs import Runs as Runs
from .study.sweeps.export import Written as Written, export_store as export_store
from .study.sweeps.sensitivity import Sensitivity as Sensitivity
from .study.sweeps.store import merge_stores as merge_stores
from .study.sweeps.sweep import read_study as read_study, sweep as sweep
from .study.sweeps.sweep_result import Sweep as Sweep
from .study.uncertain import UncertainComparison as UncertainComparison
from .study.waits import Waits as Waits, waits_over as waits_over
from .study.warm_up import WarmUp as WarmUp, warm_up as warm_up
from .study.worst_hour import WorstHour as WorstHour, worst_hour as worst_hour
from .verification.verify import Verification as Verification, verify as verify
from .views.charts.battery_chart import (
    battery_chart as battery_chart,
    battery_text as battery_text,
    cycle_chart as cycle_chart,
)
from .views.charts.beside_chart import (
    beside_chart as beside_chart,
    beside_text as beside_text,
    compared_chart as compared_chart,
    compared_text as compared_text,
)
from .views.charts.bottleneck_chart import bottleneck_chart as bottleneck_chart
from .views.charts.cost_chart import cost_chart as cost_chart, cost_text as cost_text
from .views.charts.fit_chart import fit_chart as fit_chart, fit_text as fit_text
from .views.charts.frontier_chart import frontier_chart as frontier_chart, frontier_text as frontier_text
from .views.charts.heat_chart import heat_chart as heat_chart, heat_text as heat_text
from .views.charts.hydrogen_chart import hydrogen_chart as hydrogen_chart, hydrogen_text as hydrogen_text
from .views.charts.lanes_chart import lanes_chart as lanes_chart, lanes_text as lanes_text
from .views.charts.life_line_chart import life_line_chart as life_line_chart, life_line_text as life_line_text
from .views.charts.load_chart import load_chart as load_chart, load_text as load_text
from .views.charts.minutes_chart import minutes_chart as minutes_chart, minutes_text as minutes_text
from .views.charts.room_chart import room_chart as room_chart, room_text as room_text
from .views.charts.room_plan_chart import room_plan_chart as room_plan_chart, room_plan_text as room_plan_text
from .views.charts.season_chart import season_chart as season_chart, season_text as season_text
from .views.charts.sensitivity_chart import (
    indices_chart as indices_chart,
    sensitivity_text as sensitivity_text,
    tornado_chart as tornado_chart,
)
from .views.charts.stacked_charts import (
    downtime_chart as downtime_chart,
    downtime_text as downtime_text,
    labour_chart as labour_chart,
    labour_text as labour_text,
)
from .views.charts.truck_shift_chart import (
    truck_shift_chart as truck_shift_chart,
    truck_shift_text as truck_shift_text,
)
from .views.charts.waits_chart import waits_chart as waits_chart, waits_text as waits_text
from .views.charts.week_chart import (
    day_chart as day_chart,
    day_text as day_text,
    week_chart as week_chart,
    week_text as week_text,
)
from .views.page.calibration import calibration_html as calibration_html
from .views.page.replay import replay_block as replay_block, replay_html as replay_html
from .views.page.report import order_csv as order_csv, report_html as report_html
from .views.page.survey import survey_html as survey_html

__version__: str
