"""What can go wrong, and whose fault it is.

The family::

    BatsimError
    ├── ScenarioError      the scenario says something that cannot be (yours)
    ├── StudyError         a study cannot go on: its file, store, cluster or machine does not allow it (not batsim's)
    ├── FigureError        a figure or source is asked for that the catalogue lacks (ours)
    └── SimulationError    the room broke one of its own rules (ours)

A caller who wants to show a message instead of a traceback writes::

    try:
        site = batsim.read("scenarios/site.yaml")
    except batsim.BatsimError as error:
        print(error)
"""

from typing import NamedTuple


class BatsimError(Exception):
    """Anything that batsim raises on purpose."""


class Problem(NamedTuple):
    """One thing that is wrong in a scenario: where, which rule, what was found."""

    file: str
    line: int
    column: int
    path: str
    rule: str
    got: str | None = None

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}: " if self.line else f"{self.file}: "
        path = f"{self.path}: " if self.path else ""
        got = "" if self.got is None else f" (got {self.got})"
        return f"{where}{path}{self.rule}{got}"


class ScenarioError(BatsimError):
    """The scenario cannot be used; ``problems`` holds everything that is wrong with it, in file order."""

    def __init__(self, file: str, problems: list[Problem]) -> None:
        self.file = file
        once = dict.fromkeys(problems)
        self.problems = sorted(once, key=lambda p: (p.file != file, p.file, p.line, p.column, p.path))
        count = len(self.problems)
        head = f"{file}: {count} problem{'' if count == 1 else 's'}"
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))

    def __reduce__(self) -> tuple[type["ScenarioError"], tuple[str, list[Problem]]]:
        return (ScenarioError, (self.file, self.problems))


class FigureError(BatsimError):
    """A figure or a source was asked for that the catalogue does not hold."""


class SimulationError(BatsimError):
    """The room found itself in a state that its own rules exclude."""


class StudyError(BatsimError):
    """A study cannot be run or go on: the store, the cluster, a lost worker; the text says what to do."""


def require(condition: object, rule: str, error: type[Exception] = ValueError) -> None:
    """Refuse what does not keep a rule, such as an argument of a function.

    Raises
    ------
    ValueError, or the error that is named
        With the rule as its text, when the condition is not true.
    """
    if not condition:
        raise error(rule)
