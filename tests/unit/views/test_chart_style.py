"""Looks that charts share: names that fit, axes of their own, nothing left behind."""

import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import matplotlib as mpl
import pytest

import batsim
from batsim.views.charts.chart_style import (
    axes_for,
    frame,
    heading,
    legend_below,
    legend_beside,
    names_at,
    nothing,
    week_axis,
)
from batsim.views.charts.names_fit import in_lines, names_fit
from batsim.views.charts.palette import LINES

CHARTS = sorted(name for name in batsim.__all__ if name.endswith("_chart"))


@pytest.mark.parametrize(
    ("name", "fits"),
    [
        ("hoist", "hoist"),
        ("two  words", "two words"),
        ("ten letters and more", "ten\nletters\nand more"),
        ("donaudampfschiff", "donaudampf\nschiff"),
        ("a name that is far too long for all the room there is", "a name\nthat i…oom\nthere is"),
        ("costs $5 or $6", "costs $5\nor $6"),
        ("_hidden", " _hidden"),
        ("", ""),
    ],
)
def test_names_are_wrapped_or_cut_in_the_middle(name, fits):
    """No line is longer than asked for, and none is left out of a legend."""
    assert names_fit([name], 10, 3) == [fits]


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("wait no longer than 11.1 min", "wait no longer than\n11.1 min"),
        ("it reaches, mean and all, 95 % of it", "it reaches, mean and\nall, 95 % of it"),
        ("what they come to 14.4 ± 0.2 min", "what they come to\n14.4 ± 0.2 min"),
        ("it follows a law, cv 0.184", "it follows a law,\ncv 0.184"),
        ("of all their truck-shifts", "of all their\ntruck-shifts"),
    ],
)
def test_a_number_keeps_its_unit_where_a_line_ends(text, lines):
    """So do its half width, and words with a hyphen; spaces are what they were."""
    assert in_lines(text, 22) == lines


def test_different_names_stay_different():
    """Two that are cut to the same get their number; the same name twice is no mistake."""
    one, two = (f"the same beginning {middle} and the same end of it" for middle in ("one", "two"))

    assert names_fit([one, two, "hoist"], 10, 2) != names_fit([one, one, "hoist"], 10, 2)
    assert len(set(names_fit([one, two], 10, 2))) == 2
    assert all(text.startswith(f"{number}:") for number, text in enumerate(names_fit([one, two], 10, 2), 1))
    assert names_fit(["hoist", "hoist"]) == ["hoist", "hoist"]


def test_paths_are_wrapped_at_their_dots():
    """Whatever spaces are in them."""
    assert names_fit(["layouts.side rollers.attendants.room early"], 22, 2, paths=True) == [
        "layouts.side rollers.\nattendants.room early"
    ]


def test_lines_differ_in_colour_and_dashes():
    """Neighbours in both, and no two in all."""
    assert len(set(LINES)) == len(LINES) >= 20
    assert all(one[0] != two[0] and one[1] != two[1] for one, two in pairwise(LINES))


def test_titles_and_notes_are_wrapped_and_taken_literally():
    """None is wider than its axes, though there are dollars in it."""
    ax = axes_for(None, (6.0, 3.0))
    heading(ax, "a $ layout $ " * 8, "a note of $1 and $2 " * 9)
    ax.figure.draw_without_rendering()
    renderer = ax.figure.canvas.get_renderer() if hasattr(ax.figure.canvas, "get_renderer") else None
    title, note = ax.get_title("left"), ax.texts[0]

    assert "\n" in title
    assert title.count("$") == 16
    assert note.get_window_extent(renderer).x1 <= ax.figure.bbox.x1


def test_names_are_taken_literally_beside_rows_and_in_legends():
    """Two dollars in a name begin no formula, and a backslash stays."""
    name = r"$5_x or \$6^{"
    for legend in (legend_beside, legend_below):
        ax = axes_for(None, (6.0, 3.0))
        names_at(ax, [name])
        legend(ax, {name: ax.plot([0, 1], [0, 0])[0]})
        ax.figure.draw_without_rendering()
        texts = [*ax.get_yticklabels(), *ax.get_legend().get_texts()]
        assert [(text.get_text(), text.get_parse_math()) for text in texts] == [(name, False)] * 2


def test_a_legend_beside_is_left_out_without_words():
    """An empty box would look like an error."""
    ax = axes_for(None, (4.0, 3.0))
    legend_beside(ax, {})

    assert ax.get_legend() is None


def test_rows_run_from_the_top():
    """Also when there is only one, or none."""
    for names in (["one", "two"], ["one"], []):
        ax = axes_for(None, (4.0, 3.0))
        names_at(ax, names)
        low, high = ax.get_ylim()
        assert low > high
        assert [label.get_text() for label in ax.get_yticklabels()] == names


def test_time_axes_of_a_week_and_a_day():
    """Weekdays for the one, hours for the other."""
    for length, labels in ((10080.0, ["Mon", "Tue"]), (1440.0, ["00:00", "03:00"])):
        ax = axes_for(None, (8.0, 3.0))
        week_axis(ax, 0.0, length)
        ax.figure.draw_without_rendering()
        assert [label.get_text() for label in ax.get_xticklabels() if label.get_position()[0] >= 0.0][:2] == labels


def test_notebooks_show_a_picture():
    """Of new axes and of their figure."""
    ax = axes_for(None, (3.0, 2.0))
    nothing(ax, "nothing to see")

    assert ax._repr_png_().startswith(b"\x89PNG")
    assert ax.figure._repr_png_().startswith(b"\x89PNG")


def test_settings_stay_as_they_are():
    """A chart changes nothing for others."""
    settings = dict(mpl.rcParams)
    heading(axes_for(None, (4.0, 3.0)), "title", "note")

    assert dict(mpl.rcParams) == settings


def test_charts_load_what_draws_only_to_draw():
    """Asking for all of them brings no matplotlib, and drawing brings no windows."""
    code = f"""
import sys, batsim
for name in {CHARTS!r}:
    assert callable(getattr(batsim, name))
print("matplotlib" in sys.modules)
site = batsim.read({str(Path(__file__).parents[3] / "scenarios" / "kestrel-lane.yaml")!r})
batsim.room_plan_chart(site, "side rollers")._repr_png_()
print("matplotlib.figure" in sys.modules, "matplotlib.pyplot" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)

    assert done.stdout.splitlines() == ["False", "True False"], done.stderr


@pytest.mark.parametrize(
    ("least", "most", "texts"), [(0.0, 3000.0, ["0", "1,500", "3,000"]), (0.0, 3.0, ["0.0", "1.5", "3.0"])]
)
def test_thousands_stand_apart_beside_an_axis(least, most, texts):
    """As in the tables beside it; names beside rows stay as they are."""
    ax = axes_for(None, (6.0, 2.0))
    frame(ax)
    ax.set_xlim(least, most)
    names_at(ax, ["2026", "row"])
    formatter = ax.xaxis.get_major_formatter()

    assert set(texts) <= set(formatter.format_ticks([least, most / 2.0, most]))
    assert [label.get_text() for label in ax.get_yticklabels()] == ["2026", "row"]
