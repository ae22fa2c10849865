"""Questions about a site, one after another; an answer that breaks a rule is asked for again."""

import re
from typing import Any

import click

from batsim.catalogue import FIGURES
from batsim.errors import ScenarioError
from batsim.scenario.parts.faults import shown
from batsim.scenario.reading import catalogue_data
from batsim.scenario.starter import IN_TRUCK, NAMES, Starter, survey_problems
from batsim.scenario.survey import IN_A_DAY, USUAL_CLASS, USUAL_SHIFTS, battery_choice, read_survey
from batsim.scenario.text.located_data import LocatedData, Path, path_text
from batsim.units import UnitError, parse

HOURS = re.compile(r"\s*(.+?)\s+(\d?\d:\d\d)\s*(?:-|to)\s*(\d?\d:\d\d)\s*")


def ask(source: LocatedData) -> None:
    """Ask for what is not stated yet."""
    data = source.data
    if "site" not in data:
        _ask(source, ("site",), "Name of the site")
    if "shifts" not in data:
        _ask_shifts(source)
    _ask_groups(source)
    if "attendants" not in data:
        data["attendants"] = {}
        for shift in data["shifts"]:
            question = f"Attendants of the battery room on shift '{shift}' (0: drivers exchange)"
            _ask(source, ("attendants", shift), question, "1")
    if "today" not in data and click.confirm("Is it known what is there today?", default=False):
        while True:
            _ask_today(source)
            problems = survey_problems(read_survey(source))
            if not problems:
                break
            for problem in problems:
                _refuse(problem.rule, problem.got)


def _ask_shifts(source: LocatedData) -> None:
    """Ask how many shifts there are, and for their hours."""
    names = IN_A_DAY[click.prompt("Shifts a day (1, 2 or 3)", type=click.IntRange(1, 3))]
    source.data["shifts"] = {}
    for name in names:
        usual = USUAL_SHIFTS[name]
        while True:
            hours = click.prompt(f"Hours of shift '{name}'", default=f"{usual['days']} {usual['from']}-{usual['to']}")
            if not (parts := HOURS.fullmatch(hours)):
                _refuse("needs days and times such as 'Mon-Fri 06:00-14:00'", shown(hours))
            elif not _put(source, ("shifts", name), dict(zip(("days", "from", "to"), parts.groups(), strict=True))):
                break
        breaks = ", ".join(usual["breaks"])
        _ask(source, ("shifts", name, "breaks"), f"Breaks of shift '{name}' (none: no break)", breaks, many=True)


def _ask_groups(source: LocatedData) -> None:
    """Ask for truck groups until there are no more."""
    groups: list[dict[str, Any]] = []
    source.data["groups"] = groups
    question, default = "Name of the first truck group", "trucks"
    while name := click.prompt(question, default=default, show_default=bool(default)).strip():
        at: Path = ("groups", len(groups))
        groups.append({})
        twice = name in [group.get("group") for group in groups]
        if twice:
            _refuse("another group has this name", shown(name))
        if twice or _put(source, (*at, "group"), name):
            groups.pop()
            continue
        _ask_group(source, at, name)
        question, default = "Name of one more truck group (empty: no more)", ""


