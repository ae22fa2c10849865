"""Reading a scenario: from a YAML file to a checked `Scenario`, or to every problem it has."""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from batsim import catalogue
from batsim.errors import Problem, ScenarioError
from batsim.scenario.checks.cross_checks import cross_checks
from batsim.scenario.checks.price_checks import Offers
from batsim.scenario.checks.survey_checks import device_names, equipment_names, listed_parts
from batsim.scenario.parts.faults import did_you_mean, shown
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import EVERY, LocatedData, Path
from batsim.scenario.text.observed import read_observed_files
from batsim.scenario.text.problems import problems_of
from batsim.scenario.text.yaml_text import read_file, read_text
from batsim.scenario.unknowns import FIGURES_KEY, NOT_TOGETHER, figures_instead, settle, without_echoes

LONGEST_CHAIN = 5
"""Files that may extend one another in a row."""
NO_FILE = "no such file"
DROP_FORM = "needs a list of paths to entries of the file that is extended, such as [layouts.hoist]"
TAKEN = "the catalogue has a type of this name; add 'from: {}' to start from it, or choose another name"


def read(path: str | FilePath) -> Scenario:
    """Read a scenario from a YAML file.

    Parameters
    ----------
    path
        Name of the file.

    Returns
    -------
    Scenario
        Read-only; every default filled in.

    Raises
    ------
    ScenarioError
        With everything that is wrong, each with file, line, column, path, rule and value.
    """
    return build(_extended(read_file(FilePath(path)), FilePath(path), ()))


def read_scenario_text(text: str, file: str = "scenario.yaml") -> Scenario:
    """Read a scenario from YAML text; `file` is the name that messages show."""
    return build(_extended(read_text(text, file), FilePath(file), ()))


def build(source: LocatedData, asked: set[str] | None = None) -> Scenario:
    """Check marked data and make the scenario; the data stay with it for `changed`.

    Names of the figures that are looked up on the way, and later on in its figures, are added to `asked`.
    """
    draft = source.copy()
    unknowns, unsettled = settle(draft)
    figures, wrong = figures_instead(draft)
    if asked is not None:
        figures = figures.noting(asked)
    problems = [*unsettled, *wrong, *_completed(draft, figures)]
    try:
        scenario = Scenario.model_validate(draft.data, context=figures)
    except ValidationError as error:
        problems += without_echoes(problems_of(error, draft, Scenario), unsettled)
        raise ScenarioError(source.file, problems) from None
    scenario = _grown(scenario)
    scenario._file, scenario._source = source.file, source
    scenario._unknowns, scenario._figures = unknowns, figures
    try:
        problems = problems or cross_checks(scenario, draft, _offers())
    except (ValueError, ArithmeticError):
        if not figures.stated:
            raise
        problems = [draft.problem((FIGURES_KEY,), NOT_TOGETHER)]
    if problems:
        raise ScenarioError(source.file, problems)
    return scenario


def changed(scenario: Scenario, changes: Mapping[str, object]) -> Scenario:
    """Return a copy of a scenario with some things stated otherwise, read and checked anew.

    Parameters
    ----------
    scenario
        A scenario as it was read, or some of its layouts.
    changes
        By path, such as ``layouts.hoist.stations`` or ``trucks[0].count``, what to put there, as YAML would hold it:
        a number, text with its unit, a list or a dict. A `*` in a path stands for every entry.

    Raises
    ------
    ScenarioError
        When a path leads nowhere, the changed scenario breaks a rule, or its layouts were changed in memory before.
    """
    source = source_of(scenario)
    for path, value in changes.items():
        for place in source.spread(path) if EVERY in path else (path,):
            source = source.replaced(place, value)
    return build(source)


