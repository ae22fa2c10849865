"""Chart of a frontier: counts, downtime with intervals, cost, the target and the answer."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

import batsim
from batsim.decision.answer import DECIDING, Answer, Trial
from batsim.decision.counts import CountRange
from batsim.scenario.settings import Settings
from batsim.study.limits import limits_of
from batsim.study.running.counts import Counted
from batsim.views.charts.frontier_chart import NONE, frontier_chart
from tests.sites import KESTREL as SITE

NOISE = np.array([-1.0, 1.0, 0.0])
STATIONS = CountRange("stations", (Counted("stations"),), (1, 2), 2)
BATTERIES = CountRange("batteries", (Counted("batteries", "lead"),), (50, 60), 82)
CHARGERS = CountRange("fast_chargers", (Counted("chargers", "fast"),), (50, 60), 44)


def cell(batteries, downtime, meets):
    """A cell with two stations."""
    values = {DECIDING: downtime + NOISE, "wait_within_target_share": np.full(3, 0.97)}
    return Trial((2, batteries), 1000.0 * batteries, meets, (), "", values)


FEW, ANSWER, MORE = cell(58, 25.0, False), cell(60, 14.0, True), cell(61, 12.0, True)


def sized(*frontier, chosen=ANSWER, scenario=SITE, ranges=(STATIONS, BATTERIES)):
    """What was decided."""
    return Answer(
        Settings(layouts="hoist", replications=3, weeks=1.0).schedule(scenario), "hoist", ranges, limits_of(SITE),
        chosen, None, frontier, frontier, (),
        (), False, 9, 40, 0.95, 0.01,
    )  # fmt: skip


def points(ax):
    """Marker and position of every point, the ring around the answer too."""
    return [
        (line.get_marker(), float(line.get_xdata()[0]), float(line.get_ydata()[0]))
        for line in ax.get_lines()
        if line.get_marker() not in ("None", "_", 0, 1, 2, 3)
    ]


def words(ax):
    """Words of the legend."""
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_points_are_means_over_counts():
    """With another mark where a target is missed, and a ring around the answer."""
    found = points(frontier_chart(sized(FEW, ANSWER, MORE)))

    assert found == [("X", 58.0, 25.0), ("o", 60.0, 14.0), ("o", 60.0, 14.0), ("o", 61.0, 12.0)]
    assert words(frontier_chart(sized(FEW, ANSWER, MORE))) == [
        "misses a target", "meets the targets", "answer", "target: at most 15",
    ]  # fmt: skip


def test_what_is_too_near_to_tell_is_marked_so():
    """Whatever the means say: its interval reaches over the target."""
    for near in (cell(59, 15.5, False), cell(59, 14.5, True)):
        ax = frontier_chart(sized(FEW, near, ANSWER))

        assert points(ax)[1][0] == "D"
        assert words(ax)[:3] == ["misses a target", "too near to tell", "meets the targets"]


def test_whiskers_are_intervals_of_the_mean():
    """By the confidence of the sizing."""
    ax = frontier_chart(sized(FEW, ANSWER, MORE))
    ends = [segment[:, 1].tolist() for each in ax.collections for segment in each.get_segments()]

    assert ends == [pytest.approx(each.interval(DECIDING, 0.95)[1:]) for each in (FEW, ANSWER, MORE)]


def test_cost_stands_under_the_counts():
    """In the site's currency, and the unit is said."""
    ax = frontier_chart(sized(FEW, ANSWER, MORE))

    assert [label.get_text() for label in ax.get_xticklabels()] == ["58\n58,000", "60\n60,000", "61\n61,000"]
    assert ax.get_xlabel() == "Batteries, and cost [EUR per year]"
    assert ax.get_ylabel() == "Downtime [min per truck-shift]"


def test_the_note_says_what_is_kept():
    """All else as in the answer."""
    ax = frontier_chart(sized(FEW, ANSWER, MORE))

    assert ax.get_title("left") == "hoist: fewer and more batteries"
    assert " ".join(ax.texts[0].get_text().split()) == (
        "Kestrel Lane parts warehouse (invented), seed 1; whiskers: 95 % intervals of the mean. Kept: stations 2."
    )


def test_without_spare_batteries_chargers_change():
    """In the truck there is nothing else."""
    size = sized(FEW, ANSWER, MORE, ranges=(STATIONS, CHARGERS))

    assert size.frontier_column == 1
    assert sized(ANSWER, ranges=(CHARGERS, BATTERIES)).frontier_column == 1
    assert sized(ANSWER, ranges=(STATIONS, replace_kind())).frontier_column == 0
    assert frontier_chart(size).get_title("left") == "hoist: fewer and more fast chargers"


def replace_kind():
    """A range of neither batteries nor chargers."""
    return BATTERIES._replace(counted=(Counted("attendants", "early"),))


def test_without_a_target_for_downtime_there_is_no_line():
    """Other targets are told by the marks."""
    ax = frontier_chart(sized(ANSWER, scenario=batsim.changed(SITE, {"targets.downtime_per_truck_shift": None})))

    assert words(ax) == ["meets the targets", "answer"]
    assert not any(line.get_linestyle() == "--" for line in ax.get_lines())


def test_a_far_target_and_all_points_are_inside():
    """Nothing is cut off."""
    ax = frontier_chart(
        sized(FEW, ANSWER, MORE, scenario=batsim.changed(SITE, {"targets.downtime_per_truck_shift": "at most 90 min"}))
    )
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()

    assert left < 58 < 61 < right
    assert bottom == 0.0
    assert top > 90.0


def test_targets_that_cannot_be_met_are_said():
    """There is no frontier then."""
    ax = frontier_chart(replace(sized(), chosen=None))

    assert " ".join(ax.texts[-1].get_text().split()) == NONE
    assert not ax.axison


def test_given_axes_are_drawn_on():
    """And handed back."""
    ax = Figure().subplots()

    assert frontier_chart(sized(ANSWER), ax) is ax
