"""Chart of what a target costs: plans, verdicts, the frontier, the answer, the target, and what is said of them."""

import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

import batsim
from batsim.decision.answer import MEETS, MISSES, NOT_THE_MARGIN, Answer
from batsim.decision.decide import decide
from batsim.decision.trials import BOUGHT, DECIDING
from batsim.measures import WITHIN_TARGET
from batsim.scenario.settings import Settings
from batsim.views.charts.frontier_chart import DEAREST, MARKS, NONE, frontier_chart

SMALL = batsim.read(Path(__file__).parents[1] / "cases" / "decide_small.yaml")
RANGES = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}
RING = 18.0
"""Size of the ring about the answer. [pt]"""
Point = tuple[float, float]


@cache
def answer() -> Answer:
    """The small room, by what is bought: a plan meets the target without its margin, several miss it."""
    scenario = batsim.changed(SMALL, {"targets.downtime_per_truck_shift": "at most 245 min"})
    indifference = {"downtime": 50.0}
    return decide(scenario, Settings(workers=1), ranges=RANGES, objective=BOUGHT, indifference=indifference)["room"]


@cache
def with_waits() -> Answer:
    """The same with a target on waits beside that on downtime."""
    swiss = {"targets.waits": "50 % under 20 min", "site.currency": "CHF", "prices": {}}
    scenario = batsim.changed(SMALL, swiss)
    return decide(scenario, Settings(workers=1, replications=2), ranges=RANGES)["room"]


def marked(ax: Axes) -> dict[str, set[Point]]:
    """Places of the marks by their word; of the ring about the answer too."""
    found: dict[str, set[Point]] = {}
    by_mark = {(to_hex(colour), marker): word for colour, marker, word in MARKS.values()}
    for line in ax.get_lines():
        places = set(zip(map(float, line.get_xdata()), map(float, line.get_ydata()), strict=True))
        if line.get_markersize() == RING:
            found["ring"] = places
        elif line.get_marker() not in ("None", "", None):
            found[by_mark[to_hex(line.get_color()), line.get_marker()]] = places
    return found


def seen(found: Answer) -> dict[str, set[Point]]:
    """Downtime and cost of all plans that are not far too dear, by what is said of them."""
    best = found.searched[found.point]
    places: dict[str, set[Point]] = {}
    for trial in found.searched.values():
        if trial.replications > 1 and trial.cost() <= DEAREST * best.cost():
            place = (float(np.mean(trial.of(("", ""))[DECIDING])), trial.cost())
            places.setdefault(MARKS[found.verdict(trial)][2], set()).add(place)
    return places


def words(ax: Axes) -> list[str]:
    """Words of the legend."""
    legend = ax.get_legend()
    assert legend is not None
    return [text.get_text() for text in legend.get_texts()]


def test_every_plan_is_marked_by_what_is_said_of_it() -> None:
    """Cost over downtime, as the search saw both, and a ring about the answer."""
    places = marked(frontier_chart(answer()))
    best = answer().searched[answer().point]

    assert places.pop("ring") == {(float(best.of(("", ""))[DECIDING].mean()), best.cost())}
    assert places == seen(answer())
    assert set(places) == {MARKS[verdict][2] for verdict in (MEETS, NOT_THE_MARGIN, MISSES)}


def test_what_was_looked_at_once_is_left_out() -> None:
    """One replication says too little."""
    once = {trial.cost() for trial in answer().searched.values() if trial.replications == 1}
    drawn = {cost for places in marked(frontier_chart(answer())).values() for _, cost in places}

    assert once - drawn


def test_what_is_far_too_dear_is_left_out() -> None:
    """So that the rest is told apart."""
    best = answer().searched[answer().point]
    other = next(trial for trial in answer().searched.values() if trial.replications > 1 and trial is not best)
    dear = replace(other, costs=[2.0 * DEAREST * best.cost()] * other.replications)
    found = replace(answer(), searched={**answer().searched, other.point: dear})

    drawn = {cost for places in marked(frontier_chart(found)).values() for _, cost in places}
    assert dear.cost() not in drawn
    assert best.cost() in drawn


def test_the_frontier_goes_through_the_cheapest_at_each_level() -> None:
    """It falls with the downtime that is allowed, and no plan lies below it."""
    ax = frontier_chart(answer())
    (frontier,) = (line for line in ax.get_lines() if line.get_drawstyle() == "steps-post")
    across, costs = (np.asarray(each, dtype=float) for each in (frontier.get_xdata(), frontier.get_ydata()))
    plans = set.union(*seen(answer()).values())

    assert len(across) > 1
    assert np.all(np.diff(across) > 0.0)
    assert np.all(np.diff(costs) < 0.0)
    assert set(zip(across.tolist(), costs.tolist(), strict=True)) <= plans
    for downtime_min, cost in plans:
        assert cost >= min(costs[across <= downtime_min])


def test_target_and_what_is_tested_are_lines() -> None:
    """With their numbers in the legend."""
    ax = frontier_chart(answer())
    lines = {line.get_linestyle(): float(line.get_xdata()[0]) for line in ax.get_lines()}

    assert (lines["--"], lines[":"]) == (245.0, 220.0)
    assert words(ax) == [
        "meets all targets", "meets the target, not the margin", "misses a target", "the best plan",
        "target: 245 min", "tested: 220 min",
    ]  # fmt: skip


def test_axes_say_what_they_are_and_in_which_unit() -> None:
    """In the site's currency."""
    ax = frontier_chart(answer())

    assert re.fullmatch(r"Downtime.* \[min.*\]", ax.get_xlabel())
    assert ax.get_ylabel() == "Cost [EUR per year]"
    assert ax.get_title("left") == "room: what 'downtime' costs"
    assert " ".join(ax.texts[0].get_text().split()) == (
        "Small room (invented), seed 3; plans as the search saw them, means of few replications; grey: the cheapest at "
        "each level."
    )


def test_a_share_is_drawn_in_percent() -> None:
    """The waits within the target; more is better there."""
    ax = frontier_chart(with_waits(), target="waits")
    best = with_waits().searched[with_waits().point]
    (frontier,) = (line for line in ax.get_lines() if line.get_drawstyle() == "steps-post")

    assert ax.get_xlabel().endswith("[%]")
    assert ax.get_ylabel() == "Cost [CHF per year]"
    ((share, cost),) = marked(ax)["ring"]
    assert share == pytest.approx(100.0 * best.of(("", ""))[WITHIN_TARGET.name].mean())
    assert cost == best.cost()
    assert words(ax)[-2].startswith("target: 50 %")
    assert list(frontier.get_xdata()) == sorted(frontier.get_xdata(), reverse=True)


def test_without_a_name_it_is_the_first_target() -> None:
    """And no other than those of the layout."""
    assert frontier_chart(with_waits()).get_title("left") == "room: what 'downtime' costs"
    with pytest.raises(KeyError):
        frontier_chart(with_waits(), target="cut-out")


def test_targets_that_cannot_be_met_are_said() -> None:
    """There is no frontier then."""
    ax = frontier_chart(replace(answer(), chosen=None))

    assert " ".join(ax.texts[-1].get_text().split()) == NONE
    assert not ax.axison


def test_given_axes_are_drawn_on() -> None:
    """And handed back."""
    ax = Figure().subplots()

    assert frontier_chart(answer(), ax) is ax
