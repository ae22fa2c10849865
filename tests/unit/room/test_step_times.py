"""Times of the steps of an exchange: each step as if it were drawn alone, weighed as asked."""

from itertools import islice

import numpy as np
import pytest

from batsim.room.clock import ticked
from batsim.room.step_times import StepTimes
from batsim.room.streams import Streams
from batsim.scenario.parts.laws import DurationLaw

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
