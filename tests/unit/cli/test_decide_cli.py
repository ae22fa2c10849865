"""The command decide, and the best plans in plan and report: options, what they refuse, text, JSON, the store."""

import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import batsim
from batsim.cli import main
from batsim.cli.deciding import OBJECTIVES
from batsim.decision import trials
from batsim.decision.decide import Decision, decide
from batsim.scenario.parts.fixed import FIXABLE
from batsim.scenario.settings import Settings
from batsim.study.running import jobs
from batsim.views.text.decision_text import decision_text

CASES = Path(__file__).parents[1] / "cases"
OPTIONS = (
    "--range", "batteries=6:8", "--range", "chargers = 2:4", "--indifference", "downtime=20", "--workers", "1",
    "--seed", "4", "--confidence", "90%", "--objective", "bought",
)  # fmt: skip
QUICK = ("--weeks", "0.1", "--warm-up", "0", "--workers", "1")
GOES_ON = "what is finished is in {}; the same command goes on from there\nstopped\n"


def call(*arguments: object) -> Result:
    """Run a command."""
    return CliRunner().invoke(main, [str(each) for each in arguments])


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The small room in a folder of its own, with nothing simulated yet."""
    return Path(shutil.copy(CASES / "decide_small.yaml", tmp_path / "room.yaml"))


@pytest.fixture(scope="module")
def decided(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Result, Decision]]:
    """A file, what the command says of it, and what the study finds."""
    file = Path(shutil.copy(CASES / "decide_small.yaml", tmp_path_factory.mktemp("decided") / "room.yaml"))
    result = call("decide", file, *OPTIONS)
    study = decide(
        batsim.read(file),
        Settings(confidence=0.9, seed=4, workers=1),
        ranges={"batteries": (6, 8), "chargers": (2, 4)},
        indifference={"downtime": 20.0},
        objective="bought",
    )
    return file, result, study


def kept(store: Path) -> int:
    """Runs in a store."""
    with closing(sqlite3.connect(store)) as connection:
        (number,) = connection.execute("SELECT count(*) FROM cases").fetchone()
    return int(number)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, decided: tuple[Path, Result, Decision]) -> list[dict[str, Any]]:
    """What the command asks of the study, which does not run."""
    found: list[dict[str, Any]] = []

    def decide_nothing(_scenario: object, settings: Settings, **how: Any) -> Decision:
        found.append({"settings": settings, **how})
        return decided[2]

    monkeypatch.setattr(batsim, "decide", decide_nothing)
    return found


# --- what is said ---


def test_text_is_that_of_the_study(decided: tuple[Path, Result, Decision]) -> None:
    """On a pipe, a hundred characters wide."""
    _, result, study = decided

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == decision_text(study) + "\n"
    assert max(map(len, result.stdout.splitlines())) <= 100


def test_json_is_that_of_the_study(decided: tuple[Path, Result, Decision]) -> None:
    """From the store of the first call."""
    file, _, study = decided
    result = call("decide", file, *OPTIONS, "--json")

    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == json.loads(json.dumps(study.as_json()))
    assert json.loads(result.stdout)["confidence"] == 0.9


def test_a_target_out_of_reach_is_an_answer(file: Path) -> None:
    """Not an error."""
    text = file.read_text(encoding="utf-8").replace("at most 300 min", "at most 10 min")
    file.write_text(text, encoding="utf-8")
    result = call("decide", file, "--range", "chargers=3:4", *QUICK)

    assert (result.exit_code, result.stderr) == (0, "")
    assert "No plan that was looked at meets the targets." in result.stdout


# --- what is asked ---


def test_options_are_handed_on(asked: list[dict[str, Any]], file: Path) -> None:
    """Each under its name."""
    store = file.with_name("elsewhere.store")
    result = call("decide", file, *OPTIONS, "--fix", "levers", "--fix", "bays", "--draws", "7", "--store", store)

    assert result.exit_code == 0
    ((asking),) = asked
    settings = asking.pop("settings")
    assert (settings.confidence, settings.seed, settings.workers) == (0.9, 4, 1)
    assert asking == {
        "ranges": {"batteries": (6, 8), "chargers": (2, 4)}, "fix": ("levers", "bays"), "objective": "bought",
        "indifference": {"downtime": 20.0}, "draws": 7, "store": str(store), "progress": None,
    }  # fmt: skip


def test_what_is_usual(asked: list[dict[str, Any]], file: Path) -> None:
    """A store beside the scenario, everything chosen, by all that differs in a year."""
    assert call("decide", file).exit_code == 0
    asking = asked[0]

    assert (asking["store"], asking["objective"]) == (str(file.with_suffix(".store")), "yearly")
    assert (asking["ranges"], asking["fix"], asking["indifference"], asking["draws"]) == ({}, (), {}, None)
    assert asking["settings"].confidence is None
    assert OBJECTIVES == trials.OBJECTIVES


def test_all_that_may_be_fixed_is_in_the_help() -> None:
    """By its name."""
    text = " ".join(call("decide", "--help").stdout.split())

    assert all(name in text for name in FIXABLE)


# --- broken options ---


@pytest.mark.parametrize(
    "text",
    [
        "batteries",
        "batteries=",
        "batteries=6",
        "batteries=6-8",
        "batteries=a:b",
        "batteries=6:",
        "=",
        "b=²:3",
        "b=-1:3",
    ],
)
def test_ranges_that_are_none(text: str, file: Path) -> None:
    """With an example."""
    result = call("decide", file, "--range", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(
        f"Error: --range needs a name and two whole numbers, such as batteries=60:100 (got {text})\n"
    )


@pytest.mark.parametrize(
    "text", ["downtime", "downtime=", "downtime=0", "downtime=-1", "downtime=x", "waits=nan", "waits=inf%"]
)
def test_indifferences_that_are_none(text: str, file: Path) -> None:
    """With an example."""
    result = call("decide", file, "--indifference", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(
        f"Error: --indifference needs a target and a number above 0, such as downtime=0.5 or waits=2% (got {text})\n"
    )


@pytest.mark.parametrize("text", ["95", "0", "49%", "100%", "x", "", "nan", "99.95%"])
def test_confidences_that_are_none(text: str, file: Path) -> None:
    """Between what it must lie."""
    result = call("decide", file, "--confidence", text)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith(f"Error: --confidence needs a share from 50% to 99.9%, such as 95% (got {text})\n")


@pytest.mark.parametrize("text", ["downtime=5%", "cut-out=10%"])
def test_percentages_are_for_shares(text: str, file: Path) -> None:
    """5 % of a minute is nothing that anybody means."""
    result = call("decide", file, "--indifference", text)

    assert (result.exit_code, result.stdout) == (2, "")
    name = text.partition("=")[0]
    unit = "minutes" if name == "downtime" else "trucks"
    assert result.stderr.endswith(f"Error: --indifference of {name} is in {unit}, not in % (got {text})\n")


@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        (
            "--range",
            "hoist=1:2",
            "range hoist: no count of this name in layout 'room'; known: batteries, chargers, stations",
        ),
        ("--indifference", "waits=2%", "indifference waits: the scenario has no target of this name; known: downtime"),
        ("--fix", "trucks", f"fix trucks: is none of {', '.join(FIXABLE)}"),
        ("--layout", "rom", "layouts.rom: no layout of this name; did you mean 'room'?"),
    ],
)  # fmt: skip
def test_options_that_name_nothing(option: str, value: str, says: str, file: Path) -> None:
    """Before anything is run, and no store is made."""
    result = call("decide", file, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"{file}: 1 problem\n  {file}: {says}\n"
    assert not file.with_suffix(".store").exists()


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--weeks", "0"), ("--warm-up", "-1"), ("--seed", "-1"), ("--workers", "0"), ("--draws", "1"),
        ("--objective", "cheap"),
    ],
)  # fmt: skip
def test_options_out_of_range(option: str, value: str, file: Path) -> None:
    """Between what they must lie."""
    result = call("decide", file, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '{option}'" in result.stderr


def test_no_target(file: Path) -> None:
    """Nothing to decide by."""
    file.write_text(file.read_text(encoding="utf-8").replace("targets:", "# targets:"), encoding="utf-8")
    result = call("decide", file)

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{file}: 1 problem\n"
        f"  {file}: targets: states none; add one, such as downtime_per_truck_shift: at most 12 min\n"
    )


# --- what is written ---


def test_the_best_plans_are_written(decided: tuple[Path, Result, Decision]) -> None:
    """As a scenario that other commands take as it is; it is said."""
    file, text, study = decided
    best = file.with_name("best.yaml")
    result = call("decide", file, *OPTIONS, "--write", best)

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.endswith(f"\nwrote {best}: batsim compare, plan and report take it as it is\n")
    assert len(result.stdout.splitlines()) == len(text.stdout.splitlines()) + 1
    assert batsim.read(best).layouts == study.best_scenario.layouts
    assert call("run", best, "-r", "1", *QUICK).exit_code == 0


def test_what_cannot_be_written_is_said(asked: list[dict[str, Any]], file: Path) -> None:
    """With what to do."""
    result = call("decide", file, "--write", file.with_name(f"{'long' * 100}.yaml"))

    assert asked
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.endswith("Error: --write: cannot be written (File name too long); choose another file\n")


def test_a_folder_that_is_not_there_is_said(asked: list[dict[str, Any]], file: Path) -> None:
    """Before anything is simulated."""
    result = call("decide", file, "--write", file.parent / "nowhere" / "best.yaml")

    assert not asked
    assert result.stderr.endswith("choose another file\n")


def test_json_stays_json_where_something_is_written(decided: tuple[Path, Result, Decision]) -> None:
    """Nothing stands behind it."""
    file, _, study = decided
    result = call("decide", file, *OPTIONS, "--json", "--write", file.with_name("too.yaml"))

    assert json.loads(result.stdout)["runs"] == study.runs


# --- the store, and what goes on from it ---


def test_what_was_run_is_found_again(decided: tuple[Path, Result, Decision]) -> None:
    """In the store beside the scenario; nothing is added to it."""
    file, _, study = decided
    store = file.with_suffix(".store")
    before = kept(store)
    result = call("decide", file, *OPTIONS)

    assert before == study.runs
    assert f"{study.runs} runs of {study['room'].plans} plans, {study.runs} from the store\n" in result.stdout
    assert kept(store) == before


@pytest.mark.parametrize(
    ("command", "layout"), [(("plan",), "room"), (("report", "--output", "best.html"), "room")], ids=["plan", "report"]
)
def test_plan_and_report_go_on_from_the_store(
    command: tuple[str, ...], layout: str, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They decide with what is there, without a new run, and plan the best of it."""
    monkeypatch.chdir(file.parent)
    said = call("decide", file, *QUICK)
    best = decide(
        batsim.read(file), Settings(weeks=0.1, warm_up_weeks=0.0, workers=1), store=file.with_suffix(".store")
    )
    before = kept(file.with_suffix(".store"))
    simulated: list[tuple[Any, ...]] = []
    with monkeypatch.context() as patch:
        patch.setattr("batsim.decision.decide.Runner.run", lambda _, asked: simulated.extend(asked))
        result = call(command[0], file, *command[1:], "--best", "-r", "2", *QUICK)

    assert (said.exit_code, result.exit_code, result.stderr) == (0, 0, "")
    assert (simulated, kept(file.with_suffix(".store"))) == ([], before)
    text = result.stdout if command[0] == "plan" else Path("best.html").read_text(encoding="utf-8")
    counts = best[layout].counts
    assert counts["batteries"] != 8
    assert f"{counts['batteries']} x" in text if command[0] == "plan" else f">{counts['batteries']}<" in text