def source_of(scenario: Scenario) -> LocatedData:
    """Located data that a scenario was read from, with only those of its layouts that it still has.

    Raises
    ------
    ScenarioError
        When its layouts were changed in memory since: what is there stands in no file.
    """
    source = scenario.source
    if not isinstance(source, LocatedData):
        rule = "its layouts were changed in memory; change paths first, then layouts"
        raise ScenarioError(scenario.file, [Problem(scenario.file, 0, 0, "", rule)])
    layouts = source.data["layouts"]
    if set(layouts) <= set(scenario.layouts):
        return source
    source = source.copy()
    source.data["layouts"] = {name: layout for name, layout in layouts.items() if name in scenario.layouts}
    if source.data.get("present") not in scenario.layouts:
        source.data.pop("present", None)
    return source


def stated_data(scenario: Scenario) -> dict[str, object]:
    """Plain data of a scenario as its file states it, without what the catalogue adds; errors as for `source_of`."""
    return dict(source_of(scenario).copy().data)


def completed_data(scenario: Scenario) -> dict[str, object]:
    """Plain data of a scenario, what the catalogue adds and its unknowns settled; errors as for `source_of`."""
    draft = source_of(scenario).copy()
    settle(draft)
    _completed(draft, scenario.figures)
    return dict(draft.data)


def _completed(draft: LocatedData, figures: catalogue.Figures) -> list[Problem]:
    """Add what the scenario names but leaves to the catalogue; return what is wrong with that."""
    problems = _take_from_catalogue(draft)
    _let_vary_together(draft)
    return [*problems, *_fill_in(draft, figures)]


def _grown(scenario: Scenario) -> Scenario:
    """Let the fleet grow by the years ahead; what is stated stays as it is for `changed`."""
    demand = scenario.demand
    if not demand.years or not demand.fleet_growth_share:
        return scenario
    trucks = tuple(group.model_copy(update={"count": demand.grown(group.count)}) for group in scenario.trucks)
    return scenario.model_copy(update={"trucks": trucks})


def _extended(source: LocatedData, path: FilePath, chain: tuple[FilePath, ...]) -> LocatedData:
    """Lay a file over the one that it names under `extends`, and read the timed durations it names."""
    problems = read_observed_files(source, path.parent)
    base, drop = source.data.pop("extends", None), source.data.pop("drop", None)
    other, chain = path.parent / str(base), (*chain, path)
    rule = "" if base is None else _not_to_extend(base, other, chain)
    if rule:
        problems.append(source.problem(("extends",), rule, got=shown(str(other) if rule == NO_FILE else base)))
    elif base is not None:
        below = _extended(read_file(other), other, chain)
        problems += _drop(source, drop, below)
        source = source.over(below)
    elif drop is not None:
        problems.append(source.problem(("drop",), "needs 'extends', the file whose entries it drops", of_key=True))
    if problems:
        raise ScenarioError(source.file, problems)
    return source


def _drop(source: LocatedData, drop: object, below: LocatedData) -> list[Problem]:
    """Take entries out of the file that is extended, by paths such as `layouts.hoist`; return what is wrong there."""
    if drop is None:
        return []
    if not isinstance(drop, list) or not all(isinstance(path, str) for path in drop):
        return [source.problem(("drop",), DROP_FORM, got=shown(drop))]
    problems = []
    for number, path in enumerate(drop):
        try:
            below.drop(path)
        except ScenarioError as error:
            problems.append(source.problem(("drop", number), error.problems[0].rule, got=shown(path)))
    return problems


def _not_to_extend(base: object, other: FilePath, chain: tuple[FilePath, ...]) -> str:
    """Rule that the name of a file to start from breaks; empty where it breaks none."""
    if not isinstance(base, str):
        return "needs the name of another scenario file"
    try:
        circle = other.is_file() and any(before.is_file() and other.samefile(before) for before in chain)
    except OSError as error:  # such as a name that is too long, or a folder that cannot be looked into
        return f"cannot be read: {str(error.strerror).lower()}"
    if circle or len(chain) > LONGEST_CHAIN:
        return "files must not extend one another in a circle, nor more than five in a row"
    return "" if other.is_file() else NO_FILE


