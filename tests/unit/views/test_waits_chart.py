"""Waits of layouts: those of the measures, their distribution, and a chart that draws it beside the target."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

import batsim
from batsim.measures import measure
from batsim.measures.exchanges import waits_min
from batsim.scenario.settings import Settings
from batsim.study.running.replications import run
from batsim.study.waits import Waits, waits_over
from batsim.views.charts.waits_chart import NONE, waits_chart, waits_text
from tests.runs import record_of
from tests.sites import KESTREL as SITE

FREE = batsim.changed(SITE, {"targets": {}})


def made(scenario=SITE, **layouts):
    """Waits of two replications of some layouts."""
    stated = Settings(replications=2, weeks=1.0).schedule(scenario)
    return Waits(stated, {name: tuple(np.array(each, dtype=float) for each in rows) for name, rows in layouts.items()})


TWO = {"quick": ([0, 0, 5, 5], [0, 0, 0, 20]), "slow": ([10, 30], [20, 40])}


def lines(ax):
    """Instants and shares of the lines of the layouts, in percent of the exchanges."""
    return [np.array(line.get_data()).T for line in ax.get_lines() if line.get_marker() == "None"]


def legend(ax):
    """Words of the legend."""
    return [text.get_text() for text in ax.get_legend().get_texts()]


# --- numbers ---


@pytest.mark.parametrize("layout", ["hoist", "in the truck"])
def test_waits_are_those_that_the_measures_are_taken_of(layout):
    """Their mean, their percentile, and the share that waits at all."""
    record = record_of(SITE, layout, length_min=10080.0, warm_up_min=1440.0)
    waits, measures = waits_min(record), measure(record, 15.0)

    assert waits.size > 50
    assert np.mean(waits) == measures["wait_min_per_exchange"]
    assert np.quantile(waits, 0.95) == measures["wait_min_p95"]
    assert np.mean(waits > 0.0) == measures["waited_share"]
    assert np.mean(waits <= 15.0) == measures["wait_within_target_share"]


def test_a_study_gathers_them_replication_by_replication():
    """The share within the target has the interval that the runs have."""
    found = waits_over(SITE, Settings(layouts=["hoist", "side rollers"], replications=2, weeks=1, workers=1))
    runs = run(SITE, Settings(layouts=["hoist", "side rollers"], replications=2, weeks=1, workers=1))

    assert found.layouts == ("hoist", "side rollers")
    for layout in found.layouts:
        expected = runs.interval(layout, "wait_within_target_share")
        assert found.share_within(layout, 15.0) == pytest.approx(tuple(expected), nan_ok=True)


def test_the_curve_is_the_share_that_waits_no_longer():
    """Of all replications together, from 0 on."""
    curve = made(**TWO).curve("quick")

    assert curve.minutes.tolist() == [0.0, 5.0, 20.0]
    assert curve.share.tolist() == [5 / 8, 7 / 8, 1.0]
    assert made(**TWO).curve("slow").share.tolist() == [0.0, 0.25, 0.5, 0.75, 1.0]


def test_nobody_waits_in_an_empty_room():
    """No exchange is no share at all."""
    empty = made(idle=([], []))

    assert empty.curve("idle").minutes.size == 0
    assert np.isnan(empty.share_within("idle", 5.0).mean)
    assert empty.not_exceeded(0.95) == 0.0


def test_what_most_do_not_exceed_is_that_of_the_slowest():
    """So that every line is seen."""
    assert made(**TWO).not_exceeded(1.0) == 40.0
    assert made(**TWO).not_exceeded(0.0) == 10.0


# --- what is drawn ---


def test_lines_are_the_curves():
    """Steps, carried on to the end of the axis at 100 %."""
    ax = waits_chart(made(**TWO))
    quick, slow = lines(ax)[:2]

    assert quick[:-1].tolist() == [[0.0, 5 / 8], [5.0, 7 / 8], [20.0, 1.0]]
    assert slow[:-1].tolist() == [[0.0, 0.0], [10.0, 0.25], [20.0, 0.5], [30.0, 0.75], [40.0, 1.0]]
    assert all(each[-1].tolist() == [max(ax.get_xlim()[1], each[-2, 0]), 1.0] for each in (quick, slow))
    assert {line.get_drawstyle() for line in ax.get_lines()[:2]} == {"steps-post"}


def test_the_target_is_marked():
    """At its minutes and its share, and the legend says how many keep it; 12 exchanges carry no interval."""
    ax = waits_chart(made(**TWO))
    cross = next(line for line in ax.get_lines() if line.get_marker() == "X")

    assert [float(each[0]) for each in cross.get_data()] == [15.0, 0.95]
    assert legend(ax) == ["quick\n87.5 % in time", "slow\n25 % in time", "target: 95 %\nwithin 15 min"]
    assert ax.get_xlim() == (0.0, pytest.approx(made(**TWO).not_exceeded(0.99)))


def test_a_far_target_is_inside():
    """Also where nobody waits."""
    ax = waits_chart(made(quick=([0, 0], [0, 0])))

    assert ax.get_xlim()[1] > 15.0
    assert waits_chart(made(FREE, quick=([0, 0], [0, 0]))).get_xlim() == (0.0, 5.0)


def test_without_a_target_there_is_no_mark():
    """Only the lines."""
    ax = waits_chart(made(FREE, **TWO))

    assert legend(ax) == ["quick", "slow"]
    assert len(ax.get_lines()) == 2


def test_axes_and_title_say_what_is_shown():
    """Units, site, replications."""
    ax = waits_chart(made(**TWO))

    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Wait [scheduled min]", "Exchanges that wait no longer [%]")
    assert ax.get_title("left") == "Kestrel Lane parts warehouse (invented): waits"
    assert " ".join(ax.texts[0].get_text().split()) == (
        "All exchanges of 2 replications of 1 week; where an area charges in the truck, its charges in scheduled time."
    )


def test_twenty_layouts_are_told_apart_and_fit():
    """No two lines look the same, no name lies on another or outside."""
    name = "a layout of which the name says how it is done and by whom"
    ax = waits_chart(made(**{f"{number} {name} {number}": TWO["slow"] for number in range(20)}))
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    boxes = [text.get_window_extent(canvas.get_renderer()) for text in ax.get_legend().get_texts()]
    width, height = ax.figure.get_size_inches() * ax.figure.dpi

    assert len({(line.get_color(), str(line._dash_pattern)) for line in ax.get_lines()[:20]}) == 20
    assert [(one, two) for one, two in combinations(boxes, 2) if one.overlaps(two)] == []
    assert [box for box in boxes if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height] == []


def test_nothing_to_show_is_said():
    """No exchange in any layout; beside others such a layout has no line."""
    ax = waits_chart(made(idle=([], [])))

    assert not ax.axison
    assert ax.texts[-1].get_text() == NONE
    assert legend(waits_chart(made(FREE, idle=([], []), **TWO))) == ["quick", "slow"]


def test_layouts_without_exchanges_are_left_out():
    """Those charged in the truck, and those in which nothing happened; the note names them."""
    mixed = made(FREE, **{"in the truck": ([0, 90], [0, 90]), "idle": ([], []), "hoist": ([0, 2], [4, 4])})
    ax = waits_chart(mixed)

    assert mixed.without_exchanges == ("in the truck", "idle")
    assert legend(ax) == ["hoist"]
    assert ax.get_xlim() == (0.0, 5.0)
    assert " ".join(ax.texts[0].get_text().split()).endswith(
        "Left out, since nothing is exchanged: 'in the truck', 'idle'."
    )
    alone = waits_chart(made(FREE, **{"in the truck": ([0, 90], [0, 90])}))
    assert (alone.texts[-1].get_text(), alone.get_legend()) == (NONE, None)


def test_areas_that_charge_in_the_truck_are_left_out():
    """The layout stays where another area exchanges."""
    two = batsim.read(Path(__file__).parents[3] / "scenarios" / "saltmarsh-road.yaml")
    (layout,) = (
        name for name in two.layouts if len({each.arrangement(name).in_truck for each in areas(two, name)}) > 1
    )
    plugged = [f"{layout}, {name}" for name, site in two.areas_of(layout).items() if site.arrangement(layout).in_truck]
    every = [layout, *(f"{layout}, {name}" for name in two.areas_of(layout))]

    assert plugged
    assert made(two, **dict.fromkeys(every, ([1, 2], [3]))).without_exchanges == tuple(plugged)


def areas(scenario, layout):
    """Scenario of each area."""
    return scenario.areas_of(layout).values()


def test_the_words_say_what_is_drawn():
    """Share in time, at once, and how long nearly all wait."""
    assert waits_text(made(**TWO)) == (
        "Share of exchanges that wait no longer: 'quick' within 15 min 87.5 %, at once 62 %, 95 % within 20.0 min; "
        "'slow' within 15 min 25 %, at once 0 %, 95 % within 40.0 min. Target: 95 % within 15 min. All exchanges of 2 "
        "replications of 1 week; where an area charges in the truck, its charges in scheduled time."
    )
    assert waits_text(made(FREE, quick=([0, 3], [3, 3]))).startswith(
        "Share of exchanges that wait no longer: 'quick' at once 25 %, 95 % within 3.0 min. All exchanges"
    )
    assert waits_text(made(idle=([], []))) == NONE


def test_given_axes_are_drawn_on():
    """And handed back."""
    ax = Figure().subplots()

    assert waits_chart(made(**TWO), ax) is ax