def _ask_group(source: LocatedData, at: Path, name: str) -> None:
    """Ask for one truck group; what the catalogue has for its voltage and class is offered."""
    _ask(source, (*at, "count"), f"Trucks of '{name}' in use")
    _ask(source, (*at, "voltage"), "Battery voltage", "48 V")
    volts = parse(source.at((*at, "voltage")), "voltage")
    classes = catalogue_data("truck_classes")
    alike = [each for each, entry in classes.items() if parse(entry["voltage"], "voltage") == volts]
    known = f" ({', '.join(alike)})" if alike else " of the catalogue (empty: none of them)"
    _ask(source, (*at, "class"), f"Truck class{known}", USUAL_CLASS.get(volts, ""))
    _ask(source, (*at, "battery"), "Battery (lead, gel, lithium)", "lead")
    usual = battery_choice(source.at((*at, "battery")), volts, None)
    capacity = f"{usual.capacity.ah:g} Ah at {usual.capacity.rate_h:g} h" if usual else ""
    _ask(source, (*at, "capacity"), "Capacity", capacity)
    _ask_power(source, at)
    usual_removal = classes.get(source.at((*at, "class")) or "", {}).get("removal", "side")
    _ask(source, (*at, "removal"), "Battery leaves at: side, top, either, or none (it stays in)", usual_removal)
    _ask(source, (*at, "distance"), "Way from work to the battery room", FIGURES["travel.distance"].text)
    shifts = ", ".join(source.data["shifts"])
    _ask(source, (*at, "shifts"), "Shifts that they work", shifts, many=True)
    source.data["shifts"] |= {shift: None for shift in source.at((*at, "shifts")) if shift not in source.data["shifts"]}


def _ask_power(source: LocatedData, at: Path) -> None:
    """Ask for mean power or energy, which of them the unit says."""
    while True:
        question = "Mean power at work, such as 2.4 kW, or energy in a shift, such as 18 kWh (empty: not known)"
        answer = click.prompt(question, default="", show_default=False)
        key = "mean_power"
        try:
            parse(answer, "energy")
            key = "energy_per_shift"
        except UnitError:
            pass
        if not _put(source, (*at, key), answer):
            return


def _ask_today(source: LocatedData) -> None:
    """Ask how each group is served today; those that are served alike are one area."""
    survey = read_survey(LocatedData(source.file, {**source.data, "today": []}))
    starter, areas = Starter(survey), dict[str, dict[str, Any]]()
    for group in survey.groups:
        handling = click.prompt(f"How '{group.group}' is served today", type=click.Choice([*NAMES]))
        area = areas.setdefault(handling, {"for": [], "handling": handling, "chargers": []})
        if handling != IN_TRUCK:
            if not area["for"]:
                area["stations"] = click.prompt("  Exchange stations there", default=1)
            in_all = click.prompt(f"  Batteries of '{group.group}' in all", type=click.IntRange(1, 100_000))
            battery = group.battery_type.name
            batteries = area.setdefault("batteries", {})
            batteries[battery] = batteries.get(battery, 0) + in_all
        area["for"].append(group.group)
        usual = f"{group.count} x {starter.usual_charger(group)}"
        area["chargers"].append(click.prompt(f"  Chargers of '{group.group}', number and type", default=usual))
    source.data["today"] = list(areas.values())


def _ask(source: LocatedData, path: Path, question: str, default: str | None = None, *, many: bool = False) -> None:
    """Ask for one value until it breaks no rule; no default has to be answered, an empty one may be left empty."""
    while True:
        answer = click.prompt(question, default=default, show_default=bool(default)).strip()
        parts = [part.strip() for part in answer.split(",") if part.strip() not in ("", "none")]
        if not _put(source, path, parts if many else answer):
            return


def _put(source: LocatedData, path: Path, value: Any) -> bool:  # noqa: ANN401 - whatever is asked for
    """Put a value in its place, nothing where it is empty text; whether it breaks a rule, which is told."""
    around = source.at(path[:-1])
    around.pop(path[-1], None)
    if value != "":
        around[path[-1]] = value
    here = path_text(path)
    try:
        read_survey(source)
    except ScenarioError as error:
        wrong = [problem for problem in error.problems if re.match(rf"{re.escape(here)}(?:$|[.\[])", problem.path)]
        for problem in wrong:
            _refuse(problem.rule, problem.got)
        return bool(wrong)
    return False


def _refuse(rule: str, got: str | None) -> None:
    """Say what is wrong with an answer, as prompts do."""
    click.echo(f"Error: {rule}{'' if got is None else f' (got {got})'}")
