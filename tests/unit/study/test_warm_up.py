"""How long a warm-up should be: rooms with and without one, courses made up by hand, and what is printed."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import batsim
from batsim.cli import main
from batsim.measures import measure
from batsim.scenario.parts.week import WEEK_MIN
from batsim.scenario.settings import Settings
from batsim.study.warm_up import WarmUp, course, warm_up
from batsim.views.text.warm_up_text import warm_up_text
from tests.runs import record_of

FILE = Path(__file__).parents[1] / "cases" / "far_start.yaml"
SCENARIO = batsim.read(FILE)
TITLE = "Far from steady (invented): weeks to drop at the start of a run (MSER-5 on a pilot of {} weeks)"


def call(*arguments):
    return CliRunner().invoke(main, [str(each) for each in arguments])


def found(*rows):
    """Results by hand: layout, weeks, too short."""
    return tuple(WarmUp(*row, np.zeros(1)) for row in rows)


def with_courses(monkeypatch, *courses):
    """Let every pilot have a course of fifths of weeks, one after the other."""
    made = [np.asarray(each, float) for each in courses]
    monkeypatch.setattr("batsim.study.warm_up.run_schedule", lambda pilot, *_, **__: {pilot.layouts[0]: made})


def test_a_stock_that_runs_out_is_a_warm_up():
    """28 charges a week are asked for and 24 made: 26 spares last six weeks, then trucks wait."""
    short, steady = warm_up(SCENARIO, Settings(weeks=20, replications=2, workers=1))
    weeks = short.course.reshape(-1, 5).sum(axis=1)

    assert (short.layout, short.weeks, short.too_short) == ("stock runs out", 7, False)
    assert weeks[:6].max() < 0.1 * weeks[7:].min()
    assert np.all(weeks[7:] > 0.9 * weeks[7:].max())
    assert (steady.layout, steady.weeks, steady.too_short) == ("steady", 0, False)


def test_a_pilot_that_ends_on_its_way_is_too_short():
    """Half of twelve weeks are less than seven."""
    (short,) = warm_up(SCENARIO, Settings(layouts="stock runs out", weeks=12, replications=1, workers=1))

    assert short.too_short
    assert short.text == "stock runs out: more than 6 weeks, the pilot was too short to tell"


def test_the_course_is_minutes_lost_in_fifths_of_weeks():
    """They add up to all minutes lost, over four trucks on 28 days."""
    record = record_of(SCENARIO, "steady", seed=1, replication=0, length_min=4 * WEEK_MIN, warm_up_min=0.0)
    lost, measures = course(record, SCENARIO), measure(record)

    assert lost.shape == (20,)
    shifts = 4 * 28
    assert lost.sum() == pytest.approx(shifts * measures["downtime_min_per_truck_shift"])


def test_courses_are_averaged_over_replications(monkeypatch):
    """One that starts too high and one as much too low have no warm-up together; each alone has one."""
    level, high, low = (np.repeat([first, 10.0], [10, 90]) for first in (10.0, 40.0, -20.0))
    with_courses(monkeypatch, high, low)
    (together,) = warm_up(SCENARIO, Settings(layouts="steady", weeks=20, replications=2))
    with_courses(monkeypatch, high)
    (alone,) = warm_up(SCENARIO, Settings(layouts="steady", weeks=20, replications=1))

    assert np.array_equal(together.course, level)
    assert (together.weeks, alone.weeks) == (0, 2)


def test_a_weekend_does_not_pass_for_a_trend(monkeypatch):
    """The same fifths every week."""
    with_courses(monkeypatch, np.tile([9.0, 8.0, 9.0, 5.0, 0.0], 20))
    (one,) = warm_up(SCENARIO, Settings(layouts="steady", weeks=20, replications=1))

    assert (one.weeks, one.too_short) == (0, False)


@pytest.mark.slow
def test_a_flat_room_needs_the_same_warm_up_whatever_the_seed():
    """Within a week for ten seeds; chance decides when each of its trucks comes."""
    flat = batsim.changed(SCENARIO, {"trucks[0].run_time": {"low": "6 h", "typical": "11 h", "high": "26 h"}})
    weeks = [warm_up(flat, Settings(layouts="steady", seed=seed))[0] for seed in range(1, 11)]

    assert not any(each.too_short for each in weeks)
    assert {each.weeks for each in weeks} <= {0, 1}


def test_workers_make_no_difference():
    one, two = (warm_up(SCENARIO, Settings(weeks=4, replications=2, workers=workers)) for workers in (1, 2))

    assert [each[:3] for each in one] == [each[:3] for each in two]
    assert all(np.array_equal(mine.course, theirs.course) for mine, theirs in zip(one, two, strict=True))


def test_progress_is_told():
    told = []
    warm_up(
        SCENARIO,
        Settings(layouts="steady", weeks=4, replications=2, workers=1, progress=lambda *count: told.append(count)),
    )

    assert told == [(1, 2), (2, 2)]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([("a", 0, False), ("b", 1, False)], "The scenario's warm-up of 1 week is long enough."),
        ([("a", 3, False), ("b", 0, False)], "The scenario's warm-up of 1 week is short: state warm_up: 3 weeks."),
        (
            [("a", 4, False), ("b", 2, True)],
            "The pilot had not settled by its middle: try a longer one, --pilot-weeks.",
        ),
    ],
)
def test_text(rows, said):
    """All layouts and what to state; a pilot too short for one is too short."""
    results = found(*rows)

    assert warm_up_text(SCENARIO, results, 20) == "\n".join(
        [TITLE.format(20), *(f"  {each.text}" for each in results), said]
    )


def test_text_of_a_layout():
    assert [each.text for each in found(("a", 1, False), ("b", 0, False), ("c", 2, True))] == [
        "a: 1 week",
        "b: 0 weeks",
        "c: more than 2 weeks, the pilot was too short to tell",
    ]


def test_text_fits_sixty_columns():
    lines = warm_up_text(SCENARIO, found(("a", 3, False)), 20, 60).splitlines()

    assert max(map(len, lines)) <= 60
    assert " ".join(lines[:2]) == TITLE.format(20)


def test_command():
    """What it prints, whole."""
    result = call("warm-up", FILE, "--pilot-weeks", "16", "--workers", "1")

    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        f"{TITLE.format(16)}\n"
        "  stock runs out: 7 weeks\n"
        "  steady: 0 weeks\n"
        "The scenario's warm-up of 1 week is short: state warm_up: 7 weeks.\n"
    )


@pytest.mark.parametrize(("option", "value"), [("--pilot-weeks", "3"), ("--pilot-weeks", "1041"), ("--seed", "-1")])
def test_command_refuses_what_cannot_be(option, value):
    result = call("warm-up", FILE, option, value)

    assert (result.exit_code, result.stdout) == (2, "")
    assert f"Invalid value for '{option}': {value} is not in the range " in result.stderr


def test_command_with_an_unknown_layout():
    result = call("warm-up", FILE, "--layout", "stedy")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        f"{FILE}: 1 problem\n  {FILE}: layouts.stedy: no layout of this name; did you mean 'steady'?\n"
    )