@cache
def _catalogue_file(document: str) -> LocatedData:
    """Read a catalogue file."""
    return read_file(catalogue.document(document))


@cache
def _catalogue_entry(document: str, name: str) -> LocatedData:
    """One entry of a catalogue file."""
    return _catalogue_file(document).part((name,))


def catalogue_names(document: str) -> list[str]:
    """Names that a catalogue file offers."""
    return list(_catalogue_file(document).data)


def catalogue_data(document: str) -> dict[str, Any]:
    """Data of a catalogue file, figures left as names."""
    return dict(_catalogue_file(document).copy().data)


@cache
def _offers() -> Offers:
    """Names of the catalogue by the kind of thing they stand for."""
    return {
        "battery type": catalogue_names("battery_types"),
        "charger type": catalogue_names("charger_types"),
        "handling arrangement": list(catalogue.handling_names()),
        "equipment": _shipped(equipment_names),
        "device": _shipped(device_names),
        "part": _shipped(listed_parts),
    }


def _shipped(names_of: Callable[[Mapping[str, Any]], list[str]]) -> list[str]:
    """Names that the arrangements of the catalogue use."""
    files = [_catalogue_file(f"handling/{name}") for name in catalogue.handling_names()]
    return [name for file in files for name in names_of(file.data)]


def _take_from_catalogue(draft: LocatedData) -> list[Problem]:
    """Add what the scenario names but leaves to the catalogue: batteries, chargers, handling, classes."""
    problems = _start_types(draft)
    _add_in_use(draft)
    for number, group in draft.blocks(("trucks",)):
        if isinstance(truck_class := group.get("class"), str):
            problems += _take_class(draft, number, truck_class, group)
    return problems


def _add_in_use(draft: LocatedData) -> None:
    """Add catalogue entries that truck groups and layouts name: batteries, chargers, handling arrangements."""
    groups = [group for _, group in draft.blocks(("trucks",))]
    layouts, standby = [], []
    for name, layout in draft.blocks(("layouts",)):
        areas = draft.blocks(("layouts", name, "areas"))
        layouts += [layout, *(area for _, area in areas)]
        for at in (("layouts", name), *(("layouts", name, "areas", area) for area, _ in areas)):
            standby += [block for _, block in draft.blocks(at)]
        groups += [change for _, change in draft.blocks(("layouts", name, "trucks"))]
    for name in _names_in_use(groups, "battery"):
        _add(draft, ("batteries", name), "battery_types")
    for name in _names_in_use(layouts, "chargers"):
        _add(draft, ("chargers", name), "charger_types")
    for name in _names_in_use(layouts + standby, "handling"):
        if name in catalogue.handling_names():
            _add(draft, ("handling", name), f"handling/{name}")


def _start_types(draft: LocatedData) -> list[Problem]:
    """Lay types over those of the catalogue that they name under `from`; refuse a name of the catalogue without it."""
    problems = []
    for section, document in (("batteries", "battery_types"), ("chargers", "charger_types")):
        for name, entry in draft.blocks((section,)):
            if "from" in entry:
                problems += _start_from(draft, (section, name), catalogue_names(document), document)
            elif name in catalogue_names(document):
                problems.append(draft.problem((section, name), TAKEN.format(name), of_key=True))
                draft.put((section, name), draft.part((section, name)).over(_catalogue_entry(document, str(name))))
    for name, entry in draft.blocks(("handling",)):
        if "from" in entry:
            problems += _start_from(draft, ("handling", name), list(catalogue.handling_names()))
    return problems


