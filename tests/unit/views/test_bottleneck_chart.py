"""Chart of what one more would save: bars are the gains, hatches say how sure they are."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.container import BarContainer, ErrorbarContainer
from matplotlib.figure import Figure

from batsim.scenario.settings import Settings
from batsim.study.bottleneck.bottleneck import Bottleneck, LostTime
from batsim.study.bottleneck.variants import Variant
from batsim.views.charts.bottleneck_chart import bottleneck_chart
from tests.sites import KESTREL as SITE

BASE = np.array([10.0, 11.0, 12.0, 11.0])
GAINS = {
    "station": np.array([4.0, 4.1, 4.0, 3.9]),
    "charger": np.array([3.0, -3.0, 2.0, -1.0]),
    "battery": np.array([-2.0, -2.1, -2.0, -1.9]),
    "bay": np.zeros(4),
}


def made(gains, base=BASE):
    """Answer for 'hoist' from the gains of some things."""

    def runs(downtimes):
        return tuple(LostTime({"downtime_min_per_truck_shift": each}, np.zeros(672)) for each in downtimes)

    things = tuple(Variant(f"one more {what}", f"the {what}", what, {}) for what in gains)
    stated = Settings(layouts=("hoist",), replications=len(base), weeks=1.0, warm_up_weeks=0.0, seed=1).schedule(SITE)
    more = tuple(runs(base - gain[: len(base)]) for gain in gains.values())
    return Bottleneck(stated, "hoist", things, (), runs(base), more)


def bars(ax):
    """Row, length and hatch of each bar."""
    return [
        (round(bar.get_y() + bar.get_height() / 2), bar.get_width(), bar.get_hatch())
        for each in ax.containers
        if isinstance(each, BarContainer)
        for bar in each
    ]


def test_bars_are_the_gains_the_greatest_first():
    """With a hatch where it is clear which way they go."""
    ax = bottleneck_chart(made(GAINS))

    assert [row for row, _, _ in bars(ax)] == [0, 1, 2, 3]
    assert [length for _, length, _ in bars(ax)] == pytest.approx([4.0, 0.25, 0.0, -2.0])
    assert [hatch for _, _, hatch in bars(ax)] == ["||", "", "", "xxxx"]
    assert [text.get_text() for text in ax.get_yticklabels()] == [
        f"one more {each}" for each in ("station", "charger", "bay", "battery")
    ]
    assert [text.get_text() for text in ax.get_legend().get_texts()] == [
        "clearly saves", "clearly costs", "cannot be told from nothing",
    ]  # fmt: skip


def test_whiskers_are_the_intervals_that_hold_together():
    """As the answer states them."""
    answer = made(GAINS)
    ends = [
        segment[:, 0].tolist()
        for each in bottleneck_chart(answer).containers
        if isinstance(each, ErrorbarContainer)
        for segment in each.lines[2][0].get_segments()
    ]

    assert np.array(ends) == pytest.approx(np.array([gain.interval[1:] for gain in answer.gains]))


def test_words():
    """Units, the downtime as it is, numbers beside the bars."""
    ax = bottleneck_chart(made(GAINS))

    assert ax.get_xlabel() == "Downtime saved [min per truck-shift]"
    assert ax.get_title("left") == "hoist: what one more would save"
    assert [text.get_text() for text in ax.texts[1:5]] == ["+4.0 ± 0.2", "+0.2 ± 7.4", "0", "-2.0 ± 0.2"]
    assert " ".join(ax.texts[0].get_text().split()) == (
        "As it is, 11.0 ± 1.3 min per truck-shift are lost. Whiskers: 95 % intervals that hold together, "
        "4 replications."
    )


def test_one_replication_has_no_whiskers():
    """And the note says so."""
    ax = bottleneck_chart(made(GAINS, BASE[:1]))

    assert not any(isinstance(each, ErrorbarContainer) for each in ax.containers)
    assert ax.texts[0].get_text().endswith("One replication: no intervals.")


def test_many_long_names_do_not_collide():
    """Twenty things with their devices and attendants."""
    name = "station with its battery carriage and attendants on every shift, one after the other"
    ax = bottleneck_chart(made({f"{number} {name} {number}": GAINS["charger"] for number in range(20)}))
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    boxes = [text.get_window_extent(canvas.get_renderer()) for text in ax.get_yticklabels()]

    assert [(one, two) for one, two in combinations(boxes, 2) if one.overlaps(two)] == []
    assert min(box.x0 for box in boxes) >= 0.0


def test_nothing_to_add_is_said():
    """Where nothing has a limit."""
    ax = bottleneck_chart(made({}))

    assert (
        " ".join(ax.texts[-1].get_text().split()) == "There is nothing with a limit of which one more could be tried."
    )


def test_given_axes_are_drawn_on():
    """And handed back."""
    ax = Figure().subplots()

    assert bottleneck_chart(made(GAINS), ax) is ax


def test_levers_stand_below_things_and_those_that_cost_are_left_out():
    """What clearly costs time would only stretch the scale; the table has it."""
    one = made({"station": GAINS["station"]})
    levers = made({"drivers": np.array([3.0, 3.1, 3.0, 2.9]), "early": np.array([-50.0, -51.0, -50.0, -49.0])})
    ax = bottleneck_chart(replace(one, levers=levers.things, otherwise=levers.more))

    assert [text.get_text() for text in ax.get_yticklabels()] == ["one more station", "one more drivers"]
    assert [length for _, length, _ in bars(ax)] == pytest.approx([4.0, 3.0])
    assert ax.get_title("left") == "hoist: what one more or a lever would save"
