"""What becomes of each lot of batteries: how hard it works, how long it lasts, how many are due to be replaced."""

from collections.abc import Iterator
from typing import NamedTuple

from batsim.plan.evidence import Evidence
from batsim.study.cost import WEEKS_PER_YEAR


class LotOutlook(NamedTuple):
    """One lot of a battery type."""

    battery_type: str
    lot: str
    batteries: float
    discharges_per_week: float
    """Of one battery. [1/week]"""
    left_years: float
    """Until the mean battery is worn out or too old. [years]"""
    due: float
    """Batteries to be replaced within a year."""


def lot_outlooks(evidence: Evidence) -> tuple[LotOutlook, ...]:
    """What the simulation says of each lot of a layout; nothing where lots are not told apart."""
    return tuple(_outlooks(evidence))


def _outlooks(evidence: Evidence) -> Iterator[LotOutlook]:
    """Each lot, the means of a year."""
    for name, lot in [key for key, runs in evidence.runs.lots.items() if evidence.layout in runs.layouts]:
        batteries, left_years, due, discharges = (
            _mean_of_year(evidence, (name, lot), measure)
            for measure in ("batteries", "life_left_years", "replacements_due", "discharges_ended")
        )
        yield LotOutlook(name, lot, batteries, discharges / batteries, left_years, due)


def _mean_of_year(evidence: Evidence, lot: tuple[str, str], measure: str) -> float:
    """Mean of a measure of a lot over the weeks of a year; of discharges those of a week."""
    return sum(
        part.weeks_a_year
        / WEEKS_PER_YEAR
        * part.runs.lots[lot].interval(part.layout, measure).mean
        / (part.runs.schedule.weeks if measure == "discharges_ended" else 1.0)
        for part in evidence.parts
    )
