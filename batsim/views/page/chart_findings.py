"""Titles of the charts of the annex: what each says of a layout, a sentence without its full stop, with its unit."""

import math

from batsim.display import counted
from batsim.measures.names import PART_LABELS
from batsim.measures.room_course import CHARGERS
from batsim.plan.evidence import Evidence
from batsim.plan.ventilation import Ventilation
from batsim.scenario.parts.week import moment_text
from batsim.scenario.site import Scenario
from batsim.statistics.written import mean_text
from batsim.study.compare import Comparison
from batsim.study.room_over import RoomOver
from batsim.study.room_plan import room_plan
from batsim.study.running.runs import DOWNTIME
from batsim.study.truck_shift import lost_minutes
from batsim.study.waits import Waits
from batsim.views.charts.load_chart import peak_text
from batsim.views.charts.stacked_charts import DOWNTIME_WORDS, LABOUR, LABOUR_WORDS
from batsim.views.charts.waits_chart import ALL_BUT_FEW
from batsim.views.text.numbers import short_number

BY_DRIVERS, BY_ATTENDANTS = "labour_driver_min_per_day", "labour_attendant_min_per_day"
WAIT_P95 = "wait_min_p95"


def downtime_finding(comparison: Comparison, layout: str) -> str:
    """Say how much a layout loses, and to what most of it."""
    runs = comparison.runs
    lost = runs.interval(layout, DOWNTIME)
    if not math.isfinite(lost.mean):
        return DOWNTIME_WORDS.title
    says = f"Layout '{layout}' loses {mean_text(lost)} min per truck-shift"
    parts = lost_minutes(runs, layout)
    most = max(parts, key=lambda part: parts[part])
    if not parts[most] > 0.0:
        return says
    minutes = mean_text(runs.interval(layout, f"{most}_min_per_truck_shift"))
    return f"{says}; most of all: {PART_LABELS[most]}, {minutes} min"


def area_finding(comparison: Comparison) -> str:
    """Say which area of all layouts loses least, and which most."""
    runs = comparison.runs
    known = [name for name in comparison.ranking if math.isfinite(runs.interval(name, DOWNTIME).mean)]
    if not known:
        return DOWNTIME_WORDS.title
    by_loss = sorted(known, key=lambda name: runs.interval(name, DOWNTIME).mean)
    least, most = (
        f"'{name}' loses {which}, {mean_text(runs.interval(name, DOWNTIME))}"
        for name, which in ((by_loss[0], "least"), (by_loss[-1], "most"))
    )
    return f"Area {most} min per truck-shift; {least}"


def labour_finding(comparison: Comparison, layout: str) -> str:
    """Say how much hands-on work a layout takes, and whose."""
    runs = comparison.runs
    total, drivers, attendants = (runs.interval(layout, name) for name in (LABOUR, BY_DRIVERS, BY_ATTENDANTS))
    if not math.isfinite(total.mean):
        return LABOUR_WORDS.title
    whose = f", {mean_text(drivers)} of them by drivers"
    if not (drivers.mean > 0.0 and attendants.mean > 0.0):
        whose = ", all by drivers" if drivers.mean > 0.0 else ", all by attendants" if attendants.mean > 0.0 else ""
    return f"Layout '{layout}' takes {mean_text(total)} min of hands-on work per working day{whose}"


def waits_finding(waits: Waits, comparison: Comparison, layout: str) -> str:
    """Say how many exchanges of a layout wait no longer than the target; where there is none, how long 95 % wait."""
    exchanging = [name for name in (layout, *waits.layouts) if name not in waits.without_exchanges]
    if not exchanging:
        return "No layout exchanges batteries"
    name = exchanging[0]
    if waits.target is None:
        return f"95 % of exchanges in layout '{name}' wait no longer than {_longest(waits, comparison, name)} min"
    minutes, wanted = waits.target
    within = mean_text(waits.share_within(name, minutes), share=True)
    says = f"{within} of exchanges in layout '{name}' wait no longer than {minutes:g} min"
    return f"{says}; the target is {100.0 * wanted:g} %"


def _longest(waits: Waits, comparison: Comparison, name: str) -> str:
    """Minutes that 95 % of waits do not exceed, as tables state them; of an area as its curve does."""
    if name in comparison.layouts:
        return mean_text(comparison.interval(name, WAIT_P95))
    return short_number(waits.curve(name).within(ALL_BUT_FEW))


def week_finding(over: RoomOver) -> str:
    """Say when the fewest batteries are ready; with charging in the truck, when most chargers give current."""
    found = over.week_by_hour(CHARGERS["giving current"] if over.in_truck else "ready").extremes
    if math.isnan(found.mean):
        return f"Layout '{over.layout}' has no working day in the week"
    at, number = (found.most_at, found.most) if over.in_truck else (found.least_at, found.least)
    says = "Most chargers give current" if over.in_truck else "Fewest batteries are ready"
    in_all = over.chargers if over.in_truck else over.batteries
    of = f" of {in_all:g}" if math.isfinite(in_all) else ""
    when = moment_text(float(over.hour_min[at]))
    return f"{says} in the hour from {when}: {short_number(number)}{of}, layout '{over.layout}'"


def load_finding(evidence: Evidence) -> str:
    """Say what the chargers of a layout draw at most."""
    return f"Peak load of layout '{evidence.layout}': {peak_text(evidence)} kW, mean of 15 min"


def hydrogen_finding(ventilation: Ventilation, limit: str) -> str:
    """Say how near hydrogen comes to its limit in a space."""
    assert ventilation.peak_share is not None  # asked for before
    share = f"{100.0 * ventilation.peak_share:.2f} %"
    return f"Hydrogen in the {ventilation.space_name} reaches {share} of the air at most; the limit is {limit}"


def room_finding(scenario: Scenario, layout: str, area: str) -> str:
    """Say what stands in the room of a layout, and how far its farthest bay is."""
    plan = room_plan(scenario, layout, area)
    assert plan is not None  # a floor is stated
    where = f"area '{area}' of layout '{layout}'" if area else f"layout '{layout}'"
    says = f"{counted(len(plan.bays), 'bay')} and {counted(len(plan.stations), 'station')} in {where}"
    farthest = max((way.metres for way in plan.ways), default=0.0)
    return f"{says}; {farthest:.1f} m to the farthest bay" if farthest else says
