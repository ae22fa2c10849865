"""What a scenario says is not known, `{between: [3 min, 7 min]}`, and figures of the catalogue that it states anew."""

from dataclasses import replace

from batsim.catalogue import FIGURES, Figure, Figures
from batsim.errors import Problem
from batsim.scenario.factors import AMOUNT, BETWEEN, Between, between_of
from batsim.scenario.parts.faults import did_you_mean, shown, wrong
from batsim.scenario.text.located_data import LocatedData, path_text

NOT_TOGETHER = "what is stated anew does not go together with the other figures; look at their ranges in figures.csv"
FIGURES_KEY = "figures"
"""Key of a scenario under which figures of the catalogue are stated anew."""


def settle(draft: LocatedData) -> tuple[tuple[Between, ...], list[Problem]]:
    """Put its middle in place of every input that is not known; return those inputs, and what is wrong with them."""
    unknowns: list[Between] = []
    problems: list[Problem] = []
    for path, value in draft.walk():
        if not isinstance(value, dict) or BETWEEN not in value:
            continue
        ends = value[BETWEEN]
        settled = ends[0] if isinstance(ends, list) and ends else None  # stands in for a wrong statement
        try:
            unknown = between_of(path_text(path), value)
        except ValueError as error:
            problems += draft.problems_in(error, path)
        else:
            layout = str(path[1]) if path[0] == "layouts" and len(path) > 1 else None
            unknowns.append(replace(unknown, layout=layout))
            settled = unknown.middle
        draft.at(path[:-1])[path[-1]] = settled
    return tuple(unknowns), problems


def lies_in(path: str, around: str) -> bool:
    """Whether a path is another one, or leads to a part of what stands there."""
    return path == around or path.startswith((f"{around}.", f"{around}["))


def without_echoes(problems: list[Problem], unsettled: list[Problem]) -> list[Problem]:
    """Leave out what is only wrong because something stands in for an input that `settle` could not read."""
    paths = [problem.path for problem in unsettled]
    return [other for other in problems if not any(lies_in(other.path, p) or lies_in(p, other.path) for p in paths)]


def figures_instead(draft: LocatedData) -> tuple[Figures, list[Problem]]:
    """Figures that hold for the scenario, some in place of the catalogue's, and what is wrong with those."""
    stated: dict[str, Figure] = {}
    problems: list[Problem] = []
    entries = draft.entries((FIGURES_KEY,)) if isinstance(draft.at((FIGURES_KEY,)), dict) else ()
    for key, value in entries:
        name = str(key)
        if name not in FIGURES:
            rule = f"not a figure of the catalogue{did_you_mean(name, list(FIGURES))}"
            problems.append(draft.problem((FIGURES_KEY, key), rule, of_key=True))
            continue
        try:
            stated[name] = FIGURES[name].stated(_number_for(FIGURES[name], value))
        except ValueError as error:
            problems.append(draft.problem((FIGURES_KEY, key), str(error), got=shown(value)))
    return Figures(stated), problems


def _number_for(figure: Figure, value: object) -> float:
    """Number that is to stand for a figure, in its unit and on its side of zero; a ValueError states the rule."""
    match = AMOUNT.fullmatch(str(value)) if isinstance(value, str | int | float) and value is not True else None
    if match is None or (match[2] or "1") != figure.unit:
        wrong(f"needs a value such as {figure.text}")
    number = float(match[1])
    if figure.low > 0.0 and not number > 0.0:
        wrong("must be above 0")
    if figure.low >= 0.0 and number < 0.0:
        wrong("must be at least 0")
    return number
