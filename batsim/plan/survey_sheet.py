"""The sheet to take to the site: what is known, what is missing and what it would change, where to measure."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from typing import Any, NamedTuple

from batsim.display import Frame, Shows, frame_of, listed
from batsim.plan.blank_site import blank_site
from batsim.plan.survey import inside, sentence_of
from batsim.plan.survey_asked import Asked, SurveyQuestion, Thing, asked_by_checks, survey_questions, things_of
from batsim.scenario.factors import BETWEEN
from batsim.scenario.reading import completed_data, stated_data
from batsim.scenario.site import Scenario
from batsim.scenario.text.located_data import LocatedData, path_text
from batsim.scenario.unknowns import lies_in

ALWAYS = "always"
"""A question that is missing wherever it has no answer, whatever checks ask."""
OR = "or: "
"""Begins a question that may be answered in place of the one before."""
TURNS = "it is stated as a range: a narrower one may turn the best layout"
TITLES = {
    "site": "Site", "shift": "Shifts", "chargers": "Chargers", "today": "Exchange today", "people": "People",
    "room": "Battery room", "building": "Building", "supply": "Electrical supply", "equipment": "Equipment",
    "prices": "Prices", "safety": "Safety",
}  # fmt: skip
"""Heading of each subject; any other has a part for each of its things, under the name of that."""
WATERING, WITH_WATER = "watering", "vented_lead_acid"
"""Key of a battery type, and the chemistry that needs it."""
MOST_NAMED = 2
"""Checks that are named where more of them stay not known."""
CAUTIONS = (
    "Measure only with the truck parked and secured, its key out and its battery disconnected; people who are trained "
    "and authorised for that truck do it, not whoever fills in the sheet.",
    "Mass: a battery weighs up to two tonnes. Nobody stands or reaches between truck, device and bay while one moves, "
    "and no hand goes under it.",
    "Acid: goggles and gloves near open cells; know where the eyewash is before you begin.",
    "Hydrogen: batteries give it off on charge and after. No smoking, flame, spark or hot work near them.",
    "Arcs: no metal tape measure, tool or jewellery over bare poles; never unplug while the charger is on.",
    "Hoists: read plates from the ground; nobody under a load; only who is trained and authorised works one.",
    "Local codes, the makers' instructions and licensed, competent people decide. This sheet approves nothing.",
)


class SheetLine(NamedTuple):
    """One question of the sheet."""

    number: str
    """Of its part, a dot, and in the part."""
    text: str
    unit: str
    choices: tuple[str, ...]
    letter: str
    """Mark in the drawing of its part that shows where to measure."""
    value: str
    """As it is stated, with its unit; empty where it is not."""
    usual: str
    """What stands for it until it is known: from the catalogue."""
    missing: bool
    changes: str
    """What the answer would change."""
    path: str
    """Where the answer goes in the scenario; empty for a note."""


class SheetPart(NamedTuple):
    """Questions about one subject, or one of its things."""

    title: str
    subject: str
    drawing: str
    lines: tuple[SheetLine, ...]


@dataclass(frozen=True, repr=False)
class SurveySheet(Shows):
    """What to find out on site, by subject."""

    site: str
    """Name of the site; empty on a blank sheet."""
    parts: tuple[SheetPart, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def in_short(self) -> str:
        """What it is, in a few words."""
        return f"{self.site or 'blank'}: {self.missing} of {len(self.lines)} missing"

    @property
    def lines(self) -> tuple[SheetLine, ...]:
        """All questions."""
        return tuple(line for part in self.parts for line in part.lines)

    @property
    def missing(self) -> int:
        """Questions without an answer that would change something."""
        return sum(line.missing for line in self.lines)

    @cached_property
    def frame(self) -> Frame:
        """A row for each question: its part and the fields of a line."""
        rows = [(part.title, *line) for part in self.parts for line in part.lines]
        return frame_of(rows, ["part", *SheetLine._fields])


def survey(scenario: Scenario | None = None, *, groups: int = 1) -> SurveySheet:
    """Make the sheet of questions that is taken to a site.

    Parameters
    ----------
    scenario
        What is known of the site, as `read` returns it; nothing for a blank sheet.
    groups
        Truck groups of a blank sheet, each with a battery type.

    Returns
    -------
    SurveySheet
        Questions by subject: what is stated, what is missing and what it would change, where the answer goes.

    Raises
    ------
    ScenarioError
        When the layouts of the scenario were changed in memory.
    """
    if scenario is None:
        return SurveySheet("", tuple(_Sheet(blank_site(groups), blank=True).parts()))
    return SurveySheet(scenario.site.name, tuple(_Sheet(scenario, blank=False).parts()))


class _Sheet:
    """What a sheet is made from."""

    def __init__(self, scenario: Scenario, *, blank: bool) -> None:
        self.scenario, self.blank = scenario, blank
        self.stated = LocatedData("", {} if blank else stated_data(scenario))
        self.completed = LocatedData("", {} if blank else completed_data(scenario))
        self.asked: Asked = asked_by_checks(scenario)

    def parts(self) -> Iterator[SheetPart]:
        """Parts in the order of the table of questions."""
        things, number = things_of(self.scenario), 0
        for subject, rows in groupby(survey_questions(), key=lambda question: question.subject):
            questions, about = list(rows), things.get(subject, [])
            for some in [[thing] for thing in about] if subject not in TITLES else [about]:
                asked = [pair for thing in some for pair in self._about(thing, questions)]
                if asked:
                    number += 1
                    lines = tuple(self._line(f"{number}.{n}", *pair) for n, pair in enumerate(asked, 1))
                    title = TITLES.get(subject, some[0].name)
                    drawing = next((question.drawing for question, _ in asked if question.drawing), "")
                    yield SheetPart(title, subject, drawing, lines)

    def _about(self, thing: Thing, questions: Sequence[SurveyQuestion]) -> Iterator[tuple[SurveyQuestion, Thing]]:
        """Questions about a thing, without those that are answered in another way; of equipment what is asked."""
        for question in questions:
            answered = self._value(thing, question) is not None
            in_another_way = not answered and self._is_answered(thing, question)
            left_out = not answered and self._has_no_place(thing, question)
            if not in_another_way and not left_out:
                yield question, thing

    def _has_no_place(self, thing: Thing, question: SurveyQuestion) -> bool:
        """Whether nothing asks for it: of equipment what no check needs, water of batteries that take none."""
        if question.subject == "equipment":
            return not self._checks(thing, question)
        chemistry = self.completed.at((*thing.keys, "chemistry"))
        watered = any(WATERING in place for place in question.places)
        return watered and chemistry not in (None, WITH_WATER)

    def _is_answered(self, thing: Thing, question: SurveyQuestion) -> bool:
        """Whether the file states it, or what may be answered in its place."""
        return any(self._value(thing, question, place) is not None for place in range(len(question.places)))

    def _value(self, thing: Thing, question: SurveyQuestion, place: int = 0) -> Any:  # noqa: ANN401 - what YAML holds
        """What the file states; None where it does not."""
        return self.stated.at((*thing.keys, *question.places[place])) if question.places else None

    def _checks(self, thing: Thing, question: SurveyQuestion) -> dict[str, str]:
        """Checks that stay not known without the answer, each with what it would change."""
        if not question.places:
            return {}
        path = path_text((*thing.keys, *question.places[0]))
        return {name: text for at, checks in self.asked.items() if lies_in(path, at) for name, text in checks.items()}

    def _line(self, number: str, question: SurveyQuestion, thing: Thing) -> SheetLine:
        """Make one question."""
        value, checks = self._value(thing, question), self._checks(thing, question)
        answered = self._is_answered(thing, question)
        is_range = isinstance(value, dict) and BETWEEN in value
        return SheetLine(
            number=number,
            text=_text(question, thing, alone=answered),
            unit=question.unit,
            choices=question.choices,
            letter=question.letter,
            value="" if value is None else value_text(value),
            usual="" if answered else self._usual(thing, question),
            missing=is_range or (not answered and self._counts(question, bool(checks))),
            changes=TURNS if is_range else _of_checks(checks) or question.changes,
            path=path_text((*thing.keys, *question.places[0])) if question.places else "",
        )

    def _counts(self, question: SurveyQuestion, has_checks: bool) -> bool:
        """Whether a question without an answer is missing; on a blank sheet everything is that has a place."""
        return question.asked == ALWAYS or has_checks or (self.blank and bool(question.places))

    def _usual(self, thing: Thing, question: SurveyQuestion) -> str:
        """What the catalogue says until the site does."""
        value = self.completed.at((*thing.keys, *question.places[0])) if question.places else None
        if value is not None:
            return value_text(value)
        return self.scenario.figures[question.figure].text if question.figure and not self.blank else ""


def _text(question: SurveyQuestion, thing: Thing, *, alone: bool) -> str:
    """Say what is asked, and of what where a part has several things; alone, it is no other way to answer."""
    text = sentence_of(question.text.removeprefix(OR)) if alone else question.text
    return f"{thing.name}: {inside(text)}" if thing.name and question.subject in TITLES else text


def _of_checks(checks: dict[str, str]) -> str:
    """Say which checks stay not known, and what knowing would change; the first of many."""
    if not checks:
        return ""
    first = list(checks)[:MOST_NAMED]
    names = [f"'{name}'" for name in first]
    if len(checks) > len(first):
        names.append(f"{len(checks) - len(first)} more")
    says = f"checks {listed(names)} stay not known" if len(checks) > 1 else f"check {names[0]} stays not known"
    return "; ".join(dict.fromkeys([says, *filter(None, map(checks.get, first))]))


def value_text(value: object) -> str:
    """Write what a file states in one line, as people would.

    Examples
    --------
    >>> value_text({"from": "1050 kg", "to": "1250 kg"})
    '1050 kg to 1250 kg'
    >>> value_text({"days": "Mon-Fri", "breaks": ["09:30 for 20 min"]})
    'days Mon-Fri, breaks 09:30 for 20 min'
    >>> value_text({"47-51": "120 %"})
    '47-51: 120 %'
    """
    if isinstance(value, dict):
        if set(value) == {"from", "to"}:
            return f"{value_text(value['from'])} to {value_text(value['to'])}"
        if BETWEEN in value:
            return f"between {listed([value_text(end) for end in value[BETWEEN]])}"
        return ", ".join(f"{_key_text(str(key))} {value_text(entry)}" for key, entry in value.items())
    if isinstance(value, list):
        return ", ".join(map(value_text, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _key_text(key: str) -> str:
    """Write a key before its value; one that is a number does not run into it."""
    return f"{key}:" if key[0].isdigit() else key.replace("_", " ")
