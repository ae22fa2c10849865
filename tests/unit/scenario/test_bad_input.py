"""Bad scenarios at the command line: every message to the letter, all at once, status 2, never a traceback.

The files ``broken/*.diff`` hold the cases that break `broken/sound.yaml` in one or a few places::

    ## title of the case
    -    a line of sound.yaml that is taken out
    +    a line that is put in its bay
    ! a problem that must be reported, from the name of the file to the end of the line
"""

import errno
import os
import pickle
import re
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.scenario.parts.faults import MOST_ENTRIES, Fault, Faults
from batsim.scenario.reading import LONGEST_CHAIN, source_of
from batsim.scenario.text.located_data import path_text
from batsim.scenario.text.observed import MOST_TIMES

BROKEN = Path(__file__).parents[1] / "broken"
SOUND = (BROKEN / "sound.yaml").read_text(encoding="utf-8")

ANCHORS = "anchors and aliases (&, *) are not read; write the value out or use 'extends:'"
TAGS = "tags (!...) are not read; write plain values"
SIZE = "file is larger than 1 MiB; a scenario is a few kilobytes"
EMPTY = "is empty; a scenario starts with a key such as 'site:'"
CIRCLE = "files must not extend one another in a circle, nor more than five in a row"
TIMES = f"needs a file with one duration on each line, at most {MOST_TIMES} and 1 MiB"
NOT_A_DURATION = "needs a duration with a unit, such as '8 h'"


class Case(NamedTuple):
    """A scenario with faults, and what must be said about them."""

    topic: str
    title: str
    text: str
    messages: tuple[str, ...]


def cases() -> list[Case]:
    """All cases of the files beside this one."""
    return [
        case_of(file.stem, *part.split("\n", 1))
        for file in sorted(BROKEN.glob("*.diff"))
        for part in file.read_text(encoding="utf-8").split("\n## ")[1:]
    ]


def case_of(topic: str, title: str, body: str) -> Case:
    """Break the sound scenario as a case says."""
    text = SOUND
    for hunk in re.finditer(r"((?:^-.*\n)+)((?:^\+.*\n)*)", body, re.MULTILINE):
        old, new = (re.sub(r"^[-+]", "", lines, flags=re.MULTILINE) for lines in hunk.groups())
        assert text.count(old) == 1, f"{topic}, {title}: not once in sound.yaml:\n{old}"
        text = text.replace(old, new)
    messages = tuple(line[2:] for line in body.splitlines() if line.startswith("! "))
    return Case(topic, title, text, messages)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, so that messages show short file names."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def check(text: str | bytes, command: str = "check") -> str:
    """Write a scenario, give it to a command and return what it says about it."""
    Path("site.yaml").write_bytes(text if isinstance(text, bytes) else text.encode())
    return refusal(command, "site.yaml")


def refusal(*arguments: str) -> str:
    """Run a command that must refuse its input, and return what it says."""
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    return result.stderr


def said(*messages: str, file: str = "site.yaml") -> str:
    """What is printed for some problems: a head line, then one line for each."""
    head = f"{file}: {len(messages)} problem{'' if len(messages) == 1 else 's'}\n"
    return head + "".join(f"  {message}\n" for message in messages)


# --- one or a few places wrong ---


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"{case.topic}: {case.title}")
def test_what_is_wrong_is_said_to_the_letter(here: Path, case: Case) -> None:
    """Bay, path, rule and value of every problem, in the order of the file, and nothing else."""
    assert case.messages
    assert check(case.text) == said(*case.messages)


def test_the_sound_scenario_is_sound(here: Path) -> None:
    """What the cases break is whole before."""
    (here / "site.yaml").write_text(SOUND, encoding="utf-8")

    result = CliRunner().invoke(main, ["check", "site.yaml"])

    assert result.exit_code == 0
    assert result.stdout.startswith("site.yaml: reads well\n")


