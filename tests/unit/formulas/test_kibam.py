"""Two wells: round trips, conservation and limits for every battery, against numerical integration, and refusals."""

import math
import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from batsim.formulas.kibam import Wells, fit_wells, hours_to_empty, wells_after
from tests.closed_forms import wells_at_rest, wells_capacity_ah

BATTERY = Wells(0.6, 0.5, 108.0)
wells = st.builds(
    Wells, rate_per_h=st.floats(0.05, 3.0), available_share=st.floats(0.1, 0.9), most_ah=st.floats(20.0, 1500.0)
)
shares = st.floats(0.0, 1.0)
draws = st.floats(0.01, 2.0)  # current over q_max, per hour


def _whole(message):
    return f"^{re.escape(message)}$"


@given(battery=wells, first_h=st.floats(0.5, 2.0), second=st.floats(1.5, 6.0), third=st.floats(1.5, 6.0))
def test_three_capacities_give_the_wells_back(battery, first_h, second, third):
    """As far as the capacities tell them apart: always to the capacities between, near k of 1 to the parameters."""
    hours = (first_h, first_h * second, first_h * second * third)
    found = fit_wells(tuple((each, wells_capacity_ah(each, battery)) for each in hours))

    assert [wells_capacity_ah(each, found) for each in hours] == pytest.approx(
        [wells_capacity_ah(each, battery) for each in hours]
    )
    if 0.2 <= battery.rate_per_h * first_h <= 2.0:
        assert found == pytest.approx(battery, rel=1e-4)


@given(battery=wells, hours=st.floats(0.1, 50.0))
def test_time_to_empty_turns_capacity_round(battery, hours):
    """Of a full battery."""
    amps = wells_capacity_ah(hours, battery) / hours

    assert hours_to_empty(*wells_at_rest(battery.most_ah, battery), amps, battery) == pytest.approx(hours, rel=1e-8)


@given(battery=wells, available=st.floats(0.001, 1.0), bound=shares, draw=draws)
def test_at_the_time_to_empty_the_available_well_is_empty(battery, available, bound, draw):
    """From every state: not empty before, empty then, and the bound well is not overdrawn."""
    full = wells_at_rest(battery.most_ah, battery)
    state, amps = (available * full[0], bound * full[1]), draw * battery.most_ah
    hours = hours_to_empty(*state, amps, battery)
    left = wells_after(*state, amps, hours, battery)

    assert left[0] == pytest.approx(0.0, abs=1e-8 * battery.most_ah)
    assert left[1] >= -1e-8 * battery.most_ah
    assert 0.0 < hours <= sum(state) / amps * (1.0 + 1e-9)
    for part in (0.1, 0.5, 0.9):
        assert wells_after(*state, amps, part * hours, battery)[0] > 0.0


@given(battery=wells, available=shares, bound=shares, draw=st.floats(-1.0, 1.0), first=shares, second=shares)
def test_stretches_add_up(battery, available, bound, draw, first, second):
    """Two stretches are one; charge, discharge and rest change the sum by the ampere-hours alone."""
    full = wells_at_rest(battery.most_ah, battery)
    state, amps = (available * full[0], bound * full[1]), draw * battery.most_ah
    halfway = wells_after(*state, amps, first, battery)
    whole = wells_after(*state, amps, first + second, battery)

    assert wells_after(*halfway, amps, second, battery) == pytest.approx(whole, abs=1e-9 * battery.most_ah)
    assert sum(whole) == pytest.approx(sum(state) - amps * (first + second), abs=1e-9 * battery.most_ah)
    assert wells_after(*state, amps, 0.0, battery) == pytest.approx(state)


@given(battery=wells, available=shares, bound=shares)
def test_rest_evens_the_wells(battery, available, bound):
    """Their levels come together and then stay; nothing is lost."""
    full = wells_at_rest(battery.most_ah, battery)
    state = (available * full[0], bound * full[1])
    level = wells_at_rest(sum(state), battery)
    rested = wells_after(*state, 0.0, 1.0, battery)

    assert abs(rested[0] - level[0]) <= abs(state[0] - level[0]) + 1e-9 * battery.most_ah
    assert wells_after(*state, 0.0, 1e4, battery) == pytest.approx(level, abs=1e-9 * battery.most_ah)
    assert wells_after(*level, 0.0, 5.0, battery) == pytest.approx(level, abs=1e-9 * battery.most_ah)


@given(battery=wells, draw=st.floats(0.2, 2.0), rest_h=st.floats(0.1, 20.0))
def test_a_break_brings_some_back(battery, draw, rest_h):
    """An empty battery works again after a break, and the longer it was, the longer."""
    amps = draw * battery.most_ah
    full = wells_at_rest(battery.most_ah, battery)
    empty = wells_after(*full, amps, hours_to_empty(*full, amps, battery), battery)
    again_h = hours_to_empty(*wells_after(*empty, 0.0, rest_h, battery), amps, battery)
    later_h = hours_to_empty(*wells_after(*empty, 0.0, 2.0 * rest_h, battery), amps, battery)

    assert 0.0 <= again_h <= later_h * (1.0 + 1e-9)  # once the wells are level, more rest brings nothing
    assert empty[1] < 1e-6 * battery.most_ah or later_h > 0.0


