"""Study files: what they may say, every fault at its place, what editors and `batsim check` are told of them."""

import json
import pickle
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from jsonschema import Draft202012Validator

import batsim
from batsim.cli import main
from batsim.scenario.factors import Around, Between, Choice
from batsim.scenario.json_schema import scenario_schema, study_schema
from batsim.scenario.study_file import (
    MOST_POINTS,
    MOST_TRIED,
    Design,
    Study,
    is_study,
    read_study,
    stated_study,
)
from batsim.scenario.text.located_data import path_text
from batsim.scenario.text.yaml_text import read_file, read_text
from batsim.study.sweeps.agenda import agenda_of
from batsim.study.sweeps.sweep import NAMES

ROOT = Path(__file__).parents[3]
STUDIES = sorted((ROOT / "scenarios" / "studies").glob("*.yaml"))
BROKEN = Path(__file__).parents[1] / "broken"
SOUND = BROKEN / "sound.yaml"
STUDY = (BROKEN / "studies" / "sound.yaml").read_text(encoding="utf-8")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in with the sound scenario, so that messages show short file names."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sound.yaml").write_text(SOUND.read_text(encoding="utf-8"), encoding="utf-8")
    return tmp_path


def read(text: str = STUDY) -> Study:
    """Write a study into the folder and read it; the scenario beside it is that of the tests on bad input."""
    Path("study.yaml").write_text(text, encoding="utf-8")
    return read_study("study.yaml", NAMES)


def problems(text: str) -> list[str]:
    """What is wrong with a study, without the name of its file; the head line must count it."""
    with pytest.raises(batsim.ScenarioError) as caught:
        read(text)
    head, *lines = str(caught.value).splitlines()
    assert head == f"study.yaml: {len(lines)} problem{'' if len(lines) == 1 else 's'}"
    return [line.removeprefix("  study.yaml:") for line in lines]


def vary(path: str, values: str) -> str:
    """A study of one factor."""
    return f"scenario: sound.yaml\nvary:\n  {path}: {values}\n"


# --- what is read ---


def test_every_part_arrives(here: Path) -> None:
    """Factors in the order of the file, measures once each, runs in their units."""
    study = read()

    assert (study.file, study.question, study.layouts) == ("study.yaml", "What matters?", ("extractor",))
    assert [(type(each), each.path) for each in study.factors] == [
        (Between, "trucks[0].duty.mean_power"),
        (Around, "trucks[1].run_time.mean"),
        (Choice, "layouts.extractor.stations"),
    ]
    assert (study.design, study.catalogue) == (Design("latin_hypercube", 8), False)
    assert study.measures == ("peak_kw", "labour_min_per_day")
    runs = study.runs
    assert (runs.replications, runs.length_min, runs.warm_up_min) == (3, 20160.0, 10080.0)
    assert (runs.seed, runs.confidence_share) == (5, 0.9)
    assert list(study.scenario.layouts) == ["extractor"]
    assert study.scenario.site.name == "Sound until broken (invented)"


def test_what_is_left_out(here: Path) -> None:
    """A grid over all layouts; lengths and seeds are the scenario's."""
    study = read(vary("trucks[*].exchange_at", "[25 %, 30 %]"))

    assert (study.question, study.layouts) == ("", ("extractor", "in the truck"))
    assert (study.design, study.design.text) == (Design("grid"), "grid")
    assert study.measures == ("downtime_min_per_truck_shift",)
    assert set(study.runs.model_dump().values()) == {None}


@pytest.mark.parametrize(
    ("text", "design", "words"),
    [
        ("grid", Design("grid"), "grid"),
        ("one_at_a_time", Design("one_at_a_time"), "one at a time"),
        ("{latin_hypercube: 64}", Design("latin_hypercube", 64), "latin hypercube of 64"),
        ("{morris: 20}", Design("morris", 20, 4), "morris of 20"),
        ("{morris: 20, levels: 6}", Design("morris", 20, 6), "morris of 20"),
        ("{sobol: 256}", Design("sobol", 256), "sobol of 256"),
    ],
)
def test_designs(here: Path, text: str, design: Design, words: str) -> None:
    """By name, with a number where the factors do not settle it."""
    found = read(STUDY.replace("{latin_hypercube: 8}", text)).design

    assert (found, found.text) == (design, words)


