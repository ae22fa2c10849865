"""Where the twin of a site has from what chance settles: read back from a record, or drawn by itself."""

from collections.abc import Iterator
from itertools import chain, repeat
from math import exp, log1p, sqrt

import numpy as np

from batsim.record.record import Record
from batsim.record.words import BEING_CONNECTED
from tests.behaviour.ledger import by, rows_of, started
from tests.behaviour.mixed_site import DRIVE_IN_MIN, LEVEL_SHARE, WEEK_MIN, Law, Site
from tests.behaviour.site_twin_battery import Calendar


class ReadBack:
    """The start, the powers and all times as a record has them, for each truck and battery in their order."""

    def __init__(self, site: Site, record: Record) -> None:
        self.discharges = by("truck", rows_of(record, "discharges"))
        self.shifts = by("truck", rows_of(record, "truck_shifts"))
        self.charges = by("battery", started(rows_of(record, "charges")))
        self.waterings = by("battery", rows_of(record, "waterings"))
        self.breaks = _breaks(site, int(record.facts.horizon_min // WEEK_MIN) + 1)
        self.durations: dict[tuple[str, int], list[float]] = {}
        for truck, rows in by("truck", started(rows_of(record, "exchanges"))).items():
            free, driven_in = "truck_free_min", DRIVE_IN_MIN
            self.durations["exchange", truck] = [self.hands_on(r["start_min"] + driven_in, r[free]) for r in rows]
            self.durations["put away", truck] = [self.hands_on(r[free], r["end_min"]) for r in rows]
        states = by("battery", rows_of(record, "battery_states"))
        for battery, rows in self.charges.items():
            begun = [row["from_min"] for row in states[battery] if row["state"] == BEING_CONNECTED]
            firsts = (next(time for time in begun if time >= row["discharged_min"]) for row in rows)
            both = zip(firsts, (row["start_min"] for row in rows), strict=True)
            self.durations["connect", battery] = [self.hands_on(start, end) for start, end in both]
            self.durations["cool-down", battery] = [row["cooled_min"] - row["end_min"] for row in rows]
        for battery, rows in self.waterings.items():
            both = ((row["start_min"], row["end_min"]) for row in started(rows))
            self.durations["watering", battery] = [self.hands_on(start, end) for start, end in both]

    def hands_on(self, start_min: float, end_min: float) -> float:
        """Length of a piece of work, without breaks in which it lay still. [min]"""
        still = (min(end_min, end) - max(start_min, start) for start, end in self.breaks)
        return end_min - start_min - sum(minutes for minutes in still if minutes > 0.0)

    def start_soc(self, truck: int) -> float:
        """State of charge in a truck at the start. [-]"""
        return float(self.discharges[truck][0]["soc_from_share"])

    def charges_since_watering(self, battery: int, every: int) -> int:
        """Charges at the start since the last watering: those that were missing when it first fell due."""
        if battery not in self.waterings:
            return 0
        due_min = self.waterings[battery][0]["due_min"]
        return every - sum(row["cooled_min"] <= due_min for row in self.charges[battery])

    def powers_w(self, truck: int, means_w: list[float], spread: float) -> list[float]:
        """Power of a truck in each of its shifts, beyond the record its mean. [W]"""
        if not spread:
            return means_w
        drawn = [row["power_w"] for row in self.shifts[truck]]
        return drawn + means_w[len(drawn) :]

    def times(self, what: str, number: int, law: Law) -> Iterator[float]:
        """Times for one truck or battery, what is fixed as stated. [min]"""
        if law.low_min == law.high_min:
            return repeat(law.low_min)
        return chain(self.durations.get((what, number), []), repeat(law.low_min))


def _breaks(site: Site, weeks: int) -> list[tuple[float, float]]:
    """Breaks of attendants in which their work lies still. [min]"""
    if site.at_break != "pause":
        return []
    shifts = [site.shifts[name] for name in site.attendants]
    return [
        (start + shift.break_after_min, start + shift.break_after_min + shift.break_min)
        for shift in shifts
        for start, _ in Calendar([shift], weeks).spans
    ]


class OwnChance:
    """Draws of its own, by the laws that are stated and whatever the room draws."""

    def __init__(self, seed: int) -> None:
        self.generator = np.random.default_rng(seed)

    def start_soc(self, truck: int) -> float:
        """Somewhere between the level and full. [-]"""
        return LEVEL_SHARE + (1.0 - LEVEL_SHARE) * float(self.generator.random())

    def charges_since_watering(self, battery: int, every: int) -> int:
        """Somewhere in the interval."""
        return int(self.generator.integers(every))

    def powers_w(self, truck: int, means_w: list[float], spread: float) -> list[float]:
        """Lognormal about the mean. [W]"""
        variance = log1p(spread * spread)
        normal = self.generator.standard_normal(len(means_w)).tolist()
        factors = (exp(sqrt(variance) * value - variance / 2.0) for value in normal)
        return [mean_w * factor for mean_w, factor in zip(means_w, factors, strict=True)]

    def times(self, what: str, number: int, law: Law) -> Iterator[float]:
        """All alike between the limits. [min]"""
        while True:
            yield from self.generator.uniform(law.low_min, law.high_min, 64).tolist()
