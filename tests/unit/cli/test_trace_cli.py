"""The commands that make a run followable: `trace` and `day`, their moments, messages and files."""

import csv
import io
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

import batsim
from batsim import cli
from batsim.scenario.parts.week import WEEK_MIN
from batsim.study.running.one_run import BEYOND_MIN, record_until
from batsim.views.text.trace_text import trace_text

ROOT = Path(__file__).parents[3]
KESTREL = ROOT / "scenarios" / "kestrel-lane.yaml"
SALTMARSH = ROOT / "scenarios" / "saltmarsh-road.yaml"
TWO_TRUCKS = ROOT / "batsim" / "verification" / "cases" / "two_trucks_three_batteries.yaml"
HOIST = (KESTREL, "--layout", "hoist")
NAMES = "side rollers, portable stands, hoist, in the truck"
DAY = 1440.0


def call(*arguments):
    """Run a command in this process."""
    return CliRunner().invoke(cli.main, [str(each) for each in arguments])


def refused(*arguments):
    """What a command says that does not take its arguments."""
    result = call(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    usage, _, message = result.stderr.partition("\n\n")
    assert usage.startswith(f"Usage: main {arguments[0]} [OPTIONS] FILE\n")
    return message.rstrip("\n")


# --- trace ---


def test_a_trace_is_that_of_the_whole_run():
    """Text as the view writes it, of the run that the scenario states."""
    result = call("trace", *HOIST, "--from", "week 1 Mon 13:50", "--to", "week 1 Mon 15:30")

    assert (result.exit_code, result.stderr) == (0, "")
    whole = batsim.simulate(batsim.read(KESTREL), "hoist")
    assert result.stdout == trace_text(whole, WEEK_MIN + 830.0, WEEK_MIN + 930.0) + "\n"
    first, blank, *lines = result.stdout.splitlines()
    assert first == (
        "hoist: week 1 Mon 13:50 to week 1 Mon 15:30 (replication 0, seed 1; week 1 is the first after the warm-up)"
    )
    assert blank == ""
    assert len(lines) > 20
    assert all(re.match(r"Mon 1[345]:\d\d:\d\d  \S", line) for line in lines)


def test_the_only_layout_need_not_be_named():
    result = call("trace", TWO_TRUCKS, "--from", "Mon 01:00", "--to", "week 1 Monday 1:05")

    assert result.stdout.splitlines()[2:] == [
        "Mon 01:00  truck 1 arrives with battery 1 at 25 %; 1 battery ready",
        "Mon 01:00  exchange of truck 1 begins: battery 3 for battery 1",
    ]


def test_a_trace_may_end_with_the_run():
    result = call("trace", TWO_TRUCKS, "--from", "Mon 11:45", "--to", "Mon 12:00")

    assert result.stdout.splitlines()[-1] == "Mon 11:50  charge of battery 2 starts"


def test_a_trace_of_the_warm_up():
    result = call("trace", *HOIST, "--from", "week 0 Tue 10:00", "--to", "week 0 Tue 11:00")

    assert result.exit_code == 0
    assert result.stdout.startswith("hoist: week 0 Tue 10:00 to week 0 Tue 11:00 (")
    assert len(result.stdout.splitlines()) > 10


def test_csv():
    """The same events, for a spreadsheet."""
    window = ("--from", "week 2 Wed 06:00", "--to", "week 2 Wed 07:00")

    rows = list(csv.DictReader(io.StringIO(call("trace", *HOIST, *window, "--csv").stdout)))

    assert len(rows) == len(call("trace", *HOIST, *window).stdout.splitlines()) - 2 > 10
    assert rows[0]["moment"].startswith("week 2 Wed 06:")
    assert 2 * WEEK_MIN + 2 * DAY + 360.0 <= float(rows[0]["time_min"]) < 2 * WEEK_MIN + 2 * DAY + 420.0


def test_seed_and_replication():
    """Another one is another run; the stated seed is the one without."""
    window = ("--from", "week 1 Mon 08:00", "--to", "week 1 Mon 10:00")

    same, other, third = (
        call("trace", *HOIST, *window, *more).stdout
        for more in (("--seed", "1"), ("--seed", "2"), ("--replication", "3"))
    )

    assert call("trace", *HOIST, *window).stdout == same
    assert len({same, other, third}) == 3
    assert "(replication 0, seed 2; " in other
    assert "(replication 3, seed 1; " in third


@pytest.mark.parametrize(
    ("begin", "end", "message"),
    [
        (
            "x", "Mon 10:00",
            "the beginning needs a week, a weekday and a time of day such as 'week 1 Mon 13:50' (got x)",
        ),
        (
            "Mon 10:00", "week 1 Mon",
            "the end needs a week, a weekday and a time of day such as 'week 1 Mon 13:50' (got week 1 Mon)",
        ),
        (
            "Mon 10:00", "Mox 10:00",
            "the end needs a week, a weekday and a time of day such as 'week 1 Mon 13:50' (got Mox 10:00)",
        ),
        ("Mon 25:00", "Mon 10:00", 'the beginning needs a time of day such as "22:15" (got Mon 25:00)'),
        (
            "week -1 Mon 10:00", "Mon 10:00",
            "the beginning must lie in the run, which begins at week 0 Mon 00:00 (got week -1 Mon 10:00)",
        ),
        (
            "week 5 Mon 00:00", "week 5 Mon 01:00",
            "the beginning must lie in the run, which ends at week 5 Mon 00:00 (got week 5 Mon 00:00)",
        ),
        (
            "week 4 Sun 23:00", "week 5 Mon 00:01",
            "the end must lie in the run, which ends at week 5 Mon 00:00 (got week 5 Mon 00:01)",
        ),
        ("Tue 10:00", "Tue 10:00", "the window must end after it begins (got Tue 10:00 to Tue 10:00)"),
    ],
)  # fmt: skip
def test_moments_that_cannot_be_traced(begin, end, message):
    assert refused("trace", *HOIST, "--from", begin, "--to", end) == f"Error: {message}"


@pytest.mark.parametrize(
    ("command", "when"),
    [("trace", ("--from", "Mon 10:00", "--to", "Mon 11:00")), ("day", ("--on", "Tue", "--output", "day.png"))],
)
def test_which_layout(command, when):
    """One of several has to be named, and rightly."""
    assert refused(command, KESTREL, *when) == f"Error: name one of the layouts with --layout: {NAMES}"
    result = call(command, KESTREL, *when, "--layout", "hoits")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{KESTREL}: 1 problem\n  {KESTREL}: layouts.hoits: no layout of this name; did you mean 'hoist'?\n"
    )