@given(battery=wells, draw=draws, more=st.floats(1.01, 3.0))
def test_more_current_means_fewer_ampere_hours(battery, draw, more):
    """Less time, and less charge in all."""
    full, amps = wells_at_rest(battery.most_ah, battery), draw * battery.most_ah
    hours, fewer_h = (hours_to_empty(*full, each, battery) for each in (amps, more * amps))

    assert fewer_h < hours
    assert more * amps * fewer_h < amps * hours


def test_without_current_it_lasts_for_ever():
    """At rest and on charge."""
    assert hours_to_empty(50.0, 50.0, 0.0, BATTERY) == math.inf
    assert hours_to_empty(50.0, 50.0, -10.0, BATTERY) == math.inf


def test_an_empty_available_well():
    """A current above what flows in cannot flow; a weaker one can, until the bound well is low too."""
    inflow_a = 0.6 * 0.5 * 40.0
    weaker_h = hours_to_empty(0.0, 40.0, 0.5 * inflow_a, BATTERY)

    assert hours_to_empty(0.0, 40.0, 1.01 * inflow_a, BATTERY) == 0.0
    assert hours_to_empty(0.0, 0.0, 1.0, BATTERY) == 0.0
    assert 0.0 < weaker_h < 40.0 / (0.5 * inflow_a)
    assert wells_after(0.0, 40.0, 0.5 * inflow_a, weaker_h, BATTERY)[0] == pytest.approx(0.0, abs=1e-9)


def test_one_well_counts_ampere_hours():
    """With everything available there is neither recovery nor an effect of the current."""
    one = Wells(0.6, 1.0, 100.0)

    assert wells_capacity_ah(3.0, one) == pytest.approx(100.0)
    assert hours_to_empty(*wells_at_rest(100.0, one), 25.0, one) == pytest.approx(4.0)
    assert wells_after(100.0, 0.0, 25.0, 1.0, one) == pytest.approx((75.0, 0.0))


@pytest.mark.parametrize("amps", [40.0, 0.0, -15.0])
def test_closed_form_against_integration(amps):
    """The two differential equations of the model, solved step by step by another program."""
    rate, share, _ = BATTERY

    def slopes(_, state):
        flow = rate * share * (1.0 - share) * (state[1] / (1.0 - share) - state[0] / share)
        return [flow - amps, -flow]

    solved = solve_ivp(slopes, (0.0, 0.8), [35.0, 50.0], rtol=1e-10, atol=1e-10)
    assert wells_after(35.0, 50.0, amps, 0.8, BATTERY) == pytest.approx(solved.y[:, -1], abs=1e-6)


@given(peukert=st.floats(1.02, 1.3), first_h=st.floats(0.5, 2.0))
def test_wells_through_a_peukert_curve(peukert, first_h):
    """Capacities of a common rating at 1, 5 and 20 times the hours have wells, and these meet all three."""
    points = tuple((hours, 500.0 * (hours / 5.0) ** (1.0 - 1.0 / peukert)) for hours in (first_h, 5.0, 20.0))
    assume(points[0][0] < 5.0)
    found = fit_wells(points)

    assert [wells_capacity_ah(hours, found) for hours, _ in points] == pytest.approx([each for _, each in points])
    assert 0.0 < found.available_share < 1.0
    assert found.most_ah > points[-1][1]


RISE = "hours and capacities must be above 0 and rise from point to point"
NONE = "no two wells have these capacities"


@pytest.mark.parametrize(
    ("points", "rule", "got"),
    [
        (((1.0, 62.0), (1.0, 93.0), (20.0, 100.0)), RISE, "62 Ah in 1 h, 93 Ah in 1 h, 100 Ah in 20 h"),
        (((1.0, 62.0), (10.0, 60.0), (20.0, 100.0)), RISE, "62 Ah in 1 h, 60 Ah in 10 h, 100 Ah in 20 h"),
        (((0.0, 62.0), (10.0, 93.0), (20.0, 100.0)), RISE, "62 Ah in 0 h, 93 Ah in 10 h, 100 Ah in 20 h"),
        (((1.0, 0.0), (10.0, 93.0), (20.0, 100.0)), RISE, "0 Ah in 1 h, 93 Ah in 10 h, 100 Ah in 20 h"),
        (
            ((1.0, 62.0), (10.0, 99.9), (20.0, 100.0)),
            f"{NONE}: they bend more than the model can",
            "62 Ah in 1 h, 99.9 Ah in 10 h, 100 Ah in 20 h",
        ),
        (
            ((1.0, 62.0), (10.0, 65.0), (20.0, 100.0)),
            f"{NONE}: they bend less than the model can",
            "62 Ah in 1 h, 65 Ah in 10 h, 100 Ah in 20 h",
        ),
        (
            ((1.0, 55.0), (10.0, 86.0), (20.0, 131.0)),
            f"{NONE}: they rise too far to have an end",
            "55 Ah in 1 h, 86 Ah in 10 h, 131 Ah in 20 h",
        ),
    ],
)
def test_capacities_without_wells_are_refused(points, rule, got):
    """The message names the points."""
    with pytest.raises(ValueError, match=_whole(f"{rule} (got {got})")):
        fit_wells(points)
