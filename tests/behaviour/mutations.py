"""Damaged files: valid ones with some lines, words or values changed, the same for the same number."""

import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from random import Random

import batsim
from batsim.errors import ScenarioError, StudyError
from batsim.scenario.study_file import is_study
from batsim.study.first_estimate import outline
from batsim.study.sweeps.agenda import agenda_of
from batsim.views.text.plan_text import plan_text
from batsim.views.text.summary import study_summary, summary_text
from batsim.views.text.tables import comparison_text

ROOT = Path(__file__).parents[2]
FOLDERS = ("scenarios", "scenarios/studies", "tests/unit/cases", "tests/behaviour/cases", "batsim/verification/cases")
SETTINGS = batsim.Settings(replications=2, weeks=0.1, warm_up_weeks=0.0, workers=1)
WIDTH = 100
PLANNED, REPORTED = 4, 20
"""Of so many files that can be simulated one is planned, and one reported."""
NUMBER = re.compile(r"(?<![\w:.-])-?\d+(?:\.\d+)?(?![\d:.])")
VALUE = re.compile(r"(?<=: )[^\s#{}\[\],][^#\n{}\[\],]*|(?:(?<=\[)|(?<=, ))[^\s#{}\[\],:][^#\n{}\[\],:]*(?=[\],])")
"""What stands after a key, or in a list between brackets."""
KEY = re.compile(r"\w+(?=:)")
NASTY = (
    "", "~", "[]", "{}", "[[]]", "{a: b}", "0", "-1", "1", "1e9", "1e-9", "1e308", "0x7f", "true", "no", "nan", "-0",
    "0 min", "1 s", "4000000000 h", "2.5 years", "0 %", "100 %", "1000 %", "0 V", "1 kW", "-5 degC", "-273.15 degC",
    "1e6 kg", "0.001 Ah", "Mon", "Mon-Sun", "24:00", "'00:00'", "'=1+1'", "'@a'", "a.b[0]", "'*'", "catalogue", "ü✓😀",
    "x" * 300, "0 x a", "2 x a", "{between: [1, 2]}", "{observed: times.csv}", "{mean: 4 min, cv: 20}", "{figure: x}",
    "{low: 0 min, typical: 0 min, high: 0 min}", "drivers", "never",
)  # fmt: skip
"""Values that nobody expects, or that lie at an edge."""
FACTORS = (-1.0, 0.0, 1e-6, 0.01, 0.5, 1.5, 2.0, 10.0, 1000.0, 1e9)


WHOLE = re.compile(r"^(?:scenario|layouts):", re.MULTILINE)
"""What a file has that is more than a part of another."""


def pool_of(texts: list[str]) -> tuple[list[str], list[str], list[str]]:
    """Lines, keys and values of all files, each once."""
    lines = list(dict.fromkeys(line for text in texts for line in text.splitlines()))
    keys = list(dict.fromkeys(key for text in texts for key in KEY.findall(text)))
    values = list(dict.fromkeys(value.strip() for text in texts for value in VALUE.findall(text)))
    return lines, keys, values


def mutated(text: str, random: Random, pool: tuple[list[str], list[str], list[str]]) -> str:
    """Change a text in one to four places."""
    for _ in range(random.choice((1, 1, 1, 2, 2, 3, 4))):
        change = random.choice((_line, _line, *(4 * (_value,)), *(10 * (_number,)), _key, _character))
        text = change(text, random, pool)
    return text


def _line(text: str, random: Random, pool: tuple[list[str], ...]) -> str:
    """Take a line out, write it twice, exchange it with another, shift it, or put one of another file there."""
    lines = text.splitlines()
    if not lines:
        return text
    at, other = random.randrange(len(lines)), random.randrange(len(lines))
    line = lines[at]
    match random.randrange(5):
        case 0:
            del lines[at]
        case 1:
            lines.insert(at, line)
        case 2:
            lines[at], lines[other] = lines[other], line
        case 3:
            lines[at] = f"  {line}" if random.random() < 0.5 else line[2:]
        case _:
            lines.insert(at, random.choice(pool[0]))
    return "\n".join(lines) + "\n"


def _value(text: str, random: Random, pool: tuple[list[str], ...]) -> str:
    """Put a value of any file, or one that nobody expects, in the place of a value."""
    return _replaced(text, random, VALUE, lambda _: random.choice(random.choice((pool[2], NASTY))))


def _number(text: str, random: Random, _: object) -> str:
    """Put another number in the place of a number."""
    factor = random.choice(FACTORS)
    return _replaced(text, random, NUMBER, lambda number: _like(number, float(number) * factor))


def _like(number: str, value: float) -> str:
    """Write a number, whole where the one before was whole."""
    return f"{value:.6g}" if "." in number else str(round(value) or (1 if value > 0.0 else 0))


def _key(text: str, random: Random, pool: tuple[list[str], ...]) -> str:
    """Put any key in the place of a key."""
    return _replaced(text, random, KEY, lambda _: random.choice(pool[1]))


def _character(text: str, random: Random, _: object) -> str:
    """Put any character in the place of one."""
    return _replaced(text, random, re.compile(r"(?s)."), lambda _: chr(random.choice((*range(9, 127), 0xE9, 0x2603))))


def _replaced(text: str, random: Random, what: "re.Pattern[str]", by: Callable[[str], str]) -> str:
    """Replace one place of a text that fits."""
    found = list(what.finditer(text))
    if not found:
        return text
    place = random.choice(found)
    return text[: place.start()] + by(place[0]) + text[place.end() :]


class Damaged:
    """Makes damaged files by their numbers, beside the valid ones in a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._texts = {}
        for file in [file for name in FOLDERS for file in sorted((ROOT / name).glob("*.yaml"))]:
            beside = folder / file.relative_to(ROOT)
            beside.parent.mkdir(parents=True, exist_ok=True)
            (beside.parent / "times.csv").write_text("# timed\n3 min\n4 min\n", encoding="utf-8")
            text = file.read_text(encoding="utf-8")
            beside.write_text(text, encoding="utf-8")
            if WHOLE.search(text):
                self._texts[beside] = text
        self._pool = pool_of(list(self._texts.values()))

    def file(self, number: int) -> Path:
        """Write the damaged file of this number."""
        random = Random(number)
        original, text = random.choice(list(self._texts.items()))
        damaged = original.with_name("damaged.yaml")
        damaged.write_text(mutated(text, random, self._pool), encoding="utf-8")
        return damaged

    def tried(self, number: int, *, runs: bool = True) -> Iterator[str]:
        """Do what can be done with the damaged file of this number; say what could be done."""
        with suppress(ScenarioError, StudyError):
            yield from _done(self.file(number), number, runs=runs)


def _done(file: Path, number: int, *, runs: bool) -> Iterator[str]:
    """Read a file; simulate, plan and report it where that is asked for and it can be read."""
    if is_study(file):
        study = batsim.read_study(file)
        yield "read"
        study_summary(agenda_of(study, SETTINGS), WIDTH)
        return
    scenario = batsim.read(file)
    yield "read"
    summary_text(outline(scenario), WIDTH)
    if not runs:
        return
    comparison_text(batsim.compare(scenario, SETTINGS), WIDTH)
    yield "simulated"
    if number % PLANNED == 0:
        plans = batsim.plan_layouts(scenario, SETTINGS)
        plan_text(plans, WIDTH, full=True)
        yield "planned"
        if number % REPORTED == 0:
            batsim.report_html(plans, "", plans.seen(batsim.recommend(plans).layout, 1))
            yield "reported"
