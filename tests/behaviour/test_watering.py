"""Waterings are spread over the fleet, and each battery still gets one for every so many charges."""

from collections import Counter
from itertools import pairwise
from pathlib import Path

import batsim
from tests.runs import record_of

KESTREL_LANE = Path(__file__).parents[2] / "scenarios/kestrel-lane.yaml"
WEEK_MIN = 10_080.0


def test_waterings_start_anywhere_and_then_keep_their_interval():
    """First after one to seven charges, the whole range; from then on after every seventh charge."""
    site = batsim.read(KESTREL_LANE)
    record = record_of(site, "hoist", seed=1, replication=0, length_min=8 * WEEK_MIN, warm_up_min=0.0)
    charges, waterings = record.frame("charges"), record.frame("waterings")
    first, later = Counter(), Counter()
    for battery, mine in waterings.groupby("battery"):
        cooled = charges.loc[charges["battery"] == battery, "cooled_min"]
        counts = [int((cooled <= due).sum()) for due in mine["due_min"]]
        first[counts[0]] += 1
        later.update(after - before for before, after in pairwise(counts))

    assert set(first) == {1, 2, 3, 4, 5, 6, 7}
    assert set(later) == {7}
