"""Picking the best and testing a limit: constants by their meaning, exact courses, ties, edges, messages."""

import math
import re

import numpy as np
import pytest
from scipy import stats

from batsim.statistics.selection import (
    dudewicz_dalal_constant,
    feasibility_constants,
    kim_nelson_constants,
    ocba_allocation,
    rinott_constant,
)
from batsim.statistics.sequential import Feasibility, KimNelson


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


# Constants


@pytest.mark.parametrize(("confidence", "first_stage", "alternatives"), [(0.9, 2, 3), (0.8, 7, 25), (0.975, 60, 4)])
def test_constants_give_the_probability_they_stand_for(confidence, first_stage, alternatives):
    """By drawing the variables in whose terms the constants are defined."""
    generator, nu = np.random.default_rng(1), first_stage - 1
    others = (100_000, alternatives - 1)
    x, y = generator.chisquare(nu, others), generator.chisquare(nu, (others[0], 1))
    h = rinott_constant(confidence, first_stage, alternatives)
    won = generator.standard_normal(others) <= h / np.sqrt(nu * (1.0 / x + 1.0 / y))
    # Given y the others are independent, so their indicators may be drawn as they are.
    assert won.all(axis=1).mean() == pytest.approx(confidence, abs=0.005)
    h1 = dudewicz_dalal_constant(confidence, first_stage, alternatives)
    t = generator.standard_t(nu, others) <= generator.standard_t(nu, (others[0], 1)) + h1
    assert t.all(axis=1).mean() == pytest.approx(confidence, abs=0.005)


def test_two_alternatives_and_one_degree_of_freedom():
    """The difference of two Cauchy variables is Cauchy of twice the scale."""
    for confidence in (0.6, 0.9, 0.99):
        expected = 2.0 * math.tan(math.pi * (confidence - 0.5))
        assert dudewicz_dalal_constant(confidence, 2, 2) == pytest.approx(expected, rel=1e-6)


def test_constants_for_a_large_first_stage_are_those_of_the_normal_distribution():
    expected = math.sqrt(2.0) * stats.norm.ppf(0.95)
    assert rinott_constant(0.95, 20_000, 2) == pytest.approx(expected, rel=1e-3)
    assert dudewicz_dalal_constant(0.95, 20_000, 2) == pytest.approx(expected, rel=1e-3)
    assert kim_nelson_constants(2, 100_000, 0.05).h2 == pytest.approx(-2.0 * math.log(0.1), rel=1e-3)


def test_one_limit_is_like_one_other_alternative():
    assert feasibility_constants(0.05, 10) == kim_nelson_constants(2, 10, 0.05)
    both = kim_nelson_constants(5, 12, 0.1), kim_nelson_constants(5, 12, 0.1, independent=True)
    assert both[1].eta < both[0].eta
    assert kim_nelson_constants(2, 12, 0.1, independent=True) == pytest.approx(kim_nelson_constants(2, 12, 0.1))


# Allocation


def test_allocation_meets_both_conditions_of_the_rule():
    means, sds = np.array([3.0, 1.0, 2.5, 9.0]), np.array([1.0, 2.0, 0.3, 5.0])
    n = ocba_allocation(means, sds, 300.0)
    others = [0, 2, 3]
    assert n.sum() == pytest.approx(300.0)
    assert n[1] == pytest.approx(2.0 * math.sqrt(sum(n[i] ** 2 / sds[i] ** 2 for i in others)))
    each = [n[i] * ((means[i] - 1.0) / sds[i]) ** 2 for i in others]
    assert each == pytest.approx([each[0]] * 3)


def test_allocation_with_ties_and_without_variance():
    tied = ocba_allocation(np.array([1.0, 2.0, 1.0]), np.array([3.0, 4.0, 3.0]), 10.0)
    assert tied == pytest.approx([5.0, 0.0, 5.0])
    nearly = ocba_allocation(np.array([1.0, 2.0, 1.0 + 1e-9]), np.array([3.0, 4.0, 3.0]), 10.0)
    assert tied == pytest.approx(nearly, abs=1e-6)
    assert ocba_allocation(np.array([1.0, 2.0]), np.zeros(2), 10.0).tolist() == [5.0, 5.0]
    assert ocba_allocation(np.array([1.0, 2.0, 3.0]), np.array([1.0, 0.0, 1.0]), 10.0)[1] == 0.0
    assert ocba_allocation(np.array([4.0]), np.array([2.0]), 10.0).tolist() == [10.0]


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
        mirrored = feed(KimNelson(alternatives, 8, 0.1, 0.5, larger_is_better=True), -table)
        assert (mirrored.eliminated, mirrored.selected) == (found.eliminated, found.selected)