def test_a_study_may_be_stated_in_python(here: Path) -> None:
    """With the keys of a file and a scenario that is there already; messages have no line then."""
    scenario = batsim.read("sound.yaml")
    study = stated_study(scenario, {"vary": {"trucks[0].priority": [5, 6]}, "layouts": ["extractor"]}, NAMES)

    assert (study.file, study.layouts, study.factors) == (
        "study",
        ("extractor",),
        (Choice("trucks[0].priority", (5, 6)),),
    )
    with pytest.raises(batsim.ScenarioError) as caught:
        stated_study(scenario, {"vary": {"trucks[0].count": [6, 0]}}, NAMES)
    assert str(caught.value) == "study: 1 problem\n  study: vary.'trucks[0].count': must be at least 1 (got 0)"


def test_a_study_can_be_sent_to_another_process(here: Path) -> None:
    """Scenario, factors and all."""
    study = read()

    assert pickle.loads(pickle.dumps(study)) == study


# --- also what the scenario says is not known ---


OPEN = "scenario: open.yaml\nalso_vary: [unknowns]\n"


@pytest.fixture
def opened(here: Path) -> Path:
    """Beside it a scenario with three inputs that are not known, one of them in the truck only."""
    text = SOUND.read_text(encoding="utf-8").replace("mean_power: 3.2 kW", "mean_power: {between: [3 kW, 3.4 kW]}")
    text = text.replace("cool_down: 8 h", "cool_down: {between: [7 h, 9 h]}")
    text = text.replace("ceiling: 80 %", "ceiling: {between: [75 %, 85 %]}")
    (here / "open.yaml").write_text(text, encoding="utf-8")
    return here


def test_unknowns_of_the_layouts_that_are_run(opened: Path) -> None:
    """They come after what the study states, and those of other layouts do not count."""
    every = read(OPEN)
    some = read(f"{OPEN}layouts: [extractor]\nvary:\n  trucks[0].priority: [5, 6]\n")

    assert [each.path for each in every.factors] == [
        "trucks[0].duty.mean_power",
        "batteries.big.cool_down",
        "layouts.in the truck.in_truck.ceiling",
    ]
    assert [each.path for each in some.factors] == [
        "trucks[0].priority",
        "trucks[0].duty.mean_power",
        "batteries.big.cool_down",
    ]


@pytest.mark.parametrize(
    ("path", "values"),
    [
        ("trucks[0].duty.mean_power", "[3.1 kW, 3.2 kW]"),
        ("trucks[*].exchange_at", "[25 %, 30 %]"),
        ("trucks[0].duty", "[{mean_power: 3.1 kW}, {mean_power: 3.2 kW}]"),
        ("trucks[0].'duty'.mean_power", "[3.1 kW, 3.2 kW]"),
        ("batteries.*.cool_down", "[7 h, 8 h]"),
    ],
)
def test_what_the_study_states_goes_before_what_is_not_known(opened: Path, path: str, values: str) -> None:
    """However its path is written; else the unknown would be laid over it at every point."""
    unknown = {"t": "trucks[0].duty.mean_power", "b": "batteries.big.cool_down"}[path[0]]
    if "exchange_at" in path:
        unknown = "trucks[0].exchange_at"
        text = Path("open.yaml").read_text(encoding="utf-8")
        text = text.replace("exchange_at: 25 %", "exchange_at: {between: [22 %, 28 %]}")
        Path("open.yaml").write_text(text, encoding="utf-8")
        assert unknown in [each.path for each in read(OPEN).factors]

    study = read(f"{OPEN}vary:\n  {path}: {values}\n")

    assert study.factors[0] == Choice(path, tuple(read_text(f"a: {values}", "a.yaml").data["a"]))
    left = [each.path for each in study.factors[1:]]
    assert unknown not in left
    assert len(left) == len(read(OPEN).factors) - 1


