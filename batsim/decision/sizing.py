"""Whether layouts that are compared are sized alike: one with idle people and one that works to the limit are not."""

from typing import NamedTuple

from batsim.study.compare import Comparison
from batsim.study.running.runs import Runs

UNLIKE = 1.5
"""Times as busy as in another layout from which on the two are not sized alike."""
LEAST_SHARE = 0.01
"""Busy share below which nobody is told apart. [-]"""


class Busy(NamedTuple):
    """How busy something is where it is least and most."""

    what: str
    least: str
    """Layout in which it is least busy."""
    least_share: float
    most: str
    """Layout in which it is most busy."""
    most_share: float


BUSY = {
    "attendants_busy_share": "attendants are",
    "station_busy_share": "stations are",
    "charger_busy_share": "chargers are",
}
"""What tells how busy things are, in words; what costs most goes first."""


def unlike_sizes(comparison: Comparison) -> Busy | None:
    """What is busy to very different degrees in the layouts with exchanges; None where they are sized alike.

    Parameters
    ----------
    comparison
        Layouts as they are stated.
    """
    runs = comparison.runs
    exchanging = [layout for layout in runs.layouts if layout not in comparison.impossible and _exchanges(runs, layout)]
    for measure, what in BUSY.items():
        shares = {layout: runs.interval(layout, measure).mean for layout in exchanging}
        known = sorted((share, layout) for layout, share in shares.items() if share > LEAST_SHARE)
        if known and known[-1][0] > UNLIKE * known[0][0]:
            (least_share, least), (most_share, most) = known[0], known[-1]
            return Busy(what, least, least_share, most, most_share)
    return None


def _exchanges(runs: Runs, layout: str) -> bool:
    """Whether batteries are exchanged in some area of a layout."""
    return not all(site.arrangement(layout).in_truck for site in runs.scenario.areas_of(layout).values())


def sizing_sentence(comparison: Comparison) -> str:
    """Say where layouts are not sized alike, and what compares them at their best; empty where they are."""
    busy = unlike_sizes(comparison)
    if busy is None:
        return ""
    return (
        f"These layouts are compared as stated, and not sized alike: {busy.what} busy "
        f"{100.0 * busy.least_share:.0f} % of their time in '{busy.least}' and {100.0 * busy.most_share:.0f} % in "
        f"'{busy.most}'. 'batsim decide' compares each at its best."
    )