def test_twenty_problems_are_twenty_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything wrong at once in one file is reported at once, each at its line."""
    monkeypatch.chdir(BROKEN)

    message = refusal("check", "twenty.yaml")

    assert message == Path("twenty.txt").read_text(encoding="utf-8")
    marked = [n for n, line in enumerate(Path("twenty.yaml").read_text().splitlines(), 1) if re.search(r"# \d+$", line)]
    assert [int(line.split(":")[1]) for line in message.splitlines()[1:]] == marked
    assert len(marked) == 20


@pytest.mark.parametrize("command", ["check", "run", "compare"])
def test_every_command_refuses_alike(here: Path, command: str) -> None:
    """Commands that read a scenario say the same about it."""
    text = SOUND.replace("count: 6", "count: -6")

    assert check(text, command) == said("site.yaml:23:12: trucks[0].count: must be at least 1 (got -6)")


@pytest.mark.parametrize("name", ["twenty.yaml", "circle-a.yaml"])
def test_a_process_ends_with_a_message_and_status_2(name: str) -> None:
    """The installed command, as a user runs it."""
    batsim_command = Path(sys.executable).with_name("batsim")

    done = subprocess.run([batsim_command, "check", name], cwd=BROKEN, capture_output=True, text=True, check=False)

    circle = f"circle-b.yaml:2:10: extends: {CIRCLE} (got 'circle-a.yaml')"
    expected = {
        "twenty.yaml": (BROKEN / "twenty.txt").read_text(encoding="utf-8"),
        "circle-a.yaml": said(circle, file="circle-b.yaml"),
    }
    assert (done.returncode, done.stdout, done.stderr) == (2, "", expected[name])


# --- YAML that surprises ---


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("", [f"1:1: {EMPTY}"]),
        ("# only a comment\n", [f"1:1: {EMPTY}"]),
        ("- site\n- week\n", ["1:1: the top level must be lines of 'key: value' (got a list)"]),
        ("site\n", ["1:1: the top level must be lines of 'key: value' (got one value)"]),
        ("site:\n\tname: x\n", ["2:1: not valid YAML: a tab stands here; use spaces"]),
        ('site: {name: "x}\n', ["1:14: not valid YAML: a quote is opened here and never closed"]),
        ("site: {name: x\nweek: 1\n", ["2:5: not valid YAML: what was opened in line 1 needs a ',' or '}' here"]),
        ("site: {}\nsite: {}\n", ["2:1: site: duplicate key 'site'; the first stands in line 1, keep one"]),
        ("site: {}\n---\nsite: {}\n", ["2:1: a second document starts here; one file holds one document"]),
        (
            "site: &a {name: x}\nweek: *a\n",
            [f"1:7: site: {ANCHORS} (got &a)", f"2:7: week: {ANCHORS} (got *a)"],
        ),
        (
            'site: !!python/object/apply:os.system ["true"]\n',
            [f"1:7: site: {TAGS} (got !!python/object/apply:os.system)"],
        ),
        ("site:\n  <<: {name: x}\n", ["2:3: site.<<: merge keys (<<) are not read; use 'extends:'"]),
        (
            "site: {name: .inf}\n",
            ["1:14: site.name: infinite and undefined numbers (.inf, .nan) are not read; write a number (got .inf)"],
        ),
        ("site: {name: \xff}\n".encode("latin-1"), ["1:14: is not UTF-8 text; save it as UTF-8"]),
        ("site: {}\n".encode("utf-16"), ["1:1: is not UTF-8 text; save it as UTF-8"]),
        ("question: |\n" + "  x\n" * 600_000, [f"1:1: {SIZE}"]),
        ("site: " + "[" * 5000 + "]" * 5000 + "\n", [f"1:26: site{'[0]' * 19}: nested deeper than 20 levels"]),
        ("site: " + "[" * 5000 + "\n", [f"1:26: site{'[0]' * 19}: nested deeper than 20 levels"]),
        (
            "trucks:\n" + "  - 1\n" * 20_000,
            ["19999:5: more than 20,000 keys and values; a scenario has some hundred"],
        ),
    ],
)
def test_yaml_that_is_not_read_is_refused_with_the_cure(here: Path, text: str | bytes, messages: list[str]) -> None:
    """Text that is no plain YAML is refused at the bay of the fault."""
    assert check(text) == said(*(f"site.yaml:{message}" for message in messages))


def test_an_alias_bomb_is_defused(here: Path) -> None:
    """Nested aliases are reported, not followed."""
    lines = ["a: &a [x, x, x, x, x, x, x, x, x]"]
    lines += [
        f"{name}: &{name} [{', '.join([f'*{inner}'] * 9)}]" for inner, name in zip("abcdefgh", "bcdefghi", strict=True)
    ]

    message = check("\n".join(lines))

    assert message.startswith("site.yaml: 81 problems\n")
    assert f"  site.yaml:9:8: i[0]: {ANCHORS} (got *h)\n" in message


def test_words_that_yaml_11_misreads_are_text(here: Path) -> None:
    """Times without quotes are times, `no` is a name, and yes and no switch what is on or off."""
    text = SOUND.replace('"06:00", to: "14:00"', "06:00, to: 14:00")
    text = text.replace("    room: {days", "    no: {days").replace("attendants: {room: 1}", "attendants: {no: 1}")
    scenario = batsim.read_scenario_text(text)
    switches = {word: batsim.read_scenario_text(SOUND.replace("true", word)) for word in ("yes", "no", "on", "off")}

    assert (scenario.week.shifts["early"].from_min, scenario.week.shifts["early"].to_min) == (360.0, 840.0)
    assert scenario.layouts["extractor"].attendants == {"no": 1}
    assert {word: each.layouts["in the truck"].in_truck.in_breaks for word, each in switches.items()} == {
        "yes": True,
        "no": False,
        "on": True,
        "off": False,
    }


def test_names_may_be_numbers_in_quotes(here: Path) -> None:
    """A key is always text; a value is, in quotes."""
    text = SOUND.replace("  small:", "  48:").replace("small: 8", "48: 8").replace("battery: small", 'battery: "48"')

    assert batsim.read_scenario_text(text).batteries_of("extractor") == {"big": 14, "48": 8}


# --- files ---


def test_a_file_that_cannot_be_read(here: Path) -> None:
    """Files that are missing, empty or endless."""
    (here / "folder").mkdir()

    assert refusal("check", "none.yaml") == said("none.yaml:1:1: there is no such file", file="none.yaml")
    assert refusal("check", "/dev/null") == said(f"/dev/null:1:1: {EMPTY}", file="/dev/null")
    assert refusal("check", "/dev/zero") == said(f"/dev/zero:1:1: {SIZE}", file="/dev/zero")
    assert refusal("check", "folder").endswith("Error: Invalid value for 'FILE': File 'folder' is a directory.\n")
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read("folder")
    assert str(caught.value) + "\n" == said("folder:1:1: is a directory; name a file", file="folder")


def test_a_file_without_permission(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's own words, in a message."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", refuse)
    (here / "site.yaml").touch()

    assert refusal("check", "site.yaml") == said("site.yaml:1:1: cannot be read: permission denied")


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("none.yaml", "no such file (got 'none.yaml')"),
        (".", "no such file (got '.')"),
        ("[a.yaml, b.yaml]", "needs the name of another scenario file (got a list)"),
        ("3", "needs the name of another scenario file (got 3)"),
        ("site.yaml", f"{CIRCLE} (got 'site.yaml')"),
    ],
)
def test_extends_must_name_another_file(here: Path, value: str, message: str) -> None:
    """What `extends` names must be a file, and not this one."""
    assert check(f"extends: {value}\n") == said(f"site.yaml:1:10: extends: {message}")


def test_what_is_dropped_must_be_in_the_file_that_is_extended(here: Path) -> None:
    """Every path that leads nowhere, into a list, or is none; nothing is dropped of a file that extends none."""
    (here / "base.yaml").write_text(SOUND, encoding="utf-8")
    form = "needs a list of paths to entries of the file that is extended, such as [layouts.hoist]"

    assert check("extends: base.yaml\ndrop:\n- layouts.extracter\n- trucks[0]\n- week.shifts[\n- prices.*\n") == said(
        "site.yaml:3:3: drop[0]: nothing to drop there; did you mean 'extractor'? (got 'layouts.extracter')",
        "site.yaml:4:3: drop[1]: lists are not mixed; state the list anew, without this entry (got 'trucks[0]')",
        "site.yaml:5:3: drop[2]: needs a path such as layouts.hoist.stations or trucks[0].count (got 'week.shifts[')",
        "site.yaml:6:3: drop[3]: stands for nothing in this scenario (got 'prices.*')",
    )
    assert check("extends: base.yaml\ndrop: layouts.extractor\n") == said(
        f"site.yaml:2:7: drop: {form} (got 'layouts.extractor')"
    )
    assert check("extends: base.yaml\ndrop: [3]\n") == said(f"site.yaml:2:7: drop: {form} (got a list)")
    assert check(f"drop: [layouts.extractor]\n{SOUND}") == said(
        "site.yaml:1:1: drop: needs 'extends', the file whose entries it drops"
    )


def test_extends_with_a_name_that_no_file_can_have(here: Path) -> None:
    """Longer than any name of a file: the system's own words."""
    message = check(f"extends: {'x' * 300}\n")

    assert message == said(f"site.yaml:1:10: extends: cannot be read: file name too long (got '{'x' * 57}...')")