# --- the run behind them ---


HELD_BACK = {"power_limit": "150 kW", "windows": [{"from": "21:00", "to": "15:00"}]}


@pytest.mark.parametrize(
    ("layout", "charging"),
    [
        *((layout, {}) for layout in NAMES.split(", ")),
        *((layout, HELD_BACK) for layout in ("side rollers", "in the truck")),
        *(pytest.param(layout, HELD_BACK, marks=pytest.mark.slow) for layout in ("portable stands", "hoist")),
    ],
)
def test_a_run_no_longer_than_needed_tells_the_same(layout, charging):
    """Charging and connecting that the end of the window interrupts, held back by hours and power too."""
    scenario = batsim.changed(batsim.read(KESTREL), {"charging": charging})
    begin, end = WEEK_MIN, WEEK_MIN + 1.625 * DAY
    whole = batsim.simulate(scenario, layout, settings=batsim.Settings(weeks=1.4))

    part = record_until(scenario, layout, end)

    assert part.facts.horizon_min == end + BEYOND_MIN < whole.facts.horizon_min
    assert repr(batsim.event_trace(part, begin, end)) == repr(batsim.event_trace(whole, begin, end))
    one, other = (batsim.room_course(record, begin, end).frame() for record in (part, whole))
    assert one.equals(other)


def test_a_run_does_not_go_beyond_its_end():
    scenario = batsim.read(TWO_TRUCKS)

    assert record_until(scenario, "one", 100.0).facts.horizon_min == 720.0


