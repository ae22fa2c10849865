"""Intervals of measures: on how many events one rests."""

import numpy as np
import pytest

from batsim.study.running.estimates import estimate, few_events


@pytest.mark.parametrize(("events", "few"), [(10.0, False), (9.5, True)])
def test_an_interval_rests_on_twenty_events(events: float, few: bool) -> None:
    """The same in each of two replications, so all are independent: below twenty a count is told."""
    values = {"stopped_empty": np.full(2, events), "visits": np.full(2, 1000.0)}

    assert (few_events(values, "stopped_empty", 0.95) is not None) == few
    assert bool(np.isnan(estimate(values, "stopped_empty", 0.95).low)) == few
