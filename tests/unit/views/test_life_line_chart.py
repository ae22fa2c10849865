"""Life lines of batteries: stretches fill the window, and the chart draws just them."""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from matplotlib.figure import Figure

import batsim
from batsim.measures.battery_course import battery_stretches
from batsim.measures.room_course import room_course
from batsim.views.charts.life_line_chart import life_line_chart, life_line_text
from batsim.views.charts.palette import STATE_LOOKS
from tests.runs import record_of
from tests.sites import KESTREL as SITE

BEGIN, END = 10080.0, 10080.0 + 2 * 1440.0


@pytest.fixture(scope="module")
def record():
    """Two weeks, the first of them warm-up."""
    return record_of(SITE, "side rollers", length_min=10080.0, warm_up_min=10080.0)


def test_stretches_fill_the_window(record):
    """One after the other, no two of the same state together."""
    for battery in range(82):
        found = battery_stretches(record, battery, BEGIN, END)
        assert (found[0].from_min, found[-1].to_min) == (BEGIN, END)
        assert all(one.to_min == two.from_min and one.state != two.state for one, two in pairwise(found))


def test_stretches_are_those_of_the_room(record):
    """Counted over all batteries they are its course."""
    course = room_course(record, BEGIN, END)
    every = [each for battery in range(82) for each in battery_stretches(record, battery, BEGIN, END)]

    for position in (0, 100, course.time_min.size - 1):
        now = course.time_min[position]
        for state, counts in course.batteries.items():
            there = [each for each in every if each.state == state and each.from_min <= now < each.to_min]
            assert len(there) == counts[position]


def test_a_window_is_cut_at_the_ends_of_the_run(record):
    """Before it and after it there is nothing."""
    found = battery_stretches(record, 3, -500.0, 1e6)

    assert (found[0].from_min, found[-1].to_min) == (0.0, 20160.0)


@pytest.mark.parametrize(
    ("battery", "window", "message"),
    [
        (82, (0.0, 5.0), "a battery must have a number from 0 to 81 (got 82)"),
        (-1, (0.0, 5.0), "a battery must have a number from 0 to 81 (got -1)"),
        (0, (5.0, 5.0), "a window must end after it begins and overlap the run, 0 to 20160 min (got 5 to 5 min)"),
        (0, (-9.0, 0.0), "a window must end after it begins and overlap the run, 0 to 20160 min (got -9 to 0 min)"),
        (
            0,
            (0.0, float("inf")),
            "a window must end after it begins and overlap the run, 0 to 20160 min (got 0 to inf min)",
        ),
    ],
)
def test_what_there_is_not(record, battery, window, message):
    """Neither the battery nor the time."""
    for look in (battery_stretches, lambda run, number, *times: life_line_chart(run, [number], *times)):
        with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
            look(record, battery, *window)


def test_bars_are_the_stretches(record):
    """Row by row, with the hatch of their state."""
    ax = life_line_chart(record, [30, 3], BEGIN, END)
    states = {hatch: state for state, (_, hatch, _) in STATE_LOOKS.items()}
    drawn = {
        (states[bars.get_hatch() or ""], *box.vertices[:, 0][[0, 2]], round(box.vertices[:, 1].mean()))
        for bars in ax.collections
        for box in bars.get_paths()
    }

    assert {(state, *sorted(ends), row) for state, *ends, row in drawn} == {
        (each.state, each.from_min, each.to_min, row)
        for row, battery in enumerate((30, 3))
        for each in battery_stretches(record, battery, BEGIN, END)
    }


def test_names_legend_and_title(record):
    """Numbers of the batteries from the top, each state once, week and run."""
    ax = life_line_chart(record, [30, 3], BEGIN, BEGIN + 1440.0)
    words = [text.get_text() for text in ax.get_legend().get_texts()]

    assert [label.get_text() for label in ax.get_yticklabels()] == ["31", "4"]
    assert ax.get_ylim()[0] > ax.get_ylim()[1]
    assert len(set(words)) == len(words)
    assert set(words) == {each.state for row in (30, 3) for each in battery_stretches(record, row, BEGIN, BEGIN + 1440)}
    assert ax.get_title("left") == "side rollers: what batteries do, week 1 Mon"
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Weekday and time of day", "Battery")


def test_the_type_is_named_where_there_are_several():
    """Numbers alone would not say which."""
    site = batsim.read(Path(__file__).parents[1] / "broken" / "sound.yaml")
    layout = next(name for name in site.layouts if not site.arrangement(name).in_truck)
    run = record_of(site, layout, length_min=1440.0, warm_up_min=0.0)
    last = run.facts.batteries - 1
    labels = [text.get_text() for text in life_line_chart(run, [0, last], 0.0, 600.0).get_yticklabels()]

    first, *_, other = run.facts.battery_types
    assert labels == [f"1 ({first.name})", f"{last + 1} ({other.name})"]


def test_no_battery(record):
    """There is nothing to draw."""
    with pytest.raises(ValueError, match=r"^a chart needs at least one battery \(got none\)$"):
        life_line_chart(record, [], BEGIN, END)


def test_given_axes_are_drawn_on(record):
    """And handed back."""
    ax = Figure().subplots()

    assert life_line_chart(record, [3], BEGIN, END, ax) is ax


def test_the_words_say_how_long_each_battery_is_in_each_state(record):
    """The whole window of each, in the minutes of its stretches."""
    told = life_line_text(record, [0, 5], BEGIN, END)
    minutes = [int(number.replace(",", "")) for number in re.findall(r"([\d,]+) min", told)]

    assert sum(minutes) == pytest.approx(2 * (END - BEGIN), abs=5.0)
    assert "battery 1 " in told
    assert "battery 6 " in told
    assert told.endswith("week 1 is the first after the warm-up.")
