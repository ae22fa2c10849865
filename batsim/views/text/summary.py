"""What a scenario or study states, in a few lines, with its first numbers."""

import math

from batsim.catalogue import FIGURES, sources
from batsim.display import counted
from batsim.formulas.rules_of_thumb import SHIFT_HOURS
from batsim.plan.possible import impossible_layouts
from batsim.scenario.parts.batteries import Equalising
from batsim.scenario.parts.week import WEEK_MIN, WEEKS_A_YEAR, name_of_weeks
from batsim.scenario.settings import Settings
from batsim.scenario.site import Scenario
from batsim.study.first_estimate import GroupOutline, LayoutOutline, LotOutline, Outline
from batsim.study.sweeps.agenda import Agenda
from batsim.views.text.lines import hung
from batsim.views.text.numbers import are

LONGEST = 160
"""Characters of what something may be that are shown."""
IN_WORDS = ("one", "two", "three")
"""Shifts of a day in words."""
ALL_DAY_H = 23.99
"""Work that leaves no break in a day. [h]"""
MOST_COUNTED = 20_000
"""Cases up to which those that several points share are counted once."""


def summary_text(outline: Outline, width: int = 100) -> str:
    """Say that a scenario reads well, and what it amounts to, for a terminal so many characters wide."""
    scenario = outline.scenario
    lines = [f"{scenario.file}: reads well", f"  {scenario.site.name}"]
    for group in outline.groups:
        truck = group.truck
        lines.append(f"  {truck.count} x {truck.group} on {', '.join(truck.shifts)}; battery {truck.battery}")
        lines.append(f"    {_work_on_one(group)}")
    lines += _equalising_lines(scenario)
    impossible = impossible_layouts(scenario, scenario.layouts)
    for layout in outline.layouts:
        lines += _layout_lines(layout)
        if layout.name in impossible:
            lines.append(f"    impossible: {impossible[layout.name]}")
    lines += _weeks_lines(scenario)
    if unknowns := scenario.unknowns:
        lines.append(f"  {are(len(unknowns), 'input')} not known; a middle value stands in:")
        lines += [_line(unknown.path, unknown.text) for unknown in unknowns]
    if stated := scenario.figures.stated:
        lines.append(f"  {are(len(stated), 'figure')} stated in place of the catalogue's:")
        lines += [
            f"    {usual.name}: {stated[usual.name].text} in place of {usual.text}"
            for usual in FIGURES.values()
            if usual.name in stated
        ]
    lines.append("Rules of thumb know no queue and no spread; run 'batsim compare' for the answer.")
    return _fitted(lines, width)


def _equalising_lines(scenario: Scenario) -> list[str]:
    """How batteries are equalised where a site leaves that to the catalogue, with where that comes from."""
    lines = []
    for name in dict.fromkeys(name for layout in scenario.layouts for name in scenario.batteries_of(layout)):
        battery, citations = scenario.batteries[name], sources()
        if battery.equalising is None:
            continue
        every, length, current = (
            scenario.figures[f"battery.{battery.chemistry}.equalise_{key}"] for key in ("every", "length", "current")
        )
        usual = Equalising.model_validate({"every": every.text, "length": length.text, "current": current.text})
        if battery.equalising == usual:
            cited = "; ".join(dict.fromkeys(citations[figure.source].citation for figure in (every, length, current)))
            ranges = ", ".join(f"{figure.low:g} to {figure.high_text}" for figure in (every, length, current))
            lines += [
                f"  {name}: equalised every {every.text} for {length.text} at {current.text}",
                f"    not stated: the middle of {ranges} ({cited})",
            ]
    return lines


def study_summary(agenda: Agenda, width: int = 100) -> str:
    """Say that a study reads well, and what it comes to, for a terminal so many characters wide."""
    study, schedule, points = agenda.study, agenda.schedule, agenda.points
    layouts = f"{counted(len(schedule.layouts), 'layout')} ({', '.join(schedule.layouts)})"
    weeks = counted(schedule.length_min / WEEK_MIN, "week")
    most = len(points) * len(schedule.layouts) * schedule.replications
    cases = f"at most {counted(most, 'case')}" if most > MOST_COUNTED else counted(len(agenda.cases()), "case")
    lines = [
        f"{study.file}: reads well",
        *([f"  {study.question}"] if study.question else []),
        f"  {study.scenario.site.name}",
        f"  {study.design.text}: {counted(len(points), 'point')}, {layouts}, "
        f"{counted(schedule.replications, 'replication')} of {weeks} each",
        f"  {cases} to run",
        f"  {counted(len(points.factors), 'factor')}:",
        *(_line(factor.path, factor.text) for factor in points.factors),
        f"Run it with 'batsim sweep {study.file}'.",
    ]
    return _fitted(lines, width)