def test_the_middle_stands_for_what_does_not_vary(opened: Path) -> None:
    """Without also_vary."""
    study = read("scenario: open.yaml\nvary:\n  trucks[0].priority: [5, 6]\n")

    assert [each.path for each in study.factors] == ["trucks[0].priority"]
    assert study.scenario.trucks[0].duty is not None
    assert study.scenario.trucks[0].duty.mean_kw == 3.2


def test_the_catalogue_may_vary_alone(here: Path) -> None:
    """Its figures are found when the points are made."""
    study = read("scenario: sound.yaml\nalso_vary: [catalogue]\ndesign: one_at_a_time\n")

    assert (study.factors, study.catalogue) == ((), True)
    assert len(agenda_of(study).points.factors) > 20


# --- what is wrong ---


def faults() -> list[tuple[str, str, list[str]]]:
    """Title, text and messages of each case of ``broken/studies/faults.diff``, which breaks the study beside it."""
    found = []
    for part in (BROKEN / "studies" / "faults.diff").read_text(encoding="utf-8").split("\n## ")[1:]:
        title, body = part.split("\n", 1)
        text = STUDY
        for hunk in re.finditer(r"((?:^-.*\n)+)((?:^\+.*\n)*)", body, re.MULTILINE):
            old, new = (re.sub(r"^[-+]", "", lines, flags=re.MULTILINE) for lines in hunk.groups())
            assert text.count(old) == 1, f"{title}: not once in the study:\n{old}"
            text = text.replace(old, new)
        found.append((title, text, [line[2:] for line in body.splitlines() if line.startswith("! ")]))
    return found


@pytest.mark.parametrize(("title", "text", "messages"), faults(), ids=[title for title, *_ in faults()])
def test_what_is_wrong_is_said_to_the_letter(here: Path, title: str, text: str, messages: list[str]) -> None:
    """Bay, path, rule and value of every problem, in the order of the file, and nothing else; by the command too."""
    lines = problems(text)

    assert messages
    assert [f"study.yaml:{line}" for line in lines] == messages
    assert call("check", "study.yaml").exit_code == 2


@pytest.mark.parametrize("also", ["", "also_vary: [unknowns]\n", "vary: {}\n", "also_vary: []\n"])
def test_a_study_varies_something(here: Path, also: str) -> None:
    """The scenario has no unknowns."""
    text = f"scenario: sound.yaml\ndesign: grid\n{also}"

    assert problems(text) == ["1:1: varies nothing; state paths and values under 'vary'"]


def test_only_some_of_very_many_values_are_tried(here: Path) -> None:
    """So that reading takes no minutes; what breaks a rule later is refused point by point."""
    values = [*range(1, MOST_TRIED + 1), 0]

    assert read(vary("layouts.extractor.stations", str(values))).factors[0].levels == tuple(values)
    assert len(problems(vary("layouts.extractor.stations", str([*values[1:MOST_TRIED], 0])))) == 1


# --- the file of its scenario ---


def test_a_scenario_that_is_not_there(here: Path) -> None:
    """Is the problem of that file."""
    Path("study.yaml").write_text(STUDY.replace("sound.yaml", "deep/nosuch.yaml"), encoding="utf-8")

    with pytest.raises(batsim.ScenarioError) as caught:
        read_study("study.yaml", NAMES)
    assert str(caught.value) == "deep/nosuch.yaml: 1 problem\n  deep/nosuch.yaml:1:1: there is no such file"


