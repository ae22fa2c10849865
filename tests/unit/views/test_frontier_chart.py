"""Chart of what a target costs: plans, verdicts, the frontier, the answer, the target, and what is said of them."""

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

import batsim
from batsim.decision.answer import MEETS, MISSES, NOT_THE_MARGIN, Answer
from batsim.decision.decide import decide
from batsim.decision.trials import BOUGHT, DECIDING
from batsim.measures import WITHIN_TARGET
from batsim.scenario.settings import Settings
from batsim.views.charts.frontier_chart import BEST, DEAREST, MARKS, NONE, RING_PT, frontier_chart, frontier_text

SMALL = batsim.read(Path(__file__).parents[1] / "cases" / "decide_small.yaml")
RANGES = {"batteries": (5, 8), "chargers": (1, 4), "stations": (1, 2)}
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


def panels(figure: Figure) -> list[Axes]:
    """Panels in which something is drawn."""
    return [ax for ax in figure.axes if ax.axison]


def marked(ax: Axes) -> dict[str, set[Point]]:
    """Places of the marks by their word; of the ring about the answer too."""
    found: dict[str, set[Point]] = {}
    by_mark = {(to_hex(colour), marker): word for colour, marker, _, word in MARKS.values()}
    for line in ax.get_lines():
        places = set(zip(map(float, line.get_xdata()), map(float, line.get_ydata()), strict=True))
        if line.get_markersize() == RING_PT:
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
            places.setdefault(MARKS[found.verdict(trial)][-1], set()).add(place)
    return places


def words(figure: Figure) -> list[str]:
    """Words of the legend of all panels."""
    return [text.get_text() for text in figure.legends[0].get_texts()]


def title(figure: Figure) -> str:
    """Title of all panels."""
    return " ".join(figure.get_suptitle().split())


def note(figure: Figure) -> str:
    """What stands under all panels."""
    return " ".join(figure.legends[0].get_title().get_text().split())


def test_every_plan_is_marked_by_what_is_said_of_it() -> None:
    """Cost over downtime, as the search saw both, and a ring about the answer, which is named."""
    (ax,) = panels(frontier_chart(answer()))
    places = marked(ax)
    best = answer().searched[answer().point]

    assert places.pop("ring") == {(float(best.of(("", ""))[DECIDING].mean()), best.cost())}
    assert places == seen(answer())
    assert set(places) == {MARKS[verdict][-1] for verdict in (MEETS, NOT_THE_MARGIN, MISSES)}
    assert BEST in [text.get_text() for text in ax.texts]


def test_what_meets_by_too_little_has_a_mark_of_its_own() -> None:
    """It lies between what is tested and the target, and is told from the others without colour."""
    ((downtime_min, _),) = marked(panels(frontier_chart(answer()))[0])["meets them, by too little"]
    looks = [(marker, inside == "#FFFFFF") for _, marker, inside, _ in MARKS.values()]

    assert 220.0 < downtime_min <= 245.0
    assert len(set(looks)) == len(MARKS)


def test_each_target_has_a_panel() -> None:
    """All beside one another, on one scale of cost; one alone where it is named."""
    figure = frontier_chart(with_waits())
    left, right = panels(figure)

    assert [ax.get_title("left") for ax in (left, right)] == ["downtime", "waits"]
    assert left.get_ylim() == right.get_ylim()
    assert (left.get_ylabel(), right.get_ylabel()) == ("Cost [CHF per year]", "")
    for limit in with_waits().limits:
        (alone,) = panels(frontier_chart(with_waits(), target=limit.label))
        assert alone.get_title("left") == limit.label
    with pytest.raises(KeyError):
        frontier_chart(with_waits(), target="cut-out")


def test_what_was_looked_at_once_is_left_out() -> None:
    """One replication says too little."""
    once = {trial.cost() for trial in answer().searched.values() if trial.replications == 1}
    drawn = {cost for places in marked(panels(frontier_chart(answer()))[0]).values() for _, cost in places}

    assert once - drawn


def test_what_is_far_too_dear_is_left_out() -> None:
    """So that the rest is told apart."""
    best = answer().searched[answer().point]
    other = next(trial for trial in answer().searched.values() if trial.replications > 1 and trial is not best)
    dear = replace(other, costs=[2.0 * DEAREST * best.cost()] * other.replications)
    found = replace(answer(), searched={**answer().searched, other.point: dear})

    drawn = {cost for places in marked(panels(frontier_chart(found))[0]).values() for _, cost in places}
    assert dear.cost() not in drawn
    assert best.cost() in drawn