def _fitted(lines: list[str], width: int) -> str:
    """Break lines that are too long; what follows is set in further than they are."""
    return "\n".join(hung(line.lstrip(" "), width, len(line) - len(line.lstrip(" "))) for line in lines)


def _line(path: str, text: str) -> str:
    """A path and what may stand there; a long list is cut."""
    return f"    {path}: {text if len(text) <= LONGEST else f'{text[: LONGEST - 3]}...'}"


def _work_on_one(group: GroupOutline) -> str:
    """Say how long a truck works on one battery."""
    power, left = f" at {group.power_kw:g} kW" if group.power_kw else "", 100 * group.truck.exchange_at_share
    return f"about {group.run_h:.1f} h of work on one battery{power}, until {left:g} % is left"


def _layout_lines(layout: LayoutOutline) -> list[str]:
    """Lines on one layout."""
    lines = [f"  layout {layout.name}: {layout.arrangement.title}"]
    lines += [
        f"    {group.truck.group} with battery {group.truck.battery}: {_work_on_one(group)}" for group in layout.changed
    ]
    for stock in layout.stock:
        lines.append(
            f"    {stock.battery}: {counted(stock.batteries, 'battery')} for {counted(stock.trucks, 'truck')}; "
            f"a full charge takes about {stock.charge_h:.1f} h on {stock.charger}"
        )
        lines += [f"      {_lot(lot)}" for lot in stock.lots]
        if stock.held_h > stock.charge_h:
            lines.append(
                f"      a charger is bound to its bay: taken for {stock.held_h:.1f} h and until the battery goes; "
                f"'batsim bottleneck' says what loose leads save"
            )
        if math.isfinite(stock.per_truck):
            lines.append(
                f"      rule of thumb for {_work(stock.work_h)}: {stock.per_truck:.2f} a truck, "
                f"{math.ceil(stock.per_truck * stock.trucks)} in all"
            )
    chargers = ", ".join(f"{_number(count)} x {name}" for name, count in layout.chargers)
    stations = _counted(layout.stations, "charging spot" if layout.arrangement.in_truck else "exchange station")
    bays = "" if layout.arrangement.in_truck else f"; {_counted(layout.bays, 'bay')} ({layout.arrangement.bay})"
    lines.append(f"    {stations}{bays}; chargers {chargers}")
    return lines


def _lot(lot: LotOutline) -> str:
    """How many batteries a lot has, and what they have behind them."""
    least, most = (f"{100.0 * share:.3g}" for share in lot.life_used)
    used = f"{least} to {most}" if least != most else most
    parts = [f"{used} % of their life used"]
    if lot.capacity_left_share is not None:
        parts.append(f"{100.0 * lot.capacity_left_share:.3g} % of the rated capacity")
    if lot.age_years:
        parts.append(f"{lot.age_years:g} years old")
    return f"{lot.batteries} x {lot.name}: {', '.join(parts)}"


def _work(hours: float) -> str:
    """Say how long trucks work on a day, as the trade does: by shifts of eight hours."""
    if hours > ALL_DAY_H:
        return "work round the clock"
    return f"{IN_WORDS[min(max(1, round(hours / SHIFT_HOURS)), len(IN_WORDS)) - 1]}-shift work"


def _weeks_lines(scenario: Scenario) -> list[str]:
    """Lines on the weeks that are simulated, where seasons are stated."""
    normal = Settings().schedule(scenario)
    if not normal.seasons:
        return []
    lines = [f"  simulated: {counted(normal.weeks, 'normal week')}, {normal.weeks_a_year} of {WEEKS_A_YEAR} in a year"]
    for season, schedule in zip(scenario.seasons, normal.seasons.values(), strict=True):
        own = [name for name, shift in scenario.week.shifts.items() if season in (shift.weeks or ())]
        shifts = f", with {', '.join(own)}" if own else ""
        work = f"work {100.0 * scenario.demand.in_week(season.first):g} %"
        lines.append(f"    and {counted(schedule.weeks, 'week')} of {name_of_weeks(season.text)}: {work}{shifts}")
    return lines


def _counted(count: float, thing: str) -> str:
    """Write a count with its noun; without a limit it is a word."""
    return counted(count, thing) if math.isfinite(count) else f"unlimited {thing}s"


def _number(count: float) -> str:
    """Write a count; without a limit it is a word."""
    return f"{count:g}" if math.isfinite(count) else "unlimited"