def test_a_broken_scenario_gives_its_own_problems_whole(here: Path) -> None:
    """As if it had been read alone."""
    twenty = Path(__file__).parents[1] / "broken" / "twenty.yaml"
    (here / "twenty.yaml").write_text(twenty.read_text(encoding="utf-8"), encoding="utf-8")

    with pytest.raises(batsim.ScenarioError) as alone:
        batsim.read("twenty.yaml")
    with pytest.raises(batsim.ScenarioError) as caught:
        read(STUDY.replace("sound.yaml", "twenty.yaml"))
    assert str(caught.value) == str(alone.value)
    assert len(caught.value.problems) == 20


def test_a_scenario_is_seen_from_the_study(here: Path) -> None:
    """Not from where the command is given."""
    (here / "studies").mkdir()
    (here / "studies" / "one.yaml").write_text(STUDY.replace("sound.yaml", "../sound.yaml"), encoding="utf-8")

    assert read_study("studies/one.yaml", NAMES).scenario.file == "studies/../sound.yaml"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "1:1: is empty; a scenario starts with a key such as 'site:'"),
        ("- 1\n", "1:1: the top level must be lines of 'key: value' (got a list)"),
        ("vary: {a: [1}\n", "1:13: not valid YAML: what was opened in line 1 needs a ',' or ']' here"),
    ],
)
def test_a_study_that_is_no_yaml(here: Path, text: str, message: str) -> None:
    """As for a scenario."""
    assert problems(text) == [message]


def test_a_study_that_is_not_there(here: Path) -> None:
    """Said as for a scenario."""
    with pytest.raises(batsim.ScenarioError) as caught:
        read_study("nosuch.yaml", NAMES)
    assert str(caught.value) == "nosuch.yaml: 1 problem\n  nosuch.yaml:1:1: there is no such file"


# --- what editors are told ---


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    """The JSON Schema of studies, as it is after printing."""
    return json.loads(json.dumps(study_schema(), allow_nan=False))


def test_the_schema_is_a_schema(schema: dict[str, Any]) -> None:
    """And stands in its file, as that of scenarios does."""
    Draft202012Validator.check_schema(schema)

    assert (schema["$schema"], schema["title"]) == ("https://json-schema.org/draft/2020-12/schema", "batsim study")
    assert schema == json.loads((ROOT / "scenarios" / "studies" / "study.schema.json").read_text(encoding="utf-8"))
    assert scenario_schema() == json.loads((ROOT / "scenarios" / "batsim.schema.json").read_text(encoding="utf-8"))
    for option, expected in (([], scenario_schema()), (["--study"], schema)):
        assert json.loads(CliRunner().invoke(main, ["schema", *option]).stdout) == expected


@pytest.mark.parametrize("file", STUDIES, ids=lambda file: file.stem)
def test_the_studies_are_valid_in_an_editor(schema: dict[str, Any], file: Path) -> None:
    """And are read; each names the schema for the editor, and states its question."""
    assert list(Draft202012Validator(schema).iter_errors(read_file(file).data)) == []
    assert file.read_text(encoding="utf-8").startswith("# yaml-language-server: $schema=./study.schema.json\n")
    assert read_study(file, NAMES).question.endswith("?")


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("scenario: sound.yaml\n", "", "$"),
        ("layouts:", "layout:", "$"),
        ("[extractor]", "[]", "$.layouts"),
        ("{between: [3 kW, 3.4 kW], typ", "{between: [3 kW], typ", "$.vary['trucks[0].duty.mean_power']"),
        ("{mean: 6 h, cv: 0.1}", "{mean: 6 h}", "$.vary['trucks[1].run_time.mean']"),
        ("{mean: 6 h, cv: 0.1}", "6 h", "$.vary['trucks[1].run_time.mean']"),
        ("[1, 2]", "[]", "$.vary['layouts.extractor.stations']"),
        ("{latin_hypercube: 8}", "{latin_hypercube: 1}", "$.design"),
        ("{latin_hypercube: 8}", "{latin_hypercube: 8, levels: 4}", "$.design"),
        ("{latin_hypercube: 8}", "{morris: 8, levels: 3}", "$.design"),
        ("{latin_hypercube: 8}", "sobol", "$.design"),
        ("replications: 3", "replications: 0", "$.simulation.replications"),
        ("seed: 5", "sede: 5", "$.simulation"),
    ],
)  # fmt: skip
def test_an_editor_marks_what_the_reader_refuses(
    here: Path, schema: dict[str, Any], old: str, new: str, where: str
) -> None:
    """Misspelt keys and wrong values fail validation, at their place."""
    assert STUDY.count(old) == 1, old
    text = STUDY.replace(old, new)

    assert list(Draft202012Validator(schema).iter_errors(read_text(STUDY, "a.yaml").data)) == []
    assert {error.json_path for error in Draft202012Validator(schema).iter_errors(read_text(text, "a.yaml").data)} == {
        where
    }
    assert len(problems(text)) == 1


