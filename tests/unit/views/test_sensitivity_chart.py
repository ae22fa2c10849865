"""Charts of what matters: bars are the rows of the result, by input and index, with their intervals."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.container import BarContainer, ErrorbarContainer
from matplotlib.figure import Figure

from batsim.study.sweeps.inputs import Input
from batsim.study.sweeps.sensitivity import MEANINGS, Index, Sensitivity
from batsim.views.charts.sensitivity_chart import (
    INDICES,
    NONE,
    OTHER_CHART,
    SWINGS_ONLY,
    TORNADO,
    indices_chart,
    sensitivity_text,
    tornado_chart,
)

DOWN = "downtime_min_per_truck_shift"
PATHS = ("layouts.hoist.batteries", "trucks[*].duty.mean_power")


INPUTS = {
    PATHS[0]: Input("batteries", "70", "90"),
    PATHS[1]: Input("all trucks: mean power at work", "3 kW", "3.7 kW"),
}


def found(values, *, measure=DOWN, limits=True, left_out=0, paths=PATHS, inputs=INPUTS):
    """Result with values by index, one for each input."""
    half = 0.5 if limits else np.nan
    rows = [
        Index(path, kind, each[number], each[number] - half, each[number] + half)
        for number, path in enumerate(paths)
        for kind, each in values.items()
    ]
    return Sensitivity("hoist", measure, tuple(rows), 0.95, left_out, inputs)


SWINGS = {"high less low": [9.0, 3.0], "at low end": [-4.0, 1.0], "at high end": [5.0, -2.0]}
MORRIS = {"mean size of effect": [9.0, 3.0], "mean effect": [-9.0, 1.0], "spread of effect": [2.0, 0.5]}
SOBOL = {"total": [0.7, 0.4], "first order": [0.5, 0.3]}
RANKS = {"rank correlation": [-0.9, 0.2]}


def bars(ax):
    """Index, length and hatch of each bar, from the top."""
    drawn = [
        (bar.get_y() + bar.get_height() / 2.0, bar.get_width(), bar.get_hatch())
        for each in ax.containers
        if isinstance(each, BarContainer)
        for bar in each
    ]
    return [(round(y), length, hatch) for y, length, hatch in sorted(drawn)]


def whiskers(ax):
    """Ends of the whiskers."""
    return sorted(
        tuple(segment[:, 0])
        for each in ax.containers
        if isinstance(each, ErrorbarContainer)
        for segment in each.lines[2][0].get_segments()
    )


def words(ax):
    """Words of the legend."""
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_a_tornado_has_both_ends_of_every_input():
    """From the middle, in the order of the result."""
    ax = tornado_chart(found(SWINGS))

    assert bars(ax) == [(0, -4.0, "////"), (0, 5.0, ""), (1, 1.0, "////"), (1, -2.0, "")]
    assert whiskers(ax) == [(-4.5, -3.5), (-2.5, -1.5), (0.5, 1.5), (4.5, 5.5)]
    assert words(ax) == ["input at its low end", "input at its high end"]
    assert ax.get_xlabel() == "Change of downtime per truck-shift from all inputs as stated [min]"
    assert ax.get_title("left") == "hoist: swings, downtime per truck-shift"


@pytest.mark.parametrize(
    ("values", "unit", "legend"),
    [
        (
            MORRIS,
            "Change of downtime per truck-shift [min]",
            ["mean size of effect", "mean effect with its sign", "spread of effect"],
        ),
        (SOBOL, "Share of the variance [-]", ["first order: the input by itself", "total: with interactions"]),
        (RANKS, "Spearman's rank correlation [-]", ["rank correlation"]),
    ],
)
def test_indices_are_the_rows_of_the_result(values, unit, legend):
    """Every index of every input, in its unit."""
    ax = indices_chart(found(values))
    kinds = [kind for kind in INDICES if kind in values]

    assert bars(ax) == [(row, values[kind][row], INDICES[kind][1]) for row in range(len(PATHS)) for kind in kinds]
    assert len(whiskers(ax)) == len(PATHS) * len(values)
    assert (ax.get_xlabel(), words(ax)) == (unit, legend)
    assert ax.get_title("left") == "hoist: which inputs matter, downtime per truck-shift"


def test_without_limits_there_are_no_whiskers():
    """Nor a word about them; points that were left out are counted."""
    ax = indices_chart(found(MORRIS, limits=False, left_out=2))

    assert whiskers(ax) == []
    assert ax.texts[0].get_text() == "2 points without a result left out."


def test_what_is_not_a_number_has_no_bar():
    """An input that never changed the measure."""
    ax = indices_chart(found({"total": [0.4, np.nan], "first order": [0.4, np.nan]}))

    assert [row for row, _, _ in bars(ax)] == [0, 0]
    assert [text.get_text() for text in ax.get_yticklabels()] == [each.words for each in INPUTS.values()]


def test_correlations_have_their_whole_range():
    """From -1 to 1, whatever was found."""
    assert indices_chart(found(RANKS)).get_xlim() == (-1.05, 1.05)


def test_the_ends_of_each_bar_carry_the_input_s_value():
    """Outside of the whisker, on the side to which the bar goes; indices have no ends."""
    ax = tornado_chart(found(SWINGS))
    ends = {text.get_text(): (float(text.xy[0]), text.get_ha()) for text in ax.texts[1:]}

    assert ends == {"70": (-4.5, "right"), "90": (5.5, "left"), "3 kW": (1.5, "left"), "3.7 kW": (-2.5, "right")}
    assert len(indices_chart(found(SOBOL)).texts) == 1


def test_an_input_that_nobody_names_is_its_path():
    """Its bars have no values behind them."""
    ax = tornado_chart(found(SWINGS, inputs={}))

    assert [text.get_text().replace("\n", "") for text in ax.get_yticklabels()] == list(PATHS)
    assert len(ax.texts) == 1


def test_the_words_say_what_is_drawn():
    """Every index with its limits, swings with the value of the input."""
    assert sensitivity_text(found(SWINGS)) == (
        "hoist: downtime per truck-shift, what matters most first [min]: batteries high less low 9 (8.5 to 9.5), "
        "at low end (70) -4 (-4.5 to -3.5), at high end (90) 5 (4.5 to 5.5); all trucks: mean power at work high less "
        "low 3 (2.5 to 3.5), at low end (3 kW) 1 (0.5 to 1.5), at high end (3.7 kW) -2 (-2.5 to -1.5)."
    )
    assert sensitivity_text(found({"rank correlation": [-0.9, np.nan]}, limits=False)) == (
        "hoist: downtime per truck-shift, what matters most first: batteries rank correlation -0.9; "
        "all trucks: mean power at work rank correlation -."
    )
    assert sensitivity_text(found({}, paths=())).endswith(NONE)


def test_a_share_has_no_unit():
    """Availability."""
    assert tornado_chart(found(SWINGS, measure="availability_share")).get_xlabel() == (
        "Change of availability from all inputs as stated [-]"
    )


def test_the_other_chart_is_named():
    """Where the study was of another design, and where it varied nothing."""
    said = [
        " ".join(chart(result).texts[-1].get_text().split())
        for chart, result in (
            (tornado_chart, found(SOBOL)),
            (indices_chart, found(SWINGS)),
            (indices_chart, found({}, paths=())),
        )
    ]

    assert said == [OTHER_CHART, SWINGS_ONLY, "The study varies nothing, so nothing can matter."]


def test_every_index_has_a_look():
    """Of all that a result may hold; those drawn together differ in hatch."""
    assert {*TORNADO, *INDICES, "high less low"} == set(MEANINGS)
    for group in (TORNADO, MORRIS, SOBOL):
        hatches = [look[1] for kind, look in (TORNADO | INDICES).items() if kind in group]
        assert len(set(hatches)) == len(hatches)


def test_twenty_long_paths_do_not_collide():
    """They are wrapped at their dots and cut in the middle."""
    paths = [
        f"layouts.'portable stands by the window {number}'.devices.hand_pallet_truck.speed" for number in range(20)
    ]
    ax = indices_chart(found({kind: [0.3] * 20 for kind in SOBOL}, paths=paths))
    canvas = FigureCanvasAgg(ax.figure)
    canvas.draw()
    boxes = [text.get_window_extent(canvas.get_renderer()) for text in ax.get_yticklabels()]

    assert [(one, two) for one, two in combinations(boxes, 2) if one.overlaps(two)] == []
    assert len({text.get_text() for text in ax.get_yticklabels()}) == 20


def test_given_axes_are_drawn_on():
    """And handed back."""
    first, second = Figure().subplots(1, 2)

    assert tornado_chart(found(SWINGS), first) is first
    assert indices_chart(found(SOBOL), second) is second
