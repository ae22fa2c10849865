"""Times of the steps of an exchange: each step as if it were drawn alone, weighed as asked."""

from itertools import islice
from textwrap import dedent

import numpy as np
import pytest

import batsim
from batsim.room.chance.step_times import TOGETHER, StepTimes
from batsim.room.chance.streams import Streams
from batsim.room.plans.exchange_plan import exchange_plan
from batsim.room.timing.clock import ticked
from batsim.scenario.parts.laws import BY_QUANTILE, DurationLaw

STEPS = {
    "fixed": "1.3 min",
    "triangular": {"low": "1 min", "typical": "2 min", "high": "5 min"},
    "at its low end": {"low": "1 min", "typical": "1 min", "high": "2 min"},
    "no width": {"low": "3 min", "typical": "3 min", "high": "3 min"},
    "gamma": {"mean": "4 min", "cv": 0.4, "law": "gamma"},
    "uniform": {"low": "2 min", "high": "3 min"},
    "another triangle": {"low": "0 min", "typical": "0.5 min", "high": "0.7 min"},
    "observed": {"observed": ["1 min", "2 min", "7 min"]},
}
LAWS = [(name, DurationLaw.model_validate(law)) for name, law in STEPS.items()]
SITE = """\
site: {{name: one}}
week: {{shifts: {{day: {{days: Mon-Fri, from: "06:00", to: "14:00"}}}}}}
trucks: [{{group: a, count: 2, shifts: [day], battery: plain, duty: {{mean_power: 3 kW}}}}]
batteries: {{plain: {{from: vented_lead_acid, cells: 24, capacity: 750 Ah at 5 h}}}}
layouts:
  one: {{handling: {handling}, stations: 1, batteries: 4, chargers: 4 x electronic_iuia, attendants: {{day: 2}}}}
"""
MANY = 1000
"""More than a few blocks."""


@pytest.mark.parametrize("names", [list(STEPS), ["fixed", "gamma"], ["triangular", "another triangle"], ["uniform"]])
def test_each_step_is_drawn_as_if_alone(names):
    laws = [(name, law) for name, law in LAWS if name in names]
    found = list(islice(StepTimes(laws, np.eye(len(laws))).of(Streams(3, 1), "truck", 4), MANY))
    alone = [Streams(3, 1).durations(law, "truck", 4, name) for name, law in laws]
    assert found == list(islice(zip(*alone, strict=True), MANY))


def test_times_are_weighed_by_their_columns():
    columns = np.array([[1.0, 0.0, 2.0]] * len(LAWS))
    columns[0] = 0.0
    weighed = StepTimes(LAWS, columns).of(Streams(3, 1), "truck", 4)
    steps = StepTimes(LAWS, np.eye(len(LAWS))).of(Streams(3, 1), "truck", 4)
    for row, minutes in islice(zip(weighed, steps, strict=True), MANY):
        assert row == (sum(minutes[1:]), 0.0, 2.0 * sum(minutes[1:]))


def test_fixed_steps_need_no_stream():
    streams = Streams(3, 1)
    laws = [(name, DurationLaw.model_validate(time)) for name, time in (("one", "1.3 min"), ("two", "2 min"))]
    times = StepTimes(laws, np.array([[1.0, 1.0], [1.0, 0.0]])).of(streams, "truck", 4)
    assert next(times) == next(times) == (ticked(1.3) + 2.0, ticked(1.3))
    with pytest.raises(IndexError):
        streams.state(0)


def arrangement_of(folder, handling, more=""):
    """Handling arrangement of a small site, as it is read."""
    file = folder / "site.yaml"
    file.write_text(SITE.format(handling=handling) + dedent(more), encoding="utf-8")
    return batsim.read(file).arrangement("one")


def rows(arrangement, count):
    """Times of all steps of many exchanges of one truck."""
    plan = exchange_plan(arrangement, None, by="attendants", positions=False)
    return np.array(list(islice(plan.step_times.of(Streams(3, 1), "truck", 4), count)))


def move_together(times):
    """Whether of any two rows one is nowhere below the other."""
    return np.all(np.diff(times[np.argsort(times.sum(axis=1))], axis=0) >= 0.0)


def sums_of_quantiles(laws, count):
    """Times of a whole whose steps all have the same quantile, at evenly spaced ones: worked out without the room."""
    u = (np.arange(count) + 0.5) / count
    whole = np.zeros(count)
    for law in laws:
        low, typical, high = law.low_min, law.typical_min, law.high_min
        turn = (typical - low) / (high - low)
        rising = low + np.sqrt(u * (high - low) * (typical - low))
        whole += np.where(u < turn, rising, high - np.sqrt((1 - u) * (high - low) * (high - typical)))
    return whole