def test_the_frontier_goes_through_the_cheapest_at_each_level() -> None:
    """It falls with the downtime that is allowed, and no plan lies below it."""
    (ax,) = panels(frontier_chart(answer()))
    (frontier,) = (line for line in ax.get_lines() if line.get_drawstyle() == "steps-post")
    across, costs = (np.asarray(each, dtype=float) for each in (frontier.get_xdata(), frontier.get_ydata()))
    plans = set.union(*seen(answer()).values())

    assert len(across) > 1
    assert np.all(np.diff(across) > 0.0)
    assert np.all(np.diff(costs) < 0.0)
    assert set(zip(across.tolist(), costs.tolist(), strict=True)) <= plans
    for downtime_min, cost in plans:
        assert cost >= min(costs[across <= downtime_min])


def test_target_and_what_is_tested_are_named_lines() -> None:
    """With their numbers along them; the marks stand in the legend."""
    figure = frontier_chart(answer())
    (ax,) = panels(figure)
    lines = {line.get_linestyle(): float(line.get_xdata()[0]) for line in ax.get_lines()}

    assert (lines["--"], lines[":"]) == (245.0, 220.0)
    assert {text.get_text() for text in ax.texts} == {"target 245", "tested 220", BEST}
    assert words(figure) == [
        "meets all targets",
        "meets them, by too little",
        "misses a target",
        "cheapest at each level",
    ]


def test_axes_say_what_they_are_and_in_which_unit() -> None:
    """In the site's currency."""
    figure = frontier_chart(answer())
    (ax,) = panels(figure)

    assert re.fullmatch(r"Downtime.* \[min.*\]", ax.get_xlabel())
    assert ax.get_ylabel() == "Cost [EUR per year]"
    assert note(figure) == (
        "Small room (invented), seed 3; plans as the search saw them, means of few runs. Tested is what keeps "
        "a margin; by too little: the target is met, the margin is not."
    )


def test_the_title_says_how_cheaper_plans_do() -> None:
    """Each by what is said of it; none where nothing is cheaper."""
    best = answer().searched[answer().point]
    cheaper = [trial for trial in answer().searched.values() if trial.replications > 1 and trial.cost() < best.cost()]
    verdicts = [answer().verdict(trial) for trial in cheaper]

    assert (verdicts.count(MISSES), verdicts.count(NOT_THE_MARGIN), len(verdicts)) == (3, 1, 4)
    assert title(frontier_chart(answer())) == (
        "Of 4 plans of 'room' cheaper than the best, 3 miss a target, 1 meets them by too little"
    )
    alone = replace(answer(), searched={answer().point: best})
    assert title(frontier_chart(alone)) == "No plan of 'room' that was looked at is cheaper than the best"


def test_a_share_is_drawn_in_percent() -> None:
    """The waits within the target; more is better there."""
    ax = panels(frontier_chart(with_waits()))[1]
    best = with_waits().searched[with_waits().point]
    (frontier,) = (line for line in ax.get_lines() if line.get_drawstyle() == "steps-post")

    assert ax.get_xlabel().endswith("[%]")
    ((share, cost),) = marked(ax)["ring"]
    assert share == pytest.approx(100.0 * best.of(("", ""))[WITHIN_TARGET.name].mean())
    assert cost == best.cost()
    assert "target 50" in [text.get_text() for text in ax.texts]
    assert list(frontier.get_xdata()) == sorted(frontier.get_xdata(), reverse=True)


def test_the_words_say_what_is_drawn() -> None:
    """Finding, and for each target the best plan and the cheapest at each level."""
    told = frontier_text(answer())

    assert told.startswith(
        "Of 4 plans of 'room' cheaper than the best, 3 miss a target, 1 meets them by too little. "
        "downtime: target 245 min, tested 220 min; the best plan 159 min at 87,160 EUR per year; "
        "cheapest at each level: 131 min 106,240, "
    )
    assert told.endswith(note(frontier_chart(answer())))
    assert "waits: target 50 %, tested 62.5 %; the best plan" in frontier_text(with_waits())
    assert frontier_text(replace(answer(), chosen=None)) == f"room: {NONE}"


def test_targets_that_cannot_be_met_are_said() -> None:
    """There is no frontier then."""
    (ax,) = frontier_chart(replace(answer(), chosen=None)).axes

    assert " ".join(ax.texts[-1].get_text().split()) == NONE
    assert not ax.axison


@pytest.mark.parametrize("found", [answer, with_waits])
def test_words_do_not_collide(found: Callable[[], Answer]) -> None:
    """Title, panels, note and legend keep apart and within the figure, at 8 pt and more in a column of 160 mm."""
    figure = frontier_chart(found())
    FigureCanvasAgg(figure).draw()
    parts = [*figure.texts, *figure.legends, *panels(figure), *(ax.xaxis.label for ax in panels(figure))]
    boxes = [part.get_window_extent() for part in parts]
    shown = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text()]

    assert figure.get_figwidth() <= 6.3
    assert min(text.get_fontsize() for text in shown) >= 8.0
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))
    assert all(box.x0 >= 0.0 and box.x1 <= figure.bbox.x1 and box.y0 >= 0.0 for box in boxes)