def test_without_best_nothing_is_decided(asked: list[dict[str, Any]], file: Path) -> None:
    """And the scenario is planned as it is stated."""
    result = call("plan", file, "-r", "1", *QUICK, "--json")

    assert result.exit_code == 0
    assert asked == []
    assert list(json.loads(result.stdout)["layouts"]) == ["room"]


def test_what_best_decides_by(asked: list[dict[str, Any]], file: Path) -> None:
    """As `decide` does; its replications are the scenario's, whatever the plan takes."""
    call("plan", file, "--best", "-r", "1", *QUICK, "--layout", "room", "--fix", "levers", "--confidence", "90%")
    settings = asked[0].pop("settings")

    assert (settings.layouts, settings.replications, settings.weeks) == (("room",), None, 0.1)
    assert settings.confidence == 0.9
    assert asked[0] == {
        "ranges": {}, "fix": ("levers",), "objective": "yearly", "indifference": {}, "draws": None,
        "store": str(file.with_suffix(".store")), "progress": None,
    }  # fmt: skip


@pytest.mark.parametrize(
    "option", ["--range=chargers=1:3", "--fix=levers", "--objective=bought", "--indifference=downtime=1", "--draws=5",
               "--confidence=90%", "--store=a.store"],
)  # fmt: skip
def test_how_to_decide_is_refused_where_nothing_is_decided(option: str, file: Path) -> None:
    """What would be passed over in silence."""
    result = call("plan", file, option, "-r", "1", *QUICK)

    assert result.exit_code == 2
    name = option.partition("=")[0]
    assert result.stderr.splitlines()[-1] == f"Error: {name} goes with --best: add that, or leave {name} out"


