"""Replications until an interval is narrow enough: the count at which it stops, and that it changes no number."""

import numpy as np
import pytest

import batsim
from batsim.statistics.intervals import simultaneous, student_interval
from batsim.study.compare import compare
from batsim.study.running.precision import FIRST_REPLICATIONS, Wanted, run_until, run_within
from batsim.study.running.replications import run
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
    return run(SOUND, replications=60, **QUICK)


def looked_at(values, wanted, confidences):
    """Counts at which the width is looked at, and the one at which it stops, worked out from the long run.

    `values` holds one series for each mean that is to be known.
    """
    count, counts = min(FIRST_REPLICATIONS, wanted.most), []
    while True:
        counts.append(count)
        pairs = [(each[:count], confidence) for each, confidence in zip(values, confidences, strict=True)]
        wide = [pair for pair in pairs if not wanted.precision.reached(student_interval(*pair))]
        if not wide or count >= wanted.most:
            return counts
        count = max(wanted.precision.next_count(*pair, wanted.most) for pair in wide)


def test_stops_at_the_first_look_at_which_all_means_are_known(long_run):
    """And has the numbers that as many replications have."""
    wanted = Wanted.read("20 %", DOWN, 60)
    values = [long_run.values[layout][DOWN] for layout in long_run.layouts]
    counts = looked_at(values, wanted, [long_run.confidence] * 2)

    runs, said = run_within(SOUND, None, "20 %", DOWN, 60, **QUICK)

    assert 1 < len(counts) < 60
    assert 10 < runs.replications == counts[-1] < 60
    assert said == wanted
    assert all(wanted.precision.reached(runs.interval(layout, DOWN)) for layout in runs.layouts)
    assert same(runs, run(SOUND, replications=runs.replications, **QUICK))


def test_differences_stop_it_at_their_own_confidence(long_run):
    """One pair in two measures: each difference at 97.5 %."""
    wanted = Wanted.read("3", DOWN, 60)
    one, other = (long_run.values[layout][DOWN] for layout in long_run.layouts)
    counts = looked_at([one - other], wanted, [simultaneous(long_run.confidence, 2)])

    found = compare(SOUND, within="3", most=60, **QUICK)

    assert found.runs.replications == counts[-1]
    assert 10 < counts[-1] < 60
    assert found.difference(DOWN, *found.layouts).interval.half_width <= 3.0
    assert found.precision_sentence == (
        f"Every difference in {DOWN} is known to ± 3 min after {counts[-1]} replications of each layout."
    )


@pytest.mark.parametrize("most", [2, 7, 10, 13])
def test_the_budget_is_never_passed(most):
    """However far the precision is off."""
    runs, wanted = run_within(SOUND, "extractor", "0.0001", DOWN, most, **QUICK)

    assert (runs.replications, wanted.most) == (most, most)
    assert same(runs, run(SOUND, "extractor", replications=most, **QUICK))


def test_what_does_not_vary_is_known_at_once():
    """The number of batteries."""
    runs, _ = run_within(SOUND, None, "1 %", "batteries", 60, **QUICK)

    assert runs.replications == FIRST_REPLICATIONS


def test_a_layout_without_the_measure_does_not_spend_the_budget():
    """In the truck no battery is looked for; the other layout decides when it is enough."""
    layouts = ["side rollers", "in the truck"]
    runs, _ = run_within(KESTREL, layouts, "0.9", "found_none_ready_share", 12, **QUICK)

    assert runs.replications == FIRST_REPLICATIONS
    assert np.isnan(runs.values["in the truck"]["found_none_ready_share"]).all()


def test_progress_counts_all_layouts():
    """Up to the budget."""
    told = []
    run_within(SOUND, None, "0.0001", DOWN, 12, progress=lambda done, of: told.append((done, of)), **QUICK)

    assert told == [(20, 24), (24, 24)]


def test_two_workers_give_the_same_numbers():
    alone, _ = run_within(SOUND, None, "0.0001", DOWN, 12, **QUICK)
    both, _ = run_within(SOUND, None, "0.0001", DOWN, 12, **{**QUICK, "workers": 2})

    assert same(alone, both)


def test_an_unknown_measure():
    with pytest.raises(batsim.ScenarioError) as caught:
        run_until(SOUND, None, Wanted(Wanted.read("1", DOWN).precision, "labor_min_per_day"), lambda _: [])

    assert str(caught.value) == (
        f"{SOUND.file}: 1 problem\n"
        f"  {SOUND.file}: measure: no measure of this name; did you mean '{LABOUR}'? (got labor_min_per_day)"
    )


def test_what_cannot_be_run_is_raised():
    """A layout that is not there."""
    with pytest.raises(batsim.ScenarioError, match="no layout of this name"):
        run_within(SOUND, "extracter", "1", DOWN, **QUICK)


def test_a_failure_inside_a_run_is_raised(monkeypatch):
    """What goes wrong in a replication is not lost."""

    def fail(*_, **__):
        msg = "a battery is in two bays"
        raise batsim.SimulationError(msg)

    monkeypatch.setattr("batsim.study.running.jobs.simulate", fail)

    with pytest.raises(batsim.SimulationError, match="a battery is in two bays"):
        run_within(SOUND, "extractor", "1", DOWN, **QUICK)
