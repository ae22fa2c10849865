"""Picking the best and testing a limit: constants by their meaning, exact courses, ties, edges, messages."""

import math
import re

import numpy as np
import pytest

from batsim.statistics.sequential import Feasibility, KimNelson, kim_nelson_constants


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


# Constants


def test_one_limit_is_like_one_other_alternative():
    assert Feasibility(10.0, 1.0, 0.05, 10).constants == kim_nelson_constants(2, 10, 0.05)


# Kim and Nelson


def feed(procedure, table):
    for row in table:
        procedure.add(row)
    return procedure


def by_means(table, constants, first_stage, tolerance):
    """The screen as it is printed, on means, smaller is better: when each alternative goes, and the last one."""
    inside, gone = list(range(table.shape[1])), {}
    variance = np.var(table[:first_stage, :, None] - table[:first_stage, None, :], axis=0, ddof=1)
    for r in range(first_stage, len(table) + 1):
        means = table[:r].mean(axis=0)
        width = np.maximum(0.0, tolerance / (2.0 * r) * (constants.h2 * variance / tolerance**2 - r))
        out = [i for i in inside if any(means[i] > means[j] + width[i, j] for j in inside if j != i)]
        gone |= dict.fromkeys(out, r)
        inside = [i for i in inside if i not in out]
        if len(inside) == 1:
            return gone, inside[0]
    return gone, None


@pytest.mark.parametrize("alternatives", [2, 3, 7])
def test_course_is_that_of_the_screen_on_means(alternatives):
    generator = np.random.default_rng(alternatives)
    for _ in range(20):
        common, own = generator.standard_normal((400, 1)), generator.standard_normal((400, alternatives))
        table = generator.normal(10.0, 0.5, alternatives) + common + own
        found = feed(KimNelson(alternatives, 8, 0.1, 0.5), table)
        assert (found.eliminated, found.selected) == by_means(table, found.constants, 8, 0.5)
        assert found.selected is not None


def test_alternatives_that_do_not_differ_end_with_the_first():
    """Equal in every replication: no variance of the difference, so one is picked as soon as all others are out."""
    steady = feed(KimNelson(3, 4, 0.05, 1.0), np.tile([2.0, 2.0, 2.0], (4, 1)))
    assert (steady.selected, steady.eliminated, steady.replications) == (0, {1: 4, 2: 4}, 4)
    shifted = feed(KimNelson(3, 4, 0.05, 1.0), np.array([[1.0], [4.0], [2.0], [9.0]]) + np.array([0.2, 0.1, 0.3]))
    assert (shifted.selected, shifted.replications) == (1, 4)


def test_time_is_up_one_replication_after_the_last_allowance():
    """Variance of the difference 2, h² = 24, tolerance 3.7: 48/3.7² = 3.5, so at most 4; 0.93 is allowed after 3."""
    procedure = KimNelson(2, 2, 0.1, 3.7)
    feed(procedure, np.array([[0.0, 1.0], [0.0, -1.0]]))
    assert procedure.add(np.array([0.0, 0.5])) is None
    assert procedure.add(np.array([0.0, 0.0])) == 0
    assert procedure.eliminated == {1: 4}


def test_common_random_numbers_save_replications():
    generator = np.random.default_rng(11)
    counts = []
    for correlation in (0.0, 0.9):
        taken = []
        for _ in range(100):
            procedure = KimNelson(2, 10, 0.05, 0.3)
            while procedure.selected is None:
                common, own = generator.standard_normal(), generator.standard_normal(2)
                procedure.add(np.array([0.0, 0.3]) + math.sqrt(correlation) * common + math.sqrt(1 - correlation) * own)
            taken.append(procedure.replications)
        counts.append(np.mean(taken))
    assert counts[1] < counts[0] / 3.0