def test_links_that_lead_in_a_circle(here: Path) -> None:
    """A link to itself is no file; a file that extends itself by way of a link is a circle."""
    (here / "a.yaml").symlink_to("b.yaml")
    (here / "b.yaml").symlink_to("a.yaml")
    (here / "again.yaml").symlink_to("site.yaml")

    assert check("extends: a.yaml\n") == said("site.yaml:1:10: extends: no such file (got 'a.yaml')")
    assert check("extends: again.yaml\n") == said(f"site.yaml:1:10: extends: {CIRCLE} (got 'again.yaml')")
    assert refusal("check", "a.yaml") == said(
        "a.yaml:1:1: cannot be read: too many levels of symbolic links", file="a.yaml"
    )


def test_a_pipe_is_not_read(here: Path) -> None:
    """It is refused at once: nobody may ever write to it."""
    os.mkfifo("pipe.yaml")

    message = "pipe.yaml:1:1: is a pipe; write what comes from it to a file and name that"
    assert refusal("check", "pipe.yaml") == said(message, file="pipe.yaml")
    assert check("extends: pipe.yaml\n") == said("site.yaml:1:10: extends: no such file (got 'pipe.yaml')")
    text = SOUND.replace("run_time: {mean: 6 h, cv: 0.2}", "run_time: {observed: pipe.yaml}")
    assert check(text) == said(f"site.yaml:34:26: trucks[1].run_time.observed: {TIMES} (got 'pipe.yaml')")