@pytest.mark.parametrize(
    ("handling", "low", "high", "deviation"),
    [("side_rollers", 3, 7, 0.82), ("portable_stands", 8, 20, 2.49), ("overhead_hoist", 10, 20, 2.16)],
)
def test_an_exchange_has_the_range_that_is_published_for_the_whole(tmp_path, handling, low, high, deviation):
    arrangement = arrangement_of(tmp_path, handling)
    waits = [step.truck == "waits" for step in arrangement.steps]
    whole = rows(arrangement, 100_000)[:, waits].sum(axis=1)
    wanted = sums_of_quantiles([step.law for step in arrangement.steps if step.truck == "waits"], 100_000)
    half_width = 0.01 * deviation  # 99.9 %: 3.29 times 0.25 % of a deviation, for so light a law
    assert np.std(wanted) == pytest.approx(deviation, abs=0.01)
    assert np.std(whole) == pytest.approx(np.std(wanted), abs=half_width)
    assert np.mean(whole) == pytest.approx(np.mean(wanted), abs=half_width)
    assert low <= whole.min() < low + 0.02 * (high - low)
    assert high - 0.02 * (high - low) < whole.max() <= high


def test_an_exchange_that_is_slow_in_one_layout_is_slow_in_all(tmp_path):
    wholes = [rows(arrangement_of(tmp_path, name), 1000).sum(axis=1) for name in ("side_rollers", "overhead_hoist")]
    assert move_together(np.array(wholes).T)


def test_times_that_a_site_states_vary_alone_unless_it_says_otherwise(tmp_path):
    steps = """
        handling:
          own:
            title: own
            bay: bay
            steps:
              - {step: a, by: driver, time: {figure_range: handling.side_rollers.position}}
              - {step: b, by: driver, time: {low: 1 min, typical: 2 min, high: 4 min}}
              - {step: c, by: driver, time: {low: 1 min, typical: 2 min, high: 4 min}, varies: together}
              - {step: d, by: driver, time: {figure_range: handling.side_rollers.close_up}, varies: alone}
              - {step: e, by: driver, time: {figure_range: handling.side_rollers.close_up}}
              - {step: f, by: driver, time: 2 min}
        """
    found = rows(arrangement_of(tmp_path, "own", steps), 10_000)[:, :5]
    related = np.corrcoef(found.T)
    for one in range(5):
        for other in range(one):
            if {one, other} <= {0, 2, 4}:
                assert move_together(found[:, [one, other]])
            else:
                assert abs(related[one, other]) < 0.04  # 99.99 % of what chance does in so many


@pytest.mark.parametrize("name", [name for name, law in LAWS if law.kind != "fixed"])
def test_a_law_drawn_by_a_shared_quantile_is_the_same_law(name):
    law = dict(LAWS)[name]
    laws = [(TOGETHER, law), (TOGETHER, dict(LAWS)["another triangle"])]
    shared = np.array(list(islice(StepTimes(laws, np.eye(2)).of(Streams(3, 1), "truck", 4), 20_000)))
    alone = np.array(list(islice(Streams(4, 1).durations(law, "truck", 4, "alone"), 20_000)))
    shares = np.linspace(0.02, 0.98, 25)
    width = max(np.ptp(np.quantile(alone, [0.01, 0.99])), 1e-9)
    assert np.quantile(shared[:, 0], shares) == pytest.approx(np.quantile(alone, shares), abs=0.05 * width)
    assert move_together(shared)


def test_every_law_but_one_can_be_drawn_by_a_shared_quantile():
    law = {"mean": "4 min", "cv": 0.5, "law": "lognormal"}
    more = [law, {"mean": "4 min", "law": "exponential"}, {"mean": "4 min", "cv": 0.0, "law": "gamma"}]
    laws = [(TOGETHER, each) for each in (*dict(LAWS).values(), *map(DurationLaw.model_validate, more))]
    assert {law.kind for _, law in laws} == set(BY_QUANTILE)
    times = np.array(list(islice(StepTimes(laws, np.eye(len(laws))).of(Streams(3, 1), "truck", 4), MANY)))
    assert move_together(times)
    assert np.mean(times[:, -3:], axis=0) == pytest.approx([4.0, 4.0, 4.0], rel=0.1)


def test_steps_that_vary_together_take_one_stream():
    streams = Streams(3, 1)
    laws = [(TOGETHER, dict(LAWS)["triangular"])] * 8
    next(StepTimes(laws, np.eye(8)).of(streams, "truck", 4))
    streams.state(0)
    with pytest.raises(IndexError):
        streams.state(1)
