"""Charts of downtime and labour: bars are the means of the parts, whiskers the intervals, names never collide."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.container import BarContainer, ErrorbarContainer
from matplotlib.figure import Figure

import batsim
from batsim.measures import MEASURES
from batsim.measures.names import PART_LABELS
from batsim.record.words import PERSONS, TASKS
from batsim.scenario.settings import Schedule
from batsim.study.compare import Comparison
from batsim.study.running.runs import Runs
from batsim.views.charts.palette import CAUSE_LOOKS, PART_LOOKS, TASK_LOOKS, pale
from batsim.views.charts.stacked_charts import DOWNTIME_WORDS as DOWNTIME
from batsim.views.charts.stacked_charts import LABOUR_WORDS as LABOUR
from batsim.views.charts.stacked_charts import downtime_chart, downtime_text, labour_chart, labour_text
from tests.sites import KESTREL as SITE

FREE = batsim.changed(SITE, {"targets": {}})
CHARTS = (downtime_chart, labour_chart)
LONG = "a layout of which the name says how it is done and by whom and why not otherwise"
NOISE = np.array([-1.0, 1.0, 0.0])


def values(downtime, tasks):
    """Measures of a layout from parts of its downtime and from minutes by person and task."""
    found = {name: np.zeros(3) for name in MEASURES}
    for part, minutes in downtime.items():
        found[f"{part}_min_per_truck_shift"] = minutes + NOISE
    for (person, task), minutes in tasks.items():
        found[f"labour_{person}_{task}_min_per_day"] = minutes + NOISE
    found["downtime_min_per_truck_shift"] = sum(found[f"{part}_min_per_truck_shift"] for part in PART_LABELS)
    found["labour_min_per_day"] = sum(
        found[f"labour_{person}_{task}_min_per_day"] for person in PERSONS for task in TASKS
    )
    return found


def compared(layouts, scenario=SITE):
    """Comparison of made-up layouts."""
    return Comparison(Runs(Schedule(scenario, tuple(layouts), 1, 3, 10080.0, 0.0, 0.95), layouts))


TWO = {
    "slow": values({"travel": 2.0, "wait_battery": 30.0}, {("attendant", "exchange"): 200.0}),
    "quick": values({"travel": 2.0, "exchange": 9.0}, {("attendant", "exchange"): 100.0, ("driver", "exchange"): 40.0}),
}


def bars(ax):
    """Left ends, lengths and heights of the bars, by their words."""
    return {
        each.get_label(): [(bar.get_x(), bar.get_width(), bar.get_height()) for bar in each]
        for each in ax.containers
        if isinstance(each, BarContainer)
    }


def whiskers(ax):
    """Ends of the whiskers, from the first row."""
    return [
        (float(segment[0][0]), float(segment[1][0]))
        for each in ax.containers
        if isinstance(each, ErrorbarContainer)
        for segment in each.lines[2][0].get_segments()
    ]


def boxes(ax):
    """Where each name beside a row and each number lies when it is drawn."""
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    texts = [text for text in (*ax.get_yticklabels(), *ax.texts) if text.get_text()]
    return [text.get_window_extent(canvas.get_renderer()) for text in texts]


def test_bars_are_the_means_of_the_parts_one_behind_the_other():
    """In the order of the ranking; what nobody loses is left out."""
    found = bars(downtime_chart(compared(TWO)))

    assert {word: [each[:2] for each in rows] for word, rows in found.items()} == {
        "way to the room and back": [(0.0, 2.0), (0.0, 2.0)],
        "waits for a battery": [(2.0, 0.0), (2.0, 30.0)],
        "exchange": [(2.0, 9.0), (32.0, 0.0)],
    }


def test_labour_is_split_by_task_and_person():
    """Drivers have lower bars, so that colour is not needed to tell who does it."""
    found = bars(labour_chart(compared(TWO)))

    assert found == {
        "exchange by attendants": [(0.0, 100.0, 0.72), (0.0, 200.0, 0.72)],
        "exchange by drivers": [(100.0, 40.0, pytest.approx(0.36)), (200.0, 0.0, pytest.approx(0.36))],
    }


def test_the_legend_of_labour_has_no_twins():
    """A task stands in it once, whoever does it; the note says who is high and who is low."""
    assert [text.get_text() for text in labour_chart(compared(TWO)).get_legend().get_texts()] == ["exchange"]
    every = values({}, {(person, task): 1.0 for person in PERSONS for task in TASKS})
    ax = labour_chart(compared({"all": every}))
    drawn = [(patch.get_facecolor(), patch.get_hatch()) for patch in ax.get_legend().get_patches()]
    assert len(drawn) == len(set(drawn)) == len(TASKS)
    assert "High: attendants. Low: drivers" in " ".join(ax.texts[-1].get_text().split())


def test_the_words_say_what_is_drawn():
    """Total and parts of each layout, in the order of the ranking."""
    assert downtime_text(compared(TWO)) == (
        "Downtime [min per truck-shift]: 'quick' 11.0 ± 5.0 (way to the room and back 2, exchange 9); 'slow' 32.0 ± "
        "5.0 (way to the room and back 2, waits for a battery 30). Means of 3 replications of 1 week; whiskers: 95 % "
        "intervals of the total. Target: at most 15."
    )
    assert "'quick' 140 ± 5 (exchange by attendants 100, exchange by drivers 40)" in labour_text(compared(TWO))
    assert downtime_text(compared(TWO, FREE)).endswith("intervals of the total.")
    nothing = {name: np.full(3, np.nan) for name in MEASURES}
    assert downtime_text(compared({"idle": nothing}, FREE)) == DOWNTIME.empty


@pytest.mark.parametrize(
    ("chart", "measure"), [(downtime_chart, "downtime_min_per_truck_shift"), (labour_chart, "labour_min_per_day")]
)
def test_whiskers_are_intervals_of_the_total(chart, measure):
    """Of each layout, by the confidence of the runs."""
    comparison = compared(TWO)
    intervals = [comparison.runs.interval(each, measure) for each in comparison.ranking]

    assert np.array(whiskers(chart(comparison))) == pytest.approx(np.array(intervals)[:, 1:])


def test_the_target_is_a_line_when_there_is_one():
    """It is seen even where every layout is far below it."""
    ax = downtime_chart(compared(TWO, batsim.changed(SITE, {"targets.downtime_per_truck_shift": "at most 90 min"})))
    lines = {line.get_label(): line for line in ax.get_lines()}
    words = [text.get_text() for text in ax.get_legend().get_texts()]

    assert [list(line.get_xdata()) for line in lines.values() if line.get_linestyle() == "--"] == [[90.0, 90.0]]
    assert ax.get_xlim()[1] > 90.0
    assert words[-1] == "target: at most 90"
    assert not any(line.get_linestyle() == "--" for line in downtime_chart(compared(TWO, FREE)).get_lines())


def test_axes_title_and_note_say_what_is_shown():
    """Units, site, replications and what a whisker is."""
    downtime, labour = (chart(compared(TWO)) for chart in CHARTS)

    assert downtime.get_xlabel() == "Downtime [min per truck-shift]"
    assert labour.get_xlabel() == "Hands-on work [people-minutes per working day]"
    assert downtime.get_title("left") == "Kestrel Lane parts warehouse (invented): downtime by cause"
    assert " ".join(downtime.texts[-1].get_text().split()) == (
        "Means of 3 replications of 1 week; whiskers: 95 % intervals of the total."
    )
    assert [text.get_text() for text in downtime.texts[:3]] == ["11.0 ± 5.0", "32.0 ± 5.0", "in all"]


def test_one_replication_has_no_whiskers():
    """And the note says so."""
    values = {name: {measure: each[:1] for measure, each in found.items()} for name, found in TWO.items()}
    ax = downtime_chart(Comparison(Runs(Schedule(SITE, tuple(values), 1, 1, 10080.0, 0.0, 0.95), values)))

    assert whiskers(ax) == []
    assert ax.texts[-1].get_text() == "One replication of 1 week: no intervals."


@pytest.mark.parametrize("chart", CHARTS)
@pytest.mark.parametrize("count", [1, 2, 20])
def test_long_names_do_not_collide(chart, count):
    """Up to twenty layouts, of which nothing lies outside the picture."""
    layouts = {f"{number} {LONG} {number}": TWO["slow"] for number in range(count)}
    ax = chart(compared(layouts))
    found = boxes(ax)
    width, height = ax.figure.get_size_inches() * ax.figure.dpi

    assert [(one, two) for one, two in combinations(found, 2) if one.overlaps(two)] == []
    assert [box for box in found if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height] == []
    assert len({label.get_text() for label in ax.get_yticklabels()}) == count


@pytest.mark.parametrize(("chart", "why"), [(downtime_chart, DOWNTIME.empty), (labour_chart, LABOUR.empty)])
def test_nothing_to_show_is_said(chart, why):
    """An empty frame would look like an error."""
    empty = {name: np.full(3, np.nan) for name in MEASURES}
    ax = chart(compared({"idle": empty}))

    assert not ax.axison
    assert " ".join(ax.texts[-1].get_text().split()) == why


def test_a_layout_without_a_value_has_a_dash():
    """The others are drawn as usual."""
    empty = {name: np.full(3, np.nan) for name in MEASURES}
    ax = downtime_chart(compared({**TWO, "idle": empty}))

    assert [label.get_text() for label in ax.get_yticklabels()] == ["quick", "slow", "idle"]
    assert [text.get_text() for text in ax.texts[:3]] == ["11.0 ± 5.0", "32.0 ± 5.0", "-"]
    assert len(whiskers(ax)) == 2


@pytest.mark.parametrize("chart", CHARTS)
def test_given_axes_are_drawn_on_and_handed_back(chart):
    """And a new figure belongs to no window, yet a notebook shows it."""
    ax = Figure().subplots()

    assert chart(compared(TWO), ax) is ax
    assert chart(compared(TWO))._repr_png_().startswith(b"\x89PNG")


def test_looks_are_told_apart_without_colour():
    """Each cause and task has a hatch of its own, and a cause looks as in the chart of the room."""
    for looks in (PART_LOOKS, TASK_LOOKS):
        assert len({hatch[:1] for _, hatch, _ in looks.values()}) == len(looks)
    for cause in ("battery", "bay", "attendant", "device"):
        assert PART_LOOKS[f"wait_{cause}"][:2] == CAUSE_LOOKS[cause][:2]


def test_fills_are_as_the_looks_say():
    """Pale colour and hatch of the part."""
    drawn = next(each for each in downtime_chart(compared(TWO)).containers if each.get_label() == "waits for a battery")

    assert to_rgb(drawn[0].get_facecolor()) == pytest.approx(pale(PART_LOOKS["wait_battery"][0]))
    assert drawn[0].get_hatch() == PART_LOOKS["wait_battery"][1]