def test_what_is_out_or_after_the_end_is_not_looked_at():
    table = np.random.default_rng(12).normal([0.0, 0.1, 50.0], 1.0, (5, 3))
    procedure = feed(KimNelson(3, 5, 0.05, 0.2), table)
    assert (procedure.still_in, procedure.eliminated) == ((0, 1), {2: 5})
    assert procedure.add(np.array([0.0, 0.1, np.nan])) is None
    with says("alternatives still in, [0, 1], must have finite values (got [0.0, inf])"):
        procedure.add(np.array([0.0, np.inf, 1.0]))
    assert procedure.replications == 6
    done = feed(procedure, np.tile([0.0, 5.0, 0.0], (100, 1)))
    assert done.selected == 0
    assert done.add(np.array([np.nan])) == 0
    assert done.replications < 106


# One mean against a limit


def test_course_of_a_limit_by_hand():
    """Variance 2 over the first stage of 2; h² = 2 eta with eta = ((2 alpha)^-2 - 1)/2 = 12, so h² = 24.

    With tolerance 4 the sum must reach 24·2/8 - 2 r: 2 after 2, 0 after 3 replications.
    """
    test = Feasibility(10.0, 4.0, 0.1, 2)
    assert test.constants == pytest.approx((12.0, 24.0))
    assert test.add([9.0, 11.0]) is None
    assert test.add(10.5) == "infeasible"
    assert test.replications == 3
    assert Feasibility(10.0, 4.0, 0.1, 2).add([8.1, 10.1]) is None
    assert Feasibility(10.0, 4.0, 0.1, 2).add([9.9, 11.9]) is None
    assert Feasibility(10.0, 4.0, 0.1, 2).add([7.5, 9.5]) == "feasible"
    assert Feasibility(10.0, 4.0, 0.1, 2).add([10.5, 12.5]) == "infeasible"
    assert Feasibility(10.0, 4.0, 0.1, 2).add([9.0, 11.0, 10.0]) == "feasible"


def test_values_one_by_one_are_as_all_at_once():
    generator = np.random.default_rng(13)
    for _ in range(20):
        values = generator.normal(0.1, 1.0, 300)
        whole, single = Feasibility(0.0, 0.2, 0.05, 10), Feasibility(0.0, 0.2, 0.05, 10)
        decisions = [single.add(float(value)) for value in values]
        assert whole.add(values) == decisions[-1] is not None
        assert decisions.index(decisions[-1]) + 1 == single.replications == whole.replications


@pytest.mark.parametrize(("value", "decision"), [(0.9, "feasible"), (1.0, "feasible"), (1.1, "infeasible")])
def test_values_that_do_not_vary_decide_after_the_first_stage(value, decision):
    test = Feasibility(1.0, 0.01, 0.05, 5)
    assert test.add([value] * 4) is None
    assert test.add(value) == decision
    assert test.add([math.nan]) == decision
    assert test.replications == 5


# Messages


def test_messages_of_sequential_constants():
    with says("alternatives must be 2 or more (got 1)"):
        kim_nelson_constants(1, 10, 0.05)
    with says("first stage must be 2 or more (got 1)"):
        Feasibility(10.0, 1.0, 0.05, 1)
    with says("alpha must be above 0 and below 1 (got 0.0)"):
        kim_nelson_constants(3, 10, 0.0)
    with says("alpha must leave less than 1/2 for each of the other alternatives (got 0.5 for 1)"):
        Feasibility(10.0, 1.0, 0.5, 10)


def test_messages_of_procedures():
    with says("tolerance must be above 0 (got 0.0)"):
        KimNelson(2, 10, 0.05, 0.0)
    with says("tolerance must be above 0 (got -1.0)"):
        Feasibility(1.0, -1.0, 0.05, 10)
    with says("values must be one for each of 3 alternatives (got shape (2,))"):
        KimNelson(3, 10, 0.05, 1.0).add(np.ones(2))
    with says("value must be a finite number (got nan)"):
        Feasibility(1.0, 1.0, 0.05, 10).add([1.0, math.nan])
