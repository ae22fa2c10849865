"""A study: which paths of a scenario take which values, by which design, and what is looked at; read from YAML."""

from collections.abc import Iterator
from pathlib import Path as FilePath
from typing import Annotated, Any, NamedTuple

from pydantic import Field, ValidationError

from batsim.errors import Problem, ScenarioError
from batsim.scenario.factors import BETWEEN, CV, MEAN, MOST_VALUES, TYPICAL, VALUES, Choice, Factor, factor_of
from batsim.scenario.parts.faults import did_you_mean, read_by_name, shown, wrong
from batsim.scenario.parts.kinds import Count, Frozen, NameText, Words, reads
from batsim.scenario.parts.quantities import Minutes
from batsim.scenario.parts.schemas import block_schema
from batsim.scenario.reading import changed, read, source_of
from batsim.scenario.site import Confidence, MeasuredTime, Scenario
from batsim.scenario.text.located_data import LocatedData
from batsim.scenario.text.problems import problems_of
from batsim.scenario.text.yaml_text import read_file
from batsim.scenario.unknowns import lies_in

GRID, ONE_AT_A_TIME, LATIN_HYPERCUBE, MORRIS, SOBOL = "grid", "one_at_a_time", "latin_hypercube", "morris", "sobol"
ALONE = (GRID, ONE_AT_A_TIME)
NUMBERED = (LATIN_HYPERCUBE, MORRIS, SOBOL)
DESIGN_FORM = (
    "needs grid, one_at_a_time, {latin_hypercube: POINTS}, {morris: TRAJECTORIES} or {sobol: POINTS}, such as "
    "{latin_hypercube: 64}"
)
LEVELS = 4
"""Levels of a Morris design when not stated, as Morris (1991) uses them."""
BESIDE = {MORRIS: {"levels": {"type": "integer", "minimum": 2, "multipleOf": 2}}}
"""Keys that a kind of design may have beside its number."""
MOST_POINTS = 1_000_000
POINTS = Count(least=2, most=MOST_POINTS)
MOST_TRIED = 60
"""Values of one factor that are tried on their own before a study begins."""
STUDY_KEYS = frozenset(("study", "vary", "also_vary", "design", "measures"))
"""Keys that a study has and a scenario has not."""
SETTLED = ("simulation.replications", "simulation.length", "simulation.warm_up", "simulation.seed")
"""Paths that a study states once, under `simulation`."""


class Design(NamedTuple):
    """How the points of a study are chosen."""

    kind: str
    number: int = 0
    """Points, trajectories or base points; 0 where the factors settle it."""
    levels: int = LEVELS
    """Of a Morris design."""

    @property
    def text(self) -> str:
        """Such as `latin hypercube of 64`."""
        name = self.kind.replace("_", " ")
        return f"{name} of {self.number}" if self.number else name


@reads(
    Words(*ALONE).schema,
    *(block_schema({name: POINTS.schema, **BESIDE.get(name, {})}, [name]) for name in NUMBERED),
    examples=["grid", {"latin_hypercube": 64}],
)
def read_design(value: object) -> Design:
    """A design by its name, or its name and a number."""
    if value in ALONE:
        return Design(str(value))
    kind = next((key for key in value if key in NUMBERED), "") if isinstance(value, dict) else ""
    if not isinstance(value, dict) or not kind or set(value) - {kind, *BESIDE.get(kind, ())}:
        wrong(DESIGN_FORM)
    numbers = read_by_name(value, POINTS.read)
    design = Design(str(kind), numbers[kind], numbers.get("levels", LEVELS))
    _refuse_odd(design)
    return design


def _refuse_odd(design: Design) -> None:
    """Want numbers with which a design can be made."""
    if design.kind == SOBOL and design.number & (design.number - 1):
        wrong("a Sobol design needs a power of two, such as {sobol: 256}")
    if design.levels % 2:
        wrong("a Morris design needs an even number of levels, such as {morris: 20, levels: 4}")


