"""The command that replays an hour: its page, its moments, its messages."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

import batsim
from batsim import cli
from batsim.scenario.parts.week import WEEK_MIN

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
AREAS = ROOT / "tests" / "unit" / "cases" / "mixed_areas.yaml"
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
HOIST = (KESTREL, "--layout", "hoist", "--weeks", "1")
HOUR = ("--from", "Tue 13:30", "--to", "Tue 14:30")
DAY = 1440.0


def call(*arguments):
    """Run a command in this process."""
    return CliRunner().invoke(cli.main, ["replay", *(str(each) for each in arguments)])


def refused(*arguments):
    """What the command says that does not take its arguments."""
    result = call(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    usage, _, message = result.stderr.partition("\n\n")
    assert usage.startswith("Usage: main replay [OPTIONS] FILE\n")
    return message.rstrip("\n")


def test_a_page_is_written(tmp_path):
    """That of the whole run, under the name of the site."""
    path = tmp_path / "replay.html"

    result = call(*HOIST, *HOUR, "--output", path)

    assert (result.exit_code, result.stdout, result.stderr) == (0, f"wrote {path}\n", "")
    site = batsim.read(KESTREL)
    whole = batsim.simulate(site, "hoist", settings=batsim.Settings(weeks=4))
    page = batsim.replay_html(batsim.replay(whole, WEEK_MIN + DAY + 810.0, WEEK_MIN + DAY + 870.0), site.site.name)
    assert path.read_text(encoding="utf-8") == page


def test_run_options(tmp_path):
    """Replication, seed and warm-up make another run; weeks say where it ends."""
    says = set()
    for number, more in enumerate(((), ("--replication", "2"), ("--seed", "5"), ("--warm-up", "2"))):
        path = tmp_path / f"{number}.html"
        assert call(*HOIST, *HOUR, *more, "--output", path).exit_code == 0
        says.add(re.search('<figcaption class="replay-says">(.*?)</figcaption>', path.read_text("utf-8"))[1])
    assert len(says) == 4
    late = ("--from", "week 2 Mon 08:00", "--to", "week 2 Mon 09:00", "--output", tmp_path / "late.html")
    assert refused(*HOIST, *late) == (
        "Error: the beginning must lie in the run, which ends at week 2 Mon 00:00 (got week 2 Mon 08:00)"
    )
    assert call(KESTREL, "--layout", "hoist", "--weeks", "2", *late).exit_code == 0


def test_an_hour_without_events(tmp_path):
    """On a Sunday morning nobody comes, and who waits has waited since Friday."""
    path = tmp_path / "replay.html"

    assert call(*HOIST, "--from", "Sun 10:00", "--to", "Sun 11:00", "--output", path).exit_code == 0
    page = path.read_text(encoding="utf-8")
    assert "Layout &#39;hoist&#39;, week 1 Sun 10:00 to 11:00: no truck came. " in page
    assert "truck 1, docks, from Fri 21:51" in page
    assert '"events":[]' in page


def test_one_area(tmp_path):
    """By itself, or an area that is not there."""
    path = tmp_path / "replay.html"
    options = (AREAS, "--layout", "mixed", "--weeks", "1", *HOUR, "--output", path)

    assert call(*options, "--area", "south").exit_code == 0
    page = path.read_text(encoding="utf-8")
    assert "Area south" in page
    assert "Area north" not in page
    assert refused(*options, "--area", "west") == (
        "Error: --area an area must be one of the layout, which has north, south, plugged in (got west)"
    )


@pytest.mark.parametrize(
    ("begin", "end", "message"),
    [
        ("noon", "Tue 14:00",
         "the beginning needs a week, a weekday and a time of day such as 'week 1 Mon 13:50' (got noon)"),
        ("Tue 13:00", "Tue 25:00", 'the end needs a time of day such as "22:15" (got Tue 25:00)'),
        ("Tue 14:00", "Tue 13:00", "the window must end after it begins (got Tue 14:00 to Tue 13:00)"),
        ("week -1 Tue 13:00", "Tue 14:00",
         "the beginning must lie in the run, which begins at week 0 Mon 00:00 (got week -1 Tue 13:00)"),
        ("Sun 23:30", "week 2 Mon 00:30",
         "the end must lie in the run, which ends at week 2 Mon 00:00 (got week 2 Mon 00:30)"),
    ],
)  # fmt: skip
def test_moments_that_cannot_be_replayed(tmp_path, begin, end, message):
    path = tmp_path / "replay.html"

    assert refused(*HOIST, "--from", begin, "--to", end, "--output", path) == f"Error: {message}"
    assert not path.exists()


def test_which_layout(tmp_path):
    """One of several has to be named, and rightly; the only one need not be."""
    path = tmp_path / "replay.html"

    names = "side rollers, portable stands, hoist, in the truck"
    assert refused(KESTREL, *HOUR, "--output", path) == f"Error: name one of the layouts with --layout: {names}"
    result = call(KESTREL, "--layout", "hoits", *HOUR, "--output", path)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{KESTREL}: 1 problem\n  {KESTREL}: layouts.hoits: no layout of this name; did you mean 'hoist'?\n"
    )
    assert not path.exists()
    assert call(TWO_TRUCKS, "--from", "Mon 01:00", "--to", "Mon 02:00", "--output", path).exit_code == 0


def test_files_that_cannot_be_written(tmp_path):
    """Of another kind, said before anything is simulated; in a folder that is not there."""
    assert refused(*HOIST, *HOUR, "--output", "replay.png") == (
        "Error: --output: a replay must end in .html (got replay.png)"
    )
    path = tmp_path / "nowhere" / "replay.html"
    assert refused(*HOIST, *HOUR, "--output", path) == (
        "Error: --output: cannot be written (No such file or directory); choose another file"
    )


def test_lengths_that_cannot_be():
    """As for every command."""
    assert "--weeks" in refused(*HOIST[:3], "--weeks", "0", *HOUR, "--output", "replay.html")