def test_bound_on_replications_holds_and_falls():
    generator = np.random.default_rng(9)
    for _ in range(50):
        procedure = KimNelson(3, 5, 0.1, 0.4)
        bounds = []
        while procedure.selected is None:
            procedure.add(generator.standard_normal(3))
            bounds.append(procedure.at_most)
        known = bounds[4:]
        assert bounds[:4] == [None] * 4
        assert known == sorted(known, reverse=True)
        assert known[-1] == procedure.replications <= known[0]


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
    assert procedure.at_most == 4
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
    assert done.at_most == done.replications


def test_variances_wait_for_the_first_stage():
    procedure = KimNelson(2, 2, 0.2, 0.001)
    procedure.add(np.array([1.0, 2.0]))
    assert procedure.variances is None
    procedure.add(np.array([3.0, 2.0]))
    assert procedure.variances.tolist() == [[0.0, pytest.approx(2.0)], [pytest.approx(2.0), 0.0]]


# One mean against a limit


def test_course_of_a_limit_by_hand():
    """Variance 2 over the first stage of 2; h² = 2 eta with eta = ((2 alpha)^-2 - 1)/2 = 12, so h² = 24.

    With tolerance 4 the sum must reach 24·2/8 - 2 r: 2 after 2, 0 after 3 replications.
    """
    assert feasibility_constants(0.1, 2) == pytest.approx((12.0, 24.0))
    test = Feasibility(10.0, 4.0, 0.1, 2)
    assert test.at_most_more is None
    assert test.add([9.0, 11.0]) is None
    assert test.at_most_more == 1
    assert test.add(10.5) == "infeasible"
    assert (test.replications, test.at_most_more) == (3, 0)
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


def test_bound_of_a_limit_holds():
    generator = np.random.default_rng(14)
    for _ in range(50):
        test = Feasibility(0.0, 0.2, 0.05, 10)
        test.add(generator.standard_normal(10))
        bound = test.replications + test.at_most_more
        test.add(generator.standard_normal(2000))
        assert test.decision is not None
        assert test.replications <= bound


@pytest.mark.parametrize(("value", "decision"), [(0.9, "feasible"), (1.0, "feasible"), (1.1, "infeasible")])
def test_values_that_do_not_vary_decide_after_the_first_stage(value, decision):
    test = Feasibility(1.0, 0.01, 0.05, 5)
    assert test.add([value] * 4) is None
    assert test.add(value) == decision
    assert test.add([math.nan]) == decision
    assert test.replications == 5


# Messages


@pytest.mark.parametrize("constant", [rinott_constant, dudewicz_dalal_constant])
def test_messages_of_two_stage_constants(constant):
    with says("alternatives must be 2 or more (got 1)"):
        constant(0.9, 10, 1)
    with says("first stage must be 2 or more (got 1)"):
        constant(0.9, 1, 2)
    with says("confidence must be above 0 and below 1 (got 1.0)"):
        constant(1.0, 10, 2)
    with says("confidence must be above 0.25 (got 0.25)"):
        constant(0.25, 10, 4)


def test_messages_of_sequential_constants():
    with says("alternatives must be 2 or more (got 1)"):
        kim_nelson_constants(1, 10, 0.05)
    with says("first stage must be 2 or more (got 1)"):
        feasibility_constants(0.05, 1)
    with says("alpha must be above 0 and below 1 (got 0.0)"):
        kim_nelson_constants(3, 10, 0.0)
    with says("alpha must leave less than 1/2 for each of the other alternatives (got 0.5 for 1)"):
        feasibility_constants(0.5, 10)


def test_messages_of_allocation():
    with says("means and deviations must be as many, one or more (got 2 and 1)"):
        ocba_allocation(np.ones(2), np.ones(1), 10.0)
    with says("means and deviations must be as many, one or more (got 0 and 0)"):
        ocba_allocation(np.ones(0), np.ones(0), 10.0)
    with says("deviations must be 0 or more (got -1.0)"):
        ocba_allocation(np.array([1.0, 2.0]), np.array([1.0, -1.0]), 10.0)


def test_messages_of_procedures():
    with says("tolerance must be above 0 (got 0.0)"):
        KimNelson(2, 10, 0.05, 0.0)
    with says("tolerance must be above 0 (got -1.0)"):
        Feasibility(1.0, -1.0, 0.05, 10)
    with says("values must be one for each of 3 alternatives (got shape (2,))"):
        KimNelson(3, 10, 0.05, 1.0).add(np.ones(2))
    with says("value must be a finite number (got nan)"):
        Feasibility(1.0, 1.0, 0.05, 10).add([1.0, math.nan])