SOME_VALUES = {"type": "array", "minItems": 1, "maxItems": MOST_VALUES}
AMOUNT = {"type": ["number", "string"]}
FORM_SCHEMAS: dict[str, dict[str, Any]] = {
    VALUES: SOME_VALUES,
    BETWEEN: {"type": "array", "items": AMOUNT, "minItems": 2, "maxItems": 2},
    TYPICAL: AMOUNT,
    MEAN: AMOUNT,
    CV: {"type": "number", "exclusiveMinimum": 0, "maximum": 2},
}
FORMS = (([VALUES], [VALUES]), ([BETWEEN, TYPICAL], [BETWEEN]), ([MEAN, CV], [MEAN, CV]))
"""Blocks of keys that a factor may be, and which of them are needed."""


@reads(
    SOME_VALUES,
    *(block_schema({key: FORM_SCHEMAS[key] for key in keys}, needed) for keys, needed in FORMS),
    examples=[[70, 76, 82], {"between": ["3 kW", "3.8 kW"]}, {"mean": "3.4 kW", "cv": 0.1}],
)
def keep_values(value: object) -> object:
    """Keep what a factor of a study may be; `factor_of` reads it once the scenario is known."""
    return value


class StudyRuns(Frozen):
    """How long and how often each point is simulated; what is not stated is as in the scenario."""

    replications: Annotated[int, Count(least=1, most=100_000)] | None = None
    """Independent runs of each layout at each point."""
    length_min: MeasuredTime | None = Field(None, alias="length")
    """Measured time of one run. [min]"""
    warm_up_min: Minutes | None = Field(None, alias="warm_up")
    """Time before it that is dropped. [min]"""
    seed: Annotated[int, Count(most=2**31 - 1)] | None = None
    """Seed of all random streams and of the design."""
    confidence_share: Confidence | None = Field(None, alias="confidence")
    """Confidence of the intervals. [%]"""


class StudyFile(Frozen):
    """What an analyst states about a study."""

    study: str = ""
    """The question that this study answers."""
    scenario: NameText
    """Scenario file, seen from this one."""
    layouts: tuple[NameText, ...] | None = Field(None, min_length=1)
    """Layouts that are run; all of them when not stated."""
    vary: dict[NameText, Annotated[object, keep_values]] = Field(default_factory=dict)
    """Paths of the scenario and what they may be: a list of values, {between: [LOW, HIGH]}, also with a typical value,
    or {mean, cv}; a * in a path stands for every group or layout."""
    also_vary: tuple[Annotated[str, Words("unknowns", "catalogue")], ...] = ()
    """What else varies: inputs that the scenario says are not known; figures of the catalogue that have a range."""
    design: Annotated[Design, read_design] = GRID  # type: ignore[assignment]
    """How the points are chosen."""
    measures: tuple[NameText, ...] = ("downtime_min_per_truck_shift",)
    """Measures that are shown; the store keeps all."""
    simulation: StudyRuns = Field(default_factory=dict)  # type: ignore[assignment]
    """How long and how often each point is simulated."""


class Study(NamedTuple):
    """A study, read and checked, with its scenario."""

    file: str
    question: str
    scenario: Scenario
    layouts: tuple[str, ...]
    factors: tuple[Factor, ...]
    catalogue: bool
    """Whether the figures of the catalogue that have a range vary too."""
    design: Design
    measures: tuple[str, ...]
    runs: StudyRuns


def is_study(path: str | FilePath) -> bool:
    """Whether a file is a study and no scenario, by its keys; a file that cannot be read is none."""
    try:
        data = read_file(FilePath(path)).data
    except ScenarioError:
        return False
    return "scenario" in data and not STUDY_KEYS.isdisjoint(data)


def read_study(path: str | FilePath, measures: tuple[str, ...]) -> Study:
    """Read a study file and the scenario that it names.

    Parameters
    ----------
    path
        Name of the file.
    measures
        Names of the measures there are.

    Raises
    ------
    ScenarioError
        With everything that is wrong, each with file, line, column, path, rule and value.
    """
    source = read_file(FilePath(path))
    study_file = _valid(source)
    return _checked(study_file, source, read(FilePath(path).parent / study_file.scenario), measures)