def _start_from(draft: LocatedData, path: Path, known: list[str], document: str | None = None) -> list[Problem]:
    """Lay an entry over what it names under `from`: an entry of a catalogue file, or a handling arrangement."""
    name = draft.at(path).pop("from")
    # Any entry stands in for an unknown one, so that what it would have brought is not reported as missing.
    taken = name if name in known else known[-1]
    entry = _catalogue_file(f"handling/{taken}") if document is None else _catalogue_entry(document, taken)
    here = draft.location((*path, "from"))  # what it brings is wrong where the scenario names it
    entry = LocatedData(entry.file, entry.data, dict.fromkeys(entry.locations, here))
    draft.put(path, draft.part(path).over(entry))
    if name in known:
        return []
    rule = "needs the name of an entry of the catalogue"
    if isinstance(name, str):
        rule = f"not in the catalogue{did_you_mean(name, known)}"
    return [draft.problem((*path, "from"), rule, got=shown(name))]


def _names_in_use(blocks: list[dict[str, Any]], key: str) -> list[str]:
    """Names that blocks refer to under a key, one or a list of them, each perhaps with its number before it."""
    values = [block.get(key) for block in blocks]
    names = [name for value in values for name in (value if isinstance(value, list) else [value])]
    return [name.rpartition(" x ")[2].strip() for name in names if isinstance(name, str)]


def _add(draft: LocatedData, path: Path, document: str) -> None:
    """Add a catalogue entry under its own name unless the scenario has one of that name."""
    section, name = str(path[0]), str(path[1])
    entries = draft.data.setdefault(section, {})
    if not isinstance(entries, dict) or name in entries:
        return
    if section == "handling":
        draft.put(path, _catalogue_file(document))
    elif name in catalogue_names(document):
        draft.put(path, _catalogue_entry(document, name))


def _take_class(draft: LocatedData, number: str | int, name: str, group: dict[str, object]) -> list[Problem]:
    """Give a truck group the mean power, voltage and removal of its class where it states none."""
    known = catalogue_names("truck_classes")
    if name not in known:
        rule = f"not in the catalogue{did_you_mean(name, known)}"
        return [draft.problem(("trucks", number, "class"), rule, got=shown(name))]
    usual = _catalogue_entry("truck_classes", name).data
    duty = group.get("duty") or {}
    if group.get("run_time") is None and isinstance(duty, dict) and not {"mean_power", "energy_per_shift"} & set(duty):
        group["duty"] = {"mean_power": usual["power"], **duty}
    compartment = group.get("compartment") or {}
    if isinstance(compartment, dict):
        group["compartment"] = {"voltage": usual["voltage"], "removal": usual["removal"], **compartment}
    return []


def _let_vary_together(draft: LocatedData) -> None:
    """Let steps whose times are ranges of the catalogue vary together where nothing is stated."""
    for name, _ in draft.blocks(("handling",)):
        for _, step in draft.blocks(("handling", name, "steps")):
            if any(isinstance(step.get(key), dict) and "figure_range" in step[key] for key in ("time", "at_ends")):
                step.setdefault("varies", "together")


def _fill_in(draft: LocatedData, figures: catalogue.Figures) -> list[Problem]:
    """Put figures of the catalogue in place of `{figure: NAME}` and `{figure_range: NAME}`."""
    problems: list[Problem] = []
    for path, value in draft.walk():
        if not isinstance(value, dict) or len(value) != 1 or not value.keys() <= {"figure", "figure_range"}:
            continue
        kind, name = next(iter(value.items()))
        stated = None
        if name not in figures:
            rule = f"not a figure of the catalogue{did_you_mean(str(name), list(figures))}"
            problems.append(draft.problem((*path, kind), rule, got=shown(name)))
        else:
            stated = _as_stated(figures[name], ranged=kind == "figure_range")
            if draft.holds((FIGURES_KEY, name)):
                draft.locations[path] = draft.location((FIGURES_KEY, name))
        draft.at(path[:-1])[path[-1]] = stated
    return problems


def _as_stated(figure: catalogue.Figure, *, ranged: bool) -> object:
    """Write a figure as a scenario would: a number, a quantity, or low, typical and high."""
    if figure.unit == "1":
        return figure.value
    if ranged and figure.has_range:
        return {"low": figure.low_text, "typical": figure.text, "high": figure.high_text}
    return figure.text
