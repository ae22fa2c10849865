"""What checks of the plan ask of a site, also what comes up only once something else has been measured."""

import csv
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

from batsim.display import words
from batsim.errors import ScenarioError
from batsim.plan.possible import checks_at_once
from batsim.plan.survey import BATTERY_ROOM, BUILDING, sentence_of, spaces_of
from batsim.scenario.checks.survey_checks import EQUIPMENT_KEYS, equipment_names
from batsim.scenario.reading import changed
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import Path as Keys
from batsim.scenario.text.located_data import path_text
from batsim.scenario.unknowns import lies_in

Asked = Mapping[str, Mapping[str, str]]
"""By path of the scenario: checks that stay not known without it, each with what knowing it would change."""
ITSELF = "."
"""In place of a path: what the question is about, as a whole."""


class SurveyQuestion(NamedTuple):
    """A row of `survey_questions.csv`."""

    subject: str
    text: str
    unit: str
    choices: tuple[str, ...]
    drawing: str
    letter: str
    places: tuple[Keys, ...]
    """Where the answer goes below what it is about, then what may be answered in its place; none for a note."""
    asked: str
    """Whether it is missing always, only where checks ask for it, only where there is something, or is a note."""
    figure: str
    """Figure of the catalogue that stands for it until it is known."""
    stand_in: str
    """An answer that hides no other question, while it is found out what checks ask."""
    changes: str


class Thing(NamedTuple):
    """What questions of a subject are about: a truck group, a battery type, a room."""

    name: str
    """As it stands before a question about it; empty where there is only one of its kind."""
    keys: Keys
    """Its path in the scenario."""


@cache
def survey_questions() -> tuple[SurveyQuestion, ...]:
    """All questions, in the order of the sheet."""
    with Path(__file__).with_name("survey_questions.csv").open(newline="", encoding="utf-8") as lines:
        return tuple(_question(row) for row in csv.DictReader(lines))


def _question(row: dict[str, str]) -> SurveyQuestion:
    """Read a row of the table."""
    paths = [path for path in row.pop("path").split("|") if path]
    places: tuple[Keys, ...] = tuple(() if path == ITSELF else tuple(path.split(".")) for path in paths)
    choices = tuple(filter(None, row.pop("choices").split("|")))
    return SurveyQuestion(choices=choices, places=places, **row)


def things_of(scenario: Scenario) -> dict[str, list[Thing]]:
    """What there is to ask about, by subject."""
    groups = enumerate(group.group for group in scenario.trucks)
    return {
        **_once(scenario),
        "shift": [Thing(f"Shift '{name}'", ("week", "shifts", name)) for name in scenario.week.shifts],
        "trucks": [Thing(f"Truck group '{name}'", ("trucks", number)) for number, name in groups],
        "batteries": [Thing(f"Battery type '{name}'", ("batteries", name)) for name in _batteries(scenario)],
        "chargers": [Thing(f"Charger '{name}'", ("chargers", name)) for name in _chargers(scenario)],
        "today": list(_today(scenario)),
        "people": list(_people(scenario)),
        "equipment": [Thing(sentence_of(words(name)), ("equipment", name)) for name in _equipment(scenario)],
    }


def _once(scenario: Scenario) -> dict[str, list[Thing]]:
    """Subjects of which there is one: a room or building only where some layout charges there."""
    spaces = {space for layout in scenario.layouts for space in spaces_of(scenario.in_layout(layout), layout)}
    keys: dict[str, Keys] = {"site": (), "supply": ("supply",), "prices": ("prices",), "safety": ()}
    if BATTERY_ROOM in spaces:
        keys["room"] = ("room",)
    if BUILDING in spaces:
        keys["building"] = ("building",)
    return {subject: [Thing("", place)] for subject, place in keys.items()}


def _batteries(scenario: Scenario) -> list[str]:
    """Battery types that some layout uses, in the order of the file."""
    used = {name for layout in scenario.layouts for name in scenario.batteries_of(layout)}
    return [name for name in scenario.batteries if name in used]


def _chargers(scenario: Scenario) -> list[str]:
    """Charger types of today; of all layouts where none is said to be there."""
    there = scenario.layouts if scenario.present is None else [scenario.present]
    return list(dict.fromkeys(name for layout in there for name in scenario.layouts[layout].chargers_by_type))


def _today(scenario: Scenario) -> Iterator[Thing]:
    """Areas of the layout that is there today, or the layout where it is one area."""
    keys = _present_keys(scenario)
    areas = {} if scenario.present is None else scenario.layouts[scenario.present].areas
    yield from [Thing(f"Area '{name}'", (*keys, "areas", name)) for name in areas] or [Thing("", keys)]


def _people(scenario: Scenario) -> Iterator[Thing]:
    """The layout that is there today, and its areas that have attendants of their own."""
    keys = _present_keys(scenario)
    areas = {} if scenario.present is None else scenario.layouts[scenario.present].areas
    yield Thing("", keys)
    yield from [Thing(f"Area '{name}'", (*keys, "areas", name)) for name, area in areas.items() if area.attendants]


def _present_keys(scenario: Scenario) -> Keys:
    """Path of the layout that is there today, or that it would have."""
    return ("layouts", scenario.present or "today")


def _equipment(scenario: Scenario) -> list[str]:
    """Equipment that the file states, then what else its arrangements use."""
    used = (handling.model_dump(include=EQUIPMENT_KEYS) for handling in scenario.handling.values())
    return list(dict.fromkeys([*scenario.equipment, *(name for kind in used for name in equipment_names(kind))]))


def asked_by_checks(scenario: Scenario) -> Asked:
    """Find what the checks of all layouts ask for.

    A check asks for the first measure that it misses. So that the next one comes up too, an answer of the table stands
    in for what was asked, until nothing new is.
    """
    asked: dict[str, dict[str, str]] = {}
    while True:
        found = _open_checks(scenario)
        new = [path for path in found if path not in asked]
        for path, checks in found.items():
            asked.setdefault(path, {}).update(checks)
        if not new:
            return asked
        scenario = _answered(scenario, new)


def _open_checks(scenario: Scenario) -> dict[str, dict[str, str]]:
    """Checks that are not known, by what they ask for."""
    found: dict[str, dict[str, str]] = {}
    for layout in scenario.layouts:
        for check in checks_at_once(scenario.in_layout(layout), layout):
            if check.ask:
                # What stands after a comma has numbers of the site in it, and some only stand in.
                found.setdefault(check.path, {})[check.name.partition(", ")[0]] = check.changes
    return found


def _answered(scenario: Scenario, asked: list[str]) -> Scenario:
    """Let answers stand in for what was asked; one that breaks a rule of the file is left out."""
    things = things_of(scenario)
    answers = {
        path: question.stand_in
        for question in survey_questions()
        if question.stand_in
        for thing in things.get(question.subject, ())
        if any(lies_in(path := path_text((*thing.keys, *question.places[0])), each) for each in asked)
    }
    try:
        return changed(scenario, answers)
    except ScenarioError:
        for path, answer in answers.items():
            try:
                scenario = changed(scenario, {path: answer})
            except ScenarioError:
                continue
        return scenario