def test_files_extend_one_another_only_so_far(here: Path) -> None:
    """A long chain is refused where it becomes too long."""
    last = LONGEST_CHAIN + 1
    for number in range(last):
        (here / f"{number}.yaml").write_text(f"extends: {number + 1}.yaml\n", encoding="utf-8")
    (here / f"{last}.yaml").write_text(SOUND, encoding="utf-8")

    assert batsim.read("1.yaml").site.name == "Sound until broken (invented)"
    message = f"{LONGEST_CHAIN}.yaml:1:10: extends: {CIRCLE} (got '{last}.yaml')"
    assert refusal("check", "0.yaml") == said(message, file=f"{LONGEST_CHAIN}.yaml")


def test_a_fault_in_the_file_that_is_extended_is_shown_there(here: Path) -> None:
    """The bay is that of the file that states the value."""
    (here / "base.yaml").write_text(SOUND.replace("count: 6", "count: -6"), encoding="utf-8")

    message = check("extends: base.yaml\nlayouts: {extractor: {stations: 0}}\n")

    assert message == said(
        "site.yaml:2:33: layouts.extractor.stations: must be at least 1 (got 0)",
        "base.yaml:23:12: trucks[0].count: must be at least 1 (got -6)",
    )


@pytest.mark.parametrize("content", [None, b"", b"# nothing\n\n", b"\xff\n", b"1 h\n" * (MOST_TIMES + 1)])
def test_a_file_of_durations_that_cannot_be_used(here: Path, content: bytes | None) -> None:
    """A file without a duration, with too many, or that is not there."""
    if content is not None:
        (here / "times.csv").write_bytes(content)
    text = SOUND.replace("run_time: {mean: 6 h, cv: 0.2}", "run_time: {observed: times.csv}")

    assert check(text) == said(f"site.yaml:34:26: trucks[1].run_time.observed: {TIMES} (got 'times.csv')")


