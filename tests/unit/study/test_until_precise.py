"""Replications until an interval is narrow enough: the count at which it stops, and that it changes no number."""

import numpy as np
import pytest

import batsim
from batsim.scenario.settings import Settings
from batsim.statistics.intervals import simultaneous, student_interval
from batsim.study.compare import compare
from batsim.study.running.replications import FIRST_REPLICATIONS, run
from batsim.study.running.runs import PrecisionGoal
from tests.sites import KESTREL, SOUND

DOWN, LABOUR = "downtime_min_per_truck_shift", "labour_min_per_day"
QUICK = {"weeks": 0.2, "warm_up_weeks": 0.0, "workers": 1}


def same(one, other):
    """Tell whether two runs hold the same numbers, replication by replication."""
    return all(
        np.array_equal(found, other.values[layout][measure], equal_nan=True)
        for layout, measures in one.values.items()
        for measure, found in measures.items()
    )


@pytest.fixture(scope="module")
def long_run():
    """Sixty replications of both layouts."""
    return run(SOUND, Settings(replications=60, **QUICK))


def looked_at(values, goal, confidences):
    """Counts at which the width is looked at, and the one at which it stops, worked out from the long run.

    `values` holds one series for each mean that is to be known.
    """
    count, counts = min(FIRST_REPLICATIONS, goal.most), []
    while True:
        counts.append(count)
        pairs = [(each[:count], confidence) for each, confidence in zip(values, confidences, strict=True)]
        wide = [pair for pair in pairs if not goal.precision.reached(student_interval(*pair))]
        if not wide or count >= goal.most:
            return counts
        count = max(goal.precision.next_count(*pair, goal.most) for pair in wide)


def test_stops_at_the_first_look_at_which_all_means_are_known(long_run):
    """And has the numbers that as many replications have."""
    goal = PrecisionGoal.read("20 %", DOWN, 60)
    values = [long_run.values[layout][DOWN] for layout in long_run.layouts]
    counts = looked_at(values, goal, [long_run.confidence] * 2)

    runs = run(SOUND, Settings(within="20 %", most=60, **QUICK))

    assert 1 < len(counts) < 60
    assert 10 < runs.replications == counts[-1] < 60
    assert runs.goal == goal
    assert all(goal.precision.reached(runs.interval(layout, DOWN)) for layout in runs.layouts)
    assert same(runs, run(SOUND, Settings(replications=runs.replications, **QUICK)))


def test_differences_stop_it_at_their_own_confidence(long_run):
    """One pair in two measures: each difference at 97.5 %."""
    goal = PrecisionGoal.read("3", DOWN, 60)
    one, other = (long_run.values[layout][DOWN] for layout in long_run.layouts)
    counts = looked_at([one - other], goal, [simultaneous(long_run.confidence, 2)])

    found = compare(SOUND, Settings(within="3", most=60, **QUICK))

    assert found.runs.replications == counts[-1]
    assert 10 < counts[-1] < 60
    assert found.difference(DOWN, *found.layouts).interval.half_width <= 3.0
    assert found.precision_sentence == (
        f"Every difference in {DOWN} is known to ± 3 min after {counts[-1]} replications of each layout."
    )


@pytest.mark.parametrize("most", [2, 7, 10, 13])
def test_the_budget_is_never_passed(most):
    """However far the precision is off."""
    runs = run(SOUND, Settings(layouts="extractor", within="0.0001", most=most, **QUICK))

    assert (runs.replications, runs.goal.most) == (most, most)
    assert same(runs, run(SOUND, Settings(layouts="extractor", replications=most, **QUICK)))


def test_what_does_not_vary_is_known_at_once():
    """The number of batteries."""
    runs = run(SOUND, Settings(within="1 %", most=60, **QUICK), measure="batteries")

    assert runs.replications == FIRST_REPLICATIONS


def test_a_layout_without_the_measure_does_not_spend_the_budget():
    """In the truck no battery is looked for; the other layout decides when it is enough."""
    layouts = ["side rollers", "in the truck"]
    runs = run(KESTREL, Settings(layouts, within="0.9", most=12, **QUICK), measure="found_none_ready_share")

    assert runs.replications == FIRST_REPLICATIONS
    assert np.isnan(runs.values["in the truck"]["found_none_ready_share"]).all()


def test_progress_counts_all_layouts():
    """Up to the budget."""
    told = []
    run(SOUND, Settings(within="0.0001", most=12, progress=lambda done, of: told.append((done, of)), **QUICK))

    assert told == [(20, 24), (24, 24)]


def test_two_workers_give_the_same_numbers():
    alone = run(SOUND, Settings(within="0.0001", most=12, **QUICK))
    both = run(SOUND, Settings(within="0.0001", most=12, **{**QUICK, "workers": 2}))

    assert same(alone, both)


def test_an_unknown_measure():
    with pytest.raises(batsim.ScenarioError) as caught:
        run(SOUND, Settings(within="1"), measure="labor_min_per_day")

    assert str(caught.value) == (
        f"{SOUND.file}: 1 problem\n"
        f"  {SOUND.file}: measure: no measure of this name; did you mean '{LABOUR}'? (got labor_min_per_day)"
    )


def test_what_cannot_be_run_is_raised():
    """A layout that is not there."""
    with pytest.raises(batsim.ScenarioError, match="no layout of this name"):
        run(SOUND, Settings("extracter", within="1", **QUICK))


def test_a_failure_inside_a_run_is_raised(monkeypatch):
    """What goes wrong in a replication is not lost."""

    def fail(*_, **__):
        msg = "a battery is in two bays"
        raise batsim.SimulationError(msg)

    monkeypatch.setattr("batsim.study.running.jobs.replicate", fail)

    with pytest.raises(batsim.SimulationError, match="a battery is in two bays"):
        run(SOUND, Settings("extractor", within="1", **QUICK))
