"""Hydrogen in a room through time: what any step must keep, limits, and what is refused."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batsim.formulas.room_hydrogen import hours_to_share, hydrogen_over_time
from tests.closed_forms import share_after, steady_hydrogen_share

gases = st.floats(0.0, 20.0).map(lambda gas: gas if gas > 1e-3 else 0.0)
flows = st.floats(0.0, 2000.0).map(lambda flow: flow if flow > 1e-3 else 0.0)
volumes = st.floats(10.0, 5000.0)
shares = st.floats(0.0, 0.5)
courses = st.lists(gases, min_size=1, max_size=40).map(np.array)


def _whole(message):
    return f"^{re.escape(message)}$"


def _one_after_the_other(gas, step_h, flow, volume, start):
    """The same by a loop over single steps."""
    share, found = start, []
    for each_gas, each_flow in zip(gas, np.broadcast_to(flow, gas.shape), strict=True):
        share = share_after(float(each_gas), float(each_flow), volume, step_h, share)
        found.append(share)
    return found


@given(gas=courses, step_h=st.floats(0.01, 5.0), flow=flows, volume=volumes, start=shares)
def test_all_steps_together_are_the_steps_one_after_the_other(gas, step_h, flow, volume, start):
    """However many, with one flow for all."""
    together = hydrogen_over_time(gas, step_h, flow, volume, start)

    assert together == pytest.approx(_one_after_the_other(gas, step_h, flow, volume, start), rel=1e-9, abs=1e-12)


def test_a_flow_for_each_step():
    """A fan that runs, stands still and runs again."""
    gas, flow = np.full(9, 2.0), np.array([300.0, 300, 300, 0, 0, 0, 300, 300, 300])

    found = hydrogen_over_time(gas, 0.25, flow, 250.0, 0.001)

    assert found == pytest.approx(_one_after_the_other(gas, 0.25, flow, 250.0, 0.001), rel=1e-12)
    assert np.argmax(found) == 5
    assert np.all(np.diff(found)[3:5] > 0.0)
    assert np.all(np.diff(found)[5:] < 0.0)


@given(gas=courses, flow=flows, volume=volumes, start=shares, parts=st.integers(2, 6))
def test_a_step_may_be_cut_in_parts(gas, flow, volume, start, parts):
    """The ends of the whole steps stay where they were: the solution is exact, not of some order."""
    whole = hydrogen_over_time(gas, 1.0, flow, volume, start)
    cut = hydrogen_over_time(np.repeat(gas, parts), 1.0 / parts, flow, volume, start)

    assert cut[parts - 1 :: parts] == pytest.approx(whole, rel=1e-8, abs=1e-12)


@given(gas=courses, flow=flows, volume=volumes, start=shares)
def test_a_share_is_a_share(gas, flow, volume, start):
    """From 0 to 1, and never above the greater of the start and what the most gas would come to."""
    found = hydrogen_over_time(gas, 0.5, flow, volume, start)
    bound = max(start, steady_hydrogen_share(float(np.max(gas)), flow))

    assert np.all(found >= 0.0)
    assert np.all(found <= bound * (1.0 + 1e-9))


@given(gas=courses, flow=st.floats(10.0, 2000.0), volume=volumes, more=st.floats(1.1, 5.0))
def test_more_air_is_less_hydrogen_and_more_gas_is_more(gas, flow, volume, more):
    """At every instant."""
    found = hydrogen_over_time(gas, 0.5, flow, volume)

    assert np.all(hydrogen_over_time(gas, 0.5, more * flow, volume) <= found * (1.0 + 1e-12))
    assert np.all(hydrogen_over_time(more * gas, 0.5, flow, volume) >= found * (1.0 - 1e-12))


def test_a_long_time_leads_to_the_steady_share():
    """Whatever the start."""
    steady = steady_hydrogen_share(1.5, 120.0)

    for start in (0.0, 0.04, 1.0):
        assert hydrogen_over_time(np.full(400, 1.5), 0.25, 120.0, 300.0, start)[-1] == pytest.approx(steady, rel=1e-9)
        assert share_after(1.5, 120.0, 300.0, 1000.0, start) == pytest.approx(steady, rel=1e-12)


def test_nothing_moves_without_gas_and_air():
    """Q + G = 0 is not divided by."""
    assert hydrogen_over_time(np.zeros(3), 1.0, 0.0, 100.0, 0.02).tolist() == [0.02, 0.02, 0.02]
    assert hydrogen_over_time(np.array([0.0, 1.0, 0.0]), 1.0, 0.0, 100.0).tolist() == pytest.approx(
        [0.0, 1.0 - math.exp(-0.01), 1.0 - math.exp(-0.01)]
    )
    assert share_after(0.0, 0.0, 100.0, 5.0, 0.02) == 0.02


def test_no_steps_make_no_course():
    """An empty course stays empty."""
    assert hydrogen_over_time(np.array([]), 1.0, 100.0, 100.0).tolist() == []


def test_what_is_handed_in_stays_as_it_was():
    """Neither gas nor flow is written to."""
    gas, flow = np.array([1.0, 2.0, 3.0]), np.array([10.0, 20.0, 30.0])
    hydrogen_over_time(gas, 1.0, flow, 100.0)

    assert gas.tolist() == [1.0, 2.0, 3.0]
    assert flow.tolist() == [10.0, 20.0, 30.0]


@given(gas=st.floats(0.01, 20.0), flow=flows, volume=volumes, start=st.floats(0.0, 0.005))
def test_hours_to_a_share_lead_there(gas, flow, volume, start):
    """After that time the room has that share; where it takes for ever, the room tends to no more."""
    hours = hours_to_share(gas, flow, volume, 0.01, start)

    if math.isinf(hours):
        assert steady_hydrogen_share(gas, flow) <= 0.01
    else:
        assert share_after(gas, flow, volume, hours, start) == pytest.approx(0.01, rel=1e-6)
        assert share_after(gas, flow, volume, 0.5 * hours, start) < 0.01


def test_never_and_at_once():
    """Never where the room tends to no more or no less; at once where it is there already, even if it will turn."""
    assert hours_to_share(0.0, 0.0, 100.0, 0.01) == math.inf
    assert hours_to_share(0.0, 100.0, 100.0, 0.01) == math.inf
    assert hours_to_share(1.0, 99.0, 100.0, 0.01) == math.inf
    assert hours_to_share(1.0, 0.0, 100.0, 1.0) == math.inf
    assert hours_to_share(0.0, 100.0, 100.0, 0.01, 0.02) == 0.0
    assert hours_to_share(1.0, 0.0, 100.0, 0.01, 0.01) == 0.0


def test_a_larger_room_takes_longer_in_proportion():
    """Time to a share goes with the volume."""
    assert hours_to_share(2.0, 50.0, 300.0, 0.01) == pytest.approx(3.0 * hours_to_share(2.0, 50.0, 100.0, 0.01))


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"gas_m3_per_h": -1.0}, "gas and air must be 0 or more (got -1 and 10 m3/h)"),
        ({"flow_m3_per_h": -5.0}, "gas and air must be 0 or more (got 0 and -5 m3/h)"),
        ({"flow_m3_per_h": math.nan}, "gas and air must be 0 or more (got 0 and nan m3/h)"),
        ({"volume_m3": 0.0}, "volume must be above 0 (got 0)"),
        ({"start_share": -0.1}, "share at the start must be from 0 to 1 (got -0.1)"),
        ({"start_share": 1.5}, "share at the start must be from 0 to 1 (got 1.5)"),
    ],
)
def test_impossible_rooms_are_refused(changed, message):
    """In a course, and where hours are asked for."""
    room = {"gas_m3_per_h": 0.0, "flow_m3_per_h": 10.0, "volume_m3": 100.0, "start_share": 0.0} | changed
    course = room | {"gas_m3_per_h": np.array([room["gas_m3_per_h"], 0.0])}

    with pytest.raises(ValueError, match=_whole(message)):
        hydrogen_over_time(step_h=0.25, **course)
    with pytest.raises(ValueError, match=_whole(message)):
        hours_to_share(share=0.5, **room)


def test_a_step_without_length_is_refused():
    """Time must go on."""
    with pytest.raises(ValueError, match=_whole("step must be above 0 (got 0)")):
        hydrogen_over_time(np.array([1.0]), 0.0, 10.0, 100.0)