def test_a_huge_file_of_durations_is_not_read(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its size says enough."""
    with (here / "times.csv").open("wb") as times:
        times.truncate(2**40)
    monkeypatch.setattr(Path, "read_bytes", lambda *_, **__: pytest.fail("it was read"))
    text = SOUND.replace("run_time: {mean: 6 h, cv: 0.2}", "run_time: {observed: times.csv}")

    assert check(text) == said(f"site.yaml:34:26: trucks[1].run_time.observed: {TIMES} (got 'times.csv')")


def test_too_many_durations_in_all(here: Path) -> None:
    """A scenario may name many files, or one of them many times."""
    (here / "times.csv").write_text("6 h\n" * MOST_TIMES, encoding="utf-8")
    steps = "".join(f"      - {{step: s{number}, by: driver, time: {{observed: times.csv}}}}\n" for number in range(11))
    text = SOUND.replace("      - {step: lock it", f"{steps}      - {{step: lock it")

    message = "more than 100000 durations in the files of a scenario"
    assert check(text) == said(f"site.yaml:70:50: handling.extractor.steps[12].time.observed: {message}")


@pytest.mark.parametrize("name", [".", "/dev/zero", "/dev/null"])
def test_a_file_of_durations_that_is_no_file(here: Path, name: str) -> None:
    """Folders and devices are not read."""
    text = SOUND.replace("run_time: {mean: 6 h, cv: 0.2}", f"run_time: {{observed: {name}}}")

    assert check(text) == said(f"site.yaml:34:26: trucks[1].run_time.observed: {TIMES} (got '{name}')")


def test_wrong_durations_are_shown_in_their_file(here: Path) -> None:
    """The bay is the line of the file of durations; a whole column of wrong ones is cut short."""
    text = SOUND.replace("run_time: {mean: 6 h, cv: 0.2}", "run_time: {observed: times.csv}")
    path = "trucks[1].run_time.observed"
    (here / "times.csv").write_text("# stop watch\nduration\n\n6 h\n5\n-1 h\n", encoding="utf-8")
    some = check(text)
    (here / "times.csv").write_text("6\n" * 500, encoding="utf-8")
    many = check(text)

    assert some == said(
        f"times.csv:2:1: {path}[0]: {NOT_A_DURATION} (got 'duration')",
        f"times.csv:5:1: {path}[2]: {NOT_A_DURATION} (got '5')",
        f"times.csv:6:1: {path}[3]: must be at least 0 min (got '-1 h')",
    )
    assert many == said(
        f"site.yaml:34:26: {path}: {500 - MOST_ENTRIES} more entries are wrong",
        *(f"times.csv:{n}:1: {path}[{n - 1}]: {NOT_A_DURATION} (got '6')" for n in range(1, MOST_ENTRIES + 1)),
    )


# --- anything at all ---

HOSTILE: tuple[object, ...] = (
    None, True, 0, -1, 1.5, 10**30, "", "x", "-1 min", "1e400 h", "9" * 5000, "\ud800", [], [[]], [None], ["x", "x"],
    {}, {"": ""}, {"figure": "x"}, {"from": []}, {"observed": "none.csv"}, {"mean": "0 min", "cv": 0},
)  # fmt: skip
INSIDE = re.compile(r"[Ii]nput should|pydantic|Traceback|<class|could not convert|Exceeds the limit|NoneType")


def test_any_value_at_any_bay_is_read_or_refused() -> None:
    """Whatever stands wherever: a scenario comes back, or a message that is meant for people."""
    sound = batsim.read(BROKEN / "sound.yaml")
    bays = [path for path in source_of(sound).locations if path]
    messages: list[str] = []
    for number, path in enumerate(bays):
        # Every third value at each bay, another third at the next.
        for value in HOSTILE[number % 3 :: 3]:
            try:
                batsim.changed(sound, {path_text(path): value})
            except batsim.ScenarioError as error:
                messages += map(str, error.problems)

    assert len(messages) > 1000
    assert [message for message in messages if INSIDE.search(message) or len(message) > 400] == []


def test_a_scenario_error_survives_a_process_boundary() -> None:
    """It is the same after pickling, as pools of processes need."""
    with pytest.raises(batsim.ScenarioError) as caught:
        batsim.read(BROKEN / "twenty.yaml")
    copy = pickle.loads(pickle.dumps(caught.value))

    assert (str(copy), copy.file, copy.problems) == (str(caught.value), caught.value.file, caught.value.problems)


def test_broken_rules_of_a_part_survive_a_process_boundary() -> None:
    """Some ways of running on other machines hand on what an error came from."""
    faults = Faults([Fault(("stations", 0), "is not a number", "many"), Fault((), "has no bay")])
    copy = pickle.loads(pickle.dumps(faults))

    assert (str(copy), copy.faults) == ("is not a number; has no bay", faults.faults)