# --- stopped ---


def stopped_in(calls: int) -> Callable[..., Any]:
    """A simulation that somebody stops."""
    simulate, run = jobs.replicate, []

    def stopped(*arguments: Any, **options: Any) -> Any:
        run.append(options)
        if len(run) == calls:
            raise KeyboardInterrupt
        return simulate(*arguments, **options)

    return stopped


@pytest.mark.parametrize("command", [("decide",), ("plan", "--best"), ("report", "--output", "a.html", "--best")])
def test_who_stops_it_is_told_where_finished_runs_are(
    command: tuple[str, ...], file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And goes on from there."""
    monkeypatch.chdir(file.parent)
    name, *options = command
    with monkeypatch.context() as patch:
        patch.setattr(jobs, "replicate", stopped_in(8))
        result = call(name, "room.yaml", *options, *QUICK)

    assert (result.exit_code, result.stdout) == (130, "")
    assert result.stderr == GOES_ON.format("room.store")
    assert 0 < kept(Path("room.store")) < 8
    assert f"{kept(Path('room.store'))} from the store" in call("decide", "room.yaml", *QUICK).stdout


def test_who_stops_it_before_anything_is_run_is_told_nothing(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no store yet."""

    def stopped_at_once(*_: Any, **__: Any) -> Any:
        raise KeyboardInterrupt

    monkeypatch.setattr(batsim, "read", stopped_at_once)
    result = call("decide", file, *QUICK)

    assert (result.exit_code, result.stdout, result.stderr) == (130, "", "stopped\n")