def test_an_editor_lets_a_value_be_unknown_where_the_reader_does(here: Path) -> None:
    """Every number of the shipped scenarios, alone or with a unit, in place of which between may be read."""
    validator = Draft202012Validator(scenario_schema())
    found = 0
    for file in (SOUND, *(ROOT / "scenarios" / f"{name}.yaml" for name in ("kestrel-lane", "larkfield-bottling"))):
        scenario, data = batsim.read(file), read_file(file).data
        for path, value in leaves(data):
            between = about(value)
            if between is None or not reads(scenario, path, between):
                continue
            changed = json.loads(json.dumps(data))
            put(changed, path, between)
            assert [error.json_path for error in validator.iter_errors(changed)] == [], (file.stem, path)
            found += 1
    assert found > 100


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[tuple[str | int, ...], Any]]:
    """Every single value with its path, but only the first of a list."""
    inner = value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else None
    return [(path, value)] if inner is None else [each for key, one in inner for each in leaves(one, (*path, key))]


def about(value: Any) -> dict[str, Any] | None:
    """A value that is not known, close to a number; None where it is none."""
    number, _, unit = str(value).partition(" ")
    if isinstance(value, bool) or not number.lstrip("-").replace(".", "", 1).isdigit() or len(unit) > 30:
        return None
    if isinstance(value, int) or unit.startswith("x "):
        ends: list[Any] = [int(number), int(number) + 1]
    else:
        ends = [float(number), float(number) + 1e-4]
    return {"between": [f"{end} {unit}" for end in ends] if unit else ends}


def put(data: Any, path: tuple[str | int, ...], value: object) -> None:
    """Set a value in plain data."""
    for key in path[:-1]:
        data = data[key]
    data[path[-1]] = value


def reads(scenario: batsim.Scenario, path: tuple[str | int, ...], value: object) -> bool:
    """Tell whether the reader takes it."""
    try:
        batsim.changed(scenario, {path_text(path): value})
    except batsim.ScenarioError:
        return False
    return True


# --- what check says ---


def call(*arguments: str) -> Result:
    """Run a command."""
    return CliRunner().invoke(main, arguments)


def test_check_tells_what_a_study_comes_to(here: Path) -> None:
    """Points, cases and factors, to the letter."""
    read()
    result = call("check", "study.yaml")

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "study.yaml: reads well\n"
        "  What matters?\n"
        "  Sound until broken (invented)\n"
        "  latin hypercube of 8: 8 points, 1 layout (extractor), 3 replications of 2 weeks each\n"
        "  24 cases to run\n"
        "  3 factors:\n"
        "    trucks[0].duty.mean_power: between 3 kW and 3.4 kW, typically 3.1 kW\n"
        "    trucks[1].run_time.mean: about 6 h, cv 0.1\n"
        "    layouts.extractor.stations: one of 1, 2\n"
        "Run it with 'batsim sweep study.yaml'.\n"
    )