def test_a_fault_of_ours_is_not_put_on_the_user(monkeypatch):
    """Only values of options are usage errors."""

    def broken(*_, **__):
        msg = "inner"
        raise ValueError(msg)

    monkeypatch.setattr("batsim.study.running.one_run.replicate", broken)

    result = call("trace", TWO_TRUCKS, "--from", "Mon 01:00", "--to", "Mon 02:00")

    assert result.exit_code == 1
    assert result.stderr.startswith("batsim: internal error: ValueError: inner\n")


# --- day ---


@pytest.mark.parametrize(("name", "start"), [("day.png", b"\x89PNG"), ("day.SVG", b"<?xml")])
def test_a_day_is_written(tmp_path, name, start):
    """The kind follows from the name."""
    path = tmp_path / name

    result = call("day", *HOIST, "--on", "week 1 Tue", "--output", path)

    assert (result.exit_code, result.stdout, result.stderr) == (0, f"wrote {path}\n", "")
    assert path.read_bytes().startswith(start)


def test_a_day_is_from_midnight_to_midnight_or_the_end_of_the_run(tmp_path, monkeypatch):
    seen = []
    real = batsim.room_chart

    def spied(record, from_min, to_min):
        seen.append((from_min, to_min))
        return real(record, from_min, to_min)

    monkeypatch.setattr("batsim.room_chart", spied)

    assert call("day", *HOIST, "--on", "week 2 Wednesday", "--output", tmp_path / "a.png").exit_code == 0
    assert call("day", TWO_TRUCKS, "--on", "Mon", "--output", tmp_path / "b.png").exit_code == 0
    assert seen == [(2 * WEEK_MIN + 2 * DAY, 2 * WEEK_MIN + 3 * DAY), (0.0, 720.0)]


@pytest.mark.parametrize(
    ("on_day", "message"),
    [
        ("week 1 Tue 10:00", "the day needs a week and a weekday such as 'week 1 Tue' (got week 1 Tue 10:00)"),
        ("someday", "the day needs a week and a weekday such as 'week 1 Tue' (got someday)"),
        ("week -4 Tue", "the day must lie in the run, which begins at week 0 Mon 00:00 (got week -4 Tue)"),
        ("week 5 Mon", "the day must lie in the run, which ends at week 5 Mon 00:00 (got week 5 Mon)"),
    ],
)
def test_days_that_cannot_be_drawn(tmp_path, on_day, message):
    path = tmp_path / "day.png"

    assert refused("day", *HOIST, "--on", on_day, "--output", path) == f"Error: {message}"
    assert not path.exists()


@pytest.mark.parametrize("name", ["day.pdf", "day", "png"])
def test_pictures_of_an_unknown_kind(name):
    """Said before anything is simulated."""
    message = refused("day", *HOIST, "--on", "week 1 Tue", "--output", name)

    assert message == f"Error: --output: a picture must end in .png or .svg (got {name})"


def test_a_picture_that_cannot_be_written(tmp_path):
    path = tmp_path / "nowhere" / "day.png"

    message = refused("day", *HOIST, "--on", "week 1 Tue", "--output", path)

    assert message == "Error: --output: cannot be written (No such file or directory); choose another file"


def test_one_area_alone(tmp_path):
    """A trace and a picture of a day are of the whole layout, or of the area that is named."""
    layout = (SALTMARSH, "--layout", "each its own way")

    def named(*area):
        told = call("trace", *layout, "--from", "week 1 Mon 05:40", "--to", "week 1 Mon 14:00", *area).stdout
        return {name for name in ("reach", "yard", "picking") if f"  {name}: " in told}

    assert named() == {"reach", "yard", "picking"}
    assert named("--area", "yard") == {"yard"}
    for area in ("yard", "picking"):
        file = tmp_path / f"{area}.png"
        result = call("day", *layout, "--on", "week 1 Tue", "--area", area, "--output", file)
        assert (result.exit_code, file.read_bytes()[1:4]) == (0, b"PNG")
    nowhere = call("day", *layout, "--on", "week 1 Tue", "--area", "hoist", "--output", tmp_path / "no.png")
    assert nowhere.exit_code == 2
    assert "an area must be one of the layout, which has reach, yard, picking (got hoist)" in nowhere.stderr
