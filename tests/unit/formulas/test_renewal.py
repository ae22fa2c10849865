"""Counts of renewals, batteries out of the stock, the chain at the stations, the stock through a time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.renewal import Source, machine_interference, number_out, renewal_counts
from batsim.formulas.stock_course import stock_course


def fleet(trucks, cycle, cv, away, sd=0.0):
    return Source(trucks, *(np.array([each], dtype=float) for each in (cycle, cv, away, sd)))


def mean_of(counts):
    return counts @ np.arange(counts.shape[1])


@given(window=st.floats(0.0, 8.0), cv=st.floats(0.0, 1.5))
def test_counts_anywhere_have_the_mean_of_the_window(window: float, cv: float):
    counts = renewal_counts(np.array([window]), np.array([cv]), 150)
    assert np.sum(counts) == pytest.approx(1.0)
    assert mean_of(counts)[0] == pytest.approx(window, abs=1e-5)


def test_regular_counts_are_the_two_whole_numbers():
    counts = renewal_counts(np.array([2.25]), np.array([0.0]), 4)[0]
    assert counts == pytest.approx([0.0, 0.0, 0.75, 0.25, 0.0], abs=1e-3)


def test_counts_since_a_renewal_are_fewer_the_more_regular():
    regular, random = (
        mean_of(renewal_counts(np.array([3.5]), np.array([cv]), 60, since_one=True))[0] for cv in (0.2, 1.0)
    )
    assert random == pytest.approx(3.5)
    assert regular == pytest.approx(3.0, abs=0.05)


def test_counts_against_drawn_renewals():
    """Forty trucks with runs of a gamma law: the mean short by drawing, within four standard errors."""
    draws, trucks, away = np.random.default_rng(5), 40, 844.0
    times = np.cumsum(draws.gamma(25.0, 454.0 / 25.0, size=(trucks, 3000)), axis=1)
    looked = 5000.0 + 1000.0 * np.arange(1000)
    out = sum(np.searchsorted(each, looked) - np.searchsorted(each, looked - away) for each in times)
    spares = np.array([68.0, 72.0, 76.0, 80.0])
    short = number_out([fleet(trucks, 454.0, 0.2, away)]).shortage(spares)[1][0]
    for number, expected in zip(spares, short, strict=True):
        drawn = np.maximum(out - number, 0.0)
        assert np.mean(drawn) == pytest.approx(expected, abs=4.0 * np.std(drawn) / np.sqrt(looked.size) + 1e-3)


def test_groups_add_up():
    """Twice ten trucks in two groups are twenty trucks."""
    spares = np.arange(20.0, 50.0, 3.0)
    together = number_out([fleet(20, 400.0, 0.3, 600.0, 40.0)])
    apart = number_out([fleet(10, 400.0, 0.3, 600.0, 40.0)] * 2)
    for limit in (np.inf, 20.0):
        for one, other in zip(together.shortage(spares, limit), apart.shortage(spares, limit), strict=True):
            assert one == pytest.approx(other, abs=1e-9)


def test_far_beyond_either_end():
    out = number_out([fleet(500, 400.0, 0.2, 600.0)])
    none_ready, short = out.shortage(np.array([0.0, 500.0, 2000.0]))
    assert none_ready[0] == pytest.approx([1.0, 1.0, 0.0])
    assert short[0] == pytest.approx([750.0, 250.0, 0.0])
    assert out.shortage(np.array([0.0]), 500.0)[1][0, 0] <= 500.0


def test_trucks_that_wait_ask_for_nothing():
    """Exponential times: the birth and death chain of trucks with spares, balanced here by hand."""
    trucks, spares, cycle, away = 4, 2, 100.0, 80.0
    weights = [1.0]
    for out in range(trucks + spares):
        weights.append(weights[-1] * (trucks - max(out - spares, 0)) / cycle / ((out + 1) / away))
    law = np.array(weights) / sum(weights)
    waiting = sum(share * max(out - spares, 0) for out, share in enumerate(law))
    asks = np.array([trucks - max(out - spares, 0) for out in range(trucks + spares + 1)]) * law
    none_ready, short = number_out([fleet(trucks, cycle, 1.0, away)]).shortage(np.array([2.0]), trucks)
    assert short[0, 0] == pytest.approx(waiting, rel=1e-9)
    assert none_ready[0, 0] == pytest.approx(np.sum(asks[spares:]) / np.sum(asks), rel=1e-9)


def test_chain_with_as_many_servers_as_trucks_never_waits():
    found = machine_interference(6, np.array([6.0, np.inf]), np.full(2, 100.0), np.full(2, 30.0))
    assert found.wait_min.tolist() == [0.0, 0.0]
    assert found.down == pytest.approx([6 * 30 / 130] * 2)


def test_chain_of_one_truck():
    found = machine_interference(1, np.array([1.0]), np.array([100.0]), np.array([30.0]))
    assert [float(each[0]) for each in found] == pytest.approx([100 / 130, 30 / 130, 0.0, 1 / 130, 0.0, 0.0])


def walk(demand, spares, chargers, **rules):
    steps = len(demand)
    return stock_course(
        np.array(demand, dtype=float),
        np.full(steps, 60.0),
        0,
        10.0,
        np.array([spares], dtype=float),
        np.array([chargers], dtype=float),
        2,
        1,
        **rules,
    )


def test_stock_with_plenty_is_never_short():
    course = walk([1.0] * 12, 12, 12)
    assert (course.taken[0], course.waiting_min[0], course.none_ready[0]) == (12.0, 0.0, 0.0)


def test_stock_waits_for_a_charger():
    """One spare and three calls: each charge of two hours and rest of one brings the next battery."""
    assert walk([3.0, *[0.0] * 6], 1, 1).taken[0] == 3.0
    assert walk([3.0, *[0.0] * 5], 1, 1).taken[0] == 2.0


def test_discharged_batteries_drawn_out_on_arrival_are_back_sooner():
    late, soon = (walk([3.0, *[0.0] * 4], 1, 3, at_arrival=rule).taken[0] for rule in (False, True))
    assert (late, soon) == (2.0, 3.0)


def test_bound_chargers_are_taken_by_ready_batteries():
    """Two are ready at the start, one on the only charger; from then on one comes after another."""
    demand = [2.0, *[0.0] * 2, 0.0, *[0.0] * 3, 2.0]
    assert walk(demand, 2, 1).taken[0] == 4.0
    assert walk(demand, 2, 1, bound=True).taken[0] == 3.0


def test_trucks_ask_again_when_their_battery_is_used_up():
    again = [(1.0, np.arange(6) + 4)]
    course = walk([1.0, 0.0, 0.0, 0.0, 0.0, 0.0], 5, 5, again=again)
    assert (course.asked[0], course.taken[0]) == (2.0, 2.0)


def test_no_time_at_all_on_charge():
    one = np.ones(1)
    for bound in (False, True):
        course = stock_course(np.ones(3), np.full(3, 60.0), 0, 10.0, one, one, 0, 0, bound=bound)
        assert course.taken[0] == 3.0