def test_check_counts_shared_cases_once(here: Path) -> None:
    """A factor of one layout does not make new cases of another."""
    read("scenario: sound.yaml\nvary: {layouts.extractor.stations: [1, 2, 3]}\nsimulation: {replications: 1}\n")

    lines = call("check", "study.yaml").stdout.splitlines()

    assert lines[2:5] == [
        "  grid: 3 points, 2 layouts (extractor, in the truck), 1 replication of 1 week each",
        "  4 cases to run",
        "  1 factor:",
    ]


def test_check_does_not_count_very_many_cases(here: Path) -> None:
    """It says how many there are at most, and cuts a long list of values."""
    weeks, stations = list(range(1, 7)), list(range(1, 2001))
    factors = f"{{simulation.start_week: {weeks}, layouts.extractor.stations: {stations}}}"
    read(f"scenario: sound.yaml\nvary: {factors}\n")

    lines = call("check", "study.yaml").stdout.splitlines()

    assert lines[2:4] == [
        "  grid: 12,000 points, 2 layouts (extractor, in the truck), 2 replications of 1 week each",
        "  at most 48,000 cases to run",
    ]
    told = " ".join(line.strip() for line in lines[6:-1])
    assert told == f"layouts.extractor.stations: {f'one of {stations}'.replace('[', '')[:157]}..."
    assert max(map(len, lines)) <= 100


def test_check_refuses_too_many_points(here: Path) -> None:
    """On stderr, with status 2."""
    stations, bays = list(range(1, 1002)), list(range(13, 1013))
    read(f"scenario: sound.yaml\nvary: {{layouts.extractor.stations: {stations}, layouts.extractor.bays: {bays}}}\n")

    refused = call("check", "study.yaml")

    assert (refused.exit_code, refused.stdout) == (2, "")
    rule = f"gives 1001000 points; at most {MOST_POINTS} are run, so state fewer values or another design"
    assert refused.stderr == f"study.yaml: 1 problem\n  study.yaml: design: {rule}\n"


@pytest.mark.parametrize(
    ("text", "study"),
    [
        (STUDY, True),
        ("scenario: a.yaml\ndesign: grid\n", True),
        ("scenario: a.yaml\nalso_vary: [unknowns]\n", True),
        ("scenario: a.yaml\n", False),
        ("vary: {}\n", False),
        ("site: {name: x}\n", False),
        ("- scenario\n- vary\n", False),
        ("", False),
    ],
)
def test_a_study_is_known_by_its_keys(here: Path, text: str, study: bool) -> None:
    """What is none is read as a scenario."""
    Path("file.yaml").write_text(text, encoding="utf-8")

    assert is_study("file.yaml") is study
    assert is_study("nosuch.yaml") is False


def test_check_lists_what_is_not_known_and_what_is_stated_anew(opened: Path) -> None:
    """In a line each, after the layouts."""
    with Path("open.yaml").open("a", encoding="utf-8") as file:
        file.write("figures: {travel.speed: 6 km/h, battery.vented_lead_acid.peukert: 1.25}\n")
    lines = call("check", "open.yaml").stdout.splitlines()

    assert lines[-8:] == [
        "  3 inputs are not known; a middle value stands in:",
        "    trucks[0].duty.mean_power: between 3 kW and 3.4 kW",
        "    batteries.big.cool_down: between 7 h and 9 h",
        "    layouts.in the truck.in_truck.ceiling: between 75 % and 85 %",
        "  2 figures are stated in place of the catalogue's:",
        "    battery.vented_lead_acid.peukert: 1.25 in place of 1.2",
        "    travel.speed: 6 km/h in place of 8 km/h",
        "Rules of thumb know no queue and no spread; run 'batsim compare' for the answer.",
    ]
    known = call("check", "sound.yaml").stdout
    assert "not known" not in known
    assert "stated anew" not in known