def stated_study(scenario: Scenario, keys: dict[str, Any], measures: tuple[str, ...]) -> Study:
    """Check a study of a scenario that is stated in Python, with the keys of a study file; errors as for those."""
    source = LocatedData("study", {"scenario": scenario.file, **keys})
    return _checked(_valid(source), source, scenario, measures)


def _valid(source: LocatedData) -> StudyFile:
    """Check the file by itself."""
    try:
        return StudyFile.model_validate(source.data)
    except ValidationError as error:
        raise ScenarioError(source.file, problems_of(error, source, StudyFile)) from None


def _checked(file: StudyFile, source: LocatedData, scenario: Scenario, measures: tuple[str, ...]) -> Study:
    """Check a study against its scenario."""
    problems = [*_names(file, source, scenario, measures)]
    if file.layouts is not None and not problems:
        scenario = scenario.with_layouts(file.layouts)
    factors = list(_factors(file, source, scenario, problems))
    if "unknowns" in file.also_vary:
        factors += _unknowns_beside(factors, scenario)
    catalogue = "catalogue" in file.also_vary
    if not file.vary and not factors and not catalogue:
        problems.append(source.problem((), "varies nothing; state paths and values under 'vary'"))
    if problems:
        raise ScenarioError(source.file, problems)
    layouts, measures = (tuple(dict.fromkeys(names)) for names in (file.layouts or scenario.layouts, file.measures))
    return Study(
        source.file, file.study, scenario, layouts, tuple(factors), catalogue, file.design, measures, file.simulation
    )


def _unknowns_beside(factors: list[Factor], scenario: Scenario) -> list[Factor]:
    """Inputs of a scenario that are not known, those left out that the study varies itself."""
    varied = [path for factor in factors for path in source_of(scenario).spread(factor.path)]
    return [unknown for unknown in scenario.unknowns if not any(lies_in(unknown.path, path) for path in varied)]


def _names(file: StudyFile, source: LocatedData, scenario: Scenario, measures: tuple[str, ...]) -> Iterator[Problem]:
    """Find layouts and measures that there are not."""
    stated = (
        ("layouts", "no layout of this name in the scenario", file.layouts or (), list(scenario.layouts)),
        ("measures", "no measure of this name", file.measures, measures),
    )
    for key, rule, names, known in stated:
        for number, name in enumerate(names):
            if name not in known:
                yield source.problem((key, number), f"{rule}{did_you_mean(name, known)}", got=name)


def _factors(file: StudyFile, source: LocatedData, scenario: Scenario, problems: list[Problem]) -> Iterator[Factor]:
    """Read the factors, and try each of their values on its own."""
    for path, values in file.vary.items():
        here = ("vary", path)
        if path in SETTLED:
            rule = "is stated once for the whole study, under 'simulation'"
            problems.append(source.problem(here, rule, of_key=True))
            continue
        try:
            factor = factor_of(path, values)
        except ValueError as error:
            problems += source.problems_in(error, here)
        else:
            problems += _tried(factor, source, scenario)
            yield factor


def _tried(factor: Factor, source: LocatedData, scenario: Scenario) -> Iterator[Problem]:
    """Find values that break a rule of the scenario; at most one message for each broken rule."""
    seen: set[tuple[str, str]] = set()
    values = factor.levels if isinstance(factor, Choice) else (factor.low, factor.middle, factor.high)
    for value in values[:MOST_TRIED]:
        try:
            changed(scenario, {factor.path: value})
        except ScenarioError as error:
            for _, _, _, path, rule, got in error.problems:
                if (path, rule) not in seen:
                    seen.add((path, rule))
                    where = "" if path == factor.path else f"with {shown(value)}, {path}: "
                    yield source.problem(("vary", factor.path), f"{where}{rule}", got=got)
