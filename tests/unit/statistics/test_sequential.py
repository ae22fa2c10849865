"""Picking the best and testing a limit: constants by their meaning, exact courses, ties, edges, messages."""

import math
import re

import numpy as np
import pytest

from batsim.statistics.sequential import Feasibility, kim_nelson_constants


def says(text):
    return pytest.raises(ValueError, match=f"^{re.escape(text)}$")


# Constants


def test_one_limit_is_like_one_other_alternative():
    assert Feasibility(10.0, 1.0, 0.05, 10).constants == kim_nelson_constants(2, 10, 0.05)


# Kim and Nelson


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
    with says("tolerance must be above 0 (got -1.0)"):
        Feasibility(1.0, -1.0, 0.05, 10)
    with says("value must be a finite number (got nan)"):
        Feasibility(1.0, 1.0, 0.05, 10).add([1.0, math.nan])
